"""``lda-notes bundle --by-type``: the resources of many records as one NDJSON file for each type."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from itertools import groupby
from pathlib import Path
from typing import IO, TYPE_CHECKING, Final

from lda_notes import pipeline
from lda_notes.check import report
from lda_notes.commands.printing import say
from lda_notes.commands.reading import files, why_unreadable
from lda_notes.fhir.build.frame import number_in_use
from lda_notes.fhir.by_type import by_id
from lda_notes.fhir.elements import Json, to_json_bytes
from lda_notes.files.output import opened
from lda_notes.problems import Failure
from lda_notes.record import reading as records
from lda_notes.record.reading import Record

if TYPE_CHECKING:
    from lda_notes.fhir.build.bundle import Options
    from lda_notes.fhir.config import Config
    from lda_notes.knowledge.policy import Policy

Key = tuple[str, str]
"""Record number of a patient: system and value."""

_SHARED: Final = ("Organization", "Location", "Practitioner")
"""Types that patients share; each is written once."""


def write(paths: tuple[Path, ...], rows: list[Path], policy: Policy, config: Config, options: Options, to: Path) -> int:
    """Write a file for each type of resource into the new or empty folder ``to``; return the exit code.

    One patient is in memory at a time: records in files of their own are read in order of the patient's record
    number, ``rows`` must come in that order. A patient with any fault is named and left out. Raises `Failure`, with
    nothing written, when the folder is in use or the rows are out of order.
    """
    _take(to)
    counts: Counter[str] = Counter()
    written: set[str] = set()
    left_out = unreadable = 0
    with ExitStack() as open_files:
        ends: dict[str, IO[bytes]] = {}
        for given in _by_patient(_of_rows(rows) if rows else _of_files(paths)):
            made = _resources(given, policy, config, options)
            left_out += len(given) if made is None else 0
            unreadable += any(_is_unreadable(record) for record in given)
            for name, resource in (made or {}).items():
                kind = str(resource["resourceType"])
                if kind in _SHARED:
                    if name in written:
                        continue
                    written.add(name)
                if kind not in ends:
                    ends[kind] = open_files.enter_context(opened(to / f"{kind}.ndjson"))
                ends[kind].write(to_json_bytes(resource) + b"\n")
                counts[kind] += 1
    listed = ", ".join(f"{kind} {number:,}" for kind, number in sorted(counts.items()))
    say(f"{counts.total():,} resources in {len(counts)} files in {to}: {listed or 'none'}.", err=True)
    if left_out:
        counted = "1 record was" if left_out == 1 else f"{left_out} records were"
        say(f"{counted} left out because of faults.", err=True)
    return 2 if unreadable else int(bool(left_out))


def _is_unreadable(record: Record) -> bool:
    return record.episode is None or bool(record.findings)


def _take(to: Path) -> None:
    try:
        to.mkdir(mode=0o700, exist_ok=True)
        if any(to.iterdir()):
            raise Failure(f"{to}: is not empty; give --by-type a new or empty folder")
    except OSError as error:
        raise Failure(f"{to}: cannot be used as a folder ({error.strerror or error}); give another one") from None


def _of_files(paths: tuple[Path, ...]) -> Iterator[Record]:
    """Yield records in files of their own, in order of the patient's record number."""
    keyed: list[tuple[Key, Path]] = []
    for path in files(paths):
        record = records.read(path)
        if _is_unreadable(record):
            raise Failure(f"{why_unreadable(record)}\nNothing was written: every record must be readable whole.")
        keyed.append((_key(record), path))
    for _, path in sorted(keyed):
        yield records.read(path)


def _of_rows(rows: list[Path]) -> Iterator[Record]:
    from lda_notes.stream.rows import open_rows
    from lda_notes.stream.run import read_on
    from lda_notes.stream.tasks import read

    for path in rows:
        with open_rows(path) as file:
            for row in read_on(file, str(path)):
                yield read(str(path), row)


def _key(record: Record) -> Key:
    assert record.episode is not None
    number = number_in_use(record.episode)
    return number.system, number.value


def _by_patient(given: Iterable[Record]) -> Iterator[list[Record]]:
    """Yield the records of each patient. An unreadable row stands alone, since nobody knows whose it is."""
    last: Key = ("", "")
    for key, group in groupby(given, lambda record: _key(record) if record.episode is not None else None):
        if key is None:
            yield from ([record] for record in group)
            continue
        found = list(group)
        if key < last:
            raise Failure(
                f"{found[0].file}: row {found[0].row} is of a patient whose record number comes before that of an "
                "earlier row; sort the rows by system and value of the record number"
            )
        last = key
        yield found


def _resources(given: list[Record], policy: Policy, config: Config, options: Options) -> dict[str, Json] | None:
    """Return the resources of one patient by id; None when a record has any fault, which is said."""
    broken = [record for record in given if _is_unreadable(record)]
    faults = [why_unreadable(record) for record in broken]
    bundles: list[Json] = []
    if not broken:
        given = sorted(given, key=lambda record: pipeline.begins(record) or pipeline.FAR)
        for record, stay in zip(given, pipeline.stays(given, (), policy, pipeline.FAR), strict=True):
            for one in pipeline.bundled(record, policy, config, options, stay):
                faults += one.sentences(record)
                bundles.append(one.made.bundle)
    for fault in faults:
        say(report.visible(fault), err=True)
    return None if faults else by_id(bundles, config)
