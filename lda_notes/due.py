"""Clocks: which kinds restart them, which limit they run to, when the next falls due."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from lda_notes import events as ev
from lda_notes.policy import Policy
from lda_notes.shapes import Dressing
from lda_notes.timeline import DressingStay, Entry, State, Timeline

ClockName = Literal[
    "needle change", "dressing change", "line check", "flush", "idle flush", "maintenance flush", "thrombolytic check"
]


@dataclass(frozen=True, slots=True)
class Due:
    """One running clock.

    ``by`` is the last moment in time; None means that the start is unknown and the act is due now. ``since`` is the
    moment that the clock was last restarted by ``restarted_by``; ``limit`` names the policy row it runs to; ``why``
    says in plain words what it rests on.
    """

    clock: ClockName
    septum: str
    by: datetime | None
    since: datetime | None
    restarted_by: Entry
    limit: str
    why: str

    def overdue(self, moment: datetime) -> bool:
        """Tell whether ``moment`` is past the due time; an unknown start counts as overdue."""
        return self.by is None or moment > self.by


def end_of(since: datetime, limit: str, policy: Policy, zone: ZoneInfo) -> datetime:
    """Return the last moment in time of an interval that began at ``since``, in ``zone``.

    Limits in days follow the policy's ``interval_counting``: by the hour (24 elapsed hours a day, whatever the clocks
    do) or by calendar day (until the end of that day, local time). Limits in hours and minutes are always elapsed.
    """
    row = policy.limit(limit)
    if row.unit == "days" and policy.choice("interval_counting") == "calendar day":
        day = since.astimezone(zone).date() + timedelta(days=int(row.value))
        return datetime.combine(day, time(23, 59, 59), zone)
    return (since.astimezone(UTC) + policy.span(limit)).astimezone(zone)


def zone_of(timeline: Timeline) -> ZoneInfo:
    """Return the stay's time zone."""
    return ZoneInfo(timeline.episode.stay.time_zone)


def dressing_limit(dressing: Dressing | None) -> str | None:
    """Return the name of the limit that a dressing runs to; None when its type is not known."""
    match dressing.type if dressing is not None else None:
        case "transparent" | "transparent with chlorhexidine":
            return "transparent_dressing_days"
        case "gauze under wings":
            visible = dressing is not None and dressing.site_visible is not False
            return "gauze_under_wings_days" if visible else "gauze_dressing_days"
        case "gauze" | "gauze under transparent":
            return "gauze_dressing_days"
        case _:
            return None


def due(timeline: Timeline, septum: str, policy: Policy, moment: datetime | None = None) -> tuple[Due, ...]:
    """Return every clock that runs for ``septum`` at ``moment`` (default: the moment judged from), soonest first."""
    state = timeline.state_at(septum, moment or timeline.asof)
    found = list(_clocks(timeline, state, policy, zone_of(timeline)))
    return tuple(sorted(found, key=lambda d: (d.by is not None, d.by or d.restarted_by.event.at, d.clock)))


def _clocks(timeline: Timeline, state: State, policy: Policy, zone: ZoneInfo) -> Iterator[Due]:
    if not state.port_in:
        return
    if state.needle is not None:
        yield _needle(state, policy, zone)
        if state.dressing is not None:
            yield _dressing(state.dressing, state, policy, zone)
        if state.last_check is not None:
            yield _plain(
                "line check", "line_check_hours", state, state.last_check, policy, zone, "last look at the line"
            )
        tended = _latest(state.last_flush, state.last_lock)
        if state.infusion is None and tended is not None and state.dwell is None:
            yield _plain("flush", "accessed_idle_flush_hours", state, tended, policy, zone, "last flush or lock")
        if state.dwell is not None:
            yield from _thrombolytic(state, policy, zone)
        return
    tended = _latest(state.last_flush, state.last_lock, state.last_removal)
    if tended is None:
        return
    if timeline.discharge is not None:
        yield _plain("maintenance flush", "maintenance_flush_days", state, tended, policy, zone, "last flush or lock")
    else:
        yield _plain("idle flush", "idle_flush_days", state, tended, policy, zone, "last flush or lock")


def _needle(state: State, policy: Policy, zone: ZoneInfo) -> Due:
    stay = state.needle
    assert stay is not None
    limit = "needle_dwell_days"
    if stay.since is None:
        return Due("needle change", state.septum, None, None, stay.opened, limit, "time of insertion is not known")
    by = end_of(stay.since, limit, policy, zone)
    return Due("needle change", state.septum, by, stay.since, stay.opened, limit, "needle put in")


def _dressing(stay: DressingStay, state: State, policy: Policy, zone: ZoneInfo) -> Due:
    limit = dressing_limit(stay.dressing)
    if limit is None:
        return Due(
            "dressing change",
            state.septum,
            None,
            stay.since,
            stay.put_on,
            "gauze_dressing_days",
            "dressing type is not known",
        )
    condition = _condition(stay, state)
    if condition:
        return Due("dressing change", state.septum, None, stay.since, stay.put_on, limit, f"dressing found {condition}")
    if stay.since is None:
        return Due("dressing change", state.septum, None, None, stay.put_on, limit, "time of dressing is not known")
    by = end_of(stay.since, limit, policy, zone)
    return Due("dressing change", state.septum, by, stay.since, stay.put_on, limit, "dressing put on")


def _condition(stay: DressingStay, state: State) -> str:
    """Return what the last look said is wrong with the dressing that is on now."""
    last = state.last_check
    if last is None or not isinstance(last.event, ev.LineCheck | ev.ArrivalAccessed):
        return ""
    found = last.event.dressing_found
    if not isinstance(found, tuple):
        return ""
    return " and ".join(word for word in found if word != "intact")


def _plain(clock: ClockName, limit: str, state: State, entry: Entry, policy: Policy, zone: ZoneInfo, why: str) -> Due:
    since = entry.event.at
    return Due(clock, state.septum, end_of(since, limit, policy, zone), since, entry, limit, why)


def _thrombolytic(state: State, policy: Policy, zone: ZoneInfo) -> Iterator[Due]:
    dwell = state.dwell
    assert dwell is not None
    start = dwell.treatment.event.at
    waited = max((check.event.at - start for check in dwell.checks), default=timedelta(0))
    for limit in ("alteplase_first_check_minutes", "alteplase_second_check_minutes"):
        if waited < policy.span(limit):
            by = end_of(start, limit, policy, zone)
            yield Due("thrombolytic check", state.septum, by, start, dwell.treatment, limit, "thrombolytic put in")
            return


def _latest(*entries: Entry | None) -> Entry | None:
    return max((entry for entry in entries if entry is not None), key=lambda e: e.event.at, default=None)
