"""Measuring in pairs: A B A B, CPU time, so that a machine that is busy or slow bears on both alike."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

HERE = Path(__file__).resolve().parents[2]
PAIRS = 5


@dataclass(frozen=True, slots=True)
class Cost:
    """What a process cost: CPU seconds, wall seconds, and the most memory it held, in MiB, if it told (`_TELL`)."""

    cpu: float
    wall: float
    peak: float


_TELL = (
    "import atexit, sys\n"
    "atexit.register(lambda: print([row for row in open('/proc/self/status') if 'VmHWM' in row][0], file=sys.stderr))\n"
)
"""Makes a program tell its own peak: what the system tells of a child counts the parent's memory before the exec."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured figure. ``ratios`` are one for each pair; ``most`` says whether the goal is an upper bound."""

    number: str
    name: str
    goal: float
    most: bool
    ratios: tuple[float, ...]
    unit: str = "x"
    note: str = ""

    @property
    def median(self) -> float:
        return statistics.median(self.ratios)

    @property
    def met(self) -> bool:
        return self.median <= self.goal if self.most else self.median >= self.goal

    @property
    def spread(self) -> str:
        return f"{min(self.ratios):.3g} to {max(self.ratios):.3g}"

    def as_json(self) -> dict[str, object]:
        return {
            "number": self.number,
            "figure": self.name,
            "goal": f"{'at most' if self.most else 'at least'} {self.goal:g}",
            "median": self.median,
            "ratios": list(self.ratios),
            "unit": self.unit,
            "met": self.met,
            "note": self.note,
        }


@dataclass(slots=True)
class Bench:
    """How much is measured: pairs of each figure, and a share of the full sizes."""

    pairs: int = PAIRS
    share: float = 1.0
    folder: Path = field(default_factory=lambda: Path(tempfile.mkdtemp(prefix="lda-notes-bench-")))

    def size(self, full: int) -> int:
        """Return a size, as a share of the full one."""
        return max(int(full * self.share), 10)

    def paired(self, ours: Callable[[], float], theirs: Callable[[], float]) -> tuple[float, ...]:
        """Return ours over theirs, pair by pair; one round before the first is thrown away."""
        ours()
        theirs()
        return tuple(ours() / theirs() for _ in range(self.pairs))


def environment() -> dict[str, str]:
    """Return the environment of measured programs: with bytecode caches, as an installed program has them."""
    known = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    return {**known, "PYTHONHASHSEED": "0"}


def process(arguments: Sequence[str], codes: tuple[int, ...] = (0,), out: Path | None = None) -> Cost:
    """Run a program to its end; raise when it ends with any code but ``codes``."""
    with Path(out or os.devnull).open("wb") as target:
        began = time.perf_counter()
        running = subprocess.Popen(
            arguments, stdout=target, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL, env=environment(), cwd=HERE
        )
        assert running.stderr is not None
        said = running.stderr.read()
        _, status, used = os.wait4(running.pid, 0)
        wall = time.perf_counter() - began
        running.returncode = os.waitstatus_to_exitcode(status)
        running.stderr.close()
    if running.returncode not in codes:
        raise RuntimeError(f"{arguments} ended with {running.returncode}: {said[-2000:].decode(errors='replace')}")
    told = [row for row in said.decode(errors="replace").splitlines() if row.startswith("VmHWM")]
    return Cost(used.ru_utime + used.ru_stime, wall, int(told[-1].split()[1]) / 1024 if told else 0)


def ours(*arguments: str, codes: tuple[int, ...] = (0, 1, 2), out: Path | None = None, tell: bool = False) -> Cost:
    """Run our program as its installed script does; ``tell`` its peak of memory."""
    program = (
        (_TELL if tell else "") + "import sys\nfrom lda_notes.cli import main\n"
        f"if __name__ == '__main__':\n    sys.argv = ['lda-notes', *{list(arguments)!r}]\n    main()\n"
    )
    return process([sys.executable, "-c", program], codes, out)


def python(program: str, tell: bool = False) -> Cost:
    """Run a few rows of Python; ``tell`` its peak of memory."""
    return process([sys.executable, "-c", (_TELL if tell else "") + program])


def seconds(work: Callable[[], object], times: int = 1) -> float:
    """Return the CPU time of one call: the average of the best of some batches, since what else runs only adds."""
    batches = min(times, 6)
    each = max(times // batches, 1)
    best = float("inf")
    for _ in range(batches):
        start = time.process_time()
        for _ in range(each):
            work()
        best = min(best, (time.process_time() - start) / each)
    return best
