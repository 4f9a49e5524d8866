"""The note as it will read, and what the check finds, before anything is written."""

from __future__ import annotations

from lda_notes.check.judged import Judged
from lda_notes.knowledge.policy import Policy
from lda_notes.line.timeline import Timeline
from lda_notes.problems import Finding
from lda_notes.record.episode import Episode
from lda_notes.record.reading import Record


def note(
    file: str,
    episode: Episode,
    line: Timeline,
    findings: tuple[Finding, ...],
    policy: Policy,
    events: tuple[str, ...],
    width: int,
) -> str:
    """Return the note of events of an episode that are not written yet, as text."""
    from lda_notes.documents.note import page as notes
    from lda_notes.documents.render import render
    from lda_notes.narrative.narrator import narrator

    judged = Judged(Record(file, episode), line, findings)
    sheet = notes.sheet(judged, policy, notes.Choice(some=events), narrator(None))
    return render(sheet, "text", width).decode()
