"""``lda-notes worksheet``: the page to take to the bedside."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import click

from lda_notes import pipeline
from lda_notes.commands import reading
from lda_notes.commands.options import (
    asof_option,
    format_option,
    out_option,
    paper_option,
    policy_option,
    records_argument,
)
from lda_notes.commands.printing import say
from lda_notes.commands.writing import target, width, write
from lda_notes.documents.blocks import Alert, Sheet
from lda_notes.documents.handoff.view import View
from lda_notes.documents.render import Paper
from lda_notes.documents.wording import Wording
from lda_notes.documents.worksheet.page import sheet
from lda_notes.documents.worksheet.supplies import Work
from lda_notes.documents.worksheet.unit import due_sheet, unit_sheet
from lda_notes.knowledge import policy_file
from lda_notes.knowledge.policy import Policy
from lda_notes.line import due
from lda_notes.line.shifts import shift_of
from lda_notes.line.timeline import Timeline
from lda_notes.narrative import phrasing
from lda_notes.narrative.sentences import Paragraph, Sentence
from lda_notes.problems import Failure
from lda_notes.record.reading import Record

FORMATS = ("text", "md", "docx", "html", "pdf")
WORK: Final[dict[str, Work]] = {
    "access": "access",
    "deaccess": "de-access",
    "dressing": "dressing change",
    "flush": "flush",
    "arrival": "arrival accessed",
    "look": "patency check",
    "check": "line check",
}


@click.command()
@records_argument
@click.option("--for", "work", type=click.Choice(tuple(WORK)), help="What is to be done.")
@click.option("--due", "all_due", is_flag=True, help="Everything due this shift, for every record given.")
@click.option("--septum", help="Which septum of a port with two. Default: the first.")
@format_option(*FORMATS)
@paper_option
@out_option
@asof_option
@policy_option
def command(
    paths: tuple[Path, ...],
    work: str | None,
    all_due: bool,
    septum: str | None,
    form: str | None,
    paper: Paper,
    out: Path | None,
    asof: datetime,
    policy_path: Path | None,
) -> None:
    """Write the worksheet for an access, a de-access, a dressing change, a flush, an arrival or a look.

    It shows what is known and what to gather, and has a blank for each fact that the check will ask for, in the order
    of the work, with the cautions where they apply. `--for check` writes one page for all patients given; `--due`
    writes that page and a worksheet for everything that falls due before the shift ends. Other stays of the same
    patient and port in the same folder are read too. Exit code 2 if a record could not be read, 1 if part of one could
    not; the worksheet then names it.

    Example: lda-notes worksheet episode.yaml --for access --out worksheet.docx
    """
    if (work is None) == (not all_due):
        raise click.UsageError("Give --for with what is going to be done, or --due for all that is due this shift.")
    chosen, to = target(form, out, "worksheet", FORMATS)
    policy = policy_file.in_force(policy_path, paths)
    read = reading.for_sheets(paths)
    if not read.given:
        raise Failure("\n".join(f"no worksheet can be written: {words}" for words in read.missing))
    starts = {record.file: pipeline.begins(record) for record in read.given}
    of_unit = work in (None, "check")
    later = {file for file, since in starts.items() if of_unit and since is not None and since > asof}
    begun = [pipeline.upto(record, asof) for record in read.given if record.file not in later]
    views = _views(begun, read, policy, asof)
    if not of_unit and len(views) > 1:
        raise click.UsageError(f"--for {work} is about one record; give one file.")
    partly = list(filter(None, map(reading.unread, begun)))
    notices = [*(f"Not on the worksheets: {words}" for words in read.missing), *partly]
    made = _made(views, None if all_due or work is None else WORK[work], septum)
    made = replace(made, blocks=(*(Alert("caution", words) for words in notices), *made.blocks))
    if later:
        said = f"Stay begins later, left out: {phrasing.count(len(later), 'record')}."
        made = replace(made, blocks=(Paragraph((Sentence(said),)), *made.blocks))
    from lda_notes.documents.render import render

    write(render(made, chosen, width(to), paper), to)  # type: ignore[arg-type]  # click lets no other through
    for words in notices:
        say(words, err=True)
    if read.lost:
        raise click.exceptions.Exit(2)
    if partly or any(view.timeline.unread for view in views):
        raise click.exceptions.Exit(1)


def _made(views: list[View], work: Work | None, septum: str | None) -> Sheet:
    if work is None:
        return due_sheet(views)
    if work == "line check":
        return unit_sheet(views)
    return sheet(views[0], work, _septum(views[0].timeline, septum))


def _views(begun: list[Record], read: reading.Read, policy: Policy, asof: datetime) -> list[View]:
    """Return a view of each line: of one patient and one port, so that a hold goes along from stay to stay."""
    judged = pipeline.judge_given(begun, read.others, policy, asof)
    lines = {id(one.line): one.line for one in judged if one.line is not None}
    return sorted((_view(line.timeline, policy, asof) for line in lines.values()), key=_place)


def _place(view: View) -> tuple[str, int, str]:
    stay = view.timeline.unit_at(view.asof)
    room = (stay.room or "") if stay else ""
    digits = "".join(sign for sign in room if sign in "0123456789")
    return (stay.unit if stay else "", int(digits[:9]) if digits else 0, room)


def _view(timeline: Timeline, policy: Policy, asof: datetime) -> View:
    zone = due.zone_of(timeline)
    try:
        shift = shift_of(asof, policy, zone)
        due.end_of(asof, "idle_flush_days", policy, zone)
    except OverflowError:
        raise Failure("the moment judged from is at the end of the calendar; give another --asof") from None
    words = Wording(zone, asof, timeline.unread)
    return View(timeline.as_known(), policy, words, asof.astimezone(UTC), shift.end)


def _septum(timeline: Timeline, asked: str | None) -> str:
    septa = timeline.episode.port.septa
    if asked is None:
        return septa[0]
    if asked not in septa:
        raise click.UsageError(f"The port has no septum {asked}; it has {' and '.join(septa)}.")
    return asked
