"""If-then plans: what ends a hold, swelling, a damp dressing, a dwelling dose."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from lda_notes.documents.handoff.actions import doses_so_far
from lda_notes.documents.handoff.line import LineFacts
from lda_notes.documents.handoff.view import View
from lda_notes.documents.references import Basis, Stated
from lda_notes.knowledge.amounts import alteplase_withdrawal
from lda_notes.knowledge.policy import Policy, number
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.line.holds import PROVABLE, common_ends_in_words, ends_by_policy, ends_in_words
from lda_notes.line.states import State
from lda_notes.line.timeline import Timeline
from lda_notes.narrative import phrasing


@dataclass(frozen=True, slots=True)
class Contingency:
    """One if-then plan, from recorded facts and policy; ``basis`` is where it comes from."""

    when: str
    then: str
    basis: tuple[Basis, ...]


_SOILED = Stated(
    "C1",
    "A damp, loose or soiled dressing is changed at once; that never restarts the needle's time",
    (Citation("ahrq-ch42", "R", "table 3"), COMMON_PRACTICE),
)

_LEAK = Stated(
    "C2",
    "Swelling, pain or a leak can mean that the needle has left the port: nothing more is given",
    (Citation("royal-marsden", "R", "ch. 17"),),
)

_VESICANT = Stated("C3", "No vesicant without blood return", (Citation("ons", "R"),))


def no_blood(policy: Policy) -> Contingency:
    """Return what follows when blood does not return, with what ends that hold by policy."""
    either = phrasing.listed(ends_in_words(ends_by_policy(policy)), "or")
    then = f"nothing more goes through the line; the hold ends only with {either}"
    return Contingency("blood does not return", then, ("hold_ends_with",))


_SWELLS = Contingency("it swells, hurts or leaks", "what is being given stops and the prescriber is told", (_LEAK,))
_DAMP = Contingency(
    "the dressing is damp, loose or soiled",
    "it is due at once, whatever its date; the needle keeps its own time",
    (_SOILED,),
)


def every_line(policy: Policy) -> tuple[Contingency, ...]:
    """Return what is to be done in any patient with a needle: a sheet of several says it once."""
    return no_blood(policy), _SWELLS, _DAMP


def contingencies(view: View, line: LineFacts) -> Iterator[Contingency]:
    """Yield what is to happen for one line if something does."""
    state = line.state
    if state.dwell is not None:
        yield from thrombolytic(view, line)
    if state.holds:
        yield _on_hold(state)
    if state.needle is None:
        return
    if not state.holds:
        if line.vesicant:
            yield Contingency("blood return is lost", "the vesicant is stopped at once", (_VESICANT,))
        yield no_blood(view.policy)
    yield _SWELLS
    if not any(action.clock == "dressing change" and action.late for action in line.actions):
        yield _DAMP


def _on_hold(state: State) -> Contingency:
    """Return what blood return changes about the holds of a septum, as their ends say."""
    basis = ("hold_ends_with",) if all(hold.reason in PROVABLE for hold in state.holds) else ()
    either = phrasing.listed(common_ends_in_words(state.holds), "or")
    one = len(state.holds) == 1
    hold, ends, has = ("the hold", "ends", "has") if one else ("the holds", "end", "have")
    if all("proof" in hold.ends_by for hold in state.holds):
        return Contingency("blood that looks like whole blood returns and the flush runs free", f"{hold} {ends}", basis)
    if state.dwell is not None and all("treatment" in hold.ends_by for hold in state.holds):
        then = f"{hold} {ends} once the contents are withdrawn and the flush runs free"
        return Contingency("the thrombolytic brings blood return", then, basis)
    if state.needle is None:
        return Contingency("the port is needed", f"{hold} {has} to end first, with {either}", basis)
    stays = "stays; it ends" if one else "stay; they end"
    return Contingency("blood returns through this needle", f"{hold} {stays} only with {either}", basis)


def thrombolytic(view: View, line: LineFacts) -> Iterator[Contingency]:
    """Yield what follows the looks at a dwelling dose. The limit in mg is that of two full doses; a dose by the lumen
    is given twice at most."""
    dwell = line.state.dwell
    assert dwell is not None
    policy = view.policy
    dose = getattr(dwell.treatment.event, "dose_mg", None)
    most = "alteplase_doses" if dose and dose < policy.value("alteplase_dose_mg") else "alteplase_total_mg"
    earliest = view.wording.when(dwell.treatment.event.at + policy.span("alteplase_second_dose_minutes"))
    more = doses_so_far(view, line.state, dwell) < policy.value("alteplase_doses")
    yield Contingency(
        "it has not worked by the second look",
        f"a second dose can be ordered from {earliest}, {policy.text(most)} at most in all"
        if more
        else "no further dose: the line is evaluated, with imaging",
        ("alteplase_second_dose_minutes", most) if more else ("alteplase_doses",),
    )
    withdrawn = _withdrawal(view.timeline, policy)
    if withdrawn:
        said, names = withdrawn
        yield Contingency("blood returns", f"{said} are withdrawn and the line is flushed", names)


def _withdrawal(timeline: Timeline, policy: Policy) -> tuple[str, tuple[Basis, ...]] | None:
    """Return what is taken off after success, by weight; None without a weight."""
    weight = timeline.episode.patient.weight_kg
    if weight is None:
        return None
    names = alteplase_withdrawal(weight, policy)
    return f"{' to '.join(number(policy.value(name)) for name in names)} mL", names
