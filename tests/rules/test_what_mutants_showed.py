"""Behaviors that no test of a rule held until mutants survived; the table of line states or the rule says each."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from rule_cases import episode_of, local_policy, rules_found
from scenes import AT, LOCKED, STILL_NONE, access, after, event

from lda_notes.knowledge import amounts
from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.knowledge.suitability import Subject, preservative_free, suits
from lda_notes.line.due import Due, due
from lda_notes.line.timeline import Timeline, build

DAY = 24 * 60
PHYSICIAN = {"name": "Osric Fennimore", "credential": "MD", "id": "CASE-M1"}
NO_LOCK = {"lock": {"not_done": "left open"}, "infusion": None}


def line(*events: dict[str, Any], at: float = 30 * DAY, policy: Policy = DEFAULT, **parts: Any) -> Timeline:
    return build(episode_of(*events, **parts), policy, datetime.fromisoformat(after(at)))


def held(*events: dict[str, Any], **more: Any) -> list[str]:
    found = line(*events, **more)
    return [hold.reason for septum in found.episode.port.septa for hold in found.now(septum).holds]


def dangers(*events: dict[str, Any], **more: Any) -> list[str]:
    found = line(*events, **more)
    return [danger.code for septum in found.episode.port.septa for danger in found.now(septum).dangers]


def clocks(*events: dict[str, Any], **more: Any) -> dict[str, Due]:
    made = line(*events, **more)
    return {one.clock: one for one in due(made, made.episode.port.septa[0], DEFAULT)}


# -- holds: each reason by its own name, and what ends it --


@pytest.mark.parametrize(
    ("site", "reason"),
    [
        ({"swelling": "present"}, "swelling"),
        ({"drainage": "purulent"}, "pus"),
        ({"erythema": "present", "tenderness": "present"}, "redness and tenderness"),
        ({"port": "flipped"}, "port flipped or not felt"),
        ({"port": "not felt"}, "port flipped or not felt"),
    ],
)
def test_a_sign_at_the_site_holds_under_one_reason(site: dict[str, str], reason: str) -> None:
    assert held(access(), event("line check", 60, site=site)) == [reason]


def test_pus_as_a_sign_holds_as_pus_at_the_site_does() -> None:
    assert held(access(), event("line check", 60, signs=[{"what": "pus"}])) == ["pus"]


def test_redness_and_tenderness_soon_after_the_implantation_hold_nothing() -> None:
    red = event("line check", 60, site={"erythema": "present", "tenderness": "present"})
    assert held(access(), red, port={"implanted_on": "2031-04-01"}) == []
    assert held(access(), red, port={"implanted_on": "2031-03-01"}) == ["redness and tenderness"]


def test_a_swelling_at_the_pocket_while_something_runs_is_one_hold() -> None:
    swollen = event("line check", 60, signs=[{"what": "swelling", "where": "port pocket"}])
    assert held(access(), swollen) == ["swelling"]


def test_pain_within_an_hour_of_an_injection_holds() -> None:
    given = event("line use", 60, purpose="medication", action="given", what="a drug")
    hurts = event("line check", 90, infusion=None, signs=[{"what": "pain", "where": "port pocket"}])
    assert held(access(**LOCKED), given, hurts) == ["something given at the site hurt or leaked"]


def test_a_treatment_that_restored_blood_is_what_ended_the_hold() -> None:
    policy = local_policy(hold_ends_with="evaluation or blood return")
    none = {"blood_return": "none", "blood_looks": None, "infusion": None, "lock": {"not_done": "on hold"}}
    still = {"flushes": {"not_done": "dwell"}, "lock": {"not_done": "dwell"}, "blood_return": "none"}
    events = (access(**none), event("patency treatment", 90, **still), event("patency check", 120))
    treated = (*events[:2], {**events[2], "treatment": "patency-treatment-1"})
    ended = [hold for hold in line(*treated, policy=policy).holds["single"] if hold.reason == "no blood return"]
    assert [hold.how for hold in ended] == ["treatment"]


def test_an_evaluation_of_a_port_with_two_septa_ends_nothing_without_the_septum() -> None:
    swollen = event("line check", 60, septum="medial", site={"swelling": "present"})
    clears = {"by": PHYSICIAN, "cleared_by": PHYSICIAN, "decision": "cleared for use", "ends": ["swelling"]}
    events = (access(septum="medial"), swollen, event("evaluation", 120, **clears))
    assert held(*events, port={"septa": ["medial", "lateral"]}) == ["swelling", "swelling"]


def test_a_tip_that_was_not_confirmed_holds_until_it_is() -> None:
    unsure = access(tip_confirmed=False)
    assert held(unsure) == ["tip not confirmed"]
    assert held(unsure, event("de-access", 60), event("access", 120, tip_confirmed=False)) == ["tip not confirmed"]
    assert held(unsure, event("de-access", 60), event("access", 120, tip_confirmed=True)) == []


def test_looks_and_judgements_of_one_moment_go_as_they_were_charted() -> None:
    clears = {"by": PHYSICIAN, "cleared_by": PHYSICIAN, "decision": "cleared for use", "ends": ["swelling"]}
    for looked, judged, left in ((70, 80, []), (80, 70, ["swelling"])):
        seen = event("line check", 60, site={"swelling": "present"}, charted_at=after(looked))
        assert held(access(), seen, event("evaluation", 60, charted_at=after(judged), **clears)) == left


def test_a_danger_that_forbids_no_use_leaves_the_line_usable() -> None:
    loose = event("line check", 60, dressing_found=["loose"])
    assert dangers(access(), loose) == ["D7"] and line(access(), loose).now("single").usable
    coring = line(access(needle={"non_coring": False}), event("evaluation", 60, by=PHYSICIAN, ends=["all"]))
    assert not coring.now("single").usable


# -- standing dangers --


def test_heparin_that_came_out_is_no_danger_though_another_lock_went_in() -> None:
    """D1 ends with heparin aspirated and a flush without heparin; what goes in then is a danger of its own."""
    history = {"history": ["heparin-induced thrombocytopenia"]}
    ethanol = {"drug": "70% ethanol", "volume_ml": 5, "units_per_ml": None}
    out = event("flush", 60, old_lock="aspirated and discarded", lock=ethanol, discard_ml=5)
    assert "D1" in dangers(access(**LOCKED), patient=history)
    found = dangers(access(**LOCKED), out, patient=history)
    assert "D1" not in found and "D3" in found


def test_an_access_neither_flushed_nor_locked_is_a_danger_and_flushed_now() -> None:
    untouched = access(flushes={"not_done": "forgotten"}, **NO_LOCK)
    assert dangers(untouched) == ["D6"]
    asked = clocks(untouched, at=60)["flush"]
    assert asked.by is None and asked.overdue(AT)


def test_a_problem_of_the_patient_outlives_the_port_until_somebody_who_may_judges() -> None:
    parted = event("line check", 60, signs=[{"what": "catheter parted"}])
    gone = event("port removed", 120)
    judged = {"by": PHYSICIAN, "cleared_by": PHYSICIAN, "decision": "cleared for use"}
    assert "P" in dangers(access(), parted, gone)
    nurse = {"name": "Ines Corwin", "credential": "RN"}
    by_nurse = event("evaluation", 180, **{**judged, "by": nurse, "cleared_by": nurse})
    assert "P" in dangers(access(), parted, gone, by_nurse)
    assert "P" not in dangers(access(), parted, gone, event("evaluation", 180, **judged))


# -- what is due --


def test_no_flush_is_due_while_heparin_is_in_the_line_of_a_patient_who_must_not_have_it() -> None:
    history = {"history": ["heparin-induced thrombocytopenia"]}
    locked = event("de-access", 60, lock=LOCKED["lock"])
    assert "idle flush" not in clocks(access(), locked, patient=history)
    assert "idle flush" in clocks(access(), locked)


def test_nothing_is_due_after_a_death_and_a_flush_is_after_going_home() -> None:
    out = (access(), event("de-access", 60))
    assert set(clocks(*out, event("discharge", 120, destination="home"))) == {"maintenance flush"}
    assert clocks(*out, event("discharge", 120, destination="died")) == {}


def test_a_flush_elsewhere_on_a_day_counts_from_its_start() -> None:
    asked = clocks(access(), event("de-access", 60), event("flushed elsewhere", 20 * DAY, on="2031-04-12"))
    assert asked["idle flush"].since == datetime.fromisoformat("2031-04-12T00:00-05:00")


def test_after_the_look_at_120_minutes_no_look_is_due() -> None:
    still = {"flushes": {"not_done": "dwell"}, "lock": {"not_done": "dwell"}, "blood_return": "none"}
    looks = [event("patency check", at, treatment="patency-treatment-1", **STILL_NONE) for at in (60, 151)]
    events = (access(), event("patency treatment", 30, **still), *looks)
    assert "thrombolytic check" in clocks(*events[:3], at=100)
    assert "thrombolytic check" not in clocks(*events, at=200)


def test_a_dressing_of_unknown_age_is_due_now_by_the_limit_of_its_type() -> None:
    arrived = event("arrival accessed", 0, dressed_at={"not_assessed": "no date on it"})
    asked = clocks(arrived, at=60)["dressing change"]
    assert (asked.by, asked.limit) == (None, "transparent_dressing_days")


@pytest.mark.parametrize("purpose", ["infusion", "medication", "transfusion"])
def test_what_was_started_runs_until_it_is_stopped(purpose: str) -> None:
    started = event("line use", 60, purpose=purpose, action="started", what="a drug")
    stopped = event("line use", 120, purpose=purpose, action="stopped", what="a drug")
    events = (access(**LOCKED), started, stopped)
    made = line(*events)
    states = [made.state_at("single", AT + timedelta(minutes=minutes)).infusion for minutes in (59, 60, 119, 120)]
    assert [state is not None for state in states] == [False, True, True, False]


# -- what is known, and when --


def test_a_fact_of_the_patient_is_known_from_its_event_on() -> None:
    found = line(access(), event("patient facts", 60, weight_kg=64))
    before, later = (found.patient_at(AT + timedelta(minutes=minutes)).weight_kg for minutes in (59, 60))
    assert (before, later) == (Decimal(70), Decimal(64))


# -- rules --


def test_a_port_implanted_anew_is_new_though_another_was_implanted_long_before() -> None:
    events = (event("port removed", -2 * DAY), event("port implanted", -DAY), access())
    first = event("port implanted", -40 * DAY)
    assert "accessed-soon-after-implantation" in rules_found(
        first, *events, port={"implanted_on": None}, stay={"admitted_at": after(-50 * DAY)}
    )


def test_an_accessed_port_that_rests_until_now_is_found() -> None:
    policy = local_policy(accessed_idle_flush_hours=24)
    looked = [event("line check", hours * 60) for hours in (11, 22, 33)]
    assert "accessed-idle-flush" in rules_found(access(**LOCKED), *looked, policy=policy)


def test_blood_drawn_by_a_use_of_the_line_is_after_a_discard() -> None:
    drawn = event("line use", 60, purpose="blood sampling", action="given", what="blood count", discard_ml="0.5")
    assert "discard-too-small" in rules_found(access(**LOCKED), drawn)


def test_a_flush_that_could_not_go_in_is_not_judged_by_its_volume() -> None:
    stuck = [{"volume_ml": 3, "resistance": "cannot flush"}]
    assert "flush-below-usual" in rules_found(access(), event("flush", 60, flushes=[{"volume_ml": 3}]))
    assert "flush-below-usual" not in rules_found(access(), event("flush", 60, flushes=stuck))


def test_a_lock_of_preserved_saline_counts_as_preserved_saline() -> None:
    preserved = {"solution": "0.9% sodium chloride with benzyl alcohol", "volume_ml": 28}
    lock = {"drug": "0.9% sodium chloride", "volume_ml": 3, "units_per_ml": None, "preservative": "benzyl alcohol"}
    assert "bacteriostatic-saline" in rules_found(access(), event("flush", 60, flushes=[preserved], lock=lock))
    assert "bacteriostatic-saline" not in rules_found(access(), event("flush", 60, flushes=[preserved]))


def test_a_power_injection_without_a_needle_has_no_rating_on_record() -> None:
    injected = event("line use", 60, purpose="power injection", action="given", what="contrast")
    assert "power-rating-unknown" in rules_found(injected)


@pytest.mark.parametrize(("seconds", "limit", "found"), [(120, 90, False), (180, 90, True), (120, 60, True)])
def test_of_times_to_the_minute_only_what_was_surely_too_long_is_found(seconds: int, limit: int, found: bool) -> None:
    spray = {"agent": "vapocoolant spray", "applied_at": after(-seconds / 60), "removed_at": None}
    spray |= {"amount_g": None, "area_cm2": None}
    event_ = access(anesthetic=spray)
    assert ("spray-worn-off" in rules_found(event_, policy=local_policy(spray_to_needle_s=limit))) is found


@pytest.mark.parametrize("site", [{"swelling": "present"}, {"drainage": "purulent"}])
def test_swelling_or_pus_before_a_thrombolytic_is_a_caution(site: dict[str, str]) -> None:
    dose = event("patency treatment", 60, bleeding_risk=None)
    assert "thrombolytic-caution" not in rules_found(access(), dose)
    assert "thrombolytic-caution" in rules_found(access(), {**dose, "site": site})


def test_an_amendment_cannot_change_what_an_entry_is_named_by() -> None:
    for name in ("id", "kind"):
        change = event("amendment", 60, of="access-1", reason="a slip", sets={name: "flush"})
        assert "correction-target" in rules_found(access(), change)


def test_a_needle_is_in_until_the_event_that_took_it_out() -> None:
    first, second = line(access(), event("de-access", 60), event("access", 120)).needles["single"]
    assert (first.until, second.until) == (AT + timedelta(minutes=60), None)


def test_every_correction_is_compared_with_its_entry() -> None:
    unknown = event("addendum", -90, of="nobody", text="x", charted_at=None)
    early = event("addendum", -60, of="access-1", text="y", charted_at=None)
    assert "correction-before-entry" in rules_found(access(), unknown, early)


# -- suitability and amounts --


def test_adhesive_speaks_against_what_contains_it_and_only_with_the_allergy() -> None:
    def who(*allergies: str) -> Subject:
        return Subject(date(1970, 1, 1), date(2031, 4, 2), Decimal(70), frozenset(allergies), frozenset())

    assert suits("dressing", "transparent", who(), DEFAULT).plain
    assert suits("dressing", "transparent", who("latex"), DEFAULT).plain
    assert [one.rule for one in suits("dressing", "transparent", who("adhesive"), DEFAULT).objections] == ["adhesive"]


def test_only_a_newborn_needs_solutions_without_a_preservative() -> None:
    today = date(2031, 4, 2)
    ages = (today - timedelta(days=10), date(1970, 1, 1))
    asked = [Subject(born, today, None, frozenset(), frozenset()) for born in ages]
    assert [preservative_free(who, DEFAULT) for who in asked] == [True, False]


def test_what_is_not_recorded_of_the_add_ons_adds_no_volume() -> None:
    assert amounts.system_volume_ml(Decimal("0.9"), None, None) == Decimal("0.9")


def test_the_volume_of_a_dose_is_the_dose_by_the_concentration() -> None:
    assert amounts.alteplase_volume_ml(Decimal(2), local_policy(alteplase_mg_per_ml=2)) == Decimal(1)
