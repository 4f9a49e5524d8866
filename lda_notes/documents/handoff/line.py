"""One septum on the handoff sheet: what is in, what was last established, when and by whom, and what is due."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final, Literal

from lda_notes.documents import wording
from lda_notes.documents.references import Basis, Stated
from lda_notes.documents.wording import Wording
from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.sources import COMMON_PRACTICE
from lda_notes.knowledge.suitability import Subject
from lda_notes.line import due as clocks
from lda_notes.line.against import subject
from lda_notes.line.corrections import Entry
from lda_notes.line.dangers import VESICANT_RUNS, lock_of
from lda_notes.line.due import ClockName, Due
from lda_notes.line.holds import PROVABLE, ROWS
from lda_notes.line.states import Danger, Dwell, Hold, State
from lda_notes.line.timeline import Timeline
from lda_notes.narrative import phrasing
from lda_notes.problems import Finding
from lda_notes.record import events as ev
from lda_notes.record.parts import Needle, NotAssessed, NotDone
from lda_notes.record.unread import absent_anywhere

Status = Literal["on hold", "accessed", "not accessed", "no port"]

Urgency = Literal["out of use", "overdue", "due this shift", "steady", "left"]
"""How urgent a line is, worst first; `URGENCIES` orders them."""

URGENCIES: Final[tuple[Urgency, ...]] = ("out of use", "overdue", "due this shift", "steady", "left")

_ACTS: Final[dict[ClockName, str]] = {
    "needle change": "Needle change, or removal",
    "dressing change": "Dressing change",
    "line check": "Line check",
    "flush": "Flush and lock, nothing runs",
    "idle flush": "Flush of the port, no needle in",
    "maintenance flush": "Maintenance flush after discharge",
    "thrombolytic check": "Check of the dwelling thrombolytic",
}


@dataclass(frozen=True, slots=True)
class Told:
    """One fact in words. ``at`` and ``by`` say when and by whom it was established; None when it was not."""

    label: str
    value: str
    at: datetime | None = None
    by: str | None = None
    told: str = ""


@dataclass(frozen=True, slots=True)
class Action:
    """Something that is due. ``by`` None means now. ``late``: the time has passed, or it is now.

    ``basis`` names what the time or the act rests on; ``clock`` the clock it comes from, if it does.
    """

    act: str
    septum: str
    by: datetime | None
    late: bool
    owner: str
    why: str
    basis: tuple[Basis, ...]
    clock: ClockName | None = None


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


@dataclass(frozen=True, slots=True)
class View:
    """What a sheet is made for: one record, a policy, the coming shift. ``since`` is the last handoff."""

    timeline: Timeline
    policy: Policy
    wording: Wording
    since: datetime
    shift_end: datetime
    file: str = ""

    def entry(self, finding: Finding) -> Entry | None:
        """Return the event that a finding is about, in whichever record of the line it stands."""
        if finding.event is None:
            return None
        file = finding.place.file if finding.place is not None else ""
        return self.timeline.entry(finding.event, "" if file == self.file else file)

    @property
    def asof(self) -> datetime:
        """The moment judged from."""
        return self.timeline.asof

    @property
    def subject(self) -> Subject:
        """What suitability asks of the patient, as known now."""
        today = self.asof.astimezone(self.wording.zone).date()
        known = self.timeline.patient_at(self.asof), self.timeline.port_at(self.asof)
        return subject(*known, today, self.timeline.unread)

    def left(self) -> Entry | None:
        """Return the discharge, if it has happened."""
        discharge = self.timeline.discharge
        return discharge if discharge is not None and discharge.event.at <= self.asof else None

    def in_shift(self, moment: datetime) -> bool:
        """Tell whether a time falls in the coming shift; what is due exactly when it ends belongs to it."""
        return moment.astimezone(UTC) <= self.shift_end.astimezone(UTC)


def line_facts(view: View, septum: str) -> LineFacts:
    """Return what the sheet tells of one septum."""
    state = view.timeline.now(septum)
    actions = tuple(sorted(_actions(view, state), key=_soonest))
    return LineFacts(
        septum,
        _status(state),
        _needle_text(view, state) if state.needle else "",
        wording.short_needle(_needle_of(state)) if state.needle else "",
        _dwell_day(view, state),
        _infusion(state) if state.infusion else "",
        tuple(filter(None, (_sluggish(view, state), _flush_waits(view, state), _evaluated(view, state)))),
        _vesicant(state),
        _hold(view, state),
        tuple(danger_text(view, danger) for danger in state.dangers if not named_as_unread(danger)),
        tuple(_facts(view, state)),
        _dwelling(view, state) if state.dwell is not None else None,
        actions,
        _urgency(view, state, actions),
        state,
    )


def _soonest(action: Action) -> tuple[int, datetime]:
    if action.by is None:
        return (0 if action.clock is None else 1), datetime.min.replace(tzinfo=UTC)
    return 2, action.by.astimezone(UTC)


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
    return ROWS[hold.reason].do if state.needle is not None else ""


def named_as_unread(danger: Danger) -> bool:
    """Tell whether it is a fact of this very record that could not be read: the sheet names each with its place."""
    return danger.code == "D11" and (danger.began is None or not danger.began.record)


def danger_text(view: View, danger: Danger) -> str:
    """Return a standing danger in words: what, since when and by whom charted, what must not be done meanwhile."""
    told = f" ({view.wording.told(danger.began)})" if danger.began is not None else ""
    forbids = f". Not allowed meanwhile: {danger.forbids}" if danger.forbids else ""
    return f"{phrasing.capital(danger.what)}{told}{forbids}"


# -- facts --


def _facts(view: View, state: State) -> Iterator[Told]:
    if state.needle is not None:
        yield _needle(view, state)
        yield _dressing(view, state)
    elif state.last_removal is not None:
        yield _told(view, "Needle", "taken out", state.last_removal)
    yield _flush(view, state)
    yield _lock(view, state)
    yield _blood_return(view, state)
    if state.infusion is not None:
        yield _told(view, "Infusion", _infusion(state), state.infusion)
    elif state.infusion_stopped is not None:
        yield _told(view, "Infusion", "none; stopped", state.infusion_stopped)


def _told(view: View, label: str, value: str, entry: Entry) -> Told:
    return Told(label, value, entry.event.at, wording.person(entry.event.by), view.wording.told(entry))


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
    return _told(view, "Needle", said, opened)


def _dressing(view: View, state: State) -> Told:
    on = state.dressing
    if on is None:
        return Told("Dressing", "none recorded")
    event = on.put_on.event
    found = event.dressing if isinstance(event, ev.Dressed | ev.ArrivalAccessed) else None
    told = _told(view, "Dressing", wording.dressing(found, view.wording.absent_in(on.put_on, "dressing")), on.put_on)
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
    return _told(view, "Blood return", f"{seen}{looks}", entry)


def _flush(view: View, state: State) -> Told:
    entry = state.last_flush
    event = entry.event if entry else None
    if entry is not None and entry.event.kind == "flushed elsewhere":
        return _told(view, "Flush", elsewhere(entry.event), entry)
    if entry is None or not isinstance(event, ev.Flushed) or not isinstance(event.flushes, tuple):
        return Told("Flush", _absent(view, "flushes"))
    return _told(view, "Flush", wording.flushes(event.flushes, view.wording.absent_in(entry, "flushes")), entry)


def elsewhere(event: ev.Event) -> str:
    """Return a flush that was done elsewhere in words: where, when, by whose word."""
    facts = event.__dict__
    on, where, word = facts.get("on"), facts.get("where"), facts.get("by_word_of")
    day = on.date() if isinstance(on, datetime) else on
    said = "flushed elsewhere" + (f", {phrasing.quoted(where)}" if where else "")
    return (
        said + (f", on {phrasing.day(day)}" if day else "") + (f", by word of {phrasing.quoted(word)}" if word else "")
    )


def _lock(view: View, state: State) -> Told:
    entry = state.last_lock
    left_out = _left_open(view, state)
    if left_out is not None and entry is not None and entry.event.at > left_out.event.at:
        left_out = None
    if left_out is not None and isinstance(left_out.event, ev.Flushed) and isinstance(left_out.event.lock, NotDone):
        return _told(view, "Lock", f"not locked: {phrasing.quoted(left_out.event.lock.not_done)}", left_out)
    found = lock_of(entry.event) if entry is not None else None
    if entry is None or found is None:
        return Told("Lock", _absent(view, "lock"))
    gone = "" if state.inside is entry else "; flushed or taken out since"
    return _told(view, "Lock", wording.lock(found, view.wording.absent_in(entry, "lock")) + gone, entry)


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
    return f"{said}, vesicant" if _vesicant(state) else said


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


def _evaluated(view: View, state: State) -> str:
    """Return that the line was evaluated since its holds began and a thrombolytic dwells now; "" otherwise."""
    if state.dwell is None or not state.holds:
        return ""
    since = max(hold.since for hold in state.holds)
    judged = [
        entry.event.at
        for entry in view.timeline.entries
        if isinstance(entry.event, ev.Evaluation)
        and since <= entry.event.at <= view.asof
        and (entry.event.septum or state.septum) == state.septum
    ]
    drug = getattr(state.dwell.treatment.event, "drug", "thrombolytic")
    return f"evaluation done {view.wording.soon(judged[-1])}; {drug} dwelling" if judged else ""


def _vesicant(state: State) -> bool:
    event = state.infusion.event if state.infusion else None
    danger = state.danger("D5")
    runs = danger is not None and danger.phase == "" and danger.what.startswith(VESICANT_RUNS)
    return runs or (isinstance(event, ev.LineUse) and event.vesicant is True)


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
    return _told(view, "Thrombolytic", f"{event.drug}{dose}{volume} dwelling; {checks}", entry)


# -- actions --


def _actions(view: View, state: State) -> Iterator[Action]:
    if not state.port_in or clocks.died(view.timeline, view.asof):
        return
    if state.holds and not _evaluated(view, state):
        yield _evaluation(view, state)
    yield from _contents(view, state)
    running = clocks.due(view.timeline, state.septum, view.policy)
    for clock in (*running, *clocks.charted(view.timeline, state.septum, view.policy, view.asof)):
        yield _from_clock(view, state, clock)
    if state.dwell is not None and not any(clock.clock == "thrombolytic check" for clock in running):
        yield _after_the_looks(view, state, state.dwell)
    if state.needle is None and not (state.last_flush or state.last_lock or state.last_removal):
        yield Action(
            "Find out when the port was last flushed",
            state.septum,
            None,
            True,
            _owner(view, None),
            "no flush, lock or needle is recorded",
            ("idle_flush_days",),
        )


def _evaluation(view: View, state: State) -> Action:
    return Action(
        "Evaluation; nothing through the line before",
        state.septum,
        None,
        True,
        _taken_over(view) or "specialist or physician",
        f"on hold since {view.wording.when(state.holds[0].since)}",
        ("hold_ends_with",) if all(hold.reason in PROVABLE for hold in state.holds) else (EVALUATED,),
    )


def _contents(view: View, state: State) -> Iterator[Action]:
    """Yield what is to be done about contents that must not be pushed in, and with a needle nobody is to take out."""
    acts = {(danger.code, danger.phase): danger for danger in reversed(state.dangers)}
    for which, danger in reversed(acts.items()):
        act = _ENDS.get(which)  # said once, for the latest, where several exposures wait to be reported
        if act is not None:
            when = f" since {view.wording.when(danger.since)}" if danger.since is not None else ""
            yield Action(act, state.septum, None, True, _owner(view, None), f"{danger.what}{when}", (DANGERS,))


_ENDS: Final[dict[tuple[str, str], str]] = {
    ("D1", ""): "Aspirate and discard the contents; ask the prescriber where nothing comes",
    ("D1", "aspirated"): "Flush without heparin",
    (
        "D1",
        "flushed in",
    ): "Report the exposure to heparin, and record who was notified, as a problem that names the heparin",
    ("D3", ""): "Aspirate and discard the lock; ask the prescriber where nothing comes",
    (
        "D3",
        "flushed in",
    ): "Report the lock that was flushed in, and record who was notified, as a problem that names its drug",
    ("D10", ""): "Name who takes the needle out and when, and teach",
}
"""What ends a danger, where no clock says it: by its number and phase."""

EVALUATED: Final = Stated("S2", "A hold that no blood return ends, ends with an evaluation", (COMMON_PRACTICE,))
DANGERS: Final = Stated("S1", "A standing danger stays until what ends it is recorded", (COMMON_PRACTICE,))
VESICANT_LOOKS: Final = "a vesicant runs: look as often as facility policy says for one"
"""Common practice, no source: the hours of the line check are those of any needle."""


def _from_clock(view: View, state: State, clock: Due) -> Action:
    act = f"{clock.clock.capitalize()} (charted)" if clock.charted else _ACTS[clock.clock]
    why = clock.why
    if clock.charted:
        why += f", {view.wording.told(clock.restarted_by)}"
    elif clock.since is not None and clock.by is not None:
        why += f" {view.wording.when(clock.since)}, {view.policy.text(clock.limit)}"
    if clock.clock == "line check" and _vesicant(state):
        why += f"; {VESICANT_LOOKS}"
    return Action(
        act,
        clock.septum,
        clock.by,
        clock.overdue(view.asof),
        _owner(view, clock.by),
        why,
        () if clock.charted else (clock.limit,),
        clock.clock,
    )


def _owner(view: View, by: datetime | None) -> str:
    left = view.left()
    if left is not None:
        plan = left.event.needle_removal if isinstance(left.event, ev.Discharge) and by is not None else None
        takes_out = wording.person(plan.by) if plan is not None and plan.by is not None and plan.by.name else ""
        return _taken_over(view) or takes_out or "no one is named"
    return "oncoming nurse" if by is None or view.in_shift(by) else "a later shift"


def _taken_over(view: View) -> str:
    """Return who took over a patient who left, as named at discharge; "" for no one."""
    left = view.left()
    taken = left.event.handed_to if left is not None and isinstance(left.event, ev.Discharge) else None
    return wording.person(taken) if taken is not None and taken.name else ""


def doses_so_far(view: View, state: State, dwell: Dwell) -> int:
    """Return how many doses of a thrombolytic were put in through this needle, the dwelling one included."""
    began = state.needle.opened.event.at if state.needle else dwell.treatment.event.at
    return sum(
        began <= other.treatment.event.at <= dwell.treatment.event.at for other in view.timeline.dwells[state.septum]
    )


def _after_the_looks(view: View, state: State, dwell: Dwell) -> Action:
    drug = getattr(dwell.treatment.event, "drug", "")
    if drug != "alteplase":
        since = f"put in {view.wording.when(dwell.treatment.event.at)}"
        act = f"Look at the dwelling {drug} as its order says"
        return Action(act, state.septum, None, True, _owner(view, None), since, (DANGERS,))
    doses = doses_so_far(view, state, dwell)
    more = doses < view.policy.value("alteplase_doses")
    waited = phrasing.span(view.asof - dwell.treatment.event.at)
    return Action(
        "Ask the prescriber: second dose or evaluation"
        if more
        else "Ask the prescriber: evaluation and imaging, no further dose",
        state.septum,
        None,
        True,
        _owner(view, None),
        f"looked at twice without success, in for {waited}; {phrasing.count(doses, 'dose')} so far",
        ("alteplase_doses", "alteplase_second_dose_minutes"),
    )
