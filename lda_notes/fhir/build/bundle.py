"""Transaction bundles from a timeline: one for each event, in order of time.

The same record gives the same bundles, whatever the moment judged from. What an event said is created unless it is
there (POST with ``ifNoneExist``); what it closed of the state shared with other events, and what a correction
changed, is updated by its identity (PUT) to what it is in the end. Every update of a resource writes the same
content, in whichever bundle it stands, so the bundles of a record may arrive in any order and more than once.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from lda_notes.fhir.build.book import (
    Book,
    EventBundle,
    Notes,
    Options,
    add_provenance,
    begin,
    finished,
    first_notes,
    needle_reference,
    open_book,
    own_facts,
)
from lda_notes.fhir.build.corrections import correction_bundle, ledger
from lda_notes.fhir.build.fold import Strand
from lda_notes.fhir.build.papers import Note, document
from lda_notes.fhir.build.scene import Made, scene
from lda_notes.fhir.config import Config
from lda_notes.knowledge.policy import Policy
from lda_notes.line.corrections import Entry, in_order
from lda_notes.line.timeline import Timeline
from lda_notes.problems import Path
from lda_notes.record import events as ev

__all__ = ["EventBundle", "Note", "Notes", "Options", "bundles"]


def bundles(
    timeline: Timeline, policy: Policy, config: Config, options: Options | None = None
) -> Iterator[EventBundle]:
    """Yield the bundle of each event, corrections among them, in order of time.

    The resources in them may share parts: copy before you change one. Raises `Failure` when the record has two
    events of one identifier, or a patient who cannot be referred to as configured.
    """
    book = open_book(timeline, policy, config, options or Options())
    notes = dict(first_notes(book))
    known = ledger(book, notes) if timeline.corrections else None
    for entry in in_order((*book.first.timeline.entries, *timeline.corrections)):
        if known is not None and isinstance(entry.event, ev.Correcting):
            yield correction_bundle(book, entry, known)
        else:
            note = notes.get(entry.event.id)
            yield _event_bundle(book, entry, note, known.ended if known is not None else {})


def _event_bundle(book: Book, entry: Entry, note: Note | None, ended: Mapping[str, Made]) -> EventBundle:
    event = entry.event
    last = book.last.timeline.entry(event.id)
    standing = last is not None and last.retraction is None
    opened = {strand.name: strand for strand in book.last.opened.get(event.id, ())} if standing else {}
    opened |= {strand.name: strand for strand in book.first.opened.get(event.id, ())}
    changed = book.last.changed.get(event.id, ()) if standing else ()
    writer = begin(book, changed, ended)
    for strand in opened.values():
        for made in strand.made(False):
            writer.create(made, entry.path(*made.path))
    for strand in changed:
        for made in strand.made(True):
            writer.update(made, _path_of(book, strand, made))
    for strand in book.first.changed.get(event.id, ()):
        if strand.sort == "needle" and strand not in changed:  # a correction undid it; the procedure still names it
            writer.create(strand.made(False)[0], entry.path())
    here = scene(book.frame, event)
    for made in own_facts(here, needle_reference(book, book.first, here, writer.names)):
        writer.create(made, entry.path(*made.path))
    if note is not None:
        name = here.name("note")
        paper = document(here, name, note, "current", signed=event.seal is not None)
        writer.create(Made(name, paper, ()), entry.path())
    add_provenance(book, writer, here, entry)
    return finished(book, writer, entry)


def _path_of(book: Book, strand: Strand, made: Made) -> Path:
    opener = book.last.timeline.entry(strand.opened)
    return opener.path(*made.path) if opener is not None else ("port",)
