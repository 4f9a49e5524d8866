"""Bundles of corrections: what a retraction, an amendment or an addendum changes in what was sent before.

The record is read once without corrections and again with each of them. What differs between two readings is
what that correction changed, and it is written as the whole record leaves it: a task that a later event closed
stays closed, whatever is retracted before it. Of a reading only what it changed is kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import count, takewhile
from typing import Any, Final, Literal, NamedTuple

from lda_notes.record import events as ev
from lda_notes.record.merging import lays_over
from lda_notes.fhir.build.book import (
    Book,
    EventBundle,
    add_provenance,
    begin,
    as_charted,
    as_it_stood,
    finished,
    needle_reference,
    own_facts,
)
from lda_notes.fhir.build.fold import NOBODY, Fold
from lda_notes.fhir.build.papers import CORRECTION, Note, document, is_signed
from lda_notes.fhir.build.scene import Made, Scene, scene
from lda_notes.fhir.elements import Json, concept, plain, to_json
from lda_notes.fhir.identity import status_of
from lda_notes.problems import Path
from lda_notes.line.corrections import Entry, replayed
from lda_notes.line.timeline import Timeline

IN_ERROR: Final = "entered-in-error"

MOST_TOLD: Final = 8
"""Corrections that a version of a note names; of more, the versions before it name the earlier ones."""

State = Mapping[str, Made]
"""Every shared and every corrected resource by its identity, as one reading of the record leaves it."""


@dataclass(frozen=True, slots=True)
class Change:
    """What one correction changed: resources by identity, its own document, and whether its target reads otherwise.

    ``withdrawn`` are its own words where it was taken back before it was made.
    """

    names: tuple[str, ...]
    paper: Made | None
    withdrawn: State
    reads_otherwise: bool


@dataclass(frozen=True)
class Ledger:
    """What each correction changed, the state in the end, and which resources are always written together."""

    changes: Mapping[str, Change]
    last: State
    together: Mapping[str, tuple[str, ...]]

    @cached_property
    def ended(self) -> State:
        """What is entered in error in the end, with what is always written together with it."""
        wrong = [name for name, made in self.last.items() if is_in_error(made.resource)]
        names = {other for name in wrong for other in self.together.get(name, (name,))}
        return {name: self.last[name] for name in names}


def ledger(book: Book, notes: Mapping[str, Note]) -> Ledger:
    """Work out what each correction of a record changed; ``notes`` are those of its events as first charted."""
    account = _Account(book, notes=dict(notes))
    folds = book.folds()
    before = next(folds)
    account.begin(before)
    changes: dict[str, Change] = {}
    for correction, after in zip(book.timeline.corrections, folds, strict=True):
        changes[correction.event.id] = account.next(correction, before, after)
        before = after
    return Ledger(changes, account.state, account.together)


class _Version(NamedTuple):
    """A document as a reading has it: its status, what it replaces or adds to, and the correction that brought it."""

    status: str
    relates: tuple[Literal["replaces", "appends"], str] | None = None
    by: Entry | None = None


@dataclass
class _Account:
    """The state of a record from one correction to the next."""

    book: Book
    state: dict[str, Made] = field(default_factory=dict)
    together: dict[str, tuple[str, ...]] = field(default_factory=dict)
    known: dict[str, Entry] = field(default_factory=dict)
    """The corrections so far by their identifiers."""
    _shared: dict[str, Made] = field(default_factory=dict)
    _own: dict[str, dict[str, Made]] = field(default_factory=dict)
    """The resources of each corrected event, and of each corrected correction."""
    _first: dict[str, Made] = field(default_factory=dict)
    _called: dict[str, str] = field(default_factory=dict)
    """What observations are called that no longer say what they first said."""
    _versions: dict[str, dict[str, _Version]] = field(default_factory=dict)
    """The documents of each corrected event, and of each correction of something else."""
    notes: dict[str, Note] = field(default_factory=dict)
    """The notes of the events, and of each correction that is not a retraction."""
    _stood: Timeline | None = None
    """The record as it stood when the last of these was charted."""
    _last: list[Entry] = field(default_factory=list)
    """What was charted before that entry, as it was then read."""
    _heads: dict[str, str] = field(default_factory=dict)
    _families: dict[str, list[Entry]] = field(default_factory=dict)
    """The corrections of each entry and of its corrections."""
    _waiting: dict[str, list[Entry]] = field(default_factory=dict)
    """Corrections of what is not known, by that."""
    _before: dict[str, dict[str, ev.Event]] = field(default_factory=dict)
    """How each entry read before each correction that is in force."""
    _withdrawn: set[str] = field(default_factory=set)

    @cached_property
    def _charted(self) -> tuple[Entry, ...]:
        return self.book.first.timeline.entries

    @cached_property
    def _places(self) -> dict[str, int]:
        return {entry.event.id: place for place, entry in enumerate(self._charted)}

    @cached_property
    def _targets(self) -> frozenset[str]:
        return frozenset(_target(entry) for entry in self.book.timeline.corrections)

    def begin(self, first: Fold) -> None:
        """Take the record as first charted."""
        self._share(first)
        for target in dict.fromkeys(_target(entry) for entry in self.book.timeline.corrections):
            if first.timeline.entry(target) is not None:
                self._own[target] = self._facts_of(first, target)
                self._first |= self._own[target]
        self.state |= self._shared
        for facts in self._own.values():
            self.state |= facts
        for target in self._own:
            self._file(first, target)

    def next(self, correction: Entry, before: Fold, after: Fold) -> Change:
        """Take one correction more and return what it changed."""
        event, target = correction.event, _target(correction)
        self.known[event.id] = correction
        if isinstance(event, ev.Retraction):
            self._withdrawn.add(target)
        changed = self._share(after)
        changed |= self._state_facts(correction, before, after)
        old, new = before.timeline.entry(target), after.timeline.entry(target)
        affected = target
        if new is None and target in self.known:
            affected = _target(self.known[target])
        self._remember(affected, before, after, correction)
        if not isinstance(event, ev.Retraction):
            self._tell(correction, after)
        for about in dict.fromkeys((affected, target, event.id)):
            changed |= self._file(after, about)
        own = self._own.get(event.id, {}) if event.id in self._withdrawn else {}
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
            made = strand.end()
            names = tuple(one.name for one in made)
            self.together.update(dict.fromkeys(names, names))
            now.update((one.name, one) for one in made)
        gone = [name for name in self._shared if name not in now]
        self._shared = now
        return self._put(now.values(), gone) if self.state else {}

    def _state_facts(self, correction: Entry, before: Fold, after: Fold) -> dict[str, None]:
        """Return the resources of the events that a correction changes: itself, its target, and that one's target."""
        target = _target(correction)
        affected = [target, correction.event.id]
        if target in self.known:
            affected.append(_target(self.known[target]))
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
        elif target in self.known and target in self._targets:
            wrong, event = target in self._withdrawn, self.known[target].event
        else:
            return {}
        here = scene(self.book.frame, event, whole=False)
        facts = own_facts(here, needle_reference(self.book, self.book.first, here, set()))
        return {made.name: _in_error(made) if wrong else made for made in facts}

    # -- documents --

    def _remember(self, target: str, before: Fold, after: Fold, correction: Entry) -> None:
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
            self._waiting.setdefault(_target(correction), []).append(correction)
            return
        joining = [correction]
        for one in joining:
            self._heads[one.event.id] = head
            self._families.setdefault(head, []).append(one)
            joining += self._waiting.pop(one.event.id, ())

    def _tell(self, correction: Entry, after: Fold) -> None:
        """Write the note of a correction: the whole entry again where it amends one, else its own words."""
        if self.book.options.notes is None:
            return
        event, target = correction.event, _target(correction)
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
        about = [self.known[of] for one in kept.values() if (of := _target(one)) in self.known]
        kept |= {one.event.id: one for one in about if _target(one) == target}
        if entry.retraction is not None:
            kept[entry.retraction.id] = self.known[entry.retraction.id]
        sound = {target}
        for one in sorted(kept.values(), key=self._place):
            if _target(one) in sound:
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

    def _file(self, reading: Fold, about: str) -> dict[str, None]:
        """File the documents of an event, or of a correction of something else, as a reading has them."""
        if self.book.options.notes is None:
            return {}
        entry = reading.timeline.entry(about)
        correction = self.known.get(about)
        if entry is not None:
            now = dict(self._chain(entry))
        elif correction is None or isinstance(correction.event, ev.Retraction) or about in self._withdrawn:
            now = {}
        elif self.book.first.timeline.entry(_target(correction)) is None:
            now = {self.book.frame.event_name(about, "note"): _Version("current", by=correction)}
        else:
            return {}  # it is in the chain of its entry
        old = self._versions.get(about, {})
        self._versions[about] = now
        made = [self._document(name, version, entry) for name, version in now.items() if old.get(name) != version]
        return self._put(made, [name for name in old if name not in now])

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
            signed=is_signed(by or about),
        )
        return Made(name, resource, ())


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


def _target(entry: Entry) -> str:
    assert isinstance(entry.event, ev.Correcting)
    return entry.event.of


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
