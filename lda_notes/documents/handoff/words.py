"""The words of the handoff sheet: how urgent a line is, what is in, when something is due, the one thing to know."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

from lda_notes.documents.handoff.line import Action, LineFacts
from lda_notes.documents.handoff.patient import PatientFacts
from lda_notes.documents.wording import Wording
from lda_notes.narrative import phrasing


def headline(patient: PatientFacts, line: LineFacts, shift_end: datetime) -> str:
    """Return how urgent a line is, in plain words."""
    match line.urgency:
        case "out of use":
            signs = [hold.sign for hold in line.state.holds]
            signs = signs or [danger.what for danger in line.state.dangers if danger.code in ("D2", "D4")]
            return f"Line out of use: {', '.join(dict.fromkeys(signs)) or 'thrombolytic dwelling'}"
        case "overdue":
            late = ", ".join(_lower(action) for action in line.actions if action.late)
            return f"Due now or overdue: {late}"
        case "due this shift":
            soon = [a for a in line.actions if a.by is not None and a.by.astimezone(UTC) <= shift_end.astimezone(UTC)]
            return f"Due this shift: {', '.join(map(_lower, soon))}"
        case "steady":
            return f"Steady: nothing due before {patient.wording.when(shift_end)}"
        case "left":
            return "Has left"


def _lower(action: Action) -> str:
    said = short(action)
    return said[:1].lower() + said[1:]


def short(action: Action) -> str:
    """Return what is to be done without the words that explain it."""
    return action.act.split(",")[0].split(";")[0]


def when_due(patient: PatientFacts, action: Action) -> str:
    """Return by when something is due, and that it is late."""
    return when_due_text(patient.wording, action)


def when_due_text(words: Wording, action: Action) -> str:
    """Return by when something is due, and that it is late, in the words of a stay."""
    if action.by is None:
        return "now"
    return f"{'overdue since' if action.late else 'by'} {words.when(action.by)}"


def to_know(patient: PatientFacts, line: LineFacts) -> str:
    """Return the one thing that the next nurse must know of a line: the first that applies.

    What stops the use of the line or runs against the clock comes first, then what makes this sheet doubtful, then
    what can harm the patient, then what is open.
    """
    return next(_to_know(patient, line))


def _to_know(patient: PatientFacts, line: LineFacts) -> Iterator[str]:
    if line.hold:
        yield f"On hold: {line.hold}"
    for fact in line.facts:
        if fact.label == "Thrombolytic":
            yield f"{fact.value} ({fact.told})"
    if patient.unread:
        more = len(patient.unread) - 1
        yield patient.unread[0].removesuffix(".") + (f"; and {more} more that could not be read" if more else "")
    yield from line.dangers
    if patient.unsafe:
        yield patient.unsafe[0]
    for fact in line.facts:
        if fact.label == "Infusion" and fact.value.endswith("vesicant"):
            yield f"Runs: {fact.value}"
    yield from patient.unanswered
    for precaution in patient.precautions:
        if not precaution.reassures:
            yield phrasing.capital(f"{precaution.reason}: {precaution.says}")
    if patient.allergies.startswith("allergies "):
        yield phrasing.capital(patient.allergies)
    for fact in line.facts:
        if fact.label == "Blood return" and fact.value.startswith("sluggish"):
            yield f"Blood return {fact.value} ({fact.told})"
    for action in line.actions:
        if action.by is None:
            yield phrasing.capital(action.why)
    for fact in line.facts:
        if fact.label == "Infusion" and fact.value != "none; stopped":
            yield f"Runs: {fact.value}"
    if patient.gaps:
        yield f"{phrasing.count(len(patient.gaps), 'gap')} in the record since the last handoff"
    for fact in line.facts:
        if fact.label == "Infusion":
            yield "Nothing runs"
    yield "Nothing out of the ordinary recorded"


def what_is_in(line: LineFacts) -> str:
    """Return the needle with its day of dwell, or that there is none."""
    if line.status == "no port":
        return "port not in the body"
    if line.state.needle is None:
        return "no needle"
    return f"{line.needle}; {f'day {line.dwell_day}' if line.dwell_day else 'day not known'}"


def left_to_know(patient: PatientFacts) -> tuple[str, ...]:
    """Return what is told of somebody who has left: what is in the port, and all that is wrong or open."""
    said = []
    for line in patient.lines:
        said.append(phrasing.capital(f"{what_is_in(line)}{of(patient, line)}"))
        if line.hold:
            said.append(f"On hold{of(patient, line)}: {line.hold}")
        said.extend(f"{danger}{of(patient, line)}" for danger in line.dangers)
        said.extend(f"{phrasing.capital(limit.what)}{of(patient, line)}" for limit in line.state.limits)
    said.extend(phrasing.capital(f"{one.reason}: {one.says}") for one in patient.precautions if not one.reassures)
    said.extend((*(words.removesuffix(".") for words in patient.unread), *patient.unsafe, *patient.unanswered))
    said.extend(f"Not recorded: {gap}" for gap in patient.gaps)
    return tuple(said)


def of_septum(patient: PatientFacts, septum: str) -> str:
    """Return the septum as it follows a statement, for a port with two."""
    return f", {septum}" if len(patient.lines) > 1 else ""


def of(patient: PatientFacts, line: LineFacts) -> str:
    """Return the line's septum as it follows a statement, for a port with two."""
    return of_septum(patient, line.septum)
