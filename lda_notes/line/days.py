"""Days of a central line for surveillance: day number, eligibility, the window after, the denominator by unit.

The rules are those of the NHSN patient safety manual, chapters 2 and 4, as far as they are known to us; where the
text is uncertain or editions differ, an option of the policy decides (`OPTIONS`). Days are calendar days of the
stay's own time zone, never hours.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal
from functools import cached_property
from typing import Final, Literal

from lda_notes.knowledge.policy import Policy
from lda_notes.line import due
from lda_notes.line.states import UnitStay
from lda_notes.line.timeline import Timeline
from lda_notes.record import events as ev

COUNTED: Final = frozenset(
    {"at", "kind", "of", "inserted_at", "unit", "to_unit", "setting", "to_setting", "admitted_at", "implanted_on"}
)
"""Facts that counts of days rest on."""

OPTIONS: Final = (
    "denominator_counts",
    "denominator_time",
    "flush_counts_as_access",
    "procedural_access_counts",
    "arrival_in_use_counts",
    "arrival_unused_counts",
)
"""The options of the policy that these counts follow."""

LIMITS: Final = (
    "line_day_eligible",
    "window_days_after_removal",
    "infection_window_days_before",
    "infection_window_days_after",
    "repeat_infection_days",
    "hospital_onset_day",
    "transfer_days",
    "rate_per_line_days",
)
"""The limits of the policy that these counts follow."""

_DAY: Final = timedelta(days=1)
_MOST_DAYS: Final = 366 * 20


@dataclass(frozen=True, slots=True)
class LineDay:
    """One patient on one calendar day.

    ``line_day`` is the central line day number, None before the first access counts and after the line is gone.
    ``eligible``: an infection of that day counts against the line by its day number. ``in_window``: an infection
    with this date of event is associated with the line, which includes the days after removal or discharge.
    ``unit`` is where the patient was counted (at the set time of day, else where the day ended), ``attributed_unit``
    the unit that an infection of this day belongs to. ``patient_day``: the patient counts in ``unit`` at that time of
    day, ``device_day``: with a line; both are None when that time has not come. ``hospital_day`` counts from admission
    to an inpatient unit.
    """

    day: date
    hospital_day: int | None
    line_in: bool
    line_day: int | None
    eligible: bool
    in_window: bool
    unit: str | None
    attributed_unit: str | None
    device_day: bool | None
    patient_day: bool | None


@dataclass(frozen=True, slots=True)
class Stay:
    """One patient's stay in the facility: the timelines of all ports that it concerns, at least one."""

    timelines: tuple[Timeline, ...]

    @property
    def patient(self) -> tuple[tuple[str, str], ...]:
        """Return the patient's identifiers, as system and value."""
        return tuple(sorted({(i.system, i.value) for t in self.timelines for i in t.episode.patient.identifiers}))


@dataclass(frozen=True, slots=True)
class UnitCount:
    """Counts of one unit over the days asked for. ``ratio`` and ``rate`` are None when they are undefined."""

    unit: str
    line_days: int
    counted_patient_days: int
    patient_days: int | None = None
    infections: int | None = None
    ratio: Decimal | None = None
    rate: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Infection:
    """What the date of a first positive blood specimen implies, by the surveillance rules."""

    event: date
    window_opens: date
    window_closes: date
    repeat_closes: date
    hospital_day: int | None
    onset: Literal["present on admission", "hospital onset", "outside the stay"]
    line_associated: bool
    attributed_unit: str | None


def stays(timelines: Sequence[Timeline]) -> tuple[Stay, ...]:
    """Group timelines into stays: same patient (an identifier in common), overlapping time in the same facility."""
    groups: list[list[Timeline]] = []
    by_identifier: dict[tuple[str, str, str], list[int]] = {}
    for timeline in timelines:
        facility = timeline.episode.stay.facility
        keys = [(facility, i.system, i.value) for i in timeline.episode.patient.identifiers]
        near = dict.fromkeys(group for key in keys for group in by_identifier.get(key, ()))
        home = next((g for g in near if any(_overlap(timeline, other) for other in groups[g])), None)
        if home is None:
            home = len(groups)
            groups.append([])
        groups[home].append(timeline)
        for key in keys:
            by_identifier.setdefault(key, []).append(home)
    return tuple(Stay(tuple(group)) for group in groups)


def _overlap(one: Timeline, other: Timeline) -> bool:
    first, second = _extent(one), _extent(other)
    return first[0] <= second[1] and second[0] <= first[1]


def _extent(timeline: Timeline) -> tuple[datetime, datetime]:
    """Return when a stay began and ended, as far as the record says; without discharge it lasts."""
    end = timeline.discharge.event.at if timeline.discharge else datetime.max.replace(tzinfo=UTC)
    return _began(timeline), end


def _began(timeline: Timeline) -> datetime:
    """Return when the stay began: the admission, else the first event."""
    admitted = timeline.episode.stay.admitted_at
    return min([e.event.at for e in timeline.entries[:1]] + ([admitted] if admitted else []), default=timeline.asof)


def _inpatient(unit: UnitStay) -> bool:
    """Tell whether a unit is an inpatient location; one whose setting is not recorded is taken for one."""
    return unit.setting in (None, "inpatient")


@dataclass(frozen=True)
class _Line:
    """One port of one stay, by calendar day."""

    timeline: Timeline
    policy: Policy

    def local(self, moment: datetime) -> date:
        return moment.astimezone(due.zone_of(self.timeline)).date()

    @cached_property
    def began(self) -> date:
        return self.local(_began(self.timeline))

    @cached_property
    def ends(self) -> date | None:
        return self.local(self.timeline.discharge.event.at) if self.timeline.discharge else None

    @cached_property
    def presence(self) -> tuple[tuple[datetime | None, datetime | None], ...]:
        """When the port was in the body, as half-open stretches; None is before the record begins, or still."""
        changes = [e for e in self.timeline.entries if isinstance(e.event, ev.PortImplanted | ev.PortRemoved)]
        placed_first = bool(changes) and isinstance(changes[0].event, ev.PortImplanted)
        stretches: list[tuple[datetime | None, datetime | None]] = [] if placed_first else [(None, None)]
        for entry in changes:
            if isinstance(entry.event, ev.PortImplanted):
                stretches.append((entry.event.at, None))
            elif isinstance(entry.event, ev.PortRemoved) and stretches and stretches[-1][1] is None:
                stretches[-1] = (stretches[-1][0], entry.event.at)
        return tuple(stretches)

    def in_body_on(self, day: date) -> bool:
        """Tell whether the port was in the body at any moment of a day of the stay."""
        if day < self.began or (self.ends is not None and day > self.ends):
            return False
        return any(
            (start is None or self.local(start) <= day) and (end is None or day <= self.local(end))
            for start, end in self.presence
        )

    def in_body_at(self, moment: datetime) -> bool:
        return any(_within(moment, start, end) for start, end in self.presence)

    @cached_property
    def accesses(self) -> tuple[datetime, ...]:
        """When an access that counts was made: in an inpatient location, during this stay."""
        return tuple(self._accesses())

    @cached_property
    def accessed_on(self) -> frozenset[date]:
        """Days with an access that counts."""
        return frozenset(map(self.local, self.accesses))

    def _accesses(self) -> Iterator[datetime]:
        been_inpatient = False
        here = 0
        for step in self.timeline.steps:
            event = step.entry.event
            while here + 1 < len(self.timeline.units) and _starts_by(self.timeline.units[here + 1], event.at):
                been_inpatient = been_inpatient or _inpatient(self.timeline.units[here])
                here += 1
            unit = self.timeline.units[here]
            procedural = (
                unit.setting == "procedure area"
                and been_inpatient
                and self.policy.choice("procedural_access_counts") == "yes"
            )
            counts = _inpatient(unit) or procedural
            if counts and self._enters(event):
                yield event.at
            if isinstance(event, ev.Transfer) and _inpatient(unit) and self._arrives_accessed(event.at):
                yield event.at
            if isinstance(event, ev.ArrivalAccessed) and counts and self._arrival_counts(bool(event.infusion)):
                yield event.at

    def _enters(self, event: ev.Event) -> bool:
        """Tell whether an event enters the line, or places it."""
        flush = self.policy.choice("flush_counts_as_access") == "yes"
        match event:
            case ev.Access() | ev.LineUse() | ev.PatencyTreatment() | ev.PortImplanted():
                return True
            case ev.FlushOrLock():
                return flush
            case ev.Deaccess() | ev.PatencyCheck():
                return flush and isinstance(event.flushes, tuple)
            case ev.LineCheck():
                return bool(event.infusion)
            case _:
                return False

    def _arrival_counts(self, in_use: bool) -> bool:
        return self.policy.choice("arrival_in_use_counts" if in_use else "arrival_unused_counts") == "yes"

    def _arrives_accessed(self, moment: datetime) -> bool:
        """Tell whether the patient reached a unit with a needle in that counts."""
        states = [self.timeline.state_at(septum, moment) for septum in self.timeline.episode.port.septa]
        return any(s.needle is not None and self._arrival_counts(s.infusion is not None) for s in states)

    def active_on(self, day: date) -> bool:
        """Tell whether the port was in the body on ``day`` and had been accessed since it came to be there."""
        if not self.in_body_on(day):
            return False
        since = max(
            (self.local(start) for start, _ in self.presence if start is not None and self.local(start) <= day),
            default=self.began,
        )
        return any(since <= accessed <= day for accessed in self.accessed_on)

    def active_at(self, moment: datetime) -> bool:
        """Tell whether the port is in the body at ``moment`` and has been accessed since it came to be there."""
        here = [start for start, end in self.presence if _within(moment, start, end)]
        return bool(here) and any((here[0] is None or here[0] <= at) and at <= moment for at in self.accesses)


def _within(moment: datetime, start: datetime | None, end: datetime | None) -> bool:
    return (start is None or start <= moment) and (end is None or moment < end)


def _starts_by(unit: UnitStay, moment: datetime) -> bool:
    return unit.since is None or unit.since <= moment


@dataclass(frozen=True)
class _Count:
    stay: Stay
    policy: Policy

    @cached_property
    def lines(self) -> tuple[_Line, ...]:
        return tuple(_Line(timeline, self.policy) for timeline in self.stay.timelines)

    @cached_property
    def _main(self) -> _Line:
        """The line whose record says most about the patient's moves."""
        return max(self.lines, key=lambda line: (len(line.timeline.units), line.ends is not None))

    def unit_at(self, moment: datetime) -> UnitStay | None:
        """Return the unit that houses the patient, None before admission and after discharge."""
        if moment < _began(self._main.timeline):
            return None
        return self._main.timeline.unit_at(moment)

    def housed(self, day: date) -> list[UnitStay]:
        """Return the units that housed the patient on ``day``, in order."""
        local = self._main.local
        began = self._main.began
        return [
            unit
            for unit in self._main.timeline.units
            if (local(unit.since) if unit.since else began) <= day and (unit.until is None or day <= local(unit.until))
        ]

    @cached_property
    def admitted_to_unit(self) -> date | None:
        """Hospital day 1: the first day in an inpatient location."""
        for unit in self._main.timeline.units:
            if _inpatient(unit):
                return self._main.local(unit.since) if unit.since else self._main.began
        return None

    def hospital_day(self, day: date) -> int | None:
        first = self.admitted_to_unit
        if first is None or day < first or (self._main.ends is not None and day > self._main.ends):
            return None
        return (day - first).days + 1

    def attributed(self, day: date) -> str | None:
        """Return the unit that an infection of ``day`` belongs to: after a move, the one the patient came from."""
        back = int(self.policy.value("transfer_days"))
        window = [self._inpatient_units(day - _DAY * n) for n in range(back, -1, -1)]
        for units in window:
            if units:
                return units[0].unit
        return None

    def _inpatient_units(self, day: date) -> list[UnitStay]:
        return [unit for unit in self.housed(day) if _inpatient(unit)]

    def days(self, first: date, last: date) -> Iterator[LineDay]:
        asof = max(line.timeline.asof for line in self.lines)
        zone = due.zone_of(self._main.timeline)
        at = self.policy.clock("denominator_time")
        from_access = self.policy.choice("denominator_counts") == "from first access"
        eligible_from = int(self.policy.value("line_day_eligible"))
        after = int(self.policy.value("window_days_after_removal"))
        number: int | None = None
        last_eligible: date | None = None
        day = min(line.began for line in self.lines)
        while day <= last:
            number = (number or 0) + 1 if any(line.active_on(day) for line in self.lines) else None
            eligible = number is not None and number >= eligible_from
            last_eligible = day if eligible else last_eligible
            if day >= first:
                moment = datetime.combine(day, at, zone)
                unit = self.unit_at(moment)
                inpatient = unit is not None and _inpatient(unit)
                counted = [line for line in self.lines if line.in_body_at(moment)]
                if from_access:
                    counted = [line for line in counted if line.active_at(moment)]
                housed = self.housed(day)
                yield LineDay(
                    day,
                    self.hospital_day(day),
                    any(line.in_body_on(day) for line in self.lines),
                    number,
                    eligible,
                    last_eligible is not None and (day - last_eligible).days <= after,
                    unit.unit if unit else housed[-1].unit if housed else None,
                    self.attributed(day),
                    inpatient and bool(counted) if moment <= asof else None,
                    inpatient if moment <= asof else None,
                )
            day += _DAY


def days(stay: Stay, policy: Policy, first: date, last: date) -> tuple[LineDay, ...]:
    """Return each calendar day of ``stay`` from ``first`` to ``last``, both included, and the days of the window after.

    Days before the stay began are left out, and so are those after the window that follows discharge. Nothing after
    the moment judged from is counted. Raises ValueError when ``last`` is before ``first`` or decades after the stay
    began.
    """
    if last < first:
        raise ValueError("the last day is before the first")
    count = _Count(stay, policy)
    asof = max(line.local(line.timeline.asof) for line in count.lines)
    if (min(last, asof) - min(line.began for line in count.lines)).days > _MOST_DAYS:
        raise ValueError("a stay of more than 20 years is a slip of the pen")
    ends = [line.ends for line in count.lines]
    gone = max((end for end in ends if end is not None), default=asof) if None not in ends else asof
    after = _DAY * int(policy.value("window_days_after_removal"))
    return tuple(
        day
        for day in count.days(first, min(last, asof, gone + after))  # no day after that can be counted
        if day.hospital_day is not None or day.in_window or count.housed(day.day)
    )


def patient_days(found: Sequence[tuple[Stay, tuple[LineDay, ...]]]) -> tuple[dict[str, int], dict[str, int]]:
    """Return line days and patient days by unit: one per patient and day, however many lines or records there are."""
    lines: dict[str, set[tuple[date, object]]] = {}
    patients: dict[str, set[tuple[date, object]]] = {}
    for stay, counted in found:
        key = stay.patient
        for day in counted:
            if day.unit is not None and day.patient_day:
                patients.setdefault(day.unit, set()).add((day.day, key))
                lines.setdefault(day.unit, set())
                if day.device_day:
                    lines[day.unit].add((day.day, key))
    return {unit: len(seen) for unit, seen in lines.items()}, {unit: len(seen) for unit, seen in patients.items()}


def unit_count(
    unit: str,
    line_days: int,
    counted: int,
    policy: Policy,
    patient_days: int | None,
    infections: int | None,
    *,
    whole: bool,
) -> UnitCount:
    """Return the counts of one unit with its utilization ratio and rate, where they are defined.

    Of ports alone, not the ``whole`` of the unit's central lines, neither is.
    """
    ratio = utilization(line_days, patient_days) if whole and patient_days is not None else None
    per_1000 = rate(infections, line_days, policy) if whole and infections is not None else None
    return UnitCount(unit, line_days, counted, patient_days, infections, ratio, per_1000)


def utilization(line_days: int, patient_days: int) -> Decimal | None:
    """Return line days per patient day, to three places; None without patient days."""
    return _rounded(Decimal(line_days) / patient_days, "0.001") if patient_days else None


def rate(infections: int, line_days: int, policy: Policy) -> Decimal | None:
    """Return infections per 1000 line days (or what the policy says), to two places; None without line days."""
    if not line_days:
        return None
    return _rounded(infections * policy.value("rate_per_line_days") / line_days, "0.01")


def _rounded(value: Decimal, step: str) -> Decimal:
    return value.quantize(Decimal(step), ROUND_HALF_UP)


def infection(stay: Stay, policy: Policy, positive: date) -> Infection:
    """Return what a first positive blood specimen of ``positive`` implies for a stay.

    The date of event is the day of the specimen (laboratory-confirmed infection, criterion 1): other criteria, and
    infections that are secondary to another site, are for people to judge.
    """
    found = days(stay, policy, positive, positive)
    day = found[0] if found else None
    hospital_day = day.hospital_day if day else None
    onset: Literal["present on admission", "hospital onset", "outside the stay"] = "outside the stay"
    if hospital_day is not None:
        late = hospital_day >= policy.value("hospital_onset_day")
        onset = "hospital onset" if late else "present on admission"
    elif day is not None and day.in_window:
        onset = "hospital onset"
    return Infection(
        positive,
        positive - _DAY * int(policy.value("infection_window_days_before")),
        positive + _DAY * int(policy.value("infection_window_days_after")),
        positive + _DAY * (int(policy.value("repeat_infection_days")) - 1),
        hospital_day,
        onset,
        day is not None and day.in_window and onset == "hospital onset",
        day.attributed_unit if day else None,
    )


def unclear(stay: Stay) -> tuple[str, ...]:
    """Return what the count had to take for granted, in plain words."""
    units = dict.fromkeys(u.unit for t in stay.timelines for u in t.units if u.setting is None)
    return tuple(f"the setting of {unit} is not recorded; it is counted as an inpatient unit" for unit in units)


def as_rows(stay: Stay, counted: Sequence[LineDay]) -> list[dict[str, object]]:
    """Return days as surveillance lists have them, for JSON or CSV: the patient's first identifier, and no name."""
    patient = stay.timelines[0].episode.patient.identifiers[0].value
    records = [timeline.episode.id for timeline in stay.timelines]
    return [
        {
            "patient": patient,
            "records": records,
            "date": day.day.isoformat(),
            "hospital_day": day.hospital_day,
            "line_in": day.line_in,
            "line_day": day.line_day,
            "eligible": day.eligible,
            "in_window": day.in_window,
            "unit": day.unit,
            "attributed_unit": day.attributed_unit,
            "device_day": day.device_day,
            "patient_day": day.patient_day,
        }
        for day in counted
    ]
