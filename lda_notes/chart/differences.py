"""Answers that may be a slip: a time that cannot be, a supply that differs from the last one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final

from lda_notes.chart.heard import Doubtful, Heard, Unclear
from lda_notes.chart.scene import Scene
from lda_notes.chart.times import echo, written
from lda_notes.narrative import phrasing
from lda_notes.problems import Path


def differences(scene: Scene, given: Heard) -> Iterator[Doubtful | Unclear]:
    """Yield each reason to doubt the facts just given, with what is meant if the nurse agrees."""
    for path, value in given.facts:
        spot = scene.spot(path)
        if spot is not None and spot.sort == "time" and isinstance(value, str) and "T" in value:
            yield from _time(scene, path, datetime.fromisoformat(value), given)
        if path in _COMPARED:
            yield from _other(scene, path, value, given)
        if path == ("septum",):
            yield from _other_septum(scene, value, given)


def _time(scene: Scene, path: Path, moment: datetime, given: Heard) -> Iterator[Doubtful | Unclear]:
    said = echo(moment, scene.zone)
    if path[0] != "next_due" and moment - scene.now > scene.policy.span("clock_slack_minutes"):
        ahead = f"{said} is in the future: it is {echo(scene.now, scene.zone)}."
        local = moment.astimezone(scene.zone) - timedelta(days=1)
        if path == ("at",) and local <= scene.now:
            meant = Heard(((path, written(local)),), echo(local, scene.zone))
            yield Doubtful(meant, f"{ahead} Was it yesterday, {meant.said}?")
        else:
            yield Unclear(f"{ahead} Type the time again.")
        return
    if path != ("at",):
        return
    last = max((entry.event for entry in scene.line.entries), key=lambda event: event.at, default=None)
    if last is not None and moment < last.at:
        kind = last.kind
        yield Doubtful(given, f"{said} is before the last entry, {kind} of {echo(last.at, scene.zone)}.")


def _gauge(value: Any) -> str:
    return f"{value} gauge"


def _mm(value: Any) -> str:
    return phrasing.length(Decimal(str(value)))


def _strength(value: Any) -> str:
    return f"{phrasing.quantity(Decimal(str(value)), 'units')} per mL"


_COMPARED: Final[dict[Path, tuple[str, Callable[[Any], str]]]] = {
    ("needle", "gauge"): ("needle", _gauge),
    ("needle", "length_mm"): ("needle", _mm),
    ("lock", "drug"): ("lock", str),
    ("lock", "units_per_ml"): ("heparin lock", _strength),
}
"""Facts that rarely change from one time to the next, each with what it belongs to and how it is said."""


def _other(scene: Scene, path: Path, value: Any, given: Heard) -> Iterator[Doubtful]:
    last = scene.last(path)
    if last is not None and last != value:
        what, said = _COMPARED[path]
        yield Doubtful(given, f"The last {what} was {said(last)}; this is {said(value)}.")


def _other_septum(scene: Scene, value: Any, given: Heard) -> Iterator[Doubtful]:
    last = next(
        (said for entry in reversed(scene.line.entries) if (said := getattr(entry.event, "septum", None))), None
    )
    if last is not None and last != value:
        yield Doubtful(given, f"The last entry was about the {last} septum; this is about the {value} one.")
