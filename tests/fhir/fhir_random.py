"""Random changes of correct bundles: a source of faults that nobody thought of."""

from __future__ import annotations

import copy
import random
from collections.abc import Iterator
from typing import Any

from fhir_mutants import load

CORRECT = ("access", "deaccess", "with_context", "corrections")
_STRANGE = (1, -1, 2.5, True, "x", "2031-03-04", "2031-03-04T10:00:00Z", {"text": "x"}, ["x"])
_ALSO = ("id", "extension", "value", "status", "code", "period")
Steps = tuple[Any, ...]


def _paths(value: Any, path: Steps = ()) -> Iterator[Steps]:
    yield path
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, item in inside:
        yield from _paths(item, (*path, step))


def _at(value: Any, path: Steps) -> Any:
    for step in path:
        value = value[step]
    return value


def changed(chance: random.Random) -> tuple[str, Any]:
    """What was changed, and a bundle with the change: most, but not all, are faults."""
    bundle = load(chance.choice(CORRECT))
    paths = [path for path in _paths(bundle) if len(path) > 2]
    path = chance.choice(paths)
    holder, last = _at(bundle, path[:-1]), path[-1]
    old = holder[last]
    ways: list[tuple[str, Any]] = [
        ("another value", copy.deepcopy(_at(bundle, chance.choice(paths)))),
        ("a strange value", chance.choice(_STRANGE)),
    ]
    if isinstance(old, str):
        ways += [("a space after", f"{old} "), ("cut", old[:-1]), ("capitals", old.swapcase()), ("before", f"é{old}")]
    if isinstance(old, list):
        ways.append(("twice", old + old))
    way, new = chance.choice([*ways, ("gone", None), ("also", None)])
    if way == "gone":
        del holder[last]
    elif way == "also" and isinstance(holder, dict):
        holder[chance.choice([*_ALSO, f"_{last}"])] = old
    else:
        holder[last] = new
    return f"{'.'.join(map(str, path))}: {way}", bundle
