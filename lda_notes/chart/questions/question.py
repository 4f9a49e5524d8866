"""One fact to ask for, and the question that asks it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from pydantic import BaseModel

from lda_notes.chart.answers import layout, values
from lda_notes.chart.answers.heard import Doubtful, Heard, Reading, Unclear
from lda_notes.chart.answers.layout import Spot, dotted
from lda_notes.chart.answers.times import Frame
from lda_notes.chart.answers.values import Option
from lda_notes.chart.questions.trial import Situation
from lda_notes.check.conditions import Need, in_trouble
from lda_notes.check.needs import NEEDS
from lda_notes.problems import Path
from lda_notes.record.parts import Needle, NotAssessed, NotDone

EACH = "e"
"""Typed at a question that stands for several: ask each by itself."""

AS_WRITTEN = "a"
"""Typed at a question that spells out several facts: all of them are as written there."""


@dataclass(frozen=True, slots=True)
class WhyNot:
    """Where a reason goes that is typed instead of an answer: the fact or the part, and under which key."""

    path: Path
    key: Literal["not_assessed", "not_done"]

    @property
    def said(self) -> str:
        """Return the reason's kind in words."""
        return self.key.replace("_", " ")


@dataclass(frozen=True, slots=True)
class Question:
    """The next question.

    ``name`` identifies it; ``covers`` are the names of the facts it stands for, which are asked one by one when it is
    answered with `EACH`. ``default`` is what Enter takes; None where the answer must be said. ``about`` names what it
    asks, for the words said back; ``supply`` is the part that a scanned label would fill. ``needed`` marks what cannot
    be left open: there is no entry without it.
    """

    name: str
    about: str
    asks: str
    read: Callable[[str, Frame], Reading]
    options: tuple[Option, ...] = ()
    hint: str = ""
    why_not: WhyNot | None = None
    default: Heard | None = None
    covers: tuple[str, ...] = ()
    needs: tuple[Need, ...] = ()
    explains: tuple[str, ...] = ()
    supply: Path | None = None
    needed: bool = False


Choices = Sequence[tuple[Option, Heard]]
"""The choices, each with the facts that it gives."""


def chosen_from(choices: Choices) -> Callable[[str, Frame], Heard | Unclear]:
    """Return what reads an answer as one of ``choices``."""
    offered, heard = [option for option, _ in choices], {option.key: heard for option, heard in choices}

    def read(text: str, _: Frame) -> Heard | Unclear:
        chosen = values.choose(text, offered)
        return chosen if isinstance(chosen, Unclear) else heard[chosen.key]

    return read


def one_of(name: str, about: str, asks: str, choices: Choices) -> Question:
    """Return a question that needs one of several answers."""
    offered = tuple(option for option, _ in choices)
    return Question(name, about, asks, chosen_from(choices), offered, needed=True)


def leaf(
    path: Path,
    spot: Spot,
    asks: str,
    *,
    why_not: WhyNot | None = None,
    default: Heard | None = None,
    needs: tuple[Need, ...] = (),
    words: tuple[Option, ...] | None = None,
) -> Question:
    """Return the question for one fact, read as the layout says."""
    key = str(path[-1])
    read_value, options, hint = values.reader(spot, key)
    if words is not None:
        options = words

    def read(text: str, frame: Frame) -> Reading:
        value = values.choose(text, words) if words is not None else read_value(text, frame)
        if isinstance(value, Unclear):
            return value
        if isinstance(value, Option):
            return Heard(((path, value.words),), value.words)
        heard = Heard(((path, value.value),), value.said)
        if value.doubt:
            return Doubtful(heard, value.doubt)
        if spot.sort == "text" and len(value.said) == 1:
            return Doubtful(heard, f'Recorded as typed: "{value.said}".')
        return heard

    if why_not is None and spot.why_not is not None:
        why_not = WhyNot(path, spot.why_not)
    return Question(dotted(path), spot.title, asks, read, options, hint, why_not, default, (), needs, (spot.says,))


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
        return layout.dotted(self.path)


def leaves(situation: Situation, answered: frozenset[str]) -> Iterator[Leaf]:
    """Yield every fact that is asked of the event as far as it is known, answered or not; punctures one by one."""
    found = list(_leaves(situation, answered))
    punctures = iter(sorted((one for one in found if one.path[0] == "punctures"), key=lambda one: int(one.path[1])))
    yield from (next(punctures) if one.path[0] == "punctures" else one for one in found)


def _leaves(situation: Situation, answered: frozenset[str]) -> Iterator[Leaf]:
    table = NEEDS[situation.kind]
    gates = {need.path: need for need in table if (spot := situation.spot(need.path)) and spot.part}
    for need in table:
        if need.path[0] in AT_SIGNING or not _asked(need, situation):
            continue
        for path in _real_paths(need.path, situation):
            spot = situation.spot(path)
            if spot is None or (spot.part is not None and spot.sort != "person" and not _size(need, spot)):
                continue
            if _part_is_open(path, need, gates, situation, answered):
                yield Leaf(path, need, spot, _why_not(path, situation))


def _size(need: Need, spot: Spot) -> bool:
    """Return whether a part is asked as one fact: each needle that was tried, by its size."""
    return "*" in need.path and spot.part is Needle


def _asked(need: Need, situation: Situation) -> bool:
    if need.option is not None and situation.policy.choice(need.option) != "yes":
        return False
    if need.when is in_trouble and need.path[0] == "problems" and (situation.untold or situation.facts.get("problems")):
        return True
    return situation.event is not None and need.applies(situation.event, situation.episode, situation.policy)


def _real_paths(path: tuple[str, ...], situation: Situation) -> Iterator[Path]:
    """Yield the path with positions for each item of a list; the first item is asked for where there is none."""
    if "*" not in path:
        yield path
        return
    head = path[: path.index("*")]
    for position in range(_count(head, situation)):
        yield (*head, position, *path[len(head) + 1 :])


def _count(head: Path, situation: Situation) -> int:
    """Return how many items of a list are asked for: those begun, each puncture, a problem for each new trouble."""
    items = layout.get(situation.facts, head)
    begun = len(items) if isinstance(items, list) else 0
    if head == ("punctures",) and isinstance(attempts := situation.facts.get("attempts"), int):
        return max(begun, attempts)
    return max(begun + (head == ("problems",) and bool(situation.untold)), 1)


def _part_is_open(
    path: Path, need: Need, gates: dict[tuple[str, ...], Need], situation: Situation, answered: frozenset[str]
) -> bool:
    """Return whether the part around a fact is one whose facts are asked."""
    held_by = path[:-1]
    if need.given is not None:
        part = _in_event(situation.event, held_by)
        return isinstance(part, BaseModel) and not isinstance(part, NotAssessed | NotDone) and need.given(part)
    for length in range(1, len(path)):
        part_path = path[:length]
        if isinstance(part_path[-1], int):
            continue
        part = layout.get(situation.facts, part_path)
        if isinstance(part, str) or layout.is_why_not(part):
            return False
        gate = gates.get(tuple("*" if isinstance(step, int) else step for step in part_path))
        if gate is None or part:
            continue
        spot = situation.spot(part_path)
        if not _asked(gate, situation) or (spot is not None and spot.sort == "person"):
            return False
        if _begins_with_open(part_path, situation, answered) and path[length:] != _lead(part_path, situation):
            return False
    return True


def _begins_with_open(part_path: Path, situation: Situation, answered: frozenset[str]) -> bool:
    """Return whether the fact without which a part cannot stand was left open."""
    lead = _lead(part_path, situation)
    return bool(lead) and layout.dotted((*part_path, *lead)) in answered


def _lead(part_path: Path, situation: Situation) -> Path:
    spot = situation.spot(part_path)
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


def _why_not(path: Path, situation: Situation) -> WhyNot | None:
    """Return where a reason goes: the part, while nothing of it is said, else the fact itself."""
    for length in range(1, len(path)):
        part_path = path[:length]
        spot = situation.spot(part_path) if isinstance(part_path[-1], str) else None
        if spot is not None and spot.part is not None and spot.why_not and not layout.get(situation.facts, part_path):
            return WhyNot(part_path, spot.why_not)
    spot = situation.spot(path)
    return WhyNot(path, spot.why_not) if spot is not None and spot.why_not else None
