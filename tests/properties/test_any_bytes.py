"""Whatever a file contains: findings, never a traceback, in bounded time and memory."""

from __future__ import annotations

import copy
import json
import random
import tracemalloc
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from lda_notes import pipeline
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.record.reading import read_bytes

DEMOS = sorted((Path(__file__).parents[2] / "demo_episodes").glob("*.yaml"))
ASOF = datetime(2026, 12, 1, 12, tzinfo=UTC)


def judged(raw: bytes, as_json: bool = False) -> pipeline.Judged:
    result = pipeline.judge(read_bytes(raw, "case.yaml", as_json=as_json), DEFAULT, ASOF)
    rows = raw.count(b"\n") + raw.count(b"\r") + 2
    for finding in result.findings:
        assert finding.place is not None
        assert 1 <= finding.place.row <= rows
        assert finding.message and "\n" not in finding.message and len(finding.message) < 600
        assert finding.todo
    return result


def test_there_are_demos() -> None:
    assert len(DEMOS) >= 9


@given(st.binary(max_size=400), st.booleans())
def test_arbitrary_bytes(raw: bytes, as_json: bool) -> None:
    result = judged(raw, as_json)
    assert result.timeline is None
    assert result.findings


@given(st.text(max_size=300), st.booleans())
def test_arbitrary_text(text: str, as_json: bool) -> None:
    assert judged(text.encode("utf-8", "surrogatepass"), as_json).findings


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(DEMOS), st.floats(0, 1))
def test_truncated_files(demo: Path, share: float) -> None:
    raw = demo.read_bytes()
    judged(raw[: int(len(raw) * share)])


def _paths(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    here = [path] if path else []
    if isinstance(value, dict):
        return here + [p for key, item in value.items() for p in _paths(item, (*path, key))]
    if isinstance(value, list):
        return here + [p for index, item in enumerate(value) for p in _paths(item, (*path, index))]
    return here


WRONG: list[Any] = [
    None, True, -1, 0, 10**40, 1e308, "", " ", "x" * 5000, [], {}, [[]], {"a": {"b": []}},
    "2026-02-30", "2026-03-08T02:30",
    "2026-05-04T16:20", "9999-12-31T23:59+14:00", "0001-01-01T00:00-12:00", "1715000000", "\u202eabc", "a\x00b",
    "none",
    {"not_assessed": ""}, {"not_done": 5}, ["name", "name"], "\ud800", "America/Nowhere", "../../etc",
    "Antarctica/Troll",
]  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(
    st.sampled_from(DEMOS), st.integers(0, 10**9), st.lists(st.sampled_from(range(len(WRONG))), min_size=1, max_size=4)
)
def test_wrong_values_anywhere(demo: Path, seed: int, picks: list[int]) -> None:
    """Up to four values of a good record are replaced, and what is read is accounted for event by event."""
    data = yaml.load(demo.read_bytes(), yaml.CBaseLoader)
    _as_read(data)
    dice = random.Random(seed)
    for pick in picks:
        path = dice.choice(_paths(data))
        target = data
        for step in path[:-1]:
            target = target[step]
        target[path[-1]] = copy.deepcopy(WRONG[pick])  # one put into itself would have no end
    raw = json.dumps(data).encode()
    result = judged(raw, as_json=True)
    events = data.get("events")
    if result.timeline is not None and isinstance(events, list):
        line = result.timeline
        seen = len(line.entries) + len(line.retracted) + len(line.corrections) + len(result.record.unread_events)
        assert seen == len(events), "every event of the file is read or listed as unread"


def _as_read(data: Any) -> None:
    """Give BaseLoader's strings the types that a JSON record has."""
    for holder, key in _slots(data):
        value = holder[key]
        if isinstance(value, str):
            if value in ("yes", "no"):
                holder[key] = value == "yes"
            elif _number(value) is not None and key not in ("room", "value"):
                holder[key] = _number(value)


def _slots(value: Any) -> list[tuple[Any, Any]]:
    if isinstance(value, dict | list):
        keys = list(value) if isinstance(value, dict) else range(len(value))
        return [(value, key) for key in keys] + [s for key in keys for s in _slots(value[key])]
    return []


def _number(text: str) -> int | float | None:
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return None


@pytest.mark.parametrize("demo", DEMOS, ids=lambda path: path.stem)
def test_good_demo_reads_without_layout_faults(demo: Path) -> None:
    result = judged(demo.read_bytes())
    assert result.timeline is not None
    assert not [f for f in result.findings if f.rule == "record-layout"]


@pytest.mark.parametrize(
    "raw",
    [
        b"[" * 200_000,
        b'{"a":' * 100_000,
        b"- " * 100_000,
        b"a: &x [1,1,1,1,1,1,1,1]\nb: &y [*x,*x,*x,*x,*x,*x,*x]\nc: &z [*y,*y,*y,*y,*y,*y]\nd: [*z,*z,*z,*z]\n" * 3,
        b"x: " + b"9" * 1_000_000,
        b"x: 1e" + b"9" * 10_000,
        b'"' + b"a" * 2_000_000,
        b"\xff\xfe" + "record_version: 1".encode("utf-16-le"),
        b"\x00" * 10_000,
        b"events:\n" + b"  - {id: e, kind: access}\n" * 20_000,
    ],
    ids=["brackets", "braces", "dashes", "aliases", "digits", "exponent", "quote", "utf-16", "nul", "many-bad-events"],
)
@pytest.mark.parametrize("as_json", [False, True])
def test_bombs(raw: bytes, as_json: bool) -> None:
    tracemalloc.start()
    try:
        assert judged(raw, as_json).findings
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 400 * 1024 * 1024
