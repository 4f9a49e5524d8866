"""``lda-notes note``: the narrative note of one or more events, to read through and sign."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import get_args

import click

from lda_notes import pipeline
from lda_notes.check.judged import Judged
from lda_notes.commands.options import asof_option, format_option, moment, out_option, paper_option, policy_option
from lda_notes.commands.printing import say
from lda_notes.commands.reading import why_unreadable
from lda_notes.commands.writing import target, write
from lda_notes.commands.writing import width as usual_width
from lda_notes.documents.blocks import Alert
from lda_notes.documents.note import page as note
from lda_notes.documents.render import Format, Paper
from lda_notes.knowledge import policy_file
from lda_notes.knowledge.policy import Policy
from lda_notes.narrative.narrator import narrator
from lda_notes.problems import Failure
from lda_notes.record import reading as records
from lda_notes.record.unread import SAID

DEFAULT_NAME = "port-note"
"""Name of a note that is written into a folder: nothing of the patient is in it."""


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--event", metavar="ID", help="The event with this identifier.")
@click.option("--last", is_flag=True, help="The last event; this is the default.")
@click.option("--since", metavar="MOMENT", callback=moment, help="Every event from this moment on.")
@click.option("--all", "every", is_flag=True, help="Every event of the file.")
@format_option(*get_args(Format))
@out_option
@click.option(
    "--width", type=click.IntRange(40, 1000), help="Width of text. Default: the terminal's, at most 100, or 80."
)
@paper_option
@click.option(
    "--templates",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Folder of templates that replace the built-in ones.",
)
@click.option("--brief", is_flag=True, help="One paragraph to paste; findings of the check go to standard error.")
@click.option("--trace", is_flag=True, help="Print each sentence with its facts, and where each is recorded.")
@asof_option
@policy_option
def command(
    file: Path,
    event: str | None,
    last: bool,
    since: datetime | None,
    every: bool,
    form: Format | None,
    out: Path | None,
    width: int | None,
    paper: Paper,
    templates: Path | None,
    brief: bool,
    trace: bool,
    asof: datetime,
    policy_path: Path | None,
) -> None:
    """Write the note for an event in words, with who charted it, ready to review and sign.

    It states only what the record says. Anything not recorded, and anything that the check finds, makes it a DRAFT and
    is listed; a line on hold is named first. Other stays of the same patient and port in the same folder are read too:
    a hold from an earlier stay still applies. Exit code 1 if part of the record, or a file that may be such a stay,
    could not be read.

    Example: lda-notes note episode.yaml --event access-1 --out note.docx
    """
    if (event is not None) + last + (since is not None) + every > 1:
        raise click.UsageError("Give only one of --event, --last, --since and --all.")
    if brief and (trace or form not in (None, "text")):
        raise click.UsageError("--brief writes plain text; it goes with neither --trace nor another --format.")
    chosen, to = target("text" if brief else form, out, DEFAULT_NAME, get_args(Format))
    policy = policy_file.in_force(policy_path, (file,))
    record = records.read(file)
    beside = pipeline.beside([record])
    judged = pipeline.judge_within(record, beside.records, policy, asof)
    for words in beside.unreadable:
        say(f"May be an earlier stay of this patient, and is not in the note: {words}", err=True)
    choice = _choice(judged, policy, event, since, every)
    if brief:
        _brief(judged, policy, choice, templates, to)
        if beside.unreadable:
            raise click.exceptions.Exit(1)
        return
    sheet = note.sheet(judged, policy, choice, narrator(templates))
    if trace:
        from lda_notes.documents.trace import trace as traced

        write(traced(sheet, judged.record.place).encode(), None)
        return
    from lda_notes.documents.render import render

    write(render(sheet, chosen, width or usual_width(to), paper), to)  # type: ignore[arg-type]  # click let no other through
    if sheet.status:
        say(f"{sheet.status}: facts are missing or findings are open; the note lists them.", err=True)
    if (
        beside.unreadable
        or judged.record.unread_events
        or any(isinstance(block, Alert) and SAID in block.text for block in sheet.blocks)
    ):
        raise click.exceptions.Exit(1)


def _choice(judged: Judged, policy: Policy, event: str | None, since: datetime | None, every: bool) -> note.Choice:
    """Return which events the note is about; raise `Failure` where the record has none of them."""
    timeline = judged.timeline
    if timeline is None:
        raise Failure(f"no note can be written: {why_unreadable(judged.record)}")
    known = note.identifiers(timeline)
    if event is not None and event not in known:
        from lda_notes.record.spelling import nearest

        close = nearest(event, known)
        unread = any(row.id == event for row in judged.record.unread_events)
        hint = "it could not be read; `lda-notes check` says why" if unread else "give one that it has"
        raise Failure(f"{judged.record.file}: has no event {event}; {f'did you mean {close}?' if close else hint}")
    choice = note.Choice(event, since, every)
    if not known or (since is not None and not note.chosen(timeline, choice, policy)):
        raise Failure(f"{judged.record.file}: has no event to write a note of" + (" since then" if since else ""))
    return choice


def _brief(judged: Judged, policy: Policy, choice: note.Choice, templates: Path | None, to: Path | None) -> None:
    """Write the paragraphs alone, and beside them, on standard error, what is not part of the chart text."""
    from lda_notes.documents.note.brief import brief
    from lda_notes.documents.render.text import plain_paragraph

    made = brief(judged, policy, choice, narrator(templates))
    write("".join(f"{plain_paragraph(row)}\n" for row in made.paragraphs).encode(), to)
    if made.beside:
        say("For the writer, not part of the note:", err=True)
    for row in made.beside:
        say(f"- {row}", err=True)
    if made.unread:
        raise click.exceptions.Exit(1)
