"""Tables that a unit hands in beside the records: its patient days and infections, the days of other lines."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Final

from lda_notes.line.day_count import LineDay, Stay
from lda_notes.problems import Failure


@dataclass(frozen=True, slots=True)
class Reported:
    """A unit's own report over the days asked for."""

    patient_days: int | None
    infections: int | None


def reported(path: Path) -> dict[str, Reported]:
    """Read what units report. Raises `Failure` with every fault, each with its row."""
    found: dict[str, Reported] = {}
    faults: list[str] = []
    for place, row in _rows(path, ("unit", "patient_days")):
        unit = row["unit"]
        numbers = {name: _whole(row.get(name, "")) for name in ("patient_days", "infections")}
        if not unit:
            faults.append(f"{place}: the row names no unit; name it or take the row out")
        elif unit in found:
            faults.append(f"{place}: {unit} stands twice; give one row for each unit, its days added up")
        for name, counted in numbers.items():
            if counted == -1:
                faults.append(f"{place}: {name} is not a whole number; write digits only")
        found[unit] = Reported(*numbers.values())
    _refuse(path, faults)
    return found


def _rows(path: Path, columns: tuple[str, ...]) -> Iterator[tuple[str, dict[str, str]]]:
    """Yield each row of a table with its place. Raises `Failure` when it is not a table with these columns."""
    try:
        text = path.read_text(encoding="utf-8-sig")
        if "\0" in text:
            raise Failure(f"{path}: is not a CSV file; save the table as CSV in UTF-8")
        rows = csv.DictReader(io.StringIO(text))
        names = [_column(name) for name in rows.fieldnames or []]
        if not set(columns) <= set(names):
            wanted = f"{', '.join(columns[:-1])} and {columns[-1]}"
            raise Failure(f"{path}:1:1: expected the columns {wanted}; found {', '.join(names) or 'nothing'}")
        for row in rows:
            yield (
                f"{path}:{rows.line_num}:1",
                {_column(name): (value or "").strip() for name, value in row.items() if name},
            )
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise Failure(f"{path}: cannot be read as CSV in UTF-8 ({error}); check the file") from None


def _column(name: str) -> str:
    return name.strip().replace(" ", "_")


def _refuse(path: Path, faults: list[str]) -> None:
    if faults:
        raise Failure("\n".join([f"{path} cannot be used:", *faults]))


def _whole(text: str) -> int | None:
    """Return a count; None when there is none, -1 when it is not a count."""
    if not text:
        return None
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else -1


_OTHER_COLUMNS: Final = ("record_number", "unit", "kind", "from", "to")


def other_days(
    path: Path, found: list[tuple[Stay, tuple[LineDay, ...]]], first: date, last: date
) -> dict[str, set[tuple[str, date]]]:
    """Return the days of other central lines by unit, each patient and day once, those of a counted port left out.

    Raises `Failure` with every fault, each with its row.
    """
    counted = {
        (identifier.value, day.day)
        for stay, days in found
        for timeline in stay.timelines
        for identifier in timeline.episode.patient.identifiers
        for day in days
        if day.device_day
    }
    told: dict[str, set[tuple[str, date]]] = {}
    faults: list[str] = []
    for place, values in _rows(path, _OTHER_COLUMNS):
        try:
            start = date.fromisoformat(values["from"])
            end = date.fromisoformat(values["to"]) if values["to"] else last
        except ValueError:
            faults.append(f"{place}: from and to are not dates such as 2031-03-04; correct the row")
            continue
        if not values["record_number"] or not values["unit"] or end < start:
            faults.append(f"{place}: expected a record number, a unit, and to not before from")
            continue
        day = max(start, first)
        while day <= min(end, last):
            if (values["record_number"], day) not in counted:
                told.setdefault(values["unit"], set()).add((values["record_number"], day))
            day += timedelta(days=1)
    _refuse(path, faults)
    return told
