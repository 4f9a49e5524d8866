"""Events as they are now read: addenda and amendments applied, retracted entries set aside, originals kept."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any, Final

from pydantic import ValidationError

from lda_notes.problems import Finding, Path
from lda_notes.record import events as ev
from lda_notes.record.episode import Episode
from lda_notes.record.merging import merge

SAME_MINUTE: Final[Mapping[str, int]] = MappingProxyType({tag: kind.rank for tag, kind in ev.KINDS.items()})
"""Order of events that carry the same time, as their kinds say it."""

_NO_ORIGINS: Final[Mapping[str, Path]] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Entry:
    """An event as it is now read, with where it stands and what corrected it.

    ``event`` has amendments and addenda applied, ``original`` is as first charted; ``corrections`` are the
    correcting events in order of time; ``retraction`` is set when the entry was withdrawn. ``record`` names the other
    record of the line in which it stands, empty for the record in hand.
    """

    index: int
    event: ev.Event
    original: ev.Event
    corrections: tuple[ev.Correcting, ...] = ()
    retraction: ev.Retraction | None = None
    record: str = ""
    origins: Mapping[str, Path] = field(default_factory=lambda: _NO_ORIGINS)

    def path(self, *keys: str | int) -> Path:
        """Return where a fact of this event stands in the record, through any correction that supplied it."""
        own: Path = ("records", self.record) if self.record else ()
        if keys and keys[0] in self.origins:
            return (*own, *self.origins[str(keys[0])], *keys)
        return (*own, "events", self.index, *keys)


_LOOKS: Final = 30


def _sort_key(entry: Entry) -> tuple[datetime, int, datetime, int, str, str]:
    """Order by time to the second, as it is looked up. What carries the same time has a fixed order.

    Looks and judgments of one moment go as they were charted: either may come first.
    """
    event = entry.event
    at = event.at.astimezone(UTC)
    rank = SAME_MINUTE[event.kind]
    charted = event.charted_at
    if not isinstance(event, ev.Observing) or charted is None:
        return at, _LOOKS if isinstance(event, ev.Observing) else rank, at, rank, event.id, entry.record
    return at, _LOOKS, charted.astimezone(UTC), rank, event.id, entry.record


def in_order(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Return entries in the one order of time."""
    return tuple(sorted(entries, key=_sort_key))


def corrected(episode: Episode) -> tuple[tuple[Entry, ...], tuple[Entry, ...], tuple[Entry, ...], tuple[Finding, ...]]:
    """Return the standing events, the retracted ones, the correcting ones, and the faults of corrections.

    Each list is in order of time. A correction that cannot be applied leaves its event as it was and is a fault.
    """
    plain = [Entry(index, event, event) for index, event in enumerate(episode.events)]
    plain.sort(key=_sort_key)
    corrections = tuple(entry for entry in plain if isinstance(entry.event, ev.Correcting))
    if not corrections:
        return tuple(plain), (), (), ()
    by_target: dict[str, list[Entry]] = {}
    withdrawn = {entry.event.of for entry in corrections if isinstance(entry.event, ev.Retraction)}
    for entry in corrections:
        if isinstance(entry.event, ev.Correcting) and (
            isinstance(entry.event, ev.Retraction) or entry.event.id not in withdrawn
        ):
            by_target.setdefault(entry.event.of, []).append(entry)
    standing: list[Entry] = []
    retracted: list[Entry] = []
    findings: list[Finding] = []
    for entry in plain:
        if isinstance(entry.event, ev.Correcting):
            continue
        corrected, faults = _apply(entry, by_target.get(entry.event.id, []))
        findings.extend(faults)
        (retracted if corrected.retraction else standing).append(corrected)
    standing.sort(key=_sort_key)  # an amendment may have corrected the time
    return tuple(standing), tuple(retracted), corrections, tuple(findings)


def _apply(entry: Entry, corrections: list[Entry]) -> tuple[Entry, list[Finding]]:
    findings: list[Finding] = []
    for correction in corrections:
        change = correction.event
        if isinstance(change, ev.Retraction):
            entry = replace(entry, retraction=change, corrections=(*entry.corrections, change))
            continue
        if isinstance(change, ev.Amendment):
            key, values = "sets", change.sets
        elif isinstance(change, ev.Addendum):
            key, values = "adds", change.adds
        else:
            continue
        event, faults = _merged(entry.event, values, correction, key)
        findings.extend(faults)
        origins = dict(entry.origins)
        if event is not entry.event:
            origins.update(dict.fromkeys(values, ("events", correction.index, key)))
        entry = replace(entry, event=event, corrections=(*entry.corrections, change), origins=origins)
    return entry, findings


def _merged(event: ev.Event, values: Mapping[str, Any], correction: Entry, key: str) -> tuple[ev.Event, list[Finding]]:
    if not values:
        return event, []
    values = ev.as_spelled(type(event), values)
    fixed = {"id", "kind"} & set(values)
    if fixed:
        return event, [
            Finding(
                "correction-target",
                "wrong",
                f"{correction.event.id} changes the {name} of {event.id}, which a correction cannot change",
                "retract the entry and chart it anew",
                correction.path(key, name),
                event=correction.event.id,
            )
            for name in sorted(fixed)
        ]
    old = event.model_dump(mode="json", exclude_unset=True)
    new = merge(old, dict(values))
    try:
        return type(event).model_validate_json(json.dumps(new)), []
    except ValidationError as error:
        from lda_notes.record.validation import misfits  # here, since most corrections can be applied

        return event, [
            Finding(
                "correction-unreadable",
                "wrong",
                f"{correction.event.id} cannot be applied to {event.id}: {misfit.message}",
                misfit.todo,
                correction.path(key, *misfit.path),
                event=correction.event.id,
            )
            for misfit in misfits(error, new)
        ]
