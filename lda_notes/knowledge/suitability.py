"""The one place that answers whether something suits a patient, and why not: from plain values, no record.

Check, worksheet, offers of `chart` and to-dos ask here and nowhere else, so that none can advise what another faults.
The cautions that sheets print beside an allergy or a condition, at any age, are in `documents.precautions`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import date
from decimal import Decimal
from typing import Final, Literal, NamedTuple, get_args

from lda_notes.knowledge.ages import MONTHS_PER_YEAR, days_old, months_old
from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.supplies import contains

Use = Literal["antiseptic", "flush", "lock", "dressing", "anesthetic", "cap", "thrombolytic", "other"]
"""The use that something is put to."""

Weight = Literal["unsafe", "advice"]
"""How much speaks against it: ``unsafe`` is never advised; ``advice`` needs a prescriber or the facility's policy."""


class Subject(NamedTuple):
    """The patient as far as supplies are concerned. None: not recorded; then nothing is ruled out on account of it.

    ``unread`` names what was written and could not be read, ``allergies`` or ``history``: it may be any of them.
    """

    born: date | None
    today: date
    weight_kg: Decimal | None
    allergies: frozenset[str]
    history: frozenset[str]
    valved: bool | None = None
    unread: frozenset[str] = frozenset()

    @property
    def months(self) -> int | None:
        """Completed months of age; None when it is not known or not yet born."""
        months = months_old(self.born, self.today) if self.born is not None else None
        return months if months is not None and months >= 0 else None

    def newborn(self, policy: Policy) -> bool:
        """Return whether the patient is surely a newborn."""
        if self.born is None:
            return False
        return 0 <= days_old(self.born, self.today) <= policy.value("neonate_days")

    @property
    def no_heparin(self) -> bool:
        """Whether allergies or history forbid heparin."""
        return "heparin" in self.allergies or _HIT in self.history


class Objection(NamedTuple):
    """One thing that speaks against a use. ``rule`` names the row; ``why`` says it in words."""

    rule: str
    weight: Weight
    why: str
    allergy: str | None = None


class Answer(NamedTuple):
    """Whether something suits, and all that speaks against it."""

    objections: tuple[Objection, ...]

    @property
    def safe(self) -> bool:
        """Whether nothing forbids it; it may still need a prescriber's word."""
        return all(objection.weight != "unsafe" for objection in self.objections)

    @property
    def plain(self) -> bool:
        """Whether nothing at all speaks against it."""
        return not self.objections

    @property
    def allergy(self) -> str | None:
        """The allergy that forbids it, if one does."""
        return next((o.allergy for o in self.objections if o.allergy is not None and o.weight == "unsafe"), None)


class Item(NamedTuple):
    """A thing in use: what it is used for, its name in the record's words, strength and preservative if they matter."""

    use: Use
    what: str
    units_per_ml: Decimal | None = None
    preservative: str | None = None

    @property
    def inside(self) -> frozenset[str]:
        """The allergens in it, as far as its name says."""
        named = contains(self.what) or frozenset()
        return named | {"benzyl alcohol"} if self.preservative == "benzyl alcohol" else named


_HIT: Final = "heparin-induced thrombocytopenia"
_ANESTHETIC: Final = frozenset({"lidocaine", "prilocaine"})

Test = Callable[[Item, Subject, Policy], str | None]


def _allergies(item: Item, who: Subject) -> list[str]:
    """Return every allergy that forbids the item; the local anesthetics are of one family."""
    against = item.inside & who.allergies
    if item.inside & _ANESTHETIC and who.allergies & _ANESTHETIC:
        against |= who.allergies & _ANESTHETIC
    return sorted(against - {"adhesive"})


def _adhesive(item: Item, who: Subject, _: Policy) -> str | None:
    return "allergy to adhesive" if "adhesive" in item.inside & who.allergies else None


def _heparin_history(item: Item, who: Subject, _: Policy) -> str | None:
    return f"history of {_HIT}" if "heparin" in item.inside and _HIT in who.history else None


def _preservative_newborn(item: Item, who: Subject, policy: Policy) -> str | None:
    if "benzyl alcohol" not in item.inside:
        return None
    infant = who.months is not None and who.months < policy.value("infant_months")
    if infant and "heparin" in item.what:
        return "under 1 year: heparin without preservative"
    return "a newborn: no preservative" if who.newborn(policy) else None


def _iodine_newborn(item: Item, who: Subject, policy: Policy) -> str | None:
    return "a newborn: caution with iodine" if "iodine" in item.what and who.newborn(policy) else None


def _treatment_strength(item: Item, _: Subject, policy: Policy) -> str | None:
    if item.what != "heparin" or item.units_per_ml is None:
        return None
    most = policy.value("heparin_lock_strength_units_per_ml")
    return "stronger than any lock that is sold" if item.units_per_ml > most else None


def _strong_for_infant(item: Item, who: Subject, policy: Policy) -> str | None:
    if "heparin" not in item.what or item.units_per_ml is None:
        return None
    if item.units_per_ml < policy.value("heparin_lock_strength_units_per_ml"):
        return None
    young = who.months is not None and who.months < policy.value("infant_months")
    light = who.weight_kg is not None and who.weight_kg < policy.value("heparin_small_child_kg")
    return "under 1 year or under 10 kg: the weak strength is usual" if young or light else None


def _alcohol_newborn(item: Item, who: Subject, policy: Policy) -> str | None:
    return "a newborn: alcohol burns the skin" if "alcohol" in item.what and who.newborn(policy) else None


def _chlorhexidine_age(item: Item, who: Subject, policy: Policy) -> str | None:
    young = who.months is not None and who.months < policy.value("chg_age_months")
    return f"under {policy.text('chg_age_months')}" if "chlorhexidine" in item.what and young else None


def _chlorhexidine_weight(item: Item, who: Subject, policy: Policy) -> str | None:
    small = who.weight_kg is not None and who.weight_kg * 1000 < policy.value("chg_weight_g")
    return (
        f"a newborn under {policy.text('chg_weight_g')}"
        if ("chlorhexidine" in item.what and small and who.newborn(policy))
        else None
    )


def _disc_premature(item: Item, who: Subject, policy: Policy) -> str | None:
    young = who.months is not None and who.months < policy.value("chg_dressing_months")
    return "born before term" if "chlorhexidine" in item.what and young and "premature birth" in who.history else None


def least_months(policy: Policy) -> Decimal:
    """Return the age in months from which the policy uses chlorhexidine dressings and discs."""
    match policy.choice("chg_dressing_ages"):
        case "adults":
            return MONTHS_PER_YEAR * policy.value("chg_dressing_adult_years")
        case "over 2 months":
            return policy.value("chg_dressing_months")
        case _:
            return Decimal(0)


def _too_young(item: Item, who: Subject, policy: Policy) -> str | None:
    young = who.months is not None and who.months < least_months(policy)
    return "younger than the policy uses it for" if "chlorhexidine" in item.what and young else None


def _infant(who: Subject, policy: Policy) -> bool:
    return who.months is not None and who.months < policy.value("chg_dressing_months")


def _disc_infant(item: Item, who: Subject, policy: Policy) -> str | None:
    return _too_young(item, who, policy) if _infant(who, policy) else None


def _disc_age(item: Item, who: Subject, policy: Policy) -> str | None:
    return None if _infant(who, policy) else _too_young(item, who, policy)


def _valved(item: Item, who: Subject, _: Policy) -> str | None:
    return "a valved catheter: its instructions ask for saline" if "heparin" in item.inside and who.valved else None


def _saline_not_accepted(item: Item, who: Subject, policy: Policy) -> str | None:
    if item.what != "0.9% sodium chloride" or who.valved or who.no_heparin:
        return None
    return "the policy does not accept saline alone" if policy.choice("saline_lock_accepted") == "no" else None


def _ethanol(item: Item, _: Subject, __: Policy) -> str | None:
    return "not every catheter bears alcohol" if item.what == "70% ethanol" else None


def _taurolidine(item: Item, _: Subject, __: Policy) -> str | None:
    return "not every such product is made for ports" if item.what.startswith("taurolidine") else None


def _methemoglobin(item: Item, who: Subject, _: Policy) -> str | None:
    known = who.history & {"methemoglobinemia", "methaemoglobinaemia"}
    return "history of methemoglobinemia" if "prilocaine" in item.what and known else None


def _g6pd(item: Item, who: Subject, _: Policy) -> str | None:
    return "G6PD deficiency" if "prilocaine" in item.what and "G6PD deficiency" in who.history else None


def _cold(item: Item, who: Subject, _: Policy) -> str | None:
    return "cold intolerance" if item.what == "vapocoolant spray" and "cold intolerance" in who.history else None


class Row(NamedTuple):
    """One objection: for which uses it is asked, how much it weighs, and the test that says why."""

    rule: str
    uses: frozenset[str]
    weight: Weight
    test: Test


def _row(rule: str, uses: Iterable[Use], weight: Weight, test: Test) -> Row:
    return Row(rule, frozenset(uses), weight, test)


_ALL: Final[tuple[Use, ...]] = get_args(Use)

TABLE: Final[tuple[Row, ...]] = (
    _row("adhesive", ("dressing",), "advice", _adhesive),
    _row("heparin-history", _ALL, "unsafe", _heparin_history),
    _row("preservative-newborn", ("flush", "lock"), "unsafe", _preservative_newborn),
    _row("treatment-strength-heparin", ("lock",), "unsafe", _treatment_strength),
    _row("strong-heparin-infant", ("lock",), "advice", _strong_for_infant),
    _row("alcohol-on-newborn-skin", ("antiseptic",), "unsafe", _alcohol_newborn),
    _row("iodine-on-newborn-skin", ("antiseptic",), "advice", _iodine_newborn),
    _row("chlorhexidine-under-age", ("antiseptic",), "advice", _chlorhexidine_age),
    _row("chlorhexidine-small-newborn", ("antiseptic",), "advice", _chlorhexidine_weight),
    _row("chlorhexidine-dressing-premature", ("dressing",), "unsafe", _disc_premature),
    _row("chlorhexidine-dressing-age", ("dressing",), "unsafe", _disc_infant),
    _row("chlorhexidine-dressing-age", ("dressing",), "advice", _disc_age),
    _row("heparin-in-valved-catheter", ("lock",), "advice", _valved),
    _row("saline-lock", ("lock",), "advice", _saline_not_accepted),
    _row("ethanol-lock", ("lock",), "advice", _ethanol),
    _row("taurolidine-lock", ("lock",), "advice", _taurolidine),
    _row("prilocaine-methemoglobinemia", ("anesthetic",), "unsafe", _methemoglobin),
    _row("prilocaine-g6pd", ("anesthetic",), "advice", _g6pd),
    _row("spray-cold-intolerance", ("anesthetic",), "unsafe", _cold),
)
"""All that may speak against a supply but an allergy; each row has the name of the rule of the check that says it."""

_BY_USE: Final = {use: tuple(row for row in TABLE if use in row.uses) for use in _ALL}


def suits(
    use: Use,
    what: str,
    who: Subject,
    policy: Policy,
    *,
    units_per_ml: Decimal | None = None,
    preservative: str | None = None,
) -> Answer:
    """Return whether ``what`` suits ``who`` for ``use``, with everything that speaks against it."""
    return Answer(tuple(_objections(Item(use, what, units_per_ml, preservative), who, policy)))


def _objections(item: Item, who: Subject, policy: Policy) -> Iterator[Objection]:
    if who.allergies:
        for allergen in _allergies(item, who):
            yield Objection("allergy", "unsafe", f"allergy to {allergen}", allergen)
    if item.inside and ("allergies" in who.unread or ("history" in who.unread and item.use in _HISTORY_USES)):
        yield Objection("unread", "advice", f"{unread_words(who)} could not be read")
    for row in _BY_USE[item.use]:
        if (why := row.test(item, who, policy)) is not None:
            yield Objection(row.rule, row.weight, why, "adhesive" if row.rule == "adhesive" else None)


_HISTORY_USES: Final = frozenset({"lock", "dressing", "anesthetic"})
"""Uses that a history speaks against."""


def unread_words(who: Subject) -> str:
    """Return what could not be read of the patient, in words; "" when nothing was."""
    said = {"allergies": "an allergy", "history": "the history"}
    return " and ".join(words for name, words in said.items() if name in who.unread)


# -- what to offer --

ANTISEPTICS: Final = (
    "chlorhexidine in alcohol",
    "povidone-iodine",
    "70% isopropyl alcohol",
    "aqueous chlorhexidine",
)
"""Skin antiseptics in the order in which they are offered (iodine tincture is recorded, never offered)."""


def antiseptics(who: Subject, policy: Policy) -> tuple[str, ...]:
    """Return the antiseptics that nothing speaks against, the usual one first."""
    return tuple(agent for agent in ANTISEPTICS if suits("antiseptic", agent, who, policy).plain)


class Offered(NamedTuple):
    """A lock that may be offered: the drug and, for heparin, its strength in units per mL."""

    drug: str
    units_per_ml: Decimal | None = None


def locks(who: Subject, policy: Policy) -> tuple[Offered, ...]:
    """Return the locks that nothing speaks against: heparin in the strengths sold, and saline."""
    sold = ("heparin_lock_strength_units_per_ml", "heparin_lock_low_strength_units_per_ml")
    found = [Offered("heparin", policy.value(name)) for name in sold]
    found.append(Offered("0.9% sodium chloride"))
    return tuple(o for o in found if suits("lock", o.drug, who, policy, units_per_ml=o.units_per_ml).plain)


def preservative_free(who: Subject, policy: Policy) -> bool:
    """Return whether only solutions without a preservative will do."""
    return not suits("flush", "0.9% sodium chloride with benzyl alcohol", who, policy).safe


def disc_suits(who: Subject, policy: Policy) -> bool:
    """Return whether a chlorhexidine disc may be expected: nothing on record speaks against one."""
    return suits("dressing", "chlorhexidine disc", who, policy).plain


def dressings(who: Subject, policy: Policy, types: Iterable[str]) -> tuple[str, ...]:
    """Return those of ``types`` that are safe."""
    return tuple(one for one in types if suits("dressing", one, who, policy).safe)
