"""Case files: a few facts applied over a full record, with the findings expected on their rows."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from lda_notes.check import rule_table
from lda_notes.files.syntax import read_yaml
from lda_notes.knowledge import policy_values
from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.line import timeline
from lda_notes.problems import Finding
from lda_notes.record.episode import Episode

CASES = Path(__file__).parents[1] / "cases"
_EXPECT = re.compile(r"#\s*expect:\s*([a-z0-9, -]+)$")
_HEADER = re.compile(r"^#\s*(asof|policy):\s*(.+)$")
_OFFSET = re.compile(r"^at([+-])(\d+)([mhd])$")
_UNITS = {"m": timedelta(minutes=1), "h": timedelta(hours=1), "d": timedelta(days=1)}


def _fields(model: type[BaseModel]) -> Iterator[str]:
    yield from model.model_fields
    for one in model.__subclasses__():
        yield from _fields(one)


FACTS = frozenset({"events", "records", *_fields(BaseModel)})
"""The names of all facts that a record can contain: what a finding points at."""


@cache
def base() -> Any:
    parsed = read_yaml((CASES / "base.yaml").read_bytes())
    assert not parsed.faults, parsed.faults
    return parsed.data


def over(under: Any, top: Any) -> Any:
    """Return ``top`` applied over ``under``: mappings key by key, a null takes the key out, lists item over first item.

    A reason why not (``not_done``, ``not_assessed``) replaces the whole.
    """
    if isinstance(top, dict):
        if not isinstance(under, dict) or {"not_done", "not_assessed"} & {*top, *under}:
            under = {}
        merged = {key: deepcopy(value) for key, value in under.items() if key not in top}
        for key, value in top.items():
            if value is not None:
                merged[key] = over(under.get(key), value)
        return merged
    if isinstance(top, list):
        first = under[0] if isinstance(under, list) and under and isinstance(under[0], dict) else None
        return [over(first, item) if isinstance(item, dict) else item for item in top]
    return top


def _timed(value: Any, at: datetime) -> Any:
    if isinstance(value, dict):
        return {key: _timed(inner, at) for key, inner in value.items()}
    if isinstance(value, list):
        return [_timed(inner, at) for inner in value]
    found = _OFFSET.match(value) if isinstance(value, str) else None
    if not found:
        return value
    sign, count, unit = found.groups()
    span = int(count) * _UNITS[unit]
    return (at + span if sign == "+" else at - span).isoformat()


def complete(data: dict[str, Any]) -> dict[str, Any]:
    """Return a whole record: ``data`` applied over the base. An event needs only kind and time.

    Without an identifier the second flush is ``flush-2``. Parts that an event of the base does not have, such as
    problems, are applied over the base's ``parts`` once the case names them.
    """
    whole: dict[str, Any] = over(base()["record"], {key: value for key, value in data.items() if key != "events"})
    counts: dict[str, int] = {}
    whole["events"] = []
    for event in data["events"]:
        kind = event["kind"]
        counts[kind] = counts.get(kind, 0) + 1
        parts = {key: part for key, part in base()["parts"].items() if event.get(key) is not None}
        under = over(over(base()["every"], base()["kinds"][kind]), parts)
        full = over({"id": f"{kind.replace(' ', '-')}-{counts[kind]}", **under}, event)
        at = full.get("at")
        whole["events"].append(_timed(full, datetime.fromisoformat(at)) if isinstance(at, str) else full)
    return whole


def episode_of(*events: dict[str, Any], **parts: Any) -> Episode:
    """Return an episode of ``events`` completed from the base; ``parts`` are patient, stay and port."""
    return Episode.model_validate_json(json.dumps(complete({**parts, "events": list(events)})))


def judged(episode: Episode, policy: Policy = DEFAULT, asof: datetime | None = None) -> tuple[Finding, ...]:
    """Return what corrections and rules find, judged from an hour after the last entry unless ``asof`` is given."""
    moments = [moment for event in episode.events for moment in (event.at, event.charted_at) if moment is not None]
    last = max(moments, default=datetime.fromisoformat("2031-04-01T00:00-05:00"))
    line = timeline.build(episode, policy, asof or last + timedelta(hours=1))
    return (*line.findings, *rule_table.check(line, policy))


def rules_found(*events: dict[str, Any], policy: Policy = DEFAULT, **parts: Any) -> set[str]:
    """Return the names of the rules that ``events`` break; for tests of a limit's two sides."""
    return {finding.rule for finding in judged(episode_of(*events, **parts), policy)}


def local_policy(**limits: Any) -> Policy:
    """Return the published policy with some of its limits replaced."""
    source = {"title": "Case policy (invented)", "date": "2031-01-01"}
    changed, faults = policy_values.apply(DEFAULT, {"source": source, "limits": limits})
    assert not faults, faults
    return changed


@dataclass(frozen=True)
class CaseFile:
    """A case as read: what is expected, and what was found, each as (row, rule)."""

    path: Path
    expected: frozenset[tuple[int, str]]
    found: frozenset[tuple[int, str]]
    findings: tuple[Finding, ...]

    @property
    def rule(self) -> str:
        return self.path.name.split(".")[0]

    @property
    def quiet(self) -> bool:
        """Tell whether this is the neighbour on which the rule stays quiet."""
        return self.path.name.split(".")[1].startswith("ok")


@cache
def read_case(path: Path) -> CaseFile:
    """Return a case judged by the published policy; many tests ask for the same."""
    return case_under(path, DEFAULT)


def case_under(path: Path, default: Policy) -> CaseFile:
    """Return a case judged by a policy, unless it names limits of its own."""
    raw = path.read_text()
    parsed = read_yaml(raw.encode())
    assert not parsed.faults, f"{path.name}: {parsed.faults}"
    assert parsed.data is not None
    expected: set[tuple[int, str]] = set()
    asof: datetime | None = None
    policy = default
    for number, text in enumerate(raw.splitlines(), 1):
        if mark := _EXPECT.search(text):
            expected.update((number, name.strip()) for name in mark[1].split(","))
        if header := _HEADER.match(text):
            if header[1] == "asof":
                asof = datetime.fromisoformat(header[2])
            else:
                limits = read_yaml(header[2].encode()).data
                policy = local_policy(**(limits or {}))
    episode = Episode.model_validate_json(json.dumps(complete(parsed.data)))
    findings = tuple(finding._replace(path=tuple(finding.path)) for finding in judged(episode, policy, asof))
    places = parsed.places

    def row(where: tuple[str | int, ...]) -> int:
        spots = (places.get(where[:length]) for length in range(len(where), 0, -1))
        return next((spot[0] for spot in spots if spot is not None), 1)

    found = frozenset((row(finding.path), finding.rule) for finding in findings)
    return CaseFile(path, frozenset(expected), found, findings)


def case_paths() -> list[Path]:
    return sorted(path for path in CASES.glob("*.yaml") if path.name != "base.yaml")
