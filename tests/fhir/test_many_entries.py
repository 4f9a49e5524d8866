"""Bundles of a record with many entries: the work grows with the entries, not with their square.

Counted is what costs most of it: entries folded, and events asked what they lack.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import made_records
import pytest
from fhir_demos import ASOF, DEMOS, episode, noted, sent
from made_records import event, record

from lda_notes.check import needs
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import walk
from lda_notes.line.corrections import Corrected, growing
from lda_notes.line.timeline import Timeline, build

Json = dict[str, Any]
BEGIN = datetime.fromisoformat("2031-04-02T09:00-05:00")


def looks(count: int) -> list[Json]:
    moments = (BEGIN + timedelta(hours=2 * hour) for hour in range(count))
    return [event("line check", moment, blood_return="present") for moment in moments]


def corrected(count: int) -> list[Json]:
    return [one for look in looks(count) for one in (look, _amendment(look))]


def _amendment(of: Json) -> Json:
    later = datetime.fromisoformat(of["at"]) + timedelta(minutes=30)
    return event("amendment", later, of=of["id"], sets={"pain": 3}, reason="typing")


@pytest.mark.parametrize("make", [looks, corrected])
def test_twice_as_many_entries_are_twice_the_work(make: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    counted: dict[str, int] = {}

    def counting(module: Any, name: str) -> None:
        called = getattr(module, name)

        def count(*given: Any) -> Any:
            counted[name] = counted.get(name, 0) + 1
            return called(*given)

        monkeypatch.setattr(module, name, count)

    counting(walk, "after")
    counting(needs, "_walk")

    def work(count: int) -> dict[str, int]:
        counted.clear()
        assert len(sent(made_records.episode(record(*make(count))), noted())) == len(make(count))
        return dict(counted)

    few, many = work(12), work(24)
    assert min(few.values()) >= 12
    assert {name: many[name] <= 2.2 * few[name] for name in few} == dict.fromkeys(few, True), (few, many)


def readings(demo: str) -> list[Corrected]:
    """Return the record after each entry as first charted, then with each correction more."""
    as_charted, *corrected = growing(episode(demo))
    entries = as_charted[0]
    return [*((entries[:count], (), (), ()) for count in range(len(entries) + 1)), *corrected]


@pytest.mark.parametrize("demo", DEMOS)
def test_a_timeline_that_continues_an_earlier_one_is_as_if_folded_anew(demo: str) -> None:
    earlier: Timeline | None = None
    for read in readings(demo):
        anew = build(episode(demo), DEFAULT, ASOF, read=read)
        earlier = build(episode(demo), DEFAULT, ASOF, read=read, since=earlier)
        assert earlier == anew
    assert earlier is not None and earlier.steps
