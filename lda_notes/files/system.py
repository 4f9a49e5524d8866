"""Features that only some systems have: owners, modes, access lists, synced folders. No other module asks for them."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Final

from lda_notes.problems import Failure

OPEN_SAFELY: Final = getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
"""Flags of `os.open` that keep a file from child processes and refuse a link, where the system knows them."""

RENAMES_OPEN_FILES: Final = os.name != "nt"
"""Whether a file may be renamed while it is open; Windows refuses that."""

_ACCESS_LIST: Final = "system.posix_acl_access"


def user() -> int | None:
    """Return the number of the user who runs the program; None where users have none."""
    found: int | None = os.geteuid() if hasattr(os, "geteuid") else None
    return found


def contents(path: Path, most: int) -> bytes:
    """Return at most ``most`` bytes of a file. Raises OSError, also for a pipe or a device: neither need ever end."""
    with open(path, "rb", opener=_without_waiting) as file:
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise OSError(errno.EINVAL, "it is not a regular file")
        return file.read(most)


def _without_waiting(path: str, flags: int) -> int:
    """Open a file; a pipe too, which else would wait for its writer."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def belongs_to_me(found: os.stat_result) -> bool:
    """Return whether a file belongs to the user who runs the program; yes where files have no owner."""
    return user() in (None, found.st_uid)


def is_private(found: os.stat_result) -> bool:
    """Return whether no one else may look into a file or folder; yes where modes say nothing."""
    return user() is None or not found.st_mode & 0o077


def keep_access(path: Path, before: Path) -> str | None:
    """Give ``path`` the owner, group, mode and access list of ``before``, as far as this user may.

    Return a sentence on what could not be kept; None when all that others rely on was.
    """
    if user() is None:
        return None
    old = before.stat()
    mode = stat.S_IMODE(old.st_mode) & 0o777
    said = None
    try:
        try:
            os.chown(path, old.st_uid, old.st_gid)
        except PermissionError:
            os.chown(path, -1, old.st_gid)
    except OSError:
        if path.stat().st_gid != old.st_gid and mode & 0o070:
            mode &= 0o707  # the group that would get these rights is another one
            said = f"{before}: its group could not be kept, so only its owner can read it; ask the owner of the folder"
    path.chmod(mode)
    if said is None and hasattr(os, "getxattr"):
        with suppress(OSError):
            os.setxattr(path, _ACCESS_LIST, os.getxattr(before, _ACCESS_LIST))
    return said


def open_to_writers_of(folder: Path, file: int | Path) -> None:
    """Let whoever may write in ``folder`` open this file too: a lock that its maker leaves behind bars no one."""
    if user() is None:
        return
    found = folder.stat()
    shared = found.st_mode & 0o022
    mode = 0o600 | shared | shared << 1
    with suppress(OSError):
        if shared & 0o020:
            os.chown(file, -1, found.st_gid)
    with suppress(OSError):
        os.chmod(file, mode)  # noqa: PTH101 -- also an open file


def settle(folder: Path) -> None:
    """Make changed names last through a crash, where the system allows a folder to be synced."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def unwritable(path: Path, error: OSError) -> Failure:
    """Return the sentence for a file that cannot be written."""
    if isinstance(error, FileNotFoundError) and not path.parent.is_dir():
        return Failure(f"{path}: the folder {path.parent} does not exist; create it, or give another name")
    return Failure(f"{path}: cannot be written ({error.strerror or error}); check the folder, its permissions and room")


def own_folder(environment: Mapping[str, str], variable: str, usual: str, what: str) -> Path:
    """Return the program's folder among a user's own files: under ``variable``, else under ``usual`` at home.

    Raises `Failure` for a user without a home folder; ``what`` names what is kept there.
    """
    named = Path(environment.get(variable, ""))
    try:
        base = named if named.is_absolute() else Path(environment.get("HOME") or "~").expanduser() / usual
    except RuntimeError:
        raise Failure(f"this user has no home folder for {what}; set {variable} to a folder of your own") from None
    return base / "lda-notes"
