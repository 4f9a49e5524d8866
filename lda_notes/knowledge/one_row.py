"""Free text as documents print it: on one row, and unable to pass for a row of ours in whatever letters."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache
from typing import Final
from unicodedata import category, normalize

LINE_BREAKS: Final = re.compile(r"\s*[\r\n\v\f\x1c-\x1e\x85\u2028\u2029]+\s*")
_STROKES: Final = (
    r"[-_=*#~!\u00af\u2010-\u2017\u203e\u2043\u2212\u23af\u23e4"
    r"\u2500-\u259f\u2e3a\u2e3b\u30fc\ufe4d-\ufe4f\uff01\uff03\uff0a\uff0d\uff1d\uff3f\uff5e]"
)
_RULE: Final = re.compile(rf"({_STROKES})[ \u00a0]?({_STROKES})(?:[ \u00a0]?{_STROKES})+")
_OURS: Final = re.compile(
    r"\b(?:(?:charted|verified|co-?signed|signed|entered)\s+by|stop|draft|line\s+(?:was\s+|is\s+|remains\s+)?on\s+hold"
    r"|retracted|corrected|late\s+entry|addendum|amendment|co-signature)\b(?:\s*:)?"
)
_UNSEEN: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Cn"})
_JOINERS: Final = "\u200c\u200d"
"""Signs that cannot be seen and belong to the spelling of some names."""
_LOOKS: Final = str.maketrans(
    "\u0430\u0435\u043e\u0440\u0441\u0443\u0445\u0456\u0458\u0455\u0501\u04bb\u043a\u043c\u043d\u0442\u0432\u0433\u051d\u043f\u0451\u0131"
    "\u03b1\u03b5\u03b9\u03ba\u03bd\u03bf\u03c1\u03c4\u03c5\u03c7\u03b7\u03b2\u03bc\u03b3\u0251\u0261\u04cf0",
    "aeopcyxijsdhkmhtbrwneiaeikvoptyxhbmyaglo",
)
"""Small letters of other scripts, and the zero, by the Latin letter that they look like."""


def on_one_row(text: str) -> str:
    """Return text of the record on one row, unable to pass for a row of the note itself.

    Signs that cannot be seen are left out; letters of other scripts that look like ours count as ours.
    """
    flat = LINE_BREAKS.sub(" / ", text.strip()).replace("\t", " ")
    if not flat.isprintable():
        flat = "".join(map(_seen, flat))
    flat = _RULE.sub(r"\1\2", flat)
    return _disarmed(flat)


def _seen(sign: str) -> str:
    """Return the sign; nothing for one that cannot be seen, and ? for one that no standard gives a shape."""
    kind = category(sign)
    if sign in _JOINERS or kind not in _UNSEEN:
        return sign
    return "?" if kind in ("Co", "Cn") else ""


def _disarmed(text: str) -> str:
    """Return ``text`` with the words that begin rows of ours in small letters and without a colon."""
    seen = text.lower().translate(_LOOKS)
    places: Sequence[int] = range(len(text))
    if not text.isascii():
        looks = [(one, place) for place, sign in enumerate(text) for one in _look_of(sign)]
        seen, places = "".join(one for one, _ in looks), [place for _, place in looks]
    said, upto = "", 0
    for found in _OURS.finditer(seen):
        start, end = places[found.start()], places[found.end() - 1] + 1
        plain = text[start:end] == found.group() and " by" not in found.group()  # small letters are no heading of ours
        said += text[upto:start] + (found.group() if plain else found.group().rstrip(": "))
        upto = end
    return said + text[upto:]


@cache
def _look_of(sign: str) -> str:
    """Return the small Latin letters that a sign looks like, or itself; nothing for one that cannot be seen."""
    plain = normalize("NFKD", sign).casefold().translate(_LOOKS)
    return "".join(one for one in plain if category(one) not in _UNSEEN and not category(one).startswith("M"))
