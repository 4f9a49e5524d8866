"""Device identifiers by the rules of GS1: ``(01)…(17)…(10)…``, in brackets, in braces, or as scanned.

Two readers, one result. The library biip knows every application identifier and reads raw scans; but importing it
takes about 90 ms (measured, median of five; more than a third of that unpacks a table of company prefixes), which
every ``check`` of a record with a device identifier would pay. So the form in which records keep identifiers, in
brackets and with the five parts that supply labels carry, is read here by five patterns (below 1 ms), and biip is
imported only for raw scans and for parts beyond these five. A property test holds the two readers to each other.

biip takes the century of a date from the clock and lets a wrong check digit pass with a remark, so dates and check
digit are judged here, for both readers alike. Its reader of brackets is not used: before 5.2 it cut a value at its
first sign in silence.

Sources: GS1 General Specifications, sections 3 and 7; GS1, "How to calculate a check digit manually"; FDA, "UDI
formats by FDA-accredited issuing agency".
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import date
from typing import TYPE_CHECKING, Final

from lda_notes.udi import SEPARATOR, SHOWN_SEPARATOR, DeviceIdentifier, Refused, day_of, full_year, month_end, shown

if TYPE_CHECKING:
    from biip.gs1_element_strings import GS1ElementString

Element = tuple[str, str]
"""An application identifier, such as ``17``, and the value behind it."""

_PAIR: Final = re.compile(r"\(([0-9]{2,4})\)([^(]+)")
_DIGITS_14: Final = re.compile("[0-9]{14}")
_DIGITS_6: Final = re.compile("[0-9]{6}")
_UP_TO_20: Final = re.compile('[!"%-?A-Z_a-z]{1,20}')
_PLAIN: Final = {
    "01": (_DIGITS_14, "14 digits"),
    "10": (_UP_TO_20, "1 to 20 letters, digits or signs"),
    "11": (_DIGITS_6, "6 digits, YYMMDD"),
    "17": (_DIGITS_6, "6 digits, YYMMDD"),
    "21": (_UP_TO_20, "1 to 20 letters, digits or signs"),
}
_NAMES: Final = {
    "01": "product number",
    "10": "lot",
    "11": "date of manufacture",
    "17": "expiry",
    "21": "serial number",
    "7003": "expiry",
}
_DAY_REQUIRED_FROM: Final = date(2025, 1, 1)
_SWALLOWED: Final = re.compile(r".{3,}(?:(?:10|21).{3,}|(?:11|17)[0-9]{6}.*)")

_LOOK_AGAIN: Final = "Scan it again, or compare what was typed with the label."


def check_digit(body: str) -> int:
    """Compute the GS1 check digit of the digits before it (weights 3 and 1 from the right, modulo 10).

    Source: GS1, https://www.gs1.org/how-calculate-check-digit-manually (read).
    """
    total = sum(int(digit) * (1 if place % 2 else 3) for place, digit in enumerate(reversed(body)))
    return -total % 10


def read(rows: Sequence[str], today: date) -> DeviceIdentifier:
    """Read one identifier from what was scanned or typed, one row for each bar code of the label.

    Raises ``Refused`` with a fault that says what was found and what was expected.
    """
    cleaned = [re.sub(r"[ \t]", "", row).replace(SHOWN_SEPARATOR, SEPARATOR) for row in rows]
    notes: list[str] = []
    in_brackets = {row[:1] in ("(", "{") for row in cleaned}
    if len(in_brackets) > 1:
        raise Refused("Some rows of the text have brackets and some have none.", "Enter all of them the same way.")
    if in_brackets == {True}:
        elements = bracketed("".join(cleaned))
    elif re.fullmatch("[0-9]{12,14}", cleaned[0]):
        elements = (("01", cleaned[0].zfill(14)), *raw(SEPARATOR.join(cleaned[1:])))
        if len(cleaned) == 1:
            notes.append("This bar code holds the product number only: take lot and expiry from the label.")
    else:
        elements = raw(SEPARATOR.join(cleaned))
        notes.extend(_swallowed(elements, separated=SEPARATOR in "".join(cleaned)))
    return _identifier(elements, notes, today)


def bracketed(text: str, library: bool = False) -> tuple[Element, ...]:
    """Split ``(01)…(17)…`` or ``{01}…{17}…`` into checked elements, by patterns or, if asked or needed, by biip.

    Raises ``Refused``.
    """
    plain = re.sub(f"{SEPARATOR}+(?=[({{]|$)", "", text)
    if plain.startswith("{"):
        plain = plain.replace("{", "(").replace("}", ")")
    pairs = _PAIR.findall(plain)
    if "".join(f"({identifier}){value}" for identifier, value in pairs) != plain:
        raise Refused(
            "The brackets of the device identifier do not enclose 2 to 4 digits each with a value behind them, "
            "as in (01) with 14 digits.",
            _LOOK_AGAIN,
        )
    by_library = library or not all(identifier in _PLAIN for identifier, _ in pairs)
    for identifier, value in pairs:
        if expected := (_library_fault if by_library else _pattern_fault)(identifier, value):
            raise Refused(f"{_part(identifier)} is {shown(value)}; expected {expected}.", _LOOK_AGAIN)
    return tuple(pairs)


def raw(text: str) -> tuple[Element, ...]:
    """Split a scan without brackets, its parts ended by length or by the separator, with biip.

    Raises ``Refused``.
    """
    rest = text.strip(SEPARATOR)
    if not rest:
        return ()
    elements: list[Element] = []
    while rest:
        element = _first_of(rest)
        if element is None or not element.value:  # biip takes (30) without a count
            raise Refused(
                f"The scan cannot be split into GS1 parts: from {shown(rest)} on, no known part with its length "
                "was found.",
                "Scan it again with a scanner that sends the separators between parts, or type it with its brackets.",
            )
        elements.append((element.ai.ai, element.value))
        rest = rest[len(element) :].lstrip(SEPARATOR)
    return tuple(elements)


def _first_of(text: str) -> GS1ElementString | None:
    """Return the element that a text begins with, as biip reads it; None when it begins with none."""
    from biip import ParseConfig, ParseError
    from biip.gs1_element_strings import GS1ElementString

    try:
        return GS1ElementString.extract(text, config=ParseConfig(gs1_element_strings_verify_date=False))
    except ParseError:
        return None


def _pattern_fault(identifier: str, value: str) -> str | None:
    pattern, expected = _PLAIN[identifier]
    return None if pattern.fullmatch(value) else expected


def _library_fault(identifier: str, value: str) -> str | None:
    element = _first_of(identifier + value)
    # biip finds the identifier by its beginning: (31) with 02000123 would become (3102) with 000123.
    if element is not None and (element.ai.ai, element.value) == (identifier, value):
        return None
    return "an application identifier that GS1 defines, with a value of its kind and length"


def _swallowed(elements: Iterable[Element], separated: bool) -> list[str]:
    """Without separators, what follows a lot or a serial number is read as part of it."""
    return [
        f"The scan holds no separators, so the {_NAMES[identifier]} may have taken in a part that follows it: "
        "compare it with the label."
        for identifier, value in elements
        if not separated and identifier in ("10", "21") and _SWALLOWED.fullmatch(value)
    ]


def _identifier(elements: Sequence[Element], notes: Sequence[str], today: date) -> DeviceIdentifier:
    found: dict[str, str] = {}
    for identifier, value in elements:
        if found.setdefault(identifier, value) != value:
            raise Refused(
                f"{_part(identifier)} is given twice, as {shown(found[identifier])} and as {shown(value)}.",
                "Scan the bar codes of one label only.",
            )
    device = _device(found)
    made, made_notes = _date(found, "11", today)
    expires, expires_notes = _date(found, "17", today)
    hour = None
    if "7003" in found:
        until, until_notes = _date({"7003": found["7003"][:6]}, "7003", today)
        if expires not in (None, until):
            raise Refused(f"The label gives two expiries, {expires} and {until}.", _LOOK_AGAIN)
        expires, expires_notes, hour = until, until_notes, _hour(found["7003"][6:8])
    day_notes = [*made_notes, *expires_notes]
    if day_notes and made is not None and made >= _DAY_REQUIRED_FROM:
        day_notes.append(
            "Healthcare labels made from 2025-01-01 on must carry a real day: compare the label with its maker's data."
        )
    return DeviceIdentifier(
        issuer="GS1",
        device=device,
        carrier=_carrier(elements),
        lot=found.get("10"),
        serial=found.get("21"),
        made=made,
        expires=expires,
        expires_hour=hour,
        notes=(*notes, *day_notes),
    )


def _device(found: dict[str, str]) -> str:
    device = found.get("01")
    if device is None:
        raise Refused(
            "The device identifier lacks part (01), the product number.",
            "Scan the bar code that begins with (01) as well; labels may spread the identifier over two bar codes.",
        )
    expected = check_digit(device[:-1])
    if device[-1] != str(expected):
        raise Refused(
            f"The product number {device} ends in check digit {device[-1]}; {expected} was expected.",
            _LOOK_AGAIN,
        )
    return device


def _date(found: dict[str, str], identifier: str, today: date) -> tuple[date | None, list[str]]:
    """Read YYMMDD; day 00 means the last day of the month (GS1 General Specifications section 3.4, quoted)."""
    value = found.get(identifier)
    if value is None:
        return None, []
    year, month, day = full_year(int(value[:2]), today), int(value[2:4]), int(value[4:6])
    result = day_of(year, month, day) if day else month_end(year, month)
    if result is None:
        raise Refused(f"{_part(identifier)} is {value}; a date as YYMMDD was expected.", _LOOK_AGAIN)
    if day:
        return result, []
    return result, [f"{_part(identifier)} has day 00, read as the last day of the month, {result}."]


def _hour(digits: str) -> int | None:
    return int(digits) if digits <= "23" else None


def _carrier(elements: Sequence[Element]) -> str:
    # A value may contain an opening bracket; in brackets it would read back as something else.
    if any("(" in value for _, value in elements):
        return SHOWN_SEPARATOR.join(identifier + value for identifier, value in elements)
    return "".join(f"({identifier}){value}" for identifier, value in elements)


def _part(identifier: str) -> str:
    name = _NAMES.get(identifier)
    return f"Part ({identifier}), the {name}," if name else f"Part ({identifier})"
