"""The primitive datatypes: JSON kind, official regex, and what the regex cannot say (calendar, range, base64)."""

from __future__ import annotations

import base64
import re
from collections.abc import Callable
from datetime import date, datetime, timedelta, timezone
from decimal import Decimal
from functools import lru_cache
from math import isfinite
from typing import Final

from lda_notes.fhir.build.narrative import narrative_fault
from lda_notes.fhir.codes import LOINC, SNOMED_CT
from lda_notes.fhir.verify.check_digits import loinc_is_possible, snomed_ct_is_possible
from lda_notes.fhir.verify.definitions import Definitions
from lda_notes.fhir.verify.faults import Fault, Found, kind, shown

PrimitiveCheck = Callable[..., Found]
"""Takes the value, and ignores a second argument: checks of elements take the scope there."""

_REMEMBERED: Final = 4096
"""How many values a check keeps, so that equal times and addresses are matched once."""

_FORMS: Final = {
    "date": "a date such as 2031-03-04, 2031-03 or 2031",
    "dateTime": "a date, or a date and time with seconds and zone such as 2031-03-04T09:40:00-06:00",
    "instant": "a date and time with seconds and zone, such as 2031-03-04T09:40:00-06:00",
    "time": "a time of day such as 09:40:00",
    "code": "a code without leading, trailing or double spaces",
    "id": "1 to 64 letters, digits, hyphens or full stops",
    "uri": "an address without spaces",
    "url": "an address without spaces",
    "canonical": "an address without spaces",
    "oid": "urn:oid: and an OID",
    "uuid": "urn:uuid: and a UUID in lower case",
    "string": "a text that is not empty and has no control characters",
    "markdown": "a text that is not empty and has no control characters",
    "base64Binary": "base64",
    "xhtml": "an XHTML div",
    "mimetypes": "a media type such as text/plain; charset=utf-8",
    "currencies": "a currency such as USD",
    "all-languages": "a language such as en-US",
}
_CALENDAR: Final = frozenset({"date", "dateTime", "instant"})
_RANGES: Final = {
    "integer": (-(2**31), 2**31 - 1),
    "unsignedInt": (0, 2**31 - 1),
    "positiveInt": (1, 2**31 - 1),
}
_ABSOLUTE: Final = re.compile(r"[a-z][a-z0-9+.\-]*:\S+")
_UUID: Final = re.compile(r"urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_OID: Final = re.compile(r"urn:oid:[0-2](\.(0|[1-9][0-9]*))+")
_MIME: Final = re.compile(
    r"xml|json|ttl|[A-Za-z0-9!#$&^_.+\-]+/[A-Za-z0-9!#$&^_.+\-]+(\s*;\s*[^\s;=]+=(\"[^\"]*\"|[^\s;]+))*"
)
_LANGUAGE: Final = re.compile(r"[A-Za-z]{2,3}(-[A-Za-z]{4})?(-([A-Za-z]{2}|[0-9]{3}))?(-[A-Za-z0-9]{4,8})*")
_CURRENCY: Final = re.compile(r"[A-Z]{3}")
_DATED: Final = re.compile(r"\d{4}-\d\d(-\d\d|$)")
# The official regex of a text, less control characters and half surrogates, which no JSON in UTF-8 can carry.
_SOUND: Final = re.compile(r"[^\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff]+")
_TIMED: Final = 11


def _wrong(primitive: str, value: object, why: str = "") -> list[Fault]:
    expected = _FORMS[primitive]
    if value == "":
        return [Fault("primitive", value, "The text is empty.", "Leave the element out when there is nothing.")]
    if isinstance(value, str):
        return [Fault("primitive", value, f"{shown(value)} is not {expected}{why}.", "Send the value in this form.")]
    return [Fault("type", value, f"{kind(value).capitalize()} stands where {expected} is due.", "Send a JSON text.")]


def is_calendar_day(value: str) -> bool:
    """Return whether a date that matches its regex exists."""
    if len(value) < len("2031-03-04"):
        return True
    try:
        date(int(value[:4]), int(value[5:7]), int(value[8:10]))
    except ValueError:
        return False
    return True


def _remembering(good: Callable[[str], bool], primitive: str) -> PrimitiveCheck:
    """Return a check of a text against ``good`` that matches equal texts once."""
    remembered = lru_cache(_REMEMBERED)(good)

    def check(value: object, _scope: object = None) -> Found:
        if type(value) is str and remembered(value):
            return None
        is_dated = primitive in _CALENDAR and isinstance(value, str) and _DATED.match(value)
        if is_dated and not (_has_month(str(value)) and is_calendar_day(str(value))):
            return [Fault("calendar", value, _no_such_day(str(value)), "Send the right day.")]
        return _wrong(primitive, value)

    return check


def _has_month(value: str) -> bool:
    return 1 <= int(value[5:7]) <= 12


def _no_such_day(value: str) -> str:
    if not _has_month(value):
        return f"{shown(value)} has no such month; months go from 01 to 12."
    return f"{shown(value)} is on a day that does not exist."


def _text(primitive: str) -> PrimitiveCheck:
    def check(value: object, _scope: object = None) -> Found:
        if type(value) is str and value and value.isprintable():
            return None
        if isinstance(value, str) and value.strip() and _SOUND.fullmatch(value):
            return None
        return _wrong(primitive, value)

    return check


def _whole(primitive: str) -> PrimitiveCheck:
    least, most = _RANGES[primitive]

    def check(value: object, _scope: object = None) -> Found:
        if type(value) is int and least <= value <= most:
            return None
        if type(value) is int:
            message = f"{value} is outside {least} to {most}."
            return [Fault("primitive", value, message, "Send a number in this range.")]
        message = f"{shown(value)} stands where a whole number is due."
        return [Fault("type", value, message, "Send a JSON number without a fraction.")]

    return check


def check_decimal(value: object, _scope: object = None) -> Found:
    """Find what is not a finite number: text, true and false are not numbers."""
    if (type(value) is int or type(value) is float or type(value) is Decimal) and isfinite(value):
        return None
    return [Fault("type", value, f"{shown(value)} stands where a number is due.", "Send a JSON number that is finite.")]


def check_boolean(value: object, _scope: object = None) -> Found:
    """True or false, never a text."""
    if value is True or value is False:
        return None
    message = f"{shown(value)} stands where true or false is due."
    return [Fault("type", value, message, "Send JSON true or false.")]


def check_base64(value: object, _scope: object = None) -> Found:
    """Base64 that decodes; white space is allowed."""
    if type(value) is str and value:
        try:
            base64.b64decode("".join(value.split()), validate=True)
            return None
        except ValueError:
            pass
    return _wrong("base64Binary", value)


def _good_uri(value: str) -> bool:
    if value.startswith("urn:uuid:"):
        return _UUID.fullmatch(value) is not None
    if value.split() != [value]:  # empty, or with white space somewhere
        return False
    if value.startswith("urn:oid:"):
        return _OID.fullmatch(value) is not None
    return True


def _good_absolute(value: str) -> bool:
    return _good_uri(value) and (value.startswith("urn:uuid:") or _ABSOLUTE.fullmatch(value) is not None)


def check_absolute_uri() -> PrimitiveCheck:
    """Return a check for the systems of codes and identifiers: an address that names its scheme."""
    usual = _remembering(_good_uri, "uri")
    good = _remembering(_good_absolute, "uri")

    def check(value: object, _scope: object = None) -> Found:
        found = good(value)
        if found is None:
            return None
        return usual(value) or [
            Fault(
                "absolute-uri",
                value,
                f"{shown(value)} is not an absolute address.",
                "Send the full address of the system, with its scheme.",
            )
        ]

    return check


def check_xhtml(value: object, _scope: object = None) -> Found:
    """Find what a narrative's div may not contain."""
    if type(value) is not str:
        return _wrong("xhtml", value)
    broken = narrative_fault(value)
    if broken is None:
        return None
    rule, why = broken
    return [Fault(rule, value, f"The narrative is not allowed XHTML: {why}.", "Send plain XHTML, or none.")]


def binding_check(binding: str, definitions: Definitions) -> PrimitiveCheck:
    """Return a code that must come from a value set."""
    grammar = {"mimetypes": _MIME, "currencies": _CURRENCY, "all-languages": _LANGUAGE}.get(binding)
    if grammar is not None:
        return _remembering(lambda value: grammar.fullmatch(value) is not None, binding)
    codes = definitions.bindings[binding]
    names = ", ".join(sorted(codes)) if len(codes) <= 16 else f"the {len(codes)} codes of {binding}"

    def check(value: object, _scope: object = None) -> Found:
        if type(value) is str and value in codes:
            return None
        if type(value) is not str:
            return _wrong("code", value)
        return [Fault("binding", value, f"{shown(value)} is not one of {names}.", f"Send a code of {binding}.")]

    return check


def primitive_check(primitive: str, definitions: Definitions) -> PrimitiveCheck:
    """Return the check of a primitive datatype by its name; raises KeyError for a name that is none."""
    fixed: dict[str, PrimitiveCheck] = {
        "boolean": check_boolean,
        "decimal": check_decimal,
        "base64Binary": check_base64,
        "xhtml": check_xhtml,
    }
    if primitive in fixed:
        return fixed[primitive]
    if primitive in _RANGES:
        return _whole(primitive)
    if primitive in ("string", "markdown"):
        return _text(primitive)
    if primitive in ("uri", "url", "canonical"):
        return _remembering(_good_uri, primitive)
    matches = re.compile(definitions.primitives[primitive], re.ASCII).fullmatch
    if primitive in _CALENDAR:
        return _remembering(lambda value: matches(value) is not None and is_calendar_day(value), primitive)
    return _remembering(lambda value: matches(value) is not None, primitive)


def code_is_possible(system: str, code: str) -> bool:
    """Return whether a LOINC or SNOMED CT code passes its check digit; codes of other systems always may."""
    if system == LOINC:
        return loinc_is_possible(code)
    if system == SNOMED_CT:
        return snomed_ct_is_possible(code)
    return True


def moment(value: str) -> datetime | None:
    """Return an aware moment of a dateTime with a time, or None when it has none. A leap second counts as second 59."""
    if len(value) < _TIMED:
        return None
    at = re.fullmatch(r"(\d{4}-\d\d-\d\dT\d\d:\d\d):(\d\d)(?:\.(\d+))?(Z|[+-]\d\d:\d\d)", value)
    if at is None:
        return None
    minute, second, fraction, zone = at.groups()
    offset = timedelta()
    if zone != "Z":
        sign = -1 if zone[0] == "-" else 1
        offset = sign * timedelta(hours=int(zone[1:3]), minutes=int(zone[4:6]))
    micro = int((fraction or "0").ljust(6, "0")[:6])
    try:
        plain = datetime.fromisoformat(f"{minute}:{min(int(second), 59):02d}")
        return plain.replace(microsecond=micro, tzinfo=timezone(offset))
    except ValueError:
        return None


def is_later(first: str, second: str) -> bool | None:
    """Return whether ``first`` is after ``second``; None when one of them says too little, as FHIRPath has it."""
    if len(first) == len(second) and first[19:] == second[19:]:
        return first > second
    one, two = moment(first), moment(second)
    if one is not None and two is not None:
        return one > two
    both = min(len(first), len(second), 10)
    if first[:both] == second[:both]:
        return None if len(first) != len(second) else False
    return first[:both] > second[:both]
