"""``lda-notes rules``: what the check looks for, and why."""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path

import click

from lda_notes.check.report import wrapped
from lda_notes.check.rules.listed import Listed, as_json, counted, limit_rows, listed
from lda_notes.commands.options import policy_option
from lda_notes.commands.printing import say
from lda_notes.knowledge import policy_file
from lda_notes.knowledge.policy import Policy
from lda_notes.record.spelling import nearest

_WIDTH = 80


@click.command()
@click.argument("name", required=False)
@click.option(
    "--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True, help="Text, or JSON."
)
@policy_option
def command(name: str | None, form: str, policy_path: Path | None) -> None:
    """List the rules, or explain the one called NAME.

    The list shows severity, name and what is checked, family by family. An explanation shows what is checked, why it
    matters, what to do, the limits in force and the sources.

    Example: lda-notes rules needle-dwell
    """
    policy = policy_file.in_force(policy_path)
    rows = listed(policy)
    if name is not None:
        rows = tuple(row for row in rows if row.name == name) or _no_such_rule(name, rows)
    if form == "json":
        say(json.dumps(as_json(rows, policy), indent=2, ensure_ascii=False))
    else:
        say("\n".join(_explained(rows[0], policy) if name is not None else _list(rows)))


def _no_such_rule(name: str, rows: tuple[Listed, ...]) -> tuple[Listed, ...]:
    close = nearest(name, [row.name for row in rows])
    hint = f"Did you mean {close}?" if close else "`lda-notes rules` lists them."
    raise click.UsageError(f"No such rule: {name}. {hint}")


def _list(rows: tuple[Listed, ...]) -> Iterator[str]:
    for family, members in groupby(rows, key=lambda row: row.family):
        yield family.upper()
        for row in members:
            yield f"  {row.severity:<7} {row.name}"
            yield from wrapped(row.first_sentence, _WIDTH, " " * 10)
        yield ""
    yield from wrapped(f"{len(rows)} rules: {counted(rows)}.", _WIDTH)
    yield "`lda-notes rules NAME` explains one."


def _explained(row: Listed, policy: Policy) -> Iterator[str]:
    yield f"{row.name} ({row.severity}, {row.family})"
    for paragraph in row.explanation.split("\n\n"):
        yield ""
        yield from wrapped(" ".join(paragraph.split()), _WIDTH)
    yield ""
    for name, says, value in limit_rows(row, policy):
        yield from wrapped(f"Limit: {says}: {value} ({name})", _WIDTH, "", "    ")
    for citation in row.citations:
        yield from wrapped(f"Source: {citation.text()}", _WIDTH, "", "    ")
