"""Facts on their paths, as plain values, and what the record's layout says of each."""

from __future__ import annotations

import types
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import AwareDatetime, BaseModel

from lda_notes.problems import Path
from lda_notes.record.events import Event
from lda_notes.record.parts import NotAssessed, NotDone, Person


def get(data: Any, path: Path) -> Any:
    """Return the value at ``path``; None where there is none."""
    for step in path:
        if isinstance(data, dict):
            data = data.get(step)
        elif isinstance(data, list) and isinstance(step, int) and 0 <= step < len(data):
            data = data[step]
        else:
            return None
    return data


def put(data: Any, path: Path, value: Any) -> Any:
    """Return ``data`` with ``value`` at ``path``; parts on the way are made, a reason why not gives way to facts."""
    if not path:
        return value
    step, rest = path[0], path[1:]
    if isinstance(step, int):
        items = list(data) if isinstance(data, list) else []
        items.extend({} for _ in range(step + 1 - len(items)))
        items[step] = put(items[step], rest, value)
        return items
    entries = dict(data) if isinstance(data, dict) and not is_why_not(data) else {}
    entries[step] = put(entries.get(step), rest, value)
    return entries


def drop(data: Any, path: Path) -> Any:
    """Return ``data`` without the value at ``path``; a part left empty goes too."""
    if not path or get(data, path) is None:
        return data
    step, rest = path[0], path[1:]
    if isinstance(data, list):
        items = list(data)
        inner = drop(items[step], rest) if rest else None  # type: ignore[index]  # a list or a dict, by the step
        if inner:
            items[step] = inner  # type: ignore[index]  # a list or a dict, by the step
        else:
            del items[step]  # type: ignore[arg-type]  # a list or a dict, by the step
        return items
    entries = dict(data)
    inner = drop(entries[step], rest) if rest else None
    if inner:
        entries[step] = inner
    else:
        del entries[step]
    return entries


def is_why_not(value: Any) -> bool:
    """Return whether a value is a reason why there are no facts."""
    return isinstance(value, dict) and bool({"not_assessed", "not_done"} & value.keys())


def fold(facts: Iterable[tuple[Path, Any]], onto: Any = None) -> dict[str, Any]:
    """Return facts as one nested value, later ones over earlier ones; None takes a fact away."""
    data: Any = dict(onto or {})
    for path, value in facts:
        data = drop(data, path) if value is None else put(data, path, value)
    return dict(data)


def parse(text: str) -> Path:
    """Return the path that a dotted name such as ``flushes.0.volume_ml`` means."""
    return tuple(int(step) if step.isascii() and step.isdigit() else step for step in text.strip().split("."))


def dotted(path: Path) -> str:
    """Return a path as it is typed."""
    return ".".join(str(step) for step in path)


Sort = Literal["choice", "several", "yes or no", "time", "day", "number", "whole number", "text", "texts", "person"]

_WHY_NOT: dict[type[BaseModel], Literal["not_assessed", "not_done"]] = {
    NotAssessed: "not_assessed",
    NotDone: "not_done",
}


@dataclass(frozen=True, slots=True)
class Spot:
    """One fact of the layout. ``sort`` is None for a part that contains facts of its own, ``part`` is then its class.

    ``words`` are the closed choices, if any (of a part: the words that may stand in its place); ``many`` says that it
    is a list.
    """

    title: str
    says: str
    sort: Sort | None
    words: tuple[str, ...]
    why_not: Literal["not_assessed", "not_done"] | None
    part: type[BaseModel] | None
    many: bool
    required: bool
    day_alone: bool = False
    """Whether a time may be a day whose hour is not known, as labels carry it."""


def spot(model: type[BaseModel], path: Path) -> Spot | None:
    """Return what the layout of ``model`` says of the fact at ``path``; None when it has no such fact."""
    return _spot(model, tuple(step for step in path if isinstance(step, str)))


@lru_cache(maxsize=4096)
def _spot(model: type[BaseModel], keys: tuple[str, ...]) -> Spot | None:
    for key in keys[:-1]:
        field = model.model_fields.get(key)
        part = _part(field.annotation) if field is not None else None
        if part is None:
            return None
        model = part
    field = model.model_fields.get(keys[-1]) if keys else None
    if field is None:
        return None
    members = tuple(_members(field.annotation))
    sort, words = _sort(members)
    part = _part(field.annotation)
    title = field.title or keys[-1].replace("_", " ")
    return Spot(
        title,
        field.description or title,
        "person" if part is Person else None if part else sort,
        words,
        next((_WHY_NOT[member] for member in members if member in _WHY_NOT), None),
        part,
        any(get_origin(member) is tuple for member in members),
        field.is_required(),
        sort == "time" and date in members,
    )


def _members(annotation: Any) -> Iterator[Any]:
    """Yield what a value may be, unions taken apart and marks taken off; None is left out."""
    origin = get_origin(annotation)
    if origin is Annotated:
        pattern = next((p for m in annotation.__metadata__ if (p := _pattern(m))), None)
        inner = get_args(annotation)[0]
        if pattern and inner is str and "|" in pattern:
            yield Literal[tuple(pattern.strip("^$()").split("|"))]
            return
        yield from _members(inner)
    elif origin in (Union, types.UnionType):
        for member in get_args(annotation):
            yield from _members(member)
    elif annotation is not type(None):
        yield annotation


def _pattern(mark: Any) -> str | None:
    found = getattr(mark, "pattern", None)
    if found is None:
        found = next((p for m in getattr(mark, "metadata", ()) if (p := getattr(m, "pattern", None))), None)
    return found if isinstance(found, str) else None


def _part(annotation: Any) -> type[BaseModel] | None:
    """Return the class of the part that contains facts, inside a list too."""
    for member in _members(annotation):
        if get_origin(member) is tuple:
            member = get_args(member)[0]
        if isinstance(member, type) and issubclass(member, BaseModel) and member not in _WHY_NOT:
            return member
    return None


def _sort(members: tuple[Any, ...]) -> tuple[Sort | None, tuple[str, ...]]:
    words: list[str] = []
    for member in members:
        if get_origin(member) is Literal:
            words.extend(get_args(member))
    if words:
        return "choice", tuple(words)
    for member in members:
        if get_origin(member) is tuple:
            inner = next(_members(get_args(member)[0]))
            return ("several", get_args(inner)) if get_origin(inner) is Literal else ("texts", ())
        sort = _PLAIN.get(member)
        if sort is not None:
            return sort, ()
    return None, ()


_PLAIN: dict[Any, Sort] = {
    bool: "yes or no",
    datetime: "time",
    AwareDatetime: "time",
    date: "day",
    Decimal: "number",
    int: "whole number",
    str: "text",
}


def plain_number(value: Decimal) -> int | float:
    """Return a number as JSON has it: whole where it is whole."""
    return int(value) if value == value.to_integral_value() else float(value)


def plain_event(event: Event) -> dict[str, Any]:
    """Return an event as plain values, numbers as numbers and times to the minute."""
    data = event.model_dump(mode="json", exclude_unset=True)
    return {key: _plain(type(event), (key,), value) for key, value in data.items()}


def plain_part(model: type[BaseModel], path: Path, part: BaseModel) -> dict[str, Any]:
    """Return the part of ``model`` at ``path`` as plain values, as `plain_event` does."""
    made: dict[str, Any] = _plain(model, path, part.model_dump(mode="json", exclude_unset=True, exclude_none=True))
    return made


def _plain(model: type[BaseModel], path: Path, value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(model, (*path, key), inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_plain(model, (*path, at), inner) for at, inner in enumerate(value)]
    found = spot(model, path)
    if found is None or not isinstance(value, str):
        return value
    if found.sort in ("number", "whole number"):
        return plain_number(Decimal(value))
    return datetime.fromisoformat(value).isoformat(timespec="minutes") if found.sort == "time" else value
