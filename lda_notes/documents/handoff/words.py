"""The words of the handoff sheet: what is in, when something is due."""

from __future__ import annotations

from lda_notes.documents.handoff.line import LineFacts
from lda_notes.documents.handoff.patient import PatientFacts
from lda_notes.documents.handoff.view import Action
from lda_notes.documents.wording import Wording
from lda_notes.narrative import phrasing


def short(action: Action) -> str:
    """Return what is to be done without the words that explain it."""
    return action.act.split(",")[0].split(";")[0]


def when_due(words: Wording, action: Action) -> str:
    """Return by when something is due, and that it is late, in the words of a stay."""
    if action.by is None:
        return "now"
    return f"{'overdue since' if action.late else 'by'} {words.when(action.by)}"


def what_is_in(line: LineFacts, brief: bool = False) -> str:
    """Return the needle with its day of dwell, or that there is none; ``brief`` for a row of the round."""
    if line.status == "no port":
        return "port not in the body"
    if line.state.needle is None:
        return "no needle"
    day = f"day {line.dwell_day}" if line.dwell_day else "day not known"
    return f"{line.needle_short}, {day}" if brief else f"{line.needle}; {day}"


def left_to_know(patient: PatientFacts) -> tuple[str, ...]:
    """Return what is said of somebody who has left: what is in the port, and all that is wrong or open."""
    said = []
    for line in patient.lines:
        said.append(phrasing.capital(f"{what_is_in(line)}{of(patient, line)}"))
        if line.hold:
            said.append(f"On hold{of(patient, line)}: {line.hold}")
        said.extend(f"{danger}{of(patient, line)}" for danger in line.dangers)
        said.extend(f"{phrasing.capital(limit.what)}{of(patient, line)}" for limit in line.state.limits)
    said.extend(phrasing.capital(f"{one.reason}: {one.says}") for one in patient.precautions if not one.reassures)
    said.extend((*(words.removesuffix(".") for words in patient.unread), *patient.unsafe, *still_open(patient)))
    said.extend(f"Not recorded: {gap}" for gap in patient.gaps)
    return tuple(said)


def still_open(patient: PatientFacts) -> tuple[str, ...]:
    """Return what is pending for somebody who has left, problems without an answer, and while a line is on hold or in
    danger the last answer."""
    lasts = any(line.state.holds or line.state.dangers for line in patient.lines)
    last = tuple(one.says for one in patient.open_problems if one.answered)[:1] if lasts else ()
    return (*patient.pending, *last, *patient.unanswered)


def of(patient: PatientFacts, one: LineFacts | Action) -> str:
    """Return the septum as it follows a statement, for a port with two."""
    return f", {one.septum}" if len(patient.lines) > 1 else ""
