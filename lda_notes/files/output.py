"""Writing files: whole or not at all, never over what the user has, and nothing left behind."""

from __future__ import annotations

import hashlib
import os
import re
import stat
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Final

from lda_notes.files import locks
from lda_notes.files.system import RENAMES_OPEN_FILES, settle, unwritable
from lda_notes.problems import Failure

_READ_AS_RECORDS: Final = (".yaml", ".yml", ".json", ".ndjson", ".jsonl")
_PACKED: Final = (b"\x1f\x8b", b"\x28\xb5\x2f\xfd")
"""How gzip and Zstandard files begin."""
_RECORD_KEY: Final = re.compile(rb"""(?:^|[{,]\s*)["']?(record_version|patient|stay|port|events)["']?\s*:""", re.M)
_POLICY_KEY: Final = re.compile(rb"^(source|limits|silence)[ \t]*:", re.M)
_BUNDLE: Final = re.compile(rb"""["']?resourceType["']?\s*:\s*["']?Bundle\b""")
_LOOKED_AT: Final = 1 << 22
"""How much of a file is looked at to learn what it is, in bytes."""

_LEFT_BEHIND_S: Final = 3600.0
"""When a part file counts as left behind where locks do nothing, in seconds."""


# -- one file, whole --


@dataclass(slots=True)
class Part:
    """A file being written beside its place. It is locked while its writer lives, so that others can tell it from a
    leftover.

    Its name says nothing but, by a digest, the name that it will take.
    """

    path: Path
    file: IO[bytes]
    locks_work: bool

    def finish(self) -> None:
        """Put what was written safely on disk."""
        self.file.flush()
        os.fsync(self.file.fileno())

    def take(self, path: Path) -> None:
        """Let the part take the place of ``path``."""
        if not RENAMES_OPEN_FILES:
            self.file.close()
        os.replace(self.path, path)  # noqa: PTH105
        settle(path.parent)


@contextmanager
def part_of(path: Path) -> Iterator[Part]:
    """Yield a new private file (0600) beside ``path``; unless it was given its place, nothing of it stays."""
    descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=_prefix(path), suffix=".part")
    part = Path(name)
    try:
        with os.fdopen(descriptor, "wb") as file:
            locks.lock(file)
            works = not locks.is_free(part)
            _clear(path.parent, part, works)
            yield Part(part, file, works)
    finally:
        with suppress(OSError):
            part.unlink()


def parts_of(path: Path) -> list[Path]:
    """Return the parts that writers of ``path`` have beside it at this moment."""
    return list(path.parent.glob(f"{_prefix(path)}*.part"))


def _prefix(path: Path) -> str:
    return f".lda-notes-{hashlib.sha256(os.fsencode(path.name)).hexdigest()[:12]}-"


_cleared: set[tuple[str, int]] = set()


def _clear(folder: Path, own: Path, locks_work: bool) -> None:
    """Remove what killed writers left in ``folder``, once in a run."""
    key = (str(folder), os.getpid())
    if key in _cleared:
        return
    _cleared.add(key)
    for left in folder.glob(".lda-notes-*.part"):
        with suppress(OSError):
            old = time.time() - left.stat().st_mtime > _LEFT_BEHIND_S
            if left != own and (locks.is_free(left) if locks_work else old):
                left.unlink()


@contextmanager
def opened(path: Path) -> Iterator[IO[bytes]]:
    """Yield a new private file (0600) that takes the place of ``path`` when all is written; else nothing is left.

    Raises `Failure` with one sentence when it cannot be written.
    """
    try:
        refuse_unless_replaceable(path)
        with part_of(path) as part:
            yield part.file
            part.finish()
            part.take(path)
    except OSError as error:
        raise unwritable(path, error) from None


def write_private(path: Path, data: bytes) -> None:
    """Write ``data`` to ``path`` with mode 0600; what was at ``path`` stays whole until the new file is on disk.

    Raises `Failure` with one sentence when it cannot be written; nothing half-written is left behind.
    """
    with opened(path) as file:
        file.write(data)


# -- nothing of the user's is overwritten --


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


def refuse_to_destroy(path: Path, inputs: Iterable[Path], overwrite: bool, data: bytes | None = None) -> None:
    """Raise `Failure` when a result at ``path`` would destroy something of the user's.

    That is any of ``inputs``, files or folders, also reached by a link; a file in a folder that is read, if it would
    be read as a record from then on; and, unless ``overwrite``, a file that reads as a record, a bundle or a policy
    and says anything else than ``data``.
    """
    refuse_unless_replaceable(path)
    for given in inputs:
        if given.is_dir() and _same(given, path.parent) and path.suffix.lower() in _READ_AS_RECORDS:
            raise Failure(f"{path}: would be read as a record of {given}; give --out a name outside that folder")
        read = (given, *given.iterdir()) if given.is_dir() else (given,)
        if path.exists() and any(_same(one, path) for one in read):
            raise Failure(f"{path}: is an input of this command; give another name to --out")
    if overwrite or not path.exists():
        return
    what = kind_of(path)
    if what is not None and (data is None or path.read_bytes() != data):
        raise Failure(
            f"{path}: already exists and contains {what}; choose another name, or replace it with --overwrite"
        )


def _same(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:
        return False


def kind_of(path: Path) -> str | None:
    """Return what a file is when it reads as a record, a bundle or a policy, or as one that was damaged; else None."""
    try:
        with path.open("rb") as file:
            head = file.read(_LOOKED_AT)
    except OSError:
        return None
    if head.startswith(_PACKED) and path.suffix.lower() in (".gz", ".zst"):
        return "packed rows"
    if _BUNDLE.search(head):
        return "a FHIR bundle"
    if len(set(_POLICY_KEY.findall(head))) > 1:
        return "a policy"
    return "a record" if len(set(_RECORD_KEY.findall(head))) > 2 else None
