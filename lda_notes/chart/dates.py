"""Dates as people type them: 03/12/1957, 12 March 1957, 2/27, 27 Feb, Fri. What may be two dates is asked back.

The parsers of general libraries guess (a lone 10, a missing year, a day above 12 taken for a month), so the few ways in
which dates are written on a ward are a table here.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from lda_notes.chart.heard import Unclear
from lda_notes.narrative import phrasing

HINT: Final = "such as 03/12/1957 or 12 March 1957"
HOW: Final = "03/12/1957, 12 March 1957, 27 Feb, Fri or 2031-03-04"
"""How a date may be typed."""

_MONTHS: Final = {name[:3].casefold(): number for number, name in enumerate(phrasing.MONTHS, 1)}
_WEEKDAYS: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_SHORTEST: Final = 3
"""Letters that name a month or a weekday at least."""


@dataclass(frozen=True, slots=True)
class Calendar:
    """What a typed date is read against. ``ahead`` reads a date without its year, or a weekday, as the next one.

    ``behind`` reads a date without its year as the last one that is past.
    """

    today: date
    month_first: bool = True
    ahead: bool = False
    behind: bool = False


def read(text: str, calendar: Calendar) -> date | Unclear:
    """Return the date that ``text`` means."""
    said = " ".join(text.replace(",", " ").split()).casefold()
    apart = {"yesterday": -1, "today": 0, "tomorrow": 1}.get(said)
    if apart is not None:
        return calendar.today + timedelta(days=apart)
    weekday = _named(said, _WEEKDAYS)
    if weekday is not None:
        behind = (calendar.today.weekday() - weekday) % 7
        return calendar.today + timedelta(days=(7 - behind) % 7 if calendar.ahead else -behind)
    for pattern, parts in _FORMS:
        found = pattern.fullmatch(said)
        if found is not None:
            return _dated(text.strip(), parts(found, calendar), calendar)
    return Unclear(f"That is not a date that can be read here. Type it like {HOW}.")


def other(text: str, calendar: Calendar) -> date | None:
    """Return the other date that slashes may mean, day and month swapped; None where there is only one."""
    found = _SLASHES.fullmatch(text.strip())
    if found is None or int(found[1]) == int(found[2]) or max(int(found[1]), int(found[2])) > 12:
        return None
    swapped = read(text, Calendar(calendar.today, not calendar.month_first, calendar.ahead))
    return swapped if isinstance(swapped, date) else None


_Parts = tuple[int | None, int | None, int]
"""Year, month and day; None for a year that was not typed, or a month that there is not."""

_SLASHES: Final = re.compile(r"(\d{1,2})/(\d{1,2})(?:/(\d{4}))?", re.ASCII)
_DAY_MONTH: Final = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[ -]?([a-z]{3,9})\.?(?:[ -](\d{4}))?", re.ASCII)
_MONTH_DAY: Final = re.compile(r"([a-z]{3,9})\.? ?(\d{1,2})(?:st|nd|rd|th)?(?: (\d{4}))?", re.ASCII)
_ISO: Final = re.compile(r"(\d{4})-(\d\d)-(\d\d)", re.ASCII)


def _slashes(found: re.Match[str], calendar: Calendar) -> _Parts:
    month, day = int(found[1]), int(found[2])
    return _year(found[3]), *((month, day) if calendar.month_first else (day, month))


def _year(text: str | None) -> int | None:
    return int(text) if text else None


def _month(text: str) -> int | None:
    place = _named(text, tuple(name.casefold() for name in phrasing.MONTHS))
    return None if place is None else place + 1


_FORMS: Final[tuple[tuple[re.Pattern[str], Callable[[re.Match[str], Calendar], _Parts]], ...]] = (
    (_ISO, lambda found, _: (int(found[1]), int(found[2]), int(found[3]))),
    (_SLASHES, _slashes),
    (_DAY_MONTH, lambda found, _: (_year(found[3]), _month(found[2]), int(found[1]))),
    (_MONTH_DAY, lambda found, _: (_year(found[3]), _month(found[1]), int(found[2]))),
)


def _named(text: str, names: tuple[str, ...]) -> int | None:
    """Return the place of the one name that begins with ``text``."""
    close = [place for place, name in enumerate(names) if len(text) >= _SHORTEST and name.startswith(text.rstrip("."))]
    return close[0] if len(close) == 1 else None


def _dated(typed: str, parts: _Parts, calendar: Calendar) -> date | Unclear:
    year, month, day = parts
    no_such = Unclear(f"There is no {typed} in the calendar. Type a date like {HOW}.")
    if month is None:
        return no_such
    years = [year] if year is not None else [calendar.today.year + apart for apart in (-1, 0, 1)]
    found = [one for one in (_made(one, month, day) for one in years) if one is not None]
    if not found:
        return no_such
    if year is None and calendar.ahead:
        found = [one for one in found if one >= calendar.today] or found
    if year is None and calendar.behind:
        found = [one for one in found if one <= calendar.today] or found
    return min(found, key=lambda one: abs(one - calendar.today))


def _made(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def last_of_month(text: str) -> date | None:
    """Return the last day of a month typed as 2031-03 or 03/2031, as expiry dates are printed; None for no month."""
    found = re.fullmatch(r"(?P<year>\d{4})-(?P<month>\d\d)|(?P<m>\d{1,2})/(?P<y>\d{4})", text.strip(), re.ASCII)
    first = _made(int(found["year"] or found["y"]), int(found["month"] or found["m"]), 1) if found else None
    return (first + timedelta(days=31)).replace(day=1) - timedelta(days=1) if first else None
