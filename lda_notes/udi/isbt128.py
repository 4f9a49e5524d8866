"""Device identifiers by the rules of ICCBBA (ISBT 128), as far as the FDA's published example shows them.

Port supplies rarely carry one: ISBT 128 is for products of human origin. The standard and its tables are licensed,
so only the structures of the example in FDA, "UDI formats by FDA-accredited issuing agency", are read: product,
serial number (division), donation number, expiry, date of manufacture and lot. Anything else is refused and said
so; the text can be kept as it is. No check character travels with these structures, so a typing error inside a
part of the right length cannot be seen.
"""

from __future__ import annotations

import re
from datetime import date
from typing import Final

from lda_notes.udi import DeviceIdentifier, Refused, day_in_year

_STRUCTURES: Final = re.compile(
    r"=/(?P<device>[0-9A-Z]{16})"
    r"|=,(?P<serial>[0-9A-Z]{6})"
    r"|=>(?P<expires>[0-9]{6})"
    r"|=\}(?P<made>[0-9]{6})"
    r"|&,1(?P<lot>[0-9A-Z]{1,18})"
    r"|=(?P<donation>[0-9A-Z]{13})[0-9A-Z]{2}"
)
_HEADER: Final = re.compile("=[+]([0-9]{2})[0-9A-Z]{3}")
_KEEP: Final = "Keep the text as it is and enter lot and expiry from the label."


def read(text: str) -> DeviceIdentifier:
    """Read one identifier. Dates are YYYJJJ: the year without its first digit, and the day of the year.

    Raises ``Refused``.
    """
    whole = "".join(text.split())
    header = _HEADER.match(whole)
    start = header.end() if header else 0
    found: dict[str, str] = {}
    at, count = start, 0
    while at < len(whole):
        match = _STRUCTURES.match(whole, at)
        if match is None or match.lastgroup is None or match.lastgroup in found:
            raise Refused(
                f"The ISBT 128 text holds, from character {at + 1} on, something other than the parts that the FDA's "
                "example shows once each: product, serial number, donation number, dates and lot.",
                _KEEP,
            )
        found[match.lastgroup] = match[match.lastgroup]
        at, count = match.end(), count + 1
    if header and int(header[1]) != count:
        raise Refused(
            f"The ISBT 128 text announces {int(header[1])} parts and contains {count}.",
            "Scan it again; part of the bar code is missing.",
        )
    if "device" not in found:
        raise Refused("The ISBT 128 text lacks the product part.", "Scan the product's bar code as well.")
    return DeviceIdentifier(
        issuer="ICCBBA",
        device=found["device"],
        carrier=whole,
        lot=found.get("lot"),
        serial=found.get("serial"),
        made=_date(found.get("made")),
        expires=_date(found.get("expires")),
        donation=found.get("donation"),
    )


def _date(digits: str | None) -> date | None:
    if digits is None:
        return None
    years = int(digits[:3])
    day = day_in_year((1000 if years >= 900 else 2000) + years, int(digits[3:]))
    if day is None:
        raise Refused(f"The ISBT 128 date {digits} is no day of the calendar as YYYJJJ.", "Scan it again.")
    return day
