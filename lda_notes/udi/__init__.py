"""A device identifier (UDI) as read, a text that cannot be read, and the date rules that issuers share."""

from __future__ import annotations

import calendar
from datetime import date, datetime
from typing import Final, Literal, NamedTuple

Issuer = Literal["GS1", "HIBC", "ICCBBA"]
"""Whose rules the identifier follows: the issuing agencies accredited by the FDA."""

SEPARATOR: Final = "\x1d"
"""The character that scanners send for FNC1 between GS1 parts."""
SHOWN_SEPARATOR: Final = "↔"
"""How HL7's example of a scanned identifier prints that separator; read and written here as the same thing."""

_EXCERPT: Final = 40


class DeviceIdentifier(NamedTuple):
    """The contents of a device identifier. Parts that the label does not carry are None.

    ``device`` is the fixed part (DI): a 14-digit GTIN, or a HIBC labeler, product and unit-of-measure code.
    ``expires`` is the last day of use; ``expires_hour`` (0 to 23) is set where the label ends it within the day.
    ``donation`` is the donation identification number of an ISBT 128 identifier. ``carrier`` is the human
    readable form of the whole, which reads back to an equal identifier. ``notes`` are plain sentences about what
    was read with some doubt.
    """

    issuer: Issuer
    device: str
    carrier: str
    lot: str | None = None
    serial: str | None = None
    made: date | None = None
    expires: date | None = None
    expires_hour: int | None = None
    donation: str | None = None
    notes: tuple[str, ...] = ()

    def expired(self, at: datetime) -> bool:
        """Say whether the last moment of use lies before ``at``, on the clock of the place of use.

        Usable through the end of the day of expiry (common practice for labels, from memory); where the label
        gives an hour, until that hour begins, the more cautious of its two readings. False without an expiry.
        """
        if self.expires is None or at.date() < self.expires:
            return False
        if at.date() > self.expires:
            return True
        return self.expires_hour is not None and at.hour >= self.expires_hour


class ScanFault(NamedTuple):
    """Why a text is not a device identifier: one plain sentence, and what to do about it."""

    message: str
    todo: str


class Refused(Exception):
    """Carries a fault from inside a reader to the door, where it becomes a value again."""

    def __init__(self, message: str, todo: str) -> None:
        super().__init__(message)
        self.fault = ScanFault(message, todo)


def shown(text: str) -> str:
    """Quote part of a found text so that it is safe in any output: short, printable, without markup signs."""
    cut = text if len(text) <= _EXCERPT else text[: _EXCERPT - 1] + "…"
    plain = cut.replace(SEPARATOR, SHOWN_SEPARATOR).translate({60: "‹", 62: "›", 64: "(at)"})
    return '"' + "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in plain) + '"'


def full_year(two_digits: int, today: date) -> int:
    """Place a two-digit year: at most 49 years before and 50 years after the year of ``today``.

    Source: GS1 General Specifications, determination of century in dates (from memory, high confidence); used
    for HIBC as well, whose standard gives no rule of its own (derived).
    """
    century = today.year - today.year % 100
    ahead = two_digits - today.year % 100
    if ahead >= 51:
        return century - 100 + two_digits
    if ahead <= -50:
        return century + 100 + two_digits
    return century + two_digits


def day_of(year: int, month: int, day: int) -> date | None:
    """Make a date; None when the calendar has no such day."""
    try:
        return date(year, month, day)
    except ValueError:
        return None


def month_end(year: int, month: int) -> date | None:
    """Give the last day of a month, leap years included; None when there is no such month."""
    if not 1 <= month <= 12:
        return None
    return day_of(year, month, calendar.monthrange(year, month)[1]) if 1 <= year <= 9999 else None


def day_in_year(year: int, ordinal: int) -> date | None:
    """Turn a day count (1 is 1 January) into a date; None when the year has no such day."""
    first = day_of(year, 1, 1)
    if first is None or not 1 <= ordinal <= (366 if calendar.isleap(year) else 365):
        return None
    return date.fromordinal(first.toordinal() + ordinal - 1)
