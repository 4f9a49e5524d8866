"""From a file to an episode: syntax, layout, and where every value stands.

What cannot be read becomes findings and is set aside, never dropped in silence: an event without kind, time or
identifier is listed as unread, a value that does not fit is left out of its event and named.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any, Final

from pydantic import BaseModel, ValidationError

from lda_notes.files.syntax import MAX_BYTES, Parsed, faultless_json, read_json, read_yaml
from lda_notes.problems import Failure, Finding, Path, Place
from lda_notes.record.episode import Episode
from lda_notes.record.events import KINDS
from lda_notes.record.parts import FORMER_KEYS
from lda_notes.record.spelling import nearest

if TYPE_CHECKING:
    from lda_notes.record.validation import Misfit

SUFFIXES: Final = (".yaml", ".yml", ".json")


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
    unread: tuple[UnreadEvent, ...] = ()
    positions: tuple[int, ...] | None = None
    """Position in the file of each readable event; None when all are readable."""
    row: int = 0
    """The row of the file that the record is, where a file holds one to a row; 0 for a file of its own."""
    _parse: Callable[[], Parsed] | None = field(default=None, repr=False)
    _parsed: Parsed | None = field(default=None, repr=False)

    def place(self, path: Path) -> Place:
        """Return where ``path`` stands in the file; for something absent, where the part that lacks it stands."""
        if self._parsed is None and self._parse is not None:
            self._parsed = self._parse()
        if self.positions is not None and len(path) > 1 and path[0] == "events":
            path = ("events", self.positions[int(path[1])], *path[2:])
        return self._at(path)

    def _at(self, path: Path) -> Place:
        """Return the place of a path of the file itself, whatever events were set aside."""
        if self._parsed is None:
            return Place(self.file, self.row or 1, 1)
        return Place(self.file, *self._parsed.place(_as_written(path, self._parsed.data)))

    def placed(self, finding: Finding) -> Finding:
        """Return ``finding`` with file, row and column filled in, its related spots too."""
        related = tuple(replace(spot, place=spot.place or self.place(spot.path)) for spot in finding.related)
        return replace(finding, place=finding.place or self.place(finding.path), related=related)


def read(path: FilePath) -> Record:
    """Read one record file. Raises `Failure` when the file cannot be opened; its content never raises."""
    try:
        with path.open("rb") as file:
            raw = file.read(MAX_BYTES + 1)
    except OSError as error:
        raise Failure(
            f"{path}: cannot be read ({error.strerror or error}); check the name and the permissions"
        ) from None
    if len(raw) > MAX_BYTES:
        raise Failure(f"{path}: holds more than {MAX_BYTES} bytes, the most of a record; give one episode per file")
    return read_bytes(raw, str(path), as_json=path.suffix.lower() == ".json")


def _plainly_good(raw: bytes) -> Episode | None:
    """Read JSON the short way; None when anything at all is unusual, for `_carefully` to say what."""
    try:
        return Episode.model_validate_json(raw) if faultless_json(raw) else None
    except ValueError:
        return None


def read_bytes(raw: bytes, name: str, as_json: bool = False, row: int = 0) -> Record:
    """Read a record from ``raw``; ``name`` is how findings call the file. Never raises for what it holds.

    ``row`` is the number of the row that ``raw`` is, in a file of JSON with one record to a row; else 0.
    """
    if as_json:
        episode = _plainly_good(raw)
        if episode is not None:
            return Record(name, episode, row=row, _parse=lambda: read_json(raw, row))
        return _carefully(read_json(raw, row), name, row)
    return _carefully(read_yaml(raw), name)


def _carefully(parsed: Parsed, name: str, row: int = 0) -> Record:
    record = Record(name, None, row=row, _parsed=parsed)
    findings = [
        Finding(fault.rule, "wrong", fault.message, fault.todo, (), place=Place(name, fault.row, fault.column))
        for fault in parsed.faults
    ]
    data: Any = parsed.data
    if data is None:
        return replace(record, findings=tuple(findings))
    try:
        return replace(record, episode=Episode.model_validate_json(parsed.json), findings=tuple(findings))
    except ValidationError as error:
        from lda_notes.record.validation import misfits  # here, since most records are good

        faults = misfits(error, data)
    return _pruned(record, data, faults, findings)


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


_MAX_ROUNDS: Final = 12


def _pruned(record: Record, data: Any, faults: list[Misfit], findings: list[Finding]) -> Record:
    """Take out what does not fit, naming each, until the rest is an episode or nothing is left to take out."""
    from lda_notes.record.validation import misfits

    positions = (
        list(range(len(data["events"]))) if isinstance(data, dict) and isinstance(data.get("events"), list) else []
    )
    unread: list[UnreadEvent] = []
    named: set[Path] = set()
    removed: set[Path] = set()
    for _ in range(_MAX_ROUNDS):
        dropped: set[int] = set()
        removals: list[Path] = []
        for fault in faults:
            path = fault.path
            real = _in_file(path, positions)
            if real not in named and not (fault.missing and real in removed):  # it stands in the file
                named.add(real)
                findings.append(_layout_finding(fault, real, record, data))
            if _spoils_event(fault) and _in_events(path, positions):
                dropped.add(int(path[1]))
            else:
                removals.append(_to_remove(fault, data))
        if any(len(path) < 1 for path in removals):
            break
        for path in sorted(removals, key=len, reverse=True):
            removed.add(_in_file(path, positions))
            _remove(data, path)
        for position in sorted(dropped, reverse=True):
            event = data["events"].pop(position)
            unread.append(_unread(positions.pop(position), event))
        try:
            episode = Episode.model_validate_json(json.dumps(data))
        except ValidationError as error:
            faults = misfits(error, data)
            continue
        except RecursionError:
            break
        unread.sort(key=lambda event: event.index)
        return replace(
            record, episode=episode, findings=tuple(findings), unread=tuple(unread), positions=tuple(positions)
        )
    return replace(record, findings=tuple(findings))


def _in_events(path: Path, positions: list[int]) -> bool:
    return len(path) > 1 and path[0] == "events" and isinstance(path[1], int) and path[1] < len(positions)


def _in_file(path: Path, positions: list[int]) -> Path:
    """Return the path as it is in the file, where events that could not be read still have their positions."""
    return ("events", positions[int(path[1])], *path[2:]) if _in_events(path, positions) else path


def _spoils_event(fault: Misfit) -> bool:
    """Tell whether an event cannot be placed because of ``fault``: no kind, time, identifier or needed fact."""
    path = fault.path
    return len(path) == 2 or (len(path) == 3 and (fault.missing or path[2] in ("id", "at", "kind", "of")))


def _to_remove(fault: Misfit, data: Any) -> Path:
    """Return what to take out: the value, or the smallest part around it that can be absent."""
    path = fault.path[:-1] if fault.missing else fault.path
    while path and isinstance(path[-1], int):  # taking one item would shift the places of its neighbours
        path = path[:-1]
    return path


def _remove(data: Any, path: Path) -> None:
    for step in path[:-1]:
        if isinstance(data, dict):
            data = data.get(step)
        elif isinstance(data, list) and isinstance(step, int) and step < len(data):
            data = data[step]
        else:
            return
    if isinstance(data, dict):
        data.pop(path[-1], None)


def _unread(index: int, event: Any) -> UnreadEvent:
    def text(key: str) -> str | None:
        value = event.get(key) if isinstance(event, dict) else None
        return value if isinstance(value, str) and len(value) <= 64 else None

    return UnreadEvent(index, text("id"), text("kind"))


def _fields(annotation: Any) -> dict[str, Any]:
    """Return the fields of every model inside an annotation."""
    found: dict[str, Any] = {}
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return dict(annotation.model_fields)
    for part in getattr(annotation, "__args__", ()):
        found.update(_fields(part))
    return found


def _known_keys(path: Path, data: Any) -> list[str]:
    """Return the keys that may stand beside the last step of ``path``."""
    fields: dict[str, Any] = dict(Episode.model_fields)
    for step in path[:-1]:
        data = data.get(step) if isinstance(data, dict) else data[step] if isinstance(data, list) else None  # type: ignore[index]
        if isinstance(step, int):
            if isinstance(data, dict) and data.get("kind") in KINDS:
                fields = dict(KINDS[data["kind"]].model_fields)
            continue
        found = fields.get(step)
        fields = _fields(found.annotation) if found is not None else {}
    return sorted(fields)


def _layout_finding(fault: Misfit, path: Path, record: Record, data: Any) -> Finding:
    todo = fault.todo
    if fault.unknown_key:
        close = nearest(str(path[-1]), _known_keys(fault.path, data))
        todo = f"did you mean {close}? Correct the name or remove it" if close else "remove it or correct its name"
    return Finding("record-layout", "wrong", fault.message, todo, path, place=record._at(path))
