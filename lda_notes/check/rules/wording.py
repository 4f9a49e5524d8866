"""Abbreviations and ways of writing doses in the record's free text that have been misread with harm."""

from __future__ import annotations

from collections.abc import Iterable

from lda_notes.check.free_text import Piece, unsafe_wording
from lda_notes.check.rule_table import Case, Found, advice, wrong
from lda_notes.knowledge.abbreviations import DO_NOT_USE, DRUG_NAMES, ERROR_PRONE, POSSIBLE, UnsafeForm


def _forms(case: Case) -> list[tuple[Piece, UnsafeForm]]:
    return unsafe_wording(case.timeline, case.entries_and_corrections)


def _found(piece: Piece, form: UnsafeForm) -> Found:
    says = f'the text contains "{form.found}"; write {form.instead}'
    return Found(piece.keys, says, piece.entry, citations=(form.source,))


@wrong("write it out; once signed, add an addendum that says what is meant", DO_NOT_USE)
def do_not_use_abbreviation(case: Case) -> Iterable[Found]:
    """Finds abbreviations of the Joint Commission's "Do Not Use" list in the record's own words.

    U read as 0, QD as QID, a trailing zero or a missing leading zero have given patients ten times the dose. The list
    applies to all free text about medication. The note quotes what was entered, so others would read the form.

    The exception of the list applies: sizes of catheters and needles may show a trailing zero.
    """
    for piece, form in case.once(_forms):
        if form.source == DO_NOT_USE:
            yield _found(piece, form)


@advice("write it out", ERROR_PRONE, POSSIBLE, DRUG_NAMES)
def error_prone_abbreviation(case: Case) -> Iterable[Found]:
    """Finds other abbreviations, symbols and ways of writing doses that are on lists of error-prone forms.

    They have been misread, though less often: cc as zeros, a slash as 1, D/C as discharge where discontinue was meant.
    """
    for piece, form in case.once(_forms):
        if form.source != DO_NOT_USE:
            yield _found(piece, form)
