"""The tree that both readers build: plain data, the place of every value, and what was refused on the way."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final, NoReturn

from lda_notes.files.syntax.faults import MAX_VALUES, TOO_MANY, Fault, Refusal, repeated
from lda_notes.files.syntax.text import Faults, Text
from lda_notes.problems import Path

Notes = list[tuple[Path, list[Any]]]
"""For each container its path and, flat, three of each value in it: key or position, offset of key and of value.
The first is the whole, under the empty path and with the key None."""


class Stopped(Exception):
    """Reading cannot go on; the fault is noted already."""


class Tree:
    """The state of reading a file: faults, the place of every value, and entries to take out again."""

    def __init__(self, text: Text, faults: Faults) -> None:
        self.text = text
        self.faults = faults
        self.notes: Notes = []
        # Every value takes at least one character, so only a long text can contain too many.
        self.many = len(text.clean) > MAX_VALUES
        self._values = 0
        self.written: dict[Path, str] = {}
        self._refused: list[tuple[dict[str, Any], str]] = []
        self._names = 0

    def refuse_repeated(self, key: str, path: Path, spot: int, entries: dict[str, Any]) -> str:
        """Note that a key stands twice; the name under which the second value is read."""
        row = 0 if self.faults.full else self._row_of_key(key, path)
        self.faults.add(spot, *repeated(key, row))
        return self.passing_name(entries)

    def passing_name(self, entries: dict[str, Any]) -> str:
        """Return a key for a value that is read only for its faults. No file can hold it: it has a hidden character."""
        self._names += 1
        name = f"\0{self._names}"
        self._refused.append((entries, name))
        return name

    def notes_for(self, path: Path) -> list[Any]:
        """Return where to note, for each value of a container, its key or position and the offsets of key and value."""
        notes: list[Any] = []
        self.notes.append((path, notes))
        return notes

    def _row_of_key(self, key: str, path: Path) -> int:
        notes = next(notes for of, notes in reversed(self.notes) if of == path)
        return self.text.place(notes[1::3][notes[::3].index(key)])[0]

    def count(self, spot: int) -> None:
        """Count a value; stop at one too many."""
        self._values += 1
        if self._values > MAX_VALUES:
            self.stop(spot, TOO_MANY)

    def stop(self, spot: int, refusal: Refusal) -> NoReturn:
        """Note a fault after which nothing more can be read."""
        self.faults.add(spot, *refusal)
        raise Stopped

    def finish(self, data: dict[str, Any] | None) -> Parsed:
        """Take out what was refused and hand over the rest."""
        for entries, name in self._refused:
            entries.pop(name, None)
        if self._refused:
            self.notes = [
                (
                    path,
                    [
                        part
                        for at in range(0, len(notes), 3)
                        if not _passing(notes[at : at + 1])
                        for part in notes[at : at + 3]
                    ],
                )
                for path, notes in self.notes
                if not _passing(path)
            ]
            self.written = {path: text for path, text in self.written.items() if not _passing(path)}
        return Parsed(data, self.faults.all(), self.text, self.notes, self.written if data is not None else {})


def _passing(path: Sequence[object]) -> bool:
    return any(isinstance(step, str) and step.startswith("\0") for step in path)


@dataclass(slots=True)
class Parsed:
    """The contents of a file, with the place of every value.

    ``data`` is a dict of dict, list, str, int, float, bool and None, or None when the file could not be read.
    ``written`` contains the JSON spelling of numbers that Python would spell otherwise. Places are worked out only
    when they are asked for.
    """

    data: dict[str, Any] | None
    faults: tuple[Fault, ...]
    text: Text = field(repr=False)
    notes: Notes = field(default_factory=list, repr=False)
    written: dict[Path, str] = field(default_factory=dict, repr=False)
    _containers: dict[Path, list[Any]] | None = field(default=None, repr=False)
    _keys: dict[Path, dict[Any, int]] = field(default_factory=dict, repr=False)

    @property
    def json(self) -> bytes:
        """``data`` as JSON in UTF-8, numbers as the file has them (``2.50`` stays ``2.50``)."""
        above = {path[:length] for path in self.written for length in range(len(path))}
        return _write(self.data, (), self.written, above).encode()

    @property
    def places(self) -> dict[Path, tuple[int, int]]:
        """Row and column of every value, from 1; the whole has the empty path."""
        return self._all(2)

    @property
    def key_places(self) -> dict[Path, tuple[int, int]]:
        """Row and column of the key of every value that has one; of list items, their own."""
        return self._all(1)

    def place(self, path: Path) -> tuple[int, int]:
        """Row and column of the value at a path or, where there is none, of the nearest value around it."""
        return self.text.place(self._nearest(path)[2])

    def key_place(self, path: Path) -> tuple[int, int]:
        """Row and column of the key of the value at a path or, where there is none, of the nearest around it."""
        return self.text.place(self._nearest(path)[1])

    def _all(self, part: int) -> dict[Path, tuple[int, int]]:
        places = {path: self.text.place(whole[part]) for path, whole in self.notes[:1]}
        for path, notes in self.notes[1:]:
            for key, place in zip(notes[::3], self.text.places(notes[part::3]), strict=True):
                places[*path, key] = place
        return places

    def _nearest(self, path: Path) -> list[Any]:
        if self._containers is None:
            self._containers = dict(self.notes[1:])
        for length in range(len(path), 0, -1):
            above, key = path[: length - 1], path[length - 1]
            if above not in self._keys:
                keys = self._containers.get(above, [])[::3]
                self._keys[above] = dict(zip(reversed(keys), range(len(keys) - 1, -1, -1), strict=True))
            at = self._keys[above].get(key)
            if at is not None:
                return self._containers[above][3 * at : 3 * at + 3]
        return self.notes[0][1] if self.notes else [None, 0, 0]


_plainly: Final = json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode


def _write(value: Any, path: Path, written: dict[Path, str], above: set[Path]) -> str:
    """JSON of a value, with the spellings of ``written``; ``above`` are the paths of what holds one of them."""
    if path in written:
        return written[path]
    if path not in above:
        return _plainly(value)
    if isinstance(value, dict):
        entries = (f"{_plainly(key)}:{_write(item, (*path, key), written, above)}" for key, item in value.items())
        return "{" + ",".join(entries) + "}"
    return "[" + ",".join(_write(item, (*path, at), written, above) for at, item in enumerate(value)) + "]"
