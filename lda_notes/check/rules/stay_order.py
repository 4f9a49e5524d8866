"""The order of events in the stay and in the life of the port: admission, moves, discharge, implantation, removal."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from itertools import pairwise
from typing import Final

from lda_notes.check.rule_table import Case, Entry, Found, Step, wrong
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.problems import Related
from lda_notes.record import events as ev

_A_DAY: Final = timedelta(days=1)
_HOME: Final = Citation("home-infusion", "R2")
_CDC: Final = Citation("cdc-2002", "R2", "documentation, category II")


@wrong("correct the time, or the admission", COMMON_PRACTICE, limits=("clock_slack_minutes",))
def event_before_admission(case: Case) -> Iterable[Found]:
    """Compares each event with the beginning of the stay.

    What was done before the stay belongs in the record of another stay, or arrives with the patient as a needle already
    in.

    A needle put in elsewhere is an arrival with the needle in.
    """
    admitted = case.timeline.episode.stay.admitted_at
    if admitted is None:
        return
    slack = case.span("clock_slack_minutes")
    for entry in case.timeline.entries:
        if admitted - entry.event.at <= slack:
            return
        if not isinstance(entry.event, ev.PortImplanted):
            says = f"the event is at {case.say(entry.event.at)}, before the admission at {case.say(admitted)}"
            yield Found("at", says, entry, related=(Related(("stay", "admitted_at"), "the admission"),))


@wrong("correct the time, or open a new record for a new stay", COMMON_PRACTICE)
def event_after_discharge(case: Case) -> Iterable[Found]:
    """Finds events later than the discharge.

    After discharge the patient is no longer there; most often a date is mistyped, or a new stay began.
    """
    if case.timeline.discharge is None:
        return
    entries = case.timeline.entries
    first = next(entry for entry in entries if isinstance(entry.event, ev.Discharge))
    for entry in reversed(entries):
        if entry.event.at <= first.event.at:
            return
        says = f"the event is at {case.say(entry.event.at)}, after the discharge at {case.say(first.event.at)}"
        yield Found("at", says, entry, related=(Related(first.path(), "the discharge"),))


@wrong("correct the unit or the time", COMMON_PRACTICE)
def transfer_to_same_unit(case: Case) -> Iterable[Found]:
    """Finds a transfer to the unit where the patient already is, without a change of room.

    Line days are counted by unit; a transfer that goes nowhere hides the one that did.

    If there was no transfer, retract the entry.
    """
    for before, after in pairwise(case.timeline.units):
        moved = after.unit.casefold() != before.unit.casefold()
        if not moved and (after.room is None or after.room == before.room) and after.entry is not None:
            yield Found("to_unit", f'the patient is moved to "{after.unit}" and is there already', after.entry)


@wrong("correct whether a needle was left in, or chart the missing access or removal", _HOME)
def discharge_contradicts_needle(step: Step, event: ev.Discharge, case: Case) -> Iterable[Found]:
    """Compares what the discharge says about the needle with the record.

    A needle left in by oversight stays in until something goes wrong; one that is only thought to be in is looked for
    in vain.

    Look at the port first.
    """
    if event.needle_in is None:
        return
    stays = [case.timeline.state_at(septum, event.at).needle for septum in case.timeline.episode.port.septa]
    stay_in = next((stay for stay in stays if stay is not None), None)
    if event.needle_in and stay_in is None:
        yield Found("needle_in", "the patient leaves with a needle in; by the record none is in")
    elif not event.needle_in and stay_in is not None:
        opened: Entry = stay_in.opened
        says = f"the patient leaves without a needle; by the record one is in since {case.say(opened.event.at)}"
        yield Found("needle_in", says, related=(Related(opened.path(), "the needle that is in"),))


# -- the port's life --


@wrong("correct the time, or the implantation", COMMON_PRACTICE)
def event_before_implantation(case: Case) -> Iterable[Found]:
    """Compares each event at the port with its implantation, whether charted as an event or dated on the card.

    A port that is not yet implanted cannot be cared for: a date is wrong, or the record is about another port.
    """
    on = case.timeline.episode.port.implanted_on
    removed = False
    for step in case.timeline.steps:
        event = step.entry.event
        removed = removed or isinstance(event, ev.PortRemoved)
        early = on is not None and event.at.date() - on <= _A_DAY and case.local(event.at).date() < on
        if step.before.port_in and not early:
            return  # later events are later still
        if isinstance(event, ev.CareEvent) and not removed:
            when = f"on {on}" if early else "by the record"
            yield Found(
                "at",
                f"the event is at {case.say(event.at)}, before the port was implanted {when}",
                step.entry,
                related=(Related(("port", "implanted_on"), "the implant date"),) if early else (),
            )


@wrong("correct the time, or the removal of the port", COMMON_PRACTICE)
def event_after_port_removal(case: Case) -> Iterable[Found]:
    """Finds events at a port after it was removed from the body.

    A port that has been removed cannot be cared for: a time is wrong, or the record is about another port.
    """
    removed: Entry | None = None
    for step in case.timeline.steps:
        event = step.entry.event
        if isinstance(event, ev.PortRemoved):
            removed = removed or step.entry
        elif removed is not None and step.septum is not None and not step.before.port_in:
            says = f"the event is at {case.say(event.at)}, after the port was removed at {case.say(removed.event.at)}"
            yield Found("at", says, step.entry, related=(Related(removed.path(), "the removal of the port"),))


@wrong("correct the date on the card or the time of the event", COMMON_PRACTICE)
def implantation_dates_differ(step: Step, event: ev.PortImplanted, case: Case) -> Iterable[Found]:
    """Compares the implantation in the record with the implant date of the port.

    The age of the pocket decides how the site is cared for and when the port may first be used.
    """
    on = case.timeline.episode.port.implanted_on
    if on is not None and case.local(event.at).date() != on:
        says = f"the port is implanted on {case.local(event.at).date()}; its implant date is {on}"
        yield Found("at", says, related=(Related(("port", "implanted_on"), "the implant date"),))


@wrong("retract one of the entries, or open a record for the other port", COMMON_PRACTICE)
def port_implanted_twice(step: Step, event: ev.PortImplanted, case: Case) -> Iterable[Found]:
    """Finds an implantation of a port that is already in.

    One record is about one port. A second port needs its own record, with its own needle, clocks and hold.
    """
    return (Found("at", "the port is implanted but is in already"),) if step.before.port_in else ()


@wrong("retract one of the entries", COMMON_PRACTICE)
def port_removed_twice(step: Step, event: ev.PortRemoved, case: Case) -> Iterable[Found]:
    """Finds the removal of a port that, by the record, is not in.

    One of the entries is wrong, or an implantation is missing.

    If a port was implanted in between, chart that.
    """
    return () if step.before.port_in else (Found("at", "the port is removed but is not in"),)


@wrong("chart the removal of the needle", _CDC)
def port_removed_with_needle_in(case: Case) -> Iterable[Found]:
    """Finds the removal of a port that, according to the record, still has a needle in.

    The needle comes out before the port; its removal, and whether it came out whole, has to be on record.
    """
    for stays in case.timeline.needles.values():
        for stay in stays:
            if stay.closed is not None and isinstance(stay.closed.event, ev.PortRemoved):
                says = f"the port is removed while the needle of {case.say(stay.opened.event.at)} is in"
                yield Found("at", says, stay.closed, related=(Related(stay.opened.path(), "the needle that is in"),))
