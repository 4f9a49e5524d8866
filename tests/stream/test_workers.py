"""Several processes: the same as one, and what is left when one dies."""

from __future__ import annotations

import io
import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from lda_notes.commands.streaming import how_to_go_on
from lda_notes.stream.progress import Progress
from lda_notes.stream.rows import Row
from lda_notes.stream.run import Ends, Result, Stop, run
from lda_notes.stream.tasks import Answer, Work


@dataclass(frozen=True)
class Deadly:
    """Echoes rows; at the row ``at`` the process is killed."""

    at: int

    def ready(self) -> Work:
        def work(file: str, row: Row) -> Answer:
            if row.number == self.at:
                os.kill(os.getpid(), signal.SIGKILL)
            return Answer(row.raw + b"\n", f"row {row.number}\n" if row.number % 1000 == 0 else "", (("rows", 1),))

        return work


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "rows.ndjson"
    path.write_bytes(b"".join(b'{"number": %d, "filler": "%s"}\n' % (n, b"x" * 200) for n in range(1, 5001)))
    return path


def test_a_process_that_dies_stops_the_run_and_the_next_goes_on(source: Path) -> None:
    out = io.BytesIO()
    said: list[str] = []
    result = run([source], Deadly(2500), Ends(out, said.append), workers=2)  # type: ignore[arg-type]  # a stand-in of the test
    assert result.stopped
    assert "A worker process ended" in result.why
    assert 1 < result.next_row <= 2500
    assert source.read_bytes().splitlines(True)[: result.next_row - 1] == out.getvalue().splitlines(True)
    run([source], Deadly(0), Ends(out, said.append), result.next_row, 2)  # type: ignore[arg-type]  # a stand-in of the test
    assert out.getvalue() == source.read_bytes()
    assert "".join(said) == "".join(f"row {n}\n" for n in range(1000, 5001, 1000))


def test_one_process_and_several_give_the_same(source: Path) -> None:
    one, many = io.BytesIO(), io.BytesIO()
    task = Deadly(0)
    first = run([source, source], task, Ends(one, str), 10)  # type: ignore[arg-type]  # a stand-in of the test
    second = run([source, source], task, Ends(many, str), 10, 3)  # type: ignore[arg-type]  # a stand-in of the test
    assert one.getvalue() == many.getvalue()
    assert first.counts == second.counts == {"rows": 9991}


def test_progress_tells_rows_rate_and_time_left() -> None:
    shown: list[str] = []
    ticks = iter([0.0, 0.1, 10.0])
    progress = Progress(shown.append, lambda: next(ticks), 4000)
    progress.step(10, 500)
    progress.step(10, 500)
    assert shown == ["20 rows, 2 per second, 30 s left"]


@pytest.mark.parametrize("workers", [1, 2])
def test_progress_counts_rows_passed_over_neither_as_done_nor_as_left(source: Path, workers: int) -> None:
    progress = Progress(str, lambda: 0.0, source.stat().st_size)
    ends = Ends(io.BytesIO(), str, progress)
    task = Deadly(0)
    run([source], task, ends, 4001, workers)  # type: ignore[arg-type]  # a stand-in of the test
    assert progress.text(10.0).endswith(" per second, 0 s left")
    progress.skip(-source.stat().st_size)  # as much again is to come: five times what was done, or a little less
    left = progress.text(10.0).split(", ")[-1].split()[0]
    assert 30 <= int(left) <= 50


def test_a_run_stopped_before_its_first_part_goes_on_where_it_was_to_begin(
    source: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    @contextmanager
    def asked() -> Iterator[Stop]:
        stop = Stop()
        stop.asked = True
        yield stop

    monkeypatch.setattr("lda_notes.stream.run.stoppable", asked)
    result = run([source], Deadly(0), Ends(io.BytesIO(), str), 3000, 2)  # type: ignore[arg-type]  # a stand-in of the test
    assert (result.stopped, result.at, result.next_row) == (True, str(source), 3000)


def test_a_stopped_run_says_which_files_to_leave_out() -> None:
    files = [Path("a.ndjson"), Path("b.ndjson"), Path("c.ndjson")]
    said = how_to_go_on(Result(at="b.ndjson", next_row=7, stopped=True), files)
    assert said == (
        "Stopped: every row of b.ndjson before row 7 is written whole. Leave out the files before it (1), they are "
        "done. Go on with --from-line 7, into another file, and join the two."
    )
    assert "Leave out" not in how_to_go_on(Result(at="a.ndjson", next_row=7, stopped=True), files)
