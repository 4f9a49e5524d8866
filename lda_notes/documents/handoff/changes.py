"""Changes since the last sheet: what was charted, corrected, withdrawn or ended."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from lda_notes.documents import wording
from lda_notes.documents.handoff.view import View
from lda_notes.line.corrections import Entry
from lda_notes.line.holds import HOW_IT_ENDED
from lda_notes.record import events as ev


@dataclass(frozen=True, slots=True)
class Change:
    """An entry charted, corrected or withdrawn since the last sheet. ``routine``: a look or a flush like any other."""

    says: str
    routine: bool


_ROUTINE: Final = frozenset({"line check", "flush", "patency check"})


def changes(view: View) -> Iterator[Change]:
    """Yield what was charted, corrected or withdrawn since the last sheet, in order of time."""
    for entry in view.timeline.entries:
        if entry.event.at > view.asof:
            continue
        # What has happened is known, as to the states, though it may be charted only later.
        charted = min(max(entry.event.charted_at or entry.event.at, entry.event.at), view.asof)
        if _since(view, charted):
            late = " (charted after the last sheet)" if not _since(view, entry.event.at) else ""
            yield Change(f"new: {_named_event(view, entry)}{late}", entry.event.kind in _ROUTINE and not late)
        elif any(_since(view, one.at) for one in entry.corrections):
            yield Change(f"corrected: {_named_event(view, entry)}", False)
    for entry in view.timeline.retracted:
        if entry.retraction is not None and _since(view, entry.retraction.at):
            change, when = entry.retraction, view.wording.soon(entry.retraction.at)
            yield Change(f"withdrawn: {_named_event(view, entry)}, by {wording.person(change.by)}, {when}", False)
    over = (one for holds in view.timeline.holds.values() for one in holds if one.ended is not None)
    for hold in sorted(over, key=lambda one: (one.ended.event.at if one.ended else one.since).astimezone(UTC)):
        if hold.ended is not None and _since(view, hold.ended.event.at):
            when, how = view.wording.soon(hold.ended.event.at), HOW_IT_ENDED.get(hold.how, hold.how)
            yield Change(f"hold ended: {hold.sign}, by {how}, {when}", False)


def _named_event(view: View, entry: Entry) -> str:
    septum = getattr(entry.event, "septum", None) if len(view.timeline.episode.port.septa) > 1 else None
    return f"{_done(entry)}{f', {septum},' if septum else ''} {view.wording.soon(entry.event.at)}"


def _done(entry: Entry) -> str:
    """Return what an event was, a use of the line by what began or ended, a dose by its drug."""
    event = entry.event
    if isinstance(event, ev.LineUse) and event.action in ("started", "stopped"):
        return f"{event.purpose} {event.action}"
    if isinstance(event, ev.PatencyTreatment):
        return f"{event.drug} put in"
    return entry.event.kind


def _since(view: View, moment: datetime) -> bool:
    return view.since.astimezone(UTC) < moment.astimezone(UTC) <= view.asof.astimezone(UTC)
