"""Limits on the skin and of thrombolytics: each condition beside the number changed once."""

from __future__ import annotations

from typing import Any

import pytest
from scenes import BABY, CREAM, INFANT, LOCKED, NO_BLOOD, SCHOOL, SMALL, STILL_NONE, access, after, event
from test_hold_rules import found, say

DAY = 24 * 60
REST = access(**LOCKED)
UNKNOWN = {"not_assessed": "-"}


def fires(rule: str, *events: dict[str, Any], **more: Any) -> bool:
    return bool(found(rule, *events, **more))


# -- the skin --


def prep(agent: str, **facts: Any) -> dict[str, Any]:
    return access(antisepsis={"agent": agent, **facts})


@pytest.mark.parametrize(
    ("agent", "scrub", "friction", "dry"),
    [
        # Seconds from which each rule is quiet, on a dry and on a moist site; None: the rule does not judge the agent.
        ("chlorhexidine in alcohol", (30, 120), None, (30, 60)),
        ("70% isopropyl alcohol", (60, 60), None, (30, 30)),
        ("povidone-iodine", None, 60, (120, 120)),
        ("aqueous chlorhexidine", None, 60, None),
        ("iodine tincture", None, 60, None),
    ],
)
def test_each_antiseptic_by_its_own_times(agent: str, scrub: Any, friction: Any, dry: Any) -> None:
    for skin, moist in (("dry", 0), ("moist", 1), (None, 0)):
        for key, rule, limit in (
            ("scrub_s", "scrub-time", scrub and scrub[moist]),
            ("scrub_s", "skin-friction", friction),
            ("dry_s", "antiseptic-dry-time", dry and dry[moist]),
        ):
            times = [fires(rule, prep(agent, skin=skin, **{key: one})) for one in (1, (limit or 60) - 1, limit or 60)]
            assert times == ([False] * 3 if limit is None else [True, True, False]), (rule, skin)
            assert not fires(rule, prep(agent, skin=skin, **{key: None}))
            assert not fires(rule, access(antisepsis={"not_done": "-"}))
    assert "on a moist site" in say("scrub-time", prep("chlorhexidine in alcohol", skin="moist", scrub_s=9))[0]


def test_skin_that_was_not_dry_and_a_hub_that_was_not_scrubbed() -> None:
    assert fires("skin-not-dry", prep("povidone-iodine", fully_dry=False))
    assert not fires("skin-not-dry", prep("povidone-iodine", fully_dry=None))
    assert not fires("skin-not-dry", prep("povidone-iodine")) and not fires("skin-not-dry", access(antisepsis=None))
    assert fires("connector-scrub-time", REST, event("flush", 60, hub_scrub_s=4))
    assert not fires("connector-scrub-time", REST, event("flush", 60, hub_scrub_s=None))


def numbed(agent: str = CREAM, **facts: Any) -> dict[str, Any]:
    plain = {"amount_g": None, "area_cm2": None, "applied_at": None, "removed_at": None}
    return access(anesthetic={**plain, "agent": agent, **facts})


def test_cream_that_acted_too_short_or_wore_off() -> None:
    def on(minutes: int, agent: str = CREAM) -> dict[str, Any]:
        return numbed(agent, applied_at=after(-10 - minutes), removed_at=after(-10))

    rule = "cream-contact-short"
    for agent, limit in ((CREAM, 60), ("lidocaine 4% cream", 30)):
        assert [fires(rule, on(at, agent)) for at in (0, limit - 1, limit)] == [True, True, False]
        assert not fires(rule, numbed(agent, applied_at=after(-20)))
        assert not fires(rule, numbed(agent, removed_at=after(-20)))
        assert not fires(rule, on(-5, agent)), "the times contradict each other, which another rule says"
    assert not fires(rule, on(5, "vapocoolant spray")) and not fires(rule, access())
    worn = "cream-worn-off"
    assert fires(worn, numbed(removed_at=after(-121))) and not fires(worn, numbed(removed_at=after(-120)))
    assert not fires(worn, numbed("lidocaine 4% cream", removed_at=after(-300))) and not fires(worn, numbed())


@pytest.mark.parametrize(
    ("patient", "whom", "grams", "area", "hours"),
    [
        (INFANT, "under 3 months or too light", 1, 10, 1),
        (BABY, "3 to 12 months", 2, 20, 4),
        ({**BABY, "weight_kg": 5}, "under 3 months or too light", 1, 10, 1),
        (SMALL, "1 to 6 years", 10, 100, 4),
        ({**SMALL, "weight_kg": 10}, "3 to 12 months", 2, 20, 4),
        (SCHOOL, "7 to 12 years", 20, 200, 4),
        ({**SCHOOL, "weight_kg": 20}, "1 to 6 years", 10, 100, 4),
        ({**INFANT, "weight_kg": None}, "under 3 months or too light", 1, 10, 1),
    ],
    ids=str,
)
def test_cream_on_a_child_by_age_and_weight(patient: Any, whom: str, grams: int, area: int, hours: int) -> None:
    def said(**facts: Any) -> list[str]:
        return say("cream-child-maximum", numbed(**facts), patient=patient)

    assert said(amount_g=grams, area_cm2=area) == [] and said() == []
    (message,) = said(amount_g=grams + 0.1)
    assert whom in message and ("kg" in message) is (patient["weight_kg"] is not None)
    assert len(said(amount_g=grams + 0.1, area_cm2=area + 0.1)) == 2
    long = {"applied_at": after(-hours * 60 - 1), "removed_at": after(0)}
    assert len(said(**long)) == 1 and said(applied_at=long["applied_at"]) == [] == said(removed_at=after(0))
    assert say("cream-child-maximum", numbed("lidocaine 4% cream", amount_g=90), patient=patient) == []


def test_cream_on_a_child_whose_weight_nobody_recorded() -> None:
    rule, maximum = "cream-maximum-unknown", "cream-child-maximum"
    for patient, asked in ((BABY, True), (SMALL, True), (SCHOOL, True), (INFANT, False)):
        unweighed = {**patient, "weight_kg": None}
        assert fires(rule, numbed(amount_g=90), patient=unweighed) is asked
        assert fires(maximum, numbed(amount_g=90), patient=unweighed) is not asked
        assert not fires(rule, numbed(amount_g=90), patient=patient)
        assert not fires(rule, numbed("lidocaine 4% cream"), patient=unweighed)
    for born in (None, "2018-04-02", "1970-01-01", "2031-05-01"):
        assert not fires(rule, numbed(amount_g=90), patient={"birth_date": born, "weight_kg": None})
        assert not fires(maximum, numbed(amount_g=90), patient={"birth_date": born, "weight_kg": None})
    thirteen = {"birth_date": "2018-04-03", "weight_kg": None}
    assert fires(rule, numbed(amount_g=90), patient=thirteen), "the table ends on the thirteenth birthday"
    three = [{"birth_date": day, "weight_kg": None} for day in ("2031-01-02", "2031-01-03")]
    assert [fires(rule, numbed(), patient=one) for one in three] == [True, False]
    assert "5 months" in say(rule, numbed(), patient={**BABY, "weight_kg": None})[0]
    assert "10 years" in say(rule, numbed(), patient={**SCHOOL, "weight_kg": None})[0]


def test_cream_on_an_adult() -> None:
    rule = "cream-adult-amount"
    assert len(found(rule, numbed(amount_g=3, area_cm2=30))) == 2 and fires(rule, numbed(area_cm2=10))
    assert not fires(rule, numbed(amount_g=2.5, area_cm2=25)) and not fires(rule, numbed())
    assert not fires(rule, numbed("lidocaine 4% cream", amount_g=3)) and not fires(rule, access())
    assert not fires(rule, numbed(amount_g=3), patient={**SCHOOL}) and not fires(
        rule, numbed(amount_g=3), patient={"birth_date": None}
    )


def test_spray_and_wheal() -> None:
    rule = "spray-worn-off"
    spray = "vapocoolant spray"
    assert fires(rule, numbed(spray, applied_at=after(-3))) and not fires(rule, numbed(spray, applied_at=after(-1)))
    assert not fires(rule, numbed(spray)) and not fires(rule, numbed("lidocaine 4% cream", applied_at=after(-3)))
    before = numbed(spray, applied_at=after(-9))
    assert not fires(rule, before), "the skin was prepared after the spray"
    assert fires(rule, {**before, "antisepsis": {"started_at": after(-9)}})
    assert not fires(rule, {**numbed(spray, applied_at=after(-3)), "antisepsis": {"started_at": None}})
    assert not fires(rule, {**numbed(spray, applied_at=after(-3)), "antisepsis": {"not_done": "-"}})
    to_the_second = numbed(spray, applied_at=after(-61 / 60))
    assert fires(rule, to_the_second) and not fires(rule, numbed(spray, applied_at=after(-59 / 60)))
    wheal = "intradermal-volume"
    assert fires(wheal, numbed("intradermal lidocaine 1%", volume_ml=1))
    assert not fires(wheal, numbed("lidocaine 4% cream", volume_ml=1)), "the volume of another anesthetic"
    assert not fires(wheal, numbed("intradermal lidocaine 1%")) and not fires(wheal, access())


# -- thrombolytics --

BLOCKED = access(**NO_BLOOD)


def dose(at: int = 60, **facts: Any) -> dict[str, Any]:
    return event("patency treatment", at, **facts)


@pytest.mark.parametrize(
    ("rule", "facts", "weight", "fires_"),
    [
        ("alteplase-dose", {"dose_mg": 1}, 70, True),
        ("alteplase-dose", {"dose_mg": 1, "drug": "urokinase"}, 70, False),
        ("alteplase-dose", {"dose_mg": None}, 70, False),
        ("alteplase-dose", {"dose_mg": 1}, None, False),
        ("alteplase-dose", {"dose_mg": 1}, 20, False),
        ("alteplase-dose", {"dose_mg": 1, "lumen_ml": 2}, 20, True),
        ("alteplase-dose", {"dose_mg": 1.1, "lumen_ml": 1}, 20, False),
        ("alteplase-dose", {"dose_mg": 1.95}, 70, True),
        ("alteplase-dose-unknown", {}, None, True),
        ("alteplase-dose-unknown", {}, 20, True),
        ("alteplase-dose-unknown", {"lumen_ml": 1}, 20, False),
        ("alteplase-dose-unknown", {}, 70, False),
        ("alteplase-dose-unknown", {"drug": "urokinase"}, None, False),
        ("alteplase-concentration", {"volume_ml": 3}, 70, True),
        ("alteplase-concentration", {"volume_ml": 3, "drug": "urokinase"}, 70, False),
        ("alteplase-concentration", {"volume_ml": None}, 70, False),
        ("alteplase-concentration", {"dose_mg": None}, 70, False),
        ("alteplase-concentration", {"volume_ml": 3, "lumen_ml": 3}, 70, False),
        ("alteplase-concentration", {"volume_ml": 3, "lumen_ml": 2.9}, 70, True),
        ("alteplase-concentration", {"volume_ml": 1.5, "lumen_ml": 3}, 70, True),
        ("alteplase-concentration", {"dose_mg": 1, "volume_ml": 2, "lumen_ml": 2}, 70, True),
        ("alteplase-concentration", {"dose_mg": 1, "volume_ml": 2, "lumen_ml": 2.1}, 70, False),
        ("alteplase-kept-too-long", {"reconstituted_at": after(-500)}, 70, True),
        ("alteplase-kept-too-long", {"reconstituted_at": after(-500), "drug": "urokinase"}, 70, False),
        ("alteplase-kept-too-long", {"reconstituted_at": None}, 70, False),
    ],
    ids=str,
)
def test_a_dose_of_alteplase(rule: str, facts: Any, weight: Any, fires_: bool) -> None:
    assert fires(rule, BLOCKED, dose(**facts), patient={"weight_kg": weight}) is fires_


def test_what_is_said_of_a_dose() -> None:
    assert say("alteplase-dose", BLOCKED, dose(dose_mg=1, lumen_ml=1))[0].endswith("for 70 kg")
    light = {"patient": {"weight_kg": 20}}
    assert say("alteplase-dose", BLOCKED, dose(dose_mg=2, lumen_ml=1), **light)[0].endswith("a lumen of 1 mL")
    (one,) = found("alteplase-dose-unknown", BLOCKED, dose(), **light)
    assert one.path[-1] == "lumen_ml" and one.message.startswith("the lumen volume, needed below 30 kg,")
    (one,) = found("alteplase-dose-unknown", BLOCKED, dose(), patient={"weight_kg": None})
    assert one.path[-1] == "dose_mg" and one.message.startswith("the patient's weight is not recorded")


CAUTIONS = [
    ({"catheter_infection": True}, {}, ["infection of the catheter known or suspected"]),
    ({"recent_bleeding": True}, {}, ["recent bleeding"]),
    ({"anticoagulant": "warfarin "}, {}, ['anticoagulant "warfarin", which adds to the risk of bleeding']),
    *(({"anticoagulant": word}, {}, []) for word in ("no", "None.", "nil", " ", None)),
    ({}, {"swelling": "present"}, ["swelling at the site"]),
    ({}, {"drainage": "purulent"}, ["pus at the site"]),
    ({"recent_bleeding": True}, {"drainage": "purulent"}, ["recent bleeding", "pus at the site"]),
    ({}, {}, []),
]


@pytest.mark.parametrize(("risk", "site", "cautions"), CAUTIONS, ids=str)
def test_cautions_before_a_thrombolytic(risk: Any, site: Any, cautions: list[str]) -> None:
    made = found("thrombolytic-caution", BLOCKED, dose(bleeding_risk=risk, site=site))
    said = [f"recorded before alteplase was instilled: {'; '.join(cautions)}"] if cautions else []
    assert [one.message for one in made] == said
    assert {one.path[-1] for one in made} <= {"bleeding_risk"}
    unasked = found("thrombolytic-caution", BLOCKED, dose(bleeding_risk=None, site=site))
    assert {one.path[-1] for one in unasked} == ({"site"} if site else set())
    assert not fires("thrombolytic-caution", BLOCKED, dose(bleeding_risk=None, site={"not_assessed": "-"}))


def test_doses_of_one_occlusion() -> None:
    def rules(*events: dict[str, Any], **parts: Any) -> set[str]:
        names = ("alteplase-second-dose-early", "alteplase-third-dose", "alteplase-total")
        return {name for name in names if fires(name, BLOCKED, *events, **parts)}

    none = event("patency check", 180, **STILL_NONE)
    back = event("patency check", 180)
    assert rules(dose()) == set() and rules(dose(), none, dose(200)) == set()
    assert rules(dose(), dose(179)) == {"alteplase-second-dose-early"} and rules(dose(), dose(180)) == set()
    assert rules(dose(), back, dose(190)) == set() and rules(dose(), back, dose(170)) != set()
    assert rules(dose(), dose(200), dose(400)) == {"alteplase-third-dose", "alteplase-total"}
    assert rules(dose(), dose(200), dose(400, dose_mg=None)) == {"alteplase-third-dose"}
    assert rules(dose(), dose(200, dose_mg=None), dose(400)) == {"alteplase-third-dose"}
    assert rules(dose(), dose(200, drug="urokinase"), dose(400)) == set()
    assert rules(dose(), event("line check", 100), dose(120)) == set(), "blood was back"
    assert rules(dose(), event("line check", 100, **STILL_NONE | {"withdrawn_ml": None}), dose(120)) != set()
    two = {"port": {"septa": ["medial", "lateral"]}}
    medial, lateral = dose(septum="medial"), dose(90, septum="lateral")
    assert rules({**BLOCKED, "septum": "medial", "at": after(1)}, medial, lateral, **two) == set()
    (one,) = found("alteplase-second-dose-early", BLOCKED, dose(), dose(100))
    assert one.related[0].path == ("events", 1, "at") and "40 minutes" in one.message
    (one,) = found("alteplase-third-dose", BLOCKED, dose(), dose(200), dose(400))
    assert one.related[0].path == ("events", 2, "at") and "dose 3" in one.message


@pytest.mark.parametrize(
    ("looks", "hours", "missing"),
    [
        ((), 0.5, 0),
        ((), 1, 1),
        ((), 3, 2),
        ((25,), 3, 1),
        ((24,), 3, 2),
        ((30, 115), 3, 0),
        ((30, 114), 3, 1),
        ((120,), 3, 0),
    ],
)
def test_looks_at_a_dwell_that_are_missing(looks: tuple[int, ...], hours: float, missing: int) -> None:
    seen = [event("patency check", 60 + at, **STILL_NONE) for at in looks]
    asof = hours - (looks[-1] if looks else 0) / 60
    assert len(found("thrombolytic-check-missing", BLOCKED, dose(), *seen, hours=asof)) == missing
    assert not fires("thrombolytic-check-missing", BLOCKED, dose(drug="urokinase"), *seen, hours=asof)


def test_a_dwell_that_ended_or_left_is_looked_at_no_more() -> None:
    for ends in (event("de-access", 80), event("discharge", 80), event("port removed", 80), event("access", 80)):
        assert not fires("thrombolytic-check-missing", BLOCKED, dose(), ends, hours=9)
    assert fires("thrombolytic-check-missing", BLOCKED, dose(), event("de-access", 91), hours=9)


@pytest.mark.parametrize(
    ("looks", "late"),
    [
        ((30,), []), ((36,), [0]), ((20, 36), [1]), ((30, 120), []), ((30, 126), [1]), ((30, 60, 126), [2]),
        ((36, 126), [0, 1]), ((130,), [0]), ((30, 120, 300), []), ((25, 40), []), ((24, 40), [1]), ((115, 140), [0]),
    ],
)  # fmt: skip
def test_looks_that_came_late(looks: tuple[int, ...], late: list[int]) -> None:
    seen = [event("patency check", 60 + at, **STILL_NONE) for at in looks]
    made = found("thrombolytic-check-late", BLOCKED, dose(), *seen)
    assert [one.path for one in made] == [("events", 2 + place, "at") for place in late]
    assert not fires("thrombolytic-check-late", BLOCKED, dose(drug="urokinase"), *seen)
    assert not fires("thrombolytic-check-late", BLOCKED, *seen)


@pytest.mark.parametrize(
    ("facts", "weight", "fires_"),
    [
        ({"withdrawn_ml": 1}, 70, True),
        ({"withdrawn_ml": 1, "blood_return": "sluggish"}, 70, False),
        ({"withdrawn_ml": None}, 70, False),
        ({"withdrawn_ml": 1}, None, False),
        ({"withdrawn_ml": 5}, 70, False),
    ],
    ids=str,
)
def test_what_is_withdrawn_after_success(facts: Any, weight: Any, fires_: bool) -> None:
    rule, patient = "alteplase-withdrawal", {"weight_kg": weight}
    seen = event("patency check", 90, **facts)
    assert fires(rule, BLOCKED, dose(), seen, patient=patient) is fires_
    assert not fires(rule, BLOCKED, dose(drug="urokinase"), seen, patient=patient)
    assert not fires(rule, BLOCKED, seen, patient=patient)


def test_the_amount_withdrawn_in_words() -> None:
    seen = event("patency check", 90, withdrawn_ml=1)
    assert say("alteplase-withdrawal", BLOCKED, dose(), seen)[0].endswith("it is 4 mL to 5 mL")
    light = {"patient": {"weight_kg": 9}}
    assert say("alteplase-withdrawal", BLOCKED, dose(), seen, **light)[0].endswith("it is 3 mL")
