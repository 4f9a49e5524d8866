"""Facts of the whole record that conditions ask about, gathered once for all of its events."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable
from datetime import datetime
from functools import cached_property, lru_cache
from typing import Any, Final, TypeVar

from lda_notes.record import events as ev
from lda_notes.record.episode import Episode

C = TypeVar("C", bound=ev.CareEvent)
_THROUGH: Final = (ev.FlushOrLock, ev.LineUse, ev.PatencyTreatment, ev.PatencyCheck)
"""Events that put something through the line while a needle is in."""


class Whole:
    """Facts of a record as a whole that conditions ask about, each worked out on first use."""

    def __init__(self, episode: Episode) -> None:
        self._events = episode.events
        self._first_septum = episode.port.septa[0]

    @cached_property
    def first_access(self) -> datetime | None:
        """When a needle was first put in; None where none was."""
        return min((e.at for e in self._events if isinstance(e, ev.Access)), default=None)

    @cached_property
    def injected(self) -> bool:
        """Whether a power injection is on record."""
        return any(isinstance(e, ev.LineUse) and e.purpose == "power injection" for e in self._events)

    @cached_property
    def followed(self) -> frozenset[str | None]:
        """The removals that an access names as the one before it."""
        return frozenset(e.follows_removal for e in self._events if isinstance(e, ev.Access))

    @cached_property
    def moved(self) -> dict[str, list[ev.Opening | ev.Closing]]:
        """The events that put needles in and took them out, by septum and in order of time."""
        moves: dict[str, list[ev.Opening | ev.Closing]] = self._by_septum(
            event for event in self._events if isinstance(event, ev.Opening | ev.Closing)
        )
        for events in moves.values():
            events.sort(key=lambda one: (one.at, isinstance(one, ev.Opening)))
        return moves

    @cached_property
    def needles(self) -> dict[str, list[tuple[datetime, bool]]]:
        """When needles went in (true) and came out, by septum and in order of time."""
        return {septum: [(e.at, isinstance(e, ev.Opening)) for e in moves] for septum, moves in self.moved.items()}

    @cached_property
    def opened(self) -> dict[str, list[datetime]]:
        """When needles went in, by septum and in order of time."""
        return {septum: [at for at, opens in moves if opens] for septum, moves in self.needles.items()}

    @cached_property
    def used(self) -> dict[str, list[ev.CareEvent]]:
        """The events that put something through the line, by septum and in order of time."""
        return self._by_septum(sorted((e for e in self._events if isinstance(e, _THROUGH)), key=at_of))

    @cached_property
    def care(self) -> list[ev.CareEvent]:
        """The events at the line, in order of time."""
        return sorted((e for e in self._events if isinstance(e, ev.CareEvent)), key=at_of)

    @cached_property
    def locks(self) -> list[tuple[datetime, Any]]:
        """The locks that flushes recorded, by moment."""
        return _by_time((e.at, e.lock) for e in self._events if isinstance(e, ev.Flushed | ev.FlushedElsewhere))

    @cached_property
    def settings(self) -> list[tuple[datetime, Any]]:
        """Where transfers went, by moment."""
        return _by_time((e.at, e.to_setting) for e in self._events if isinstance(e, ev.Transfer))

    def _by_septum(self, events: Iterable[C]) -> dict[str, list[C]]:
        found: dict[str, list[C]] = {}
        for event in events:
            found.setdefault(event.septum or self._first_septum, []).append(event)
        return found


def _by_time(told: Iterable[tuple[datetime, Any]]) -> list[tuple[datetime, Any]]:
    """Return what was said at each moment, in order of time; of two of one moment the first of the file."""
    return sorted(dict(reversed(list(told))).items(), key=_moment)


def _moment(said: tuple[datetime, Any]) -> datetime:
    return said[0]


def last_before(told: list[tuple[datetime, Any]], moment: datetime) -> tuple[datetime, Any] | None:
    """Return what was said last before a moment, with its own moment; None where nothing was."""
    position = bisect_left(told, moment, key=_moment)
    return told[position - 1] if position else None


class _Same:
    """An episode compared by identity: comparing its facts would cost more than gathering them."""

    __slots__ = ("episode",)

    def __init__(self, episode: Episode) -> None:
        self.episode = episode

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.episode is self.episode

    def __hash__(self) -> int:
        return id(self.episode)


@lru_cache(maxsize=2)
def _gathered(same: _Same) -> Whole:
    return Whole(same.episode)


def whole(episode: Episode) -> Whole:
    """Return what a record says as a whole; of the same record the same object."""
    return _gathered(_Same(episode))


def at_of(event: ev.Event) -> datetime:
    """Return when an event happened, as a key to sort by."""
    return event.at
