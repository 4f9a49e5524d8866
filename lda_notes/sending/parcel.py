"""A bundle on its way: its exact bytes, what they are about, and where in the record each entry comes from."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Final

VERSION: Final = 1


class Damaged(Exception):
    """A parcel file that cannot be read back as it was written."""


@dataclass(frozen=True)
class Parcel:
    """One transaction bundle.

    ``about`` is the entry of the record, ``episode/event``, None for a bundle whose event is not known: a newer parcel
    about the same entry takes the place of one that still waits. ``file`` and ``rows`` (one for each entry, 0 when
    there is none) say where the record has it. ``shared`` lists the entries, from 0, whose last state another bundle
    of the same record decides. ``creates`` and ``updates`` list the resource types that it needs a server to take.
    ``server`` is the base address that it was meant for, None for whichever comes first.
    """

    bundle: bytes
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
        """The same parcel, meant for a server."""
        return replace(self, server=server)

    def row(self, entry: int | None) -> int | None:
        """The row of the record that an entry comes from."""
        known = entry is not None and 0 <= entry < len(self.rows) and self.rows[entry]
        return self.rows[entry] if known and entry is not None else None

    def to_bytes(self) -> bytes:
        """A file: one row that says what it is, then the bundle byte by byte."""
        head = {
            "parcel": VERSION,
            "digest": self.digest,
            "about": self.about,
            "file": self.file,
            "rows": list(self.rows),
            "shared": list(self.shared),
            "creates": list(self.creates),
            "updates": list(self.updates),
            "server": self.server,
        }
        return json.dumps(head, ensure_ascii=True).encode() + b"\n" + self.bundle


def head_of(row: bytes) -> dict[str, Any]:
    """The first row of a parcel file. Raises `Damaged`."""
    try:
        head = json.loads(row)
    except ValueError:
        head = None
    if not isinstance(head, dict) or head.get("parcel") != VERSION or not isinstance(head.get("digest"), str):
        raise Damaged("its first row is not that of a parcel")
    return head


def from_bytes(data: bytes) -> Parcel:
    """Read a parcel file. Raises `Damaged` when the bundle in it is not the one that was written."""
    row, _, bundle = data.partition(b"\n")
    head = head_of(row)
    parcel = Parcel(
        bundle,
        _text(head.get("about")),
        _text(head.get("file")),
        _numbers(head.get("rows")),
        _numbers(head.get("shared")),
        words_of(head.get("creates")),
        words_of(head.get("updates")),
        _text(head.get("server")),
    )
    if parcel.digest != head["digest"]:
        raise Damaged("its bundle is not the one that was put in")
    return parcel


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None


def words_of(value: Any) -> tuple[str, ...]:
    """The texts of a list in a head."""
    return tuple(one for one in value if isinstance(one, str)) if isinstance(value, list) else ()


def _numbers(value: Any) -> tuple[int, ...]:
    return tuple(one for one in value if type(one) is int) if isinstance(value, list) else ()
