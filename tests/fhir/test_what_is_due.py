"""What is due, as requests that others find: opened by what starts the clock, closed by what was waited for or not."""

from __future__ import annotations

from typing import Any

import made_records
import pytest
from in_short import of_kind, said
from made_records import FILM, FLUSH, HEPARIN, NEEDLE, event, needle_event, removal_event

Json = dict[str, Any]
Row = tuple[str, str, str, str]

NEEDLE_DUE = "Change of needle due"
DRESSING_DUE = "Dressing change due"
FLUSH_DUE = "Flush and lock of implanted venous access port due"
CHECK_DUE = "Check of dwelling thrombolytic due"

ACCESS = needle_event("2031-03-04 09:40")
OUT = removal_event("2031-03-05 09:00")
HOME = event("discharge", "2031-03-06 12:00", destination="home", needle_in=False)
PORT_OUT = event("port removed", "2031-03-07 09:00")
DOSE = event("patency treatment", "2031-03-04 10:00", drug="alteplase", dose_mg=2, volume_ml=2)
RUNS = {**ACCESS, "infusion": "dextrose"}
STOPPED = event("line use", "2031-03-04 12:00", purpose="infusion", action="stopped", what="dextrose")
NO = {"not_done": "refused"}


def one_o_clock(kind: str, **facts: Any) -> Json:
    return event(kind, "2031-03-04 13:00", **facts)


def requests(*events: Json, **how: Any) -> list[Row]:
    """Return each request as the kind of the event that sends it, how, what is due, and its status."""
    return [
        (event.partition("-2031")[0], how, words["code"], words["status"])
        for event, how, kind, words in said(*events, **how)
        if kind == "ServiceRequest"
    ]


IN = [("access", "opened", NEEDLE_DUE, "active"), ("access", "opened", DRESSING_DUE, "active")]
TAKEN_OUT = [
    ("de-access", "opened", FLUSH_DUE, "active"),
    ("de-access", "changed", NEEDLE_DUE, "completed"),
    ("de-access", "changed", DRESSING_DUE, "revoked"),
]
OPEN_LINE = [("line-use", "opened", FLUSH_DUE, "active")]
FLUSHED = [("flush", "changed", FLUSH_DUE, "completed")]
ASKED = [("patency-treatment", "opened", CHECK_DUE, "active")]

STORIES = {
    "a needle in": ([ACCESS], IN),
    "a look changes nothing": ([ACCESS, one_o_clock("line check", blood_return="present")], IN),
    "a flush changes nothing while a needle is in": ([ACCESS, one_o_clock("flush", flushes=[FLUSH], lock=HEPARIN)], IN),
    "needle out": ([ACCESS, OUT], IN + TAKEN_OUT),
    "needle fell out": (
        [ACCESS, event("needle dislodged", "2031-03-05 09:00", extent="completely out")],
        [
            *IN,
            ("needle-dislodged", "opened", FLUSH_DUE, "active"),
            ("needle-dislodged", "changed", NEEDLE_DUE, "revoked"),
            ("needle-dislodged", "changed", DRESSING_DUE, "revoked"),
        ],
    ),
    "port out with its needle": (
        [ACCESS, PORT_OUT],
        [
            *IN,
            ("port-removed", "changed", NEEDLE_DUE, "completed"),
            ("port-removed", "changed", DRESSING_DUE, "revoked"),
        ],
    ),
    "port out": ([ACCESS, OUT, PORT_OUT], [*IN, *TAKEN_OUT, ("port-removed", "changed", FLUSH_DUE, "revoked")]),
    "a new needle with its flush": (
        [ACCESS, OUT, needle_event("2031-03-06 09:00")],
        [*IN, *TAKEN_OUT, *IN, ("access", "changed", FLUSH_DUE, "completed")],
    ),
    "a new needle that was only locked": (
        [ACCESS, OUT, needle_event("2031-03-06 09:00", flushes=NO)],
        [*IN, *TAKEN_OUT, *IN, ("access", "changed", FLUSH_DUE, "completed")],
    ),
    "a new needle that was not flushed": (
        [ACCESS, OUT, needle_event("2031-03-06 09:00", flushes=NO, lock=NO)],
        [
            *IN,
            *TAKEN_OUT,
            *IN,
            ("access", "changed", FLUSH_DUE, "revoked"),
            ("access", "opened", FLUSH_DUE, "active"),
        ],
    ),
    "flushed elsewhere": (
        [ACCESS, OUT, event("flushed elsewhere", "2031-03-20 09:00", on="2031-03-19")],
        [
            *IN,
            *TAKEN_OUT,
            ("flushed-elsewhere", "opened", FLUSH_DUE, "active"),
            ("flushed-elsewhere", "changed", FLUSH_DUE, "completed"),
        ],
    ),
    "home, where the next flush is another clock's": (
        [ACCESS, OUT, HOME, event("flush", "2031-03-20 09:00", flushes=[FLUSH])],
        [
            *IN,
            *TAKEN_OUT,
            ("discharge", "opened", FLUSH_DUE, "active"),
            ("discharge", "changed", FLUSH_DUE, "revoked"),
            ("flush", "opened", FLUSH_DUE, "active"),
            ("flush", "changed", FLUSH_DUE, "completed"),
        ],
    ),
    "of the dead nothing is due": (
        [ACCESS, OUT, {**HOME, "destination": "died"}],
        [*IN, *TAKEN_OUT, ("discharge", "changed", FLUSH_DUE, "revoked")],
    ),
    "a new dressing": (
        [ACCESS, one_o_clock("dressing change", dressing=FILM)],
        [
            *IN,
            ("dressing-change", "opened", DRESSING_DUE, "active"),
            ("dressing-change", "changed", DRESSING_DUE, "completed"),
        ],
    ),
    "a dressing that was not changed": ([ACCESS, one_o_clock("dressing change", dressing=NO)], IN),
    "a dressing found loose": (
        [ACCESS, one_o_clock("line check", dressing_found=["loose"])],
        [
            *IN,
            ("line-check", "opened", DRESSING_DUE, "active"),
            ("line-check", "changed", DRESSING_DUE, "revoked"),
        ],
    ),
    "a thrombolytic": ([ACCESS, DOSE], IN + ASKED),
    "a first look at it without blood": (
        [ACCESS, DOSE, event("patency check", "2031-03-04 10:30", treatment=DOSE["id"], blood_return="none")],
        IN + ASKED,
    ),
    "the look that ends it": (
        [
            ACCESS,
            DOSE,
            event("patency check", "2031-03-04 12:00", treatment=DOSE["id"], blood_return="present", withdrawn_ml=5),
        ],
        [*IN, *ASKED, ("patency-check", "changed", CHECK_DUE, "completed")],
    ),
    "the port goes before it": (
        [ACCESS, DOSE, PORT_OUT],
        [
            *IN,
            *ASKED,
            ("port-removed", "changed", NEEDLE_DUE, "completed"),
            ("port-removed", "changed", DRESSING_DUE, "revoked"),
            ("port-removed", "changed", CHECK_DUE, "revoked"),
        ],
    ),
    "an infusion that stopped": ([RUNS, STOPPED], IN + OPEN_LINE),
    "flushed and locked after it": (
        [RUNS, STOPPED, one_o_clock("flush", flushes=[FLUSH], lock=HEPARIN)],
        IN + OPEN_LINE + FLUSHED,
    ),
    "flushed after it, and the lock left out": (
        [RUNS, STOPPED, one_o_clock("flush", flushes=[FLUSH], lock=NO)],
        IN + OPEN_LINE + FLUSHED,
    ),
    "neither": ([RUNS, STOPPED, one_o_clock("flush", flushes=NO, lock=NO)], IN + OPEN_LINE),
    "another infusion instead": (
        [RUNS, STOPPED, one_o_clock("line use", purpose="infusion", action="started", what="saline")],
        [*IN, *OPEN_LINE, ("line-use", "changed", FLUSH_DUE, "revoked")],
    ),
}


@pytest.mark.parametrize("story", STORIES)
def test_what_starts_a_clock_opens_a_request_and_what_ends_it_closes_it(story: str) -> None:
    events, expected = STORIES[story]
    assert sorted(requests(*events)) == sorted(expected)


def test_a_policy_that_reminds_has_a_flush_due_with_the_needle_in() -> None:
    every_eight = made_records.policy(accessed_idle_flush_hours=8)
    found = of_kind(said(ACCESS, policy=every_eight), "ServiceRequest", FLUSH_DUE)
    assert [one["occurrenceDateTime"] for one in found] == ["2031-03-04T17:40:00-06:00"]


def test_each_septum_has_requests_of_its_own() -> None:
    two = {"septa": ["medial", "lateral"]}
    events = needle_event("2031-03-04 09:40", septum="medial"), needle_event("2031-03-04 09:45", septum="lateral")
    found = of_kind(said(*events, port=two), "ServiceRequest")
    assert [(one["extension"]["septum"], one["code"]) for one in found] == [
        (septum, due) for septum in ("medial", "lateral") for due in (NEEDLE_DUE, DRESSING_DUE)
    ]
    out = removal_event("2031-03-05 09:00", septum="medial"), removal_event("2031-03-05 09:05", septum="lateral")
    gone = [one for one in said(*events, *out, HOME, port=two) if one.event == HOME["id"] and one.how == "opened"]
    flushes = of_kind(gone, "ServiceRequest", FLUSH_DUE)
    assert [one["extension"]["septum"] for one in flushes] == ["medial", "lateral"]


# -- what a request says --

REQUEST = {
    "extension": {"septum": "single"},
    "status": "active",
    "intent": "plan",
    "priority": "routine",
    "code": NEEDLE_DUE,
    "subject": "Patient?identifier=https://made.example/mrn|MD-0001",
    "encounter": "Encounter?identifier=https://example.org/lda-notes/visit|made-1",
    "occurrenceDateTime": "2031-03-11T10:40:00-05:00",
    "authoredOn": "2031-03-04T10:00:00-06:00",
    "requester": "Marisol Tamm",
    "supportingInfo": "Device Implanted venous access port",
    "note": f"{NEEDLE_DUE} by 2031-03-11 10:40",
}
CHARTED = {**ACCESS, "charted_at": "2031-03-04T10:00:00-06:00"}


def test_a_request_says_what_is_due_by_when_and_orders_nothing() -> None:
    opened, _ = of_kind(said(CHARTED), "ServiceRequest")
    assert opened == REQUEST
    assert of_kind(said(CHARTED, OUT), "ServiceRequest", NEEDLE_DUE) == [REQUEST, {**REQUEST, "status": "completed"}]
    fell = event("needle dislodged", "2031-03-05 09:00", extent="completely out")
    _, closed = of_kind(said(CHARTED, fell), "ServiceRequest", NEEDLE_DUE)
    why = f"{NEEDLE_DUE} by 2031-03-11 10:40; no longer due after: needle dislodged"
    assert closed == {**REQUEST, "status": "revoked", "note": why}


def test_what_is_due_at_once_is_urgent_and_says_why() -> None:
    unknown = event("arrival accessed", "2031-03-04 09:00", needle=NEEDLE, inserted_at={"not_assessed": "no papers"})
    (found,) = of_kind(said(unknown), "ServiceRequest", NEEDLE_DUE)
    assert (found["priority"], found["occurrenceDateTime"], found["authoredOn"]) == (
        "urgent",
        "2031-03-04T09:00:00-06:00",
        "2031-03-04T09:00:00-06:00",
    )
    assert found["note"] == f"{NEEDLE_DUE} now: time of insertion is not known"
    nobody = {key: value for key, value in unknown.items() if key != "by"}
    assert all("requester" not in one for one in of_kind(said(nobody), "ServiceRequest"))
