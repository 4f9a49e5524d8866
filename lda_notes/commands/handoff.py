"""``lda-notes handoff``: what the next nurse needs, computed from the records."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from types import MappingProxyType
from typing import Final
from zoneinfo import ZoneInfo

import click

from lda_notes import pipeline
from lda_notes.commands import reading
from lda_notes.commands.options import (
    asof_option,
    format_option,
    hours_option,
    moment,
    out_option,
    paper_option,
    policy_option,
    printed_now,
    records_argument,
)
from lda_notes.commands.printing import say, visible
from lda_notes.commands.writing import target, width, write
from lda_notes.documents.handoff.page import Handoff, Printing, Source, handoff, left_sheet, sheet
from lda_notes.documents.handoff.sources import Unsigned
from lda_notes.documents.wording import Wording
from lda_notes.knowledge import policy_file
from lda_notes.knowledge.policy import Policy
from lda_notes.problems import Failure
from lda_notes.record.reading import Record

_NO_DRAFTS: Final[Mapping[Path, tuple[Unsigned, ...]]] = MappingProxyType({})
FORMATS = ("text", "md", "docx", "html", "pdf", "json")


@click.command()
@records_argument
@click.option(
    "--shift-end",
    metavar="MOMENT",
    callback=moment,
    help="End of the coming shift. Default: one shift length from now.",
)
@click.option(
    "--since", metavar="MOMENT", callback=moment, help="The last handoff. Default: by the policy's shift_starts."
)
@hours_option
@click.option("--unit", metavar="NAME", help="Only this unit: its name, or the beginning of a word in it.")
@click.option("--room", "rooms", metavar="ROOM", multiple=True, help="Only this room; may be given several times.")
@click.option(
    "--round", "round_alone", is_flag=True, help="Page one only: the round and what is due, in order of time."
)
@click.option(
    "--left", is_flag=True, help="The patients who have left: whom to call about the port, most overdue first."
)
@click.option(
    "--sources",
    type=click.Choice(["short", "full"]),
    default="short",
    show_default=True,
    help="Where the limits come from: short names, or a table of every limit.",
)
@click.option(
    "--printed-by", metavar="NAME", default="", envvar="LDA_NOTES_BY", help="Who prints it, for the page header."
)
@asof_option
@policy_option
@format_option(*FORMATS)
@paper_option
@out_option
def command(
    paths: tuple[Path, ...],
    shift_end: datetime | None,
    since: datetime | None,
    hours: Decimal | None,
    unit: str | None,
    rooms: tuple[str, ...],
    round_alone: bool,
    left: bool,
    sources: str,
    printed_by: str,
    asof: datetime,
    policy_path: Path | None,
    form: str | None,
    paper: str,
    out: Path | None,
) -> None:
    """Write the handoff sheet: page one is the round, a row for each patient with a port, most urgent first.

    Blocks follow for patients who need more: a hold, a danger, something due other than a routine check, an open
    problem, a change since the last sheet.

    Records of one patient and one port are one line, including those in the same folders. Everything is computed from
    the records as of one time, with when and by whom it was established. Due times are based on the limits in force,
    each with its source. Events after that time are left out, and a patient whose stay begins after it is named in one
    row, not handed over. Exit code 2 if a record, or a fact in one, could not be read; the sheet then names it.

    Example: lda-notes handoff ward/ --shift-end 2031-03-05T07:00-06:00 --out handoff.docx
    """
    if shift_end is not None and shift_end <= asof:
        raise click.UsageError(f"--shift-end {shift_end.isoformat()} is not after the moment judged from.")
    if since is not None and since >= asof:
        raise click.UsageError(f"--since {since.isoformat()} is not before the moment judged from.")
    chosen, to = target(form, out, "handoff", FORMATS)
    policy = policy_file.in_force(policy_path, paths)
    found_in = reading.for_sheets(paths)
    read = list(_sources([*found_in.given, *found_in.others], policy, asof, _unsigned()))
    missing = tuple(map(visible, found_in.missing))  # names of files are any bytes, and stand on the sheet
    if not read:
        raise Failure("\n".join(["no record could be read, so there is nothing to hand over:", *missing]))
    try:
        found = handoff(read, policy, asof.astimezone(UTC), hours, shift_end, missing, unit, rooms, since)
    except OverflowError:
        raise Failure("the moment judged from is at the end of the calendar; give another --asof") from None
    if (unit or rooms) and not found.patients:
        raise click.UsageError(
            f"No record has that unit or room, as it is written there. Units and rooms: {_places(read)}."
        )
    printing = Printing(printed_now(), " ".join(printed_by.split()), round_alone, sources == "full")
    write(_rendered(found, printing, left, chosen, width(to), paper), to)
    for words in missing:
        say(f"Not on the sheet: {words}", err=True)
    from lda_notes.chart.terminal import drafts

    for words in drafts.reminders(os.environ, (Path(record.file) for record in found_in.given)):
        say(words, err=True)
    if found_in.lost or any(patient.unread for patient in found.patients):
        raise click.exceptions.Exit(2)


def _unsigned() -> dict[Path, tuple[Unsigned, ...]]:
    """Return what was begun on this login and not signed, by record, without what it says."""
    from lda_notes.chart.terminal import drafts

    begun = drafts.unsigned(os.environ)
    return {path: tuple(Unsigned(one.about, one.began, one.by) for one in kept) for path, kept in begun.items()}


def _sources(
    read: list[Record], policy: Policy, asof: datetime, drafts: Mapping[Path, tuple[Unsigned, ...]] = _NO_DRAFTS
) -> Iterator[Source]:
    """Yield one source for each line: its records are said together; stays that begin later stand by themselves."""
    starts = {record.file: pipeline.begins(record) for record in read}
    later = [record for record in read if (since := starts[record.file]) is not None and since > asof]
    begun = [pipeline.upto(record, asof) for record in read if record not in later]

    def printed(moment: datetime, zone: ZoneInfo) -> str:
        return Wording(zone, asof).when(moment)  # findings name moments as the sheet does

    judged = {one.record.file: one for one in pipeline.judge_all(begun, policy, asof, printed)}
    lines = {id(one.line): one.line for one in judged.values() if one.line is not None}
    for line in lines.values():
        last, files = line.records[-1], [record.file for record in line.records]
        yield Source(
            last.file,
            line.timeline,
            tuple(finding for file in files for finding in judged[file].findings),
            tuple(event for record in line.records for event in record.unread_events),
            starts[last.file],
            tuple(fact for record in line.records for fact in record.unread_facts),
            tuple(stay.episode.id for stay in line.stays if stay.discharge is None),
            tuple(one for file in files for one in drafts.get(Path(file).resolve(), ())),
        )
    for record in later:
        one = pipeline.judge(pipeline.upto(record, asof), policy, asof)
        if one.timeline is not None:
            yield Source(record.file, one.timeline, one.findings, record.unread_events, starts[record.file])


def _places(read: list[Source]) -> str:
    stays = {(stay.unit, stay.room or "no room") for source in read for stay in source.timeline.units[-1:]}
    return "; ".join(f"{unit}, {room}" for unit, room in sorted(stays))


def _rendered(found: Handoff, printing: Printing, left: bool, form: str, columns: int, paper: str) -> bytes:
    if form == "json":
        from lda_notes.documents.handoff.values import values

        text = json.dumps(values(found), indent=2, ensure_ascii=False)
        return f"{text}\n".encode(errors="backslashreplace")  # names of files are any bytes
    from lda_notes.documents.render import render

    return render(left_sheet(found, printing) if left else sheet(found, printing), form, columns, paper)  # type: ignore[arg-type]  # click lets no other through
