"""Every limit of an amount at its value, one smallest step below and one above."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any, NamedTuple

import pytest
from scenes import (
    BABY,
    CREAM,
    INFANT,
    LEAST,
    MOST,
    NO_BLOOD,
    SCHOOL,
    SMALL,
    Event,
    Scene,
    access,
    after,
    event,
    fires,
)  # fmt: skip

# -- amounts --


class AmountRow(NamedTuple):
    """A limit of an amount: the rule, the limit's name, its value and smallest step, the bound, the record."""

    rule: str
    limit: str
    value: str
    step: str
    bound: str
    scene: Callable[[Any], Scene]


def number(value: Decimal) -> int | float:
    return int(value) if value == value.to_integral_value() else float(value)


def on_access(*keys: str, patient: dict[str, Any] | None = None, **facts: Any) -> Callable[[Any], Scene]:
    """Build an access in which the fact at ``keys``, one or two of them, has the value; ``facts`` stand beside it."""

    def scene(value: Any) -> Scene:
        first, *inner = keys
        said = {**facts.get(first, {}), inner[0]: value} if inner else value
        return Scene((access(**{**facts, first: said}),), {"patient": patient} if patient else {})

    return scene


def flushed(**flush: Any) -> Callable[[Any], Scene]:
    patient = flush.pop("patient", None)
    samples = flush.pop("samples", [])
    key = next((name for name in ("volume_ml", "syringe_ml") if name not in flush), "volume_ml")

    def scene(value: Any) -> Scene:
        facts: Event = {"flushes": [{**flush, key: value}]}
        if samples:
            facts["samples"] = samples
        return Scene((access(**facts),), {"patient": patient} if patient else {})

    return scene


def system_flush(value: Any) -> Scene:
    # 0.9 mL catheter and port, 0.4 mL needle set, 0.1 mL connector: 1.4 mL.
    return Scene((access(flushes=[{"volume_ml": value}]),))


def locked(**lock: Any) -> Callable[[Any], Scene]:
    patient = lock.pop("patient", None)
    key = "volume_ml" if "volume_ml" not in lock else "units_per_ml"
    return lambda value: Scene(
        (access(infusion=None, lock={**lock, key: value}),), {"patient": patient} if patient else {}
    )


def injected(key: str, needle: dict[str, Any] | None = None, power: dict[str, Any] | None = None) -> Any:
    def scene(value: Any) -> Scene:
        use = {"purpose": "power injection", "what": "contrast medium", "flow_ml_per_s": 1, "pressure_psi": 100}
        events = (access(needle=needle or {}), event("line use", 60, **{**use, key: value}))
        return Scene(events, {"port": {"power": power}} if power else {})

    return scene


def injected_gauge(value: Any) -> Scene:
    use = {"purpose": "power injection", "what": "contrast medium", "flow_ml_per_s": 1, "pressure_psi": 100}
    return Scene((access(needle={"gauge": value}), event("line use", 60, **use)))


def proved_by(value: Any) -> Scene:
    use = {"purpose": "power injection", "what": "contrast medium", "flow_ml_per_s": 1, "pressure_psi": 100}
    return Scene((access(flushes=[{"volume_ml": value}]), event("line use", 60, **use)))


def transfused(patient: dict[str, Any] | None = None) -> Callable[[Any], Scene]:
    use = {"purpose": "transfusion", "action": "started", "what": "red cells", "vesicant": None}
    return lambda value: Scene(
        (access(needle={"gauge": value}), event("line use", 60, **use)), {"patient": patient} if patient else {}
    )


def preserved(value: Any) -> Scene:
    return Scene((access(flushes=[{"solution": "0.9% sodium chloride with benzyl alcohol", "volume_ml": value}]),))


def dosed(weight: Any, lumen: Any = None) -> Callable[[Any], Scene]:
    def scene(value: Any) -> Scene:
        treated = event("patency treatment", 60, dose_mg=value, volume_ml=value)
        if lumen is not None:
            treated["lumen_ml"] = lumen
        return Scene((access(**NO_BLOOD), treated), {"patient": {"weight_kg": weight}})

    return scene


def instilled(value: Any) -> Scene:
    return Scene((access(**NO_BLOOD), event("patency treatment", 60, dose_mg=2, volume_ml=value)))


def total(value: Any) -> Scene:
    first = event("patency treatment", 60)
    again = event("patency treatment", 60 + 120, second_dose_of="patency-treatment-1", dose_mg=value, volume_ml=value)
    return Scene((access(**NO_BLOOD), first, again))


def withdrawn(weight: Any) -> Callable[[Any], Scene]:
    return lambda value: Scene(
        (
            access(**NO_BLOOD),
            event("patency treatment", 60, lumen_ml=1, dose_mg=1.1, volume_ml=1.1),
            event("patency check", 90, withdrawn_ml=value),
        ),
        {"patient": {"weight_kg": weight}},
    )


def scored(name: str) -> Callable[[Any], Scene]:
    return lambda value: Scene((access(site={"scale": {"name": name, "score": value}}),))


def newborn_of(grams: Any) -> Scene:
    patient = {"birth_date": "2031-03-20", "weight_kg": grams / 1000}
    return Scene((access(antisepsis={"agent": "aqueous chlorhexidine"}),), {"patient": patient})


def identified(value: Any) -> Scene:
    return Scene((access(attempts=value),))


EXACT = "exactly"
CHG, IPA, IODINE = "chlorhexidine in alcohol", "70% isopropyl alcohol", "povidone-iodine"
SCRUB, DRY = ("antisepsis", "scrub_s"), ("antisepsis", "dry_s")
CREAM_ON = {
    "agent": CREAM,
    "amount_g": 1,
    "area_cm2": 10,
    "applied_at": after(-70),
    "removed_at": after(-10),
}
ADULT_CREAM = CREAM_ON | {"amount_g": 2.5, "area_cm2": 25}
FINE = "0.0001"

AMOUNTS = [
    AmountRow("scrub-time", "chg_scrub_dry_site_s", "30", "1", LEAST, on_access(*SCRUB, antisepsis={"agent": CHG})),
    AmountRow(
        "scrub-time",
        "chg_scrub_moist_site_s",
        "120",
        "1",
        LEAST,
        on_access(*SCRUB, antisepsis={"agent": CHG, "skin": "moist"}),
    ),
    AmountRow("scrub-time", "isopropyl_scrub_s", "60", "1", LEAST, on_access(*SCRUB, antisepsis={"agent": IPA})),
    AmountRow("skin-friction", "skin_friction_s", "60", "1", LEAST, on_access(*SCRUB, antisepsis={"agent": IODINE})),
    AmountRow("antiseptic-dry-time", "chg_dry_dry_site_s", "30", "1", LEAST, on_access(*DRY)),
    AmountRow(
        "antiseptic-dry-time", "chg_dry_moist_site_s", "60", "1", LEAST, on_access(*DRY, antisepsis={"skin": "moist"})
    ),
    AmountRow("antiseptic-dry-time", "isopropyl_dry_s", "30", "1", LEAST, on_access(*DRY, antisepsis={"agent": IPA})),
    AmountRow(
        "antiseptic-dry-time", "povidone_iodine_dry_s", "120", "1", LEAST, on_access(*DRY, antisepsis={"agent": IODINE})
    ),
    AmountRow("connector-scrub-time", "hub_scrub_s", "5", "1", LEAST, on_access("hub_scrub_s")),
    AmountRow(
        "cream-child-maximum",
        "cream_under_3_months_g",
        "1",
        FINE,
        MOST,
        on_access("anesthetic", "amount_g", anesthetic=CREAM_ON, patient=INFANT),
    ),
    AmountRow(
        "cream-child-maximum",
        "cream_3_to_12_months_g",
        "2",
        FINE,
        MOST,
        on_access("anesthetic", "amount_g", anesthetic=CREAM_ON, patient=BABY),
    ),
    AmountRow(
        "cream-child-maximum",
        "cream_1_to_6_years_g",
        "10",
        FINE,
        MOST,
        on_access("anesthetic", "amount_g", anesthetic=CREAM_ON, patient=SMALL),
    ),
    AmountRow(
        "cream-child-maximum",
        "cream_7_to_12_years_g",
        "20",
        FINE,
        MOST,
        on_access("anesthetic", "amount_g", anesthetic=CREAM_ON, patient=SCHOOL),
    ),
    AmountRow(
        "cream-child-maximum",
        "cream_under_3_months_cm2",
        "10",
        FINE,
        MOST,
        on_access("anesthetic", "area_cm2", anesthetic=CREAM_ON, patient=INFANT),
    ),
    AmountRow(
        "cream-child-maximum",
        "cream_3_to_12_months_cm2",
        "20",
        FINE,
        MOST,
        on_access("anesthetic", "area_cm2", anesthetic=CREAM_ON, patient=BABY),
    ),
    AmountRow(
        "cream-child-maximum",
        "cream_1_to_6_years_cm2",
        "100",
        FINE,
        MOST,
        on_access("anesthetic", "area_cm2", anesthetic=CREAM_ON, patient=SMALL),
    ),
    AmountRow(
        "cream-child-maximum",
        "cream_7_to_12_years_cm2",
        "200",
        FINE,
        MOST,
        on_access("anesthetic", "area_cm2", anesthetic=CREAM_ON, patient=SCHOOL),
    ),
    AmountRow(
        "cream-adult-amount",
        "cream_adult_g",
        "2.5",
        FINE,
        MOST,
        on_access("anesthetic", "amount_g", anesthetic=ADULT_CREAM),
    ),
    AmountRow(
        "cream-adult-amount",
        "cream_adult_area_cm2",
        "25",
        FINE,
        MOST,
        on_access("anesthetic", "area_cm2", anesthetic=ADULT_CREAM),
    ),
    AmountRow(
        "cream-adult-amount",
        "cream_adult_area_min_cm2",
        "20",
        FINE,
        LEAST,
        on_access("anesthetic", "area_cm2", anesthetic=ADULT_CREAM),
    ),
    AmountRow(
        "intradermal-volume",
        "intradermal_lidocaine_ml",
        "0.3",
        FINE,
        MOST,
        on_access("anesthetic", "volume_ml", anesthetic={"agent": "intradermal lidocaine 1%"}),
    ),
    AmountRow("needle-gauge", "needle_gauge_min", "19", "1", LEAST, on_access("needle", "gauge")),
    AmountRow("needle-gauge", "needle_gauge_max", "24", "1", MOST, on_access("needle", "gauge")),
    AmountRow("needle-length", "needle_length_min_mm", "6.35", FINE, LEAST, on_access("needle", "length_mm")),
    AmountRow("needle-length", "needle_length_max_mm", "38.1", FINE, MOST, on_access("needle", "length_mm")),
    AmountRow("needle-attempts", "needle_attempts", "2", "1", MOST, identified),
    AmountRow("power-injection-rate", "power_rate_ml_per_s", "5", FINE, MOST, injected("flow_ml_per_s")),
    AmountRow(
        "power-injection-rate",
        "power_rate_22_gauge_ml_per_s",
        "2",
        FINE,
        MOST,
        injected("flow_ml_per_s", {"gauge": 22}),
    ),
    AmountRow(
        "power-injection-rate", "-", "3.5", FINE, MOST, injected("flow_ml_per_s", power={"max_flow_ml_per_s": 3.5})
    ),
    AmountRow(
        "power-injection-pressure", "-", "325", FINE, MOST, injected("pressure_psi", power={"max_pressure_psi": 325})
    ),
    AmountRow(
        "power-injection-pressure",
        "power_pressure_psi",
        "300",
        FINE,
        MOST,
        injected("pressure_psi", power={"max_pressure_psi": None}),
    ),
    AmountRow("power-injection-gauge", "power_gauge_max", "22", "1", MOST, injected_gauge),
    AmountRow("power-injection-test-flush", "power_test_flush_ml", "10", FINE, LEAST, proved_by),
    AmountRow("discard-too-small", "discard_adult_ml", "5", FINE, LEAST, on_access("discard_ml")),
    AmountRow("discard-too-small", "discard_child_ml", "3", FINE, LEAST, on_access("discard_ml", patient=SMALL)),
    AmountRow("discard-too-large", "discard_adult_max_ml", "10", FINE, MOST, on_access("discard_ml")),
    AmountRow("discard-too-large", "discard_child_max_ml", "5", FINE, MOST, on_access("discard_ml", patient=SMALL)),
    AmountRow("flush-below-minimum", "flush_volume_factor", "2.8", FINE, LEAST, system_flush),
    AmountRow("flush-below-usual", "flush_ml", "10", FINE, LEAST, flushed()),
    AmountRow("flush-below-usual", "flush_after_blood_ml", "20", FINE, LEAST, flushed(samples=["blood count"])),
    AmountRow("flush-below-usual", "flush_child_ml", "5", FINE, LEAST, flushed(patient=SMALL)),
    AmountRow(
        "flush-below-usual",
        "flush_child_after_use_ml",
        "10",
        FINE,
        LEAST,
        flushed(patient=SMALL, samples=["blood count"]),
    ),
    AmountRow("syringe-size", "syringe_ml", "10", FINE, LEAST, flushed(volume_ml=10)),
    AmountRow("bacteriostatic-saline", "bacteriostatic_saline_ml_per_day", "30", FINE, MOST, preserved),
    AmountRow(
        "treatment-strength-heparin",
        "heparin_lock_strength_units_per_ml",
        "100",
        FINE,
        MOST,
        locked(drug="heparin", volume_ml=5),
    ),
    AmountRow(
        "lock-strength",
        "heparin_lock_low_strength_units_per_ml",
        "10",
        FINE,
        EXACT,
        locked(drug="heparin", volume_ml=5),
    ),
    AmountRow(
        "lock-strength",
        "heparin_lock_strength_units_per_ml",
        "100",
        FINE,
        LEAST,
        locked(drug="heparin", volume_ml=5),
    ),
    # 6 mL at 100 units per mL is 600 units; 3 mL is 300 units for a child.
    AmountRow(
        "heparin-lock-units", "heparin_lock_max_units", "6", FINE, MOST, locked(drug="heparin", units_per_ml=100)
    ),
    AmountRow(
        "heparin-lock-units",
        "heparin_lock_child_units",
        "3",
        FINE,
        MOST,
        locked(drug="heparin", units_per_ml=100, patient=SMALL),
    ),
    AmountRow("heparin-lock-volume", "heparin_lock_min_ml", "3", FINE, LEAST, locked(drug="heparin", units_per_ml=10)),
    AmountRow("heparin-lock-volume", "heparin_lock_max_ml", "6", FINE, MOST, locked(drug="heparin", units_per_ml=10)),
    AmountRow("lock-does-not-fill", "lock_volume_factor", "1.68", FINE, LEAST, locked(drug="0.9% sodium chloride")),
    AmountRow("alteplase-dose", "alteplase_dose_mg", "2", FINE, EXACT, dosed(30)),
    # 110% of 1 mL is 1.1 mg; measured to the nearest tenth, 1.05 to 1.15 mg are the same step.
    AmountRow("alteplase-dose", "alteplase_measure_step_ml", "1.15", FINE, MOST, dosed(25, 1)),
    AmountRow("alteplase-dose", "alteplase_measure_step_ml", "1.05", FINE, LEAST, dosed(25, 1)),
    # 110% of 1.8 mL is 1.98 mg; the step would reach 2.03, the largest single dose ends at 2.
    AmountRow("alteplase-dose", "alteplase_single_max_mg", "2", FINE, MOST, dosed(25, 1.8)),
    AmountRow("alteplase-concentration", "alteplase_mg_per_ml", "2", FINE, EXACT, instilled),
    AmountRow("alteplase-total", "alteplase_total_mg", "2", FINE, MOST, total),
    AmountRow("alteplase-withdrawal", "alteplase_withdraw_ml", "4", FINE, LEAST, withdrawn(30)),
    AmountRow("alteplase-withdrawal", "alteplase_withdraw_max_ml", "5", FINE, MOST, withdrawn(30)),
    AmountRow("alteplase-withdrawal", "alteplase_withdraw_child_ml", "3", FINE, EXACT, withdrawn(9.9)),
    AmountRow("scale-out-of-range", "phlebitis_grade", "4", "1", MOST, scored("INS phlebitis 0-4")),
    AmountRow("scale-out-of-range", "vip_score", "5", "1", MOST, scored("visual infusion phlebitis score")),
    AmountRow("scale-out-of-range", "infiltration_grade", "4", "1", MOST, scored("INS infiltration 0-4")),
    AmountRow("scale-out-of-range", "ctcae_grade", "5", "1", MOST, scored("CTCAE 5 extravasation")),
    AmountRow("scale-out-of-range", "pinch_off_grade", "3", "1", MOST, scored("pinch-off grade")),
    AmountRow("site-score-unanswered", "vip_act_below", "1", "1", MOST, scored("visual infusion phlebitis score")),
    AmountRow("chlorhexidine-small-newborn", "chg_weight_g", "1000", "0.1", LEAST, newborn_of),
    AmountRow("severe-pain-tolerated-well", "severe_pain_points", "6", "1", MOST, on_access("pain")),
]


@pytest.mark.parametrize("row", AMOUNTS, ids=lambda row: f"{row.rule} {row.limit} {row.value}")
def test_a_limit_of_an_amount_to_the_last_digit(row: AmountRow) -> None:
    value, step = Decimal(row.value), Decimal(row.step)
    below, on, above = (fires(row.rule, row.scene(number(value + side * step))) for side in (-1, 0, 1))
    assert (below, on, above) == (row.bound in (LEAST, EXACT), False, row.bound in (MOST, EXACT))
