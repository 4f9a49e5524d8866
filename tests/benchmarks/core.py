"""Figures 5 to 7: rules, notes, the handoff as a document."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any
from unittest.mock import patch

from lda_notes.check import rule_table
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import timeline
from lda_notes.record import reading as record
from lda_notes.record.episode import Episode
from tests.benchmarks.episodes import ASOF, made
from tests.benchmarks.measure import HERE, Bench, Figure, python, seconds

DEMO = HERE / "demo_episodes" / "uncomplicated-week.yaml"


def figures(bench: Bench) -> Iterator[Figure]:
    """Measure them."""
    yield from _rules(bench)
    yield _note(bench)
    yield from _handoff(bench)


def _long(events: int) -> Episode:
    """A stay of so many events: a needle, its looks and its removal, week by week."""
    base = made(1).record
    access = next(e for e in base["events"] if e["kind"] == "access")
    look = next(e for e in base["events"] if e["kind"] == "line check")
    removal = next(e for e in base["events"] if e["kind"] == "de-access")
    at = datetime(2020, 1, 6, 8, tzinfo=UTC)
    made_events: list[dict[str, Any]] = []
    while len(made_events) < events:
        place = len(made_events) % 16
        event = dict(access if place == 0 else removal if place == 15 else look)
        at += timedelta(minutes=30 if place == 0 else 640)
        event |= {
            "id": f"e{len(made_events)}",
            "at": at.isoformat(),
            "charted_at": (at + timedelta(minutes=5)).isoformat(),
        }
        event.pop("next_due", None)
        if place == 0:
            event["antisepsis"] = {**event["antisepsis"], "started_at": (at - timedelta(minutes=6)).isoformat()}
        made_events.append(event)
    base["events"] = made_events
    base["stay"]["admitted_at"] = "2020-01-06T07:00+00:00"
    base["port"]["implanted_on"] = base["port"]["tip"]["on"] = "2019-05-05"
    return Episode.model_validate_json(json.dumps(base))


def _rules(bench: Bench) -> Iterator[Figure]:
    episode = record.read(DEMO).episode
    assert episode is not None
    raw = episode.model_dump_json(exclude_unset=True)
    asof = max(event.charted_at or event.at for event in episode.events)
    line = timeline.build(episode, DEFAULT, asof)
    assert rule_table.check(line, DEFAULT) == ()
    ratios = bench.paired(
        lambda: seconds(lambda: rule_table.check(line, DEFAULT), 60),
        lambda: seconds(lambda: Episode.model_validate_json(raw), 100),
    )
    yield Figure("5", f"all {len(rule_table.RULES)} rules / model_validate_json", 3.5, True, ratios)
    many, few = (timeline.build(_long(count), DEFAULT, ASOF) for count in (1000, 20))
    growth = bench.paired(
        lambda: seconds(lambda: rule_table.check(many, DEFAULT), 3),
        lambda: seconds(lambda: rule_table.check(few, DEFAULT), 60),
    )
    yield Figure("5", "rules over 1,000 events / over 20", 60, True, growth)


def _note(bench: Bench) -> Figure:
    from jinja2 import Environment

    from lda_notes import pipeline
    from lda_notes.documents.note import page as note
    from lda_notes.narrative import narrator
    from lda_notes.record.reading import Record

    class Open(Environment):
        """The program's templates without the sandbox around them."""

        code_generator_class = narrator.ClosedGrammar
        getitem = staticmethod(narrator._take)  # type: ignore[assignment]  # it needs no self

    episode = record.read(DEMO).episode
    assert episode is not None
    judged = pipeline.judge(Record("record", episode), DEFAULT, ASOF)
    closed = narrator.Narrator()
    with patch.object(narrator, "_Closed", Open):
        unsandboxed = narrator.Narrator()

    def write(teller: narrator.Narrator) -> object:
        return note.sheet(judged, DEFAULT, note.Choice("access-1"), teller)

    assert write(closed) == write(unsandboxed)
    ratios = bench.paired(lambda: seconds(lambda: write(closed), 20), lambda: seconds(lambda: write(unsandboxed), 20))
    return Figure("6", "a note sandboxed and strict / unsandboxed", 1.5, True, ratios)


# -- figure 7 --


def ward_sheet(count: int) -> Any:
    """Return the handoff sheet of a ward."""
    sys.path.insert(0, str(HERE / "tests"))
    from made_records import episode as made_episode
    from made_records import unit_of_patients

    from lda_notes.documents.handoff.page import Source, handoff, sheet

    asof = datetime(2031, 3, 4, 13, tzinfo=UTC)
    sources = []
    for data in unit_of_patients(count, asof):
        line = timeline.build(made_episode(data), DEFAULT, asof)
        sources.append(Source("r", line, rule_table.check(line, DEFAULT), ()))
    return sheet(handoff(sources, DEFAULT, asof))


def _handoff(bench: Bench) -> Iterator[Figure]:
    from lda_notes.documents.render import render

    unit, ten_units = ward_sheet(60), ward_sheet(600)
    for form in ("docx", "pdf"):
        taken = tuple(seconds(lambda form=form: render(unit, form)) for _ in range(bench.pairs))
        yield Figure("7", f"handoff of 60 patients as {form}", 3, True, taken, "s", note="processor time")
    growth = bench.paired(
        lambda: seconds(lambda: render(ten_units, "docx")), lambda: seconds(lambda: render(unit, "docx"))
    )
    yield Figure("7", "docx handoff of 600 patients / of 60", 12, True, growth)
    yield _memory(bench.size(1000))


def _memory(count: int) -> Figure:
    def peak(patients: int) -> float:
        program = (
            "from tests.benchmarks.core import ward_sheet\nfrom lda_notes.documents.render import render\n"
            f"render(ward_sheet({patients}), 'docx')\n"
        )
        return python(program, tell=True).peak

    few, many = peak(max(count // 10, 5)), peak(count)
    note = f"{few:.0f} and {many:.0f} MiB, records and sheet included; one run each"
    return Figure("7", f"memory of {count} patients / a tenth", 4, True, (many / few,), note=note)
