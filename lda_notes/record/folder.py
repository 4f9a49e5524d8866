"""Folders of records: which files are read as records, which could be one, which are of a patient's other stays."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from pathlib import Path as FilePath
from typing import Final, NamedTuple

from lda_notes.files.syntax import MAX_BYTES
from lda_notes.files.system import contents
from lda_notes.knowledge import policy_file
from lda_notes.problems import Failure
from lda_notes.record import reading as records
from lda_notes.record.reading import Record


def record_files(paths: tuple[FilePath, ...]) -> Iterator[FilePath]:
    """Yield each file, and each record file directly in each folder, in order of name; never the policy file."""
    for path in paths:
        if path.is_dir():
            yield from sorted(p for p in path.iterdir() if _is_record(p))
        else:
            yield path


def _is_record(path: FilePath) -> bool:
    return path.suffix.lower() in records.SUFFIXES and not _is_policy(path) and path.is_file()


class Beside(NamedTuple):
    """The records beside those that were asked for: other stays of the same patients.

    ``unreadable`` are sentences on what may be one and could not be read.
    """

    records: tuple[Record, ...] = ()
    unreadable: tuple[str, ...] = ()


def beside(given: Sequence[Record], again: Sequence[FilePath] = ()) -> Beside:
    """Return the other records, in the folders of ``given``, of the patients of ``given``.

    A file is read only where its bytes name one of the record numbers, or could write it in other signs. A copy of a
    stay is no other stay: a record with the name of one that is given is left out. ``again`` are files that were asked
    for too.
    """
    episodes = [record.episode for record in given if record.episode is not None]
    numbers = {(one.system, one.value) for episode in episodes for one in episode.patient.identifiers}
    asked = {FilePath(record.file).absolute() for record in given} | {path.absolute() for path in again}
    folders = (FilePath(record.file).parent for record in given if record.episode is not None)
    return of_numbers(folders, numbers, asked, frozenset(episode.id for episode in episodes))


def of_numbers(
    folders: Iterable[FilePath],
    numbers: set[tuple[str, str]],
    asked: Collection[FilePath] = (),
    own: frozenset[str] = frozenset(),
) -> Beside:
    """Return the records directly in ``folders`` of the patients of these numbers, each a system and a value.

    Files in ``asked`` and records called as in ``own`` are left out.
    """
    found: list[Record] = []
    unreadable: list[str] = []
    for folder in dict.fromkeys(folders):
        try:
            paths = [path for path in sorted(folder.iterdir()) if path.absolute() not in asked and _is_record(path)]
        except OSError:
            unreadable.append(f"{folder}: cannot be listed, so earlier stays were not looked for")
            continue
        for path in paths:
            other = _of_patients(path, numbers, own)
            if isinstance(other, Record):
                found.append(other)
            elif other is not None:
                unreadable.append(other)
    return Beside(tuple(found), tuple(unreadable))


_KEYS: Final = (b"patient", b"port", b"events")
"""Keys of every record; a configuration, or a list that names a record number, lacks some of them."""


def _of_patients(path: FilePath, numbers: set[tuple[str, str]], own: frozenset[str]) -> Record | str | None:
    """Return the record when it is another stay of one of the patients, or why that cannot be decided."""
    try:
        raw = contents(path, MAX_BYTES + 1)
        if len(raw) <= MAX_BYTES and not any(_may_name(raw, number) for _, number in numbers):
            return None
        other = records.read(path)
    except (OSError, Failure) as error:
        return str(error) if isinstance(error, Failure) else f"{path}: cannot be read ({error.strerror or error})"
    if other.episode is None:
        if b'"resourceType"' in raw or not all(key in raw for key in _KEYS):
            return None
        return f"{other.placed(other.findings[0]).place}: {other.findings[0].message}"
    theirs = {(one.system, one.value) for one in other.episode.patient.identifiers}
    return other if other.episode.id not in own and theirs & numbers else None


def _may_name(raw: bytes, number: str) -> bool:
    """Return whether a file may contain a record number: as it is, or written with escapes or over several rows."""
    plain = number.isascii() and not any(map(str.isspace, number))
    return not plain or number.encode() in raw or b"\\" in raw


def _is_policy(path: FilePath) -> bool:
    """Return whether a file is named like the policy, in whatever spelling; only one is read."""
    return path.stem.lower().replace("_", "-") == FilePath(policy_file.NAME).stem


class Passed(NamedTuple):
    """Something in a folder that is not read as a record and could be one. ``lost``: it was meant to be one."""

    path: FilePath
    why: str
    lost: bool = False

    def __str__(self) -> str:
        return f"{self.path}: {self.why}"


_COPIED: Final = re.compile(rf"(.+){records.COPY.pattern}")

_HEAD: Final = 4096
"""How much of a file is looked at to see whether it is a record under another name, in bytes."""


def passed_over(paths: tuple[FilePath, ...]) -> Iterator[Passed]:
    """Yield each thing in the folders of ``paths`` that is not read as a record and could be one, in order of name."""
    for folder in dict.fromkeys(path for path in paths if path.is_dir()):
        try:
            inside = sorted(folder.iterdir())
        except OSError:  # the command that reads the folder says so
            continue
        for path in inside:
            found = None if _is_record(path) or path.name == policy_file.NAME else _could_be(path)
            if found is not None:
                yield found


def _could_be(path: FilePath) -> Passed | None:
    named = path.suffix.lower() in records.SUFFIXES
    if named and path.is_symlink() and not path.exists():
        return Passed(path, "is a link to a file that is not there; put the file back or remove the link", True)
    if path.is_dir():
        inside = sum(_is_record(inner) for inner in path.rglob("*")) if not path.is_symlink() else 0
        if named:
            return Passed(path, "is a folder named like a record; rename it, or put the record here", True)
        many = "1 record" if inside == 1 else f"{inside} records"
        return Passed(path, f"is a folder with {many}, not read from here; give the folder too") if inside else None
    if not path.is_file():
        return Passed(path, "is named like a record but is not a file; find out what it is", True) if named else None
    if _is_policy(path):
        return Passed(path, f"is named like the policy, which is read only as {policy_file.NAME}; rename it")
    if any(suffix.lower() in (".ndjson", ".jsonl") for suffix in path.suffixes[-2:]):
        if _begins_with(path, b'"resourceType"'):
            return None
        why = (
            "contains one record per row and is not read together with records in separate files; check it in a "
            "separate run"
        )
        return Passed(path, why, True)
    if (ours := _COPIED.fullmatch(path.name)) and path.with_name(ours[1]).exists():
        return None  # the state before an entry, kept by the program itself
    if any(f"{suffix}" in path.name.lower() for suffix in records.SUFFIXES):
        return Passed(path, "looks like an editor's copy of a record; compare it with the record, then remove it")
    if _begins_with(path, b"record_version"):
        return Passed(path, f"looks like a record with another extension; records end in {', '.join(records.SUFFIXES)}")
    return None


def _begins_with(path: FilePath, words: bytes) -> bool:
    try:
        return words in contents(path, _HEAD)
    except OSError:
        return False
