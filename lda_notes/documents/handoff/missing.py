"""Unsafe findings, gaps and unread values, in the words of the sheet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lda_notes.documents.handoff.problems import since_handoff
from lda_notes.documents.handoff.view import View
from lda_notes.line.corrections import Entry
from lda_notes.narrative import phrasing
from lda_notes.problems import Finding
from lda_notes.record import events as ev
from lda_notes.record.reading import UnreadEvent
from lda_notes.record.unread import Unread


def matters(view: View, finding: Finding) -> bool:
    """Return whether a finding is about the record as a whole or an event since the last handoff."""
    if finding.event is None:
        return finding.path[:1] != ("events",)
    entry = view.entry(finding)
    if entry is None or isinstance(entry.event, ev.FlushedElsewhere):  # that one is among the problems
        return False
    return entry.retraction is None and since_handoff(view, entry)


def said(view: View, finding: Finding) -> str:
    """Return an unsafe finding as the sheet says it, with the time of its event."""
    entry = view.entry(finding)
    where = f" ({view.wording.when(entry.event.at)})" if entry else ""  # what, not who: the sheet goes round
    return f"{phrasing.capital(finding.message)}{where}"


def gaps(view: View, findings: Sequence[Finding]) -> Iterator[str]:
    """Yield what is not recorded, one statement for each event and one for the record as a whole."""
    said: dict[int | None, tuple[Entry | None, list[str]]] = {}
    for finding in findings:
        if finding.severity == "gap" and matters(view, finding):
            entry = view.entry(finding)
            of = f"{finding.gap.of}: " if finding.gap and entry is None else ""
            facts = of + ", ".join(finding.gap.facts) if finding.gap else finding.message
            said.setdefault(None if entry is None else id(entry), (entry, []))[1].append(facts)
    for entry, lacks in said.values():
        about = f"{entry.event.kind} ({view.wording.told(entry)}): " if entry is not None else ""
        yield phrasing.capital(about + "; ".join(lacks))


def unread_event(event: UnreadEvent) -> str:
    """Return in words that an event could not be read."""
    kind = f", {event.kind}" if event.kind else ""
    name = event.id or f"in position {event.index + 1} of the file"
    return f"An event could not be read and is not on this sheet: {name}{kind}"


def unread_fact(view: View, fact: Unread) -> str:
    """Return in words that a fact could not be read."""
    entry = view.timeline.entry(fact.event) if fact.event else None
    about = f" ({entry.event.kind} {view.wording.soon(entry.event.at)})" if entry else ""
    return f"{fact.label}, row {fact.place.row}{about}: {fact.text}. Ask"
