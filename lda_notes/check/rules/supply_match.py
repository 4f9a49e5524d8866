"""Supplies against the patient's age, weight and history, and against the port."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Final

from lda_notes.check.rule_table import Case, Found, Step, rule
from lda_notes.check.rules.patients import days_at, is_adult, is_newborn, months_at
from lda_notes.check.rules.supplies_used import holding
from lda_notes.knowledge.policy import quantity
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.knowledge.suitability import least_months
from lda_notes.record.events import Access, ArrivalAccessed, Dressed, Flushed
from lda_notes.record.parts import Anesthetic, Antisepsis, Dressing, Lock

_CREAM: Final = Citation("cream-label", "R2", "contraindications")


# -- history --


@rule(
    "unsafe",
    "aspirate the heparin at once, flush and lock with saline, and tell the prescriber",
    cites=(Citation("heparin-lock-label", "M-H"), Citation("taurolidine-us", "R2"), Citation("ins-2021", "M-H")),
)
def heparin_history(case: Case) -> Iterable[Found]:
    """Finds any heparin in flush, lock or another supply of a patient with a history of heparin-induced
    thrombocytopenia.

    The little heparin of a flush can set the reaction off again, with clots and loss of limbs. Taurolidine locks and
    coated catheters may hold heparin too.

    Use 0.9% sodium chloride, or what the prescriber orders instead, and mark the patient's record.
    """
    if "heparin-induced thrombocytopenia" not in case.timeline.episode.patient.conditions:
        return
    for used in holding(case, "heparin"):
        yield Found(
            used.entry.path(*used.keys),
            f"{used.said} is used in a patient with a history of heparin-induced thrombocytopenia; expected no heparin",
            event=used.entry.event.id,
        )


def _prilocaine(event: Access) -> bool:
    used = event.anesthetic
    return type(used) is Anesthetic and "prilocaine" in used.agent


@rule(
    "unsafe",
    "take the cream off, watch for bluish skin, and tell the prescriber",
    on=(Access,),
    cites=(_CREAM,),
)
def prilocaine_methemoglobinemia(step: Step, event: Access, case: Case) -> Iterable[Found]:
    """Finds prilocaine cream on a patient with a history of methemoglobinemia.

    Prilocaine turns haemoglobin into a form that carries no oxygen; the label forbids it here.

    Take the cream off and use another way to numb the skin.
    """
    history = case.timeline.episode.patient.conditions
    if history and "methemoglobinemia" in history and _prilocaine(event):
        yield Found(
            step.entry.path("anesthetic", "agent"),
            "cream with prilocaine is used in a patient with a history of methemoglobinemia; expected none",
        )


@rule("advice", "ask the prescriber, and watch for bluish skin", on=(Access,), cites=(_CREAM,))
def prilocaine_g6pd(step: Step, event: Access, case: Case) -> Iterable[Found]:
    """Finds prilocaine cream on a patient with glucose-6-phosphate dehydrogenase deficiency.

    These patients develop methemoglobinemia more easily; the label asks for caution.

    Ask the prescriber, use little, and watch the patient.
    """
    history = case.timeline.episode.patient.conditions
    if history and "G6PD deficiency" in history and _prilocaine(event):
        yield Found(
            step.entry.path("anesthetic", "agent"),
            "cream with prilocaine is used in a patient with G6PD deficiency; the label asks for caution",
        )


@rule(
    "unsafe",
    "use another way to numb the skin, and watch the sprayed skin",
    on=(Access,),
    cites=(Citation("vapocoolant-label", "M-M"),),
)
def spray_cold_intolerance(step: Step, event: Access, case: Case) -> Iterable[Found]:
    """Finds cold spray used on a patient who does not bear cold, as in Raynaud's disease.

    Cold closes the vessels of such skin for long and can injure it.

    Use another way to numb the skin.
    """
    history = case.timeline.episode.patient.conditions
    used = event.anesthetic
    if history and "cold intolerance" in history and type(used) is Anesthetic and used.agent == "vapocoolant spray":
        yield Found(
            step.entry.path("anesthetic", "agent"),
            "cold spray is used in a patient with cold intolerance; expected another anesthetic",
        )


# -- newborns and infants --


@rule(
    "unsafe",
    "use preservative-free solutions, and tell the prescriber what was given",
    on=(Flushed,),
    limits=("neonate_days", "infant_months"),
    cites=(Citation("heparin-lock-label", "R2"), Citation("ins-2021", "M-H")),
)
def preservative_newborn(step: Step, event: Flushed, case: Case) -> Iterable[Found]:
    """Finds saline preserved with benzyl alcohol in a newborn, or a lock preserved with it under one year.

    Newborns cannot break benzyl alcohol down; the gasping syndrome it caused has killed. Heparin is used without a
    preservative in every infant.

    Use preservative-free solutions only, and tell the prescriber what was given.
    """
    newborn = is_newborn(case, step.entry.event)
    months = months_at(case, step.entry.event)
    infant = months is not None and 0 <= months < case.policy.value("infant_months")
    if newborn and type(event.flushes) is tuple:
        for position, flush in enumerate(event.flushes):
            if "benzyl" in flush.solution:
                yield _preserved(step, ("flushes", position, "solution"), flush.solution)
    heparin = type(event.lock) is Lock and "heparin" in event.lock.drug
    if type(event.lock) is Lock and event.lock.preservative == "benzyl alcohol" and (newborn or (infant and heparin)):
        who = "a newborn" if newborn else "an infant under one year"
        yield _preserved(step, ("lock", "preservative"), f"{event.lock.drug} with benzyl alcohol", who)


def _preserved(step: Step, keys: tuple[str | int, ...], words: str, who: str = "a newborn") -> Found:
    return Found(step.entry.path(*keys), f"{words} was used in {who}; it should have no preservative")


@rule(
    "gap",
    "read on the label whether the lock holds a preservative, and record it",
    on=(Flushed,),
    limits=("neonate_days",),
    cites=(Citation("heparin-lock-label", "R2"),),
)
def preservative_unknown_newborn(step: Step, event: Flushed, case: Case) -> Iterable[Found]:
    """Finds a lock in a newborn without a record of whether it holds a preservative.

    The same drug is sold with and without benzyl alcohol; only the label tells, and in a newborn it decides.

    Read the label, and record the preservative, or none.
    """
    if type(event.lock) is Lock and event.lock.preservative is None and is_newborn(case, step.entry.event):
        yield Found(
            step.entry.path("lock"),
            f"whether the lock of {event.lock.drug} holds a preservative is not recorded, for a newborn",
            lacks=("lock.preservative",),
        )


@rule(
    "advice",
    "compare with the order: 10 units per mL or saline is usual for this child",
    on=(Flushed,),
    limits=("infant_months", "heparin_small_child_kg", "heparin_lock_strength_units_per_ml"),
    cites=(Citation("heparin-lock-label", "R2"),),
)
def strong_heparin_infant(step: Step, event: Flushed, case: Case) -> Iterable[Found]:
    """Finds a heparin lock of 100 units per mL in a child under one year or under 10 kg.

    The label keeps this strength away from newborns and infants, whose small blood volume makes a lock a dose.

    Compare with the order; 10 units per mL or saline is usual.
    """
    lock = event.lock
    if type(lock) is not Lock or lock.units_per_ml is None or "heparin" not in lock.drug:
        return
    if lock.units_per_ml < case.policy.value("heparin_lock_strength_units_per_ml"):
        return
    months, weight = months_at(case, step.entry.event), case.timeline.episode.patient.weight_kg
    young = months is not None and 0 <= months < case.policy.value("infant_months")
    light = weight is not None and weight < case.policy.value("heparin_small_child_kg")
    if young or light:
        who = quantity(Decimal(months or 0), "months") if young else quantity(weight or Decimal(0), "kg")
        yield Found(
            step.entry.path("lock", "units_per_ml"),
            f"a heparin lock of {quantity(lock.units_per_ml, 'units per mL')} was used in a child of {who}; "
            "10 units per mL or saline is usual",
        )


@rule(
    "unsafe",
    "rinse the alcohol off the skin, look for burns, and use an aqueous antiseptic",
    on=(Dressed,),
    limits=("neonate_days",),
    cites=(Citation("msf-catalogue", "R"), Citation("home-infusion", "R2")),
)
def alcohol_on_newborn_skin(step: Step, event: Dressed, case: Case) -> Iterable[Found]:
    """Finds alcohol, alone or with chlorhexidine, on the skin of a newborn.

    Newborn skin is thin: alcohol burns it and is taken up through it.

    Use an aqueous antiseptic, and look for burns.
    """
    antisepsis = event.antisepsis
    if type(antisepsis) is not Antisepsis or "alcohol" not in antisepsis.agent:
        return
    if is_newborn(case, step.entry.event):
        yield Found(
            step.entry.path("antisepsis", "agent"),
            f"{antisepsis.agent} is used on the skin of a newborn of {days_at(case, step.entry.event)} days; expected "
            "an agent without alcohol",
        )


@rule(
    "advice",
    "use as little as possible, wash it off when dry, and ask the prescriber",
    on=(Dressed,),
    limits=("neonate_days",),
    cites=(COMMON_PRACTICE,),
)
def iodine_on_newborn_skin(step: Step, event: Dressed, case: Case) -> Iterable[Found]:
    """Finds iodine on the skin of a newborn.

    Iodine passes through thin skin and can slow a newborn's thyroid. Caution is common practice, without a source.

    Ask the prescriber which antiseptic to use, and use as little as possible.
    """
    antisepsis = event.antisepsis
    if type(antisepsis) is Antisepsis and "iodine" in antisepsis.agent and is_newborn(case, step.entry.event):
        yield Found(
            step.entry.path("antisepsis", "agent"),
            f"{antisepsis.agent} was used on the skin of a newborn of {days_at(case, step.entry.event)} days; caution "
            "is asked",
        )


@rule(
    "advice",
    "ask the prescriber which antiseptic to use, and watch the skin",
    on=(Dressed,),
    limits=("chg_age_months",),
)
def chlorhexidine_under_age(step: Step, event: Dressed, case: Case) -> Iterable[Found]:
    """Finds chlorhexidine on the skin of an infant under two months.

    No recommendation could be made for this age, and labels warn of chemical burns. Alcohol on a newborn's skin is a
    finding of its own.

    Ask the prescriber, and watch the skin.
    """
    antisepsis = event.antisepsis
    if type(antisepsis) is not Antisepsis or "chlorhexidine" not in antisepsis.agent:
        return
    months = months_at(case, step.entry.event)
    if months is None or not 0 <= months < case.policy.value("chg_age_months"):
        return
    if "alcohol" in antisepsis.agent and is_newborn(case, step.entry.event):
        return
    yield Found(
        step.entry.path("antisepsis", "agent"),
        f"{antisepsis.agent} is used at {quantity(Decimal(months), 'months')} of age; expected from "
        f"{case.policy.text('chg_age_months')}",
    )


@rule(
    "advice",
    "use as little as possible, and watch the skin",
    on=(Dressed,),
    limits=("chg_weight_g", "neonate_days"),
)
def chlorhexidine_small_newborn(step: Step, event: Dressed, case: Case) -> Iterable[Found]:
    """Finds chlorhexidine on the skin of a newborn under 1,000 g.

    Such skin develops contact dermatitis from chlorhexidine.

    Use as little as possible, wipe off what pools, and watch the skin.
    """
    antisepsis = event.antisepsis
    weight = case.timeline.episode.patient.weight_kg
    if type(antisepsis) is not Antisepsis or weight is None or "chlorhexidine" not in antisepsis.agent:
        return
    if weight * 1000 < case.policy.value("chg_weight_g") and is_newborn(case, step.entry.event):
        yield Found(
            step.entry.path("antisepsis", "agent"),
            f"{antisepsis.agent} is used on a newborn of {quantity(weight * 1000, 'g')}; caution is asked below "
            f"{case.policy.text('chg_weight_g')}",
        )


# -- chlorhexidine dressings --


def _chlorhexidine_dressing(event: Dressed | ArrivalAccessed) -> str | None:
    """Return the key that says that the dressing holds chlorhexidine; None when it does not."""
    dressing = event.dressing
    if type(dressing) is not Dressing:
        return None
    if dressing.type == "transparent with chlorhexidine":
        return "type"
    return "chlorhexidine_disc" if dressing.chlorhexidine_disc is True else None


@rule(
    "unsafe",
    "use a dressing without chlorhexidine, and look at the skin",
    on=(Dressed,),
    limits=("chg_dressing_months",),
    cites=(Citation("cdc-2017", "D", "rec 2.a, written for short-term lines"),),
)
def chlorhexidine_dressing_premature(step: Step, event: Dressed, case: Case) -> Iterable[Found]:
    """Finds a chlorhexidine dressing or disc on an infant under two months who was born before term.

    The CDC recommends against it: it has injured the skin of premature newborns. Its text says premature neonate; the
    age of two months, up to which another source gives no advice either, is taken here (derived).

    Use a dressing without chlorhexidine.
    """
    if "premature birth" not in case.timeline.episode.patient.conditions:
        return
    key = _chlorhexidine_dressing(event)
    months = months_at(case, step.entry.event) if key is not None else None
    if key is not None and months is not None and 0 <= months < case.policy.value("chg_dressing_months"):
        yield Found(
            step.entry.path("dressing", key),
            f"a dressing with chlorhexidine is used on a premature infant of {quantity(Decimal(months), 'months')}; "
            "expected one without it",
        )


@rule(
    "unsafe",
    "use a dressing without chlorhexidine at this age, or follow the facility's policy; look at the skin",
    on=(Dressed,),
    limits=("chg_dressing_ages", "chg_dressing_adult_years", "chg_dressing_months"),
    cites=(
        Citation("chg-dressing-ifu", "R2", "under 2 months"),
        Citation("cdc-2017", "D", "rec 2.b, written for short-term lines"),
    ),
)
def chlorhexidine_dressing_age(step: Step, event: Dressed, case: Case) -> Iterable[Found]:
    """Compares the patient's age with the ages for which chlorhexidine dressings and discs are used.

    Under two months one maker's instructions for a port dressing say not to use it, and the skin is easily injured.
    From two months the facility's policy decides: some use them in adults only.

    Follow the policy, and set it if it differs from the published one.
    """
    key = _chlorhexidine_dressing(event)
    if key is None:
        return
    policy = case.policy
    ages = policy.choice("chg_dressing_ages")
    if ages == "any" or (ages == "adults" and is_adult(case, step.entry.event)):
        return
    months = months_at(case, step.entry.event)
    if months is None or not 0 <= months < least_months(policy):
        return
    said = quantity(Decimal(months), "months") if months < 24 else quantity(Decimal(months // 12), "years")
    expected = policy.text("chg_dressing_adult_years" if ages == "adults" else "chg_dressing_months")
    yield Found(
        step.entry.path("dressing", key),
        f"a dressing with chlorhexidine was used at {said} of age; it is for patients from {expected}",
        severity=None if months < policy.value("chg_dressing_months") else "advice",
    )


# -- locks against the port --


@rule(
    "advice",
    "find out what the catheter is made of before ethanol stays in it",
    on=(Flushed,),
    cites=(Citation("polyurethane-page", "R2"),),
)
def ethanol_lock(step: Step, event: Flushed, case: Case) -> Iterable[Found]:
    """Finds a lock of ethanol; the record does not say what the catheter is made of.

    Alcohol weakens polyurethane until it breaks; silicone bears it.

    Look up the material on the patient's card or the implant record, and ask the prescriber.
    """
    if type(event.lock) is Lock and event.lock.drug == "70% ethanol":
        yield Found(
            step.entry.path("lock", "drug"),
            "the line is locked with 70% ethanol; a polyurethane catheter must not be soaked in alcohol",
        )


@rule(
    "advice",
    "lock a valved catheter with saline, unless heparin is ordered",
    on=(Flushed,),
    cites=(Citation("valved-port-ifu", "R2"),),
)
def heparin_in_valved_catheter(step: Step, event: Flushed, case: Case) -> Iterable[Found]:
    """Finds a heparin lock in a catheter that has a valve.

    The valve keeps blood out of the tip, so the maker asks for saline only, and heparin adds risk without need.

    Lock with saline, unless heparin is ordered.
    """
    if case.timeline.episode.port.valved is True and type(event.lock) is Lock and "heparin" in event.lock.drug:
        yield Found(
            step.entry.path("lock", "drug"),
            f"a valved catheter is locked with {event.lock.drug}; its instructions expect saline",
        )


@rule(
    "advice",
    "make sure that the product in hand is labelled for ports, and plan to aspirate it before the next use",
    on=(Flushed,),
    cites=(Citation("taurolidine-us", "R2"), Citation("taurolidine-eu", "R")),
)
def taurolidine_lock(step: Step, event: Flushed, case: Case) -> Iterable[Found]:
    """Finds a taurolidine lock, whose label differs from country to country.

    The product of Europe is labelled for ports; that of the US is for the haemodialysis catheters of adults only, and
    holds ten times the heparin of a lock.

    Read the label of the product in hand.
    """
    if type(event.lock) is Lock and event.lock.drug.startswith("taurolidine"):
        yield Found(
            step.entry.path("lock", "drug"),
            f"the line is locked with {event.lock.drug}; not every such product is labelled for ports",
        )
