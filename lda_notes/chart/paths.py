"""Facts as nested plain values, and the paths that lead to them. Nothing is changed in place."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from lda_notes.problems import Path


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
        inner = drop(items[step], rest) if rest else None  # type: ignore[index]
        if inner:
            items[step] = inner  # type: ignore[index]
        else:
            del items[step]  # type: ignore[arg-type]
        return items
    entries = dict(data)
    inner = drop(entries[step], rest) if rest else None
    if inner:
        entries[step] = inner
    else:
        del entries[step]
    return entries


def is_why_not(value: Any) -> bool:
    """Tell whether a value is a reason why there are no facts."""
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
