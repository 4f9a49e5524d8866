"""The demo episodes, read once, and the bundles that are made from them."""

from __future__ import annotations

import functools
import json
from collections.abc import Iterable
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from lda_notes.fhir.build.bundle import EventBundle, Options, bundles
from lda_notes.fhir.build.notes import note_writer
from lda_notes.fhir.config import DEFAULT as CONFIG
from lda_notes.fhir.config import Config
from lda_notes.fhir.elements import to_json
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line.timeline import build
from lda_notes.record import reading as record
from lda_notes.record.episode import Episode

FOLDER = Path(__file__).parents[2] / "demo_episodes"
DEMOS = tuple(sorted(path.stem for path in FOLDER.glob("*.yaml")))
ASOF = datetime(2027, 1, 1, tzinfo=UTC)


@functools.cache
def episode(demo: str) -> Episode:
    read = record.read(FOLDER / f"{demo}.yaml")
    assert read.episode is not None
    assert not read.findings
    return read.episode


@functools.cache
def noted() -> Options:
    """With notes, as ``lda-notes bundle`` makes them."""
    return Options(notes=note_writer(DEFAULT))


def made(
    of: Episode, options: Options | None = None, config: Config = CONFIG, asof: datetime = ASOF
) -> list[EventBundle]:
    return list(bundles(build(of, DEFAULT, asof), DEFAULT, config, options))


def texts(of: Episode, options: Options | None = None, asof: datetime = ASOF) -> list[str]:
    return [to_json(one.bundle) for one in made(of, options, asof=asof)]


def sent(of: Episode, options: Options | None = None, config: Config = CONFIG) -> list[dict[str, Any]]:
    """The bundles as a receiver reads them from JSON."""
    return [json.loads(to_json(one.bundle), parse_float=Decimal) for one in made(of, options, config)]


def resources(of: Iterable[dict[str, Any]], kind: str) -> list[dict[str, Any]]:
    return [
        entry["resource"] for bundle in of for entry in bundle["entry"] if entry["resource"]["resourceType"] == kind
    ]


def changed(of: Episode, **events: Any) -> Episode:
    """The episode with other events, given as JSON-ready dicts under ``events``, or more of them under ``more``."""
    data = json.loads(of.model_dump_json(exclude_unset=True))
    if "events" in events:
        data["events"] = events["events"]
    data["events"] += events.get("more", [])
    return Episode.model_validate_json(json.dumps(data))
