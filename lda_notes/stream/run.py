"""A task over every row of files, in this process or several, with what came of it written in the order of input."""

from __future__ import annotations

import signal
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from types import FrameType
from typing import IO, Final, NamedTuple, TypeVar

from lda_notes.problems import Failure
from lda_notes.stream.garbage import rare_collection
from lda_notes.stream.progress import Progress
from lda_notes.stream.rows import UNREADABLE, Row, open_rows, reason, rows
from lda_notes.stream.tasks import Answer, Task, Work

T = TypeVar("T")

_BLOCK: Final = 1 << 16
"""Bytes of rows in a block: enough that handing it over costs nothing, few enough that all processes end together."""

_AHEAD: Final = 4
"""Blocks under way or waiting to be written, for each process."""


@dataclass(slots=True)
class Result:
    """The result of a stream. ``at`` and ``next_row`` are the file and the row to continue with when it was stopped.

    ``why`` says why it stopped when nobody asked it to.
    """

    counts: dict[str, int] = field(default_factory=dict)
    at: str = ""
    next_row: int = 1
    stopped: bool = False
    why: str = ""

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


class Block(NamedTuple):
    """Rows of one file, one after the other."""

    file: str
    rows: list[Row]


def done(work: Work, block: Block) -> Answer:
    """Do the work on a block; the answers of its rows become one."""
    total = Result()
    answers = [work(block.file, row) for row in block.rows]
    for answer in answers:
        total.add(answer.counts)
    out, said = b"".join(one.out for one in answers), "".join(one.said for one in answers)
    return Answer(out, said, tuple(total.counts.items()))


def _blocks(files: list[Path], from_row: int, most: int, progress: Progress | None) -> Iterator[Block]:
    """Yield the rows of ``files`` in blocks of about ``most`` bytes, 0 for single rows.

    Raises `Failure` where a file cannot be read on, after what was read of it.
    """
    for path in files:
        block, size, failure = Block(str(path), []), 0, None
        with open_rows(path) as file:
            try:
                for row in read_on(file, str(path)):
                    if row.number < from_row:
                        if progress is not None:
                            progress.skip(len(row.raw) + 1)
                        continue
                    block.rows.append(row)
                    size += len(row.raw)
                    if size >= most:
                        yield block
                        block, size = Block(str(path), []), 0
            except Failure as found:
                failure = found
            if block.rows:
                yield block
        if failure is not None:
            raise failure
        from_row = 1


Begin = Callable[[Block], Callable[[], Answer]]
"""Begins the work on a block; what it returns waits for the answer."""


@contextmanager
def _here(task: Task) -> Iterator[Begin]:
    """Do the work in this process, when the answer is asked for."""
    with rare_collection():
        work = task.ready()
        yield lambda block: partial(done, work, block)


def run(files: list[Path], task: Task, ends: Ends, from_row: int = 1, workers: int = 1) -> Result:
    """Do ``task`` for every row from ``from_row`` of the first file on; ``workers`` processes give the same output.

    Raises `Failure` when a file cannot be read on, after everything before it is written.
    """
    result = Result(at=str(files[0]), next_row=from_row)
    if workers == 1:
        begins, most, ahead = _here(task), 0, 1
    else:
        from lda_notes.stream.workers import pool

        begins, most, ahead = pool(task, workers, result), _BLOCK, _AHEAD * workers
    source = _blocks(files, from_row, most, ends.progress)
    begun: deque[tuple[Block, Callable[[], Answer]]] = deque()
    failure: Failure | None = None
    with stoppable() as stop, begins as begin:
        while not stop.asked:
            while len(begun) < ahead:
                try:
                    block = stop.next_of(source)
                except Failure as found:  # the source has ended with it
                    failure, block = found, None
                if block is None:
                    break
                begun.append((block, begin(block)))
            if stop.asked or not begun:
                break
            block, answer = begun.popleft()
            _write(block, answer(), ends, result)
        result.stopped = stop.asked
    ends.out.flush()
    if failure is not None and not result.stopped:
        raise failure
    return result


def _write(block: Block, answer: Answer, ends: Ends, result: Result) -> None:
    ends.out.write(answer.out)
    if answer.said:
        ends.say(answer.said)
    result.add(answer.counts)
    result.at, result.next_row = block.file, block.rows[-1].number + 1
    if ends.progress is not None:
        ends.progress.step(len(block.rows), sum(len(row.raw) + 1 for row in block.rows))
