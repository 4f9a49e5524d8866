"""The limits in force against the values printed by their sources, typed anew here so that a changed limit fails.

Each row names its source and how that source is known to us: R read in the issuer's own text, R2 quoted by a copy,
M-H and M-M from memory. Values that are derived or have no source are held apart, and never called published.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from lda_notes.knowledge.limits import Limit
from lda_notes.knowledge.policy import DEFAULT

# name, value, unit, bound, key of the source, mark
PUBLISHED = [
    # AHRQ, Patient Safety and Quality, chapter 42 table 3: transparent every 7 days, gauze every 2 days.
    ("transparent_dressing_days", "7", "days", "at most", "ahrq-ch42", "R"),
    ("gauze_dressing_days", "2", "days", "at most", "ahrq-ch42", "R"),
    # CDC 2011, category IB, the same two.
    ("transparent_dressing_days", "7", "days", "at most", "cdc-2011", "M-H"),
    ("gauze_dressing_days", "2", "days", "at most", "cdc-2011", "M-H"),
    # INS: gauze only under the wings with the site in view counts as transparent.
    ("gauze_under_wings_days", "7", "days", "at most", "ins-2021", "M-M"),
    # Royal Marsden Manual chapter 17; US hospital policy 2008; INS 2021: needle in for 7 days.
    ("needle_dwell_days", "7", "days", "at most", "royal-marsden", "R"),
    ("needle_dwell_days", "7", "days", "at most", "us-hospital-2008", "R2"),
    ("needle_dwell_days", "7", "days", "at most", "ins-2021", "M-H"),
    # Royal Marsden Manual chapter 17: made from 19 to 24 gauge, from 0.65 cm.
    ("needle_gauge_min", "19", "gauge", "at least", "royal-marsden", "R"),
    ("needle_gauge_max", "24", "gauge", "at most", "royal-marsden", "R"),
    ("needle_length_min_mm", "6.35", "mm", "at least", "royal-marsden", "R"),
    # US hospital policy 2008: up to one and a half inches; an inch is 25.4 mm.
    ("needle_length_max_mm", "38.1", "mm", "at most", "us-hospital-2008", "R2"),
    # Instructions for use of power-injectable ports: 5 mL per second at 19 or 20 gauge; 300 psi on one label.
    ("power_rate_ml_per_s", "5", "mL per second", "at most", "power-ifu", "R2"),
    ("power_gauge_full_rate", "20", "gauge", "at most", "power-ifu", "R2"),
    ("power_pressure_psi", "300", "psi", "at most", "power-ifu-pressure", "R2"),
    ("power_test_flush_ml", "10", "mL", "at least", "power-ifu-table", "R2"),
    ("power_rate_22_gauge_ml_per_s", "2", "mL per second", "at most", "power-ifu", "M-M"),
    # Label of a 2% chlorhexidine and 70% isopropyl alcohol swab: 30 s dry, 2 min moist; dries 30 s, 1 min moist.
    ("chg_scrub_dry_site_s", "30", "seconds", "at least", "chg-swab-label", "R"),
    ("chg_scrub_dry_site_s", "30", "seconds", "at least", "nova-scotia", "R"),
    ("chg_scrub_moist_site_s", "120", "seconds", "at least", "chg-swab-label", "R"),
    ("chg_dry_dry_site_s", "30", "seconds", "at least", "chg-swab-label", "R"),
    ("chg_dry_moist_site_s", "60", "seconds", "at least", "chg-swab-label", "R"),
    ("povidone_iodine_dry_s", "120", "seconds", "at least", "ins-2016", "M-H"),
    # Nova Scotia Health: 70% isopropyl alcohol, 1 min friction, 30 s dry.
    ("isopropyl_scrub_s", "60", "seconds", "at least", "nova-scotia", "R"),
    ("isopropyl_dry_s", "30", "seconds", "at least", "nova-scotia", "R"),
    ("hub_scrub_s", "5", "seconds", "at least", "ins-2021", "M-H"),
    ("hub_scrub_strict_s", "15", "seconds", "at least", "epic3", "M-H"),
    # CDC 2011: no recommendation under 2 months. Dressing: SHEA 2022 over 2 months; one maker not under.
    ("chg_age_months", "2", "months", "at least", "cdc-2011", "M-H"),
    ("chg_weight_g", "1000", "g", "at least", "home-infusion", "R2"),
    ("chg_dressing_months", "2", "months", "at least", "shea-2022", "M-H"),
    # Lidocaine 2.5% and prilocaine 2.5% cream, US label: adult 2.5 g over 20 to 25 square cm, at least 1 hour.
    ("cream_contact_minutes", "60", "minutes", "at least", "cream-label", "R2"),
    ("cream_adult_g", "2.5", "g", "exactly", "cream-label", "R2"),
    ("cream_adult_area_cm2", "25", "square cm", "at most", "cream-label", "R2"),
    ("cream_adult_area_min_cm2", "20", "square cm", "at least", "cream-label", "R2"),
    ("cream_effect_hours", "2", "hours", "at most", "cream-label", "R2"),
    # The same label's table for children: g, square cm, hours; and the weight for each row.
    ("cream_under_3_months_g", "1", "g", "at most", "cream-label", "R2"),
    ("cream_under_3_months_cm2", "10", "square cm", "at most", "cream-label", "R2"),
    ("cream_under_3_months_hours", "1", "hours", "at most", "cream-label", "R2"),
    ("cream_3_to_12_months_g", "2", "g", "at most", "cream-label", "R2"),
    ("cream_3_to_12_months_cm2", "20", "square cm", "at most", "cream-label", "R2"),
    ("cream_3_to_12_months_hours", "4", "hours", "at most", "cream-label", "R2"),
    ("cream_3_to_12_months_kg", "5", "kg", "at least", "cream-label", "R2"),
    ("cream_1_to_6_years_g", "10", "g", "at most", "cream-label", "R2"),
    ("cream_1_to_6_years_cm2", "100", "square cm", "at most", "cream-label", "R2"),
    ("cream_1_to_6_years_hours", "4", "hours", "at most", "cream-label", "R2"),
    ("cream_1_to_6_years_kg", "10", "kg", "at least", "cream-label", "R2"),
    ("cream_7_to_12_years_g", "20", "g", "at most", "cream-label", "R2"),
    ("cream_7_to_12_years_cm2", "200", "square cm", "at most", "cream-label", "R2"),
    ("cream_7_to_12_years_hours", "4", "hours", "at most", "cream-label", "R2"),
    ("cream_7_to_12_years_kg", "20", "kg", "at least", "cream-label", "R2"),
    ("lidocaine_4_contact_minutes", "30", "minutes", "at least", "lidocaine-4-label", "M-H"),
    # NHS Ayrshire and Arran G004: discard 5 to 10 mL; Royal Marsden Manual: syringe of 10 mL or more.
    ("discard_adult_ml", "5", "mL", "at least", "ayrshire-arran-adult", "R"),
    ("discard_adult_max_ml", "10", "mL", "at most", "ayrshire-arran-adult", "R"),
    ("syringe_ml", "10", "mL", "at least", "royal-marsden", "R"),
    ("syringe_ml", "10", "mL", "at least", "ayrshire-arran-adult", "R"),
    # INS: flush twice, lock 1.2 times the volume of catheter and add-ons; 10 mL, 20 mL after blood.
    ("flush_volume_factor", "2", "times", "at least", "ins-2021", "M-H"),
    ("lock_volume_factor", "1.2", "times", "exactly", "ins-2021", "M-H"),
    ("flush_ml", "10", "mL", "at least", "ins-2021", "M-H"),
    ("flush_after_blood_ml", "20", "mL", "at least", "ins-2021", "M-H"),
    ("bacteriostatic_saline_ml_per_day", "30", "mL", "at most", "ins-2021", "M-H"),
    # Idle port every 4 weeks: Royal Marsden Manual, NHS Ayrshire and Arran, Royal Cornwall Hospitals.
    ("idle_flush_days", "28", "days", "at most", "royal-marsden", "R"),
    ("idle_flush_days", "28", "days", "at most", "ayrshire-arran-adult", "R"),
    ("idle_flush_days", "28", "days", "at most", "royal-cornwall", "R2"),
    # Heparin lock flush is sold as 10 and 100 units per mL; 5 mL usual, 3 mL in children, 4 to 6 mL in Cornwall.
    ("heparin_lock_strength_units_per_ml", "100", "units per mL", "exactly", "heparin-lock-approval", "R2"),
    ("heparin_lock_low_strength_units_per_ml", "10", "units per mL", "exactly", "heparin-lock-approval", "R2"),
    ("heparin_lock_ml", "5", "mL", "exactly", "royal-marsden", "R"),
    ("heparin_lock_min_ml", "3", "mL", "at least", "ayrshire-arran-child", "R"),
    ("heparin_lock_max_ml", "6", "mL", "at most", "royal-cornwall", "R2"),
    ("heparin_lock_max_units", "600", "units", "at most", "royal-cornwall", "R2"),
    ("heparin_lock_child_units", "300", "units", "at most", "ayrshire-arran-child", "R"),
    # Alteplase for catheter clearance: US label, maker's dosing page, UK product summary.
    ("alteplase_full_dose_kg", "30", "kg", "at least", "alteplase-smpc", "R"),
    ("alteplase_dose_mg", "2", "mg", "exactly", "alteplase-dosing", "R"),
    ("alteplase_mg_per_ml", "1", "mg per mL", "exactly", "alteplase-dosing", "R"),
    ("alteplase_lumen_factor", "1.1", "times", "exactly", "alteplase-smpc", "R"),
    ("alteplase_single_max_mg", "2", "mg", "at most", "alteplase-label", "R"),
    ("alteplase_single_max_ml", "2", "mL", "at most", "alteplase-smpc", "R"),
    ("alteplase_doses", "2", "doses", "at most", "alteplase-label", "R"),
    ("alteplase_total_mg", "4", "mg", "at most", "alteplase-label", "R"),
    ("alteplase_first_check_minutes", "30", "minutes", "exactly", "alteplase-giving", "R"),
    ("alteplase_second_check_minutes", "120", "minutes", "exactly", "alteplase-giving", "R"),
    ("alteplase_second_dose_minutes", "120", "minutes", "at least", "alteplase-label", "R"),
    ("alteplase_use_within_hours", "8", "hours", "at most", "alteplase-label", "R"),
    ("alteplase_withdraw_ml", "4", "mL", "at least", "alteplase-giving", "R"),
    ("alteplase_withdraw_max_ml", "5", "mL", "at most", "alteplase-giving", "R"),
    ("alteplase_withdraw_child_ml", "3", "mL", "exactly", "alteplase-giving", "R"),
    ("alteplase_withdraw_child_kg", "10", "kg", "at least", "alteplase-giving", "R"),
    # After implantation: NHS Ayrshire and Arran G068 waits 7 days.
    ("post_implant_child_days", "7", "days", "at least", "ayrshire-arran-child", "R"),
    # Scales: INS phlebitis 0 to 4, visual phlebitis score 0 to 5 with action from 2, pinch-off 0 to 3.
    ("phlebitis_grade", "4", "points", "at most", "ins-phlebitis", "R2"),
    ("vip_score", "5", "points", "at most", "vip-score", "M-H"),
    ("vip_act_below", "1", "points", "at most", "vip-score", "M-H"),
    ("infiltration_grade", "4", "points", "at most", "ins-infiltration", "M-H"),
    ("pinch_off_grade", "3", "points", "at most", "hinke-1990", "R2"),
    # Two identifiers: NPSG.01.01.01 EP 1.
    ("patient_identifiers", "2", "identifiers", "at least", "npsg-01-01-01", "R2"),
    # Surveillance: eligible from line day 3 (ICMR), the day after removal (CDC questions), window 3 days each side.
    ("line_day_eligible", "3", "line days", "at least", "icmr", "R"),
    ("window_days_after_removal", "1", "days", "at most", "nhsn-faq", "R"),
    ("infection_window_days_before", "3", "days", "exactly", "nhsn-slides", "R2"),
    ("infection_window_days_after", "3", "days", "exactly", "nhsn-slides", "R2"),
    ("repeat_infection_days", "14", "days", "exactly", "nhsn-2", "M-H"),
    ("hospital_onset_day", "3", "hospital days", "at least", "poa-worksheet", "R2"),
    ("rate_per_line_days", "1000", "line days", "exactly", "nhsn-table", "R2"),
    # The rest, beside the sources named in the rows above.
    ("maintenance_flush_days", "28", "days", "at most", "royal-marsden", "R"),
    ("accessed_idle_flush_hours", "24", "hours", "at most", "infusion-forum", "M-L"),
    ("post_implant_tender_hours", "72", "hours", "at least", "port-procedures-page", "R2"),
    ("power_gauge_max", "22", "gauge", "at most", "power-ifu-table", "R2"),
    ("spray_to_needle_s", "60", "seconds", "at most", "vapocoolant-label", "M-M"),
    ("intradermal_lidocaine_ml", "0.3", "mL", "at most", "us-hospitals", "M-M"),
    ("discard_child_ml", "3", "mL", "at least", "us-hospitals", "M-M"),
    ("discard_child_max_ml", "5", "mL", "at most", "us-hospitals", "M-M"),
    ("flush_child_ml", "5", "mL", "at least", "ayrshire-arran-child", "R"),
    ("flush_child_after_use_ml", "10", "mL", "at least", "ayrshire-arran-child", "R"),
    ("ctcae_grade", "5", "points", "at most", "ctcae-5", "M-H"),
    ("discard_volume_factor", "2", "times", "at least", "ins-2021", "M-M"),
    ("transfer_days", "1", "days", "at most", "nhsn-4", "M-H"),
]

# Common practice, no source: name, value, unit, bound. None of these may pass for published.
UNSOURCED = [
    ("failed_dressing_hours", "4", "hours", "at most"),
    ("unknown_age_hours", "24", "hours", "at most"),
    ("line_check_slack_minutes", "60", "minutes", "at most"),
    ("reaction_after_flush_hours", "4", "hours", "at most"),
    ("heparin_child_years", "12", "years", "at most"),
    ("heparin_child_kg", "40", "kg", "at most"),
    ("heparin_small_child_kg", "10", "kg", "at most"),
    ("discard_small_child_kg", "10", "kg", "at most"),
    ("line_check_hours", "12", "hours", "at most"),
    ("needle_attempts", "2", "attempts", "at most"),
    ("skin_friction_s", "60", "seconds", "at least"),
    ("late_entry_hours", "12", "hours", "at most"),
    ("neonate_days", "28", "days", "at most"),
    ("adult_years", "18", "years", "at least"),
    ("infant_months", "12", "months", "at most"),
    ("alteplase_measure_step_ml", "0.1", "mL", "exactly"),
    ("severe_pain_points", "7", "points", "at least"),
    ("shift_hours", "12", "hours", "at most"),
    ("left_list_days", "7", "days", "at most"),
    ("clock_slack_minutes", "5", "minutes", "at most"),
    ("needle_change_minutes", "60", "minutes", "at most"),
    ("plausible_age_years", "120", "years", "at most"),
    ("plausible_adult_kg", "20", "kg", "at least"),
    ("plausible_weight_kg", "400", "kg", "at most"),
    ("plausible_infant_kg", "20", "kg", "at most"),
]


@pytest.mark.parametrize(("name", "value", "unit", "bound", "source", "mark"), PUBLISHED)
def test_limit_is_the_published_value(name: str, value: str, unit: str, bound: str, source: str, mark: str) -> None:
    limit = DEFAULT.limit(name)
    assert (limit.value, limit.unit, limit.bound) == (Decimal(value), unit, bound)
    assert (source, mark) in {(cited.source, cited.mark) for cited in limit.citations}


@pytest.mark.parametrize(("name", "value", "unit", "bound"), UNSOURCED)
def test_limit_without_a_source_says_so(name: str, value: str, unit: str, bound: str) -> None:
    limit = DEFAULT.limit(name)
    assert (limit.value, limit.unit, limit.bound) == (Decimal(value), unit, bound)
    assert [cited.text() for cited in limit.citations] == ["common practice, no source"]


def test_every_limit_is_checked_and_none_stands_in_both_lists() -> None:
    keys = [(row[0], row[4]) for row in PUBLISHED]
    assert len(keys) == len(set(keys)) >= 30
    published, unsourced = {row[0] for row in PUBLISHED}, {row[0] for row in UNSOURCED}
    assert published.isdisjoint(unsourced)
    for name, limit in DEFAULT.rows.items():
        if isinstance(limit, Limit) and not name.startswith(HELD_BY_ARITHMETIC):
            source = "a row of PUBLISHED" if limit.citations[0].mark != "CP" else "a row of UNSOURCED"
            assert name in published | unsourced, f"{name} needs {source}"


# A ratio of line days to patient days cannot pass 1, by arithmetic.
# The wear of a disc follows the dressing's (derived); the age of adults is a recommendation for other lines, carried
# over (derived).
HELD_BY_ARITHMETIC = ("utilization_ratio", "chg_dressing_days", "chg_dressing_adult_years")


@pytest.mark.parametrize(("name", "value"), list(zip(HELD_BY_ARITHMETIC, (1, 7, 18), strict=True)))
def test_what_is_derived_is_called_derived(name: str, value: int) -> None:
    limit = DEFAULT.limit(name)
    assert (limit.value, [cited.mark for cited in limit.citations]) == (value, ["D"])


# Options whose default a source states: name, option, source, mark.
OPTIONS = [
    # SHEA 2022: chlorhexidine-impregnated dressings over 2 months.
    ("chg_dressing_ages", "over 2 months", "shea-2022", "M-H"),
    # NHSN chapter 4: a flush is an infusion; every line in the body counts in the denominator.
    ("flush_counts_as_access", "yes", "nhsn-4", "M-H"),
    ("denominator_counts", "every line in the body", "nhsn-4", "M-M"),
    ("procedural_access_counts", "yes", "nhsn-faq", "M-L"),
    # Wu 2021: saline can replace heparin in a lock.
    ("saline_lock_accepted", "yes", "wu-2021", "R2"),
    # Open RN 4.6: sterile gloves at access.
    ("gloves", "sterile", "open-rn", "R"),
]


@pytest.mark.parametrize(("name", "option", "source", "mark"), OPTIONS)
def test_option_is_what_the_source_states(name: str, option: str, source: str, mark: str) -> None:
    assert DEFAULT.choice(name) == option
    assert (source, mark) in {(cited.source, cited.mark) for cited in DEFAULT.citations(name)}
