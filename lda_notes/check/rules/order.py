"""The order of events on the line: what may follow what."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Final

from lda_notes.check.rule_table import Case, Entry, Found, Step, advice, gap, wrong
from lda_notes.check.rules.overrun import length
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.problems import Related
from lda_notes.record import events as ev
from lda_notes.record.parts import DayOnly, began

_CDC: Final = Citation("cdc-2002", "R2", "documentation, category II")
_LABEL: Final = Citation("alteplase-label", "R")


def _named(entry: Entry, case: Case) -> str:
    return f"{entry.event.kind} {entry.event.id} at {case.say(entry.event.at)}"


def _without_needle(step: Step, case: Case, said: str, fact: str = "at") -> tuple[Found, ...]:
    """Return the fault of something done through a needle where, by the record, none is in."""
    if step.before.needle is not None:
        return ()
    removal = step.before.last_removal
    last = f"; the last one was taken out by {_named(removal, case)}" if removal is not None else ""
    return (Found(fact, f"{said}{last}"),)


# -- a needle in, or none --


@wrong("chart the removal that is missing, or correct the time", _CDC)
def access_on_accessed_port(step: Step, event: ev.Opening, case: Case) -> Iterable[Found]:
    """Finds a needle inserted into a septum that, according to the record, still has one.

    Either the removal was not charted, and with it whether the old needle came out whole, or one of the two events has
    a wrong time. Until this is settled, the needle's clock runs from the wrong needle.
    """
    stay = step.before.needle
    if stay is None:
        return ()
    message = f"a needle is put in while {_named(stay.opened, case)} is still in; no removal is charted"
    return (Found("at", message, related=(Related(stay.opened.path(), "the needle that is in"),)),)


@wrong("chart the access that is missing, or correct the time", _CDC)
def deaccess_without_access(step: Step, event: ev.Deaccess, case: Case) -> Iterable[Found]:
    """Finds the removal of a needle that, according to the record, is not in.

    A needle that was never charted in has no gauge, no length and no date; no one can say how long it was in.

    A needle that was in when the patient came is charted as an arrival with the needle in.
    """
    return _without_needle(step, case, "a needle is taken out but none is in")


@wrong("chart the access that is missing, or correct the time", _CDC)
def dressing_change_without_needle(step: Step, event: ev.DressingChange, case: Case) -> Iterable[Found]:
    """Finds a dressing change on a port that, according to the record, has no needle in.

    The dressing of an accessed port has its own clock, which cannot run without an access.

    A needle that was in when the patient came is charted as an arrival with the needle in.
    """
    return _without_needle(step, case, "a dressing is changed but no needle is in")


@wrong("chart the access that is missing, or correct the time", _CDC)
def flush_without_needle(step: Step, event: ev.FlushOrLock, case: Case) -> Iterable[Found]:
    """Finds a flush or a lock of a port that, according to the record, has no needle in.

    Without a needle nothing can be flushed: an access is missing, or the event is on the wrong septum.
    """
    return _without_needle(step, case, "the line is flushed but no needle is in")


@wrong("chart the access that is missing, or correct the time", _CDC)
def use_without_needle(step: Step, event: ev.LineUse, case: Case) -> Iterable[Found]:
    """Finds a use of the line while, according to the record, no needle is in.

    What was given must have gone somewhere: an access is missing, or the event is on the wrong septum.
    """
    return _without_needle(step, case, "the line is used but no needle is in")


@wrong("chart the access that is missing, or correct the time", _CDC)
def thrombolytic_without_needle(step: Step, event: ev.PatencyTreatment, case: Case) -> Iterable[Found]:
    """Finds a thrombolytic instilled into a port that, according to the record, has no needle in.

    The drug can dwell only behind a needle: an access is missing, or the event is on the wrong septum.
    """
    return _without_needle(step, case, "a thrombolytic is put in but no needle is in")


@wrong("chart the access that is missing, or correct the entry", _CDC)
def infusion_without_needle(step: Step, event: ev.LineCheck, case: Case) -> Iterable[Found]:
    """Finds a line check that saw an infusion running while, according to the record, no needle was in.

    Both cannot be true; if the infusion runs, a needle is in that was not charted.

    Look at the port first.
    """
    return (
        _without_needle(step, case, "an infusion runs but no needle is in", "infusion")
        if event.infusion is not None
        else ()
    )


@advice("chart the access or arrival that is missing, or correct the time", _CDC)
def dressing_before_needle(step: Step, event: ev.LineCheck, case: Case) -> Iterable[Found]:
    """Asks about a dressing seen at a line check before any needle was charted in.

    The dressing of an accessed port covers a needle; if one was in, who put it in and when was not charted. A dressing
    over a new incision is no such dressing, nor is the cover of a puncture after the needle came out.

    Look at the port first.
    """
    seen = event.dressing_found
    if step.before.needle is not None or step.before.last_removal is not None or not isinstance(seen, tuple):
        return ()
    if not seen or "missing" in seen or getattr(event.site, "incision", None) is not None:
        return ()
    return (Found("dressing_found", "a dressing is on the port, and no needle was charted in before"),)


# -- needle change --


@wrong("name the removal that belongs to this access", COMMON_PRACTICE)
def needle_change_of_unknown_removal(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Checks that an access that is part of a needle change names the last removal from the same septum.

    Removal and access of a needle change belong together; a wrong reference ties the new needle to another one.

    If this is not a needle change, remove follows_removal.
    """
    if event.follows_removal is None:
        return
    last = step.before.last_removal
    if last is not None and last.event.id == event.follows_removal:
        return
    named = case.timeline.entry(event.follows_removal)
    if named is None:
        found = "no event has that identifier"
    elif named.retraction is not None:
        found = "that entry was retracted"
    elif not isinstance(named.event, ev.Closing):
        found = f"that is the {_named(named, case)}"
    else:
        found = f"that is not the last removal before it on this septum: {_named(named, case)}"
    yield Found("follows_removal", f"the removal named for this needle change is {event.follows_removal}; {found}")


@advice("delete the link to the removal, or correct the times", limits=("needle_change_minutes",))
def needle_change_apart(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Measures the time between removal and access of a needle change.

    In a needle change the new needle follows at once. Hours later it is a new access, and in between the port had no
    needle.
    """
    last = step.before.last_removal
    if last is None or event.follows_removal != last.event.id:
        return
    apart = event.at - last.event.at
    if apart > case.span("needle_change_minutes"):
        yield Found(
            "follows_removal",
            f"the access comes {length(apart)} after the removal that it names; a needle change takes at most "
            f"{case.policy.text('needle_change_minutes')}",
            related=(Related(last.path(), "the removal"),),
        )


# -- thrombolytic --


@wrong("name the treatment that is checked", _LABEL)
def patency_check_of_unknown_treatment(step: Step, event: ev.PatencyCheck, case: Case) -> Iterable[Found]:
    """Checks that a patency check names a thrombolytic given before it into the same septum.

    The minutes of dwell are counted from the treatment that is named; a wrong reference gives a wrong time.
    """
    fault = _not_the_dose(step, event, event.treatment, case, "the check is on")
    if fault:
        yield Found("treatment", f"the treatment named for this check is {event.treatment}; {fault}")


def _not_the_dose(step: Step, event: ev.CareEvent, name: str, case: Case, here: str) -> str:
    """Return why what an event names is not a thrombolytic given before it into its septum; empty where it is."""
    named = case.timeline.entry(name)
    if named is None or named.retraction is not None:
        return "no event has that identifier" if named is None else "that entry was retracted"
    if not isinstance(named.event, ev.PatencyTreatment):
        return f"that is the {_named(named, case)}"
    if isinstance(event, ev.PatencyTreatment) and named.event.at >= event.at:
        return f"that is not earlier: {_named(named, case)}"
    if named.event.at > event.at:
        return f"that is later: {_named(named, case)}"
    septum = named.event.septum or case.timeline.episode.port.septa[0]
    return f'that was given into septum "{septum}", {here} "{step.septum}"' if septum != step.septum else ""


@wrong("name the dose that is dwelling, or correct the time", _LABEL)
def patency_check_of_ended_treatment(case: Case) -> Iterable[Found]:
    """Finds a patency check on a treatment that was over: success was charted, another dose followed, or the needle
    was taken out.

    A dose that is no longer dwelling cannot be checked; most often the second dose was meant, or the time is wrong.
    """
    dwells = case.timeline.dwells
    if not any(dwells.values()):
        return
    ended = {(septum, stay.treatment.event.id): stay.ended for septum, stays in dwells.items() for stay in stays}
    for step in case.timeline.steps:
        event, septum = step.entry.event, step.septum
        if not isinstance(event, ev.PatencyCheck) or septum is None or (septum, event.treatment) not in ended:
            continue
        dwell = step.before.dwell
        named = case.timeline.entry(event.treatment)
        if dwell is not None and dwell.treatment.event.id == event.treatment:
            continue
        if named is not None and named.event.at <= event.at:
            by = ended[septum, event.treatment]
            says = f"{event.treatment} no longer dwells{f', ended by {_named(by, case)}' if by is not None else ''}"
            yield Found("treatment", says, step.entry)


@wrong("name the first dose", _LABEL)
def second_dose_of_unknown_dose(step: Step, event: ev.PatencyTreatment, case: Case) -> Iterable[Found]:
    """Checks that a second dose names a first one, given before it into the same septum.

    Two doses for one occlusion count together toward the highest total; a wrong reference hides one of them.

    If this is a first dose, remove second_dose_of.
    """
    name = event.second_dose_of
    fault = _not_the_dose(step, event, name, case, "this one into") if name is not None else ""
    if fault:
        yield Found("second_dose_of", f"the first dose named for this second dose is {name}; {fault}")


@gap("name the first dose", _LABEL)
def second_dose_not_linked(step: Step, event: ev.PatencyTreatment, case: Case) -> Iterable[Found]:
    """Finds a thrombolytic given while an earlier dose was still dwelling and not recorded as the second dose.

    Doses for one occlusion count together; an unlinked second dose looks like a first one, and a third may follow.
    """
    dwell = step.before.dwell
    if dwell is None or event.second_dose_of is not None:
        return ()
    message = f"a dose is given while {_named(dwell.treatment, case)} still dwells, not linked to it"
    return (Found("at", message, related=(Related(dwell.treatment.path(), "the first dose"),)),)


# -- evaluation and use --


@advice("chart the start, or correct the entry", COMMON_PRACTICE)
def stop_without_start(step: Step, event: ev.LineUse, case: Case) -> Iterable[Found]:
    """Finds the end of an infusion whose beginning is not on record.

    How much ran, and since when, is computed from start and stop.
    """
    if event.action != "stopped" or step.before.infusion is not None:
        return ()
    return (Found("action", f"{event.purpose} is stopped but none was running"),)


# -- the same minute --


@wrong("retract one of them, or correct its time", COMMON_PRACTICE)
def same_event_twice(case: Case) -> Iterable[Found]:
    """Finds two events of one kind in the same minute on the same septum.

    Charted twice, a dose or a flush counts twice.

    If both happened, give them their own times.
    """
    first: dict[tuple[str, str | None], Entry] = {}
    last: Step | None = None
    for before, after in case.same_minute:
        if before is not last:
            first = {_what(before): before.entry}
        last = after
        known = first.setdefault(_what(after), after.entry)
        if known is not after.entry:
            event = after.entry.event
            says = f"a second {event.kind} at {case.say(event.at)}, as {known.event.id}"
            yield Found("at", says, after.entry, related=(Related(known.path(), "the first"),))


def _what(step: Step) -> tuple[str, str | None]:
    event = step.entry.event
    return f"{event.kind} {event.purpose}" if isinstance(event, ev.LineUse) else event.kind, step.septum


@advice("give each event its own minute", COMMON_PRACTICE)
def order_assumed(case: Case) -> Iterable[Found]:
    """Finds events of the same minute on the same septum whose order matters, and says which order was taken.

    Whether a flush was given before the needle came out or after the next went in cannot be told from equal times. The
    record is then read in a fixed order: checks first, removal before access, then care.

    Removal and access of a linked needle change may share one.
    """
    for before, after in case.same_minute:
        one, other = before.entry.event, after.entry.event
        if before.septum == after.septum is not None and _order_matters(one, other):
            yield Found(
                "at",
                f"{other.kind} {other.id} has the time of {one.kind} {one.id}; it was read as the later one",
                after.entry,
                related=(Related(before.entry.path("at"), "the event read as the earlier one"),),
            )


def _order_matters(one: ev.Event, other: ev.Event) -> bool:
    if one.kind == other.kind:
        return False
    if isinstance(other, ev.Access) and other.follows_removal == one.id:
        return False
    return any(isinstance(event, ev.Opening | ev.Closing | ev.Tending) for event in (one, other)) and any(
        isinstance(event, ev.Opening | ev.Closing) for event in (one, other)
    )


# -- a needle that was in before --


@wrong("correct the time of insertion", COMMON_PRACTICE)
def insertion_after_arrival(step: Step, event: ev.ArrivalAccessed, case: Case) -> Iterable[Found]:
    """Compares the time at which the needle was inserted with the arrival.

    A needle that is in on arrival was inserted before it; its clock would otherwise start too late.

    If the needle was put in here, chart an access.
    """
    inserted = began(event.inserted_at, event.at)
    if inserted is not None and inserted > event.at:
        message = f"the needle was put in at {case.say(inserted)}, after the arrival at {case.say(event.at)}"
        yield Found("inserted_at", message)


@wrong("correct the time of dressing", COMMON_PRACTICE)
def dressing_time_impossible(step: Step, event: ev.ArrivalAccessed, case: Case) -> Iterable[Found]:
    """Compares the time at which the dressing found was put on with the arrival and with the needle.

    A dressing found on arrival was put on before the arrival, but not before the needle that it covers was inserted.

    If it was put on here, chart a dressing change.
    """
    on, inserted = began(event.dressed_at, event.at), began(event.inserted_at, event.at)
    if on is None:
        return
    if on > event.at:
        message = f"the dressing was put on at {case.say(on)}, after the arrival at {case.say(event.at)}"
        yield Found("dressed_at", message)
    elif inserted is not None and _before(on, inserted, case):
        message = f"the dressing was put on at {case.say(on)}, before the needle at {case.say(inserted)}"
        yield Found("dressed_at", message)


def _before(one: datetime, other: datetime, case: Case) -> bool:
    """Return whether one moment was before the other: by the day where the hour of either is not known."""
    if isinstance(one, DayOnly) or isinstance(other, DayOnly):
        return case.local(one).date() < case.local(other).date()
    return one < other
