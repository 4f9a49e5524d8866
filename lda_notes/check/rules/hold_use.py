"""A line on hold: what must not go through it, and what must stop."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from datetime import timedelta
from typing import Final, NamedTuple

from lda_notes.check.rule_table import Case, Entry, Found, Step, unsafe
from lda_notes.check.rules.overrun import steps_from
from lda_notes.knowledge.policy import listed
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.line.dangers import EXPOSURE
from lda_notes.line.holds import OWN_RULES, PROVABLE, flushed_on_hold
from lda_notes.line.states import Hold
from lda_notes.line.transitions import names_septum
from lda_notes.problems import Related
from lda_notes.record import events as ev
from lda_notes.record.parts import Site

_ONS: Final = Citation("ons", "R")
_HOLD: Final = (COMMON_PRACTICE, _ONS, Citation("ins-patency", "R2"))
_STOPPED: Final = re.compile(r"\bstop|\bclamp|\bdiscontinu", re.IGNORECASE)
Holds = tuple[Hold, ...]


def why(holds: Holds) -> str:
    """Return the signs of holds, each once."""
    return listed(list(dict.fromkeys(hold.sign for hold in holds)))


def since(holds: Holds, case: Case) -> str:
    """Return since when a line is on hold, and for what."""
    return f"on hold since {case.say(holds[0].since)} for {why(holds)}"


def beginning(holds: Holds) -> tuple[Related, ...]:
    """Return where the first of the holds begins."""
    return (Related(holds[0].began.path(), "the hold begins here"),)


def _shown_here(step: Step) -> Holds:
    """Return the holds that begin with this event and that no rule of its own speaks of."""
    fresh = (hold for hold in step.after.holds if hold.began is step.entry)
    return tuple(hold for hold in fresh if hold.reason not in OWN_RULES)


def _unnamed(step: Step, case: Case) -> tuple[str, ...]:
    """Return that the septum is lacking where an event names none of a port with two."""
    return () if names_septum(step.entry.event, tuple(case.timeline.holds)) else ("septum",)


def _held_before(step: Step, case: Case) -> Holds:
    """Return the holds that an event met; without a septum it may have been any one of the port."""
    if step.before.holds or not _unnamed(step, case):
        return step.before.holds
    states = (case.timeline.state_at(septum, step.entry.event.at) for septum in case.timeline.holds)
    return tuple(hold for state in states for hold in state.holds if hold.began is not step.entry)


def _met(holds: Holds, step: Step, case: Case) -> str:
    """Return since when the line that an event met is on hold, and for what; whose septum it is where none is named."""
    if not _unnamed(step, case):
        return since(holds, case)
    return f"the {holds[0].septum} septum is {since(holds, case)}, and which septum this was is not recorded"


def _ordered(event: ev.Event) -> bool:
    """Return whether a named prescriber ordered the use in spite of the hold; the hold stays."""
    order = event.__dict__.get("despite_hold")
    by = getattr(order, "by", None)
    return by is not None and bool(by.name or by.id)


@unsafe("stop, leave the line alone, and have it evaluated before any use", *_HOLD, limits=("hold_ends_with",))
def held_line_used(step: Step, event: ev.LineUse, case: Case) -> Iterable[Found]:
    """Finds a drug, an infusion, a sample or an injection through a line on hold.

    A line that gives no blood, resists, or lies in a swollen or infected pocket may deliver what it carries outside the
    vein. It stays out of use until specialists or a physician clear it; stopping an infusion does not count as use.

    Notify whoever decides, and chart what was given. An evaluation that was made but not charted is a late entry.
    """
    held = _held_before(step, case)
    if event.action == "stopped" or not (step.after.holds or held) or _ordered(event):
        return
    holds = held or _shown_here(step)
    if not holds:
        return
    own = holds[0].began is step.entry
    yield Found(
        "purpose",
        f"the line was used for {event.purpose} although this event shows {why(holds)}"
        if own
        else f"the line was used for {event.purpose} while {_met(holds, step, case)}; it may be used only after "
        "it is cleared",
        related=() if own else beginning(holds),
        lacks=_unnamed(step, case),
    )


@unsafe("do not flush further; have the line evaluated", *_HOLD, Citation("royal-marsden", "R", "ch. 17"))
def held_line_flushed(
    step: Step, event: ev.Access | ev.Deaccess | ev.FlushOrLock | ev.FlushedElsewhere | ev.PatencyTreatment, case: Case
) -> Iterable[Found]:
    """Finds a flush of a line on hold that was not work on its patency, here or elsewhere.

    A gentle flush may be one of the steps to get blood back; then the record says which steps were tried and what
    blood return followed. Swelling, infection or a turned port cannot be fixed by a flush.

    If the flush was a step to restore blood return, chart the steps tried and the blood return.
    """
    holds = _held_before(step, case)
    if isinstance(event, ev.FlushedElsewhere):
        if (hold := flushed_on_hold(event, holds)) is not None:
            yield Found(
                "on",
                f"the line was flushed elsewhere while {since((hold,), case)}; "
                "it may be flushed only after it is cleared",
                related=beginning((hold,)),
            )
        return
    if isinstance(event, ev.PatencyTreatment):
        if any(hold.reason not in PROVABLE for hold in holds) and not _ordered(event):
            yield Found(
                "drug",
                f"the line was given {event.drug} while {_met(holds, step, case)}; "
                "nothing is put in before it is cleared",
                related=beginning(holds),
                lacks=_unnamed(step, case),
            )
        return
    if not holds or type(event.flushes) is not tuple or not event.flushes or _ordered(event):
        return
    if isinstance(event, ev.Access) and event.infusion is not None:
        return  # a finding of its own: an infusion was connected
    patency_only = all(hold.reason in PROVABLE for hold in holds)
    if patency_only and (isinstance(event, ev.Access) or event.steps_tried or event.blood_return == "present"):
        return
    yield Found(
        "flushes",
        f"the line was flushed while {_met(holds, step, case)}; "
        f"{'only work on its patency is done, with the steps tried,' if patency_only else 'it may not be flushed'} "
        "before it is cleared",
        related=beginning(holds),
        lacks=_unnamed(step, case),
    )


@unsafe("disconnect the infusion and keep the line on hold until it is cleared", *_HOLD)
def infusion_on_unproven_line(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Finds an infusion connected at an access that itself shows a reason for a hold, or under an older hold.

    An access either proves the line or does not. What runs through a line that gave no blood, resisted or swelled may
    run under the skin.

    Watch the site, and notify whoever decides.
    """
    lasting = tuple(hold for hold in _held_before(step, case) if hold in step.after.holds or _unnamed(step, case))
    holds = lasting or _shown_here(step)
    if holds and event.infusion is not None and not _ordered(event):
        yield Found(
            "infusion",
            f"the line was connected to an infusion while {_met(holds, step, case)}; nothing runs before it is cleared",
            lacks=_unnamed(step, case),
        )


_AT_ONCE: Final = timedelta(minutes=30)
"""A stop charted later than this after the sign was not made at once (common practice, no source)."""


class _RanOn(NamedTuple):
    """Holds that began with an infusion running on: ``seen`` is the look at which it still ran, ``stopped`` its end."""

    holds: Holds
    running: Entry
    seen: Entry | None = None
    stopped: Entry | None = None

    def says(self, case: Case) -> str:
        """Return what ran and until when, in words."""
        began, run = self.holds[0].began, self.running
        runs = "with an infusion running"
        if run is not began:
            seen = isinstance(run.event, ev.LineCheck | ev.ArrivalAccessed)
            runs = f"with an infusion {'seen running at' if seen else 'running since'} {case.say(run.event.at)}"
        if self.stopped is not None:
            return f"{runs}, and it was stopped only at {case.say(self.stopped.event.at)}"
        still = f", and it still ran at {case.say(self.seen.event.at)}" if self.seen is not None else ""
        return f"{runs}{still}; no stop is charted"


def _running_on(case: Case) -> Iterator[_RanOn]:
    """Yield the holds that began with an infusion running, with what became of it; those of one event are one.

    Left out are those whose first event stopped it, or says who ordered that it runs on, and those that other rules
    speak of: the infusion was connected or started by the very event that showed the trouble.
    """
    seen_already: set[int] = set()
    for septum, every in case.timeline.holds.items():
        for first in every:
            began = first.began
            if began.record or id(began) in seen_already:
                continue
            running = case.timeline.state_at(septum, began.event.at).infusion
            if running is None or (running is began and not isinstance(began.event, ev.LineCheck)):
                continue
            if isinstance(began.event, ev.LineUse) or _says_stopped(began):
                continue
            seen_already.add(id(began))
            holds = tuple(hold for hold in every if hold.began is began)
            if _ordered(began.event) and not any(hold.reason in _SWELLS for hold in holds):
                continue
            stopped, seen = _stopped(case, septum, holds)
            if stopped is None or stopped.event.at - began.event.at > _AT_ONCE:
                yield _RanOn(holds, running, seen, stopped)


def _says_stopped(entry: Entry) -> bool:
    return any(_STOPPED.search(problem.action or "") for problem in getattr(entry.event, "problems", ()))


def _stopped(case: Case, septum: str, holds: Holds) -> tuple[Entry | None, Entry | None]:
    """Return the first later event that ended the infusion, or else the look at which it still ran."""
    for step in steps_from(case, holds[0].began):
        event = step.entry.event
        if step.septum != septum:
            continue
        if step.after.infusion is None or isinstance(event, ev.Closing):
            return step.entry, None
        if isinstance(event, ev.LineCheck):
            return None, step.entry
        if all(hold.ended is step.entry for hold in holds):
            return None, step.entry
    return None, None


_SWELLS: Final = ("swelling", "something given at the site hurt or leaked")
_SWELLING: Final = (*_SWELLS, "swelling of arm, face, neck or chest")


@unsafe(
    "stop the infusion now, leave the needle, aspirate what can be aspirated, and notify the prescriber at once",
    Citation("royal-marsden", "R", "ch. 17"),
    Citation("home-care-25-04", "R2"),
    _ONS,
)
def extravasation_suspected(case: Case) -> Iterable[Found]:
    """Finds swelling, a leak or pain at the site while an infusion ran, without a record that it was stopped at once.

    Swelling at the port means that fluid may run under the skin; a vesicant there destroys tissue. Minutes count.

    Chart the stop, and mark the swelling.
    """
    for ran in _running_on(case):
        if any(hold.reason in _SWELLS for hold in ran.holds):
            swollen = ran.holds[0].began
            yield Found(
                "site.swelling" if "swelling" in ran.holds[0].reason else "at",
                f"{why(ran.holds)} at {case.say(swollen.event.at)} {ran.says(case)}; it is to be stopped at once",
                swollen,
                related=(Related(ran.running.path(), "the infusion"),),
            )


@unsafe("stop the infusion and chart the stop", *_HOLD)
def infusion_on_held_line(case: Case) -> Iterable[Found]:
    """Finds an infusion that was running when the line went on hold, without a record that it was stopped.

    A hold is useless while the infusion keeps running. Swelling during a running infusion is a separate finding.

    Chart the stop as a use of the line or in what was done about the problem.
    """
    for ran in _running_on(case):
        if any(hold.reason in _SWELLS for hold in ran.holds):
            continue
        began = ran.holds[0].began
        says = f"the line went on hold at {case.say(began.event.at)} for {why(ran.holds)} {ran.says(case)}"
        yield Found("at", says, began, related=(Related(ran.running.path(), "the infusion"),))


@unsafe(
    "stop flushing, leave the needle for now, and have the line evaluated", Citation("royal-marsden", "R", "ch. 17")
)
def flushed_into_swelling(step: Step, event: ev.Access | ev.Deaccess | ev.FlushOrLock, case: Case) -> Iterable[Found]:
    """Finds a flush in an event that recorded swelling at the port.

    Swelling with a needle in means that it may have slipped out of the septum: what is flushed goes under the skin.

    Notify whoever decides. If the swelling was there before and is known, say so under problems.
    """
    site = event.site
    if type(site) is not Site or site.swelling != "present" or event.problems:
        return
    if any(hold.reason in _SWELLING for hold in step.before.holds):
        return  # a finding of its own: a line on hold for swelling was flushed
    if type(event.flushes) is tuple and event.flushes:
        yield Found("flushes", "the line was flushed while swelling is present")


@unsafe("stop, and ask whoever set the limit", COMMON_PRACTICE)
def use_against_limit(step: Step, event: ev.LineUse, case: Case) -> Iterable[Found]:
    """Finds a use that an evaluation has ruled out: a vesicant or a power injection through a line with that limit.

    A line may be cleared with limits. They stay until an evaluation lifts them.
    """
    limits = {limit.what: limit for limit in step.before.limits}
    against = "no vesicant" if event.vesicant is True else ""
    if event.purpose == "power injection":
        against = "no power injection"
    limit = limits.get(against)
    if limit is not None and event.action != "stopped":
        yield Found(
            "vesicant" if against == "no vesicant" else "purpose",
            f'the evaluation of {case.say(limit.began.event.at)} says "{against}", and that was not lifted',
            related=(Related(limit.began.path(), "the limit was set here"),),
        )


@unsafe(
    "report the exposure to the prescriber at once, watch the patient, and chart who was notified as a problem that "
    "names the medicine",
    Citation("taurolidine-eu", "R"),
    Citation("taurolidine-us", "R2"),
    COMMON_PRACTICE,
)
def lock_not_aspirated(step: Step, event: ev.CareEvent, case: Case) -> Iterable[Found]:
    """Finds heparin, ethanol or another lock pushed into a patient for whom it must come out first.

    Heparin in the line of a patient who must not have it, and locks that are made to stay in the line, are aspirated
    and discarded before anything is pushed in.

    If the contents were aspirated, chart that.
    """
    for danger in step.after.dangers:
        same = (one for one in step.before.dangers if (one.code, one.began) == (danger.code, danger.began))
        before = next(same, None)
        if danger.phase == EXPOSURE and before is not None and before.phase != EXPOSURE:
            yield Found(
                "discard_ml" if event.__dict__.get("discard_ml") is not None else "at",
                f"what was in the line was not recorded as aspirated before it was flushed or used: {before.what}",
                related=(Related(before.began.path(), "it was put in here"),) if before.began is not None else (),
            )
