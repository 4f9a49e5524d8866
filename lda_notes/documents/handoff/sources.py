"""Which records belong on the handoff sheet: no stay that begins later, none that a later stay replaces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from lda_notes.check import among
from lda_notes.documents import wording
from lda_notes.documents.wording import Wording
from lda_notes.line import due
from lda_notes.line.timeline import Timeline
from lda_notes.narrative import phrasing
from lda_notes.problems import Finding
from lda_notes.record.reading import UnreadEvent
from lda_notes.record.unread import Unread


@dataclass(frozen=True, slots=True)
class Source:
    """One record as read: its timeline, what its check found, and when the stay begins, if that is known."""

    file: str
    timeline: Timeline
    findings: tuple[Finding, ...]
    unread: tuple[UnreadEvent, ...]
    begins: datetime | None = None
    unread_facts: tuple[Unread, ...] = ()

    @property
    def name(self) -> str:
        """Return the patient's name and identifiers."""
        patient = self.timeline.episode.patient
        return wording.one_line(f"{patient.family_name}, {patient.given_name}, {_identifiers(self)}")


def _identifiers(source: Source) -> str:
    found = source.timeline.episode.patient.identifiers
    return ", ".join(f"{one.label or 'identifier'} {one.value}" for one in found)


@dataclass(frozen=True, slots=True)
class Sorted:
    """``told`` are the records of the sheet. In one sentence each: ``later`` and ``left_out`` name those that are not
    told, the first since their stay begins later; ``doubtful`` says what is amiss. ``alike`` are the files of patients
    whose family name could be taken for another's."""

    told: tuple[Source, ...]
    later: tuple[str, ...]
    left_out: tuple[str, ...]
    doubtful: tuple[str, ...]
    alike: frozenset[str]


def sort_out(sources: Sequence[Source], asof: datetime) -> Sorted:
    """Return what goes on a sheet judged from ``asof``.

    Two records of one patient and one port are two stays of it: the later one tells how the port is now. Where both
    are open, both stay and the sheet says so.
    """
    begun = [source for source in sources if source.begins is None or _u(source.begins) <= _u(asof)]
    later = [source for source in sources if source.begins is not None and _u(source.begins) > _u(asof)]
    groups = _of_one_port(begun)
    replaced = [source for group in groups for source in group if any(_replaces(other, source) for other in group)]
    gone = {id(source) for source in replaced}
    told = tuple(source for source in begun if id(source) not in gone)
    open_twice = [[one for one in group if id(one) not in gone and one.timeline.discharge is None] for group in groups]
    later_said = [f"{source.name}: stay begins later, {_when(source, source.begins, asof)}" for source in later]
    left_out = [
        f"{source.name}: an earlier stay that ended {_when(source, _ended(source), asof)}" for source in replaced
    ]
    doubtful = [
        f"{group[0].name}: {len(group)} records of one port are open; compare {' and '.join(sorted(_files(group)))}"
        for group in open_twice
        if len(group) > 1
    ]
    doubtful += _between(begun)
    return Sorted(told, tuple(sorted(later_said)), tuple(sorted(left_out)), tuple(sorted(doubtful)), _alike(told))


_BETWEEN: Final = {
    among.EPISODE: "one episode identifier in {count} records: {who}; give each record its own",
    among.NUMBER: "one record number for two patients: {who}; compare with the wristbands before anything is given",
    among.PERSON: "one name and birth date with {count} record numbers: {who}; ask whether this is one patient",
}


def _between(sources: Sequence[Source]) -> list[str]:
    """Return one sentence for each fault between records; names stand here alone, on the unit's own sheet."""
    return [
        phrasing.capital(
            _BETWEEN[doubt.rule].format(
                count=len(doubt.members), who=" and ".join(sources[member].name for member in doubt.members)
            )
        )
        for doubt in among.doubts([source.timeline for source in sources])
        if doubt.rule != among.NAMES
    ]


def _alike(sources: Sequence[Source]) -> frozenset[str]:
    """Return the files of patients whose family name is the same as or similar to another's on their unit."""
    doubts = among.doubts([source.timeline for source in sources])
    return frozenset(sources[one].file for doubt in doubts if doubt.rule == among.NAMES for one in doubt.members)


def _of_one_port(sources: Sequence[Source]) -> list[list[Source]]:
    """Return groups of two or more records that share an identifier of the patient and the port."""
    groups: list[list[Source]] = []
    group_of: dict[tuple[str, str, str], list[Source]] = {}
    for source in sources:
        episode = source.timeline.episode
        keys = [(one.system, one.value, episode.port.id) for one in episode.patient.identifiers]
        group = next((group_of[key] for key in keys if key in group_of), None)
        if group is None:
            group = []
            groups.append(group)
        group.append(source)
        for key in keys:
            group_of.setdefault(key, group)
    return [group for group in groups if len(group) > 1]


def _replaces(other: Source, source: Source) -> bool:
    """Tell whether ``other`` is a later stay than ``source``, which has ended."""
    ended = _ended(source)
    return other is not source and ended is not None and other.begins is not None and _u(other.begins) >= _u(ended)


def _ended(source: Source) -> datetime | None:
    discharge = source.timeline.discharge
    return discharge.event.at if discharge is not None else None


def _files(group: Sequence[Source]) -> set[str]:
    return {wording.one_line(source.timeline.episode.id) for source in group}


def _when(source: Source, moment: datetime | None, asof: datetime) -> str:
    return Wording(due.zone_of(source.timeline), asof).when(moment) if moment is not None else "at a time not known"


def _u(moment: datetime) -> datetime:
    return moment.astimezone(UTC)
