"""The notes of a corrected record: one for each entry, a version for each amendment, which of them stands."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import count, takewhile
from typing import Final, Literal, NamedTuple

from lda_notes.fhir.build.book import Book, as_charted, as_it_stood
from lda_notes.fhir.build.fold import Fold
from lda_notes.fhir.build.papers import Note, document
from lda_notes.fhir.build.scene import Made, scene
from lda_notes.fhir.identity import IN_ERROR
from lda_notes.line.corrections import Entry, replayed
from lda_notes.line.timeline import Timeline
from lda_notes.record import events as ev

MOST_TOLD: Final = 8
"""Corrections that a version of a note names; of more, the versions before it name the earlier ones."""


class _Version(NamedTuple):
    """A document as a reading has it: its status, what it replaces or adds to, and the correction that brought it."""

    status: str
    relates: tuple[Literal["replaces", "appends"], str] | None = None
    by: Entry | None = None


@dataclass
class Versions:
    """The notes from one correction to the next. ``known`` are the corrections so far, ``withdrawn`` the retracted."""

    book: Book
    notes: dict[str, Note]
    """The notes of the events, and of each correction that is not a retraction."""
    known: dict[str, Entry] = field(default_factory=dict)
    withdrawn: set[str] = field(default_factory=set)
    _filed: dict[str, dict[str, _Version]] = field(default_factory=dict)
    """The documents of each corrected event, and of each correction of something else."""
    _heads: dict[str, str] = field(default_factory=dict)
    _families: dict[str, list[Entry]] = field(default_factory=dict)
    """The corrections of each entry and of its corrections."""
    _waiting: dict[str, list[Entry]] = field(default_factory=dict)
    """Corrections of what is not known, by that."""
    _before: dict[str, dict[str, ev.Event]] = field(default_factory=dict)
    """How each entry read before each correction that is in force."""
    _stood: Timeline | None = None
    """The record as it stood when the last of these notes was charted."""
    _last: list[Entry] = field(default_factory=list)
    """The record before that entry, as it was then read."""

    @cached_property
    def _charted(self) -> tuple[Entry, ...]:
        return self.book.first.timeline.entries

    @cached_property
    def _places(self) -> dict[str, int]:
        return {entry.event.id: place for place, entry in enumerate(self._charted)}

    def remember(self, target: str, before: Fold, after: Fold, correction: Entry) -> None:
        """Keep how an entry read before each of its corrections, and which corrections are its family."""
        old, new = before.timeline.entry(target), after.timeline.entry(target)
        self._join(correction, target if new is not None else self._heads.get(target))
        if old is None or new is None:
            return
        read = self._before.setdefault(target, {})
        if len(new.corrections) > len(old.corrections):
            read[correction.event.id] = old.event
        elif len(new.corrections) < len(old.corrections):  # one was withdrawn
            first = Entry(new.index, new.original, new.original)
            in_force = [self.known[one.id] for one in new.corrections]
            events = [first.event, *(entry.event for entry, _ in replayed(first, in_force))]
            self._before[target] = dict(zip((one.id for one in new.corrections), events, strict=False))

    def _join(self, correction: Entry, head: str | None) -> None:
        """Let a correction join the family of an entry, and those that waited for it, being dated before it."""
        if head is None:
            self._waiting.setdefault(target_of(correction), []).append(correction)
            return
        joining = [correction]
        for one in joining:
            self._heads[one.event.id] = head
            self._families.setdefault(head, []).append(one)
            joining += self._waiting.pop(one.event.id, ())

    def tell(self, correction: Entry, after: Fold) -> None:
        """Write the note of a correction: the whole entry again where it amends one, else its own words."""
        if self.book.options.notes is None:
            return
        event, target = correction.event, target_of(correction)
        entry = after.timeline.entry(target)
        subject, earlier = event.id, 0
        if entry is None:
            told = list({one.event.id: one for one in (self.known.get(target), correction) if one is not None}.values())
            before: tuple[Entry, ...] = ()
            then = self._read((one for one in self._charted if one.event.at <= event.at), after)
        else:
            told = self._told(target, entry)
            in_force = {one.id for one in entry.corrections}
            ids = [one.event.id for one in told if one.event.id in in_force]
            before = self._as_read(self._charted[: self._places[target]], after)
            then = [self._before[target][ids[0]] if ids else entry.event]
            subject = target if isinstance(event, ev.Amendment) else event.id
            earlier = len(in_force) - len(ids)
        then += [one.event for one in told]
        self._stood = as_it_stood(self.book, before, then, event, self._stood)
        self.notes[event.id] = self.book.options.notes(self._stood, subject, earlier)

    def _told(self, target: str, entry: Entry) -> list[Entry]:
        """Return the last corrections of an entry's family, with what each is about and what withdrew the entry."""
        family = self._families[target]
        if len(family) <= MOST_TOLD:
            return sorted(family, key=self._place)
        kept = {one.event.id: one for one in family[-MOST_TOLD:]}
        about = [self.known[of] for one in kept.values() if (of := target_of(one)) in self.known]
        kept |= {one.event.id: one for one in about if target_of(one) == target}
        if entry.retraction is not None:
            kept[entry.retraction.id] = self.known[entry.retraction.id]
        sound = {target}
        for one in sorted(kept.values(), key=self._place):
            if target_of(one) in sound:
                sound.add(one.event.id)
        return [one for one in sorted(kept.values(), key=self._place) if one.event.id in sound]

    def _place(self, correction: Entry) -> int:
        return self._order[correction.event.id]

    @cached_property
    def _order(self) -> dict[str, int]:
        return {entry.event.id: place for place, entry in enumerate(self.book.timeline.corrections)}

    def _read(self, charted: Iterable[Entry], after: Fold) -> list[ev.Event]:
        """Return the events as a reading has them, without those that it withdrew."""
        entries = (after.timeline.entry(one.event.id) for one in charted)
        return [entry.event for entry in entries if entry is not None and entry.retraction is None]

    def _as_read(self, charted: Iterable[Entry], after: Fold) -> tuple[Entry, ...]:
        """Return the same as entries, each by its position; as far as nothing changed, those of the last time."""
        events = self._read(charted, after)
        same = sum(1 for _ in takewhile(lambda pair: pair[0].event is pair[1], zip(self._last, events, strict=False)))
        if same < len(events):
            self._last[same:] = map(as_charted, count(same), events[same:])
        return tuple(self._last[: len(events)])

    def filed(self, reading: Fold, about: str) -> tuple[list[Made], list[str]]:
        """Return the documents of an event, or of a correction of something else, that a reading has otherwise.

        With them the names of those that it has no more.
        """
        if self.book.options.notes is None:
            return [], []
        entry = reading.timeline.entry(about)
        correction = self.known.get(about)
        if entry is not None:
            now = dict(self._chain(entry))
        elif correction is None or isinstance(correction.event, ev.Retraction) or about in self.withdrawn:
            now = {}
        elif self.book.first.timeline.entry(target_of(correction)) is None:
            now = {self.book.frame.event_name(about, "note"): _Version("current", by=correction)}
        else:
            return [], []  # it is in the chain of its entry
        old = self._filed.get(about, {})
        self._filed[about] = now
        made = [self._document(name, version, entry) for name, version in now.items() if old.get(name) != version]
        return made, [name for name in old if name not in now]

    def _chain(self, entry: Entry) -> Iterator[tuple[str, _Version]]:
        """Yield the note of an event, the versions that replaced it, and the addenda to it."""
        base = self.book.frame.event_name(entry.original.id, "note")
        amendments = [one for one in entry.corrections if isinstance(one, ev.Amendment)]
        wrong = entry.retraction is not None

        def status(newest: bool) -> str:
            return IN_ERROR if wrong else "current" if newest else "superseded"

        yield base, _Version(status(not amendments))
        older = base
        for one in amendments:
            name = self.book.frame.event_name(one.id, "note")
            yield name, _Version(status(one is amendments[-1]), ("replaces", older), self.known[one.id])
            older = name
        for added in entry.corrections:
            if isinstance(added, ev.Addendum):
                name = self.book.frame.event_name(added.id, "note")
                yield name, _Version(status(newest=True), ("appends", base), self.known[added.id])

    def _document(self, name: str, version: _Version, entry: Entry | None) -> Made:
        by = version.by.event if version.by is not None else None
        about = entry.original if entry is not None else by
        assert about is not None
        resource = document(
            scene(self.book.frame, about, whole=False),
            name,
            self.notes[(by or about).id],
            version.status,
            written=(by.charted_at or by.at) if by is not None else None,
            by=by.by if by is not None else None,
            relates=version.relates,
            signed=(by or about).seal is not None,
        )
        return Made(name, resource, ())


def target_of(correction: Entry) -> str:
    """Return the identifier of what a correction is about."""
    assert isinstance(correction.event, ev.Correcting)
    return correction.event.of
