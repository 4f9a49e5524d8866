"""Which files hold one record to a row, known by their names; every command asks, so nothing else is here."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from lda_notes.problems import Failure

ENDINGS: Final = (".ndjson", ".jsonl")
"""How files of rows are called, before any ending of compression."""

PACKED: Final = (".gz", ".zst")
"""Endings of compression: gzip (RFC 1952) and Zstandard (RFC 8878)."""

STANDARD_INPUT: Final = Path("-")


def is_rows(path: Path) -> bool:
    """Return whether a file contains one record to a row, by its name; ``-`` is standard input."""
    return path == STANDARD_INPUT or _bare(path).endswith(ENDINGS)


def is_packed(path: Path) -> bool:
    """Return whether a file is compressed, by its name."""
    return path.suffix.lower() in PACKED


def _bare(path: Path) -> str:
    name = path.name.lower()
    return name.removesuffix(path.suffix.lower()) if is_packed(path) else name


def row_files(paths: tuple[Path, ...], naming: bool = False) -> list[Path]:
    """Return the files of rows that ``paths`` name, those of folders in order of name; empty when there are none.

    ``naming``: the caller names what `pipeline.passed_over` finds, so the rows beside records of a folder stay out.
    Else raises `Failure` where files of rows and records in files of their own are together: one run reads either.
    """
    from lda_notes.pipeline import record_files

    found: list[Path] = []
    others: list[Path] = []
    for path in paths:
        if path != STANDARD_INPUT and path.is_dir():
            own = list(record_files((path,)))
            others += own
            if not (own and naming):
                found += sorted(one for one in path.iterdir() if is_rows(one) and one.is_file())
        else:
            (found if is_rows(path) else others).append(path)
    if found and others:
        raise Failure(
            f"{found[0]} contains one record to a row and {others[0]} is one record; give the two kinds in two runs"
        )
    return list(dict.fromkeys(found))
