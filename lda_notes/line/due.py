"""Clocks: which kinds restart them, which limit they run to, when the next falls due."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from typing import Literal, NamedTuple
from zoneinfo import ZoneInfo

from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.line.corrections import Entry
from lda_notes.line.states import DressingStay, NeedleStay, State
from lda_notes.line.timeline import Timeline
from lda_notes.record import events as ev
from lda_notes.record.parts import DayOnly, Dressing, began

ClockName = Literal[
    "needle change", "dressing change", "line check", "flush", "idle flush", "maintenance flush", "thrombolytic check"
]


class Due(NamedTuple):
    """One running clock.

    ``by`` is when the interval is over, to the minute; None means that the start is unknown and the act is due now.
    ``late`` is the last moment that does not count as overdue, by the policy's counting. ``since`` is the moment that
    the clock was last restarted by ``restarted_by``; ``limit`` names the policy row it runs to; ``why`` says in plain
    words what it rests on.
    """

    clock: ClockName
    septum: str
    by: datetime | None
    since: datetime | None
    restarted_by: Entry
    limit: str
    why: str
    late: datetime | None = None
    charted: bool = False
    """Whether a nurse charted the time as the next one, and nothing computed it."""

    def overdue(self, moment: datetime) -> bool:
        """Return whether ``moment`` counts as overdue; an unknown start does, a mere reminder never."""
        if self.limit == "accessed_idle_flush_hours" and self.by is not None and not self.charted:
            return False
        # Two moments of one zone would be compared by the wall clock, which runs twice through an hour in autumn.
        last = self.late or self.by
        return last is None or moment.astimezone(UTC) > last.astimezone(UTC)


def end_of(since: datetime, limit: str, policy: Policy, zone: ZoneInfo) -> datetime:
    """Return when an interval that began at ``since`` is over, in ``zone``: a day is 24 elapsed hours."""
    return (since.astimezone(UTC) + policy.span(limit)).astimezone(zone)


def counted_by_day(limit: str, policy: Policy) -> bool:
    """Return whether an interval counts as overdue only from the day after its end.

    Limits in hours and minutes never do. Gauze is counted by the hour unless the policy itself sets how; a policy that
    sets ``interval_counting`` sets it for gauze too.
    """
    if policy.limit(limit).unit != "days":
        return False
    gauze = limit == "gauze_dressing_days"
    if gauze and (policy.states("gauze_interval_counting") or not policy.states("interval_counting")):
        return policy.choice("gauze_interval_counting") == "calendar day"
    return policy.choice("interval_counting") == "calendar day"


def late_after(by: datetime, limit: str, policy: Policy) -> datetime:
    """Return the last moment that does not count as overdue, of an interval that is over at ``by``, or on that day."""
    by_day = counted_by_day(limit, policy) or isinstance(by, DayOnly)
    return datetime.combine(by.date(), time.max, by.tzinfo) if by_day else by


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
    moment = moment or timeline.asof
    found = list(clocks(timeline, timeline.state_at(septum, moment), moment, policy, zone_of(timeline)))
    return tuple(sorted(found, key=_soonest))


def charted(timeline: Timeline, septum: str, policy: Policy, moment: datetime) -> Iterator[Due]:
    """Yield the next times that a nurse charted, where ``clocks`` gives a later one or none, until the act is done."""
    state = timeline.state_at(septum, moment)
    if not state.port_in or died(timeline, moment):
        return
    told = {
        key: (by, step.entry)
        for step in timeline.course(septum)
        if step.entry.event.at <= moment
        for key, by in getattr(getattr(step.entry.event, "next_due", None), "__dict__", {}).items()
        if isinstance(by, datetime)
    }
    computed = due(timeline, septum, policy, moment)
    slack = policy.span("clock_slack_minutes")
    for key, (clock, limit, done) in _charted_clocks(timeline, state, moment).items():
        if key not in told or (done is not None and done > told[key][1].event.at):
            continue
        by, entry = told[key]
        if all(other.by is not None and by + slack < other.by for other in computed if other.clock == clock):
            why = "charted as the next one"
            yield Due(clock, septum, by, entry.event.at, entry, limit, why, late_after(by, limit, policy), charted=True)


def _charted_clocks(
    timeline: Timeline, state: State, moment: datetime
) -> dict[str, tuple[ClockName, str, datetime | None]]:
    """Return what may be charted as next: its clock, its limit, and when it was last done."""
    found: dict[str, tuple[ClockName, str, datetime | None]] = {}
    if state.needle is not None:
        put_on = state.dressing.put_on.event.at if state.dressing is not None else None
        dressing = dressing_limit(state.dressing.dressing if state.dressing is not None else None)
        found["needle_change"] = ("needle change", "needle_dwell_days", state.needle.opened.event.at)
        found["dressing_change"] = ("dressing change", dressing or "gauze_dressing_days", put_on)
    if state.infusion is None and flush_allowed(state):
        tended = _latest(state.last_flush, state.last_lock, state.last_removal)
        done = tended.event.at if tended is not None else None
        if state.needle is not None:
            found["flush"] = ("flush", "accessed_idle_flush_hours", done)
        elif has_left(timeline, moment):
            found["flush"] = ("maintenance flush", "idle_flush_days", done)
        else:
            found["flush"] = ("idle flush", "idle_flush_days", done)
    return found


def _soonest(due: Due) -> tuple[bool, datetime, str]:
    return due.by is not None, (due.by or due.restarted_by.event.at).astimezone(UTC), due.clock


def clocks(timeline: Timeline, state: State, moment: datetime, policy: Policy, zone: ZoneInfo) -> Iterator[Due]:
    """Yield every clock that runs in ``state``, the state at ``moment``, in no particular order."""
    if not state.port_in or died(timeline, moment):
        return
    left = has_left(timeline, moment)
    if state.needle is not None:
        yield _needle(state, policy, zone)
        yield _dressing(state, state.needle, policy, zone)
        if state.last_check is not None and not left and looked_at_by_shift(timeline, moment):
            yield _plain(
                "line check", "line_check_hours", state, state.last_check, policy, zone, "last look at the line"
            )
        reminded = policy.states("accessed_idle_flush_hours") or state.danger("D6") is not None
        if state.infusion is None and reminded and flush_allowed(state):
            yield _idle(state, state.needle, policy, zone)
        if state.dwell is not None:
            yield from _thrombolytic(state, policy, zone)
        return
    tended = _latest(state.last_flush, state.last_lock) or state.last_removal
    if tended is None or not flush_allowed(state):
        return
    flushed = tended in (state.last_flush, state.last_lock)
    why = "last flush or lock" if flushed else "needle removed, no flush recorded"
    if tended.event.kind == "flushed elsewhere":
        why = f"flushed elsewhere{_by_word_of(tended.event)}"
    if left:
        yield _plain("maintenance flush", home_flush_limit(policy), state, tended, policy, zone, why)
    else:
        yield _plain("idle flush", "idle_flush_days", state, tended, policy, zone, why)


def home_flush_limit(policy: Policy) -> str:
    """Return the limit of a port without a needle after discharge: that of the hospital unless policy gives two."""
    two = policy.rows["maintenance_flush_days"] != DEFAULT.rows["maintenance_flush_days"]
    return "maintenance_flush_days" if two else "idle_flush_days"


def flush_allowed(state: State) -> bool:
    """Return whether a flush may be advised: no hold, nothing dwelling, nothing that must come out first."""
    in_the_way = any(d.code in ("D2", "D4") or (d.code in ("D1", "D3") and not d.phase) for d in state.dangers)
    return not state.holds and state.dwell is None and not in_the_way


def died(timeline: Timeline, moment: datetime) -> bool:
    """Return whether the patient had died by ``moment``: nothing is due any more."""
    left = timeline.discharge
    return has_left(timeline, moment) and left is not None and getattr(left.event, "destination", None) == "died"


def has_left(timeline: Timeline, moment: datetime) -> bool:
    """Return whether the patient had left by ``moment``."""
    left = timeline.discharge
    return left is not None and left.event.at <= moment


def looked_at_by_shift(timeline: Timeline, moment: datetime) -> bool:
    """Return whether a nurse of each shift looks at the line: nobody does at home or between visits to a clinic."""
    unit = timeline.unit_at(moment)
    return unit is None or unit.setting not in ("home", "outpatient")


def _by_word_of(event: ev.Event) -> str:
    where, word = event.__dict__.get("where"), event.__dict__.get("by_word_of")
    return (f" at {where}" if where else "") + (f", as reported by {word}" if word else "")


def flushed_elsewhere_at(event: ev.Event) -> datetime:
    """Return when a flush took place that was done elsewhere; a day alone counts from its start."""
    on = event.__dict__.get("on")
    return began(on, event.at) or event.at


def _idle(state: State, needle: NeedleStay, policy: Policy, zone: ZoneInfo) -> Due:
    limit = "accessed_idle_flush_hours"
    open_line = state.danger("D6")
    if open_line is not None and open_line.began is not None:
        return Due("flush", state.septum, None, None, open_line.began, limit, open_line.what)
    tended = _latest(state.last_flush, state.last_lock, state.infusion_stopped)
    if tended is None:
        return Due("flush", state.septum, None, None, needle.opened, limit, "no flush is recorded")
    why = "infusion stopped" if tended is state.infusion_stopped else "last flush or lock"
    return _plain("flush", limit, state, tended, policy, zone, why)


def _needle(state: State, policy: Policy, zone: ZoneInfo) -> Due:
    stay = state.needle
    assert stay is not None
    limit = "needle_dwell_days"
    loose = next((hold for hold in state.holds if hold.reason == "needle partly out"), None)
    if loose is not None:
        why = "needle partly out: a new sterile needle, never pushed back"
        return Due("needle change", state.septum, None, None, loose.began, limit, why)
    if state.danger("D2") is not None:
        return Due(
            "needle change", state.septum, None, None, stay.opened, limit, "ordinary (coring) needle in the port"
        )
    if stay.since is None:
        return Due("needle change", state.septum, None, None, stay.opened, limit, "time of insertion is not known")
    by = end_of(stay.since, limit, policy, zone)
    late = late_after(by, limit, policy)
    return Due("needle change", state.septum, by, stay.since, stay.opened, limit, "needle put in", late)


def _dressing(state: State, needle: NeedleStay, policy: Policy, zone: ZoneInfo) -> Due:
    stay = state.dressing
    if stay is None:
        why = "no dressing is recorded"
        return Due("dressing change", needle.septum, None, None, needle.opened, "transparent_dressing_days", why)
    limits = _dressing_limits(stay.dressing)
    if not limits:
        why = "dressing type is not known"
        return Due("dressing change", stay.septum, None, stay.since, stay.put_on, "gauze_dressing_days", why)
    condition = _condition(stay)
    if condition:
        why = f"dressing found {condition}"
        return Due("dressing change", stay.septum, None, stay.since, stay.put_on, limits[0], why)
    if state.danger("D9") is not None:
        return Due("dressing change", stay.septum, None, stay.since, stay.put_on, limits[0], "known allergy")
    if stay.since is None:
        why = "time of dressing is not known"
        return Due("dressing change", stay.septum, None, None, stay.put_on, limits[0], why)
    ends = [(end_of(stay.since, limit, policy, zone), limit) for limit in limits]
    by, limit = min(ends, key=lambda end: end[0].astimezone(UTC))
    late = late_after(by, limit, policy)
    return Due("dressing change", stay.septum, by, stay.since, stay.put_on, limit, "dressing put on", late)


def _dressing_limits(dressing: Dressing | None) -> tuple[str, ...]:
    """Return the limits that a dressing runs to: its type's and, if it contains chlorhexidine, the disc's own."""
    limit = dressing_limit(dressing)
    if dressing is None or limit is None:
        return ()
    chlorhexidine = dressing.chlorhexidine_disc is True or dressing.type == "transparent with chlorhexidine"
    return (limit, "chg_dressing_days") if chlorhexidine else (limit,)


def _condition(stay: DressingStay) -> str:
    """Return what the last look that recorded its condition said is wrong with the dressing that is on."""
    found = stay.found.event if stay.found is not None else None
    if not isinstance(found, ev.LineCheck | ev.ArrivalAccessed) or not isinstance(found.dressing_found, tuple):
        return ""
    return " and ".join(word for word in found.dressing_found if word != "intact")


def _plain(clock: ClockName, limit: str, state: State, entry: Entry, policy: Policy, zone: ZoneInfo, why: str) -> Due:
    since = entry.event.at
    if entry.event.kind == "flushed elsewhere":
        since = flushed_elsewhere_at(entry.event)
    by = end_of(since, limit, policy, zone)
    return Due(clock, state.septum, by, since, entry, limit, why, late_after(by, limit, policy))


def _thrombolytic(state: State, policy: Policy, zone: ZoneInfo) -> Iterator[Due]:
    dwell = state.dwell
    assert dwell is not None
    if getattr(dwell.treatment.event, "drug", "") != "alteplase":
        return  # the times of the alteplase label are those of alteplase
    start = dwell.treatment.event.at
    slack = policy.span("clock_slack_minutes")
    waited = max((check.event.at - start for check in dwell.checks), default=timedelta(0))
    for limit in ("alteplase_first_check_minutes", "alteplase_second_check_minutes"):
        if waited < policy.span(limit) - slack:
            by = end_of(start, limit, policy, zone)
            yield Due("thrombolytic check", state.septum, by, start, dwell.treatment, limit, "thrombolytic put in")


def _latest(*entries: Entry | None) -> Entry | None:
    return max(
        (entry for entry in entries if entry is not None), key=lambda e: _moment(e.event).astimezone(UTC), default=None
    )


def _moment(event: ev.Event) -> datetime:
    return flushed_elsewhere_at(event) if event.kind == "flushed elsewhere" else event.at
