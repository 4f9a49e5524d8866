"""A finding says by names of facts which absence it rests on."""

from __future__ import annotations

import inspect
from datetime import timedelta
from typing import Any

import pytest
from rule_cases import FACTS, case_paths, case_under, episode_of
from scenes import AT, event

from lda_notes.check import rule_table
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import timeline
from lda_notes.problems import Place
from lda_notes.record.unread import Unread


def test_every_absence_that_a_finding_rests_on_is_of_a_fact(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was written and could not be read is not missing: by these names it is looked up."""
    asked: set[str] = set()

    def listed(_: Any, __: str, lacks: tuple[str, ...]) -> bool:
        asked.update(step for name in lacks for step in name.split("."))
        return False

    monkeypatch.setattr(rule_table.Case, "could_not_read", listed)
    resting = [name for name, rule in rule_table.load().items() if "lacks=" in inspect.getsource(rule.check)]
    for path in case_paths():
        if path.name in {f"{name}.yaml" for name in resting}:
            case_under(path, DEFAULT)
    assert len(resting) > 6 and len(asked) > 5
    assert asked <= FACTS


@pytest.mark.parametrize(("fact", "found"), [("inserted_at", False), ("dressed_at", True), ("pain", True)])
def test_what_was_written_and_could_not_be_read_is_no_absence(fact: str, found: bool) -> None:
    arrived = episode_of(event("arrival accessed", 0, inserted_at={"not_assessed": "-"}))
    odd = Unread(("events", 0), Place("case.yaml", 1, 1), "yesterdy", "arrival-accessed-1", fact, (fact,))
    line = timeline.build(arrived, DEFAULT, AT + timedelta(days=3), (odd,))
    assert ("unknown-age-left" in {one.rule for one in rule_table.check(line, DEFAULT)}) is found
