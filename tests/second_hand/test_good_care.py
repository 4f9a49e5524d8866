"""Rules that once fired on good care: for each row good care that is quiet, and wrong care that is found.

Written from the table of the issue and the clinical facts alone, by a second hand that had not read the rules. Cases
that another file of this folder has (L: test_line_states, F: test_clinical_facts, D: test_standing_dangers) are named
here and not repeated:

   row                            quiet            found
1  hold for no blood return       L 9, 13          L 8, 13 (sluggish), 9 and 13 (by policy)
2  "some" resistance, then free   L 6              L 7
3  healing incision               below, L 21      below, L 20, L 21 (pus, fever, opening)
4  7 days and 30 minutes          below            below, D amounts
5  small discard                  below            below, F discard
6  next flush "in one month"      below            below
7  syringe and its barrel         below            below
8  adhesive                       below            below, D d9
9  the finder clears              below            below, L 17
10 flush before power injection   below            below
11 late entry marked              below            below
12 looks after a thrombolytic     below            below; on the sheet: F alteplase
13 dressing before any needle     below            below
14 swelling of face or neck       below, no cause  L 23; at the needle: below, L 22
15 named vesicant                 below, D amounts below
16 iodine on a newborn            F iodine         F iodine; not laid out: below
"""

from __future__ import annotations

import re

import pytest
from bedside import (
    FREE,
    Json,
    access,
    access_none,
    check,
    evaluation,
    event,
    found,
    holds,
    later,
    look,
    look_none,
    look_proof,
    record,
    run,
    severities,
    sheet,
    sign,
    site,
    state,
    t,
    treatment,
)

BAD = {"unsafe", "wrong"}
MONTH_LATER = "2031-05-02T09:00-05:00"
NURSE = {"name": "Ines Corwin", "credential": "RN", "id": "CASE-N1"}  # who charts, and finds, in every record here


# 3. An incision that heals

RED = {"erythema": "present", "erythema_mm": 10, "tenderness": "present"}
IMPLANTED = event("port implanted", t("08:00"))


def day_of_implantation(**signs: object) -> Json:
    """Return a port that is used in the operating area on the day of its implantation."""
    first = access(t("09:00"), site=site(**signs), tip_confirmed=True)
    return record(IMPLANTED, first, port={"implanted_on": "2031-04-02"})


def test_3_a_healing_incision_with_redness_and_tenderness_is_asked_about_and_not_judged() -> None:
    whole = day_of_implantation(**RED, incision="healing")
    assert not severities(found(whole, event="access-1")) & BAD
    assert not re.search(r"\binfect", sheet(whole), re.IGNORECASE)
    note = run("note", whole, event="access-1").stdout
    assert "healing" in note
    assert not re.search(r"\binfect", note, re.IGNORECASE)


def test_3_an_incision_that_opens_is_found() -> None:
    assert severities(found(day_of_implantation(**RED, incision="opening"), event="access-1", words="incision|open"))


# 4. Seven days and thirty minutes

SEVEN_DAYS = [
    # asof, counting, overdue, unsafe
    (t("09:30", day=9), None, False, False),
    (t("23:30", day=9), None, False, False),
    (t("00:30", day=10), None, True, False),
    (t("23:30", day=10), None, True, False),
    (t("00:30", day=11), None, True, True),
    (t("09:30", day=9), {"interval_counting": "hour"}, True, False),
]


@pytest.mark.parametrize(("asof", "policy", "overdue", "unsafe"), SEVEN_DAYS)
@pytest.mark.parametrize("what", ["needle", "dressing"])
def test_4_due_keeps_its_hour_and_overdue_begins_the_day_after(
    what: str, asof: str, policy: Json | None, overdue: bool, unsafe: bool
) -> None:
    whole = record(access(t("09:00")), look(t("20:00", day=8)))
    about = found(whole, words=f"{what}[^.]*(overdue|late|days)", policy=policy, asof=asof)
    assert bool(about) is overdue, about
    assert ("unsafe" in severities(about)) is unsafe, about
    assert len(about) <= 1, about
    assert re.search(r"\b09:00", sheet(whole, policy=policy, asof=asof))


@pytest.mark.parametrize(
    ("out", "found_out"),
    [(t("09:30", day=9), set()), (t("09:30", day=10), {"advice"}), (t("09:30", day=11), {"unsafe"})],
)
def test_4_a_needle_taken_out_late_is_one_finding(out: str, found_out: set[str]) -> None:
    whole = record(access(t("09:00")), look(t("20:00", day=8)), event("de-access", out))
    about = found(whole, words="needle[^.]*(overdue|late|in place|days)")
    assert len(about) == len(found_out), about
    assert "unsafe" not in severities(about) or found_out == {"unsafe"}
    assert found_out != {"unsafe"} or severities(about) == {"unsafe"}


# 5. The first aspirate

DISCARDS = [
    # born, kg, catheter mL, set and connector mL, discard mL, remarked
    ("adult-4", "1970-02-03", 70, 0.9, 0.5, 4, True),
    ("adult-5", "1970-02-03", 70, 0.9, 0.5, 5, False),
    ("4-kg-2-of-short-line", "2031-01-02", 4, 0.4, 0.3, 2, False),
    ("4-kg-1-of-short-line", "2031-01-02", 4, 0.4, 0.3, 1, True),
    ("4-kg-2-of-long-line", "2031-01-02", 4, 1.2, 0.5, 2, True),
]


@pytest.mark.parametrize(
    ("born", "kg", "catheter", "added", "ml", "remarked"),
    [row[1:] for row in DISCARDS],
    ids=[row[0] for row in DISCARDS],
)
def test_5_a_small_patients_discard_goes_by_the_volume_of_the_line(
    born: str, kg: float, catheter: float, added: float, ml: float, remarked: bool
) -> None:
    whole = record(
        access(t("09:00"), discard_ml=ml, needle={"set_volume_ml": added, "connector_volume_ml": 0}),
        patient={"birth_date": born, "weight_kg": kg},
        port={"catheter_volume_ml": catheter},
    )
    about = found(whole, event="access-1", words="discard")
    assert severities(about) == ({"advice"} if remarked else set()), about


@pytest.mark.parametrize("method", ["returned", "mixed in the syringe"])
def test_5_returning_and_mixing_are_charted_and_told(method: str) -> None:
    whole = record(access(t("09:00"), discard_ml=3, discard_method=method))
    assert not severities(found(whole, event="access-1", words="discard|return|mix")) & BAD
    assert re.search("returned|mixed", run("note", whole, event="access-1").stdout)


# 6. The next flush as the nurse told it


@pytest.mark.parametrize(
    ("told", "severity"),
    [
        (later(t("12:00"), days=28), None),
        (later(t("12:00"), days=30), "advice"),  # in one month
        (later(t("12:00"), days=31), "advice"),
    ],
    ids=["four-weeks", "one-month", "31-days"],
)
def test_6_one_month_is_worth_a_word_and_not_wrong(told: str, severity: str | None) -> None:
    whole = record(access(t("09:00")), event("de-access", t("12:00"), next_due={"flush": told}))
    assert severities(found(whole, event="de-access-1", words="flush")) == ({severity} if severity else set())


def test_6_a_flush_told_for_a_day_before_the_visit_is_wrong() -> None:
    whole = record(access(t("09:00")), event("de-access", t("12:00"), next_due={"flush": t("09:00", day=1)}))
    assert "wrong" in severities(found(whole, event="de-access-1", words="flush|due"))


# 7. The syringe


@pytest.mark.parametrize(
    ("size", "proved", "severity"),
    [(10, False, None), (20, False, None), (5, False, "unsafe"), (3, False, "unsafe")],
    ids=["10", "20", "5", "3"],
)
def test_7_the_barrel_is_judged_on_a_line_that_is_not_proved(size: int, proved: bool, severity: str | None) -> None:
    whole = record(access(t("09:00"), flushes=[{**FREE, "volume_ml": 3, "syringe_ml": size}, FREE]))
    about = found(whole, event="access-1", words="syringe|barrel")
    assert severities(about) & BAD == ({severity} if severity else set()), about
    assert all("barrel" in f"{one['message']} {one['todo']}" for one in about), about


def test_7_the_barrel_is_what_is_asked() -> None:
    schema = run("schema").stdout
    asked = re.search(r'"syringe_ml".*?"description": "([^"]*)"', schema, re.DOTALL)
    assert asked and re.search("barrel", asked[1], re.IGNORECASE)


# 8. Adhesive

SENSITIVE = {"allergies": [{"substance": "adhesive", "reaction": "redness under dressings, sensitivity"}]}
ALLERGIC = {"allergies": [{"substance": "adhesive", "reaction": "blisters"}]}
FILMED = {"dressing": {"barrier_film": True}}


@pytest.mark.parametrize(
    ("patient", "facts", "found_out"),
    [(SENSITIVE, FILMED, False), (SENSITIVE, {}, True), (ALLERGIC, FILMED, True), (ALLERGIC, {}, True)],
    ids=["sensitivity-film", "sensitivity", "allergy-film", "allergy"],
)
def test_8_a_barrier_film_answers_a_sensitivity_and_an_allergy_stays(
    patient: Json, facts: Json, found_out: bool
) -> None:
    about = found(record(access(t("09:00"), **facts), patient=patient), event="access-1", words="adhesive")
    assert bool(about) is found_out, about
    assert len(about) <= 1, about


def test_8_a_barrier_film_is_in_the_note() -> None:
    assert re.search("barrier film", run("note", record(access(t("09:00"), **FILMED)), event="access-1").stdout, re.I)


# 9. Whoever found the hold clears it


@pytest.mark.parametrize(
    ("who", "quiet"),
    [
        ({**NURSE, "credential": "VA-BC"}, True),
        ({**NURSE, "credential": "NP"}, True),
        ({**NURSE, "credential": "MD"}, True),
        (NURSE, False),
        ({"name": "Ines Corwin", "credential": "LPN", "id": "CASE-N9"}, False),
    ],
    ids=["vascular-access", "advanced-practice", "physician", "RN", "LPN-of-the-same-name"],
)
def test_9_the_finders_own_clearance_goes_by_credential(who: Json, quiet: bool) -> None:
    whole = record(access_none(by=who), evaluation(t("11:00"), who, ends=["all"]))
    about = found(whole, event="evaluation-1", words="clear|credential|role|found")
    assert bool(about) is not quiet, about
    assert bool(state(whole)["holds"]) is not quiet


def test_9_two_people_of_one_name_are_not_one() -> None:
    namesake = {"name": "Ines Corwin", "credential": "MD", "id": "CASE-M9"}
    assert not found(
        record(access_none(), evaluation(t("11:00"), namesake, ends=["all"])), event="evaluation-1", words="clear"
    )


# 10. The test flush before a power injection

INJECTION = {"purpose": "power injection", "what": "contrast medium", "flow_ml_per_s": 4, "pressure_psi": 200}


@pytest.mark.parametrize(
    ("injected", "found_out"),
    [(t("09:40"), False), (t("09:40", day=4), True), (t("09:40", day=3), True)],
    ids=["same-visit", "two-days", "next-day"],
)
def test_10_the_test_flush_is_of_the_same_visit(injected: str, found_out: bool) -> None:
    looks = [look(t("20:00"))] if injected > t("20:00") else []
    whole = record(access(t("09:00")), *looks, event("line use", injected, **INJECTION))
    about = found(whole, event="line-use-1", words="flush")
    assert bool(about) is found_out, about


# 11. The mark of a late entry


@pytest.mark.parametrize(
    ("charted", "marked", "found_out"),
    [
        (t("14:00"), True, False),  # five hours later, marked by its author: right though no policy asked for it
        (t("23:00"), True, False),
        (t("23:00"), False, True),
        (t("09:20"), False, False),
    ],
    ids=["five-hours-marked", "fourteen-hours-marked", "fourteen-hours-unmarked", "at-once"],
)
def test_11_a_mark_that_is_right_stays_quiet(charted: str, marked: bool, found_out: bool) -> None:
    mark = {"late_entry": "worksheet"} if marked else {}
    whole = record(access(t("09:00"), charted_at=charted, **mark))
    about = found(whole, event="access-1", words="late.entry")
    assert bool(about) is found_out, about


# 12. Both looks after a thrombolytic


def dose_and(*looks: Json) -> Json:
    return record(access_none(), treatment(t("10:00")), *looks)


@pytest.mark.parametrize(
    ("looks", "asof", "asked"),
    [
        ([look_none(t("10:30")), look_none(t("12:00"))], t("12:05"), None),
        ([look_proof(t("10:30"))], t("12:30"), None),  # it worked: no second look is due
        ([look_none(t("10:30"))], t("14:00"), "120|12:00"),
        ([], t("11:30"), "30|10:30"),
    ],
    ids=["both", "worked", "second-missing", "first-missing"],
)
def test_12_both_looks_are_due_each_with_its_time(looks: list[Json], asof: str, asked: str | None) -> None:
    whole = dose_and(*looks)
    about = found(whole, words="look|checked|patency check", asof=asof)
    about = [one for one in about if one["event"] in (None, "patency-treatment-1")]
    assert bool(about) is (asked is not None), about
    if asked:
        assert any(re.search(asked, one["message"]) for one in about), about


# 13. A dressing before any needle, and the order of the file


def test_13_an_intact_dressing_before_any_needle_is_asked_about() -> None:
    before = record(look(t("08:00"), blood_return=None, blood_looks=None), access(t("09:00")))
    assert found(before, event="line-check-1", words="dressing|needle")
    after = record(access(t("09:00")), look(t("10:00")))
    assert not found(after, event="line-check-1", words="dressing|needle")


def test_13_an_order_of_the_file_that_differs_from_the_order_in_time_is_said() -> None:
    first, second = {**access(t("09:00")), "id": "first"}, {**look(t("10:00")), "id": "second"}
    said = "order (of|in) (the )?(file|time)|not in order|in order of time"
    assert re.search(said, " ".join(run("note", record(second, first), all="").output.split()), re.IGNORECASE)
    assert not re.search(said, " ".join(run("note", record(first, second), all="").output.split()), re.IGNORECASE)


# 14. Swelling away from the needle


@pytest.mark.parametrize("place", ["face or neck", "arm", "collarbone", "chest wall", "along the catheter"])
def test_14_swelling_away_from_the_needle_has_its_place_and_no_cause(place: str) -> None:
    whole = record(access(t("09:00")), look(t("11:00"), site=site(swelling="present", swelling_where=[place])))
    _, about = check(whole)
    said = " ".join(f"{one['message']} {one['todo']}" for one in about) + sheet(whole)
    assert place in said
    assert not re.search("extravas|infiltrat|thrombos", said, re.IGNORECASE)
    assert not re.search(r"(?<!do not )\baspirate\b", said, re.IGNORECASE)
    assert re.search("do not flush|nothing .{0,20}(through|in)", said, re.IGNORECASE)
    assert holds(state(whole), "swelling")


def test_14_swelling_at_the_needle_while_something_runs_is_aspirated() -> None:
    whole = record(
        access(t("09:00")),
        look(t("11:00"), signs=sign("swelling", where="needle site", during="infusion", change="new")),
    )
    assert re.search("aspirate", sheet(whole), re.IGNORECASE)


# 15. A named vesicant


VESICANTS = [
    # what, product, vesicant, found
    ("doxorubicin", None, True, False),
    ("doxorubicin", None, None, True),
    ("doxorubicin", None, False, True),
    ("Doxorubicin 50 mg", None, False, True),
    ("vincristine", None, False, True),
    ("vinblastine", None, None, True),
    ("epirubicin", None, False, True),
    ("idarubicin", None, False, True),
    ("mitomycin", None, False, True),
    ("doxorubicin", "pegylated liposomal doxorubicin", False, False),
    ("liposomal doxorubicin", None, False, False),
    ("an antibiotic (invented)", None, False, False),
]


@pytest.mark.parametrize(("what", "product", "vesicant", "found_out"), VESICANTS)
def test_15_a_well_known_vesicant_needs_its_flag(
    what: str, product: str | None, vesicant: bool | None, found_out: bool
) -> None:
    drug = event("line use", t("10:00"), what=what, product=product, vesicant=vesicant)
    about = found(record(access(t("09:00")), drug), event="line-use-1", words="vesicant")
    assert bool(about) is found_out, about
    if found_out:
        assert severities(about) & ({"gap", "wrong"} if vesicant is None else {"wrong"}), about


# 16. Iodine on a newborn


def test_16_neither_chlorhexidine_nor_iodine_is_laid_out_for_a_newborn_without_a_question() -> None:
    newborn = {"birth_date": "2031-03-20", "weight_kg": 3.5}
    whole = record(access(t("09:00")), event("de-access", t("12:00")), patient=newborn)
    options: Json = {"for": "access"}
    paper = " ".join(run("worksheet", whole, **options).stdout.split())
    assert "Ask the prescriber which antiseptic" in paper
    gathered = paper.partition("Supplies to gather")[2].partition("Access, step by step")[0]
    assert not re.search("iodine|alcohol swab|chlorhexidine in alcohol", gathered, re.IGNORECASE)
