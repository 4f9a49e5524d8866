"""The outbox: a private folder with one SQLite file, in which bundles wait and receipts are kept.

Every change is a transaction that is on the disk before the next step (``synchronous=EXTRA``): a parcel leaves in the
transaction that writes its receipt, so a kill at any moment loses nothing, and at worst costs one sending that changes
nothing, since every entry is conditional on its identity.

A refused bundle does not hold up the others of its episode: each bundle stands by itself, and a removal that waited
for the correction of an earlier entry would leave the server with a needle that is no longer in.
"""

from __future__ import annotations

import json
import os
import sqlite3
import stat
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import astuple, dataclass
from pathlib import Path
from typing import Any, Final

from lda_notes.files.system import OPEN_SAFELY, belongs_to_me, is_private
from lda_notes.problems import UNREACHABLE, Failure
from lda_notes.sending.parcel import Parcel, Receipt

FILE: Final = "outbox.sqlite3"
_LOCK: Final = "sending.sqlite3"
_VERSION: Final = 2
_UNUSABLE: Final = 2
_BUSY_S: Final = 30.0
_EARLIER: Final = ("waiting", "set-aside", "receipts.ndjson")
"""Names in an outbox of the first layout, whose identities do not name the patient."""

_REMOTE: Final = ("nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "afs", "ceph", "fuse.sshfs", "fuse.glusterfs", "davfs")
"""File systems on which SQLite's locks cannot be relied upon."""

_LAYOUT: Final = """
CREATE TABLE parcel (
    number INTEGER PRIMARY KEY AUTOINCREMENT, digest TEXT NOT NULL, line TEXT, about TEXT, server TEXT,
    head TEXT NOT NULL, bundle BLOB NOT NULL, reason TEXT);
CREATE TABLE receipt (
    number INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, server TEXT NOT NULL, bundle TEXT NOT NULL, line TEXT,
    about TEXT, resources TEXT NOT NULL, differs INTEGER NOT NULL);
CREATE INDEX receipt_of ON receipt (bundle, server);
"""


class Damaged(Exception):
    """A parcel that cannot be read back as it was put in."""


@dataclass(frozen=True, slots=True, order=True)
class Slip:
    """A parcel in the outbox, without its bundle. ``reason`` is why it was set aside; None while it waits."""

    number: int
    digest: str
    line: str | None
    about: str | None
    server: str | None
    reason: str | None = None
    creates: tuple[str, ...] = ()
    updates: tuple[str, ...] = ()


class Outbox:
    """An outbox folder. Raises `Failure` when it cannot be made, others may look into it, or it is an earlier one."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._forgotten: set[str] = set()
        try:
            folder.parent.mkdir(parents=True, exist_ok=True)
            _private_folder(folder)
            for name in (FILE, _LOCK):
                _private_file(folder / name)
        except OSError as error:
            raise Failure(
                f"{folder}: cannot be the outbox ({error.strerror or error}); name another with --outbox"
            ) from None
        with self._told(_UNUSABLE):
            self._data = sqlite3.connect(folder / FILE, timeout=_BUSY_S, isolation_level=None)
            self._data.text_factory = lambda text: text.decode(errors="replace")
            self._data.execute("PRAGMA synchronous = EXTRA")
            self._data.execute("PRAGMA secure_delete = ON")  # what was sent does not stay in unused pages
            with self._changing():
                [version] = self._data.execute("PRAGMA user_version").fetchone()
                if version == 0:
                    for statement in _LAYOUT.split(";"):
                        self._data.execute(statement)
                    self._data.execute(f"PRAGMA user_version = {_VERSION}")
        if version not in (0, _VERSION):
            raise Failure(f"{folder}: is an outbox of another version of this program; name another with --outbox")

    # -- looking --

    def waiting(self) -> list[Slip]:
        """Return what waits, in order."""
        return self._slips("reason IS NULL")

    def set_aside(self) -> list[Slip]:
        """Return what was refused, in order."""
        return self._slips("reason IS NOT NULL")

    def has(self, server: str, bundle: str) -> bool:
        """Return whether that server has that bundle (a digest), as the record has it."""
        if bundle in self._forgotten:
            return False
        query = "SELECT differs FROM receipt WHERE bundle = ? AND server = ? ORDER BY number DESC LIMIT 1"
        with self._told():
            return bool(self._data.execute(query, (bundle, server)).fetchone() == (0,))

    def forget(self, bundles: Iterable[str]) -> None:
        """Act as if these bundles (digests) had not been delivered, until they are again; receipts are kept."""
        self._forgotten.update(bundles)

    def first_numbers(self, server: str | None, about: str) -> set[str]:
        """Return the lines under which that server was sent anything of a stay; ``about`` begins with its episode."""
        query = "SELECT DISTINCT line FROM receipt WHERE server = ? AND substr(about, 1, ?) = ?"
        with self._told():
            return {line for (line,) in self._data.execute(query, (server, len(about), about)) if line is not None}

    # -- putting in --

    def put(self, parcels: Iterable[Parcel]) -> list[Slip]:
        """Put parcels at the end, all or none, and take out what they replace; one that waits already is left.

        Raises `Failure` when they cannot all be written: none of them is in the outbox then.
        """
        with self._told(_UNUSABLE), self._changing():
            numbers = [self._place(parcel) for parcel in parcels]
        placed = {slip.number: slip for slip in self.waiting()}
        return [placed[number] for number in numbers if number in placed]

    def _place(self, parcel: Parcel) -> int:
        same = "digest = ? AND server IS ? AND reason IS NULL"
        known = self._data.execute(f"SELECT number FROM parcel WHERE {same}", (parcel.digest, parcel.server)).fetchone()
        if known is None:
            head = {key: getattr(parcel, key) for key in ("file", "rows", "shared", "creates", "updates")}
            known = self._data.execute(
                "INSERT INTO parcel (digest, line, about, server, head, bundle) VALUES (?, ?, ?, ?, ?, ?) "
                "RETURNING number",
                (parcel.digest, parcel.line, parcel.about, parcel.server, json.dumps(head), parcel.bundle),
            ).fetchone()
        self._data.execute(
            "DELETE FROM parcel WHERE line = ? AND about = ? AND server IS ? AND number <> ?",
            (parcel.line, parcel.about, parcel.server, known[0]),
        )
        return int(known[0])

    # -- taking out --

    @contextmanager
    def draining(self) -> Iterator[None]:
        """Be the only one who sends from here. Raises `Failure` when another run does."""
        with closing(sqlite3.connect(self.folder / _LOCK, timeout=0, isolation_level=None)) as lock:
            try:
                lock.execute("BEGIN EXCLUSIVE")
            except sqlite3.Error as error:
                if _is_busy(error):
                    why = f"{self.folder}: another run is sending from this outbox; what you gave waits in it"
                else:
                    why = (
                        f"{self.folder / _LOCK}: cannot keep other runs from sending at the same time ({error}); what "
                        "you gave waits in the outbox. If no run is sending, delete this file"
                    )
                raise Failure(why, UNREACHABLE) from None
            yield

    def take(self, slip: Slip) -> Parcel | None:
        """Return the parcel of a slip; None when a newer one has replaced it. Raises `Damaged`."""
        with self._told():
            query = "SELECT CAST(head AS TEXT), CAST(bundle AS BLOB) FROM parcel WHERE number = ?"
            found = self._data.execute(query, (slip.number,)).fetchone()
        if found is None:
            return None
        head, bundle = _head(found[0]), found[1]
        if head is None:
            raise Damaged("where it comes from cannot be read")
        parcel = Parcel(bundle, slip.line, slip.about, server=slip.server, **head)
        if parcel.digest != slip.digest:
            raise Damaged("its bundle is not the one that was put in")
        return parcel

    def done(self, slip: Slip, receipt: Receipt | None = None) -> None:
        """Take out a parcel and write its receipt, together."""
        with self._told(), self._changing():
            if receipt is not None:
                resources = json.dumps([astuple(one) for one in receipt.resources])
                self._data.execute(
                    "INSERT INTO receipt (at, server, bundle, line, about, resources, differs) "
                    "VALUES (?, ?, ?, ?, ?, ?, ?)",
                    (
                        receipt.at.isoformat(), receipt.server, receipt.bundle, receipt.line, receipt.about, resources,
                        receipt.differs,
                    ),
                )  # fmt: skip
            self._data.execute("DELETE FROM parcel WHERE number = ?", (slip.number,))
        self._forgotten.discard(slip.digest)

    def refuse(self, slip: Slip, reason: str) -> None:
        """Set a parcel aside, with the reason."""
        with self._told(), self._changing():
            self._data.execute("UPDATE parcel SET reason = ? WHERE number = ?", (reason, slip.number))

    def put_back(self, server: str | None) -> list[Slip]:
        """Let what was set aside for ``server`` wait again, in its old place."""
        taken = [slip for slip in self.set_aside() if slip.server in (None, server)]
        with self._told(), self._changing():
            self._data.executemany("UPDATE parcel SET reason = NULL WHERE number = ?", [(one.number,) for one in taken])
        return taken

    def close(self) -> None:
        """Close the file."""
        self._data.close()

    # -- how --

    def _slips(self, which: str) -> list[Slip]:
        columns = ", ".join(f"CAST({one} AS TEXT)" for one in ("digest", "line", "about", "server", "reason", "head"))
        with self._told():
            rows = self._data.execute(f"SELECT number, {columns} FROM parcel WHERE {which} ORDER BY number").fetchall()
        return [
            Slip(number, digest, line, about, server, reason, head.get("creates", ()), head.get("updates", ()))
            for number, digest, line, about, server, reason, text in rows
            for head in [_head(text) or {}]
        ]

    @contextmanager
    def _changing(self) -> Iterator[None]:
        """A transaction: all of it or nothing."""
        self._data.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._data.execute("COMMIT")
        except BaseException:
            if self._data.in_transaction:
                self._data.execute("ROLLBACK")
            raise

    @contextmanager
    def _told(self, code: int = UNREACHABLE) -> Iterator[None]:
        """Turn a fault of the file into one sentence; ``code`` is the exit code."""
        try:
            yield
        except sqlite3.Error as error:
            why = "another run keeps it locked, or its disk knows no locks" if _is_busy(error) else str(error)
            raise Failure(
                f"{self.folder / FILE}: cannot be read or written ({why}); what waits stays in the outbox, and "
                "nothing is doubled when it is sent again",
                code,
            ) from None


def _is_busy(error: sqlite3.Error) -> bool:
    """Return whether another process has the file; SQLite says so, too, where the file system knows no locks."""
    return getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_BUSY


def _head(text: str) -> dict[str, Any] | None:
    """Return what is kept beside a bundle, as arguments of `Parcel`; None when it is not as it was written."""
    try:
        head = json.loads(text)
        lists = {key: tuple(head[key]) for key in ("rows", "shared", "creates", "updates")}
        file = head["file"]
    except (ValueError, TypeError, KeyError, RecursionError):
        return None
    kinds = {"rows": int, "shared": int, "creates": str, "updates": str}
    fits = all(isinstance(one, kinds[key]) for key, listed in lists.items() for one in listed)
    return {"file": file, **lists} if fits and isinstance(file, str | None) else None


def _private_folder(folder: Path) -> None:
    with suppress(FileExistsError):
        folder.mkdir(mode=0o700)
    found = folder.lstat()
    if not stat.S_ISDIR(found.st_mode):
        raise Failure(f"{folder}: is not a folder; name another outbox with --outbox")
    if not belongs_to_me(found):
        raise Failure(f"{folder}: belongs to somebody else; name an outbox of your own with --outbox")
    if not is_private(found):
        raise Failure(f"{folder}: other users can read it; run chmod 700 {folder}")
    if any((folder / name).exists() for name in _EARLIER):
        raise Failure(
            f"{folder}: is an outbox of the first layout, whose identities do not name the patient; name a new one "
            "with --outbox and delete this one"
        )
    kind = _file_system(folder)
    if kind in _REMOTE:
        raise Failure(f"{folder}: is on a shared disk ({kind}); name an outbox on a disk of this machine with --outbox")


def _private_file(path: Path) -> None:
    """Make a file that its owner alone may read, so that SQLite's own files beside it are as private."""
    try:
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | OPEN_SAFELY, 0o600))
    except FileExistsError:
        if not stat.S_ISREG(path.lstat().st_mode):
            raise Failure(f"{path}: is not a regular file; name another outbox with --outbox") from None


def _file_system(folder: Path) -> str | None:
    """Return the type of the file system that a folder is on, as Linux names it; None where that is not known."""
    try:
        mounts = [row.split() for row in Path("/proc/self/mountinfo").read_text().splitlines()]
    except OSError:
        return None
    here = folder.resolve()
    found = [(len(row[4]), row[row.index("-") + 1]) for row in mounts if here.is_relative_to(row[4])]
    return max(found)[1] if found else None
