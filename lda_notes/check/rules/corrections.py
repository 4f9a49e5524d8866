"""Addenda, amendments and retractions."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from pydantic import ValidationError

from lda_notes.check.rule_table import Case, Entry, Found, advice, wrong
from lda_notes.knowledge.sources import Citation
from lda_notes.problems import Path, Related
from lda_notes.record import events as ev
from lda_notes.record.merging import merge

_CMS: Final = Citation("cms-pim-3325", "R2")
_TERMS: Final = Citation("ahima-2012", "R")
_REVISION: Final = Citation("record-amendments", "R2")
_IHS: Final = Citation("ihs-manual", "R2")


def _corrections(case: Case) -> Iterator[tuple[Entry, ev.Correcting]]:
    for entry in case.timeline.corrections:
        if isinstance(entry.event, ev.Correcting):
            yield entry, entry.event


def _word(event: ev.Event) -> str:
    return type(event).__name__.lower()


@wrong("name the event that is corrected", _TERMS, _CMS)
def correction_of_unknown_event(case: Case) -> Iterable[Found]:
    """Checks that each correction names an event of the record.

    A correction is linked to what it corrects; unlinked, it changes nothing and the wrong entry remains.
    """
    known: frozenset[str] | None = None
    for entry, event in _corrections(case):
        known = known or frozenset(other.id for other in case.timeline.episode.events)
        if event.of not in known or event.of == event.id:
            found = "itself" if event.of == event.id else f"{event.of}, which no event has as its identifier"
            yield Found("of", f"the {_word(event)} corrects {found}", entry)


@wrong("correct the event itself, or retract the correction", _TERMS)
def correction_of_a_correction(case: Case) -> Iterable[Found]:
    """Finds additions and amendments made to a correction, and retractions of a retraction.

    Chains of corrections cannot be read. A wrong addendum or amendment is retracted and made again; what was
    retracted stays so and is charted again.
    """
    known = {entry.event.id: entry for entry in reversed(case.timeline.corrections)}
    for entry, event in _corrections(case):
        target = known.get(event.of)
        if target is None or target is entry:
            continue
        if not isinstance(event, ev.Retraction) or isinstance(target.event, ev.Retraction):
            says = f"the {_word(event)} corrects {event.of}, which is itself a correction ({_word(target.event)})"
            yield Found("of", says, entry, related=(Related(target.path(), "the correction"),))


@wrong("remove one of them", _TERMS)
def retracted_twice(case: Case) -> Iterable[Found]:
    """Finds a second retraction of the same entry.

    What was withdrawn cannot be withdrawn again; most often the second retraction was meant for another entry.
    """
    first: dict[str, Entry] = {}
    for entry, event in _corrections(case):
        if isinstance(event, ev.Retraction) and first.setdefault(event.of, entry) is not entry:
            says = f"{event.of} was retracted already, by {first[event.of].event.id}"
            yield Found("of", says, entry, related=(Related(first[event.of].path(), "the first retraction"),))


@wrong("chart the event again instead", _TERMS)
def correction_of_retracted_event(case: Case) -> Iterable[Found]:
    """Finds additions and amendments made to an entry after it was retracted.

    A retracted entry is out of view, and so is anything added to it.
    """
    retracted = {entry.event.id: entry for entry in reversed(case.timeline.retracted)}
    for entry, event in _corrections(case):
        if isinstance(event, ev.Retraction):
            continue
        target = retracted.get(event.of)
        if target is not None and target.retraction is not None and target.retraction.at <= event.at:
            yield Found(
                "of",
                f"the {_word(event)} corrects {event.of}, which {target.retraction.id} had retracted at "
                f"{case.say(target.retraction.at)}",
                entry,
            )


@wrong("correct the time of the correction", _CMS, _REVISION)
def correction_before_entry(case: Case) -> Iterable[Found]:
    """Compares the time of each correction with the time of the entry that it corrects.

    An entry cannot be corrected before it was made.
    """
    if not case.timeline.corrections:
        return
    known = {event.id: event for event in reversed(case.timeline.episode.events)}
    for entry, event in _corrections(case):
        target = known.get(event.of)
        if target is None or target is event:
            continue
        made = target.charted_at or target.at
        if event.at < made:
            what = "entry was made" if target.charted_at else "event"
            yield Found(
                "at", f"the {_word(event)} is at {case.say(event.at)}, before the {what} at {case.say(made)}", entry
            )


# -- what a correction changes --


def _recorded(event: ev.Event) -> dict[str, Any]:
    return event.model_dump(exclude_unset=True)


def _corrected(event: ev.Event, values: Mapping[str, Any]) -> ev.Event | None:
    """Return ``event`` with ``values`` laid over it; None if they do not fit, of which the timeline tells."""
    try:
        return type(event).model_validate_json(
            json.dumps(merge(event.model_dump(mode="json", exclude_unset=True), dict(values)))
        )
    except ValidationError:
        return None


def _changes(case: Case) -> list[tuple[Entry, ev.Correcting, ev.Event, ev.Event]]:
    """Return each addendum and amendment that can be applied, with the event as it was read before and after it."""
    made: list[tuple[Entry, ev.Correcting, ev.Event, ev.Event]] = []
    if not case.timeline.corrections:
        return made
    entries = {id(entry.event): entry for entry in case.timeline.corrections}
    for target in (*case.timeline.entries, *case.timeline.retracted):
        event = target.original
        for correction in target.corrections:
            values = correction.sets if isinstance(correction, ev.Amendment) else getattr(correction, "adds", None)
            new = _corrected(event, values) if values is not None else None
            if new is not None:
                made.append((entries[id(correction)], correction, event, new))
                event = new
    return made


def _changed(old: Any, new: Any, path: Path = ()) -> Iterator[Path]:
    """Yield the path of each fact that was recorded and is now another; facts that were left out do not count."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in old.keys() & new.keys():
            yield from _changed(old[key], new[key], (*path, key))
    elif old not in (None, ()) and old != new:
        yield path


@wrong("make it an amendment, with the reason", _TERMS, _IHS)
def addendum_changes_fact(case: Case) -> Iterable[Found]:
    """Compares what an addendum adds with what the entry already contains.

    An addendum adds what was left out. Changing what was recorded is an amendment, and must be marked as one, so that
    a reader sees that the entry once said something else.
    """
    for entry, event, before, after in case.once(_changes):
        if isinstance(event, ev.Addendum):
            for path in sorted(_changed(_recorded(before), _recorded(after))):
                what = " ".join(map(str, path)).replace("_", " ")
                yield Found(("adds", *path), f"the addendum changes {what} of {event.of}, which was recorded", entry)


@advice("remove the amendment, or correct what it sets", _REVISION)
def amendment_changes_nothing(case: Case) -> Iterable[Found]:
    """Compares what an amendment sets with what the entry says.

    An amendment that sets what is already recorded was most often meant for another fact or another entry.
    """
    for entry, event, before, after in case.once(_changes):
        if isinstance(event, ev.Amendment) and _recorded(after) == _recorded(before):
            yield Found("sets", f"the amendment sets nothing that {event.of} does not say", entry)
