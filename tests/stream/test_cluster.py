"""A cluster of two workers on this machine: same bytes, a killed worker, compressed files, folders that are refused."""

from __future__ import annotations

import gzip
import io
import json
from datetime import UTC, datetime
from pathlib import Path

import dask
import pytest
import zstandard
from bulk import ASOF, made_rows, run

from lda_notes.knowledge.policy import DEFAULT
from lda_notes.problems import Failure
from lda_notes.stream import cluster as module
from lda_notes.stream.cluster import on_cluster
from lda_notes.stream.tasks import Check, Rules
from tests.benchmarks.bulk import cluster, killed_in_the_middle

TASK = Check(Rules.of(DEFAULT), datetime(2032, 1, 1, tzinfo=UTC))


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("cluster") / "made.ndjson"
    path.write_bytes(made_rows(300))
    return path


@pytest.fixture(scope="module")
def expected(source: Path) -> bytes:
    return run("check", source, *ASOF).stdout


def joined(out: Path) -> bytes:
    return b"".join(part.read_bytes() for part in sorted(out.glob("part-*.ndjson")))


def test_a_killed_worker_loses_and_doubles_nothing(source: Path, expected: bytes, tmp_path: Path) -> None:
    killed_in_the_middle(source, tmp_path / "out", 100_000)
    assert joined(tmp_path / "out") == expected
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text())
    assert len(manifest["parts"]) == len(list((tmp_path / "out").glob("part-*.ndjson"))) > 10
    assert manifest["counts"]["rows"] == 299
    assert all(path.stat().st_mode & 0o777 == 0o600 for path in (tmp_path / "out").iterdir())


def test_the_command_writes_parts_into_a_new_folder_alone(source: Path, expected: bytes, tmp_path: Path) -> None:
    out = tmp_path / "out"
    with cluster(1) as (address, _):
        done = run("check", source, *ASOF, "--dask", address, "--out", out, code=2)
        assert joined(out) == expected
        assert b"parts in" in done.stderr
        again = run("check", source, *ASOF, "--dask", address, "--out", out, code=2)
    assert b"is not empty" in again.stderr
    assert joined(out) == expected


@pytest.mark.parametrize("ending", [".gz", ".zst"])
def test_compressed_files_are_read_whole_or_said_to_be_cut_off(tmp_path: Path, ending: str) -> None:
    pack = gzip.compress if ending == ".gz" else zstandard.compress
    raw = made_rows(40)
    packed = pack(raw[:50_000]) + pack(raw[50_000:])
    source = tmp_path / f"made.ndjson{ending}"
    with cluster(1) as (address, _):
        source.write_bytes(packed)
        on_cluster([str(source)], TASK, address, str(tmp_path / "out"))
        assert joined(tmp_path / "out") == run("check", source, *ASOF).stdout
        source.write_bytes(packed[:-200])
        with pytest.raises(Failure, match="did not finish"):
            on_cluster([str(source)], TASK, address, str(tmp_path / "other"))
    assert not (tmp_path / "other").exists()


@pytest.mark.parametrize("size", [1, 7, 100, 5000, 10**9])
def test_blocks_contain_every_row_once(tmp_path: Path, size: int) -> None:
    path = tmp_path / "rows.ndjson"
    path.write_bytes(b"a\n\n" + b"b" * 5000 + b"\nlast" if size > 50 else b"a\n\nbb\nlast")
    seen, first = [], 1
    for block in dask.compute(*module._blocks(str(path), size), scheduler="sync"):
        seen += [(row.number, row.raw) for row in module.rows(io.BytesIO(block), first)]
        first += module._rows(block)
    with path.open("rb") as file:
        assert seen == [(row.number, row.raw) for row in module.rows(file)]
    assert first - 1 == 4


def test_a_scheduler_that_does_not_answer_is_said(
    source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(Failure, match=r"cannot begin \(Timed out") as caught:
        on_cluster([str(source)], TASK, "tcp://127.0.0.1:9", str(tmp_path / "out"), wait_s=1)
    assert caught.value.code == 4
