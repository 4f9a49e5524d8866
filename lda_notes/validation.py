"""What pydantic says about a part of a record, said again in one plain sentence per fault."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from lda_notes.problems import Path


@dataclass(frozen=True, slots=True)
class Misfit:
    """One value that does not fit the record's layout. ``path`` leads to it from the part that was validated.

    ``message`` never quotes the value when it could identify the patient; ``unknown_key`` marks a key that the
    layout does not have, ``missing`` one that it must have.
    """

    path: Path
    message: str
    todo: str
    unknown_key: bool = False
    missing: bool = False


def misfits(error: ValidationError, data: Any, fields_of: Mapping[str, Sequence[str]] | None = None) -> list[Misfit]:
    """Return every fault of ``error``, one per value of ``data``, in the order of the data."""
    grouped: dict[Path, list[Any]] = {}
    for detail in error.errors(include_url=False, include_context=True):
        if _beside_the_point(detail["loc"], data):
            continue
        path = _path_in(data, detail["loc"], detail["type"] in ("missing", "union_tag_not_found"))
        grouped.setdefault(path, []).append(detail)
    # A union reports each member's view; the faults deepest inside the value tell most, so their parents are left out.
    parents = {path[:length] for path in grouped for length in range(len(path))}
    deepest = [path for path in grouped if path not in parents]
    return [_misfit(path, grouped[path], _value_at(data, path)) for path in deepest]


_REASONS_WHY_NOT = {"NotAssessed": "not_assessed", "NotDone": "not_done"}


def _beside_the_point(location: Sequence[str | int], data: Any) -> bool:
    """Tell whether a fault is about a member of a union that the value was not meant to be."""
    for position, step in enumerate(location):
        if isinstance(data, Mapping):
            why_not = [key for key in _REASONS_WHY_NOT.values() if key in data]
            if step in _REASONS_WHY_NOT:
                return _REASONS_WHY_NOT[str(step)] not in data
            if step in data:
                data = data[step]
            elif why_not and position < len(location) - 1:
                return True
        elif isinstance(data, list) and isinstance(step, int) and step < len(data):
            data = data[step]
    return False


def _path_in(data: Any, location: Sequence[str | int], missing: bool) -> Path:
    """Drop from pydantic's location what names union members and functions, not keys of the data."""
    path: list[str | int] = []
    for position, step in enumerate(location):
        last = position == len(location) - 1
        if isinstance(data, Mapping) and isinstance(step, str) and (step in data or (missing and last)):
            path.append(step)
            data = data.get(step)
        elif isinstance(data, list) and isinstance(step, int) and step < len(data):
            path.append(step)
            data = data[step]
    return tuple(path)


def _value_at(data: Any, path: Path) -> Any:
    for step in path:
        if isinstance(data, Mapping):
            data = data.get(str(step))
        elif isinstance(data, list) and isinstance(step, int):
            data = data[step]
    return data


def kind_of(value: Any) -> str:
    """Say what kind of value was found, without telling the value."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, int | float):
        return "a number"
    if isinstance(value, str):
        return "text"
    if isinstance(value, Mapping):
        return "a mapping"
    return "a list"


_EXPECTED = {
    "string_type": "text",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "decimal_type": "a number",
    "decimal_parsing": "a number",
    "finite_number": "a finite number",
    "bool_type": "true or false",
    "tuple_type": "a list",
    "list_type": "a list",
    "dict_type": "a mapping",
    "model_type": "a mapping",
    "model_attributes_type": "a mapping",
    "datetime_type": "a date and time with offset such as 2031-03-04T09:40-06:00",
    "datetime_parsing": "a date and time with offset such as 2031-03-04T09:40-06:00",
    "datetime_from_date_parsing": "a date and time with offset such as 2031-03-04T09:40-06:00",
    "timezone_aware": "a time with its offset from UTC, such as 2031-03-04T09:40-06:00",
    "date_type": "a date such as 2031-03-04",
    "date_parsing": "a date such as 2031-03-04",
    "date_from_datetime_parsing": "a date such as 2031-03-04",
}


def _expected(detail: Any) -> str | None:
    kind: str = detail["type"]
    context = detail.get("ctx", {})
    match kind:
        case "literal_error":
            return f"{context['expected']}".replace("'", "")
        case "greater_than_equal":
            return f"{context['ge']} or more"
        case "greater_than":
            return f"more than {context['gt']}"
        case "less_than_equal":
            return f"at most {context['le']}"
        case "string_pattern_mismatch":
            return (
                "letters, digits, dot, dash and underscore only, at most 64, beginning with a letter or digit"
                if ("A-Za-z0-9" in context["pattern"])
                else str(context["pattern"]).strip("^$()").replace("|", " or ")
            )
        case "string_too_short" | "too_short":
            return "at least one entry" if kind == "too_short" else "some text"
        case "string_too_long":
            return f"at most {context['max_length']} characters"
        case "too_long":
            return f"at most {context['max_length']} entries"
        case "decimal_max_places":
            return f"at most {context['decimal_places']} decimal places"
        case "value_error":
            return str(context["error"]).removeprefix("expected ")
        case "union_tag_invalid":
            return "one of " + str(context["expected_tags"]).replace("'", "")
        case "union_tag_not_found":
            return "an event with its kind"
        case _:
            return _EXPECTED.get(kind)


def _misfit(path: Path, details: list[Any], value: Any) -> Misfit:
    name = str(path[-1]) if path else "the record"
    first = details[0]
    match first["type"]:
        case "missing":
            return Misfit(path, f"{name} is missing", f"add {name}", missing=True)
        case "union_tag_not_found":
            return Misfit((*path, "kind"), "the event does not say its kind", "add kind", missing=True)
        case "extra_forbidden" if all(detail["type"] == "extra_forbidden" for detail in details):
            return Misfit(
                path, f"{name} is not a key that belongs here", "remove it or correct its name", unknown_key=True
            )
        case _:
            pass
    wanted = list(dict.fromkeys(text for text in map(_expected, details) if text))
    if any(detail["type"] == "model_type" for detail in details) and len(wanted) > 1:
        wanted = [text for text in wanted if text != "a mapping"] + ["a mapping that says why not"]
    if wanted == ["true or false"]:
        wanted = ["yes or no"]
    else:
        wanted = ["yes, no" if text == "true or false" else text for text in wanted]
    said = kind_of(value)
    return Misfit(
        path,
        f"{name} holds {said}; expected {' or '.join(wanted) if wanted else first['msg'].lower()}",
        "correct the value",
    )
