"""Where a sheet goes and in which format: the same rules for every command that writes one."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import Final

import click

from lda_notes.documents.render import SUFFIXES

_ENDINGS: Final = {
    "text": ".txt", "md": ".md", "html": ".html", "docx": ".docx", "pdf": ".pdf", "json": ".json", "csv": ".csv",
}  # fmt: skip
_WIDEST: Final = 100


def target(
    form: str | None, out: Path | None, name: str, formats: tuple[str, ...], default: str = "text"
) -> tuple[str, Path | None]:
    """Return the format and the file to write, None for standard output; ``name`` is what is written into a folder.

    The format is the one asked for, else that of the file's ending, else ``default``.
    """
    into_folder = out is not None and out.is_dir()
    known = {**SUFFIXES, ".json": "json", ".csv": "csv"}
    ending = known.get(out.suffix.lower()) if out is not None and not into_folder else None
    if out is not None and not into_folder and form is None and ending not in formats:
        endings = ", ".join(suffix for suffix, meant in known.items() if meant in formats)
        raise click.UsageError(f"--out {out} does not end in one of {endings}; give --format as well.")
    chosen = form or ending or default
    if chosen in ("docx", "pdf") and out is None and sys.stdout.isatty():
        raise click.UsageError(f"A {chosen} file cannot be shown on a terminal; give --out.")
    if out is not None and into_folder:
        return chosen, out / f"{name}{_ENDINGS[chosen]}"
    return chosen, out


def width(to: Path | None) -> int:
    """Return how wide text may be: the terminal's width, at most 100, or 80 where there is none."""
    if to is None and sys.stdout.isatty():
        return min(_WIDEST, shutil.get_terminal_size((80, 24)).columns)
    return 80


def write(data: bytes, to: Path | None) -> None:
    """Write to a file readable by its owner alone, and say so, or to standard output."""
    if to is None:
        click.echo(data, nl=False)
        return
    from lda_notes.files.output import write_private

    write_private(to, data)
    click.echo(f"Written: {to}", err=True)
