"""``lda-notes chart``: asks for the facts of an event, a visit or a round in the order of the work, and adds them."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from lda_notes import pipeline
from lda_notes.commands.charting_options import (
    author,
    by_option,
    charting_options,
    clock,
    given,
    judged_from,
)
from lda_notes.commands.options import asof_option, policy_option
from lda_notes.knowledge import policy_file
from lda_notes.problems import Failure
from lda_notes.record import reading as records
from lda_notes.record.events import KINDS
from lda_notes.record.spelling import nearest
from lda_notes.record.synonyms import MEANS_KIND

if TYPE_CHECKING:
    from lda_notes.commands.charting import Means

_KINDS: Final = {kind.command: tag for tag, kind in KINDS.items() if kind.command}
"""Kinds as they are typed, in the order of the work."""

_TAGS: Final = {"visit": "visit", **_KINDS}
"""The same with a whole visit."""


class _Kind(click.Choice[str]):
    """A kind of entry, also by what nurses call it."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        said = _typed(str(value))
        if said not in self.choices:
            close = nearest(said, self.choices)
            hint = f"Did you mean {close}?" if close else "`lda-notes chart --help` lists the kinds."
            self.fail(f"there is no kind {value}. {hint}", param, ctx)
        return said


def _typed(word: str) -> str:
    """Return the kind that a word means; the word itself where it means none."""
    said = " ".join(word.split()).casefold()
    meant = MEANS_KIND.get(said, ())
    return said if said in _TAGS or len(meant) != 1 else meant[0]


@click.command()
@click.argument("episode", type=click.Path(exists=True, path_type=Path))
@click.argument("kind", metavar="KIND", type=_Kind(list(_TAGS)), required=False)
@click.option("--at", metavar="TIME", help="When it happened, as you would type it: 0940, -15m, 'yesterday 2210'.")
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
    """Chart an event, a whole visit, or the round of a unit: one question at a time, signed at the end.

    Nothing is written before you sign. Your answers are kept as a private draft if you stop with Ctrl-C or the
    connection is lost; the next run offers to continue it. Other stays of the same patient and port in the same folder
    are read too: their holds, dangers, last flush and allergies are known.

    With a folder: the unit's patients and what is due, in order of time. Pick a patient, chart, and come back to the
    list.

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
    from lda_notes.commands.charting import Means, chart_event

    policy = policy_file.in_force(policy_path, (episode,))
    means = Means(policy, clock(asof), given(pairs, answers, at), not no_input, sign, judged_from(asof))
    if not episode.is_dir():
        if kind is None:
            raise click.UsageError("Missing argument 'KIND': what is charted, such as check, access or visit.")
        chart_event(episode, _TAGS[kind], author(by, policy), means)
    elif no_input or sign or means.given:
        raise click.UsageError("A round asks at the terminal: --set, --answers, --sign and --no-input need a record.")
    else:
        _round(episode, kind, author(by, policy), means)


def _round(folder: Path, kind: str | None, facts: Mapping[str, Any], means: Means) -> None:
    """Show the unit, chart what is picked, and come back to it until the nurse leaves."""
    from lda_notes.chart.answers.heard import Unclear
    from lda_notes.chart.terminal import drafts, unit
    from lda_notes.commands.charting import chart_event, signer
    from lda_notes.commands.console import Terminal, plain

    terminal = Terminal()
    done: frozenset[Path] = frozenset()
    facts = signer(facts, means)
    while True:
        read = [records.read(path) for path in pipeline.record_files((folder,))]
        unsigned = drafts.unsigned(os.environ)
        begun = {path: tuple(map(drafts.said, found)) for path, found in unsigned.items()}
        judged = pipeline.judge_all(read, means.policy, means.now())
        beds = unit.beds(judged, means.policy, means.now(), begun)
        for record in read:
            if record.episode is None:
                terminal.show(plain(f"?? {record.file} cannot be read and is not on this list: run a check."))
        terminal.show(unit.page(beds, kind, done))
        while True:
            try:
                text = terminal.ask()
            except KeyboardInterrupt:
                text = None
            if text is None or text.strip().casefold() in ("q", "."):
                return
            picked = unit.pick(text, beds, done, kind)
            if isinstance(picked, Unclear):
                terminal.show(f"?? {picked.sentence}")
                continue
            bed, word = picked
            kept = [draft.about for draft in unsigned.get(bed.file.resolve(), ())]
            own = [typed for typed, tag in _TAGS.items() if tag in kept]
            word = _typed(word) or kind or next(iter(own), "") or unit.usual(bed)
            if word in _TAGS:
                break
            terminal.show(plain(f"?? {word} cannot be charted here. Type one of: {', '.join(_TAGS)}."))
        moved = next((about for about in kept if about.startswith(f"{_TAGS[word]} moved from ")), None)
        if moved is not None:  # what the entry said stands in the other record, from which it is carried over
            again = f"Continue it with the same amend --to; for a new one, chart {bed.file} {word}."
            terminal.show(plain(f"?? A draft is not signed here: {moved}. {again}"))
            continue
        try:
            if chart_event(bed.file, _TAGS[word], facts, replace(means, round=True)):
                done |= {bed.file}
        except (click.exceptions.Exit, KeyboardInterrupt):  # stopped: the draft is kept, and the round continues
            continue
        except Failure as failure:
            terminal.show(plain(f"?? {failure}."))
