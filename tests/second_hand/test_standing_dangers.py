"""Standing dangers, amounts and paper, row by row of the table of line states; written as test_line_states.py is."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from bedside import (
    FREE,
    MD,
    SALINE_LOCK,
    Json,
    access,
    access_none,
    check,
    danger,
    dangers,
    double,
    evaluation,
    event,
    found,
    holds,
    last_moment,
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
    site,
    state,
    t,
    treatment,
)

HEPARIN_LOCK = {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5, "preservative": "none"}
LOCKED = {"lock": HEPARIN_LOCK, "infusion": None}
SALINE_LOCKED = {"lock": SALINE_LOCK, "infusion": None}
HIT = {"history": ["heparin-induced thrombocytopenia"]}
HEPARIN_ALLERGY = {"allergies": [{"substance": "heparin", "reaction": "hives"}]}


def acts(now: Json) -> str:
    """Return all that the sheet lists to be done, in small letters."""
    return json.dumps(now["due"]).lower()


def worksheet(whole: Json, act: str) -> str:
    """Return the worksheet for this act."""
    options: Json = {"for": act}
    return run("worksheet", whole, **options).stdout


def stands_for_days(whole: Json, code: str) -> None:
    """Assert that the danger is on the sheet now and six shifts later."""
    for asof in (last_moment(whole), t("12:00", day=6)):
        now = state(whole, asof=asof)
        assert code in dangers(now)
        assert danger(now, code)["what"]
        assert danger(now, code)["forbids"] or code in ("D6", "D10")  # these two forbid nothing


# --- D1: heparin in the line


@pytest.mark.parametrize("patient", [HIT, HEPARIN_ALLERGY], ids=["hit", "allergy"])
def test_d1_heparin_in_the_line_stands_and_is_not_to_be_pushed_in(patient: Json) -> None:
    whole = record(access(t("09:00"), **LOCKED), patient=patient)
    stands_for_days(whole, "D1")
    now = state(whole)
    assert "heparin" in danger(now, "D1")["what"].lower()
    assert moment(danger(now, "D1")["since"]) == moment(t("09:00"))
    assert "flush and lock" not in acts(now)
    assert "flush and lock" not in sheet(whole).lower().replace("do not flush and lock", "")
    paper = " ".join(worksheet(whole, "deaccess").lower().split())
    assert "heparin 100 units" not in paper
    assert "flush and lock" not in paper.replace("do not flush and lock", "")
    assert re.search("aspirat.{0,80}discard", paper)


def test_d1_is_there_though_the_history_is_found_later() -> None:
    lock = access(t("09:00"), **LOCKED)
    learned = event(
        "patient facts",
        t("15:00"),
        history=[{"condition": "heparin-induced thrombocytopenia", "found_on": "2031-04-02"}],
    )
    assert "D1" not in dangers(state(record(lock)))
    assert "D1" in dangers(state(record(lock, learned)))


ASPIRATED = event("flush", t("11:00"), old_lock="aspirated and discarded", lock=SALINE_LOCK)


@pytest.mark.parametrize("what", ["aspirated", "port removed"])
def test_d1_ends_by_aspiration_with_a_flush_or_with_the_port(what: str) -> None:
    ends = [ASPIRATED] if what == "aspirated" else [needle_out(t("11:00")), event("port removed", t("15:00"))]
    assert "D1" not in dangers(state(record(access(t("09:00"), **LOCKED), *ends, patient=HIT)))


def test_d1_stays_when_the_flush_after_the_aspiration_has_heparin_again() -> None:
    again = event("flush", t("11:00"), old_lock="aspirated and discarded", lock=HEPARIN_LOCK)
    assert "D1" in dangers(state(record(access(t("09:00"), **LOCKED), again, patient=HIT)))


def test_d1_stays_where_nothing_could_be_aspirated() -> None:
    tried = event(
        "flush",
        t("11:00"),
        old_lock="could not be aspirated",
        blood_return="none",
        blood_looks=None,
        flushes={"not_done": "nothing pushed in"},
        lock={"not_done": "nothing pushed in"},
    )
    assert "D1" in dangers(state(record(access(t("09:00"), **LOCKED), tried, patient=HIT)))


def test_d1_flushed_in_becomes_an_exposure() -> None:
    pushed = event("flush", t("11:00"), old_lock="flushed in", lock=SALINE_LOCK)
    whole = record(access(t("09:00"), **LOCKED), pushed, patient=HIT)
    assert re.search("expos|flushed in", sheet(whole), re.IGNORECASE)
    assert "unsafe" in severities(found(whole, event="flush-1", words="heparin"))


EXPOSED = [access(t("09:00"), **LOCKED), event("flush", t("11:00"), old_lock="flushed in", lock=SALINE_LOCK)]
AGAIN = {
    "flush": event("flush", t("15:00"), lock=HEPARIN_LOCK),
    "needle-removal": event("de-access", t("15:00"), lock=HEPARIN_LOCK),
}
TOLD = {"what": "heparin lock was flushed in", "action": "exposure reported", "told": MD, "reply": "will come"}


def d1(now: Json, words: str) -> list[Json]:
    """Return the rows of D1 in which the pattern ``words`` occurs; an exposure may stand beside heparin in the line."""
    return [each for each in now["dangers"] if each["code"] == "D1" and re.search(words, each["what"].lower())]


@pytest.mark.parametrize("again", AGAIN.values(), ids=AGAIN.keys())
def test_d1_heparin_left_in_the_line_again_is_a_danger_beside_the_exposure(again: Json) -> None:
    before = state(record(*EXPOSED, patient=HIT))
    assert d1(before, "expos")
    assert not d1(before, "in the line")
    assert not re.search("aspirat.{0,20}discard", acts(before))
    whole = record(*EXPOSED, again, patient=HIT)
    for asof in (last_moment(whole), t("12:00", day=6)):
        now = state(whole, asof=asof)
        (lock,) = d1(now, "heparin in the line")
        assert moment(lock["since"]) == moment(t("15:00"))
        assert lock["forbids"]
        assert len(d1(now, "expos")) == 1
        assert re.search("aspirat.{0,20}discard", acts(now))
        text = sheet(whole, asof=asof).lower()
        assert "heparin in the line" in text
        assert re.search("aspirat.{0,20}discard", text)


@pytest.mark.parametrize("again", AGAIN.values(), ids=AGAIN.keys())
def test_d1_the_exposure_stays_beside_it_until_somebody_named_was_told(again: Json) -> None:
    untold = record(*EXPOSED, again, patient=HIT)
    assert d1(state(untold, asof=t("12:00", day=6)), "expos")
    assert re.search("report.{0,20}expos", acts(state(untold)))
    assert "exposure of a patient" in sheet(untold).lower()
    for nobody in (None, {"name": None, "credential": "MD"}):
        problem = {**TOLD, "told": nobody, "told_at": None, "reply": None}
        unnamed = state(record(*EXPOSED, {**again, "problems": [problem]}, patient=HIT))
        assert d1(unnamed, "expos"), f"told: {nobody}"
        assert re.search("report.{0,20}expos", acts(unnamed))
    told = state(record(*EXPOSED, {**again, "problems": [TOLD]}, patient=HIT))
    assert not d1(told, "expos")
    assert not re.search("report.{0,20}expos", acts(told))
    assert d1(told, "heparin in the line"), "who was told of the exposure did not empty the line"
    assert re.search("aspirat.{0,20}discard", acts(told))


SECOND = [AGAIN["flush"], event("flush", t("17:00"), old_lock="flushed in", lock=SALINE_LOCK)]


# Of a double port each lumen is a line of its own: its exposure is charted, reported and ended by its own events.
@pytest.mark.parametrize(("septa", "asked"), [("one-septum", 1), ("two-septa", 2)])
def test_d1_to_report_the_exposure_is_asked_once_however_many_there_are(septa: str, asked: int) -> None:
    whole = record(*EXPOSED, *SECOND, patient=HIT)
    if septa == "two-septa":
        sides = [{**each, "septum": side} for side in ("medial", "lateral") for each in EXPOSED]
        whole = double(*sorted(sides, key=lambda each: str(each["at"])), patient=HIT)
    now = state(whole)
    assert d1(now, "expos")
    assert len([row for row in now["due"] if re.search("report.{0,20}expos", row["what"].lower())]) == asked
    in_order_of_time = re.findall(
        r"\[ \] now: [^\[]*?report the exposure", sheet(whole).lower().split("the same tasks")[1]
    )
    assert len(in_order_of_time) == asked


def test_d1_is_nothing_for_a_patient_without_history() -> None:
    assert "D1" not in dangers(state(record(access(t("09:00"), **LOCKED))))


# --- D2: a coring needle


CORING = access(t("09:00"), needle={"non_coring": False})


def test_d2_a_coring_needle_stands_until_it_is_out_and_the_septum_stays_suspect() -> None:
    whole = record(CORING)
    stands_for_days(whole, "D2")
    out = [CORING, event("de-access", t("11:00"))]
    now = state(record(*out))
    assert "D2" not in dangers(now)
    assert holds(now, "coring")
    assert now["usable"] is False
    assert state(record(*out, access(t("12:00"))))["holds"], "proof does not make the septum whole"
    assert state(record(*out, evaluation(t("12:00"), ends=["all"])))["holds"] == []


# --- D3 and D4: what must not be flushed in, what must not be used


STRONG_LOCKS = {
    "treatment-strength": {"drug": "heparin", "units_per_ml": 1000, "volume_ml": 2, "preservative": "none"},
    "ethanol": {"drug": "70% ethanol", "volume_ml": 2, "units_per_ml": None},
    "taurolidine-heparin": {"drug": "taurolidine with citrate and heparin", "volume_ml": 2, "units_per_ml": 500},
}


@pytest.mark.parametrize("lock", STRONG_LOCKS.values(), ids=STRONG_LOCKS.keys())
def test_d3_a_lock_that_must_not_be_flushed_in_stands_until_it_is_aspirated(lock: Json) -> None:
    whole = record(access(t("09:00"), lock=lock, infusion=None))
    stands_for_days(whole, "D3")
    assert "flush and lock" not in acts(state(whole))
    assert "D3" not in dangers(state(record(access(t("09:00"), lock=lock, infusion=None), ASPIRATED)))


def test_d3_an_ordinary_lock_is_none() -> None:
    assert "D3" not in dangers(state(record(access(t("09:00"), **LOCKED))))


def test_d4_a_thrombolytic_in_the_line_stands_until_it_is_aspirated_or_evaluated() -> None:
    dose = [access_none(), treatment(t("10:00"))]
    whole = record(*dose)
    stands_for_days(whole, "D4")
    assert "D4" in dangers(state(record(*dose, look_none(t("10:30")), look_none(t("12:00")))))
    assert "D4" not in dangers(state(record(*dose, look_proof(t("10:30")))))
    assert "D4" not in dangers(state(record(*dose, look_none(t("12:00")), evaluation(t("13:00"), ends=["all"]))))


def test_d4_nothing_to_be_done_uses_the_line_while_the_drug_is_in_it() -> None:
    now = state(record(access_none(), treatment(t("10:00"))))
    assert not re.search("flush|lock", acts(now))


# --- D5 and D6: what runs


VESICANT = [
    access(t("09:00")),
    event("line use", t("10:00"), purpose="infusion", action="started", what="vincristine", vesicant=True),
]
STOPPED = event("line use", t("14:00"), purpose="infusion", action="stopped", what="vincristine", vesicant=True)


@pytest.mark.parametrize(
    "seen",
    [
        look(t("12:00"), infusion="0.9% sodium chloride at 50 mL per hour"),
        look(t("12:00")),
        look(t("12:00"), vesicant=False),
    ],
    ids=["another-name", "no-name", "called-no-vesicant"],
)
def test_d5_a_vesicant_stays_one_whatever_a_later_check_calls_it(seen: Json) -> None:
    assert "D5" in dangers(state(record(*VESICANT)))
    whole = record(*VESICANT, seen)
    now = state(whole)
    assert "D5" in dangers(now)
    assert "vesicant" in sheet(whole).lower()


def test_d5_ends_when_it_is_stopped_and_flushed_through_after_proof() -> None:
    assert "D5" in dangers(state(record(*VESICANT, STOPPED)))
    assert "D5" not in dangers(state(record(*VESICANT, STOPPED, event("flush", t("14:10")))))


def test_d5_is_not_ended_by_a_flush_without_proof() -> None:
    unproven = event("flush", t("14:10"), blood_return="none", blood_looks=None, discard_ml={"not_done": "no aspirate"})
    assert "D5" in dangers(state(record(*VESICANT, STOPPED, unproven)))


RUNS = [access(t("09:00")), event("line use", t("10:00"), purpose="infusion", action="started", what="fluids")]


@pytest.mark.parametrize(
    "end",
    [
        event("line use", t("14:00"), purpose="infusion", action="stopped", what="fluids"),
        look(t("14:00"), nothing_runs=True),
    ],
    ids=["stopped", "nothing-runs"],
)
def test_d6_nothing_runs_and_the_line_is_neither_flushed_nor_locked(end: Json) -> None:
    assert "D6" not in dangers(state(record(*RUNS)))
    whole = record(*RUNS, end)
    stands_for_days(whole, "D6")
    assert "D6" not in dangers(state(record(*RUNS, end, event("flush", t("14:10")))))


# --- D7 to D9: dressing, ages, allergies


@pytest.mark.parametrize("seen", ["damp", "loose", "soiled"])
def test_d7_a_failed_dressing_that_was_left_stands_until_it_is_changed(seen: str) -> None:
    events = [access(t("09:00")), look(t("12:00"), dressing_found=[seen])]
    whole = record(*events)
    stands_for_days(whole, "D7")
    now = state(whole)
    assert moment(danger(now, "D7")["since"]) == moment(t("12:00"))
    dressing = [row for row in now["due"] if "dressing" in row["what"].lower()]
    assert dressing
    assert all(row["due"] is None or moment(row["due"]) <= moment(t("12:30")) for row in dressing), "waits for its date"
    assert "D7" not in dangers(state(record(*events, event("dressing change", t("13:00"), dressing_found=[seen]))))


UNKNOWN = {"not_assessed": "not known to the sending hospital"}


@pytest.mark.parametrize("fact", ["inserted_at", "dressed_at"])
def test_d8_a_needle_or_dressing_of_unknown_age_stands_until_it_is_changed(fact: str) -> None:
    arrived = event("arrival accessed", t("09:00"), **{fact: UNKNOWN}, next_due=None)
    whole = record(arrived)
    stands_for_days(whole, "D8")
    what = "needle" if fact == "inserted_at" else "dressing"
    assert not any(
        row["due"] and moment(row["due"]) > moment(t("23:00", day=3))
        for row in state(whole)["due"]
        if what in row["what"].lower()
    ), "a date as if known"
    new = [event("de-access", t("10:00")), access(t("10:20"))]
    assert "D8" not in dangers(state(record(arrived, *new)))


def test_d8_a_new_dressing_does_not_make_the_needle_younger() -> None:
    arrived = event("arrival accessed", t("09:00"), inserted_at=UNKNOWN, next_due=None)
    assert "D8" in dangers(state(record(arrived, event("dressing change", t("10:00")))))


def allergic(substance: str, reaction: str = "blisters") -> Json:
    return {"allergies": [{"substance": substance, "reaction": reaction}]}


IODINE = {"agent": "povidone-iodine", "started_at": t("08:50"), "scrub_s": 60, "dry_s": 120}
ON_THE_PATIENT: list[tuple[str, str, Json]] = [
    ("disc", "chlorhexidine", {"antisepsis": IODINE}),
    ("antiseptic", "iodine", {"antisepsis": IODINE}),
    ("adhesive", "adhesive", {}),
    ("latex", "latex", {"dressing": {"latex": True}}),
]


@pytest.mark.parametrize(("substance", "facts"), [r[1:] for r in ON_THE_PATIENT], ids=[r[0] for r in ON_THE_PATIENT])
def test_d9_what_is_on_the_patient_against_an_allergy_stands(substance: str, facts: Json) -> None:
    whole = record(access(t("09:00"), **facts), patient=allergic(substance))
    stands_for_days(whole, "D9")
    assert substance in json.dumps(danger(state(whole), "D9")).lower()


def test_d9_ends_when_it_is_changed() -> None:
    first = access(t("09:00"), antisepsis=IODINE)
    bare = event(
        "dressing change",
        t("11:00"),
        antisepsis={**IODINE, "started_at": t("10:50")},
        dressing={"chlorhexidine_disc": False},
        taken_off=["disc"],
    )
    assert "D9" not in dangers(state(record(first, bare, patient=allergic("chlorhexidine"))))
    again = event("dressing change", t("11:00"), antisepsis={**IODINE, "started_at": t("10:50")})
    assert "D9" in dangers(state(record(first, again, patient=allergic("chlorhexidine"))))


def test_d9_a_barrier_film_does_not_answer_an_allergy() -> None:
    film = access(t("09:00"), dressing={"barrier_film": True})
    assert "D9" in dangers(state(record(film, patient=allergic("adhesive", "blisters, hives"))))


def test_d9_the_worksheet_does_not_repeat_it() -> None:
    whole = record(access(t("09:00"), antisepsis=IODINE), patient=allergic("chlorhexidine"))
    paper = " ".join(worksheet(whole, "dressing").split())
    assert "[ ] Chlorhexidine" not in paper  # neither swab nor disc among what is gathered
    assert "[ ] Chlorhexidine" in " ".join(worksheet(record(access(t("09:00"))), "dressing").split())


# --- D10 and D11


TEACHING = {"about": "what to do when the needle comes out", "to": "patient", "understanding": "taught back"}
TERN = {"name": "Home care Tern", "credential": "home care"}
REMOVAL = {"by": TERN, "at": t("10:00", day=9), "call": "the port clinic, at any hour"}


def home(**facts: Any) -> Json:
    return event("discharge", t("13:00"), **{"needle_in": True, "teaching": TEACHING, **facts})


@pytest.mark.parametrize(
    ("facts", "stands"),
    [
        ({}, True),
        ({"needle_removal": {"by": TERN}}, True),
        ({"needle_removal": REMOVAL, "teaching": {"not_done": "no time"}}, True),
        ({"needle_removal": REMOVAL}, False),
    ],
    ids=["nobody", "no-date", "no-teaching", "named-and-taught"],
)
def test_d10_a_needle_at_home_needs_somebody_who_takes_it_out(facts: Json, stands: bool) -> None:
    now = state(record(access(t("09:00")), home(**facts)))
    assert ("D10" in dangers(now)) is stands


def test_d10_is_nothing_when_the_needle_is_out() -> None:
    whole = record(access(t("09:00")), event("de-access", t("12:00")), home(needle_in=False))
    assert "D10" not in dangers(state(whole))


def test_d11_a_fact_that_could_not_be_read_stands_until_it_is_corrected() -> None:
    unread = access(t("09:00"), blood_return="absent")
    proof = event("flush", t("11:00"))
    assert "D11" in dangers(state(record(unread)))
    assert "D11" in dangers(state(record(unread, proof)))
    fixed = event("amendment", t("12:00"), of="access-1", sets={"blood_return": "none", "blood_looks": None})
    now = state(record(unread, fixed))
    assert "D11" not in dangers(now)
    assert holds(now, "no blood return")


def test_d11_nothing_states_the_opposite_of_an_unread_allergy() -> None:
    whole = record(
        access(t("09:00")),
        patient={"allergies": [{"substance": "penicilin"}, {"substance": "latex", "reaction": "hives"}]},
    )
    now = state(whole)
    assert "D11" in dangers(now)
    assert now["exit"] == 2
    text = sheet(whole)
    assert "penicilin" in text
    assert "latex" in text.lower()
    assert not re.search("allergies: ?(none|not recorded)|no allergies|allergies not recorded", text, re.IGNORECASE)


def test_d11_nothing_states_the_opposite_of_an_unread_swelling() -> None:
    whole = record(access(t("09:00")), look(t("10:00"), site=site(swelling="lots")))
    now = state(whole)
    assert "D11" in dangers(now)
    assert now["usable"] is False
    assert "lots" in sheet(whole)


# --- Amounts


def child(born: str, kg: float) -> Json:
    return {"birth_date": born, "weight_kg": kg}


def lock_of(units_per_ml: int, volume_ml: float = 3) -> Json:
    return {"drug": "heparin", "units_per_ml": units_per_ml, "volume_ml": volume_ml, "preservative": "none"}


@pytest.mark.parametrize(
    ("born", "kg", "strength", "asked"),
    [
        ("2030-05-02", 10.5, 100, True),  # eleven months
        ("2030-04-02", 10.5, 100, False),  # one year old today
        ("2028-04-02", 9.9, 100, True),
        ("2028-04-02", 10, 100, False),
        ("2030-05-02", 9, 10, False),
    ],
    ids=["under-one-year", "one-year", "under-10-kg", "10-kg", "10-units"],
)
def test_amounts_100_units_per_ml_is_asked_about_in_the_small_child(
    born: str, kg: float, strength: int, asked: bool
) -> None:
    patient = child(born, kg)
    whole = record(
        access(t("09:00"), lock=lock_of(strength), infusion=None, discard_ml=3),
        patient=patient,
    )
    about = found(whole, event="access-1", words="heparin[^.]*(10|100) units per mL")
    assert bool(about) is asked


def test_amounts_units_per_kilogram_and_day_are_summed_and_printed() -> None:
    patient = child("2028-04-02", 12)
    whole = record(
        access(t("09:00"), lock=lock_of(100), infusion=None),
        event("flush", t("15:00"), lock=lock_of(100)),
        patient=patient,
    )
    assert re.search(r"\b50 units per kg", sheet(whole))  # 600 units in 12 kg


GAUZE = access(t("18:00"), dressing={"type": "gauze", "chlorhexidine_disc": False, "site_visible": False})


@pytest.mark.parametrize("counting", ["hour", "calendar day"])
def test_amounts_gauze_stays_by_the_hour(counting: str) -> None:
    whole = record(GAUZE)
    policy = {"interval_counting": counting}
    dressing = [row for row in state(whole, policy=policy)["due"] if "dressing" in row["what"].lower()]
    assert [moment(row["due"]) for row in dressing] == [moment(t("18:00", day=4))]


@pytest.mark.parametrize("what", ["needle", "dressing"])
def test_amounts_one_day_late_is_overdue_and_unsafe_from_the_second(what: str) -> None:
    whole = record(access(t("09:00")), look(t("20:00", day=8)))
    late = found(whole, words=f"{what}.*(overdue|late|due|days)", asof=t("08:00", day=10))
    assert late
    assert "unsafe" not in severities(late)
    very = found(whole, words=f"{what}.*(overdue|late|due|days)", asof=t("12:00", day=11))
    assert "unsafe" in severities(very)


def test_amounts_the_liposomal_form_is_not_the_vesicant() -> None:
    drug = event(
        "line use",
        t("10:00"),
        purpose="infusion",
        action="started",
        what="doxorubicin",
        product="pegylated liposomal doxorubicin",
        vesicant=False,
    )
    whole = record(access(t("09:00")), drug)
    assert "D5" not in dangers(state(whole))
    assert not found(whole, event="line-use-1", words="vesicant")
    note = " ".join(run("note", whole, event="line-use-1").stdout.split())
    assert "pegylated liposomal doxorubicin" in note


# --- On paper


def test_paper_a_second_identifier_stands_beside_every_name() -> None:
    text = sheet(record(access(t("09:00"))), form="md")
    rows = [row for row in text.splitlines() if "Thistledown" in row]
    assert rows
    for row in rows:
        assert re.search("CASE-1|February 1970|1970-02-03", row), row


def test_paper_a_childs_weight_is_on_the_sheet() -> None:
    assert re.search(r"\b12\.5 kg", sheet(record(access(t("09:00")), patient=child("2028-04-02", 12.5))))


def test_paper_every_severe_allergy_is_on_the_sheet() -> None:
    severe = [
        {"substance": "latex", "reaction": "anaphylaxis"},
        {"substance": "other", "detail": "penicillin", "reaction": "anaphylaxis"},
        {"substance": "contrast medium", "reaction": "anaphylaxis"},
    ]
    text = sheet(record(access(t("09:00")), patient={"allergies": severe})).lower()
    for substance in ("latex", "penicillin", "contrast"):
        assert substance in text


def test_paper_no_other_patients_name_in_an_alert_or_a_note() -> None:
    one = record(access(t("09:00")))
    other = record(
        access(t("09:30")),
        id="case-2",
        patient={
            "given_name": "Zebedee",
            "identifiers": [
                {"system": "https://case.example/record-number", "value": "CASE-2", "label": "record number"}
            ],
        },
    )
    block = json.loads(run("handoff", one, other, format="json").stdout)["patients"]
    assert len(block) == 2
    for patient in block:
        names = {"Perpetua", "Zebedee"}
        assert len({name for name in names if name in json.dumps(patient)}) == 1


def test_paper_the_sheet_calls_no_colleague_unsafe_or_wrong() -> None:
    bad = record(
        access(t("09:00"), attempts=4, flushes=[{**FREE, "syringe_ml": 3}], technique={"masks": False}),
        event("line use", t("10:00"), vesicant=True, what="vincristine", blood_return_before="none"),
    )
    assert check(bad)[0] == 1
    assert not re.search(r"\b(unsafe|wrong)\b", sheet(bad), re.IGNORECASE)


def test_paper_the_foot_says_what_kind_of_paper_it_is() -> None:
    text = " ".join(run("handoff", record(access(t("09:00")))).stdout.lower().split())
    assert "working paper" in text
    assert "not part of the medical record" in text
    assert re.search("destroy", text)


def test_paper_a_needle_stick_belongs_to_employee_health() -> None:
    stick = {"what": "needle-stick to the nurse's thumb", "action": "washed", "told": MD, "reply": "will come"}
    whole = record(access(t("09:00")), event("de-access", t("10:00"), problems=[stick]))
    assert found(whole, event="de-access-1", words="employee health")


def test_septum_has_no_needle_after_removal() -> None:
    now = state(record(access(t("09:00")), event("de-access", t("10:00"))))
    assert septum(now, "single")["needle"] is None
