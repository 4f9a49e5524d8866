"""How findings and holds are said while charting: what is wrong, what must now happen, where that comes from."""

from __future__ import annotations

from typing import Final
from zoneinfo import ZoneInfo

from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.sources import COMMON_PRACTICE
from lda_notes.line.timeline import RESTORABLE, Hold
from lda_notes.narrative import phrasing
from lda_notes.problems import Finding, Severity

_CALLED: Final[dict[Severity, str]] = {
    "unsafe": "UNSAFE",
    "wrong": "CANNOT BE",
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


def hold_words(hold: Hold, policy: Policy, zone: ZoneInfo) -> str:
    """Return what a hold means and who ends it."""
    reasons = [reason for reason, _ in hold.reasons]
    restored = policy.choice("hold_ends_with") == "evaluation or blood return" and set(reasons) <= RESTORABLE
    ends = "Vascular access specialists or a physician clear it" + (", or blood return comes back" if restored else "")
    return (
        f"LINE ON HOLD: {phrasing.listed(reasons)}. Nothing goes through it until it is cleared.\n"
        f"{ends}. Say below what was tried, who was told, when, and what they said.\n"
        f"Source: {COMMON_PRACTICE.text()}."
    )
