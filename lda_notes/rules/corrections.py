"""Addenda, amendments and retractions."""

from __future__ import annotations

from typing import Final

from lda_notes.rules.gaps import gap_rule

_ROWS: Final[tuple[tuple[str, str, str, str], ...]] = (
    (
        "correction-reason-not-recorded",
        "addendum:reason | amendment:reason | retraction:reason",
        "record why the entry is corrected",
        "A correction states who, when, what changed and why; one without a reason looks like tampering.",
    ),
    (
        "addendum-content-not-recorded",
        "text",
        "record what is added, as facts or as text",
        "An addendum that adds nothing leaves the reader to guess what was left out.",
    ),
)

for _row in _ROWS:
    gap_rule(*_row, family=__name__)
