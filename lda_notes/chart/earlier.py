"""What an earlier stay's record hands to a new one of the same patient: patient and port, and what holds the line."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, Final

from lda_notes.chart import opening, paths
from lda_notes.chart.entries import plain_part
from lda_notes.chart.times import echo
from lda_notes.line.due import zone_of
from lda_notes.line.folding import letters, person
from lda_notes.line.timeline import Timeline
from lda_notes.narrative import phrasing
from lda_notes.record.episode import Episode

_OF_PATIENT: Final = ("identifiers", "birth_date", "allergies", "history")
"""Facts of the patient that are taken over. The weight is asked again: it changes, and doses rest on it."""


def same_person(line: Timeline, facts: Mapping[str, Any]) -> bool:
    """Tell whether the name that was said is the one of the earlier record."""
    said = tuple(letters(str(paths.get(facts, ("patient", name)) or "")) for name in ("family_name", "given_name"))
    return said == person(line.episode)


def taken(line: Timeline) -> dict[str, Any]:
    """Return what is taken over from an earlier stay, as plain data: the port only while it is in the body."""
    patient = plain_part(Episode, ("patient",), line.episode.patient)
    made: dict[str, Any] = {"patient": {name: patient[name] for name in _OF_PATIENT if name in patient}}
    if any(line.now(septum).port_in for septum in line.episode.port.septa):
        made["port"] = plain_part(Episode, ("port",), line.episode.port)
    return made


def said(line: Timeline, rows: Iterator[str], now: datetime) -> Iterator[str]:
    """Yield in words what was taken over (``rows``), and what holds the line."""
    zone = zone_of(line)
    since = line.episode.stay.admitted_at or (line.entries[0].event.at if line.entries else None)
    stay = f"{line.episode.stay.unit}{f', from {echo(since, zone)}' if since is not None else ''}"
    yield f"An earlier record of this patient is in this folder ({stay}). Taken over, not asked: {'; '.join(rows)}."
    for septum in line.episode.port.septa:
        state = line.state_at(septum, now)
        if not state.port_in:
            yield f"Its port {line.episode.port.id} was removed, so the port is asked."
            return
        name = f"{phrasing.capital(septum)} septum: " if len(line.episode.port.septa) > 1 else ""
        yield from (f"{name}{row}" for row in opening.warnings(state, zone))
