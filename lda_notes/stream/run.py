"""A task over every row of files, in this process or several, with what came of it written in the order of input."""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import IO, TypeVar

from lda_notes.problems import Failure
from lda_notes.stream.garbage import rare_collection
from lda_notes.stream.progress import Progress
from lda_notes.stream.rows import UNREADABLE, Row, open_rows, reason, rows
from lda_notes.stream.tasks import Task

T = TypeVar("T")


@dataclass(slots=True)
class Result:
    """The result of a stream. ``at`` and ``next_row`` are the file and the row to continue with when it was stopped."""

    counts: dict[str, int] = field(default_factory=dict)
    at: str = ""
    next_row: int = 1
    stopped: bool = False

    def add(self, counts: tuple[tuple[str, int], ...]) -> None:
        """Add the counts of an answer."""
        for name, number in counts:
            self.counts[name] = self.counts.get(name, 0) + number


@dataclass(frozen=True, slots=True)
class Ends:
    """Where a stream goes: rows to ``out``, sentences to ``say``, its course to ``progress``."""

    out: IO[bytes]
    say: Callable[[str], None]
    progress: Progress | None = None


class Stop:
    """Whether the user asked to stop: the first interrupt only asks, so that no row is left half-written."""

    def __init__(self) -> None:
        self.asked = False
        self._waits = False

    def ask(self, number: int, frame: FrameType | None) -> None:
        """Take the first interrupt; the next one ends at once, and so does one that finds us waiting for a row."""
        at_once = self.asked or self._waits
        self.asked = True
        if at_once:
            raise KeyboardInterrupt

    def next_of(self, source: Iterator[T]) -> T | None:
        """Return the next of ``source``, which may have to be waited for; None at its end or when asked to stop."""
        try:
            self._waits = True
            if not self.asked:  # else nobody would end the wait
                return next(source, None)
        except KeyboardInterrupt:
            pass
        finally:
            self._waits = False
        return None


@contextmanager
def stoppable() -> Iterator[Stop]:
    """Take interrupts while the block runs; an order to end becomes an exit, so that what was begun is taken away.

    Outside the main thread, where nobody can, both are left alone.
    """
    stop = Stop()
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return
    before = signal.signal(signal.SIGINT, stop.ask)
    ending = signal.signal(signal.SIGTERM, _end)
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)
        signal.signal(signal.SIGTERM, ending)


def _end(number: int, frame: FrameType | None) -> None:
    sys.exit(128 + number)


def read_on(file: IO[bytes], name: str, first: int = 1) -> Iterator[Row]:
    """Yield the rows of an open file. Raises `Failure` naming the last row where the file cannot be read on."""
    last = first - 1
    try:
        for row in rows(file, first):
            last = row.number
            yield row
    except UNREADABLE as error:
        todo = "look whether the file was copied whole and is compressed as its name says"
        raise Failure(f"{name}: cannot be read on after row {last} ({reason(error)}); {todo}") from None


def serial(files: list[Path], task: Task, ends: Ends, from_row: int = 1) -> Result:
    """Do ``task`` for every row from ``from_row`` of the first file on, in this process."""
    result = Result(at=str(files[0]), next_row=from_row)
    work = task.ready()
    with stoppable() as stop, rare_collection():
        for path in files:
            name = str(path)
            with open_rows(path) as file:
                source = read_on(file, name)
                while (row := stop.next_of(source)) is not None:
                    if row.number < from_row:
                        if ends.progress is not None:
                            ends.progress.skip(len(row.raw) + 1)
                        continue
                    answer = work(name, row)
                    ends.out.write(answer.out)
                    if answer.said:
                        ends.say(answer.said)
                    result.add(answer.counts)
                    result.at, result.next_row = name, row.number + 1
                    if ends.progress is not None:
                        ends.progress.step(1, len(row.raw) + 1)
                if stop.asked:
                    result.stopped = True
                    break
            from_row = 1
    ends.out.flush()
    return result
