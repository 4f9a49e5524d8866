"""What somebody else changed in a record while it was charted in."""

from __future__ import annotations

from collections.abc import Iterator
from zoneinfo import ZoneInfo

from lda_notes.chart.answers.times import echo
from lda_notes.record.episode import Episode
from lda_notes.record.events import Event


def between(old: Episode, new: Episode) -> Iterator[str]:
    """Yield a row for each entry that was added, changed or taken out, and one for changes elsewhere."""
    zone = ZoneInfo(new.stay.time_zone)
    before = {event.id: event for event in old.events}
    for event in new.events:
        if event.id not in before:
            yield f"added: {_said(event, zone)}"
        elif before[event.id] != event:
            yield f"changed: {_said(event, zone)}"
    after = {event.id for event in new.events}
    for event in old.events:
        if event.id not in after:
            yield f"taken out: {_said(event, zone)}"
    for name, what in (("patient", "patient"), ("stay", "stay"), ("port", "port")):
        if getattr(old, name) != getattr(new, name):
            yield f"changed: facts of the {what}"


def _said(event: Event, zone: ZoneInfo) -> str:
    by = f", by {event.by.name}" if event.by is not None and event.by.name else ""
    return f"{event.kind} of {echo(event.at, zone)}{by} ({event.id})"
