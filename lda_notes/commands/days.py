"""``lda-notes days``: central line days for surveillance, by patient and by unit."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import click

from lda_notes.commands import reading
from lda_notes.commands.options import asof_option, out_option, policy_option
from lda_notes.commands.printing import say
from lda_notes.commands.streaming import Streaming, rows_argument, rows_of, stream, streaming_options
from lda_notes.commands.unit_tables import Reported, other_days, reported
from lda_notes.commands.writing import target, write
from lda_notes.knowledge import policy_file
from lda_notes.knowledge.policy import Policy, number, value_text
from lda_notes.line import days as line_days
from lda_notes.line.day_count import LineDay, Stay
from lda_notes.line.days import Infection, UnitCount
from lda_notes.problems import Failure

JSON_VERSION = 1
_FORMULA: Final = re.compile("(^|[;\t\r\n])(\\s*[=+@\uff1d\uff0b\uff0d\uff20-])")
"""The start of a formula, in wide letters too, at the start of a cell or after a sign that can begin another."""

FORMATS = ("csv", "json")
DAY_COLUMNS = (
    "patient", "records", "date", "hospital_day", "line_in", "line_day", "eligible", "in_window", "unit",
    "attributed_unit", "device_day", "patient_day", "lines", "rules",
)  # fmt: skip

UNIT_COLUMNS = (
    "unit", "from", "to", "line_days", "counted_patient_days", "patient_days", "utilization_ratio", "infections",
    "rate", "rate_per", "lines", "rules",
)  # fmt: skip


def _day(context: click.Context, option: click.Parameter, value: str | None) -> date | None:
    if value is None:
        return None
    try:
        found = date.fromisoformat(value)
    except ValueError:
        found = None
    if found is None or found.isoformat() != value:
        raise click.BadParameter(f"{value!r} is not a date such as 2031-03-04.", context, option)
    return found


@click.command()
@rows_argument
@click.option("--from", "first", required=True, metavar="DATE", callback=_day, help="First day to count.")
@click.option("--to", "last", required=True, metavar="DATE", callback=_day, help="Last day to count.")
@click.option("--unit", multiple=True, help="Only this unit; may be repeated.")
@click.option(
    "--by",
    type=click.Choice(["patient", "unit", "month"]),
    default="patient",
    show_default=True,
    help="What the CSV lists.",
)
@click.option(
    "--counts",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="CSV with the columns unit, patient_days and, if known, infections; ratio and rate need --other-lines too.",
)
@click.option(
    "--other-lines",
    "other_lines",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="CSV of the unit's other central lines: record_number, unit, kind, from, to. Without it: ports only, no ratio "
    "and no rate.",
)
@click.option(
    "--positive",
    metavar="DATE",
    callback=_day,
    help="Day of a first positive blood specimen, for one patient's records: says what it implies.",
)
@click.option("--format", "form", type=click.Choice(FORMATS), help="Default: by the extension of --out, otherwise csv.")
@streaming_options
@out_option
@asof_option
@policy_option
def command(
    paths: tuple[Path, ...],
    first: date,
    last: date,
    unit: tuple[str, ...],
    by: str,
    counts: Path | None,
    other_lines: Path | None,
    positive: date | None,
    form: str | None,
    how: Streaming,
    out: Path | None,
    asof: datetime,
    policy_path: Path | None,
) -> None:
    """Count central line days: day number and eligibility by patient and day, and device days by unit.

    Days are calendar days of the stay's time zone. The count begins with the first access in an inpatient unit and ends
    with the day of removal of the port or of discharge; taking the needle out does not end it. Where the rules differ
    or are uncertain, a policy option decides: `lda-notes policy denominator_counts`.

    A file that ends in .ndjson or .jsonl (also .gz or .zst), or - for standard input, contains one record per row: each
    record is counted on its own, with a row of JSON for each of its days. Counts by unit need all records of a patient
    together, so they are made from records in separate files.

    In CSV, a cell with text from a record that a spreadsheet would run as a formula (it begins with =, +, - or @) has
    an apostrophe before it; JSON has the text as recorded.

    Exit code 1 if an event, or a fact that days are counted by, was written but could not be read.

    Example: lda-notes days ward/ --from 2031-03-01 --to 2031-03-31 --by unit --counts patient-days.csv
    """
    if last < first:
        raise click.UsageError(f"--to {last} is before --from {first}.")
    rows = rows_of(paths, how)
    if rows and (by != "patient" or other_lines or counts or positive or form == "csv"):
        raise click.UsageError(
            "--by unit, --by month, --counts, --other-lines, --positive and --format csv are not for NDJSON."
        )
    if first > asof.date():
        raise Failure(f"--from {first} is after {asof.date()}, the day judged from: nothing can be counted yet")
    if last > asof.date():
        say(f"The range reaches past {asof.date()}, the day judged from: it is cut there.", err=True)
        last = asof.date()
    if rows:
        from lda_notes.stream.tasks import Days, Rules

        rules = Rules.of(policy_file.in_force(policy_path, [path for path in paths if path.exists()]))
        stream(rows, Days(rules, asof, first, last, unit), how, out)
    if counts is not None and by == "month":
        raise click.UsageError("--counts is about the whole range; give --by unit, or one month at a time.")
    chosen, to = target(form, out, "line-days", FORMATS, "csv")
    policy = policy_file.in_force(policy_path, [path for path in paths if path.exists()])
    given = reported(counts) if counts else {}
    read = reading.all_timelines(paths, policy, asof)
    doubtful = False
    for record, _ in read:
        left_out = [*filter(None, [reading.unread(record)]), *reading.unread_facts(record, line_days.COUNTED)]
        for said in left_out:
            say(said, err=True)
        doubtful = doubtful or bool(left_out)
    stays = line_days.stays([timeline for _, timeline in read])
    try:
        found = [(stay, line_days.days(stay, policy, first, last)) for stay in stays]
    except ValueError as error:
        raise Failure(f"days cannot be counted: {error}; check the dates of the records") from None
    for note in dict.fromkeys(note for stay in stays for note in line_days.unclear(stay)):
        say(f"Assumed: {note}.", err=True)
    for name in _unknown_units(unit, stays, given):
        say(name, err=True)
    others = other_days(other_lines, found, first, last) if other_lines else None
    lines = "ports only" if others is None else "ports and other central lines"
    if counts is not None and others is None:
        say("Ports only: without --other-lines no utilization ratio and no rate is computed.", err=True)
    units = _units(found, policy, given, unit, others)
    for row in units:
        ratio = line_days.utilization(row.line_days, row.patient_days or 0)
        if ratio is not None and ratio > policy.value("utilization_ratio"):
            say(f"{row.unit}: more line days than patient days; one of the two counts is wrong.", err=True)
    infection = _infection(stays, policy, positive) if positive else None
    kept = [(stay, [day for day in counted if not unit or day.unit in unit]) for stay, counted in found]
    if chosen == "json":
        text = (
            json.dumps(
                {**_document(kept, units, infection, policy, first, last), "lines": lines}, indent=2, ensure_ascii=False
            )
            + "\n"
        )
    else:
        if by == "patient":
            rows_told = _day_rows(kept)
        elif by == "unit":
            rows_told = _unit_rows(units, policy, first, last)
        else:
            rows_told = _month_rows(found, policy, unit, others, first, last)
        columns = DAY_COLUMNS if by == "patient" else UNIT_COLUMNS
        headed = {"lines": lines, "rules": _rules_in_force(policy)}
        text = _csv(columns, [{**line, **headed} for line in rows_told])
        if infection:
            text += "\n" + _csv(tuple(_infection_row(infection)), [_infection_row(infection)])
    write(text.encode(), to)
    if doubtful:
        raise click.exceptions.Exit(1)


def _unknown_units(asked: tuple[str, ...], stays: tuple[Stay, ...], given: dict[str, Reported]) -> list[str]:
    """Return a sentence for each unit asked for that neither a record nor the counts name: most likely a slip."""
    named = {moved.unit for stay in stays for timeline in stay.timelines for moved in timeline.units}
    known = ", ".join(sorted(named)) or "none"
    return [
        f"--unit {name}: no record names this unit, so its counts are 0; the records name {known}."
        for name in dict.fromkeys(asked)
        if name not in named and name not in given
    ]


def _units(
    found: list[tuple[Stay, tuple[LineDay, ...]]],
    policy: Policy,
    given: dict[str, Reported],
    only: tuple[str, ...],
    others: dict[str, set[tuple[str, date]]] | None,
) -> list[UnitCount]:
    lines, patients = line_days.patient_days(found)
    lines = {name: lines.get(name, 0) + len((others or {}).get(name, ())) for name in {*lines, *(others or {})}}
    names = sorted({*lines, *given} if not only else set(only))
    nothing = Reported(None, None)
    return [
        line_days.unit_count(
            name,
            lines.get(name, 0),
            patients.get(name, 0),
            policy,
            given.get(name, nothing).patient_days,
            given.get(name, nothing).infections,
            whole=others is not None,
        )
        for name in names
    ]


def _month_rows(
    found: list[tuple[Stay, tuple[LineDay, ...]]],
    policy: Policy,
    only: tuple[str, ...],
    others: dict[str, set[tuple[str, date]]] | None,
    first: date,
    last: date,
) -> list[dict[str, Any]]:
    """Return the counts by unit of each calendar month of the range."""
    rows: list[dict[str, Any]] = []
    start = first
    while start <= last:
        following = (start.replace(day=1) + timedelta(days=32)).replace(day=1)
        end = min(last, following - timedelta(days=1))
        part = [(stay, tuple(day for day in days if start <= day.day <= end)) for stay, days in found]
        more = {unit: {one for one in days if start <= one[1] <= end} for unit, days in (others or {}).items()}
        counted = _units(part, policy, {}, only, more if others is not None else None)
        rows += _unit_rows(counted, policy, start, end)
        start = following
    return rows


def _rules_in_force(policy: Policy) -> str:
    names = (*line_days.OPTIONS, *line_days.LIMITS)
    return "; ".join(f"{name}: {value_text(policy.rows[name])}" for name in names)


def _infection(stays: tuple[Stay, ...], policy: Policy, positive: date) -> Infection:
    patients = {stay.patient for stay in stays}
    if len(patients) != 1:
        raise click.UsageError(f"--positive is about one patient; these records contain {len(patients)}.")
    found = [line_days.infection(stay, policy, positive) for stay in stays]
    return next((one for one in found if one.onset != "outside the stay"), found[0])


def _csv(columns: tuple[str, ...], rows: list[dict[str, Any]]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, lineterminator="\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({name: _cell(row[name]) for name in columns})
    return out.getvalue()


def _cell(value: Any) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case list():
            return _harmless(" ".join(value))
        case str():
            return _harmless(value)
        case _:
            return str(value)


def _harmless(text: str) -> str:
    """Return text that a spreadsheet does not run as a formula: an apostrophe before it makes it text.

    Quotation marks would not do: a spreadsheet takes them off, then reads the cell as if typed. Where a semicolon or a
    tab parts the columns (so it is in many countries), what follows one inside a cell becomes a cell of its own.
    """
    return _FORMULA.sub(r"\1'\2", text)


def _day_rows(found: list[tuple[Stay, list[LineDay]]]) -> list[dict[str, Any]]:
    return [row for stay, counted in found for row in line_days.as_rows(stay, counted)]


def _unit_rows(units: list[UnitCount], policy: Policy, first: date, last: date) -> list[dict[str, Any]]:
    return [
        {
            "unit": row.unit,
            "from": first.isoformat(),
            "to": last.isoformat(),
            "line_days": row.line_days,
            "counted_patient_days": row.counted_patient_days,
            "patient_days": row.patient_days,
            "utilization_ratio": str(row.ratio) if row.ratio is not None else None,
            "infections": row.infections,
            "rate": str(row.rate) if row.rate is not None else None,
            "rate_per": number(policy.value("rate_per_line_days")) + " line days",
        }
        for row in units
    ]


def _infection_row(found: Infection) -> dict[str, Any]:
    return {
        "date_of_event": found.event.isoformat(),
        "infection_window_opens": found.window_opens.isoformat(),
        "infection_window_closes": found.window_closes.isoformat(),
        "repeat_timeframe_closes": found.repeat_closes.isoformat(),
        "hospital_day": found.hospital_day,
        "onset": found.onset,
        "line_associated": found.line_associated,
        "attributed_unit": found.attributed_unit,
    }


def _document(
    found: list[tuple[Stay, list[LineDay]]],
    units: list[UnitCount],
    infection: Infection | None,
    policy: Policy,
    first: date,
    last: date,
) -> dict[str, Any]:
    rules = (*line_days.OPTIONS, *line_days.LIMITS)
    return {
        "version": JSON_VERSION,
        "from": first.isoformat(),
        "to": last.isoformat(),
        "days": _day_rows(found),
        "units": _unit_rows(units, policy, first, last),
        "infection": _infection_row(infection) if infection else None,
        "rules": [
            {
                "name": name,
                "value": value_text(policy.rows[name]),
                "sources": [cited.text() for cited in policy.rows[name].citations],
            }
            for name in rules
        ],
    }
