"""Only those rows of the table of holds are asked that an event has facts for: no hold of any demo or case is lost."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from rule_cases import case_paths, complete, read_yaml

from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import holds, timeline
from lda_notes.line.transitions import trouble
from lda_notes.record import reading
from lda_notes.record.reading import Record

DEMOS = sorted((Path(__file__).parents[2] / "demo_episodes").glob("*.yaml"))


SEEN = [
    {"signs": [{"what": "catheter parted"}]},
    {"signs": [{"what": "resistance changes with posture"}]},
    {"signs": [{"what": "chills", "during": "infusion"}]},
    {"signs": [{"what": "swelling", "where": "arm"}]},
    {"signs": [{"what": "chest pain"}]},
    {"site": {"erythema": "present", "tenderness": "present"}},
    {"site": {"swelling": "present"}},
    {"site": {"drainage": "purulent"}},
    {"site": {"port": "flipped"}},
    {"site": {"skin": "thinned"}},
    {"site": {"incision": "opening"}},
]
"""What no case shows, each as a line check of its own."""


def _records() -> list[Record]:
    looks = [{"id": f"e{i}", "kind": "line check", "at": f"2031-04-02T{i:02}:00-05:00"} for i in range(len(SEEN))]
    seen = [complete({"events": [{**look, **what}]}) for look, what in zip(looks, SEEN, strict=True)]
    for one, look, what in zip(seen, looks, SEEN, strict=True):
        one["events"] = [{**look, **what}]
    cases = [complete(read_yaml(path.read_bytes()).data or {}) for path in case_paths()]
    made = [reading.read_bytes(json.dumps(case).encode(), "case.json", as_json=True) for case in (*cases, *seen)]
    return [record for record in (*map(reading.read, DEMOS), *made) if record.episode is not None]


def _held(record: Record) -> list[tuple[str, ...]]:
    assert record.episode is not None
    line = timeline.build(record.episode, DEFAULT, datetime(2040, 1, 1, tzinfo=UTC), record.unread_facts)
    troubles = [(event.id, *trouble(event)) for event in record.episode.events]
    return [
        *((one.septum, one.reason, one.sign, one.began.event.id) for stays in line.holds.values() for one in stays),
        *troubles,
    ]


def test_no_hold_is_lost_by_asking_fewer_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    records = _records()
    fewer = [_held(record) for record in records]
    monkeypatch.setattr(holds, "_worth_asking", lambda _: holds.TABLE)
    assert [_held(record) for record in records] == fewer
    begun = {said[1] for one in fewer for said in one if len(said) == 4}
    assert {row.reason for row in holds.TABLE} - begun == set(), "every row begins a hold somewhere"
