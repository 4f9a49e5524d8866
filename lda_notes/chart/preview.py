"""The note as it will read, and what the check finds, before anything is written."""

from __future__ import annotations

from lda_notes.episode import Episode
from lda_notes.pipeline import Judged
from lda_notes.policy import Policy
from lda_notes.problems import Finding
from lda_notes.record import Record
from lda_notes.timeline import Timeline


def note(
    file: str, episode: Episode, line: Timeline, findings: tuple[Finding, ...], policy: Policy, event: str, width: int
) -> str:
    """Return the note of one event of an episode that is not written yet, as text."""
    from lda_notes.narrative import narrator
    from lda_notes.render import render
    from lda_notes.sheets import note as notes

    judged = Judged(Record(file, episode), line, findings)
    sheet = notes.sheet(judged, policy, notes.Choice(event=event), narrator(None))
    return render(sheet, "text", width).decode()
