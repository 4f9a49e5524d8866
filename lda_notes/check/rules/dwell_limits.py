"""Limits of time in place: needle, dressing, looks at the line, flushes of a port that rests."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise

from lda_notes.check.rule_table import Case, Entry, Found, Step, rule
from lda_notes.check.rules.overrun import first_after, judged_until, lasted, length, overrun
from lda_notes.check.rules.patients import is_adult
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.line import due
from lda_notes.line.states import DressingStay, NeedleStay
from lda_notes.problems import Related, Severity
from lda_notes.record.events import (
    Access,
    ArrivalAccessed,
    Deaccess,
    DressingChange,
    Event,
    LineCheck,
    LineUse,
    PortImplanted,
)


@rule(
    "unsafe",
    "look for signs of infection, record why the needle stayed in, and plan the next change within the limit",
    limits=("needle_dwell_days",),
)
def needle_dwell(case: Case) -> Iterable[Found]:
    """Compares the time that each needle stayed in, from access to removal, with the limit for non-coring needles.

    The longer a needle stays in, the more time bacteria have to travel along it, and the more the skin and the septum
    suffer. One study saw no harm up to 28 days, but nearly every source sets seven days.

    A dressing change never restarts the needle's clock.
    """
    return _needles_past_limit(case, out=True)


def _needles_past_limit(case: Case, *, out: bool) -> Iterator[Found]:
    """Yield a fault for each needle that stayed in past the limit until it was ``out``, or else is still in past it."""
    limit = "needle_dwell_days"
    for stay in (stay for stays in case.timeline.needles.values() for stay in stays):
        if stay.since is None or (stay.closed is not None) is not out:
            continue
        until = stay.closed.event.at if stay.closed is not None else judged_until(case)
        by = overrun(case, stay.since, limit, until)
        if by is not None:
            where = stay.closed or stay.opened
            yield Found(
                where.path("at"),
                f"the needle put in {case.say(stay.since)} {_stayed(case, 'in', stay.since, until, over=out)}; "
                f"it was due out by {case.say(by)}, after {case.policy.text(limit)}",
                related=_first_seen(case, stay, by),
                event=where.event.id,
                severity=_late(case, by, limit, until),
            )


def _stayed(case: Case, where: str, since: datetime, until: datetime, *, over: bool) -> str:
    """Return how long something stayed, or is still, in or on."""
    length = lasted(case, since, until)
    moment = case.say(until)
    return f"stayed {where} until {moment}, {length}" if over else f"is still {where} at {moment}, after {length}"


def _late(case: Case, by: datetime, limit: str, moment: datetime) -> Severity | None:
    """Return how much the delay matters: on its first day it is overdue, from the second it is unsafe."""
    last = due.late_after(by, limit, case.policy) + timedelta(days=1)
    return "advice" if moment.astimezone(UTC) <= last.astimezone(UTC) else None


def _first_seen(case: Case, stay: NeedleStay, by: datetime) -> tuple[Related, ...]:
    """Return where the stay began, and the first event past its limit at which the needle was still in."""
    related = [Related(stay.opened.path(), "the needle's stay begins here")]
    late = first_after(case, stay, by)
    if late is not None:
        related.append(Related(late.path("at"), "the needle was still in at this event"))
    return tuple(related)


@rule(
    "unsafe",
    "take the needle out or change it now, and record why it stayed in",
    limits=("needle_dwell_days",),
)
def needle_overdue(case: Case) -> Iterable[Found]:
    """Compares the time since access of a needle that is still in with the limit, at the moment judged from.

    A needle past its limit puts the patient at risk of infection with every further hour. After a discharge the time
    is judged at the discharge, where this record ends.

    Needle, extension and dressing are changed together.
    """
    return _needles_past_limit(case, out=False)


_UNDER_FILM = Citation("ins-2016", "M-H", "gauze under a transparent film")
_DRESSINGS = ("transparent_dressing_days", "gauze_dressing_days", "gauze_under_wings_days")


@rule(
    "unsafe",
    "look for signs of infection, record why the dressing stayed on, and plan the next change by its type",
    limits=_DRESSINGS,
    cites=(_UNDER_FILM,),
)
def dressing_dwell(case: Case) -> Iterable[Found]:
    """Compares the time that each dressing stayed on with the limit for its type.

    A transparent dressing may stay for a week; gauze hides the site and holds moisture, so it is changed every two
    days. Gauze under a transparent film counts as gauze; gauze only under the needle's wings counts as transparent
    while the entry site is in view.
    """
    return _dressings_past_limit(case, off=True)


def _dressings_past_limit(case: Case, *, off: bool) -> Iterator[Found]:
    """Yield a fault for each dressing that stayed on past its limit until it was ``off``, or is still on past it."""
    for stay in (stay for stays in case.timeline.dressings.values() for stay in stays):
        limit = due.dressing_limit(stay.dressing)
        if stay.since is None or limit is None or (stay.ended is not None) is not off:
            continue
        until = stay.ended.event.at if stay.ended is not None else judged_until(case)
        by = overrun(case, stay.since, limit, until)
        if by is not None:
            where = stay.ended or stay.put_on
            yield Found(
                where.path("at"),
                f"the {_kind(stay)} put on {case.say(stay.since)} {_stayed(case, 'on', stay.since, until, over=off)}; "
                f"it was due to be changed by {case.say(by)}, after {case.policy.text(limit)}",
                related=(Related(stay.put_on.path("dressing"), "this dressing"),) if off else (),
                citations=_cited(case, stay, limit),
                event=where.event.id,
                severity=_late(case, by, limit, until),
            )


def _cited(case: Case, stay: DressingStay, limit: str) -> tuple[Citation, ...]:
    under = stay.dressing is not None and stay.dressing.type == "gauze under transparent"
    return (*case.policy.citations(limit), *((_UNDER_FILM,) if under else ()))


def _kind(stay: DressingStay) -> str:
    kind = stay.dressing.type if stay.dressing is not None else None
    if kind == "gauze under wings" and stay.dressing is not None and stay.dressing.site_visible is False:
        return "dressing with gauze that hides the site"
    return f"{kind} dressing"


@rule("unsafe", "change the dressing now, and record why it stayed on", limits=_DRESSINGS, cites=(_UNDER_FILM,))
def dressing_overdue(case: Case) -> Iterable[Found]:
    """Compares the time since the last dressing was put on with the limit for its type, at the moment judged from.

    A dressing past its limit no longer protects the site. After a discharge the time is judged at the discharge, where
    this record ends.

    Look at the site while it is bare.
    """
    return _dressings_past_limit(case, off=False)


@rule(
    "unsafe",
    "change the dressing now, whatever its day, and record the change",
    limits=("failed_dressing_hours",),
    cites=(Citation("ahrq-ch42", "R", "table 3"), Citation("cdc-2017", "R")),
)
def failed_dressing_left(case: Case) -> Iterable[Found]:
    """Looks, after a dressing was found damp, soiled, loose or missing, for the change that must follow.

    A dressing that is not whole lets bacteria and water to the needle; the sources ask for a change at once, on any
    day. It counts as left when the next look comes before the change, or the change after the hours of the limit.

    The needle keeps its own clock.
    """
    for look, failed, changed in _left_failed(case):
        until = f"was left until {case.say(changed.event.at)}" if changed is not None else "no change is charted"
        told = any(problem.told is not None for problem in getattr(look.event, "problems", ()))
        yield Found(
            look.path("dressing_found"),
            f"the dressing was found {' and '.join(failed)} at {case.say(look.event.at)}, and {until}"
            f"{'' if told else '; no one is charted as notified'}",
            event=look.event.id,
        )


_ENDS_A_DRESSING = frozenset({DressingChange, Access, ArrivalAccessed, Deaccess})


def _left_failed(case: Case) -> Iterator[tuple[Entry, list[str], Entry | None]]:
    """Yield each look at a failed dressing that was left, and what changed it in the end."""
    waiting: dict[str | None, tuple[Entry, list[str]]] = {}
    at_once = case.span("failed_dressing_hours")
    for step in case.timeline.steps:
        event = step.entry.event
        # Kinds are compared by class: asking whether a model is an instance of another is ten times slower.
        if event.__class__ in _ENDS_A_DRESSING and step.septum in waiting:
            look, failed = waiting.pop(step.septum)
            if event.at - look.event.at > at_once:
                yield look, failed, step.entry
        if event.__class__ is LineCheck or event.__class__ is ArrivalAccessed:
            assert isinstance(event, LineCheck | ArrivalAccessed)
            if step.septum in waiting:
                yield (*waiting.pop(step.septum), None)
            found = event.dressing_found if type(event.dressing_found) is tuple and step.after.needle else ()
            if bad := [str(word) for word in found if word != "intact"]:
                waiting[step.septum] = (step.entry, bad)
    for look, failed in waiting.values():
        yield look, failed, None


@rule(
    "unsafe",
    "change what is of unknown age now, and ask the place that put it in",
    limits=("unknown_age_hours",),
    cites=(COMMON_PRACTICE,),
)
def unknown_age_left(case: Case) -> Iterable[Found]:
    """Finds a needle or dressing of unknown age that stayed on after the arrival.

    What nobody can date is due now: it may be past its limit already, and every day adds to it.

    Needle, extension and dressing are changed together. If the date is found out, amend the arrival.
    """
    within = case.span("unknown_age_hours")
    unknown: list[tuple[str, Entry, Entry | None]] = [
        *(
            ("needle", stay.opened, stay.closed)
            for of in case.timeline.needles.values()
            for stay in of
            if not stay.since
        ),
        *(("dressing", on.put_on, on.ended) for of in case.timeline.dressings.values() for on in of if not on.since),
    ]
    reported: set[str] = set()
    for what, found, gone in unknown:
        until = gone.event.at if gone is not None else judged_until(case)
        if until - found.event.at > within and found.event.id not in reported:
            reported.add(found.event.id)  # a needle of unknown age and its dressing are changed together
            yield Found(
                found.path("inserted_at" if what == "needle" else "dressed_at"),
                f"a {what} of unknown age was on the patient at {case.say(found.event.at)} and was still there at "
                f"{case.say(until)}, {length(until - found.event.at)} later",
                event=found.event.id,
                lacks=("inserted_at",) if what == "needle" else ("dressed_at",),
            )


@rule("advice", "look at the line at each shift and chart it", limits=("line_check_hours", "line_check_slack_minutes"))
def line_check_interval(case: Case) -> Iterable[Found]:
    """Measures the time between two looks at a port with a needle in: access, dressing change, line check, removal.

    Swelling, leaking and a loosened dressing show first to the eye; a needle that nobody looks at for long can do harm
    unseen. The interval is common practice and a facility may set its own; no shift looks at home or in a clinic.

    A look that was made and not charted is a late entry.
    """
    span = case.span("line_check_hours") + case.span("line_check_slack_minutes")
    for septum, gap in _gaps_between_looks(case).items():
        late = [
            (began, ended)
            for began, ended in gap
            if ended - began[0] > span and due.looked_at_by_shift(case.timeline, began[0])
        ]
        if not late:
            continue
        (began, entry), ended = max(late, key=lambda pair: pair[1] - pair[0][0])
        more = f"; {len(late) - 1} more such gap{'s' if len(late) > 2 else ''}" if len(late) > 1 else ""
        where = f' of septum "{septum}"' if len(case.timeline.needles) > 1 else ""
        yield Found(
            entry.path("at"),
            f"no line check{where} is charted from {case.say(began)} to {case.say(ended)}, "
            f"{length(ended - began)}; line checks are at most {case.policy.text('line_check_hours')} apart{more}",
            event=entry.event.id,
        )


_Gap = tuple[tuple[datetime, Entry], datetime]


def _gaps_between_looks(case: Case) -> dict[str, list[_Gap]]:
    gaps: dict[str, list[_Gap]] = {septum: [] for septum in case.timeline.needles}
    for step in case.timeline.steps:
        before = step.before
        if step.septum is None or before.needle is None or before.last_check is None:
            continue
        if step.after.last_check is not before.last_check or step.after.needle is not before.needle:
            seen = before.last_check.event.at
            gaps[step.septum].append(((seen, before.last_check), step.entry.event.at))
    end = judged_until(case)
    for septum, found in gaps.items():
        state = case.timeline.state_at(septum, end)
        if state.needle is not None and state.last_check is not None:
            found.append(((state.last_check.event.at, state.last_check), end))
    return gaps


@rule(
    "advice",
    "flush and lock an accessed port that rests, and chart it; policies differ, from every day to every week",
    limits=("accessed_idle_flush_hours",),
)
def accessed_idle_flush(case: Case) -> Iterable[Found]:
    """Measures how long a port with a needle in rested between uses: no infusion, no flush, no lock, no other use.

    Blood drifts into a line that rests and can clot there. Sources differ widely on the interval, from daily to
    weekly, so a facility should set its own.

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
                entry.path("at"),
                f"the accessed port rested from {case.say(since)} to {case.say(ended)}, {length(ended - since)}, "
                f"without a flush on record; policy asks for one every {case.policy.text('accessed_idle_flush_hours')}",
                event=entry.event.id,
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
            or type(step.entry.event) is LineUse
        )
        if not used:
            continue
        if last is not None and step.before.needle is not None and _at_rest(step):
            yield last, step.entry.event.at
        last = step.entry
    end = judged_until(case)
    state = case.timeline.state_at(septum, end)
    if last is not None and state.needle is not None and state.infusion is None and state.dwell is None:
        yield last, end


def _at_rest(step: Step) -> bool:
    return step.before.infusion is None and step.before.dwell is None


@rule(
    "advice",
    "plan the next flush within the interval that the facility has chosen",
    limits=("idle_flush_days",),
    cites=(Citation("wu-2021", "R2"),),
)
def idle_flush(case: Case) -> Iterable[Found]:
    """Measures how long a port stood without a needle between two accesses, or stands so now, during the stay.

    An idle port is flushed so that it stays open. Most sources ask for four weeks; studies of six to eight weeks, and
    of twelve, saw no more occlusions, so a facility may set a longer interval.

    If the port was not flushed when it was due, record why.
    """
    elsewhere = sorted(
        due.flushed_elsewhere_at(entry.event)
        for entry in case.timeline.entries
        if entry.event.kind == "flushed elsewhere"
    )
    for septum, stays in case.timeline.needles.items():
        for before, after in pairwise(stays):
            if before.closed is not None:
                yield from _stood_idle(
                    case, septum, elsewhere, before.closed, after.opened.event.at, after.opened, "stood"
                )
        last = stays[-1].closed if stays else None
        if last is not None and case.timeline.discharge is None and case.timeline.now(septum).port_in:
            yield from _stood_idle(case, septum, elsewhere, last, case.timeline.asof, last, "stands")


def _stood_idle(
    case: Case, septum: str, elsewhere: list[datetime], removal: Entry, until: datetime, where: Entry, verb: str
) -> Iterator[Found]:
    position = bisect_left(elsewhere, until)
    since = max([removal.event.at, *elsewhere[max(position - 1, 0) : position]])
    by = overrun(case, since, "idle_flush_days", until)
    if by is not None and due.flush_allowed(case.timeline.state_at(septum, by)):
        stood = f"{verb} without a needle" if since == removal.event.at else f"{verb} without a flush"
        yield Found(
            where.path("at"),
            f"the port {stood} from {case.say(since)} to {case.say(until)}, {length(until - since)}; "
            f"a flush was due by {case.say(by)}, after {case.policy.text('idle_flush_days')}",
            event=where.event.id,
        )


# -- a new port --


@rule(
    "advice",
    "look closely at pocket and incision, and chart how the incision is",
    limits=("post_implant_tender_hours", "post_implant_child_days"),
)
def accessed_soon_after_implantation(step: Step, event: Access, case: Case) -> Iterable[Found]:
    """Looks, at an access soon after implantation, for a word on the incision; a child's new port is left for a week.

    A new port may be used at once; but the pocket is swollen and tender for about three days, which hides early signs
    of trouble. One source leaves a child's new port for a week. Where only the day of implantation is recorded, what
    may have been long enough is let pass.

    Wait where waiting is possible.
    """
    implanted = implanted_at(case, event)
    if implanted is None:
        return
    child = is_adult(case, event) is False
    limit = "post_implant_child_days" if child else "post_implant_tender_hours"
    if not child and getattr(event.site, "incision", None) is not None:
        return
    if timedelta(0) <= event.at - implanted < case.span(limit):
        settles = "a child's new port is left alone" if child else "the pocket may be swollen and tender"
        yield Found(
            step.entry.path("at"),
            f"the port, implanted on {case.say(implanted)[:10]}, was accessed at {case.say(event.at)}; "
            f"{settles} for {case.policy.text(limit)}",
            citations=case.policy.citations(limit),
        )


def implanted_at(case: Case, event: Event) -> datetime | None:
    """Return when the port was implanted, as far as known at ``event``: the moment, or the beginning of the day."""
    moments = case.once(_implantations)
    position = bisect_right(moments, event.at)
    if position:
        return moments[position - 1]
    day = case.timeline.episode.port.implanted_on
    return None if day is None else datetime.combine(day, time(), case.zone)


def _implantations(case: Case) -> list[datetime]:
    return [entry.event.at for entry in case.timeline.entries if type(entry.event) is PortImplanted]
