"""Every row of the policy decides something: a row that no code reads would be printed as a limit in force."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from rule_cases import case_paths, case_under, episode_of
from scenes import BABY, CREAM, INFANT, SCHOOL, SMALL, access

import lda_notes
from lda_notes.check import rule_table
from lda_notes.knowledge.limits import Limit
from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.line import due, timeline

PACKAGE = Path(lda_notes.__file__).parent
ZONE = ZoneInfo("America/Chicago")
READS = ("value", "span", "choice", "clock", "limit", "words", "times")


@dataclass(frozen=True)
class Watched(Policy):
    """A policy that remembers which rows were compared with something; a row printed or cited does not count."""

    read: set[str] = field(default_factory=set)

    def limit(self, name: str) -> Limit:
        self.read.add(name)
        return Policy.limit(self, name)

    def value(self, name: str) -> Decimal:
        return self.limit(name).value

    def choice(self, name: str) -> str:
        self.read.add(name)
        return Policy.choice(self, name)

    def text(self, name: str) -> str:
        return DEFAULT.text(name)


def written() -> Iterator[str]:
    """Yield the names that code asks the policy for as they are written: ``policy.value("needle_dwell_days")``.

    Names of a tuple called ``limits`` are asked for in a loop over it.
    """
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call):
                if isinstance(node.func, ast.Attribute) and node.func.attr in READS:
                    yield from texts(node.args[:1])
                yield from texts(keyword.value for keyword in node.keywords if keyword.arg == "option")
            elif isinstance(node, ast.Assign) and isinstance(node.value, ast.Tuple):
                called = [ast.unparse(target) for target in node.targets]
                yield from texts(node.value.elts if called == ["limits"] else ())


def texts(nodes: Any) -> Iterator[str]:
    for node in nodes:
        for part in (node.body, node.orelse) if isinstance(node, ast.IfExp) else (node,):
            if isinstance(part, ast.Constant) and isinstance(part.value, str):
                yield part.value


def judged_by(policy: Policy, *events: dict[str, Any], **parts: Any) -> None:
    episode = episode_of(*events, **parts)
    line = timeline.build(episode, policy, max(event.at for event in episode.events) + timedelta(hours=1))
    rule_table.check(line, policy)
    for septum in episode.port.septa:
        due.due(line, septum, policy)


def asked() -> set[str]:
    """Return the names that are asked for under a name put together while running, over the cases."""
    watched = Watched(DEFAULT.rows)
    for path in case_paths():
        for finding in case_under(path, watched).findings:
            assert finding.message
    cream = {
        "agent": CREAM,
        "amount_g": 1,
        "area_cm2": 1,
        "applied_at": "2031-04-02T07:00-05:00",
        "removed_at": "2031-04-02T08:00-05:00",
    }
    for patient in (INFANT, BABY, SMALL, SCHOOL):
        judged_by(watched, access(anesthetic=cream), patient=patient)
    for name in ("INS phlebitis", "visual phlebitis score", "INS infiltration", "CTCAE 5 extravasation", "pinch-off"):
        judged_by(watched, access(site={"scale": {"name": name, "score": 1}}))
    return watched.read


def test_every_row_of_the_policy_is_read() -> None:
    names = asked()
    assert {name for name in DEFAULT.rows if name.startswith("cream_") and name.endswith(("_g", "_cm2"))} <= names
    awaited = {"shift_starts", "maintenance_flush_days"}  # read by the handoff; compared as a row
    assert sorted(DEFAULT.rows.keys() - names - set(written()) - awaited) == []


def test_a_row_that_is_only_cited_or_printed_counts_as_unread() -> None:
    watched = Watched(DEFAULT.rows)
    assert watched.text("needle_dwell_days") == "7 days"
    assert watched.citations("needle_dwell_days")
    assert watched.read == set()
    assert watched.span("needle_dwell_days") == timedelta(days=7)
    assert due.end_of(datetime.fromisoformat("2031-04-02T09:00-05:00"), "gauze_dressing_days", watched, ZONE)
    assert watched.read == {"needle_dwell_days", "gauze_dressing_days"}
