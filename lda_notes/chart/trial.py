"""The record as it would stand with what was said so far: the same judgement as a check, before anything is written."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from pydantic import BaseModel, ValidationError

from lda_notes.chart import paths
from lda_notes.check import rule_table
from lda_notes.check.needs import missing
from lda_notes.knowledge.policy import Policy
from lda_notes.line import timeline
from lda_notes.line.timeline import ALONE, Others, Timeline
from lda_notes.problems import SEVERITIES, Finding, Path
from lda_notes.record.episode import Episode
from lda_notes.record.events import KINDS, Event
from lda_notes.record.unread import Unread
from lda_notes.record.validation import Misfit, misfits

_ROUNDS: Final = 20


@dataclass(frozen=True, slots=True)
class Trial:
    """``event`` is what was said so far as an event, parts without a needed fact left out; None before its kind's
    own needed facts are said. ``findings`` are those that the record without it does not have, worst first.
    """

    event: Event | None
    line: Timeline
    findings: tuple[Finding, ...]
    position: int


@dataclass(frozen=True, slots=True)
class Fitted:
    """Facts held against the layout. ``data`` are those that fit; ``whole`` is None when a needed one is missing."""

    whole: Any
    data: dict[str, Any]
    misfits: tuple[Misfit, ...]


def fitted(model: type[BaseModel], facts: Mapping[str, Any]) -> Fitted:
    """Hold ``facts`` against the layout of ``model``.

    A part that still lacks a needed fact is left out and is no misfit; a value that does not fit is both.
    """
    data: Any = dict(facts)
    found: list[Misfit] = []
    for _ in range(_ROUNDS):
        try:
            return Fitted(model.model_validate_json(json.dumps(data)), data, tuple(found))
        except ValidationError as error:
            faults = misfits(error, data)
        found.extend(fault for fault in faults if not fault.missing)
        gone = {fault.path[:-1] if fault.missing else fault.path for fault in faults}
        if () in gone:
            break
        for path in sorted(gone, key=lambda path: (len(path), str(path)), reverse=True):
            data = paths.drop(data, path)
    return Fitted(None, data, tuple(found))


def refusal(fault: Misfit) -> str:
    """Return a value that does not fit as it is said to who typed it: without the key of a file."""
    said, expected, wanted = fault.message.partition("; expected ")
    typed = said.partition(" holds ")[2] or said
    return f"That does not fit: {typed}{expected}{wanted.removesuffix(' or a mapping that says why not')}."


def baseline(
    episode: Episode, policy: Policy, asof: datetime, unread: Sequence[Unread] = (), others: Others = ALONE
) -> tuple[Timeline, frozenset[tuple[Any, ...]]]:
    """Return the record's timeline within its line as it stands, and what a check already finds in it."""
    line = timeline.build(episode, policy, asof, unread, others)
    return line, frozenset(_mark(f) for f in (*line.findings, *rule_table.check(line, policy)))


def judge(
    facts: Mapping[str, Any],
    episode: Episode,
    policy: Policy,
    asof: datetime,
    known: frozenset[tuple[Any, ...]],
    line: Timeline,
) -> Trial:
    """Judge the episode with the event that ``facts`` make, if they make one."""
    event = fitted(KINDS[facts["kind"]], facts).whole
    position = len(episode.events)
    if event is None:
        return Trial(None, line, (), position)
    trial = episode.model_copy(update={"events": (*episode.events, event)})
    line = timeline.build(trial, policy, asof, line.unread, line.others)
    found = [f for f in (*line.findings, *rule_table.check(line, policy)) if _mark(f) not in known]
    found.sort(key=lambda f: (SEVERITIES.index(f.severity), f.rule, f.message))
    return Trial(event, line, tuple(found), position)


def _mark(finding: Finding) -> tuple[Any, ...]:
    return finding.rule, finding.event, finding.path, finding.message


def still_asked(trial: Trial, policy: Policy) -> frozenset[Path]:
    """Return the paths of facts that the event still lacks, as findings name them."""
    if trial.event is None:
        return frozenset()
    lacking = missing(trial.event, trial.line.episode, policy)
    return frozenset(("events", trial.position, *gap.path) for gap in lacking)


def at_once(trial: Trial, policy: Policy) -> tuple[Finding, ...]:
    """Return the findings that an answer itself gave rise to: not those about facts that are still to be asked."""
    asked = still_asked(trial, policy)
    return tuple(f for f in trial.findings if f.path not in asked and f.severity != "gap")
