"""Who signs, when, and for which patient."""

from __future__ import annotations

from typing import Final

from lda_notes.rules.gaps import gap_rule

_ROWS: Final[tuple[tuple[str, str, str, str], ...]] = (
    (
        "author-not-recorded",
        "by | by.name",
        "record who did it, by name",
        "An entry that nobody signs is no entry: reviewers and courts set it aside.",
    ),
    (
        "credential-not-recorded",
        "by.credential",
        "record the author's credential, such as RN",
        "The credential shows that the author was allowed to do what is charted.",
    ),
    (
        "author-identifier-not-recorded",
        "by.id",
        "record the author's staff identifier",
        "Two nurses may share a name; the identifier tells them apart when the record is sent on.",
    ),
    (
        "verifier-not-recorded",
        "verified_by | verified_by.name | verified_by.credential",
        "record who watched and verified, with credential",
        "A nurse new to the procedure works under the eyes of a second one who has the competence; both sign.",
    ),
    (
        "entry-time-not-recorded",
        "charted_at",
        "record when the entry was made",
        "An entry shows two times: when it happened and when it was written down.",
    ),
)

for _row in _ROWS:
    gap_rule(*_row, family=__name__)
