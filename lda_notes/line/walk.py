"""One walk over the entries of a line, which another walk may take over as far as both see the same entries."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from operator import is_
from typing import Any, NamedTuple

from lda_notes.line.corrections import Entry
from lda_notes.line.known import Known, changed
from lda_notes.line.states import State, Step
from lda_notes.line.transitions import Fold, after, keep, reached, septum_of
from lda_notes.record import events as ev


class Mark(NamedTuple):
    """Where a walk stood after an entry: what was true, and how long each of its lists was."""

    entry: Entry
    states: tuple[State, ...]
    known: Known
    implanted: datetime | None
    sizes: tuple[int, ...]


@dataclass(slots=True)
class Walk:
    """One walk over the entries of a line: what is true, what has been, and a mark after each entry."""

    fold: Fold
    states: dict[str, State]
    told: list[Known]
    steps: list[Step] = field(default_factory=list)
    courses: dict[str, list[Step]] = field(default_factory=dict)
    marks: list[Mark] = field(default_factory=list)
    lists: tuple[list[Any], ...] = ()
    """Every list that grows on the way."""

    def __post_init__(self) -> None:
        """Gather the lists."""
        histories = (of for one in self.fold.histories.values() for of in one.lists())
        self.lists = (self.told, self.steps, *self.courses.values(), *histories)

    def pass_by(self, entry: Entry, *, own: bool) -> None:
        """Let an event change the states; ``own``: the timeline lists what it did."""
        event, fold = entry.event, self.fold
        after_change = changed(fold.known, event)
        if after_change is not fold.known:
            fold.known = after_change
            self.told.append(after_change)
        if isinstance(event, ev.PortImplanted):
            fold.implanted = event.at
        named = septum_of(event, fold.septa)
        for septum in fold.septa:
            before = self.states[septum]
            about = named is None or septum == named
            now = after(before, entry, fold) if about else reached(before, entry, fold)
            if now is before and not about:
                continue
            self.states[septum] = now
            keep(fold.histories[septum], event.at, now)
            if about and own:
                step = Step(entry, named, before, now)
                self.courses[septum].append(step)
                if septum == (named or fold.septa[0]):
                    self.steps.append(step)

    def mark(self, entry: Entry) -> Mark:
        """Note where the walk stands after an entry."""
        sizes = tuple(map(len, self.lists))
        self.marks.append(Mark(entry, tuple(self.states.values()), self.fold.known, self.fold.implanted, sizes))
        return self.marks[-1]

    def take_over(self, earlier: Walk, begin: int, end: int) -> None:
        """Take over what an earlier walk added between two numbers of entries, both of which stand alike here."""
        if begin == end:
            return
        old = earlier.marks[begin - 1].sizes if begin else tuple(map(len, self.lists))
        last = earlier.marks[end - 1]
        for own, theirs, since, until in zip(self.lists, earlier.lists, old, last.sizes, strict=True):
            own += theirs[since:until]
        self.states = dict(zip(self.states, last.states, strict=True))
        self.fold.known, self.fold.implanted = last.known, last.implanted
        self.marks += earlier.marks[begin:end]


def alike(every: Sequence[Entry], earlier: Walk | None) -> tuple[int, int]:
    """Return with how many entries both begin, and from which position on both continue alike; never, where none does.

    Alike are the very same entries: the states of the earlier walk refer to them.
    """
    known = [mark.entry for mark in earlier.marks] if earlier is not None else []
    begin = next((at for at, same in enumerate(map(is_, every, known)) if not same), min(len(every), len(known)))
    if len(every) != len(known):
        return begin, len(every) + 1
    ends = map(is_, reversed(every), reversed(known))
    return begin, len(every) - next((at for at, same in enumerate(ends) if not same), len(every))
