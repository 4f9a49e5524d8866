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
class Unsigned:
    """An entry or correction that was begun and not signed: what, when, and by whom, empty where that is not known."""

    about: str
    began: datetime
    by: str = ""


@dataclass(frozen=True, slots=True)
class Source:
    """One line as read: its timeline, what the check of its records found, and when its latest stay begins, if known.

    ``file`` is that of the latest record; ``open_in`` names the records of it that no discharge ends; ``drafts`` are
    the entries that were begun and not signed, without what they say.
    """

    file: str
    timeline: Timeline
    findings: tuple[Finding, ...]
    unread: tuple[UnreadEvent, ...]
    begins: datetime | None = None
    unread_facts: tuple[Unread, ...] = ()
    open_in: tuple[str, ...] = ()
    drafts: tuple[Unsigned, ...] = ()

    @property
    def name(self) -> str:
        """Return the patient's name and identifiers."""
        patient = self.timeline.episode.patient
        return wording.one_line(f"{patient.family_name}, {patient.given_name}, {_identifiers(self)}")

    @property
    def born(self) -> str:
        """Return the name with identifiers and birth date, to tell two records apart."""
        date = self.timeline.episode.patient.birth_date
        return f"{self.name}, born {phrasing.day(date) if date else 'on a day not recorded'}"


def _identifiers(source: Source) -> str:
    found = source.timeline.episode.patient.identifiers
    return ", ".join(f"{one.label or 'identifier'} {one.value}" for one in found)


@dataclass(frozen=True, slots=True)
class Sorted:
    """``told`` are the records of the sheet, ``later`` the patients of records whose stay begins later, one for each
    record. In one sentence each: ``left_out`` names others that are not mentioned, ``doubtful`` says what is amiss.
    ``alike`` are the files of patients whose family name could be taken for another's."""

    told: tuple[Source, ...]
    later: tuple[str, ...]
    left_out: tuple[str, ...]
    doubtful: tuple[str, ...]
    alike: frozenset[str]


def sort_out(sources: Sequence[Source], asof: datetime, recent: datetime) -> Sorted:
    """Return what goes on a sheet judged from ``asof``; where two records of one line are open, the sheet says so.

    A patient who died has nothing due: named again, in one sentence, when that was after ``recent``.
    """
    begun = tuple(source for source in sources if source.begins is None or _u(source.begins) <= _u(asof))
    later = [source for source in sources if source.begins is not None and _u(source.begins) > _u(asof)]
    later_names = sorted(source.name for source in later)
    doubtful = [
        f"{source.name}: {len(source.open_in)} records of one port are open; compare "
        f"{' and '.join(sorted(map(wording.one_line, source.open_in)))}"
        for source in begun
        if len(source.open_in) > 1
    ]
    doubtful += _between(begun)
    dead = [source for source in begun if due.died(source.timeline, asof)]
    told = tuple(source for source in begun if source not in dead)
    died = [(source, source.timeline.discharge.event.at) for source in dead if source.timeline.discharge is not None]
    said = sorted(
        f"{one.name}: died, {Wording(due.zone_of(one.timeline), asof).when(at)}"
        for one, at in died
        if _u(at) > _u(recent)
    )
    similar = frozenset(told[one].file for one in among.alike([source.timeline for source in told]))
    return Sorted(told, tuple(later_names), tuple(said), tuple(sorted(doubtful)), similar)


_BETWEEN: Final = {
    among.EPISODE: "one episode identifier in {count} records: {who}; give each record its own",
    among.NUMBER: "one record number for two patients: {who}; compare with the wristbands before anything is given",
    among.PERSON: "one name and birth date with {count} record numbers: {who}; ask whether this is one patient",
    among.PORTS: "{name}: {said}; ask whether it is one port",
}


def _between(sources: Sequence[Source]) -> list[str]:
    """Return one sentence for each fault between records; names stand here alone, on the unit's own sheet."""
    return [
        phrasing.capital(
            _BETWEEN[doubt.rule].format(
                count=len(doubt.members),
                who=" and ".join(sources[member].born for member in doubt.members),
                name=sources[doubt.members[0]].name,
                said=wording.one_line(doubt.said),
            )
        )
        for doubt in among.doubts([source.timeline for source in sources])
        if doubt.rule != among.NAMES
    ]


def _u(moment: datetime) -> datetime:
    return moment.astimezone(UTC)
