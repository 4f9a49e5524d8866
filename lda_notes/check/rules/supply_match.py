"""Supplies against the patient's age, weight and history, and against the port: what `suitability` says, in words.

Whether something suits is decided in `lda_notes.knowledge.suitability` alone, from what was known when it was used.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from typing import Final

from lda_notes.check.rule_table import Case, Found, Step, advice, gap, unsafe
from lda_notes.check.rules.patients import age_words, is_newborn, months_at
from lda_notes.check.rules.supplies_used import Against, Unsuited, against, enter_unsuited, holding
from lda_notes.knowledge.policy import quantity
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.line.contents import no_heparin, told
from lda_notes.line.states import Exposure
from lda_notes.record import events as ev
from lda_notes.record.parts import Lock

_CREAM: Final = Citation("cream-label", "R2", "contraindications")


# -- what only has to be said --

_TABLE: Final = (
    # rule, message, what to do, what is checked, why it matters, what else to do, sources, limits
    Unsuited(
        "heparin-history",
        "{said} is used in a patient with a history of heparin-induced thrombocytopenia",
        "aspirate the heparin at once, flush and lock with saline, and notify the prescriber",
        "Finds any heparin in flush, lock or another supply of a patient with a history of heparin-induced "
        "thrombocytopenia, once that was known.",
        "The small amount of heparin in a flush can set off the reaction again, with clots and loss of limbs. "
        "Taurolidine locks and coated catheters may contain heparin too.",
        "Use 0.9% sodium chloride, or what the prescriber orders instead, and mark the patient's record.",
        cites=(Citation("heparin-lock-label", "M-H"), Citation("taurolidine-us", "R2"), Citation("ins-2021", "M-H")),
    ),
    Unsuited(
        "prilocaine-methemoglobinemia",
        "cream with prilocaine is used in a patient with a history of methemoglobinemia",
        "take the cream off, watch for bluish skin, and notify the prescriber",
        "Finds prilocaine cream on a patient with a history of methemoglobinemia.",
        "Prilocaine turns hemoglobin into a form that carries no oxygen; the label forbids it here.",
        "Use another way to numb the skin.",
        cites=(_CREAM,),
    ),
    Unsuited(
        "prilocaine-g6pd",
        "cream with prilocaine is used in a patient with G6PD deficiency; the label asks for caution",
        "ask the prescriber, and watch for bluish skin",
        "Finds prilocaine cream on a patient with glucose-6-phosphate dehydrogenase deficiency.",
        "These patients develop methemoglobinemia more easily; the label asks for caution.",
        "Use little.",
        cites=(_CREAM,),
    ),
    Unsuited(
        "spray-cold-intolerance",
        "cold spray is used in a patient with cold intolerance",
        "use another way to numb the skin, and watch the sprayed skin",
        "Finds cold spray used on a patient who does not tolerate cold, as in Raynaud's disease.",
        "Cold constricts the vessels of such skin for a long time and can injure it.",
        cites=(Citation("vapocoolant-label", "M-M"),),
    ),
    Unsuited(
        "alcohol-on-newborn-skin",
        "{words} is used on the skin of a newborn of {days} days; it contains alcohol",
        "rinse the alcohol off the skin, look for burns, and use an aqueous antiseptic",
        "Finds alcohol, alone or with chlorhexidine, on the skin of a newborn.",
        "Newborn skin is thin: alcohol burns it and is absorbed through it.",
        cites=(Citation("msf-catalogue", "R"), Citation("home-infusion", "R2")),
        limits=("neonate_days",),
    ),
    Unsuited(
        "iodine-on-newborn-skin",
        "{words} was used on the skin of a newborn of {days} days; caution is asked",
        "use as little as possible, wash it off when dry, and ask the prescriber",
        "Finds iodine on the skin of a newborn.",
        "Iodine passes through thin skin and can slow a newborn's thyroid. Caution is common practice, without a "
        "source.",
        cites=(COMMON_PRACTICE,),
        limits=("neonate_days",),
    ),
    Unsuited(
        "ethanol-lock",
        "the line is locked with 70% ethanol; a polyurethane catheter must not be soaked in alcohol",
        "find out what the catheter is made of before ethanol stays in it",
        "Finds a lock of ethanol; the record does not say what the catheter is made of.",
        "Alcohol weakens polyurethane until it breaks; silicone withstands it.",
        "Look up the material on the patient's card or the implant record, and ask the prescriber.",
        cites=(Citation("polyurethane-page", "R2"),),
    ),
    Unsuited(
        "heparin-in-valved-catheter",
        "a valved catheter is locked with {words}; its instructions expect saline",
        "lock a valved catheter with saline, unless heparin is ordered",
        "Finds a heparin lock in a catheter that has a valve.",
        "The valve keeps blood out of the tip, so the maker asks for saline only, and heparin adds risk without need.",
        cites=(Citation("valved-port-ifu", "R2"),),
    ),
    Unsuited(
        "taurolidine-lock",
        "the line is locked with {words}; not every such product is labeled for ports",
        "make sure that the product in hand is labeled for ports, and plan to aspirate it before the next use",
        "Finds a taurolidine lock, whose label differs from country to country.",
        "The European product is labeled for ports; the US product is for hemodialysis catheters in adults only, "
        "and contains ten times the heparin of a lock.",
        cites=(Citation("taurolidine-us", "R2"), Citation("taurolidine-eu", "R")),
    ),
)
enter_unsuited(__name__, _TABLE)


@gap(
    "tell the prescriber when heparin was last used and whether it is still in the line, and record who was notified "
    "as a problem that names the heparin",
    Citation("heparin-lock-label", "M-H"),
    COMMON_PRACTICE,
)
def heparin_before_known(case: Case) -> Iterable[Found]:
    """Finds heparin used before it was known that the patient must have none, where no one is recorded as notified.

    What was done was right by what was known then, but the patient was exposed, and heparin may still be in the line.
    """
    line = case.timeline
    elsewhere = {one.since for one in line.others.beside}  # what a later stay's record says is asked there
    for known in line.known[1:]:
        since, why = known.since, no_heparin(known.patient)
        if since is None or why is None or since in elsewhere:
            continue
        if no_heparin(line.patient_at(since - datetime.resolution)) is not None:
            continue
        before = [used for used in holding(case, "heparin") if used.entry.event.at < since]
        entries = [entry for entry in line.entries if entry.event.at >= since]
        if not before or any(told(entry.event, Exposure("heparin", since)) for entry in entries):
            return
        last = max(before, key=lambda used: used.entry.event.at)
        by = next((entry for entry in entries if entry.event.at == since), None)
        used = f"{last.said} was last used on {case.say(last.entry.event.at)}"
        says = f"{used}, before {why} was known; no one is recorded as notified"
        yield Found(() if by is not None else "patient.history", says, by)
        return


@unsafe(
    "use preservative-free solutions, and notify the prescriber of what was given",
    Citation("heparin-lock-label", "R2"),
    Citation("ins-2021", "M-H"),
    limits=("neonate_days", "infant_months"),
)
def preservative_newborn(case: Case) -> Iterable[Found]:
    """Finds saline preserved with benzyl alcohol in a newborn, or a lock preserved with it in an infant under one year.

    Newborns cannot break down benzyl alcohol; the gasping syndrome it causes has been fatal. In every infant, heparin
    without a preservative is used.
    """
    for one in against(case, "preservative-newborn"):
        words = one.used.words if one.used.of is None else f"{one.used.of} with benzyl alcohol"
        who = "a newborn" if is_newborn(case, one.used.entry.event) else "an infant under one year"
        yield one.found(f"{words} was used in {who}; it should have no preservative")


@gap(
    "read on the label whether the lock contains a preservative, and record it",
    Citation("heparin-lock-label", "R2"),
    limits=("neonate_days",),
)
def preservative_unknown_newborn(step: Step, event: ev.Flushed, case: Case) -> Iterable[Found]:
    """Finds a lock in a newborn without a record of whether it contains a preservative.

    The same drug is sold with and without benzyl alcohol; only the label tells, and in a newborn it matters.
    """
    if type(event.lock) is Lock and event.lock.preservative is None and is_newborn(case, step.entry.event):
        says = f"whether the lock of {event.lock.drug} contains a preservative is not recorded, for a newborn"
        yield Found("lock", says, lacks=("lock.preservative",))


@advice(
    "compare with the order: 10 units per mL or saline is usual for this child",
    Citation("heparin-lock-label", "R2"),
    limits=("infant_months", "heparin_small_child_kg", "heparin_lock_strength_units_per_ml"),
)
def strong_heparin_infant(case: Case) -> Iterable[Found]:
    """Finds a heparin lock of 100 units per mL in a child under one year or under 10 kg.

    The label excludes newborns and infants from this strength: in their small blood volume, a lock amounts to a dose.
    """
    for one in against(case, "strong-heparin-infant"):
        months, weight = months_at(case, one.used.entry.event), one.who.weight_kg
        young = months is not None and 0 <= months < case.policy.value("infant_months")
        who = quantity(Decimal(months or 0), "months") if young else quantity(weight or Decimal(0), "kg")
        strength = quantity(one.used.units_per_ml or Decimal(0), "units per mL")
        yield one.found(
            f"a heparin lock of {strength} was used in a child of {who}; 10 units per mL or saline is usual",
            "units_per_ml",
        )


@advice("ask the prescriber which antiseptic to use, and watch the skin", limits=("chg_age_months",))
def chlorhexidine_under_age(case: Case) -> Iterable[Found]:
    """Finds chlorhexidine on the skin of an infant under two months.

    No recommendation could be made for this age, and labels warn of chemical burns. Alcohol on a newborn's skin is a
    finding of its own.
    """
    for one in against(case, "chlorhexidine-under-age"):
        event = one.used.entry.event
        if "alcohol" not in one.used.words or not is_newborn(case, event):
            yield one.found(
                f"{one.used.words} is used at {quantity(Decimal(months_at(case, event) or 0), 'months')} of age; "
                f"the minimum age is {case.policy.text('chg_age_months')}"
            )


@advice("use as little as possible, and watch the skin", limits=("chg_weight_g", "neonate_days"))
def chlorhexidine_small_newborn(case: Case) -> Iterable[Found]:
    """Finds chlorhexidine on the skin of a newborn under 1,000 g.

    Such skin develops contact dermatitis from chlorhexidine.

    Wipe off what pools.
    """
    for one in against(case, "chlorhexidine-small-newborn"):
        grams = quantity((one.who.weight_kg or Decimal(0)) * 1000, "g")
        yield one.found(
            f"{one.used.words} is used on a newborn of {grams}; caution is asked below "
            f"{case.policy.text('chg_weight_g')}"
        )


# -- chlorhexidine dressings --


def _dressings(case: Case, row: str) -> Iterable[Against]:
    """Yield once for each event that put it on: film and disc of one dressing are one finding."""
    seen: set[str] = set()
    for one in against(case, row):
        if isinstance(one.used.entry.event, ev.Dressed) and one.used.entry.event.id not in seen:
            seen.add(one.used.entry.event.id)
            yield one


@unsafe(
    "use a dressing without chlorhexidine, and look at the skin",
    Citation("cdc-2017", "D", "rec 2.a, written for short-term lines"),
    limits=("chg_dressing_months",),
)
def chlorhexidine_dressing_premature(case: Case) -> Iterable[Found]:
    """Finds a chlorhexidine dressing or disc on an infant under two months who was born before term.

    The CDC recommends against it: it has injured the skin of premature newborns. Its text says premature neonate; the
    age of two months used here, up to which another source gives no advice either, is derived.
    """
    for one in _dressings(case, "chlorhexidine-dressing-premature"):
        months = quantity(Decimal(months_at(case, one.used.entry.event) or 0), "months")
        yield one.found(f"a dressing with chlorhexidine is used on a premature infant of {months}")


@unsafe(
    "use a dressing without chlorhexidine at this age, or follow the facility's policy; look at the skin",
    Citation("chg-dressing-ifu", "R2", "under 2 months"),
    Citation("cdc-2017", "D", "rec 2.b, written for short-term lines"),
    limits=("chg_dressing_ages", "chg_dressing_adult_years", "chg_dressing_months"),
)
def chlorhexidine_dressing_age(case: Case) -> Iterable[Found]:
    """Compares the patient's age with the ages for which chlorhexidine dressings and discs are used.

    Under two months one maker's instructions for a port dressing say not to use it, and the skin is easily injured.
    From two months the facility's policy decides: some use them in adults only.
    """
    adults = case.policy.choice("chg_dressing_ages") == "adults"
    expected = case.policy.text("chg_dressing_adult_years" if adults else "chg_dressing_months")
    for one in _dressings(case, "chlorhexidine-dressing-age"):
        age = age_words(months_at(case, one.used.entry.event) or 0)
        says = f"a dressing with chlorhexidine was used at {age} of age; it is for patients from {expected}"
        yield one.found(says, severity=one.objection.weight)
