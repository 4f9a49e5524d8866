"""Behaviors whose change once went unnoticed: each test fails when that one place in the code is changed."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from rule_cases import episode_of, local_policy, rules_found

from lda_notes.fhir.build.bundle import Options, bundles
from lda_notes.fhir.config import DEFAULT as CONFIG
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line.timeline import build
from tests.mutation.named import NAMED

LATER = datetime.fromisoformat("2031-04-02T12:00-05:00")
SWOLLEN = {"site": {"swelling": "present"}}


def event(kind: str, clock: str, **facts: Any) -> dict[str, Any]:
    return {"kind": kind, "at": f"2031-04-02T{clock}-05:00", **facts}


def resources(kind: str, *events: dict[str, Any]) -> list[dict[str, Any]]:
    """Return all resources of a type that the events are sent as, in order."""
    line = build(episode_of(*events), DEFAULT, LATER)
    sent = [entry["resource"] for one in bundles(line, DEFAULT, CONFIG, Options()) for entry in one.bundle["entry"]]
    return [resource for resource in sent if resource["resourceType"] == kind]


@pytest.mark.parametrize("skin", ["broken", "thinned", "port visible"])
def test_skin_that_gives_way_holds_the_port(skin: str) -> None:
    line = build(
        episode_of(event("access", "09:00"), event("line check", "10:00", site={"skin": skin})), DEFAULT, LATER
    )
    assert [hold.reason for holds in line.holds.values() for hold in holds][:1] == ["skin over the port"]


def test_a_flush_of_a_held_swollen_line_is_found_though_steps_were_tried() -> None:
    tried = event("flush", "11:00", steps_tried=["repositioned patient"])
    events = (event("access", "09:00"), event("line check", "10:00", **SWOLLEN), tried)
    assert "held-line-flushed" in rules_found(*events)


def test_a_dressing_change_that_was_begun_and_stopped_is_sent_as_stopped() -> None:
    change = event("dressing change", "10:00", dressing={"not_done": "patient felt faint"})
    found = resources("Procedure", event("access", "09:00"), change)
    assert "stopped" in [procedure["status"] for procedure in found]


def test_the_evaluation_of_a_hold_is_sent_as_urgent() -> None:
    found = resources("Task", event("access", "09:00"), event("line check", "10:00", **SWOLLEN))
    urgent = [task for task in found if task.get("description", "").startswith("On hold")]
    assert urgent and {task["priority"] for task in urgent} == {"urgent"}


def test_a_removed_port_is_sent_as_inactive() -> None:
    found = resources("Device", event("port removed", "10:00"))
    assert "inactive" in [device.get("status") for device in found]


def test_what_is_due_at_once_is_sent_as_urgent() -> None:
    unknown = {"inserted_at": {"not_assessed": "not in the papers"}}
    found = resources("ServiceRequest", event("arrival accessed", "09:00", **unknown))
    now = [asked["priority"] for asked in found if " now: " in asked["note"][0]["text"]]
    assert now and set(now) == {"urgent"}


def test_a_use_of_the_line_is_care_of_the_device() -> None:
    used = event("line use", "10:00", purpose="medication", action="given", what="a drug")
    reasons = [procedure.get("reasonCode") for procedure in resources("Procedure", event("access", "09:00"), used)]
    assert len(reasons) >= 2 and all(reasons)


# -- a hold of two reasons: each ends by what ends it --

NO_BLOOD = {"blood_return": "none", "blood_looks": None, "infusion": None}
MIXED = (event("access", "09:00"), event("line check", "10:00", **NO_BLOOD, **SWOLLEN))
PHYSICIAN = {"name": "Osric Fennimore", "credential": "MD", "id": "CASE-M1"}


def open_holds(*events: dict[str, Any]) -> set[str]:
    line = build(episode_of(*events), local_policy(hold_ends_with="evaluation or blood return"), LATER)
    return {hold.reason for septum in line.episode.port.septa for hold in line.now(septum).holds}


def evaluated(**facts: Any) -> dict[str, Any]:
    cleared = {"decision": "cleared for use", "by": PHYSICIAN, "cleared_by": PHYSICIAN, "ends": None}
    return event("evaluation", "11:00", **{**cleared, **facts})


def test_blood_ends_the_hold_for_no_blood_and_leaves_the_swelling() -> None:
    proof = event("flush", "11:00", blood_return="present", blood_looks="like whole blood")
    assert open_holds(*MIXED) == {"no blood return", "swelling"}
    assert open_holds(*MIXED, proof) == {"swelling"}


def test_an_evaluation_ends_the_reasons_that_it_names() -> None:
    assert open_holds(*MIXED, evaluated(ends=["no blood return"])) == {"swelling"}
    assert open_holds(*MIXED, evaluated(ends=["all"])) == set()


def test_an_evaluation_that_names_no_reason_ends_none_of_two() -> None:
    assert open_holds(*MIXED, evaluated()) == {"no blood return", "swelling"}


def test_steps_for_blood_return_do_not_excuse_a_flush_of_a_line_that_is_swollen_too() -> None:
    tried = event("flush", "11:00", steps_tried=["repositioned patient"])
    assert "held-line-flushed" in rules_found(*MIXED, tried)


# -- the table of what is tried --


@pytest.mark.parametrize(("what", "module", "old", "new"), NAMED)
def test_what_is_tried_stands_in_the_source_once(what: str, module: str, old: str, new: str) -> None:
    source = (Path(__file__).parents[2] / module).read_text()
    assert source.count(old) == 1 and old != new, f"{what}: change the row in tests/mutation/named.py"


# -- what else is sent as what it is --

CARE = {"dressing change": "10:00", "flush": "10:10", "patency treatment": "10:20", "line use": "11:30"}


def test_what_is_done_to_the_line_is_sent_as_care_of_the_device() -> None:
    events = [event("access", "09:00"), *(event(kind, at) for kind, at in CARE.items()), event("de-access", "11:50")]
    found = resources("Procedure", *events)
    assert len(found) >= len(events)
    for procedure in found:
        assert "care" in str(procedure.get("reasonCode", [{}])[0]).lower(), procedure["code"]


def test_a_dressing_change_that_was_not_begun_is_sent_as_not_done() -> None:
    change = event("dressing change", "10:00", dressing={"not_done": "away"}, antisepsis={"not_done": "away"})
    assert "not-done" in [one["status"] for one in resources("Procedure", event("access", "09:00"), change)]


def test_the_evaluation_that_was_asked_for_is_sent_as_completed_or_as_cancelled() -> None:
    swollen = event("line check", "10:00", **SWOLLEN)
    tasks = resources("Task", event("access", "09:00"), swollen, evaluated(ends=["swelling"]))
    assert [task["status"] for task in tasks if task.get("description", "").startswith("On hold")][-1] == "completed"
    gone = resources("Task", event("access", "09:00"), swollen, event("port removed", "11:00"))
    assert [task["status"] for task in gone if task.get("description", "").startswith("On hold")][-1] == "cancelled"
