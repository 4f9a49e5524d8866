"""Charts made to mislead: each was tried against the check, the note and the sheet by a nurse who knows the trade.

What is expected is written from the table of line states (rows 1 to 41, D1 to D11) and the clinical facts, before the
program was changed.
"""

from __future__ import annotations

import re

import pytest
from bedside import (
    FREE,
    MD,
    Json,
    access,
    access_none,
    dangers,
    evaluation,
    event,
    found,
    look,
    record,
    site,
    state,
    t,
    treatment,
)

ARM = site(swelling="present", swelling_where=["arm"], swelling_change="new")
RUNS: Json = {"lock": {"not_done": "infusion connected"}, "infusion": "0.9% sodium chloride at 50 mL per hour"}
TOLD = [{"what": "swelling", "action": "told at once", "told": MD, "told_at": t("12:05"), "reply": "will come"}]
NO_PLAN: Json = {"handed_to": None, "needle_removal": None, "next_due": None, "teaching": None}
SWOLLEN_ARM = look(t("12:00"), site=ARM, problems=TOLD)


def stop(at: str) -> Json:
    return event("line use", at, purpose="infusion", action="stopped", what="0.9% sodium chloride", vesicant=None)


# --- what runs on, and what is pushed in, while the line is on hold (rows 22 to 25: stop, do not flush)


@pytest.mark.parametrize("kind", ["flush", "de-access"])
def test_a_swollen_arm_is_not_flushed_whatever_the_entry_is_called(kind: str) -> None:
    whole = record(
        access(t("09:00")), look(t("12:00"), site=ARM, problems=TOLD), event(kind, t("12:20"), flushes=[FREE])
    )
    (one,) = found(whole, event=f"{kind}-1", words="flush")
    assert one["severity"] == "unsafe"
    assert "swelling of arm" in one["message"]


def test_a_needle_taken_out_of_a_held_line_without_a_flush_is_good_care() -> None:
    still: Json = {"flushes": {"not_done": "line on hold"}, "lock": {"not_done": "line on hold"}}
    whole = record(
        access(t("09:00")), look(t("12:00"), site=ARM, problems=TOLD), event("de-access", t("12:20"), **still)
    )
    assert not found(whole, event="de-access-1", words="flush|hold")


@pytest.mark.parametrize(("clock", "late"), [("12:10", False), ("14:10", True)])
def test_a_stop_that_comes_hours_after_the_swelling_is_no_stop_at_once(clock: str, late: bool) -> None:
    whole = record(access(t("09:00"), **RUNS), look(t("12:00"), site=ARM, problems=TOLD), stop(t(clock)))
    every = found(whole, words="stop")
    assert bool(every) is late
    assert not late or (len(every) == 1 and every[0]["severity"] == "unsafe" and "14:10" in every[0]["message"])


def test_an_infusion_runs_since_it_was_started_and_not_since_it_was_seen() -> None:
    runs = {"infusion": "0.9% sodium chloride at 50 mL per hour"}
    swollen = site(swelling="present", swelling_where=["needle site"], swelling_change="new")
    whole = record(
        access(t("09:00"), **RUNS), look(t("12:00"), **runs), look(t("15:00"), site=swollen, problems=TOLD, **runs)
    )
    (one,) = found(whole, words="no stop is charted")
    assert not re.search(r"running since \S+ 1[25]:00", one["message"])


def test_morphine_that_a_prescriber_lets_run_on_is_no_infusion_forgotten() -> None:
    sore = site(erythema="present", tenderness="present")
    order = {"by": MD, "purpose": "morphine for comfort", "ordered_at": t("12:10")}
    whole = record(
        access(t("09:00"), **RUNS),
        look(t("12:00"), site=sore, problems=TOLD, despite_hold=order, infusion="morphine"),
        look(t("20:00"), site=sore, problems=TOLD, despite_hold=order, infusion="morphine"),
        port={"implanted_on": "2030-01-01"},
    )
    assert not found(whole, words="no stop")
    unordered = record(
        access(t("09:00"), **RUNS),
        look(t("12:00"), site=sore, problems=TOLD, infusion="morphine"),
        port={"implanted_on": "2030-01-01"},
    )
    assert found(unordered, words="no stop")


# --- sentences that said more than the facts


def test_a_leak_at_the_needle_is_not_printed_as_swelling() -> None:
    leak = [{"what": "leak", "where": "needle site", "during": "infusion", "began_at": t("11:55")}]
    whole = record(access(t("09:00"), **RUNS), look(t("12:00"), signs=leak, problems=TOLD))
    (one,) = found(whole, words="no stop is charted")
    assert "leak" in one["message"].lower()
    assert "welling" not in one["message"]


def test_the_time_between_flush_and_fever_is_not_cut_to_hours() -> None:
    hot = [{"what": "fever", "temperature_c": 38.9, "began_at": t("11:30")}]
    (hold,) = state(record(access(t("09:00"), **RUNS), look(t("12:00"), signs=hot, problems=TOLD)))["holds"]
    assert "2 hours 30 minutes after" in hold["sign"]  # line states, words: the sign and its time


@pytest.mark.parametrize("kind", ["flush", "line use"])
def test_who_charted_the_site_looked_at_the_line(kind: str) -> None:
    whole = record(access(t("09:00")), event(kind, t("20:00"), site=site()), look(t("06:00", 3)))
    assert not found(whole, words="no line check")
    assert found(record(access(t("09:00")), look(t("06:00", 3))), words="no line check")


# --- what ends a danger or a hold, and what does not


@pytest.mark.parametrize("decision", ["thrombolytic ordered", "line to be removed", "port replaced", "remains on hold"])
def test_d1_is_not_ended_by_a_decision_about_something_else(decision: str) -> None:
    heparin = {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5, "preservative": "none"}
    found_later = [{"condition": "heparin-induced thrombocytopenia", "found_on": "2031-04-04"}]
    whole = record(
        access(t("09:00"), infusion=None, lock=heparin),
        event("patient facts", t("12:00", 4), history=found_later),
        event("evaluation", t("13:00", 4), by=MD, cleared_by=MD, decision=decision, ends=None, limits=None),
    )
    assert "D1" in dangers(state(whole))


def test_d1_does_not_outlive_the_allergy_that_was_a_mistake() -> None:
    heparin = {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5, "preservative": "none"}
    allergic = [
        access(t("09:00"), infusion=None, lock=heparin),
        event("patient facts", t("12:00", 4), allergies=[{"substance": "heparin", "reaction": "rash"}]),
    ]
    assert "D1" in dangers(state(record(*allergic)))
    withdrawn = [{"substance": "heparin", "reason": "tested, no reaction"}]
    assert "D1" not in dangers(
        state(record(*allergic, event("patient facts", t("12:00", 5), allergies_withdrawn=withdrawn)))
    )


def test_a_thrombolytic_through_a_pocket_with_pus_is_found() -> None:
    pus = look(t("12:00"), site=site(drainage="purulent"), problems=TOLD, blood_return="none", blood_looks=None)
    whole = record(access_none(), pus, treatment(t("13:00")))
    (one,) = found(whole, event="patency-treatment-1", words="hold")
    assert one["severity"] == "unsafe"
    assert "pus" in one["message"]
    assert not found(record(access_none(), treatment(t("13:00"))), event="patency-treatment-1", words="while on hold")


@pytest.mark.parametrize("credential", ["scribe for MD", "RN, formerly MD", "unit secretary to MD", "MD student"])
def test_a_physician_named_in_somebody_elses_role_clears_nothing(credential: str) -> None:
    who = {"name": "Wynn Ashdown", "credential": credential, "id": "CASE-X1"}
    assert state(record(access_none(), evaluation(t("10:00"), who=who)))["holds"]  # line states, row 17


def test_nobody_is_asked_who_takes_the_needle_out_of_a_patient_who_died() -> None:
    died = event("discharge", t("12:00"), destination="died", needle_in=True, **NO_PLAN)
    assert not found(record(access(t("09:00")), died), event="discharge-1")
    home = event("discharge", t("12:00"), destination="home", needle_in=True, **NO_PLAN)
    assert found(record(access(t("09:00")), home), event="discharge-1", words="removal of the needle")


# --- what is due: nothing through a held line, and no late date for what harms now


def test_no_flush_was_due_of_a_port_that_was_on_hold() -> None:
    idle = "flush was due"
    quiet = {"lock": {"not_done": "line on hold"}, "flushes": {"not_done": "line on hold"}}
    held = record(access_none(), event("de-access", t("10:00"), blood_return="none", blood_looks=None, **quiet))
    assert not found(held, words=idle, asof="2031-05-20T09:00-05:00")
    free = record(access(t("09:00")), event("de-access", t("10:00")))
    assert found(free, words=idle, asof="2031-05-20T09:00-05:00")


def test_a_port_that_was_flushed_elsewhere_did_not_stand_idle() -> None:
    elsewhere = event("flushed elsewhere", "2031-04-29T10:00-05:00", on="2031-04-28", where="clinic")
    whole = record(access(t("09:00")), event("de-access", t("10:00")), elsewhere)
    assert not found(whole, words="flush was due", asof="2031-05-20T09:00-05:00")
    assert found(whole, words="flush was due", asof="2031-06-20T09:00-05:00")


def test_a_disc_against_an_allergy_found_later_is_not_left_to_its_date() -> None:
    allergic = [{"substance": "chlorhexidine", "reaction": "anaphylaxis"}]
    now = state(record(access(t("09:00")), event("patient facts", t("12:00", 3), allergies=allergic)))
    assert "D9" in dangers(now)
    (due,) = [row for row in now["due"] if row["what"].startswith("Dressing")]
    assert due["due"] is None, due  # D9: taken off or changed, not waited for
