"""Any record that can be read can be checked: no rule stumbles, and what is found does not depend on the order."""

from __future__ import annotations

import random
import re
from datetime import timedelta
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strategies import episodes, read

from lda_notes.check import rule_table
from lda_notes.knowledge.abbreviations import unsafe_forms
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import timeline
from lda_notes.problems import Finding
from lda_notes.record.episode import Episode

_QUOTED = re.compile(r'"[^"]*"')
SLOW = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))


def checked(episode: Episode, hours: int) -> tuple[Finding, ...]:
    last = max((event.at for event in episode.events), default=None)
    if last is None:
        return ()
    line = timeline.build(episode, DEFAULT, last + timedelta(hours=hours))
    return rule_table.check(line, DEFAULT)


def about(finding: Finding) -> tuple[Any, ...]:
    """A finding without the position of its event in the file."""
    keys = finding.path[2:] if finding.path[:1] == ("events",) else finding.path
    return finding.rule, finding.event or "", str(keys), finding.message


@SLOW
@given(episodes(most=6), st.integers(0, 2000))
def test_no_rule_stumbles_over_a_record_that_can_be_read(data: dict[str, Any], hours: int) -> None:
    record = read(data)
    assert record.episode is not None
    for finding in checked(record.episode, hours):
        placed = record.placed(finding)
        assert placed.place is not None and placed.place.row >= 1
        assert finding.message and finding.todo and finding.citations
        assert finding.event is None or any(event.id == finding.event for event in record.episode.events)


@SLOW
@given(episodes(most=6), st.randoms(use_true_random=False))
def test_shuffled_events_give_the_same_findings(data: dict[str, Any], rng: random.Random) -> None:
    first = read(data).episode
    assert first is not None
    if len({event.id for event in first.events}) < len(first.events):
        return  # two events of one identifier are told apart by their order alone
    shuffled = {**data, "events": rng.sample(data["events"], len(data["events"]))}
    second = read(shuffled).episode
    assert second is not None
    assert sorted(map(about, checked(first, 1))) == sorted(map(about, checked(second, 1)))


@SLOW
@given(episodes(most=6))
def test_findings_are_written_without_error_prone_forms_of_their_own(data: dict[str, Any]) -> None:
    record = read(data)
    assert record.episode is not None
    for finding in checked(record.episode, 1):
        assert unsafe_forms(_QUOTED.sub("", finding.message)) == [], finding.rule
        assert unsafe_forms(_QUOTED.sub("", finding.todo)) == []
