"""Several processes that work on blocks of rows."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager

from lda_notes.stream.garbage import rare_collection
from lda_notes.stream.run import Begin, Block, Result, done
from lda_notes.stream.tasks import Answer, Task, Work


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


def _done(block: Block) -> Answer:
    with rare_collection():
        return done(_Worker.work, block)


@contextmanager
def pool(task: Task, count: int, result: Result) -> Iterator[Begin]:
    """Do the work in ``count`` processes. One that dies, as for want of memory, stops the run, noted in ``result``."""
    spawn = multiprocessing.get_context("spawn")  # a fork would inherit the locks of this process
    workers = ProcessPoolExecutor(count, spawn, _Worker.begin, (task,))
    try:
        yield lambda block: workers.submit(_done, block).result
    except BrokenProcessPool:
        result.stopped = True
        result.why = "A worker process ended before its time, perhaps for want of memory; use fewer --workers."
    finally:
        workers.shutdown(cancel_futures=True)
