"""Check, bundle, verify and days over rows: bad rows are named and stop nothing, workers change no byte."""

from __future__ import annotations

import gzip
import io
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import zstandard
from bulk import ASOF, BAD, HERE, made_rows, parsed, run
from click.testing import CliRunner
from waiting import sleeps, until

from lda_notes.cli import group
from lda_notes.files.syntax import MAX_BYTES
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.record import reading as record
from lda_notes.stream.run import Ends
from lda_notes.stream.run import run as through
from lda_notes.stream.tasks import Check, Rules
from tests.benchmarks.episodes import FAULTS, FAULTY_EVERY, made

DAYS = ("--from", "2031-01-01", "--to", "2031-12-31")


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("rows") / "made.ndjson"
    path.write_bytes(made_rows(60))
    return path


def test_check_names_every_bad_row_with_row_and_column_and_goes_on(source: Path) -> None:
    found = {row["row"]: row for row in parsed(run("check", source, *ASOF, code=2).stdout)}
    assert list(found) == [number for number in range(1, 61) if number != 5]
    for number in BAD:
        assert not found[number]["readable"]
        (first, *_) = found[number]["findings"]
        assert first["row"] == number, first
        assert first["column"] >= 1
    (repeated,) = [one for one in found[7]["findings"] if one["rule"] == "repeated-key"]
    assert repeated["column"] == BAD[7].rindex(b'"record_version"') + 1
    assert "row 7" in repeated["message"]
    assert found[10]["findings"] != []
    assert found[1] == {
        "row": 1,
        "file": str(source),
        "error": None,
        "readable": True,
        "events": len(made(1).record["events"]),
        "unread": [],
        "findings": [],
    }


def test_the_known_faults_are_found_and_nothing_else() -> None:
    kinds: set[str] = set()
    rules: set[str] = set()
    raw = b"".join(json.dumps(made(number).record).encode() + b"\n" for number in range(1, 151))
    found = CliRunner().invoke(group, ["check", "-", *ASOF], input=raw)
    for row in parsed(found.stdout_bytes):
        expected = made(row["row"])
        kinds.update(event["kind"] for event in expected.record["events"])
        rules.add(expected.rule or "")
        assert {one["rule"] for one in row["findings"]} == ({expected.rule} if expected.rule else set()), row["row"]
        assert (expected.rule is not None) == (row["row"] % FAULTY_EVERY == 0)
    from lda_notes.record.events import KINDS

    assert kinds <= set(KINDS) and len(kinds) > 12
    assert rules == {*FAULTS, ""}


def test_made_episodes_are_the_same_for_the_same_seed_alone() -> None:
    assert made(3, 1) == made(3, 1)
    assert made(3, 1) != made(3, 2)


@pytest.mark.parametrize(
    "arguments",
    [("check", *ASOF), ("check", "--format", "text", *ASOF), ("days", *DAYS, *ASOF), ("bundle", "--no-note")],
)
def test_workers_change_no_byte(source: Path, arguments: tuple[str, ...]) -> None:
    command, *rest = arguments
    one = run(command, source, *rest)
    two = run(command, source, *rest, "--workers", 2)
    assert (two.stdout, two.stderr, two.returncode) == (one.stdout, one.stderr, one.returncode)
    assert len(one.stdout.splitlines()) > 50
    assert one.returncode == 2


def test_bundles_of_rows_are_those_of_files_and_verify(tmp_path: Path) -> None:
    source, out = tmp_path / "made.ndjson", tmp_path / "bundles.ndjson"
    source.write_bytes(made_rows(24))
    run("bundle", source, "--out", out, "--workers", 2, code=2)
    assert out.stat().st_mode & 0o777 == 0o600
    single = tmp_path / "one.json"
    single.write_text(json.dumps(made(1).record))
    assert out.read_bytes().startswith(run("bundle", single, code=0).stdout)
    verified = run("verify", out, "--workers", 2, code=0)
    assert [row["row"] for row in parsed(verified.stdout)] == list(range(1, len(out.read_bytes().splitlines()) + 1))
    assert all(row["faults"] == [] for row in parsed(verified.stdout))
    spoilt = out.read_bytes().replace(b'"transaction"', b'"batch"', 1) + b"{\n"
    found = parsed(run("verify", "-", "--from-line", 1, "--workers", 2, stdin=spoilt, code=1).stdout)
    assert [row["row"] for row in found if row["faults"]] == [1, len(found)]


@pytest.mark.parametrize(("fact", "said"), [("admitted_at", b"admission"), ("unit", b"unit")])
def test_days_of_a_row_that_was_read_in_part_say_so(fact: str, said: bytes) -> None:
    record = json.loads(json.dumps(made(1).record))
    record["stay"][fact] = [5]
    done = run("days", "-", *DAYS, *ASOF, stdin=json.dumps(record).encode() + b"\n", code=1 if fact != "unit" else 2)
    assert said in done.stderr
    assert (b"Could not be read: admission, row 1" in done.stderr) is (fact == "admitted_at")


@pytest.mark.parametrize("ending", [".gz", ".zst"])
def test_compressed_rows_and_standard_input_give_the_same(source: Path, tmp_path: Path, ending: str) -> None:
    raw = source.read_bytes()
    path = tmp_path / f"made.ndjson{ending}"
    path.write_bytes(gzip.compress(raw) if ending == ".gz" else zstandard.compress(raw))
    plain = run("days", "-", *DAYS, *ASOF, stdin=raw).stdout
    for workers in (1, 2):
        packed = run("days", path, *DAYS, *ASOF, "--workers", workers).stdout
        assert packed.replace(json.dumps(str(path)).encode(), b'"-"') == plain


@pytest.mark.parametrize("workers", [1, 2])
@pytest.mark.parametrize("ending", [".gz", ".zst"])
def test_a_file_cut_off_gives_its_whole_rows_and_a_sentence(tmp_path: Path, ending: str, workers: int) -> None:
    raw = made_rows(60)
    path = tmp_path / f"made.ndjson{ending}"
    path.write_bytes((gzip.compress(raw) if ending == ".gz" else zstandard.compress(raw))[:-200])
    done = run("check", path, *ASOF, "--workers", workers, code=2)
    assert b"cannot be read on after row" in done.stderr
    assert done.stdout == b"" or done.stdout.endswith(b"\n")
    assert str(path).encode() in done.stderr


@pytest.mark.parametrize("fault", ["cut off", "damaged", "other bytes behind"])
@pytest.mark.parametrize("ending", [".gz", ".zst"])
def test_of_a_file_that_cannot_be_read_on_workers_lose_no_row(tmp_path: Path, ending: str, fault: str) -> None:
    raw = made_rows(90)
    cut = len(raw) // 2
    pieces = [gzip.compress(one) if ending == ".gz" else zstandard.compress(one) for one in (raw[:cut], raw[cut:])]
    last = bytearray(pieces[1])
    if fault == "cut off":
        del last[-200:]
    elif fault == "damaged":
        last[len(last) // 2 : len(last) // 2 + 40] = bytes(40)
    else:
        last += b"no such format" * 9
    path = tmp_path / f"made.ndjson{ending}"
    path.write_bytes(pieces[0] + bytes(last))
    one, two = (run("check", path, *ASOF, "--workers", workers, code=2) for workers in (1, 2))
    assert len(parsed(one.stdout)) > 30
    assert two.stdout == one.stdout
    assert two.stderr == one.stderr


def test_going_on_from_a_row_gives_the_rest(source: Path) -> None:
    whole = run("check", source, *ASOF).stdout.splitlines(keepends=True)
    for workers in (1, 2):
        rest = run("check", source, *ASOF, "--from-line", 30, "--workers", workers).stdout.splitlines(keepends=True)
        assert rest == [row for row in whole if json.loads(row)["row"] >= 30]


MANY = 120
"""Rows that take about a second, so that the interrupt falls into the run."""


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bytes]:
    """Many rows, and their bundles."""
    path = tmp_path_factory.mktemp("rows") / "many.ndjson"
    path.write_bytes(b"".join(json.dumps(made(number).record).encode() + b"\n" for number in range(1, MANY)))
    return path, run("bundle", path, "--no-note").stdout


@pytest.mark.parametrize("workers", [1, 2])
def test_an_interrupt_leaves_whole_rows_and_says_where_to_go_on(
    many: tuple[Path, bytes], tmp_path: Path, workers: int
) -> None:
    source, whole = many
    command = [sys.executable, "-m", "lda_notes", "bundle", str(source), "--no-note", "--workers", str(workers)]
    out = tmp_path / "out.ndjson"
    with out.open("wb") as target:
        running = subprocess.Popen(command, stdout=target, stderr=subprocess.PIPE, cwd=HERE, text=True)
        until(lambda: out.stat().st_size > 0)
        running.send_signal(signal.SIGINT)
        _, said = running.communicate(timeout=120)
    assert running.returncode == 130, said
    assert "Traceback" not in said
    row = int(said.split("--from-line ")[1].split(",")[0])
    assert 1 < row < MANY
    rest = run("bundle", source, "--no-note", "--from-line", row)
    assert out.read_bytes() + rest.stdout == whole


def test_one_interrupt_ends_the_wait_for_a_row_that_does_not_come() -> None:
    command = [sys.executable, "-m", "lda_notes", "bundle", "-", "--no-note"]
    running = subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE, cwd=HERE, text=True)
    assert running.stdin is not None
    assert running.stderr is not None
    running.stdin.write("{\n")
    running.stdin.flush()
    assert "-:1:" in running.stderr.readline()  # so it is at its second row
    until(lambda: sleeps(running.pid))
    running.send_signal(signal.SIGINT)
    assert running.wait(timeout=60) == 130  # with its input still open
    _, said = running.communicate(timeout=60)
    assert "Traceback" not in said
    assert "--from-line 2" in said


@pytest.mark.parametrize("workers", [1, 2])
def test_an_interrupt_while_rows_are_awaited_stops_the_run(
    source: Path, monkeypatch: pytest.MonkeyPatch, workers: int
) -> None:
    def interrupted(*_: object) -> Iterator[Any]:
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(60)
        yield None

    monkeypatch.setattr("lda_notes.stream.run.rows", interrupted)
    task, ends = Check(Rules.of(DEFAULT), datetime(2032, 1, 1, tzinfo=UTC)), Ends(io.BytesIO(), str)
    done = through([source], task, ends, workers=workers)
    assert (done.stopped, done.next_row, done.counts) == (True, 1, {})


@pytest.mark.parametrize("form", [(), ("--format", "text"), ("--models",)])
def test_a_bundle_too_long_for_a_row_is_said_to_be_that(form: tuple[str, ...], tmp_path: Path) -> None:
    path = tmp_path / "long.ndjson"
    path.write_bytes(b'{"resourceType":"Bundle","id":"' + b"x" * MAX_BYTES + b'"}\n{}\n')
    first = run("verify", path, *form, code=1).stdout.splitlines()[0].decode()
    assert "The row holds more than 20,971,520 bytes" in first
    assert "Unterminated" not in first


def test_options_for_rows_are_refused_for_other_files_and_the_reverse(source: Path, tmp_path: Path) -> None:
    demo = HERE / "demo_episodes" / "uncomplicated-week.yaml"
    assert b"NDJSON" in run("check", demo, "--workers", 2, code=2).stderr
    assert b"NDJSON" in run("days", source, *DAYS, "--by", "unit", code=2).stderr
    assert b"NDJSON" in run("bundle", source, "--docx", code=2).stderr
    assert b"--out" in run("check", source, "--dask", "tcp://127.0.0.1:1", code=2).stderr
    dask = ("--dask", "tcp://127.0.0.1:1", "--out")
    assert b"for one machine" in run("check", source, *dask, tmp_path, "--from-line", 2, code=2).stderr
    assert b"for one machine" in run("check", source, *dask, tmp_path, "--workers", 2, code=2).stderr
    assert b"standard input" in run("check", "-", *dask, tmp_path, code=2).stderr
    assert b"is a file" in run("check", source, *dask, source, code=2).stderr
    assert b"two runs" in run("check", source, demo, code=2).stderr
    assert b"nowhere.ndjson" in run("check", tmp_path / "nowhere.ndjson", code=2).stderr


def test_a_record_in_a_row_is_placed_in_that_row() -> None:
    found = record.read_bytes(b'{"a": 1,\r "b": NaN}', "rows.ndjson", as_json=True, row=17)
    assert {finding.place.row for finding in found.findings if finding.place} == {17}
    assert "rows.ndjson:17:16" in {str(finding.place) for finding in found.findings}


def test_nothing_heavy_is_loaded_for_a_stream_of_checks(source: Path) -> None:
    probe = (
        "import sys, atexit\n"
        "atexit.register(lambda: print(*sys.modules, file=sys.stderr))\n"
        "from lda_notes.cli import main\n"
        f"sys.argv = ['lda-notes', 'check', {str(source)!r}]\nmain()\n"
    )
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, cwd=HERE, check=False)
    loaded = set(done.stderr.split("\n")[-2].split())
    assert "lda_notes.stream.run" in loaded
    assert not {"distributed", "fsspec", "zstandard", "multiprocessing", "jinja2", "docx", "fhir"} & loaded


@pytest.mark.parametrize("workers", [1, 2])
def test_a_reader_that_goes_away_ends_the_run_with_141(source: Path, workers: int) -> None:
    command = [sys.executable, "-m", "lda_notes", "bundle", str(source), "--no-note", "--workers", str(workers)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=HERE) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        assert running.stdout.readline().startswith(b"{")
        running.stdout.close()
        said = running.stderr.read()
        assert running.wait(timeout=60) == 141, said
    assert b"Traceback" not in said
    assert b"Exception ignored" not in said


@pytest.mark.parametrize("workers", [1, 2])
def test_a_full_disk_is_one_sentence_that_says_what_to_do(source: Path, workers: int) -> None:
    command = [sys.executable, "-m", "lda_notes", "check", str(source), *ASOF, "--workers", str(workers)]
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, cwd=HERE, check=False)
    assert done.returncode == 2
    assert done.stderr.decode() == (
        "lda-notes: standard output: cannot be written (No space left on device); its last row may be cut off, "
        "so make room and run it again from the start\n"
    )


def test_a_file_that_outgrows_its_room_leaves_nothing(source: Path, tmp_path: Path) -> None:
    out = tmp_path / "found.ndjson"
    small = "import resource, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
    small += "resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))\nfrom lda_notes.cli import main\n"
    small += f"sys.argv = ['lda-notes', 'check', {str(source)!r}, '--out', {str(out)!r}]\nmain()\n"
    done = subprocess.run([sys.executable, "-B", "-c", small], capture_output=True, text=True, cwd=HERE, check=False)
    assert done.returncode == 2
    assert done.stderr == (
        f"lda-notes: {out}: cannot be written (File too large); check the folder, its permissions and room\n"
    )
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", [("bundle", "--no-note"), ("days", *DAYS, *ASOF)])
def test_a_bad_row_is_named_with_what_was_found_and_what_to_do(command: tuple[str, ...]) -> None:
    said = run(*command, "-", stdin=b'\n{"record_version": 1\n{}\n  id: x\nnull\n', code=2).stderr.decode().splitlines()
    assert said == [
        "-:2:21: The text ends here; more was expected; look whether the file was cut off, or a bracket is missing",
        '-:3:1: "record_version" is missing; add record_version (and 5 more; `lda-notes check` lists them)',
        "-:4:3: The row does not begin with a brace; one record in JSON was expected; "
        "write each record as one row of JSON; a record in YAML goes into a file of its own",
        "-:5:1: The row does not begin with a brace; one record in JSON was expected; "
        "write each record as one row of JSON; a record in YAML goes into a file of its own",
        "4 rows, 4 rows could not be read.",
    ]


def test_verify_names_the_row_of_the_file_where_json_breaks_off(tmp_path: Path) -> None:
    path = tmp_path / "bundles.ndjson"
    path.write_bytes(b'{"resourceType": "Bundle"}\n\n{"resourceType": "Bundle"\n')
    rows = parsed(run("verify", path, code=1).stdout)
    assert rows[-1]["row"] == 3
    assert rows[-1]["faults"][0]["message"] == "Row 3, column 26: a ',' delimiter was expected."
