"""The table of limits: every number and named option that the checks, due times and amounts use, with its source.

To add a limit, add one row to the table that it belongs to. A name ends with its unit; ``policy.py`` hands the values
out and lets a facility replace them. ``RETIRED`` names what policies of earlier versions may still set.
"""

# ruff: noqa: E501 -- one limit to a row, so that the tables can be read and checked as tables

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import ROUND_CEILING, Decimal
from types import MappingProxyType
from typing import Any, Final, Literal, NamedTuple, get_args

from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation

Bound = Literal["at most", "at least", "exactly"]
"""Which side of a limit is allowed."""


class Limit(NamedTuple):
    """A number with its unit. ``says`` is what is limited, as it reads before ": at most 7 days".

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


class Choice(NamedTuple):
    """A named option. If ``ordered``, ``options`` are listed strictest first, so a later one is looser."""

    name: str
    value: str
    options: tuple[str, ...]
    says: str
    citations: tuple[Citation, ...]
    ordered: bool = False


class Clock(NamedTuple):
    """A time of day, "HH:MM" in the stay's own zone."""

    name: str
    value: str
    says: str
    citations: tuple[Citation, ...]


class Words(NamedTuple):
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
    {"days", "months", "years", "gauge", "attempts", "doses", "points", "identifiers", "line days", "hospital days"}
)
"""Units of which only whole numbers make sense."""

# name | limit | what is limited | sources, each with its mark and place | range that a policy may set, if not the usual
_NUMBERS: Final = """
# Time in place
needle_dwell_days          | at most 7 days    | needle in place | royal-marsden R ch. 17; us-hospital-2008 R2 app. L; ins-2021 M-H
transparent_dressing_days  | at most 7 days    | transparent dressing in place | ahrq-ch42 R table 3; cdc-2011 M-H
gauze_dressing_days        | at most 2 days    | dressing with gauze over the site in place | ahrq-ch42 R table 3; cdc-2011 M-H
gauze_under_wings_days     | at most 7 days    | transparent dressing with gauze only under the needle's wings and the site in view, in place | ins-2021 M-M
chg_dressing_days          | at most 7 days    | chlorhexidine disc or dressing in place, changed with the dressing | ahrq-ch42 D table 3
line_check_hours           | at most 12 hours  | time between two looks at an accessed port | common-practice CP
line_check_slack_minutes   | at most 60 minutes | tolerance of the time between two looks at an accessed port | common-practice CP
failed_dressing_hours      | at most 4 hours   | time from finding a dressing damp, soiled, loose or missing to its change | common-practice CP
unknown_age_hours          | at most 24 hours  | time that a needle or dressing of unknown age stays after the arrival | common-practice CP
idle_flush_days            | at most 28 days   | flush interval without a needle | royal-marsden R ch. 17; ayrshire-arran-adult R; royal-cornwall R2
maintenance_flush_days     | at most 28 days   | time from discharge to the next maintenance flush | royal-marsden R ch. 17; ayrshire-arran-adult R; royal-cornwall R2
accessed_idle_flush_hours  | at most 24 hours  | time between flushes of an accessed port that is not in use: a reminder, where policy sets one | infusion-forum M-L | 1..336
post_implant_tender_hours  | at least 72 hours | time in which swelling, tenderness and redness after implantation are expected | port-procedures-page R2
post_implant_child_days    | at least 7 days   | time before the first access of a child's new port | ayrshire-arran-child R
reaction_after_flush_hours | at most 4 hours   | time in which fever or chills count as following a flush or start | common-practice CP

# Needle and power injection
needle_gauge_min           | at least 19 gauge | needle gauge number | royal-marsden R ch. 17 | 10..34
needle_gauge_max           | at most 24 gauge  | needle gauge number | royal-marsden R ch. 17 | 10..34
needle_length_min_mm       | at least 6.35 mm  | needle length | royal-marsden R ch. 17, rounded up from 1/4 inch | 3..60
needle_length_max_mm       | at most 38.1 mm   | needle length | us-hospital-2008 R2 app. L | 3..60
needle_attempts            | at most 2 attempts | attempts per nurse | common-practice CP
power_rate_ml_per_s        | at most 5 mL per second | power injection rate, rated 19 or 20 gauge needle | power-ifu R2 | 0.25..10
power_rate_22_gauge_ml_per_s | at most 2 mL per second | power injection rate, rated 22 gauge needle | power-ifu M-M | 0.1..10
power_gauge_full_rate      | at most 20 gauge  | needle gauge number for the full power injection rate | power-ifu R2 | 10..34
power_gauge_max            | at most 22 gauge  | needle gauge number for any power injection | power-ifu-table R2 | 10..34
power_pressure_psi         | at most 300 psi   | injector pressure, unless the labels say otherwise | power-ifu-pressure R2 | 50..400
power_test_flush_ml        | at least 10 mL    | saline flush before a power injection | power-ifu-table R2

# Skin antisepsis
chg_scrub_dry_site_s       | at least 30 seconds  | friction with chlorhexidine in alcohol, dry site | chg-swab-label R; nova-scotia R
chg_scrub_moist_site_s     | at least 120 seconds | friction with chlorhexidine in alcohol, moist site | chg-swab-label R
chg_dry_dry_site_s         | at least 30 seconds  | drying of chlorhexidine in alcohol, dry site | chg-swab-label R
chg_dry_moist_site_s       | at least 60 seconds  | drying of chlorhexidine in alcohol, moist site | chg-swab-label R
povidone_iodine_dry_s      | at least 120 seconds | drying of povidone-iodine | ins-2016 M-H
isopropyl_scrub_s          | at least 60 seconds  | friction with 70% isopropyl alcohol | nova-scotia R
isopropyl_dry_s            | at least 30 seconds  | drying of 70% isopropyl alcohol | nova-scotia R
skin_friction_s            | at least 60 seconds  | friction with any other antiseptic | common-practice CP
hub_scrub_s                | at least 5 seconds   | friction on the needleless connector | ins-2021 M-H; shea-2022 M-H
hub_scrub_strict_s         | at least 15 seconds  | friction on the needleless connector, by the stricter source | epic3 M-H
chg_age_months             | at least 2 months    | age for chlorhexidine on the skin | cdc-2011 M-H; chg-applicator-label M-H | 1..40
chg_weight_g               | at least 1000 g      | weight of a newborn for chlorhexidine on the skin | home-infusion R2
chg_dressing_months        | at least 2 months    | age for a chlorhexidine disc or dressing | shea-2022 M-H | 1..40
chg_dressing_adult_years   | at least 18 years    | age for a chlorhexidine disc or dressing, where policy asks for adults only | cdc-2017 D rec 1.a, written for short-term lines

# Ages
neonate_days               | at most 28 days      | age of a newborn | common-practice CP
infant_months              | at most 12 months    | age of an infant | common-practice CP | 1..240
adult_years                | at least 18 years    | age of an adult | common-practice CP | 12..21
heparin_child_years        | at most 12 years     | age of a child, for the amount of heparin | common-practice CP | 1..21
heparin_child_kg           | at most 40 kg        | weight of a child, for the amount of heparin | common-practice CP
heparin_small_child_kg     | at most 10 kg        | weight at which 100 units per mL is asked about | common-practice CP

# Local anesthesia
cream_contact_minutes      | at least 60 minutes  | contact time of lidocaine 2.5% with prilocaine 2.5% cream | cream-label R2 adult, venous access
cream_effect_hours         | at most 2 hours      | numbness after the cream is removed | cream-label R2 adult, venous access
cream_adult_g              | exactly 2.5 g        | cream for an adult | cream-label R2 adult, venous access
cream_adult_area_cm2       | at most 25 square cm | area of the cream, adult | cream-label R2 adult, venous access
cream_adult_area_min_cm2   | at least 20 square cm | area of the cream, adult | cream-label R2 adult, venous access
cream_under_3_months_g     | at most 1 g          | cream, under 3 months of age or under 5 kg | cream-label R2 table of maxima
cream_under_3_months_cm2   | at most 10 square cm | area of the cream, under 3 months of age or under 5 kg | cream-label R2 table of maxima
cream_under_3_months_hours | at most 1 hours      | contact time of the cream, under 3 months of age or under 5 kg | cream-label R2 table of maxima
cream_3_to_12_months_g     | at most 2 g          | cream, 3 to 12 months of age and over 5 kg | cream-label R2 table of maxima
cream_3_to_12_months_cm2   | at most 20 square cm | area of the cream, 3 to 12 months of age and over 5 kg | cream-label R2 table of maxima
cream_3_to_12_months_hours | at most 4 hours      | contact time of the cream, 3 to 12 months of age and over 5 kg | cream-label R2 table of maxima
cream_3_to_12_months_kg    | at least 5 kg        | weight above which the row of 3 to 12 months applies | cream-label R2 table of maxima
cream_1_to_6_years_g       | at most 10 g         | cream, 1 to 6 years of age and over 10 kg | cream-label R2 table of maxima
cream_1_to_6_years_cm2     | at most 100 square cm | area of the cream, 1 to 6 years of age and over 10 kg | cream-label R2 table of maxima
cream_1_to_6_years_hours   | at most 4 hours      | contact time of the cream, 1 to 6 years of age and over 10 kg | cream-label R2 table of maxima
cream_1_to_6_years_kg      | at least 10 kg       | weight above which the row of 1 to 6 years applies | cream-label R2 table of maxima
cream_7_to_12_years_g      | at most 20 g         | cream, 7 to 12 years of age and over 20 kg | cream-label R2 table of maxima
cream_7_to_12_years_cm2    | at most 200 square cm | area of the cream, 7 to 12 years of age and over 20 kg | cream-label R2 table of maxima
cream_7_to_12_years_hours  | at most 4 hours      | contact time of the cream, 7 to 12 years of age and over 20 kg | cream-label R2 table of maxima
cream_7_to_12_years_kg     | at least 20 kg       | weight above which the row of 7 to 12 years applies | cream-label R2 table of maxima
lidocaine_4_contact_minutes | at least 30 minutes | contact time of lidocaine 4% cream | lidocaine-4-label M-H
spray_to_needle_s          | at most 60 seconds   | time from cold spray to the needle | vapocoolant-label M-M
intradermal_lidocaine_ml   | at most 0.3 mL       | lidocaine 1% into the skin | us-hospitals M-M

# Discard, flush, lock
syringe_ml                 | at least 10 mL       | syringe on a line not yet proven, by its size or by the width of its barrel | royal-marsden R ch. 17; ayrshire-arran-adult R | 3..60
discard_adult_ml           | at least 5 mL        | first aspirate discarded, adult | ayrshire-arran-adult R; common-practice CP
discard_adult_max_ml       | at most 10 mL        | first aspirate discarded, adult | ayrshire-arran-adult R
discard_child_ml           | at least 3 mL        | first aspirate discarded, child | us-hospitals M-M
discard_child_max_ml       | at most 5 mL         | first aspirate discarded, child | us-hospitals M-M
discard_small_child_kg     | at most 10 kg        | weight of a child whose first aspirate goes by the volume of the line | common-practice CP
discard_volume_factor      | at least 2 times     | first aspirate against the internal volume of the line, small child | ins-2021 M-M
flush_volume_factor        | at least 2 times     | flush against the volume of catheter and add-ons | ins-2021 M-H | 1..20
lock_volume_factor         | exactly 1.2 times    | lock against the volume of catheter and add-ons | ins-2021 M-H | 1..3
flush_ml                   | at least 10 mL       | flush, adult | ins-2021 M-H
flush_after_blood_ml       | at least 20 mL       | flush after blood or a thick fluid, adult | ins-2021 M-H
flush_child_ml             | at least 5 mL        | daily flush, child | ayrshire-arran-child R
flush_child_after_use_ml   | at least 10 mL       | flush after use, child | ayrshire-arran-child R
heparin_lock_strength_units_per_ml | exactly 100 units per mL | heparin lock strength | heparin-lock-approval R2 | 10..100
heparin_lock_low_strength_units_per_ml | exactly 10 units per mL | weak heparin lock strength | heparin-lock-approval R2; royal-cornwall R2 | 10..100
heparin_lock_ml            | exactly 5 mL         | usual heparin lock | ayrshire-arran-adult R; royal-marsden R ch. 17
heparin_lock_min_ml        | at least 3 mL        | heparin lock | ayrshire-arran-child R
heparin_lock_max_ml        | at most 6 mL         | heparin lock | royal-cornwall R2
heparin_lock_max_units     | at most 600 units    | heparin in a lock | royal-cornwall R2
heparin_lock_child_units   | at most 300 units    | heparin in a child's lock, unless policy goes by weight | ayrshire-arran-child R
bacteriostatic_saline_ml_per_day | at most 30 mL  | saline with a preservative in 24 hours, adult | ins-2021 M-H

# Thrombolytic
alteplase_full_dose_kg     | at least 30 kg       | weight for the full alteplase dose | alteplase-dosing R; alteplase-smpc R
alteplase_dose_mg          | exactly 2 mg         | full alteplase dose | alteplase-dosing R; alteplase-smpc R | 1..40
alteplase_mg_per_ml        | exactly 1 mg per mL  | alteplase for catheter clearance | alteplase-dosing R
alteplase_lumen_factor     | exactly 1.1 times    | alteplase dose under the full-dose weight, against the internal volume of the lumen | alteplase-dosing R; alteplase-smpc R | 1..1.5
alteplase_single_max_mg    | at most 2 mg         | one alteplase dose | alteplase-label R; alteplase-smpc R
alteplase_single_max_ml    | at most 2 mL         | volume of one alteplase dose, before further dilution | alteplase-dosing R; alteplase-smpc R
alteplase_measure_step_ml  | exactly 0.1 mL       | step in which a dose by lumen volume is measured | common-practice CP | 0.005..0.5
alteplase_doses            | at most 2 doses      | alteplase for one occlusion | alteplase-label R | 1..4
alteplase_total_mg         | at most 4 mg         | alteplase doses for one occlusion, added up | alteplase-label R
alteplase_first_check_minutes | exactly 30 minutes | first look at a dwelling dose | alteplase-giving R
alteplase_second_check_minutes | exactly 120 minutes | second look at a dwelling dose | alteplase-giving R
alteplase_second_dose_minutes | at least 120 minutes | dwell of the first dose before a second | alteplase-label R
alteplase_use_within_hours | at most 8 hours      | mixed alteplase kept before use | alteplase-label R; alteplase-smpc R
alteplase_withdraw_ml      | at least 4 mL        | withdrawal after success, from the weight for it | alteplase-giving R
alteplase_withdraw_max_ml  | at most 5 mL         | withdrawal after success, from the weight for it | alteplase-giving R
alteplase_withdraw_child_ml | exactly 3 mL        | withdrawal after success, under the weight for 4 to 5 mL | alteplase-giving R
alteplase_withdraw_child_kg      | at least 10 kg       | weight for a withdrawal of 4 to 5 mL | alteplase-giving R

# Scales
severe_pain_points         | at least 7 points    | pain score that is called severe | common-practice CP | 4..10
phlebitis_grade            | at most 4 points     | INS phlebitis grade | ins-phlebitis R2
vip_score                  | at most 5 points     | visual phlebitis score | vip-score M-H
vip_act_below              | at most 1 points     | visual phlebitis score that needs no action | vip-score M-H | 1..4
infiltration_grade         | at most 4 points     | INS infiltration grade | ins-infiltration M-H
ctcae_grade                | at most 5 points     | CTCAE grade | ctcae-5 M-H
pinch_off_grade            | at most 3 points     | pinch-off grade | hinke-1990 R2

# The record
patient_identifiers        | at least 2 identifiers | identifiers compared | npsg-01-01-01 R2 EP 1 | 1..4
late_entry_hours           | at most 12 hours     | time from event to entry without a mark as late entry | common-practice CP
shift_hours                | at most 12 hours     | length of a shift | common-practice CP | 1..24
left_list_days             | at most 7 days       | time for which a patient who left stays on the handoff sheet | common-practice CP | 1..60
clock_slack_minutes        | at most 5 minutes    | difference between two clocks | common-practice CP | 1..60
needle_change_minutes      | at most 60 minutes   | time from removal to the new needle of a needle change, or from needle in to needle out of one visit | common-practice CP
plausible_age_years        | at most 120 years    | plausible age | common-practice CP | 100..150
plausible_adult_kg         | at least 20 kg       | plausible weight of an adult | common-practice CP | 10..40
plausible_weight_kg        | at most 400 kg       | plausible weight | common-practice CP | 200..700
plausible_infant_kg        | at most 20 kg        | plausible weight under one year | common-practice CP | 10..40

# Surveillance
line_day_eligible          | at least 3 line days | line day from which a bloodstream infection counts | icmr R; nhsn-4 M-H | 1..7
window_days_after_removal  | at most 1 days       | days after removal or discharge on which an infection still counts | nhsn-faq R | 1..7
infection_window_days_before | exactly 3 days     | days of the infection window before the first positive test | nhsn-slides R2 | 1..14
infection_window_days_after | exactly 3 days      | days of the infection window after the first positive test | nhsn-slides R2 | 1..14
repeat_infection_days      | exactly 14 days      | repeat infection timeframe | nhsn-2 M-H
hospital_onset_day         | at least 3 hospital days | hospital day from which an infection counts as hospital onset | poa-worksheet R2; nhsn-2 M-H | 1..7
transfer_days              | at most 1 days       | days after a transfer on which an infection counts for the sending unit | nhsn-4 M-H | 1..7
rate_per_line_days         | exactly 1000 line days | line days that a rate is given per | nhsn-table R2
utilization_ratio          | at most 1 line days per patient day | utilization ratio | nhsn-table D | 1..1
"""

# name | options, the default first or in brackets | what is chosen | sources | "strictest first", where a later option is looser
_OPTIONS: Final = """
interval_counting          | hour / [calendar day] | when an interval of days counts as overdue: by the hour, or from the day after the last | common-practice CP | strictest first
gauze_interval_counting    | [hour] / calendar day | when gauze counts as overdue: by the hour, or from the day after the last | common-practice CP | strictest first
hold_ends_with             | evaluation / [evaluation, new access or treatment] / evaluation or blood return | what ends a hold for no blood return, blood return not proven, or resistance | common-practice CP | strictest first
sluggish_return_holds      | yes / [no]        | sluggish blood return puts a line on hold | common-practice CP | strictest first
redness_and_tenderness_holds | yes / no        | redness together with tenderness puts a line on hold | common-practice CP | strictest first
anesthetic_spray_order     | before antisepsis / sterile spray after antisepsis | when cold spray is used | common-practice CP | strictest first
gloves                     | sterile / any     | gloves at access | open-rn R
chg_dressing_ages          | adults / [over 2 months] / any | age group for chlorhexidine discs and dressings | shea-2022 M-H; cdc-2017 D recs 1.a and 2.b, written for short-term lines | strictest first
chg_disc_expected          | yes / no          | chlorhexidine disc expected at every access | common-practice CP | strictest first
disinfecting_cap_expected  | yes / no          | disinfecting cap expected on every connector | common-practice CP | strictest first
order_reference_required   | yes / no          | order or protocol named for access, de-access, flush and patency treatment | us-hospital-2008 R2; open-rn R | strictest first
scale_score_required       | yes / [no]        | phlebitis or infiltration score expected | royal-cornwall R2 | strictest first
needle_lot_required        | yes / [no]        | needle lot and expiry expected | ins-2021 M-H | strictest first
verifier_required          | yes / no          | verifier named by a nurse new to the procedure | common-practice CP | strictest first
saline_lock_accepted       | yes / no          | lock of saline alone accepted | wu-2021 R2
catheter_volume_required   | yes / [no]        | volume of catheter and add-ons expected | common-practice CP | strictest first
flush_counts_as_access     | yes / no          | flush starts the count of line days | nhsn-4 M-H
procedural_access_counts   | yes / no          | access in an operating or imaging room while an inpatient counts | nhsn-faq M-L
arrival_in_use_counts      | yes / no          | needle in use on arrival starts the count that day | nhsn-4 D
arrival_unused_counts      | no / yes          | needle in but unused on arrival starts the count | nhsn-4 M-L
denominator_counts         | every line in the body / from first access | lines that count as device days | nhsn-4 M-M
"""


_CLEARING: Final = (
    "MD, DO, MBBS, physician, surgeon, radiologist, NP, APRN, CRNP, DNP, CNS, CRNA, nurse practitioner, PA, PA-C, "
    "physician assistant, VA-BC, vascular access specialist"
)


def _cells(table: str) -> Iterator[list[str]]:
    for row in table.strip().splitlines():
        if row and not row.startswith("#"):
            yield [cell.strip() for cell in row.split("|")]


def _cited(text: str) -> tuple[Citation, ...]:
    """Read "royal-marsden R ch. 17; ins-2021 M-H"."""
    found = []
    for one in text.split("; "):
        source, mark, place = (*one.split(" ", 2), "")[:3]
        assert mark in ("R", "R2", "M-H", "M-M", "M-L", "D", "CP"), one
        read: Any = mark
        found.append(COMMON_PRACTICE if mark == "CP" else Citation(source, read, place))
    return tuple(found)


def _limit(name: str, limit: str, says: str, sources: str, reach: str = "") -> Limit:
    """Read one row of numbers; ``reach`` is "10..34"."""
    bound = next(bound for bound in get_args(Bound) if limit.startswith(bound))
    number, unit = limit.removeprefix(bound).split(maxsplit=1)
    value = Decimal(number)
    low, high = (Decimal(end) for end in reach.split("..")) if reach else (value / _SLIP, value * _SLIP)
    if unit in WHOLE_UNITS:
        low = low.to_integral_value(ROUND_CEILING)
    return Limit(name, value, unit, bound, says, _cited(sources), low, high)


def _choice(name: str, options: str, says: str, sources: str, order: str = "") -> Choice:
    listed = options.split(" / ")
    default = next((option for option in listed if option.startswith("[")), listed[0]).strip("[]")
    return Choice(name, default, tuple(option.strip("[]") for option in listed), says, _cited(sources), bool(order))


ROWS: Final[tuple[Row, ...]] = (
    *(_limit(*cells) for cells in _cells(_NUMBERS)),
    *(_choice(*cells) for cells in _cells(_OPTIONS)),
    Clock("denominator_time", "23:59", "time of day at which lines are counted", (COMMON_PRACTICE,)),
    Words(
        "roles_that_may_clear",
        _CLEARING,
        "credentials that may clear a line on hold: physician, advanced practice, vascular access specialist",
        (COMMON_PRACTICE,),
    ),
    Choice(
        "dates_typed",
        "month first",
        ("month first", "day first"),
        "how a date typed as 03/12 is read",
        (COMMON_PRACTICE,),
    ),
    Choice(
        "login_shared",
        "no",
        ("yes", "no"),
        "whether several nurses share a login, so that each session asks who signs",
        (COMMON_PRACTICE,),
    ),
    Words("shift_starts", "", "times at which the unit's shifts begin", (COMMON_PRACTICE,), times=True),
    Words(
        "record_number_label",
        "record number",
        "what notes call a record number that has no label of its own",
        (COMMON_PRACTICE,),
    ),
)
"""Every limit, option, time of day and list of words, in the order in which they are printed."""

RETIRED: Final[Mapping[str, str]] = MappingProxyType(
    {
        "blood_product_gauge_adult": "blood products no longer have a smallest gauge",
        "blood_product_gauge_child": "blood products no longer have a smallest gauge",
        "anaesthetic_spray_order": "it is now anesthetic_spray_order",
    }
)
"""Names that policies of earlier versions may set, with what became of each: reported and ignored."""

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
