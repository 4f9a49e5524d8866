"""Figures 11 to 13: memory of a stream, two processes against one, Dask against two processes, a killed worker."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.benchmarks.episodes import row
from tests.benchmarks.measure import HERE, Bench, Cost, Figure, environment, ours

ASOF = ("--asof", "2032-01-01T00:00Z")


def figures(bench: Bench) -> Iterator[Figure]:
    """Measure them."""
    yield from _memory(bench)
    yield from _workers(bench)


def _input(bench: Bench, count: int) -> Path:
    path = bench.folder / f"{count}.ndjson"
    if not path.exists():
        with path.open("wb") as file:
            file.writelines(row(number) for number in range(1, count + 1))
    return path


def _memory(bench: Bench) -> Iterator[Figure]:
    for command, more, many in (("check", ASOF, 100_000), ("bundle", ("--no-note",), 10_000)):
        peaks = [ours(command, str(_input(bench, size)), *more, tell=True).peak for size in (1000, bench.size(many))]
        note = f"{peaks[0]:.1f} and {peaks[1]:.1f} MiB, one run each"
        name = f"{command}: peak memory at {bench.size(many):,} records / at 1,000"
        yield Figure("11", name, 1.05, True, (peaks[1] / peaks[0],), note=note)
        yield Figure("11", f"{command}: peak memory of the process", 80, True, (max(peaks),), "MiB")


def _workers(bench: Bench) -> Iterator[Figure]:
    source = _input(bench, bench.size(10_000))
    made = [bench.folder / f"workers-{count}.ndjson" for count in (1, 2)]

    def run(count: int) -> Cost:
        return ours("check", str(source), *ASOF, "--workers", str(count), out=made[count - 1])

    pairs = [(run(1), run(2)) for _ in range(bench.pairs)]
    assert made[0].read_bytes() == made[1].read_bytes()
    ratios = tuple(one.wall / two.wall for one, two in pairs)
    note = f"wall time; load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors; same bytes"
    yield Figure("12", "check, 1 process / 2 workers", 1.7, False, ratios, note=note)
    with cluster(2) as (address, _):
        target = bench.folder / "parts"

        def on_dask(turn: int) -> Cost:
            return ours("check", str(source), *ASOF, "--dask", address, "--out", f"{target}-{turn}")

        on_dask(-1)
        ratios = tuple(run(2).wall / on_dask(turn).wall for turn in range(bench.pairs))
        parts = sorted(Path(f"{target}-0").glob("part-*.ndjson"))
        assert b"".join(part.read_bytes() for part in parts) == made[1].read_bytes()
    yield Figure("12", "check, 2 workers / Dask with 2 local workers", 0.8, False, ratios, note="wall time; same bytes")
    yield _killed(bench, source, made[0])


@contextmanager
def cluster(workers: int) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Run a scheduler and workers of one thread on the loopback address; all end with the block."""
    quiet = {"DASK_DISTRIBUTED__ADMIN__LOG_LENGTH": "0", "DASK_LOGGING__DISTRIBUTED": "error"}
    environ = {**environment(), "PYTHONPATH": str(HERE), **quiet}
    command = [sys.executable, "-c", _SCHEDULER]
    scheduler = subprocess.Popen(command, stdout=subprocess.PIPE, env=environ)
    running: list[subprocess.Popen[bytes]] = []
    try:
        assert scheduler.stdout is not None
        address = scheduler.stdout.readline().decode().strip()
        running += [subprocess.Popen([sys.executable, "-c", _WORKER, address], env=environ) for _ in range(workers)]
        yield address, running
    finally:
        for one in (*running, scheduler):
            one.kill()
            one.wait()
        if scheduler.stdout is not None:
            scheduler.stdout.close()


_SCHEDULER = """
import asyncio
from distributed import Scheduler

async def main():
    async with Scheduler(host="127.0.0.1", port=0, dashboard=False) as scheduler:
        print(scheduler.address, flush=True)
        await scheduler.finished()

asyncio.run(main())
"""
_WORKER = """
import asyncio, sys
from distributed import Worker

async def main():
    async with Worker(sys.argv[1], nthreads=1, host="127.0.0.1", dashboard=False) as worker:
        await worker.finished()

asyncio.run(main())
"""


def killed_in_the_middle(source: Path, out: Path, part_size: int) -> None:
    """Check ``source`` on two workers of which one is killed when the first part is there."""
    from datetime import UTC, datetime

    from lda_notes.knowledge.policy import DEFAULT
    from lda_notes.stream.cluster import on_cluster
    from lda_notes.stream.tasks import Check, Rules

    task = Check(Rules.of(DEFAULT), datetime(2032, 1, 1, tzinfo=UTC))
    with cluster(2) as (address, workers):

        def kill() -> None:
            while not list(out.glob("part-*.ndjson")):
                time.sleep(0.005)
            workers[0].send_signal(signal.SIGKILL)

        killer = threading.Thread(target=kill, daemon=True)
        killer.start()
        on_cluster([str(source)], task, address, str(out), part_size)
        killer.join()
        assert workers[0].wait() == -signal.SIGKILL


def _killed(bench: Bench, source: Path, expected: Path) -> Figure:
    out = bench.folder / "killed"
    killed_in_the_middle(source, out, max(source.stat().st_size // 12, 1))
    parts = sorted(out.glob("part-*.ndjson"))
    same = b"".join(part.read_bytes() for part in parts) == expected.read_bytes()
    note = f"{len(parts)} parts, one worker killed after the first"
    return Figure("13", "Dask with a killed worker: same bytes as one process", 1, False, (float(same),), "", note)
