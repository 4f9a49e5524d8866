"""Every supply that an event says was used, in the words of the record, with the fact that says so."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from lda_notes.check.rule_table import Case, Entry
from lda_notes.knowledge.supplies import contains
from lda_notes.record.events import Access, ArrivalAccessed, CareEvent, Dressed, Flushed, PatencyTreatment
from lda_notes.record.parts import Anesthetic, Antisepsis, Dressing, Lock


class Used(NamedTuple):
    """A supply in the record's words, the event that used it, and the keys of the fact inside that event."""

    words: str
    entry: Entry
    keys: tuple[str | int, ...]

    @property
    def said(self) -> str:
        """The supply as a message names it: between quotation marks where the record names it in its own words."""
        return f'"{self.words}"' if self.keys[0] == "supplies" else self.words


def supplies_used(case: Case) -> Iterator[Used]:
    """Yield every supply of the standing record, in order of time."""
    for entry in case.timeline.entries:
        event = entry.event
        if not isinstance(event, CareEvent):
            continue
        if isinstance(event, Dressed):
            if isinstance(event.antisepsis, Antisepsis):
                yield Used(event.antisepsis.agent, entry, ("antisepsis", "agent"))
            if event.disinfecting_caps is True:
                yield Used("disinfecting cap", entry, ("disinfecting_caps",))
        if isinstance(event, Dressed | ArrivalAccessed) and isinstance(event.dressing, Dressing):
            if isinstance(event.dressing.type, str):
                yield Used(event.dressing.type, entry, ("dressing", "type"))
            if event.dressing.chlorhexidine_disc is True:
                yield Used("chlorhexidine disc", entry, ("dressing", "chlorhexidine_disc"))
        if isinstance(event, Access) and isinstance(event.anesthetic, Anesthetic):
            yield Used(event.anesthetic.agent, entry, ("anesthetic", "agent"))
        if isinstance(event, Flushed):
            yield from _through_the_line(entry, event)
        if isinstance(event, PatencyTreatment):
            yield Used(event.drug, entry, ("drug",))
        for position, supply in enumerate(event.supplies):
            yield Used(supply.name, entry, ("supplies", position, "name"))


def _through_the_line(entry: Entry, event: Flushed) -> Iterator[Used]:
    if isinstance(event.flushes, tuple):
        for position, flush in enumerate(event.flushes):
            yield Used(flush.solution, entry, ("flushes", position, "solution"))
    if isinstance(event.lock, Lock):
        yield Used(event.lock.drug, entry, ("lock", "drug"))
        if event.lock.preservative is not None:
            yield Used(event.lock.preservative, entry, ("lock", "preservative"))


def holding(case: Case, allergen: str) -> Iterator[Used]:
    """Yield every supply used that holds ``allergen``."""
    for used in supplies_used(case):
        inside = contains(used.words)
        if inside is not None and allergen in inside:
            yield used
