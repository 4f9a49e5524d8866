"""``lda-notes amounts``: what went through each line, added up."""

from __future__ import annotations

import json
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import click

from lda_notes.commands import reading
from lda_notes.commands.options import asof_option, hours_option, moment, policy_option, records_argument
from lda_notes.commands.printing import say
from lda_notes.documents.amounts_values import sums_values
from lda_notes.knowledge import policy_file
from lda_notes.knowledge.policy import number
from lda_notes.line import due, sums
from lda_notes.line.sums import Amount, Window
from lda_notes.line.timeline import Timeline
from lda_notes.narrative import phrasing
from lda_notes.problems import Failure

JSON_VERSION = 1


_SUMMED = frozenset(
    {"at", "kind", "septum", "flushes", "lock", "discard_ml", "withdrawn_ml", "drug", "dose_mg", "volume_ml", "of"}
)
"""Facts that sums rest on."""


@click.command()
@records_argument
@click.option("--from", "start", metavar="MOMENT", callback=moment, help="Start at this time; needs --to.")
@click.option(
    "--to", "end", metavar="MOMENT", callback=moment, help="End at this time: what happens at that moment is left out."
)
@hours_option
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True)
@asof_option
@policy_option
def command(
    paths: tuple[Path, ...],
    start: datetime | None,
    end: datetime | None,
    hours: Decimal | None,
    form: str,
    asof: datetime,
    policy_path: Path | None,
) -> None:
    """Add up flushes, discards, withdrawals, locks and heparin units, exactly.

    Without --from and --to, three totals are given: the shift that ends now (or at --asof), the calendar day so far,
    and each needle's stay. A window includes its start and not its end, so that shifts neither share nor lose anything;
    a needle's stay includes its own access and de-access.

    Exit code 1 if an amount was written but could not be read: the totals are then lower bounds, and say so.

    Example: lda-notes amounts episode.yaml --asof 2031-03-04T19:00-06:00
    """
    if (start is None) != (end is None):
        raise click.UsageError("--from and --to belong together; give both or none.")
    if start is not None and end is not None and start >= end:
        raise click.UsageError("--from is not before --to.")
    policy = policy_file.in_force(policy_path, paths)
    length = hours if hours is not None else policy.value("shift_hours")
    given = Window(start, end) if start is not None and end is not None else None
    rows: list[dict[str, Any]] = []
    lines: list[str] = []
    not_read: list[str] = []
    left_out = False
    for record, timeline in reading.all_timelines(paths, policy, asof):
        said = reading.unread(record)
        if said:
            say(said, err=True)
        facts = reading.unread_facts(record, _SUMMED, with_text=True)
        not_read.extend(facts)
        lines.extend(f"{timeline.episode.id}: {fact}" for fact in facts)
        found = _rows(timeline, given, length)
        rows.extend(found)
        lines.extend(_said(row, due.zone_of(timeline)) for row in found)
        left_out = left_out or bool(said or facts)
    if form == "json":
        document = {"version": JSON_VERSION, "could_not_be_read": not_read, "amounts": rows}
        say(json.dumps(document, indent=2, ensure_ascii=False))
    else:
        say("\n".join(lines))
    if left_out:
        raise click.exceptions.Exit(1)


def _rows(timeline: Timeline, given: Window | None, hours: Decimal) -> list[dict[str, Any]]:
    found = sums.amounts(timeline)
    zone = due.zone_of(timeline)
    past = tuple(amount for amount in found if amount.at <= timeline.asof)
    if given is not None:
        return [_row(timeline, "window", given.start, given.end, None, sums.within(found, given))]
    try:
        shift, day = sums.shift(timeline.asof, hours), sums.day(timeline.asof, zone)
    except OverflowError:
        raise Failure("the moment judged from is at the end of the calendar; give another --asof") from None
    rows = [
        _row(timeline, "shift", shift.start, shift.end, None, sums.within(past, shift)),
        _row(timeline, "day", day.start, day.end, None, sums.within(past, day)),
    ]
    for septum, stays in timeline.needles.items():
        for stay in stays:
            if stay.opened.event.at <= timeline.asof:
                until = stay.until if stay.until is not None and stay.until <= timeline.asof else None
                rows.append(
                    _row(timeline, "needle's stay", stay.opened.event.at, until, septum, sums.of_stay(timeline, stay))
                )
    return rows


def _row(
    timeline: Timeline, over: str, start: datetime, end: datetime | None, septum: str | None, found: tuple[Amount, ...]
) -> dict[str, Any]:
    zone = due.zone_of(timeline)
    return {
        "record": timeline.episode.id,
        "over": over,
        "septum": septum,
        "from": start.astimezone(zone).isoformat(timespec="minutes"),
        "to": end.astimezone(zone).isoformat(timespec="minutes") if end else None,
        **sums_values(sums.add(found)),
    }


def _said(row: dict[str, Any], zone: ZoneInfo) -> str:
    where = f", septum {row['septum']}" if row["septum"] not in (None, "single") else ""
    start, end = (row[key] and phrasing.moment(datetime.fromisoformat(row[key]), zone) for key in ("from", "to"))
    head = f"{row['record']}: {row['over']}{where}, from {start} to {end or 'now'}"
    parts = [f"flush {_grouped(row['flush_ml'])} mL"]
    parts += (
        [f"of it with a preservative {_grouped(row['preserved_flush_ml'])} mL"]
        if row["preserved_flush_ml"] != "0"
        else []
    )
    parts += [f"discard {_grouped(row['discard_ml'])} mL"]
    parts += [f"withdrawal {_grouped(row['withdrawn_ml'])} mL"] if row["withdrawn_ml"] != "0" else []
    strengths = [
        f"{_grouped(one['units'])} units of {_grouped(one['units_per_ml'])} units per mL"
        for one in row["heparin_units_by_strength"]
    ]
    heparin = f"{_grouped(row['heparin_units'])} units"
    if strengths:
        heparin = strengths[0] if len(strengths) == 1 else f"{heparin}: {', '.join(strengths)}"
    parts += [f"lock {_grouped(row['lock_ml'])} mL", f"heparin {heparin}"]
    parts += [f"thrombolytic {_grouped(row['thrombolytic_mg'])} mg"] if row["thrombolytic_mg"] != "0" else []
    lines = [head, f"  {', '.join(parts)}"]
    if row["not_added"]:
        missing = ", ".join(f"{one['what']} ({one['sort']}, {one['event']})" for one in row["not_added"])
        lines.append(f"  At least: not added, since an amount is not recorded: {missing}")
    return "\n".join(lines)


def _grouped(text: str) -> str:
    return number(Decimal(text))
