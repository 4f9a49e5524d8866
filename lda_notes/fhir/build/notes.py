"""Notes for DocumentReferences: each as the sheet of its event reads when it was charted."""

from __future__ import annotations

from pathlib import Path as FilePath

from lda_notes import pipeline
from lda_notes.fhir.build.book import Notes
from lda_notes.fhir.build.papers import Note
from lda_notes.knowledge.policy import Policy
from lda_notes.line.timeline import Timeline


def note_writer(policy: Policy, *, docx: bool = False, templates: FilePath | None = None) -> Notes:
    """Return what writes the note of an event as text and, with ``docx``, as a document too.

    A note is judged from the moment at which it was charted and knows nothing later, so it stays the same when the
    record grows. ``templates`` is a folder of templates that replace ours.
    """
    from lda_notes.documents.note import page as note
    from lda_notes.documents.render import render
    from lda_notes.narrative.narrator import narrator

    telling = narrator(templates)

    def write(stood: Timeline, event: str, earlier: int = 0) -> Note:
        choice = note.Choice(event, earlier=earlier)
        # What is found of an entry may stand in the correction that supplied the fact.
        families = [family.of or family for family in note.chosen(stood, choice, policy)]
        about = {entry.index for family in families for entry in (family.entry, *family.corrections)}
        sheet = note.sheet(pipeline.judge_entries(stood, policy, about), policy, choice, telling)
        titled = next((one.titled for one in stood.episode.events if one.id == event), "Port")
        return Note(
            title=f"{titled} note",
            text=render(sheet, "text").decode(),
            draft=bool(sheet.status),
            docx=render(sheet, "docx") if docx else None,
        )

    return write
