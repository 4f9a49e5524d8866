"""Events as they are now read: addenda and amendments applied, retracted entries set aside, originals kept."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Set
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


Corrected = tuple[tuple[Entry, ...], tuple[Entry, ...], tuple[Entry, ...], tuple[Finding, ...]]
"""The standing events, the retracted ones, the correcting ones, and the faults of corrections; each in its order."""


def corrected(episode: Episode, before: tuple[Entry, ...] = ()) -> Corrected:
    """Return the events as they are now read.

    Each list is in order of time. A correction that cannot be applied leaves its event as it was and is a fault.
    ``before`` are the first of the events, in order of time, that none of the others is known to correct.
    """
    plain, corrections = _parted(episode, len(before))
    plain = [*before, *plain]
    withdrawn = {entry.event.of for entry in corrections if isinstance(entry.event, ev.Retraction)}
    by_target: dict[str, list[Entry]] = {}
    for entry in corrections:
        by_target.setdefault(_of(entry), []).append(entry)
    applied = [(entry, _in_force(by_target.get(entry.event.id, ()), withdrawn)) for entry in plain]
    read = [_apply(entry, corrections) if corrections else (entry, ()) for entry, corrections in applied]
    return _reading(read, corrections)


def growing(episode: Episode) -> Iterator[Corrected]:
    """Yield the events as first charted, then as they read with each correction more, in order of time.

    Each reading is made from the one before it, so that of many corrections of one entry each is applied once. No two
    events may have one identifier.
    """
    plain, corrections = _parted(episode)
    first = {entry.event.id: entry for entry in plain}
    read: dict[str, _Read] = {name: (entry, ()) for name, entry in first.items()}
    yield _reading(read.values(), ())
    known: dict[str, list[Entry]] = {}
    by_id: dict[str, Entry] = {}
    withdrawn: set[str] = set()
    for count, correction in enumerate(corrections, start=1):
        target = _of(correction)
        by_id[correction.event.id] = correction
        known.setdefault(target, []).append(correction)
        if target in read:
            entry, faults = read[target]
            entry, more = _apply(entry, _in_force([correction], withdrawn))
            read[target] = entry, (*faults, *more)
        elif isinstance(correction.event, ev.Retraction):
            withdrawn.add(target)
            if target in by_id and (head := _of(by_id[target])) in read:
                read[head] = _apply(first[head], _in_force(known[head], withdrawn))
        yield _reading(read.values(), corrections[:count])


_Read = tuple[Entry, tuple[Finding, ...]]


def _parted(episode: Episode, begin: int = 0) -> tuple[list[Entry], tuple[Entry, ...]]:
    """Return the entries and the corrections as they were charted from a position on, each in order of time."""
    events = enumerate(episode.events[begin:], begin)
    plain = sorted((Entry(index, event, event) for index, event in events), key=_sort_key)
    corrections = tuple(entry for entry in plain if isinstance(entry.event, ev.Correcting))
    return [entry for entry in plain if not isinstance(entry.event, ev.Correcting)], corrections


def _of(correction: Entry) -> str:
    assert isinstance(correction.event, ev.Correcting)
    return correction.event.of


def _in_force(corrections: Iterable[Entry], withdrawn: Set[str]) -> list[Entry]:
    """Return the corrections that were not withdrawn; a retraction never is."""
    return [one for one in corrections if isinstance(one.event, ev.Retraction) or one.event.id not in withdrawn]


def _reading(read: Iterable[_Read], corrections: tuple[Entry, ...]) -> Corrected:
    entries = [entry for entry, _ in read]
    standing = [entry for entry in entries if entry.retraction is None]
    if corrections:
        standing.sort(key=_sort_key)  # an amendment may have corrected the time
    retracted = tuple(entry for entry in entries if entry.retraction is not None)
    return tuple(standing), retracted, corrections, tuple(fault for _, faults in read for fault in faults)


def replayed(entry: Entry, corrections: Iterable[Entry]) -> Iterator[_Read]:
    """Yield an entry as each correction in turn leaves it, with the faults of that one."""
    for correction in corrections:
        change = correction.event
        faults: list[Finding] = []
        match change:
            case ev.Retraction():
                entry = replace(entry, retraction=change)
            case ev.Amendment() | ev.Addendum():
                key, values = ("sets", change.sets) if isinstance(change, ev.Amendment) else ("adds", change.adds)
                event, faults = _merged(entry.event, values, correction, key)
                if event is not entry.event:
                    origins = {**entry.origins, **dict.fromkeys(values, ("events", correction.index, key))}
                    entry = replace(entry, event=event, origins=origins)
            case _:  # who else signs changes nothing
                continue
        entry = replace(entry, corrections=(*entry.corrections, change))
        yield entry, tuple(faults)


def _apply(entry: Entry, corrections: Iterable[Entry]) -> _Read:
    faults: list[Finding] = []
    for read, more in replayed(entry, corrections):
        entry = read
        faults.extend(more)
    return entry, tuple(faults)


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
                "retract the entry and chart it again",
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
