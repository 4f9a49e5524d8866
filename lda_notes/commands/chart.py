"""``lda-notes chart``: asks for the facts of an event, a visit or a round in the order of the work, and adds them."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import click

from lda_notes import pipeline
from lda_notes.commands import charting_options as clocks
from lda_notes.commands.charting_options import (
    author,
    by_option,
    charting_options,
    clock,
    given,
    judged_from,
    said_author,
)
from lda_notes.commands.options import asof_option, policy_option
from lda_notes.commands.printing import say
from lda_notes.knowledge import policy_file
from lda_notes.problems import Failure
from lda_notes.record import reading as records
from lda_notes.record.events import KINDS

_VISIT: Final = "visit"

_KINDS: Final = {kind.command: tag for tag, kind in KINDS.items() if kind.command}
"""Kinds as they are typed, in the order of the work."""


@dataclass(frozen=True, slots=True)
class Given:
    """What was given to the command beside the record and the kind."""

    author: Mapping[str, Any]
    answers: Mapping[str, str]
    asks: bool
    sign: str | None
    now: Callable[[], datetime]
    asof: datetime
    policy: Path | None


@click.command()
@click.argument("episode", type=click.Path(exists=True, path_type=Path))
@click.argument("kind", metavar="KIND", type=click.Choice([_VISIT, *_KINDS]), required=False)
@click.option("--at", metavar="TIME", help="When it was, as it would be typed: 0940, -15m, 'yesterday 2210'.")
@by_option
@charting_options
@asof_option
@policy_option
def command(
    episode: Path,
    kind: str | None,
    at: str | None,
    by: str | None,
    pairs: tuple[str, ...],
    answers: Path | None,
    no_input: bool,
    sign: str | None,
    asof: datetime,
    policy_path: Path | None,
) -> None:
    """Chart an event, a whole visit, or the round of a unit: one question after the other, signed at the end.

    Nothing is written before you sign. What you said is kept as a private draft if you stop with Ctrl-C or the
    connection is lost; the next run offers to go on with it.

    With a folder: the unit, who is due for what in order of time. Pick a patient, chart, and come back to the list.

    \b
    Kinds: visit (needle in, flush, needle out), access, arrival (with a needle
    in), deaccess, dressing, check (the look at each shift), flush, use,
    treatment (thrombolytic), patency (look at it), evaluation, transfer,
    discharge, implanted, removed, dislodged, extravasation, patient (allergies,
    weight, room), port, elsewhere (flushed elsewhere)

    \b
    At any question:  ?  explains it      <  goes back
                      -  and a reason: not assessed, or not done
                      .  leaves it open   +  adds a fact, such as + remarks

    Example: lda-notes chart episode.yaml access --by "Marisol Tamm, RN, LBN-204"
    """
    said = Given(author(by), given(pairs, answers, at), not no_input, sign, clock(asof), asof, policy_path)
    if not episode.is_dir():
        if kind is None:
            raise click.UsageError("Missing argument 'KIND': what is charted, such as check, access or visit.")
        _chart(episode, kind, said)
    elif no_input or sign or said.answers:
        raise click.UsageError("A round asks at the terminal: --set, --answers, --sign and --no-input need a record.")
    else:
        _round(episode, kind, said)


def _chart(episode: Path, kind: str, said: Given) -> None:
    from lda_notes.chart import display, kits, opening
    from lda_notes.chart.subject import EventSubject, next_id
    from lda_notes.chart.visit import IN, Visit
    from lda_notes.commands.charting import Desk
    from lda_notes.commands.console import plain
    from lda_notes.record.writer import Again, Changed, Written, append, look, refuse_unless_writable

    policy = policy_file.in_force(said.policy, (episode,))
    seen = look(episode)
    refuse_unless_writable(episode)
    standing = seen.record.episode
    assert standing is not None
    tag = _KINDS.get(kind, kind)
    mine = kits.load(kits.place(os.environ)) if said.asks else {}
    subject: EventSubject | Visit
    if kind == _VISIT:
        subject = Visit(standing, policy, said.now, said.author, clocks.wall_clock, mine)
        scene = subject.step(IN, {}).scene({})
    else:
        subject = EventSubject(
            standing, tag, next_id(standing, tag), policy, said.now, said.author, clocks.wall_clock, mine
        )  # fmt: skip
        scene = subject.scene({})
    desk = Desk(tag, episode, said.now, dict(said.answers), said.asks, said.sign)
    for row in opening.rows(tag, seen.record, scene.line, said.now(), said_author(said.author)):
        desk.show("\n".join(display.rows(row, "  ", "")))

    def write(event: dict[str, Any], again: Again | None) -> Written | Changed:
        nonlocal seen
        done = append(seen, event, again, judged_from(said.asof))
        seen = done.seen
        return done

    done = desk.run(subject, write)
    if done is not None:
        say(plain(f"{subject.entry_id}: written to {episode}; the state before is {done.copy.name}"))
        for note in done.notes:
            say(plain(note), err=True)


def _round(folder: Path, kind: str | None, said: Given) -> None:
    """Show the unit, chart what is picked, and come back to it until the nurse leaves."""
    from lda_notes.chart import drafts, unit
    from lda_notes.chart.heard import Unclear
    from lda_notes.commands.console import Terminal, plain

    terminal = Terminal()
    done: frozenset[Path] = frozenset()
    while True:
        policy = policy_file.in_force(said.policy, (folder,))
        read = [records.read(path) for path in pipeline.record_files((folder,))]
        begun = {path.resolve(): drafts.unsigned(os.environ, path) for path in pipeline.record_files((folder,))}
        judged = pipeline.judge_all(read, policy, said.now())
        beds = unit.beds(judged, policy, said.now(), begun)
        for record in read:
            if record.episode is None:
                terminal.show(plain(f"?? {record.file} cannot be read and is not on this list: run a check."))
        terminal.show(unit.page(beds, kind, done))
        picked: tuple[unit.Bed, str] | Unclear = Unclear("")
        while isinstance(picked, Unclear):
            text = terminal.ask()
            if text is None or text.strip().casefold() in ("q", "."):
                return
            picked = unit.pick(text, beds, done, kind)
            if isinstance(picked, Unclear):
                terminal.show(f"?? {picked.sentence}")
        bed, word = picked
        word = word or kind or unit.usual(bed)
        if word not in (_VISIT, *_KINDS):
            terminal.show(f"?? {word} cannot be charted here. Type one of: {', '.join((_VISIT, *_KINDS))}.")
            continue
        try:
            _chart(bed.file, word, said)
            done |= {bed.file}
        except click.exceptions.Exit:
            return
        except Failure as failure:
            terminal.show(plain(f"?? {failure}."))
