"""The folder in which bundles wait, private to its owner.

``waiting/``: parcels, sent in the order of their numbers. ``set-aside/``: parcels that the server refused, each with
what it said. ``receipts.ndjson``: what was delivered. File names hold a number and a piece of a digest, nothing else.

A parcel leaves ``waiting`` only after its receipt is on disk. A crash in between costs one look at the receipts; a
crash before it, one sending that changes nothing, since every entry is conditional on its identity.

A refused bundle does not hold up the others of its episode: each bundle stands by itself, and a removal that waited
for the correction of an earlier entry would leave the server with a needle that is no longer in. A parcel about the
same entry of the record takes the place of the one before it, waiting or set aside.
"""

from __future__ import annotations

import fcntl
import os
import re
import stat
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from lda_notes.files.output import write_private
from lda_notes.problems import Failure
from lda_notes.sending.auth import UNREACHABLE
from lda_notes.sending.parcel import Damaged, Parcel, from_bytes, head_of, words_of
from lda_notes.sending.receipts import Receipts

_NAME: Final = re.compile(r"(\d{8})-[0-9a-f]{12}\.parcel")
_LAST: Final = 99_999_999
_PART: Final = ".lda-notes-"
REASON: Final = ".reason.txt"


@dataclass(frozen=True, slots=True, order=True)
class Slip:
    """A parcel in the outbox, without its bundle: its number and file, and what stands in its head."""

    number: int
    path: Path
    digest: str
    about: str | None
    server: str | None
    creates: tuple[str, ...] = ()
    updates: tuple[str, ...] = ()


class Outbox:
    """An outbox folder. Raises `Failure` when it cannot be made or others may look into it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._waiting = folder / "waiting"
        self._aside = folder / "set-aside"
        try:
            folder.parent.mkdir(parents=True, exist_ok=True)
            for one in (folder, self._waiting, self._aside):
                _private_folder(one)
        except OSError as error:
            raise Failure(
                f"{folder}: cannot be the outbox ({error.strerror or error}); name another with --outbox"
            ) from None

    def receipts(self) -> Receipts:
        """What was delivered from here."""
        return Receipts(self.folder / "receipts.ndjson")

    def waiting(self) -> list[Slip]:
        """What waits, in order."""
        return list(_slips(self._waiting))

    def set_aside(self) -> list[Slip]:
        """What was refused, in order."""
        return list(_slips(self._aside))

    # -- putting in --

    def put(self, parcels: Iterable[Parcel]) -> list[Slip]:
        """Put parcels at the end, all or none, and take out what they replace; one that waits already is left.

        Raises `Failure` when they cannot all be written: none of them is in the outbox then.
        """
        with self._locked("spool"):
            self._sweep()
            waiting, aside = self.waiting(), self.set_aside()
            present = {(slip.digest, slip.server): slip for slip in waiting}
            number = max((slip.number for slip in (*waiting, *aside)), default=0)
            placed: list[Slip] = []
            fresh: list[Slip] = []
            try:
                for parcel in parcels:
                    known = present.get((parcel.digest, parcel.server))
                    if known is None:
                        number += 1
                        known = self._write(parcel, number)
                        present[(parcel.digest, parcel.server)] = known
                        fresh.append(known)
                    placed.append(known)
            except BaseException:
                for slip in fresh:
                    with suppress(OSError):
                        slip.path.unlink()
                raise
            kept = {slip.path for slip in placed}
            about = {(slip.about, slip.server) for slip in placed if slip.about is not None}
            for slip in (*waiting, *aside):
                if slip.path not in kept and (slip.about, slip.server) in about:
                    self._remove(slip)
        return placed

    def _write(self, parcel: Parcel, number: int) -> Slip:
        if number > _LAST:
            raise Failure(f"{self.folder}: its numbers have run out; name another outbox with --outbox")
        path = self._waiting / f"{number:08}-{parcel.digest[:12]}.parcel"
        write_private(path, parcel.to_bytes())
        return Slip(number, path, parcel.digest, parcel.about, parcel.server, parcel.creates, parcel.updates)

    def _sweep(self) -> None:
        """Take away what a killed writer left half-written: nobody else writes while the lock is held."""
        for folder in (self._waiting, self._aside):
            for path in folder.iterdir():
                if path.name.startswith(_PART):
                    with suppress(OSError):
                        path.unlink()

    # -- taking out --

    @contextmanager
    def draining(self) -> Iterator[None]:
        """Be the only one who sends from here. Raises `Failure` when another run does."""
        with self._locked("drain", wait=False):
            yield

    def take(self, slip: Slip) -> Parcel | None:
        """The parcel of a slip; None when a newer one has taken its place. Raises `Damaged`."""
        try:
            return from_bytes(slip.path.read_bytes())
        except FileNotFoundError:
            return None
        except OSError as error:
            raise Failure(
                f"{slip.path}: cannot be read ({error.strerror or error}); check its permissions", UNREACHABLE
            ) from None

    def done(self, slip: Slip) -> None:
        """Take out a parcel whose receipt is written."""
        self._remove(slip)

    def refuse(self, slip: Slip, reason: str) -> Path:
        """Set a parcel aside, with the reason beside it; return its new place."""
        to = self._aside / slip.path.name
        write_private(_reason_beside(to), reason.encode())
        try:
            slip.path.rename(to)
        except FileNotFoundError:  # a newer one has taken its place meanwhile
            _reason_beside(to).unlink(missing_ok=True)
        _settle(self._aside)
        _settle(self._waiting)
        return to

    def put_back(self, server: str | None) -> list[Slip]:
        """Let what was set aside for ``server`` wait again, in its old place."""
        with self._locked("spool"):
            taken = [slip for slip in self.set_aside() if slip.server in (None, server)]
            for slip in taken:
                slip.path.rename(self._waiting / slip.path.name)
                _reason_beside(slip.path).unlink(missing_ok=True)
            _settle(self._waiting)
            _settle(self._aside)
        return taken

    def _remove(self, slip: Slip) -> None:
        slip.path.unlink(missing_ok=True)
        _reason_beside(slip.path).unlink(missing_ok=True)
        _settle(slip.path.parent)

    @contextmanager
    def _locked(self, name: str, *, wait: bool = True) -> Iterator[None]:
        path = self.folder / f".{name}.lock"
        try:
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o600)
        except OSError as error:
            raise Failure(
                f"{self.folder}: cannot be used ({error.strerror or error}); check the folder and its room"
            ) from None
        try:
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
            except BlockingIOError:
                raise Failure(
                    f"{self.folder}: another run is sending from this outbox; what you gave waits in it", UNREACHABLE
                ) from None
            yield
        finally:
            os.close(descriptor)


def _reason_beside(path: Path) -> Path:
    return path.with_name(path.name + REASON)


def _slips(folder: Path) -> Iterator[Slip]:
    for path in sorted(folder.iterdir()):
        named = _NAME.fullmatch(path.name)
        if named is None:
            continue
        try:
            with path.open("rb") as file:
                head = head_of(file.readline())
        except FileNotFoundError:
            continue
        except (Damaged, OSError):  # taken up when its turn comes, and set aside then
            head = {"digest": ""}
        about, server = head.get("about"), head.get("server")
        yield Slip(
            int(named[1]),
            path,
            head["digest"],
            about if isinstance(about, str) else None,
            server if isinstance(server, str) else None,
            words_of(head.get("creates")),
            words_of(head.get("updates")),
        )


def _private_folder(folder: Path) -> None:
    folder.mkdir(mode=0o700, exist_ok=True)
    found = folder.lstat()
    if not stat.S_ISDIR(found.st_mode):
        raise Failure(f"{folder}: is not a folder; name another outbox with --outbox")
    if found.st_uid != os.geteuid():
        raise Failure(f"{folder}: belongs to somebody else; name an outbox of your own with --outbox")
    if found.st_mode & 0o077:
        raise Failure(f"{folder}: others may look into it; forbid that with chmod 700 {folder}")


def _settle(folder: Path) -> None:
    """Make changed names last through a crash, where the system allows a folder to be synced."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
