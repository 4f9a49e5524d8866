"""Limits of treating a blocked line with alteplase: dose, volume, second dose, time of mixing, looks at the dwell."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import timedelta
from decimal import Decimal
from typing import Final, NamedTuple

from lda_notes.check.rule_table import Case, Entry, Found, Step, advice, gap, unsafe, wrong
from lda_notes.check.rules.overrun import judged_until, length
from lda_notes.knowledge import amounts
from lda_notes.knowledge.policy import quantity
from lda_notes.knowledge.sources import Citation
from lda_notes.line.states import Dwell
from lda_notes.problems import Related
from lda_notes.record import events as ev
from lda_notes.record.parts import Site

_LABEL: Final = Citation("alteplase-label", "R")
_DOSE_LIMITS: Final = (
    "alteplase_full_dose_kg",
    "alteplase_dose_mg",
    "alteplase_lumen_factor",
    "alteplase_single_max_mg",
    "alteplase_measure_step_ml",
)


@unsafe(
    "compare the dose with the order and the label before it is given; if it was given, notify the prescriber",
    limits=_DOSE_LIMITS,
)
def alteplase_dose(step: Step, event: ev.PatencyTreatment, case: Case) -> Iterable[Found]:
    """Compares the alteplase dose with the label's, computed from weight and lumen volume.

    From 30 kg the dose is 2 mg; below, 110% of the lumen's volume at 1 mg per mL, never more than 2 mg. A dose by lumen
    volume is measured in the graduations of a syringe, so the nearest graduation counts as right. Some practice uses 1
    mg.

    The tool does not order doses.
    """
    if event.drug != "alteplase" or event.dose_mg is None:
        return
    policy = case.policy
    weight = case.timeline.patient_at(event.at).weight_kg
    expected = amounts.alteplase_dose_mg(weight, event.lumen_ml, policy)
    if expected is None or weight is None:
        return
    by_lumen = weight < policy.value("alteplase_full_dose_kg")
    step_mg = policy.value("alteplase_measure_step_ml") * policy.value("alteplase_mg_per_ml")
    within = step_mg / 2 if by_lumen else Decimal(0)
    if abs(event.dose_mg - expected) <= within and event.dose_mg <= policy.value("alteplase_single_max_mg"):
        return
    why = f"for {quantity(weight, 'kg')}"
    if by_lumen and event.lumen_ml is not None:
        why += f" and a lumen of {quantity(event.lumen_ml, 'mL')}"
    yield Found(
        "dose_mg",
        f"the alteplase dose is {quantity(event.dose_mg, 'mg')}; the label's dose is {quantity(expected, 'mg')} {why}",
    )


@gap("record weight and lumen volume, so that the dose can be compared with the label", limits=_DOSE_LIMITS)
def alteplase_dose_unknown(step: Step, event: ev.PatencyTreatment, case: Case) -> Iterable[Found]:
    """Finds an alteplase treatment whose dose cannot be computed: no weight, or under 30 kg and no lumen volume.

    Below 30 kg the dose depends on the volume of the lumen; without it no figure can be computed, and none is guessed.

    Under 30 kg, the internal volume of the lumen counts.
    """
    if event.drug != "alteplase":
        return
    weight = case.timeline.patient_at(event.at).weight_kg
    if amounts.alteplase_dose_mg(weight, event.lumen_ml, case.policy) is not None:
        return
    missing = "the patient's weight" if weight is None else "the lumen volume"
    below = f", needed below {case.policy.text('alteplase_full_dose_kg')}," if weight is not None else ""
    yield Found(
        "lumen_ml" if weight is not None else "dose_mg",
        f"{missing}{below} is not recorded; the alteplase dose cannot be worked out",
        lacks=("lumen_ml",) if weight is not None else ("patient.weight_kg",),
    )


@wrong(
    "read dose and volume from the preparation record again",
    Citation("alteplase-smpc", "R", "lumen of more than 2 mL"),
    limits=("alteplase_mg_per_ml",),
)
def alteplase_concentration(step: Step, event: ev.PatencyTreatment, case: Case) -> Iterable[Found]:
    """Compares dose and volume of alteplase: at the labeled concentration one follows from the other.

    A volume that does not match the dose means an error in one of the two, or a wrong dilution. Only a lumen of more
    than 2 mL may be filled by diluting further.
    """
    if event.drug != "alteplase" or event.dose_mg is None or event.volume_ml is None:
        return
    expected = amounts.alteplase_volume_ml(event.dose_mg, case.policy)
    if event.volume_ml == expected:
        return
    most = case.policy.value("alteplase_single_max_ml")
    lumen = event.lumen_ml
    if lumen is not None and lumen > most and expected < event.volume_ml <= lumen:
        return
    yield Found(
        "volume_ml",
        f"{quantity(event.dose_mg, 'mg')} of alteplase in {quantity(event.volume_ml, 'mL')}; it is "
        f"{quantity(expected, 'mL')} at {case.policy.text('alteplase_mg_per_ml')}",
    )


@unsafe("mix a fresh vial", limits=("alteplase_use_within_hours",))
def alteplase_kept_too_long(step: Step, event: ev.PatencyTreatment, case: Case) -> Iterable[Found]:
    """Measures the time from mixing alteplase to instilling it.

    The mixed drug contains no preservative and loses its strength; the label allows 8 hours.
    """
    if event.drug != "alteplase" or event.reconstituted_at is None:
        return
    kept = event.at - event.reconstituted_at
    if kept > case.span("alteplase_use_within_hours"):
        yield Found(
            "reconstituted_at",
            f"the alteplase was put in {length(kept)} after mixing; the limit is "
            f"{case.policy.text('alteplase_use_within_hours')}",
        )


@advice("make sure that the prescriber knew before the dose, and watch the patient; the label asks for care", _LABEL)
def thrombolytic_caution(step: Step, event: ev.PatencyTreatment, case: Case) -> Iterable[Found]:
    """Lists what the label of a thrombolytic advises caution for, as recorded before the dose.

    A dose may release an infection from the catheter into the blood, and it adds to any risk of bleeding. Neither rules
    it out; only hypersensitivity does. Pus or swelling at the site points to another cause of the occlusion.

    Chart what was said.
    """
    risk = event.bleeding_risk
    site = event.site if isinstance(event.site, Site) else None
    taken = (risk.anticoagulant or "").strip() if risk is not None else ""
    named = taken.casefold().rstrip(".") not in ("", "no", "none", "nil")
    asks = (
        (risk is not None and risk.catheter_infection, "infection of the catheter known or suspected"),
        (risk is not None and risk.recent_bleeding, "recent bleeding"),
        (named, f'anticoagulant "{taken}", which adds to the risk of bleeding'),
        (site is not None and site.swelling == "present", "swelling at the site"),
        (site is not None and site.drainage == "purulent", "pus at the site"),
    )
    cautions = [says for asked, says in asks if asked]
    if cautions:
        says = f"recorded before {event.drug} was instilled: {'; '.join(cautions)}"
        yield Found("bleeding_risk" if risk is not None else "site", says)


class _Dose(NamedTuple):
    """An alteplase dose within the doses for one occlusion. ``total_mg`` counts the doses up to it."""

    entry: Entry
    event: ev.PatencyTreatment
    number: int
    before: Entry | None
    total_mg: Decimal


def _doses(case: Case) -> Iterator[_Dose]:
    """Yield every alteplase dose with its place among the doses for its occlusion.

    An occlusion ends when blood comes back; the doses after that are for a new one.
    """
    if not any(case.timeline.dwells.values()):
        return
    last: dict[str | None, _Dose] = {}
    for step in case.timeline.steps:
        event = step.entry.event
        if isinstance(event, ev.PatencyTreatment):
            if event.drug == "alteplase":
                earlier = last.get(step.septum)
                number, total = (earlier.number, earlier.total_mg) if earlier is not None else (0, Decimal(0))
                before = earlier.entry if earlier is not None else None
                last[step.septum] = _Dose(step.entry, event, number + 1, before, total + (event.dose_mg or 0))
                yield last[step.septum]
        elif isinstance(event, ev.Proved) and event.blood_return == "present":
            last.pop(step.septum, None)


@unsafe("wait for the full dwell and check again before a second dose", limits=("alteplase_second_dose_minutes",))
def alteplase_second_dose_early(case: Case) -> Iterable[Found]:
    """Measures the time from the first alteplase dose for an occlusion to the second.

    The first dose needs its full dwell; a second one before that adds to the risk of bleeding needlessly.

    The check is due at 120 minutes; the second dose is given only if it is ordered.
    """
    for dose in _doses(case):
        if dose.before is None:
            continue
        waited = dose.event.at - dose.before.event.at
        if waited < case.span("alteplase_second_dose_minutes"):
            yield Found(
                "at",
                f"a further alteplase dose was given {length(waited)} after the one before; the minimum is "
                f"{case.policy.text('alteplase_second_dose_minutes')}",
                dose.entry,
                related=(Related(dose.before.path("at"), "the dose before"),),
            )


@unsafe("give no further dose; ask for imaging", limits=("alteplase_doses",))
def alteplase_third_dose(case: Case) -> Iterable[Found]:
    """Counts the alteplase doses for one occlusion, that is, since blood last came back.

    The label provides for one repeat dose. A line that two doses have not opened is most likely not blocked by a clot
    at the tip.

    Keep the line on hold.
    """
    for dose in _doses(case):
        if dose.number > case.policy.value("alteplase_doses"):
            related = (Related(dose.before.path("at"), "the dose before"),) if dose.before is not None else ()
            yield Found(
                "drug",
                f"this is alteplase dose {dose.number} for one occlusion; the limit is "
                f"{case.policy.text('alteplase_doses')}",
                dose.entry,
                related=related,
            )


@unsafe("give no further dose; notify the prescriber", limits=("alteplase_total_mg",))
def alteplase_total(case: Case) -> Iterable[Found]:
    """Adds up the alteplase doses for one occlusion.

    Nothing above two doses of 2 mg has been studied for a catheter.

    Watch for bleeding.
    """
    for dose in _doses(case):
        if dose.event.dose_mg is not None and dose.total_mg > case.policy.value("alteplase_total_mg"):
            yield Found(
                "dose_mg",
                f"the alteplase doses for this occlusion add up to {quantity(dose.total_mg, 'mg')}; the limit is "
                f"{case.policy.text('alteplase_total_mg')}",
                dose.entry,
            )


# -- looks at the dwell --

_LOOKS: Final = ("alteplase_first_check_minutes", "alteplase_second_check_minutes")


@gap("check for blood return, and chart the check", limits=_LOOKS)
def thrombolytic_check_missing(case: Case) -> Iterable[Found]:
    """Looks for the check of each alteplase dose at 30 minutes and, if blood did not come back, at 120 minutes.

    At 30 minutes many lines are open and the dose need not dwell longer; at 120 minutes the label decides about a
    second dose. A dose that no one checks stays in the line, and no one knows that the line may be used.
    """
    for dwell in (dwell for stays in case.timeline.dwells.values() for dwell in stays if _alteplase(dwell)):
        given = case.say(dwell.treatment.event.at)
        for limit in _missing_looks(case, dwell):
            says = f"no look at {case.policy.text(limit)} is charted for the alteplase instilled {given}"
            yield Found("at", says, dwell.treatment, citations=case.policy.citations(limit))


def _alteplase(dwell: Dwell | None) -> ev.PatencyTreatment | None:
    """Return the alteplase that dwells; None where nothing does or another drug."""
    treatment = dwell.treatment.event if dwell is not None else None
    return treatment if isinstance(treatment, ev.PatencyTreatment) and treatment.drug == "alteplase" else None


def _missing_looks(case: Case, dwell: Dwell) -> Iterable[str]:
    start = dwell.treatment.event.at
    until = dwell.ended.event.at if dwell.ended is not None else judged_until(case)
    slack = case.span("clock_slack_minutes")
    waited = [check.event.at - start for check in dwell.checks]
    for limit in _LOOKS:
        expected = case.span(limit)
        if until - start > expected and not any(time >= expected - slack for time in waited):
            yield limit


@advice("check at 30 minutes, and at 120 if the line is still blocked", limits=(*_LOOKS, "clock_slack_minutes"))
def thrombolytic_check_late(step: Step, event: ev.PatencyCheck, case: Case) -> Iterable[Found]:
    """Compares the time at which a dwelling alteplase dose was checked with the label's 30 and 120 minutes.

    A late check keeps the line out of use longer than needed. A few minutes are allowed for clocks that differ.

    Plan the checks when the dose goes in.
    """
    dwell = step.before.dwell
    treatment = _alteplase(dwell)
    if dwell is None or treatment is None:
        return
    waited, slack = event.at - treatment.at, case.span("clock_slack_minutes")
    seen = dwell.checks[-1].event.at - treatment.at if dwell.checks else timedelta(0)  # they stand in order of time
    limit = next((limit for limit in _LOOKS if seen < case.span(limit) - slack), None)
    if limit is not None and waited > case.span(limit) + slack:
        came = f"the look came {length(waited)} after the alteplase was instilled"
        says = f"{came}; it was due at {case.policy.text(limit)}"
        yield Found("at", says, citations=case.policy.citations(limit))


@advice(
    "withdraw the labeled volume, so that no drug and no loosened clot is flushed in",
    limits=(
        "alteplase_withdraw_ml",
        "alteplase_withdraw_max_ml",
        "alteplase_withdraw_child_ml",
        "alteplase_withdraw_child_kg",
    ),
)
def alteplase_withdrawal(step: Step, event: ev.PatencyCheck, case: Case) -> Iterable[Found]:
    """Compares the volume withdrawn after success with the label's: 4 to 5 mL from 10 kg, 3 mL under 10 kg.

    Withdrawing it takes the drug and the loosened clot out of the line before it is flushed.

    Then flush with saline.
    """
    weight = case.timeline.patient_at(event.at).weight_kg
    if event.blood_return != "present" or event.withdrawn_ml is None or weight is None:
        return
    names = amounts.alteplase_withdrawal(weight, case.policy)
    low, high = case.policy.value(names[0]), case.policy.value(names[-1])
    if _alteplase(step.before.dwell) and not low <= event.withdrawn_ml <= high:
        expected = quantity(low, "mL") if low == high else f"{quantity(low, 'mL')} to {quantity(high, 'mL')}"
        withdrawn, kg = quantity(event.withdrawn_ml, "mL"), quantity(weight, "kg")
        yield Found("withdrawn_ml", f"{withdrawn} was withdrawn; at {kg} it is {expected}")
