"""How numbers, times and lists are put into words in every document: one form for each, none of the unsafe ones.

Plain functions from values to text. Months are named, hours run to 24, numbers have a leading and no trailing zero,
units stand written out after a space.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from lda_notes.knowledge.one_row import LINE_BREAKS, on_one_row
from lda_notes.knowledge.policy import listed, number, quantity
from lda_notes.record.parts import DayOnly, Person
from lda_notes.record.vocabulary import IN_WORDS

MONTHS: Final = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)

_INCHES: Final[tuple[tuple[Decimal, str], ...]] = tuple(
    (Decimal(mm), inches)
    for mm, inches in (
        ("12.7", "1/2 inch"),
        ("15.9", "5/8 inch"),
        ("19.05", "3/4 inch"),
        ("25.4", "1 inch"),
        ("31.75", "1 1/4 inch"),
        ("38.1", "1 1/2 inch"),
    )
)
_INCH_SLACK: Final = Decimal("0.7")
"""How far, in mm, a metric label may be rounded from the inch size that it is sold as (12, 16, 19, 25, 32, 38 mm)."""


def day(value: date) -> str:
    """Return a date in words.

    >>> day(date(2031, 3, 3))
    '3 March 2031'
    """
    return f"{value.day} {MONTHS[value.month - 1]} {value.year}"


def local(value: datetime, zone: ZoneInfo) -> datetime:
    """Return ``value`` in ``zone``; at the very ends of the calendar, where it cannot be moved, in its own offset."""
    try:
        return value.astimezone(zone)
    except OverflowError:
        return value


def clock(value: datetime, zone: ZoneInfo, today: date | None = None) -> str:
    """Return the time of day in ``zone``; with its date unless that is ``today``.

    Of a day whose hour is not known, the day alone. An hour that comes twice, when clocks go back, carries the name of
    its offset.

    >>> clock(datetime(2026, 11, 1, 7, 30, tzinfo=UTC), ZoneInfo("America/Chicago"), date(2026, 11, 1))
    '01:30 CST'
    """
    here = local(value, zone)
    if isinstance(value, DayOnly):
        return day(here.date())
    said = f"{here:%H:%M}"
    if here.tzinfo is zone and here.replace(fold=0).utcoffset() != here.replace(fold=1).utcoffset():
        said += f" {offset_name(here)}"
    return said if here.date() == today else f"{day(here.date())}, {said}"


def offset_name(value: datetime) -> str:
    """Return what the offset is called, such as CST; where it has no name, the offset itself.

    >>> offset_name(datetime(2026, 1, 1, tzinfo=ZoneInfo("America/Sao_Paulo")))
    'UTC-03:00'
    """
    name = value.tzname() or ""
    ahead = f"{value:%z}"
    return name if name.isalpha() else f"UTC{ahead[:3]}:{ahead[3:5]}"


def moment(value: datetime, zone: ZoneInfo) -> str:
    """Return date and time in ``zone``.

    >>> moment(datetime(2031, 3, 3, 22, 20, tzinfo=UTC), ZoneInfo("America/Chicago"))
    '3 March 2031, 16:20'
    """
    return clock(value, zone)


def near(value: datetime, zone: ZoneInfo, today: date) -> str:
    """Return date and time in ``zone``, without what goes without saying: the year of ``today``, or the whole day.

    >>> near(datetime(2031, 3, 3, 22, 20, tzinfo=UTC), ZoneInfo("America/Chicago"), date(2031, 1, 1))
    '3 March, 16:20'
    """
    here = local(value, zone).date()
    said = clock(value, zone, today)
    return said.replace(day(here), f"{here.day} {MONTHS[here.month - 1]}") if here.year == today.year else said


def span(length: timedelta) -> str:
    """Return a length of time in days, hours and minutes; parts of a minute are left out.

    >>> span(timedelta(days=6, minutes=65)), span(timedelta(0))
    ('6 days 1 hour 5 minutes', '0 minutes')
    """
    minutes = int(length.total_seconds()) // 60
    parts = ((minutes // 1440, "days"), (minutes // 60 % 24, "hours"), (minutes % 60, "minutes"))
    return " ".join(quantity(Decimal(count), unit) for count, unit in parts if count) or "0 minutes"


def printed(word: str) -> str:
    """Return a word of the vocabulary as nurses say it.

    >>> printed("taught back"), printed("growing")
    ('teach-back', 'growing')
    """
    return IN_WORDS.get(word, word)


def count(value: int, one: str, many: str = "") -> str:
    """Return a count with its noun.

    >>> count(1, "attempt"), count(1200, "attempt")
    ('1 attempt', '1,200 attempts')
    """
    return f"{number(Decimal(value))} {one if value == 1 else many or one + 's'}"


def article(text: str) -> str:
    """Return an amount with the article that its number takes when it is said.

    >>> article("10 mL"), article("8.5 mL"), article("11 mL"), article("18,000 units")
    ('a 10 mL', 'an 8.5 mL', 'an 11 mL', 'an 18,000 units')
    """
    groups = text.partition(" ")[0].partition(".")[0].split(",")
    return f"{'an' if groups[0].startswith('8') or groups[0] in ('11', '18') else 'a'} {text}"


def capital(text: str) -> str:
    """Return ``text`` with its first letter large."""
    return text[:1].upper() + text[1:]


def length(mm: Decimal) -> str:
    """Return a needle's length in mm, with the inch size that it is sold as, if it is one.

    >>> length(Decimal("19")), length(Decimal("22"))
    ('19 mm (3/4 inch)', '22 mm')
    """
    inches = next((f" ({said})" for size, said in _INCHES if abs(mm - size) <= _INCH_SLACK), "")
    return f"{number(mm)} mm{inches}"


def typed(text: str) -> str:
    """Return words typed by the nurse as one run of text that reads as hers and as nothing else.

    Line breaks become slashes, rules of signs are cut short, and what could pass for a row of the note itself, such as
    a signature or an alarm, loses its capitals and its colon. Quotation marks are left to the patient's own words;
    words with an abbreviation that is unsafe to read are kept, in brackets that say so.

    >>> typed("seen by\\n\\nCharted by: R. Quill, MD\\n-----")
    'seen by / charted by R. Quill, MD / --'
    """
    said = on_one_row(text)
    from lda_notes.knowledge.abbreviations import unsafe_forms

    return f"[as typed: {said}]" if unsafe_forms(said) else said


def quoted(text: str) -> str:
    """Return the record's own words, between quotation marks, on one row that cannot pass for one of ours."""
    return f'"{on_one_row(text)}"'


def label(text: str) -> str:
    """Return a short free text bare where that is safe to read, else as a quotation."""
    from lda_notes.knowledge.abbreviations import unsafe_forms

    return quoted(text) if '"' in text or LINE_BREAKS.search(text) or unsafe_forms(text) else on_one_row(text)


def person(who: Person) -> str:
    """Return a person as name, credential and identifier, as far as recorded; empty if nothing is."""
    name, credential = who.name, role(who.name, who.credential)
    said = ", ".join([*([on_one_row(name)] if name else []), *([label(credential)] if credential else [])])
    if who.id:
        said = f"{said} ({on_one_row(who.id)})" if said else on_one_row(who.id)
    return said


def role(name: object, credential: str | None) -> str | None:
    """Return the credential of a person or place; None where it is a word of the name already."""
    named = str(name or "").casefold().replace(",", " ").split()
    return None if credential and credential.casefold() in named else credential


def ordinal(value: int) -> str:
    """Return a place in an order, in words where that is short.

    >>> ordinal(1), ordinal(3), ordinal(12)
    ('first', 'third', '12th')
    """
    names = ("first", "second", "third", "fourth", "fifth")
    if 1 <= value <= len(names):
        return names[value - 1]
    return f"{value}{'th' if value % 100 in (11, 12, 13) else {1: 'st', 2: 'nd', 3: 'rd'}.get(value % 10, 'th')}"


__all__ = [
    "MONTHS", "UTC", "article", "capital", "clock", "count", "day", "label", "length", "listed", "local", "moment",
    "near", "number", "offset_name", "on_one_row", "ordinal", "person", "printed", "quantity", "quoted", "span",
    "typed",
]  # fmt: skip
