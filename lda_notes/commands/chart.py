"""``lda-notes chart``: asks for the facts of an event in the order of the work, and adds it to the record."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Final

import click

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
from lda_notes.record.events import KINDS

_KINDS: Final = {kind.command: tag for tag, kind in KINDS.items() if kind.command}
"""Kinds as they are typed, in the order of the work."""


@click.command()
@click.argument("episode", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.argument("kind", metavar="KIND", type=click.Choice(list(_KINDS)))
@click.option("--at", metavar="TIME", help="When it was, as it would be typed: 0940, -15m, 'yesterday 2210'.")
@by_option
@charting_options
@asof_option
@policy_option
def command(
    episode: Path,
    kind: str,
    at: str | None,
    by: str | None,
    pairs: tuple[str, ...],
    answers: Path | None,
    no_input: bool,
    sign: str | None,
    asof: datetime,
    policy_path: Path | None,
) -> None:
    """Chart an event: one question after the other, checked as you answer, signed at the end.

    Nothing is written before you sign. What you said is kept as a private draft if you stop with Ctrl-C or the
    connection is lost; the next run offers to go on with it. Other stays of the same patient and port in the same
    folder are read too: their holds, dangers, last flush and allergies are known.

    \b
    Kinds: access, arrival (with a needle in), deaccess, dressing, check (the
    look at each shift), flush, use, treatment (thrombolytic), patency (look at
    it), evaluation, transfer, discharge, implanted, removed

    \b
    At any question:  ?  explains it      <  goes back
                      -  and a reason: not assessed, or not done
                      .  leaves it open   +  adds a fact, such as + remarks

    Example: lda-notes chart episode.yaml access --by "Marisol Tamm, RN, LBN-204"
    """
    from lda_notes.commands.charting import Means, chart_event

    policy = policy_file.in_force(policy_path, (episode,))
    means = Means(policy, clock(asof), given(pairs, answers, at), not no_input, sign, judged_from(asof))
    chart_event(episode, _KINDS[kind], author(by), means)
