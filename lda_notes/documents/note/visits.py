"""Entries that are one visit: the needle went in, the line was used, flushed, locked, and the needle came out."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator

from lda_notes.check.visits import one_visit
from lda_notes.documents.note.corrections import Family
from lda_notes.knowledge.policy import Policy
from lda_notes.line.timeline import Timeline
from lda_notes.narrative import phrasing
from lda_notes.record import events as ev
from lda_notes.record.parts import Lock

Visit = tuple[Family, ...]


def grouped(timeline: Timeline, policy: Policy, families: tuple[Family, ...]) -> tuple[Visit, ...]:
    """Return the families in their order, those of one visit and one nurse together; every other one alone."""
    removals = dict(_visits(timeline, policy))
    found: list[list[Family]] = []
    of: dict[int, list[Family]] = {}
    for family in families:
        removal = removals.get(family.entry.index) if family.of is None else None
        if removal is not None and removal in of:
            of[removal].append(family)
            continue
        found.append([family])
        if removal is not None:
            of[removal] = found[-1]
    return tuple(map(tuple, found))


def whole(
    timeline: Timeline, policy: Policy, some: tuple[Family, ...], every: tuple[Family, ...]
) -> tuple[Family, ...]:
    """Return ``some`` of the families with the others of their visits."""
    removals = dict(_visits(timeline, policy))
    meant = {removals[one.entry.index] for one in some if one.of is None and one.entry.index in removals}
    if not meant:
        return some
    named = {one.entry.index for one in some}
    return tuple(one for one in every if one.entry.index in named or removals.get(one.entry.index) in meant)


def of_one_visit(timeline: Timeline, policy: Policy, name: str) -> tuple[str, ...]:
    """Return the names of the other entries of the visit of an entry, in order of time."""
    removals = dict(_visits(timeline, policy))
    by_index = {entry.index: entry.event.id for entry in timeline.entries}
    mine = {removals[index] for index in removals if by_index[index] == name}
    return tuple(by_index[index] for index in removals if removals[index] in mine and by_index[index] != name)


def _visits(timeline: Timeline, policy: Policy) -> Iterator[tuple[int, int]]:
    """Yield each entry of a visit with the removal that ends it, both by their index."""
    first = timeline.episode.port.septa[0]
    moments = [entry.event.at for entry in timeline.entries]
    for septum, stays in timeline.needles.items():
        for stay in stays:
            if stay.closed is None or not one_visit(stay.opened.event, stay.closed.event, policy):
                continue
            begin, end = stay.opened.event, stay.closed.event
            if begin.by != end.by:
                continue
            for entry in timeline.entries[bisect_left(moments, begin.at) : bisect_right(moments, end.at)]:
                event = entry.event
                here = isinstance(event, ev.CareEvent) and (event.septum or first) == septum
                if here and event.by == begin.by:
                    yield entry.index, stay.closed.index


def title(visit: Visit) -> str:
    """Return what was done at a visit, in the order of the work: accessed, flushed, locked, needle out."""
    events = [family.entry.event for family in visit]
    used = [event.purpose for event in events if isinstance(event, ev.LineUse)]
    flushed = any(isinstance(flushes := event.__dict__.get("flushes"), tuple) and flushes for event in events)
    locked = any(isinstance(event.__dict__.get("lock"), Lock) for event in events)
    done = ("accessed", *used, *(["flushed"] if flushed else []), *(["locked"] if locked else []))
    return phrasing.capital(", ".join((*done, "needle out")))
