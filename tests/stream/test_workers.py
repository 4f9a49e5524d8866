"""Processes that die: their part is done again, and a part that ends two of them is named."""

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
from lda_notes.problems import Failure
from lda_notes.stream.progress import Progress
from lda_notes.stream.rows import Row
from lda_notes.stream.run import Ends, Result, Stop, serial
from lda_notes.stream.tasks import Answer, Work
from lda_notes.stream.workers import parallel


@dataclass(frozen=True)
class Deadly:
    """Echoes rows; at the row ``at`` the process is killed, once or, without a ``mark``, each time."""

    at: int
    mark: str = ""

    def ready(self) -> Work:
        def work(file: str, row: Row) -> Answer:
            if row.number == self.at and not (self.mark and Path(self.mark).exists()):
                if self.mark:
                    Path(self.mark).touch()
                os.kill(os.getpid(), signal.SIGKILL)
            return Answer(row.raw + b"\n", f"row {row.number}\n" if row.number % 1000 == 0 else "", (("rows", 1),))

        return work


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "rows.ndjson"
    path.write_bytes(b"".join(b'{"number": %d, "filler": "%s"}\n' % (n, b"x" * 200) for n in range(1, 5001)))
    return path


def test_a_killed_process_loses_and_doubles_nothing(source: Path, tmp_path: Path) -> None:
    out, said = io.BytesIO(), []
    task = Deadly(2500, str(tmp_path / "mark"))
    result = parallel([source], task, Ends(out, said.append), 2)  # type: ignore[arg-type]
    assert (tmp_path / "mark").exists()
    assert out.getvalue() == source.read_bytes()
    assert "".join(said) == "".join(f"row {n}\n" for n in range(1000, 5001, 1000))
    assert result.counts == {"rows": 5000}


def test_a_part_that_kills_twice_ends_the_run_with_its_rows(source: Path) -> None:
    out = io.BytesIO()
    with pytest.raises(Failure, match=r"ended twice somewhere in rows (\d+) to (\d+)") as caught:
        parallel([source], Deadly(2500), Ends(out, print), 2)  # type: ignore[arg-type]
    numbers = [int(word.rstrip(";")) for word in str(caught.value).split() if word.rstrip(";").isdigit()]
    assert numbers[0] <= 2500 <= numbers[1]
    assert source.read_bytes().startswith(out.getvalue())
    assert out.getvalue().endswith(b"\n")


def test_one_process_and_several_give_the_same(source: Path) -> None:
    one, many = io.BytesIO(), io.BytesIO()
    task = Deadly(0)
    first = serial([source, source], task, Ends(one, str), 10)  # type: ignore[arg-type]
    second = parallel([source, source], task, Ends(many, str), 3, 10)  # type: ignore[arg-type]
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
    if workers == 1:
        serial([source], task, ends, 4001)  # type: ignore[arg-type]
    else:
        parallel([source], task, ends, workers, 4001)  # type: ignore[arg-type]
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

    monkeypatch.setattr("lda_notes.stream.workers.stoppable", asked)
    result = parallel([source], Deadly(0), Ends(io.BytesIO(), str), 2, 3000)  # type: ignore[arg-type]
    assert (result.stopped, result.at, result.next_row) == (True, str(source), 3000)


def test_a_stopped_run_says_which_files_to_leave_out() -> None:
    files = [Path("a.ndjson"), Path("b.ndjson"), Path("c.ndjson")]
    said = how_to_go_on(Result(at="b.ndjson", next_row=7, stopped=True), files)
    assert said == (
        "Stopped: every row of b.ndjson before row 7 is written whole. Leave out the files before it (1), they are "
        "done. Go on with --from-line 7, into another file, and join the two."
    )
    assert "Leave out" not in how_to_go_on(Result(at="a.ndjson", next_row=7, stopped=True), files)
