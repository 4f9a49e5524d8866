"""Who is on the sheet: those who are here, those who left, and nobody whose stay begins later or goes on elsewhere."""

from __future__ import annotations

import json
from copy import deepcopy
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from made_records import event, moment, needle_event, record, removal_event, unit_of_patients
from ward import ASOF, handed, rows, source

from lda_notes import pipeline
from lda_notes.documents.handoff.page import Source, handoff, left_sheet, round_rows, sheet
from lda_notes.documents.handoff.values import values
from lda_notes.documents.render import render, text
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.record.reading import read

DEMOS = sorted((Path(__file__).parents[2] / "demo_episodes").glob("*.yaml"))
FORMATS = ("text", "md", "html", "docx")

STAYS = (needle_event("2031-03-04 09:00"),)
LATER = record(needle_event("2031-03-09 10:00"), number=41, admitted_at="2031-03-09T09:00-05:00")
LEFT = record(
    needle_event("2031-01-03 09:00"),
    removal_event("2031-01-04 10:00"),
    event("discharge", "2031-01-04 15:00", destination="home", needle_in=False, handed_to={"name": "Port clinic"}),
    number=42,
)


@pytest.mark.parametrize("form", FORMATS)
def test_a_stay_that_begins_later_is_named_in_one_row_of_every_format(form: str) -> None:
    from test_same_facts import squeezed, words

    found = handed([record(*STAYS, number=1), LATER])
    assert [patient.name for patient in found.patients] == ["Testmann-0001, Ottoline"]
    row = "Stay begins later, left out: 1 record:"
    name = "Testmann-0041, Ottoline, record number MD-0041"
    made = words(form, render(sheet(found), form, 4000))  # type: ignore[arg-type]  # a parametrized word
    assert squeezed(f"{row} {name}.") in made
    assert made.count(squeezed("Testmann-0041")) == 1
    assert values(found)["left_out"] == [f"{name}: stay begins later"]


def test_later_stays_are_counted() -> None:
    others = [{**LATER, "id": f"later-{number}", "port": {"id": f"port-{number}"}} for number in (1, 2)]
    document = values(handed([record(*STAYS, number=1), LATER, *others]))
    assert document["stay_begins_later"] == {"records": 3, "says": "stay begins later, left out: 3 records"}
    assert [one["record"] for one in document["patients"]] == ["made-1"]
    assert values(handed([record(*STAYS)]))["stay_begins_later"] == {"records": 0, "says": None}


@pytest.mark.parametrize(
    ("admitted", "first", "here"),
    [
        ("2031-03-05T07:00-06:00", None, True),  # at this very minute
        ("2031-03-05T07:01-06:00", None, False),
        (None, "2031-03-05 07:01", False),
        (None, "2031-03-05 07:00", True),
        (None, None, True),  # nothing says that it has not begun
        ("2031-03-06T07:00-06:00", "2031-03-05 06:00", True),  # charted before admission: the check tells of it
    ],
)
def test_a_stay_begins_with_admission_or_its_first_event(admitted: str | None, first: str | None, here: bool) -> None:
    events = (event("line check", first),) if first else ()
    made = record(*events, number=1, admitted_at=admitted)
    assert bool(handed([made]).patients) == here


def test_a_sheet_without_anybody_says_so() -> None:
    told = rows(handed([LATER]))
    assert "No patient with a port is here at this time, per these records." in told
    assert not any("All lines" in row for row in told)
    (head,) = (row for row in told if row.startswith("As of Wednesday, 5 March 2031, 07:00."))
    assert "Patients: 0." in head


@pytest.mark.parametrize("demo", DEMOS, ids=lambda path: path.stem)
def test_what_happens_later_changes_nothing(demo: Path) -> None:
    """At each moment of each demo: the whole record says what the record says that ends there, corrections included."""
    whole = read(demo)
    assert whole.episode is not None
    for at in sorted({one.at for one in whole.episode.events}):
        asof = at + timedelta(minutes=1)
        cut = read(demo)
        assert cut.episode is not None
        cut.episode = cut.episode.model_copy(
            update={"events": tuple(one for one in cut.episode.events if one.at <= asof)}
        )
        assert _told(whole, asof) == _told(cut, asof)


def _told(found: Any, asof: datetime) -> dict[str, Any]:
    judged = pipeline.judge(pipeline.upto(found, asof), DEFAULT, asof)
    assert judged.timeline is not None
    made = Source("x", judged.timeline, judged.findings, found.unread_events, pipeline.begins(found))
    return values(handoff([made], DEFAULT, asof))


def test_a_later_amendment_does_not_reach_back() -> None:
    access = needle_event("2031-03-04 09:00")
    amended = event("amendment", "2031-03-05 09:00", of=access["id"], sets={"needle": {"gauge": 22}}, reason="misread")
    before, after = (rows(handed([record(access, amended, number=1)], asof)) for asof in (ASOF, ASOF.replace(hour=10)))
    assert not any("22 gauge" in row or "Corrected:" in row for row in before)
    assert any("22 gauge" in row for row in after)
    assert any("Corrected: access 4 Mar 09:00" in row for row in after)


def test_who_left_is_counted_once_taken_over_and_stands_on_the_call_list() -> None:
    found = handed([LEFT, *unit_of_patients(3, ASOF)])
    told = rows(found)
    assert not any("Testmann-0042" in row for row in told), "the port clinic has taken over"
    assert any(row.startswith("1 patient left earlier or with someone named") for row in told)
    assert any("Patients: 3, Ward Heron." in row for row in told)
    listed = text.render(left_sheet(found), 400).splitlines()
    (first,) = (number for number, row in enumerate(listed) if "Testmann-0042" in row)
    row = " ".join(" ".join(listed[first : first + 3]).split())
    assert "No known allergies" in row and "Port clinic" in row
    assert "NOT CHARTED" not in row, "nobody charts at home"
    assert "aintenance flush after discharge: overdue since 1 Feb 10:00" in row
    assert "Discharged to home, no needle in (4 Jan 15:00, Marisol Tamm RN)" in row


@pytest.mark.parametrize(("days", "listed"), [(6, True), (8, False)])
def test_who_left_with_nobody_named_is_listed_for_some_days(days: int, listed: bool) -> None:
    made = deepcopy(LEFT)
    gone = ASOF - timedelta(days=days)
    made["events"] = [removal_event(gone), event("discharge", gone, destination="home", needle_in=False)]
    found = handed([made])
    assert (bool(found.left), bool(found.left_before)) == (listed, not listed)
    assert any("Left the facility, still due" in row for row in rows(found)) == listed


def test_what_is_wrong_with_one_who_left_is_told() -> None:
    made = deepcopy(LEFT)
    made["patient"]["allergies"] = [{"to": "heparin"}]
    made["events"] = [
        needle_event("2031-03-03 09:00"),
        event("line check", "2031-03-04 20:00", blood_return="none", problems=[{"what": "no blood"}]),
        event("discharge", "2031-03-05 01:00", destination="home", needle_in=True),
    ]
    (row,) = (row for row in rows(handed([made]), 4000) if "Testmann-0042" in row)
    for said in (
        "20 gauge, 19 mm (3/4 inch); day 3",
        "On hold: no blood return (4 Mar 20:00, Marisol Tamm RN)",
        "Allergy to heparin: no heparin in flush or lock",
        "no one recorded as told",
        "Not recorded: Discharge (5 Mar 01:00, Marisol Tamm RN)",
        "Needle change, or removal: by 10 Mar 10:00",
    ):
        assert said in row


def test_all_stays_of_a_patient_who_is_back_are_one_row() -> None:
    back = deepcopy(LEFT)
    back.update(id="made-back", events=[needle_event("2031-03-04 09:00")])
    back["stay"]["admitted_at"] = "2031-03-04T08:00-06:00"
    for order in ([LEFT, back], [back, LEFT]):
        found = handed(order)
        assert [patient.record for patient in found.patients] == ["made-back"]
        assert len(round_rows(found)) == 1
    second_port = deepcopy(back)
    second_port["port"]["id"] = "port-2"
    assert len(handed([LEFT, second_port]).patients) == 2, "the first port still wants its flush"


def test_two_open_records_of_one_port_are_one_row_and_doubted() -> None:
    one, two = record(*STAYS, number=5), record(*STAYS, number=5)
    two["id"] = "made-again"
    found = handed([one, two])
    assert len(found.here) == 1
    assert any("2 records of one port are open; compare" in words for words in found.doubtful)
    assert any(row.startswith("!! CAUTION: ") for row in rows(found))


def test_time_zones_are_named_where_there_are_several() -> None:
    tokyo = ZoneInfo("Asia/Tokyo")
    far = record(needle_event(moment("2031-03-05 09:00", tokyo)), number=2, time_zone="Asia/Tokyo", unit="Ward Plover")
    told = rows(handed([record(*STAYS, number=1), far]), 4000)
    head = next(row for row in told if row.startswith("As of "))
    both = "As of Wednesday, 5 March 2031, 07:00 America/Chicago; Wednesday, 5 March 2031, 22:00 Asia/Tokyo."
    assert head.startswith(both)
    (row,) = (one for one in round_rows(handed([record(*STAYS, number=1), far])) if "0002" in one.who[0])
    assert "Times of Asia/Tokyo" in row.who
    assert [task.says for task in row.tasks] == ["late, since 21:00: line check"]
    alone = rows(handed([record(*STAYS, number=1)]))
    assert not any("times of" in row for row in alone)


@pytest.mark.parametrize(
    ("asof", "end"),
    [("2031-03-08 19:00", "2031-03-09T07:00-05:00"), ("2031-11-01 19:00", "2031-11-02T07:00-06:00")],
)
def test_a_night_when_clocks_change(asof: str, end: str) -> None:
    """A look every 12 hours: by elapsed time, so that a night of 11 or of 13 hours shows on the clock."""
    start = moment(asof)
    made = record(needle_event(start - timedelta(hours=1), infusion="saline"), event("line check", start))
    found = handed([made], start, shift_end=datetime.fromisoformat(end))
    (look,) = (action for action in found.here[0].actions if action.clock == "line check")
    assert look.by is not None
    due_in_this_shift = look.by.timestamp() < datetime.fromisoformat(end).timestamp()
    assert due_in_this_shift == (asof == "2031-11-01 19:00")
    assert (found.here[0].lines[0].urgency == "due this shift") == due_in_this_shift
    assert "changes since 07:00 are marked" in next(row for row in rows(found) if row.startswith("As of "))
    assert any("The coming shift ends 9 Mar 07:00" in row or "ends 2 Nov 07:00" in row for row in rows(found))


def test_json_tells_the_same_of_those_who_left() -> None:
    document = json.loads(json.dumps(values(handed([LEFT]))))
    (left,) = document["left_the_facility"]
    assert (left["patient"], left["to_be_done"][0]["due"]) == ("Testmann-0042, Ottoline", "2031-02-01T10:00-06:00")
    assert document["patients"] == document["round"] == []
    assert not left["still_listed"]


def test_a_source_of_the_fixture_has_its_beginning() -> None:
    assert source(LATER).begins == moment("2031-03-09 09:00")


TOMORROW = needle_event("2031-03-06 09:00")
IMPLANTED = event("port implanted", "2030-11-12 09:00")
MISTAKEN = event("line check", "2031-03-05 06:00")
RETRACTED = event("retraction", "2031-03-05 06:30", of=MISTAKEN["id"], reason="charted on the wrong patient")


@pytest.mark.parametrize(
    ("events", "stay", "here"),
    [
        ((IMPLANTED, TOMORROW), {"admitted_at": "2031-03-06T08:00-06:00"}, False),
        ((IMPLANTED, TOMORROW), {}, False),
        ((IMPLANTED,), {}, True),  # nothing says that it has not begun
        ((MISTAKEN, RETRACTED), {"admitted_at": "2031-03-06T08:00-06:00"}, False),
        ((MISTAKEN, TOMORROW), {"admitted_at": "2031-03-06T08:00-06:00"}, True),
        (({"id": "lost", "kind": "access"}, TOMORROW), {}, True),  # the one that cannot be read may be earlier
        (({"id": "lost", "kind": "access"}, TOMORROW), {"admitted_at": "2031-03-06T08:00-06:00"}, False),
    ],
)
def test_what_does_not_begin_a_stay(events: tuple[dict[str, Any], ...], stay: dict[str, Any], here: bool) -> None:
    """A port implanted long before and a retracted entry do not; leaving somebody out wants a date that says so."""
    found = handed([record(*events, number=1, **stay)])
    assert (bool(found.here), bool(found.later)) == (here, not here)


@pytest.mark.parametrize(("days", "named"), [(0, True), (400, False)])
def test_who_died_is_named_once_and_is_on_no_call_list(days: int, named: bool) -> None:
    died = record(
        needle_event("2031-03-04 09:00"), event("discharge", "2031-03-04 15:00", destination="died"), number=43
    )
    found = handed([record(*STAYS, number=1), died], ASOF + timedelta(days=days))
    assert [one.name for one in found.patients] == ["Testmann-0001, Ottoline"]
    assert found.left_out == (("Testmann-0043, Ottoline, record number MD-0043: died, 4 Mar 15:00",) if named else ())
    assert "Testmann-0043" not in text.render(left_sheet(found), 80)


def test_two_patients_of_one_number_are_told_apart_by_birth_date() -> None:
    one, other = record(*STAYS, number=1), record(*STAYS, number=1)
    other["id"] = "made-2"
    other["patient"]["birth_date"] = "1981-02-03"
    (said,) = handed([one, other]).doubtful
    assert "born 3 February 1980" in said
    assert "born 3 February 1981" in said
