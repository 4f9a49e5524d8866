"""``lda-notes policy``: the limits in force, each with its source, and what a facility's policy changes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from lda_notes.check.report import wrapped
from lda_notes.commands.options import policy_option
from lda_notes.commands.printing import say
from lda_notes.knowledge import policy_file
from lda_notes.knowledge.limits import Choice, Clock, Limit, Row, Words
from lda_notes.knowledge.policy import DEFAULT, Policy, looser, number, value_text
from lda_notes.knowledge.sources import MARK_WORDS, SOURCES, Citation
from lda_notes.record.spelling import nearest

JSON_VERSION = 1


@click.command()
@click.argument("names", metavar="[NAME]...", nargs=-1)
@policy_option
@click.option(
    "--for",
    "records",
    multiple=True,
    metavar="FILE|DIR",
    type=click.Path(exists=True, path_type=Path),
    help="Show what applies to these records, including a policy file beside them.",
)
@click.option("--changes", is_flag=True, help="Only what the facility's policy sets.")
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True)
def command(
    names: tuple[str, ...], policy_path: Path | None, records: tuple[Path, ...], changes: bool, form: str
) -> None:
    """Print the limits in force, each with its source, and what a facility's policy changes.

    A value looser than the published one is marked. A policy file names its source and replaces values:

    \b
      source: {title: Port care policy, date: 2026-01-15}
      limits: {needle_dwell_days: 5, interval_counting: calendar day}

    Example: lda-notes policy --policy lda-policy.yaml --changes
    """
    policy = policy_file.in_force(policy_path, records)
    for name in names:
        if name not in policy.rows:
            close = nearest(name, policy.rows)
            hint = f" Did you mean {close}?" if close else " `lda-notes policy` lists them."
            raise click.UsageError(f"There is no limit named {name}.{hint}")
    rows = [
        row
        for row in policy.rows.values()
        if (not names or row.name in names) and (not changes or row != DEFAULT.rows[row.name])
    ]
    parts = (_headline(policy), *map(_entry, rows))
    say(_as_json(policy, rows) if form == "json" else "\n\n".join(map(_folded, parts)))


def _folded(text: str) -> str:
    """Return rows of at most 80 columns; continued rows are indented."""
    rows = ((row.lstrip(), " " * (len(row) - len(row.lstrip()))) for row in text.splitlines())
    return "\n".join(part for row, indent in rows for part in wrapped(row, 80, indent, indent + "    "))


def _headline(policy: Policy) -> str:
    if policy.facility is None:
        return "Limits in force: as published, no facility policy."
    replaced = sum(row != DEFAULT.rows[name] for name, row in policy.rows.items())
    loose = sum(looser(row, DEFAULT.rows[name]) for name, row in policy.rows.items())
    counted = f"{replaced} set by {policy.facility.text()}"
    said = [f"Limits in force: as published, {counted}; {loose} of these looser than published."]
    return "\n".join([*said, *(silenced.text() for silenced in policy.silenced), *policy.ignored])


def _entry(row: Row) -> str:
    published = DEFAULT.rows[row.name]
    said = [row.name, f"  {row.says[0].upper()}{row.says[1:]}: {value_text(row)}"]
    if row is not published:
        said.append(f"  {_compared(row, published)}")
    said.extend(f"  Source: {cited.text()}" for cited in row.citations)
    return "\n".join(said)


def _compared(row: Row, published: Row) -> str:
    if row.value == published.value:
        return f"As published: {value_text(published)}"
    word = "LOOSER than published" if looser(row, published) else "Changed, not looser than published"
    return f"{word}: {value_text(published)}"


def _as_json(policy: Policy, rows: list[Row]) -> str:
    document = {
        "version": JSON_VERSION,
        "facility_policy": _cited(policy.facility) if policy.facility else None,
        "silenced": [{"rule": one.rule, "reason": one.reason, "date": one.date} for one in policy.silenced],
        "ignored": list(policy.ignored),
        "limits": [_row(row) for row in rows],
    }
    return json.dumps(document, indent=2, ensure_ascii=False)


def _row(row: Row) -> dict[str, Any]:
    published = DEFAULT.rows[row.name]
    return {
        "name": row.name,
        "sort": {Limit: "number", Choice: "option", Clock: "time of day", Words: "list"}[type(row)],
        "says": row.says,
        "value": _value(row),
        "unit": row.unit if isinstance(row, Limit) else None,
        "bound": row.bound if isinstance(row, Limit) else None,
        "options": list(row.options) if isinstance(row, Choice) else None,
        "text": value_text(row),
        "published_value": _value(published),
        "set_by_facility": row is not published,
        "looser": looser(row, published),
        "sources": [_cited(cited) for cited in row.citations],
    }


def _value(row: Row) -> str | list[str]:
    match row:
        case Limit():
            return number(row.value).replace(",", "")
        case Words():
            return list(row.listed)
        case _:
            return row.value


def _cited(cited: Citation) -> dict[str, str]:
    source = SOURCES[cited.source]
    return {
        "source": cited.source,
        "title": source.title,
        "edition": source.edition,
        "address": source.address,
        "place": cited.place,
        "mark": cited.mark,
        "mark_says": MARK_WORDS[cited.mark],
    }
