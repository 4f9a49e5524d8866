"""``lda-notes worksheet``: the page to take to the bedside."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Final, get_args

import click

from lda_notes import pipeline
from lda_notes.commands.options import asof_option, out_option, policy_option
from lda_notes.commands.printing import say
from lda_notes.commands.reading import unread, why_unreadable
from lda_notes.commands.writing import target, width, write
from lda_notes.documents.handoff.line import View
from lda_notes.documents.render import Paper
from lda_notes.documents.wording import Wording
from lda_notes.documents.worksheet.page import Work, sheet
from lda_notes.knowledge import policy_file
from lda_notes.knowledge.policy import Policy
from lda_notes.line import due
from lda_notes.line.timeline import Timeline
from lda_notes.problems import Failure
from lda_notes.record import reading as records

FORMATS = ("text", "md", "docx", "html", "pdf")
WORK: Final[dict[str, Work]] = {"access": "access", "deaccess": "de-access", "dressing": "dressing change"}


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--for", "work", type=click.Choice(tuple(WORK)), required=True, help="What is going to be done.")
@click.option("--septum", help="Which septum of a port with two; else the first.")
@click.option("--format", "form", type=click.Choice(FORMATS), help="Without it the ending of --out decides, else text.")
@click.option(
    "--paper", type=click.Choice(get_args(Paper)), default="a4", show_default=True, help="Of docx, html and pdf."
)
@out_option
@asof_option
@policy_option
def command(
    file: Path,
    work: str,
    septum: str | None,
    form: str | None,
    paper: Paper,
    out: Path | None,
    asof: datetime,
    policy_path: Path | None,
) -> None:
    """Write the worksheet for an access, a de-access or a dressing change.

    It tells what is known, what to gather, and has a blank for each fact that the check will ask for, in the order of
    the work, with the cautions where they apply.

    Example: lda-notes worksheet episode.yaml --for access --out worksheet.docx
    """
    chosen, to = target(form, out, "worksheet", FORMATS)
    policy = policy_file.in_force(policy_path, (file,))
    judged = pipeline.judge(pipeline.upto(records.read(file), asof), policy, asof)
    timeline = judged.timeline
    if timeline is None:
        raise Failure(f"no worksheet can be written: {why_unreadable(judged.record)}")
    left_out = unread(judged.record)
    if left_out:
        say(left_out, err=True)
    found = sheet(_view(timeline, policy, asof), WORK[work], _septum(timeline, septum))
    from lda_notes.documents.render import render

    write(render(found, chosen, width(to), paper), to)  # type: ignore[arg-type]


def _view(timeline: Timeline, policy: Policy, asof: datetime) -> View:
    moment = asof.astimezone(UTC)
    try:
        end = moment + policy.span("shift_hours")
        due.end_of(asof, "idle_flush_days", policy, due.zone_of(timeline))
    except OverflowError:
        raise Failure("the moment judged from is at the end of the calendar; give another --asof") from None
    return View(timeline, policy, Wording(due.zone_of(timeline), asof), moment, end)


def _septum(timeline: Timeline, asked: str | None) -> str:
    septa = timeline.episode.port.septa
    if asked is None:
        return septa[0]
    if asked not in septa:
        raise click.UsageError(f"The port has no septum {asked}; it has {' and '.join(septa)}.")
    return asked
