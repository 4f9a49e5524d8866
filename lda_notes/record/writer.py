"""The writer of records: adds one event or one visit, under a lock, to the very file that was looked at, or nothing.

A reader sees the old file or the new one, never anything between. The state before is kept beside the record as a
numbered copy: the replaced file itself, under another name. Where locks do nothing (some network shares), what was
written is looked for again, and an entry that another writer replaced is reported as not written.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any, Final, NamedTuple

from lda_notes.files.locks import locked
from lda_notes.files.output import Part, part_of, parts_of
from lda_notes.files.syntax import read_json, read_yaml
from lda_notes.files.system import keep_access, settle, unwritable
from lda_notes.problems import Failure
from lda_notes.record import reading as records
from lda_notes.record.reading import COPY, Record
from lda_notes.record.seals import sealed
from lda_notes.record.writer_text import as_read, with_event

KEPT: Final = 9
"""How many numbered copies stay beside a record; the oldest goes when one more is made."""

_MOST_TRIES: Final = 50
"""How often an entry is added again after other writers, where locks do nothing."""

_SETTLED_S: Final = 10.0
"""How long other writers at work are waited for where locks do nothing, in seconds."""

_PAUSE_S: Final = 0.01


class Seen(NamedTuple):
    """A record file as it was at one moment: what it says, and a digest of its bytes to know it again by."""

    path: Path
    digest: str
    record: Record


class Written(NamedTuple):
    """The event is in the file. ``seen`` is the file as it is now, ``copy`` the state before it.

    ``notes`` say what the user should know of the file itself: hard links, a group that could not be kept.
    """

    seen: Seen
    copy: Path
    notes: tuple[str, ...] = ()


class Changed(NamedTuple):
    """The event is not in the file: another writer was first. ``seen`` is the file as it is now."""

    seen: Seen


def look(path: Path) -> Seen:
    """Read a record file so that an event can be added to what was read.

    Raises `Failure` when it cannot be opened, or contains no readable patient, stay and port.
    """
    real = path.resolve()
    seen = _seen(real, _bytes(real))
    if seen.record.episode is None:
        first = seen.record.placed(seen.record.findings[0])
        raise Failure(f"{first.place}: {first.message}; {first.todo}. Fix this first; nothing was added")
    return seen


def refuse_unless_writable(path: Path) -> None:
    """Raise `Failure` when ``path`` may not be replaced by this user: before the work, not after it."""
    real = path.resolve()
    if not real.parent.is_dir():
        raise Failure(f"{real.parent}: is not a folder; create it first")
    if not os.access(real.parent, os.W_OK | os.X_OK):
        raise Failure(f"{real.parent}: you do not have permission to write in this folder; ask its owner")
    if real.exists() and not os.access(real, os.W_OK):
        raise Failure(f"{path}: you do not have permission to write this file; ask its owner")


Again = Callable[[Seen], Mapping[str, Any] | None]
"""Asked, under the lock, when the file has changed: the event to add after all, or None to leave it."""


def append(
    seen: Seen, event: Mapping[str, Any], again: Again | None = None, asof: datetime | None = None
) -> Written | Changed:
    """Add ``event`` (plain JSON values) to the file that was seen; tell when it has changed since, and leave it alone.

    Of a visit, the value has the ``events`` that it consists of, which are added at once.

    ``again`` judges again what may be added to a changed file; ``asof`` is the moment judged from, for the seal, when
    it is not the time of entry. Raises `Failure` with one sentence when it cannot be
    written; the file is then as it was.
    """
    path = seen.path
    refuse_unless_writable(path)
    for _ in range(_MOST_TRIES):
        try:
            with locked(path) as locks_work:
                raw = _bytes(path)
                if _digest(raw) != seen.digest:
                    seen = _seen(path, raw)
                    judged = again(seen) if again is not None and seen.record.episode is not None else None
                    if judged is None:
                        return Changed(seen)
                    event = judged
                done = _added(seen, raw, _entries(event), asof, locks_work)
        except OSError as error:
            raise unwritable(path, error) from None
        if isinstance(done, Written):
            return done
        if again is None:
            return done
        seen = Seen(path, "", done.seen.record)
    raise Failure(f"{path}: other programs keep writing to it, so nothing could be added; try again")


def create(path: Path, data: bytes) -> None:
    """Write a new record file, readable by its owner alone. Raises `Failure` when something already exists there."""
    real = path.parent.resolve() / path.name
    try:
        with locked(real), part_of(real) as part:
            part.file.write(data)
            part.finish()
            try:
                os.link(part.path, real)  # fails where something exists, in one step
                settle(real.parent)
            except FileExistsError:
                raise
            except OSError:  # no hard links here: the name is taken first, then filled
                os.close(os.open(real, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
                part.take(real)
    except FileExistsError:
        raise Failure(f"{path}: already exists; choose another name, or add to it with `lda-notes chart`") from None
    except OSError as error:
        raise unwritable(path, error) from None


# -- reading --


def _bytes(path: Path) -> bytes:
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise Failure(f"{path}: is not a file")
        return path.read_bytes()
    except OSError as error:
        raise Failure(f"{path}: cannot be read ({error.strerror}); check the name and the permissions") from None


def _seen(path: Path, raw: bytes) -> Seen:
    return Seen(path, _digest(raw), records.read_bytes(raw, str(path), as_json=_is_json(path)))


def _digest(raw: bytes) -> str:
    return hashlib.sha256(raw).hexdigest()


def _is_json(path: Path) -> bool:
    return path.suffix.lower() == ".json"


def _refuse_unless_added(before: Seen, after: Seen, added: Sequence[Mapping[str, Any]]) -> None:
    old, new = before.record.episode, after.record.episode
    good = (
        old is not None
        and new is not None
        and new.events[: -len(added)] == old.events
        and [event.id for event in new.events[-len(added) :]] == [entry.get("id") for entry in added]
        and len(after.record.findings) == len(before.record.findings)
    )
    if not good:
        raise Failure("the event could not be read back as it was meant; nothing was written")


# -- writing --


def _entries(event: Mapping[str, Any]) -> tuple[Mapping[str, Any], ...]:
    """Return the entries to add at once: one, or those of a visit, in order."""
    return tuple(event["events"]) if "events" in event else (event,)


def _added(
    seen: Seen, raw: bytes, entries: tuple[Mapping[str, Any], ...], asof: datetime | None, locks_work: bool
) -> Written | Changed:
    """Write the new state whole, keep the one it replaces, look again, then let it take its place."""
    path, new = seen.path, raw
    read = read_json if _is_json(path) else read_yaml
    added = []
    for entry in entries:
        added.append(sealed(read(new).data or {}, entry, asof))
        new = with_event(new, added[-1], _is_json(path))
    now = _seen(path, new)
    _refuse_unless_added(seen, now, added)
    with part_of(path) as part:
        part.file.write(new)
        part.finish()
        notes = [note for note in (_other_names(path), keep_access(part.path, path)) if note is not None]
        copy = _kept(path, raw)
        if copy is None or not _took(part, path, raw, copy):
            return Changed(_seen(path, _bytes(path)))
    if not locks_work:
        _wait_for_others(path, part)
    raw = _bytes(path)
    if raw != new:
        now = _seen(path, raw)
        if not all(_contains(raw, entry, _is_json(path)) for entry in added):
            return Changed(now)
    _forget_old(path)
    return Written(now, copy, tuple(notes))


def _took(part: Part, path: Path, raw: bytes, copy: Path) -> bool:
    """Let the new state take its place, unless the file has changed; return whether it did. Else the copy goes."""
    try:
        if _bytes(path) == raw:
            part.take(path)
            return True
    except FileNotFoundError:  # another writer cleared the part away, so locks do nothing here
        pass
    except OSError:
        copy.unlink(missing_ok=True)
        raise
    copy.unlink(missing_ok=True)
    return False


def _contains(raw: bytes, event: Mapping[str, Any], as_json: bool) -> bool:
    data = (read_json if as_json else read_yaml)(raw).data
    return isinstance(data, dict) and as_read(event) in data.get("events", ())


def _wait_for_others(path: Path, own: Part) -> None:
    """Wait until writers that looked at the file before ours took its place have finished."""
    until = time.monotonic() + _SETTLED_S
    others = set(parts_of(path)) - {own.path}
    while others and time.monotonic() < until:
        time.sleep(_PAUSE_S)
        others &= set(parts_of(path))


def _copies(path: Path) -> list[tuple[int, Path]]:
    """Return the copies of a record with their numbers, oldest first."""
    named = re.compile(re.escape(path.name) + COPY.pattern)
    found = ((named.fullmatch(one.name), one) for one in path.parent.iterdir())
    return sorted((int(name[1]), one) for name, one in found if name)


def _kept(path: Path, raw: bytes) -> Path | None:
    """Keep the state that is about to be replaced under the next number; None when it is not ``raw`` any more."""
    copies = _copies(path)
    for _, old in copies:
        if old.samefile(path):  # of a writer that was killed before it replaced anything
            old.unlink()
    number = copies[-1][0] + 1 if copies else 1
    while True:
        copy = path.with_name(f"{path.name}.lda-copy-{number}")
        try:
            os.link(path, copy)
        except FileExistsError:
            number += 1
            continue
        except OSError:  # no hard links here
            with part_of(copy) as part:
                part.file.write(raw)
                part.finish()
                keep_access(part.path, path)
                part.take(copy)
        if copy.read_bytes() == raw:
            return copy
        copy.unlink()
        return None


def _forget_old(path: Path) -> None:
    for _, old in _copies(path)[:-KEPT]:
        with suppress(OSError):
            old.unlink()


def _other_names(path: Path) -> str | None:
    """Return a sentence on hard links: they keep the state before, since the file itself is replaced."""
    links = path.stat().st_nlink - 1
    if links < 1 or any(old.samefile(path) for _, old in _copies(path)):
        return None
    counted = "1 other name (a hard link)" if links == 1 else f"{links} other names (hard links)"
    return f"{path}: has {counted}; what is there under another name is the state before this entry"
