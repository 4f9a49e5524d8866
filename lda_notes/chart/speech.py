"""How findings and holds are said while charting: what is wrong, what must now happen, where that comes from."""

from __future__ import annotations

from typing import Final

from lda_notes.knowledge.sources import COMMON_PRACTICE
from lda_notes.line.holds import what_ends
from lda_notes.line.states import Hold
from lda_notes.narrative import phrasing
from lda_notes.problems import Finding, Severity

_CALLED: Final[dict[Severity, str]] = {
    "unsafe": "UNSAFE",
    "wrong": "CONTRADICTION",
    "gap": "NOT RECORDED",
    "advice": "WORTH A LOOK",
}


def found_words(finding: Finding) -> str:
    """Return a finding in the order in which it is needed: what, what to do now, why."""
    said = f"{_CALLED[finding.severity]}: {finding.message}."
    todo = f"What to do: {finding.todo}."
    rows = [said, todo]
    if finding.citations:
        first, *more = finding.citations
        rest = f", and {len(more)} more" if more else ""
        rows.append(f"Source: {first.text()}{rest} (rule {finding.rule}).")
    return "\n".join(rows)


def hold_words(holds: tuple[Hold, ...]) -> str:
    """Return what the holds of a line mean and what ends them."""
    signs = phrasing.listed(tuple(dict.fromkeys(hold.sign for hold in holds)))
    return (
        f"LINE ON HOLD: {signs}. Nothing goes through it.\n"
        f"What ends the hold: {phrasing.listed(what_ends(holds), 'or')}.\n"
        "Record below what was tried, who was notified, when, and the reply.\n"
        f"Source: {COMMON_PRACTICE.text()}."
    )
