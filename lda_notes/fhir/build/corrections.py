"""Bundles of corrections: what a retraction, an amendment or an addendum changes in what was sent before.

The record is read once without corrections and again with each of them. What differs between two readings is
what that correction changed, and it is written as the whole record leaves it: a task that a later event closed
stays closed, whatever is retracted before it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

from lda_notes.record import events as ev
from lda_notes.record.merging import lays_over
from lda_notes.fhir.build.book import (
    Book,
    EventBundle,
    add_provenance,
    as_charted,
    begin,
    finished,
    needle_reference,
    own_facts,
)
from lda_notes.fhir.build.fold import NOBODY
from lda_notes.fhir.build.papers import CORRECTION, Note, document, is_signed
from lda_notes.fhir.build.scene import Made, Scene, scene
from lda_notes.fhir.elements import Json, concept, plain, to_json
from lda_notes.fhir.identity import status_of
from lda_notes.problems import Path
from lda_notes.line.corrections import Entry

IN_ERROR: Final = "entered-in-error"

State = Mapping[str, Made]
"""Every shared and every corrected resource by its identity, as one reading of the record leaves it."""


@dataclass(frozen=True)
class Ledger:
    """The states of a record, first to last, and which resources are always written together."""

    states: tuple[State, ...]
    together: Mapping[str, tuple[str, ...]]
    notes: Mapping[tuple[str, int], Note]

    @property
    def last(self) -> State:
        """The state as the whole record leaves it."""
        return self.states[-1]

    @cached_property
    def ended(self) -> State:
        """What is entered in error in the end, with what is always written together with it."""
        wrong = [name for name, made in self.last.items() if is_in_error(made.resource)]
        names = {other for name in wrong for other in self.together.get(name, (name,))}
        return {name: self.last[name] for name in names}


def ledger(book: Book) -> Ledger:
    """Work out every state of a record with corrections."""
    together: dict[str, tuple[str, ...]] = {}
    notes = _notes(book)
    first = _own(book, 0, _targets(book))
    own = dict(first)
    how: dict[str, str] = {}
    states: list[dict[str, Made]] = []
    for step in range(len(book.steps)):
        now: dict[str, Made] = {}
        for strand in book.steps[step].strands.values():
            made = strand.end()
            names = tuple(one.name for one in made)
            together.update(dict.fromkeys(names, names))
            now.update((one.name, one) for one in made)
        if step:
            own = _next_own(book, step, own, first, how)
        now |= own
        now |= _papers(book, step, notes)
        if states:
            now = {name: _in_error(made) for name, made in states[-1].items() if name not in now} | now
        states.append(now)
    return Ledger(tuple(states), together, notes)


def _next_own(book: Book, step: int, before: State, first: State, how: dict[str, str]) -> dict[str, Made]:
    """Return the resources of corrected events one correction later. ``how`` keeps what the changed ones are called."""
    correction = book.timeline.corrections[step - 1].event
    affected = [target for target in _affected(book, step) if not _is_retracted(book, step - 1, target)]
    fresh = _own(book, step, affected)
    old = {name for target in affected for name in _own(book, step - 1, {target: None})}
    now = {name: made for name, made in before.items() if name not in old}
    for name, made in fresh.items():
        if made.resource["resourceType"] == "Observation" and made.resource["status"] != IN_ERROR and name in first:
            made = _called(made, first[name], before.get(name), how, adds=isinstance(correction, ev.Addendum))
        now[name] = made
    return now


def _called(made: Made, first: Made, before: Made | None, how: dict[str, str], *, adds: bool) -> Made:
    """Return an observation that no longer says what it first said: amended by what was added, or corrected.

    Other types have no such status.
    """
    if made.resource == first.resource:
        how.pop(made.name, None)
        return made
    if before is None or {**before.resource, "status": "final"} != made.resource:
        how[made.name] = "amended" if adds and how.get(made.name) != "corrected" else "corrected"
    return Made(made.name, {**made.resource, "status": how[made.name]}, made.path)


def _is_retracted(book: Book, step: int, target: str) -> bool:
    """Tell whether an event is retracted at a step: what corrections say of it later changes nothing that was sent."""
    entry = book.steps[step].timeline.entry(target)
    return entry is not None and entry.retraction is not None


def _affected(book: Book, step: int) -> dict[str, None]:
    """Return the events that a correction changes: its target and, where that is a correction, that one's target."""
    target = _target(book.timeline.corrections[step - 1])
    found = {target: None}
    for one in book.timeline.corrections:
        if one.event.id == target:
            found[_target(one)] = None
        if _target(one) == target:
            found[one.event.id] = None
    return found


def is_in_error(resource: Json) -> bool:
    """Tell whether a resource is entered in error."""
    return status_of(resource) == IN_ERROR


def _in_error(made: Made) -> Made:
    kind = made.resource["resourceType"]
    if kind not in _BY_VERIFICATION:
        return Made(made.name, {**made.resource, "status": IN_ERROR}, made.path)
    # R4 (ait-2, con-5): what was entered in error has no clinical status.
    kept = {key: value for key, value in made.resource.items() if key != "clinicalStatus"}
    return Made(made.name, {**kept, "verificationStatus": concept(_BY_VERIFICATION[kind])}, made.path)


_BY_VERIFICATION: Final = {"AllergyIntolerance": "allergy in error", "Condition": "condition in error"}
"""Types without a status of their own, and what their verification status says then."""


def _corrections(book: Book, step: int) -> tuple[Entry, ...]:
    """Return the corrections that are taken into account at a step."""
    return book.timeline.corrections[:step]


def _targets(book: Book) -> dict[str, None]:
    """Identifiers of the events that any correction is about."""
    return dict.fromkeys(_target(entry) for entry in book.timeline.corrections)


def _target(entry: Entry) -> str:
    assert isinstance(entry.event, ev.Correcting)
    return entry.event.of


def _withdrawn(book: Book, step: int) -> set[str]:
    return {_target(entry) for entry in _corrections(book, step) if isinstance(entry.event, ev.Retraction)}


def _own(book: Book, step: int, targets: Iterable[str]) -> dict[str, Made]:
    """Return the resources of corrected events and of withdrawn corrections, as a step reads them."""
    reading = book.steps[step]
    found: dict[str, Made] = {}
    for target in targets:
        entry = reading.timeline.entry(target)
        correction = next((one for one in _corrections(book, step) if one.event.id == target), None)
        if entry is not None:
            wrong = entry.retraction is not None
            here = scene(book.frame, entry.event, whole=False)
        elif correction is not None and target in _targets(book):
            wrong = target in _withdrawn(book, step)
            here = scene(book.frame, correction.event, whole=False)
        else:
            continue
        for made in own_facts(here, needle_reference(book, book.first, here, set())):
            found[made.name] = _in_error(made) if wrong else made
    return found


# -- documents --


def _notes(book: Book) -> dict[tuple[str, int], Note]:
    """Return every note of a corrected event and of its corrections, by event and by how many corrections it knows."""
    write = book.options.notes
    if write is None:
        return {}
    found: dict[tuple[str, int], Note] = {}
    first, beside = book.first.timeline, book.timeline.others.beside
    for target in _targets(book):
        entry = first.entry(target)
        if entry is not None:
            found[target, 0] = write(as_charted(book, entry), target, scene(book.frame, entry.event).recorded, beside)
    for step, correction in enumerate(book.timeline.corrections, start=1):
        known = [one.event for one in _corrections(book, step)]
        entry = first.entry(_target(correction))
        if isinstance(correction.event, ev.Retraction):
            continue
        episode = as_charted(book, entry or correction, known)
        amended = isinstance(correction.event, ev.Amendment) and entry is not None
        subject = _target(correction) if amended else correction.event.id
        found[correction.event.id, step] = write(episode, subject, scene(book.frame, correction.event).recorded, beside)
    return found


def _papers(book: Book, step: int, notes: Mapping[tuple[str, int], Note]) -> dict[str, Made]:
    """Return the documents of corrected events and of corrections, with what replaces what at a step."""
    if not notes:
        return {}
    found: dict[str, Made] = {}
    for target in _targets(book):
        entry = book.steps[step].timeline.entry(target)
        if entry is not None:
            found.update((made.name, made) for made in _chain(book, step, entry, notes))
    withdrawn = _withdrawn(book, step)
    for correction in _corrections(book, step):
        if isinstance(correction.event, ev.Retraction) or correction.event.id in withdrawn:
            continue
        if book.first.timeline.entry(_target(correction)) is None:
            made = _paper(book, correction, notes, "current")
            found[made.name] = made
    return found


def _chain(book: Book, step: int, entry: Entry, notes: Mapping[tuple[str, int], Note]) -> Iterator[Made]:
    """Yield the note of an event, the versions that replaced it, and the addenda to it."""
    here = scene(book.frame, entry.original, whole=False)
    base = here.name("note")
    in_force = {one.id for one in entry.corrections}
    standing = [one for one in _corrections(book, step) if one.event.id in in_force]
    amendments = [one for one in standing if isinstance(one.event, ev.Amendment)]
    wrong = entry.retraction is not None

    def status(newest: bool) -> str:
        return IN_ERROR if wrong else "current" if newest else "superseded"

    signed = is_signed(entry.original)
    resource = document(here, base, notes[entry.event.id, 0], status(not amendments), signed=signed)
    yield Made(base, resource, ())
    older = base
    for one in amendments:
        made = _paper(book, one, notes, status(one is amendments[-1]), ("replaces", older), entry)
        older = made.name
        yield made
    for one in standing:
        if isinstance(one.event, ev.Addendum):
            yield _paper(book, one, notes, status(newest=True), ("appends", base), entry)


def _paper(
    book: Book,
    correction: Entry,
    notes: Mapping[tuple[str, int], Note],
    status: str,
    relates: Any = None,
    entry: Entry | None = None,
) -> Made:
    """Return the document that a correction brought."""
    step = book.timeline.corrections.index(correction) + 1
    here = scene(book.frame, entry.original if entry is not None else correction.event, whole=False)
    name = book.frame.event_name(correction.event.id, "note")
    resource = document(
        here,
        name,
        notes[correction.event.id, step],
        status,
        written=correction.event.charted_at or correction.event.at,
        by=correction.event.by,
        relates=relates,
        signed=is_signed(correction.event),
    )
    return Made(name, resource, ())


# -- the bundle of a correction --


def correction_bundle(book: Book, entry: Entry, known: Ledger) -> EventBundle:
    """Return the transaction of a correction: what it changed, its own words, its document and who made it."""
    event = entry.event
    assert isinstance(event, ev.Correcting)
    step = book.timeline.corrections.index(entry) + 1
    before, after = known.states[step - 1], known.states[step]
    here = scene(book.frame, event)
    own = {made.name: made for made in own_facts(here, None)}
    own |= {made.name: made for made in _stated(book, step, here, event)}
    paper = here.name("note")
    changed = [name for name in after if after[name] != before.get(name) and name not in own and name != paper]
    changed = list(dict.fromkeys(other for name in changed for other in known.together.get(name, (name,))))
    writer = begin(book, [strand for strand in book.last.opened.get(NOBODY, ()) if strand.name in changed])
    for name in changed:
        writer.update(known.last[name], entry.path())
    for made in own.values():
        final = after.get(made.name, made)
        if is_in_error(final.resource):  # a retraction of it is dated before it: nothing else takes it back
            writer.update(final, entry.path(*made.path))
        else:
            writer.create(made, entry.path(*made.path))
    if paper in after and after[paper].resource["status"] == IN_ERROR:
        writer.update(known.last[paper], entry.path())
    elif paper in after:
        writer.create(_new_paper(book, after[paper], writer.names), entry.path())
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


def _stated(book: Book, step: int, here: Scene, event: ev.Correcting) -> list[Made]:
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
    old = book.steps[step - 1].timeline.entry(event.of)
    new = book.steps[step].timeline.entry(event.of)
    if old is not None and new is not None and old.retraction is None and old.event != new.event:
        pairs = list(_replaced(plain(new.original), values, ()))
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
