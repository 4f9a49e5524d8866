"""Small FHIR elements from plain values, and resources to JSON text.

Coded constants are made once and shared: whoever changes a built resource must copy it first.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import cache
from typing import Any, Final

from pydantic import BaseModel

from lda_notes.fhir.concepts import CONCEPTS, codeable
from lda_notes.fhir.units import UCUM, UNITS
from lda_notes.record.parts import DayOnly

Json = dict[str, Any]

_CONSTANTS: Final[dict[str, Json]] = {}
_FURTHEST: Final = timedelta(hours=14)
"""R4 knows no offset from UTC beyond this one."""

UNKNOWN: Final = "unknown"
NOT_PERFORMED: Final = "not performed"


def filled(elements: Json) -> Json:
    """Return an object without the elements of which there is nothing to say: R4 allows no empty ones."""
    return {key: value for key, value in elements.items() if value or value not in (None, [], {})}


def concept(key: str) -> Json:
    """Return the CodeableConcept of a concept in its own words: one shared object."""
    made = _CONSTANTS.get(key)
    if made is None:
        made = _CONSTANTS[key] = codeable(key)
    return made


def text_of(key: str) -> str:
    """Return the words of a concept."""
    return CONCEPTS[key].text


def absent(reason: str) -> Json:
    """Return why there is no value, in the nurse's words."""
    return codeable(NOT_PERFORMED, reason)


def number(value: Decimal) -> int | float | Decimal:
    """Return a decimal as JSON writes it, with as many places as the record has.

    A float stands in only where it is written with the very same digits, since it costs less.
    """
    if value.as_tuple().exponent >= 0:  # type: ignore[operator]  # the number is finite
        return int(value)
    near = float(value)
    return near if repr(near) == str(value) else value


def written(value: Decimal) -> str:
    """Return a decimal in words that are read back: without trailing zeros, with a leading one, without separators."""
    return f"{value.normalize():f}"


def quantity(value: Decimal | int, unit: str) -> Json:
    """Return a Quantity in a unit of the closed list."""
    return {
        "value": number(value) if isinstance(value, Decimal) else value,
        "unit": UNITS[unit].written,
        "system": UCUM,
        "code": unit,
    }


def moment(value: date) -> str:
    """Return a dateTime or instant with its own offset; of a day whose hour is not known, the day."""
    if not isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, DayOnly):
        return value.date().isoformat()
    offset = value.utcoffset()
    if offset is not None and (abs(offset) > _FURTHEST or offset.seconds % 60):
        value = value.astimezone(UTC)
    return value.isoformat()


def day(value: date) -> str:
    """Return a date, or a dateTime that is a day alone."""
    return value.isoformat()


def period(start: datetime | None, end: datetime | None) -> Json:
    """Return a Period; of ends the wrong way round only the end, since R4 allows no such period (per-1)."""
    if start is not None and end is not None and end < start:
        start = None
    return filled({"start": start and moment(start), "end": end and moment(end)})


def plain(value: Any) -> Any:
    """Return a part of a record as JSON values: numbers as they are, times as text, no key for what is missing."""
    match value:
        case BaseModel():
            fields = ((key, getattr(value, key)) for key in type(value).model_fields if key in value.model_fields_set)
            return {key: plain(one) for key, one in fields if one is not None}
        case Decimal():
            return number(value)
        case datetime():
            return value.isoformat()
        case date():
            return day(value)
        case tuple() | list():
            return [plain(item) for item in value]
        case dict():
            return {key: plain(item) for key, item in value.items()}
        case _:
            return value


_HELD: Final = "\x00"
_WRITTEN: Final = re.compile(r'"\\u0000(-?[0-9.]+)"')


def _decimal(value: Any) -> str:
    if isinstance(value, Decimal):
        return f"{_HELD}{value:f}"
    raise TypeError(f"{type(value).__name__} is no JSON value")


_COMPACT: Final = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), default=_decimal, check_circular=False)
_SPREAD: Final = json.JSONEncoder(ensure_ascii=False, indent=2, default=_decimal, check_circular=False)


@cache
def _packed() -> Callable[[Any], bytes]:
    """Return what writes JSON in one row: the same bytes from a faster library, where that is installed."""

    def slowly(value: Any) -> bytes:
        return _with_decimals(_COMPACT.encode(value)).encode()

    try:
        from orjson import Fragment, dumps
    except ImportError:
        return slowly

    def digits(value: Any) -> Fragment:
        if isinstance(value, Decimal):
            return Fragment(f"{value:f}".encode())
        raise TypeError(f"{type(value).__name__} is no JSON value")

    def packed(value: Any) -> bytes:
        try:
            return dumps(value, default=digits)
        except TypeError:  # whole numbers beyond 64 bits
            return slowly(value)

    return packed


def _with_decimals(text: str) -> str:
    """Take away what marks the decimals; no FHIR text can contain that control character."""
    return _WRITTEN.sub(r"\1", text) if "\\u0000" in text else text


def to_json_bytes(value: Any) -> bytes:
    """JSON in UTF-8 and in one row, with decimals digit by digit as they are."""
    return _packed()(value)


def to_json(value: Any, *, spread: bool = False) -> str:
    """JSON text with decimals digit by digit as they are, in one row or ``spread`` over many."""
    return _with_decimals(_SPREAD.encode(value)) if spread else to_json_bytes(value).decode()
