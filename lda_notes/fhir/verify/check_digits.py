"""Check digits of LOINC and SNOMED CT codes: whether a code can exist at all, not whether it does."""

from __future__ import annotations

import re
from typing import Final

_LOINC: Final = re.compile(r"[0-9]{1,7}-[0-9]")
_LOINC_PART: Final = re.compile(r"L[ALPG][0-9]{1,7}-[0-9]")
_SNOMED_CT_EXPRESSION: Final = re.compile(r"[0-9]{6,18}\s*(\|[^|]*\|)?\s*[:+].*", re.DOTALL)
_SNOMED_CT: Final = re.compile(r"[1-9][0-9]{5,17}")
_CONCEPT_PARTITIONS: Final = ("00", "10")

# Verhoeff's dihedral group D5 multiplication and its permutation, J. Verhoeff, Error Detecting Decimal Codes, 1969.
_MULTIPLY: Final = (
    "0123456789",
    "1234067895",
    "2340178956",
    "3401289567",
    "4012395678",
    "5987604321",
    "6598710432",
    "7659821043",
    "8765932104",
    "9876543210",
)
_PERMUTE: Final = (
    "0123456789",
    "1576283094",
    "5803796142",
    "8916043527",
    "9453126870",
    "4286573901",
    "2793806415",
    "7046913258",
)


def loinc_is_possible(code: str) -> bool:
    """Return whether a LOINC code such as ``72514-3`` ends in its own mod-10 (Luhn) check digit.

    Codes of answers, answer lists, parts and groups (``LA6568-5``) are judged by their form alone.
    """
    if _LOINC_PART.fullmatch(code):
        return True
    if not _LOINC.fullmatch(code):
        return False
    number, check = code.split("-")
    total = 0
    for place, digit in enumerate(reversed(number)):
        value = int(digit) * (2 if place % 2 == 0 else 1)
        total += value - 9 if value > 9 else value
    return (10 - total % 10) % 10 == int(check)


def snomed_ct_is_possible(code: str) -> bool:
    """Return whether a SNOMED CT concept identifier has the right form, partition and Verhoeff check digit.

    Of a post-coordinated expression (``71341001:272741003=7771000``) every identifier is judged.
    """
    if _SNOMED_CT_EXPRESSION.fullmatch(code):
        return all(snomed_ct_is_possible(one) for one in re.findall(r"[0-9]{6,18}", code))
    if not _SNOMED_CT.fullmatch(code) or code[-3:-1] not in _CONCEPT_PARTITIONS:
        return False
    state = 0
    for place, digit in enumerate(reversed(code)):
        state = int(_MULTIPLY[state][int(_PERMUTE[place % 8][int(digit)])])
    return state == 0
