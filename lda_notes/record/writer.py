"""The writer of records: adds one event, under a lock, to the very file that was looked at, or nothing at all.

A reader sees the old file or the new one, never anything between. The state before is kept beside the record as a
numbered copy, private like the record itself.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import re
import stat
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from lda_notes.problems import Failure
from lda_notes.record import reading as records
from lda_notes.record.reading import Record
from lda_notes.record.writer_text import with_event

KEPT: Final = 9
"""How many numbered copies stay beside a record; the oldest goes when one more is made."""

PATIENCE_S = 30.0
"""How long a writer waits for another one, in seconds."""

_PAUSE_S: Final = 0.005


@dataclass(frozen=True, slots=True)
class Seen:
    """A record file as it was at one moment: what it says, and a digest of its bytes to know it again by."""

    path: Path
    digest: str
    record: Record


@dataclass(frozen=True, slots=True)
class Written:
    """The event is in the file. ``seen`` is the file as it now stands, ``copy`` the state before it."""

    seen: Seen
    copy: Path


@dataclass(frozen=True, slots=True)
class Changed:
    """Nothing was written: somebody else wrote in the meantime. ``seen`` is the file as it now stands."""

    seen: Seen


def look(path: Path) -> Seen:
    """Read a record file so that an event can be added to what was read.

    Raises `Failure` when it cannot be opened, or holds no readable patient, stay and port.
    """
    real = path.resolve()
    seen = _seen(real, _bytes(real))
    if seen.record.episode is None:
        first = seen.record.placed(seen.record.findings[0])
        raise Failure(f"{first.place}: {first.message}; {first.todo}. Nothing can be added before that is mended")
    return seen


def refuse_unless_writable(path: Path) -> None:
    """Raise `Failure` when ``path`` may not be replaced by this user: told before the work, not after it."""
    real = path.resolve()
    if real.exists() and not os.access(real, os.W_OK):
        raise Failure(f"{path}: may not be written by you; ask its owner")
    if not real.parent.is_dir():
        raise Failure(f"{real.parent}: is no folder; make it first")
    if not os.access(real.parent, os.W_OK | os.X_OK):
        raise Failure(f"{real.parent}: nothing can be written there by you; ask the folder's owner")


Again = Callable[[Seen], Mapping[str, Any] | None]
"""Asked, under the lock, when the file has changed: the event to add after all, or None to leave it."""


def append(seen: Seen, event: Mapping[str, Any], again: Again | None = None) -> Written | Changed:
    """Add ``event`` (plain JSON values) to the file that was seen; tell when it has changed since, and leave it alone.

    ``again`` judges anew what may be added to a changed file. Raises `Failure` with one sentence when it cannot be
    written; the file is then as it was.
    """
    path = seen.path
    refuse_unless_writable(path)
    with locked(path):
        raw = _bytes(path)
        if _digest(raw) != seen.digest:
            seen = _seen(path, raw)
            judged = again(seen) if again is not None and seen.record.episode is not None else None
            if judged is None:
                return Changed(seen)
            event = judged
        new = with_event(raw, event, _is_json(path))
        now = _seen(path, new)
        _refuse_unless_added(seen, now, event)
        try:
            copy = _keep(path, raw)
            _replace(path, _part(path, new))
        except OSError as error:
            raise _unwritable(path, error) from None
        return Written(now, copy)


def create(path: Path, data: bytes) -> None:
    """Write a new record file, readable by its owner alone. Raises `Failure` when something already stands there."""
    real = path.parent.resolve() / path.name
    try:
        with locked(real):
            part = _part(real, data)
            try:
                os.link(part, real)  # fails where something stands, in one step
            finally:
                os.unlink(part)  # noqa: PTH108
            _settle(real.parent)
    except FileExistsError:
        raise Failure(f"{path}: already stands there; give another name, or chart in it") from None
    except OSError as error:
        raise _unwritable(path, error) from None


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


def _refuse_unless_added(before: Seen, after: Seen, event: Mapping[str, Any]) -> None:
    old, new = before.record.episode, after.record.episode
    good = (
        old is not None
        and new is not None
        and new.events[:-1] == old.events
        and new.events[-1].id == event.get("id")
        and len(after.record.findings) == len(before.record.findings)
    )
    if not good:
        raise Failure("the event could not be read back as it was meant; nothing was written")


# -- locking --


@contextmanager
def locked(path: Path, patience_s: float | None = None, busy: str = "") -> Iterator[None]:
    """Keep every other writer of ``path`` out, across processes.

    The lock stands on a file beside the record, since the record itself is replaced. It falls with the process that
    holds it, however that ends. Raises `Failure` when another writer does not finish within ``patience_s`` seconds
    (default: `PATIENCE_S`), saying ``busy``.
    """
    beside = path.with_name(f".{path.name}.lock")
    until = time.monotonic() + (PATIENCE_S if patience_s is None else patience_s)
    while True:
        try:
            descriptor = os.open(beside, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o600)
        except OSError as error:
            raise _unwritable(path, error) from None
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if _still_named(beside, descriptor):
                break
        except BlockingIOError:
            if time.monotonic() > until:
                os.close(descriptor)
                said = busy or f"{path}: another program is writing to it and does not finish; try again"
                raise Failure(said) from None
            time.sleep(_PAUSE_S)
        except BaseException:
            os.close(descriptor)
            raise
        os.close(descriptor)
    try:
        yield
    finally:
        with suppress(OSError):
            os.unlink(beside)  # noqa: PTH108 -- under the lock, so that nobody waits on a file without a name unseen
        os.close(descriptor)


def _still_named(beside: Path, descriptor: int) -> bool:
    """Tell whether the file locked is the one that others will find: its last holder may have taken it away."""
    try:
        named = beside.lstat()
    except FileNotFoundError:
        return False
    held = os.fstat(descriptor)
    return (named.st_dev, named.st_ino) == (held.st_dev, held.st_ino)


# -- writing --


def _keep(path: Path, raw: bytes) -> Path:
    """Write the state before as a copy with the next number, and take the oldest away."""
    numbered = re.compile(re.escape(path.name) + r"\.([1-9][0-9]*)")
    numbers = sorted(int(found[1]) for name in os.listdir(path.parent) if (found := numbered.fullmatch(name)))  # noqa: PTH208
    copy = path.with_name(f"{path.name}.{numbers[-1] + 1 if numbers else 1}")
    _replace(copy, _part(path, raw))
    for old in numbers[: 1 - KEPT]:
        with suppress(OSError):
            path.with_name(f"{path.name}.{old}").unlink()
    return copy


def _replace(path: Path, part: Path) -> None:
    try:
        os.replace(part, path)  # noqa: PTH105
    except OSError:
        with suppress(OSError):
            part.unlink()
        raise
    _settle(path.parent)


def _part(path: Path, data: bytes) -> Path:
    """Write a file beside ``path`` safely to disk. Its name is fixed: what a killed writer left is taken over."""
    part = path.with_name(f".{path.name}.part")
    with suppress(FileNotFoundError):
        part.unlink()
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC | os.O_NOFOLLOW, 0o600)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        with suppress(OSError):
            part.unlink()
        raise
    return part


def _settle(folder: Path) -> None:
    """Make the new name last through a crash, where the system allows a folder to be synced."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _unwritable(path: Path, error: OSError) -> Failure:
    return Failure(f"{path}: cannot be written ({error.strerror or error}); check the folder, its permissions and room")
