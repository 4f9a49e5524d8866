"""The spine: the one place that chains the stages."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Final

from lda_notes.check import among, rule_table
from lda_notes.check.judged import Judged
from lda_notes.knowledge import policy_file
from lda_notes.knowledge.policy import Policy
from lda_notes.line import timeline
from lda_notes.line.corrections import corrected
from lda_notes.problems import SEVERITIES, Finding
from lda_notes.record import events
from lda_notes.record import reading as records
from lda_notes.record.reading import Record

if TYPE_CHECKING:
    from lda_notes.fhir.build.bundle import EventBundle, Options
    from lda_notes.fhir.config import Config
    from lda_notes.fhir.verify.faults import BundleFault


def judge(record: Record, policy: Policy, asof: datetime) -> Judged:
    """Check ``record``: faults of reading, of corrections and of the rules, each with its place, in file order."""
    if record.episode is None:
        return Judged(record, None, _ordered([record.placed(finding) for finding in record.findings]))
    line = timeline.build(record.episode, policy, asof, record.unread_facts)
    found = [record.placed(f) for f in (*record.findings, *line.findings, *rule_table.check(line, policy))]
    return Judged(record, line, _ordered(found))


def _ordered(findings: list[Finding]) -> tuple[Finding, ...]:
    def key(finding: Finding) -> tuple[int, int, int, str, str]:
        place = finding.place
        row, column = (place.row, place.column) if place else (0, 0)
        return row, column, SEVERITIES.index(finding.severity), finding.rule, finding.message

    return tuple(sorted(findings, key=key))


def compare(judged: Sequence[Judged]) -> list[Judged]:
    """Return the same records, each with the findings that show only between them, such as one number for two."""
    lines = [(index, one.timeline) for index, one in enumerate(judged) if one.timeline is not None]
    files = [judged[index].record.file for index, _ in lines]
    added: dict[int, list[Finding]] = {}
    for doubt in among.doubts([line for _, line in lines]):
        for member in doubt.members:
            index, line = lines[member]
            found = among.finding(doubt, member, files, line.episode)
            added.setdefault(index, []).append(judged[index].record.placed(found))
    return [
        replace(one, findings=_ordered([*one.findings, *added[index]])) if index in added else one
        for index, one in enumerate(judged)
    ]


def upto(record: Record, moment: datetime) -> Record:
    """Return ``record`` as it was at ``moment``: without the events after it, corrections included.

    A sheet judged from a moment in the past then says nothing of what happened later.
    """
    episode = record.episode
    if episode is None or all(event.at <= moment for event in episode.events):
        return record
    kept = [place for place, event in enumerate(episode.events) if event.at <= moment]
    told = tuple(episode.events[place] for place in kept)
    positions = tuple(record.positions[place] if record.positions is not None else place for place in kept)
    late = set(range(len(episode.events))) - set(kept)
    if record.positions is not None:
        late = {record.positions[place] for place in late}
    facts = tuple(fact for fact in record.unread_facts if fact.path[0] != "events" or fact.path[1] not in late)
    told_episode = episode.model_copy(update={"events": told})
    return replace(record, episode=told_episode, positions=positions, unread_facts=facts)


def begins(record: Record) -> datetime | None:
    """Return when a stay begins: admission, or the first event that stands if that is earlier; None when not known.

    The port may have been implanted long before. An event that could not be read may be earlier than all others.
    """
    episode = record.episode
    if episode is None:
        return None
    admitted = episode.stay.admitted_at
    if admitted is None and record.unread:
        return None
    standing: tuple[events.Event, ...] = episode.events
    if any(isinstance(event, events.Correcting) for event in standing):
        standing = tuple(entry.event for entry in corrected(episode)[0])
    cared = (event.at for event in standing if not isinstance(event, events.PortImplanted))
    return min((*([admitted] if admitted else []), *cared), default=None)


def judge_file(path: FilePath, policy: Policy, asof: datetime) -> Judged:
    """Read and check one record file."""
    return judge(records.read(path), policy, asof)


FAR: Final = datetime(9999, 1, 1, tzinfo=UTC)
"""The moment that bundles are built at: they depend on none, since what is due follows from the record alone."""


@dataclass(frozen=True, slots=True)
class Bundled:
    """The bundle of one event, and what is wrong with it."""

    made: EventBundle
    faults: tuple[BundleFault, ...]

    def sentences(self, record: Record) -> list[str]:
        """Return each fault, with the place in the record that its entry was made from."""
        paths = self.made.paths
        return [
            f"{record.place(paths[fault.entry] if fault.entry is not None else ())}: event {self.made.event}: {fault} "
            f"Found: {fault.value}"
            for fault in self.faults
        ]


def bundled(
    record: Record, policy: Policy, config: Config, options: Options, line: timeline.Timeline | None = None
) -> Iterator[Bundled]:
    """Build the bundle of each event of a readable record, and verify it: bundle, send, status and streams do it here.

    ``line`` is the record's timeline, where there is one. Raises `Failure` as `fhir.build.bundle.bundles` does.
    """
    from lda_notes.fhir.build.bundle import bundles
    from lda_notes.fhir.verify.verification import verify

    assert record.episode is not None
    shared: dict[int, object] = {}
    for one in bundles(
        line or timeline.build(record.episode, policy, FAR, record.unread_facts), policy, config, options
    ):
        yield Bundled(one, verify(one.bundle, sound=shared))


def record_files(paths: tuple[FilePath, ...]) -> Iterator[FilePath]:
    """Yield each file, and each record file directly in each folder, in order of name; never the policy file."""
    for path in paths:
        if path.is_dir():
            yield from sorted(p for p in path.iterdir() if _is_record(p))
        else:
            yield path


def _is_record(path: FilePath) -> bool:
    return path.suffix.lower() in records.SUFFIXES and path.name != policy_file.NAME and path.is_file()
