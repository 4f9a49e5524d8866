"""A cluster of two workers on this machine: same bytes, a killed worker, a rerun after a crash."""

from __future__ import annotations

import gzip
import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
import zstandard
from bulk import ASOF, made_rows, run

pytest.importorskip("distributed", reason="the extra dask is not installed")

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
    assert (tmp_path / "out").stat().st_mode & 0o777 == 0o700
    assert all(path.stat().st_mode & 0o777 == 0o600 for path in (tmp_path / "out").iterdir())


def test_a_rerun_makes_what_is_missing_spoilt_or_of_another_task(source: Path, expected: bytes, tmp_path: Path) -> None:
    out = tmp_path / "out"
    with cluster(2) as (address, _):
        first = run("check", source, *ASOF, "--dask", address, "--out", out, code=2)
        assert joined(out) == expected
        assert b"0 of them from an earlier run" in first.stderr
        earlier = len(list(out.glob("part-*.ndjson")))
        made = on_cluster([str(source)], TASK, address, str(out), 400_000)
        total = made.parts
        assert total > 5
        assert len(list(out.glob("part-*.ndjson"))) == total != earlier, "no part of another cut is left"
        parts = sorted(out.glob("part-*.ndjson"))
        parts[0].unlink()  # lost
        parts[1].write_bytes(parts[1].read_bytes()[:-9])  # cut off
        Path(f"{parts[2]}".replace(".ndjson", ".ndjson.receipt.json")).unlink()  # a crash before the receipt
        (out / ".half.part").write_bytes(b"x")  # a crash in the middle of writing
        again = on_cluster([str(source)], TASK, address, str(out), 400_000)
        assert (again.parts, again.skipped) == (total, total - 3)
        assert joined(out) == expected
        other = on_cluster([str(source)], Check(TASK.rules, TASK.asof, 80), address, str(out), 400_000)
        assert other.skipped == 0
        assert joined(out) == run("check", source, *ASOF, "--format", "text").stdout


def test_a_changed_file_of_the_same_size_and_a_damaged_receipt_are_made_anew(tmp_path: Path) -> None:
    source, out = tmp_path / "made.ndjson", tmp_path / "out"
    raw = made_rows(40)
    with cluster(1) as (address, _):
        source.write_bytes(raw)
        total = on_cluster([str(source)], TASK, address, str(out), 100_000).parts
        changed = raw.replace(b'"drug"', b'"drux"', 1)
        assert changed != raw
        source.write_bytes(changed)
        again = on_cluster([str(source)], TASK, address, str(out), 100_000)
        assert (again.parts, again.skipped) == (total, total - 1)
        assert joined(out) == run("check", source, *ASOF).stdout
        receipt = out / "part-000001.ndjson.receipt.json"
        whole = json.loads(receipt.read_text())
        for spoilt in ({"counts": None}, {"counts": {"rows": "many"}}, {"said": 5}):
            receipt.write_text(json.dumps({**whole, **spoilt}))
            assert on_cluster([str(source)], TASK, address, str(out), 100_000).skipped == total - 1
        assert json.loads(receipt.read_text()) == whole


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
        with pytest.raises(Failure, match="cannot read or write its part"):
            on_cluster([str(source)], TASK, address, str(tmp_path / "other"))
    assert not (tmp_path / "other").exists()


def test_parts_that_are_read_are_not_written_over(tmp_path: Path) -> None:
    source = tmp_path / "part-000000.ndjson"
    source.write_bytes(made_rows(20))
    (tmp_path / "link").symlink_to(tmp_path)
    with cluster(1) as (address, _):
        for out in (tmp_path, tmp_path / "link"):
            with pytest.raises(Failure, match="give another folder"):
                on_cluster([str(source)], TASK, address, str(out))
    assert source.read_bytes() == made_rows(20)


@pytest.mark.parametrize("size", [1, 7, 100, 5000, 10**9])
def test_parts_by_bytes_hold_every_row_once(tmp_path: Path, size: int) -> None:
    path = tmp_path / "rows.ndjson"
    path.write_bytes(b"a\n\n" + b"b" * 5000 + b"\nlast" if size > 50 else b"a\n\nbb\nlast")
    seen, first = [], 1
    for part in module._cut({str(path): path.stat().st_size}, size):
        count, _ = module._count(part)
        with module._opened(part) as file:
            seen += [(row.number, row.raw) for row in module.rows(module._stretch(part, file), first)]
        first += count
    with path.open("rb") as file:
        assert seen == [(row.number, row.raw) for row in module.rows(file)]
    assert first - 1 == 4


def test_a_scheduler_that_does_not_answer_is_said(
    source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(Failure, match="no Dask scheduler answers") as caught:
        on_cluster([str(source)], TASK, "tcp://127.0.0.1:9", str(tmp_path / "out"), wait_s=1)
    assert caught.value.code == 4
