"""Corrections as others find them: what each changes of what was sent before, and what becomes of the notes."""

from __future__ import annotations

import base64
import re
from typing import Any

import pytest
from fhir_demos import noted
from in_short import Said, called, said
from made_records import event, needle_event, removal_event

Json = dict[str, Any]

ACCESS = needle_event("2031-03-04 09:40")
LOOK = event("line check", "2031-03-04 10:00", blood_return="none", pain=2)
OUT = removal_event("2031-03-06 09:00")
OSRIC = {"name": "Osric Fennimore"}


def correction(kind: str, clock: str, of: Json, **facts: Any) -> Json:
    return event(kind, f"2031-03-05 {clock}", of=of["id"], **facts)


BLOOD = correction("amendment", "08:00", LOOK, sets={"blood_return": "present"}, reason="wrong box")
SKIN = correction("addendum", "08:05", LOOK, adds={"site": {"skin": "intact"}}, text="more")
PAIN = correction("amendment", "08:10", LOOK, sets={"pain": 3}, by=OSRIC, charted_at="2031-03-05T08:30:00-06:00")
BACK = correction("amendment", "08:20", LOOK, sets={"blood_return": "none"})
WRONG = correction("retraction", "09:00", LOOK, reason="wrong patient")
BLOOD_WRONG = correction("retraction", "09:10", BLOOD, reason="was right")
SKIN_WRONG = correction("retraction", "09:20", SKIN)
WRONG_NEEDLE = correction("retraction", "09:00", ACCESS)
EARLIER = correction("amendment", "08:00", ACCESS, sets={"at": "2031-03-04T08:00-06:00"})


def short(one: Said) -> str:
    words = {
        "Blood return from implanted venous access port": "blood",
        "Pain score 0 to 10": "pain",
        "Skin and tissue at implanted venous access port": "site",
        "Correction of an earlier entry": "correction",
        "Text added to an earlier entry": "text",
        "On hold: no blood return": "hold",
        "Evaluation of the line": "evaluation",
        "Change of needle due": "needle due",
        "Dressing change due": "dressing due",
        "Non-coring needle": "needle",
    }
    return f"{one.how} {one.kind} {words.get(called(one.words), called(one.words))} {one.words['status']}"


def of_correction(*events: Json) -> list[str]:
    """Return what the last of these events sends, its Provenance and what every bundle has left out."""
    mine = [one for one in said(*events) if one.event == events[-1]["id"] and one.kind not in ("Provenance", "List")]
    return [short(one) for one in mine if "no known" not in str(one).lower() and called(one.words)[:9] != "Implanted"]


STATED = "opened Observation correction final"
HELD = ["changed Task evaluation {}", "changed Flag hold {}"]
ERROR = "entered-in-error"
CHANGES = {
    "what is amended is corrected, and the hold that it began was never one": (
        [ACCESS, LOOK, BLOOD],
        [*(one.format(ERROR) for one in HELD), "changed Observation blood corrected", STATED],
    ),
    "what is added is amended": (
        [ACCESS, LOOK, correction("addendum", "08:05", LOOK, adds={"blood_looks": "thin"})],
        ["changed Observation blood amended", STATED],
    ),
    "what is added for the first time is final": (
        [ACCESS, LOOK, SKIN],
        ["changed Observation site final", "opened Observation text final", STATED],
    ),
    "once corrected, what is added is corrected too": (
        [ACCESS, LOOK, BLOOD, correction("addendum", "08:30", LOOK, adds={"blood_looks": "like whole blood"})],
        ["changed Observation blood corrected", STATED],
    ),
    "what says again what it first said is final": (
        [ACCESS, LOOK, BLOOD, BACK],
        ["changed Task evaluation requested", "changed Flag hold active", "changed Observation blood final", STATED],
    ),
    "a correction that is taken back": (
        [ACCESS, LOOK, BLOOD, BLOOD_WRONG],
        ["changed Task evaluation requested", "changed Flag hold active", "changed Observation blood final"],
    ),
    "an addendum that is taken back": (
        [ACCESS, LOOK, SKIN, SKIN_WRONG],
        [f"changed Observation site {ERROR}", f"changed Observation text {ERROR}"],
    ),
    "a retraction": (
        [ACCESS, LOOK, WRONG],
        [
            *(one.format(ERROR) for one in HELD),
            f"changed Observation blood {ERROR}",
            f"changed Observation pain {ERROR}",
        ],
    ),
    "an amendment of what was retracted changes nothing of it": (
        [ACCESS, LOOK, WRONG, correction("amendment", "10:00", LOOK, sets={"pain": 3})],
        [STATED],
    ),
    "a needle that was never put in": (
        [ACCESS, WRONG_NEEDLE],
        [
            f"changed Device needle {ERROR}",
            f"changed DeviceUseStatement  {ERROR}",
            f"changed ServiceRequest needle due {ERROR}",
            f"changed ServiceRequest dressing due {ERROR}",
            f"changed Procedure Access of implanted venous access port {ERROR}",
            f"changed Observation blood {ERROR}",
            f"changed Observation Volume of first aspirate discarded from implanted venous access port {ERROR}",
            f"changed Observation Dressing at implanted venous access port {ERROR}",
            f"changed MedicationAdministration 0.9% sodium chloride {ERROR}",
            f"changed Observation Resistance to flush of implanted venous access port {ERROR}",
            f"changed MedicationAdministration Heparin lock flush 100 units/mL {ERROR}",
        ],
    ),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_correction_changes_what_it_is_about_and_nothing_else(what: str) -> None:
    events, expected = CHANGES[what]
    assert sorted(of_correction(*events)) == sorted(expected)


def test_what_a_later_event_closed_stays_closed_when_its_beginning_is_corrected() -> None:
    sent = [one for one in said(ACCESS, OUT, EARLIER) if one.event == EARLIER["id"]]
    state = [short(one) for one in sent if one.kind in ("Device", "DeviceUseStatement", "ServiceRequest")]
    assert [one for one in state if "Implanted" not in one] == [
        "changed Device needle inactive",
        "changed DeviceUseStatement  completed",
        "changed ServiceRequest needle due completed",
        "changed ServiceRequest dressing due revoked",
    ]
    (use,) = (one.words for one in sent if one.kind == "DeviceUseStatement")
    assert use["timingPeriod"] == {"start": "2031-03-04T08:00:00-06:00", "end": "2031-03-06T09:00:00-06:00"}


def test_an_event_that_was_retracted_before_it_was_sent_is_never_active() -> None:
    mine = [one for one in said(ACCESS, LOOK, WRONG) if one.event == LOOK["id"]]
    sent = [short(one) for one in mine if one.kind in ("Task", "Flag", "Observation")]
    assert sorted(sent) == sorted(CHANGES["a retraction"][1])
    blood = [one for one in said(ACCESS, LOOK, WRONG, BLOOD) if one.kind == "Observation" and one.event == WRONG["id"]]
    assert {one.words["status"] for one in blood} == {ERROR}


# -- what a correction states --


def stated(*events: Json) -> Any:
    """Return what the last event states, and what stood there before."""
    (found,) = (
        one.words
        for one in said(*events)
        if one.event == events[-1]["id"] and one.kind == "Observation" and "Correction" in called(one.words)
    )
    assert (found["status"], found["valueString"], found["focus"]) == (
        "final",
        events[-1]["kind"],
        "Device Implanted venous access port",
    )
    return found["extension"]["correction"]


STATEMENTS = [
    ([ACCESS, LOOK, BLOOD], [{"stated": '{"blood_return":"present"}'}, {"before": '[[["blood_return"],"none"]]'}]),
    (
        [ACCESS, LOOK, SKIN],
        [{"stated": '{"site":{"skin":"intact"}}'}, {"before": '[[["site"],null]]'}],
    ),
    (
        [ACCESS, correction("amendment", "08:00", ACCESS, sets={"needle": {"gauge": 22}})],
        [{"stated": '{"needle":{"gauge":22}}'}, {"before": '[[["needle","gauge"],20]]'}],
    ),
    (
        [ACCESS, LOOK, SKIN, correction("amendment", "08:30", SKIN, sets={"adds": {"pain": 5}})],
        {"stated": '{"adds":{"pain":5}}'},
    ),
    ([ACCESS, LOOK, WRONG, correction("amendment", "10:00", LOOK, sets={"pain": 3})], {"stated": '{"pain":3}'}),
]


@pytest.mark.parametrize(("events", "expected"), STATEMENTS)
def test_a_correction_states_what_is_right_and_what_stood_there(events: list[Json], expected: Any) -> None:
    assert stated(*events) == expected


def test_a_retraction_states_nothing_and_gives_its_reason() -> None:
    sent = [one for one in said(ACCESS, LOOK, WRONG) if one.event == WRONG["id"]]
    assert not [one for one in sent if "Correction" in called(one.words)]
    (provenance,) = (one.words for one in sent if one.kind == "Provenance")
    assert (provenance["activity"], provenance["reason"]) == ("Record entered in error", "wrong patient")
    revised = [one["role"] for one in provenance["entity"]]
    assert revised == ["source", "revision"]
    assert provenance["entity"][1]["what"].endswith(f"/made-1/{LOOK['id']}")


ACTIVITIES = [(LOOK, "Record entered"), (BLOOD, "Record amended"), (SKIN, "Record amended")]


@pytest.mark.parametrize(("last", "activity"), ACTIVITIES)
def test_a_provenance_says_whether_it_was_entered_or_amended(last: Json, activity: str) -> None:
    events = [ACCESS, LOOK] if last is LOOK else [ACCESS, LOOK, last]
    (found,) = (one.words for one in said(*events) if (one.event, one.kind) == (last["id"], "Provenance"))
    assert found["activity"] == activity


# -- the notes --


def papers(*events: Json) -> list[tuple[str, str, str]]:
    """Return the notes that the last event sends: how, as what, and what each does to another."""
    return [
        (one.how, one.words["status"], one.words.get("relatesTo", {}).get("code", ""))
        for one in said(*events, options=noted())
        if one.event == events[-1]["id"] and one.kind == "DocumentReference"
    ]


NEW, ADDED = ("opened", "current", "replaces"), ("opened", "current", "appends")
PAPERS = {
    "an entry": ([ACCESS, LOOK], [("opened", "current", "")]),
    "an amendment replaces": ([ACCESS, LOOK, BLOOD], [("changed", "superseded", ""), NEW]),
    "a second one replaces the first": ([ACCESS, LOOK, BLOOD, PAIN], [("changed", "superseded", "replaces"), NEW]),
    "an addendum is added": ([ACCESS, LOOK, SKIN], [ADDED]),
    "an addendum after an amendment is added to the entry": ([ACCESS, LOOK, BLOOD, SKIN], [ADDED]),
    "an amendment of an addendum stands alone": (
        [ACCESS, LOOK, SKIN, correction("amendment", "08:30", SKIN, sets={"text": "less"})],
        [("opened", "current", "")],
    ),
    "a retraction takes all of them back": (
        [ACCESS, LOOK, BLOOD, SKIN, PAIN, WRONG],
        [
            ("changed", ERROR, ""),
            ("changed", ERROR, "replaces"),
            ("changed", ERROR, "replaces"),
            ("changed", ERROR, "appends"),
        ],
    ),
    "an amendment taken back leaves the entry": (
        [ACCESS, LOOK, BLOOD, BLOOD_WRONG],
        [("changed", ERROR, "replaces"), ("changed", "current", "")],
    ),
    "the first of two amendments taken back": (
        [ACCESS, LOOK, BLOOD, PAIN, BLOOD_WRONG],
        [("changed", ERROR, "replaces"), ("changed", "current", "replaces")],
    ),
    "an addendum taken back": ([ACCESS, LOOK, SKIN, SKIN_WRONG], [("changed", ERROR, "appends")]),
}


@pytest.mark.parametrize("what", PAPERS)
def test_a_correction_has_a_note_of_its_own_and_changes_those_before(what: str) -> None:
    events, expected = PAPERS[what]
    assert sorted(papers(*events)) == sorted(expected)


def test_the_note_of_a_correction_is_of_who_corrected_and_when_it_was_charted() -> None:
    notes = [one.words for one in said(ACCESS, LOOK, BLOOD, PAIN, options=noted()) if one.kind == "DocumentReference"]
    assert [(one["author"], one["date"]) for one in notes] == [
        ("Marisol Tamm", "2031-03-04T09:40:00-06:00"),
        ("Marisol Tamm", "2031-03-04T10:00:00-06:00"),
        ("Marisol Tamm", "2031-03-04T10:00:00-06:00"),
        ("Marisol Tamm", "2031-03-05T08:00:00-06:00"),
        ("Marisol Tamm", "2031-03-05T08:00:00-06:00"),
        ("Osric Fennimore", "2031-03-05T08:30:00-06:00"),
    ]


def text_of(one: Said) -> str:
    return base64.b64decode(one.words["content"]["attachment"]["data"]).decode()


def test_an_amendment_brings_the_whole_note_anew_and_an_addendum_its_own_words() -> None:
    found = [one for one in said(ACCESS, LOOK, BLOOD, SKIN, options=noted()) if one.kind == "DocumentReference"]
    first, anew, added = (
        next(text_of(one) for one in found if one.event == of["id"] and one.how == "opened")
        for of in (LOOK, BLOOD, SKIN)
    )
    assert "Line check, 4 March" in first and "There was NO" in first
    assert "Line check, 4 March" in anew and "Blood return was present" in re.sub(r"\s+", " ", anew)
    assert "More." in added and "Line check, 4 March" not in added


def test_of_many_corrections_the_note_tells_the_last_and_what_these_withdrew() -> None:
    added = [correction("addendum", f"08:{minute}", LOOK, text=f"more {minute}") for minute in range(11, 19)]
    withdrawn = correction("retraction", "08:20", BLOOD, reason="was right")
    last = correction("amendment", "08:30", LOOK, sets={"pain": 4})
    found = said(ACCESS, LOOK, BLOOD, *added, withdrawn, last, options=noted())
    new = (one for one in found if (one.event, one.kind, one.how) == (last["id"], "DocumentReference", "opened"))
    text = re.sub(r"\s+", " ", text_of(next(new)))
    assert f"RETRACTED on 5 March 2031, 08:20 by Marisol Tamm, RN: entry {BLOOD['id']}" in text
    assert "more 18" in text and "Pain score: was 2, now 4" in text and "Added: more 11" not in text


def test_what_a_new_note_replaces_stands_in_the_same_bundle() -> None:
    new = [one for one in said(ACCESS, LOOK, BLOOD, options=noted()) if one.event == BLOOD["id"]]
    (note,) = (one.words for one in new if one.kind == "DocumentReference" and one.how == "opened")
    assert note["relatesTo"] == {"code": "replaces", "target": "DocumentReference Nurse note"}
    added = [one for one in said(ACCESS, LOOK, SKIN, options=noted()) if one.event == SKIN["id"]]
    (note,) = (one.words for one in added if one.kind == "DocumentReference")
    assert note["relatesTo"] == {"code": "appends", "target": "elsewhere DocumentReference Nurse note"}


# -- facts of the patient --

FACTS = event(
    "patient facts",
    "2031-03-04 10:00",
    allergies=[{"substance": "latex"}],
    history=[{"condition": "cold intolerance", "found_on": "2031-03-01"}],
)


def test_an_allergy_told_in_error_has_no_clinical_status() -> None:
    gone = correction("retraction", "09:00", FACTS)
    sent = {
        one.kind: one.words for one in said(ACCESS, FACTS, gone) if one.event == gone["id"] and one.how == "changed"
    }
    assert sent["AllergyIntolerance"]["verificationStatus"].endswith("entered in error")
    assert sent["Condition"]["verificationStatus"].endswith("entered in error")
    assert not [kind for kind, words in sent.items() if "clinicalStatus" in words]
