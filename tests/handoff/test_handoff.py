"""What the handoff sheet says of each situation that a nurse may hand over."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from made_records import (
    FLUSH,
    HEPARIN,
    event,
    moment,
    needle_event,
    policy,
    record,
    removal_event,
    unit_of_patients,
)
from ward import ASOF, handed, rows

from lda_notes.documents.handoff import page as sheets
from lda_notes.documents.handoff.line import LineFacts
from lda_notes.documents.handoff.page import Handoff
from lda_notes.documents.handoff.patient import PatientFacts
from lda_notes.documents.handoff.view import Action

TOLD = {"name": "Dr Amaranth Locke", "credential": "MD"}


def only(*events: dict[str, Any], asof: datetime = ASOF, **changes: Any) -> PatientFacts:
    """Return the one patient of a handoff; ``changes`` are applied over the record."""
    made = record(*events, number=7)
    limits = changes.pop("policy", None)
    for key, value in changes.items():
        made[key] = {**made[key], **value}
    (found,) = handed([made], asof, limits).patients if limits else handed([made], asof).patients
    return found


def actions(found: PatientFacts) -> dict[str, Action]:
    return {action.act: action for action in found.actions}


def facts(line: LineFacts) -> dict[str, str]:
    return {fact.label: fact.value for fact in line.facts}


def test_most_urgent_first() -> None:
    found = handed(unit_of_patients(20, ASOF))
    listed = [row.patient for row in sheets.round_rows(found)]
    states = [[line.state for line in one.lines] for one in listed]
    state = [(any(s.dwell or s.dangers for s in some), any(s.holds for s in some)) for some in states]
    state = [(inside, held and not inside) for inside, held in state]
    assert state == sorted(state, reverse=True), "what is in the line first, then holds, then the others"
    others = [one.urgency for one, marks in zip(listed, state, strict=True) if not any(marks)]
    assert list(dict.fromkeys(others)) == ["overdue", "due this shift", "steady"]


def test_a_thrombolytic_in_the_line_comes_before_holds_and_a_hold_with_a_needle_before_one_without() -> None:
    lost = event("line check", "2031-03-05 06:00", blood_return="none")
    dose = event("patency treatment", "2031-03-05 06:30", drug="alteplase", dose_mg=2, volume_ml=2, blood_return="none")
    held = record(needle_event("2031-03-04 09:00"), lost, number=1)
    out = record(needle_event("2031-03-04 09:00"), lost, event("de-access", "2031-03-05 06:40"), number=2)
    dwelling = record(needle_event("2031-03-04 09:00"), lost, dose, number=3)
    found = handed([out, held, dwelling])
    assert [one.second[-1] for one in found.here] == ["3", "1", "2"]


def test_one_name_on_two_units_is_marked_in_the_list_by_time() -> None:
    lost = event("line check", "2031-03-05 06:00", blood_return="none")
    units = enumerate(("Ward Heron", "Ward Plover", "Ward Wren"), 1)
    made = [record(needle_event("2031-03-04 09:00"), lost, number=number, unit=unit) for number, unit in units]
    for one, name in zip(made, ("Brackenridge", "Brackenridge", "Tolliver"), strict=True):
        one["patient"] |= {"family_name": name, "birth_date": f"19{60 + made.index(one)}-02-03"}
    listed = [row for row in rows(handed(made)) if row.startswith("[ ] Now:")]
    assert [row.split(": ")[1] for row in listed] == [
        "Ward Heron, 1, Brackenridge, Ottoline MD-0001 (name alert)",
        "Ward Plover, 2, Brackenridge, Ottoline MD-0002 (name alert)",
        "Ward Wren, 3, Tolliver, Ottoline MD-0003",
    ]


def test_a_next_time_that_was_charted_is_due_until_the_flush() -> None:
    charted = {"next_due": {"flush": moment("2031-03-05 10:20")}}
    access = needle_event("2031-03-04 10:20") | charted

    def due(asof: str, *more: dict[str, Any]) -> list[tuple[str, bool]]:
        (one,) = handed([record(access, *more)], moment(asof)).here
        return [(action.act, action.late) for action in one.actions if action.clock == "flush"]

    assert due("2031-03-05 07:00") == [("Flush (charted)", False)]
    assert due("2031-03-05 10:21") == [("Flush (charted)", True)]
    flush = event("flush", "2031-03-05 10:30", flushes=[{"solution": "0.9% sodium chloride", "volume_ml": 10}])
    assert due("2031-03-05 10:31", flush) == []


def test_a_line_on_hold_says_so_and_waits_for_an_evaluation() -> None:
    found = only(
        needle_event("2031-03-03 09:00"),
        event(
            "line check",
            "2031-03-05 06:30",
            blood_return="none",
            problems=[{"what": "no blood", "action": "stopped", "told": TOLD, "told_at": moment("2031-03-05 06:40")}],
        ),
    )
    (line,) = found.lines
    assert (line.status, line.urgency) == ("on hold", "out of use")
    assert line.hold == "no blood return (5 Mar 06:30, Marisol Tamm RN)"
    first = found.lines[0].actions[0]
    assert (first.act, first.by, first.late, first.basis) == (
        "Evaluation, before anything goes through the line",
        None,
        True,
        ("hold_ends_with",),
    )
    assert tuple(problem.says for problem in found.open_problems) == (
        '"no blood"; done: "stopped"; notified Dr Amaranth Locke MD 5 Mar 06:40; NO REPLY recorded '
        "(5 Mar 06:30, Marisol Tamm RN)",
    )
    assert not any(action.clock == "flush" for action in line.actions), "what a hold forbids is on no to-do"


def test_an_unknown_start_is_due_now_and_says_why() -> None:
    found = only(event("arrival accessed", "2031-03-05 05:00", needle={"gauge": 20}, blood_return="present"))
    due = actions(found)
    needle, dressing = due["Needle change, or removal"], due["Dressing change"]
    assert (needle.by, needle.late, needle.why) == (None, True, "time of insertion is not known")
    assert (dressing.by, dressing.late, dressing.why) == (None, True, "dressing type is not known")
    (line,) = found.lines
    assert line.dwell_day is None
    assert facts(line)["Needle"] == "20 gauge, length not recorded, time of insertion not known, in on arrival"


def test_a_dwelling_thrombolytic_is_pending_with_the_time_to_check_it() -> None:
    given = event("patency treatment", "2031-03-05 06:50", drug="alteplase", dose_mg=2, volume_ml=2)
    found = only(needle_event("2031-03-03 09:00"), given, patient={"weight_kg": 70})
    assert found.pending == (
        "alteplase 2 mg in 2 mL dwelling; not looked at yet; check by 5 Mar 07:20 (5 Mar 06:50, Marisol Tamm RN)",
    )
    looks = [action.by for action in found.actions if action.act == "Check of the dwelling thrombolytic"]
    assert looks == [moment("2031-03-05 07:20"), moment("2031-03-05 08:50")]
    assert {(one.when, one.then) for one in found.contingencies} >= {
        ("it has not worked by the second look", "a second dose can be ordered from 5 Mar 08:50, 4 mg at most in all"),
        ("blood returns", "4 to 5 mL are withdrawn and the line is flushed"),
    }
    assert "Flush and lock, nothing runs" not in actions(found), "a dwelling drug is not flushed away"


@pytest.mark.parametrize(
    ("earlier", "act"),
    [
        ([], "Ask the prescriber: second dose or evaluation"),
        (["2031-03-05 01:00"], "Ask the prescriber: evaluation and imaging, no further dose"),
    ],
)
def test_a_thrombolytic_that_has_not_worked_goes_to_the_prescriber(earlier: list[str], act: str) -> None:
    times = [*earlier, "2031-03-05 04:00"]
    events: list[dict[str, Any]] = [needle_event("2031-03-03 09:00")]
    for time in times:
        start = moment(time)
        events.append(event("patency treatment", start, drug="alteplase", dose_mg=2, volume_ml=2))
        for minutes in (30, 120):
            look = start + timedelta(minutes=minutes)
            events.append(event("patency check", look, treatment=events[1]["id"], blood_return="none"))
    assert act in actions(only(*events))


def test_only_the_latest_look_that_says_so_changes_the_dressing() -> None:
    """A later look that does not speak of the dressing does not dry a damp one."""
    damp = event("line check", "2031-03-04 20:00", dressing_found=["damp"])
    silent = event("line check", "2031-03-05 06:00", blood_return="present")
    due = actions(only(needle_event("2031-03-04 09:00"), damp, silent))
    assert (due["Dressing change"].by, due["Dressing change"].why) == (None, "dressing found damp")
    changed = event("dressing change", "2031-03-05 06:30", dressing={"type": "gauze"})
    due = actions(only(needle_event("2031-03-04 09:00"), damp, silent, changed))
    assert due["Dressing change"].by == moment("2031-03-07 06:30")
    # The needle keeps its own clock: seven days by the hour, across the night when clocks go forward.
    assert due["Needle change, or removal"].by == moment("2031-03-11 10:00")


def test_a_line_that_was_stopped_and_not_locked_is_flushed_now() -> None:
    runs = needle_event("2031-03-03 09:00", infusion="saline", lock={"not_done": "infusion"})
    assert "Flush and lock, nothing runs" not in actions(only(runs))
    stop = event("line use", "2031-03-05 02:00", purpose="infusion", action="stopped")
    flush = actions(only(runs, stop))["Flush and lock, nothing runs"]
    assert flush.by is None
    assert flush.why.startswith("nothing runs")


def test_a_port_never_touched_asks_for_its_last_flush() -> None:
    found = only()
    assert list(actions(found)) == ["Find out when the port was last flushed"]
    assert found.lines[0].urgency == "overdue"


def test_after_discharge_the_maintenance_flush_has_an_owner() -> None:
    left = event(
        "discharge", "2031-03-04 15:00", destination="home", needle_in=False, handed_to={"name": "Port clinic"}
    )
    found = only(needle_event("2031-03-03 09:00"), removal_event("2031-03-04 10:00"), left)
    flush = actions(found)["Maintenance flush after discharge"]
    assert (flush.by, flush.owner) == (moment("2031-04-01 11:00"), "Port clinic")
    assert (found.urgency, found.left) == ("left", "Discharged to home, no needle in (4 Mar 15:00, Marisol Tamm RN)")


def test_nothing_after_the_moment_judged_from_is_told() -> None:
    later = [removal_event("2031-03-06 10:00"), event("discharge", "2031-03-06 15:00", destination="home")]
    now = only(needle_event("2031-03-03 09:00"))
    assert only(needle_event("2031-03-03 09:00"), *later).lines[0].facts == now.lines[0].facts
    assert only(needle_event("2031-03-03 09:00"), *later).actions == now.actions
    assert only(needle_event("2031-03-03 09:00"), *later).left == ""


def test_an_event_of_the_very_moment_is_told() -> None:
    """A sheet printed in the minute of an entry contains it: in the state, in what is new, among the problems."""
    seen = event("line check", ASOF, blood_return="none", problems=[{"what": "no blood", "action": "stopped"}])
    found = only(needle_event("2031-03-03 09:00"), seen, removal_event("2031-03-06 10:00"))
    assert found.lines[0].status == "on hold"
    assert any("line check" in change.says.lower() for change in found.changes)
    assert [problem.says[:10] for problem in found.open_problems] == ['"no blood"']
    itches = {"what": "itches", "action": "looked", "told": TOLD, "told_at": ASOF, "reply": "watch it"}
    assert only(needle_event("2031-03-03 09:00"), event("line check", ASOF, problems=[itches])).open_problems


def test_a_problem_that_nobody_answered_is_told_first_and_until_it_is_answered() -> None:
    def problem(what: str, **told: Any) -> dict[str, Any]:
        return {"what": what, "action": "watched", "told": TOLD, "told_at": moment("2031-03-05 06:20"), **told}

    found = only(
        needle_event("2031-03-03 09:00"),
        event("line check", "2031-03-03 12:00", problems=[problem("sore to touch")]),
        event("line check", "2031-03-05 06:10", problems=[problem("film wet", reply="change it")]),
        event("line check", "2031-03-05 06:15", problems=[problem("itches")]),
    )
    assert [one.says.split(";")[0] for one in found.open_problems] == ['"itches"', '"sore to touch"', '"film wet"']


def test_each_septum_has_its_own_line_in_the_row() -> None:
    made = record(needle_event("2031-03-03 09:00", septum="medial"))
    made["port"]["septa"] = ["medial", "lateral"]
    (row,) = sheets.round_rows(handed([made]))
    assert row.inside == ("Medial: 20 gauge, 19 mm, day 3", "Lateral: no needle")


def test_the_shift_ends_before_its_last_moment() -> None:
    """A look due at the very end of the shift belongs to it."""
    made = record(needle_event("2031-03-05 07:00", infusion="saline"))
    (inside,) = handed([made], shift_end=moment("2031-03-05 19:00")).patients
    (outside,) = handed([made], shift_end=moment("2031-03-05 18:59")).patients
    assert (inside.lines[0].urgency, outside.lines[0].urgency) == ("due this shift", "steady")
    assert {a.owner for a in inside.actions if a.clock == "line check"} == {"oncoming nurse"}
    assert {a.owner for a in outside.actions if a.clock == "line check"} == {"a later shift"}


def test_gaps_since_the_last_handoff_are_said_and_older_ones_are_not() -> None:
    old = needle_event("2031-03-03 09:00", needle={"gauge": 20})
    new = event("line check", "2031-03-05 06:00", blood_return="present")
    found = only(old, new)
    assert any(gap.startswith("Line check (5 Mar 06:00, Marisol Tamm RN): ") for gap in found.gaps)
    assert not any("needle length" in gap for gap in found.gaps)
    wider = handed([record(old, new, number=7)], hours=Decimal(72)).patients[0]
    assert any("needle length" in gap for gap in wider.gaps)


def test_events_that_could_not_be_read_are_named() -> None:
    broken = {"id": "lost-1", "kind": "line check"}
    found = only(needle_event("2031-03-03 09:00"), broken)
    assert found.unread == ("An event could not be read and is not on this sheet: lost-1, line check",)
    assert any("lost-1" in row for row in rows(handed([record(needle_event("2031-03-03 09:00"), broken)])))


def test_allergies_stand_in_the_row() -> None:
    found = only(
        needle_event("2031-03-04 09:00", infusion="saline"),
        patient={"allergies": [{"to": "chlorhexidine", "reaction": "hives"}]},
    )
    assert [(one.reason, one.says) for one in found.precautions] == [
        ('allergy to chlorhexidine ("hives")', "no chlorhexidine on the skin, in a disc or in a dressing")
    ]
    assert found.allergy_lines == ("Allergy: chlorhexidine (hives)",)
    none = only(needle_event("2031-03-04 09:00"), patient={"allergies": []})
    assert none.allergies == "no known allergies"
    silent = record(needle_event("2031-03-04 09:00"))
    del silent["patient"]["allergies"]
    (unknown,) = handed([silent]).patients
    assert unknown.allergies == "allergies not recorded"


def test_the_last_lock_shows_its_units_and_a_reason_why_not_shows_itself() -> None:
    locked = only(needle_event("2031-03-04 09:00", lock={**HEPARIN, "volume_ml": 3}))
    assert facts(locked.lines[0])["Lock"] == "heparin 100 units per mL, 3 mL: 300 units"
    infused = only(
        needle_event("2031-03-04 09:00", lock=HEPARIN),
        event("flush", "2031-03-04 12:00", flushes=[FLUSH], lock={"not_done": "infusion connected"}),
    )
    assert facts(infused.lines[0])["Lock"] == 'not locked: "infusion connected"'
    strengthless = only(needle_event("2031-03-04 09:00", lock={"drug": "heparin", "volume_ml": 5}))
    assert facts(strengthless.lines[0])["Lock"] == "heparin strength not recorded, 5 mL"


def test_an_amended_fact_is_told_as_corrected() -> None:
    first = needle_event("2031-03-04 09:00")
    amended = event("amendment", "2031-03-04 10:00", of=first["id"], sets={"needle": {"gauge": 22}}, reason="misread")
    needle = next(fact for fact in only(first, amended).lines[0].facts if fact.label == "Needle")
    assert needle.value.startswith("22 gauge, 19 mm")
    assert needle.told == "4 Mar 09:00, Marisol Tamm RN; corrected later"


def test_a_retracted_event_is_not_on_the_sheet() -> None:
    wrong = event("line check", "2031-03-05 06:00", blood_return="none")
    back = event("retraction", "2031-03-05 06:30", of=wrong["id"], reason="wrong patient")
    found = only(needle_event("2031-03-04 09:00"), wrong, back)
    assert found.lines[0].status == "accessed"
    assert not any("06:00" in gap for gap in found.gaps)


def test_a_local_limit_is_cited_where_it_is_used_and_a_looser_one_is_marked() -> None:
    limits = policy(needle_dwell_days=10, line_check_hours=8)
    told = rows(handed([record(needle_event("2031-03-01 09:00", lock=None))], policy=limits), full=True)
    cited = [row for row in told if "set by local policy" in row]
    assert any("at most 10 days (looser than published: at most 7 days)" in row for row in cited)
    assert any("at most 8 hours (published: at most 12 hours)" in row for row in cited)
    assert any("changed by facility policy, Port care policy (invented), 2024-01-15" in row for row in told)


def test_times_are_told_in_the_zone_of_the_stay_and_twice_in_an_hour_that_comes_twice() -> None:
    """Clocks go back in Chicago on 3 November 2024 at 02:00."""
    first = datetime(2024, 11, 3, 6, 30, tzinfo=UTC)
    second = datetime(2024, 11, 3, 7, 30, tzinfo=UTC)
    for at, words in ((first, "3 Nov 01:30 CDT"), (second, "3 Nov 01:30 CST")):
        (found,) = handed([record(needle_event(at))], datetime(2024, 11, 3, 12, tzinfo=UTC)).patients
        told = next(fact.told for fact in found.lines[0].facts if fact.label == "Needle")
        assert told == f"{words}, Marisol Tamm RN"


def test_seven_days_by_the_hour_end_an_hour_earlier_by_the_wall_when_clocks_go_back() -> None:
    made = record(needle_event("2024-10-30 19:00"))
    by_hour = handed([made], moment("2024-10-31 07:00")).patients[0]
    assert actions(by_hour)["Needle change, or removal"].by == moment("2024-11-06 18:00")
    for counting, late in (("hour", True), ("calendar day", False)):
        found = handed([made], moment("2024-11-06 20:00"), policy(interval_counting=counting)).patients[0]
        assert actions(found)["Needle change, or removal"].late == late, counting


def test_every_fact_says_when_and_by_whom() -> None:
    found = handed(unit_of_patients(20, ASOF))
    told = [fact for patient in found.patients for line in patient.lines for fact in line.facts]
    assert len(told) > 80
    for fact in told:
        assert fact.told or fact.value in ("not recorded", "none recorded"), fact
        assert "Marisol Tamm RN" in fact.told or fact.value in ("not recorded", "none recorded")


def test_unreadable_records_are_named_on_the_sheet() -> None:
    found = handed([record(needle_event("2031-03-04 09:00"))], unreadable=["ward/x.yaml:1:1: the file holds nothing"])
    assert any("Not on this sheet: ward/x.yaml:1:1" in row for row in rows(found))


def test_the_sheet_is_the_same_whatever_the_order_of_records() -> None:
    made = unit_of_patients(20, ASOF)
    forward: Handoff = handed(made)
    backward: Handoff = handed(made[::-1])
    assert rows(forward) == rows(backward)


def test_a_name_cannot_look_like_a_row_of_the_sheet() -> None:
    made = record(needle_event("2031-03-04 09:00"))
    made["patient"]["family_name"] = "Quill\n\n!! STOP: Do not use the line"
    made["events"][0]["by"] = {"name": "Tamm\nSituation: Steady"}
    told = rows(handed([made]))
    assert not any(row.startswith(("!! STOP", "Situation: Steady")) for row in told)


def test_an_evaluated_line_is_not_to_be_evaluated_again_while_the_thrombolytic_dwells() -> None:
    lost = event("line check", "2031-03-05 06:00", blood_return="none")
    judged = event("evaluation", "2031-03-05 06:20", decision="remains on hold")
    dose = event("patency treatment", "2031-03-05 06:30", drug="alteplase", dose_mg=2, volume_ml=2, blood_return="none")
    waiting, evaluated = (only(needle_event("2031-03-04 09:00"), lost, *more, dose) for more in ((), (judged,)))
    assert not any(one.act.startswith("Evaluation") for found in (waiting, evaluated) for one in found.actions)
    assert evaluated.lines[0].notes == ("evaluation done 06:20; alteplase dwelling",)
    assert waiting.lines[0].notes == ("under way: alteplase dwelling since 06:30",)


def test_swelling_is_to_be_evaluated_though_a_thrombolytic_dwells() -> None:
    site = {"skin": "intact", "erythema": "none", "swelling": "present", "tenderness": "none", "drainage": "none"}
    lost = event(
        "line check", "2031-03-05 06:00", blood_return="none", site={**site, "swelling_where": ["port pocket"]}
    )
    dose = event("patency treatment", "2031-03-05 06:30", drug="alteplase", dose_mg=2, volume_ml=2, blood_return="none")
    found = only(needle_event("2031-03-04 09:00"), lost, dose)
    assert found.actions[0].act.startswith("Evaluation") and found.lines[0].notes == ()


def test_what_was_charted_after_an_early_sheet_is_marked_on_the_next() -> None:
    """A sheet of 06:40 is for the shift from 07:00; the next one marks what it could not know."""
    made = record(needle_event("2031-03-04 09:00"), event("dressing change", "2031-03-05 06:50"))
    found = handed([made], moment("2031-03-05 18:40"), policy(shift_starts=["07:00", "19:00"]))
    assert [one.says for one in found.here[0].changes] == ["new: dressing change 06:50"]
    assert "last handoff 07:00, changes since 06:00 are marked" in " ".join(rows(found))


def test_an_overdue_flush_that_must_wait_is_on_the_row() -> None:
    lost = event("line check", "2031-01-05 06:00", blood_return="none")
    out = event("de-access", "2031-01-05 07:00")
    found = only(needle_event("2031-01-04 09:00", flushes=[FLUSH]), lost, out)
    assert found.lines[0].notes == ("flush overdue, last 4 Jan 09:00; not allowed now",)
    assert "No known allergies" in found.allergy_lines
