"""Twice the events cost each rule about twice the work: a hostile file must not keep the check busy for hours.

Work is counted in rows of code executed, not in seconds, so that a busy machine does not decide.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Callable
from datetime import datetime, timedelta
from types import FrameType
from typing import Any

import pytest
from rule_cases import complete

from lda_notes.check import rule_table
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import timeline
from lda_notes.record.episode import Episode

BEGIN = datetime.fromisoformat("2031-04-02T09:00-05:00")
SIZE = 80

Event = Callable[[int], dict[str, Any]]
MANY: dict[str, Event] = {
    "accesses": lambda i: {"kind": "access"},
    "arrivals": lambda i: {"kind": "arrival accessed"},
    "removals": lambda i: {"kind": "de-access"},
    "needle changes": lambda i: {"kind": "access", "follows_removal": "e0"} if i % 2 else {"kind": "de-access"},
    "dressing changes": lambda i: {"kind": "dressing change"},
    "looks": lambda i: {"kind": "line check"},
    "flushes without blood return": lambda i: {"kind": "flush", "blood_return": "none"},
    "injections": lambda i: {"kind": "line use", "purpose": "power injection"},
    "first doses": lambda i: {"kind": "patency treatment", "drug": "alteplase"},
    "second doses": lambda i: {"kind": "patency treatment", "drug": "alteplase", "second_dose_of": "e0"},
    "checks of one dose": lambda i: (
        {"kind": "patency check", "treatment": "e0"} if i else {"kind": "patency treatment", "drug": "alteplase"}
    ),
    "evaluations": lambda i: {"kind": "evaluation"},
    "moves": lambda i: {"kind": "transfer", "to_unit": f"unit {i % 3}"},
    "discharges": lambda i: {"kind": "discharge", "needle_in": True},
    "ports in and out": lambda i: {"kind": "port removed" if i % 2 else "port implanted"},
    "amendments": lambda i: (
        {"kind": "amendment", "of": "e0", "sets": {"remarks": str(i)}} if i else {"kind": "line check"}
    ),
    "addenda to addenda": lambda i: {"kind": "addendum", "of": f"e{max(i - 1, 0)}", "text": "more"},
    "retractions": lambda i: {"kind": "retraction", "of": f"e{i - 1}"} if i % 2 else {"kind": "flush"},
    "damp dressings": lambda i: {"kind": "line check", "dressing_found": ["damp"]} if i else {"kind": "access"},
    "preserved saline": lambda i: {
        "kind": "flush",
        "flushes": [{"solution": "0.9% sodium chloride with benzyl alcohol", "volume_ml": 9}],
    },
    "holds under an infusion": lambda i: (
        {"kind": "evaluation", "decision": "cleared for use"}
        if i % 2
        else {"kind": "line check", "infusion": "saline", "blood_return": "none"}
    ),
    "needles past their time": lambda i: {
        "kind": "de-access" if i % 2 else "arrival accessed",
        **({} if i % 2 else {"inserted_at": "2031-03-02T09:00-06:00"}),
    },
    "one minute": lambda i: {"kind": "flush", "at": BEGIN.isoformat()},
    "one identifier": lambda i: {"kind": "flush", "id": "e"},
}


def case_of(kind: str, size: int) -> rule_table.Case:
    events = [{"id": f"e{i}", "at": (BEGIN + timedelta(minutes=i)).isoformat(), **MANY[kind](i)} for i in range(size)]
    record = {**complete({"events": []}), "events": events}
    line = timeline.build(Episode.model_validate_json(json.dumps(record)), DEFAULT, BEGIN + timedelta(days=90))
    return rule_table.Case(line, DEFAULT)


def rows_executed(kind: str, size: int) -> Counter[str]:
    """Return how many rows of code each rule executes on ``size`` events."""
    case = case_of(kind, size)
    count = 0

    def trace(frame: FrameType, event: str, argument: object) -> Any:
        nonlocal count
        count += event == "line"
        return trace

    executed: Counter[str] = Counter()
    rules = rule_table.load().values()
    for prepare in (lambda: case.gaps, lambda: case.waits, lambda: case.same_minute):
        prepare()
    previous = sys.gettrace()
    sys.settrace(trace)
    try:
        for rule in rules:
            count = 0
            if rule.on:
                for step in case.timeline.steps:
                    if isinstance(step.entry.event, rule.on):
                        list(rule.check(step, step.entry.event, case))
            else:
                list(rule.check(case))
            executed[rule.name] = count
    finally:
        sys.settrace(previous)
    return executed


@pytest.mark.parametrize("kind", MANY)
def test_work_grows_with_the_events_not_with_their_square(kind: str) -> None:
    small, large = rows_executed(kind, SIZE), rows_executed(kind, 2 * SIZE)
    assert sum(small.values()) > SIZE
    steep = {rule: (small[rule], large[rule]) for rule in small if large[rule] > 2.6 * small[rule] + 200}
    assert steep == {}
