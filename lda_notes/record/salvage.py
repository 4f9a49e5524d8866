"""Reading a record that does not fit the layout as a whole: what does not fit is taken out, and each piece is named.

A list loses the one item that does not fit, a part the one fact; only an event without kind, time, identifier or a
fact that it cannot be without is set aside whole.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from types import NoneType
from typing import Any, Final

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from lda_notes.problems import Path, Place
from lda_notes.record.episode import Episode
from lda_notes.record.events import KINDS, Addendum, Amendment, Correcting, Event, as_spelled
from lda_notes.record.merging import merge
from lda_notes.record.parts import FORMER_KEYS
from lda_notes.record.spelling import nearest
from lda_notes.record.unread import Unread, as_text
from lda_notes.record.validation import Misfit, misfits, value_at, within

Fields = Mapping[str, FieldInfo]

_MOST_ROUNDS: Final = 40
"""More than any record is deep: each round takes out what does not fit, or what that leaves incomplete."""

_CORRECTED: Final = ("sets", "adds")
_NOW: Final = {old: now for now, old in FORMER_KEYS.items()}
_REASONS: Final = frozenset({"not_assessed", "not_done"})


@dataclass(slots=True)
class Salvaged:
    """The rest of ``data``, and the pieces taken out of it. All paths are those of the file.

    ``result`` is None when nothing fits. ``units`` are the pieces taken out, the first of them around the others;
    ``kept`` says for each list that lost items which positions stayed.
    """

    original: Any
    result: Any = None
    faults: dict[Path, Misfit] = field(default_factory=dict)
    units: set[Path] = field(default_factory=set)
    kept: dict[Path, tuple[int, ...]] = field(default_factory=dict)


def salvage(written: Any, validate: Callable[[Any], Any], seen: Callable[[Any], Any] = lambda data: data) -> Salvaged:
    """Take out of what was written what does not fit, until ``validate`` accepts the rest or nothing is left.

    ``validate`` raises `ValidationError` about ``seen`` of what it was given.
    """
    found = Salvaged(written)
    data = copy.deepcopy(written)
    stays = _Positions()
    for _ in range(_MOST_ROUNDS):
        try:
            found.result = validate(data)
        except ValidationError as error:
            faults = misfits(error, seen(data))
        else:
            break
        removals = set()
        for fault in faults:
            real = stays.real(data, fault.path)
            if not (fault.missing and _inside(real, found.units)):  # what a removal leaves incomplete is no new fault
                found.faults.setdefault(real, fault)
            removals.add(_to_remove(fault))
        if () in removals:
            break
        found.units |= {stays.real(data, path) for path in removals}
        for path in sorted(removals, key=lambda path: tuple((isinstance(step, int), step) for step in path))[::-1]:
            found.units |= {stays.real(data, emptied) for emptied in stays.remove(data, path)}
    found.kept = dict(stays.changed(data, ()))
    return found


def _inside(path: Path, units: set[Path]) -> bool:
    return any(unit[: len(path) - 1] == path[:-1] for unit in units)


def _to_remove(fault: Misfit) -> Path:
    """Return the value to take out, or the smallest part around it that can be absent."""
    if _spoils_event(fault):
        return fault.path[:2]
    return fault.path[:-1] if fault.missing else fault.path


def _spoils_event(fault: Misfit) -> bool:
    """Return whether an event cannot be placed because of ``fault``: no kind, time, identifier or needed fact."""
    path = fault.path
    return (
        len(path) > 1
        and path[0] == "events"
        and isinstance(path[1], int)
        and (len(path) == 2 or (len(path) == 3 and (fault.missing or path[2] in ("id", "at", "kind", "of"))))
    )


class _Positions:
    """Which positions of the file the items of each list have, while items are taken out."""

    def __init__(self) -> None:
        self._stayed: dict[int, list[int]] = {}
        self._lists: list[list[Any]] = []  # kept alive, so that no other list gets the identity of one of them

    def real(self, data: Any, path: Path) -> Path:
        """Return ``path`` as it is in the file."""
        real: list[str | int] = []
        for step in path:
            stayed = self._stayed.get(id(data)) if isinstance(data, list) else None
            real.append(stayed[step] if stayed is not None and isinstance(step, int) and step < len(stayed) else step)
            data = within(data, step)
        return tuple(real)

    def remove(self, data: Any, path: Path) -> Iterator[Path]:
        """Take out what stands at ``path``; of a list that is empty then, yield its path and take it out too."""
        around = value_at(data, path[:-1])
        last = path[-1]
        if isinstance(around, dict):
            around.pop(str(last), None)
        elif isinstance(around, list) and isinstance(last, int) and last < len(around):
            if id(around) not in self._stayed:
                self._stayed[id(around)] = list(range(len(around)))
                self._lists.append(around)
            del around[last], self._stayed[id(around)][last]
            if not around and len(path) > 1 and path[:-1] != ("events",):  # an empty list would say that there is none
                yield path[:-1]
                yield from self.remove(data, path[:-1])

    def changed(self, data: Any, path: Path) -> Iterator[tuple[Path, tuple[int, ...]]]:
        """Yield the path in the file of every list that lost items, and the positions that stayed."""
        if isinstance(data, dict):
            for key, value in data.items():
                yield from self.changed(value, (*path, key))
        elif isinstance(data, list):
            stayed = self._stayed.get(id(data), range(len(data)))
            if id(data) in self._stayed:
                yield path, tuple(stayed)
            for position, value in zip(stayed, data, strict=True):
                yield from self.changed(value, (*path, position))


# -- the facts that were lost --


def lost(found: Salvaged, place: Callable[[Path], Place], data: Any, above: Path = ()) -> Iterator[Unread]:
    """Yield every fact that was written in what was taken out, in the order of the file.

    ``data`` is the whole file; ``above`` leads to ``found.original`` in it.
    """
    told: set[Path] = set()
    for path, fault in sorted(found.faults.items(), key=lambda item: place((*above, *item[0]))):
        unit = next((path[:length] for length in range(1, len(path) + 1) if path[:length] in found.units), path)
        if fault.missing:
            path = unit
            if _is_event(unit) or unit in told:
                continue
        text = as_text(value_at(found.original, path))
        if unit not in told and not _is_event(unit) and unit != path:
            rest = as_text(_without(value_at(found.original, unit), [p[len(unit) :] for p in found.faults]))
            text += f" ({rest})" if rest else ""
        if text:
            told.add(unit)
            where = (*above, *path)
            yield Unread(where, place(where), text, *described(data, where, (*above, *unit)))


def _is_event(path: Path) -> bool:
    return len(path) == 2 and path[0] == "events"


def _without(value: Any, paths: list[Path]) -> Any:
    """Return a copy of ``value`` without what stands at ``paths``."""
    if isinstance(value, dict):
        inner = {key: [p[1:] for p in paths if p[:1] == (key,)] for key in value}
        return {key: _without(item, inner[key]) for key, item in value.items() if () not in inner[key]}
    if isinstance(value, list):
        deeper = [[p[1:] for p in paths if p[:1] == (at,)] for at in range(len(value))]
        return [_without(item, deeper[at]) for at, item in enumerate(value) if () not in deeper[at]]
    return value


# -- corrections --


@dataclass(slots=True)
class Corrected:
    """A correction of which not everything could be read: what is left of it, and what was taken out."""

    event: Amendment | Addendum
    kind: type[Event]
    key: str
    found: Salvaged


def corrections(episode: Episode) -> Iterator[tuple[int, Corrected]]:
    """Yield the position of each correction whose values do not fit the event that it corrects, and what is left.

    What an unreadable value was to replace is withdrawn with it: the old value may be the opposite of the new one.
    """
    targets = {event.id: event for event in reversed(episode.events) if not isinstance(event, Correcting)}
    for position, change in enumerate(episode.events):
        if not isinstance(change, Amendment | Addendum) or change.of not in targets:
            continue
        key, values = ("sets", change.sets) if isinstance(change, Amendment) else ("adds", change.adds)
        if not values or {"id", "kind"} & values.keys():
            continue  # the fold says so
        found = _applied(targets[change.of], as_spelled(type(targets[change.of]), values))
        if found.units:
            left = change.model_copy(update={key: found.result})
            yield position, Corrected(left, type(targets[change.of]), key, found)


def _applied(target: Event, values: dict[str, Any]) -> Salvaged:
    old = target.model_dump(mode="json", exclude_unset=True)
    kind = type(target)

    def validate(data: Any) -> Any:
        kind.model_validate_json(json.dumps(merge(old, data)))
        return data

    found = salvage(values, validate, lambda data: merge(old, data))
    found.result = found.result or {}
    return found


def withdraw(values: dict[str, Any], kind: type[Event], fact: Path) -> None:
    """Set in the ``values`` of a correction what it meant to change and cannot be read to nothing."""
    fields: Fields = kind.model_fields
    for position, name in enumerate(fact):
        below = values.get(str(name))
        if not isinstance(below, dict) or position == len(fact) - 1:
            if str(name) not in values and may_be_absent(fields.get(str(name))):
                values[str(name)] = None
            return
        fields = fields_of(fields[str(name)].annotation) if name in fields else {}
        values = below


# -- the layout --


def fields_of(annotation: Any) -> dict[str, FieldInfo]:
    """Return the fields of every model inside an annotation."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return dict(annotation.model_fields)
    return {name: info for part in getattr(annotation, "__args__", ()) for name, info in fields_of(part).items()}


def may_be_absent(info: FieldInfo | None) -> bool:
    """Return whether a fact may be null."""
    return info is not None and NoneType in getattr(info.annotation, "__args__", ())


def layout(root: Any, path: Path) -> list[Fields]:
    """Return for each step of ``path`` the fields that may be there; none where the layout is not known."""
    fields: Fields = Episode.model_fields
    found: list[Fields] = []
    for position, step in enumerate(path):
        if path[0] == "events" and position == 2:
            fields = _fields_of_event(value_at(root, path[:2]))
        elif path[0] == "events" and position == 3 and path[2] in _CORRECTED:
            fields = _fields_of_event(_target(root, path))
        found.append(fields)
        if isinstance(step, str):
            info = fields.get(_now(step, fields))
            fields = fields_of(info.annotation) if info is not None else {}
    return found


def _now(key: str, fields: Fields) -> str:
    """Return a key as the layout has it now, whatever version it was written in."""
    return key if key in fields else _NOW.get(key, key)


def _fields_of_event(event: Any) -> Fields:
    kind = event.get("kind") if isinstance(event, dict) else None
    return KINDS[kind].model_fields if isinstance(kind, str) and kind in KINDS else {}


def _target(root: Any, path: Path) -> Any:
    """Return the event that the correction around ``path`` is about."""
    of = value_at(root, (*path[:2], "of"))
    events = value_at(root, path[:1])
    return next((e for e in events if isinstance(e, dict) and e.get("id") == of), None) if of is not None else None


def meant(root: Any, path: Path) -> tuple[tuple[str, ...], FieldInfo | None]:
    """Return what an unknown name at the end of ``path`` most likely is: names from the event on, and the fact.

    A name that belongs to the empty entry above it, further out or further in was put in the wrong place; else it is
    the nearest known name.
    """
    steps = layout(root, path)
    start = _start(path)
    names = tuple(step for step in path[start:-1] if isinstance(step, str))
    key = str(path[-1])
    empty = _empty_above(root, path, steps[-1])
    if empty is not None and key in (inner := fields_of(steps[-1][empty].annotation)):
        why_not = key in _REASONS
        return (*names, empty, *(() if why_not else (key,))), steps[-1][empty] if why_not else inner[key]
    if key in _REASONS:
        return (*names, key), None
    for position in range(len(path) - 2, start - 1, -1):
        if key in steps[position] and isinstance(path[position], str):
            outer = tuple(step for step in path[start:position] if isinstance(step, str))
            return (*outer, key), steps[position][key]
    within = [(name, inner[key]) for name, info in steps[-1].items() if key in (inner := fields_of(info.annotation))]
    if len(within) == 1:
        return (*names, within[0][0], key), within[0][1]
    close = nearest(key, steps[-1])
    return ((*names, close), steps[-1][close]) if close else ((*names, key), None)


def _empty_above(root: Any, path: Path, fields: Fields) -> str | None:
    """Return the last known name above the end of ``path`` if nothing was written under it."""
    entries = value_at(root, path[:-1])
    if not isinstance(entries, dict):
        return None
    above = list(entries)[: list(entries).index(path[-1])] if path[-1] in entries else []
    known = next((name for name in reversed(above) if name in fields), None)
    return known if known is not None and entries[known] is None else None


def _start(path: Path) -> int:
    """Return where in ``path`` the facts of an event begin; 0 outside events."""
    if len(path) < 2 or path[0] != "events":
        return 0
    return 3 if len(path) > 3 and path[2] in _CORRECTED else 2


def described(root: Any, path: Path, unit: Path) -> tuple[str | None, str, Path]:
    """Return the event, the label and the fact of `Unread` for what stands at ``path`` and was lost with ``unit``."""
    start = _start(path)
    event = None
    if start:
        raw = value_at(root, path[:2])
        id_ = raw.get("of" if start == 3 else "id") if isinstance(raw, dict) else None
        event = id_ if isinstance(id_, str) else f"event {int(path[1]) + 1} of the file"
    fact: list[str | int] = []
    said: list[str] = []
    title = "event"
    for position, (step, fields) in enumerate(zip(path, layout(root, path), strict=True)):
        if position < start:
            continue
        if isinstance(step, int):
            said = [*said, *([] if title in said else [title]), f"item {step + 1}"]
            fact.append(step)
            title = ""
        elif (info := fields.get(name := _now(step, fields))) is not None:
            title = info.title or name
            fact.append(name)
        else:
            names, info = meant(root, path[: position + 1])
            fact[:] = names
            title = info.title or names[-1] if info is not None else step.replace("_", " ")
    if title and not (unit != path and isinstance(path[-2], int) and len(path) > start + 2):
        said.append(title)
    return event, ", ".join(said), tuple(fact)
