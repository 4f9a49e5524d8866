"""Common parts of the commands that read rows of NDJSON: their options, where output goes, how a run ends."""

from __future__ import annotations

import re
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING

import click

from lda_notes.commands.options import together
from lda_notes.commands.printing import rows_out, say, visible
from lda_notes.problems import SEVERITIES, STOPPING, Failure

if TYPE_CHECKING:
    from lda_notes.stream.run import Result
    from lda_notes.stream.tasks import Task


@dataclass(frozen=True, slots=True)
class Streaming:
    """How rows are worked on: in how many processes, from which row on, on which cluster."""

    workers: int
    from_row: int
    dask: str | None

    @property
    def asked(self) -> bool:
        """Return whether any of the options was given."""
        return self != Streaming(1, 1, None)


streaming_options = together(
    "how",
    Streaming,
    click.option(
        "--dask",
        metavar="ADDRESS",
        help="NDJSON: run on the Dask cluster at this address and write to the folder --out.",
    ),
    click.option(
        "--from-line",
        "from_row",
        type=click.IntRange(1),
        default=1,
        metavar="ROW",
        help="NDJSON: start at this row of the first file, after a run that was stopped.",
    ),
    click.option(
        "--workers",
        type=click.IntRange(1, 256),
        default=1,
        show_default=True,
        help="NDJSON: run in this many processes; the output is the same.",
    ),
)
"""``--workers``, ``--from-line`` and ``--dask``, for records in NDJSON, passed together as ``how``."""

rows_argument = click.argument(
    "paths", metavar="FILE|DIR...", nargs=-1, required=True, type=click.Path(path_type=Path, allow_dash=True)
)
"""Records to read, in files or folders, or rows of NDJSON, also from standard input; passed as ``paths``."""


def rows_of(paths: tuple[Path, ...], how: Streaming, naming: bool = False) -> list[Path]:
    """Return the NDJSON files among ``paths``; empty when they are records in files of their own.

    ``naming``: the command names the NDJSON that it leaves out beside records of a folder.
    """
    from lda_notes.stream.names import row_files

    found = row_files(paths, naming)
    if how.asked and not found:
        raise click.UsageError("--workers, --from-line and --dask are for NDJSON: files that end in .ndjson or .jsonl.")
    return found


def stream(files: list[Path], task: Task, how: Streaming, out: Path | None) -> None:
    """Do ``task`` for every row, say what came of it, and end the program with its exit code."""
    if how.dask is not None:
        from lda_notes.stream.cluster import on_cluster

        if out is None:
            raise click.UsageError("--dask writes parts into a folder; name it with --out.")
        _refuse_on_cluster(files, how, out)
        parts, done, said = on_cluster([_address(path) for path in files], task, how.dask, _address(out))
        say(said, nl=False, err=True)
        say(f"{parts} parts in {out}.", err=True)
        say(summary(done.counts), err=True)
        sys.exit(code(done.counts))
    result = _run(files, task, how, out)
    say(summary(result.counts), err=True)
    if result.stopped:
        say(f"{result.why} {how_to_go_on(result, files)}".strip(), err=True)
        sys.exit(2 if result.why else 130)
    sys.exit(code(result.counts))


def _refuse_on_cluster(files: list[Path], how: Streaming, out: Path) -> None:
    """Refuse what a run on a cluster would ignore or could not do."""
    from lda_notes.stream.names import STANDARD_INPUT

    if (how.workers, how.from_row) != (1, 1):
        raise click.UsageError(
            "--workers and --from-line are for one machine; on a cluster its workers count, and a run that broke off "
            "is started again into a new folder."
        )
    if STANDARD_INPUT in files:
        raise click.UsageError("--dask cannot read standard input; name files that all machines of the cluster see.")
    if out.is_file():
        raise click.UsageError(f"--dask writes parts into a folder, and {out} is a file; give another name to --out.")


def how_to_go_on(result: Result, files: list[Path]) -> str:
    """Return where a stopped run ended and how to go on; ``--from-line`` counts in the first file that is given."""
    at = [str(path) for path in files].index(result.at)
    if at == 0 and result.next_row == 1:
        return "Stopped before a row was written; begin again."
    done = f"Leave out the files before it ({at:,}), they are done. " if at else ""
    return (
        f"Stopped: every row of {result.at} before row {result.next_row} is written whole. {done}"
        f"Go on with --from-line {result.next_row}, into another file, and join the two."
    )


def _address(path: Path) -> str:
    """Return a path as it was given: a path has but one slash where an address such as s3://bucket/name has two."""
    return re.sub(r"^([a-z][a-z0-9+.-]+):/(?!/)", r"\1://", str(path))


def _run(files: list[Path], task: Task, how: Streaming, out: Path | None) -> Result:
    from lda_notes.stream.progress import Progress, total_size
    from lda_notes.stream.run import Ends, run

    shown = sys.stderr.isatty()

    def told(text: str) -> None:
        say(f"\r\033[K{visible(text)}" if shown else text, nl=False, err=True, styled=shown)

    progress = Progress(told, time.monotonic, total_size(files)) if shown else None
    with _opened(out) as file:
        ends = Ends(file, told, progress)
        try:
            return run(files, task, ends, how.from_row, how.workers)
        finally:
            if shown:
                told("")


@contextmanager
def _opened(out: Path | None) -> Iterator[IO[bytes]]:
    """Yield standard output, or a new private file that takes the place of ``out`` when all is written.

    A run that was stopped keeps its whole rows; one that failed leaves nothing.
    """
    if out is None:
        try:
            yield rows_out()
        except BrokenPipeError:
            raise
        except OSError as error:
            why = f"standard output: cannot be written ({error.strerror or error})"
            raise Failure(f"{why}; its last row may be cut off, so make room and run it again from the start") from None
        return
    from lda_notes.commands.writing import refuse_to_destroy
    from lda_notes.files.output import opened

    refuse_to_destroy(out)
    with opened(out) as file:
        yield file
    say(f"Written: {out}", err=True)


_NOUNS: dict[str, str] = {
    "events": "event",
    "bundles": "bundle",
    "resources": "resource",
    "days": "day",
    "faults": "fault",
    **{str(severity): "" for severity in SEVERITIES},
}


def summary(counts: dict[str, int]) -> str:
    """Return one sentence on a stream: rows, what was made of them, what was found."""
    said = [_counted(counts.get("rows", 0), "row")]
    for name, noun in _NOUNS.items():
        number = counts.get(name, 0)
        if number or (name == "faults" and name in counts):
            said.append(_counted(number, noun) if noun else f"{number:,} {name}")
    if counts.get("in part"):
        said.append(f"{_counted(counts['in part'], 'row')} read in part")
    if counts.get("unreadable"):
        said.append(f"{_counted(counts['unreadable'], 'row')} could not be read")
    return ", ".join(said) + "."


def _counted(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def code(counts: dict[str, int]) -> int:
    """Return the exit code: 2 when a row could not be read, 1 when one was read in part or has findings, else 0."""
    if counts.get("unreadable"):
        return 2
    return int(any(counts.get(name) for name in (*STOPPING, "faults", "in part")))
