"""Notes for DocumentReferences: each as the sheet of its event reads when it was charted."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path as FilePath

from lda_notes import pipeline
from lda_notes.record.episode import Episode
from lda_notes.fhir.build.book import Notes
from lda_notes.fhir.build.papers import Note
from lda_notes.knowledge.policy import Policy
from lda_notes.line.timeline import Beside
from lda_notes.record.reading import Record


def note_writer(policy: Policy, *, docx: bool = False, templates: FilePath | None = None) -> Notes:
    """Return what writes the note of an event as text and, with ``docx``, as a document too.

    A note is judged from the moment at which it was charted and knows nothing later, so it stays the same when the
    record grows. ``templates`` is a folder of templates that replace ours.
    """
    from lda_notes.narrative.narrator import narrator
    from lda_notes.documents.render import render
    from lda_notes.documents.note import page as note

    telling = narrator(templates)

    def write(episode: Episode, event: str, asof: datetime, beside: Sequence[Beside], earlier: int = 0) -> Note:
        others = [Record(one.file, one.episode, unread_facts=one.unread) for one in beside]
        judged = pipeline.judge_within(Record("record", episode), others, policy, asof)
        sheet = note.sheet(judged, policy, note.Choice(event, earlier=earlier), telling)
        titled = next((one.titled for one in episode.events if one.id == event), "Port")
        return Note(
            title=f"{titled} note",
            text=render(sheet, "text").decode(),
            draft=bool(sheet.status),
            docx=render(sheet, "docx") if docx else None,
        )

    return write
