"""The end of a hold: who may clear it, on what evidence, for which uses, and who learns of one that lasts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from lda_notes.check.rule_table import Case, Found, Step, advice, gap, unsafe, wrong
from lda_notes.check.rules.hold_use import beginning, since, why
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.line.holds import CLEARING_DECISIONS, PROVABLE, may_clear, reasons_cleared
from lda_notes.line.proof import blood_of
from lda_notes.problems import Related
from lda_notes.record import events as ev


@unsafe("record what the clearance is based on, or keep the line on hold", COMMON_PRACTICE, limits=("hold_ends_with",))
def cleared_in_spite_of_site(step: Step, event: ev.Evaluation, case: Case) -> Iterable[Found]:
    """Finds a line cleared for use by an evaluation that itself records a reason for the hold.

    Whoever clears a line also looks at the port: swelling, pus or a turned port in the same entry contradict the
    clearance.

    If the assessment is wrong, correct it.
    """
    own = tuple(hold for hold in step.after.holds if hold.began is step.entry)
    if event.decision in CLEARING_DECISIONS and own:
        yield Found("decision", f"the line is {event.decision}, and the same entry shows {why(own)}")


@wrong("correct the evidence or the blood return", COMMON_PRACTICE)
def cleared_without_restored_blood(step: Step, event: ev.Evaluation, case: Case) -> Iterable[Found]:
    """Compares an evaluation based on restored blood return with the last blood return on record.

    If blood came back, a check before the evaluation saw it.

    Chart the check at which blood came back.
    """
    if event.decision not in CLEARING_DECISIONS or "blood return restored" not in event.evidence:
        return
    last = step.before.last_blood_return
    seen = getattr(last.event, "blood_return", None) if last is not None else None
    if last is not None and seen == "none":
        yield Found(
            "evidence",
            f"the evaluation rests on restored blood return, and the last one on record, at {case.say(last.event.at)}, "
            "is none",
            related=(Related(last.path("blood_return"), "the last blood return"),),
        )


@unsafe(
    "keep the line on hold until someone whose role may clear it has judged it",
    COMMON_PRACTICE,
    limits=("roles_that_may_clear",),
)
def cleared_by_other_role(step: Step, event: ev.Evaluation, case: Case) -> Iterable[Found]:
    """Finds a line cleared by someone whose recorded role may not end a hold.

    Only the judgment of vascular access specialists or a physician ends a hold; the policy names the roles. A clearance
    by anyone else ends nothing: the line stays on hold.

    If the evaluator's role is not recorded, record it.
    """
    who = event.cleared_by
    if event.decision not in CLEARING_DECISIONS or may_clear(event, case.policy) or who is None or not who.credential:
        return
    yield Found(
        "decision", f'the line is {event.decision} by "{who.credential}", which may not end a hold; nothing ends'
    )


@wrong("correct the decision, or what it limits and ends", COMMON_PRACTICE)
def evaluation_against_itself(step: Step, event: ev.Evaluation, case: Case) -> Iterable[Found]:
    """Compares the decision of an evaluation with the limits and the holds that the same entry names.

    Only a decision that clears the line sets or lifts limits and ends holds. A limit with "cleared for use", or the end
    of a hold with "remains on hold", leaves the next nurse to guess which was meant.

    Until then the limit stays, and nothing ends.
    """
    if event.decision is None:
        return
    limited = {one.what for one in step.before.limits}
    on_hold = {name for hold in step.before.holds for name in (hold.reason, hold.sign)}
    septa = case.timeline.episode.port.septa
    named = len(septa) == 1 or event.septum in septa
    limits, lifts, ends = (event.__dict__.get(fact) or () for fact in ("limits", "lifts", "ends"))
    decided = f'the decision is "{event.decision}", and '
    if event.decision in CLEARING_DECISIONS:
        limits = limits if event.decision == "cleared for use" else ()
        lifts = [one for one in lifts if named and one not in limited]
        ends = [one for one in ends if named and one != "all" and one not in on_hold]
        lifting = "the evaluation lifts a limit that the line does not have"
        ending = "the evaluation ends a hold that the line is not under"
    else:
        lifting, ending = (f"{decided}{what} are named as ended by it" for what in ("limits", "holds"))
    odd = (("limits", limits, f"{decided}it is limited"), ("lifts", lifts, lifting), ("ends", ends, ending))
    for fact, which, says in odd:
        if which:
            yield Found(fact, f"{says}: " + " and ".join(f'"{one}"' for one in which))


@gap("name the holds that it ends, and the septum of a port with two; say all only if all were judged", COMMON_PRACTICE)
def hold_to_end_not_named(step: Step, event: ev.Evaluation, case: Case) -> Iterable[Found]:
    """Finds a clearance that does not say which of several holds it ends, or of which septum.

    A line may be on hold for more than one reason. Whoever clears it for one has not judged the other; what is not
    named stays on hold.
    """
    septa = case.timeline.episode.port.septa
    alone = len(septa) == 1
    named = alone or event.septum in septa
    if event.decision not in CLEARING_DECISIONS or not may_clear(event, case.policy) or not step.before.holds:
        return
    if not reasons_cleared(event, step.before.holds, case.policy, named=named, alone=alone):
        which = why(step.before.holds)
        says = f"the line is {event.decision}, and which hold that ends is not recorded: it is on hold for {which}"
        yield Found("decision", says, lacks=("ends",))


@advice(
    "have the line evaluated, or prove it with a new needle; until then it stays on hold",
    COMMON_PRACTICE,
    limits=("hold_ends_with",),
)
def blood_back_still_held(step: Step, event: ev.FlushOrLock | ev.LineCheck, case: Case) -> Iterable[Found]:
    """Finds blood that came back through the same needle while the line stays on hold.

    What failed once may fail again: with the same needle and no treatment the hold stays until the line is cleared,
    unless the facility's policy lets blood return end it.

    Say when blood came back.
    """
    held = tuple(hold for hold in step.after.holds if hold.reason in PROVABLE and hold.began is not step.entry)
    held = tuple(hold for hold in held if hold in case.timeline.holds[hold.septum])  # open to the end of the record
    if held and blood_of(step.entry.event) == "present":
        yield Found(
            "blood_return",
            f"blood came back at {case.say(step.entry.event.at)}, and the line stays {since(held, case)}; "
            "a clearance is needed",
            related=beginning(held),
        )


@unsafe(
    "name who takes over the line and inform them of the hold",
    Citation("home-infusion", "R2"),
    Citation("jc-sea-58", "M-H"),
)
def discharged_on_hold(step: Step, event: ev.Discharge, case: Case) -> Iterable[Found]:
    """Finds a discharge with the line on hold and no one named to take it over.

    Outside the facility, no one knows that the line must not be used, and no one is responsible for having it
    evaluated.
    """
    if event.destination == "died" or (event.handed_to is not None and event.handed_to.name is not None):
        return
    yield from _left_on_hold(step, case, "discharged")


@gap("name the nurse who takes over the line and inform them of the hold", Citation("jc-sea-58", "M-H"))
def transferred_on_hold(step: Step, event: ev.Transfer, case: Case) -> Iterable[Found]:
    """Finds a transfer with the line on hold and no one named to take it over.

    A hold that is not handed over ends at the door of the new unit.
    """
    if event.handed_to is None or event.handed_to.name is None:
        yield from _left_on_hold(step, case, "moved")


def _left_on_hold(step: Step, case: Case, verb: str) -> Iterator[Found]:
    for septum in case.timeline.needles:
        holds = case.timeline.state_at(septum, step.entry.event.at).holds
        if holds:
            says = f"the patient is {verb} with the line {since(holds, case)}, and who takes over is not recorded"
            yield Found("handed_to", says, lacks=("handed_to",), related=beginning(holds))
