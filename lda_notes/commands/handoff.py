"""``lda-notes handoff``: what the next nurse needs, computed from the records."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import click

from lda_notes import pipeline
from lda_notes.commands import reading
from lda_notes.commands.options import asof_option, hours_option, moment, out_option, policy_option, records_argument
from lda_notes.commands.writing import target, width, write
from lda_notes.documents.handoff.page import Handoff, Source, handoff, sheet
from lda_notes.knowledge import policy_file
from lda_notes.knowledge.policy import Policy
from lda_notes.problems import Failure
from lda_notes.record import reading as records
from lda_notes.record.reading import Record

FORMATS = ("text", "md", "docx", "html", "pdf", "json")


@click.command()
@records_argument
@click.option(
    "--shift-end", metavar="MOMENT", callback=moment, help="End of the coming shift; else its length from now."
)
@hours_option
@asof_option
@policy_option
@click.option("--format", "form", type=click.Choice(FORMATS), help="Without it the ending of --out decides, else text.")
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="For docx, html and pdf."
)
@out_option
def command(
    paths: tuple[Path, ...],
    shift_end: datetime | None,
    hours: Decimal | None,
    asof: datetime,
    policy_path: Path | None,
    form: str | None,
    paper: str,
    out: Path | None,
) -> None:
    """Write the handoff sheet: the lines of the unit, most urgent first, then a block for each patient.

    Everything is computed from the records at the moment judged from and says when and by whom it was established.
    Due times rest on the limits in force, each with its source. Events after that moment are not told, and a patient
    whose stay begins after it is named in one row, not handed over. Exit code 2 when a record could not be read; the
    sheet then names it.

    Example: lda-notes handoff ward/ --shift-end 2031-03-05T07:00-06:00 --out handoff.docx
    """
    if shift_end is not None and shift_end <= asof:
        raise click.UsageError(f"--shift-end {shift_end.isoformat()} is not after the moment judged from.")
    chosen, to = target(form, out, "handoff", FORMATS)
    policy = policy_file.in_force(policy_path, paths)
    read: list[Record] = []
    unreadable: list[str] = []
    for path in reading.files(paths):
        try:
            record = records.read(path)
        except Failure as failure:  # one record that cannot be opened does not end the handoff of the ward
            unreadable.append(str(failure))
            continue
        if record.episode is None:
            unreadable.append(reading.why_unreadable(record))
        else:
            read.append(record)
    sources = list(_sources(read, policy, asof))
    if not sources:
        raise Failure("\n".join(["no record could be read, so there is nothing to hand over:", *unreadable]))
    try:
        found = handoff(sources, policy, asof.astimezone(UTC), hours, shift_end, unreadable)
    except OverflowError:
        raise Failure("the moment judged from is at the end of the calendar; give another --asof") from None
    write(_rendered(found, chosen, width(to), paper), to)
    for words in unreadable:
        click.echo(f"Not on the sheet: {words}", err=True)
    if unreadable:
        raise click.exceptions.Exit(2)


def _sources(read: list[Record], policy: Policy, asof: datetime) -> Iterator[Source]:
    """Yield one source for each line: its records are told together; stays that begin later stand by themselves."""
    starts = {record.file: pipeline.begins(record) for record in read}
    later = [record for record in read if (since := starts[record.file]) is not None and since > asof]
    begun = [pipeline.upto(record, asof) for record in read if record not in later]
    judged = {one.record.file: one for one in pipeline.judge_all(begun, policy, asof)}
    lines = {id(one.line): one.line for one in judged.values() if one.line is not None}
    for line in lines.values():
        last, files = line.records[-1], [record.file for record in line.records]
        yield Source(
            last.file,
            line.timeline,
            tuple(finding for file in files for finding in judged[file].findings),
            tuple(event for record in line.records for event in record.unread),
            starts[last.file],
            tuple(stay.episode.id for stay in line.stays if stay.discharge is None),
        )
    for record in later:
        one = pipeline.judge(pipeline.upto(record, asof), policy, asof)
        if one.timeline is not None:
            yield Source(record.file, one.timeline, one.findings, record.unread, starts[record.file])


def _rendered(found: Handoff, form: str, columns: int, paper: str) -> bytes:
    if form == "json":
        from lda_notes.documents.handoff.values import values

        return (json.dumps(values(found), indent=2, ensure_ascii=False) + "\n").encode()
    from lda_notes.documents.render import render

    return render(sheet(found), form, columns, paper)  # type: ignore[arg-type]
