"""Unsafe findings, gaps and unread values, in the words of the sheet."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Final

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
    return f"{phrasing.capital(_MOMENT.sub(lambda found: _as_elsewhere(view, found[0]), finding.message))}{where}"


_MOMENT: Final = re.compile(r"\b\d{4}-\d\d-\d\d \d\d:\d\d\b")
"""A moment as findings print it."""


def _as_elsewhere(view: View, moment: str) -> str:
    """Return a moment of a finding as the rest of the sheet prints moments; what is none stays as it is."""
    try:
        return view.wording.when(datetime.fromisoformat(moment).replace(tzinfo=view.wording.zone))
    except ValueError:
        return moment


def gaps(view: View, findings: Sequence[Finding]) -> Iterator[str]:
    """Yield what is not recorded, one statement for each event and one for the record as a whole."""
    entries: dict[int, Entry] = {}
    by_event: dict[int | None, list[str]] = {}
    for finding in findings:
        if finding.severity == "gap" and matters(view, finding):
            found = view.entry(finding)
            if found is not None:
                entries[id(found)] = found
            by_event.setdefault(id(found) if found is not None else None, []).append(finding.message)
    for event, messages in by_event.items():
        entry = entries.get(event) if event is not None else None
        if entry is None:
            yield phrasing.capital(
                "; ".join(message.removeprefix("not recorded for ").removeprefix("the ") for message in messages)
            )
        else:
            kind = entry.event.kind
            facts = "; ".join(_without_kind(message) for message in messages)
            yield f"{phrasing.capital(kind)} ({view.wording.told(entry)}): {facts}"


def _without_kind(message: str) -> str:
    """Return a gap's message without the words that the statement has said already."""
    head, colon, facts = message.partition(": ")
    return facts if colon and head.startswith("not recorded for this ") else message


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
