"""The handoff sheet: computed anew from the records each time, never copied forward, and free of any format."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from lda_notes.documents.blocks import Alert, Blanks, Block, Bullets, Heading, Pairs, Sheet, Table, Together
from lda_notes.documents.handoff.line import URGENCIES, LineFacts, Urgency, View
from lda_notes.documents.handoff.patient import Contingency, PatientFacts, amounts_text, patient_facts, soonest
from lda_notes.documents.handoff.sources import Source, sort_out
from lda_notes.documents.handoff.words import (
    headline,
    left_to_know,
    of,
    of_septum,
    short,
    to_know,
    what_is_in,
    when_due,
)
from lda_notes.documents.references import References
from lda_notes.documents.wording import Wording
from lda_notes.knowledge.policy import Policy
from lda_notes.line import due
from lda_notes.narrative import phrasing
from lda_notes.narrative.sentences import Paragraph, Sentence

TITLE: Final = "Handoff of ports"

CAUTIONS: Final = (
    "Computed from the records at the moment named above, never copied forward. The day of access is day 1.",
    "Facility policy, prescriber orders and licensed judgement come first. Ask where this sheet is silent.",
)

_SHOWN: Final = 6
"""Most gaps that are listed for a patient; the rest are counted."""


@dataclass(frozen=True, slots=True)
class Handoff:
    """All that the sheet tells, most urgent patient first.

    ``here`` are the patients of the facility, ``left`` those who have left it. Told in one sentence each:
    ``unreadable`` names records that could not be read, ``later`` patients whose stay has not begun, ``left_out``
    others who are not handed over, and why, ``doubtful`` what does not go together between records. ``zones`` are the
    time zones of the patients told of, by name, at least one.
    """

    asof: datetime
    since: datetime
    shift_end: datetime
    policy: Policy
    here: tuple[PatientFacts, ...]
    left: tuple[PatientFacts, ...]
    unreadable: tuple[str, ...]
    later: tuple[str, ...]
    left_out: tuple[str, ...]
    doubtful: tuple[str, ...]
    zones: tuple[ZoneInfo, ...]

    @property
    def patients(self) -> tuple[PatientFacts, ...]:
        """Everybody on the sheet; those who have left come last."""
        return self.here + self.left


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
    sorted_out = sort_out(sources, asof)
    patients = [
        patient_facts(
            View(source.timeline, policy, Wording(due.zone_of(source.timeline), asof), since, end, source.file),
            source.file,
            source.findings,
            source.unread,
        )
        for source in sorted_out.told
    ]
    patients.sort(key=_most_urgent)
    here = tuple(patient for patient in patients if not patient.left)
    left = tuple(patient for patient in patients if patient.left)
    zones = {zone.key: zone for zone in (due.zone_of(one.timeline) for one in sorted_out.told or sources)}
    return Handoff(
        asof,
        since,
        end,
        policy,
        here,
        left,
        tuple(unreadable),
        sorted_out.later,
        sorted_out.left_out,
        sorted_out.doubtful,
        tuple(zones[name] for name in sorted(zones)) or (ZoneInfo("UTC"),),
    )


def _most_urgent(patient: PatientFacts) -> tuple[object, ...]:
    first = soonest(patient.actions[0]) if patient.actions else (True, datetime.max.replace(tzinfo=UTC))
    place = (patient.unit, _number(patient.room), patient.room, patient.name, patient.record)
    return URGENCIES.index(patient.urgency), first, place


def _number(room: str) -> int:
    digits = "".join(sign for sign in room if sign in "0123456789")
    return int(digits[:9]) if digits else 0


def rows(found: Handoff) -> tuple[tuple[PatientFacts, LineFacts], ...]:
    """Return every septum of every patient who is here, most urgent first: the order of the unit list."""
    lines = [(patient, line) for patient in found.here for line in patient.lines]
    return tuple(sorted(lines, key=lambda row: (URGENCIES.index(row[1].urgency), _first_due(row[1]))))


def _first_due(line: LineFacts) -> tuple[bool, datetime]:
    return min((soonest(a) for a in line.actions), default=(True, datetime.max.replace(tzinfo=UTC)))


# -- the sheet --


def sheet(found: Handoff) -> Sheet:
    """Return the handoff as a sheet: the unit list, a block for each patient, where the limits come from."""
    references = References(found.policy)
    blocks: list[Block] = [_head(found)]
    blocks.extend(Alert("caution", f"Not on this sheet: {words}") for words in found.unreadable)
    blocks.extend(Alert("caution", words) for words in found.doubtful)
    if found.here:
        blocks.append(Heading("All lines, most urgent first"))
        blocks.append(_unit_list(found))
    else:
        blocks.append(Paragraph((Sentence("Nobody with a port is here at this moment, by these records."),)))
    if found.later:
        blocks.append(_named(f"{phrasing.capital(later_says(found))}:", found.later))
    if found.left_out:
        blocks.append(_named("Left out:", found.left_out))
    blocks.extend(_patient(found, patient, references) for patient in found.here)
    if found.left:
        blocks.append(Heading("Left the facility, upkeep of the port"))
        blocks.append(_left_list(found, references))
    told = references.rows()
    if told:
        blocks.append(Heading("Where the limits come from"))
        blocks.append(Table(("No.", "In force", "Source"), told, (6, 42, 52)))
    return Sheet(TITLE, tuple(blocks), cautions=CAUTIONS, running=_running(found), dense=True)


def later_says(found: Handoff) -> str:
    """Return how many records are left out because their stay begins after the moment judged from; "" for none."""
    return f"stay begins later, left out: {phrasing.count(len(found.later), 'record')}" if found.later else ""


def _named(label: str, said: tuple[str, ...]) -> Paragraph:
    return Paragraph(tuple(Sentence(f"{words}.") for words in said), label)


def _head(found: Handoff) -> Pairs:
    facility = found.policy.facility
    units = _units(found)
    zones = found.zones
    return Pairs(
        (
            ("As of", _in_full(found, found.asof)),
            ("Coming shift ends", _in_full(found, found.shift_end)),
            ("Last handoff", _in_full(found, found.since)),
            ("Times", zones[0].key if len(zones) == 1 else "each patient's in the time zone named with the name"),
            ("Patients", f"{len(found.here)}, {units}" if units else str(len(found.here))),
            ("Limits", f"as published, changed by {facility.text()}" if facility else "as published"),
        ),
        columns=2,
    )


def _in_full(found: Handoff, moment: datetime) -> str:
    """Return a moment in each zone of the sheet, the zones named where there are several."""
    zones = found.zones
    said = [Wording(zone, found.asof).in_full(moment) for zone in zones]
    if len(zones) == 1:
        return said[0]
    return "; ".join(f"{words} {zone.key}" for words, zone in zip(said, zones, strict=True))


def _zone(found: Handoff, patient: PatientFacts) -> str:
    """Return the patient's time zone as it follows a name, where the sheet has several."""
    return f"; times of {patient.wording.zone.key}" if len(found.zones) > 1 else ""


def _running(found: Handoff) -> str:
    return f"{_units(found)}; as of {_in_full(found, found.asof)}".removeprefix("; ")


def _units(found: Handoff) -> str:
    return ", ".join(dict.fromkeys(patient.unit for patient in found.here if patient.unit))


def _unit_list(found: Handoff) -> Table:
    many_units = len({patient.unit for patient in found.here}) > 1
    many_zones = len(found.zones) > 1
    return Table(
        ("Room", "Patient", "In the port", "Due next", "To know"),
        tuple(_unit_row(patient, line, many_units, many_zones) for patient, line in rows(found)),
        (9, 20, 19, 23, 29),
    )


def _unit_row(patient: PatientFacts, line: LineFacts, many_units: bool, many_zones: bool) -> tuple[str, ...]:
    room = f"{patient.unit} {patient.room}".strip() if many_units else patient.room
    septum = f", {line.septum}" if len(patient.lines) > 1 else ""
    zone = f"; times of {patient.wording.zone.key}" if many_zones else ""
    soon = [f"{short(action)}: {when_due(patient, action)}" for action in line.actions[:2]]
    return (
        room or "not recorded",
        f"{patient.name}{septum}{zone}",
        what_is_in(line),
        "; ".join(soon) or "nothing",
        to_know(patient, line),
    )


def _patient(found: Handoff, patient: PatientFacts, references: References) -> Together:
    room = f"Room {patient.room}: " if patient.room else ""
    who = f"{', '.join(patient.identifiers)}, born {patient.born}"
    blocks: list[Block] = [Heading(f"{room}{patient.name}; {who}{_zone(found, patient)}")]
    blocks.extend(
        Alert("stop", f"Do not use the line{of(patient, line)}: {line.hold}") for line in patient.lines if line.hold
    )
    blocks.extend(Alert("caution", f"{danger}{of(patient, line)}") for line in patient.lines for danger in line.dangers)
    blocks.extend(
        Alert("caution", f"By evaluation: {limit.what}{of(patient, line)}, since {patient.wording.told(limit.began)}")
        for line in patient.lines
        for limit in line.state.limits
    )
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


def _left_list(found: Handoff, references: References) -> Table:
    """Return those who have left, a row each: what the port still needs, and who sees to it."""
    return Table(
        ("Patient", "Left", "To know", "Due, and who sees to it"),
        tuple(_left_row(found, patient, references) for patient in found.left),
        (22, 22, 24, 32),
    )


def _left_row(found: Handoff, patient: PatientFacts, references: References) -> tuple[str, ...]:
    room = f", room {patient.room}" if patient.room else ""
    due_then = [
        f"{action.act}{of_septum(patient, action.septum)}: {when_due(patient, action)}, {action.owner}; "
        f"{action.why}{references.mark(action.basis)}"
        for action in patient.actions
    ]
    return (
        f"{patient.name}; {', '.join(patient.identifiers)}{_zone(found, patient)}",
        f"{patient.unit}{room}: {patient.left}".removeprefix(": "),
        ". ".join(left_to_know(patient)),
        ". ".join(due_then) or "nothing",
    )


def _listed(label: str, items: tuple[str, ...]) -> Block:
    """Return one item in its label's row, more of them as a list."""
    if len(items) == 1:
        return Paragraph((Sentence(f"{items[0]}."),), f"{label}:")
    return Bullets(items, label)


def _situation(found: Handoff, patient: PatientFacts) -> Paragraph:
    said = [
        f"{headline(patient, line, found.shift_end)}{of(patient, line)}. {phrasing.capital(_state(line))}."
        for line in patient.lines
    ]
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
        (f"{fact.label}{of(patient, line)}", f"{fact.value} ({fact.told})" if fact.told else fact.value)
        for line in patient.lines
        for fact in line.facts
        if fact.label != "Thrombolytic"  # told under what is pending, with the time to check it
    )
    return Pairs(facts, columns=2)


def _to_do(patient: PatientFacts, references: References) -> Table:
    done = tuple(
        (
            f"{action.act}{of_septum(patient, action.septum)}",
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


__all__ = ["Handoff", "Source", "Urgency", "handoff", "later_says", "rows", "sheet", "to_know", "what_is_in"]
