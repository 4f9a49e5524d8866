"""How a stream ends when what it reads from or writes to is closed, full or gone, or when it is told to end."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from bulk import ASOF, HERE, made_rows, run
from waiting import until

from lda_notes.commands.streaming import how_to_go_on
from lda_notes.stream.run import Result

CHECK = [sys.executable, "-m", "lda_notes", "check", *ASOF]

both = pytest.mark.parametrize("workers", ["1", "2"])


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("rows") / "made.ndjson"
    path.write_bytes(made_rows(90))
    return path


@both
def test_a_reader_that_goes_away_ends_with_141(source: Path, workers: str) -> None:
    child = subprocess.Popen(
        [*CHECK, source, "--workers", workers], stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=HERE
    )
    assert child.stdout is not None
    child.stdout.close()
    assert child.stderr is not None
    with child, child.stderr:
        assert child.stderr.read() == b""
    assert child.returncode == 141


@both
@pytest.mark.parametrize(("closed", "file"), [("<&-", "-"), (">&-", "")])
def test_a_closed_stream_is_one_sentence(source: Path, workers: str, closed: str, file: str) -> None:
    command = f'"$@" {closed}'
    done = subprocess.run(
        ["/bin/sh", "-c", command, "sh", *CHECK, file or source, "--workers", workers],
        capture_output=True,
        cwd=HERE,
        check=False,
    )
    assert done.returncode == 2, done.stderr
    assert done.stdout == b""
    assert b"Bad file descriptor" in done.stderr
    assert done.stderr.count(b"\n") == 1


@both
def test_a_closed_standard_error_takes_nothing_from_the_result(source: Path, workers: str, tmp_path: Path) -> None:
    whole = run("check", source, *ASOF).stdout
    done = subprocess.run(
        ["/bin/sh", "-c", '"$@" 2>&-', "sh", *CHECK, source, "--workers", workers],
        stdout=subprocess.PIPE,
        cwd=HERE,
        check=False,
    )
    assert done.returncode == 2  # rows that cannot be read are among them
    assert done.stdout == whole


def test_output_that_cannot_be_written_is_one_sentence(source: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("this system has no device that is always full")
    with open("/dev/full", "wb") as full:  # noqa: PTH123
        done = subprocess.run([*CHECK, source], stdout=full, stderr=subprocess.PIPE, cwd=HERE, check=False)
    assert done.returncode == 2
    assert done.stderr.count(b"\n") == 1


@both
def test_a_named_pipe_is_read_as_standard_input_is(source: Path, workers: str, tmp_path: Path) -> None:
    pipe = tmp_path / "made.ndjson"
    os.mkfifo(pipe)
    feeder = threading.Thread(target=pipe.write_bytes, args=(source.read_bytes(),), daemon=True)
    feeder.start()
    found = run("check", pipe, *ASOF, "--workers", workers, code=2).stdout
    feeder.join(10)
    assert found == run("check", source, *ASOF).stdout.replace(str(source).encode(), str(pipe).encode())


@both
def test_an_order_to_end_takes_the_unfinished_file_away(workers: str, tmp_path: Path) -> None:
    out = tmp_path / "found.ndjson"
    child = subprocess.Popen(
        [*CHECK, "-", "--out", out, "--workers", workers],
        stdin=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=HERE,
    )
    assert child.stdin is not None
    child.stdin.write(made_rows(20) + b"\n")
    child.stdin.flush()
    until(lambda: any(tmp_path.iterdir()))
    assert [one.suffix for one in tmp_path.iterdir()] == [".part"]
    time.sleep(0.3)  # the file is there a little before the stream begins
    child.send_signal(signal.SIGTERM)
    said = child.communicate(timeout=120)[1]
    assert child.returncode == 128 + signal.SIGTERM
    assert b"Traceback" not in said
    assert list(tmp_path.iterdir()) == []


def test_a_stop_before_the_first_row_names_no_file() -> None:
    files = [Path("made.ndjson")]
    assert how_to_go_on(Result(at="made.ndjson"), files) == "Stopped before a row was written; begin again."
    assert "row 7" in how_to_go_on(Result(at="made.ndjson", next_row=7, stopped=True), files)
