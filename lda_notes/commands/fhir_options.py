"""What the FHIR commands share: the configuration, reading bundle files, and how faults are shown."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeVar

import click

from lda_notes.problems import Failure

Command = TypeVar("Command", bound=Callable[..., Any])

VARIABLE = "LDA_NOTES_FHIR"
"""Environment variable that names the configuration, as `lda_notes.fhir.config.VARIABLE` has it."""

_LARGEST = 256 * 1024 * 1024


def config_option(command: Command) -> Command:
    """Add ``--config``, passed as ``config_path``; `lda_notes.fhir.config.load` turns it into the configuration."""
    return click.option(
        "--config",
        "config_path",
        type=click.Path(path_type=Path),
        envvar=VARIABLE,
        show_envvar=True,
        help="Configuration of FHIR output: identifier systems, organisation, references. Without it, example "
        "addresses that nobody owns.",
    )(command)


def bundles_argument(command: Command) -> Command:
    """Add the bundle files to read, passed as ``paths``."""
    return click.argument(
        "paths", metavar="BUNDLE...", nargs=-1, required=True, type=click.Path(path_type=Path, allow_dash=True)
    )(command)


def read_file(path: Path) -> bytes:
    """Return the bytes of a file, or of standard input for ``-``. Raises `Failure` when it cannot be read."""
    try:
        if str(path) == "-":
            return sys.stdin.buffer.read()
        if path.stat().st_size > _LARGEST:
            raise Failure(f"{path}: is too large for bundles; give them in several files")
        return path.read_bytes()
    except OSError as error:
        raise Failure(
            f"{path}: cannot be read ({error.strerror or error}); check the name and the permissions"
        ) from None


def bundle_texts(path: Path) -> Iterator[tuple[str, bytes]]:
    """Yield each bundle of a file and what to call it: one JSON, or NDJSON with one bundle to a row."""
    data = read_file(path)
    rows = [row for row in data.splitlines() if row.strip()]
    if len(rows) > 1 and all(row.lstrip().startswith(b"{") and row.rstrip().endswith(b"}") for row in rows):
        for number, row in enumerate(rows, start=1):
            yield f"{path}, row {number}", row
    else:
        yield str(path), data
