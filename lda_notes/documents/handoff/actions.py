"""Actions that are due for one septum: by when, whose they are and what they rest on."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Final

from lda_notes.documents import wording
from lda_notes.documents.handoff.view import Action, View
from lda_notes.documents.references import Stated
from lda_notes.knowledge.sources import COMMON_PRACTICE
from lda_notes.line import due as clocks
from lda_notes.line.corrections import Entry
from lda_notes.line.due import ClockName, Due
from lda_notes.line.holds import PROVABLE
from lda_notes.line.states import Dwell, State
from lda_notes.narrative import phrasing
from lda_notes.record import events as ev

_ACTS: Final[dict[ClockName, str]] = {
    "needle change": "Needle change, or removal",
    "dressing change": "Dressing change",
    "line check": "Line check",
    "flush": "Flush and lock, nothing runs",
    "idle flush": "Flush of the port, no needle in",
    "maintenance flush": "Maintenance flush after discharge",
    "thrombolytic check": "Check of the dwelling thrombolytic",
}


def under_way(view: View, state: State) -> str:
    """Return what is being done about the holds: a thrombolytic dwells, ordered by an evaluation or against holds that
    blood return alone ends; "" otherwise."""
    if state.dwell is None or not state.holds:
        return ""
    since = max(hold.since for hold in state.holds)
    judged = evaluations(view, state.septum, since)
    drug = getattr(state.dwell.treatment.event, "drug", "thrombolytic")
    if judged:
        return f"evaluation done {view.wording.soon(judged[-1].event.at)}; {drug} dwelling"
    answers = since <= state.dwell.treatment.event.at and all(hold.reason in PROVABLE for hold in state.holds)
    return f"under way: {drug} dwelling since {view.wording.soon(state.dwell.treatment.event.at)}" if answers else ""


def evaluations(view: View, septum: str, since: datetime) -> list[Entry]:
    """Return the evaluations of a septum from a moment on, in order of time."""
    return [
        entry
        for entry in view.timeline.entries
        if isinstance(entry.event, ev.Evaluation)
        and since <= entry.event.at <= view.asof
        and (entry.event.septum or septum) == septum
    ]


def vesicant_runs(state: State) -> bool:
    """Return whether a vesicant runs: it was started or found running and not stopped since, or the use says it."""
    event = state.infusion.event if state.infusion else None
    danger = state.danger("D5")
    began = danger.began.event if danger is not None and danger.began is not None and not danger.phase else None
    runs = isinstance(began, ev.LineCheck) or (isinstance(began, ev.LineUse) and began.action == "started")
    return runs or (isinstance(event, ev.LineUse) and event.vesicant is True)


def actions(view: View, state: State) -> Iterator[Action]:
    """Yield what is due for one septum: by holds, contents, clocks and the looks at a dose."""
    if not state.port_in or clocks.died(view.timeline, view.asof):
        return
    if state.holds and not under_way(view, state):
        yield _evaluation(view, state)
    yield from _contents(view, state)
    running = clocks.due(view.timeline, state.septum, view.policy)
    for clock in (*running, *clocks.charted(view.timeline, state.septum, view.policy, view.asof)):
        yield _from_clock(view, state, clock)
    if state.dwell is not None and not any(clock.clock == "thrombolytic check" for clock in running):
        yield _after_the_looks(view, state, state.dwell)
    if state.needle is None and not (state.last_flush or state.last_lock or state.last_removal):
        yield Action(
            "Find out when the port was last flushed",
            state.septum,
            None,
            True,
            _owner(view, None),
            "no flush, lock or needle is recorded",
            ("idle_flush_days",),
        )


def _evaluation(view: View, state: State) -> Action:
    return Action(
        "Evaluation, before anything goes through the line",
        state.septum,
        None,
        True,
        _taken_over(view) or "specialist or physician",
        f"on hold since {view.wording.when(state.holds[0].since)}",
        ("hold_ends_with",) if all(hold.reason in PROVABLE for hold in state.holds) else (EVALUATED,),
    )


def _contents(view: View, state: State) -> Iterator[Action]:
    """Yield what is to be done about contents that must not be pushed in, and with a needle nobody is to take out."""
    acts = {(danger.code, danger.phase): danger for danger in reversed(state.dangers)}
    for which, danger in reversed(acts.items()):
        act = _ENDS.get(which)  # said once, for the latest, where several exposures wait to be reported
        if act is not None:
            link = ", " if danger.exposure is not None else " since "
            when = f"{link}{view.wording.when(danger.since)}" if danger.since is not None else ""
            yield Action(act, state.septum, None, True, _owner(view, None), f"{danger.what}{when}", (DANGERS,))


_ENDS: Final[dict[tuple[str, str], str]] = {
    ("D1", ""): "Aspirate and discard the contents; ask the prescriber if nothing comes back",
    ("D1", "aspirated"): "Flush without heparin",
    ("D1", "flushed in"): "Report the exposure to heparin, and chart who was notified in a problem that names heparin",
    ("D3", ""): "Aspirate and discard the lock; ask the prescriber if nothing comes back",
    ("D3", "flushed in"): "Report the lock that was flushed in, and chart who was notified in a problem that names it",
    ("D10", ""): "Name who takes the needle out and when, and teach",
}
"""The act that ends a danger, where no clock names it: by its number and phase."""

EVALUATED: Final = Stated("S2", "A hold that no blood return ends, ends with an evaluation", (COMMON_PRACTICE,))
DANGERS: Final = Stated("S1", "A standing danger stays until what ends it is recorded", (COMMON_PRACTICE,))
VESICANT_LOOKS: Final = "a vesicant runs: look as often as facility policy says for one"
"""Common practice, no source: the hours of the line check are those of any needle."""


def _from_clock(view: View, state: State, clock: Due) -> Action:
    act = f"{clock.clock.capitalize()} (charted)" if clock.charted else _ACTS[clock.clock]
    why = clock.why
    if clock.charted:
        why += f", {view.wording.told(clock.restarted_by)}"
    elif clock.since is not None and clock.by is not None:
        why += f" {view.wording.when(clock.since)}, {view.policy.text(clock.limit)}"
    if clock.clock == "line check" and vesicant_runs(state):
        why += f"; {VESICANT_LOOKS}"
    return Action(
        act,
        clock.septum,
        clock.by,
        clock.overdue(view.asof),
        _owner(view, clock.by),
        why,
        () if clock.charted else (clock.limit,),
        clock.clock,
    )


def _owner(view: View, by: datetime | None) -> str:
    left = view.left()
    if left is not None:
        plan = left.event.needle_removal if isinstance(left.event, ev.Discharge) and by is not None else None
        takes_out = wording.person(plan.by) if plan is not None and plan.by is not None and plan.by.name else ""
        return _taken_over(view) or takes_out or "no one is named"
    return "oncoming nurse" if by is None or view.in_shift(by) else "a later shift"


def _taken_over(view: View) -> str:
    """Return who took over a patient who left, as named at discharge; "" for no one."""
    left = view.left()
    taken = left.event.handed_to if left is not None and isinstance(left.event, ev.Discharge) else None
    return wording.person(taken) if taken is not None and taken.name else ""


def doses_so_far(view: View, state: State, dwell: Dwell) -> int:
    """Return how many doses of a thrombolytic were put in through this needle, the dwelling one included."""
    began = state.needle.opened.event.at if state.needle else dwell.treatment.event.at
    return sum(
        began <= other.treatment.event.at <= dwell.treatment.event.at for other in view.timeline.dwells[state.septum]
    )


def _after_the_looks(view: View, state: State, dwell: Dwell) -> Action:
    drug = getattr(dwell.treatment.event, "drug", "")
    if drug != "alteplase":
        since = f"put in {view.wording.when(dwell.treatment.event.at)}"
        act = f"Look at the dwelling {drug} as its order says"
        return Action(act, state.septum, None, True, _owner(view, None), since, (DANGERS,))
    doses = doses_so_far(view, state, dwell)
    more = doses < view.policy.value("alteplase_doses")
    waited = phrasing.span(view.asof - dwell.treatment.event.at)
    return Action(
        "Ask the prescriber: second dose or evaluation"
        if more
        else "Ask the prescriber: evaluation and imaging, no further dose",
        state.septum,
        None,
        True,
        _owner(view, None),
        f"looked at twice without success, in for {waited}; {phrasing.count(doses, 'dose')} so far",
        ("alteplase_doses", "alteplase_second_dose_minutes"),
    )
