"""A task over the rows of files in several processes: blocks of rows go out, their answers are written in order."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from lda_notes.problems import Failure
from lda_notes.stream.garbage import rare_collection
from lda_notes.stream.progress import Progress
from lda_notes.stream.rows import Row, open_rows
from lda_notes.stream.run import Ends, Result, read_on, stoppable
from lda_notes.stream.tasks import Answer, Task, Work

_BLOCK: Final = 1 << 16
"""Bytes of rows in a block: enough that handing it over costs nothing, few enough that all processes end together."""

_AHEAD: Final = 4
"""Blocks under way or waiting to be written, for each process."""


@dataclass(frozen=True, slots=True)
class _Block:
    """Rows of one file, one after the other."""

    name: str
    rows: tuple[Row, ...]

    @property
    def size(self) -> int:
        """Bytes of its rows with their ends."""
        return sum(len(row.raw) + 1 for row in self.rows)


class _Worker:
    """The data that a process of the pool keeps between blocks."""

    work: Work

    @classmethod
    def begin(cls, task: Task) -> None:
        """Get ready; the parent decides when to stop, and when it is gone nobody waits for an answer."""
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        threading.Thread(target=_end_with_parent, daemon=True).start()
        cls.work = staticmethod(task.ready())


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _done(block: _Block) -> Answer:
    """Do the task for a block; the answers of its rows become one."""
    total = Result()
    with rare_collection():
        answers = [_Worker.work(block.name, row) for row in block.rows]
    for answer in answers:
        total.add(answer.counts)
    out, said = b"".join(one.out for one in answers), "".join(one.said for one in answers)
    return Answer(out, said, tuple(total.counts.items()))


def _blocks(files: list[Path], from_row: int, progress: Progress | None) -> Iterator[_Block]:
    """Yield the rows of ``files`` in blocks. Raises `Failure` where one cannot be read on, last."""
    for path in files:
        taken: list[Row] = []
        size = 0
        with open_rows(path) as file:
            try:
                for row in read_on(file, str(path)):
                    if row.number < from_row:
                        if progress is not None:
                            progress.skip(len(row.raw) + 1)
                        continue
                    taken.append(row)
                    size += len(row.raw)
                    if size >= _BLOCK:
                        yield _Block(str(path), tuple(taken))
                        taken, size = [], 0
            except Failure:
                if taken:
                    yield _Block(str(path), tuple(taken))
                raise
            if taken:
                yield _Block(str(path), tuple(taken))
        from_row = 1


class _Crew:
    """A pool of processes, and the blocks given to it in order of input."""

    def __init__(self, task: Task, count: int) -> None:
        self._task, self._count = task, count
        self._pool = self._hired()
        self._given: deque[tuple[_Block, Future[Answer]]] = deque()

    def _hired(self) -> ProcessPoolExecutor:
        # A fork would inherit the locks of this process.
        spawn = multiprocessing.get_context("spawn")
        return ProcessPoolExecutor(self._count, spawn, _Worker.begin, (self._task,))

    @property
    def given(self) -> int:
        """How many blocks are under way or wait to be taken."""
        return len(self._given)

    def give(self, block: _Block) -> None:
        """Hand a block to the pool."""
        try:
            self._given.append((block, self._pool.submit(_done, block)))
        except BrokenProcessPool as error:  # noticed when its turn comes
            lost: Future[Answer] = Future()
            lost.set_exception(error)
            self._given.append((block, lost))

    def take(self) -> tuple[_Block, Answer]:
        """Return the first block with its answer; what a process that died had under way is done again.

        Raises `Failure` when processes died twice before the same block was done.
        """
        block, future = self._given[0]
        try:
            answer = future.result()
        except BrokenProcessPool:
            self._again()
            try:
                answer = self._given[0][1].result()
            except BrokenProcessPool:
                last, _ = self._given[-1]
                until = "" if last.name == block.name else f"{last.name}, row "
                raise Failure(
                    f"{block.name}: a worker process ended twice somewhere in rows {block.rows[0].number} to "
                    f"{until}{last.rows[-1].number}; what came before them is written. Look at these rows, or give "
                    "more memory"
                ) from None
        self._given.popleft()
        return block, answer

    def _again(self) -> None:
        self._pool.shutdown()
        self._pool = self._hired()
        before, self._given = self._given, deque()
        for block, future in before:
            if future.done() and future.exception() is None:
                self._given.append((block, future))
            else:
                self.give(block)

    def dismiss(self) -> None:
        """End the processes when each has done the block that it is at."""
        self._pool.shutdown(cancel_futures=True)


def parallel(files: list[Path], task: Task, ends: Ends, count: int, from_row: int = 1) -> Result:
    """Do ``task`` for every row in ``count`` processes; the output is that of `serial`, byte by byte.

    When a process dies, what was under way is done again. Raises `Failure` when a file cannot be read on, or
    processes die twice over the same rows.
    """
    result = Result(at=str(files[0]), next_row=from_row)
    crew = _Crew(task, count)
    failure: Failure | None = None
    source: Iterator[_Block] | None = _blocks(files, from_row, ends.progress)
    with stoppable() as stop:
        try:
            while not stop.asked:
                while source is not None and crew.given < _AHEAD * count:
                    try:
                        block = stop.next_of(source)
                    except Failure as found:  # what was read before it is still to be written
                        failure, block = found, None
                    if block is None:
                        source = None
                    else:
                        crew.give(block)
                if stop.asked or not crew.given:
                    break
                _write(*crew.take(), ends, result)
        finally:
            crew.dismiss()
    result.stopped = stop.asked
    ends.out.flush()
    if failure is not None and not result.stopped:
        raise failure
    return result


def _write(block: _Block, answer: Answer, ends: Ends, result: Result) -> None:
    ends.out.write(answer.out)
    if answer.said:
        ends.say(answer.said)
    result.add(answer.counts)
    result.at, result.next_row = block.name, block.rows[-1].number + 1
    if ends.progress is not None:
        ends.progress.step(len(block.rows), block.size)
