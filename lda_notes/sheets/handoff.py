"""The handoff sheet: computed anew from the records each time, never copied forward, and free of any format."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from lda_notes import due, phrasing
from lda_notes.policy import Policy
from lda_notes.problems import Finding
from lda_notes.record import UnreadEvent
from lda_notes.sheets.handoff_line import URGENCIES, Action, LineFacts, Urgency, View
from lda_notes.sheets.handoff_patient import Contingency, PatientFacts, amounts_text, patient_facts, soonest
from lda_notes.sheets.parts import (
    Alert,
    Blanks,
    Block,
    Bullets,
    Heading,
    Pairs,
    Paragraph,
    Sentence,
    Sheet,
    Table,
    Together,
)
from lda_notes.sheets.references import References
from lda_notes.sheets.wording import Wording
from lda_notes.timeline import Timeline

TITLE: Final = "Handoff of ports"

CAUTIONS: Final = (
    "Computed from the records at the moment named above, never copied forward. The day of access is day 1.",
    "Facility policy, prescriber orders and licensed judgement come first. Ask where this sheet is silent.",
)

_SHOWN: Final = 6
"""Most gaps that are listed for a patient; the rest are counted."""


@dataclass(frozen=True, slots=True)
class Source:
    """One record as read: its timeline and what its check found."""

    file: str
    timeline: Timeline
    findings: tuple[Finding, ...]
    unread: tuple[UnreadEvent, ...]


@dataclass(frozen=True, slots=True)
class Handoff:
    """All that the sheet tells, most urgent patient first. ``unreadable`` names records that could not be read."""

    asof: datetime
    since: datetime
    shift_end: datetime
    policy: Policy
    patients: tuple[PatientFacts, ...]
    unreadable: tuple[str, ...]


def handoff(
    sources: Sequence[Source],
    policy: Policy,
    asof: datetime,
    hours: Decimal | None = None,
    shift_end: datetime | None = None,
    unreadable: Sequence[str] = (),
) -> Handoff:
    """Return what the sheet tells. A shift of ``hours`` (default: the policy's) ended at ``asof``; the next begins.

    Raises OverflowError when a shift from ``asof`` would leave the calendar.
    """
    length = timedelta(microseconds=int((hours or policy.value("shift_hours")) * 3_600_000_000))
    since = asof.astimezone(UTC) - length
    end = shift_end or asof.astimezone(UTC) + length
    patients = [
        patient_facts(
            View(source.timeline, policy, Wording(due.zone_of(source.timeline), asof), since, end),
            source.file,
            source.findings,
            source.unread,
        )
        for source in sources
    ]
    patients.sort(key=_most_urgent)
    return Handoff(asof, since, end, policy, tuple(patients), tuple(unreadable))


def _most_urgent(patient: PatientFacts) -> tuple[object, ...]:
    first = soonest(patient.actions[0]) if patient.actions else (True, datetime.max.replace(tzinfo=UTC))
    place = (patient.unit, _number(patient.room), patient.room, patient.name, patient.record)
    return URGENCIES.index(patient.urgency), first, place


def _number(room: str) -> int:
    digits = "".join(sign for sign in room if sign in "0123456789")
    return int(digits[:9]) if digits else 0


def rows(found: Handoff) -> tuple[tuple[PatientFacts, LineFacts], ...]:
    """Return every septum of every patient, most urgent first: the order of the unit list."""
    lines = [(patient, line) for patient in found.patients for line in patient.lines]
    return tuple(sorted(lines, key=lambda row: (URGENCIES.index(row[1].urgency), _first_due(row[1]))))


def _first_due(line: LineFacts) -> tuple[bool, datetime]:
    return min((soonest(a) for a in line.actions), default=(True, datetime.max.replace(tzinfo=UTC)))


# -- words --


def headline(patient: PatientFacts, line: LineFacts, shift_end: datetime) -> str:
    """Return how urgent a line is, in plain words."""
    match line.urgency:
        case "out of use":
            reasons = ", ".join(reason for reason, _ in line.state.hold.reasons) if line.state.hold else ""
            return f"Line out of use: {reasons}"
        case "overdue":
            late = ", ".join(_lower(action) for action in line.actions if action.late)
            return f"Due now or overdue: {late}"
        case "due this shift":
            soon = [a for a in line.actions if a.by is not None and a.by.astimezone(UTC) < shift_end.astimezone(UTC)]
            return f"Due this shift: {', '.join(map(_lower, soon))}"
        case "steady":
            return f"Steady: nothing due before {patient.wording.when(shift_end)}"
        case "left":
            return "Has left"


def _lower(action: Action) -> str:
    short = _short(action)
    return short[:1].lower() + short[1:]


def _short(action: Action) -> str:
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
    """Return the one thing that the next nurse must know of a line."""
    return next(_to_know(patient, line))


def _to_know(patient: PatientFacts, line: LineFacts) -> Iterator[str]:
    if patient.left:
        yield patient.left
    if line.hold:
        yield f"On hold: {line.hold}"
    for fact in line.facts:
        if fact.label == "Thrombolytic":
            yield f"{fact.value} ({fact.told})"
    if patient.unread:
        yield patient.unread[0]
    if patient.unsafe:
        yield patient.unsafe[0]
    for fact in line.facts:
        if fact.label == "Infusion" and fact.value.endswith("vesicant"):
            yield f"Runs: {fact.value}"
    for precaution in patient.precautions:
        yield phrasing.capital(f"{precaution.reason}: {precaution.says}")
    if patient.allergies == "allergies not recorded":
        yield "Allergies not recorded"
    for action in line.actions:
        if action.by is None:
            yield phrasing.capital(action.why)
    if patient.gaps:
        yield f"{phrasing.count(len(patient.gaps), 'gap')} in the record since the last handoff"
    for fact in line.facts:
        if fact.label == "Infusion":
            yield f"Runs: {fact.value}" if fact.value != "none; stopped" else "Nothing runs"
    yield "Nothing out of the ordinary recorded"


def what_is_in(line: LineFacts) -> str:
    """Return the needle with its day of dwell, or that there is none."""
    if line.status == "no port":
        return "port not in the body"
    if line.state.needle is None:
        return "no needle"
    return f"{line.needle}; {f'day {line.dwell_day}' if line.dwell_day else 'day not known'}"


# -- the sheet --


def sheet(found: Handoff) -> Sheet:
    """Return the handoff as a sheet: the unit list, a block for each patient, where the limits come from."""
    references = References(found.policy)
    blocks: list[Block] = [_head(found)]
    blocks.extend(Alert("caution", f"Not on this sheet: {words}") for words in found.unreadable)
    blocks.append(Heading("All lines, most urgent first"))
    blocks.append(_unit_list(found))
    blocks.extend(_patient(found, patient, references) for patient in found.patients)
    told = references.rows()
    if told:
        blocks.append(Heading("Where the limits come from"))
        blocks.append(Table(("No.", "In force", "Source"), told, (6, 42, 52)))
    return Sheet(TITLE, tuple(blocks), cautions=CAUTIONS, running=_running(found), dense=True)


def _head(found: Handoff) -> Pairs:
    words = found.patients[0].wording if found.patients else Wording(ZoneInfo("UTC"), found.asof)
    facility = found.policy.facility
    zones = dict.fromkeys(patient.wording.zone.key for patient in found.patients)
    units = _units(found)
    return Pairs(
        (
            ("Judged from", words.in_full(found.asof)),
            ("Coming shift ends", words.in_full(found.shift_end)),
            ("Last handoff", words.in_full(found.since)),
            ("Times", ", ".join(zones) or "UTC"),
            ("Patients", f"{len(found.patients)}, {units}" if units else str(len(found.patients))),
            ("Limits", f"as published, changed by {facility.text()}" if facility else "as published"),
        ),
        columns=2,
    )


def _running(found: Handoff) -> str:
    words = found.patients[0].wording if found.patients else Wording(ZoneInfo("UTC"), found.asof)
    return f"{_units(found)}; judged from {words.in_full(found.asof)}".removeprefix("; ")


def _units(found: Handoff) -> str:
    return ", ".join(dict.fromkeys(patient.unit for patient in found.patients if patient.unit))


def _unit_list(found: Handoff) -> Table:
    many_units = len({patient.unit for patient in found.patients}) > 1
    return Table(
        ("Room", "Patient", "In the port", "Due next", "To know"),
        tuple(_unit_row(found, patient, line, many_units) for patient, line in rows(found)),
        (9, 20, 19, 23, 29),
    )


def _unit_row(found: Handoff, patient: PatientFacts, line: LineFacts, many_units: bool) -> tuple[str, ...]:
    room = f"{patient.unit} {patient.room}".strip() if many_units else patient.room
    septum = f", {line.septum}" if len(patient.lines) > 1 else ""
    soon = [f"{_short(action)} {when_due(patient, action)}" for action in line.actions[:2]]
    return (
        room or "not recorded",
        f"{patient.name}{septum}",
        what_is_in(line),
        "; ".join(soon) or "nothing",
        to_know(patient, line),
    )


def _patient(found: Handoff, patient: PatientFacts, references: References) -> Together:
    room = f"Room {patient.room}: " if patient.room else ""
    who = f"{', '.join(patient.identifiers)}, born {patient.born}"
    blocks: list[Block] = [Heading(f"{room}{patient.name}; {who}")]
    blocks.extend(
        Alert("stop", f"Do not use the line{_of(patient, line)}: {line.hold}") for line in patient.lines if line.hold
    )
    if patient.strip is not None:
        blocks.append(patient.strip)
    blocks.append(_situation(found, patient))
    blocks.append(_background(patient, references))
    blocks.append(_assessment(patient))
    if patient.open_problems:
        blocks.append(_listed("Problems", patient.open_problems))
    if patient.pending:
        blocks.append(_listed("Pending", patient.pending))
    if patient.unsafe:
        blocks.append(_listed("Unsafe, by the check", patient.unsafe))
    if patient.actions:
        blocks.append(_to_do(patient, references))
    if patient.contingencies:
        said = tuple(Sentence(_if_then(one, references)) for one in patient.contingencies)
        blocks.append(Paragraph(said, "If ... then:"))
    blocks.append(_not_recorded(patient))
    blocks.append(_given(patient))
    blocks.append(Blanks("Read back", more=("Name, signature", "Date, time")))
    return Together(tuple(blocks))


def _listed(label: str, items: tuple[str, ...]) -> Block:
    """Return one item in its label's row, more of them as a list."""
    if len(items) == 1:
        return Paragraph((Sentence(f"{items[0]}."),), f"{label}:")
    return Bullets(items, label)


def _of(patient: PatientFacts, line: LineFacts) -> str:
    return f", {line.septum}" if len(patient.lines) > 1 else ""


def _situation(found: Handoff, patient: PatientFacts) -> Paragraph:
    said = [
        f"{headline(patient, line, found.shift_end)}{_of(patient, line)}. {phrasing.capital(_state(line))}."
        for line in patient.lines
    ]
    if patient.left:
        said.append(f"{patient.left}.")
    return Paragraph(tuple(Sentence(words) for words in said), "Situation:")


def _state(line: LineFacts) -> str:
    match line.status:
        case "no port":
            return "the port is not in the body"
        case "not accessed":
            return "no needle in the port"
        case "on hold" if line.state.needle is None:
            return "no needle in the port"
        case "on hold" | "accessed":
            day = f", day {line.dwell_day}" if line.dwell_day else ""
            return f"needle in the port{day}"


def _background(patient: PatientFacts, references: References) -> Paragraph:
    said = []
    if patient.allergies:
        said.append(f"{phrasing.capital(patient.allergies)}.")
    for precaution in patient.precautions:
        mark = references.mark((precaution.basis,))
        said.append(f"{phrasing.capital(precaution.reason)}: {precaution.says}{mark}.")
    said.append(f"{patient.port}.")
    if patient.reason:
        said.append(f"Accessed for {patient.reason}.")
    return Paragraph(tuple(Sentence(words) for words in said), "Background:")


def _assessment(patient: PatientFacts) -> Pairs:
    facts = tuple(
        (f"{fact.label}{_of(patient, line)}", f"{fact.value} ({fact.told})" if fact.told else fact.value)
        for line in patient.lines
        for fact in line.facts
        if fact.label != "Thrombolytic"  # told under what is pending, with the time to check it
    )
    return Pairs(facts, columns=2)


def _to_do(patient: PatientFacts, references: References) -> Table:
    many = len(patient.lines) > 1
    done = tuple(
        (
            f"{action.act}, {action.septum}" if many else action.act,
            when_due(patient, action),
            action.owner,
            f"{action.why}{references.mark(action.basis)}",
        )
        for action in patient.actions
    )
    return Table(("To be done", "Due", "By whom", "Why"), done, (31, 18, 16, 35))


def _if_then(one: Contingency, references: References) -> str:
    return f"If {one.when}, then {one.then}{references.mark(one.basis)}."


def _not_recorded(patient: PatientFacts) -> Paragraph:
    items = (*patient.unread, *patient.gaps) or ("Nothing that the check asks for",)
    shown = items[:_SHOWN]
    if len(items) > len(shown):
        shown = (*shown, f"And {len(items) - len(shown)} more: `lda-notes check` lists them")
    return Paragraph(tuple(Sentence(f"{item}.") for item in shown), "Not recorded since the last handoff:")


def _given(patient: PatientFacts) -> Paragraph:
    said = [
        f"{phrasing.capital(added.over)} (from {patient.wording.when(added.start)}): {amounts_text(added.sums)}."
        for added in patient.amounts
    ]
    return Paragraph(tuple(Sentence(words) for words in said), "Amounts:")


__all__ = ["Handoff", "Source", "Urgency", "handoff", "headline", "rows", "sheet", "to_know", "what_is_in", "when_due"]
