"""Each row of suitability on both sides of each of its conditions, one of which differs at a time."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from itertools import product
from typing import Any

import pytest
from rule_cases import episode_of, local_policy
from scenes import event

from lda_notes.knowledge import suitability
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.knowledge.suitability import Offered, Subject, suits
from lda_notes.line.against import subject
from lda_notes.problems import Place
from lda_notes.record.unread import Unread

TODAY = date(2031, 4, 2)
HIT = "heparin-induced thrombocytopenia"
NEWBORN, INFANT, GROWN = TODAY - timedelta(days=28), TODAY - timedelta(days=90), date(1970, 1, 1)
PRESERVED = "0.9% sodium chloride with benzyl alcohol"
CREAM = "lidocaine 2.5% with prilocaine 2.5% cream"
TYPES = ("transparent", "transparent with chlorhexidine", "gauze", "gauze under transparent", "gauze under wings")
ALCOHOLIC = ("chlorhexidine in alcohol", "70% isopropyl alcohol")
USES = ("antiseptic", "flush", "lock", "dressing", "anesthetic", "cap", "thrombolytic", "other")


def who(born: date | None = GROWN, kg: Any = 70, **more: Any) -> Subject:
    sets: dict[str, Any] = {name: frozenset(more.pop(name, ())) for name in ("allergies", "history", "unread")}
    return Subject(born, TODAY, None if kg is None else Decimal(str(kg)), **sets, **more)


def against(use: Any, what: str, of: Subject, policy: Any = DEFAULT, units: Any = None, **more: Any) -> list[str]:
    """Return what speaks against it as rule and weight, in the order of the answer."""
    units = None if units is None else Decimal(str(units))
    answer = suits(use, what, of, policy, units_per_ml=units, **more)
    assert answer.plain is (not answer.objections)
    assert answer.safe is not any(one.weight == "unsafe" for one in answer.objections)
    return [f"{one.rule} {one.weight}" for one in answer.objections]


PLAIN = [
    *(("antiseptic", what) for what in (*ALCOHOLIC, "povidone-iodine", "aqueous chlorhexidine", "iodine tincture")),
    ("flush", "0.9% sodium chloride"),
    ("flush", PRESERVED),
    ("lock", "0.9% sodium chloride"),
    ("lock", "heparin"),
    ("lock", "4% citrate"),
    *(("dressing", what) for what in (*TYPES, "chlorhexidine disc")),
    *(("anesthetic", what) for what in (CREAM, "lidocaine 4% cream", "vapocoolant spray")),
    ("cap", "disinfecting cap"),
    ("thrombolytic", "alteplase"),
]


@pytest.mark.parametrize(("use", "what"), PLAIN)
def test_nothing_speaks_against_the_usual_in_an_adult_without_a_history(use: str, what: str) -> None:
    assert against(use, what, who()) == []
    assert against(use, what, who(born=None, kg=None)) == [], "what is not recorded rules nothing out"
    later = who(born=TODAY + timedelta(days=1), kg=None)
    assert against(use, what, later) == [], "a birth date to come is no age"


INSIDE = {
    "chlorhexidine in alcohol": {"chlorhexidine", "isopropyl alcohol"},
    "aqueous chlorhexidine": {"chlorhexidine"},
    "povidone-iodine": {"iodine"},
    "iodine tincture": {"iodine"},
    "70% isopropyl alcohol": {"isopropyl alcohol"},
    "transparent with chlorhexidine": {"chlorhexidine"},
    "chlorhexidine disc": {"chlorhexidine"},
    "disinfecting cap": {"isopropyl alcohol"},
    CREAM: {"lidocaine", "prilocaine"},
    "lidocaine 4% cream": {"lidocaine", "prilocaine"},  # one family: an allergy to one forbids the other
    "vapocoolant spray": {"vapocoolant"},
    PRESERVED: {"benzyl alcohol"},
    "heparin": {"heparin"},
    "taurolidine with citrate and heparin": {"heparin"},
    "alteplase": {"alteplase"},
    "0.9% sodium chloride": set(),
    "gauze": set(),
}


@pytest.mark.parametrize("what", INSIDE)
def test_an_allergy_forbids_what_contains_it_for_any_use_and_nothing_else(what: str) -> None:
    allergens = ["chlorhexidine", "iodine", "latex", "heparin", "lidocaine", "prilocaine", "alteplase", "vapocoolant"]
    allergens += ["benzyl alcohol", "isopropyl alcohol"]
    uses: Any = USES
    for allergen, use in product(allergens, uses):
        answer = suits(use, what, who(allergies=[allergen]), DEFAULT)
        assert (answer.allergy == allergen) is (allergen in INSIDE[what])
        assert [one.allergy for one in answer.objections if one.rule == "allergy"] == (
            [allergen] if allergen in INSIDE[what] else []
        )
        assert answer.safe is not (allergen in INSIDE[what])


def test_both_of_two_allergies_are_named() -> None:
    both = who(allergies=["prilocaine", "lidocaine"])
    assert [one.allergy for one in suits("anesthetic", CREAM, both, DEFAULT).objections] == ["lidocaine", "prilocaine"]
    assert [one.allergy for one in suits("anesthetic", "lidocaine 4% cream", both, DEFAULT).objections] == [
        "lidocaine",
        "prilocaine",
    ]


def test_a_preservative_counts_as_what_is_inside() -> None:
    allergic = who(allergies=["benzyl alcohol"])
    assert against("lock", "heparin", allergic, preservative="benzyl alcohol") == ["allergy unsafe"]
    for other in (None, "parabens", "none"):
        assert against("lock", "heparin", allergic, preservative=other) == []


def test_adhesive_is_advice_since_a_reaction_may_be_a_sensitivity() -> None:
    for what in TYPES:
        assert against("dressing", what, who(allergies=["adhesive"])) == ["adhesive advice"]
        answer = suits("dressing", what, who(allergies=["adhesive"]), DEFAULT)
        assert answer.allergy is None and [one.allergy for one in answer.objections] == ["adhesive"]
    assert against("dressing", "chlorhexidine disc", who(allergies=["adhesive"])) == []
    assert against("other", "tape", who(allergies=["adhesive"])) == []


@pytest.mark.parametrize("use", USES)
def test_heparin_after_thrombocytopenia_is_unsafe_for_any_use(use: Any) -> None:
    for what, bad in (("heparin", True), ("taurolidine with citrate and heparin", True), ("4% citrate", False)):
        assert ("heparin-history unsafe" in against(use, what, who(history=[HIT]))) is bad
        assert "heparin-history unsafe" not in against(use, what, who(history=["premature birth"]))


@pytest.mark.parametrize(
    ("born", "heparin", "saline"),
    [
        (NEWBORN, True, True),
        (NEWBORN - timedelta(days=1), True, False),  # 29 days old
        (INFANT, True, False),
        (date(2030, 4, 3), True, False),
        (date(2030, 4, 2), False, False),  # one year on the day
        (GROWN, False, False),
        (None, False, False),
        (TODAY + timedelta(days=1), False, False),
    ],
)
def test_benzyl_alcohol_in_heparin_under_a_year_in_saline_in_newborns(born: Any, heparin: bool, saline: bool) -> None:
    row = "preservative-newborn unsafe"
    for use in ("flush", "lock"):
        assert (row in against(use, "heparin", who(born, 4), preservative="benzyl alcohol")) is heparin
        assert (row in against(use, PRESERVED, who(born, 4))) is saline
        assert row not in against(use, "heparin", who(born, 4), preservative="none")
        assert row not in against(use, "0.9% sodium chloride", who(born, 4))
    assert row not in against("other", PRESERVED, who(born, 4))


def test_what_is_safe_of_a_preservative_is_said_by_age() -> None:
    def why(what: str, born: date) -> str:
        answer = suits("lock", what, who(born, 12), DEFAULT, preservative="benzyl alcohol")
        return next(one.why for one in answer.objections if one.rule == "preservative-newborn")

    assert why("heparin", NEWBORN) == "under 1 year: heparin without preservative"
    assert why("0.9% sodium chloride", NEWBORN) == "a newborn: no preservative"


@pytest.mark.parametrize(("units", "row"), [(None, []), (100, []), ("100.1", ["treatment-strength-heparin unsafe"])])
def test_heparin_stronger_than_any_lock(units: Any, row: list[str]) -> None:
    assert against("lock", "heparin", who(), units=units) == row
    assert against("flush", "heparin", who(), units=units) == []
    assert against("lock", "4% citrate", who(), units=units) == []


@pytest.mark.parametrize(
    ("born", "kg", "asked"),
    [
        (INFANT, 12, True),
        (date(2030, 4, 3), 12, True),
        (date(2030, 4, 2), 12, False),
        (GROWN, "9.9", True),
        (GROWN, 10, False),
        (None, "9.9", True),
        (None, None, False),
        (INFANT, None, True),
    ],
)
def test_the_weak_strength_is_usual_in_the_small(born: Any, kg: Any, asked: bool) -> None:
    row = ["strong-heparin-infant advice"] if asked else []
    assert against("lock", "heparin", who(born, kg), units=100) == row
    assert [one for one in against("lock", "taurolidine with citrate and heparin", who(born, kg), units=100)
            if one.startswith("strong")] == row  # fmt: skip
    assert against("lock", "heparin", who(born, kg), units="99.9") == []
    assert against("lock", "heparin", who(born, kg)) == []
    assert against("lock", "4% citrate", who(born, kg), units=100) == []
    assert against("flush", "heparin", who(born, kg), units=100) == []


@pytest.mark.parametrize("born", [NEWBORN, NEWBORN - timedelta(days=1)])
def test_antiseptics_on_a_newborn(born: date) -> None:
    newborn = born == NEWBORN
    small = who(born, "0.9")
    young = ["chlorhexidine-under-age advice"]
    light = ["chlorhexidine-small-newborn advice"] if newborn else []
    burns = ["alcohol-on-newborn-skin unsafe"] if newborn else []
    iodine = ["iodine-on-newborn-skin advice"] if newborn else []
    assert against("antiseptic", "chlorhexidine in alcohol", small) == [*burns, *young, *light]
    assert against("antiseptic", "aqueous chlorhexidine", small) == [*young, *light]
    assert against("antiseptic", "70% isopropyl alcohol", small) == burns
    assert against("antiseptic", "povidone-iodine", small) == iodine
    assert against("antiseptic", "iodine tincture", small) == iodine
    for kg in (1, 3, None):
        assert against("antiseptic", "aqueous chlorhexidine", who(born, kg)) == young
    assert against("cap", "70% isopropyl alcohol", small) == []


def test_chlorhexidine_on_the_skin_from_two_months() -> None:
    days = (date(2031, 2, 3), date(2031, 2, 2))
    found = [against("antiseptic", "aqueous chlorhexidine", who(born, 5)) for born in days]
    assert found == [["chlorhexidine-under-age advice"], []]


@pytest.mark.parametrize("what", ["chlorhexidine disc", "transparent with chlorhexidine"])
def test_chlorhexidine_dressings_by_age_and_policy(what: str) -> None:
    days = {"under": date(2031, 2, 3), "two months": date(2031, 2, 2), "child": date(2013, 4, 3), "adult": GROWN}
    days |= {"18 years": date(2013, 4, 2)}
    age = "chlorhexidine-dressing-age"
    for choice, unsafe, advice in (
        ("over 2 months", {"under"}, set()),
        ("adults", {"under"}, {"two months", "child"}),
    ):
        policy = local_policy(chg_dressing_ages=choice)
        for name, born in days.items():
            row = [f"{age} unsafe"] if name in unsafe else [f"{age} advice"] if name in advice else []
            assert against("dressing", what, who(born, 5), policy) == row, (choice, name)
            assert against("dressing", "transparent", who(born, 5), policy) == []
    premature = {"history": ["premature birth"]}
    early = "chlorhexidine-dressing-premature unsafe"
    assert early in against("dressing", what, who(days["under"], 5, **premature))
    assert early not in against("dressing", what, who(days["two months"], 5, **premature))
    assert early not in against("dressing", "gauze", who(days["under"], 5, **premature))
    assert early not in against("dressing", what, who(days["under"], 5, history=["cold intolerance"]))


@pytest.mark.parametrize(("choice", "least"), [("adults", 18 * 12), ("over 2 months", 2), ("any", 0)])
def test_the_age_from_which_a_policy_uses_a_disc(choice: str, least: int) -> None:
    assert suitability.least_months(local_policy(chg_dressing_ages=choice)) == least


def test_locks_that_ask_for_a_second_look() -> None:
    assert against("lock", "heparin", who(valved=True)) == ["heparin-in-valved-catheter advice"]
    assert against("lock", "heparin", who(valved=False)) == []
    assert against("lock", "0.9% sodium chloride", who(valved=True)) == []
    assert against("flush", "heparin", who(valved=True)) == []
    assert against("lock", "70% ethanol", who()) == ["ethanol-lock advice"]
    assert against("lock", "taurolidine with citrate", who()) == ["taurolidine-lock advice"]
    assert against("lock", "taurolidine with citrate and heparin", who()) == ["taurolidine-lock advice"]


def test_saline_alone_where_the_policy_does_not_accept_it() -> None:
    strict = local_policy(saline_lock_accepted="no")
    row = ["saline-lock advice"]
    assert against("lock", "0.9% sodium chloride", who(), strict) == row
    assert against("lock", "0.9% sodium chloride", who(), DEFAULT) == []
    assert against("flush", "0.9% sodium chloride", who(), strict) == []
    assert against("lock", "4% citrate", who(), strict) == []
    for bars in ({"valved": True}, {"history": [HIT]}, {"allergies": ["heparin"]}):
        assert against("lock", "0.9% sodium chloride", who(**bars), strict) == []
    assert (
        against("lock", "0.9% sodium chloride", who(history=["cold intolerance"], allergies=["latex"]), strict) == row
    )


@pytest.mark.parametrize("history", ["methemoglobinemia", "G6PD deficiency", "cold intolerance", HIT])
@pytest.mark.parametrize("what", [CREAM, "lidocaine 4% cream", "vapocoolant spray"])
def test_local_anesthesia_against_a_history(history: str, what: str) -> None:
    rows = {
        (CREAM, "methemoglobinemia"): ["prilocaine-methemoglobinemia unsafe"],
        (CREAM, "G6PD deficiency"): ["prilocaine-g6pd advice"],
        ("vapocoolant spray", "cold intolerance"): ["spray-cold-intolerance unsafe"],
    }
    assert against("anesthetic", what, who(history=[history])) == rows.get((what, history), [])
    assert against("anesthetic", what, who()) == []
    for one in suits("anesthetic", what, who(history=[history]), DEFAULT).objections:
        assert one.why.removeprefix("history of ") == history


@pytest.mark.parametrize("use", USES)
def test_what_could_not_be_read_makes_everything_that_contains_something_doubtful(use: Any) -> None:
    def doubted(what: str, *unread: str) -> bool:
        return "unread advice" in against(use, what, who(unread=unread))

    assert doubted("heparin", "allergies") and not doubted("heparin")
    assert not doubted("0.9% sodium chloride", "allergies", "history"), "there is nothing in it to be allergic to"
    # A history speaks against locks (heparin), dressings (premature birth) and anesthetics (cold, methemoglobin).
    assert doubted("heparin", "history") is (use in ("lock", "dressing", "anesthetic"))
    assert doubted("heparin", "allergies", "history")


@pytest.mark.parametrize("fact", ["allergies", "history", "weight_kg"])
def test_what_could_not_be_read_of_the_patient_reaches_what_is_asked(fact: str) -> None:
    known = episode_of(event("line check", 0))
    odd = Unread(("patient",), Place("case.yaml", 1, 1), "latx", None, fact, ("patient", fact))
    asked = subject(known.patient, known.port, TODAY, (odd,))
    assert asked.unread == {fact} - {"weight_kg"} and subject(known.patient, known.port, TODAY).unread == frozenset()


def test_what_could_not_be_read_in_words() -> None:
    assert suitability.unread_words(who(unread=["history", "allergies"])) == "an allergy and the history"
    assert suitability.unread_words(who(unread=["history"])) == "the history"
    assert suitability.unread_words(who()) == ""


# -- what is offered --


def test_offers_are_what_nothing_speaks_against() -> None:
    assert suitability.antiseptics(who(), DEFAULT) == suitability.ANTISEPTICS
    assert suitability.antiseptics(who(allergies=["chlorhexidine"]), DEFAULT) == (
        "povidone-iodine",
        "70% isopropyl alcohol",
    )
    assert suitability.antiseptics(who(NEWBORN, 3), DEFAULT) == ()
    assert suitability.antiseptics(who(INFANT, 5), DEFAULT) == suitability.ANTISEPTICS
    strong, weak, saline = Offered("heparin", Decimal(100)), Offered("heparin", Decimal(10)), Offered(PRESERVED[:20])
    assert suitability.locks(who(), DEFAULT) == (strong, weak, saline)
    assert suitability.locks(who(INFANT, 5), DEFAULT) == (weak, saline)
    assert suitability.locks(who(history=[HIT]), DEFAULT) == (saline,)
    assert suitability.locks(who(valved=True), local_policy(saline_lock_accepted="no")) == (saline,)


def test_dressings_are_offered_when_safe_and_a_disc_when_plain() -> None:
    chlorhexidine = ("transparent with chlorhexidine", "chlorhexidine disc")
    every = (*TYPES, "chlorhexidine disc")
    without = tuple(one for one in every if one not in chlorhexidine)
    assert suitability.dressings(who(), DEFAULT, every) == every
    assert suitability.dressings(who(allergies=["chlorhexidine"]), DEFAULT, every) == without
    assert suitability.dressings(who(allergies=["adhesive"]), DEFAULT, every) == every  # advice forbids nothing
    adults = local_policy(chg_dressing_ages="adults")
    assert suitability.dressings(who(INFANT, 5), adults, every) == every
    assert suitability.disc_suits(who(), adults) and not suitability.disc_suits(who(INFANT, 5), adults)
    assert suitability.disc_suits(who(INFANT, 5), DEFAULT)
    assert suitability.preservative_free(who(allergies=["benzyl alcohol"]), DEFAULT)


def test_age_and_what_forbids_heparin_as_values() -> None:
    assert who().months == 12 * 61 + 3
    assert who(TODAY).months == 0 and who(TODAY).newborn(DEFAULT)
    assert who(TODAY + timedelta(days=1)).months is None and not who(TODAY + timedelta(days=1)).newborn(DEFAULT)
    assert who(born=None).months is None and not who(born=None).newborn(DEFAULT)
    assert not who().no_heparin and who(allergies=["heparin"]).no_heparin and who(history=[HIT]).no_heparin
    assert not who()._replace(history=frozenset({"premature birth"})).no_heparin
