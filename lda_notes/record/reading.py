"""From a file to an episode: syntax, layout, and where every value stands.

What cannot be read becomes findings and is set aside, never dropped in silence: an event without kind, time or
identifier is listed as unread, a value that does not fit is left out of its event and named.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any, Final

from pydantic import ValidationError

from lda_notes.files.syntax import MAX_BYTES, Parsed, faultless_json, read_json, read_yaml
from lda_notes.files.system import contents
from lda_notes.knowledge.one_row import on_one_row
from lda_notes.problems import Failure, Finding, Path, Place
from lda_notes.record.episode import Episode
from lda_notes.record.events import Correcting
from lda_notes.record.parts import FORMER_KEYS
from lda_notes.record.unread import Unread

if TYPE_CHECKING:
    from lda_notes.record.validation import Misfit

SUFFIXES: Final = (".yaml", ".yml", ".json")

COPY: Final = re.compile(r"\.lda-copy-([1-9][0-9]*)")
"""End of the name of a record's state before an entry: no one else gives such names, so none is a file of the user."""


@dataclass(frozen=True, slots=True)
class UnreadEvent:
    """An event of the file that could not be placed in the timeline. ``index`` is its position in the file."""

    index: int
    id: str | None
    kind: str | None


@dataclass(slots=True)
class Record:
    """A file as read. ``episode`` is None when patient, stay or port could not be read at all."""

    file: str
    episode: Episode | None
    findings: tuple[Finding, ...] = ()
    unread_events: tuple[UnreadEvent, ...] = ()
    unread_facts: tuple[Unread, ...] = ()
    """Facts that were written and could not be read; every document names those that it would have used."""
    positions: tuple[int, ...] | None = None
    """Position in the file of each readable event; None when all are readable."""
    row: int = 0
    """The row of the file that the record is, where a file contains one to a row; 0 for a file of its own."""
    _kept: Mapping[Path, tuple[int, ...]] = field(default_factory=dict, repr=False)
    """Position in the file of each readable item of the lists that lost some, by the list's path in the file."""
    _parse: Callable[[], Parsed] | None = field(default=None, repr=False)
    _parsed: Parsed | None = field(default=None, repr=False)

    def place(self, path: Path) -> Place:
        """Return where ``path`` stands in the file; for something absent, where the part that lacks it stands."""
        if self.positions is not None and len(path) > 1 and path[0] == "events":
            path = ("events", self.positions[int(path[1])], *path[2:])
        real: Path = ()
        for step in path:
            stayed = self._kept.get(real)
            real += (stayed[step] if stayed is not None and isinstance(step, int) and step < len(stayed) else step,)
        return self._at(real)

    def _at(self, path: Path) -> Place:
        """Return the place of a path of the file itself, whatever events were set aside."""
        if self.data is None or self._parsed is None:
            return Place(self.file, self.row or 1, 1)
        return Place(self.file, *self._parsed.place(_as_written(path, self._parsed.data)))

    @property
    def data(self) -> Any:
        """The contents of the file as plain data; None for a record that was not read from text."""
        if self._parsed is None and self._parse is not None:
            self._parsed = self._parse()
        return self._parsed.data if self._parsed is not None else None

    def placed_in_file(self, finding: Finding) -> Finding:
        """Return ``finding``, whose path counts the events as the file does, with its place filled in."""
        return finding._replace(place=self._at(finding.path))

    def placed(self, finding: Finding) -> Finding:
        """Return ``finding`` with file, row and column filled in, its related spots too."""
        related = tuple(spot._replace(place=spot.place or self.place(spot.path)) for spot in finding.related)
        return finding._replace(place=finding.place or self.place(finding.path), related=related)


def read(path: FilePath) -> Record:
    """Read one record file. Raises `Failure` when the file cannot be opened; its content never raises."""
    try:
        raw = contents(path, MAX_BYTES + 1)
    except OSError as error:
        raise Failure(
            f"{path}: cannot be read ({error.strerror or error}); check the name and the permissions"
        ) from None
    if len(raw) > MAX_BYTES:
        raise Failure(f"{path}: larger than the {MAX_BYTES}-byte limit for a record; put one episode in each file")
    return read_bytes(raw, str(path), as_json=path.suffix.lower() == ".json")


def _plainly_good(raw: bytes) -> Episode | None:
    """Read JSON the short way; None when anything at all is unusual, for `_carefully` to say what."""
    try:
        return Episode.model_validate_json(raw) if faultless_json(raw) else None
    except ValueError:
        return None


def read_bytes(raw: bytes, name: str, as_json: bool = False, row: int = 0) -> Record:
    """Read a record from ``raw``; ``name`` is how findings call the file. Never raises for what it contains.

    ``row`` is the number of the row that ``raw`` is, in a file of JSON with one record to a row; else 0.
    """
    if as_json:
        episode = _plainly_good(raw)
        if episode is not None:
            record = Record(name, episode, row=row, _parse=lambda: read_json(raw, row))
            return _with_corrections(record)
        return _carefully(read_json(raw, row), name, row)
    return _carefully(read_yaml(raw), name)


def _with_corrections(record: Record) -> Record:
    """Set aside what corrections say that does not fit the event which they correct."""
    assert record.episode is not None
    if not any(isinstance(event, Correcting) for event in record.episode.events):
        return record
    from lda_notes.record.salvage import corrections, lost, withdraw  # here, since most records have no correction

    events = list(record.episode.events)
    findings = list(record.findings)
    facts = list(record.unread_facts)
    for position, change in corrections(record.episode):
        at = record.positions[position] if record.positions is not None else position
        above: Path = ("events", at, change.key)
        events[position] = change.event
        for path, fault in change.found.faults.items():
            finding = _layout_finding(fault, (*above, *path), record, record.data)
            findings.append(finding._replace(rule="correction-unreadable", event=change.event.id))
        unread = tuple(lost(change.found, record._at, record.data, above))
        for fact in unread:
            withdraw(change.found.result, change.kind, fact.fact)
        facts += unread
    if len(facts) == len(record.unread_facts) and len(findings) == len(record.findings):
        return record
    episode = record.episode.model_copy(update={"events": tuple(events)})
    return replace(record, episode=episode, findings=tuple(findings), unread_facts=tuple(facts))


def _carefully(parsed: Parsed, name: str, row: int = 0) -> Record:
    record = Record(name, None, row=row, _parsed=parsed)
    findings = tuple(
        Finding(
            fault.rule, "wrong", on_one_row(fault.message), fault.todo, (), place=Place(name, fault.row, fault.column)
        )
        for fault in parsed.faults
    )
    if parsed.data is None:
        return replace(record, findings=findings)
    try:
        record = replace(record, episode=Episode.model_validate_json(parsed.json), findings=findings)
        return _with_corrections(record)
    except ValidationError:
        from lda_notes.record.salvage import lost, salvage  # here, since most records are good
    root = parsed.data
    found = salvage(root, lambda data: Episode.model_validate_json(json.dumps(data)))
    findings += tuple(_layout_finding(fault, path, record, root) for path, fault in found.faults.items())
    if found.result is None:
        return replace(record, findings=findings)
    whole = range(len(root["events"])) if isinstance(root.get("events"), list) else range(0)
    stayed = found.kept.pop(("events",), tuple(whole))
    record = replace(
        record,
        episode=found.result,
        findings=findings,
        unread_events=tuple(
            _unread(position, root["events"][position]) for position in whole if position not in stayed
        ),
        unread_facts=tuple(lost(found, record._at, root)),
        positions=stayed,
        _kept=found.kept,
    )
    return _with_corrections(record)


def _unread(index: int, event: Any) -> UnreadEvent:
    def text(key: str) -> str | None:
        value = event.get(key) if isinstance(event, dict) else None
        return value if isinstance(value, str) and len(value) <= 64 else None

    return UnreadEvent(index, text("id"), text("kind"))


def _layout_finding(fault: Misfit, path: Path, record: Record, root: Any) -> Finding:
    todo = fault.todo
    if fault.unknown_key:
        from lda_notes.record.salvage import meant

        names, info = meant(root, path)
        if path[-1] in ("not_done", "not_assessed"):
            around = names[-1] if info is not None else "the fact that it is the reason for"
            todo = f"put it under {around}, indented further"
        elif info is None:
            todo = "remove it or correct its name"
        elif names[-1] != path[-1]:
            todo = f"did you mean {names[-1]}? Correct the name or remove it"
        else:
            around = f'under "{names[-2]}"' if len(names) > 1 else "one step further out"
            todo = f"it belongs {around}; move it there"
    return Finding("record-layout", "wrong", on_one_row(fault.message), todo, path, place=record._at(path))


def _as_written(path: Path, data: Any) -> Path:
    """Return a path by the keys that the file itself uses, which may be those of an earlier version."""
    made: list[str | int] = []
    for step in path:
        if isinstance(data, dict):
            step = step if step in data else FORMER_KEYS.get(str(step), step)
            data = data.get(step)
        else:
            data = data[step] if isinstance(data, list) and isinstance(step, int) and step < len(data) else None
        made.append(step)
    return tuple(made)
