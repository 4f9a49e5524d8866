"""Folds the events of an episode into states: what is in, what holds, since when, for every septum.

Corrections and retractions are applied first. Order is by time; events of the same minute have a fixed order
(`SAME_MINUTE`), so the order in the file never matters.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Final, Literal, assert_never

from lda_notes.knowledge.policy import Policy
from lda_notes.line.corrections import SAME_MINUTE, Entry, corrected
from lda_notes.problems import Finding
from lda_notes.record import events as ev
from lda_notes.record.episode import Episode
from lda_notes.record.parts import Dressing, Needle, NotAssessed, NotDone, Site
from lda_notes.record.unread import Unread

__all__ = [
    "SAME_MINUTE",
    "DressingStay",
    "Dwell",
    "Entry",
    "Hold",
    "HoldReason",
    "NeedleStay",
    "State",
    "Step",
    "Timeline",
    "UnitStay",
    "build",
    "trouble",
]

HoldReason = Literal[
    "no blood return", "resistance", "swelling", "signs of infection", "port flipped", "skin over port"
]
"""Why a line is out of use."""

RESTORABLE: Final = frozenset({"no blood return", "resistance"})
"""Reasons that a restored blood return may end, where policy allows it; the others need an evaluation."""


@dataclass(frozen=True, slots=True)
class NeedleStay:
    """A needle's time in a septum. ``since`` is None when nobody knows when it was put in."""

    septum: str
    opened: Entry
    since: datetime | None
    needle: Needle | None
    closed: Entry | None = None

    @property
    def until(self) -> datetime | None:
        """When it was taken out; None while it is in."""
        return self.closed.event.at if self.closed else None


@dataclass(frozen=True, slots=True)
class DressingStay:
    """A dressing's time on the site. ``since`` is None when nobody knows when it was put on.

    ``found`` is the last look that recorded its condition.
    """

    septum: str
    put_on: Entry
    since: datetime | None
    dressing: Dressing | None
    ended: Entry | None = None
    found: Entry | None = None


@dataclass(frozen=True, slots=True)
class Hold:
    """A time during which the line must not be used. ``reasons`` pairs each reason with the event that showed it."""

    septum: str
    reasons: tuple[tuple[HoldReason, Entry], ...]
    ended: Entry | None = None

    @property
    def began(self) -> Entry:
        """The event that first showed trouble."""
        return self.reasons[0][1]


@dataclass(frozen=True, slots=True)
class Dwell:
    """A thrombolytic dwelling in the line. ``checks`` are its looks so far."""

    septum: str
    treatment: Entry
    checks: tuple[Entry, ...] = ()
    ended: Entry | None = None


@dataclass(frozen=True, slots=True)
class State:
    """What is true of one septum at a moment."""

    septum: str
    needle: NeedleStay | None = None
    dressing: DressingStay | None = None
    hold: Hold | None = None
    dwell: Dwell | None = None
    last_blood_return: Entry | None = None
    last_flush: Entry | None = None
    last_lock: Entry | None = None
    last_check: Entry | None = None
    last_removal: Entry | None = None
    infusion: Entry | None = None
    infusion_stopped: Entry | None = None
    port_in: bool = True


@dataclass(frozen=True, slots=True)
class Step:
    """One event and the states around it. ``septum`` is None for events that are not about one septum."""

    entry: Entry
    septum: str | None
    before: State
    after: State


@dataclass(frozen=True, slots=True)
class UnitStay:
    """Time on one unit; ``until`` is None while the patient is there."""

    unit: str
    room: str | None
    setting: str | None
    since: datetime | None
    until: datetime | None = None
    entry: Entry | None = None


@dataclass(slots=True)
class _History:
    needles: list[NeedleStay] = field(default_factory=list)
    dressings: list[DressingStay] = field(default_factory=list)
    holds: list[Hold] = field(default_factory=list)
    dwells: list[Dwell] = field(default_factory=list)
    moments: list[datetime] = field(default_factory=list)
    states: list[State] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Timeline:
    """The whole episode in order of time.

    ``entries`` are the standing events (not the retracted ones, not the corrections), ``retracted`` the withdrawn
    ones, ``corrections`` the correcting events. ``needles``, ``dressings``, ``holds`` and ``dwells`` list each stay
    by septum, the last one open if it still lasts.
    """

    episode: Episode
    asof: datetime
    entries: tuple[Entry, ...]
    steps: tuple[Step, ...]
    retracted: tuple[Entry, ...]
    corrections: tuple[Entry, ...]
    findings: tuple[Finding, ...]
    needles: Mapping[str, tuple[NeedleStay, ...]]
    dressings: Mapping[str, tuple[DressingStay, ...]]
    holds: Mapping[str, tuple[Hold, ...]]
    dwells: Mapping[str, tuple[Dwell, ...]]
    units: tuple[UnitStay, ...]
    discharge: Entry | None
    _moments: Mapping[str, list[datetime]]
    _states: Mapping[str, list[State]]
    _by_id: Mapping[str, Entry]
    unread: tuple[Unread, ...] = ()
    """Facts that were written and could not be read: not missing, and never stated."""

    def state_at(self, septum: str, moment: datetime) -> State:
        """Return what is true of ``septum`` at ``moment``, events of that very moment included."""
        position = bisect_right(self._moments[septum], moment)
        return self._states[septum][position - 1] if position else State(septum)

    def course(self, septum: str) -> Iterator[Step]:
        """Yield every event about ``septum`` or about the port as a whole, in order, with the states around it."""
        septa = self.episode.port.septa
        named = ((entry, _septum(entry.event, septa)) for entry in self.entries)
        before = State(septum)
        about = ((entry, where) for entry, where in named if where in (None, septum))
        for (entry, where), after in zip(about, self._states[septum], strict=True):
            yield Step(entry, where, before, after)
            before = after

    def now(self, septum: str) -> State:
        """Return what is true of ``septum`` at the moment judged from."""
        return self.state_at(septum, self.asof)

    def unit_at(self, moment: datetime) -> UnitStay | None:
        """Return where the patient is at ``moment``."""
        for stay in reversed(self.units):
            if stay.since is None or stay.since <= moment:
                return None if stay.until is not None and stay.until <= moment else stay
        return None

    def entry(self, event_id: str) -> Entry | None:
        """Return the standing or retracted event of that identifier."""
        return self._by_id.get(event_id)


def build(episode: Episode, policy: Policy, asof: datetime, unread: tuple[Unread, ...] = ()) -> Timeline:
    """Fold ``episode`` into a timeline judged from ``asof``; events after ``asof`` are kept in it.

    ``unread`` are the facts of the record that were written and could not be read.
    """
    entries, retracted, corrections, findings = corrected(episode)
    histories = {septum: _History() for septum in episode.port.septa}
    states = {septum: State(septum) for septum in episode.port.septa}
    changes = (entry.event for entry in entries if isinstance(entry.event, ev.PortImplanted | ev.PortRemoved))
    if isinstance(next(changes, None), ev.PortImplanted):
        states = {septum: _but(state, port_in=False) for septum, state in states.items()}
    steps: list[Step] = []
    first = episode.port.septa[0]
    for entry in entries:
        event = entry.event
        named = _septum(event, episode.port.septa)
        for septum in states if named is None else (named,):
            before = states[septum]
            after = _after(before, entry, policy, histories[septum])
            states[septum] = after
            histories[septum].moments.append(event.at)
            histories[septum].states.append(after)
            if septum == (named or first):
                steps.append(Step(entry, named, before, after))
    for septum, state in states.items():
        history = histories[septum]
        if state.needle is not None:
            history.needles.append(state.needle)
        if state.dressing is not None:
            history.dressings.append(state.dressing)
        if state.hold is not None:
            history.holds.append(state.hold)
        if state.dwell is not None:
            history.dwells.append(state.dwell)
    units, discharge = _units(episode, entries)
    return Timeline(
        episode,
        asof,
        entries,
        tuple(steps),
        retracted,
        corrections,
        findings,
        {septum: tuple(history.needles) for septum, history in histories.items()},
        {septum: tuple(history.dressings) for septum, history in histories.items()},
        {septum: tuple(history.holds) for septum, history in histories.items()},
        {septum: tuple(history.dwells) for septum, history in histories.items()},
        units,
        discharge,
        {septum: history.moments for septum, history in histories.items()},
        {septum: history.states for septum, history in histories.items()},
        {entry.event.id: entry for entry in (*reversed(retracted), *reversed(entries))},  # of two the first counts
        unread,
    )


# -- states --


def _but(state: State, **changes: Any) -> State:
    """Return ``state`` with some of its fields changed: `dataclasses.replace` at a third of its cost."""
    made = object.__new__(State)
    for name in State.__slots__:
        _put(made, name, changes[name] if name in changes else getattr(state, name))
    return made


_put: Final = object.__setattr__


def _septum(event: ev.Event, septa: tuple[str, ...]) -> str | None:
    """Return the septum that the event is about; None when it is about the port as a whole."""
    match event:
        case ev.CareEvent():
            return event.septum if event.septum in septa else septa[0]
        case _:
            return None


def _after(state: State, entry: Entry, policy: Policy, history: _History) -> State:
    event = entry.event
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
    state = _proved(state, entry)
    return _held(state, entry, policy, history)


def _opened(state: State, entry: Entry, event: ev.Opening, history: _History) -> State:
    if state.needle is not None:  # no removal was charted: the stay ends where the next begins, a rule says so
        history.needles.append(replace(state.needle, closed=entry))
    if state.dressing is not None:
        history.dressings.append(replace(state.dressing, ended=entry))
    since: datetime | None = event.at
    dressed: datetime | None = event.at
    infusion: Entry | None = None
    needle: Needle | NotAssessed | None = None
    dressing: Dressing | NotAssessed | NotDone | None = None
    if isinstance(event, ev.ArrivalAccessed):
        since = event.inserted_at if isinstance(event.inserted_at, datetime) else None
        dressed = event.dressed_at if isinstance(event.dressed_at, datetime) else None
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
            on = replace(on, found=entry)
    _stop_dwell(state, entry, history)
    return _but(state, needle=stay, dressing=on, infusion=infusion, infusion_stopped=None, last_check=entry, dwell=None)


def _stop_dwell(state: State, entry: Entry, history: _History) -> None:
    if state.dwell is not None:
        history.dwells.append(replace(state.dwell, ended=entry))


def _closed(state: State, entry: Entry, history: _History) -> State:
    if state.needle is not None:
        history.needles.append(replace(state.needle, closed=entry))
    if state.dressing is not None:
        history.dressings.append(replace(state.dressing, ended=entry))
    _stop_dwell(state, entry, history)
    return _but(state, needle=None, dressing=None, dwell=None, infusion=None, infusion_stopped=None, last_removal=entry)


def _tended(state: State, entry: Entry, event: ev.Tending, history: _History) -> State:
    match event:
        case ev.DressingChange():
            if state.dressing is not None:
                history.dressings.append(replace(state.dressing, ended=entry))
            on = event.dressing if isinstance(event.dressing, Dressing) else None
            return _but(state, dressing=DressingStay(state.septum, entry, event.at, on), last_check=entry)
        case ev.PatencyTreatment():
            _stop_dwell(state, entry, history)
            return _but(state, dwell=Dwell(state.septum, entry))
        case ev.LineUse():
            if event.purpose in ("infusion", "medication", "transfusion"):
                if event.action == "started":
                    return _but(state, infusion=entry)
                if event.action == "stopped":
                    return _but(state, infusion=None, infusion_stopped=entry)
            return state
        case _:
            return state


def _observed(state: State, entry: Entry, event: ev.Observing, history: _History) -> State:
    match event:
        case ev.LineCheck():
            infusion = entry if event.infusion else state.infusion
            on = state.dressing
            if on is not None and isinstance(event.dressing_found, tuple):
                on = replace(on, found=entry)
            return _but(state, last_check=entry, infusion=infusion, dressing=on)
        case ev.PatencyCheck():
            if state.dwell is None:
                return state
            dwell = replace(state.dwell, checks=(*state.dwell.checks, entry))
            if event.blood_return == "present":
                history.dwells.append(replace(dwell, ended=entry))
                return _but(state, dwell=None)
            return _but(state, dwell=dwell)
        case _:
            return state


def _moved(state: State, entry: Entry, event: ev.Moving, history: _History) -> State:
    match event:
        case ev.PortImplanted():
            return _but(state, port_in=True)
        case ev.PortRemoved():
            state = _closed(state, entry, history) if state.needle else state
            if state.hold is not None:
                history.holds.append(replace(state.hold, ended=entry))
            return _but(state, port_in=False, hold=None)
        case _:
            return state


def _proved(state: State, entry: Entry) -> State:
    event = entry.event
    seen = event.blood_return if isinstance(event, ev.Proved) else None
    before_use = event.blood_return_before if isinstance(event, ev.LineUse) else None
    if isinstance(seen, str) or isinstance(before_use, str):
        state = _but(state, last_blood_return=entry)
    if isinstance(event, ev.Flushed):
        if isinstance(event.flushes, tuple) and event.flushes:
            state = _but(state, last_flush=entry)
        if event.lock is not None and not isinstance(event.lock, NotDone):
            state = _but(state, last_lock=entry)
    return state


def trouble(event: ev.Event) -> tuple[HoldReason, ...]:
    """Return every reason that ``event`` itself gives to keep the line out of use."""
    facts = event.__dict__  # asked of every event: isinstance on a pydantic shape costs more than the look itself
    reasons: list[HoldReason] = []
    if facts.get("blood_return") == "none" or facts.get("blood_return_before") == "none":
        reasons.append("no blood return")
    flushes = facts.get("flushes")
    if flushes.__class__ is tuple:
        for flush in flushes:
            if flush.resistance in ("some", "cannot flush"):
                reasons.append("resistance")
                break
    site = facts.get("site")
    if site.__class__ is Site:
        reasons += _site_trouble(site)
    return tuple(reasons)


def _site_trouble(site: Site) -> list[HoldReason]:
    reasons: list[HoldReason] = []
    if site.swelling == "present":
        reasons.append("swelling")
    if site.drainage == "purulent" or (site.erythema == "present" and site.tenderness == "present"):
        reasons.append("signs of infection")
    if site.port == "flipped":
        reasons.append("port flipped")
    if site.skin in ("broken", "thinned", "port visible"):
        reasons.append("skin over port")
    return reasons


def _held(state: State, entry: Entry, policy: Policy, history: _History) -> State:
    event = entry.event
    hold = state.hold
    reasons = trouble(event)
    if reasons:
        known = {reason for reason, _ in hold.reasons} if hold else set()
        fresh = tuple((reason, entry) for reason in reasons if reason not in known)
        if hold is None:
            return _but(state, hold=Hold(state.septum, fresh))
        return _but(state, hold=replace(hold, reasons=(*hold.reasons, *fresh))) if fresh else state
    if hold is None:
        return state
    cleared = isinstance(event, ev.Evaluation) and event.decision == "cleared for use"
    restored = (
        policy.choice("hold_ends_with") == "evaluation or blood return"
        and isinstance(event, ev.Proved)
        and event.blood_return == "present"
        and all(reason in RESTORABLE for reason, _ in hold.reasons)
    )
    if cleared or restored:
        history.holds.append(replace(hold, ended=entry))
        return _but(state, hold=None)
    return state


# -- units --


def _units(episode: Episode, entries: tuple[Entry, ...]) -> tuple[tuple[UnitStay, ...], Entry | None]:
    stay = episode.stay
    units = [UnitStay(stay.unit, stay.room, stay.setting, stay.admitted_at)]
    discharge: Entry | None = None
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.Transfer):
            units[-1] = replace(units[-1], until=event.at)
            units.append(UnitStay(event.to_unit, event.to_room, event.to_setting, event.at, entry=entry))
        elif isinstance(event, ev.Discharge):
            units[-1] = replace(units[-1], until=event.at)
            discharge = entry
    return tuple(units), discharge
