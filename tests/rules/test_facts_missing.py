"""Every fact that a kind asks for is missed when it is absent, in one finding for each event and severity."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

import pytest
from rule_cases import base, complete, judged

from lda_notes.check import conditions, needs
from lda_notes.record.episode import Episode
from lda_notes.record.events import KINDS, Correcting

RULE = {"required": "facts-not-recorded", "recommended": "facts-recommended"}


def full(kind: str) -> dict[str, Any]:
    """A record whose last event is of ``kind`` and has every fact of the base."""
    before = [] if kind in ("access", "arrival accessed") else [{"kind": "access", "at": "2031-04-02T09:00-05:00"}]
    event: dict[str, Any] = {"kind": kind, "at": "2031-04-02T10:00-05:00"}
    if issubclass(KINDS[kind], Correcting):
        event |= {"of": "access-1"} | {"addendum": {"text": "x"}, "amendment": {"sets": {}}}.get(kind, {})
    return complete({"events": [*before, event]})


EVENTS = {kind: full(kind)["events"][-1] for kind in KINDS}


def without(event: dict[str, Any], path: tuple[str, ...]) -> dict[str, Any] | None:
    """The event without the fact at ``path``; None when it has none there."""
    left = deepcopy(event)
    held: Any = left
    for step in path[:-1]:
        held = held[0] if step == "*" else held.get(step) if isinstance(held, dict) else None
        if not held:
            return None
    return left if isinstance(held, dict) and held.pop(path[-1], None) is not None else None


def findings(data: dict[str, Any]) -> list[tuple[str, str]]:
    names = {*RULE.values()}
    return [
        (f.rule, f.message)
        for f in judged(Episode.model_validate(data, strict=False))
        if f.rule in names and f.event == data["events"][-1]["id"]
    ]


TRIED = [
    (kind, need)
    for kind, table in needs.NEEDS.items()
    for need in table
    if without(EVENTS[kind], need.path) is not None
]


def test_nearly_every_kind_is_tried() -> None:
    assert len(TRIED) > 230
    assert {kind for kind, _ in TRIED} == set(KINDS)
    assert set(base()["kinds"]) == set(KINDS)


@pytest.mark.parametrize("kind, need", TRIED, ids=lambda one: one if isinstance(one, str) else one.name)
def test_a_fact_that_is_absent_is_missed_and_listed_once(kind: str, need: Any) -> None:
    data = full(kind)
    before = findings(data)
    less = without(data["events"][-1], need.path)
    assert less is not None
    data["events"][-1] = less
    try:
        after = findings(data)
    except ValueError:
        return  # without it there is no event of this kind at all
    told = [message for rule, message in after if rule == RULE[need.level] and (rule, message) not in before]
    if need.reported is conditions.never:
        assert not told, after
    elif all(one is None for one in (need.option, need.when, need.visit, need.given, need.reported)):
        assert len(told) == 1 and needs.label(need, kind) in told[0], after
    assert len(after) == len({rule for rule, _ in after}), "one finding for each event and severity"
