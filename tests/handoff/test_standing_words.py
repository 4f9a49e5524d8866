"""What stays on the sheet, whatever shift it is, and for how long: holds, dangers, what was said about them."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest
from made_records import HEPARIN, NEEDLE, event, moment, needle_event, policy, record, removal_event
from ward import handed, rows

from lda_notes.documents.handoff.page import left_sheet
from lda_notes.documents.handoff.patient import PatientFacts
from lda_notes.documents.render import text
from lda_notes.knowledge.policy import DEFAULT, Policy

LOCKE = {"name": "Dr Amaranth Locke", "credential": "MD"}
FREE = {"solution": "0.9% sodium chloride", "volume_ml": 10, "syringe_ml": 10, "resistance": "none"}
THREE_DAYS_ON = moment("2031-03-06 07:00")


def problem(what: str, reply: str | None, **more: Any) -> dict[str, Any]:
    return {"what": what, "action": "looked at", "told": LOCKE, **({"reply": reply} if reply else {}), **more}


def look(at: str, *problems: dict[str, Any], **facts: Any) -> dict[str, Any]:
    return event("line check", at, dressing_found=["intact"], blood_return="present", problems=list(problems), **facts)


def only(*events: dict[str, Any], asof: datetime = THREE_DAYS_ON, limits: Policy = DEFAULT) -> PatientFacts:
    (found,) = handed([record(*events, number=7)], asof, limits).patients
    return found


def problems(found: PatientFacts) -> list[str]:
    return [one.says for one in found.open_problems]


HIT = event("patient facts", "2031-03-03 12:00", history=[{"condition": "heparin-induced thrombocytopenia"}])


def test_the_last_word_about_a_danger_stays_as_long_as_the_danger() -> None:
    lock = needle_event("2031-03-03 09:00", lock=HEPARIN, blood_return="present")
    asked = look("2031-03-03 12:10", problem("heparin is in the line", "will decide by noon"))
    assert problems(only(lock, HIT, asked, look("2031-03-05 20:00"))) == [
        '"heparin is in the line"; done: "looked at"; notified Dr Amaranth Locke MD; reply: "will decide by noon" '
        "(3 Mar 12:10, Marisol Tamm RN)"
    ]
    taken_out = event(
        "flush", "2031-03-03 14:00", old_lock="aspirated and discarded", flushes=[FREE], blood_return="present"
    )
    assert problems(only(lock, HIT, asked, taken_out, look("2031-03-05 20:00"))) == []


def test_the_latest_answer_about_a_hold_comes_first_and_the_one_at_its_beginning_stays() -> None:
    began = needle_event("2031-03-01 09:00", blood_return="none", problems=[problem("no blood", "keep out of use")])
    later = [
        event(
            "line check",
            f"2031-03-0{day} 09:00",
            blood_return="none",
            problems=[problem(f"still held, {day}", f"answer of day {day}")],
        )
        for day in range(2, 6)
    ]
    said = problems(only(began, *later))
    assert [words.split("reply: ")[1].split('"')[1] for words in said] == [
        "answer of day 5",
        "answer of day 4",
        "answer of day 3",
        "keep out of use",
    ]


def test_a_later_answer_to_the_same_problem_replaces_the_earlier_one() -> None:
    began = needle_event("2031-03-01 09:00", blood_return="none", problems=[problem("no blood", "keep out of use")])
    again = event(
        "line check", "2031-03-02 09:00", blood_return="none", problems=[problem("No blood", "contrast study")]
    )
    (said,) = problems(only(began, again))
    assert 'reply: "contrast study"' in said


def test_a_problem_without_an_answer_stays_until_one_is_charted() -> None:
    open_one = look("2031-03-03 12:10", problem("redness", None))
    events = (needle_event("2031-03-03 09:00", blood_return="present"), open_one, removal_event("2031-03-03 18:00"))
    (said,) = problems(only(*events))
    assert "NO REPLY recorded" in said
    answer = event(
        "amendment",
        "2031-03-04 09:00",
        of=open_one["id"],
        reason="the answer came later",
        sets={"problems": [problem("redness", "cold pack, look again")]},
    )
    assert problems(only(*events, answer)) == []


ELSEWHERE = {"on": "2031-03-04", "where": "Saltmarsh Infusion House", "by_word_of": "the patient"}


@pytest.mark.parametrize(("day", "told"), [("2031-03-04", True), ("2031-02-20", False)])
def test_a_flush_elsewhere_of_a_port_on_hold_is_said(day: str, told: bool) -> None:
    events = (
        needle_event("2031-03-01 09:00", blood_return="none"),
        removal_event("2031-03-01 15:00", flushes={"not_done": "on hold"}),
        event("flushed elsewhere", "2031-03-05 09:00", **{**ELSEWHERE, "on": day}),
    )
    said = " ".join(problems(only(*events)))
    assert ("on hold then for no blood return: ask that place whether blood returned" in said) is told


def test_a_needle_that_is_out_draws_no_advice_about_the_needle_and_the_clinic_is_named() -> None:
    partly = event(
        "needle dislodged",
        "2031-03-04 10:00",
        extent="partly out",
        running="0.9% sodium chloride",
        signs=[{"what": "leak", "where": "needle site", "during": "infusion"}],
        problems=[problem("leak at the needle", "contrast study tomorrow")],
    )
    out = removal_event("2031-03-04 10:20", flushes={"not_done": "on hold"})
    care = event("extravasation care", "2031-03-04 10:30", product="0.9% sodium chloride", follow_up="clinic at 09:00")
    judged = event(
        "evaluation", "2031-03-04 11:00", cleared_by=LOCKE, decision="remains on hold", finding="pocket swollen"
    )
    home = event(
        "discharge",
        "2031-03-04 12:00",
        destination="home",
        needle_in=False,
        handed_to={"name": "Port clinic, Lantern Bay", "credential": "clinic"},
    )
    needle_in = "\n".join(rows(handed([record(needle_event("2031-03-04 09:00"), partly)], moment("2031-03-04 10:10"))))
    assert "never push the needle back" in needle_in and "needle is out" not in needle_in
    found = handed([record(needle_event("2031-03-04 09:00"), partly, out, care, judged, home)], THREE_DAYS_ON)
    for sheet in ("\n".join(rows(found, 4000)), text.render(left_sheet(found), 4000)):
        assert "never push the needle back" not in sheet and "aspirate before the needle" not in sheet
        assert "needle partly out" in sheet and "needle is out" in sheet
        for words in (
            "leak at the needle site during an infusion",
            'follow-up: "clinic at 09:00"',
            'remains on hold; "pocket swollen"',
            'reply: "contrast study tomorrow"',
            "Port clinic, Lantern Bay",
        ):
            assert words in sheet, words
        assert "Lantern Bay clinic" not in sheet and "specialist or physician" not in sheet


@pytest.mark.parametrize(
    ("choice", "ends"),
    [
        ("evaluation", "an evaluation that clears the line"),
        (
            "evaluation, new access or treatment",
            "a new needle with brisk blood return and a free flush, a thrombolytic that worked or an evaluation that "
            "clears the line",
        ),
        (
            "evaluation or blood return",
            "blood that looks like whole blood with a flush that runs free or an evaluation that clears the line",
        ),
    ],
)
def test_the_sheet_says_what_ends_a_hold_under_each_policy(choice: str, ends: str) -> None:
    limits = policy(hold_ends_with=choice)
    quiet = only(needle_event("2031-03-05 09:00", blood_return="present"), limits=limits)
    assert {one.then for one in quiet.contingencies if one.when == "blood does not return"} == {
        f"nothing more goes through the line; the hold ends only with {ends}"
    }
    held = only(needle_event("2031-03-05 09:00", blood_return="none"), limits=limits)
    (open_now,) = (one for one in held.contingencies if "hold" in one.then)
    if choice == "evaluation or blood return":
        when = "blood that looks like whole blood returns and the flush runs free"
        assert (open_now.when, open_now.then) == (when, "the hold ends")
    else:
        assert open_now.when == "blood returns through this needle"
        assert open_now.then == f"the hold stays; it ends only with {ends}"


def test_a_swelling_waits_for_an_evaluation_whatever_the_policy() -> None:
    limits = policy(hold_ends_with="evaluation or blood return")
    held = only(needle_event("2031-03-05 09:00", blood_return="present", site={"swelling": "present"}), limits=limits)
    (open_now,) = (one for one in held.contingencies if "hold" in one.then)
    assert open_now.then == "the hold stays; it ends only with an evaluation that clears the line"
    assert open_now.basis == ()


@pytest.mark.parametrize(
    ("limits", "by"),
    [(DEFAULT, "a new needle with brisk blood return and a free flush"), (policy(hold_ends_with="evaluation"), None)],
)
def test_the_sheet_says_by_what_a_hold_ended(limits: Policy, by: str | None) -> None:
    found = only(
        needle_event("2031-03-05 09:00", blood_return="none"),
        removal_event("2031-03-05 20:00", flushes={"not_done": "on hold"}),
        needle_event("2031-03-05 20:30", blood_return="present", blood_looks="like whole blood", flushes=[FREE]),
        limits=limits,
    )
    said = [one.says for one in found.changes if one.says.startswith("hold ended")]
    assert said == ([f"hold ended: no blood return, by {by}, 5 Mar 20:30"] if by else [])
    assert bool(found.lines[0].state.holds) is (by is None)


def vesicant(action: str, **facts: Any) -> dict[str, Any]:
    drug = {"purpose": "medication", "what": "vincristine", "vesicant": True}
    return event("line use", "2031-03-03 10:00", action=action, **drug, **facts)


def test_a_vesicant_given_without_proof_stays_on_the_sheet_until_flushed_through_after_proof() -> None:
    access = needle_event("2031-03-03 09:00", blood_return="sluggish")
    given = vesicant("given", blood_return_before="sluggish")
    (line,) = only(access, given).lines
    danger = line.state.danger("D5")
    assert danger is not None
    assert (danger.code, danger.what) == (
        "D5",
        'vesicant given without proof of blood return, line not yet flushed through after proof: "vincristine"',
    )
    proved = event("flush", "2031-03-03 10:20", flushes=[FREE], blood_return="present", blood_looks="like whole blood")
    unproved = event("flush", "2031-03-03 10:20", flushes=[FREE], blood_return="sluggish")
    assert only(access, given, unproved).lines[0].state.danger("D5") is not None
    assert only(access, given, proved).lines[0].state.danger("D5") is None


def test_a_vesicant_that_runs_on_proven_blood_return_does_not_say_that_proof_is_missing() -> None:
    access = needle_event("2031-03-03 09:00", blood_return="present", blood_looks="like whole blood", flushes=[FREE])
    proven = only(access, vesicant("started", blood_return_before="present"), asof=moment("2031-03-03 11:00"))
    unproven = only(
        needle_event("2031-03-03 09:00", blood_return="sluggish"), vesicant("started"), asof=moment("2031-03-03 11:00")
    )
    assert proven.lines[0].dangers[0].startswith('Vesicant running: "vincristine"')
    assert unproven.lines[0].dangers[0].startswith("Vesicant running without proof of blood return")


def test_a_lock_that_is_no_longer_in_the_line_is_not_told_as_if_it_were() -> None:
    access = needle_event("2031-03-03 09:00", blood_return="present", flushes=[FREE], lock=HEPARIN)
    started = event("line use", "2031-03-05 20:00", purpose="infusion", action="started", what="5% dextrose")

    def lock(*events: dict[str, Any]) -> str:
        return next(fact.value for fact in only(*events).lines[0].facts if fact.label == "Lock")

    assert lock(access) == "heparin 100 units per mL, 5 mL: 500 units"
    assert lock(access, started).endswith("; flushed or removed since")
    kept_out = removal_event("2031-03-05 21:00", flushes={"not_done": "x"}, lock={"not_done": "needle partly out"})
    assert lock(access, kept_out) == 'not locked: "needle partly out"'


def test_the_needle_s_last_day_by_policy_is_on_page_one_and_the_foot_says_how_days_count() -> None:
    limits = policy(needle_dwell_days=5, interval_counting="calendar day")
    data = [record(needle_event("2031-03-01 16:20", needle=NEEDLE, blood_return="present"))]
    before = "\n".join(rows(handed(data, moment("2031-03-05 07:00"), limits)))
    on_the_day = "\n".join(rows(handed(data, moment("2031-03-06 07:00"), limits)))
    assert "day 5" in before and "needle change" not in before
    assert "day 6" in on_the_day and "[ ] by 16:20: needle change" in on_the_day
    assert "a needle that may stay 5 days is due on day 6, at the hour of access" in before


def test_later_stays_are_named_once_in_one_row() -> None:
    here = record(needle_event("2031-03-04 09:00"), number=1)
    later = [
        {
            **record(needle_event("2031-03-09 10:00"), number=41, admitted_at=f"2031-03-09T0{hour}:00-05:00"),
            "id": f"l{hour}",
        }
        for hour in (8, 9)
    ]
    later = [{**data, "port": {"id": f"port-{number}"}} for number, data in enumerate(later)]
    (row,) = (row for row in rows(handed([here, *later])) if "left out" in row)
    assert row == "Stay begins later, left out: 2 records: Testmann-0041, Ottoline, record number MD-0041."


@pytest.mark.parametrize(
    ("asked", "found"), [("heron", 2), ("WARD HERON", 2), ("plo", 1), ("ward", 0), ("eron", 0), ("Ward Plover", 1)]
)
def test_a_unit_is_found_by_its_name_or_the_beginning_of_a_word_of_it(asked: str, found: int) -> None:
    data = [
        record(needle_event("2031-03-04 09:00"), number=number, unit=unit)
        for number, unit in enumerate(("Ward Heron", "Ward Heron", "Ward Plover"), 1)
    ]
    assert len(handed(data, unit=asked).here) == found


def test_a_room_of_one_of_several_units_reads_as_a_nurse_says_it() -> None:
    data = [
        record(needle_event("2031-03-04 09:00", blood_return="none"), number=number, unit=unit)
        for number, unit in enumerate(("Ward Heron", "Ward Plover"), 1)
    ]
    said = rows(handed(data))
    assert any(row.startswith("Ward Heron, room 1: Testmann-0001") for row in said)
    assert any(row.startswith("Room 1: Testmann-0001") for row in rows(handed(data[:1])))
