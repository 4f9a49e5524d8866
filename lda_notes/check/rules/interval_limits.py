"""Limits of the time between two looks at a line, and between two flushes of a port that rests."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator
from datetime import datetime
from itertools import pairwise

from lda_notes.check.rule_table import Case, Entry, Found, advice
from lda_notes.check.rules.overrun import judged_until, length, overrun
from lda_notes.knowledge.sources import Citation
from lda_notes.line import due
from lda_notes.line.states import State
from lda_notes.record import events as ev


@advice("look at the line each shift and chart it", limits=("line_check_hours", "line_check_slack_minutes"))
def line_check_interval(case: Case) -> Iterable[Found]:
    """Measures the time between two checks of a port with a needle in: access, dressing change, line check, removal.

    Swelling, leaking and a loosened dressing show first to the eye; a needle that is not looked at for long can do harm
    unseen. The interval is common practice and a facility may set its own; no shift looks at home or in a clinic.

    A check that was made but not charted is a late entry.
    """
    span = case.span("line_check_hours") + case.span("line_check_slack_minutes")
    for septum, gaps in _gaps_between_looks(case).items():
        late = [
            (ended - seen.event.at, seen, ended)
            for seen, ended in gaps
            if ended - seen.event.at > span and due.looked_at_by_shift(case.timeline, seen.event.at)
        ]
        if late:
            gap, seen, ended = max(late, key=lambda one: one[0])
            more = f"; {len(late) - 1} more such gap{'s' if len(late) > 2 else ''}" if len(late) > 1 else ""
            where = f' of septum "{septum}"' if len(case.timeline.needles) > 1 else ""
            yield Found(
                "at",
                f"no line check{where} is charted from {case.say(seen.event.at)} to {case.say(ended)}, "
                f"{length(gap)}; line checks are at most {case.policy.text('line_check_hours')} apart{more}",
                seen,
            )


def _gaps_between_looks(case: Case) -> dict[str, list[tuple[Entry, datetime]]]:
    """Return by septum, while a needle is in, each look and the time of the next."""
    gaps: dict[str, list[tuple[Entry, datetime]]] = {septum: [] for septum in case.timeline.needles}
    for step in case.timeline.steps:
        before = step.before
        if step.septum is None or before.needle is None or before.last_check is None:
            continue
        if step.after.last_check is not before.last_check or step.after.needle is not before.needle:
            gaps[step.septum].append((before.last_check, step.entry.event.at))
    end = judged_until(case)
    for septum, found in gaps.items():
        state = case.timeline.state_at(septum, end)
        if state.needle is not None and state.last_check is not None:
            found.append((state.last_check, end))
    return gaps


@advice(
    "flush and lock an accessed port that is idle, and chart it; policies differ, from every day to every week",
    limits=("accessed_idle_flush_hours",),
)
def accessed_idle_flush(case: Case) -> Iterable[Found]:
    """Measures how long an accessed port was idle between uses: no infusion, no flush, no lock, no other use.

    Blood drifts into an idle line and can clot there. Sources differ widely on the interval, from daily to weekly, so a
    facility should set its own.

    If the line was used in between, chart that use.
    """
    if not case.policy.states("accessed_idle_flush_hours"):
        return
    span = case.span("accessed_idle_flush_hours")
    for septum in case.timeline.needles:
        rests = [rest for rest in _rests(case, septum) if rest[1] - rest[0].event.at > span]
        if rests:
            entry, ended = max(rests, key=lambda rest: rest[1] - rest[0].event.at)
            since = entry.event.at
            yield Found(
                "at",
                f"the accessed port rested from {case.say(since)} to {case.say(ended)}, {length(ended - since)}, "
                f"without a flush on record; policy asks for one every {case.policy.text('accessed_idle_flush_hours')}",
                entry,
            )


def _rests(case: Case, septum: str) -> Iterator[tuple[Entry, datetime]]:
    """Yield each time in which the needle was in and nothing went through it: from its last use, until when."""
    last: Entry | None = None
    for step in case.timeline.steps:
        if step.septum != septum:
            continue
        used = (
            step.after.last_flush is step.entry
            or step.after.last_lock is step.entry
            or step.after.dwell is not step.before.dwell
            or step.after.infusion is not step.before.infusion
            or step.after.needle is not step.before.needle
            or type(step.entry.event) is ev.LineUse
        )
        if not used:
            continue
        if last is not None and _at_rest(step.before):
            yield last, step.entry.event.at
        last = step.entry
    end = judged_until(case)
    if last is not None and _at_rest(case.timeline.state_at(septum, end)):
        yield last, end


def _at_rest(state: State) -> bool:
    return state.needle is not None and state.infusion is None and state.dwell is None


@advice(
    "plan the next flush within the interval that the facility has chosen",
    Citation("wu-2021", "R2"),
    limits=("idle_flush_days",),
)
def idle_flush(case: Case) -> Iterable[Found]:
    """Measures how long a port stood without a needle between two accesses, or has stood since, during the stay.

    An idle port is flushed so that it stays open. Most sources ask for four weeks; studies of six to eight weeks, and
    of twelve, saw no more occlusions, so a facility may set a longer interval.

    If the port was not flushed when it was due, record why.
    """
    line = case.timeline
    others = (entry.event for entry in line.entries if entry.event.kind == "flushed elsewhere")
    elsewhere = sorted(due.flushed_elsewhere_at(event) for event in others)
    for septum, stays in line.needles.items():
        idle = [(one.closed, after.opened.event.at, after.opened, "stood") for one, after in pairwise(stays)]
        if stays and line.discharge is None and line.now(septum).port_in:
            idle.append((stays[-1].closed, line.asof, stays[-1].closed or stays[-1].opened, "stands"))
        for removal, until, where, verb in idle:
            if removal is None:
                continue
            position = bisect_left(elsewhere, until)
            since = max([removal.event.at, *elsewhere[max(position - 1, 0) : position]])
            by = overrun(case, since, "idle_flush_days", until)
            if by is not None and due.flush_allowed(line.state_at(septum, by)):
                without = "needle" if since == removal.event.at else "flush"
                yield Found(
                    "at",
                    f"the port {verb} without a {without} from {case.say(since)} to {case.say(until)}, "
                    f"{length(until - since)}; a flush was due by {case.say(by)}, after "
                    f"{case.policy.text('idle_flush_days')}",
                    where,
                )
