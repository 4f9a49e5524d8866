"""The table of limits: every number and named option that the checks, due times and amounts use, with its source.

To add a limit, add one row to ``_ROWS``. A name ends with its unit; ``policy.py`` hands the values out and lets a
facility replace them.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import Final, Literal

from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation, Mark

Bound = Literal["at most", "at least", "exactly"]
"""Which side of a limit is allowed."""


@dataclass(frozen=True, slots=True)
class Limit:
    """A number with its unit. ``says`` is what is limited, as it reads before "at most 7 days".

    ``low`` and ``high`` are the ends of what a local policy may set; beyond them a value is taken for a slip.
    """

    name: str
    value: Decimal
    unit: str
    bound: Bound
    says: str
    citations: tuple[Citation, ...]
    low: Decimal
    high: Decimal


@dataclass(frozen=True, slots=True)
class Choice:
    """A named option. If ``ordered``, ``options`` stand strictest first, so a later one is looser."""

    name: str
    value: str
    options: tuple[str, ...]
    says: str
    citations: tuple[Citation, ...]
    ordered: bool = False


@dataclass(frozen=True, slots=True)
class Clock:
    """A time of day, "HH:MM" in the stay's own zone."""

    name: str
    value: str
    says: str
    citations: tuple[Citation, ...]


@dataclass(frozen=True, slots=True)
class Words:
    """A list of words or of times of day, joined by commas in ``value``; ``times`` says that they are times."""

    name: str
    value: str
    says: str
    citations: tuple[Citation, ...]
    times: bool = False

    @property
    def listed(self) -> tuple[str, ...]:
        """The words of the list."""
        return tuple(word for word in self.value.split(", ") if word)


Row = Limit | Choice | Clock | Words

_SLIP: Final = 20
"""A local value this many times above or below the published one is taken for a slip of the pen."""

WHOLE_UNITS: Final = frozenset(
    {"days", "months", "years", "gauge", "attempts", "doses", "points", "identifiers", "line days"} | {"hospital days"}
)
"""Units of which only whole numbers make sense."""


def _limit(
    bound: Bound,
    name: str,
    value: str,
    unit: str,
    says: str,
    citations: tuple[Citation, ...],
    low: str | None,
    high: str | None,
) -> Limit:
    number = Decimal(value)
    lowest = Decimal(low) if low is not None else number / _SLIP
    if unit in WHOLE_UNITS:
        lowest = lowest.to_integral_value(ROUND_CEILING)
    highest = Decimal(high) if high is not None else number * _SLIP
    return Limit(name, number, unit, bound, says, citations, lowest, highest)


def _most(
    name: str,
    value: str,
    unit: str,
    says: str,
    *citations: Citation,
    low: str | None = None,
    high: str | None = None,
) -> Limit:
    return _limit("at most", name, value, unit, says, citations, low, high)


def _least(
    name: str,
    value: str,
    unit: str,
    says: str,
    *citations: Citation,
    low: str | None = None,
    high: str | None = None,
) -> Limit:
    return _limit("at least", name, value, unit, says, citations, low, high)


def _exact(
    name: str,
    value: str,
    unit: str,
    says: str,
    *citations: Citation,
    low: str | None = None,
    high: str | None = None,
) -> Limit:
    return _limit("exactly", name, value, unit, says, citations, low, high)


def _choice(name: str, options: str, says: str, *citations: Citation, value: str = "", ordered: bool = False) -> Choice:
    """A row whose options stand separated by " | "; the first is the default unless ``value`` names another."""
    named = tuple(options.split(" | "))
    return Choice(name, value or named[0], named, says, citations, ordered)


def _c(source: str, mark: Mark, place: str = "") -> Citation:
    return Citation(source, mark, place)


_CP: Final = COMMON_PRACTICE
_AHRQ: Final = _c("ahrq-ch42", "R", "table 3")
_CDC2011: Final = _c("cdc-2011", "M-H")
_INS2021: Final = _c("ins-2021", "M-H")
_RMM: Final = _c("royal-marsden", "R", "ch. 17")
_AA_ADULT: Final = _c("ayrshire-arran-adult", "R")
_AA_CHILD: Final = _c("ayrshire-arran-child", "R")
_RCHT: Final = _c("royal-cornwall", "R")
_USHOSP: Final = _c("us-hospital-2008", "R", "app. L")
_SWAB: Final = _c("chg-swab-label", "R")
_NSH: Final = _c("nova-scotia", "R")
_DOSING: Final = _c("alteplase-dosing", "R")
_SMPC: Final = _c("alteplase-smpc", "R")
_ALT_LABEL: Final = _c("alteplase-label", "R")
_CREAM: Final = _c("cream-label", "R2", "adult, venous access")
_CREAM_CHILD: Final = _c("cream-label", "R2", "table of maxima")

_DWELL: Final[tuple[Row, ...]] = (
    _most("needle_dwell_days", "7", "days", "a non-coring needle stays in", _RMM, _USHOSP, _INS2021),
    _most("transparent_dressing_days", "7", "days", "a transparent dressing stays on", _AHRQ, _CDC2011),
    _most("gauze_dressing_days", "2", "days", "a dressing with gauze over the site stays on", _AHRQ, _CDC2011),
    _most(
        "gauze_under_wings_days",
        "7",
        "days",
        "a transparent dressing with gauze only under the needle's wings, site in view, stays on",
        _c("ins-2021", "M-M"),
    ),
    _most("chg_dressing_days", "7", "days", "a chlorhexidine disc or dressing stays on", _NSH),
    _most("line_check_hours", "12", "hours", "an accessed port goes between two looks at the line", _CP),
    _most("idle_flush_days", "28", "days", "a port without a needle goes between flushes", _RMM, _AA_ADULT, _RCHT),
    _most(
        "maintenance_flush_days",
        "28",
        "days",
        "a port goes after discharge until the next maintenance flush",
        _RMM,
        _AA_ADULT,
        _RCHT,
    ),
    _most(
        "accessed_idle_flush_hours",
        "24",
        "hours",
        "an accessed port that is not in use goes between flushes",
        _c("infusion-forum", "R2"),
    ),
    _least(
        "post_implant_tender_hours",
        "72",
        "hours",
        "a new port is expected to be swollen or tender",
        _c("port-procedures-page", "R"),
    ),
    _least("post_implant_child_days", "7", "days", "a child's new port is left before its first access", _AA_CHILD),
)

_NEEDLE: Final[tuple[Row, ...]] = (
    _least("needle_gauge_min", "19", "gauge", "the gauge number of a non-coring needle is", _RMM, low="10", high="34"),
    _most("needle_gauge_max", "24", "gauge", "the gauge number of a non-coring needle is", _RMM, low="10", high="34"),
    _least("needle_length_min_mm", "6.5", "mm", "a non-coring needle is long", _RMM, low="3", high="60"),
    _most("needle_length_max_mm", "38.1", "mm", "a non-coring needle is long", _USHOSP, low="3", high="60"),
    _most(
        "blood_product_gauge_adult",
        "20",
        "gauge",
        "the gauge number of a needle for blood products in an adult is",
        _c("us-hospitals", "M-M"),
        low="10",
        high="34",
    ),
    _most(
        "blood_product_gauge_child",
        "22",
        "gauge",
        "the gauge number of a needle for blood products in a child is",
        _c("us-hospitals", "M-M"),
        low="10",
        high="34",
    ),
    _most("needle_attempts", "2", "attempts", "one nurse tries to enter the port", _CP),
    _most(
        "power_rate_ml_per_s",
        "5",
        "mL per second",
        "a power injection through a rated 19 or 20 gauge needle runs",
        _c("power-ifu", "R"),
        high="10",
    ),
    _most(
        "power_rate_22_gauge_ml_per_s",
        "2",
        "mL per second",
        "a power injection through a rated 22 gauge needle runs",
        _c("power-ifu", "M-M"),
        high="10",
    ),
    _most(
        "power_gauge_full_rate",
        "20",
        "gauge",
        "the gauge number of a needle for the full power injection rate is",
        _c("power-ifu", "R"),
        low="10",
        high="34",
    ),
    _most(
        "power_gauge_max",
        "22",
        "gauge",
        "the gauge number of a needle for any power injection is",
        _c("power-ifu-table", "R"),
        low="10",
        high="34",
    ),
    _most(
        "power_pressure_psi",
        "300",
        "psi",
        "the injector pressure is, unless the port's label says otherwise",
        _c("power-ifu-pressure", "R"),
        low="50",
        high="400",
    ),
    _least(
        "power_test_flush_ml",
        "10",
        "mL",
        "the saline flush before a power injection is",
        _c("power-ifu-table", "R"),
    ),
)

_ANTISEPSIS: Final[tuple[Row, ...]] = (
    _least("chg_scrub_dry_site_s", "30", "seconds", "chlorhexidine in alcohol is scrubbed on a dry site", _SWAB, _NSH),
    _least("chg_scrub_moist_site_s", "120", "seconds", "chlorhexidine in alcohol is scrubbed on a moist site", _SWAB),
    _least("chg_dry_dry_site_s", "30", "seconds", "chlorhexidine in alcohol dries on a dry site", _SWAB),
    _least("chg_dry_moist_site_s", "60", "seconds", "chlorhexidine in alcohol dries on a moist site", _SWAB),
    _least(
        "povidone_iodine_dry_s", "120", "seconds", "povidone-iodine stays on the skin to dry", _c("ins-2016", "M-H")
    ),
    _least("isopropyl_scrub_s", "60", "seconds", "70% isopropyl alcohol is rubbed on the skin", _NSH),
    _least("isopropyl_dry_s", "30", "seconds", "70% isopropyl alcohol dries", _NSH),
    _least("skin_friction_s", "60", "seconds", "the skin is prepared with friction", _CP),
    _least(
        "hub_scrub_s",
        "5",
        "seconds",
        "a needleless connector is scrubbed with friction",
        _INS2021,
        _c("shea-2022", "M-H"),
    ),
    _least(
        "hub_scrub_strict_s",
        "15",
        "seconds",
        "a needleless connector is scrubbed, by the stricter source",
        _c("epic3", "M-H"),
    ),
    _least(
        "chg_age_months",
        "2",
        "months",
        "a patient is old for chlorhexidine on the skin",
        _CDC2011,
        _c("chg-applicator-label", "M-H"),
        low="1",
    ),
    _least("chg_weight_g", "1000", "g", "a newborn weighs for chlorhexidine on the skin", _c("home-infusion", "R")),
    _least(
        "chg_dressing_adult_years",
        "18",
        "years",
        "a patient is old for a recommended chlorhexidine dressing",
        _c("cdc-2017", "R", "rec 1.a"),
    ),
    _least(
        "chg_dressing_months",
        "2",
        "months",
        "a patient is old for any chlorhexidine dressing",
        _c("shea-2022", "M-H"),
        low="1",
    ),
    _most("neonate_days", "28", "days", "a patient is old and still counted as newborn", _CP),
    _most("infant_months", "12", "months", "a patient is old and still counted as an infant", _CP, low="1"),
    _least("adult_years", "18", "years", "a patient is old to be counted as an adult", _CP, low="12", high="21"),
)

_ANESTHESIA: Final[tuple[Row, ...]] = (
    _least("cream_contact_minutes", "60", "minutes", "lidocaine 2.5% and prilocaine 2.5% cream stays on", _CREAM),
    _most("cream_effect_hours", "2", "hours", "numbness lasts after the cream is removed", _CREAM),
    _exact("cream_adult_g", "2.5", "g", "lidocaine 2.5% and prilocaine 2.5% cream for an adult is", _CREAM),
    _most("cream_adult_area_cm2", "25", "square cm", "the cream of an adult covers", _CREAM),
    _least("cream_adult_area_min_cm2", "20", "square cm", "the cream of an adult covers", _CREAM),
    _most("cream_under_3_months_g", "1", "g", "cream under 3 months of age or under 5 kg is", _CREAM_CHILD),
    _most(
        "cream_under_3_months_cm2", "10", "square cm", "cream under 3 months of age or under 5 kg covers", _CREAM_CHILD
    ),
    _most(
        "cream_under_3_months_hours", "1", "hours", "cream under 3 months of age or under 5 kg stays on", _CREAM_CHILD
    ),
    _most("cream_3_to_12_months_g", "2", "g", "cream at 3 to 12 months of age and over 5 kg is", _CREAM_CHILD),
    _most(
        "cream_3_to_12_months_cm2",
        "20",
        "square cm",
        "cream at 3 to 12 months of age and over 5 kg covers",
        _CREAM_CHILD,
    ),
    _most(
        "cream_3_to_12_months_hours",
        "4",
        "hours",
        "cream at 3 to 12 months of age and over 5 kg stays on",
        _CREAM_CHILD,
    ),
    _least(
        "cream_3_to_12_months_kg",
        "5",
        "kg",
        "a child weighs more than this for the row of 3 to 12 months,",
        _CREAM_CHILD,
    ),
    _most("cream_1_to_6_years_g", "10", "g", "cream at 1 to 6 years of age and over 10 kg is", _CREAM_CHILD),
    _most(
        "cream_1_to_6_years_cm2", "100", "square cm", "cream at 1 to 6 years of age and over 10 kg covers", _CREAM_CHILD
    ),
    _most(
        "cream_1_to_6_years_hours", "4", "hours", "cream at 1 to 6 years of age and over 10 kg stays on", _CREAM_CHILD
    ),
    _least(
        "cream_1_to_6_years_kg", "10", "kg", "a child weighs more than this for the row of 1 to 6 years,", _CREAM_CHILD
    ),
    _most("cream_7_to_12_years_g", "20", "g", "cream at 7 to 12 years of age and over 20 kg is", _CREAM_CHILD),
    _most(
        "cream_7_to_12_years_cm2",
        "200",
        "square cm",
        "cream at 7 to 12 years of age and over 20 kg covers",
        _CREAM_CHILD,
    ),
    _most(
        "cream_7_to_12_years_hours", "4", "hours", "cream at 7 to 12 years of age and over 20 kg stays on", _CREAM_CHILD
    ),
    _least(
        "cream_7_to_12_years_kg",
        "20",
        "kg",
        "a child weighs more than this for the row of 7 to 12 years,",
        _CREAM_CHILD,
    ),
    _least(
        "lidocaine_4_contact_minutes", "30", "minutes", "lidocaine 4% cream stays on", _c("lidocaine-4-label", "M-H")
    ),
    _most(
        "spray_to_needle_s", "60", "seconds", "the needle follows the cold spray within", _c("vapocoolant-label", "M-M")
    ),
    _most("intradermal_lidocaine_ml", "0.3", "mL", "1% lidocaine into the skin is", _c("us-hospitals", "M-M")),
)

_FLUSH: Final[tuple[Row, ...]] = (
    _least(
        "syringe_ml",
        "10",
        "mL",
        "the barrel of a syringe on a line not yet proved holds",
        _RMM,
        _AA_ADULT,
        low="3",
        high="60",
    ),
    _least(
        "discard_adult_ml",
        "5",
        "mL",
        "the first aspirate discarded from an adult is",
        _CP,
        _c("ayrshire-arran-adult", "R"),
    ),
    _most("discard_adult_max_ml", "10", "mL", "the first aspirate discarded from an adult is", _AA_ADULT),
    _least("discard_child_ml", "3", "mL", "the first aspirate discarded from a child is", _c("us-hospitals", "M-M")),
    _most("discard_child_max_ml", "5", "mL", "the first aspirate discarded from a child is", _c("us-hospitals", "M-M")),
    _least(
        "flush_volume_factor",
        "2",
        "times",
        "a flush, against the volume of catheter and add-ons, is",
        _INS2021,
        low="1",
        high="20",
    ),
    _exact(
        "lock_volume_factor",
        "1.2",
        "times",
        "a lock, against the volume of catheter and add-ons, is",
        _INS2021,
        low="1",
        high="3",
    ),
    _least("flush_ml", "10", "mL", "a flush is", _INS2021),
    _least("flush_after_blood_ml", "20", "mL", "a flush after blood or a thick fluid is", _INS2021),
    _least("flush_child_ml", "5", "mL", "a child's daily flush is", _AA_CHILD),
    _least("flush_child_after_use_ml", "10", "mL", "a child's flush after each use is", _AA_CHILD),
    _exact(
        "heparin_lock_strength_units_per_ml",
        "100",
        "units per mL",
        "heparin for a lock is",
        _c("heparin-lock-approval", "R"),
        low="10",
        high="100",
    ),
    _exact(
        "heparin_lock_low_strength_units_per_ml",
        "10",
        "units per mL",
        "weak heparin for a lock is",
        _c("heparin-lock-approval", "R"),
        _RCHT,
        low="10",
        high="100",
    ),
    _exact("heparin_lock_ml", "5", "mL", "a usual heparin lock is", _AA_ADULT, _RMM),
    _least("heparin_lock_min_ml", "3", "mL", "a heparin lock is", _AA_CHILD),
    _most("heparin_lock_max_ml", "6", "mL", "a heparin lock is", _RCHT),
    _most("heparin_lock_max_units", "600", "units", "a heparin lock holds", _RCHT),
    _most("heparin_lock_child_units", "300", "units", "a child's heparin lock holds", _AA_CHILD),
    _most(
        "bacteriostatic_saline_ml_per_day",
        "30",
        "mL",
        "saline with a preservative in 24 hours is, for an adult",
        _INS2021,
    ),
)

_THROMBOLYTIC: Final[tuple[Row, ...]] = (
    _least("alteplase_full_dose_kg", "30", "kg", "a patient weighs for the full alteplase dose", _DOSING, _SMPC),
    _exact("alteplase_dose_mg", "2", "mg", "the full alteplase dose is", _DOSING, _SMPC, low="1"),
    _exact("alteplase_mg_per_ml", "1", "mg per mL", "alteplase for catheter clearance is", _DOSING),
    _exact(
        "alteplase_lumen_factor",
        "1.1",
        "times",
        "the dose under the full-dose weight, against the lumen's volume, is",
        _DOSING,
        _SMPC,
        low="1",
        high="1.5",
    ),
    _most("alteplase_single_max_mg", "2", "mg", "one alteplase dose is", _ALT_LABEL, _SMPC),
    _most("alteplase_single_max_ml", "2", "mL", "one alteplase dose is, before further dilution", _DOSING, _SMPC),
    _exact(
        "alteplase_measure_step_ml",
        "0.1",
        "mL",
        "the step in which a dose by lumen volume is measured",
        _CP,
        high="0.5",
    ),
    _most("alteplase_doses", "2", "doses", "one occlusion is treated with", _ALT_LABEL, high="4"),
    _most("alteplase_total_mg", "4", "mg", "the doses for one occlusion add up to", _ALT_LABEL),
    _exact(
        "alteplase_first_check_minutes",
        "30",
        "minutes",
        "a dwelling dose is first checked after",
        _c("alteplase-label", "M-H"),
    ),
    _exact("alteplase_second_check_minutes", "120", "minutes", "a dwelling dose is checked again after", _ALT_LABEL),
    _least(
        "alteplase_second_dose_minutes", "120", "minutes", "the first dose dwells before a second is given", _ALT_LABEL
    ),
    _most("alteplase_use_within_hours", "8", "hours", "mixed alteplase is kept", _ALT_LABEL, _SMPC),
    _least(
        "alteplase_withdraw_ml",
        "4",
        "mL",
        "the withdrawal after success at the full-dose weight is",
        _c("alteplase-label", "M-H"),
    ),
    _most(
        "alteplase_withdraw_max_ml",
        "5",
        "mL",
        "the withdrawal after success at the full-dose weight is",
        _c("alteplase-label", "M-H"),
    ),
    _exact(
        "alteplase_withdraw_child_ml",
        "3",
        "mL",
        "the withdrawal after success under the full-dose weight is",
        _c("alteplase-label", "M-H"),
    ),
    _least(
        "alteplase_withdraw_child_kg",
        "10",
        "kg",
        "a patient weighs for the smaller withdrawal to be stated",
        _c("alteplase-label", "M-H"),
    ),
)

_SCALES: Final[tuple[Row, ...]] = (
    _least("severe_pain_points", "7", "points", "a pain score that is called severe is", _CP, low="4", high="10"),
    _most("phlebitis_grade", "4", "points", "an INS phlebitis grade is", _c("ins-phlebitis", "R")),
    _most("vip_score", "5", "points", "a visual phlebitis score is", _c("vip-score", "M-H")),
    _most(
        "vip_act_below",
        "1",
        "points",
        "a visual phlebitis score that needs no action is",
        _c("vip-score", "M-H"),
        high="4",
    ),
    _most("infiltration_grade", "4", "points", "an INS infiltration grade is", _c("ins-infiltration", "M-H")),
    _most("ctcae_grade", "5", "points", "a CTCAE grade is", _c("ctcae-5", "M-H")),
    _most("pinch_off_grade", "3", "points", "a pinch-off grade is", _c("hinke-1990", "R")),
)

_RECORD: Final[tuple[Row, ...]] = (
    _least(
        "patient_identifiers",
        "2",
        "identifiers",
        "a patient is identified by",
        _c("npsg-01-01-01", "R2", "EP 1"),
        high="4",
    ),
    _most("late_entry_hours", "12", "hours", "an entry is made after the event without being a late entry", _CP),
    _most("shift_hours", "12", "hours", "a shift lasts", _CP, high="24"),
    _most("left_list_days", "7", "days", "a patient who left stays on the handoff sheet for", _CP, high="60"),
    _most("reaction_after_flush_hours", "6", "hours", "fever or chills are put down to a flush or start within", _CP),
    _most("wound_reaction_hours", "72", "hours", "redness and swelling belong to the implantation for", _CP),
    _most("clock_slack_minutes", "5", "minutes", "two clocks of one ward differ", _CP, high="60"),
    _most("needle_change_minutes", "60", "minutes", "the new needle of a needle change follows the removal after", _CP),
    _most("plausible_age_years", "120", "years", "a patient is old", _CP, low="100", high="150"),
    _least("plausible_adult_kg", "20", "kg", "an adult weighs", _CP, low="10", high="40"),
    _most("plausible_weight_kg", "400", "kg", "a patient weighs", _CP, low="200", high="700"),
    _most("plausible_infant_kg", "20", "kg", "a child under one year weighs", _CP, low="10", high="40"),
)

_SURVEILLANCE: Final[tuple[Row, ...]] = (
    _least(
        "line_day_eligible",
        "3",
        "line days",
        "a central line counts for a bloodstream infection from",
        _c("icmr", "R"),
        _c("nhsn-4", "M-H"),
        high="7",
    ),
    _most(
        "window_days_after_removal",
        "1",
        "days",
        "an infection counts after removal or discharge for",
        _c("nhsn-faq", "R"),
        high="7",
    ),
    _exact(
        "infection_window_days_before",
        "3",
        "days",
        "the infection window opens before the first positive test by",
        _c("nhsn-slides", "R"),
        high="14",
    ),
    _exact(
        "infection_window_days_after",
        "3",
        "days",
        "the infection window closes after the first positive test by",
        _c("nhsn-slides", "R"),
        high="14",
    ),
    _exact("repeat_infection_days", "14", "days", "the repeat infection timeframe lasts", _c("nhsn-2", "M-H")),
    _least(
        "hospital_onset_day",
        "3",
        "hospital days",
        "an infection counts as hospital onset from",
        _c("poa-worksheet", "R2"),
        _c("nhsn-2", "M-H"),
        high="7",
    ),
    _most(
        "transfer_days",
        "1",
        "days",
        "an infection counts for the sending unit after a transfer for",
        _c("nhsn-4", "M-H"),
        high="7",
    ),
    _exact("rate_per_line_days", "1000", "line days", "a rate is given per", _c("nhsn-table", "R")),
    _most(
        "utilisation_ratio",
        "1",
        "line days per patient day",
        "a utilisation ratio is",
        _c("nhsn-table", "D"),
        low="1",
        high="1",
    ),
)

_OPTIONS: Final[tuple[Row, ...]] = (
    _choice(
        "interval_counting",
        "hour | calendar day",
        "whether an interval ends by the hour or at the end of its last day",
        _CP,
        ordered=True,
    ),
    _choice(
        "hold_ends_with",
        "evaluation | evaluation, new access or treatment | evaluation or blood return",
        "what ends a hold for no blood return, blood return not proven, or resistance",
        _CP,
        value="evaluation, new access or treatment",
        ordered=True,
    ),
    _choice(
        "sluggish_return_holds",
        "yes | no",
        "whether sluggish blood return puts a line on hold",
        _CP,
        value="no",
        ordered=True,
    ),
    _choice(
        "redness_and_tenderness_holds",
        "yes | no",
        "whether redness together with tenderness puts a line on hold",
        _CP,
        ordered=True,
    ),
    Words(
        "roles_that_may_clear",
        "MD, DO, physician, NP, PA, APRN, CRNP, VA-BC, vascular access specialist",
        "the roles whose evaluation may end a hold",
        (_CP,),
    ),
    Words("shift_starts", "", "when the unit's shifts begin", (_CP,), times=True),
    _choice(
        "anesthetic_spray_order",
        "before antisepsis | sterile spray after antisepsis",
        "when cold spray is used",
        _CP,
        ordered=True,
    ),
    _choice("gloves", "sterile | any", "gloves at access", _c("open-rn", "R")),
    _choice(
        "chg_dressing_ages",
        "adults | over 2 months | any",
        "whom a chlorhexidine dressing is for",
        _c("cdc-2017", "R", "rec 1.a"),
        ordered=True,
    ),
    _choice(
        "chg_disc_expected", "yes | no", "whether a chlorhexidine disc is expected at every access", _CP, ordered=True
    ),
    _choice(
        "disinfecting_cap_expected",
        "yes | no",
        "whether a disinfecting cap is expected on every connector",
        _CP,
        ordered=True,
    ),
    _choice(
        "order_reference_required",
        "yes | no",
        "whether access, de-access, flush and patency treatment name an order or protocol",
        _c("us-hospital-2008", "R"),
        _c("open-rn", "R"),
        ordered=True,
    ),
    _choice(
        "scale_score_required",
        "yes | no",
        "whether a phlebitis or infiltration score is charted",
        _RCHT,
        value="no",
        ordered=True,
    ),
    _choice(
        "needle_lot_required",
        "yes | no",
        "whether the needle's lot and expiry are charted",
        _c("ins-2021", "M-H"),
        value="no",
        ordered=True,
    ),
    _choice(
        "verifier_required", "yes | no", "whether a nurse new to the procedure names a verifier", _CP, ordered=True
    ),
    _choice("saline_lock_accepted", "yes | no", "whether a lock of saline alone is accepted", _c("wu-2021", "R")),
    _choice(
        "catheter_volume_required",
        "yes | no",
        "whether the volume of catheter and add-ons is charted",
        _CP,
        value="no",
        ordered=True,
    ),
    _choice("flush_counts_as_access", "yes | no", "whether a flush starts the count of line days", _c("nhsn-4", "M-H")),
    _choice(
        "procedural_access_counts",
        "yes | no",
        "whether access in an operating or imaging room while an inpatient counts",
        _c("nhsn-faq", "M-L"),
    ),
    _choice(
        "arrival_in_use_counts",
        "yes | no",
        "whether a needle in use on arrival starts the count that day",
        _c("nhsn-4", "D"),
    ),
    _choice(
        "arrival_unused_counts",
        "no | yes",
        "whether a needle that is in but unused on arrival starts the count",
        _c("nhsn-4", "M-L"),
    ),
    _choice(
        "denominator_counts",
        "every line in the body | from first access",
        "which lines count as device days",
        _c("nhsn-4", "M-M"),
    ),
    Clock("denominator_time", "23:59", "the time of day at which lines are counted", (_CP,)),
)

ROWS: Final[tuple[Row, ...]] = (
    *_DWELL,
    *_NEEDLE,
    *_ANTISEPSIS,
    *_ANESTHESIA,
    *_FLUSH,
    *_THROMBOLYTIC,
    *_SCALES,
    *_RECORD,
    *_SURVEILLANCE,
    *_OPTIONS,
)
"""Every limit, option and time of day, in the order in which they are printed."""

RISING: Final[tuple[tuple[str, str], ...]] = (
    ("needle_gauge_min", "needle_gauge_max"),
    ("needle_length_min_mm", "needle_length_max_mm"),
    ("power_gauge_full_rate", "power_gauge_max"),
    ("power_rate_22_gauge_ml_per_s", "power_rate_ml_per_s"),
    ("cream_adult_area_min_cm2", "cream_adult_area_cm2"),
    ("discard_adult_ml", "discard_adult_max_ml"),
    ("discard_child_ml", "discard_child_max_ml"),
    ("heparin_lock_min_ml", "heparin_lock_ml"),
    ("heparin_lock_ml", "heparin_lock_max_ml"),
    ("heparin_lock_low_strength_units_per_ml", "heparin_lock_strength_units_per_ml"),
    ("alteplase_dose_mg", "alteplase_single_max_mg"),
    ("alteplase_single_max_mg", "alteplase_total_mg"),
    ("alteplase_first_check_minutes", "alteplase_second_check_minutes"),
    ("alteplase_withdraw_ml", "alteplase_withdraw_max_ml"),
)
"""Pairs of limits that contradict each other when the first is above the second."""
