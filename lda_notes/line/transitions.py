"""The changes that one event makes to the state of one septum: needle, dressing, proof, holds, limits, dangers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Final, assert_never
from zoneinfo import ZoneInfo

from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.line import contents, dangers, holds
from lda_notes.line.corrections import Entry
from lda_notes.line.dangers import Around
from lda_notes.line.known import Known
from lda_notes.line.proof import blood_of, flow_of, whole_blood
from lda_notes.line.signs import Look
from lda_notes.line.states import Danger, DressingStay, Dwell, Hold, HoldReason, NeedleStay, State, UseLimit
from lda_notes.record import events as ev
from lda_notes.record.episode import Patient, Port
from lda_notes.record.parts import Dressing, Needle, NotAssessed, NotDone, Site, began
from lda_notes.record.unread import Unread


@dataclass(slots=True)
class History:
    """The history of one septum: its stays, and the state after each event."""

    needles: list[NeedleStay] = field(default_factory=list)
    dressings: list[DressingStay] = field(default_factory=list)
    holds: list[Hold] = field(default_factory=list)
    dangers: list[Danger] = field(default_factory=list)
    dwells: list[Dwell] = field(default_factory=list)
    moments: list[datetime] = field(default_factory=list)
    states: list[State] = field(default_factory=list)

    def lists(self) -> tuple[list[Any], ...]:
        """Return each of these lists."""
        return self.needles, self.dressings, self.holds, self.dangers, self.dwells, self.moments, self.states


@dataclass(slots=True)
class Fold:
    """The working data of one walk over the events of a line."""

    policy: Policy
    septa: tuple[str, ...]
    zone: ZoneInfo
    unread: Mapping[tuple[str, str], tuple[Unread, ...]]
    known: Known
    implanted: datetime | None
    histories: dict[str, History]


def unread_danger(septum: str, entry: Entry | None, what: str) -> Danger:
    """Return the danger of what could not be read: of an entry, or of the record where there is none."""
    return Danger("D11", septum, what, entry, dangers.UNREAD_FORBIDS)


def keep(history: History, at: datetime, state: State) -> None:
    """Add the state after an event to the course of its septum."""
    history.moments.append(at.astimezone(UTC))
    history.states.append(state)


def septum_of(event: ev.Event, septa: tuple[str, ...]) -> str | None:
    """Return the septum that the event is about; None when it is about the port as a whole."""
    match event:
        case ev.CareEvent():
            return event.septum if event.septum in septa else septa[0]
        case _:
            return None


def names_septum(event: ev.Event, septa: tuple[str, ...]) -> bool:
    """Return whether it is plain which septum an event is about."""
    return len(septa) == 1 or getattr(event, "septum", None) in septa


def after(state: State, entry: Entry, fold: Fold) -> State:
    """Return the state of a septum that the event is about."""
    event = entry.event
    before, history = state, fold.histories[state.septum]
    match event:
        case ev.Opening():
            state = _opened(state, entry, event, history)
        case ev.Closing():
            state = _closed(state, entry, history)
        case ev.Tending():
            state = _tended(state, entry, event, history)
        case ev.Observing():
            state = _observed(state, entry, event, history)
        case ev.Moving():
            state = _moved(state, entry, event, history)
        case ev.Correcting() | ev.Event():
            return state
        case _:
            assert_never(event)
    if state.needle is not None and event.__dict__.get("site").__class__ is Site:
        state = state._replace(last_check=entry)  # who charted the site looked at the line, whatever else was done
    state = _proved(state, entry)
    state = _held(before, state, entry, fold)
    return _endangered(before, state, entry, fold)


def reached(state: State, entry: Entry, fold: Fold) -> State:
    """Return the state of a septum that the event is not about: what holds the whole port holds it too."""
    event = entry.event
    look = _look(state, entry, fold)
    if isinstance(event, ev.Evaluation) and not names_septum(event, fold.septa):
        state = _ended_holds(
            state, holds.ended_by_event(state.holds, look, state, named=False, alone=False), entry, fold
        )
    return _begun_holds(state, holds.begins(look, whole_port_only=names_septum(event, fold.septa)))


def never_entered(event: ev.Event) -> bool:
    """Return whether every puncture of an access missed the port and no needle is recorded as left in it."""
    punctures = event.__dict__.get("punctures") or ()
    missed = bool(punctures) and all(puncture.outcome == "port missed" for puncture in punctures)
    return isinstance(event, ev.Access) and missed and not isinstance(event.needle, Needle)


def _opened(state: State, entry: Entry, event: ev.Opening, history: History) -> State:
    if never_entered(event):
        return state
    if state.needle is not None:  # no removal was charted: the stay ends where the next begins, a rule says so
        history.needles.append(state.needle._replace(closed=entry))
    if state.dressing is not None:
        history.dressings.append(state.dressing._replace(ended=entry))
    since: datetime | None = event.at
    dressed: datetime | None = event.at
    infusion: Entry | None = None
    needle: Needle | NotAssessed | None = None
    dressing: Dressing | NotAssessed | NotDone | None = None
    if isinstance(event, ev.ArrivalAccessed):
        since = began(event.inserted_at, event.at)
        dressed = began(event.dressed_at, event.at)
        needle, dressing = event.needle, event.dressing
        infusion = entry if event.infusion else None
    elif isinstance(event, ev.Access):
        needle, dressing = event.needle, event.dressing
        infusion = entry if event.infusion else None
    stay = NeedleStay(state.septum, entry, since, needle if isinstance(needle, Needle) else None)
    on: DressingStay | None = None
    if isinstance(event, ev.ArrivalAccessed) or isinstance(dressing, Dressing):
        on = DressingStay(state.septum, entry, dressed, dressing if isinstance(dressing, Dressing) else None)
        if isinstance(event, ev.ArrivalAccessed) and isinstance(event.dressing_found, tuple):
            on = on._replace(found=entry)
    _stop_dwell(state, entry, history)
    return state._replace(
        needle=stay, dressing=on, infusion=infusion, infusion_stopped=None, last_check=entry, dwell=None
    )


def _stop_dwell(state: State, entry: Entry, history: History) -> None:
    if state.dwell is not None:
        history.dwells.append(state.dwell._replace(ended=entry))


def _closed(state: State, entry: Entry, history: History) -> State:
    if state.needle is not None:
        history.needles.append(state.needle._replace(closed=entry))
    if state.dressing is not None:
        history.dressings.append(state.dressing._replace(ended=entry))
    _stop_dwell(state, entry, history)
    return state._replace(
        needle=None, dressing=None, dwell=None, infusion=None, infusion_stopped=None, last_removal=entry
    )


def _tended(state: State, entry: Entry, event: ev.Tending, history: History) -> State:
    match event:
        case ev.DressingChange() if isinstance(event.dressing, NotDone) and state.dressing is not None:
            # the old one stays, as old as it is
            return state._replace(last_check=entry, dressing=_without(state.dressing, event.taken_off))
        case ev.DressingChange():
            if state.dressing is not None:
                history.dressings.append(state.dressing._replace(ended=entry))
            on = event.dressing if isinstance(event.dressing, Dressing) else None
            return state._replace(dressing=DressingStay(state.septum, entry, event.at, on), last_check=entry)
        case ev.PatencyTreatment():
            _stop_dwell(state, entry, history)
            return state._replace(dwell=Dwell(state.septum, entry))
        case ev.LineUse():
            if event.purpose in ("infusion", "medication", "transfusion"):
                if event.action == "started":
                    return state._replace(infusion=entry)
                if event.action == "stopped":
                    return state._replace(infusion=None, infusion_stopped=entry)
            return state
        case ev.FlushOrLock() if state.infusion is not None and contents.lock_of(event) is not None:
            return state._replace(infusion=None, infusion_stopped=entry)  # a locked line has nothing running
        case _:
            return state


def _without(stay: DressingStay, taken_off: Sequence[str]) -> DressingStay:
    """Return a dressing that stays on, without the parts that were taken off because of a reaction to them."""
    names = {"disc": "chlorhexidine_disc", "latex": "latex"}
    gone = {names[part]: False for part in taken_off if part in names}
    if stay.dressing is None or not gone:
        return stay
    return stay._replace(dressing=stay.dressing.model_copy(update=gone))


def _observed(state: State, entry: Entry, event: ev.Observing, history: History) -> State:
    match event:
        case ev.LineCheck():
            if "needle out" in (event.__dict__.get("found") or ()):
                return _closed(state, entry, history)._replace(last_check=entry)
            infusion, stopped = entry if event.infusion else state.infusion, state.infusion_stopped
            if event.__dict__.get("nothing_runs") is True and infusion is not None:
                infusion, stopped = None, entry
            on = state.dressing
            if on is not None and isinstance(event.dressing_found, tuple):
                on = on._replace(found=entry)
            return state._replace(last_check=entry, infusion=infusion, infusion_stopped=stopped, dressing=on)
        case ev.PatencyCheck():
            if state.dwell is None:
                return state
            dwell = state.dwell._replace(checks=(*state.dwell.checks, entry))
            if event.blood_return == "present":
                history.dwells.append(dwell._replace(ended=entry))
                return state._replace(dwell=None)
            return state._replace(dwell=dwell)
        case _:
            if event.kind == "needle dislodged" and event.__dict__.get("extent") == "completely out":
                return _closed(state, entry, history)
            return state


def _moved(state: State, entry: Entry, event: ev.Moving, history: History) -> State:
    match event:
        case ev.PortImplanted():
            return state._replace(port_in=True)
        case ev.PortRemoved():
            state = _closed(state, entry, history) if state.needle else state
            return state._replace(port_in=False, inside=None)
        case _:
            if event.kind == "flushed elsewhere":
                locked = entry if contents.lock_of(event) is not None else state.last_lock
                return state._replace(last_flush=entry, last_lock=locked)
            return state


def _proved(state: State, entry: Entry) -> State:
    event = entry.event
    made: dict[str, Any] = {}
    seen = event.blood_return if isinstance(event, ev.Proved) else None
    before_use = event.blood_return_before if isinstance(event, ev.LineUse) else None
    if isinstance(seen, str) or isinstance(before_use, str):
        made["last_blood_return"] = entry
    if isinstance(event, ev.Flushed):
        if isinstance(event.flushes, tuple) and event.flushes:
            made["last_flush"] = made["given"] = entry
        if event.lock is not None and not isinstance(event.lock, NotDone):
            made["last_lock"] = entry
    if isinstance(event, ev.LineUse) and event.action in ("started", "given"):
        made["given"] = entry
    if blood_of(event) is not None:
        made["blood"] = entry
    if flow_of(event) is not None:
        made["flow"] = entry
    if isinstance(event, ev.PatencyCheck) and whole_blood(event) and contents.removed(event):
        made["treated"] = entry
    left = contents.inside(state, entry)
    if left is not state.inside:
        made["inside"] = left
    return state._replace(**made) if made else state


def trouble(event: ev.Event) -> tuple[HoldReason, ...]:
    """Return every reason that ``event`` by itself gives to keep the line out of use, whatever came before it."""
    look = Look(Entry(0, event, event), _NOTHING_BEFORE, _ANY_PORT, DEFAULT)
    return tuple(hold.reason for hold in holds.begins(look))


_ANY_PORT: Final = Port.model_construct(id="any")
_NOTHING_BEFORE: Final = State("")


def _look(state: State, entry: Entry, fold: Fold) -> Look:
    event = entry.event
    return Look(
        entry,
        state,
        fold.known.port,
        fold.policy,
        holds.is_fresh(event.at, fold.implanted, fold.policy),
        fold.unread.get((entry.record, event.id), ()) if fold.unread else (),
    )


def _held(before: State, state: State, entry: Entry, fold: Fold) -> State:
    event = entry.event
    look = _look(before, entry, fold)
    named = names_septum(event, fold.septa)
    if state.holds:
        told = holds.ended_by_event(state.holds, look, state, named=named, alone=len(fold.septa) == 1)
        state = _ended_holds(state, told, entry, fold)
    if isinstance(event, ev.Evaluation):
        state = _limited(state, event, entry, fold.policy)
    return _begun_holds(state, holds.begins(look))


def _ended_holds(state: State, told: Mapping[HoldReason, str], entry: Entry, fold: Fold) -> State:
    if not told:
        return state
    over = tuple(holds.with_end(hold, entry, told[hold.reason]) for hold in state.holds if hold.reason in told)
    fold.histories[state.septum].holds.extend(over)
    kept = tuple(hold for hold in state.holds if hold.reason not in told)
    restored = state.restored or any(h.reason == "no blood return" and h.how != "evaluation" for h in over)
    state = state._replace(holds=kept, restored=restored and state.port_in)
    if isinstance(entry.event, ev.PortRemoved):
        signs = ((hold.sign, hold.began) for hold in over if holds.ROW_OF[hold.reason].of_patient)
        state = state._replace(dangers=(*state.dangers, *dangers.left_behind(state, signs)))
    return state


def _begun_holds(state: State, fresh: Iterator[Hold]) -> State:
    known = {hold.reason for hold in state.holds}
    more = tuple(hold for hold in fresh if hold.reason not in known)
    return state._replace(holds=(*state.holds, *more)) if more else state


def _limited(state: State, event: ev.Evaluation, entry: Entry, policy: Policy) -> State:
    if not holds.may_clear(event, policy) or event.decision not in holds.CLEARING_DECISIONS:
        return state
    lifted = event.__dict__.get("lifts") or ()
    limits = tuple(limit for limit in state.limits if limit.what not in lifted)
    known = {limit.what for limit in limits}
    added = (what for what in event.__dict__.get("limits") or () if what not in known)
    limits = (*limits, *(UseLimit(state.septum, what, entry) for what in added))
    return state._replace(limits=limits) if limits != state.limits else state


def _endangered(before: State, state: State, entry: Entry, fold: Fold) -> State:
    patient = fold.known.patient
    against = _against(state, patient, entry, fold)
    around = Around(entry, before, state, patient, fold.policy, against)
    standing, over = dangers.after(around)
    more: tuple[Danger, ...] = ()
    if fold.unread:
        facts = fold.unread.get((entry.record, entry.event.id), ())
        more = tuple(
            unread_danger(state.septum, entry, f'{fact.label} could not be read: "{fact.text}"') for fact in facts
        )
    fold.histories[state.septum].dangers.extend(over)
    if dangers.settled(around):
        state = state._replace(settled=state.inside)
    kept = tuple(danger for danger in state.dangers if danger.code == "P" and danger not in before.dangers)
    unread = tuple(danger for danger in before.dangers if danger.code == "D11")
    found = (*standing, *kept, *unread, *more)
    return state._replace(dangers=found) if found != state.dangers else state


def _against(state: State, patient: Patient, entry: Entry, fold: Fold) -> tuple[str, ...]:
    """Return what is on the patient's skin against an allergy, in words."""
    if not patient.allergies or state.needle is None or state.dressing is None:
        return ()
    from lda_notes.line.against import on_the_skin

    return on_the_skin(state, patient, fold.known.port, entry, fold.policy, fold.zone)
