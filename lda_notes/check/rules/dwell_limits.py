"""Limits of time in place: needle, dressing, what is of unknown age; and a port that was just put in."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, time, timedelta

from lda_notes.check.rule_table import Case, Entry, Found, Step, advice, unsafe
from lda_notes.check.rules.overrun import first_after, judged_until, lasted, length, overrun
from lda_notes.check.rules.patients import is_adult
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.line import due
from lda_notes.line.states import DressingStay, NeedleStay
from lda_notes.problems import Related
from lda_notes.record import events as ev


@unsafe(
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
    for stay in (stay for stays in case.timeline.needles.values() for stay in stays):
        times = ("needle_dwell_days", stay.since, stay.opened, stay.closed)
        for late, by in _past_limit(case, "the needle put in", "in", "due out", *times, over=out):
            yield late._replace(related=_first_seen(case, stay, by))


def _past_limit(
    case: Case,
    what: str,
    place: str,
    due_to: str,
    limit: str | None,
    since: datetime | None,
    began: Entry,
    ended: Entry | None,
    *,
    over: bool,
) -> Iterator[tuple[Found, datetime]]:
    """Yield what stayed past its limit until it was ``over``, or else still stays, with the time when it was due.

    On the first day of the delay it is overdue, from the second it is unsafe.
    """
    if since is None or limit is None or (ended is not None) is not over:
        return
    until = ended.event.at if ended is not None else judged_until(case)
    by = overrun(case, since, limit, until)
    if by is None:
        return
    moment, span = case.say(until), lasted(case, since, until)
    stayed = f"stayed {place} until {moment}, {span}" if over else f"is still {place} at {moment}, after {span}"
    says = f"{what} {case.say(since)} {stayed}; it was {due_to} by {case.say(by)}, after {case.policy.text(limit)}"
    last = due.late_after(by, limit, case.policy) + timedelta(days=1)
    overdue = until.astimezone(UTC) <= last.astimezone(UTC)
    yield Found("at", says, ended or began, severity="advice" if overdue else None), by


def _first_seen(case: Case, stay: NeedleStay, by: datetime) -> tuple[Related, ...]:
    """Return where the stay began, and the first event past its limit at which the needle was still in."""
    related = [Related(stay.opened.path(), "the needle's stay begins here")]
    late = first_after(case, stay, by)
    if late is not None:
        related.append(Related(late.path("at"), "the needle was still in at this event"))
    return tuple(related)


@unsafe("take the needle out or change it now, and record why it stayed in", limits=("needle_dwell_days",))
def needle_overdue(case: Case) -> Iterable[Found]:
    """Compares how long a needle that is still in has been there with the limit, as of the time of the check.

    A needle past its limit puts the patient at risk of infection with every further hour. After a discharge the time is
    counted up to the discharge, where this record ends.

    Needle, extension and dressing are changed together.
    """
    return _needles_past_limit(case, out=False)


_UNDER_FILM = Citation("ins-2016", "M-H", "gauze under a transparent film")
_DRESSINGS = ("transparent_dressing_days", "gauze_dressing_days", "gauze_under_wings_days")


@unsafe(
    "look for signs of infection, record why the dressing stayed on, and plan the next change by its type",
    _UNDER_FILM,
    limits=_DRESSINGS,
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
        times = (limit, stay.since, stay.put_on, stay.ended)
        for late, _ in _past_limit(case, f"the {_kind(stay)} put on", "on", "due to be changed", *times, over=off):
            related = (Related(stay.put_on.path("dressing"), "this dressing"),) if off else ()
            yield late._replace(related=related, citations=_cited(case, stay, limit or ""))


def _cited(case: Case, stay: DressingStay, limit: str) -> tuple[Citation, ...]:
    under = stay.dressing is not None and stay.dressing.type == "gauze under transparent"
    return (*case.policy.citations(limit), *((_UNDER_FILM,) if under else ()))


def _kind(stay: DressingStay) -> str:
    kind = stay.dressing.type if stay.dressing is not None else None
    if kind == "gauze under wings" and stay.dressing is not None and stay.dressing.site_visible is False:
        return "dressing with gauze that hides the site"
    return f"{kind} dressing"


@unsafe("change the dressing now, and record why it stayed on", _UNDER_FILM, limits=_DRESSINGS)
def dressing_overdue(case: Case) -> Iterable[Found]:
    """Compares the time since the last dressing was put on with the limit for its type, as of the time of the check.

    A dressing past its limit no longer protects the site. After a discharge the time is counted up to the discharge,
    where this record ends.

    Look at the site while it is bare.
    """
    return _dressings_past_limit(case, off=False)


@unsafe(
    "change the dressing now, whatever its due date, and record the change",
    Citation("ahrq-ch42", "R", "table 3"),
    Citation("cdc-2017", "R"),
    limits=("failed_dressing_hours",),
)
def failed_dressing_left(case: Case) -> Iterable[Found]:
    """Looks for the change that must follow when a dressing is found damp, soiled, loose or missing.

    A dressing that is not intact lets bacteria and water reach the needle; the sources ask for a change at once,
    whatever the day. It counts as left if the next check comes before the change, or if the change comes after the
    hours of the limit.

    The needle keeps its own clock.
    """
    for look, failed, changed in _left_failed(case):
        until = f"was left until {case.say(changed.event.at)}" if changed is not None else "no change is charted"
        told = any(problem.told is not None for problem in getattr(look.event, "problems", ()))
        yield Found(
            "dressing_found",
            f"the dressing was found {' and '.join(failed)} at {case.say(look.event.at)}, and {until}"
            f"{'' if told else '; no one is charted as notified'}",
            look,
        )


_ENDS_A_DRESSING = frozenset({ev.DressingChange, ev.Access, ev.ArrivalAccessed, ev.Deaccess})


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
        if event.__class__ is ev.LineCheck or event.__class__ is ev.ArrivalAccessed:
            assert isinstance(event, ev.LineCheck | ev.ArrivalAccessed)
            if step.septum in waiting:
                yield (*waiting.pop(step.septum), None)
            found = event.dressing_found if type(event.dressing_found) is tuple and step.after.needle else ()
            if bad := [str(word) for word in found if word != "intact"]:
                waiting[step.septum] = (step.entry, bad)
    for look, failed in waiting.values():
        yield look, failed, None


@unsafe(
    "change what is of unknown age now, and ask the place that put it in",
    COMMON_PRACTICE,
    limits=("unknown_age_hours",),
)
def unknown_age_left(case: Case) -> Iterable[Found]:
    """Finds a needle or dressing of unknown age that stayed on after the arrival.

    What cannot be dated is due now: it may be past its limit already, and every day adds to it.

    Needle, extension and dressing are changed together. If the date is found out, amend the arrival.
    """
    within = case.span("unknown_age_hours")
    line = case.timeline
    needles = (stay for stays in line.needles.values() for stay in stays if not stay.since)
    dressings = (stay for stays in line.dressings.values() for stay in stays if not stay.since)
    reported: set[str] = set()
    for what, fact, found, gone in (
        *(("needle", "inserted_at", stay.opened, stay.closed) for stay in needles),
        *(("dressing", "dressed_at", stay.put_on, stay.ended) for stay in dressings),
    ):
        until = gone.event.at if gone is not None else judged_until(case)
        if until - found.event.at > within and found.event.id not in reported:
            reported.add(found.event.id)  # a needle of unknown age and its dressing are changed together
            yield Found(
                fact,
                f"a {what} of unknown age was on the patient at {case.say(found.event.at)} and was still there at "
                f"{case.say(until)}, {length(until - found.event.at)} later",
                found,
                lacks=(fact,),
            )


# -- a new port --


@advice(
    "look closely at the pocket and the incision, and chart how the incision looks",
    limits=("post_implant_tender_hours", "post_implant_child_days"),
)
def accessed_soon_after_implantation(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Looks for a note on the incision at an access soon after implantation; a child's new port is left for a week.

    A new port may be used at once; but the pocket is swollen and tender for about three days, which hides early signs
    of trouble. One source leaves a child's new port for a week. If only the day of implantation is recorded, an
    interval that may have been long enough is accepted.

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
            "at",
            f"the port, implanted on {case.say(implanted)[:10]}, was accessed at {case.say(event.at)}; "
            f"{settles} for {case.policy.text(limit)}",
            citations=case.policy.citations(limit),
        )


def implanted_at(case: Case, event: ev.Event) -> datetime | None:
    """Return when the port was implanted, as far as known at ``event``: the moment, or the beginning of the day."""
    moments = case.once(_implantations)
    position = bisect_right(moments, event.at)
    if position:
        return moments[position - 1]
    day = case.timeline.episode.port.implanted_on
    return None if day is None else datetime.combine(day, time(), case.zone)


def _implantations(case: Case) -> list[datetime]:
    return [entry.event.at for entry in case.timeline.entries if type(entry.event) is ev.PortImplanted]
