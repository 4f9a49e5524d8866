"""The scene of a note: one event in its surroundings, and the paths by which its facts are named."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final
from zoneinfo import ZoneInfo

from lda_notes.knowledge.policy import Policy
from lda_notes.line.corrections import Entry
from lda_notes.line.states import State, Step
from lda_notes.line.timeline import Timeline
from lda_notes.problems import Path
from lda_notes.record import events as ev

Value = tuple[Any, tuple[Path, ...]]
Values = dict[str, Value]

SIGNED: Final = frozenset({"id", "kind", "at", "charted_at", "by", "verified_by", "seal"})
"""Facts that heading and signature tell, not the sentences."""


@dataclass(frozen=True, slots=True)
class Scene:
    """One event in its surroundings. ``step`` is None for an entry that does not stand (an original, a retracted)."""

    timeline: Timeline
    policy: Policy
    zone: ZoneInfo
    entry: Entry
    step: Step | None

    @property
    def event(self) -> Any:
        """The event, of whatever kind."""
        return self.entry.event

    def states(self) -> tuple[tuple[State, State], ...]:
        """Return the states before and after the event, for its septum or, if it is about none, for each."""
        if self.step is None:
            return ()
        if self.step.septum is not None:
            return ((self.step.before, self.step.after),)
        moment = self.event.at
        return tuple((s := self.timeline.state_at(septum, moment), s) for septum in self.timeline.episode.port.septa)


def at(entry: Entry, *keys: str) -> Path:
    """Return the path of a fact by its event; `standing` says where it is written when a correction supplied it."""
    return ("events", entry.index, *keys)


def recorded(entry: Entry, *keys: str) -> Path:
    """Return the path of a fact, or of the kind of its event where it was not recorded: that is all there is."""
    part: Any = entry.event
    for key in keys:
        part = getattr(part, key, None)
    return at(entry, *keys) if part is not None else at(entry, "kind")


def since(entry: Entry) -> Path:
    """Return the path of the moment that a needle's stay began."""
    return recorded(entry, "inserted_at" if isinstance(entry.event, ev.ArrivalAccessed) else "at")
