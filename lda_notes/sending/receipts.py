"""What was delivered: one row of JSON for each bundle and server, added once the server has it, never changed.

A row holds identifiers alone: ``about`` (episode and event), ``bundle`` (digest), ``server``, ``at``, and for each
resource its type, the server's id and version, and our identity. Nothing else of the record is in it.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from lda_notes.problems import Failure
from lda_notes.sending.auth import UNREACHABLE

VERSION: Final = 1


@dataclass(frozen=True, slots=True)
class Held:
    """A resource as a server holds it. ``identity`` is ours; empty for patient, staff and stay, which are not."""

    kind: str
    id: str
    version: str
    identity: str = ""


@dataclass(frozen=True, slots=True)
class Receipt:
    """One bundle that one server has."""

    bundle: str
    server: str
    about: str | None
    at: datetime
    resources: tuple[Held, ...]

    def row(self) -> bytes:
        """One row of JSON with its end."""
        made = {
            "receipt": VERSION,
            "at": self.at.isoformat(),
            "about": self.about,
            "server": self.server,
            "bundle": self.bundle,
            "resources": [
                {"type": one.kind, "id": one.id, "version": one.version, "identity": one.identity}
                for one in self.resources
            ],
        }
        return json.dumps(made, ensure_ascii=True).encode() + b"\n"


class Receipts:
    """The receipts of an outbox. ``damaged`` lists rows that cannot be read: what they told is sent again, safely."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.all: list[Receipt] = []
        self.damaged: list[int] = []
        self._known: set[tuple[str, str]] = set()
        try:
            rows = path.read_bytes().split(b"\n")
        except FileNotFoundError:
            return
        except OSError as error:
            raise _failure(path, error, "read") from None
        for number, row in enumerate(rows[:-1], 1):  # what follows the last row end was cut off by a crash
            receipt = _read(row)
            if receipt is None:
                self.damaged.append(number)
            else:
                self._keep(receipt)

    def _keep(self, receipt: Receipt) -> None:
        self.all.append(receipt)
        self._known.add((receipt.server, receipt.bundle))

    def has(self, server: str, bundle: str) -> bool:
        """Whether that server has that bundle (a digest)."""
        return (server, bundle) in self._known

    def forget(self, bundles: Iterable[str]) -> None:
        """Act as if these bundles (digests) had not been delivered, until they are again; the file keeps its rows."""
        gone = set(bundles)
        self._known = {(server, bundle) for server, bundle in self._known if bundle not in gone}

    def add(self, receipt: Receipt) -> None:
        """Write a receipt, so that it outlasts a crash. Raises `Failure` and leaves the file as it was."""
        try:
            descriptor = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o600)
            try:
                end = _end_of_rows(descriptor)
                try:
                    _write(descriptor, receipt.row(), end)
                except OSError:
                    with suppress(OSError):
                        os.ftruncate(descriptor, end)
                    raise
            finally:
                os.close(descriptor)
        except OSError as error:
            raise _failure(self.path, error, "written") from None
        self._keep(receipt)


def _end_of_rows(descriptor: int) -> int:
    """The length of the file without a row that a crash cut off."""
    size = os.fstat(descriptor).st_size
    step = 65536
    end = size
    while end > 0:
        start = max(0, end - step)
        found = os.pread(descriptor, end - start, start).rfind(b"\n")
        if found >= 0:
            return start + found + 1
        end = start
    return 0


def _write(descriptor: int, row: bytes, at: int) -> None:
    os.ftruncate(descriptor, at)
    done = 0
    while done < len(row):
        done += os.pwrite(descriptor, row[done:], at + done)
    os.fsync(descriptor)


def _read(row: bytes) -> Receipt | None:
    try:
        made: Any = json.loads(row)
        if made["receipt"] != VERSION:
            return None
        held = tuple(Held(one["type"], one["id"], one["version"], one["identity"]) for one in made["resources"])
        return Receipt(made["bundle"], made["server"], made["about"], datetime.fromisoformat(made["at"]), held)
    except (ValueError, KeyError, TypeError):
        return None


def _failure(path: Path, error: OSError, what: str) -> Failure:
    return Failure(
        f"{path}: cannot be {what} ({error.strerror or error}); what waits stays in the outbox, and nothing is doubled "
        "when it is sent again",
        UNREACHABLE,
    )
