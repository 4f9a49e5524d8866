"""Which days of a stay are device days, of which unit, and which day each is: by the rules that `days` names."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from typing import Final, NamedTuple

from lda_notes.knowledge.policy import Policy
from lda_notes.line import due
from lda_notes.line.states import UnitStay
from lda_notes.line.timeline import Timeline
from lda_notes.record import events as ev

DAY: Final = timedelta(days=1)


class LineDay(NamedTuple):
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


class Stay(NamedTuple):
    """One patient's stay in the facility: the timelines of all ports that it concerns, at least one."""

    timelines: tuple[Timeline, ...]

    @property
    def patient(self) -> tuple[tuple[str, str], ...]:
        """Return the patient's identifiers, as system and value."""
        return tuple(sorted({(i.system, i.value) for t in self.timelines for i in t.episode.patient.identifiers}))


def extent(timeline: Timeline) -> tuple[datetime, datetime]:
    """Return when a stay began and ended, as far as the record says; without discharge it lasts."""
    end = timeline.discharge.event.at if timeline.discharge else datetime.max.replace(tzinfo=UTC)
    return stay_began(timeline), end


def stay_began(timeline: Timeline) -> datetime:
    """Return when the stay began: the admission, else the first event."""
    admitted = timeline.episode.stay.admitted_at
    return min([e.event.at for e in timeline.entries[:1]] + ([admitted] if admitted else []), default=timeline.asof)


def is_inpatient(unit: UnitStay) -> bool:
    """Return whether a unit is an inpatient location; one whose setting is not recorded is taken for one."""
    return unit.setting in (None, "inpatient")


@dataclass(frozen=True)
class PortDays:
    """One port of one stay, by calendar day."""

    timeline: Timeline
    policy: Policy

    def local(self, moment: datetime) -> date:
        """Return the day of a moment in the zone of the stay."""
        return moment.astimezone(due.zone_of(self.timeline)).date()

    @cached_property
    def began(self) -> date:
        """The first day of the stay."""
        return self.local(stay_began(self.timeline))

    @cached_property
    def ends(self) -> date | None:
        """The day of discharge; None without one."""
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
        """Return whether the port was in the body at any moment of a day of the stay."""
        if day < self.began or (self.ends is not None and day > self.ends):
            return False
        return any(
            (start is None or self.local(start) <= day) and (end is None or day <= self.local(end))
            for start, end in self.presence
        )

    def in_body_at(self, moment: datetime) -> bool:
        """Return whether the port was in the body at a moment."""
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
                been_inpatient = been_inpatient or is_inpatient(self.timeline.units[here])
                here += 1
            unit = self.timeline.units[here]
            procedural = (
                unit.setting == "procedure area"
                and been_inpatient
                and self.policy.choice("procedural_access_counts") == "yes"
            )
            counts = is_inpatient(unit) or procedural
            if counts and self._enters(event):
                yield event.at
            if isinstance(event, ev.Transfer) and is_inpatient(unit) and self._arrives_accessed(event.at):
                yield event.at
            if isinstance(event, ev.ArrivalAccessed) and counts and self._arrival_counts(bool(event.infusion)):
                yield event.at

    def _enters(self, event: ev.Event) -> bool:
        """Return whether an event enters the line, or places it."""
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
        """Return whether the patient reached a unit with a needle in that counts."""
        states = [self.timeline.state_at(septum, moment) for septum in self.timeline.episode.port.septa]
        return any(s.needle is not None and self._arrival_counts(s.infusion is not None) for s in states)

    def active_on(self, day: date) -> bool:
        """Return whether the port was in the body on ``day`` and had been accessed since it came to be there."""
        if not self.in_body_on(day):
            return False
        since = max(
            (self.local(start) for start, _ in self.presence if start is not None and self.local(start) <= day),
            default=self.began,
        )
        return any(since <= accessed <= day for accessed in self.accessed_on)

    def active_at(self, moment: datetime) -> bool:
        """Return whether the port is in the body at ``moment`` and has been accessed since it came to be there."""
        here = [start for start, end in self.presence if _within(moment, start, end)]
        return bool(here) and any((here[0] is None or here[0] <= at) and at <= moment for at in self.accesses)


def _within(moment: datetime, start: datetime | None, end: datetime | None) -> bool:
    return (start is None or start <= moment) and (end is None or moment < end)


def _starts_by(unit: UnitStay, moment: datetime) -> bool:
    return unit.since is None or unit.since <= moment


@dataclass(frozen=True)
class StayDays:
    """One stay with all of its ports, by calendar day."""

    stay: Stay
    policy: Policy

    @cached_property
    def lines(self) -> tuple[PortDays, ...]:
        """Its ports."""
        return tuple(PortDays(timeline, self.policy) for timeline in self.stay.timelines)

    @cached_property
    def _main(self) -> PortDays:
        """The line whose record says most about the patient's moves."""
        return max(self.lines, key=lambda line: (len(line.timeline.units), line.ends is not None))

    def unit_at(self, moment: datetime) -> UnitStay | None:
        """Return the unit that houses the patient, None before admission and after discharge."""
        if moment < stay_began(self._main.timeline):
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
            if is_inpatient(unit):
                return self._main.local(unit.since) if unit.since else self._main.began
        return None

    def hospital_day(self, day: date) -> int | None:
        """Return the number of a hospital day; None outside the stay in an inpatient location."""
        first = self.admitted_to_unit
        if first is None or day < first or (self._main.ends is not None and day > self._main.ends):
            return None
        return (day - first).days + 1

    def attributed(self, day: date) -> str | None:
        """Return the unit that an infection of ``day`` belongs to: after a move, the one the patient came from."""
        back = int(self.policy.value("transfer_days"))
        window = [self._inpatient_units(day - DAY * n) for n in range(back, -1, -1)]
        for units in window:
            if units:
                return units[0].unit
        return None

    def _inpatient_units(self, day: date) -> list[UnitStay]:
        return [unit for unit in self.housed(day) if is_inpatient(unit)]

    def days(self, first: date, last: date) -> Iterator[LineDay]:
        """Yield each day of the stay between two days."""
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
                inpatient = unit is not None and is_inpatient(unit)
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
            day += DAY
