"""Device identifiers by the rules of HIBCC (HIBC), primary and secondary data with their check characters.

A small parser of our own: no maintained library reads these offline. Sources: IMDRF UDI WG N48, appendix A (read);
ANSI/HIBC 2.6 supplier labeling standard, sections 2, 4 and appendices B and E (as quoted by public copies); HIBCC,
"Terms used" of its check character page (read). The check alphabet is that of Code 39.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from typing import Any, Final

from lda_notes.udi import DeviceIdentifier, Refused, day_in_year, day_of, full_year, month_end, shown

ALPHABET: Final = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%"
"""The 43 characters of Code 39; a character's value is its position."""

_PRIMARY: Final = re.compile("[A-Z][A-Z0-9]{3}[A-Z0-9]{1,18}[0-9]")
_FLAGGED: Final = re.compile(r"\$\$(?P<serial>\+?)(?:8[0-9]{2}|9[0-9]{5})?(?P<dated>.*)")
_DATE_DIGITS: Final = {"2": 6, "3": 6, "4": 8, "5": 5, "6": 7}

_LOOK_AGAIN: Final = "Scan it again, or compare what was typed with the label; a space inside the text counts."
_TYPE_IT: Final = "Keep the text as it is and enter lot and expiry from the label."


_NAMES: Final = {"lot": "lot", "serial": "serial number", "made": "date of manufacture", "expires": "expiry"}


class _Parts(dict[str, Any]):
    """The data after the product code, by the names of `DeviceIdentifier`; ``notes`` are remarks."""

    def __init__(self, today: date) -> None:
        super().__init__()
        self.today = today
        self.notes: list[str] = []

    def put(self, name: str, found: str | date) -> None:
        """Take a part. Raises ``Refused`` when another bar code says something else."""
        before = self.setdefault(name, found)
        if before != found:
            raise Refused(
                f"The {_NAMES[name]} is given twice, as {shown(str(before))} and as {shown(str(found))}.",
                "Scan the bar codes of one label only.",
            )

    def name(self, text: str, is_serial: bool) -> None:
        """Take a lot or a serial number; an empty one says nothing."""
        if text:
            self.put("serial" if is_serial else "lot", text)

    def expire(self, day: date | None, segment: str) -> None:
        """Take an expiry. Raises ``Refused`` when the calendar has no such day."""
        if day is None:
            raise _no_date(segment)
        self.put("expires", day)


def check_character(body: str) -> str:
    """Compute the modulo 43 check character of everything before it, from the plus sign on.

    Source: ANSI/HIBC 2.6 appendix B, worked example ``+A123BJC5D6E71`` gives G. Raises ``ValueError`` for a
    character that is not in ``ALPHABET``.
    """
    return ALPHABET[sum(ALPHABET.index(character) for character in body) % len(ALPHABET)]


def read(rows: Sequence[str], today: date) -> DeviceIdentifier:
    """Read one identifier from what was scanned or typed, one row for each bar code of the label.

    A row is either the product alone, the product with lot and dates behind slashes, or lot and dates alone with
    a link to the product's check character. Raises ``Refused``.
    """
    cleaned = [_row(row) for row in rows]
    for row in cleaned:
        _verify(row)
    products = [row for row in cleaned if row[1].isalpha()]
    if not products:
        raise Refused(
            "This bar code holds lot or dates but no product.",
            "Scan the product's bar code, which has a letter behind the plus sign, and then this one.",
        )
    if len(products) > 1:
        raise Refused(f"The text contains {len(products)} products; one was expected.", "Scan one label only.")
    product = products[0]
    code, *segments = product[1:-1].split("/")
    if not _PRIMARY.fullmatch(code):
        raise Refused(
            f"The product part is {shown(code)}; a letter, 3 letters or digits, a product code of 1 to 18 letters "
            "or digits and one digit were expected.",
            _LOOK_AGAIN,
        )
    for row in cleaned:
        if row is not product:
            segments.extend(_linked(row, product[-1]))
    parts = _Parts(today)
    for segment in segments:
        _take(segment, parts)
    return DeviceIdentifier(
        issuer="HIBC",
        device=code,
        carrier="\n".join(_printed(row) for row in cleaned),
        notes=tuple(parts.notes),
        **parts,
    )


def _row(text: str) -> str:
    """Strip what print adds around the data: leading blanks and the asterisks of the caption.

    A blank at the end stays, since a space can be the check character; captions print that one as an underscore
    (HIBCC, "Terms used", read).
    """
    row = text.lstrip(" \t").rstrip("\t").upper()
    if row.startswith("*"):
        row = row.rstrip(" ").removesuffix("*").removeprefix("*")
    return row[:-1] + " " if row.endswith("_") else row


def _printed(row: str) -> str:
    return row[:-1] + "_" if row.endswith(" ") else row


def _verify(row: str) -> None:
    foreign = [character for character in row if character not in ALPHABET]
    if foreign:
        raise Refused(
            f"The HIBC text contains {shown(foreign[0])}; only capital letters, digits, space and - . $ / + % were "
            "expected.",
            _LOOK_AGAIN,
        )
    if len(row) < 4 or not row.startswith("+") or not (row[1].isalnum() or row[1] == "$"):
        raise Refused(
            "The text begins as HIBC, but not with a plus sign and a letter, a digit or a dollar sign, followed by "
            "data and a check character.",
            _LOOK_AGAIN,
        )
    expected = check_character(row[:-1])
    if row[-1] != expected:
        raise Refused(
            f"The check character at the end of the HIBC text is {_named(row[-1])}; {_named(expected)} was expected.",
            _LOOK_AGAIN,
        )


def _named(character: str) -> str:
    return "a space" if character == " " else character


def _linked(row: str, product_check: str) -> list[str]:
    """Split a row of lot and dates, whose last but one character repeats the product's check character."""
    if row[-2] != product_check:
        raise Refused(
            f"The second bar code links to a product with check character {_named(row[-2])}; {_named(product_check)} "
            "was expected.",
            "Scan the two bar codes of the same label.",
        )
    return row[1:-2].split("/")


def _take(segment: str, parts: _Parts) -> None:
    if match := _FLAGGED.fullmatch(segment):
        parts.name(_dated(match["dated"], segment, parts), bool(match["serial"]))
    elif segment.startswith("$"):
        parts.name(segment[1:].removeprefix("+"), segment.startswith("$+"))
    elif re.fullmatch("16D[0-9]{8}", segment):
        parts.put("made", _calendar(segment[3:], segment))
    elif re.fullmatch("14D[0-9]{8}", segment):
        parts.put("expires", _calendar(segment[3:], segment))
    elif re.fullmatch("[0-9]{5}.*", segment):
        parts.expire(_julian(segment[:5], parts.today), segment)
        parts.name(segment[5:], False)
    elif segment.startswith("S") and len(segment) > 1:
        parts.name(segment[1:], True)
    elif not re.fullmatch("Q[0-9]{1,5}", segment):  # a quantity says nothing about the device
        raise Refused(
            f"The part {shown(segment)} is none of those that HIBC device labels carry for lot, serial number and "
            "dates.",
            _TYPE_IT,
        )


def _dated(text: str, segment: str, parts: _Parts) -> str:
    """Read the expiry behind ``$$`` by its leading digit and give back what follows: lot or serial number."""
    if text in ("", "7"):
        return ""
    if text[0] == "7":
        return text[1:]
    if re.match("[01][0-9]{3}", text):
        end = month_end(full_year(int(text[2:4]), parts.today), int(text[:2]))
        parts.expire(end, segment)
        parts.notes.append(f"The label gives the expiry as month and year, read as the last day of the month, {end}.")
        return text[4:]
    flag, length = text[0], _DATE_DIGITS.get(text[0], 0)
    digits, rest = text[1 : 1 + length], text[1 + length :]
    if not length or len(digits) != length or not digits.isdigit():
        raise _no_date(segment)
    year_digits = {"2": digits[4:6]}.get(flag, digits[:2])
    year = full_year(int(year_digits), parts.today)
    hour = None
    if flag == "2":
        day = day_of(year, int(digits[:2]), int(digits[2:4]))
    elif flag in "34":
        day = day_of(year, int(digits[2:4]), int(digits[4:6]))
    else:
        day = _julian(digits[:5], parts.today)
    if flag in "46":
        hour = int(digits[-2:])
        if hour > 23:
            raise _no_date(segment)
    parts.expire(day, segment)
    parts["expires_hour"] = hour
    return rest


def _julian(digits: str, today: date) -> date | None:
    return day_in_year(full_year(int(digits[:2]), today), int(digits[2:]))


def _calendar(digits: str, segment: str) -> date:
    day = day_of(int(digits[:4]), int(digits[4:6]), int(digits[6:]))
    if day is None:
        raise _no_date(segment)
    return day


def _no_date(segment: str) -> Refused:
    return Refused(
        f"The part {shown(segment)} holds no date of the calendar in the form its code calls for.", _LOOK_AGAIN
    )
