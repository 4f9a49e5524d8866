"""What stands in for clock and client in the tests of sending."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import datetime

from lda_notes.sending.client import Server
from lda_notes.sending.outbox import FILE, Outbox
from lda_notes.sending.pace import Pace
from lda_notes.sending.parcel import Receipt, Stored

Connect = Callable[..., Server]
"""Makes a client of a server at an address."""


class Waits:
    """Stands in for the clock: waiting takes no time and is written down."""

    def __init__(self) -> None:
        self.slept: list[float] = []
        self.seconds = 0.0

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.seconds += seconds

    def pace(self, tries: int = 4) -> Pace:
        return Pace(
            tries=tries,
            sleep=self.sleep,
            chance=lambda: 0.5,
            clock=lambda: self.seconds,
            now=lambda: 1_900_000_000.0 + self.seconds,
        )


def receipts_of(box: Outbox) -> list[Receipt]:
    """Every receipt of an outbox, in order."""
    columns = "bundle, server, line, about, at, resources, differs"
    with closing(sqlite3.connect(box.folder / FILE)) as data:
        found = data.execute(f"SELECT {columns} FROM receipt ORDER BY number").fetchall()
    return [
        Receipt(*who, datetime.fromisoformat(at), tuple(Stored(*one) for one in json.loads(resources)), bool(differs))
        for *who, at, resources, differs in found
    ]
