"""Faults that pydantic finds in a part of a record, each in one plain sentence."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple, get_args

from pydantic import ValidationError

from lda_notes.problems import Path
from lda_notes.record.spelling import NO_KNOWN_ALLERGIES, nearest
from lda_notes.record.vocabulary import AllergenName


class Misfit(NamedTuple):
    """One value that does not fit the record's layout. ``path`` leads to it from the part that was validated.

    ``message`` never quotes the value when it could identify the patient; ``unknown_key`` marks a key that the
    layout does not have, ``missing`` one that it must have.
    """

    path: Path
    message: str
    todo: str
    unknown_key: bool = False
    missing: bool = False


MOST_MISFITS: Final = 1000
"""Most faults of the layout that are looked into in one record. Common practice, no source: a record of a month with
every event misspelled has some 500."""

_TOO_MANY: Final = Misfit(
    (),
    f"more than {MOST_MISFITS} values do not fit the layout, so none of this was read",
    "check whether this is a record at all, and which program wrote it",
)


def misfits(error: ValidationError, data: Any) -> list[Misfit]:
    """Return every fault of ``error``, one per value of ``data``, in the order of the data.

    More than `MOST_MISFITS` are one fault of the whole.
    """
    if error.error_count() > 10 * MOST_MISFITS:  # several may be about one value
        return [_TOO_MANY]
    grouped: dict[Path, list[Any]] = {}
    details = error.errors(include_url=False, include_context=True)
    unions = {
        detail["loc"][:position]
        for detail in details
        for position, step in enumerate(detail["loc"])
        if step in _REASONS_WHY_NOT
    }
    meant = [detail for detail in details if not _beside_the_point(detail["loc"], data, unions)]
    for detail in meant or details:
        path = _path_in(data, detail["loc"], detail["type"] in ("missing", "union_tag_not_found"))
        grouped.setdefault(path, []).append(detail)
    # A union reports each member's view; the faults deepest inside the value tell most, so their parents are left out.
    parents = {path[:length] for path in grouped for length in range(len(path))}
    deepest = [path for path in grouped if path not in parents]
    if len(deepest) > MOST_MISFITS:
        return [_TOO_MANY]
    return [_misfit(path, grouped[path], value_at(data, path)) for path in deepest]


_REASONS_WHY_NOT = {"NotAssessed": "not_assessed", "NotDone": "not_done"}


def _beside_the_point(location: tuple[str | int, ...], data: Any, unions: set[tuple[str | int, ...]]) -> bool:
    """Return whether a fault is about a member of a union that the value was not meant to be.

    ``unions`` are the locations where the value may be a reason why not.
    """
    for position, step in enumerate(location):
        if isinstance(data, Mapping):
            if location[:position] in unions and step not in data:
                said = [name for name, key in _REASONS_WHY_NOT.items() if key in data]
                return step not in said if said else step in _REASONS_WHY_NOT
            if step in data:
                data = data[step]
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


def value_at(data: Any, path: Path) -> Any:
    """Return what stands at ``path``, None where nothing does."""
    for step in path:
        data = within(data, step)
    return data


def within(data: Any, step: str | int) -> Any:
    """Return what stands one step inside ``data``, None where nothing does."""
    if isinstance(data, Mapping):
        return data.get(step)
    return data[step] if isinstance(data, list) and isinstance(step, int) and step < len(data) else None


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
    name = _called(path)
    first = details[0]
    match first["type"]:
        case "missing":
            return Misfit(path, f"{name} is missing", f"add {path[-1] if path else name}", missing=True)
        case "union_tag_not_found":
            return Misfit((*path, "kind"), "the event does not say its kind", "add kind", missing=True)
        case "union_tag_invalid":  # the place to correct is the tag, not the whole event
            key = str(first["ctx"]["discriminator"]).strip("'")
            path, name, value = (*path, key), _called((key,)), first["ctx"]["tag"]
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
    said, todo = _found(path, value, details, wanted)
    return Misfit(
        path,
        f"{name} contains {said}; expected {' or '.join(wanted) if wanted else first['msg'].lower()}",
        todo,
    )


def _called(path: Path) -> str:
    """Return what a sentence calls the value at ``path``: its key in quotes, so that no name reads as a word."""
    if not path:
        return "the record"
    if isinstance(path[-1], int):
        around = next((f' of "{step}"' for step in reversed(path) if isinstance(step, str)), "")
        return f"item {path[-1] + 1}{around}"
    return f'"{path[-1]}"'


_BOUNDS: Final = frozenset({"greater_than", "greater_than_equal", "less_than", "less_than_equal"})
_NUMBERS: Final = frozenset({"int_type", "int_parsing", "decimal_type", "decimal_parsing", "float_type"})
_TIMES: Final = ("timezone_aware", "datetime_")
_COMMA: Final = re.compile(r"[-+]?[0-9]{1,6},[0-9]{1,6}")
_WITH_UNIT: Final = re.compile(r"[-+]?[0-9.,]{1,12} *[A-Za-zµ%°/\"]{1,12}")
_LOCAL_TIME: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2})?")
_OTHER_DATE: Final = re.compile(r"[0-9]{1,4}[./-][0-9]{1,2}[./-][0-9]{1,4}\b.*")
_YES_NO: Final = {"y": "yes", "yes": "yes", "on": "yes", "true": "yes", "n": "no", "no": "no", "off": "no"}


def _found(path: Path, value: Any, details: list[Any], wanted: list[str]) -> tuple[str, str]:
    """Say what was found and what to do. Of the value itself only small numbers out of bounds are repeated."""
    kinds = {str(detail["type"]) for detail in details}
    kind = kind_of(value)
    if isinstance(value, int | float) and not isinstance(value, bool):
        if (kinds & _BOUNDS or "literal_error" in kinds) and abs(value) < 1_000_000:
            return f"{value:g}", "correct the value"
        return kind, "put it in quotes" if "string_type" in kinds else "correct the value"
    if value is None:
        return kind, "write the value after the colon"
    if not isinstance(value, str):
        return kind, "correct the value"
    text = value.strip()
    if kinds & _NUMBERS and _COMMA.fullmatch(text):
        return "a number with a comma", "write a point in place of the comma"
    if kinds & _NUMBERS and _WITH_UNIT.fullmatch(text):
        return "a number with letters or signs after it", "write the number alone, without its unit"
    if any(name.startswith(_TIMES) for name in kinds) and _LOCAL_TIME.fullmatch(text):
        return "a time without its offset from UTC", "add the offset at the end, such as -06:00"
    if any(choice.startswith("a date") for choice in wanted) and _OTHER_DATE.fullmatch(text):
        return "a date in another order", "write the year, the month and the day, in this order, with dashes"
    if any(name.startswith("bool") for name in kinds) and text.lower() in _YES_NO:
        return kind, f"write {_YES_NO[text.lower()]}, in small letters"
    choices = _choices(details)
    if path[-2:-1] == ("allergies",) or path[-1:] == ("allergies",) or path[-3:-2] == ("allergies",):
        return kind, _allergen(text, choices)
    close = nearest(text.lower(), choices)
    return kind, f"did you mean {close}? Correct the value" if close else "correct the value"


def _allergen(text: str, choices: list[str]) -> str:
    """Say how an allergy is written; a sign for "no known allergies" is asked about, never taken for an empty list."""
    if text.lower().strip(".") in NO_KNOWN_ALLERGIES:
        return (
            "ask whether latex, adhesive and skin antiseptics were asked about too; "
            "write an empty list, allergies: [], only when no allergy at all is known"
        )
    known = choices or list(get_args(AllergenName))
    close = nearest(text.lower(), known)
    if close:
        return (
            f"did you mean {close}? Write {{substance: {close}}}"
            if not choices
            else f"did you mean {close}? Correct the value"
        )
    return "write other for what is not in the list, and name the substance under detail"


def _choices(details: list[Any]) -> list[str]:
    """Return the words of which the value had to be one, where there are such."""
    said = [
        str(detail["ctx"].get("expected_tags" if detail["type"] == "union_tag_invalid" else "expected", ""))
        for detail in details
        if detail["type"] in ("literal_error", "union_tag_invalid")
    ]
    return [word for text in said for word in re.findall("'([^']*)'", text)]
