"""Every limit of age to the day and of weight to the last digit, and that no limit of these rules goes untried."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

import pytest
from rule_cases import episode_of, local_policy
from scenes import AT, CREAM, DAY, NO_BLOOD, Scene, access, event, fires
from test_amount_boundaries import AMOUNTS, injected
from test_boundaries import TIMES

from lda_notes.check import rule_table
from lda_notes.check.conditions import disc_suits
from lda_notes.knowledge.limits import Limit
from lda_notes.knowledge.policy import DEFAULT


def aged(birth: date, weight: float = 70, **facts: Any) -> Scene:
    return Scene((access(**facts),), {"patient": {"birth_date": birth.isoformat(), "weight_kg": weight}})


DAY_OF = AT.date()
PRESERVED = "0.9% sodium chloride with benzyl alcohol"


def locked(strength: int, volume: int) -> dict[str, Any]:
    return {"infusion": None, "lock": {"drug": "heparin", "units_per_ml": strength, "volume_ml": volume}}


def creamed(grams: int, area: int) -> dict[str, Any]:
    return {"anesthetic": {"agent": CREAM, "amount_g": grams, "area_cm2": area}}


@pytest.mark.parametrize(
    ("rule", "first_day_quiet", "weight", "facts"),
    [
        # 28 days old is a newborn, 29 is not.
        ("alcohol-on-newborn-skin", DAY_OF - timedelta(days=29), 3, {}),
        ("preservative-newborn", DAY_OF - timedelta(days=29), 3, {"flushes": [{"solution": PRESERVED}]}),
        ("preservative-unknown-newborn", DAY_OF - timedelta(days=29), 3, locked(10, 3)),
        # Two months on the day.
        ("chlorhexidine-under-age", date(2031, 2, 2), 4, {"antisepsis": {"agent": "aqueous chlorhexidine"}}),
        # Twelve months on the day: no infant any more.
        ("strong-heparin-infant", date(2030, 4, 2), 11, locked(100, 3)),
        ("chlorhexidine-dressing-age", date(2031, 2, 2), 4, {}),
        # Twelve years on the day, for heparin.
        ("heparin-lock-units", date(2019, 4, 2), 60, locked(100, 5)),
        # 3 months, 1 year and 7 years on the day: the next row of the cream's table allows the amount.
        ("cream-child-maximum", date(2031, 1, 2), 6, creamed(2, 10)),
        ("cream-child-maximum", date(2030, 4, 2), 11, creamed(10, 20)),
        ("cream-child-maximum", date(2024, 4, 2), 21, creamed(20, 100)),
    ],
)
def test_an_age_to_the_day(rule: str, first_day_quiet: date, weight: float, facts: dict[str, Any]) -> None:
    younger = [first_day_quiet + timedelta(days=days) for days in (0, 1)]
    assert [fires(rule, aged(birth, weight, **facts)) for birth in younger] == [False, True]


def test_a_premature_infant_to_the_day() -> None:
    rule = "chlorhexidine-dressing-premature"
    born = [{"birth_date": day, "weight_kg": 4, "history": ["premature birth"]} for day in ("2031-02-02", "2031-02-03")]
    assert [fires(rule, Scene((access(),), {"patient": patient})) for patient in born] == [False, True]


@pytest.mark.parametrize(
    ("birth", "needs_more_than", "grams"),
    [("2030-10-20", 5, 2), ("2027-01-15", 10, 10), ("2021-01-15", 20, 20)],
)
def test_a_child_must_weigh_more_than_the_weight_of_its_row(birth: str, needs_more_than: int, grams: int) -> None:
    used = {"agent": CREAM, "amount_g": grams, "area_cm2": 10}

    def over(weight: float) -> bool:
        return fires(
            "cream-child-maximum",
            Scene((access(anesthetic=used),), {"patient": {"birth_date": birth, "weight_kg": weight}}),
        )

    assert [over(needs_more_than - 0.0001), over(needs_more_than), over(needs_more_than + 0.0001)] == [
        True,
        True,
        False,
    ]


def test_the_full_alteplase_dose_begins_at_its_weight() -> None:
    dose = {"dose_mg": 2, "volume_ml": 2, "lumen_ml": 1}
    found = [
        fires(
            "alteplase-dose",
            Scene((access(**NO_BLOOD), event("patency treatment", 60, **dose)), {"patient": {"weight_kg": weight}}),
        )
        for weight in (29.9999, 30, 30.0001)
    ]
    assert found == [True, False, False]


@pytest.mark.parametrize(("rule", "limit", "event_"), [
    ("heparin-lock-units", 40, access(**locked(100, 5))),
    ("strong-heparin-infant", 10, access(**locked(100, 3))),
])  # fmt: skip
def test_a_child_is_known_by_weight_where_the_birth_date_is_old_enough(rule: str, limit: int, event_: Any) -> None:
    def found(weight: float) -> bool:
        return fires(rule, Scene((event_,), {"patient": {"birth_date": "2015-01-15", "weight_kg": weight}}))

    assert [found(limit - 0.1), found(limit), found(limit + 0.1)] == [True, False, False]


def test_sixteen_years_and_60_kg_is_no_child_for_heparin() -> None:
    grown = {"birth_date": "2015-01-15", "weight_kg": 60}
    assert not fires("heparin-lock-units", Scene((access(**locked(100, 5)),), {"patient": grown}))


def test_the_discard_of_a_small_child_goes_by_the_volume_of_the_line() -> None:
    def found(ml: float, weight: float, catheter: float | None) -> bool:
        port = {"catheter_volume_ml": catheter}
        needle = {"set_volume_ml": 0.2, "connector_volume_ml": 0.1}
        small = {"birth_date": "2030-10-15", "weight_kg": weight}
        return fires(
            "discard-too-small", Scene((access(discard_ml=ml, needle=needle),), {"patient": small, "port": port})
        )

    # Twice 0.6 mL of catheter and 0.3 mL of add-ons.
    assert [found(ml, 4, 0.6) for ml in (1.7, 1.8, 2)] == [True, False, False]
    assert not found(1, 4, None)  # without the volume of the line nothing is judged
    assert [found(2.9, weight, 0.6) for weight in (9.9, 10)] == [False, True]


def test_four_to_five_ml_are_withdrawn_from_ten_kilograms() -> None:
    def found(weight: float, ml: float) -> bool:
        look = event("patency check", 90, withdrawn_ml=ml)
        events = (access(**NO_BLOOD), event("patency treatment", 60), look)
        return fires("alteplase-withdrawal", Scene(events, {"patient": {"weight_kg": weight}}))

    for weight in (8, 9.9):
        assert [found(weight, ml) for ml in (2.9, 3, 4)] == [True, False, True]
    for weight in (10, 12, 40):
        assert [found(weight, ml) for ml in (3, 3.9, 4, 5, 5.1)] == [True, True, False, False, True]


def test_a_flush_of_an_earlier_visit_is_no_test_before_a_power_injection() -> None:
    def found(minutes: int) -> bool:
        use = {"purpose": "power injection", "what": "contrast medium", "flow_ml_per_s": 2, "pressure_psi": 250}
        return fires("power-injection-test-flush", Scene((access(), event("line use", minutes, **use))))

    assert [found(minutes) for minutes in (59, 60, 61)] == [False, False, True]


def test_a_third_dose_counts_until_blood_comes_back() -> None:
    doses = [event("patency treatment", 60 + 120 * count) for count in range(3)]
    assert [fires("alteplase-third-dose", Scene((access(**NO_BLOOD), *doses[:count]))) for count in (1, 2, 3)] == [
        False,
        False,
        True,
    ]
    restored = event("patency check", 200, treatment="patency-treatment-2")
    assert not fires("alteplase-third-dose", Scene((access(**NO_BLOOD), doses[0], doses[1], restored, doses[2])))


def test_a_rolling_day_of_preserved_saline_leaves_out_the_minute_24_hours_before() -> None:
    half = [{"solution": PRESERVED, "volume_ml": 16}]
    found = [
        fires("bacteriostatic-saline", Scene((access(flushes=half), event("flush", minutes, flushes=half))))
        for minutes in (DAY - 1, DAY, DAY + 1)
    ]
    assert found == [True, False, False]


# -- none forgotten --

FAMILIES = (
    "dwell limits", "interval limits", "skin limits", "needle limits", "flush limits", "lock limits",
    "thrombolytic limits", "supply match", "contradictions", "scales", "safety", "next due",
)  # fmt: skip
ELSEWHERE = {
    # Held by tests of this file that are no rows of a table.
    "neonate_days", "infant_months", "chg_age_months", "chg_dressing_adult_years", "chg_dressing_months",
    "alteplase_full_dose_kg", "alteplase_withdraw_child_kg", "heparin_child_years", "heparin_child_kg",
    "heparin_small_child_kg", "needle_change_minutes", "discard_volume_factor", "discard_small_child_kg",
    "line_check_hours",
    "line_check_slack_minutes", "alteplase_lumen_factor", "alteplase_doses", "power_gauge_full_rate",
}  # fmt: skip


def named_limits() -> Iterator[str]:
    for rule in rule_table.load().values():
        if rule.family in FAMILIES:
            yield from (name for name in rule.limits if isinstance(DEFAULT.rows[name], Limit))


def test_every_limit_that_these_rules_name_is_tried_on_both_sides() -> None:
    tried = {row.limit for row in (*TIMES, *AMOUNTS)} | ELSEWHERE
    named = set(named_limits())
    assert len(named) > 60
    assert named - tried == set()
    assert tried - named - {"-", "hub_scrub_strict_s", "12 hours and an hour of tolerance"} == set(), (
        "a row of the table that no rule uses"
    )


def test_full_rate_of_power_injection_ends_at_its_gauge() -> None:
    found = [fires("power-injection-rate", injected("flow_ml_per_s", {"gauge": gauge})(3)) for gauge in (19, 20, 21)]
    assert found == [False, False, True]


@pytest.mark.parametrize(("ages", "day_before", "day"), [
    ("adults", "2013-04-03", "2013-04-02"),
    ("over 2 months", "2031-02-03", "2031-02-02"),
])  # fmt: skip
def test_a_disc_is_asked_for_from_the_day_on_which_the_policy_expects_it(ages: str, day_before: str, day: str) -> None:
    policy = local_policy(chg_dressing_ages=ages)

    def asked(born: str) -> bool:
        episode = episode_of(access(), patient={"birth_date": born, "weight_kg": 60})
        return disc_suits(episode.events[0], episode, policy)

    assert (asked(day_before), asked(day)) == (False, True)
