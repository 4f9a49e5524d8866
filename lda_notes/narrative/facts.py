"""The record as templates see it: plain values by subscript, which remember what was read and refuse what is absent.

Three things can happen to ``event["needle"]["gauge"]``. It was recorded: the value comes back and its path is
remembered. It was not, or the answer is a reason why not: `NotRecorded`. There is no such fact: `UnknownFact`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from types import UnionType
from typing import Any, Final, Literal, Union, get_args, get_origin
from zoneinfo import ZoneInfo

from pydantic import BaseModel

from lda_notes.narrative import phrasing
from lda_notes.problems import Path
from lda_notes.record.events import KINDS, AnyEvent, Event
from lda_notes.record.spelling import nearest

ANSWERS: Final = ("not_assessed", "not_done")
"""Keys of the answers that say why there is no value."""


class NotRecorded(Exception):
    """A fact that a sentence names was not recorded. ``path`` leads to where it would stand."""

    def __init__(self, path: Path) -> None:
        super().__init__(".".join(str(step) for step in path))
        self.path = path


class UnknownFact(Exception):
    """A template names a fact that no record can contain. ``str()`` names it, with the nearest one that exists."""


class Words(str):
    """Free text of the record: the nurse's own words, never printed but as typed words or as a name."""

    __slots__ = ()


@cache
def _vocabulary() -> frozenset[str]:
    """Return every word of the closed vocabularies: text that is ours, not the nurse's."""
    from lda_notes.record.episode import Episode

    found: set[str] = set()
    seen: set[Any] = set()

    def collect(annotation: Any) -> None:
        if get_origin(annotation) is Literal:
            found.update(value for value in get_args(annotation) if isinstance(value, str))
            return
        for part in get_args(annotation):
            collect(part)
        if isinstance(annotation, type) and issubclass(annotation, BaseModel) and annotation not in seen:
            seen.add(annotation)
            for field in annotation.model_fields.values():
                collect(field.annotation)

    collect(Episode)
    collect(AnyEvent)
    return frozenset(found)


def plain(part: BaseModel) -> dict[str, Any]:
    """Return a part of a record as plain dicts, tuples and values, without what was not recorded."""
    return part.model_dump(exclude_unset=True, exclude_none=True)


def _is_answer(value: Any) -> bool:
    return type(value) is dict and len(value) == 1 and next(iter(value)) in ANSWERS


class Facts:
    """A group of facts, read by subscript. ``told`` is the shared list that remembers each path read."""

    __slots__ = ("_data", "_depth", "_path", "_root", "_told")

    def __init__(
        self, data: Mapping[str, Any], path: Path, root: type[BaseModel], told: list[Path], depth: int | None = None
    ) -> None:
        self._data = data
        self._path = path
        self._root = root
        self._told = told
        self._depth = len(path) if depth is None else depth

    def __getitem__(self, key: str) -> Any:
        """Return a recorded value, a group of facts, or a list of them; raise for all else."""
        value = self._data.get(key)
        if value is None or value == ():
            raise self._absent(key)
        kind = type(value)
        if kind is dict:
            if _is_answer(value):
                raise NotRecorded((*self._path, key))
            return Facts(value, (*self._path, key), self._root, self._told, self._depth)
        if kind is tuple and type(value[0]) is dict:
            here = (*self._path, key)
            return [Facts(item, (*here, i), self._root, self._told, self._depth) for i, item in enumerate(value)]
        self._told.append((*self._path, key))
        if kind is str:
            return value if value in _vocabulary() else Words(value)
        if kind is tuple:
            return tuple(item if item in _vocabulary() else Words(item) for item in value)
        return value

    def get(self, key: str) -> Any:
        """Return a recorded value or None; a name that does not exist still raises `UnknownFact`."""
        try:
            return self[key]
        except NotRecorded:
            return None

    def each(self, key: str) -> Any:
        """Return a recorded list, or an empty one."""
        return self.get(key) or ()

    @property
    def path(self) -> Path:
        """Where this group stands in the record."""
        return self._path

    def why(self) -> WhyNot:
        """Return the same group, read for its reasons why not."""
        return WhyNot(self._data, self._path, self._root, self._told, self._depth)

    def _absent(self, key: str) -> Exception:
        keys = tuple(step for step in self._path[self._depth :] if isinstance(step, str))
        known: Collection[str] = fields_at(self._root, keys)
        if not keys and issubclass(self._root, Event):  # parts of templates are shared by kinds that lack some facts
            known = _fields_of_all_kinds()
        if key in known:
            return NotRecorded((*self._path, key))
        close = nearest(key, known)
        return UnknownFact(f"there is no fact named {key}" + (f"; did you mean {close}?" if close else ""))


class WhyNot(Facts):
    """A group of facts read for its reasons: what was recorded is absent here, and a reason why not is the value."""

    __slots__ = ()

    def __getitem__(self, key: str) -> Any:
        """Return the reason recorded in place of a value, or the group that may contain one; raise for all else."""
        value = self._data.get(key)
        if value is not None and _is_answer(value):
            answer, reason = next(iter(value.items()))
            self._told.append((*self._path, key, answer))
            return Words(reason)
        if type(value) is dict:
            return WhyNot(value, (*self._path, key), self._root, self._told, self._depth)
        raise self._absent(key)


class Computed:
    """Values that were computed, each with the paths of the facts that it rests on; None stands for none."""

    __slots__ = ("_told", "_values")

    def __init__(self, values: Mapping[str, tuple[Any, tuple[Path, ...]]], told: list[Path]) -> None:
        self._values = values
        self._told = told

    def __getitem__(self, key: str) -> Any:
        """Return a computed value; `NotRecorded` when there is none, `UnknownFact` when there never is."""
        if key not in self._values:
            close = nearest(key, self._values)
            raise UnknownFact(f"there is no computed value named {key}" + (f"; did you mean {close}?" if close else ""))
        value, paths = self._values[key]
        if value is None or value == ():
            raise NotRecorded(paths[0] if paths else ())
        if isinstance(value, tuple) and value and isinstance(value[0], Mapping):
            return [Computed(item, self._told) for item in value]
        self._told.extend(paths)
        return value

    def get(self, key: str) -> Any:
        """Return a computed value or None."""
        try:
            return self[key]
        except NotRecorded:
            return None

    def each(self, key: str) -> Any:
        """Return a computed list, or an empty one."""
        return self.get(key) or ()


# -- what the models say of a fact --


@cache
def _fields_of_all_kinds() -> frozenset[str]:
    return frozenset(name for kind in KINDS.values() for name in kind.model_fields)


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    elif get_origin(annotation) in (Union, UnionType, tuple) or hasattr(annotation, "__metadata__"):
        for part in get_args(annotation):
            yield from _models(part)


@cache
def fields_at(root: type[BaseModel], keys: tuple[str, ...]) -> dict[str, Any]:
    """Return the fields that may stand under ``keys`` of ``root``, by name; reasons why not are left out."""
    fields: dict[str, Any] = dict(root.model_fields)
    for key in keys:
        field = fields.get(key)
        fields = {}
        for model in _models(field.annotation) if field is not None else ():
            fields.update(model.model_fields)
    return {name: field for name, field in fields.items() if name not in ANSWERS}


def label(root: type[BaseModel], keys: Path, within: Path = ()) -> str:
    """Return what a fact is called in lists: its title, with the part that it belongs to where the title is silent.

    ``within`` is a part that was just named and is not named again.
    """
    names = tuple(step for step in keys if isinstance(step, str) and step not in ANSWERS)
    titles = [_title(root, names[: depth + 1]) for depth in range(len(names))]
    said = titles[-1] if titles else "record"
    if len(titles) > 1 and keys[:-1] != within and not _stems(said) & _stems(titles[-2]):
        said = f"{said} ({titles[-2]})"
    places = [step for step in keys if isinstance(step, int)]
    return f"{said}, {phrasing.ordinal(places[-1] + 1)}" if places and places[-1] else said


def _stems(title: str) -> set[str]:
    return {word.rstrip("s") for word in title.split()}


@cache
def _title(root: type[BaseModel], names: tuple[str, ...]) -> str:
    field = fields_at(root, names[:-1]).get(names[-1])
    return (field.title if field is not None and field.title else names[-1]).replace("_", " ")


_UNITS: Final = (
    ("units_per_ml", "units per mL"),
    ("_ml_per_s", "mL per second"),
    ("_units", "units"),
    ("_ml", "mL"),
    ("_mm", "mm"),
    ("_cm2", "square cm"),
    ("_mg", "mg"),
    ("_kg", "kg"),
    ("_g", "g"),
    ("_s", "seconds"),
    ("_psi", "psi"),
)
"""Unit by the ending of a field's name, longest first."""


def unit_of(key: str) -> str | None:
    """Return the unit that a field's name ends with."""
    return next((unit for ending, unit in _UNITS if key.endswith(ending)), None)


def say(value: Any, key: str, zone: ZoneInfo, today: date | None = None) -> str:
    """Return one recorded value in words; free text as typed words."""
    match value:
        case bool():
            return "yes" if value else "no"
        case Decimal() | int() | float():
            value = Decimal(repr(value)) if isinstance(value, float) else Decimal(value)
            if not value.is_finite():
                return phrasing.typed(str(value))
            unit = unit_of(key)
            return phrasing.quantity(value, unit) if unit else phrasing.number(value)
        case datetime():
            return phrasing.clock(value, zone, today)
        case date():
            return phrasing.day(value)
        case str():
            return phrasing.printed(value) if value in _vocabulary() else phrasing.typed(value)
        case tuple() | list():
            return phrasing.listed([say(item, key, zone, today) for item in value])
        case _:
            return phrasing.typed(str(value))


def leaves(data: Mapping[str, Any], path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Yield every single value of a group with its path; a list of plain values counts as one, a reason as one."""
    for key, value in data.items():
        here = (*path, key)
        if isinstance(value, Mapping):
            yield from leaves(value, here)
        elif isinstance(value, tuple | list) and value and isinstance(value[0], Mapping):
            for position, item in enumerate(value):
                yield from leaves(item, (*here, position))
        elif value is not None and value != () and value != []:
            yield here, value


def event_facts(event: Event, index: int, told: list[Path]) -> Facts:
    """Return the facts of an event that stands at ``index`` of the record."""
    return Facts(plain(event), ("events", index), type(event), told)
