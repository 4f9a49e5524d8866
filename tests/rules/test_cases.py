"""Every case file finds exactly what it marks; every rule has a case that fires it and one that leaves it quiet."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from rule_cases import FACTS, base, case_paths, complete, episode_of, judged, over, read_case

from lda_notes.check import rule_table
from lda_notes.files.syntax import read_yaml
from lda_notes.knowledge.sources import SOURCES
from lda_notes.record.episode import Episode
from lda_notes.record.events import KINDS, Correcting

PATHS = case_paths()


@pytest.mark.parametrize("path", PATHS, ids=lambda path: path.name)
def test_case(path: Path) -> None:
    case = read_case(path)
    listing = "\n".join(f"{f.path}: {f.rule}: {f.message}" for f in case.findings)
    assert sorted(case.found) == sorted(case.expected), listing
    places = [finding.path for finding in case.findings]
    places += [one.path for finding in case.findings for one in finding.related]
    assert {step for place in places for step in place if isinstance(step, str)} <= FACTS
    names = {rule for _, rule in case.expected}
    assert (case.rule not in names) if case.quiet else (case.rule in names or path.name.count(".") > 1)


def test_every_rule_fires_in_one_case_and_is_quiet_in_another() -> None:
    names = {path.name for path in PATHS}
    rules = rule_table.load()
    assert {rule for rule in rules if f"{rule}.yaml" not in names} == set()
    assert {rule for rule in rules if not any(name.startswith(f"{rule}.ok") for name in names)} == set()
    known = {*rules, "correction-target", "correction-unreadable"}
    assert {name for name in names if name.split(".")[0] not in known} == set()


def test_a_case_and_its_quiet_neighbour_differ() -> None:
    for path in PATHS:
        if ".ok" not in path.name:
            neighbour = path.with_name(f"{path.name.split('.')[0]}.ok.yaml")
            assert not neighbour.exists() or neighbour.read_text() != path.read_text()


@pytest.mark.parametrize("kind", base()["kinds"])
def test_the_base_record_of_each_kind_has_no_gaps(kind: str) -> None:
    from lda_notes.check.needs import missing

    event = {"kind": kind, "at": "2031-04-02T10:00-05:00"}
    if issubclass(KINDS[kind], Correcting):
        event |= {"of": "access-1"} | {"addendum": {"text": "x"}, "amendment": {"sets": {}}}.get(kind, {})
    episode = episode_of({"kind": "access", "at": "2031-04-02T09:00-05:00"}, event)
    assert [gap.path for gap in missing(episode.events[1], episode)] == []


def test_a_plain_week_finds_nothing() -> None:
    events = [
        {"kind": "access", "at": "2031-04-02T09:00-05:00"},
        {"kind": "line check", "at": "2031-04-02T20:00-05:00"},
        {"kind": "flush", "at": "2031-04-03T07:00-05:00"},
        {"kind": "de-access", "at": "2031-04-03T07:30-05:00"},
    ]
    assert [(f.rule, f.message) for f in judged(episode_of(*events))] == []


def test_laying_over() -> None:
    under = {"a": {"x": 1, "y": 2}, "b": 3, "c": [{"x": 1, "y": 2}]}
    assert over(under, {"a": {"x": 5}, "b": None}) == {"a": {"x": 5, "y": 2}, "c": [{"x": 1, "y": 2}]}
    assert over(under, {"a": {"not_done": "why"}, "c": [{"x": 7}, {}]}) == {
        "a": {"not_done": "why"},
        "b": 3,
        "c": [{"x": 7, "y": 2}, {"x": 1, "y": 2}],
    }
    times = complete({"events": [{"kind": "access", "at": "2031-04-02T09:00-05:00"}]})["events"][0]
    assert times["charted_at"] == "2031-04-02T09:20:00-05:00"


@pytest.mark.parametrize("name", rule_table.load())
def test_a_rule_explains_itself(name: str) -> None:
    rule = rule_table.load()[name]
    assert len(rule.explanation.split("\n\n")) == 3, "what is checked, why it matters, what to do"
    assert rule.todo and rule.todo[0].islower() and not rule.todo.endswith(".")
    assert rule.citations or rule.limits
    assert all(citation.source in SOURCES for citation in rule.citations)


_QUOTED = re.compile(r'"[^"]*"')
_ERROR_PRONE = re.compile(
    r"(?<![A-Za-z])(?:U|IU|QD|QOD|q\.?d|MS|MSO4|MgSO4|cc|NS|SC|SQ|HS|D/C|ug)(?![A-Za-z])"
    r"|[<>@&\u00b5\u03bc]"  # less, greater, at, and, micro
    r"|\d\.\d*0(?![\d.-])"  # a trailing zero
    r"|(?<![\d.])\.\d"  # a naked decimal point
    r"|\d(?:mg|mL|mm|cm|kg|units)\b"  # a number run together with its unit
)


def test_messages_are_plain_and_name_nobody() -> None:
    for finding in (finding for path in PATHS for finding in read_case(path).findings):
        for said in (finding.message, finding.todo, *(related.says for related in finding.related)):
            own = _QUOTED.sub("", said)
            assert not _ERROR_PRONE.search(own), f"{finding.rule}: {said}"
            assert "\n" not in said and len(said) < 400
            for private in ("Thistledown", "Perpetua", "CASE-1"):
                assert private not in said, f"{finding.rule}: {said}"


def test_the_order_in_the_file_does_not_matter() -> None:
    differ = []
    for path in PATHS:
        parsed = read_yaml(path.read_bytes())
        assert parsed.data is not None
        whole = complete(parsed.data)
        # With one identifier twice, which of the two is meant depends on their places: then only rules are compared.
        told = len({event["id"] for event in whole["events"]}) == len(whole["events"])
        one, other = (
            sorted(
                (f.rule, f.message if told else "", f.event or "")
                for f in judged(Episode.model_validate_json(json.dumps(record)))
            )
            for record in (whole, {**whole, "events": whole["events"][::-1]})
        )
        differ += [path.name] if one != other else []
    assert differ == []


def test_explanations_hold_no_error_prone_form() -> None:
    for rule in rule_table.load().values():
        if rule.family != "wording":  # whose subject they are
            for said in (rule.explanation, rule.todo):
                assert not _ERROR_PRONE.search(_QUOTED.sub("", said)), f"{rule.name}: {said}"
