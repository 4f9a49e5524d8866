"""The work on one row: check, bundle, verify, days. Pure: the same row gives the same answer anywhere.

A task is a small value that can be sent to another process; ``ready()`` makes of it a function from a row to an
`Answer`. What is wrong with a row is part of the answer, so that no row can stop a stream.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from types import MappingProxyType
from typing import TYPE_CHECKING

from lda_notes import pipeline
from lda_notes.check import report
from lda_notes.check.judged import Judged
from lda_notes.files.syntax.faults import MAX_BYTES
from lda_notes.knowledge.limits import Row as PolicyRow
from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.sources import Citation
from lda_notes.line import timeline
from lda_notes.problems import Failure, Finding, Place
from lda_notes.record.reading import Record, read_bytes
from lda_notes.stream.rows import Row

if TYPE_CHECKING:
    from lda_notes.fhir.config import Config
    from lda_notes.fhir.verify.faults import BundleFault

_encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), check_circular=False).encode


@dataclass(frozen=True, slots=True)
class Answer:
    """The result of one row. ``out`` is whole rows, ``said`` are sentences for the user, ``counts`` add up."""

    out: bytes = b""
    said: str = ""
    counts: tuple[tuple[str, int], ...] = ()


Work = Callable[[str, Row], Answer]
"""Takes the name of the file and a row of it."""


@dataclass(frozen=True, slots=True)
class Rules:
    """A policy as a value that can be sent to another process."""

    rows: tuple[PolicyRow, ...]
    facility: Citation | None

    @classmethod
    def of(cls, policy: Policy) -> Rules:
        """Pack a policy."""
        return cls(tuple(policy.rows.values()), policy.facility)

    def policy(self) -> Policy:
        """Unpack it."""
        return Policy(MappingProxyType({row.name: row for row in self.rows}), self.facility)


def read(file: str, row: Row) -> Record:
    """Read the record of a row; one that is too long has that as its finding."""
    if not row.too_long:
        return read_bytes(row.raw, file, as_json=True, row=row.number)
    fault = Finding(
        "too-large",
        "wrong",
        f"the row is larger than the {MAX_BYTES:,}-byte limit for a record",
        "look whether row ends are missing; give one episode to a row",
        (),
        place=Place(file, row.number, 1),
    )
    return Record(file, None, (fault,), row=row.number)


def why(record: Record) -> str:
    """Return one sentence that says why a row has no readable record, and what to do."""
    first = record.placed(record.findings[0])
    more = len(record.findings) - 1
    todo = first.todo[:1].lower() + first.todo[1:].rstrip(".")
    others = f" (and {more} more; `lda-notes check` lists them)" if more else ""
    return report.visible(f"{first.place}: {first.message.rstrip('.')}; {todo}{others}")


@dataclass(frozen=True, slots=True)
class Check:
    """One row of findings for each record; ``width`` 0 gives JSON, else text of that width."""

    rules: Rules
    asof: datetime
    width: int = 0

    def ready(self) -> Work:
        """Return the function of a row."""
        policy, asof, width = self.rules.policy(), self.asof, self.width

        def work(file: str, row: Row) -> Answer:
            return said_of(file, row.number, pipeline.judge(read(file, row), policy, asof), width)

        return work


def said_of(file: str, number: int, judged: Judged, width: int = 0) -> Answer:
    """Return the row of findings of a judged record."""
    checked = report.Checked(file, judged)
    if width:
        out = report.text((checked,), width).encode("utf-8", "replace")
    else:
        out = (_encode({"row": number, **report.file_as_json(checked)}) + "\n").encode("utf-8", "replace")
    found = [finding.severity for finding in judged.findings]
    counts = [("rows", 1), ("events", checked.events), ("unreadable", int(not checked.readable))]
    counts += [(severity, found.count(severity)) for severity in dict.fromkeys(found)]
    return Answer(out, counts=tuple(counts))


@dataclass(frozen=True, slots=True)
class Bundle:
    """One row for the bundle of each event, verified; a record with any fault gives sentences and no row."""

    rules: Rules
    config: Config
    with_context: bool = False
    note: bool = True

    def ready(self) -> Work:
        """Return the function of a row."""
        made = self.maker()

        def work(file: str, row: Row) -> Answer:
            return made(read(file, row), None)

        return work

    def maker(self) -> Callable[[Record, timeline.Timeline | None], Answer]:
        """Return the function of a record that was read, and of its timeline if there is one, judged at any moment."""
        from lda_notes.fhir.build.bundle import Options
        from lda_notes.fhir.elements import to_json_bytes

        policy, config = self.rules.policy(), self.config
        notes = None
        if self.note:
            from lda_notes.fhir.build.notes import note_writer

            notes = note_writer(policy)
        options = Options(with_context=self.with_context, notes=notes)

        def work(record: Record, line: timeline.Timeline | None) -> Answer:
            if record.episode is None or record.findings:
                return Answer(said=why(record) + "\n", counts=(("rows", 1), ("unreadable", 1)))
            texts: list[bytes] = []
            faults: list[str] = []
            resources = 0
            try:
                for one in pipeline.bundled(record, policy, config, options, line):
                    faults += one.sentences(record)
                    resources += len(one.made.bundle["entry"])
                    texts.append(to_json_bytes(one.made.bundle))
            except Failure as failure:
                faults = [f"{record.place(())}: {failure}"]
            if faults:
                said = "".join(f"{report.visible(fault)}\n" for fault in faults)
                return Answer(said=said, counts=(("rows", 1), ("faults", len(faults))))
            out = b"\n".join((*texts, b""))
            return Answer(out, counts=(("rows", 1), ("bundles", len(texts)), ("resources", resources)))

        return work


def _too_long() -> BundleFault:
    from lda_notes.fhir.verify.faults import Fault

    message = f"The row holds more than {MAX_BYTES:,} bytes, the most of a bundle in a row."
    return Fault("too-large", None, message, "Look whether row ends are missing; give one bundle to a row.").closed()


@dataclass(frozen=True, slots=True)
class Verify:
    """One row of faults for each bundle; ``text`` gives one sentence for each fault instead."""

    house: bool = True
    models: bool = False
    text: bool = False

    def ready(self) -> Work:
        """Return the function of a row."""
        from lda_notes.fhir.verify.verification import read_json, verify_json

        def work(file: str, row: Row) -> Answer:
            faults = (
                (_too_long(),) if row.too_long else verify_json(row.raw, house=self.house, row=row.number, rows=True)
            )
            if self.models and not row.too_long:
                from lda_notes.fhir.verify.models import model_check

                bundle, not_json = read_json(row.raw)
                faults += model_check(bundle) if not not_json else ()
            if self.text:
                rows = (f"{file}, row {row.number}: {fault} Found: {fault.value}" for fault in faults)
                out = "".join(f"{report.visible(one)}\n" for one in rows)
            else:
                out = _encode({"file": file, "row": row.number, "faults": [fault.as_json() for fault in faults]}) + "\n"
            return Answer(out.encode("utf-8", "replace"), counts=(("rows", 1), ("faults", len(faults))))

        return work


@dataclass(frozen=True, slots=True)
class Days:
    """One row for each day of a record's stay; a record that cannot be read gives a sentence and no row."""

    rules: Rules
    asof: datetime
    first: date
    last: date
    units: tuple[str, ...] = field(default=())

    def ready(self) -> Work:
        """Return the function of a row."""
        from lda_notes.line import days as line_days

        policy = self.rules.policy()

        def work(file: str, row: Row) -> Answer:
            record = read(file, row)
            if record.episode is None:
                return Answer(said=why(record) + "\n", counts=(("rows", 1), ("unreadable", 1)))
            line = timeline.build(record.episode, policy, self.asof, record.unread_facts)
            (stay,) = line_days.stays((line,))
            try:
                found = line_days.days(stay, policy, self.first, self.last)
            except ValueError as error:
                said = f"{record.place(())}: days cannot be counted: {error}; check the dates of the record\n"
                return Answer(said=said, counts=(("rows", 1), ("unreadable", 1)))
            said = _unread(record, line_days.COUNTED)
            kept = [day for day in found if not self.units or day.unit in self.units]
            where = {"file": file, "row": row.number}
            rows = ({**where, **one, "lines": "ports only"} for one in line_days.as_rows(stay, kept))
            out = "".join(f"{_encode(one)}\n" for one in rows)
            return Answer(out.encode(), said, (("rows", 1), ("days", len(kept)), ("in part", int(bool(said)))))

        return work


def _unread(record: Record, names: frozenset[str]) -> str:
    """Return rows on the events that could not be placed, and on facts under one of ``names`` that were not read."""
    from lda_notes.record.unread import notice

    said = [notice(fact, with_text=False) for fact in record.unread_facts if names & set(fact.names)]
    if record.unread_events:
        events = ", ".join(event.id or f"the event in position {event.index + 1}" for event in record.unread_events)
        said.insert(0, f"could not be read and is left out: {events}")
    return "".join(report.visible(f"{record.file}:{record.row}:1: {one}") + "\n" for one in said)


Task = Check | Bundle | Verify | Days
