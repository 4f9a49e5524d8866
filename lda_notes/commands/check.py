"""``lda-notes check``: every fault of every record, with its place, its reason and what to do."""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import click

from lda_notes import pipeline
from lda_notes.check import report
from lda_notes.check.report import Checked
from lda_notes.commands.options import asof_option, out_option, policy_option
from lda_notes.commands.printing import say
from lda_notes.commands.streaming import Streaming, rows_argument, rows_of, stream, streaming_options
from lda_notes.knowledge import policy_file
from lda_notes.knowledge.policy import Policy
from lda_notes.problems import STOPPING, Failure
from lda_notes.record import reading as records
from lda_notes.record.reading import SUFFIXES, Record
from lda_notes.stream.garbage import rare_collection


@click.command()
@rows_argument
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    help="Text, or JSON in a versioned layout. Default: text; for NDJSON, a row of JSON for each row.",
)
@click.option(
    "--seal",
    "seals",
    multiple=True,
    metavar="ENTRY:DIGEST",
    help="The seal on a printed note: report whether this entry is in the record as printed. For one record.",
)
@streaming_options
@out_option
@asof_option
@policy_option
def command(
    paths: tuple[Path, ...],
    form: str | None,
    seals: tuple[str, ...],
    how: Streaming,
    out: Path | None,
    asof: datetime,
    policy_path: Path | None,
) -> None:
    """Report what is missing, contradictory or unsafe in records.

    Reads every FILE, and every record directly in each DIR. Each finding names file, row and column, its severity
    (unsafe, wrong, gap, advice), the rule, what was found and expected, what to do, and the source. Records of one
    patient and one port are one line, including those in the same folders: a hold from an earlier stay still applies.

    A file that ends in .ndjson or .jsonl (also .gz or .zst), or - for standard input, contains one record per row.
    Records are checked one at a time, each on its own, however long the file, with one row of JSON for each. Among the
    records of a folder it is named and left out, with exit code 2: check it in a separate run.

    Exits with 0 if nothing but advice was found, 1 if something was, 2 if a file could not be read.

    Example: lda-notes check episode.yaml
    """
    policy = policy_file.in_force(policy_path, [path for path in paths if path.exists()])
    rows = rows_of(paths, how, naming=True)
    if rows:
        from lda_notes.stream.tasks import Check, Rules

        stream(rows, Check(Rules.of(policy), asof, (_width() if form == "text" else 0)), how, out)
    with rare_collection():
        code = _report(paths, policy, asof, form, seals, out)
    sys.exit(code)


def _report(
    paths: tuple[Path, ...], policy: Policy, asof: datetime, form: str | None, seals: tuple[str, ...], out: Path | None
) -> int:
    """Check the files, write what was found, and return the exit code."""
    files = _checked(list(dict.fromkeys(_files(paths))), policy, asof)
    beside = list(pipeline.passed_over(paths))
    files += [report.Checked(str(one.path), None, str(one)) for one in beside if one.lost]
    for one in beside:
        if not one.lost:
            say(f"Not checked: {report.visible(str(one))}", err=True)
    if seals:
        files = [_with_prints(files, seals)]
    if form == "json":
        text = json.dumps(report.as_json(files, asof, policy), indent=2, ensure_ascii=False) + "\n"
    else:
        text = report.text(files, 80 if out else _width(), _color() and out is None)
    if out is None:
        say(text, nl=False, styled=_color())
    else:
        from lda_notes.commands.writing import write_all

        write_all([(out, text.encode("utf-8", "replace"))])
    for file in files:
        if file.error is not None:
            say(f"lda-notes: {report.visible(file.error)}", err=True)
    say(report.summary(files), err=True)
    from lda_notes.chart.terminal import drafts

    for row in drafts.reminders(os.environ, (Path(one.judged.record.file) for one in files if one.judged is not None)):
        say(report.visible(row), err=True)
    return _code(files)


def _files(paths: tuple[Path, ...]) -> Iterator[Path]:
    """Yield the files to check; a folder that cannot be listed, or contains no record, stands for itself."""
    for path in paths:
        try:
            found = list(pipeline.record_files((path,)))
        except OSError:
            found = []
        yield from found or [path]


def _checked(paths: list[Path], policy: Policy, asof: datetime) -> list[Checked]:
    """Return each file with what is found in its record, by itself and beside the others."""
    read = [_read(path) for path in paths]
    given = [record for record in read if isinstance(record, Record)]
    beside = pipeline.beside(given, paths)
    for words in beside.unreadable:
        say(f"May be an earlier stay of a patient, and was not looked at: {report.visible(words)}", err=True)
    judged = iter(pipeline.compare(pipeline.judge_given(given, beside.records, policy, asof)))
    return [
        Checked(str(path), None, found) if isinstance(found, str) else Checked(str(path), next(judged))
        for path, found in zip(paths, read, strict=True)
    ]


def _read(path: Path) -> Record | str:
    """Return the record, or in a sentence why it cannot be opened."""
    try:
        if path.is_dir():
            raise Failure(f"{path}: contains no record; records end in {', '.join(SUFFIXES)}")
        return records.read(path)
    except Failure as failure:
        return str(failure)


def _with_prints(files: list[Checked], seals: tuple[str, ...]) -> Checked:
    """Return the one record that was checked, with what the seals of its prints find. Raises `Failure` for more."""
    from lda_notes.record.seals import Sealed, unknown

    judged = files[0].judged
    if len(files) > 1 or judged is None or not isinstance(judged.record.data, dict):
        raise Failure("--seal is about one record that can be read; name one file")
    printed = []
    for seal in seals:
        entry, _, digits = seal.partition(":")
        digest = "".join(digits.split()).lower()
        if not entry or len(digest) != 64 or set(digest) - set("0123456789abcdef"):
            raise click.UsageError(f"--seal {seal}: is not an entry, a colon and the 64 digits that are printed.")
        printed.append(Sealed(entry, digest))
    found = [unknown(judged.record.data, one) for one in printed]
    more = [judged.record.placed_in_file(finding) for finding in found if finding is not None]
    return files[0]._replace(judged=judged._replace(findings=(*judged.findings, *more)))


def _code(files: list[Checked]) -> int:
    if not all(file.readable for file in files):
        return 2
    return 1 if any(finding.severity in STOPPING for file in files for finding in file.findings) else 0


def _width() -> int:
    """Return the width of the terminal; 80 where there is none."""
    return shutil.get_terminal_size((80, 24)).columns if sys.stdout.isatty() else 80


def _color() -> bool:
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
