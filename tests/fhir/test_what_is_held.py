"""Holds and dangers as others find them: a Task and a Flag for each hold, on what they rest, and what ends them."""

from __future__ import annotations

from typing import Any

import pytest
from in_short import Said, of_kind, said
from made_records import FLUSH, NEEDLE, event, needle_event, removal_event

Json = dict[str, Any]

ACCESS = needle_event("2031-03-04 09:40")
PORT = {"power": {"rated": True, "max_flow_ml_per_s": 5}}
PHYSICIAN = {"name": "Dr Amaranth Locke", "credential": "MD"}


def at_ten(kind: str, **facts: Any) -> Json:
    return event(kind, "2031-03-04 10:00", **facts)


def look(**facts: Any) -> Json:
    return at_ten("line check", **facts)


def flushed(*felt: str) -> Json:
    return at_ten("flush", flushes=[{**FLUSH, "resistance": one} for one in felt])


def used(**facts: Any) -> Json:
    return at_ten("line use", purpose="medication", action="given", what="x", **facts)


def access(**facts: Any) -> Json:
    return at_ten("access", **facts)


SITE = "Observation Skin and tissue at implanted venous access port"
BLOOD = "Observation Blood return from implanted venous access port"
FELT = "Observation Resistance to flush of implanted venous access port"
PORT_ITSELF = "Device Implanted venous access port"
INTO_PORT = "Procedure Access of implanted venous access port"
OUT = {"extent": "completely out", "running": "dextrose"}
TWICE = [{"outcome": "blood return"}, {"outcome": "no blood return"}]

RESTS_ON = [
    ("no blood return", access(needle=NEEDLE, blood_return="none", flushes=[{**FLUSH, "resistance": "some"}]), [BLOOD]),
    ("no blood return", look(blood_return="none"), [BLOOD]),
    (
        "no blood return",
        used(blood_return_before="none"),
        ["Observation Blood return before use of implanted venous access port"],
    ),
    ("no blood return", access(needle=NEEDLE, punctures=TWICE), ["Observation Punctures"] * 2),
    ("blood return not proven", look(blood_return="present", blood_looks="thin"), [BLOOD]),
    (
        "blood return not proven",
        used(blood_return_before="present", blood_looks="thin"),
        [BLOOD, "Observation Blood return before use of implanted venous access port"],
    ),
    (
        "blood return not proven",
        access(needle=NEEDLE, punctures=[{"outcome": "blood return"}], blood_looks="clotted"),
        [BLOOD, "Observation Punctures"],
    ),
    ("resistance", flushed("none", "some"), [FELT]),
    ("resistance", flushed("some", "cannot flush"), [FELT] * 2),
    ("resistance", access(needle=NEEDLE, punctures=[{"outcome": "resistance"}]), ["Observation Punctures"]),
    (
        "resistance",
        access(needle=NEEDLE, punctures=[{"outcome": "blood return"}], flushes=[{**FLUSH, "resistance": "some"}]),
        [FELT],
    ),
    (
        "resistance that changes with posture",
        look(signs=[{"what": "resistance changes with posture"}]),
        ["Observation Signs"],
    ),
    ("swelling", look(site={"swelling": "present"}), [SITE]),
    ("swelling", look(signs=[{"what": "redness"}, {"what": "swelling"}]), ["Observation Signs"] * 2),
    ("pus", look(site={"drainage": "purulent"}), [SITE]),
    ("redness and tenderness", look(site={"erythema": "present", "tenderness": "present"}), [SITE]),
    ("port flipped or not felt", look(site={"port": "flipped"}, pain=4), [SITE]),
    ("skin over the port", look(site={"skin": "broken"}), [SITE]),
    ("something given at the site hurt or leaked", at_ten("extravasation care", product="x"), [PORT_ITSELF]),
    (
        "something given at the site hurt or leaked",
        at_ten("needle dislodged", **OUT),
        ["Observation How far the needle is out"],
    ),
    (
        "something given at the site hurt or leaked",
        look(signs=[{"what": "burning", "during": "infusion"}]),
        ["Observation Signs"],
    ),
    (
        "swelling of arm, face, neck or chest",
        look(site={"swelling": "present", "swelling_where": ["arm"]}),
        [SITE],
    ),
    (
        "fever or chills after a flush or start",
        look(signs=[{"what": "fever", "during": "flush"}]),
        ["Observation Signs"],
    ),
    ("breathlessness, chest pain or open line", look(found=["connector off"]), ["Observation Found at the line"]),
    ("catheter parted", look(signs=[{"what": "catheter parted"}]), ["Observation Signs"]),
    ("needle partly out", at_ten("needle dislodged", extent="partly out"), ["Observation How far the needle is out"]),
    ("needle partly out", look(found=["needle partly out"]), ["Observation Found at the line"]),
    (
        "needle not whole",
        removal_event("2031-03-04 10:00", needle_intact=False, missing_piece="tip"),
        ["Observation Needle whole after removal", "Observation Missing piece"],
    ),
    (
        "tip not confirmed",
        access(needle=NEEDLE, tip_confirmed=False),
        ["Observation Catheter tip position confirmed before first use"],
    ),
    ("tip not confirmed", at_ten("port facts", tip={"location": "azygos"}), [PORT_ITSELF]),
    (
        "rated limit exceeded",
        at_ten("line use", purpose="power injection", action="given", what="x", flow_ml_per_s=6, pressure_psi=300),
        ["Observation Power injection rate", "Observation Power injection pressure limit"],
    ),
    ("coring needle", access(needle={**NEEDLE, "non_coring": False}), [INTO_PORT]),
]
"""Which hold an event begins, and what that hold rests on: what was seen; where nothing was, what was done."""


def details(words: Json) -> list[Any]:
    extension = words["extension"]
    return [one["flag-detail"] for one in extension if "flag-detail" in one]


@pytest.mark.parametrize(("reason", "began", "rests_on"), RESTS_ON)
def test_a_hold_rests_on_what_was_seen(reason: str, began: Json, rests_on: list[str]) -> None:
    found = said(*([ACCESS] if began["kind"] != "access" else []), began, port=PORT)
    (flag,) = of_kind(found, "Flag", f"On hold: {reason}")
    assert details(flag) == rests_on
    (task,) = (one for one in of_kind(found, "Task", "Evaluation of the line") if one["reasonCode"] == flag["code"])
    assert (task["status"], task["intent"], task["priority"]) == ("requested", "plan", "urgent")


# -- one hold over its time --

BEGAN = look(blood_return="none", charted_at="2031-03-04T10:05:00-06:00")
PATIENT = "Patient?identifier=https://made.example/mrn|MD-0001"
STAY = "Encounter?identifier=https://example.org/lda-notes/visit|made-1"
TASK = {
    "extension": {"septum": "single"},
    "status": "requested",
    "intent": "plan",
    "priority": "urgent",
    "code": "Evaluation of the line",
    "description": "On hold since 2031-03-04 10:00: no blood return",
    "focus": PORT_ITSELF,
    "for": PATIENT,
    "encounter": STAY,
    "executionPeriod": {"start": "2031-03-04T10:00:00-06:00"},
    "authoredOn": "2031-03-04T10:05:00-06:00",
    "lastModified": "2031-03-04T10:05:00-06:00",
    "requester": "Marisol Tamm",
    "reasonCode": "On hold: no blood return",
    "reasonReference": "Flag On hold: no blood return",
}
FLAG = {
    "extension": [{"septum": "single"}, {"flag-detail": BLOOD}],
    "status": "active",
    "category": "Safety",
    "code": "On hold: no blood return",
    "subject": PATIENT,
    "period": {"start": "2031-03-04T10:00:00-06:00"},
    "encounter": STAY,
    "author": "Marisol Tamm",
}
NOON = "2031-03-04T12:00:00-06:00"
LATE = "2031-03-04T12:30:00-06:00"


def noon(kind: str, **facts: Any) -> Json:
    return event(kind, "2031-03-04 12:00", **facts)


DECIDED = noon("evaluation", decision="cleared for use", cleared_by=PHYSICIAN, by=PHYSICIAN, charted_at=LATE)
PROVED = needle_event("2031-03-04 12:00", blood_looks="like whole blood")


def held(*events: Json) -> tuple[list[Said], list[Said]]:
    """Return the Tasks and the Flags of holds that these events are sent as."""
    found = said(ACCESS, *events)
    return [one for one in found if one.kind == "Task"], [one for one in found if one.kind == "Flag"]


def test_a_hold_that_lasts_is_asked_for_and_active() -> None:
    (task,), (flag,) = held(BEGAN)
    assert (task.how, task.words) == ("opened", TASK)
    assert (flag.how, flag.words) == ("opened", FLAG)


ENDS = [
    (DECIDED, "completed", None, LATE),
    (PROVED, "cancelled", "The hold ended: proof at a new access", NOON),
    (noon("port removed"), "cancelled", "The hold ended: port removed", NOON),
]


@pytest.mark.parametrize(("end", "status", "why", "modified"), ENDS, ids=["evaluation", "proof", "port removed"])
def test_what_ends_a_hold_closes_both(end: Json, status: str, why: str | None, modified: str) -> None:
    (_, task), (_, flag) = held(BEGAN, end)
    assert (task.event, task.how, task.words) == (
        end["id"],
        "changed",
        {
            **TASK,
            "status": status,
            **({"statusReason": why} if why else {}),
            "executionPeriod": {"start": "2031-03-04T10:00:00-06:00", "end": NOON},
            "lastModified": modified,
        },
    )
    assert (flag.event, flag.how, flag.words) == (
        end["id"],
        "changed",
        {
            **FLAG,
            "extension": [{"septum": "single"}, {"flag-detail": f"elsewhere {BLOOD}"}],
            "status": "inactive",
            "period": {"start": "2031-03-04T10:00:00-06:00", "end": NOON},
        },
    )


def test_a_hold_charted_after_its_end_was_last_changed_when_it_was_charted() -> None:
    late = look(blood_return="none", charted_at="2031-03-04T14:00:00-06:00")
    (_, task), _ = held(late, DECIDED)
    assert task.words["lastModified"] == "2031-03-04T14:00:00-06:00"


def test_nobody_is_named_as_having_asked_where_nobody_is_recorded() -> None:
    (task,), (flag,) = held({key: value for key, value in BEGAN.items() if key != "by"})
    assert "requester" not in task.words and "author" not in flag.words


def test_each_hold_of_one_event_is_a_task_and_a_flag_of_its_own() -> None:
    both = look(blood_return="none", site={"swelling": "present"})
    tasks, flags = held(both)
    assert [one.words["reasonReference"] for one in tasks] == [f"Flag {one.words['code']}" for one in flags]
    assert len({one.words["code"] for one in flags}) == 2
    proved = held(both, PROVED)
    assert [one.words["code"] for one in proved[1] if one.how == "changed"] == ["On hold: no blood return"]


# -- dangers --

HEPARIN = {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5}
HIT = event("patient facts", "2031-03-04 11:00", history=[{"condition": "heparin-induced thrombocytopenia"}])
LOCKED = at_ten("flush", flushes=[FLUSH], lock={"drug": "70% ethanol", "volume_ml": 2})
ASPIRATED = event("line use", "2031-03-04 12:00", purpose="removal of lock", action="given")
SALINE = event("flush", "2031-03-04 12:10", flushes=[FLUSH])
DANGERS = [
    ("D2", at_ten("access", needle={**NEEDLE, "non_coring": False}), "Ordinary (coring) needle in the port"),
    ("D3", LOCKED, "70% ethanol in the line"),
    ("D4", at_ten("patency treatment", drug="alteplase", dose_mg=2, volume_ml=2), "Alteplase in the line"),
]


@pytest.mark.parametrize(("code", "began", "words"), DANGERS, ids=[one[0] for one in DANGERS])
def test_a_danger_that_stands_is_an_active_flag(code: str, began: Json, words: str) -> None:
    found = said(*([ACCESS] if began["kind"] != "access" else []), began)
    (flag,) = (one for one in found if one.kind == "Flag" and one.words["code"] == words)
    assert (flag.event, flag.how, flag.words["status"]) == (began["id"], "opened", "active")
    assert flag.words["period"] == {"start": "2031-03-04T10:00:00-06:00"}
    assert [one.split()[0] for one in details(flag.words)] == ["Procedure"]


def flags(*events: Json, **parts: Any) -> list[tuple[str, str, str, str]]:
    """Return of each flag the kind of the event that sends it, how, in which words and as what."""
    return [
        (event.rpartition("-2031")[0], how, words["code"], words["status"])
        for event, how, kind, words in said(*events, **parts)
        if kind == "Flag"
    ]


def test_a_danger_is_changed_by_what_changes_it_and_ended_by_what_ends_it() -> None:
    removed = event("port removed", "2031-03-04 13:00")
    pushed = noon("flush", flushes=[FLUSH])
    lock, exposure = "70% ethanol in the line", "70% ethanol was flushed in: exposure"
    began = ("flush", "opened", lock, "active")
    assert flags(ACCESS, LOCKED) == [began]
    assert flags(ACCESS, LOCKED, pushed) == [began, ("flush", "changed", exposure, "active")]
    assert flags(ACCESS, LOCKED, removed) == [began, ("port-removed", "changed", lock, "inactive")]
    assert flags(ACCESS, LOCKED, pushed, removed) == [
        began,
        ("flush", "changed", exposure, "inactive"),
        ("port-removed", "changed", exposure, "inactive"),
    ]
    assert flags(ACCESS, LOCKED, ASPIRATED, SALINE) == [began, ("flush", "changed", lock, "inactive")]


def test_two_dangers_of_one_event_end_each_by_its_own() -> None:
    coring = at_ten("access", needle={**NEEDLE, "non_coring": False}, lock={"drug": "70% ethanol", "volume_ml": 2})
    ordinary = "Ordinary (coring) needle in the port"
    sent = flags(coring, removal_event("2031-03-04 11:00", flushes={"not_done": "no"}, lock={"not_done": "no"}))
    mine = [one for one in sent if "hold" not in one[2]]
    assert mine == [
        ("access", "opened", ordinary, "active"),
        ("access", "opened", "70% ethanol in the line", "active"),
        ("de-access", "changed", ordinary, "inactive"),
    ]


def test_the_reason_of_a_danger_that_an_event_told_is_no_danger_of_the_lock_before_it() -> None:
    assert [one[2] for one in flags(ACCESS, HIT)] == [
        "Heparin in the line of a patient with heparin-induced thrombocytopenia"
    ]


def test_each_septum_has_its_own_dangers_and_holds() -> None:
    two = {"septa": ["medial", "lateral"]}
    opened = [needle_event("2031-03-04 09:40", septum="medial"), needle_event("2031-03-04 09:45", septum="lateral")]
    found = said(*opened, look(blood_return="none", septum="lateral"), {**LOCKED, "septum": "medial"}, port=two)
    named = {
        one.words["code"]: [part["septum"] for part in one.words["extension"] if "septum" in part]
        for one in found
        if one.kind == "Flag"
    }
    assert named == {"On hold: no blood return": ["lateral"], "70% ethanol in the line": ["medial"]}


def test_flags_of_a_correction_point_to_what_stands_in_another_bundle() -> None:
    blood = event("amendment", "2031-03-04 11:00", of=BEGAN["id"], sets={"blood_return": "none"}, reason="wrong box")
    flow = look(blood_return="present", charted_at="2031-03-04T10:05:00-06:00")
    found = [one for one in said(ACCESS, flow, blood) if one.kind == "Flag"]
    assert [(one.event, one.how) for one in found] == [(flow["id"], "opened"), (blood["id"], "changed")]
    assert [details(one.words) for one in found] == [[f"elsewhere {BLOOD}"]] * 2


# -- what an earlier stay left --

EARLIER = (
    needle_event("2031-02-01 09:00"),
    event("line check", "2031-02-01 10:00", blood_return="none"),
    event("flush", "2031-02-01 11:00", lock={"drug": "70% ethanol", "volume_ml": 2}),
    event("line check", "2031-02-01 12:00", blood_return="none"),  # a decision counts where nothing can be aspirated
)
CLEARED_THEN = event("evaluation", "2031-02-02 09:00", decision="cleared for use", cleared_by=PHYSICIAN, by=PHYSICIAN)


def left_to(*events: Json, earlier: tuple[Json, ...] = EARLIER) -> list[tuple[str, str, str, str]]:
    """Return the Tasks and Flags that are sent of an earlier stay: the event, how, the type and the status."""
    return [
        (one.event.rpartition("-2031")[0], one.how, one.kind, one.words["status"])
        for one in said(*events, earlier=earlier)
        if one.kind in ("Task", "Flag") and str(one.words["encounter"]).endswith("made-0")
    ]


def test_what_an_earlier_stay_left_is_sent_until_it_ends_under_that_stay() -> None:
    looked = look(pain=0)
    stands = [("line-check", "opened", "Task", "requested"), *[("line-check", "opened", "Flag", "active")] * 2]
    assert left_to(looked) == stands
    ended = [
        ("evaluation", "changed", "Task", "completed"),
        *[("evaluation", "changed", "Flag", "inactive")] * 2,
    ]
    assert left_to(looked, DECIDED) == stands + ended
    rests = [details(one.words) for one in said(looked, earlier=EARLIER) if one.kind == "Flag"]
    assert [one.split()[0] for (one,) in rests] == ["elsewhere", "elsewhere"]


def test_what_ended_in_an_earlier_stay_is_not_sent_again() -> None:
    assert left_to(look(pain=0), earlier=(*EARLIER[:2], CLEARED_THEN)) == []
