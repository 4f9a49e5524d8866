"""The forms of single values: times, days, numbers, words, and what is refused of each."""

from __future__ import annotations

from datetime import date, datetime, time
from decimal import Decimal
from typing import Annotated, Any, get_args

from pydantic import AwareDatetime, BeforeValidator, Field, Strict

from lda_notes.record import vocabulary as words


def _yes_or_no(value: Any) -> Any:
    """Return the truth value that ``yes`` and ``no`` mean, which YAML 1.2 reads as words."""
    if value == "yes":
        return True
    if value == "no":
        return False
    return value


_FIRST_YEAR, _LAST_YEAR = 1850, 2199
"""Years that a record may speak of; others are slips, and at the calendar's own ends no interval can be added."""


def _in_reach(value: Any) -> Any:
    year = value[:4] if isinstance(value, str) else str(value.year)
    if not str(_FIRST_YEAR) <= year <= str(_LAST_YEAR):
        raise ValueError(f"expected a year from {_FIRST_YEAR} to {_LAST_YEAR}")
    return value


def _written_as_moment(value: Any) -> Any:
    """Refuse what the lax parser would take as a count of seconds; a naive time is refused after it."""
    if isinstance(value, datetime) or (isinstance(value, str) and value[4:5] == "-" and len(value) > 10):
        return _in_reach(value)
    raise ValueError("expected a date and time with offset such as 2031-03-04T09:40-06:00")


def _written_as_date(value: Any) -> Any:
    if isinstance(value, date) or (isinstance(value, str) and len(value) == 10 and value[4] == "-"):
        return _in_reach(value)
    raise ValueError("expected a date such as 2031-03-04")


YesNo = Annotated[
    bool,
    BeforeValidator(_yes_or_no),
    Field(json_schema_extra={"type": ["boolean", "string"], "enum": [True, False, "yes", "no"]}),
]

Moment = Annotated[AwareDatetime, Strict(False), BeforeValidator(_written_as_moment)]
"""A date and time with its offset from UTC. A function before a strict type would shut out JSON text: hence lax."""

Day = Annotated[date, Strict(False), BeforeValidator(_written_as_date)]


class DayOnly(datetime):
    """The start of a day of which the hour is not known; an interval that begins with it ends with a day too."""


def began(written: object, like: datetime) -> datetime | None:
    """Return when something began that a record gives as a moment or as a day, in the zone of ``like``; else None."""
    if isinstance(written, datetime):
        return written
    return DayOnly.combine(written, time(), like.tzinfo) if isinstance(written, date) else None


Text = Annotated[str, Field(min_length=1, max_length=4000)]
Short = Annotated[str, Field(min_length=1, max_length=200)]
Identifier = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
Quantity = Annotated[Decimal, Field(ge=0, le=1_000_000, decimal_places=4)]
Positive = Annotated[Decimal, Field(gt=0, le=1_000_000, decimal_places=4)]
Whole = Annotated[int, Field(ge=0, le=100_000)]
Score = Annotated[int, Field(ge=0, le=10)]


def _as_now(value: Any) -> Any:
    """Return a word of an earlier version of the layout as it is spelled now."""
    return words.FORMER_WORDS.get(value, value) if isinstance(value, str) else value


def _former_words(now: Any) -> dict[str, Any]:
    return {"enum": [*get_args(now), *(old for old, new in words.FORMER_WORDS.items() if new in get_args(now))]}


HistoryName = Annotated[
    words.HistoryName, BeforeValidator(_as_now), Field(json_schema_extra=_former_words(words.HistoryName))
]

TouchShape = Annotated[
    words.TouchShape, BeforeValidator(_as_now), Field(json_schema_extra=_former_words(words.TouchShape))
]
