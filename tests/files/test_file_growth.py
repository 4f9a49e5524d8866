"""One small file must not hold a core: cost grows as the file does, or the file is refused by a limit that it names.

Ratios of processor time of one process, so that neither the machine nor its other work decides.
"""

from __future__ import annotations

import gc
import json
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from in_process import call

from lda_notes import pipeline
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.record import reading
from lda_notes.record.episode import MAX_EVENTS
from lda_notes.record.validation import MOST_MISFITS
from tests.made_records import HEPARIN, event, record

BEGIN = datetime.fromisoformat("2031-04-02T09:00-05:00")
LAST = datetime(2050, 1, 1, tzinfo=UTC)

CLEAR, DOUBTFUL = 2.5, 2.9
"""How much twice as much may cost at first, and at best of several where that was not clear; a square costs 4."""

Made = list[dict[str, Any]]


def _many(count: int, kind: str, apart: timedelta = timedelta(0), **facts: Any) -> Made:
    return [{**event(kind, BEGIN + i * apart, **facts), "id": f"e{i}"} for i in range(count)]


def _amended(count: int) -> Made:
    chain = _many(count, "amendment", of="look", reason="typing", sets={"pain": 1})
    return [{**event("line check", BEGIN), "id": "look"}, *chain]


def _unknown(count: int) -> Made:
    return [{**event("line check", BEGIN), **{f"key_{i}": i for i in range(count)}}]


MANY: dict[str, tuple[int, Callable[[int], Made]]] = {
    "accesses of one moment": (1000, lambda count: _many(count, "access")),
    "flushes of one moment": (1000, lambda count: _many(count, "flush", lock=HEPARIN)),
    "flushes, one a minute": (1000, lambda count: _many(count, "flush", timedelta(minutes=1))),
    "events of one identifier": (1000, lambda count: [{**one, "id": "same"} for one in _many(count, "access")]),
    "transfers": (1000, lambda count: _many(count, "transfer", timedelta(minutes=1), to_unit="Ward Plover")),
    "amendments of one event": (1000, _amended),
    "unknown keys": (400, _unknown),
}


def _checked(events: Made) -> tuple[float, pipeline.Judged]:
    raw = json.dumps(record(*events)).encode()
    gc.collect()
    gc.disable()  # when it comes depends on what ran before
    try:
        began = time.process_time()
        read = reading.read_bytes(raw, "many.json", as_json=True)
        judged = pipeline.judge_all([read], DEFAULT, LAST)[0]
        return time.process_time() - began, judged
    finally:
        gc.enable()


@pytest.mark.parametrize("what", MANY)
def test_twice_as_much_costs_about_twice(what: str) -> None:
    size, make = MANY[what]
    _checked(make(10))  # loads the rules
    small = large = float("inf")
    for turn in range(5):  # what else the machine does only adds, so more turns are taken only where one is not clear
        small, large = min(small, _checked(make(size))[0]), min(large, _checked(make(2 * size))[0])
        if large < (CLEAR, DOUBTFUL)[turn > 0] * small:
            return
    pytest.fail(f"{size}: {small:.2f} s, {2 * size}: {large:.2f} s")


@pytest.mark.parametrize(
    "events, said",
    [
        (lambda: _many(MAX_EVENTS + 1, "line check"), f"at most {MAX_EVENTS} entries"),
        (lambda: _amended(2 * MAX_EVENTS), f"at most {MAX_EVENTS} entries"),
        (lambda: _unknown(MOST_MISFITS + 1), f"more than {MOST_MISFITS} values do not fit"),
        (lambda: _many(MOST_MISFITS + 1, "line check", blood_return="presnt"), f"more than {MOST_MISFITS} values"),
        (lambda: _many(70_000, "line check"), "more than 300,000 values"),
    ],
)
def test_beyond_its_limit_a_file_is_refused_with_the_number(events: Callable[[], Made], said: str) -> None:
    _, judged = _checked(events())
    assert judged.timeline is None
    assert any(said in finding.message for finding in judged.findings), [one.message for one in judged.findings][:3]


def test_a_correction_of_too_many_unknown_keys_is_one_finding(tmp_path: Path) -> None:
    keys = {f"key_{i}": i for i in range(MOST_MISFITS + 1)}
    look = {**event("line check", BEGIN), "id": "look"}
    _, judged = _checked([look, event("amendment", BEGIN, of="look", reason="typing", sets=keys)])
    said = [one.message for one in judged.findings if one.rule == "correction-unreadable"]
    assert len(said) == 1 and f"more than {MOST_MISFITS} values" in said[0]
    assert judged.timeline is not None and len(judged.timeline.entries) == 1


def _chained(count: int) -> Made:
    ids = ["e0", *(f"a{i}" for i in range(count))]
    links = pairwise(ids)
    return [
        *_amended(1),
        *({**event("amendment", BEGIN, of=of, reason="typing", sets={"reason": "x"}), "id": id} for of, id in links),
    ]


CORRECTED = {"amendments of one event": _amended, "amendments, each of the one before it": _chained}


@pytest.mark.parametrize("what", CORRECTED)
@pytest.mark.parametrize("command, size", [(("note", "--all"), 250), (("bundle",), 40)])
def test_sheets_of_twice_as_many_corrections_cost_about_twice(
    command: tuple[str, ...], size: int, what: str, tmp_path: Path
) -> None:
    def cost(count: int) -> tuple[float, int]:
        path = tmp_path / "record.json"
        path.write_text(json.dumps(record(*CORRECTED[what](count))))
        began = time.process_time()
        said = call(*command, path)
        assert b"Traceback" not in said.stderr
        return time.process_time() - began, len(said.stdout)

    cost(5)
    small = large = float("inf")
    for turn in range(5):
        (some, fewer), (more, bytes_made) = cost(size), cost(2 * size)
        assert bytes_made < 2.5 * fewer
        small, large = min(small, some), min(large, more)
        if large < (CLEAR, DOUBTFUL)[turn > 0] * small:
            return
    pytest.fail(f"{size}: {small:.2f} s, {2 * size}: {large:.2f} s")
