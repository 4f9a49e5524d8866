"""Times and dates as people type them, read in the zone of the stay."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Final, Literal
from zoneinfo import ZoneInfo

from lda_notes.chart.answers.heard import Unclear
from lda_notes.knowledge.policy import Policy
from lda_notes.narrative import phrasing

DATE_HINT: Final = "such as 03/12/1957 or 12 March 1957"
DATES: Final = "03/12/1957, 12 March 1957, 27 Feb, Fri or 2031-03-04"
"""How a date may be typed."""

_WEEKDAYS: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_SHORTEST: Final = 3
"""Letters that name a month or a weekday at least."""


@dataclass(frozen=True, slots=True)
class Calendar:
    """The context of a typed date. ``ahead`` reads a date without its year, or a weekday, as the next one.

    ``behind`` reads a date without its year as the last one that is past.
    """

    today: date
    month_first: bool = True
    ahead: bool = False
    behind: bool = False


def read_date(text: str, calendar: Calendar) -> date | Unclear:
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
    return Unclear(f"That is not a date that can be read here. Type it like {DATES}.")


def other_date(text: str, calendar: Calendar) -> date | None:
    """Return the other date that slashes may mean, day and month swapped; None where there is only one."""
    found = _SLASHES.fullmatch(text.strip())
    if found is None or int(found[1]) == int(found[2]) or max(int(found[1]), int(found[2])) > 12:
        return None
    swapped = read_date(text, Calendar(calendar.today, not calendar.month_first, calendar.ahead))
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
    no_such = Unclear(f"There is no {typed} in the calendar. Type a date like {DATES}.")
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


HOW: Final = "0940, 9:40, -15m, now, yesterday 2210, Fri 0940, 2/27 0940 or 27 Feb 0940"
"""How a time may be typed, as faults say it."""
HINT: Final = "such as 0940, -15m, now, yesterday 2210"
"""The same in short, as questions say it."""

_CLOCK: Final = re.compile(
    r"(?P<hour>\d{1,2}):?(?P<minute>\d\d)(?:\s*(?P<half>[ap])\.?m\.?)?(?:\s+(?P<which>first|second|[A-Za-z]{2,5}))?",
    re.IGNORECASE | re.ASCII,
)
_DAY_CLOCK: Final = re.compile(
    r"(?P<day>.*?(?:[a-z]|\d))[ T,]+(?P<clock>\d{1,2}:?\d\d(?:\s*[ap]\.?m\.?)?(?:\s+[a-z]{2,6})?)",
    re.IGNORECASE | re.ASCII,
)
_FULL: Final = re.compile(r"\d{4}-\d\d-\d\d[ T]\d\d:?\d\d(?::?\d\d)?\s*(?:Z|[+-]\d\d:?\d\d)", re.ASCII)
_SHIFT: Final = re.compile(
    r"(?P<sign>[+-])\s*(?:(?P<days>\d{1,3})\s*d)?\s*(?:(?P<hours>\d{1,3})\s*h)?\s*(?:(?P<minutes>\d{1,4})\s*m?)?"
    r"(?:in)?",
    re.IGNORECASE | re.ASCII,
)

Bias = Literal["today", "near", "next"]
"""Which day a time without one means: that of the frame, the nearest to its base, or the next after it."""


@dataclass(frozen=True, slots=True)
class Frame:
    """The context of a typed time. ``base`` is what ``-15m`` counts from."""

    now: datetime
    zone: ZoneInfo
    base: datetime
    bias: Bias = "today"
    month_first: bool = True

    @property
    def calendar(self) -> Calendar:
        """The context of a typed date."""
        today = self.now.astimezone(self.zone).date()
        return Calendar(today, self.month_first, self.bias == "next", self.bias == "today")


def read(text: str, frame: Frame) -> datetime | Unclear:
    """Return the moment that ``text`` means, in the zone of the stay and to the minute.

    A time that a clock change skipped is refused, one that it repeated must say which.
    """
    said = " ".join(text.strip().split())
    if said.casefold() == "now":
        return _to_minute(frame.now, frame.zone)
    if _FULL.fullmatch(said):
        return _full(said, frame.zone)
    shift = _SHIFT.fullmatch(said)
    if shift and any(shift[name] for name in ("days", "hours", "minutes")):
        return _shifted(shift, frame)
    dated = _DAY_CLOCK.fullmatch(said)
    found = _CLOCK.fullmatch(dated["clock"] if dated else said)
    if found is None:
        return Unclear(f"That is not a time that can be read here. Type it like {HOW}.")
    hour, minute = int(found["hour"]), int(found["minute"])
    if found["half"] and not 1 <= hour <= 12:
        return Unclear(f"{said}: with am or pm, hours run from 1 to 12.")
    if found["half"]:
        hour = hour % 12 + (12 if found["half"].casefold() == "p" else 0)
    if hour > 23 or minute > 59:
        return Unclear(f"{hour:02}:{minute:02} is not on the clock. Hours run from 00 to 23, minutes from 00 to 59.")
    which = (found["which"] or "").casefold()
    if dated:
        day = read_date(dated["day"], frame.calendar)
        if isinstance(day, Unclear):
            return day
        return _on(day, hour, minute, which, frame.zone)
    return _undated(hour, minute, which, frame)


_NEAR: Final = timedelta(hours=2)


def turned_back(text: str, moment: datetime, frame: Frame) -> bool:
    """Return whether a clock time typed without its day was read as one of the day before, well before the base."""
    alone = frame.bias == "near" and _CLOCK.fullmatch(" ".join(text.split())) is not None
    base = frame.base.astimezone(frame.zone)
    return alone and moment.date() < base.date() and base - moment > _NEAR


def month_first(policy: Policy) -> bool:
    """Return whether the facility writes the month before the day."""
    return policy.choice("dates_typed") == "month first"


def day_of(text: str) -> str:
    """Return the date in front of a time of day, as it was typed; empty where there is none."""
    found = _DAY_CLOCK.fullmatch(" ".join(text.split()))
    return found["day"] if found is not None else ""


def echo(moment: datetime, zone: ZoneInfo) -> str:
    """Return a moment in full, as it is said back: 4 March 2031, 09:40."""
    return phrasing.moment(moment, zone)


def written(moment: datetime) -> str:
    """Return a moment as a record has it: 2031-03-04T09:40-06:00."""
    return moment.isoformat(timespec="minutes")


def _to_minute(moment: datetime, zone: ZoneInfo) -> datetime:
    return moment.astimezone(zone).replace(second=0, microsecond=0)


def _full(said: str, zone: ZoneInfo) -> datetime | Unclear:
    try:
        moment = datetime.fromisoformat(re.sub(r"\s+(?=[Z+-])", "", said).replace(" ", "T"))
        return _to_minute(moment, zone) if date.min < moment.date() < date.max else _BEYOND
    except (ValueError, OverflowError):
        return Unclear("There is no such date and time. Type it like 2031-03-04 09:40.")


def _shifted(shift: re.Match[str], frame: Frame) -> datetime | Unclear:
    days, hours, minutes = (int(shift[name] or 0) for name in ("days", "hours", "minutes"))
    span = timedelta(days=days, hours=hours, minutes=minutes)
    # Counted in elapsed time, whatever the clocks on the wall did in between.
    start = frame.base.astimezone(UTC)
    try:
        return _to_minute(start - span if shift["sign"] == "-" else start + span, frame.zone)
    except OverflowError:
        return _BEYOND


def _undated(hour: int, minute: int, which: str, frame: Frame) -> datetime | Unclear:
    day = frame.base.astimezone(frame.zone).date()
    match frame.bias:
        case "today":
            return _on(day, hour, minute, which, frame.zone)
        case "near":
            days = [day + timedelta(days=apart) for apart in (0, -1, 1)]
            read = [_on(one, hour, minute, which, frame.zone) for one in days]
            good = [one for one in read if isinstance(one, datetime)]
            base = frame.base.astimezone(UTC)
            return min(good, key=lambda one: abs(one.astimezone(UTC) - base)) if good else read[0]
        case "next":
            first = _on(day, hour, minute, which, frame.zone)
            if isinstance(first, datetime) and first.astimezone(UTC) <= frame.base.astimezone(UTC):
                return _on(day + timedelta(days=1), hour, minute, which, frame.zone)
            return first


_BEYOND: Final = Unclear("That date is outside the calendar.")


def _on(day: date, hour: int, minute: int, which: str, zone: ZoneInfo) -> datetime | Unclear:
    if not date.min < day < date.max:  # no zone can be reckoned with on the first and the last day there are
        return _BEYOND
    one = datetime(day.year, day.month, day.day, hour, minute, tzinfo=zone)
    two = one.replace(fold=1)
    clock = f"{hour:02}:{minute:02}"
    if one.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != one.replace(tzinfo=None):
        return Unclear(f"On {phrasing.day(day)} there was no {clock}: the clocks were put forward then.")
    names = {phrasing.offset_name(one).casefold(): one, phrasing.offset_name(two).casefold(): two}
    if one.utcoffset() == two.utcoffset():
        if which and which not in names:
            return Unclear(f"{clock} on {phrasing.day(day)} is {phrasing.offset_name(one)}, not {which.upper()}.")
        return one
    chosen = {"first": one, "second": two, **names}.get(which)
    if chosen is not None:
        return chosen
    first, second = phrasing.offset_name(one), phrasing.offset_name(two)
    return Unclear(
        f"On {phrasing.day(day)} the clocks were put back and {clock} came twice. "
        f"Type {clock} first ({first}) or {clock} second ({second})."
    )
