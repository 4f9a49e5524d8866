"""All rules together cost two to three times as much as reading the record; measured together, never by the clock."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from lda_notes.check import rule_table
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import timeline
from lda_notes.record import reading as record
from lda_notes.record.episode import Episode

DEMO = Path(__file__).parents[2] / "demo_episodes" / "uncomplicated-week.yaml"


def best(*works: Callable[[], object], rounds: int = 40) -> list[float]:
    """Return the shortest time of each work, taken in turns so that a busy machine slows them alike."""
    times = [float("inf")] * len(works)
    for _ in range(rounds):
        for position, work in enumerate(works):
            began = time.perf_counter()
            for _ in range(5):
                work()
            times[position] = min(times[position], (time.perf_counter() - began) / 5)
    return times


def test_all_rules_cost_little_more_than_validating_the_record() -> None:
    episode = record.read(DEMO).episode
    assert episode is not None and len(episode.events) >= 15
    raw = episode.model_dump_json(exclude_unset=True)
    line = timeline.build(episode, DEFAULT, max(event.charted_at or event.at for event in episode.events))
    assert rule_table.check(line, DEFAULT) == ()  # a finding costs more than a look
    validating, checking = best(lambda: Episode.model_validate_json(raw), lambda: rule_table.check(line, DEFAULT))
    assert checking < 3.5 * validating, f"{checking * 1e6:.0f} us against {validating * 1e6:.0f} us"
