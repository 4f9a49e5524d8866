"""Facts known before the work begins: the port, the last needle that worked, difficulties before, what is due."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from lda_notes.documents import wording
from lda_notes.documents.handoff.view import View
from lda_notes.line.corrections import Entry
from lda_notes.line.states import State
from lda_notes.narrative import phrasing
from lda_notes.record import events as ev
from lda_notes.record.parts import Needle, Site

MOST: Final = 4
FEW: Final = 2
"""Most difficulties that are listed, latest first; the rest are counted. One page has room for few."""


def last_that_worked(view: View, septum: str) -> tuple[Needle, Entry] | None:
    """Return the last needle whose access gave blood, with that access; None when there is none on record."""
    for stay in reversed(view.timeline.needles[septum]):
        event = stay.opened.event
        if event.at <= view.asof and isinstance(event, ev.Access) and event.blood_return == "present" and stay.needle:
            return stay.needle, stay.opened
    return None


def needle_text(view: View, septum: str) -> str:
    """Return the last needle that worked in words."""
    found = last_that_worked(view, septum)
    if found is None:
        return "none on record"
    needle, entry = found
    event = entry.event
    tried = phrasing.count(event.attempts, "attempt") if isinstance(event, ev.Access) and event.attempts else ""
    said = wording.needle(needle, view.wording.absent_in(entry, "needle"))
    return f"{said}{f', {tried}' if tried else ''} ({view.wording.told(entry)})"


def state_text(state: State) -> str:
    """Return whether a needle is in."""
    if not state.port_in:
        return "the port is not in the body, as recorded"
    return "a needle is in" if state.needle else "no needle is in"


def difficulties(view: View, septum: str, most: int) -> tuple[str, ...]:
    """Return what went wrong before, latest first, each with when and by whom it was charted."""
    found = [
        f"{said} ({view.wording.told(step.entry)})"
        for step in reversed(view.timeline.steps)
        if step.entry.event.at <= view.asof and step.septum in (septum, None)
        for said in _trouble(step.entry.event)
    ]
    more = len(found) - most
    return (*found[:most], f"and {more} earlier") if more > 0 else tuple(found)


def _trouble(event: ev.Event) -> Iterator[str]:
    if isinstance(event, ev.Access) and event.attempts is not None and event.attempts > 1:
        yield phrasing.count(event.attempts, "attempt")
    if isinstance(event, ev.Proved) and event.blood_return in ("none", "sluggish"):
        tried = f"; tried: {', '.join(event.steps_tried)}" if event.steps_tried else ""
        yield f"{'no' if event.blood_return == 'none' else 'sluggish'} blood return{tried}"
    if isinstance(event, ev.Flushed) and isinstance(event.flushes, tuple):
        felt = {f.resistance for f in event.flushes if f.resistance in ("some", "cannot flush")}
        if felt:
            yield f"resistance: {', '.join(sorted(map(str, felt)))}"
    if isinstance(event, ev.SiteSeen) and isinstance(event.site, Site):
        yield from _site(event.site)
    if isinstance(event, ev.LineCheck | ev.DressingChange | ev.ArrivalAccessed):
        bad = [c for c in event.dressing_found if c != "intact"] if isinstance(event.dressing_found, tuple) else []
        if bad:
            yield f"dressing found {' and '.join(bad)}"
    if isinstance(event, ev.CareEvent):
        if event.response in ("tolerated with discomfort", "not tolerated"):
            yield str(event.response)
        yield from (phrasing.quoted(problem.what) for problem in event.problems)


def _site(site: Site) -> Iterator[str]:
    if isinstance(site.skin, str) and site.skin != "intact":
        yield f"skin {site.skin}"
    if isinstance(site.port, str) and site.port != "stable":
        yield f"port {site.port}"
    yield from (name for name in ("erythema", "swelling", "tenderness") if getattr(site, name) == "present")
