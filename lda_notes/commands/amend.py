"""``lda-notes amend``: adds to, corrects or retracts an entry; the original stays."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import click
from click.shell_completion import CompletionItem

from lda_notes.commands.charting_options import (
    author,
    by_option,
    charting_options,
    clock,
    given,
    judged_from,
    said_author,
)
from lda_notes.commands.console import Terminal, plain
from lda_notes.commands.options import asof_option, policy_option
from lda_notes.knowledge import policy_file
from lda_notes.narrative import phrasing
from lda_notes.problems import Failure
from lda_notes.record.events import Correcting, Event, Retraction

if TYPE_CHECKING:
    from lda_notes.commands.charting import Means


def _entries(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the entries of the record that is named before."""
    from lda_notes.record import reading as records

    path = context.params.get("episode")
    episode = records.read(Path(path)).episode if path is not None and Path(path).is_file() else None
    events = episode.events if episode is not None else ()
    return [CompletionItem(event.id, help=event.kind) for event in events if event.id.startswith(incomplete)]


@click.command()
@click.argument("episode", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.argument("event", required=False, shell_complete=_entries)
@click.option(
    "--as",
    "kind",
    type=click.Choice(["addendum", "amendment", "retraction", "co-signature"]),
    help="An addendum adds what was left out, an amendment corrects, a retraction withdraws; a co-signature changes "
    "nothing and is signed by a second person.",
)
@click.option(
    "--to",
    "right",
    metavar="FILE",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Move an entry charted on the wrong patient: retracted here, offered for signing in the record of FILE.",
)
@by_option
@charting_options
@asof_option
@policy_option
def command(
    episode: Path,
    event: str | None,
    kind: Any,
    right: Path | None,
    by: str | None,
    pairs: tuple[str, ...],
    answers: Path | None,
    no_input: bool,
    sign: str | None,
    asof: datetime,
    policy_path: Path | None,
) -> None:
    """Correct an entry after it was signed: with a reason, author and time, shown before and after.

    The entry itself stays in the file as it was written. Without EVENT, the entries are listed and you pick one by
    number.

    With --to, an entry that was charted on the wrong patient is moved: it is retracted here with the reason, and
    offered in the right record with everything it said, for signing there. Whose port it is and the allergies are asked
    again. The other entries of its visit come next.

    Example: lda-notes amend episode.yaml access-1 --as amendment
    """
    from lda_notes.commands.charting import Means, signer

    policy = policy_file.in_force(policy_path, (episode,))
    means = Means(policy, clock(asof), given(pairs, answers), not no_input, sign, judged_from(asof))
    event = event or _picked(episode, means)
    with_it = _rest_of_visit(episode, event, means) if right is not None else ()
    facts = signer(author(by, policy), means)
    if with_it:
        names = phrasing.listed(with_it)
        later = "asked after it" if means.asks else f"still in {episode}: move each of them too"
        Terminal().show(f"!! {event} is of one visit with {names}, {later}.")
    done = _correct(episode, event, kind, right, facts, means)
    for name in with_it if done and means.asks else ():
        Terminal().show(f"\n{name} is of the same visit. Move it to {right} too?")
        Terminal().show("  Enter: yes   n: no, it stays")
        typed = Terminal().ask()
        if typed is not None and typed.strip().casefold() in ("", "y", "yes"):
            _correct(episode, name, kind, right, facts, replace(means, given={}))
        else:
            Terminal().show(f"!! {name} stays in {episode}.")


def _rest_of_visit(path: Path, event: str, means: Means) -> tuple[str, ...]:
    """Return the other entries of the visit of an entry, whether it is retracted already or not."""
    from lda_notes.documents.note.visits import of_one_visit
    from lda_notes.line.timeline import build
    from lda_notes.record.writer import look

    record = look(path).record.episode
    assert record is not None
    standing = tuple(one for one in record.events if not (isinstance(one, Retraction) and one.of == event))
    line = build(record.model_copy(update={"events": standing}), means.policy, means.now())
    return of_one_visit(line, means.policy, event)


def _correct(episode: Path, event: str, kind: Any, right: Path | None, facts: Mapping[str, Any], means: Means) -> bool:
    """Correct one entry, or move it to the record of ``right``; False for a draft kept."""

    from lda_notes.chart.correction import OWN_ENTRY, WRONG_PATIENT, CorrectionForm
    from lda_notes.chart.terminal import display
    from lda_notes.commands.charting import Desk, opened, signed_into
    from lda_notes.line.corrections import corrected
    from lda_notes.record.writer import look

    seen, basis, unreadable = opened(episode, facts, means)
    record = basis.episode
    standing, retracted, corrections, _ = corrected(record)
    every = {entry.event.id: entry for entry in (*standing, *corrections)}
    zone = basis.zone
    if right is not None:
        _refuse_a_move(kind, every[event].event if event in every else None, episode, right)
        look(right)
        kind = "retraction"
    gone = next((entry for entry in retracted if entry.event.id == event), None)
    if gone is not None and right is not None:
        Terminal().show(f"{event} is retracted already; what it said is offered in {right}.")
        return _offer(gone.event, right, facts, means)
    if gone is not None:
        raise Failure(f"{event} is retracted already; chart what is right as a new entry")
    if event not in every:
        from lda_notes.record.spelling import nearest

        close = nearest(event, every)
        hint = f"did you mean {close}?" if close else "`lda-notes note FILE --all` shows the entries"
        raise Failure(f"{episode}: has no entry {event}; {hint}")
    for words in unreadable:
        Terminal().show(words)
    form = CorrectionForm(basis, every[event], kind)
    if kind == "co-signature" and form.is_author(facts.get("by") or {}):
        raise Failure(OWN_ENTRY)
    said = means.given
    if right is not None:
        said = {"reason": means.given.pop("reason")} if "reason" in means.given else {}
        form.because = WRONG_PATIENT
    form.take(said)
    desk = Desk(f"correction of {event}", episode, replace(means, given=said))
    target = every[event].event
    tag = target.kind
    article = "an" if tag[0] in "aeio" else "a"
    for row in display.identity("correction", record):
        desk.show(row)
    desk.show(f"Correction of {event}, {article} {tag} of {_when(target.at, zone)}. The entry stays on record.")
    if said_author(facts):
        desk.show(f"Signing: {said_author(facts)}. It is {_when(means.now(), zone)}.")

    if not signed_into(episode, seen, desk, form):
        return False
    return right is None or _offer(target, right, facts, means)


def _picked(path: Path, means: Means) -> str:
    """List the entries, the last one nearest to what is typed, and return the name of the one that is picked."""
    from lda_notes.line.corrections import corrected
    from lda_notes.record.writer import look

    record, terminal = look(path).record.episode, Terminal()
    assert record is not None
    zone = ZoneInfo(record.stay.time_zone)
    standing, _, corrections, _ = corrected(record)
    events = sorted((entry.event for entry in (*standing, *corrections)), key=lambda one: one.at)
    listed = {str(number): one for number, one in enumerate(events, 1)}
    for number, one in listed.items():
        whose = f", by {one.by.name}" if one.by is not None and one.by.name else ""
        terminal.show(plain(f"{number:>3}  {one.kind} of {_when(one.at, zone)}{whose} ({one.id})"))
    if not means.asks or not listed:
        raise Failure("name the entry that is to be corrected, after the file")
    terminal.show("\nWhich entry? Its number, or its name in parentheses   q: none of them")
    while True:
        typed = terminal.ask()
        said = typed.strip() if typed is not None else "q"
        if said.casefold() == "q":
            terminal.show("Nothing was written.")
            raise click.exceptions.Exit(130)
        if said in listed:
            return listed[said].id
        if said in {one.id for one in events}:
            return said
        terminal.show(f"?? Type a number from 1 to {len(listed)}.")


def _refuse_a_move(kind: str | None, target: Event | None, episode: Path, right: Path) -> None:
    """Raise `Failure` for what cannot be moved to another record."""
    if kind not in (None, "retraction"):
        raise Failure(f"--to moves an entry, which retracts it here; it does not go with --as {kind}")
    if episode.resolve() == right.resolve():
        raise Failure("--to names the record in which the entry is; give the record of the right patient")
    if isinstance(target, Correcting):
        raise Failure("a correction belongs to its entry and does not move; move the entry itself")


def _offer(event: Event, right: Path, facts: Mapping[str, Any], means: Means) -> bool:
    """Chart in the right record what the entry said. What was asked of the other patient is asked again."""
    from lda_notes.chart.correction import carried, charted_by_another
    from lda_notes.commands.charting import chart_event
    from lda_notes.record.writer import look

    into = look(right).record.episode
    assert into is not None
    late = means.now() - event.at > means.policy.span("late_entry_hours")
    tag = event.kind
    warning = charted_by_another(event, facts)
    Terminal().show(
        f"\nNow in {right}. What the entry said is carried over; what was said of the other patient or port is asked "
        "again."
    )
    if warning:
        Terminal().show(f"!! {warning}")
    return chart_event(right, tag, {**carried(event, into, late), **facts}, means, f"{tag} moved from {event.id}")


def _when(moment: datetime, zone: Any) -> str:
    from lda_notes.chart.answers.times import echo

    return echo(moment, zone)
