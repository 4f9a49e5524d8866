"""Where a sheet goes and in which format: the same rules for every command that writes one."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import click

from lda_notes.commands.options import OVERWRITE
from lda_notes.commands.printing import say
from lda_notes.documents.render import SUFFIXES
from lda_notes.problems import Failure

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


def refuse_to_destroy(to: Path, data: bytes | None = None) -> None:
    """Raise `Failure` when writing to ``to`` would destroy an input of the running command, a record or a bundle.

    Every path that the command was given, but ``--out`` itself, is an input.
    """
    from lda_notes.files import output
    from lda_notes.knowledge.policy_file import NAME as POLICY_NAME  # here, since what prints has no use for it

    context = click.get_current_context()
    given = [value for name, value in context.params.items() if name != "out"]
    paths = [one for value in given for one in (value if isinstance(value, tuple) else (value,))]
    if to.name == POLICY_NAME:
        raise Failure(f"{to}: is the name of a facility policy; give another name to --out")
    inputs = [one for one in paths if isinstance(one, Path)]
    output.refuse_to_destroy(to, inputs, bool(context.meta.get(OVERWRITE)), data)


def write(data: bytes, to: Path | None) -> None:
    """Write to a file readable by its owner alone, and say so, or to standard output."""
    if to is None:
        say(data, nl=False)
        return
    write_all([(to, data)])
    say(f"Written: {to}", err=True)


def write_all(files: Sequence[tuple[Path, bytes]]) -> None:
    """Write every file, readable by its owner alone, or none of them when one would destroy something."""
    from lda_notes.files.output import write_private

    for to, data in files:
        refuse_to_destroy(to, data)
    for to, data in files:
        write_private(to, data)
