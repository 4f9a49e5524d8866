"""The figures that are steady as ratios of CPU time, held with 30 % of slack; all: ``python -m tests.benchmarks``."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import timeline
from tests.benchmarks import core, fhir, start
from tests.benchmarks.episodes import ASOF
from tests.benchmarks.measure import Bench, Figure, ours, python

SLACK = 1.3
BENCH = Bench(pairs=5)


def figures() -> Iterator[Figure]:
    ratios = BENCH.paired(lambda: ours("--version").cpu, lambda: python("import click").cpu)
    yield Figure("1", "--version / import click", 1.25, True, ratios)
    yield start._yaml(BENCH)
    yield from core._rules(BENCH)
    yield core._note(BENCH)
    lines = [timeline.build(fhir._episode(number), DEFAULT, ASOF) for number in fhir._numbers(3)]
    yield fhir._build(BENCH, lines)
    yield fhir._verify(BENCH, lines)


def test_the_steady_figures_hold() -> None:
    found = list(figures())
    assert len(found) == 7
    broken = [
        f"{one.name}: {one.median:.3g} ({one.spread}), goal {one.goal:g}"
        for one in found
        if not (one.median <= one.goal * SLACK if one.most else one.median >= one.goal / SLACK)
    ]
    assert broken == []


def test_memory_does_not_grow_with_the_count_of_rows(tmp_path: Path) -> None:
    from tests.benchmarks.episodes import row

    peaks = []
    for count in (100, 1000):
        path = tmp_path / f"{count}.ndjson"
        path.write_bytes(b"".join(row(number) for number in range(1, count + 1)))
        peaks.append(ours("check", str(path), "--asof", start.ASOF, tell=True).peak)
    assert peaks[1] / peaks[0] < 1.05 * SLACK, peaks
    assert 20 < peaks[1] < 80


@pytest.mark.parametrize("most", [True, False])
def test_a_guard_can_fail(most: bool) -> None:
    ratio = 2.0 if most else 0.5
    assert not Figure("0", "twice its goal", 1.0, most, (ratio,)).met
