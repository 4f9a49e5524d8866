"""The list of everything that the check can find, for the command that explains it and for the published page."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any, Final

from lda_notes.check import rule_table
from lda_notes.check.among import AMONG
from lda_notes.check.report import sentence, source_as_json
from lda_notes.check.rules.unreadable import READING
from lda_notes.knowledge.policy import Policy, value_text
from lda_notes.knowledge.sources import Citation
from lda_notes.problems import Severity

JSON_VERSION: Final = 1
READER: Final = "reading"
"""Family of what is found before any rule can be asked."""

BETWEEN: Final = "between records"
"""Family of what is found only when several records are read."""


_GROUPS: Final = {
    "completeness": "completeness questions",
    READER: "file checks",
    **dict.fromkeys(("authorship", "identity", "order", "stay order", "corrections"), "record checks"),
    **dict.fromkeys(("contradictions", "scales", "supply labels", "wording", BETWEEN), "record checks"),
}
"""The subject of a family; that of any other is the patient and the line."""


@dataclass(frozen=True, slots=True)
class Listed:
    """A rule as it is listed. ``explanation`` has three paragraphs: what is checked, why it matters, what to do."""

    name: str
    family: str
    severity: Severity
    todo: str
    explanation: str
    limits: tuple[str, ...]
    citations: tuple[Citation, ...]

    @property
    def group(self) -> str:
        """Return what the rule is about: clinical checks, completeness questions, record checks or file checks."""
        return _GROUPS.get(self.family, "clinical checks")

    @property
    def first_sentence(self) -> str:
        """Return what is checked, in one sentence."""
        paragraph = " ".join(self.explanation.split("\n\n", 1)[0].split())
        end = paragraph.find(". ")
        return paragraph if end < 0 else paragraph[: end + 1]


def listed(policy: Policy) -> tuple[Listed, ...]:
    """Return everything that the check can find, family by family, in the order of the table."""
    found = [
        Listed(row.name, family, row.severity, row.todo, f"{row.what}\n\n{row.why}\n\n{sentence(row.todo)}", (), ())
        for family, rows in ((READER, READING), (BETWEEN, AMONG))
        for row in rows
    ]
    for rule in rule_table.load().values():
        cites = tuple(rule_table.citations(rule, policy))
        found.append(Listed(rule.name, rule.family, rule.severity, rule.todo, rule.explanation, rule.limits, cites))
    return tuple(found)


def counted(rows: tuple[Listed, ...]) -> str:
    """Return how many rules there are of each group, in words."""
    groups = Counter(row.group for row in rows)
    return ", ".join(f"{number} {group}" for group, number in sorted(groups.items()))


def limit_rows(row: Listed, policy: Policy) -> list[tuple[str, str, str]]:
    """Return each limit that a rule uses: its name, what is limited, and the value in force in words."""
    return [(name, policy.rows[name].says, value_text(policy.rows[name])) for name in row.limits]


def as_json(rows: tuple[Listed, ...], policy: Policy) -> dict[str, Any]:
    """Return rules in a versioned shape, for `json.dumps`."""
    return {
        "version": JSON_VERSION,
        "rules": [
            {
                "rule": row.name,
                "family": row.family,
                "severity": row.severity,
                "todo": sentence(row.todo),
                "explanation": row.explanation.split("\n\n"),
                "limits": [
                    {"name": name, "says": says, "value": value} for name, says, value in limit_rows(row, policy)
                ],
                "sources": [source_as_json(citation) for citation in row.citations],
            }
            for row in rows
        ],
    }
