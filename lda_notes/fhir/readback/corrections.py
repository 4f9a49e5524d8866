"""From the facts as they now stand, and what corrections replaced, back to what was first charted."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from lda_notes.fhir.elements import Json


@dataclass(slots=True)
class Correction:
    """An amendment or addendum. ``stated`` is what it says, by key; ``before`` pairs of a path and the first value.

    ``before`` is None for a correction that changed nothing.
    """

    event: str
    of: str | None
    stated: Any
    before: Any


AS_FIRST: Final = frozenset({"charted_at", "by", "verified_by", "late_entry"})
"""Fields that stand in the Provenance of an event alone, which no correction rewrites."""


def original_and_stated(
    event: Json, at: str | None, corrections: list[Correction], withdrawn: frozenset[str]
) -> tuple[Json, dict[str, Any]]:
    """Return the event as first charted, and what each correction in force states, with the values of the resources.

    ``event`` is as it now stands but for who and when, which are as first charted; ``at`` is when it happened as the
    resources now tell it. ``corrections`` are in order of time. A value that a later correction replaced again is
    told as it was stated, since no resource has it any more.
    """
    now = {key: value for key, value in event.items() if key not in AS_FIRST}
    now["at"] = at
    in_force = [one for one in corrections if one.before is not None and one.event not in withdrawn]
    stated: dict[str, Any] = {}
    for index, one in enumerate(in_force):
        later = [path for other in in_force[index + 1 :] for path in _leaves(other.stated, ())]
        told = copy.deepcopy(one.stated)
        for path in _leaves(one.stated, ()):
            found, value = _look(now, path)
            if found and value is not None and not any(path[: len(other)] == other[: len(path)] for other in later):
                _set(told, path, value)
        stated[one.event] = told
    first = copy.deepcopy(event)
    replaced = [(tuple(path), value) for one in corrections if one.before is not None for path, value in one.before]
    for path, value in sorted(replaced, key=lambda row: -len(row[0])):
        _set(first, path, value)
    return first, stated


def _leaves(value: Any, path: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """Yield the paths of everything that is not itself a mapping."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _leaves(inner, (*path, key))
    else:
        yield path


def _look(value: Any, path: tuple[str, ...]) -> tuple[bool, Any]:
    for step in path:
        if not isinstance(value, dict) or step not in value:
            return False, None
        value = value[step]
    return True, value


def _set(value: Any, path: tuple[str, ...], inner: Any) -> None:
    """Put a value at a path, or take out what is there when there was none."""
    for step in path[:-1]:
        value = value.get(step) if isinstance(value, dict) else None
    if not isinstance(value, dict):
        return
    if inner is None:
        value.pop(path[-1], None)
    else:
        value[path[-1]] = inner
