"""Limits of what goes through the line and of the needle: each condition beside the number changed once."""

from __future__ import annotations

from typing import Any

import pytest
from rule_cases import local_policy
from scenes import LOCKED, SCHOOL, SMALL, access, event
from test_hold_rules import found, say

DAY = 24 * 60
REST = access(**LOCKED)
UNKNOWN = {"not_assessed": "-"}


def fires(rule: str, *events: dict[str, Any], **more: Any) -> bool:
    return bool(found(rule, *events, **more))


# -- what goes through --


def test_a_discard_is_judged_where_it_clears_the_lock() -> None:
    small, large = "discard-too-small", "discard-too-large"
    assert fires(small, access(discard_ml=4)) and not fires(small, access(discard_ml=None))
    assert not fires(small, REST, event("flush", 60, discard_ml=4))
    assert fires(small, REST, event("flush", 60, discard_ml=4, samples=["blood count"]))
    assert not fires(small, REST, event("line use", 60, discard_ml=1))
    assert fires(small, REST, event("line use", 60, discard_ml=1, samples=["blood count"]))
    assert fires(large, REST, event("flush", 60, discard_ml=11)) and fires(large, access(discard_ml=11))
    unknown = {"patient": {"birth_date": None, "weight_kg": None}}
    assert not fires(small, access(discard_ml=4), **unknown) and fires(small, access(discard_ml=2), **unknown)
    assert not fires(large, access(discard_ml=9), **unknown) and fires(large, access(discard_ml=11), **unknown)
    grown = {"patient": {"birth_date": "1970-01-01", "weight_kg": 9}}
    assert fires(small, access(discard_ml=4), **grown), "an adult, however light"
    weightless = {"patient": {**SMALL, "weight_kg": None}}
    assert fires(small, access(discard_ml=2), **weightless) and not fires(small, access(discard_ml=3), **weightless)


def test_flushes_of_one_event_are_added_up() -> None:
    rule = "flush-below-minimum"
    assert not fires(rule, access(flushes=[{"volume_ml": 2}, {"volume_ml": 1}]))
    assert fires(rule, access(flushes=[{"volume_ml": 2}]))
    assert not fires(rule, access(flushes=[{"volume_ml": 2}, {"volume_ml": None}]))
    assert not fires(rule, access(flushes=[{"volume_ml": 2, "resistance": "some"}]))
    assert not fires(rule, access(flushes=[{"volume_ml": 2, "resistance": "cannot flush"}]))
    assert fires(rule, access(flushes=[{"volume_ml": 2, "resistance": None}]))
    assert not fires(rule, access(flushes={"not_done": "-"})) and not fires(rule, access(flushes=None))
    assert not fires(rule, access(flushes=[{"volume_ml": 2}]), port={"catheter_volume_ml": None})
    assert fires(rule, REST, event("de-access", 60, flushes=[{"volume_ml": 2}])), "the needle was in until then"
    # Without a needle on record only the 0.9 mL of the catheter count.
    assert not fires(rule, event("flush", 60, flushes=[{"volume_ml": 2}]))
    bare = access(needle={"set_volume_ml": None, "connector_volume_ml": None}, flushes=[{"volume_ml": 1.8}])
    assert not fires(rule, bare)


def test_the_usual_flush_where_nothing_stood_in_its_way() -> None:
    rule = "flush-below-usual"
    few = [{"volume_ml": 6}]
    assert fires(rule, access(flushes=few)) and not fires(rule, access(flushes=few, steps_tried=["needle re-seated"]))
    assert fires(rule, REST, event("de-access", 60, flushes=few)) and fires(rule, REST, event("flush", 60, flushes=few))
    assert not fires(rule, access(flushes=few), patient=SMALL)
    assert not fires(rule, access(flushes=few), patient={"birth_date": None})
    assert fires(rule, access(flushes=few, samples=["blood count"]), patient=SMALL)


@pytest.mark.parametrize(
    ("flushes", "blood", "positions"),
    [
        ([{"syringe_ml": 5}], "present", [0]),
        ([{}, {"syringe_ml": 5}], "present", []),
        ([{}, {"syringe_ml": 5}], "none", [1]),
        ([{}, {"syringe_ml": 5}], "sluggish", [1]),
        ([{"resistance": "some"}, {"syringe_ml": 5}], "present", [1]),
        ([{"resistance": None}, {"syringe_ml": 5}], "present", [1]),
        ([{}, {"resistance": "some"}, {"syringe_ml": 5}], "present", [2]),
        ([{"syringe_ml": None}], "present", []),
        ([{"syringe_ml": 5}, {"syringe_ml": 5}], "none", [0, 1]),
    ],
    ids=str,
)
def test_a_narrow_barrel_on_a_line_not_yet_proved(flushes: Any, blood: str, positions: list[int]) -> None:
    made = access(flushes=[{"volume_ml": 10, **one} for one in flushes], blood_return=blood, blood_looks=None)
    assert [one.path[-2] for one in found("syringe-size", made)] == positions
    assert not fires("syringe-size", access(flushes={"not_done": "-"}))


PRESERVED = "0.9% sodium chloride with benzyl alcohol"


def test_preserved_saline_of_a_day() -> None:
    rule = "bacteriostatic-saline"

    def given(at: int, ml: int | None, solution: str = PRESERVED) -> dict[str, Any]:
        return event("flush", at, flushes=[{"solution": solution, "volume_ml": ml}])

    assert fires(rule, REST, given(60, 16), given(90, 15)) and not fires(rule, REST, given(60, 15), given(90, 15))
    assert "31 mL" in say(rule, REST, given(60, 16), given(90, 15))[0]
    assert not fires(rule, REST, given(60, 16), given(90, 15, "0.9% sodium chloride"))
    assert not fires(rule, REST, given(60, 30), given(90, None))
    assert len(found(rule, REST, given(60, 16), given(90, 15), event("flush", 100), given(120, 1))) == 2
    assert not fires(rule, REST, given(60, 16), given(90, 15), patient=SMALL)
    assert not fires(rule, REST, given(60, 16), given(90, 15), patient={"birth_date": None})
    rolling = [given(at * 60, 12) for at in (1, 12, 26, 37)]
    assert not fires(rule, REST, *rolling)
    lock = {"drug": "0.9% sodium chloride", "volume_ml": 15, "units_per_ml": None, "preservative": "benzyl alcohol"}
    assert fires(rule, REST, {**given(60, 16), "lock": lock})
    for other in ({"preservative": "parabens"}, {"drug": "4% citrate"}):
        assert not fires(rule, REST, {**given(60, 16), "lock": {**lock, **other}})


LOCK = {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5}


def locked(**lock: Any) -> dict[str, Any]:
    return access(infusion=None, lock={**LOCK, **lock})


@pytest.mark.parametrize(
    ("rule", "lock", "fires_"),
    [
        ("lock-strength", {"units_per_ml": 50}, True),
        ("lock-strength", {"units_per_ml": 5}, True),
        ("lock-strength", {"units_per_ml": 10}, False),
        ("lock-strength", {"units_per_ml": 50, "drug": "4% citrate"}, False),
        ("lock-strength", {"units_per_ml": None}, False),
        ("lock-strength", {"units_per_ml": 1000}, False),
        ("heparin-lock-units", {"volume_ml": 7}, True),
        ("heparin-lock-units", {"volume_ml": 7, "drug": "taurolidine with citrate and heparin"}, False),
        ("heparin-lock-units", {"volume_ml": 7, "units_per_ml": 10}, False),
        ("heparin-lock-units", {"volume_ml": None}, False),
        ("heparin-lock-units", {"units_per_ml": None, "volume_ml": 7}, False),
        ("heparin-lock-volume", {"volume_ml": 7, "units_per_ml": 10}, True),
        ("heparin-lock-volume", {"volume_ml": 2}, True),
        ("heparin-lock-volume", {"volume_ml": 2, "drug": "4% citrate"}, False),
        ("heparin-lock-volume", {"volume_ml": None}, False),
        ("lock-does-not-fill", {"volume_ml": 1, "drug": "4% citrate", "units_per_ml": None}, True),
        ("lock-does-not-fill", {"volume_ml": None}, False),
        ("lock-does-not-fill", {"volume_ml": 1.7}, False),
        ("treatment-strength-heparin", {"units_per_ml": 1000}, True),
        ("treatment-strength-heparin", {"units_per_ml": 1000, "drug": "4% citrate"}, False),
    ],
    ids=str,
)
def test_a_lock(rule: str, lock: Any, fires_: bool) -> None:
    assert fires(rule, locked(**lock)) is fires_
    assert not fires(rule, access()), "no lock"
    if rule == "lock-does-not-fill":
        assert not fires(rule, locked(**lock), port={"catheter_volume_ml": None})


def test_units_of_a_childs_lock() -> None:
    (one,) = found("heparin-lock-units", locked(), patient=SCHOOL)
    assert one.severity == "advice" and "16.7 units per kg" in one.message and "for a child" in one.message
    (one,) = found("heparin-lock-units", locked(volume_ml=7), patient=SCHOOL)
    assert one.severity == "unsafe"
    (one,) = found("heparin-lock-units", locked(), patient={**SCHOOL, "weight_kg": None})
    assert "per kg" not in one.message
    (one,) = found("heparin-lock-units", locked(volume_ml=7))
    assert one.severity == "unsafe" and "per kg" not in one.message and "for a child" not in one.message


def test_saline_alone_where_policy_does_not_accept_it() -> None:
    strict = local_policy(saline_lock_accepted="no")
    saline = locked(drug="0.9% sodium chloride", units_per_ml=None)
    assert fires("saline-lock", saline, policy=strict) and not fires("saline-lock", saline)
    assert not fires("saline-lock", saline, policy=strict, port={"valved": True})


# -- needles and power --

POWER = {"purpose": "power injection", "action": "given", "what": "contrast"}


def inject(needle: Any = None, port: Any = None, *, first: Any = None, **use: Any) -> dict[str, bool]:
    """Return which rules of power injections fire."""
    opened = access(needle=needle, **LOCKED) if needle is not None else access(**LOCKED)
    made = (opened, *(first or ()), event("line use", 30, **{**POWER, **use}))
    parts = {"port": {"power": port}} if port is not None else {}
    rules = [
        f"power-injection-{one}" for one in ("unrated", "rate", "gauge", "pressure", "without-blood", "test-flush")
    ]
    return {one: True for one in (*rules, "power-rating-unknown") if fires(one, *made, **parts)}


def test_a_power_injection_by_its_labels() -> None:
    rated = {"rated": True, "max_flow_ml_per_s": 5, "max_pressure_psi": 300}
    assert inject(flow_ml_per_s=5, pressure_psi=300) == {}
    for other in ("infusion", "medication"):
        bad = {"power_rated": False, "gauge": 24}
        assert inject(bad, {"rated": False}, purpose=other, flow_ml_per_s=9, pressure_psi=900) == {}
    stopped = inject({"power_rated": False}, {"rated": False}, action="stopped", flow_ml_per_s=9, pressure_psi=900,
                     blood_return_before="none")  # fmt: skip
    assert stopped == {}
    assert inject({"power_rated": False}) == {"power-injection-unrated": True}
    assert inject(None, {"rated": False}) == {"power-injection-unrated": True}
    assert inject({"power_rated": None}) == {"power-rating-unknown": True}
    assert inject({"power_rated": UNKNOWN}) == {"power-rating-unknown": True}
    assert inject(flow_ml_per_s=6) == {"power-injection-rate": True}
    assert inject({"gauge": 22}, flow_ml_per_s=3) == {"power-injection-rate": True}
    assert inject({"gauge": UNKNOWN}, flow_ml_per_s=5) == {}
    assert inject({"gauge": 19}, {**rated, "max_flow_ml_per_s": 2}, flow_ml_per_s=3) == {"power-injection-rate": True}
    assert inject({"gauge": 22}, {**rated, "max_flow_ml_per_s": 4}, flow_ml_per_s=3) == {"power-injection-rate": True}
    assert inject({"gauge": 23}) == {"power-injection-gauge": True} and inject({"gauge": UNKNOWN}) == {}
    assert inject(None, {**rated, "max_pressure_psi": 325}, pressure_psi=320) == {}
    assert inject(None, {**rated, "max_pressure_psi": 200}, pressure_psi=250) == {"power-injection-pressure": True}
    assert inject(None, {**rated, "max_pressure_psi": None}, pressure_psi=320) == {"power-injection-pressure": True}
    for blood, bad in (("none", True), ("sluggish", True), ("present", False), (None, False)):
        assert ("power-injection-without-blood" in inject(blood_return_before=blood)) is bad


def test_what_a_power_injection_says() -> None:
    def words(rule: str, needle: Any = None, **more: Any) -> str:
        port = more.pop("port", None)
        made = (access(needle=needle or {}, **LOCKED), event("line use", 30, **{**POWER, **more}))
        return say(rule, *made, **({"port": {"power": port}} if port else {}))[0]

    both = words("power-injection-unrated", {"power_rated": False}, port={"rated": False})
    assert both.startswith("power injection through a needle and a port recorded as not rated for it")
    assert "through a port recorded" in words("power-injection-unrated", port={"rated": False})
    assert "of the needle is" in words("power-rating-unknown", {"power_rated": None})
    assert words("power-injection-rate", flow_ml_per_s=6).endswith("for 20 gauge")
    assert words("power-injection-rate", {"gauge": UNKNOWN}, flow_ml_per_s=6).endswith("at any gauge")
    label = {"rated": True, "max_flow_ml_per_s": 2, "max_pressure_psi": None}
    assert words("power-injection-rate", port=label, flow_ml_per_s=6).endswith("by the port's label")
    assert words("power-injection-pressure", port=label, pressure_psi=400).endswith("is not recorded")
    label = {"rated": True, "max_flow_ml_per_s": 2, "max_pressure_psi": 300}
    assert words("power-injection-pressure", port=label, pressure_psi=400).endswith("by the port's label")
    unknown = event("line use", 30, **POWER)
    assert "of the needle and of the port is" in say("power-rating-unknown", unknown, port={"power": None})[0]


@pytest.mark.parametrize(
    ("events", "said"),
    [
        ((access(flushes={"not_done": "-"}, **LOCKED),),
         "power injection without any saline flush on record before it"),
        ((access(flushes=[{"volume_ml": 5}, {"volume_ml": 5}], **LOCKED),), None),
        ((access(flushes=[{"volume_ml": 5}, {"volume_ml": 4}], **LOCKED),),
         "power injection after a flush of 9 mL; the minimum is 10 mL"),
        ((access(flushes=[{"volume_ml": 5}, {"volume_ml": None}], **LOCKED),),
         "power injection after a flush of 5 mL; the minimum is 10 mL"),
        ((access(flushes=[{"volume_ml": None}], **LOCKED),), None),
        ((event("access", -31, **LOCKED),),
         "power injection, but the last saline flush was at 2031-04-02 08:29, not at the same visit"),
        ((event("access", -31, **LOCKED), event("flush", 10)), None),
    ],
    ids=lambda one: str(one)[:120],
)  # fmt: skip
def test_the_flush_before_a_power_injection(events: Any, said: str | None) -> None:
    messages = say("power-injection-test-flush", *events, event("line use", 30, **POWER))
    assert messages == ([said] if said else [])


def test_needles_as_they_are_made() -> None:
    for rule, needle, bad in (
        ("needle-gauge", {"gauge": 18}, True), ("needle-gauge", {"gauge": UNKNOWN}, False),
        ("needle-length", {"length_mm": 1}, True), ("needle-length", {"length_mm": UNKNOWN}, False),
        ("coring-needle", {"non_coring": False}, True), ("coring-needle", {"non_coring": None}, False),
        ("coring-needle", {"non_coring": True}, False),
    ):  # fmt: skip
        assert fires(rule, access(needle=needle)) is bad
        assert fires(rule, event("arrival accessed", 0, needle=needle)) is bad
        assert not fires(rule, access(needle=None))
    assert "0.75 inch would be 19.05 mm" in say("needle-length", access(needle={"length_mm": 0.75}))[0]
    assert "inch" not in say("needle-length", access(needle={"length_mm": 5}))[0]
    assert found("coring-needle", access(needle={"non_coring": False}))[0].path == ("events", 0, "needle", "non_coring")
    assert fires("needle-attempts", access(attempts=3)) and not fires("needle-attempts", access(attempts=None))
    for wings, said in (("raised above the skin", "too long"), ("pressing into the skin", "too short")):
        for made in ((access(needle_wings=wings),), (access(), event("line check", 60, needle_wings=wings))):
            (message,) = say("needle-wings", *made)
            assert said in message and "of 19 mm" in message
        (message,) = say("needle-wings", access(needle={"length_mm": UNKNOWN}, needle_wings=wings))
        assert "mm" not in message
        assert "mm" not in say("needle-wings", event("line check", 60, needle_wings=wings))[0]
    assert not fires("needle-wings", access()) and not fires("needle-wings", access(needle_wings=None))
