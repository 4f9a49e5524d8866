"""Sends bundles again and again, dying once at every statement of the outbox and every request, and goes on after each.

Run as a program with a server's address and a folder; prints how many deaths there were and what went wrong.
"""

from __future__ import annotations

import json
import os
import sqlite3
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

from stand_ins import receipts_of

from lda_notes.fhir.elements import to_json
from lda_notes.fhir.verify.verification import read_json
from lda_notes.sending.address import address
from lda_notes.sending.auth import Bearer
from lda_notes.sending.client import Server
from lda_notes.sending.drain import drain
from lda_notes.sending.outbox import Outbox
from lda_notes.sending.pace import Pace
from lda_notes.sending.parcel import Parcel
from lda_notes.sending.wire import Connection, trust

DATA = Path(__file__).parents[1] / "fhir" / "data"
SYSTEM = "https://example.org/lda-notes/identifier"
DIED = 9
EFFECTS = ("mkdir", "open")


@cache
def parcels(number: int) -> list[Parcel]:
    """The same three bundles under identities of their own."""
    made = []
    for name in ("access", "deaccess", "corrections"):
        text = (DATA / f"{name}.json").read_text().replace(SYSTEM, f"{SYSTEM}-{number}")
        bundle, _ = read_json(text.encode())
        made.append(Parcel(to_json(bundle).encode(), f"line-{number}", f"run-{number}/{name}"))
    return made


def run(url: str, folder: Path, number: int) -> None:
    """What the command does: put into the outbox what has no receipt, and send what waits."""
    box = Outbox(folder)
    box.put([one for one in parcels(number) if not box.has(url, one.digest)])
    pace = Pace()
    with Connection(address(url), timeout_s=10, ca_file=None) as connection:
        server = Server(connection, address(url), Bearer(None), pace)
        for _ in drain(box, server, lambda: datetime.now(UTC)):
            pass


class Deadly:
    """Counts effects and ends the process right before or right after one of them."""

    def __init__(self, at: int | None) -> None:
        self.at = at
        self.count = 0

    def around(self, effect: Callable[..., Any]) -> Callable[..., Any]:
        def deadly(*args: Any, **options: Any) -> Any:
            self.step()
            result = effect(*args, **options)
            self.step()
            return result

        return deadly

    def step(self) -> None:
        if self.count == self.at:
            os._exit(DIED)
        self.count += 1


def arm(at: int | None) -> Deadly:
    deadly = Deadly(at)
    for name in EFFECTS:
        setattr(os, name, deadly.around(getattr(os, name)))
    connect = sqlite3.connect

    def traced(*args: Any, **options: Any) -> sqlite3.Connection:
        data = connect(*args, **options)
        data.set_trace_callback(lambda statement: deadly.step())  # before each statement, COMMIT and ROLLBACK too
        return data

    sqlite3.connect = traced  # type: ignore[assignment]  # replaced on purpose
    Connection.ask = deadly.around(Connection.ask)  # type: ignore[method-assign]  # replaced on purpose
    return deadly


def in_child(act: Callable[[], None]) -> int:
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        try:
            act()
        except BaseException as error:
            sys.stderr.write(f"{error!r}\n")
            os._exit(1)
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def counted(url: str, folder: Path) -> int:
    """How many moments there are to die at in one calm run."""
    note = folder / "count"

    def act() -> None:
        deadly = arm(None)
        run(url, folder / "calm", 0)
        note.write_text(str(deadly.count))

    assert in_child(act) == 0
    return int(note.read_text())


def checked(url: str, folder: Path, number: int) -> list[str]:
    """What is wrong after a death: a bundle that neither waits nor has its receipt, one that has two."""
    box = Outbox(folder)
    waiting = {slip.digest for slip in box.waiting()}
    told = [receipt.bundle for receipt in receipts_of(box)]
    wrong = []
    if len(told) != len(set(told)):
        wrong.append(f"{number}: two receipts for one bundle")
    if set(told) & waiting:
        wrong.append(f"{number}: a bundle waits and has its receipt")
    if told and set(told) | waiting != {one.digest for one in parcels(number)}:
        wrong.append(f"{number}: a bundle is lost")
    return wrong


def main(url: str, folder: Path) -> None:
    trust(None)  # read once, for all children
    run(url, folder / "warm", -1)
    moments = counted(url, folder)
    wrong = []
    for number in range(1, moments + 1):
        here = folder / f"run-{number}"
        parcels(number)  # made here, for both children

        def dying(at: int = number - 1, here: Path = here, number: int = number) -> None:
            arm(at)
            run(url, here, number)

        if in_child(dying) != DIED:
            wrong.append(f"{number}: did not die")
        if here.exists():
            wrong += checked(url, here, number)
        if in_child(lambda here=here, number=number: run(url, here, number)) != 0:  # type: ignore[misc]  # a default binds the value of now
            wrong.append(f"{number}: could not go on")
        wrong += checked(url, here, number)
        if len(receipts_of(Outbox(here))) != 3:
            wrong.append(f"{number}: no three receipts")
        if Outbox(here).waiting():
            wrong.append(f"{number}: left in the outbox")
    sys.stdout.write(json.dumps({"moments": moments, "wrong": wrong}))


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]))
