"""The spine: the one place that chains the stages."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Final

from lda_notes.check import among, rule_table
from lda_notes.check.judged import Judged
from lda_notes.check.rule_table import Printed, in_digits
from lda_notes.knowledge.policy import Policy
from lda_notes.line import folding, timeline
from lda_notes.line.corrections import Corrected
from lda_notes.line.folding import begins as begins
from lda_notes.line.timeline import Beside, Timeline
from lda_notes.problems import SEVERITIES, Finding
from lda_notes.record import reading as records
from lda_notes.record.episode import Episode
from lda_notes.record.folder import Passed as Passed
from lda_notes.record.folder import beside as beside
from lda_notes.record.folder import of_numbers as of_numbers
from lda_notes.record.folder import passed_over as passed_over
from lda_notes.record.folder import record_files as record_files
from lda_notes.record.reading import Record

if TYPE_CHECKING:
    from lda_notes.fhir.build.bundle import EventBundle, Options
    from lda_notes.fhir.config import Config
    from lda_notes.fhir.verify.faults import BundleFault


def judge(record: Record, policy: Policy, asof: datetime) -> Judged:
    """Check ``record``: faults of reading, of corrections and of the rules, each with its place, in file order."""
    if record.episode is None:
        return Judged(record, None, _ordered([record.placed(finding) for finding in record.findings]))
    return _judged(record, timeline.build(record.episode, policy, asof, record.unread_facts), policy, {})


def judge_all(given: Sequence[Record], policy: Policy, asof: datetime, printed: Printed = in_digits) -> list[Judged]:
    """Check the records given: those of one patient and one port are one line, and each is judged within it.

    Findings name moments as ``printed`` prints them.
    """
    by_file = {record.file: record for record in given}
    judged: dict[int, Judged] = {}
    for line in folding.fold_all(given, policy, asof):
        for record, stay in zip(line.records, line.stays, strict=True):
            one = _judged(record, stay, policy, by_file, printed)
            judged[id(record)] = one._replace(line=line)
    return [judged[id(record)] if id(record) in judged else judge(record, policy, asof) for record in given]


def judge_given(given: Sequence[Record], others: Sequence[Record], policy: Policy, asof: datetime) -> list[Judged]:
    """Check the records given, each within its line; ``others`` may be other stays of the same patients."""
    return judge_all([*given, *begun(others, asof)], policy, asof)[: len(given)]


def judge_within(record: Record, others: Sequence[Record], policy: Policy, asof: datetime) -> Judged:
    """Check one record within its line; ``others`` may be other stays of the same patient.

    Of the others only what happened until ``asof`` is known.
    """
    known = begun(others, asof)
    if record.episode is None or not known:
        return judge(record, policy, asof)
    return _judged(record, stays([record], known, policy, asof)[0], policy, {one.file: one for one in known})


def as_it_stood(
    episode: Episode,
    beside: Sequence[Beside],
    policy: Policy,
    asof: datetime,
    read: Corrected | None = None,
    since: Timeline | None = None,
) -> Timeline:
    """Return the timeline of a record as its note is judged: of other stays only what happened until ``asof`` is known.

    ``read`` and ``since`` as `timeline.build` has them.
    """
    known = begun([Record(one.file, one.episode, unread_facts=one.unread) for one in beside], asof)
    if not known:
        return timeline.build(episode, policy, asof, read=read, since=since)
    return stays([Record("record", episode)], known, policy, asof)[0]


def judge_entries(stay: Timeline, policy: Policy, about: Set[int]) -> Judged:
    """Check some entries of a record, by position: what is found of these and of the record as a whole is all there.

    The record need be in no file: findings have no place.
    """
    record = Record("record", stay.episode)
    found = [*stay.findings, *rule_table.check(stay, policy, about)]
    return Judged(record, stay, _ordered([one for one in found if one.path[:1] != _ELSEWHERE]))


def stays(given: Sequence[Record], others: Sequence[Record], policy: Policy, asof: datetime) -> list[Timeline]:
    """Return the timeline of each readable record of ``given`` within its line, ``others`` known until ``asof``."""
    lines = folding.fold_all([*given, *begun(others, asof)], policy, asof)
    found = {id(one): stay for line in lines for one, stay in zip(line.records, line.stays, strict=True)}
    return [found[id(record)] for record in given]


def begun(given: Sequence[Record], moment: datetime) -> list[Record]:
    """Return the records as they were at ``moment``, without those whose stay begins later."""
    starts = ((record, begins(record)) for record in given if record.episode is not None)
    return [upto(record, moment) for record, since in starts if since is None or since <= moment]


def _judged(
    record: Record, stay: Timeline, policy: Policy, by_file: Mapping[str, Record], printed: Printed = in_digits
) -> Judged:
    found = (*record.findings, *stay.findings, *rule_table.check(stay, policy, printed=printed))
    own = [_placed(finding, record, by_file) for finding in found if finding.path[:1] != _ELSEWHERE]
    return Judged(record, stay, _ordered([*own, *_broken_seals(record)]))


_ELSEWHERE: Final = ("records",)
"""How a path begins that leads into another record of the line: the finding belongs to that record's own check."""


def _placed(finding: Finding, record: Record, by_file: Mapping[str, Record]) -> Finding:
    if any(spot.path[:1] == _ELSEWHERE for spot in finding.related):
        spots = tuple(
            spot._replace(place=by_file[str(spot.path[1])].place(spot.path[2:]))
            if spot.path[:1] == _ELSEWHERE
            else spot
            for spot in finding.related
        )
        finding = finding._replace(related=spots)
    return record.placed(finding)


def _broken_seals(record: Record) -> list[Finding]:
    """Return what the seals find, where any entry has one; their places are those of the file itself."""
    if record.episode is None or all(event.seal is None for event in record.episode.events):
        return []
    if record.data is None:  # not read from a file: there is nothing to compare with
        return []
    from lda_notes.record import seals  # here, since a record without seals has no use for it

    return [record.placed_in_file(finding) for finding in seals.findings(record.data)]


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
        one._replace(findings=_ordered([*one.findings, *added[index]])) if index in added else one
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


def judge_file(path: FilePath, policy: Policy, asof: datetime) -> Judged:
    """Read and check one record file by itself."""
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
    record: Record, policy: Policy, config: Config, options: Options, line: Timeline | None = None
) -> Iterator[Bundled]:
    """Build the bundle of each event of a readable record, and verify it: bundle, send, status and streams do it here.

    ``line`` is the record's timeline, where there is one. Raises `Failure` as `fhir.build.bundle.bundles` does.
    """
    from lda_notes.fhir.build.bundle import bundles
    from lda_notes.fhir.verify.verification import verify

    assert record.episode is not None
    line = line or timeline.build(record.episode, policy, FAR, record.unread_facts)
    # Each stay's bundles say of patient and port what its own record does.
    for one in bundles(replace(line, episode=record.episode), policy, config, options):
        yield Bundled(one, verify(one.bundle))
