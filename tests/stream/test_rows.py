"""Rows in: endings, blanks, compression, rows too long, parts that meet at row ends."""

from __future__ import annotations

import gzip
import io
from pathlib import Path

import pytest
import zstandard

from lda_notes.problems import Failure
from lda_notes.stream import rows as module
from lda_notes.stream.names import is_rows, row_files
from lda_notes.stream.rows import open_rows, rows


def read(raw: bytes, first: int = 1) -> list[tuple[int, bytes]]:
    return [(row.number, row.raw) for row in rows(io.BytesIO(raw), first)]


def test_blank_rows_and_row_ends_of_every_sort_keep_the_count() -> None:
    assert read(b'\xef\xbb\xbf{"a":1}\r\n\n  \t\r\n{}\n\n{"b":2}') == [(1, b'{"a":1}'), (4, b"{}"), (6, b'{"b":2}')]
    assert read(b"") == read(b"\n\n") == []


def test_a_row_without_an_end_is_not_unpacked_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MAX_BYTES", 10)
    monkeypatch.setattr(module, "_ENDLESS", 100)
    monkeypatch.setattr(module, "_BLOCK", 8)
    file = io.BytesIO(b"x" * 5000 + b"\nshort\n")
    found = rows(file)
    assert next(found).too_long
    with pytest.raises(Failure, match="row 1 has no end within 100 bytes"):
        next(found)
    assert file.tell() < 200


def test_a_row_that_is_too_long_is_one_row_and_takes_no_more_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MAX_BYTES", 10)
    found = list(rows(io.BytesIO(b"x" * 35 + b"\n" + b"short\n" + b"y" * 10 + b"\n" + b"z" * 11)))
    assert [(row.number, len(row.raw), row.too_long) for row in found] == [
        (1, 10, True),
        (2, 5, False),
        (3, 10, False),
        (4, 10, True),
    ]


@pytest.mark.parametrize("ending", ["", ".gz", ".zst"])
def test_files_are_read_by_their_ending(tmp_path: Path, ending: str) -> None:
    raw = b'{"a":1}\n{"b":2}\n' * 1000
    packed = {"": raw, ".gz": gzip.compress(raw), ".zst": zstandard.compress(raw)}[ending]
    path = tmp_path / f"Rows.NDJSON{ending}"
    path.write_bytes(packed)
    assert is_rows(path)
    with open_rows(path) as file:
        assert len(list(rows(file))) == 2000


def test_what_is_no_file_of_rows_by_its_name() -> None:
    names = ("a.json", "a.gz", "a.yaml", "ndjson", "a.ndjson.bz2")
    assert not any(is_rows(Path(name)) for name in names)
    assert all(is_rows(Path(name)) for name in ("-", "a.jsonl", "a.NDJSON.GZ"))


def test_a_missing_file_is_a_failure_with_its_name() -> None:
    with pytest.raises(Failure, match=r"none\.ndjson: cannot be read \(No such file"):
        open_rows(Path("none.ndjson"))


def test_a_folder_gives_its_files_of_rows_and_no_mixture(tmp_path: Path) -> None:
    for name in ("b.ndjson", "a.jsonl.gz", "notes.txt"):
        (tmp_path / name).write_bytes(b"")
    assert [path.name for path in row_files((tmp_path,))] == ["a.jsonl.gz", "b.ndjson"]
    (tmp_path / "one.yaml").write_bytes(b"")
    with pytest.raises(Failure, match="two runs"):
        row_files((tmp_path,))
