"""Writing files: whole or not at all, and readable by their owner alone."""

from __future__ import annotations

import os
import stat
import tempfile
from contextlib import suppress
from pathlib import Path

from lda_notes.problems import Failure


def write_private(path: Path, data: bytes) -> None:
    """Write ``data`` to ``path`` with mode 0600, by way of a new file in the same folder that then takes its place.

    What stood at ``path`` before stays whole until the new file is safely on disk. Raises `Failure` with one sentence
    when it cannot be written; nothing half-written is left behind.
    """
    try:
        refuse_unless_replaceable(path)
        descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=".lda-notes-", suffix=".part")  # mode 0600
    except OSError as error:
        raise _failure(path, error) from None
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(name, path)  # noqa: PTH105 -- names come from mkstemp
    except BaseException as error:
        with suppress(OSError):
            os.unlink(name)  # noqa: PTH108
        if isinstance(error, OSError):
            raise _failure(path, error) from None
        raise
    _settle(path.parent)


def refuse_unless_replaceable(path: Path) -> None:
    """Raise `Failure` unless a file may take the place of ``path``: a folder fails late, a device or pipe is lost."""
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        return
    if stat.S_ISLNK(mode):
        raise Failure(f"{path}: is a link; give the name of the file itself")
    if not stat.S_ISREG(mode):
        raise Failure(f"{path}: is not a regular file; give the name of a file to write")


def _settle(folder: Path) -> None:
    """Make the new name last through a crash, where the system allows a folder to be synced."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _failure(path: Path, error: OSError) -> Failure:
    return Failure(f"{path}: cannot be written ({error.strerror or error}); check the folder, its permissions and room")
