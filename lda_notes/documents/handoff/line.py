"""One septum on the handoff sheet: what is in, what was last established, when and by whom, and what is due."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime

from lda_notes.documents import wording
from lda_notes.documents.handoff.actions import actions, under_way, vesicant_runs
from lda_notes.documents.handoff.view import Action, Status, Told, Urgency, View, told_of
from lda_notes.line import due as clocks
from lda_notes.line.contents import lock_of
from lda_notes.line.corrections import Entry
from lda_notes.line.holds import ROW_OF
from lda_notes.line.states import Danger, Hold, State
from lda_notes.narrative import phrasing
from lda_notes.record import events as ev
from lda_notes.record.parts import Needle, NotAssessed, NotDone
from lda_notes.record.unread import absent_anywhere


@dataclass(frozen=True, slots=True)
class LineFacts:
    """One septum at the moment judged from.

    ``dwell_day`` counts calendar days of the stay's zone, the day of access as day 1; None when the day is not known.
    """

    septum: str
    status: Status
    needle: str
    needle_short: str
    dwell_day: int | None
    runs: str
    notes: tuple[str, ...]
    vesicant: bool
    hold: str
    dangers: tuple[str, ...]
    facts: tuple[Told, ...]
    dwelling: Told | None
    actions: tuple[Action, ...]
    urgency: Urgency
    state: State = field(repr=False)


def line_facts(view: View, septum: str) -> LineFacts:
    """Return what the sheet says of one septum."""
    state = view.timeline.now(septum)
    due = tuple(sorted(actions(view, state), key=_in_order))
    return LineFacts(
        septum,
        _status(state),
        _needle_text(view, state) if state.needle else "",
        wording.short_needle(_needle_of(state)) if state.needle else "",
        _dwell_day(view, state),
        _infusion(state) if state.infusion else "",
        tuple(filter(None, (_sluggish(view, state), _flush_waits(view, state), under_way(view, state)))),
        vesicant_runs(state),
        _hold(view, state),
        tuple(danger_text(view, danger) for danger in state.dangers if not named_as_unread(danger)),
        tuple(_facts(view, state)),
        _dwelling(view, state) if state.dwell is not None else None,
        due,
        _urgency(view, state, due),
        state,
    )


def _in_order(action: Action) -> tuple[tuple[bool, datetime], bool]:
    """Return a sort key: by due time; of what is due now, what no clock asks for comes first."""
    return action.when, action.by is None and action.clock is not None


def _status(state: State) -> Status:
    if not state.port_in:
        return "no port"
    if state.holds:
        return "on hold"
    return "accessed" if state.needle is not None else "not accessed"


def _urgency(view: View, state: State, actions: tuple[Action, ...]) -> Urgency:
    if view.left() is not None:
        return "left"
    if not state.usable:
        return "out of use"
    if any(action.late for action in actions):
        return "overdue"
    if any(action.by is not None and view.in_shift(action.by) for action in actions):
        return "due this shift"
    return "steady"


def _needle_of(state: State) -> Needle | NotAssessed | None:
    event = state.needle.opened.event if state.needle else None
    return event.needle if isinstance(event, ev.Access | ev.ArrivalAccessed) else None


def _dwell_day(view: View, state: State) -> int | None:
    if state.needle is None or state.needle.since is None:
        return None
    zone = view.wording.zone
    return (view.asof.astimezone(zone).date() - state.needle.since.astimezone(zone).date()).days + 1


def _hold(view: View, state: State) -> str:
    said = "; ".join(f"{hold.sign} ({view.wording.told(hold.began)}){needle_gone(state, hold)}" for hold in state.holds)
    todo = dict.fromkeys(words for hold in state.holds if (words := at_once(state, hold)))
    return ". ".join((said, *todo))


def needle_gone(state: State, hold: Hold) -> str:
    """Return that a needle that was partly out is out now, as it follows the sign of its hold; "" otherwise."""
    return "; needle is out" if hold.reason == "needle partly out" and state.needle is None else ""


def at_once(state: State, hold: Hold) -> str:
    """Return what the table of holds says to do at once; nothing where no needle is in any more."""
    return ROW_OF[hold.reason].do if state.needle is not None else ""


def named_as_unread(danger: Danger) -> bool:
    """Return whether it is a fact of this very record that could not be read: the sheet names each with its place."""
    return danger.code == "D11" and (danger.began is None or not danger.began.record)


def danger_text(view: View, danger: Danger) -> str:
    """Return a standing danger in words: what, since when and by whom charted, what must not be done meanwhile."""
    told = f" ({view.wording.told(danger.began)})" if danger.began is not None else ""
    forbids = f". Not allowed meanwhile: {danger.forbids}" if danger.forbids else ""
    return f"{phrasing.capital(danger.what)}{told}{forbids}"


def _facts(view: View, state: State) -> Iterator[Told]:
    if state.needle is not None:
        yield _needle(view, state)
        yield _dressing(view, state)
    elif state.last_removal is not None:
        yield told_of(view, "Needle", "removed", state.last_removal)
    yield _flush(view, state)
    yield _lock(view, state)
    yield _blood_return(view, state)
    if state.infusion is not None:
        yield told_of(view, "Infusion", _infusion(state), state.infusion)
    elif state.infusion_stopped is not None:
        yield told_of(view, "Infusion", "none; stopped", state.infusion_stopped)


def _needle_text(view: View, state: State) -> str:
    assert state.needle is not None
    return wording.needle(_needle_of(state), view.wording.absent_in(state.needle.opened, "needle"))


def _needle(view: View, state: State) -> Told:
    assert state.needle is not None
    said = _needle_text(view, state)
    day = _dwell_day(view, state)
    opened = state.needle.opened
    if day is not None:
        said += f", day {day}"
    if isinstance(opened.event, ev.ArrivalAccessed):
        since = state.needle.since
        said += f", put in {view.wording.when(since)}" if since else ", time of insertion not known"
        said += ", in on arrival"
    return told_of(view, "Needle", said, opened)


def _dressing(view: View, state: State) -> Told:
    on = state.dressing
    if on is None:
        return Told("Dressing", "none recorded")
    event = on.put_on.event
    found = event.dressing if isinstance(event, ev.Dressed | ev.ArrivalAccessed) else None
    told = told_of(view, "Dressing", wording.dressing(found, view.wording.absent_in(on.put_on, "dressing")), on.put_on)
    if on.found is None:
        return told
    seen = on.found.event
    again = "" if on.found is on.put_on else f"; seen {view.wording.told(on.found)}"
    condition = seen.dressing_found if isinstance(seen, ev.LineCheck | ev.ArrivalAccessed) else None
    words = ", ".join(condition) if isinstance(condition, tuple) else ""
    return Told(
        told.label, f"{told.value}; found {words}", seen.at, view.wording.author(on.found), f"{told.told}{again}"
    )


def _absent(view: View, *names: str) -> str:
    return absent_anywhere(view.timeline.unread, *names)


def _blood_return(view: View, state: State) -> Told:
    entry = state.last_blood_return
    if entry is None:
        return Told("Blood return", _absent(view, "blood_return"))
    event = entry.event
    seen = event.blood_return if isinstance(event, ev.Proved) and isinstance(event.blood_return, str) else None
    if seen is None and isinstance(event, ev.LineUse) and isinstance(event.blood_return_before, str):
        seen = event.blood_return_before
    looks = f", {event.blood_looks}" if isinstance(event, ev.Proved) and event.blood_looks else ""
    return told_of(view, "Blood return", f"{seen}{looks}", entry)


def _flush(view: View, state: State) -> Told:
    entry = state.last_flush
    event = entry.event if entry else None
    if entry is not None and entry.event.kind == "flushed elsewhere":
        return told_of(view, "Flush", elsewhere(entry.event), entry)
    if entry is None or not isinstance(event, ev.Flushed) or not isinstance(event.flushes, tuple):
        return Told("Flush", _absent(view, "flushes"))
    return told_of(view, "Flush", wording.flushes(event.flushes, view.wording.absent_in(entry, "flushes")), entry)


def elsewhere(event: ev.Event) -> str:
    """Return a flush that was done elsewhere in words: where, when, by whose word."""
    facts = event.__dict__
    on, where, word = facts.get("on"), facts.get("where"), facts.get("by_word_of")
    day = on.date() if isinstance(on, datetime) else on
    said = "flushed elsewhere" + (f", {phrasing.quoted(where)}" if where else "")
    return (
        said
        + (f", on {phrasing.day(day)}" if day else "")
        + (f", as reported by {phrasing.quoted(word)}" if word else "")
    )


def _lock(view: View, state: State) -> Told:
    entry = state.last_lock
    left_out = _left_open(view, state)
    if left_out is not None and entry is not None and entry.event.at > left_out.event.at:
        left_out = None
    if left_out is not None and isinstance(left_out.event, ev.Flushed) and isinstance(left_out.event.lock, NotDone):
        return told_of(view, "Lock", f"not locked: {phrasing.quoted(left_out.event.lock.not_done)}", left_out)
    found = lock_of(entry.event) if entry is not None else None
    if entry is None or found is None:
        return Told("Lock", _absent(view, "lock"))
    gone = "" if state.inside is entry else "; flushed or removed since"
    return told_of(view, "Lock", wording.lock(found, view.wording.absent_in(entry, "lock")) + gone, entry)


def _left_open(view: View, state: State) -> Entry | None:
    """Return the last event that says why the line was not locked, if no lock came after it."""
    for step in reversed(view.timeline.steps):
        event = step.entry.event
        if step.septum != state.septum or event.at > view.asof or not isinstance(event, ev.Flushed):
            continue
        if event.lock is not None:
            return step.entry if isinstance(event.lock, NotDone) else None
    return None


def _infusion(state: State) -> str:
    """Return what runs, and that it is a vesicant."""
    event = state.infusion.event if state.infusion else None
    if isinstance(event, ev.LineUse):
        said = phrasing.quoted(event.what) if event.what else event.purpose or "running"
    else:
        text = event.infusion if isinstance(event, ev.Access | ev.ArrivalAccessed | ev.LineCheck) else None
        said = phrasing.quoted(text) if text else "running"
    return f"{said}, vesicant" if vesicant_runs(state) else said


def _sluggish(view: View, state: State) -> str:
    """Return that the last blood return was sluggish, which proves nothing; "" otherwise."""
    entry = state.last_blood_return
    seen = entry.event.__dict__.get("blood_return") or entry.event.__dict__.get("blood_return_before") if entry else ""
    if entry is None or seen != "sluggish":
        return ""
    return f"blood return sluggish, {view.wording.soon(entry.event.at)}"


def _flush_waits(view: View, state: State) -> str:
    """Return when a port without a needle was last flushed, where its flush is overdue and may not be done now."""
    tended = max(filter(None, (state.last_flush, state.last_lock)), key=lambda e: e.event.at, default=None)
    if state.needle is not None or not state.port_in or clocks.flush_allowed(state):
        return ""
    if tended is None:
        return "last flush not recorded"
    limit = "idle_flush_days"
    by = clocks.end_of(tended.event.at, limit, view.policy, view.wording.zone)
    late = view.asof > clocks.late_after(by, limit, view.policy)
    return f"flush overdue, last {view.wording.when(tended.event.at)}; not allowed now" if late else ""


def _dwelling(view: View, state: State) -> Told:
    assert state.dwell is not None
    entry = state.dwell.treatment
    event = entry.event
    assert isinstance(event, ev.PatencyTreatment)
    dose = ""
    if event.dose_mg is not None:
        dose = f" {phrasing.quantity(event.dose_mg, 'mg')}"
    elif event.dose_units is not None:
        dose = f" {phrasing.quantity(event.dose_units, 'units')}"
    volume = f" in {phrasing.quantity(event.volume_ml, 'mL')}" if event.volume_ml is not None else ""
    checks = phrasing.count(len(state.dwell.checks), "look") if state.dwell.checks else "not looked at yet"
    return told_of(view, "Thrombolytic", f"{event.drug}{dose}{volume} dwelling; {checks}", entry)
