"""Facts to be recorded for each kind, in the order of the work: one table for the check, the worksheet and the chart.

`NEEDS` is the table, `missing` returns which of its facts an event lacks.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Final, NamedTuple

from pydantic import BaseModel

from lda_notes.check import conditions as asked
from lda_notes.check.conditions import Need
from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.problems import Path
from lda_notes.record import events as ev
from lda_notes.record.episode import Episode
from lda_notes.record.exchange import part_of
from lda_notes.record.parts import Asked, NotAssessed, NotDone, Person, asked_of

_ABOUT_THE_RECORD: Final = ("patient", "stay", "port")


def _declared(model: type[BaseModel], names: Iterable[str], above: tuple[str, ...], kind: str) -> Iterator[Need]:
    """Yield what the declarations of a model's facts ask, each part before the facts inside it."""
    for name in names:
        said = asked_of(model, name)
        if said is not None:
            need = _need(said, (*above, name), kind)
            if need is None:
                continue
            yield need
            if said.who:
                yield from _of_person(need, said)
        if "*" in above or (said is None and name not in _ABOUT_THE_RECORD):
            continue  # of a part of one item of a list no facts are asked, nor of a part that is not
        part, listed = part_of(model.model_fields[name].annotation)
        if part is not None:
            yield from _declared(part, part.model_fields, (*above, name, *("*" * listed)), kind)


def _need(said: Asked, path: tuple[str, ...], kind: str) -> Need | None:
    when = asked.named(said.when, kind)
    if when is asked.never:
        return None
    given: Any = asked.named(said.given, kind)
    suits: Any = asked.named(said.suits, kind)
    reported = asked.named(said.reported, kind)
    option, visit = said.option or None, asked.VISIT.get(said.when, {}).get(kind)
    return Need(path, said.asks, said.level, said.citations, said.why, when, given, option, suits, reported, visit)


_OF_PERSON: Final = {"name": "Name of", "credential": "Credential or role of", "id": "Staff identifier of"}


def _of_person(need: Need, said: Asked) -> Iterator[Need]:
    who, _, facts = said.who.partition(": ")
    for fact in facts.split(", "):
        name = fact.removesuffix("?")
        only_asked = fact.endswith("?")
        level = "recommended" if only_asked else said.level
        reported = asked.never if only_asked else need.reported
        row = Need((*need.path, name), f"{_OF_PERSON[name]} {who}?", level, said.citations, said.why, reported=reported)
        yield row


NEEDS: Final[Mapping[str, tuple[Need, ...]]] = {
    kind: tuple(_declared(model, model.asks, (), kind)) for kind, model in ev.KINDS.items()
}
"""Needs of each kind by its tag, in the order of the work: from the declarations of its facts."""

EPISODE_NEEDS: Final[tuple[Need, ...]] = tuple(_declared(Episode, _ABOUT_THE_RECORD, (), "record"))
"""Needs of the record outside its events; paths lead from the episode, and ``when`` is asked with the episode twice."""


class Missing(NamedTuple):
    """A needed fact that an event lacks: ``path`` leads to it inside the event, ``label`` names it in a list."""

    need: Need
    path: Path
    label: str


# -- what is missing --

_ANSWERS: Final = frozenset({NotAssessed, NotDone, str})
_EMPTY_IS_AN_ANSWER: Final = frozenset({"patient.allergies"})


@dataclass(slots=True)
class _Node:
    """A need with those of the facts inside its part, so that an absent part is reported once."""

    key: str
    need: Need | None
    children: list[_Node]


def _tree(needs: tuple[Need, ...]) -> list[_Node]:
    top: list[_Node] = []
    for need in needs:
        level = top
        for position, key in enumerate(need.path):
            node = next((node for node in level if node.key == key), None)
            if node is None:
                node = _Node(key, None, [])
                level.append(node)
            if position == len(need.path) - 1:
                node.need = need
            level = node.children
    return top


_Rows = tuple[tuple[str, Need | None, "_Rows | None"], ...]
"""The needs of one part: key, need, and the needs of the part inside."""


def _rows(nodes: list[_Node]) -> _Rows:
    made = []
    for node in nodes:
        below = node.children
        inner = _rows(below[0].children if below[0].key == "*" else below) if below else None
        made.append((node.key, node.need, inner))
    return tuple(made)


_RECORD: Final = "record"
_BY_KIND: Final = {**NEEDS, _RECORD: EPISODE_NEEDS}
_OPTIONS: Final = tuple(dict.fromkeys(need.option for needs in _BY_KIND.values() for need in needs if need.option))


@cache
def _asked_with(on: frozenset[str]) -> dict[str, _Rows]:
    """Return what is asked of each kind, and of the record, while these options of the policy are "yes"."""
    return {
        kind: _rows(_tree(tuple(need for need in needs if need.option is None or need.option in on)))
        for kind, needs in _BY_KIND.items()
    }


def _asked(policy: Policy) -> dict[str, _Rows]:
    return _asked_with(frozenset(option for option in _OPTIONS if policy.choice(option) == "yes"))


class _About(NamedTuple):
    event: Any
    episode: Episode
    policy: Policy


def missing(event: ev.Event, episode: Episode, policy: Policy = DEFAULT) -> tuple[Missing, ...]:
    """Return every needed fact that ``event`` lacks, in the order of the work.

    A part that is absent is one gap, not one for each of its facts; a part that was not done or not assessed is an
    answer. Rows whose policy option is not "yes" are not gaps.
    """
    ((_, found),) = missing_in_events((event,), episode, policy)
    return found


def missing_in_events(
    events: Iterable[ev.Event], episode: Episode, policy: Policy = DEFAULT
) -> Iterator[tuple[ev.Event, tuple[Missing, ...]]]:
    """Yield each event with every needed fact that it lacks."""
    asked_of = _asked(policy)
    for event in events:
        found: list[Missing] = []
        kind: str = event.kind
        _walk(event, asked_of[kind], (), None, _About(event, episode, policy), found)
        yield event, tuple(found)


def missing_in_episode(episode: Episode, policy: Policy = DEFAULT) -> tuple[Missing, ...]:
    """Return every needed fact of patient, stay and port that the record lacks; paths lead from the episode."""
    found: list[Missing] = []
    _walk(episode, _asked(policy)[_RECORD], (), None, _About(episode, episode, policy), found)
    return tuple(found)


def _walk(
    part: BaseModel,
    rows: _Rows,
    path: Path,
    held_by: tuple[type[BaseModel], str] | None,
    about: _About,
    found: list[Missing],
) -> None:
    values = part.__dict__
    for key, need, inner in rows:
        value = values[key]
        if not value and (value is None or value.__class__ is tuple):
            if need is None or (value is not None and need.name in _EMPTY_IS_AN_ANSWER):
                continue
            if _is_gap(need, part, about):
                found.append(Missing(need, (*path, key), _title(type(part), key, held_by)))
        elif inner is None or value.__class__ in _ANSWERS:
            continue
        elif value.__class__ is tuple:
            for position, item in enumerate(value):
                _walk(item, inner, (*path, key, position), (type(part), key), about, found)
        else:
            _walk(value, inner, (*path, key), (type(part), key), about, found)


def _is_gap(need: Need, part: Any, about: _About) -> bool:
    return (need.given is None or need.given(part)) and need.applies(about.event, about.episode, about.policy)


# -- how gaps are named --


def _title(part: type[BaseModel], key: str, held_by: tuple[type[BaseModel], str] | None) -> str:
    title = part.model_fields[key].title or key.replace("_", " ")
    if part is Person and held_by is not None:
        holder, held_as = held_by
        return f"{title} of {holder.model_fields[held_as].title}"
    return title


def label(need: Need, kind: str) -> str:
    """Return how lists of gaps name the fact that ``need`` asks of an event of ``kind``."""
    part: type[BaseModel] = ev.KINDS[kind]
    held_by: tuple[type[BaseModel], str] | None = None
    for key in need.path[:-1]:
        if key != "*":
            held_by = (part, key)
            part = next(_parts(part.model_fields[key].annotation))
    return _title(part, need.path[-1], held_by)


def _parts(annotation: Any) -> Iterator[type[BaseModel]]:
    """Yield the models inside an annotation that contain facts, not a reason why there are none."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        if annotation not in _ANSWERS:
            yield annotation
        return
    for inner in getattr(annotation, "__args__", ()):
        yield from _parts(inner)
