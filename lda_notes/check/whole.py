"""What the whole record says that a condition asks of, gathered once for all of its events."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable
from datetime import datetime
from functools import lru_cache
from typing import Any, Final

from lda_notes.record import events as ev
from lda_notes.record.episode import Episode

_THROUGH: Final = (ev.FlushOrLock, ev.LineUse, ev.PatencyTreatment, ev.PatencyCheck)
"""What goes through the line while a needle is in."""


class Whole:
    """What conditions ask of a record as a whole. ``needles`` has, by septum, the times of needles in and out."""

    def __init__(self, episode: Episode) -> None:
        self.first_access = min((e.at for e in episode.events if isinstance(e, ev.Access)), default=None)
        self.injected = any(isinstance(e, ev.LineUse) and e.purpose == "power injection" for e in episode.events)
        self.followed = {e.follows_removal for e in episode.events if isinstance(e, ev.Access)}
        self.needles: dict[str, list[tuple[datetime, bool]]] = {}
        self.moved: dict[str, list[ev.Opening | ev.Closing]] = {}
        for event in episode.events:
            if isinstance(event, ev.Opening | ev.Closing):
                septum = event.septum or episode.port.septa[0]
                self.needles.setdefault(septum, []).append((event.at, isinstance(event, ev.Opening)))
                self.moved.setdefault(septum, []).append(event)
        for moves in self.needles.values():
            moves.sort()
        self.used: dict[str, list[ev.CareEvent]] = {}
        for use in sorted((e for e in episode.events if isinstance(e, _THROUGH)), key=at_of):
            self.used.setdefault(use.septum or episode.port.septa[0], []).append(use)
        for events in self.moved.values():
            events.sort(key=lambda one: (one.at, isinstance(one, ev.Opening)))
        self.opened = {septum: [at for at, opens in moves if opens] for septum, moves in self.needles.items()}
        self.care = sorted((e for e in episode.events if isinstance(e, ev.CareEvent)), key=at_of)
        self.locks = _by_time((e.at, e.lock) for e in episode.events if isinstance(e, ev.Flushed | ev.FlushedElsewhere))
        self.settings = _by_time((e.at, e.to_setting) for e in episode.events if isinstance(e, ev.Transfer))


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
