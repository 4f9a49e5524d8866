"""The clinical facts, sections 1 to 5 and 7, against the printed limits and against the check of small records.

Written from the page of clinical facts alone, by a second hand that has not read the program. ``FACTS`` is a table of
value, unit, condition, source and the mark that the page gives: a limit may claim no more than that mark. Below it, the
check is asked one step below, at, and above the limits that a nurse would care about.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import Any

import pytest
from bedside import (
    FREE,
    Json,
    access,
    access_none,
    event,
    found,
    last_moment,
    later,
    look,
    look_proof,
    record,
    run,
    severities,
    sheet,
    site,
    t,
    treatment,
)

# How sure the page is: a limit may cite a source with this mark or a weaker one, never a stronger.
STRENGTH = ["CP", "D", "M-L", "M-M", "M-H", "R2", "R"]

# Short name of the page -> how the printed source may be recognised.
SOURCES = {
    "AHRQ": r"AHRQ|Patient Safety and Quality",
    "CDC2011": r"HICPAC|Prevention of Intravascular Catheter",
    "CDC2017": r"Chlorhexidine-Impregnated Dressings",
    "SHEA2022": r"SHEA|Strategies to prevent central line",
    "INS": r"Infusion Therapy Standards|INS Standards",
    "RMM": r"Royal Marsden",
    "A&A": r"Ayrshire|G004|G068",
    "RCHT": r"Royal Cornwall|implanted-port sheet",
    "NSH": r"Nova Scotia|nshealth",
    "USHosp2008": r"IFC035|US hospital, 2008",
    "HomeInf": r"home.infusion|Accessing via an Implanted Port",
    "swab label": r"swab",
    "cream label": r"prilocaine 2\.5% cream",
    "lidocaine 4%": r"Lidocaine 4% cream",
    "vapocoolant": r"Vapocoolant",
    "practice": r"[Pp]ractice",
    "alteplase": r"[Aa]lteplase 2 mg",
    "heparin label": r"[Hh]eparin lock",
    "power label": r"[Pp]ower-injectable",
    "epic3": r"epic3",
    "implant page": r"implanted port|[Nn]ursing procedures",
}


@dataclass(frozen=True)
class Fact:
    """A value of the page: ``name`` is the printed limit's, ``marks`` go with ``sources``, in their order."""

    name: str
    value: str
    unit: str
    sources: tuple[str, ...]
    marks: tuple[str, ...]
    condition: str = ""


def fact(name: str, value: str, unit: str, cited: str, condition: str = "") -> Fact:
    """Return a fact; ``cited`` is "source: mark, source: mark"."""
    pairs = [pair.split(": ") for pair in cited.split(", ")]
    return Fact(name, value, unit, tuple(p[0] for p in pairs), tuple(p[1] for p in pairs), condition)


FACTS = [
    # 1. Dressings
    fact("transparent_dressing_days", "7", "days", "AHRQ: R, CDC2011: M-H", "sooner if damp, loose, soiled"),
    fact("gauze_dressing_days", "2", "days", "AHRQ: R, CDC2011: M-H"),
    fact("gauze_under_wings_days", "7", "days", "INS: M-M", "only under needle wings, entry site visible"),
    fact("chg_dressing_months", "2", "months", "SHEA2022: M-H", "under 2 months one maker says: do not use"),
    # 2. Needle
    fact("needle_dwell_days", "7", "days", "RMM: R, USHosp2008: R, INS: M-H", "continuous use"),
    fact("needle_gauge_min", "19", "gauge", "RMM: R"),
    fact("needle_gauge_max", "24", "gauge", "RMM: R"),
    fact("needle_length_min_mm", "6.35", "mm", "RMM: R", "a quarter of an inch, printed rounded up"),
    fact("needle_length_max_mm", "38.1", "mm", "USHosp2008: R", "one and a half inches"),
    fact("power_rate_ml_per_s", "5", "mL per second", "power label: R", "19 or 20 gauge"),
    fact("power_rate_22_gauge_ml_per_s", "2", "mL per second", "power label: M-M", "one maker allows 3"),
    fact("power_pressure_psi", "300", "psi", "power label: R", "another label says 325"),
    fact("power_test_flush_ml", "10", "mL", "power label: R"),
    fact("syringe_ml", "10", "mL", "RMM: R, A&A: R", "line not yet proved"),
    fact("post_implant_tender_hours", "72", "hours", "implant page: R"),
    fact("post_implant_child_days", "7", "days", "A&A: R", "prefers 7 to 14 days"),
    # 3. Skin
    fact("chg_scrub_dry_site_s", "30", "seconds", "swab label: R, NSH: R"),
    fact("chg_scrub_moist_site_s", "120", "seconds", "swab label: R"),
    fact("chg_dry_dry_site_s", "30", "seconds", "swab label: R"),
    fact("chg_dry_moist_site_s", "60", "seconds", "swab label: R"),
    fact("povidone_iodine_dry_s", "120", "seconds", "INS: M-H"),
    fact("isopropyl_scrub_s", "60", "seconds", "NSH: R"),
    fact("isopropyl_dry_s", "30", "seconds", "NSH: R"),
    fact("skin_friction_s", "60", "seconds", "practice: CP"),
    fact("hub_scrub_s", "5", "seconds", "INS: M-H, SHEA2022: M-H"),
    fact("hub_scrub_strict_s", "15", "seconds", "epic3: M-H"),
    fact("chg_age_months", "2", "months", "CDC2011: M-H"),
    fact("chg_weight_g", "1000", "g", "HomeInf: R"),
    fact("cream_contact_minutes", "60", "minutes", "cream label: R2"),
    fact("cream_effect_hours", "2", "hours", "cream label: R2"),
    fact("cream_adult_g", "2.5", "g", "cream label: R2"),
    fact("cream_under_3_months_g", "1", "g", "cream label: R2", "or under 5 kg"),
    fact("cream_3_to_12_months_g", "2", "g", "cream label: R2", "and over 5 kg"),
    fact("cream_1_to_6_years_g", "10", "g", "cream label: R2", "and over 10 kg"),
    fact("cream_7_to_12_years_g", "20", "g", "cream label: R2", "and over 20 kg"),
    fact("lidocaine_4_contact_minutes", "30", "minutes", "lidocaine 4%: M-H"),
    fact("spray_to_needle_s", "60", "seconds", "vapocoolant: M-M"),
    fact("intradermal_lidocaine_ml", "0.3", "mL", "practice: M-M"),
    # 4. Alteplase
    fact("alteplase_full_dose_kg", "30", "kg", "alteplase: R"),
    fact("alteplase_dose_mg", "2", "mg", "alteplase: R"),
    fact("alteplase_mg_per_ml", "1", "mg per mL", "alteplase: R"),
    fact("alteplase_lumen_factor", "1.1", "times", "alteplase: R", "under 30 kg"),
    fact("alteplase_single_max_mg", "2", "mg", "alteplase: R"),
    fact("alteplase_single_max_ml", "2", "mL", "alteplase: R"),
    fact("alteplase_total_mg", "4", "mg", "alteplase: R"),
    fact("alteplase_doses", "2", "doses", "alteplase: R"),
    fact("alteplase_first_check_minutes", "30", "minutes", "alteplase: R"),
    fact("alteplase_second_check_minutes", "120", "minutes", "alteplase: R"),
    fact("alteplase_second_dose_minutes", "120", "minutes", "alteplase: R"),
    fact("alteplase_use_within_hours", "8", "hours", "alteplase: R"),
    fact("alteplase_withdraw_ml", "4", "mL", "alteplase: R", "from 10 kg"),
    fact("alteplase_withdraw_max_ml", "5", "mL", "alteplase: R", "from 10 kg"),
    fact("alteplase_withdraw_child_ml", "3", "mL", "alteplase: R", "under 10 kg"),
    fact("alteplase_withdraw_child_kg", "10", "kg", "alteplase: R"),
    # 5. Flush and lock
    fact("flush_volume_factor", "2", "times", "INS: M-H", "catheter and add-ons"),
    fact("lock_volume_factor", "1.2", "times", "INS: M-H"),
    fact("flush_ml", "10", "mL", "INS: M-H", "adult"),
    fact("flush_after_blood_ml", "20", "mL", "INS: M-H"),
    fact("heparin_lock_strength_units_per_ml", "100", "units per mL", "heparin label: R"),
    fact("heparin_lock_low_strength_units_per_ml", "10", "units per mL", "heparin label: R"),
    fact("bacteriostatic_saline_ml_per_day", "30", "mL", "INS: M-H", "adult; none in newborns"),
    fact("idle_flush_days", "28", "days", "RMM: R, A&A: R, RCHT: R"),
]
BY_NAME = {one.name: one for one in FACTS}


@cache
def limits() -> dict[str, Json]:
    """Return the printed limits by name."""
    printed = json.loads(run("policy", format="json").stdout)
    return {limit["name"]: limit for limit in printed["limits"]}


def cited(limit: Json, source: str) -> list[Json]:
    """Return the citations of a printed limit that are this source of the page."""
    return [each for each in limit["sources"] if re.search(SOURCES[source], f"{each['title']} {each['edition']}")]


@pytest.mark.parametrize("name", BY_NAME)
def test_value_and_unit(name: str) -> None:
    limit, expected = limits()[name], BY_NAME[name]
    unit = limit["unit"]
    value = Decimal(limit["value"])
    if {unit, expected.unit} == {"hours", "days"}:  # the same span in another unit
        value, unit = (value / 24, "days") if unit == "hours" else (value * 24, "hours")
    assert (value, unit.removesuffix(" a day").removesuffix(" per day")) == (Decimal(expected.value), expected.unit)


@pytest.mark.parametrize("name", BY_NAME)
def test_source_is_named_with_no_stronger_mark_than_the_page_gives(name: str) -> None:
    limit, expected = limits()[name], BY_NAME[name]
    for source, mark in zip(expected.sources, expected.marks, strict=True):
        citations = cited(limit, source)
        assert citations, f"{name} does not name {source}"
        for citation in citations:
            assert STRENGTH.index(citation["mark"]) <= STRENGTH.index(mark), f"{name}: {source} is {mark} on the page"


@pytest.mark.parametrize("name", BY_NAME)
def test_no_other_source_is_claimed_as_read_where_the_page_has_none(name: str) -> None:
    expected = BY_NAME[name]
    best = max(STRENGTH.index(mark) for mark in expected.marks)
    for citation in limits()[name]["sources"]:
        assert STRENGTH.index(citation["mark"]) <= best, citation["title"]


def test_the_wear_time_of_a_disc_is_our_own_and_not_that_of_the_skin_antiseptic() -> None:
    limit = limits()["chg_dressing_days"]
    assert Decimal(limit["value"]) == 7
    assert not cited(limit, "NSH")
    assert {each["mark"] for each in limit["sources"]} <= {"D"}


def test_a_dressing_guideline_for_short_term_lines_is_carried_over_to_ports_as_derived() -> None:
    for name in ("chg_dressing_ages", "chg_dressing_adult_years"):
        limit = limits().get(name)
        for citation in cited(limit, "CDC2017") if limit else ():
            assert citation["mark"] == "D", name


@pytest.mark.parametrize("name", [one for one in BY_NAME if re.search("_check_minutes|_withdraw_", one)])
def test_looks_and_withdrawals_are_read_on_the_makers_page_and_not_in_the_label(name: str) -> None:
    # The label's own text on both is on the page's list "to be confirmed".
    for citation in limits()[name]["sources"]:
        assert citation["mark"] != "R" or re.search("maker", citation["title"]), citation["title"]


def test_no_source_is_an_address_of_sellers_insurers_or_file_sharing() -> None:
    shared = r"scribd|studylib|studyres|docslib|yumpu|pdfslide|issuhub|123dok|globalrph|bd\.com|iv-therapy\.net|forum"
    read = [each for limit in limits().values() for each in limit["sources"] if each["mark"] == "R"]
    assert read
    for citation in read:
        assert not re.search(shared, citation["address"]), citation["address"]


# --- the check, one step below, at, and above a limit


def patient(age_years: float = 40, kg: float = 70, born: str | None = None, **more: Any) -> Json:
    """Return a patient of this age on 2 April 2031."""
    return {"birth_date": born or f"{2031 - int(age_years)}-04-01", "weight_kg": kg, **more}


BAD = {"unsafe", "wrong"}


def judged(*events: Json, about: str, words: str, **parts: Any) -> set[str]:
    """Return the severities of what is found about event ``about`` in these words."""
    return severities(found(record(*events, **parts), event=about, words=words))


# Alteplase

DOSES = [
    # kg, lumen mL, dose mg, faulty
    (40, 1.0, 2.0, False),
    (40, 1.0, 1.1, True),
    (40, 1.0, 2.2, True),
    (30, 1.0, 2.0, False),
    (29.9, 1.0, 2.0, True),
    (29.9, 1.0, 1.1, False),
    (12, 1.0, 1.1, False),
    (12, 1.0, 1.0, True),
    (12, 1.0, 1.2, True),
    (12, 0.5, 0.55, False),
    (12, 1.8, 1.98, False),
    (12, 2.0, 2.0, False),
    (12, 2.0, 2.2, True),
    (8, 1.0, 1.1, False),
    (8, 1.0, 2.0, True),
]


@pytest.mark.parametrize(("kg", "lumen", "dose", "faulty"), DOSES)
def test_alteplase_dose_by_weight_and_lumen(kg: float, lumen: float, dose: float, faulty: bool) -> None:
    age = 40 if kg == 40 else 8 if kg > 20 else 2
    given = treatment(t("10:00"), dose_mg=dose, volume_ml=dose, lumen_ml=lumen)
    seen = judged(access_none(), given, about="patency-treatment-1", words="dose", patient=patient(age, kg))
    assert bool(seen & BAD) is faulty, seen


WITHDRAWN = [
    # kg, mL, right
    (40, 3.9, False),
    (40, 4, True),
    (40, 5, True),
    (12, 3, False),
    (12, 4, True),
    (12, 5, True),
    (10, 3, False),
    (10, 4, True),
    (9.9, 3, True),
    (9.9, 2.5, False),
    (8, 3, True),
    (8, 2, False),
]


@pytest.mark.parametrize(("kg", "ml", "right"), WITHDRAWN)
def test_alteplase_is_withdrawn_after_success_4_to_5_ml_from_10_kg_and_3_below(
    kg: float, ml: float, right: bool
) -> None:
    dose = 2 if kg >= 30 else 1.1
    given = treatment(t("10:00"), dose_mg=dose, volume_ml=dose, lumen_ml=1.0)
    looked = look_proof(t("10:30"), withdrawn_ml=ml, discard_ml=None)
    whom = patient(40 if kg == 40 else 2, kg)
    seen = judged(access_none(), given, looked, about="patency-check-1", words="withdr|aspirate", patient=whom)
    assert not seen if right else seen


@pytest.mark.parametrize(("kg", "says"), [(40, "4 to 5 mL"), (12, "4 to 5 mL"), (8, "3 mL")])
def test_alteplase_the_sheet_says_how_much_is_withdrawn(kg: float, says: str) -> None:
    dose = 2 if kg >= 30 else 1.1
    given = treatment(t("10:00"), dose_mg=dose, volume_ml=dose, lumen_ml=1.0)
    text = sheet(record(access_none(), given, patient=patient(40 if kg == 40 else 2, kg)))
    assert re.search(rf"(?<![\d.]){says}", text)


@pytest.mark.parametrize(("minutes", "faulty"), [(479, False), (480, False), (481, True)])
def test_alteplase_is_used_within_8_hours(minutes: int, faulty: bool) -> None:
    given = treatment(t("20:00"), reconstituted_at=later(t("20:00"), minutes=-minutes))
    seen = judged(access_none(), given, about="patency-treatment-1", words="reconstitut|mixed|8 hours|kept")
    assert bool(seen & BAD) is faulty


@pytest.mark.parametrize(("minutes", "faulty"), [(119, True), (120, False), (121, False)])
def test_alteplase_second_dose_from_120_minutes(minutes: int, faulty: bool) -> None:
    second = treatment(later(t("10:00"), minutes=minutes), second_dose_of="patency-treatment-1")
    seen = judged(access_none(), treatment(t("10:00")), second, about="patency-treatment-2", words="second dose")
    assert bool(seen & BAD) is faulty


def test_alteplase_two_doses_and_no_third() -> None:
    doses = [
        treatment(t("10:00")),
        treatment(t("12:00"), second_dose_of="patency-treatment-1"),
        treatment(t("14:00"), second_dose_of="patency-treatment-2"),
    ]
    assert not judged(access_none(), *doses[:2], about="patency-treatment-2", words="4 mg|third|doses") & BAD
    assert judged(access_none(), *doses, about="patency-treatment-3", words="4 mg|third|doses") & BAD


@pytest.mark.parametrize(("asof", "due"), [("10:10", {"10:30", "12:00"}), ("10:40", {"12:00"})])
def test_alteplase_looks_are_due_at_30_and_at_120_minutes(asof: str, due: set[str]) -> None:
    none = {"blood_return": "none", "blood_looks": None, "withdrawn_ml": None, "flushes": {"not_done": "dwell"}}
    first = [] if asof == "10:10" else [event("patency check", t("10:30"), treatment="patency-treatment-1", **none)]
    text = sheet(record(access_none(), treatment(t("10:00")), *first), asof=t(asof))
    for clock in due:
        assert clock in text


@pytest.mark.parametrize("minutes", [30, 120])
def test_alteplase_a_look_in_time_is_not_late(minutes: int) -> None:
    looked = look_proof(later(t("10:00"), minutes=minutes))
    seen = judged(access_none(), treatment(t("10:00")), looked, about="patency-check-1", words="late|minutes")
    assert not seen & BAD


RISKS = {
    "infection": ({"catheter_infection": True}, "infect"),
    "bleeding": ({"recent_bleeding": True}, "bleed"),
    "anticoagulant": ({"anticoagulant": "apixaban"}, "anticoag|bleed"),
}


@pytest.mark.parametrize(("risk", "words"), RISKS.values(), ids=RISKS.keys())
def test_alteplase_cautions_are_told_and_forbid_nothing(risk: Json, words: str) -> None:
    given = treatment(t("10:00"), bleeding_risk=risk)
    seen = judged(access_none(), given, about="patency-treatment-1", words=words)
    assert seen
    assert "unsafe" not in seen


def test_alteplase_is_forbidden_by_hypersensitivity_alone() -> None:
    whom = patient(allergies=[{"substance": "alteplase", "reaction": "hives"}])
    assert "unsafe" in judged(
        access_none(), treatment(t("10:00")), about="patency-treatment-1", words="alteplase", patient=whom
    )


# Needle, dressing, ages


LENGTHS = [(6.3, True), (6.35, False), (6.4, False), (25, False), (38.1, False), (38.2, True)]


@pytest.mark.parametrize(("mm", "faulty"), LENGTHS)
def test_needle_lengths_from_a_quarter_to_one_and_a_half_inches(mm: float, faulty: bool) -> None:
    seen = judged(access(t("09:00"), needle={"length_mm": mm}), about="access-1", words="length|mm")
    assert bool(seen) is faulty


@pytest.mark.parametrize(("gauge", "faulty"), [(18, True), (19, False), (24, False), (25, True)])
def test_needle_gauges_19_to_24(gauge: int, faulty: bool) -> None:
    needle = {"gauge": gauge, "power_rated": False}
    assert bool(judged(access(t("09:00"), needle=needle), about="access-1", words="gauge")) is faulty


@pytest.mark.parametrize(("gauge", "age", "kg"), [(20, 40, 70), (21, 40, 70), (22, 40, 70), (22, 6, 20), (24, 1, 9)])
def test_blood_products_have_no_floor_of_20_gauge(gauge: int, age: int, kg: float) -> None:
    needle = {"gauge": gauge, "power_rated": False}
    blood = event("line use", t("10:00"), purpose="transfusion", action="started", what="red cells", vesicant=None)
    whole = record(
        access(t("09:00"), needle=needle, lock={"not_done": "transfusion follows"}), blood, patient=patient(age, kg)
    )
    assert not found(whole, words="gauge")


def test_blood_products_no_limit_of_20_gauge_is_printed() -> None:
    for name, limit in limits().items():
        if "blood_product" in name:
            assert Decimal(limit["value"]) >= 22, name


DWELL_WORDS = "needle.*(overdue|late|days|dwell|7)"


@pytest.mark.parametrize(
    ("out", "faulty"), [(t("08:00", day=9), False), (t("09:00", day=9), False), (t("12:00", day=11), True)]
)
def test_needle_seven_days(out: str, faulty: bool) -> None:
    whole = record(access(t("09:00")), event("de-access", out))
    assert bool(severities(found(whole, event="de-access-1", words=DWELL_WORDS)) & {"unsafe"}) is faulty


GAUZE = {"type": "gauze", "chlorhexidine_disc": False, "site_visible": False}
FILM = {"type": "transparent", "chlorhexidine_disc": False}
WINGS = {"type": "gauze under wings", "chlorhexidine_disc": False, "site_visible": True}
LATE_DRESSINGS = [
    ("gauze-47h", GAUZE, 47, False),
    ("gauze-48h", GAUZE, 48, False),
    ("gauze-49h", GAUZE, 49, True),
    ("film-7d", FILM, 7 * 24, False),
    ("film-9d", FILM, 9 * 24 + 3, True),
    ("wings-49h", WINGS, 49, False),
    ("wings-9d", WINGS, 9 * 24 + 3, True),
]


@pytest.mark.parametrize(
    ("dressing", "hours", "late"), [r[1:] for r in LATE_DRESSINGS], ids=[r[0] for r in LATE_DRESSINGS]
)
def test_dressings_gauze_48_hours_film_and_gauze_under_wings_7_days(dressing: Json, hours: int, late: bool) -> None:
    changed = event("dressing change", later(t("09:00"), hours=hours), dressing=FILM)
    whole = record(access(t("09:00"), dressing=dressing), changed)
    assert bool(found(whole, event="dressing-change-1", words="dressing.*(overdue|late|stayed|hours|days)")) is late


@pytest.mark.parametrize("seen", ["damp", "loose", "soiled"])
def test_dressings_damp_loose_or_soiled_are_changed_now(seen: str) -> None:
    whole = record(access(t("09:00")), look(t("12:00"), dressing_found=[seen]))
    assert found(whole, event="line-check-1", words="dressing")


DISC_AGES = [
    ("one-day-short", "2031-02-03", True),
    ("two-months", "2031-02-02", False),
    ("three-months", "2031-01-02", False),
    ("twelve-years", "2019-01-02", False),
    ("adult", "1990-01-02", False),
]


@pytest.mark.parametrize(("born", "faulty"), [r[1:] for r in DISC_AGES], ids=[r[0] for r in DISC_AGES])
def test_disc_under_two_months_is_unsafe_and_by_policy_from_then(born: str, faulty: bool) -> None:
    kg = 70 if born < "2000" else 40 if born < "2020" else 5
    skin = {"agent": "aqueous chlorhexidine", "started_at": t("08:50")}
    seen = judged(
        access(t("09:00"), antisepsis=skin),
        about="access-1",
        words="disc|chlorhexidine dressing",
        patient=patient(born=born, kg=kg),
    )
    assert ("unsafe" in seen) is faulty
    if not faulty:
        assert not seen, "the advice for those under 18 years goes unless a policy asks for it"


IODINE = {"agent": "povidone-iodine", "started_at": t("08:50"), "scrub_s": 60, "dry_s": 120}


@pytest.mark.parametrize(("born", "cautioned"), [("2031-03-20", True), ("2030-03-20", False), ("1990-01-02", False)])
def test_iodine_on_a_newborn_is_a_caution(born: str, cautioned: bool) -> None:
    kg = 3.5 if cautioned else 10 if born > "2000" else 70
    seen = judged(
        access(t("09:00"), antisepsis=IODINE), about="access-1", words="iodine", patient=patient(born=born, kg=kg)
    )
    assert bool(seen) is cautioned
    assert "unsafe" not in seen


def test_isopropyl_alcohol_on_a_newborn_is_found() -> None:
    alcohol = {"agent": "70% isopropyl alcohol", "started_at": t("08:50"), "scrub_s": 60, "dry_s": 60}
    newborn = patient(born="2031-03-20", kg=3.5)
    assert judged(access(t("09:00"), antisepsis=alcohol), about="access-1", words="alcohol", patient=newborn) & BAD
    assert not judged(access(t("09:00"), antisepsis=alcohol), about="access-1", words="newborn")


SCRUBS = [
    # agent, skin, scrub, dry, faulty
    ("chlorhexidine in alcohol", "dry", 30, 30, False),
    ("chlorhexidine in alcohol", "dry", 29, 30, True),
    ("chlorhexidine in alcohol", "dry", 30, 29, True),
    ("chlorhexidine in alcohol", "moist", 120, 60, False),
    ("chlorhexidine in alcohol", "moist", 119, 60, True),
    ("chlorhexidine in alcohol", "moist", 120, 59, True),
    ("povidone-iodine", "dry", 60, 120, False),
    ("povidone-iodine", "dry", 60, 119, True),
    ("70% isopropyl alcohol", "dry", 60, 30, False),
    ("70% isopropyl alcohol", "dry", 59, 30, True),
    ("70% isopropyl alcohol", "dry", 60, 29, True),
]


@pytest.mark.parametrize(("agent", "skin", "scrub", "dry", "faulty"), SCRUBS)
def test_skin_scrub_and_dry_times(agent: str, skin: str, scrub: int, dry: int, faulty: bool) -> None:
    done = {"agent": agent, "started_at": t("08:50"), "skin": skin, "scrub_s": scrub, "dry_s": dry}
    seen = judged(access(t("09:00"), antisepsis=done), about="access-1", words="scrub|dr(y|ies|ied)|second")
    assert bool(seen & BAD) is faulty, seen


CREAMS = [
    # born, kg, g, square cm, minutes on, faulty
    ("two-months-1-g", "2031-01-20", 4.5, 1, 10, 60, False),
    ("two-months-over-1-g", "2031-01-20", 4.5, 1.1, 10, 60, True),
    ("two-months-over-an-hour", "2031-01-20", 4.5, 1, 10, 61, True),
    ("six-months-2-g", "2030-10-01", 7, 2, 20, 60, False),
    ("six-months-over-2-g", "2030-10-01", 7, 2.1, 20, 60, True),
    ("six-months-under-5-kg", "2030-10-01", 4.9, 2, 20, 60, True),
    ("four-years-10-g", "2027-01-01", 16, 10, 100, 60, False),
    ("four-years-over-10-g", "2027-01-01", 16, 10.1, 100, 60, True),
    ("four-years-240-minutes", "2027-01-01", 16, 2, 20, 240, False),
    ("four-years-241-minutes", "2027-01-01", 16, 2, 20, 241, True),
    ("ten-years-20-g", "2021-01-01", 32, 20, 200, 60, False),
    ("ten-years-over-20-g", "2021-01-01", 32, 20.1, 200, 60, True),
]


@pytest.mark.parametrize(
    ("born", "kg", "grams", "area", "minutes", "faulty"), [r[1:] for r in CREAMS], ids=[r[0] for r in CREAMS]
)
def test_cream_maxima_of_children(born: str, kg: float, grams: float, area: float, minutes: int, faulty: bool) -> None:
    cream = {
        "agent": "lidocaine 2.5% with prilocaine 2.5% cream",
        "amount_g": grams,
        "area_cm2": area,
        "applied_at": later(t("11:40"), minutes=-minutes),
        "removed_at": t("11:40"),
    }
    seen = judged(
        access(t("12:00"), anesthetic=cream), about="access-1", words="cream", patient=patient(born=born, kg=kg)
    )
    assert bool(seen & BAD) is faulty, seen


@pytest.mark.parametrize(("seconds", "faulty"), [(4, True), (5, False), (15, False)])
def test_connector_scrub_at_least_5_seconds(seconds: int, faulty: bool) -> None:
    flushed = event("flush", t("12:00"), hub_scrub_s=seconds)
    assert bool(judged(access(t("09:00")), flushed, about="flush-1", words="scrub") & BAD) is faulty


def test_a_scrub_can_be_too_short_and_never_too_long() -> None:
    done = {"agent": "chlorhexidine in alcohol", "started_at": t("08:40"), "skin": "dry", "scrub_s": 300, "dry_s": 300}
    assert not judged(access(t("09:00"), antisepsis=done), about="access-1", words="scrub|dry") & BAD


@pytest.mark.parametrize(("gone", "found_out"), [(True, False), (False, True)], ids=["dry", "not-dry"])
def test_the_skin_is_fully_dry_before_the_needle(gone: bool, found_out: bool) -> None:
    seen = judged(access(t("09:00"), antisepsis={"fully_dry": gone}), about="access-1", words="dry")
    assert ("unsafe" in seen) is found_out


SALINE_IN_VALVED = {"lock": {"drug": "0.9% sodium chloride", "volume_ml": 5, "units_per_ml": None}, "infusion": None}


@pytest.mark.parametrize("valved", [True, False])
def test_saline_alone_is_an_accepted_lock(valved: bool) -> None:
    seen = judged(
        access(t("09:00"), **SALINE_IN_VALVED), about="access-1", words="saline|heparin|lock", port={"valved": valved}
    )
    assert not seen & BAD


# Heparin, preservatives, flushes, discard


def lock(units_per_ml: int, ml: float, preservative: str = "none") -> Json:
    return {
        "lock": {"drug": "heparin", "units_per_ml": units_per_ml, "volume_ml": ml, "preservative": preservative},
        "infusion": None,
    }


HEPARIN = [
    # age, kg, units per mL, mL, faulty
    ("adult-500", 40, 70, 100, 5, False),
    ("adult-600", 40, 70, 100, 6, False),
    ("adult-treatment-strength", 40, 70, 1000, 5, True),
    ("adult-low-strength", 40, 70, 10, 5, False),
    ("16-years-60-kg-500", 16, 60, 100, 5, False),
    ("4-years-300", 4, 16, 100, 3, False),
    ("4-years-200", 4, 16, 100, 2, False),
    ("infant-low-strength", 0, 7, 10, 3, False),
]


@pytest.mark.parametrize(
    ("age", "kg", "strength", "ml", "faulty"), [r[1:] for r in HEPARIN], ids=[r[0] for r in HEPARIN]
)
def test_heparin_lock_by_age_weight_and_strength(age: int, kg: float, strength: int, ml: float, faulty: bool) -> None:
    seen = judged(access(t("09:00"), **lock(strength, ml)), about="access-1", words="heparin", patient=patient(age, kg))
    assert bool(seen & BAD) is faulty, seen


PRESERVED = [("11-months", "2030-04-03", True), ("one-year", "2030-04-02", False), ("adult", "1990-01-01", False)]


@pytest.mark.parametrize(("born", "faulty"), [r[1:] for r in PRESERVED], ids=[r[0] for r in PRESERVED])
def test_heparin_with_benzyl_alcohol_is_unsafe_under_one_year(born: str, faulty: bool) -> None:
    whom = patient(born=born, kg=70 if born < "2000" else 10.5)
    seen = judged(access(t("09:00"), **lock(10, 3, "benzyl alcohol")), about="access-1", words="benzyl", patient=whom)
    assert ("unsafe" in seen) is faulty


@pytest.mark.parametrize(
    ("born", "faulty"), [("2031-03-20", True), ("2029-03-20", False)], ids=["newborn", "two-years"]
)
def test_saline_with_benzyl_alcohol_is_unsafe_in_a_newborn(born: str, faulty: bool) -> None:
    preserved = {**FREE, "solution": "0.9% sodium chloride with benzyl alcohol", "volume_ml": 5}
    whom = patient(born=born, kg=3.5 if faulty else 12)
    seen = judged(access(t("09:00"), flushes=[preserved]), about="access-1", words="benzyl|newborn", patient=whom)
    assert ("unsafe" in seen) is faulty


@pytest.mark.parametrize(("ml", "faulty"), [(29, False), (30, False), (31, True)])
def test_preserved_saline_at_most_30_ml_a_day_in_an_adult(ml: float, faulty: bool) -> None:
    preserved = {**FREE, "solution": "0.9% sodium chloride with benzyl alcohol"}
    first = access(t("09:00"), flushes=[{**preserved, "volume_ml": 15, "syringe_ml": 20}])
    second = event("flush", t("15:00"), flushes=[{**preserved, "volume_ml": ml - 15, "syringe_ml": 20}])
    seen = severities(found(record(first, second), words="bacteriostatic|benzyl|preserv"))
    assert bool(seen & BAD) is faulty


def test_heparin_in_hit_is_unsafe_also_as_a_lock() -> None:
    whom = patient(history=["heparin-induced thrombocytopenia"])
    assert "unsafe" in judged(access(t("09:00"), **lock(10, 5)), about="access-1", words="heparin", patient=whom)


DISCARDS = [
    # age, kg, mL, remarked
    (40, 70, 5, False),
    (40, 70, 10, False),
    (40, 70, 4, True),
    (4, 16, 3, False),
    (4, 16, 5, False),
    (1, 4, 2, None),
]


@pytest.mark.parametrize(("age", "kg", "ml", "remarked"), DISCARDS)
def test_a_small_discard_is_worth_a_word_and_no_danger(age: int, kg: float, ml: float, remarked: bool | None) -> None:
    seen = judged(access(t("09:00"), discard_ml=ml), about="access-1", words="discard", patient=patient(age, kg))
    assert seen <= {"advice"}
    if remarked is False:
        assert not seen


@pytest.mark.parametrize("method", ["returned", "mixed in the syringe"])
def test_discard_by_returning_or_mixing_is_a_method_where_policy_has_it(method: str) -> None:
    seen = judged(
        access(t("09:00"), discard_ml=5, discard_method=method), about="access-1", words="discard|return(ed|ing)|mix"
    )
    assert not seen & BAD


@pytest.mark.parametrize(("ml", "faulty"), [(2.7, True), (2.8, False), (10, False)])
def test_flush_at_least_twice_the_volume_of_catheter_and_add_ons(ml: float, faulty: bool) -> None:
    # 0.9 mL catheter, 0.4 mL needle set, 0.1 mL connector: 2 x 1.4 mL
    flushed = event("flush", t("12:00"), flushes=[{**FREE, "volume_ml": ml}])
    seen = judged(access(t("09:00")), flushed, about="flush-1", words="flush")
    assert bool(seen & BAD) is faulty, seen


@pytest.mark.parametrize("hours", [23, 25, 40])
def test_an_accessed_idle_line_is_a_reminder_and_no_limit(hours: int) -> None:
    whole = record(access(t("09:00"), **lock(100, 5)), event("flush", later(t("09:00"), hours=hours)))
    seen = severities(found(whole, words="idle|between flushes|last flush|not flushed|unflushed"))
    assert seen <= {"advice"}


def test_an_accessed_idle_line_claims_no_better_source_than_the_page() -> None:
    limit = limits().get("accessed_idle_flush_hours")
    if limit is not None and Decimal(limit["value"]) == 24:  # daily is from memory, low confidence
        assert {each["mark"] for each in limit["sources"]} <= {"M-L", "D", "CP"}


@pytest.mark.parametrize(("day", "late"), [(30, False), (32, True)])
def test_a_port_without_needle_is_flushed_every_28_days(day: int, late: bool) -> None:
    # Needle out on 2 April; 28 days later is 30 April.
    whole = record(access(t("09:00")), event("de-access", t("10:00")))
    asof = t("09:00", day=30) if day == 30 else "2031-05-02T12:00-05:00"
    assert ("overdue" in sheet(whole, asof=asof).lower()) is late


# Power injection

INJECTIONS = [
    # gauge, mL per s, psi, faulty
    (20, 5, 300, False),
    (20, 5.1, 300, True),
    (20, 5, 301, True),
    (19, 5, 300, False),
    (22, 2, 300, False),
    (22, 2.1, 300, True),
    (24, 1, 200, True),
]


@pytest.mark.parametrize(("gauge", "flow", "psi", "faulty"), INJECTIONS)
def test_power_injection_by_gauge_rate_and_pressure(gauge: int, flow: float, psi: int, faulty: bool) -> None:
    use = event(
        "line use", t("10:00"), purpose="power injection", what="contrast medium", flow_ml_per_s=flow, pressure_psi=psi
    )
    seen = judged(
        access(t("09:50"), needle={"gauge": gauge}), use, about="line-use-1", words="injection|rate|pressure|gauge"
    )
    assert bool(seen & BAD) is faulty, seen


# 7. Complications


SCALES = [
    ("INS phlebitis", 4, 5),
    ("VIP", 5, 6),
    ("INS infiltration", 4, 5),
    ("CTCAE", 5, 6),
]


@pytest.mark.parametrize(("name", "top", "over"), SCALES)
def test_scales_end_at_their_last_grade(name: str, top: int, over: int) -> None:
    signs = {
        "erythema": "present",
        "erythema_mm": 30,
        "swelling": "present",
        "tenderness": "present",
        "drainage": "purulent",
    }
    for score, faulty in ((top, False), (over, True)):
        seen = judged(
            access(t("09:00")),
            look(t("10:00"), site=site(**signs, scale={"name": name, "score": score})),
            about="line-check-1",
            words="scale|score|grade",
        )
        assert ("wrong" in seen) is faulty, (score, seen)


def test_a_scale_of_peripheral_lines_is_called_an_adaptation_on_the_note() -> None:
    scored = site(scale={"name": "VIP", "score": 0})
    whole = record(access(t("09:00")), look(t("10:00"), site=scored))
    assert re.search("peripheral|adapt", run("note", whole, event="line-check-1").stdout, re.IGNORECASE)


def test_vip_2_is_the_score_to_act_on() -> None:
    limit = limits()["vip_act_below"]
    assert (Decimal(limit["value"]), limit["bound"]) in {(Decimal(1), "at most"), (Decimal(2), "at least")}


def test_chlorhexidine_allergy_blocks_swab_and_disc() -> None:
    whom = patient(allergies=[{"substance": "chlorhexidine", "reaction": "hives"}])
    skin = access(t("09:00"), dressing={"chlorhexidine_disc": False})
    disc = access(t("09:00"), antisepsis=IODINE)
    for one in (skin, disc):
        assert "unsafe" in judged(one, about="access-1", words="chlorhexidine", patient=whom)


def test_shellfish_is_no_allergy_to_iodine() -> None:
    whom = patient(allergies=[{"substance": "shellfish", "reaction": "hives"}])
    assert (
        not judged(access(t("09:00"), antisepsis=IODINE), about="access-1", words="iodine|shellfish", patient=whom)
        & BAD
    )


def test_every_limit_is_judged_at_a_moment_after_its_events() -> None:
    # Guard of this file's own helper: a record is judged half an hour after its last event.
    whole = record(access(t("09:00")), look(t("12:00")))
    assert last_moment(whole) == later(t("12:00"), minutes=30)
