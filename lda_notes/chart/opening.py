"""What is said before the first question: whose port this is, what is known of it, and what is in it now."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from lda_notes.chart.scene import allergies
from lda_notes.chart.times import echo
from lda_notes.line.due import zone_of
from lda_notes.line.states import State
from lda_notes.line.timeline import Timeline
from lda_notes.narrative import phrasing
from lda_notes.record.episode import Episode
from lda_notes.record.reading import Record


def rows(kind: str, record: Record, line: Timeline, now: datetime, author: str) -> Iterator[str]:
    """Yield the rows: identity first, then what would otherwise be asked."""
    episode, zone = line.episode_at(now), zone_of(line)
    yield from identity(kind, episode)
    unit = line.unit_at(now)
    room = f", room {unit.room}" if unit is not None and unit.room else ""
    yield f"{episode.stay.facility}, {unit.unit if unit is not None else episode.stay.unit}{room}"
    yield f"Port: {_port(episode)}. Allergies: {allergies(episode)}."
    for septum in episode.port.septa:
        name = f"{phrasing.capital(septum)} septum. " if len(episode.port.septa) > 1 else ""
        yield from _state(name, line.state_at(septum, now), zone)
    if line.entries:
        last = line.entries[-1].event
        by = f", by {last.by.name}" if last.by is not None and last.by.name else ""
        yield f"Last entry: {last.kind} of {echo(last.at, zone)}{by}."
    if record.unread:
        yield f"{phrasing.count(len(record.unread), 'entry', 'entries')} of this record cannot be read: run a check."
    if author:
        yield f"Signing: {author}. It is {echo(now, zone)}."
    yield "Any time: ? explains, < goes back, - and a reason: not assessed, not done"


def identity(kind: str, episode: Episode) -> Iterator[str]:
    """Yield whose record it is, with what is to be done in it."""
    patient = episode.patient
    born = f", born {phrasing.day(patient.birth_date)}" if patient.birth_date else ""
    number = patient.identifiers[0]
    yield f"{phrasing.capital(kind)}: {patient.family_name}, {patient.given_name}{born}, {number.value}"


def _port(episode: Episode) -> str:
    port = episode.port
    where = " ".join(part for part in (port.side, port.area) if part) or "place not recorded"
    detail = f", {port.site_detail}" if port.site_detail else ""
    volume = f", volume {phrasing.quantity(port.catheter_volume_ml, 'mL')}" if port.catheter_volume_ml else ""
    return f"{where}{detail}{volume}"


def _state(name: str, state: State, zone: ZoneInfo) -> Iterator[str]:
    """Yield what is in a septum, and in a row each what forbids its use."""
    if not state.port_in:
        yield "No port is in the body."
        return
    yield name + (_needle(state.needle, zone) if state.needle is not None else "No needle in.")
    for row in warnings(state, zone):
        yield f"!! {name}{row}"


def warnings(state: State, zone: ZoneInfo) -> Iterator[str]:
    """Yield what forbids the use of a line: a hold, a thrombolytic in it."""
    if state.holds:
        signs = phrasing.listed(list(dict.fromkeys(hold.sign for hold in state.holds)))
        since = echo(state.holds[0].since, zone)
        yield f"LINE ON HOLD since {since}: {signs}. Nothing goes through it until it is cleared."
    if state.dwell is not None:
        treatment = state.dwell.treatment.event
        drug = getattr(treatment, "drug", "thrombolytic")
        since = echo(treatment.at, zone)
        yield f"{drug.upper()} IN THE LINE since {since}: no flush and no use before it is looked at."
    for danger in state.dangers:
        if danger.code != "D4" or state.dwell is None:
            since = f" since {echo(danger.since, zone)}" if danger.since is not None else ""
            yield f"{danger.what.upper()}{since}{f': not {danger.forbids}' if danger.forbids else ''}."
    for limit in state.limits:
        yield f"{limit.what.upper()} since the evaluation of {echo(limit.began.event.at, zone)}."


def _needle(stay: Any, zone: ZoneInfo) -> str:
    needle = stay.needle
    what = []
    if needle is not None and isinstance(needle.gauge, int):
        what.append(f"{needle.gauge} gauge")
    if needle is not None and needle.length_mm is not None and not hasattr(needle.length_mm, "not_assessed"):
        what.append(phrasing.length(needle.length_mm))
    since = f"since {echo(stay.since, zone)}" if stay.since is not None else "since when is not known"
    return f"Needle in: {', '.join((*what, since))}."
