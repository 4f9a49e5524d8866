"""A task over the rows of files in several processes: parts by byte range, results in the order of input.

Each worker reads its part from the file itself and writes what comes of it to a file without a name, which it hands
to the parent: nothing large goes through a pipe, and nothing is left behind however a process ends.
"""

from __future__ import annotations

import io
import multiprocessing
import os
import shutil
import signal
import tempfile
from collections import deque
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from multiprocessing.reduction import recv_handle, send_handle
from pathlib import Path
from typing import IO, Any, Final

from lda_notes.problems import Failure
from lda_notes.stream.garbage import rare_collection
from lda_notes.stream.names import STANDARD_INPUT, is_packed
from lda_notes.stream.progress import Progress
from lda_notes.stream.rows import UNREADABLE, Part, open_rows, parts, rows, spooled
from lda_notes.stream.run import Ends, Result, cut_off, stoppable
from lda_notes.stream.tasks import Task

_PART: Final = 1 << 22
_LEAST: Final = 1 << 16
_PATIENCE_S: Final = 0.2
_TRIES: Final = 2


@dataclass(slots=True)
class _Job:
    """One part of one file: ``file`` says which, whatever takes its name meanwhile.

    Where the file cannot be read from the middle, ``spool`` holds the bytes instead.
    """

    index: int
    name: str
    part: Part
    from_row: int
    file: tuple[int, int] | None
    spool: IO[bytes] | None = None
    tries: int = 0


@dataclass(slots=True)
class _Done:
    """What came of a part: its rows in ``out``, and the rest of the answers added up."""

    job: _Job
    out: IO[bytes]
    said: str
    counts: tuple[tuple[str, int], ...]


@dataclass(slots=True)
class _Worker:
    process: BaseProcess
    pipe: Connection
    job: _Job | None = None


@dataclass(slots=True)
class _Crew:
    """The processes, and what they are to do."""

    task: Task
    workers: list[_Worker] = field(default_factory=list)
    again: deque[_Job] = field(default_factory=deque)

    def hire(self) -> None:
        """Start one more process."""
        context = multiprocessing.get_context("spawn")  # a fork would inherit the other workers' pipes and locks
        here, there = context.Pipe()
        process = context.Process(target=_serve, args=(there, self.task), daemon=True)
        process.start()
        there.close()
        self.workers.append(_Worker(process, here))

    def give(self, worker: _Worker, job: _Job) -> None:
        """Hand a part to an idle worker; one that is gone is noticed when its answer is waited for."""
        worker.job = job
        job.tries += 1
        with suppress(OSError):
            worker.pipe.send((job.name, job.part, job.from_row, job.file))
            if job.spool is not None:
                send_handle(worker.pipe, job.spool.fileno(), worker.process.pid)

    def take(self, worker: _Worker) -> _Done | None:
        """Take what a worker made; None when it is gone, and then its part is to be done once more.

        Raises `Failure` when that happened before, or when the worker says that the file cannot be read.
        """
        job = worker.job
        assert job is not None
        try:
            said, counts, failure = worker.pipe.recv()
            if failure is not None:
                raise Failure(failure)
            out = os.fdopen(recv_handle(worker.pipe), "rb")
        except (EOFError, OSError):
            self._replace(worker, job)
            return None
        worker.job = None
        return _Done(job, out, said, counts)

    def _replace(self, worker: _Worker, job: _Job) -> None:
        worker.process.join()
        worker.pipe.close()
        self.workers.remove(worker)
        if job.tries >= _TRIES:
            last = job.part.first + job.part.rows - 1
            raise Failure(
                f"{job.name}: a worker process ended twice (exit code {worker.process.exitcode}) over rows "
                f"{job.part.first} to {last}; what came before them is written. Look at these rows, or give more memory"
            )
        self.again.append(job)
        self.hire()

    def dismiss(self) -> None:
        """End every process, and let go of what they were given."""
        for job in (*self.again, *(worker.job for worker in self.workers)):
            if job is not None and job.spool is not None:
                job.spool.close()
        for worker in self.workers:
            worker.process.terminate()
        for worker in self.workers:
            worker.process.join()
            worker.pipe.close()


def _serve(pipe: Connection, task: Task) -> None:
    """Work in a process of its own until the parent closes the pipe."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides when to stop
    work = task.ready()
    with rare_collection(), suppress(EOFError, BrokenPipeError, ConnectionResetError):
        while True:
            name, part, from_row, identity = pipe.recv()
            file: IO[bytes]
            said: list[str] = []
            total = Result()
            try:
                file = Path(name).open("rb") if identity else os.fdopen(recv_handle(pipe), "rb")  # noqa: SIM115
                with file, tempfile.TemporaryFile() as out:
                    if identity and _identity(file) != identity:
                        raise OSError("another file took its place meanwhile")
                    file.seek(part.start)
                    for row in rows(_Stretch.of(file, part), part.first):
                        if row.number >= from_row:
                            answer = work(name, row)
                            out.write(answer.out)
                            said.append(answer.said)
                            total.add(answer.counts)
                    out.flush()
                    pipe.send(("".join(said), tuple(total.counts.items()), None))
                    send_handle(pipe, out.fileno(), os.getppid())
            except (BrokenPipeError, ConnectionResetError):
                raise
            except OSError as error:
                pipe.send(
                    ("", (), f"{name}: cannot be read or worked on ({error.strerror or error}); check file and room")
                )


def _identity(file: IO[bytes]) -> tuple[int, int]:
    found = os.fstat(file.fileno())
    return found.st_dev, found.st_ino


class _Stretch(io.RawIOBase):
    """The bytes of a part and no more; fewer are an error."""

    def __init__(self, file: IO[bytes], length: int) -> None:
        self._file, self._left = file, length

    @classmethod
    def of(cls, file: IO[bytes], part: Part) -> io.BufferedReader:
        """Return a file that ends where the part ends."""
        return io.BufferedReader(cls(file, part.end - part.start), 1 << 18)

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        block = self._file.read(min(len(buffer), self._left))
        if self._left and not block:
            raise OSError("it became shorter meanwhile")
        buffer[: len(block)] = block
        self._left -= len(block)
        return len(block)


def _jobs(files: list[Path], from_row: int, workers: int, progress: Progress | None) -> Iterator[_Job]:
    index = 0
    for path in files:
        name = str(path)
        with open_rows(path) as file:
            in_one_go = path == STANDARD_INPUT or is_packed(path) or not path.is_file()  # such as a named pipe
            made = _spooled(file) if in_one_go else _ranges(file, path, workers)
            last = 0
            try:
                for part, spool in made:
                    last = part.first + part.rows - 1
                    if last >= from_row:
                        yield _Job(index, name, part, from_row, None if spool else _identity(file), spool)
                        index += 1
                    elif progress is not None:
                        progress.skip(part.end - part.start)
            except UNREADABLE as error:
                raise cut_off(name, last, error) from None
        from_row = 1


def _ranges(file: IO[bytes], path: Path, workers: int) -> Iterator[tuple[Part, None]]:
    size = min(_PART, max(_LEAST, path.stat().st_size // (8 * workers)))
    return ((part, None) for part in parts(file, size))


def _spooled(file: IO[bytes]) -> Iterator[tuple[Part, IO[bytes]]]:
    first = 1
    while True:
        spool = tempfile.TemporaryFile()  # noqa: SIM115 -- closed when its part is written
        count, error = spooled(file, _PART, spool)
        if not count:
            spool.close()
        else:
            spool.flush()
            yield Part(0, spool.tell(), first, count), spool
            first += count
        if error is not None:
            raise error
        if not count:
            return


def parallel(files: list[Path], task: Task, ends: Ends, count: int, from_row: int = 1) -> Result:
    """Do ``task`` for every row in ``count`` processes; the output is that of `serial`, byte by byte.

    At most two parts for each process are under way or wait to be written. A process that dies has its part done
    once more. Raises `Failure` when a file cannot be read on, or a part ends two processes.
    """
    result = Result(at=str(files[0]), next_row=from_row)
    crew = _Crew(task)
    waiting: dict[int, _Done] = {}
    written = 0
    source = _jobs(files, from_row, count, ends.progress)
    failure: Failure | None = None
    more = True
    with ExitStack() as stack:
        stop = stack.enter_context(stoppable())
        stack.callback(_discard, crew, waiting)
        given = 0
        while True:
            while crew.again or (more and given - written < 2 * count):
                idle = next((worker for worker in crew.workers if worker.job is None), None)
                if idle is None and len(crew.workers) >= count:
                    break
                try:
                    job = crew.again.popleft() if crew.again else stop.next_of(source)
                except Failure as found:  # what was read before it is still to be written
                    failure, job = found, None
                if job is None:
                    more = False
                    break
                if idle is None:
                    crew.hire()
                    idle = crew.workers[-1]
                given = max(given, job.index + 1)
                crew.give(idle, job)
            busy = [worker for worker in crew.workers if worker.job is not None]
            if not busy:
                result.stopped = stop.asked
                break
            ready = wait([worker.pipe for worker in busy], _PATIENCE_S)
            for worker in busy:
                if worker.pipe in ready and (done := crew.take(worker)) is not None:
                    waiting[done.job.index] = done
            while written in waiting:
                _write(waiting.pop(written), ends, result)
                written += 1
            if stop.asked:
                result.stopped = True
                break
    ends.out.flush()
    if failure is not None and not result.stopped:
        raise failure
    return result


def _discard(crew: _Crew, waiting: dict[int, _Done]) -> None:
    crew.dismiss()
    for done in waiting.values():
        done.out.close()
        if done.job.spool is not None:
            done.job.spool.close()


def _write(done: _Done, ends: Ends, result: Result) -> None:
    job = done.job
    done.out.seek(0)
    with done.out:
        shutil.copyfileobj(done.out, ends.out, 1 << 20)
    if job.spool is not None:
        job.spool.close()
    if done.said:
        ends.say(done.said)
    result.add(done.counts)
    result.at, result.next_row = job.name, job.part.first + job.part.rows
    if ends.progress is not None:
        ends.progress.step(dict(done.counts).get("rows", 0), job.part.end - job.part.start)
