"""Writes the published page of rules from the table, each rule with the case that fires it.

python tests/rules/rule_page.py --write    writes lda_notes/check/rules/RULES.md anew
python tests/rules/rule_page.py --check    ends with 1 when the page is stale
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path

from lda_notes.check.rules.listed import BETWEEN, READER, Listed, limit_rows, listed
from lda_notes.knowledge.policy import DEFAULT

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "lda_notes" / "check" / "rules" / "RULES.md"
CASES = ROOT / "tests" / "cases"

HEAD = """\
# Rules

What `lda-notes check` looks for, family by family. This page is generated from the table of rules by
`tests/rules/rule_page.py --write`; a test fails when it is stale.

A finding is *unsafe* (line or patient at risk), *wrong* (the record contradicts itself or cannot be read), a *gap*
(something that must be recorded is not: a note is a draft) or *advice*. Limits are the published ones; a facility's
policy file replaces them. Each source says in brackets how it is known to us.

The example of each rule is its test case: a record in which only what matters is written, laid over a full one, with
`# expect:` on the row of the finding (`tests/cases/README.md`).
"""


def page() -> str:
    """Return the page as Markdown."""
    rows = listed(DEFAULT)
    contents = [
        f"- {family[0].upper()}{family[1:]}: " + ", ".join(f"[{row.name}](#{row.name})" for row in members)
        for family, members in groupby(rows, key=lambda row: row.family)
    ]
    parts = [HEAD, "\n".join(contents) + "\n"]
    for family, members in groupby(rows, key=lambda row: row.family):
        parts.append(f"## {family[0].upper()}{family[1:]}\n")
        parts.extend("\n".join(_rule(row)) for row in members)
    return "\n".join(parts)


def _rule(row: Listed) -> Iterator[str]:
    yield f"### {row.name}\n"
    yield f"*{row.severity}*\n"
    for paragraph in row.explanation.split("\n\n"):
        yield " ".join(paragraph.split()) + "\n"
    notes = [f"- Limit `{name}`: {says} {value}" for name, says, value in limit_rows(row, DEFAULT)]
    notes += [f"- Source: {citation.text()}" for citation in row.citations]
    if notes:
        yield "\n".join(notes) + "\n"
    case = CASES / f"{row.name}.yaml"
    if case.exists():
        yield f"```yaml\n{case.read_text().rstrip()}\n```\n"
    elif row.family not in (READER, BETWEEN):
        raise FileNotFoundError(f"{row.name} has no case to show: write {case.relative_to(ROOT)}")


def main(arguments: list[str]) -> int:
    if arguments == ["--write"]:
        PAGE.write_text(page())
        return 0
    if arguments == ["--check"]:
        if PAGE.exists() and PAGE.read_text() == page():
            return 0
        print(f"{PAGE.relative_to(ROOT)} is stale: run tests/rules/rule_page.py --write", file=sys.stderr)
        return 1
    print(__doc__, file=sys.stderr)
    return 2


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
