"""Bundles of corrections: what a retraction, an amendment or an addendum changes in what was sent before.

The record is read once without corrections and again with each of them. What differs between two readings is
what that correction changed, and it is written as the whole record leaves it: a task that a later event closed
stays closed, whatever is retracted before it. Of a reading only what it changed is kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Final

from lda_notes.fhir.build.book import (
    Book,
    EventBundle,
    add_provenance,
    begin,
    finished,
    needle_reference,
    own_facts,
)
from lda_notes.fhir.build.fold import NOBODY, Fold
from lda_notes.fhir.build.papers import CORRECTION, Note
from lda_notes.fhir.build.scene import Made, Scene, scene
from lda_notes.fhir.build.versions import Versions, target_of
from lda_notes.fhir.elements import Json, concept, plain, to_json
from lda_notes.fhir.identity import IN_ERROR, status_of
from lda_notes.line.corrections import Entry
from lda_notes.problems import Path
from lda_notes.record import events as ev
from lda_notes.record.merging import lays_over

State = Mapping[str, Made]
"""Every shared and every corrected resource by its identity, as one reading of the record leaves it."""


@dataclass(frozen=True, slots=True)
class Change:
    """The changes of one correction: resources by identity, its own document, and whether its target reads otherwise.

    ``withdrawn`` are its own words where it was taken back before it was made.
    """

    names: tuple[str, ...]
    paper: Made | None
    withdrawn: State
    reads_otherwise: bool


@dataclass(frozen=True)
class Ledger:
    """The changes of each correction, the final state, and which resources are always written together."""

    changes: Mapping[str, Change]
    last: State
    together: Mapping[str, tuple[str, ...]]

    @cached_property
    def ended(self) -> State:
        """The resources that end up entered in error, with those always written together with them."""
        wrong = [name for name, made in self.last.items() if is_in_error(made.resource)]
        names = {other for name in wrong for other in self.together.get(name, (name,))}
        return {name: self.last[name] for name in names}


def ledger(book: Book, notes: Mapping[str, Note]) -> Ledger:
    """Work out what each correction of a record changed; ``notes`` are those of its events as first charted."""
    account = _Account(book, Versions(book, dict(notes)))
    folds = book.folds()
    before = next(folds)
    account.begin(before)
    changes: dict[str, Change] = {}
    for correction, after in zip(book.timeline.corrections, folds, strict=True):
        changes[correction.event.id] = account.next(correction, before, after)
        before = after
    return Ledger(changes, account.state, account.together)


@dataclass
class _Account:
    """The state of a record from one correction to the next."""

    book: Book
    versions: Versions
    state: dict[str, Made] = field(default_factory=dict)
    together: dict[str, tuple[str, ...]] = field(default_factory=dict)
    _shared: dict[str, Made] = field(default_factory=dict)
    _own: dict[str, dict[str, Made]] = field(default_factory=dict)
    """The resources of each corrected event, and of each corrected correction."""
    _first: dict[str, Made] = field(default_factory=dict)
    _called: dict[str, str] = field(default_factory=dict)
    """The names of observations that no longer say what they first said."""

    @cached_property
    def _targets(self) -> frozenset[str]:
        return frozenset(target_of(entry) for entry in self.book.timeline.corrections)

    def begin(self, first: Fold) -> None:
        """Take the record as first charted."""
        self._share(first)
        for target in dict.fromkeys(target_of(entry) for entry in self.book.timeline.corrections):
            if first.timeline.entry(target) is not None:
                self._own[target] = self._facts_of(first, target)
                self._first |= self._own[target]
        self.state |= self._shared
        for facts in self._own.values():
            self.state |= facts
        for target in self._own:
            self._put(*self.versions.filed(first, target))

    def next(self, correction: Entry, before: Fold, after: Fold) -> Change:
        """Take one correction more and return what it changed."""
        event, target = correction.event, target_of(correction)
        self.versions.known[event.id] = correction
        if isinstance(event, ev.Retraction):
            self.versions.withdrawn.add(target)
        changed = self._share(after)
        changed |= self._state_facts(correction, before, after)
        old, new = before.timeline.entry(target), after.timeline.entry(target)
        affected = target
        if new is None and target in self.versions.known:
            affected = target_of(self.versions.known[target])
        self.versions.remember(affected, before, after, correction)
        if not isinstance(event, ev.Retraction):
            self.versions.tell(correction, after)
        for about in dict.fromkeys((affected, target, event.id)):
            changed |= self._put(*self.versions.filed(after, about))
        own = self._own.get(event.id, {}) if event.id in self.versions.withdrawn else {}
        otherwise = old is not None and new is not None and old.retraction is None and old.event != new.event
        paper = self.state.get(self.book.frame.event_name(event.id, "note"))
        return Change(tuple(changed), paper, dict(own), otherwise)

    def _put(self, now: Iterable[Made], gone: Iterable[str]) -> dict[str, None]:
        """Enter what is gone and what is there, and return what of it is new or reads otherwise."""
        made = [*(_in_error(self.state[name]) for name in gone), *now]
        fresh = {one.name: one for one in made if self.state.get(one.name) != one}
        self.state |= fresh
        return dict.fromkeys(fresh)

    # -- resources --

    def _share(self, fold: Fold) -> dict[str, None]:
        now: dict[str, Made] = {}
        for strand in fold.strands.values():
            made = strand.made(True)
            names = tuple(one.name for one in made)
            self.together.update(dict.fromkeys(names, names))
            now.update((one.name, one) for one in made)
        gone = [name for name in self._shared if name not in now]
        self._shared = now
        return self._put(now.values(), gone) if self.state else {}

    def _state_facts(self, correction: Entry, before: Fold, after: Fold) -> dict[str, None]:
        """Return the resources of the events that a correction changes: itself, its target, and that one's target."""
        target = target_of(correction)
        affected = [target, correction.event.id]
        if target in self.versions.known:
            affected.append(target_of(self.versions.known[target]))
        changed: dict[str, None] = {}
        for one in affected:
            entry = before.timeline.entry(one)
            if entry is not None and entry.retraction is not None:
                continue  # what corrections say of it later changes nothing that was sent
            now, old = self._facts_of(after, one), self._own.pop(one, {})
            for name, made in now.items():
                if made.resource["resourceType"] == "Observation" and not is_in_error(made.resource):
                    now[name] = self._call(made, old.get(name), adds=isinstance(correction.event, ev.Addendum))
            gone = [name for name in old if name not in now]
            if now:
                self._own[one] = now
            changed |= self._put(now.values(), gone)
        return changed

    def _call(self, made: Made, before: Made | None, *, adds: bool) -> Made:
        """Return an observation that no longer says what it first said: amended by what was added, or corrected.

        Other types have no such status.
        """
        first = self._first.get(made.name)
        if first is None or made.resource == first.resource:
            self._called.pop(made.name, None)
            return made
        if before is None or {**before.resource, "status": "final"} != made.resource:
            self._called[made.name] = "amended" if adds and self._called.get(made.name) != "corrected" else "corrected"
        return Made(made.name, {**made.resource, "status": self._called[made.name]}, made.path)

    def _facts_of(self, reading: Fold, target: str) -> dict[str, Made]:
        """Return the resources of a corrected event or of a corrected correction, as a reading has them."""
        entry = reading.timeline.entry(target)
        if entry is not None:
            wrong, event = entry.retraction is not None, entry.event
        elif target in self.versions.known and target in self._targets:
            wrong, event = target in self.versions.withdrawn, self.versions.known[target].event
        else:
            return {}
        here = scene(self.book.frame, event, whole=False)
        facts = own_facts(here, needle_reference(self.book, self.book.first, here, set()))
        return {made.name: _in_error(made) if wrong else made for made in facts}


def is_in_error(resource: Json) -> bool:
    """Return whether a resource is entered in error."""
    return status_of(resource) == IN_ERROR


def _in_error(made: Made) -> Made:
    kind = made.resource["resourceType"]
    if kind not in _BY_VERIFICATION:
        return Made(made.name, {**made.resource, "status": IN_ERROR}, made.path)
    # R4 (ait-2, con-5): what was entered in error has no clinical status.
    held = {key: value for key, value in made.resource.items() if key != "clinicalStatus"}
    return Made(made.name, {**held, "verificationStatus": concept(_BY_VERIFICATION[kind])}, made.path)


_BY_VERIFICATION: Final = {"AllergyIntolerance": "allergy in error", "Condition": "condition in error"}
"""Types without a status of their own, and what their verification status says then."""


# -- the bundle of a correction --


def correction_bundle(book: Book, entry: Entry, known: Ledger) -> EventBundle:
    """Return the transaction of a correction: what it changed, its own words, its document and who made it."""
    event = entry.event
    assert isinstance(event, ev.Correcting)
    change = known.changes[event.id]
    here = scene(book.frame, event)
    own = {made.name: made for made in own_facts(here, None)}
    own |= {made.name: made for made in _stated(book, here, event, change)}
    paper = here.name("note")
    changed = [name for name in change.names if name not in own and name != paper]
    changed = list(dict.fromkeys(other for name in changed for other in known.together.get(name, (name,))))
    writer = begin(book, [strand for strand in book.last.opened.get(NOBODY, ()) if strand.name in changed])
    for name in changed:
        writer.update(known.last[name], entry.path())
    for made in own.values():
        if made.name in change.withdrawn:  # a retraction of it is dated before it: nothing else takes it back
            writer.update(change.withdrawn[made.name], entry.path(*made.path))
        else:
            writer.create(made, entry.path(*made.path))
    if change.paper is not None and is_in_error(change.paper.resource):
        writer.update(known.last[paper], entry.path())
    elif change.paper is not None:
        writer.create(_new_paper(book, change.paper, writer.names), entry.path())
    add_provenance(
        book,
        writer,
        here,
        entry,
        revises=event.of,
        nullifies=isinstance(event, ev.Retraction),
    )
    return finished(book, writer, entry)


def _new_paper(book: Book, made: Made, present: set[str]) -> Made:
    """Return the document as it is created: current, and referring to the one that it replaces in this bundle."""
    relates = made.resource.get("relatesTo")
    resource = {**made.resource, "status": "current"}
    if relates is not None:
        older = relates[0]["target"].get("identifier", {}).get("value")
        if older in present:
            resource["relatesTo"] = [{**relates[0], "target": book.frame.reference(older)}]
    return Made(made.name, resource, made.path)


def _stated(book: Book, here: Scene, event: ev.Correcting, change: Change) -> list[Made]:
    """Return the Observation of what a correction states, and of what was first charted there.

    Old values stand only in a server's history.
    """
    match event:
        case ev.Amendment():
            values = event.sets
        case ev.Addendum():
            values = event.adds
        case _:
            return []
    parts: list[Json] = [{"url": "stated", "valueString": to_json(values)}]
    target = book.first.timeline.entry(event.of)
    if target is not None and change.reads_otherwise:
        pairs = list(_replaced(plain(target.original), values, ()))
        parts.append({"url": "before", "valueString": to_json(pairs)})
    name = here.name("correction")
    made: Json = {
        "resourceType": "Observation",
        "identifier": book.frame.names.identifier(name),
        "status": "final",
        "category": [concept("exam")],
        "code": book.frame.say.concept("correction"),
        **here.about_port,
        "extension": [{"url": f"{book.frame.config.extensions}/{CORRECTION}", "extension": parts}, *here.septum],
        "valueString": event.kind,
    }
    return [Made(name, made, ())]


def _replaced(old: Any, new: Any, path: Path) -> Iterator[list[Any]]:
    """Pairs of a path and what stood there, for every value that a correction puts in its place."""
    if lays_over(old, new):
        for key, value in new.items():
            yield from _replaced(old.get(key), value, (*path, key))
    else:
        yield [list(path), old]
