"""What the record already says and is therefore not asked: filled in, and told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from lda_notes.chart import paths
from lda_notes.chart.answers import plain_number
from lda_notes.chart.scene import Scene
from lda_notes.chart.times import echo
from lda_notes.check import conditions as asked
from lda_notes.narrative import phrasing
from lda_notes.problems import Path
from lda_notes.record.events import Access


class Known(NamedTuple):
    """A fact that follows from the record, and the sentence that tells it."""

    path: Path
    value: Any
    said: str


def known(scene: Scene, answered: Mapping[str, Any]) -> tuple[Known, ...]:
    """Return every fact of the event that the record already holds, leaving out what was answered."""
    return tuple(fact for fact in _all(scene) if paths.get(answered, fact.path) is None)


def _all(scene: Scene) -> Iterator[Known]:
    match scene.kind:
        case "access":
            yield from _tip(scene)
            yield from _removal(scene)
        case "patency treatment":
            yield from _lumen(scene)
            yield from _first_dose(scene)
        case "patency check":
            yield from _treatment(scene)
        case _:
            return


def _tip(scene: Scene) -> Iterator[Known]:
    tip = scene.episode.port.tip
    if tip is None or not isinstance(scene.event, Access) or not asked.first_access(scene.event, scene.episode):
        return
    how = ", ".join(part for part in (tip.method, phrasing.day(tip.on) if tip.on else None) if part)
    yield Known(("tip_confirmed",), True, f"tip position confirmed: {tip.location}{f' ({how})' if how else ''}")


def _removal(scene: Scene) -> Iterator[Known]:
    removal = scene.before.last_removal
    if removal is None or scene.before.needle is not None:
        return
    if scene.at - removal.event.at <= scene.policy.span("needle_change_minutes"):
        when = echo(removal.event.at, scene.zone)
        yield Known(("follows_removal",), removal.event.id, f"needle change, after the removal of {when}")


def _lumen(scene: Scene) -> Iterator[Known]:
    volume = scene.episode.port.catheter_volume_ml
    if volume is not None:
        said = phrasing.quantity(volume, "mL")
        yield Known(("lumen_ml",), plain_number(volume), f"volume of catheter and port: {said}")


def _first_dose(scene: Scene) -> Iterator[Known]:
    dwell = scene.before.dwell
    if dwell is not None:
        when = echo(dwell.treatment.event.at, scene.zone)
        yield Known(("second_dose_of",), dwell.treatment.event.id, f"second dose, after the one of {when}")


def _treatment(scene: Scene) -> Iterator[Known]:
    dwell = scene.before.dwell
    if dwell is not None:
        when = echo(dwell.treatment.event.at, scene.zone)
        yield Known(("treatment",), dwell.treatment.event.id, f"thrombolytic put in {when}")
