"""Entries as plain values: taken out of the record, laid over, taken apart, put into words."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal
from typing import Any

from pydantic import BaseModel

from lda_notes.chart import layout, paths
from lda_notes.chart.answers import plain_number
from lda_notes.narrative import phrasing
from lda_notes.problems import Path
from lda_notes.record.events import Event
from lda_notes.record.merging import merge


def laid_over(old: Any, new: Any) -> Any:
    """Return a list as it will be: each part of the old one with what was said laid over it, new ones after."""
    if not isinstance(new, list) or not all(isinstance(item, dict) for item in new):
        return new
    before = old if isinstance(old, list) else []
    longest = max(len(before), len(new))
    made = []
    for at in range(longest):
        was = before[at] if at < len(before) else {}
        made.append(merge(was, new[at]) if at < len(new) else was)
    return made


def single_facts(data: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Yield every single fact of a nested value with its path; a reason why not is one."""
    if isinstance(data, dict) and not paths.is_why_not(data) and data:
        for key, value in data.items():
            yield from single_facts(value, (*path, key))
    elif isinstance(data, list) and any(isinstance(item, dict) for item in data):
        for at, item in enumerate(data):
            yield from single_facts(item, (*path, at))
    elif data not in ({}, []):
        yield path, data


def said_value(value: Any) -> str:
    """Return a plain value in words."""
    match value:
        case bool():
            return "yes" if value else "no"
        case {"not_assessed": reason}:
            return f"not assessed: {reason}"
        case {"not_done": reason}:
            return f"not done: {reason}"
        case dict():
            return ", ".join(str(inner) for inner in value.values())
        case list():
            return phrasing.listed([said_value(item) for item in value])
        case _:
            return str(value)


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
    spot = layout.spot(model, path)
    if spot is None or not isinstance(value, str):
        return value
    if spot.sort in ("number", "whole number"):
        return plain_number(Decimal(value))
    return datetime.fromisoformat(value).isoformat(timespec="minutes") if spot.sort == "time" else value
