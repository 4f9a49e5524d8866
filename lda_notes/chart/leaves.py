"""The single facts that are asked of an event, in the order of the work, as the table of needs has them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from pydantic import BaseModel

from lda_notes.chart import paths
from lda_notes.chart.layout import Spot
from lda_notes.chart.question import WhyNot
from lda_notes.chart.scene import Scene
from lda_notes.check.conditions import Need, in_trouble
from lda_notes.check.needs import NEEDS
from lda_notes.problems import Path
from lda_notes.record.parts import Needle, NotAssessed, NotDone

AT_SIGNING: Final = frozenset({"charted_at", "seal"})
"""Facts that signing itself gives."""


@dataclass(frozen=True, slots=True)
class Leaf:
    """One fact to ask for. ``first`` marks the one that begins its part, ``why_not`` takes a reason for the part."""

    path: Path
    need: Need
    spot: Spot
    why_not: WhyNot | None

    @property
    def name(self) -> str:
        """The path as it is typed."""
        return paths.dotted(self.path)


def leaves(scene: Scene, answered: frozenset[str]) -> Iterator[Leaf]:
    """Yield every fact that is asked of the event as far as it is known, answered or not; punctures one by one."""
    found = list(_leaves(scene, answered))
    punctures = iter(sorted((one for one in found if one.path[0] == "punctures"), key=lambda one: int(one.path[1])))
    yield from (next(punctures) if one.path[0] == "punctures" else one for one in found)


def _leaves(scene: Scene, answered: frozenset[str]) -> Iterator[Leaf]:
    table = NEEDS[scene.kind]
    gates = {need.path: need for need in table if (spot := scene.spot(need.path)) and spot.part}
    for need in table:
        if need.path[0] in AT_SIGNING or not _asked(need, scene):
            continue
        for path in _real_paths(need.path, scene):
            spot = scene.spot(path)
            if spot is None or (spot.part is not None and spot.sort != "person" and not _size(need, spot)):
                continue
            if _part_is_open(path, need, gates, scene, answered):
                yield Leaf(path, need, spot, _why_not(path, scene))


def _size(need: Need, spot: Spot) -> bool:
    """Tell whether a part is asked as one fact: each needle that was tried, by its size."""
    return "*" in need.path and spot.part is Needle


def _asked(need: Need, scene: Scene) -> bool:
    if need.option is not None and scene.policy.choice(need.option) != "yes":
        return False
    if need.when is in_trouble and need.path[0] == "problems" and (scene.untold or scene.facts.get("problems")):
        return True
    return scene.event is not None and need.applies(scene.event, scene.episode, scene.policy)


def _real_paths(path: tuple[str, ...], scene: Scene) -> Iterator[Path]:
    """Yield the path with positions for each item of a list; the first item is asked for where there is none."""
    if "*" not in path:
        yield path
        return
    head = path[: path.index("*")]
    for position in range(_count(head, scene)):
        yield (*head, position, *path[len(head) + 1 :])


def _count(head: Path, scene: Scene) -> int:
    """Return how many items of a list are asked for: those begun, each puncture, a problem for each new trouble."""
    items = paths.get(scene.facts, head)
    begun = len(items) if isinstance(items, list) else 0
    if head == ("punctures",) and isinstance(attempts := scene.facts.get("attempts"), int):
        return max(begun, attempts)
    return max(begun + (head == ("problems",) and bool(scene.untold)), 1)


def _part_is_open(
    path: Path, need: Need, gates: dict[tuple[str, ...], Need], scene: Scene, answered: frozenset[str]
) -> bool:
    """Tell whether the part around a fact is one whose facts are asked."""
    held_by = path[:-1]
    if need.given is not None:
        part = _in_event(scene.event, held_by)
        return isinstance(part, BaseModel) and not isinstance(part, NotAssessed | NotDone) and need.given(part)
    for length in range(1, len(path)):
        part_path = path[:length]
        if isinstance(part_path[-1], int):
            continue
        part = paths.get(scene.facts, part_path)
        if isinstance(part, str) or paths.is_why_not(part):
            return False
        gate = gates.get(tuple("*" if isinstance(step, int) else step for step in part_path))
        if gate is None or part:
            continue
        spot = scene.spot(part_path)
        if not _asked(gate, scene) or (spot is not None and spot.sort == "person"):
            return False
        if _begins_with_open(part_path, scene, answered) and path[length:] != _lead(part_path, scene):
            return False
    return True


def _begins_with_open(part_path: Path, scene: Scene, answered: frozenset[str]) -> bool:
    """Tell whether the fact without which a part cannot stand was left open."""
    lead = _lead(part_path, scene)
    return bool(lead) and paths.dotted((*part_path, *lead)) in answered


def _lead(part_path: Path, scene: Scene) -> Path:
    spot = scene.spot(part_path)
    if spot is None or spot.part is None:
        return ()
    for key, field in spot.part.model_fields.items():
        if field.is_required():
            return (0, key) if spot.many else (key,)
    return ()


def _in_event(event: Any, path: Path) -> Any:
    for step in path:
        if event is None:
            return None
        if isinstance(step, int):
            event = event[step] if isinstance(event, tuple) and step < len(event) else None
        else:
            event = getattr(event, step, None)
    return event


def _why_not(path: Path, scene: Scene) -> WhyNot | None:
    """Return where a reason goes: the part, while nothing of it is said, else the fact itself."""
    for length in range(1, len(path)):
        part_path = path[:length]
        spot = scene.spot(part_path) if isinstance(part_path[-1], str) else None
        if spot is not None and spot.part is not None and spot.why_not and not paths.get(scene.facts, part_path):
            return WhyNot(part_path, spot.why_not)
    spot = scene.spot(path)
    return WhyNot(path, spot.why_not) if spot is not None and spot.why_not else None
