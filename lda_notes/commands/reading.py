"""Reading the records that a command was given, with what could not be read said plainly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from lda_notes import pipeline
from lda_notes.commands.printing import say
from lda_notes.knowledge.policy import Policy
from lda_notes.line import folding
from lda_notes.line.timeline import Timeline
from lda_notes.problems import Failure
from lda_notes.record import reading as records
from lda_notes.record.reading import Record
from lda_notes.record.unread import notice


def files(paths: tuple[Path, ...]) -> list[Path]:
    """Return every record file that ``paths`` name, each once. Raises `Failure` when there is none."""
    found = list(dict.fromkeys(pipeline.record_files(paths)))
    if not found:
        raise Failure(f"{paths[0]}: contains no record; records end in {', '.join(records.SUFFIXES)}")
    return found


def read_all(paths: Sequence[Path]) -> tuple[list[Record], tuple[Record, ...]]:
    """Return the records of the files, and the other stays of their patients in the same folders.

    Raises `Failure` when a file cannot be opened, or when one beside it may be another stay and cannot be read: a hold
    of it would be lost in silence.
    """
    given = [records.read(path) for path in paths]
    beside = pipeline.beside(given)
    if beside.unreadable:
        said = "a file may be another stay of the same patient and cannot be read; correct it, or move it away"
        raise Failure("\n".join((f"{said}:", *beside.unreadable)))
    return given, beside.records


@dataclass(frozen=True, slots=True)
class Read:
    """The input of sheets: the readable records asked for, other stays of their patients, and what is missing.

    ``missing`` has a sentence for each thing that is not on the sheets; ``lost`` says whether any was meant to be.
    """

    given: list[Record]
    others: tuple[Record, ...]
    missing: list[str]
    lost: bool


def for_sheets(paths: tuple[Path, ...]) -> Read:
    """Return what can be read of the records: one that cannot be opened or read does not end the sheets of the ward."""
    given: list[Record] = []
    missing: list[str] = []
    listed = files(paths)
    for path in listed:
        try:
            record = records.read(path)
        except Failure as failure:
            missing.append(str(failure))
            continue
        if record.episode is None:
            missing.append(why_unreadable(record))
        else:
            given.append(record)
    beside = pipeline.beside(given, listed)
    missing += (f"may be an earlier stay of a patient: {words}" for words in beside.unreadable)
    passed = list(pipeline.passed_over(paths))
    lost = bool(missing) or any(one.lost for one in passed)
    return Read(given, beside.records, [*missing, *map(str, passed)], lost)


def why_unreadable(record: Record) -> str:
    """Return one sentence that says why a record has no readable episode."""
    first = record.placed(record.findings[0])
    more = len(record.findings) - 1
    rest = f" (and {more} more: `lda-notes check {record.file}` tells them)" if more else ""
    return f"{first.place}: {first.message}{rest}"


def all_timelines(paths: tuple[Path, ...], policy: Policy, asof: datetime) -> list[tuple[Record, Timeline]]:
    """Return the timeline of every record within its line, for counts that a missing record would make wrong.

    Raises `Failure` naming each record that cannot be read.
    """
    read = [records.read(path) for path in files(paths)]
    beside = list(pipeline.passed_over(paths))
    for one in beside:
        if not one.lost:
            say(f"Not counted: {one}", err=True)
    broken = [why_unreadable(record) for record in read if record.episode is None]
    broken += [str(one) for one in beside if one.lost]
    if broken:
        counted = "1 record" if len(broken) == 1 else f"{len(broken)} records"
        raise Failure("\n".join([f"{counted} could not be read, so nothing was counted:", *broken]))
    return [
        (record, stay)
        for line in folding.fold_all(read, policy, asof)
        for record, stay in zip(line.records, line.stays, strict=True)
    ]


def unread_facts(record: Record, names: frozenset[str], with_text: bool = False) -> tuple[str, ...]:
    """Return a sentence for each fact of ``record`` under one of ``names`` that was written and could not be read."""
    return tuple(
        f"{'' if with_text else f'{record.file}: '}{notice(fact, with_text)}"
        for fact in record.unread_facts
        if names & set(fact.names)
    )


def unread(record: Record) -> str | None:
    """Return one sentence on the events of ``record`` that could not be placed; None when there are none."""
    if not record.unread_events:
        return None
    names = ", ".join(event.id or f"the event in position {event.index + 1}" for event in record.unread_events)
    return f"{record.file}: could not be read and is left out: {names}"
