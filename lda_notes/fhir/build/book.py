"""A record opened for its bundles, and the parts that every bundle is put together from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain, count, islice
from typing import Any, Final, Protocol

from lda_notes import pipeline
from lda_notes.fhir.build.administrations import administrations
from lda_notes.fhir.build.context import context_entries, people, places, practitioner
from lda_notes.fhir.build.devices import supply_devices
from lda_notes.fhir.build.fold import NOBODY, Fold, Strand, fold
from lda_notes.fhir.build.frame import Frame, Style, frame
from lda_notes.fhir.build.observations import observations
from lda_notes.fhir.build.papers import DESPITE, Note, provenance, provenance_name
from lda_notes.fhir.build.procedures import procedure
from lda_notes.fhir.build.scene import Made, Scene
from lda_notes.fhir.config import Config
from lda_notes.fhir.elements import Json
from lda_notes.fhir.profiles import profiled
from lda_notes.knowledge.policy import Policy
from lda_notes.line.corrections import Entry, corrected, growing
from lda_notes.line.timeline import Timeline, build
from lda_notes.problems import Failure, Path
from lda_notes.record import events as ev
from lda_notes.record.episode import Episode
from lda_notes.record.parts import Person


class Notes(Protocol):
    """Writes the note of an event of a record as it stood when the note was charted."""

    def __call__(self, stood: Timeline, event: str, earlier: int = 0, /) -> Note:
        """Return the note. ``earlier`` corrections are in the event as it is there."""


@dataclass(frozen=True, slots=True)
class Options:
    """How bundles are made.

    ``with_context`` adds patient, staff, facility and stay on condition. ``notes`` writes the notes; None leaves them
    out. ``despite`` is why a record with faults is sent all the same.
    """

    with_context: bool = False
    notes: Notes | None = None
    despite: str | None = None


@dataclass(frozen=True, slots=True)
class EventBundle:
    """The transaction of one event. ``paths`` lead from each entry of the bundle to its facts in the record."""

    event: str
    kind: str
    bundle: Json
    paths: tuple[Path, ...]


_UNTRACED: Final = frozenset({"Provenance", "Encounter", "List"})
"""Types that no Provenance names: itself, what is not ours, and what stands in every bundle."""


@dataclass(slots=True)
class Writer:
    """A bundle that is being put together: entries, their paths, and which identities it already has.

    ``ended`` are resources that corrections took back: they are written as they are in the end, never as they were
    first, so that an entry that was retracted before it was ever sent is never active on a server.
    """

    frame: Frame
    entries: list[Json] = field(default_factory=list)
    paths: list[Path] = field(default_factory=list)
    names: set[str] = field(default_factory=set)
    targets: list[Json] = field(default_factory=list)
    ended: Mapping[str, Made] = field(default_factory=dict)

    def create(self, made: Made, path: Path) -> None:
        """Add a resource that is created unless it is there."""
        if made.name in self.ended:
            self.update(self.ended[made.name], path)
            return
        kind = made.resource["resourceType"]
        names = self.frame.names
        condition = names.tag_condition(made.name) if kind == "Provenance" else names.condition(made.name)
        self._add(made, path, {"method": "POST", "url": kind, "ifNoneExist": condition})

    def update(self, made: Made, path: Path) -> None:
        """Add a resource that is written as it is, whether it is there or not."""
        url = f"{made.resource['resourceType']}?{self.frame.names.condition(made.name)}"
        self._add(made, path, {"method": "PUT", "url": url})

    def _add(self, made: Made, path: Path, request: Json) -> None:
        if made.name in self.names:
            return
        self.names.add(made.name)
        resource = profiled(made.resource, self.frame.config) if self.frame.config.profiles else made.resource
        url = f"urn:uuid:{made.name}"
        self.entries.append({"fullUrl": url, "resource": resource, "request": request})
        self.paths.append(path)
        if resource["resourceType"] not in _UNTRACED and made.name != self.frame.port_name:
            self.targets.append({"reference": url})


@dataclass(frozen=True, slots=True)
class Book:
    """A record as bundles see it: as first charted (``first``) and as it now stands (``last``).

    Without corrections they are the same one fold. ``places`` and ``staff`` are what bundles with context refer to,
    by address.
    """

    frame: Frame
    timeline: Timeline
    policy: Policy
    options: Options
    first: Fold
    last: Fold
    context: tuple[Json, ...] = ()
    places: Mapping[str, Json] = field(default_factory=dict)
    staff: Mapping[str, Person] = field(default_factory=dict)

    def folds(self) -> Iterator[Fold]:
        """Yield the folds with one more correction each, from the first to the last."""
        yield self.first
        if self.timeline.corrections:
            between = islice(_readings(self.timeline, self.policy), 1, len(self.timeline.corrections))
            yield from (fold(self.frame, reading, self.policy) for reading in between)
            yield self.last


def open_book(timeline: Timeline, policy: Policy, config: Config, options: Options) -> Book:
    """Prepare a record for its bundles."""
    _refuse_doubles(timeline.episode)
    style: Style = "context" if options.with_context else config.references
    made = frame(timeline.episode, config, style)
    last = fold(made, timeline, policy)
    first = fold(made, next(_readings(timeline, policy)), policy) if timeline.corrections else last
    book = Book(made, timeline, policy, options, first, last)
    if not options.with_context:
        return book
    where = (unit for reading in _readings(timeline, policy) for unit in reading.units)
    context = tuple(context_entries(made))
    return replace(book, context=context, places=places(made, where), staff=_staff(made, timeline, policy))


def _readings(timeline: Timeline, policy: Policy) -> Iterator[Timeline]:
    """Yield the record without corrections, then with one more of them each time; the last is the timeline itself."""
    episode = timeline.episode
    if timeline.corrections:
        one: Timeline | None = None
        for read in islice(growing(episode), len(timeline.corrections)):
            one = build(episode, policy, timeline.asof, others=timeline.others, read=read, since=one)
            yield one
    yield timeline


def _staff(made: Frame, timeline: Timeline, policy: Policy) -> dict[str, Person]:
    """Everybody who wrote, verified or judged in any reading of the record or beside it, by address."""
    partly = (entry.event for reading in _readings(timeline, policy) for entry in reading.entries)
    beside = (event for one in timeline.others.beside for event in one.episode.events)
    amended = (entry.event for entry in (*timeline.entries, *timeline.retracted))
    known = people(chain(timeline.episode.events, amended, partly, beside))
    return {f"urn:uuid:{made.names.of(f'staff/{number}')}": who for number, who in known.items()}


def _refuse_doubles(episode: Episode) -> None:
    seen: set[str] = set()
    for event in episode.events:
        if event.id in seen:
            raise Failure(
                f"episode {episode.id}: two events are called {event.id}, so their resources could not be told "
                "apart; give each event an identifier of its own"
            )
        seen.add(event.id)


def begin(book: Book, changed: Iterable[Strand] = (), ended: Mapping[str, Made] | None = None) -> Writer:
    """Return a bundle with the context, and what was there before the first event unless it is among the changed.

    ``ended`` as `Writer` has it.
    """
    writer = Writer(book.frame, ended=ended or {})
    for entry in book.context:
        writer.entries.append(entry)
        writer.paths.append(("patient",) if entry["resource"]["resourceType"] == "Patient" else ("stay",))
    names = {strand.name for strand in changed}
    for strand in book.last.opened.get(NOBODY, ()):
        if strand.name not in names:
            for made in strand.made(False):
                writer.create(made, ("port",) if strand.sort == "port" else ("stay",))
    return writer


def needle_reference(book: Book, reading: Fold, here: Scene, present: set[str]) -> Json | None:
    """Return the needle that an access put in or a removal took out, in the bundle or elsewhere."""
    touched = {"access": reading.opened, "de-access": reading.changed}.get(here.event.kind)
    if touched is None:
        return None
    for strand in touched.get(here.event.id, ()):
        if strand.sort == "needle":
            inside = here.whole and strand.name in present
            return book.frame.reference(strand.name) if inside else book.frame.elsewhere("Device", strand.name)
    return None


def own_facts(here: Scene, needle: Json | None) -> list[Made]:
    """Return the resources that say what happened in one event, apart from what it shares with others."""
    supplies = supply_devices(here)
    made: list[Made] = []
    if here.procedure is not None and not isinstance(here.event, ev.PatencyTreatment):
        used = [needle] if needle is not None else []
        used += [here.own("Device", supply.name) for supply in supplies]
        made.append(Made(here.procedure, procedure(here, used), ()))
    made += observations(here)
    made += administrations(here)
    return made + supplies


def first_notes(book: Book) -> Iterator[tuple[str, Note]]:
    """Yield the note of each event as first charted, by its identifier: judged from what was charted until then."""
    if book.options.notes is None:
        return
    charted = tuple(map(as_charted, count(), (one.event for one in book.first.timeline.entries)))
    stood: Timeline | None = None
    for position, entry in enumerate(charted, start=1):
        stood = as_it_stood(book, charted[:position], (), entry.event, stood)
        yield entry.event.id, book.options.notes(stood, entry.event.id)


def as_charted(position: int, event: ev.Event) -> Entry:
    """Return an event as an entry that nothing corrected."""
    return Entry(position, event, event)


def as_it_stood(
    book: Book, before: tuple[Entry, ...], then: Sequence[ev.Event], recorded: ev.Event, since: Timeline | None
) -> Timeline:
    """Return the record as it stood when an entry was charted.

    ``before`` are the entries before it, by their position, ``then`` the events of the entry itself. ``since`` is what
    was so returned last: what both have in common is not folded again.
    """
    episode = book.timeline.episode.model_copy(update={"events": (*(one.event for one in before), *then)})
    asof = recorded.charted_at or recorded.at
    read = corrected(episode, before) if then else (before, (), (), ())
    return pipeline.as_it_stood(episode, book.timeline.others.beside, book.policy, asof, read, since)


def add_provenance(
    book: Book,
    writer: Writer,
    here: Scene,
    entry: Entry,
    *,
    revises: str | None = None,
    nullifies: bool = False,
) -> None:
    """Add who recorded it; the port stands in as target when there is nothing else."""
    event = here.event
    reasons = [event.reason] if isinstance(event, ev.Correcting) and event.reason is not None else []
    if book.options.despite is not None:
        reasons.append(DESPITE + book.options.despite)
    resource = provenance(
        here,
        "nullified" if nullifies else "revised" if revises is not None else "created",
        writer.targets or [book.frame.port],
        reasons=reasons,
        revises=revises,
    )
    writer.create(Made(provenance_name(book.frame, event.id), resource, ()), entry.path())


def finished(book: Book, writer: Writer, entry: Entry) -> EventBundle:
    """Return the whole bundle, with the staff that it refers to where context is asked for."""
    if book.options.with_context:
        _add_wanted(book, writer)
    kind: str = entry.event.kind
    bundle = {"resourceType": "Bundle", "type": "transaction", "entry": writer.entries}
    return EventBundle(entry.event.id, kind, bundle, tuple(writer.paths))


def _add_wanted(book: Book, writer: Writer) -> None:
    """Add the staff and the places that the bundle refers to; a room brings its unit."""
    named = dict.fromkeys(url for entry in writer.entries for url in _references(entry["resource"]))
    rooms = [book.places[url] for url in named if url in book.places]
    named |= dict.fromkeys(url for room in rooms for url in _references(room["resource"]))
    added = [entry for url, entry in book.places.items() if url in named]
    added += [practitioner(book.frame, book.staff[url]) for url in named if url in book.staff]
    at = len(book.context)
    writer.entries[at:at] = added
    writer.paths[at:at] = [("events",)] * len(added)


def _references(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for key, held in value.items():
            if key == "reference" and isinstance(held, str):
                yield held
            else:
                yield from _references(held)
    elif isinstance(value, list):
        for item in value:
            yield from _references(item)
