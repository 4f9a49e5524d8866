"""Locks across processes, on Unix and Windows; they fall with the process that has them, however that ends."""

from __future__ import annotations

import errno
import os
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any, Final

import portalocker

from lda_notes.files.system import OPEN_SAFELY, open_to_writers_of, unwritable
from lda_notes.problems import Failure

PATIENCE_S = 30.0
"""How long a writer waits for another one, in seconds."""

_PAUSE_S: Final = 0.005


@contextmanager
def locked(path: Path, patience_s: float | None = None, busy: str = "") -> Iterator[bool]:
    """Keep every other writer of ``path`` out, and yield whether locks work at all in its folder.

    The lock is on a file beside ``path``, since ``path`` itself is replaced. Raises `Failure` when another writer does
    not finish within ``patience_s`` seconds (default: `PATIENCE_S`), saying ``busy``, or there can be no lock file.
    """
    beside = path.with_name(f".{path.name}.lda-notes-lock")
    until = time.monotonic() + (PATIENCE_S if patience_s is None else patience_s)
    while (descriptor := _held(beside)) is None:
        if time.monotonic() > until:
            raise Failure(busy or f"{path}: another program is writing to it and does not finish; try again")
        time.sleep(_PAUSE_S)
    try:
        yield not is_free(beside)
    finally:
        with suppress(OSError):
            os.unlink(beside)  # noqa: PTH108 -- under the lock, so that nobody waits on a file without a name unseen
        os.close(descriptor)


_MOST_LOOKS: Final = 100


def _held(beside: Path) -> int | None:
    """Return the locked file; None when another process has it."""
    for _ in range(_MOST_LOOKS):
        try:
            descriptor = os.open(beside, os.O_RDWR | OPEN_SAFELY)
        except FileNotFoundError:
            _make(beside)
            continue
        except OSError as error:
            raise unwritable(beside, error) from None
        mine = False
        try:
            free = lock(descriptor)
            mine = free and _still_named(beside, descriptor)
        finally:
            if not mine:
                os.close(descriptor)
        if mine or not free:
            return descriptor if mine else None
    return None


def _make(beside: Path) -> None:
    """Make a lock file that every writer of the folder can open from its first moment on."""
    try:
        descriptor, name = tempfile.mkstemp(dir=beside.parent, prefix=".lda-notes-lock-", suffix=".part")
        try:
            open_to_writers_of(beside.parent, descriptor)
            with suppress(FileExistsError, FileNotFoundError):
                os.link(name, beside)
        except OSError:  # no hard links here
            os.close(os.open(beside, os.O_RDWR | os.O_CREAT | OPEN_SAFELY, 0o600))
            open_to_writers_of(beside.parent, beside)
        finally:
            os.close(descriptor)
            with suppress(OSError):
                os.unlink(name)  # noqa: PTH108
    except OSError as error:
        raise unwritable(beside, error) from None


def _still_named(beside: Path, descriptor: int) -> bool:
    """Return whether the file locked is the one that others will find: its last owner may have removed it."""
    try:
        return os.path.samestat(beside.lstat(), os.fstat(descriptor))
    except FileNotFoundError:
        return False


_NO_LOCKS: Final = (errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP)


def lock(file: IO[Any] | int) -> bool:
    """Lock an open file without waiting; return whether this process has the lock now.

    It has where the file system knows no locks: then every process has.
    """
    try:
        portalocker.lock(file, portalocker.LockFlags.EXCLUSIVE | portalocker.LockFlags.NON_BLOCKING)
    except portalocker.LockException as error:
        cause = error.args[0] if error.args else None
        return isinstance(cause, OSError) and cause.errno in _NO_LOCKS
    return True


def is_free(path: Path) -> bool:
    """Return whether no process has a lock on ``path``; no when that cannot be found out."""
    try:
        descriptor = os.open(path, os.O_RDWR | OPEN_SAFELY)
    except OSError:
        return False
    try:
        return lock(descriptor)
    finally:
        os.close(descriptor)
