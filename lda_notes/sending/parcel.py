"""A bundle on its way, and the receipt of one that arrived."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property


@dataclass(frozen=True)
class Parcel:
    """One transaction bundle.

    ``line`` is the identity of the port, which includes the patient's record number; ``about`` is the entry of the
    record, ``episode/event``. Each is None where the bundle does not name one. A newer parcel about the same entry of
    the same line replaces one that still waits, never one of another patient. ``file`` and ``rows`` (one for each
    entry, 0 when there is none) say where the record has it. ``shared`` lists the entries, from 0, whose last state
    another bundle of the same record decides. ``creates`` and ``updates`` list the resource types that it needs a
    server to take. ``server`` is the base address that it was meant for, None for whichever comes first.
    """

    bundle: bytes
    line: str | None = None
    about: str | None = None
    file: str | None = None
    rows: tuple[int, ...] = ()
    shared: tuple[int, ...] = ()
    creates: tuple[str, ...] = ()
    updates: tuple[str, ...] = ()
    server: str | None = None

    @cached_property
    def digest(self) -> str:
        """SHA-256 of the bundle's bytes, in hexadecimal."""
        return hashlib.sha256(self.bundle).hexdigest()

    def to(self, server: str | None) -> Parcel:
        """Return the same parcel, meant for a server."""
        return replace(self, server=server)

    def row(self, entry: int | None) -> int | None:
        """Return the row of the record that an entry comes from; None when that is not known."""
        known = entry is not None and 0 <= entry < len(self.rows)
        return (self.rows[entry] or None) if known and entry is not None else None


@dataclass(frozen=True, slots=True)
class Stored:
    """A resource as a server has it. ``identity`` is ours; empty for patient, staff and stay, which are not."""

    kind: str
    id: str
    version: str
    identity: str = ""


@dataclass(frozen=True, slots=True)
class Receipt:
    """One bundle that one server has: identifiers alone, none of patient, staff or stay but the server's own.

    ``differs``: the server kept a resource that is not as the record has it, so the bundle is compared again by each
    run that is given the record.
    """

    bundle: str
    server: str
    line: str | None
    about: str | None
    at: datetime
    resources: tuple[Stored, ...]
    differs: bool = False
