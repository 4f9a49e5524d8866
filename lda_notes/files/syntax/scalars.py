"""The meaning of an unquoted YAML scalar or a JSON number, and how the number is spelled in JSON.

YAML 1.2.2 section 10.3.2 (core schema, https://yaml.org/spec/1.2.2/#1032-tag-resolution) [R2], less what is a trap
beside a dose or a time: a leading zero is refused, as are numbers that are not finite.
"""

from __future__ import annotations

import re
from functools import lru_cache
from math import isinf
from typing import Final, NamedTuple

from lda_notes.files.syntax.faults import LEADING_ZERO, MAX_NUMBER, NOT_FINITE, TOO_LONG, Refusal


class Number(NamedTuple):
    """A number and its JSON spelling, or None where Python's own spelling is the one of the file."""

    value: int | float
    written: str | None


WORDS: Final[dict[str, bool | None]] = {
    "": None,
    "~": None,
    "null": None,
    "Null": None,
    "NULL": None,
    "true": True,
    "True": True,
    "TRUE": True,
    "false": False,
    "False": False,
    "FALSE": False,
}
"""The unquoted scalars of YAML that are null or truth values."""

_NUMBER: Final = re.compile(
    r"(?P<whole>[-+]?[0-9]+)"
    r"|(?P<float>[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?)"
    r"|(?P<endless>[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN))"
    r"|(?P<base>0o[0-7]+|0x[0-9a-fA-F]+)"
)
_LEADING_ZERO: Final = re.compile(r"[-+]?0[0-9]")
_PARTS: Final = re.compile(r"([-+]?)([0-9]*)(\.?)([0-9]*)(.*)")


def number(text: str) -> Number | Refusal | None:
    """Read an unquoted scalar as a number of YAML's core schema; None where it is not one."""
    return _short_number(text) if len(text) <= _SHORT else _number(text)


def _number(text: str) -> Number | Refusal | None:
    found = _NUMBER.fullmatch(text)
    if found is None:
        return None
    kind = found.lastgroup
    if kind == "endless":
        return NOT_FINITE
    if len(text) > MAX_NUMBER:
        return TOO_LONG
    if kind == "base":
        return Number(int(text, 0), None)
    if _LEADING_ZERO.match(text):
        return LEADING_ZERO
    value: int | float = int(text) if kind == "whole" else float(text)
    if repr(value) == text:
        return Number(value, None)
    return NOT_FINITE if isinf(value) else Number(value, _as_json(text))


_SHORT: Final = 24
_short_number: Final = lru_cache(maxsize=4096)(_number)
"""The same few numbers fill every record."""


def _as_json(text: str) -> str:
    """JSON has no plus sign and wants digits on both sides of the point."""
    sign, before, point, after, exponent = _PARTS.fullmatch(text).groups()  # type: ignore[union-attr]  # only numbers come here
    fraction = f".{after or '0'}" if point else ""
    return f"{'-' if sign == '-' else ''}{before or '0'}{fraction}{exponent}"
