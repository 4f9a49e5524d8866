"""Intervals that ran past their limit. The exact due time is worked out only when it may have passed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from lda_notes.check.rule_table import Case, Entry, Step
from lda_notes.line import due
from lda_notes.line.states import NeedleStay
from lda_notes.record.parts import DayOnly

_CLOCK_CHANGE = timedelta(hours=2)
"""More than any clock change: an interval shorter than its limit by this much cannot have run out."""


def overrun(case: Case, since: datetime, limit: str, moment: datetime) -> datetime | None:
    """Return when the interval that began at ``since`` ended, if ``moment`` is past that; else None."""
    if moment - since <= case.span(limit) - _CLOCK_CHANGE:
        return None
    by = due.end_of(since, limit, case.policy, case.zone)
    last = due.late_after(by, limit, case.policy)
    # Two times of one zone are compared by their wall clocks, which repeat an hour in autumn: hence UTC.
    return by if moment.astimezone(UTC) > last.astimezone(UTC) else None


def judged_until(case: Case) -> datetime:
    """Return up to when the record speaks of the line: the moment judged from, or the discharge before it."""
    left = case.timeline.discharge
    if left is not None and left.event.at < case.timeline.asof:
        return left.event.at
    return case.timeline.asof


def first_after(case: Case, stay: NeedleStay, moment: datetime) -> Entry | None:
    """Return the first event of ``stay`` later than ``moment`` at which the needle was still in."""
    for step in steps_from(case, stay.opened):
        if step.entry is stay.closed:
            return None
        if step.septum == stay.septum and step.entry.event.at > moment:
            return step.entry
    return None


def steps_from(case: Case, entry: Entry) -> Iterator[Step]:
    """Yield the steps after that of ``entry``, in order of time."""
    steps = case.timeline.steps
    for position in range(case.once(_positions).get(id(entry.event), -1) + 1, len(steps)):
        yield steps[position]


def _positions(case: Case) -> dict[int, int]:
    return {id(step.entry.event): position for position, step in enumerate(case.timeline.steps)}


def lasted(case: Case, since: datetime, until: datetime) -> str:
    """Return how long something lasted: in whole days where the hour of its beginning is not known."""
    if isinstance(since, DayOnly):
        return length(timedelta(days=(case.local(until).date() - case.local(since).date()).days))
    return length(until - since)


def length(span: timedelta) -> str:
    """Return a length of time in words, seconds left out: "7 days 40 minutes"."""
    minutes = int(span.total_seconds()) // 60
    parts = [(minutes // 1440, "day"), (minutes % 1440 // 60, "hour"), (minutes % 60, "minute")]
    said = [f"{count} {name}{'' if count == 1 else 's'}" for count, name in parts if count]
    return " ".join(said) or "less than a minute"
