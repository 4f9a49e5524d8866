"""Changes of supplies for an allergy or a condition: one sentence each, with its source."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from lda_notes.documents.references import Stated
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.narrative.phrasing import quoted
from lda_notes.record.episode import Patient
from lda_notes.record.parts import Allergy
from lda_notes.record.vocabulary import AllergenName, HistoryName

Steps = frozenset[str]


@dataclass(frozen=True, slots=True)
class Precaution:
    """A supply to leave out, or to use instead. ``about`` names the facts of an event that it concerns.

    ``reassures``: it only says that something need not be left out.
    """

    reason: str
    says: str
    about: Steps
    basis: Stated
    reassures: bool = False


_REASSURING: Final = frozenset({"shellfish", "contrast medium"})
_HEPARIN: Final = ("no heparin in flush or lock, 0.9% sodium chloride or what is ordered instead", {"lock", "flushes"})
_LABEL: Final = Citation("heparin-lock-label", "M-H")
_CREAM: Final = Citation("cream-label", "R2", "contraindications")

_ALLERGIES: Final[Mapping[AllergenName, tuple[str, set[str], tuple[Citation, ...]]]] = {
    "chlorhexidine": (
        "no chlorhexidine on the skin, in a disc or in a dressing",
        {"antisepsis", "dressing"},
        (Citation("fda-chg-2017", "R2"),),
    ),
    "iodine": ("no antiseptic with iodine", {"antisepsis"}, (Citation("aaaai-iodine", "M-H"),)),
    "isopropyl alcohol": (
        "no antiseptic or cap with isopropyl alcohol",
        {"antisepsis", "disinfecting_caps"},
        (COMMON_PRACTICE,),
    ),
    "adhesive": (
        "barrier film under the dressing, or a gentler one",
        {"dressing"},
        (Citation("ins-2021", "M-H"),),
    ),
    "latex": (
        "only supplies labeled as free of latex",
        {"technique", "needle", "dressing"},
        (Citation("latex-801-437", "M-H"),),
    ),
    "heparin": (*_HEPARIN, (_LABEL,)),
    "lidocaine": ("no lidocaine or prilocaine", {"anesthetic"}, (_CREAM,)),
    "prilocaine": ("no lidocaine or prilocaine", {"anesthetic"}, (_CREAM,)),
    "alteplase": ("no alteplase", {"drug"}, (Citation("alteplase-label", "M-H", "contraindications"),)),
    "vapocoolant": ("no cold spray", {"anesthetic"}, (Citation("vapocoolant-label", "M-M"),)),
    "benzyl alcohol": (
        "only solutions without a preservative",
        {"flushes", "lock"},
        (Citation("heparin-lock-label", "R2"),),
    ),
    "shellfish": (
        "by itself no reason against an iodine antiseptic",
        {"antisepsis"},
        (Citation("aaaai-iodine", "M-H"),),
    ),
    "contrast medium": (
        "by itself no reason against an iodine antiseptic; tell imaging",
        {"antisepsis"},
        (Citation("aaaai-iodine", "M-H"),),
    ),
    "other": ("compare it with the labels of the supplies", {"antisepsis", "dressing"}, (COMMON_PRACTICE,)),
}

_HISTORY: Final[Mapping[HistoryName, tuple[str, set[str], tuple[Citation, ...]]]] = {
    "heparin-induced thrombocytopenia": (*_HEPARIN, (_LABEL,)),
    "methemoglobinemia": ("no prilocaine cream", {"anesthetic"}, (_CREAM,)),
    "G6PD deficiency": ("prilocaine cream only with care", {"anesthetic"}, (_CREAM,)),
    "cold intolerance": ("no cold spray", {"anesthetic"}, (Citation("vapocoolant-label", "M-M"),)),
    "premature birth": (
        "chlorhexidine can burn the skin of the prematurely born",
        {"antisepsis", "dressing"},
        (Citation("chg-applicator-label", "M-H"),),
    ),
}


def precautions(patient: Patient) -> Iterator[Precaution]:
    """Yield what the recorded allergies and conditions change, in the order of the record."""
    for allergy in patient.allergies or ():
        says, about, cited = _ALLERGIES[allergy.substance]
        stated = Stated(f"A{_place(_ALLERGIES, allergy.substance)}", f"Allergy to {allergy.substance}: {says}", cited)
        yield Precaution(_named(allergy), says, frozenset(about), stated, allergy.substance in _REASSURING)
    for condition in patient.conditions:
        says, about, cited = _HISTORY[condition]
        stated = Stated(f"H{_place(_HISTORY, condition)}", f"{condition[0].upper()}{condition[1:]}: {says}", cited)
        yield Precaution(condition, says, frozenset(about), stated)


def merged(cares: Iterable[Precaution]) -> tuple[tuple[str, str, tuple[Stated, ...]], ...]:
    """Return reasons, what they change and what that rests on; those that change the same are said together."""
    by_words: dict[str, list[Precaution]] = {}
    for care in cares:
        by_words.setdefault(care.says, []).append(care)
    return tuple(
        (", ".join(care.reason for care in group), says, tuple(care.basis for care in group))
        for says, group in by_words.items()
    )


def _place(table: Mapping[Any, object], name: str) -> int:
    return list(table).index(name) + 1


def _named(allergy: Allergy) -> str:
    other = allergy.substance == "other" and allergy.detail
    more = [allergy.reaction] if other else [allergy.detail, allergy.reaction]
    said = ", ".join(quoted(words) for words in more if words)
    return f"allergy to {quoted(other) if other else allergy.substance}" + (f" ({said})" if said else "")
