"""Behaviors whose change once went unnoticed: each test fails when that one place in the code is changed."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest
from rule_cases import episode_of, rules_found

from lda_notes.fhir.build.bundle import Options, bundles
from lda_notes.fhir.config import DEFAULT as CONFIG
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line.timeline import build

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
