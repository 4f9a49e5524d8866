"""What the record's layout says of one fact: how it is called, what it may hold, whether it takes a reason why not."""

from __future__ import annotations

import types
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import AwareDatetime, BaseModel

from lda_notes.problems import Path
from lda_notes.record.parts import NotAssessed, NotDone, Person

Sort = Literal["choice", "several", "yes or no", "time", "day", "number", "whole number", "text", "texts", "person"]

_WHY_NOT: dict[type[BaseModel], Literal["not_assessed", "not_done"]] = {
    NotAssessed: "not_assessed",
    NotDone: "not_done",
}


@dataclass(frozen=True, slots=True)
class Spot:
    """One fact of the layout. ``sort`` is None for a part that holds facts of its own, ``part`` is then its class.

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
    pattern = next((p for m in field.metadata if (p := getattr(m, "pattern", None))), None)
    sort, words = _sort(members, pattern)
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
    """Return the class of the part that holds facts, inside a list too."""
    for member in _members(annotation):
        if get_origin(member) is tuple:
            member = get_args(member)[0]
        if isinstance(member, type) and issubclass(member, BaseModel) and member not in _WHY_NOT:
            return member
    return None


def _sort(members: tuple[Any, ...], pattern: str | None) -> tuple[Sort | None, tuple[str, ...]]:
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
