"""The table of line states, row by row: what is charted, and the state, the sheet and the check after it.

Written from the table of states and the clinical facts alone, by a second hand that has not read the program. The
number in a test's name is the row. Words of reasons are matched loosely; the state is not.
"""

from __future__ import annotations

import re
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest
from bedside import (
    FREE,
    MD,
    NO_BLOOD,
    Json,
    access,
    access_none,
    check,
    double,
    ended,
    evaluation,
    event,
    found,
    holds,
    look,
    look_none,
    look_proof,
    moment,
    needle_out,
    record,
    run,
    septum,
    severities,
    sheet,
    sign,
    site,
    state,
    t,
    treatment,
    words_of,
)

NONE = "no blood return"
UNPROVEN = "not proven"
STUCK = {"flushes": [{**FREE, "resistance": "some"}]}
BLOCKED = {"flushes": [{**FREE, "resistance": "cannot flush"}]}
PUS = {"site": site(drainage="purulent")}
SWOLLEN = {"site": site(swelling="present", swelling_where=["port pocket"], swelling_change="new")}
DIAGNOSES = (
    r"thrombos|embol|sepsis|septic|bloodstream infection|pocket infection|infected|pinch-off|fractur|"
    r"(suspected|possible|probable|likely) (extravas|infiltrat)|(extravasation|infiltration) suspected"
)


def no_diagnosis(*records: Json) -> None:
    """Assert that the sheet prints signs and times, and no diagnosis."""
    assert not re.search(DIAGNOSES, sheet(*records), re.IGNORECASE)


def usable(now: Json, name: str) -> bool:
    return bool(septum(now, name)["usable"])


# --- 1 to 9: blood return, resistance, and what ends them


def test_1_access_with_proof_begins_no_hold() -> None:
    now = state(record(access(t("09:00"))))
    assert now["holds"] == []
    assert now["usable"] is True
    assert now["exit"] == 0


@pytest.mark.parametrize(
    ("first", "words"),
    [
        (access_none(), NONE),
        (access(t("09:00"), blood_looks="thin"), UNPROVEN),
        (access(t("09:00"), **BLOCKED), "resistance"),
    ],
    ids=["no-blood-return", "not-proven", "resistance"],
)
def test_1_proof_at_a_new_access_ends_the_hold(first: Json, words: str) -> None:
    before = [first, needle_out(t("10:00"))]
    assert holds(state(record(*before)), words)
    now = state(record(*before, access(t("11:00"))))
    assert now["holds"] == []
    assert now["usable"] is True
    (one,) = ended(now, words)
    assert one["by"] == "access-2"
    assert moment(one["since"]) == moment(t("09:00"))
    assert moment(one["ended"]) == moment(t("11:00"))


def test_1_proof_ends_the_holds_of_its_own_septum_alone() -> None:
    now = state(
        double(
            access_none(septum="medial"),
            needle_out(t("10:00"), septum="medial"),
            access(t("11:00"), septum="lateral"),
        )
    )
    assert holds(now, NONE, "medial")
    assert not usable(now, "medial")
    assert usable(now, "lateral")


def test_2_no_blood_return_after_steps_is_a_hold() -> None:
    whole = record(access_none())
    now = state(whole)
    (hold,) = now["holds"]
    assert NONE in words_of(hold)
    assert hold["septum"] == "single"
    assert hold["event"] == "access-1"
    assert moment(hold["since"]) == moment(t("09:00"))
    assert now["usable"] is False
    assert NONE in sheet(whole).lower()


def test_2_a_held_line_has_nothing_through_it_among_what_is_to_be_done() -> None:
    whole = record(access_none())
    now = state(whole, asof=t("10:00", day=3))  # more than a day without a flush
    assert not [row for row in now["due"] if re.search("flush|lock", row["what"], re.IGNORECASE)]
    assert not re.search("next flush is due", run("note", whole, event="access-1").stdout, re.IGNORECASE)


def test_3_second_needle_with_proof_is_no_hold_and_both_punctures_are_told() -> None:
    nurse = {"name": "Ines Corwin", "credential": "RN", "id": "CASE-N1"}
    small, large = (
        {"gauge": 22, "length_mm": 19, "non_coring": True},
        {"gauge": 20, "length_mm": 25.4, "non_coring": True},
    )
    punctures = [
        {"needle": small, "by": nurse, "outcome": "no blood return", "at": t("08:55")},
        {"needle": large, "by": nurse, "outcome": "blood return", "at": t("09:00")},
    ]
    whole = record(access(t("09:00"), attempts=None, needle=None, punctures=punctures))
    now = state(whole)
    assert now["holds"] == []
    assert now["usable"] is True
    note = " ".join(run("note", whole, event="access-1").stdout.split())
    for told in ("22 gauge", "20 gauge", "19 mm", "25.4 mm"):
        assert told in note
    assert re.search("no blood return", note, re.IGNORECASE)
    assert not found(whole, words="access on accessed port|same event twice|needle reused")


def test_4_sluggish_return_is_no_hold_but_no_proof_either() -> None:
    whole = record(access(t("09:00"), blood_return="sluggish"))
    now = state(whole)
    assert now["holds"] == []
    assert "sluggish" in sheet(whole).lower()
    assert found(whole, event="access-1", words="sluggish")


def test_4_no_vesicant_after_sluggish_return() -> None:
    drug = event("line use", t("10:00"), purpose="medication", what="vincristine", vesicant=True)
    whole = record(access(t("09:00"), blood_return="sluggish"), {**drug, "blood_return_before": "sluggish"})
    assert "unsafe" in severities(found(whole, event="line-use-1", words="vesicant"))


def test_4_sluggish_return_at_a_new_access_ends_no_hold() -> None:
    now = state(record(access_none(), needle_out(t("10:00")), access(t("11:00"), blood_return="sluggish")))
    assert holds(now, NONE)
    assert now["usable"] is False


def test_4_a_policy_may_hold_the_line_for_sluggish_return() -> None:
    whole = record(access(t("09:00"), blood_return="sluggish"))
    now = state(whole, policy={"sluggish_return_holds": "yes"})
    assert holds(now, "sluggish")
    assert now["usable"] is False


@pytest.mark.parametrize("looks", ["thin", "clotted"])
def test_5_blood_that_is_not_like_whole_blood_proves_nothing(looks: str) -> None:
    now = state(record(access(t("09:00"), blood_looks=looks)))
    assert holds(now, UNPROVEN)
    assert now["usable"] is False


def test_6_resistance_that_went_with_the_needle_re_seated_is_no_hold() -> None:
    tried = [{**FREE, "resistance": "some"}, {**FREE, "resistance": "none"}]
    now = state(record(access(t("09:00"), flushes=tried, steps_tried=["needle re-seated"])))
    assert now["holds"] == []
    assert now["usable"] is True


@pytest.mark.parametrize("kind", ["access", "flush"])
@pytest.mark.parametrize("felt", [STUCK, BLOCKED], ids=["some", "cannot-flush"])
def test_7_last_flush_with_resistance_is_a_hold(kind: str, felt: Json) -> None:
    events = (
        [access(t("09:00"), **felt)] if kind == "access" else [access(t("08:00")), event("flush", t("09:00"), **felt)]
    )
    now = state(record(*events))
    (hold,) = holds(now, "resistance")
    assert hold["event"] == f"{kind}-1"
    assert now["usable"] is False


def test_7_resistance_at_the_last_flush_counts_though_the_first_ran_free() -> None:
    now = state(record(access(t("09:00"), flushes=[FREE, {**FREE, "resistance": "some"}])))
    assert holds(now, "resistance")


@pytest.mark.parametrize(
    "back",
    [
        look(t("10:30")),
        event("flush", t("10:30")),
        event("line use", t("10:30"), purpose="blood sampling", action="given", what=None, blood_return="present"),
    ],
    ids=["line-check", "flush", "line-use"],
)
def test_8_blood_back_by_the_same_needle_leaves_the_hold_and_asks_for_clearance(back: Json) -> None:
    whole = record(access_none(), back)
    now = state(whole)
    (hold,) = holds(now, NONE)
    assert moment(hold["since"]) == moment(t("09:00"))
    assert now["usable"] is False
    text = sheet(whole)
    assert re.search("evaluat|clear", text, re.IGNORECASE)
    assert re.search(r"blood (return|came).{0,120}10:30|10:30.{0,120}blood (return|came)", text, re.IGNORECASE)


def test_8_a_policy_may_let_proof_by_the_same_needle_end_the_hold() -> None:
    whole = record(access_none(), event("flush", t("10:30")))
    now = state(whole, policy={"hold_ends_with": "evaluation or blood return"})
    assert now["holds"] == []
    assert now["usable"] is True
    assert ended(now, NONE, by="flush-1")


def test_9_proof_at_a_new_access_ends_the_hold_days_later_and_it_is_said_by_what() -> None:
    whole = record(access_none(), needle_out(t("10:00")), access(t("11:00", day=5)))
    now = state(whole)
    assert now["holds"] == []
    (one,) = ended(now, NONE)
    assert one["by"] == "access-2"
    assert one["how"]


EVALUATION_EVERY_TIME = {"hold_ends_with": "evaluation"}


def test_9_a_policy_may_ask_for_an_evaluation_after_proof_at_a_new_access() -> None:
    events = [access_none(), needle_out(t("10:00")), access(t("11:00"))]
    assert holds(state(record(*events), policy=EVALUATION_EVERY_TIME), NONE)
    assert state(record(*events, evaluation(t("12:00"))), policy=EVALUATION_EVERY_TIME)["holds"] == []


# --- 10 to 14: the needle goes, the thrombolytic dwells


def test_10_the_hold_stays_with_the_septum_for_months_after_the_needle_is_out() -> None:
    whole = record(access_none(), needle_out(t("10:00")))
    for asof in (t("12:00"), "2031-07-20T12:00-05:00"):
        now = state(whole, asof=asof)
        (hold,) = holds(now, NONE)
        assert moment(hold["since"]) == moment(t("09:00"))
        assert now["usable"] is False
        assert NONE in sheet(whole, asof=asof).lower()


def test_11_a_thrombolytic_dwells_and_nothing_goes_through() -> None:
    whole = record(access_none(), treatment(t("10:00")))
    now = state(whole)
    assert now["dwell"]["septum"] == "single"
    assert moment(now["dwell"]["since"]) == moment(t("10:00"))
    assert holds(now, NONE)
    assert now["usable"] is False


def test_11_what_goes_through_a_dwelling_septum_is_unsafe() -> None:
    through = event("line use", t("10:10"), purpose="medication", blood_return_before=None)
    whole = record(access_none(), treatment(t("10:00")), through)
    assert "unsafe" in severities(found(whole, event="line-use-1", words="thrombolytic|alteplase|dwell|hold"))


def test_12_look_at_30_minutes_without_return_lets_the_dwell_go_on_to_120() -> None:
    whole = record(access_none(), treatment(t("10:00")), look_none(t("10:30")))
    now = state(whole, asof=t("10:45"))
    assert now["dwell"] is not None
    assert len(now["dwell"]["looks"]) == 1
    assert any(moment(row["due"]) == moment(t("12:00")) for row in now["due"] if row["due"])
    assert "12:00" in sheet(whole, asof=t("10:45"))


@pytest.mark.parametrize(
    ("first", "words"), [(access_none(), NONE), (access_none(**BLOCKED), "resistance")], ids=["none", "resistance"]
)
def test_13_proof_at_a_look_ends_dwell_and_holds(first: Json, words: str) -> None:
    before = [first, treatment(t("10:00"), patency_before=NONE)]
    assert holds(state(record(*before)), words)
    now = state(record(*before, look_proof(t("10:30"))))
    assert now["dwell"] is None
    assert now["holds"] == []
    assert now["usable"] is True
    (one,) = ended(now, words)
    assert one["by"] in ("patency-check-1", "patency-treatment-1")


def test_13_sluggish_return_at_a_look_is_no_proof() -> None:
    now = state(record(access_none(), treatment(t("10:00")), look_proof(t("10:30"), blood_return="sluggish")))
    assert holds(now, NONE)
    assert now["usable"] is False


def test_13_a_policy_may_ask_for_an_evaluation_after_a_treatment_that_worked() -> None:
    events = [access_none(), treatment(t("10:00")), look_proof(t("10:30"))]
    assert holds(state(record(*events), policy=EVALUATION_EVERY_TIME), NONE)


def test_13_a_drug_that_was_pushed_in_is_no_faultless_end_of_the_dwell() -> None:
    looked = look_proof(t("10:30"), withdrawn_ml=None, old_lock="flushed in")
    whole = record(access_none(), treatment(t("10:00")), looked)
    now = state(whole)
    assert (
        now["dangers"]
        or now["holds"]
        or now["dwell"]
        or found(whole, event="patency-check-1", words="withdr|flushed in|aspirat")
    )


def test_14_no_return_at_120_minutes_keeps_the_hold_and_allows_a_second_dose() -> None:
    whole = record(access_none(), treatment(t("10:00")), look_none(t("10:30")), look_none(t("12:00")))
    now = state(whole, asof=t("12:05"))
    assert holds(now, NONE)
    assert now["usable"] is False
    assert "second dose" in sheet(whole, asof=t("12:05")).lower()


def test_14_after_the_second_dose_failed_comes_evaluation_with_imaging() -> None:
    whole = record(
        access_none(),
        treatment(t("10:00")),
        look_none(t("12:00")),
        treatment(t("12:10"), second_dose_of="patency-treatment-1"),
        look_none(t("12:40"), "patency-treatment-2"),
        look_none(t("14:10"), "patency-treatment-2"),
    )
    assert holds(state(whole), NONE)
    text = sheet(whole).lower()
    assert "evaluat" in text
    assert "imag" in text
    assert not re.search(r"(second|third|another|further) dose (can|may)", text)


# --- 15 to 18: the evaluation


TWO_REASONS = access_none(**SWOLLEN)


def test_15_an_evaluation_ends_the_reasons_that_it_names_and_no_others() -> None:
    now = state(record(TWO_REASONS, evaluation(t("11:00"), ends=[NONE])))
    assert ended(now, NONE, by="evaluation-1")
    assert not holds(now, NONE)
    assert holds(now, "swelling")
    assert now["usable"] is False


def test_15_all_ends_all() -> None:
    now = state(record(TWO_REASONS, evaluation(t("11:00"), ends=["all"])))
    assert now["holds"] == []
    assert now["usable"] is True


def test_15_nothing_named_of_two_reasons_ends_nothing_and_is_asked() -> None:
    whole = record(TWO_REASONS, evaluation(t("11:00")))
    now = state(whole)
    assert holds(now, NONE)
    assert holds(now, "swelling")
    assert found(whole, event="evaluation-1", words="which|name")


def test_15_one_reason_of_one_septum_needs_no_name() -> None:
    now = state(record(access_none(), evaluation(t("11:00"))))
    assert now["holds"] == []
    assert ended(now, NONE, by="evaluation-1")
    assert now["usable"] is True


def test_15_the_other_septum_stays_on_hold() -> None:
    now = state(
        double(
            access_none(septum="medial"),
            access_none(t("09:20"), septum="lateral"),
            evaluation(t("11:00"), septum="medial", ends=[NONE]),
        )
    )
    assert usable(now, "medial")
    assert not usable(now, "lateral")
    assert holds(now, NONE, "lateral")


WITH_LIMITS = evaluation(
    t("11:00"), decision="cleared with limits", limits=["no vesicant", "no power injection"], ends=["all"]
)


def test_16_cleared_with_limits_ends_the_hold_and_the_limits_stand() -> None:
    whole = record(access_none(), WITH_LIMITS)
    now = state(whole)
    assert now["holds"] == []
    assert set(now["limits"]) == {"no vesicant", "no power injection"}
    text = sheet(whole).lower()
    assert "no vesicant" in text
    assert "no power injection" in text


def test_16_limits_outlive_the_needle_and_end_when_they_are_lifted() -> None:
    days = [access_none(), WITH_LIMITS, needle_out(t("12:00")), access(t("09:00", day=9))]
    assert set(state(record(*days))["limits"]) == {"no vesicant", "no power injection"}
    lifted = evaluation(t("11:00", day=9), lifts=["no vesicant"])
    assert set(state(record(*days, lifted))["limits"]) == {"no power injection"}


def test_16_a_vesicant_against_the_limit_is_unsafe() -> None:
    drug = event("line use", t("12:00"), what="vincristine", vesicant=True)
    whole = record(access_none(), WITH_LIMITS, drug)
    assert "unsafe" in severities(found(whole, event="line-use-1", words="vesicant"))


@pytest.mark.parametrize("role", ["nursing assistant", "student nurse", None])
def test_17_cleared_by_another_role_ends_nothing_and_is_found(role: str | None) -> None:
    who = {"name": "Quillon Farrowby", "credential": role, "id": "CASE-N7"}
    whole = record(access_none(), evaluation(t("11:00"), who, ends=["all"]))
    now = state(whole)
    assert holds(now, NONE)
    assert now["ended"] == []
    assert now["usable"] is False
    assert found(whole, event="evaluation-1", words="clear|role|credential")


def test_17_a_policy_says_which_roles_may_clear() -> None:
    who = {"name": "Quillon Farrowby", "credential": "charge nurse", "id": "CASE-N7"}
    whole = record(access_none(), evaluation(t("11:00"), who))
    assert holds(state(whole), NONE)
    assert state(whole, policy={"roles_that_may_clear": ["MD", "charge nurse"]})["holds"] == []


@pytest.mark.parametrize(
    "decision", ["remains on hold", "thrombolytic ordered", "line to be removed", "port replaced", None]
)
def test_18_other_decisions_end_nothing(decision: str | None) -> None:
    now = state(record(access_none(), evaluation(t("11:00"), decision=decision)))
    assert holds(now, NONE)
    assert now["ended"] == []
    assert now["usable"] is False


# --- 19 to 21: what is seen and felt at the site


SIGNS_AT_THE_SITE: list[tuple[str, dict[str, Any], str]] = [
    ("swelling-new", {"swelling": "present", "swelling_where": ["port pocket"], "swelling_change": "new"}, "swelling"),
    (
        "swelling-growing",
        {"swelling": "present", "swelling_where": ["port pocket"], "swelling_change": "growing"},
        "swelling",
    ),
    ("swelling-after-use", {"swelling": "present", "swelling_where": ["port pocket"]}, "swelling"),
    ("pus", {"drainage": "purulent"}, "pus"),
    ("flipped", {"port": "flipped"}, "flipped"),
    ("not-felt", {"port": "not felt"}, "not felt"),
    ("skin-broken", {"skin": "broken"}, "skin"),
    ("skin-thinned", {"skin": "thinned"}, "skin"),
    ("port-visible", {"skin": "port visible"}, "skin|visible"),
]


@pytest.mark.parametrize(
    ("signs", "words"), [row[1:] for row in SIGNS_AT_THE_SITE], ids=[r[0] for r in SIGNS_AT_THE_SITE]
)
def test_19_signs_at_the_pocket_hold_until_an_evaluation(signs: dict[str, Any], words: str) -> None:
    seen = [
        access(t("09:00")),
        event("line use", t("10:00"), action="given"),
        look(t("11:00"), site=site(**signs)),
    ]
    now = state(record(*seen))
    (hold,) = holds(now, words)
    assert hold["event"] == "line-check-1"
    assert now["usable"] is False
    no_diagnosis(record(*seen))
    proved = [*seen, needle_out(t("12:00")), access(t("13:00"))]
    assert holds(state(record(*proved)), words), "blood return does not end it"
    cleared = state(record(*seen, evaluation(t("12:00"), ends=["all"])))
    assert cleared["holds"] == []
    assert ended(cleared, words, by="evaluation-1")


RED = {"erythema": "present", "erythema_mm": 15, "tenderness": "present"}


def test_20_redness_and_tenderness_in_a_healed_port_hold_by_the_words_of_the_sign() -> None:
    whole = record(access(t("09:00")), look(t("11:00"), site=site(**RED)))
    now = state(whole)
    (hold,) = now["holds"]
    assert re.search("red", words_of(hold))
    assert re.search("tender", words_of(hold))
    no_diagnosis(whole)


def test_20_a_policy_may_leave_redness_and_tenderness_without_a_hold() -> None:
    whole = record(access(t("09:00")), look(t("11:00"), site=site(**RED)))
    assert state(whole, policy={"redness_and_tenderness_holds": "no"})["holds"] == []


IMPLANTED = event("port implanted", t("08:00", day=2))
NEW_PORT = {"implanted_on": "2031-04-02", "tip": None}


def new_port(*events: Json) -> Json:
    return record(IMPLANTED, *events, port=NEW_PORT)


HEALING = {**RED, "swelling": "present", "swelling_where": ["port pocket"], "incision": "healing"}


def test_21_signs_of_a_fresh_implantation_are_no_hold_by_themselves() -> None:
    whole = new_port(access(t("09:00", day=4), site=site(**HEALING)))
    now = state(whole)
    assert now["holds"] == []
    assert now["usable"] is True


@pytest.mark.parametrize(("at", "held"), [(t("07:00", day=5), False), (t("09:00", day=5), True)], ids=["71h", "73h"])
def test_20_21_the_72_hours_count_from_the_implantation(at: str, held: bool) -> None:
    whole = new_port(access(at, site=site(**RED, incision="healing")))
    assert bool(state(whole)["holds"]) is held


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"site": site(**HEALING, drainage="purulent")}, "pus"),
        ({"site": site(**HEALING), "signs": sign("fever", temperature_c=39.1, change="new")}, "fever"),
        ({"site": site(**{**HEALING, "incision": "opening"})}, "incision|wound|open"),
        ({"site": site(**{**HEALING, "swelling_change": "growing"})}, "swelling"),
    ],
    ids=["pus", "fever", "wound-opens", "growing-swelling"],
)
def test_21_a_fresh_port_is_on_hold_by_pus_fever_an_opening_wound_or_growing_swelling(facts: Json, words: str) -> None:
    # The fever is charted at a look an hour after the flush of the access.
    whole = new_port(access(t("09:00", day=4)), look(t("10:00", day=4), **facts))
    now = state(whole)
    assert holds(now, words)
    assert now["usable"] is False


# --- 22 to 25: what the patient says and shows


def sign_at_the_site(what: str, during: str) -> Json:
    signs = sign(what, where="needle site", during=during, change="new", began_at=t("10:40"))
    start = event("line use", t("10:00"), purpose="infusion", action="started")
    return record(access(t("09:00")), start, look(t("10:45"), signs=signs))


@pytest.mark.parametrize("during", ["infusion", "flush", "injection"])
@pytest.mark.parametrize("what", ["swelling", "pain", "burning", "leak"])
def test_22_a_sign_at_the_site_while_something_goes_in_is_a_hold(what: str, during: str) -> None:
    whole = sign_at_the_site(what, during)
    now = state(whole)
    assert holds(now, what)
    assert now["usable"] is False
    assert what in sheet(whole).lower()
    no_diagnosis(whole)


@pytest.mark.parametrize("what", ["swelling", "pain", "burning", "leak"])
def test_22_the_sheet_says_not_to_flush_and_to_aspirate_before_the_needle_goes(what: str) -> None:
    text = sheet(sign_at_the_site(what, "infusion")).lower()
    assert "aspirate" in text
    assert re.search("(do not|not to be|nothing|no|without) ?\\w* ?flush", text)


def test_22_it_ends_by_an_evaluation_only() -> None:
    signs = sign("burning", where="needle site", during="flush", began_at=t("10:00"))
    seen = [access(t("09:00")), event("flush", t("10:00"), signs=signs)]
    assert holds(state(record(*seen, needle_out(t("11:00")), access(t("12:00")))), "burning")
    cleared = state(record(*seen, evaluation(t("11:00"), ends=["all"])))
    assert cleared["holds"] == []


def test_22_a_sign_that_begins_after_the_flush_counts_without_saying_during_what() -> None:
    signs = sign("burning", where="needle site", change="new", began_at=t("10:05"))
    seen = [access(t("09:00")), event("flush", t("10:00")), look(t("10:15"), signs=signs)]
    assert holds(state(record(*seen)), "burning")


def test_22_a_leak_at_the_connector_is_replaced_and_no_hold() -> None:
    signs = sign("leak", where="connector", during="flush", began_at=t("10:00"))
    whole = record(access(t("09:00")), look(t("10:15"), signs=signs))
    assert state(whole)["holds"] == []
    assert re.search("connector", sheet(whole), re.IGNORECASE)


PLACES = ["arm", "face or neck", "collarbone", "chest wall", "along the catheter"]


@pytest.mark.parametrize("place", PLACES)
def test_23_new_swelling_away_from_the_pocket_is_a_hold_named_by_its_place(place: str) -> None:
    whole = record(access(t("09:00")), look(t("10:00"), signs=sign("swelling", where=place, change="new")))
    now = state(whole)
    (hold,) = holds(now, "swelling")
    told = place.split(" or ")[0]
    assert told in words_of(hold)
    assert now["usable"] is False
    assert told in sheet(whole).lower()
    no_diagnosis(whole)


@pytest.mark.parametrize("place", PLACES)
def test_23_the_same_swelling_charted_with_the_site_is_the_same_hold(place: str) -> None:
    swollen = site(swelling="present", swelling_where=[place], swelling_change="new")
    now = state(record(access(t("09:00")), look(t("10:00"), site=swollen)))
    (hold,) = holds(now, "swelling")
    assert place.split(" or ")[0] in words_of(hold)


@pytest.mark.parametrize("what", ["fever", "chills", "shaking"])
def test_24_fever_or_chills_soon_after_a_flush_hold_with_sign_and_time(what: str) -> None:
    signs = sign(what, change="new", began_at=t("10:40"))
    whole = record(access(t("09:00")), event("flush", t("10:00")), look(t("10:45"), signs=signs))
    now = state(whole)
    (hold,) = holds(now, what)
    assert now["usable"] is False
    text = sheet(whole).lower()
    assert what in text
    assert re.search("40 min|10:40", f"{hold['sign']} {text}")
    no_diagnosis(whole)


def test_24_chills_after_an_infusion_was_started_hold_too() -> None:
    start = event("line use", t("10:00"), purpose="infusion", action="started")
    now = state(record(access(t("09:00")), start, look(t("11:00"), signs=sign("chills", began_at=t("10:50")))))
    assert holds(now, "chills")


ORDERED = {"despite_hold": {"by": MD, "purpose": "blood cultures", "ordered_at": t("10:50")}}


def cultures(**facts: Any) -> Json:
    return event(
        "line use", t("11:00"), purpose="blood sampling", action="given", what=None, blood_return="present", **facts
    )


CHILLS = [access(t("09:00")), event("flush", t("10:00")), look(t("10:45"), signs=sign("chills", began_at=t("10:40")))]


def test_24_what_a_prescriber_ordered_in_spite_of_the_hold_is_no_fault_and_the_hold_stays() -> None:
    whole = record(*CHILLS, cultures(**ORDERED))
    now = state(whole)
    assert holds(now, "chills")
    assert now["usable"] is False
    assert "unsafe" not in severities(found(whole, event="line-use-1", words="hold|held"))


def test_24_the_order_and_its_author_are_on_the_sheet() -> None:
    text = sheet(record(*CHILLS, cultures(**ORDERED)))
    assert "Osric Fennimore" in text
    assert "cultures" in text.lower()


def test_24_the_same_without_an_order_is_unsafe() -> None:
    assert "unsafe" in severities(found(record(*CHILLS, cultures()), event="line-use-1", words="hold|held"))


@pytest.mark.parametrize("what", ["breathlessness", "chest pain", "line found open", "catheter parted"])
def test_25_breathlessness_chest_pain_open_or_parted_lines_hold(what: str) -> None:
    whole = record(access(t("09:00")), look(t("10:00"), signs=sign(what, change="new", began_at=t("09:55"))))
    now = state(whole)
    assert holds(now, "open|parted" if "line" in what or "catheter" in what else what)
    assert now["usable"] is False
    no_diagnosis(whole)


@pytest.mark.parametrize("what", ["breathlessness", "chest pain", "line found open", "catheter parted"])
def test_25_the_sheet_says_to_clamp(what: str) -> None:
    whole = record(access(t("09:00")), look(t("10:00"), signs=sign(what, change="new", began_at=t("09:55"))))
    assert "clamp" in sheet(whole).lower()


def test_25_an_open_line_is_known_by_what_was_found() -> None:
    now = state(record(access(t("09:00")), look(t("10:00"), found=["clamp open", "connector off"])))
    assert holds(now, "open|connector")


# --- 26 to 30: needle, tip, catheter


def dislodged(at: str, extent: str, running: str = "nothing", **facts: Any) -> Json:
    return event("needle dislodged", at, **{"extent": extent, "running": running, **facts})


def test_26_a_needle_partly_out_is_a_hold_and_is_never_pushed_back() -> None:
    whole = record(access(t("09:00")), dislodged(t("10:00"), "partly out", actions=["stopped", "clamped"]))
    now = state(whole)
    assert holds(now, "partly out")
    assert now["usable"] is False
    text = sheet(whole).lower()
    assert "partly out" in text
    assert re.search("(not|never) (be )?push", text)


def test_26_a_needle_found_partly_out_at_a_look_is_the_same() -> None:
    now = state(record(access(t("09:00")), look(t("10:00"), found=["needle partly out"])))
    assert holds(now, "partly out")
    assert now["usable"] is False


def test_26_a_needle_that_came_out_while_something_ran_holds_until_an_evaluation() -> None:
    out = [
        access(t("09:00")),
        event("line use", t("09:30"), purpose="infusion", action="started", what="vancomycin"),
        dislodged(t("10:00"), "completely out", running="vancomycin"),
    ]
    now = state(record(*out))
    assert now["holds"]
    assert now["usable"] is False
    assert septum(now, "single")["needle"] is None
    assert state(record(*out, access(t("11:00"))))["holds"], "proof does not end it"
    assert state(record(*out, evaluation(t("11:00"), ends=["all"])))["holds"] == []


BROKEN = event(
    "de-access", t("10:00"), needle_intact=False, missing_piece="tip of the needle, looked for in the dressing"
)


def test_27_a_needle_that_is_not_whole_holds_until_the_piece_is_found_or_imaged() -> None:
    whole = record(access(t("09:00")), BROKEN)
    now = state(whole)
    assert holds(now, "not whole")
    assert now["usable"] is False
    assert holds(state(record(access(t("09:00")), BROKEN, access(t("11:00")))), "not whole")
    imaged = evaluation(t("12:00"), evidence=["chest radiograph"], ends=["all"])
    assert state(record(access(t("09:00")), BROKEN, imaged))["holds"] == []


def test_27_the_sheet_says_what_is_missing() -> None:
    assert "tip of the needle" in sheet(record(access(t("09:00")), BROKEN))


def test_27_a_safety_device_that_did_not_lock_is_told_and_no_hold() -> None:
    whole = record(access(t("09:00")), event("de-access", t("10:00"), safety_engaged=False))
    now = state(whole)
    assert now["holds"] == []
    assert now["usable"] is True
    assert found(whole, event="de-access-1", words="safety|sharps")


FIRST_USE = {"tip_confirmed": False}


def test_28_a_tip_that_is_not_confirmed_at_first_use_is_a_hold() -> None:
    whole = new_port(access(t("09:00", day=9), **FIRST_USE))
    whole["events"][0].pop("tip_location", None)
    whole["events"][0].pop("tip_method", None)
    now = state(whole)
    assert holds(now, "tip")
    assert now["usable"] is False


def test_28_a_tip_known_to_lie_wrong_is_a_hold() -> None:
    wrong = {"location": "azygos vein", "method": "chest radiograph", "on": "2031-04-02"}
    moved = event("port facts", t("10:00"), tip=wrong, source="radiograph")
    now = state(record(access(t("09:00")), moved))
    assert holds(now, "tip")
    assert now["usable"] is False


POSTURE = [
    access(t("09:00")),
    look(t("10:00"), signs=[*sign("resistance changes with posture"), *sign("shoulder pain", where="collarbone")]),
]


def test_29_resistance_by_posture_with_shoulder_pain_holds_until_imaged() -> None:
    whole = record(*POSTURE)
    now = state(whole)
    assert holds(now, "posture")
    assert now["usable"] is False
    assert "posture" in sheet(whole).lower()
    no_diagnosis(whole)
    assert holds(state(record(*POSTURE, needle_out(t("11:00")), access(t("12:00")))), "posture")
    imaged = evaluation(t("12:00"), evidence=["contrast study"], ends=["all"])
    assert state(record(*POSTURE, imaged))["holds"] == []


def test_29_a_treatment_does_not_end_it() -> None:
    whole = record(*POSTURE, treatment(t("11:00")), look_proof(t("11:30")))
    assert holds(state(whole), "posture")


LOST_AGAIN = [
    access_none(),
    treatment(t("10:00")),
    look_proof(t("10:30")),
    event("flush", t("15:00"), **NO_BLOOD),
]


def test_29_return_that_was_restored_and_is_lost_again_holds_until_imaged() -> None:
    assert state(record(*LOST_AGAIN))["holds"]
    assert state(record(*LOST_AGAIN, needle_out(t("16:00")), access(t("17:00"))))["holds"], (
        "a new access does not end it"
    )
    again = [treatment(t("16:00")), look_proof(t("16:30"), "patency-treatment-2")]
    assert state(record(*LOST_AGAIN, *again))["holds"], "a second treatment does not end it"
    imaged = evaluation(t("16:00"), evidence=["contrast study"], ends=["all"])
    assert state(record(*LOST_AGAIN, imaged))["holds"] == []


def injection(flow: float, pressure: float) -> Json:
    return event(
        "line use",
        t("10:00"),
        purpose="power injection",
        what="contrast medium",
        flow_ml_per_s=flow,
        pressure_psi=pressure,
    )


WEAK_NEEDLE = {"needle": {"rated_flow_ml_per_s": 3, "rated_pressure_psi": 300}}
OVER_THE_LIMIT = [
    ("flow-of-port", {}, injection(5.5, 200), True),
    ("pressure-of-port", {}, injection(4, 310), True),
    ("flow-of-needle", WEAK_NEEDLE, injection(4, 200), True),
    ("at-the-limit", {}, injection(5, 300), False),
    ("at-the-limit-of-the-needle", WEAK_NEEDLE, injection(3, 300), False),
]


@pytest.mark.parametrize(("needle", "use", "held"), [r[1:] for r in OVER_THE_LIMIT], ids=[r[0] for r in OVER_THE_LIMIT])
def test_30_an_exceeded_rated_limit_holds_until_integrity_was_evaluated(needle: Json, use: Json, held: bool) -> None:
    events = [access(t("09:00"), **needle), use]
    now = state(record(*events))
    assert bool(holds(now, "limit|rated|exceeded")) is held
    assert now["usable"] is not held
    if held:
        assert state(record(*events, needle_out(t("11:00")), access(t("12:00"))))["holds"], "proof does not end it"
        assert state(record(*events, evaluation(t("11:00"), ends=["all"])))["holds"] == []


# --- 31 to 34: several reasons, two septa


def test_31_of_two_reasons_proof_ends_one() -> None:
    now = state(record(TWO_REASONS, needle_out(t("10:00")), access(t("11:00"))))
    assert ended(now, NONE, by="access-2")
    assert not holds(now, NONE)
    (left,) = now["holds"]
    assert "swelling" in words_of(left)
    assert now["usable"] is False


BOTH_IN = [access(t("08:00"), septum="medial"), access(t("08:20"), septum="lateral")]


@pytest.mark.parametrize(
    "facts",
    [
        event("flush", t("09:00"), **NO_BLOOD),
        event("flush", t("09:00"), blood_looks="thin"),
        event("flush", t("09:00"), **STUCK),
        dislodged(t("09:00"), "partly out"),
    ],
    ids=["2-no-blood-return", "5-not-proven", "7-resistance", "26-partly-out"],
)
def test_32_one_septum_of_two(facts: Json) -> None:
    now = state(double(*BOTH_IN, {**facts, "septum": "medial"}))
    assert not usable(now, "medial")
    assert usable(now, "lateral")
    assert {hold["septum"] for hold in now["holds"]} == {"medial"}


def test_32_a_dwell_is_of_one_septum() -> None:
    events = [
        access_none(t("08:00"), septum="medial"),
        access(t("08:20"), septum="lateral"),
        treatment(t("09:00"), septum="medial"),
    ]
    now = state(double(*events))
    assert now["dwell"]["septum"] == "medial"
    assert not usable(now, "medial")
    assert usable(now, "lateral")


BOTH_SEPTA = {
    "19-swelling": look(t("09:00"), **SWOLLEN),
    "19-pus": look(t("09:00"), **PUS),
    "19-flipped": look(t("09:00"), site=site(port="flipped")),
    "19-thinned": look(t("09:00"), site=site(skin="thinned")),
    "20-red-and-tender": look(t("09:00"), site=site(**RED)),
    "22-burning": look(t("09:00"), signs=sign("burning", where="needle site", during="infusion")),
    "23-arm": look(t("09:00"), signs=sign("swelling", where="arm", change="new")),
    "24-chills": look(t("09:00"), signs=sign("chills", began_at=t("08:50"))),
    "25-breathless": look(t("09:00"), signs=sign("breathlessness", change="new")),
    "25-parted": look(t("09:00"), signs=sign("catheter parted", change="new")),
    "28-tip": event(
        "port facts", t("09:00"), tip={"location": "azygos vein", "method": "chest radiograph"}, source="radiograph"
    ),
    "29-posture": look(t("09:00"), signs=[*sign("resistance changes with posture"), *sign("chest pain")]),
    "30-limit": {**injection(5.5, 200), "at": t("09:00")},
}


@pytest.mark.parametrize("facts", BOTH_SEPTA.values(), ids=BOTH_SEPTA.keys())
def test_33_both_septa_of_two(facts: Json) -> None:
    placed = facts if facts["kind"] == "port facts" else {**facts, "septum": "medial"}
    now = state(double(*BOTH_IN, placed))
    assert not usable(now, "medial")
    assert not usable(now, "lateral")
    assert now["usable"] is False


def test_34_an_event_without_septum_holds_both_and_is_asked() -> None:
    whole = double(access_none())
    now = state(whole)
    assert not usable(now, "medial")
    assert not usable(now, "lateral")
    assert found(whole, event="access-1", words="septum|which")


# --- 35 and 36: over stays, and the end of the port


TRANSFER = event("transfer", t("12:00"), to_unit="Ward Curlew")
HOME = event("discharge", t("13:00"), needle_in=False)


@pytest.mark.parametrize(
    ("events", "words"),
    [([access_none()], NONE), ([access(t("09:00")), look(t("09:30"), **PUS)], "pus")],
    ids=[NONE, "pus"],
)
def test_35_a_hold_goes_along_over_transfer_discharge_and_a_new_stay(events: list[Json], words: str) -> None:
    moved = record(*events, TRANSFER)
    assert holds(state(moved), words)
    gone = record(*events, TRANSFER, {**needle_out(t("12:30")), "id": "out"}, HOME)
    assert holds(state(gone), words)
    stay = {"unit": "Day Unit Sandpiper", "setting": "outpatient", "admitted_at": "2031-05-20T08:00-05:00"}
    again = record(event("line check", "2031-05-20T08:30-05:00", blood_return=None), stay=stay, id="case-2")
    for files in ((gone, again), (again, gone)):
        now = state(*files)
        (hold,) = holds(now, words)
        assert moment(hold["since"]) < moment(t("10:00"))
        assert now["usable"] is False
        assert words in sheet(*files).lower()


REMOVED = event("port removed", t("15:00"))


def test_36_the_removal_of_the_port_ends_the_holds_of_the_line() -> None:
    now = state(record(access_none(), needle_out(t("10:00")), REMOVED))
    assert now["holds"] == []
    assert ended(now, NONE, by="port-removed-1")
    assert now["due"] == []


@pytest.mark.parametrize(
    ("events", "words"),
    [
        (
            [access(t("09:00")), look(t("10:00"), signs=sign("swelling", where="arm", change="new"))],
            "swelling.*arm|arm.*swelling",
        ),
        ([access(t("09:00")), BROKEN], "tip of the needle"),
        ([access(t("09:00")), look(t("10:00"), signs=sign("fluid collection", where="chest wall"))], "fluid"),
    ],
    ids=["arm", "missing-piece", "fluid"],
)
def test_36_problems_of_the_patient_outlive_the_port(events: list[Json], words: str) -> None:
    out = [] if events[-1] is BROKEN else [needle_out(t("14:00"))]
    whole = record(*events, *out, REMOVED)
    text = sheet(whole, asof=t("12:00", day=4)).lower()
    assert re.search(words, text)


# --- 37 to 41: corrections, unread facts, order


def correction(kind: str, at: str, **facts: Any) -> Json:
    return event(kind, at, by={"name": "Tobias Wren", "credential": "RN", "id": "CASE-N2"}, **facts)


def test_37_a_retracted_beginning_is_no_hold_and_is_printed_as_withdrawn() -> None:
    whole = record(
        access(t("09:00")),
        look(t("10:00"), **PUS),
        correction("retraction", t("11:10"), of="line-check-1"),
    )
    now = state(whole)
    assert now["holds"] == []
    assert now["usable"] is True
    text = sheet(whole)
    assert re.search("withdrawn|retracted", text, re.IGNORECASE)
    assert "Tobias Wren" in text
    assert "11:10" in text


def test_38_a_retracted_end_brings_the_hold_back_from_its_beginning() -> None:
    cleared = [access_none(), evaluation(t("10:00"))]
    assert state(record(*cleared))["holds"] == []
    now = state(record(*cleared, correction("retraction", t("11:00"), of="evaluation-1")))
    (hold,) = holds(now, NONE)
    assert moment(hold["since"]) == moment(t("09:00"))
    assert now["ended"] == []
    assert now["usable"] is False


def test_38_a_retracted_proof_brings_the_hold_back() -> None:
    now = state(
        record(
            access_none(),
            needle_out(t("10:00")),
            access(t("11:00")),
            correction("retraction", t("12:00"), of="access-2"),
        )
    )
    (hold,) = holds(now, NONE)
    assert hold["event"] == "access-1"


def test_39_an_amendment_from_present_to_none_begins_the_hold_at_the_event() -> None:
    amended = correction("amendment", t("12:00"), of="access-1", sets={"blood_return": "none", "blood_looks": None})
    now = state(record(access(t("09:00")), look(t("10:00")), amended))
    (hold,) = holds(now, NONE)
    assert hold["event"] == "access-1"
    assert moment(hold["since"]) == moment(t("09:00"))


def test_39_an_amendment_from_none_to_present_ends_the_hold_as_if_it_had_never_been() -> None:
    amended = correction(
        "amendment", t("12:00"), of="access-1", sets={"blood_return": "present", "blood_looks": "like whole blood"}
    )
    whole = record(access_none(), amended)
    now = state(whole)
    assert now["holds"] == []
    assert now["usable"] is True


UNREADABLE = access(t("09:00"), blood_return="absent")


def test_40_proof_that_could_not_be_read_is_a_hold() -> None:
    whole = record(UNREADABLE)
    now = state(whole)
    assert holds(now, UNPROVEN)
    assert now["usable"] is False
    assert [one["text"] for one in now["unread"]] == ["absent"]
    assert now["exit"] == 2
    assert check(whole)[0] in (1, 2)
    assert "absent" in sheet(whole)


def test_40_the_next_proof_by_the_same_needle_ends_it() -> None:
    now = state(record(UNREADABLE, event("flush", t("11:00"))))
    assert now["holds"] == []
    assert ended(now, UNPROVEN, by="flush-1")


@pytest.mark.parametrize(("evaluated", "held"), [("10:10", False), ("10:04", True)], ids=["after", "before"])
def test_41_events_of_one_minute_go_as_charted_whatever_the_order_of_the_file(evaluated: str, held: bool) -> None:
    first = access(t("09:00"))
    pus = look(t("10:00"), charted_at=t("10:07"), **PUS)
    seen = evaluation(t("10:00"), charted_at=t(evaluated), ends=["all"])
    now = [state(record(first, *order)) for order in permutations((pus, seen))]
    assert [bool(one["holds"]) for one in now] == [held, held]


def test_usable_only_when_no_hold_is_left() -> None:
    now = state(record(TWO_REASONS, evaluation(t("11:00"), ends=["swelling"])))
    assert now["holds"]
    assert now["usable"] is False


def test_every_row_of_the_table_has_a_test() -> None:
    rows = [int(number) for name in globals() for number in re.findall(r"(?<=_)\d+(?=_)", name) if name[:5] == "test_"]
    assert set(range(1, 42)) <= set(rows)
    dangers = (Path(__file__).parent / "test_standing_dangers.py").read_text()
    assert set(re.findall(r"def test_d(\d+)_", dangers)) == {str(number) for number in range(1, 12)}
