"""Abbreviations, symbols and ways of writing doses that have been misread with harm, found in a text.

The tables hold the Joint Commission's "Do Not Use" list and the forms of the ISMP list that a port note may meet. The
same detector reads what nurses typed, for the check, and what this program writes, for its tests. Times, dates,
catheter sizes and identifiers are left alone.

A pattern stands behind the first character of its form and looks back at it, so that all of them are one expression
that begins with a set of characters: the search then skips what cannot begin a form, about thirty times faster than a
plain list of alternatives (measured).
"""

from __future__ import annotations

import re
from typing import Final, NamedTuple

from lda_notes.knowledge.sources import Citation

DO_NOT_USE: Final = Citation("jc-do-not-use", "R")
POSSIBLE: Final = Citation("jc-do-not-use", "R2", "possible future inclusions")
ERROR_PRONE: Final = Citation("ismp-2021", "R2")
DRUG_NAMES: Final = Citation("ismp-2021", "D", "drug names are written out")


class UnsafeForm(NamedTuple):
    """One form found: the text as it is, what to write instead, and who says so."""

    found: str
    instead: str
    source: Citation


class _Row(NamedTuple):
    """The rest of a form after its first character. With ``after`` that character is a digit before the form."""

    pattern: str
    instead: str
    source: Citation
    after: bool = False


_OPEN: Final = r"(?<![\w-][\s\S])"
"""The first character does not stand inside a word or an identifier."""
_NUMBER: Final = r"(?<![\w.,]\d)"
"""The first digit begins a number."""
_END: Final = r"(?![\w-])"
_UNIT: Final = r"(?:mg|mcg|g|m[lL]|L|units?|mEq|mmol)(?![A-Za-z])"

_FROM_FIRST_DIGIT: Final = (
    _Row(rf"[\d,]*\.\d*?0+(?= ?{_UNIT})", "the number without a trailing zero", DO_NOT_USE),
    _Row(r"\d{3,}(?= ?units?(?!\w))", "the number with a comma from 1,000", ERROR_PRONE),
    _Row(
        r"[\d,]*(?:\.\d+)?(?:mg|mcg|m[lL]s?|units?|mEq)(?!\w)",
        "a space between number and unit",
        ERROR_PRONE,
    ),
)
_AFTER_LAST_DIGIT: Final = (
    _Row(r" ?(?:IU|iu|I\.U\.)(?!\w)", "international units", DO_NOT_USE, after=True),
    _Row(r" ?[Uu](?![\w'-])", "units", DO_NOT_USE, after=True),
    _Row(r" ?[cC][cC]s?(?!\w)", "mL", POSSIBLE, after=True),
    _Row(r" ?ug(?!\w)", "mcg", POSSIBLE, after=True),
    _Row(r" ?gr(?!\w)", "the amount in metric units", POSSIBLE, after=True),
    _Row(
        r" ?(?:mg ?/ ?[\d.,]+ ?mg|mL ?/ ?[\d.,]+ ?mL|units ?/ ?[\d.,]+ ?units)(?!\w)",
        "words between two doses",
        ERROR_PRONE,
    ),
    _Row(r" ?(?:mg|mcg|m[lL])\.(?=\s+[a-z(])", "the unit without a period", ERROR_PRONE, after=True),
    _Row(r" ?mls?(?!\w)", "mL", ERROR_PRONE, after=True),
    _Row(r" ?l(?!\w)", "L", ERROR_PRONE, after=True),
)
_AFTER_SIGN: Final = (
    _Row(r"(?<=\.)(?<![\w.)\]]\.)\d+", "the number with a zero before the point", DO_NOT_USE),
    _Row(r"(?<=[<>])", "more than or less than", POSSIBLE),
    _Row(r"(?<=@)(?:(?<!\w@)|(?=[\s\d]))", "at", POSSIBLE),
    _Row(r"(?<=[µμ])g(?!\w)", "mcg", POSSIBLE),
    _Row(r"(?<=\s&)(?=\s)|(?<=\d&)(?=\d)", "and", ERROR_PRONE),
    _Row(r"(?<=\w \+)(?= \w)", "and", ERROR_PRONE),
    _Row(r"(?<=/)mls?(?!\w)", "mL", ERROR_PRONE, after=True),
)
_AFTER_Q: Final = (
    _Row(rf"\.?[Oo]\.?[Dd](?:\.|{_END})", "every other day", DO_NOT_USE),
    _Row(rf"\.?[Dd](?:\.|{_END})", "daily", DO_NOT_USE),
    _Row(r" ?\d{1,2} ?[PpAa][Mm](?!\w)", "daily at that hour", ERROR_PRONE),
    _Row(rf" ?1 ?[dD]{_END}", "daily", ERROR_PRONE),
    _Row(rf" ?\d+ ?[dD]{_END}", "every so many days, in words", ERROR_PRONE),
    _Row(r" ?\d+ ?°", "every so many hours, in words", ERROR_PRONE),
    _Row(rf"(?:[hH][sS]|[nN]){_END}", "nightly or at bedtime", ERROR_PRONE),
)
_AFTER_CAPITAL: Final = (
    _Row(r"(?<=I)(?:U|\.U\.)(?!\w)", "international units", DO_NOT_USE),
    _Row(r"(?<=U)(?=/(?:m[lL]|h|kg|day))", "units", DO_NOT_USE),
    _Row(r"(?<=M)gSO[4₄](?!\w)", "magnesium sulfate", DO_NOT_USE),
    _Row(r"(?<=M)SO[4₄](?!\w)", "morphine sulfate", DO_NOT_USE),
    _Row(rf"(?<=M)S{_END}", "morphine sulfate or magnesium sulfate", DO_NOT_USE),
    _Row(r"(?<=O)(?:D|\.D\.)(?!\w)", "daily", ERROR_PRONE),
    _Row(rf"(?<=H)S{_END}", "half-strength or bedtime", ERROR_PRONE),
    _Row(rf"(?<=B)T{_END}", "bedtime", ERROR_PRONE),
    _Row(r"(?<=D)(?:/[Cc](?:['’]?d|ed|['’]?ing)?|[Cc]['’]d)(?!\w)", "the word meant", ERROR_PRONE),
    _Row(rf"(?<=S)(?<!, S)[CQ]{_END}|(?<=S)ub ?[qQ](?!\w)", "subcutaneously", ERROR_PRONE),
    _Row(r"(?:(?<=I)|(?<=[LR])I)J(?!\w)", "internal jugular or injection", ERROR_PRONE),
    _Row(rf"(?:(?<=mg I)|(?<=mcg I)|(?<=mL I)|(?<=spray I)|(?<=sprays I))N{_END}", "intranasally", ERROR_PRONE),
    _Row(rf"(?<=N)S{_END}", "0.9% sodium chloride", DRUG_NAMES),
)
_AFTER_SMALL: Final = (
    _Row(rf"(?<=h)s{_END}|(?<=h)\.s\.(?!\w)", "half-strength or bedtime", ERROR_PRONE),
    _Row(r"(?<=o)\.d\.(?!\w)", "daily", ERROR_PRONE),
    _Row(r"(?<=d)(?:/[Cc](?:['’]?d|ed|['’]?ing)?|c['’]d)(?!\w)", "the word meant", ERROR_PRONE),
    _Row(r"(?<=s)ub ?[qQ](?!\w)", "subcutaneously", ERROR_PRONE),
)
_SMALL: Final = ("hs", "h.s.", "o.d.", "d/c", "d/C", "dc'd", "dc’d", "sub q", "subq", "sub Q", "subQ")
"""Strings of which every form of the last table contains one; a text without any is not searched for them."""

_ROWS: Final = (*_FROM_FIRST_DIGIT, *_AFTER_LAST_DIGIT, *_AFTER_SIGN, *_AFTER_Q, *_AFTER_CAPITAL, *_AFTER_SMALL)


def _any(rows: tuple[_Row, ...]) -> str:
    return "|".join(f"(?P<f{_ROWS.index(row)}>{row.pattern})" for row in rows)


_FORMS: Final = re.compile(
    r"[0-9.<>@µμ&+/A-Zq]"
    rf"(?:(?<=\d)(?:{_NUMBER}(?:{_any(_FROM_FIRST_DIGIT)})|(?= ?[IiUucCgml])(?:{_any(_AFTER_LAST_DIGIT)}))"
    rf"|(?<=[A-Zq]){_OPEN}(?:(?<=[Qq])(?:{_any(_AFTER_Q)})|{_any(_AFTER_CAPITAL)})"
    rf"|(?<![\dA-Zq])(?:{_any(_AFTER_SIGN)}))"
)
_SMALLS: Final = re.compile(rf"[hods]{_OPEN}(?:{_any(_AFTER_SMALL)})")


def unsafe_forms(text: str) -> list[UnsafeForm]:
    """Return every form of the tables that ``text`` contains, in order; of forms that overlap, the first.

    Sources: Joint Commission, official "Do Not Use" list (read); ISMP list of error-prone abbreviations (as quoted by
    copies).
    """
    matches = list(_FORMS.finditer(text))
    if any(form in text for form in _SMALL):
        matches.extend(_SMALLS.finditer(text))
    if not matches:
        return []
    found: list[tuple[int, int, UnsafeForm]] = []
    for match in matches:
        name = match.lastgroup or ""
        row = _ROWS[int(name[1:])]
        said = match[name].lstrip() if row.after else match[0]
        end = match.end()
        found.append((end - len(said), end, UnsafeForm(said, row.instead, row.source)))
    found.sort(key=lambda form: form[:2])
    kept: list[UnsafeForm] = []
    reached = -1
    for start, end, form in found:
        if start >= reached:
            kept.append(form)
            reached = end
    return kept
