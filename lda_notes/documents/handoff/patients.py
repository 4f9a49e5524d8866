"""All patients of a handoff: who is on the sheet and in which order, for which shift, and what is left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from lda_notes.documents.handoff.line import named_as_unread
from lda_notes.documents.handoff.patient import PatientFacts, patient_facts
from lda_notes.documents.handoff.sources import Source, sort_out
from lda_notes.documents.handoff.view import NEVER, URGENCIES, View
from lda_notes.documents.wording import Wording
from lda_notes.knowledge.policy import Policy
from lda_notes.line import due
from lda_notes.line.shifts import AROUND, shift_of


@dataclass(frozen=True, slots=True)
class Handoff:
    """All that the sheet says, most urgent patient first.

    ``here`` are the patients of the facility, ``left`` those who have left it and are still listed, ``left_before`` the
    others who left. The next four are sentences for the reader: ``unreadable`` names records that could not be read,
    ``later`` the patient of each stay not begun, ``left_out`` others who are not handed over, and why, ``doubtful``
    what does not go together between records. ``zones`` are the time zones of the patients on it, by name, at least
    one.
    """

    asof: datetime
    since: datetime
    shift_end: datetime
    policy: Policy
    here: tuple[PatientFacts, ...]
    left: tuple[PatientFacts, ...]
    left_before: tuple[PatientFacts, ...]
    unreadable: tuple[str, ...]
    later: tuple[str, ...]
    left_out: tuple[str, ...]
    doubtful: tuple[str, ...]
    zones: tuple[ZoneInfo, ...]
    since_known: bool = False
    """Whether ``since`` is the last handoff, and not merely the length of a shift before now."""
    marked: datetime | None = None
    """From when on changes are marked; a sheet may be printed up to an hour before the shift that it is for."""

    @property
    def patients(self) -> tuple[PatientFacts, ...]:
        """Everybody on the sheet; those who have left come last."""
        return self.here + self.left + self.left_before


def handoff(
    sources: Sequence[Source],
    policy: Policy,
    asof: datetime,
    hours: Decimal | None = None,
    shift_end: datetime | None = None,
    unreadable: Sequence[str] = (),
    unit: str | None = None,
    rooms: Sequence[str] = (),
    told_since: datetime | None = None,
) -> Handoff:
    """Return what the sheet says.

    The shift is that of the policy's ``shift_starts``, or of ``told_since`` and ``shift_end``; where neither is given,
    a shift of ``hours`` (default: the policy's) ended at ``asof`` and the next begins, and when the last handoff was is
    not known.

    ``unit`` and ``rooms`` choose patients; without them all are on the sheet.

    Raises OverflowError when a shift from ``asof`` would leave the calendar.
    """
    shift = shift_of(asof, policy, due.zone_of(sources[0].timeline) if sources else ZoneInfo("UTC"), hours)
    since, end = told_since or shift.since, shift_end or shift.end
    marked = since if told_since or not shift.known else since - AROUND  # the last sheet may be as old as that
    until = asof.astimezone(UTC) - policy.span("left_list_days")
    sorted_out = sort_out(sources, asof, until)
    unit = _unit_meant(unit, sources)
    patients = [
        patient_facts(
            View(
                source.timeline.as_known(),
                policy,
                Wording(due.zone_of(source.timeline), asof, source.timeline.unread),
                marked,
                end,
                source.file,
            ),
            source.file,
            source.findings,
            source.unread,
            source.unread_facts,
            source.drafts,
        )
        for source in sorted_out.told
    ]
    patients = [
        replace(one, number=place, alike=one.file in sorted_out.alike)
        for place, one in enumerate(sorted(patients, key=_order), 1)
    ]
    here = tuple(one for one in patients if not one.left and _of_place(one, unit, rooms))
    gone = [one for one in patients if one.left and _of_place(one, unit, rooms)]
    left = tuple(one for one in gone if _still_listed(one, until))
    zones = {zone.key: zone for zone in (due.zone_of(one.timeline) for one in sorted_out.told or sources)}
    return Handoff(
        asof,
        since,
        end,
        policy,
        here,
        left,
        tuple(one for one in gone if one not in left),
        tuple(unreadable),
        sorted_out.later,
        sorted_out.left_out,
        sorted_out.doubtful,
        tuple(zones[name] for name in sorted(zones)) or (ZoneInfo("UTC"),),
        told_since is not None or shift.known,
        marked,
    )


def _order(patient: PatientFacts) -> tuple[object, ...]:
    """Return the sort key of a patient on the sheet, most urgent first.

    In turn: the danger of the line (`_rank`), how urgent the worst line is, when the first action is due (now comes
    first), when the first one with a time is due; then unit, room by its number, name and record.
    """
    place = (patient.unit, _number(patient.room), patient.room, patient.name, patient.record)
    first_timed = next((action.when for action in patient.actions if action.by is not None), NEVER)
    return _rank(patient), URGENCIES.index(patient.urgency), patient.first_due, first_timed, place


def _rank(patient: PatientFacts) -> int:
    """Return how urgent a patient is before any due time.

    0: a danger or a dwelling thrombolytic, with a needle in or a clock running; 1: either of them with neither;
    2: a hold with a needle in; 3: a hold without a needle; 4: none of these.
    """
    states = [line.state for line in patient.lines]
    in_danger = any(state.dwell or not all(map(named_as_unread, state.dangers)) for state in states)
    needle = any(state.needle for state in states)
    if in_danger:
        return 0 if needle or any(action.clock for action in patient.actions) else 1
    if any(state.holds for state in states):
        return 2 if needle else 3
    return 4


def _of_place(patient: PatientFacts, unit: str | None, rooms: Sequence[str]) -> bool:
    in_unit = unit is None or patient.unit.casefold() == unit.casefold()
    return in_unit and (not rooms or patient.room.casefold() in {room.casefold() for room in rooms})


def _unit_meant(asked: str | None, sources: Sequence[Source]) -> str | None:
    """Return the one unit whose name is ``asked`` or has a word that begins so; ``asked`` where none or several do."""
    named = {stay.unit for source in sources for stay in source.timeline.units[-1:]}
    if asked is None or asked.casefold() in {unit.casefold() for unit in named}:
        return asked
    begins = [unit for unit in named if f" {asked.casefold()}" in f" {unit.casefold()}"]
    return begins[0] if len(begins) == 1 else asked


def _still_listed(patient: PatientFacts, until: datetime) -> bool:
    """Return whether one who left is still on the sheet: nobody has taken over what is due, and not for too long; with
    a needle in, a hold or a danger for as long as it lasts."""
    states = [line.state for line in patient.lines]
    if any(state.needle or state.holds or state.dangers for state in states):
        return True
    recent = patient.left_at is not None and patient.left_at.astimezone(UTC) >= until
    return recent and not patient.taken_over


def _number(room: str) -> int:
    digits = "".join(sign for sign in room if sign in "0123456789")
    return int(digits[:9]) if digits else 0
