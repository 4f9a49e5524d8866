"""Common parts of the FHIR commands: the configuration, reading bundle files, and how faults are shown."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import click

from lda_notes.files.system import contents
from lda_notes.problems import Failure
from lda_notes.stream.names import STANDARD_INPUT, is_rows

VARIABLE = "LDA_NOTES_FHIR"
"""Environment variable that names the configuration, as `lda_notes.fhir.config.VARIABLE` has it."""

_LARGEST = 256 * 1024 * 1024


config_option = click.option(
    "--config",
    "config_path",
    type=click.Path(path_type=Path),
    envvar=VARIABLE,
    show_envvar=True,
    help="Configuration of FHIR output: identifier systems, organization, references. Default: example addresses "
    "that no one owns.",
)
"""Passed as ``config_path``; `lda_notes.fhir.config.load` turns it into the configuration."""


def read_file(path: Path) -> bytes:
    """Return the bytes of a file, or of standard input for ``-``. Raises `Failure` when it cannot be read."""
    try:
        if str(path) == "-":
            return sys.stdin.buffer.read()
        raw = contents(path, _LARGEST + 1)
    except OSError as error:
        raise Failure(
            f"{path}: cannot be read ({error.strerror or error}); check the name and the permissions"
        ) from None
    if len(raw) > _LARGEST:
        raise Failure(f"{path}: is too large for bundles; give them in several files")
    return raw


def bundle_texts(path: Path) -> Iterator[tuple[str, int, bytes]]:
    """Yield each bundle of a file, what to call it and its first row: one JSON, or NDJSON with one bundle to a row."""
    data = read_file(path)
    rows = [(number, row) for number, row in enumerate(data.splitlines(), start=1) if row.strip()]
    whole = [row.strip().startswith(b"{") and row.strip().endswith(b"}") for _, row in rows[:2]]
    named = is_rows(path) and path != STANDARD_INPUT
    if len(rows) > 1 and (whole[0] or (named and whole[1])):  # one that was cut off makes no JSON of all the others
        for number, row in rows:
            yield f"{path}, row {number}", number, row
    else:
        yield str(path), 1, data


def folder_rows(folder: Path) -> Iterator[tuple[str, int, bytes]]:
    """Yield each row of a folder that ``bundle --by-type`` wrote, what to call it and its number, one at a time.

    Raises `Failure` when the folder contains no such file or one cannot be read.
    """
    from lda_notes.stream.rows import open_rows
    from lda_notes.stream.run import read_on

    files = sorted(folder.glob("*.ndjson"))
    if not files:
        raise Failure(f"{folder}: contains no .ndjson file; give a folder that bundle --by-type wrote, or a file")
    for path in files:
        with open_rows(path) as file:
            for row in read_on(file, str(path)):
                if row.too_long:
                    raise Failure(f"{path}, row {row.number}: is too large; look whether row ends are missing")
                yield f"{path}, row {row.number}", row.number, row.raw


def refuse_dash(option: str, folder: Path | None) -> None:
    """Raise `click.UsageError` when a folder to write is called ``-``: a folder has no place on standard output."""
    if folder == STANDARD_INPUT:
        raise click.UsageError(f"{option} writes a folder and cannot write to standard output; give a folder name.")
