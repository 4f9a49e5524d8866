"""Folds the events of an episode into states: what is in, what holds, since when, for every septum.

Corrections and retractions are applied first. Order is by time; events of the same minute have a fixed order
(`SAME_MINUTE`), so the order in the file never matters.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, time
from typing import Any, Final, assert_never
from zoneinfo import ZoneInfo

from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.line import dangers, holds
from lda_notes.line.corrections import SAME_MINUTE, Corrected, Entry, corrected
from lda_notes.line.dangers import Around
from lda_notes.line.holds import PROVABLE, Look
from lda_notes.line.known import Known, carried, changed, dated, handed_on
from lda_notes.line.states import (
    Danger,
    DressingStay,
    Dwell,
    Hold,
    HoldReason,
    NeedleStay,
    State,
    Step,
    UnitStay,
    UseLimit,
)
from lda_notes.problems import Finding
from lda_notes.record import events as ev
from lda_notes.record.episode import Episode, Patient, Port
from lda_notes.record.parts import Dressing, Needle, NotAssessed, NotDone, began
from lda_notes.record.unread import Unread

__all__ = [
    "PROVABLE",
    "SAME_MINUTE",
    "Danger",
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
    "UseLimit",
    "build",
    "never_entered",
    "trouble",
]


@dataclass(frozen=True, slots=True)
class Beside:
    """Another record of the same line: another stay of the same patient with the same port."""

    episode: Episode
    file: str
    unread: tuple[Unread, ...] = ()
    since: datetime | None = None
    """When its stay begins, where that is after this one's: what it says of patient and port is known from then."""


@dataclass(frozen=True, slots=True)
class Others:
    """What other records say that is true of this one too: ``beside`` are the other stays of the same line.

    ``elsewhere`` are the holds of another port of the same patient that nobody recorded as removed, which hold this
    one too, ``ports`` the names of such ports.
    """

    beside: tuple[Beside, ...] = ()
    elsewhere: tuple[Hold, ...] = ()
    ports: tuple[str, ...] = ()


ALONE: Final = Others()
"""A record that is judged by itself."""


@dataclass(slots=True)
class _History:
    needles: list[NeedleStay] = field(default_factory=list)
    dressings: list[DressingStay] = field(default_factory=list)
    holds: list[Hold] = field(default_factory=list)
    dangers: list[Danger] = field(default_factory=list)
    dwells: list[Dwell] = field(default_factory=list)
    moments: list[datetime] = field(default_factory=list)
    states: list[State] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Timeline:
    """One record in order of time, within the line that it belongs to.

    ``entries`` are the standing events (not the retracted ones, not the corrections), ``retracted`` the withdrawn
    ones, ``corrections`` the correcting events: those of this record, or of every record of the line when it was
    built ``whole``. The states go on from the other records of the line in any case. ``needles``, ``dressings``,
    ``holds``, ``dangers`` and ``dwells`` list each stay by septum, the last one open if it still lasts.
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
    dangers: Mapping[str, tuple[Danger, ...]]
    dwells: Mapping[str, tuple[Dwell, ...]]
    units: tuple[UnitStay, ...]
    discharge: Entry | None
    known: tuple[Known, ...]
    _moments: Mapping[str, list[datetime]]
    _states: Mapping[str, list[State]]
    _first: Mapping[str, State]
    _steps: Mapping[str, tuple[Step, ...]]
    _by_id: Mapping[tuple[str, str], Entry]
    unread: tuple[Unread, ...] = ()
    """Facts that were written and could not be read: not missing, and never stated."""
    others: Others = ALONE
    """The other records that the states rest on."""
    written: Episode | None = None
    """The episode as its own record has it, where other records of the line supply facts of patient or port."""

    def state_at(self, septum: str, moment: datetime) -> State:
        """Return what is true of ``septum`` at ``moment``, events of that very moment included."""
        position = bisect_right(self._moments[septum], moment.astimezone(UTC))
        return self._states[septum][position - 1] if position else self._first[septum]

    def course(self, septum: str) -> Iterator[Step]:
        """Yield every event about ``septum`` or about the port as a whole, in order, with the states around it."""
        yield from self._steps[septum]

    def now(self, septum: str) -> State:
        """Return what is true of ``septum`` at the moment judged from."""
        return self.state_at(septum, self.asof)

    def unit_at(self, moment: datetime) -> UnitStay | None:
        """Return where the patient is at ``moment``."""
        for stay in reversed(self.units):
            if stay.since is None or stay.since <= moment:
                return None if stay.until is not None and stay.until <= moment else stay
        return None

    def patient_at(self, moment: datetime) -> Patient:
        """Return what was known of the patient at ``moment``."""
        return self._known_at(moment).patient

    def port_at(self, moment: datetime) -> Port:
        """Return what was known of the port at ``moment``."""
        return self._known_at(moment).port

    def episode_at(self, moment: datetime) -> Episode:
        """Return the episode with patient and port as known at ``moment``; the same object where nothing changed."""
        return self._known_at(moment).episode(self.episode)

    def as_known(self) -> Timeline:
        """Return the timeline as a sheet prints it: patient and port as known at the moment judged from."""
        episode = self.episode_at(self.asof)
        return self if episode is self.episode else replace(self, episode=episode)

    def _known_at(self, moment: datetime) -> Known:
        found = self.known[0]
        for known in self.known[1:]:
            if known.since is not None and known.since <= moment:
                found = known
        return found

    def entry(self, event_id: str, record: str = "") -> Entry | None:
        """Return the standing or retracted event of that identifier; ``record`` names another record of the line."""
        return self._by_id.get((record, event_id))


@dataclass(slots=True)
class _Fold:
    """What one pass over the events of a line works with."""

    policy: Policy
    septa: tuple[str, ...]
    zone: ZoneInfo
    unread: Mapping[tuple[str, str], tuple[Unread, ...]]
    known: Known
    implanted: datetime | None
    histories: dict[str, _History]


def build(
    episode: Episode,
    policy: Policy,
    asof: datetime,
    unread: Sequence[Unread] = (),
    others: Others = ALONE,
    *,
    whole: bool = False,
    read: Corrected | None = None,
) -> Timeline:
    """Fold ``episode`` into a timeline judged from ``asof``; events after ``asof`` are kept in it.

    ``unread`` are the facts of this record that could not be read; the states of ``others`` continue here. ``whole``
    gives the entries of every record, not only of this one. ``read`` are its events, where corrections were applied.
    """
    beside, written = others.beside, episode if others.beside else None
    entries, retracted, corrections, findings = read or corrected(episode)
    every = entries
    if beside:
        every, retracted, corrections = _joined(entries, retracted, corrections, beside, whole)
        episode = carried(episode, [one.episode for one in beside if one.since is None])
    septa = episode.port.septa
    zone = ZoneInfo(episode.stay.time_zone)
    fold = _Fold(
        policy,
        septa,
        zone,
        _unread(unread, beside, every) if unread or beside else {},
        Known(None, episode.patient, episode.port),
        _implanted(episode, zone),
        {septum: _History() for septum in septa},
    )
    states = {septum: State(septum) for septum in septa}
    changes = (entry.event for entry in every if isinstance(entry.event, ev.PortImplanted | ev.PortRemoved))
    if isinstance(next(changes, None), ev.PortImplanted):
        states = {septum: _but(state, port_in=False) for septum, state in states.items()}
    states = (
        {
            septum: _but(state, dangers=tuple(_unread_danger(septum, None, text) for text in _of_record(unread)))
            for septum, state in states.items()
        }
        if unread
        else states
    )
    first_states = dict(states)
    told = [fold.known]
    steps: list[Step] = []
    courses: dict[str, list[Step]] = {septum: [] for septum in septa}
    first = septa[0]
    marks = sorted(_marks(others.elsewhere), key=lambda mark: mark[0])
    later = _later(beside)
    for entry in every:
        event = entry.event
        while later and later[0][0] <= event.at:
            _learn(fold, told, *later.pop(0))
        while marks and marks[0][0] <= event.at:
            _mark(states, fold, *marks.pop(0))
        after_change = changed(fold.known, event)
        if after_change is not fold.known:
            fold.known = after_change
            told.append(after_change)
        if isinstance(event, ev.PortImplanted):
            fold.implanted = event.at
        named = _septum(event, septa)
        reach = tuple(states) if named is None else (named,)
        for septum in septa:
            before = states[septum]
            if septum in reach:
                after = _after(before, entry, fold)
            else:
                after = _reached(before, entry, fold)
                if after is before:
                    continue
            states[septum] = after
            _kept(fold.histories[septum], event.at, after)
            if septum not in reach:
                continue
            own = whole or not entry.record
            step = Step(entry, named, before, after)
            if own:
                courses[septum].append(step)
                if septum == (named or first):
                    steps.append(step)
    for mark in marks:
        _mark(states, fold, *mark)
    for since, other in later:
        _learn(fold, told, since, other)
    for septum, state in states.items():
        _close(fold.histories[septum], state)
    units, discharge = _units(episode, [entry for entry in every if not entry.record])
    return Timeline(
        episode,
        asof,
        tuple(entry for entry in every if whole or not entry.record) if beside else entries,
        tuple(steps),
        retracted,
        corrections,
        findings,
        {septum: tuple(history.needles) for septum, history in fold.histories.items()},
        {septum: tuple(history.dressings) for septum, history in fold.histories.items()},
        {septum: tuple(history.holds) for septum, history in fold.histories.items()},
        {septum: tuple(history.dangers) for septum, history in fold.histories.items()},
        {septum: tuple(history.dwells) for septum, history in fold.histories.items()},
        units,
        discharge,
        dated(tuple(told), zone),
        {septum: history.moments for septum, history in fold.histories.items()},
        {septum: history.states for septum, history in fold.histories.items()},
        first_states,
        {septum: tuple(course) for septum, course in courses.items()},
        {
            (one.record, one.event.id): one for one in (*reversed(retracted), *reversed(every))
        },  # of two the first counts
        tuple(unread),
        others,
        written,
    )


def _joined(
    entries: tuple[Entry, ...],
    retracted: tuple[Entry, ...],
    corrections: tuple[Entry, ...],
    beside: Sequence[Beside],
    whole: bool,
) -> tuple[tuple[Entry, ...], tuple[Entry, ...], tuple[Entry, ...]]:
    """Return the standing events of every record in one order; the withdrawn and correcting ones likewise if whole."""
    from lda_notes.line.corrections import in_order

    every, gone, changes = list(entries), list(retracted), list(corrections)
    for one in beside:
        standing, withdrawn, correcting, _ = corrected(one.episode)
        for mine, theirs in (
            (every, standing),
            (gone, withdrawn if whole else ()),
            (changes, correcting if whole else ()),
        ):
            mine.extend(replace(entry, record=one.file) for entry in theirs)
    return in_order(every), in_order(gone), in_order(changes)


def _later(beside: Sequence[Beside]) -> list[tuple[datetime, Episode]]:
    """Return the stays that begin after this one, in order of time."""
    return sorted(((one.since, one.episode) for one in beside if one.since is not None), key=lambda one: one[0])


def _learn(fold: _Fold, told: list[Known], since: datetime, other: Episode) -> None:
    """Know from ``since`` on what a later stay's record says of patient and port."""
    fold.known = handed_on(fold.known, since, other)
    told.append(fold.known)


def _unread(
    unread: Sequence[Unread], beside: Sequence[Beside], entries: Sequence[Entry]
) -> Mapping[tuple[str, str], tuple[Unread, ...]]:
    """Return the facts that could not be read and that no correction has given since, by record and event."""
    found: dict[tuple[str, str], list[Unread]] = {}
    for record, facts in (("", unread), *((one.file, one.unread) for one in beside)):
        for fact in facts:
            if fact.event is not None:
                found.setdefault((record, fact.event), []).append(fact)
    if not found:
        return {}
    origins = {(entry.record, entry.event.id): entry.origins for entry in entries}
    return {
        where: tuple(fact for fact in facts if fact.names[:1] and fact.names[0] not in origins.get(where, ()))
        for where, facts in found.items()
    }


def _of_record(unread: Sequence[Unread]) -> Iterator[str]:
    """Yield in words what could not be read of patient, stay or port: it is about no event."""
    for fact in unread:
        if fact.event is None:
            yield f'{fact.label} could not be read: "{fact.text}"'


def _unread_danger(septum: str, entry: Entry | None, what: str) -> Danger:
    return Danger("D11", septum, what, entry, dangers.UNREAD_FORBIDS)


def _implanted(episode: Episode, zone: ZoneInfo) -> datetime | None:
    """Return the start of the day on which the port was implanted: only what is surely recent counts as recent."""
    day = episode.port.implanted_on
    return datetime.combine(day, time(), zone) if day is not None else None


def _marks(elsewhere: Sequence[Hold]) -> Iterator[tuple[datetime, bool, Hold]]:
    for hold in elsewhere:
        yield hold.began.event.at, True, hold
        if hold.ended is not None:
            yield hold.ended.event.at, False, hold


def _mark(states: dict[str, State], fold: _Fold, moment: datetime, begins: bool, hold: Hold) -> None:
    """Let a hold of the patient's other port begin or end here."""
    for septum, state in states.items():
        others = tuple(h for h in state.holds if h.began is not hold.began or h.reason != hold.reason)
        kept = (*others, replace(hold, septum=septum, ended=None)) if begins else others
        states[septum] = _but(state, holds=kept)
        _kept(fold.histories[septum], moment, states[septum])


def _kept(history: _History, at: datetime, state: State) -> None:
    history.moments.append(at.astimezone(UTC))
    history.states.append(state)


def _close(history: _History, state: State) -> None:
    """Add what still lasts at the end to what has been."""
    if state.needle is not None:
        history.needles.append(state.needle)
    if state.dressing is not None:
        history.dressings.append(state.dressing)
    history.holds.extend(state.holds)
    history.dangers.extend(state.dangers)
    if state.dwell is not None:
        history.dwells.append(state.dwell)


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


def _named(event: ev.Event, septa: tuple[str, ...]) -> bool:
    """Tell whether it is plain which septum an event is about."""
    return len(septa) == 1 or getattr(event, "septum", None) in septa


def _after(state: State, entry: Entry, fold: _Fold) -> State:
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
    state = _proved(state, entry)
    state = _held(before, state, entry, fold)
    return _endangered(before, state, entry, fold)


def _reached(state: State, entry: Entry, fold: _Fold) -> State:
    """Return the state of a septum that the event is not about: what holds the whole port holds it too."""
    event = entry.event
    look = _look(state, entry, fold)
    if isinstance(event, ev.Evaluation) and not _named(event, fold.septa):
        state = _ended_holds(state, holds.ends(state.holds, look, state, named=False, alone=False), entry, fold)
    return _begun_holds(state, holds.begins(look, whole_port_only=_named(event, fold.septa)))


def never_entered(event: ev.Event) -> bool:
    """Tell whether every puncture of an access missed the port and no needle is recorded as left in it."""
    punctures = event.__dict__.get("punctures") or ()
    missed = bool(punctures) and all(puncture.outcome == "port missed" for puncture in punctures)
    return isinstance(event, ev.Access) and missed and not isinstance(event.needle, Needle)


def _opened(state: State, entry: Entry, event: ev.Opening, history: _History) -> State:
    if never_entered(event):
        return state
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
        case ev.DressingChange() if isinstance(event.dressing, NotDone) and state.dressing is not None:
            return _but(state, last_check=entry)  # the old one stays, as old as it is
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
        case ev.FlushOrLock() if state.infusion is not None and dangers.lock_of(event) is not None:
            return _but(state, infusion=None, infusion_stopped=entry)  # a locked line has nothing running
        case _:
            return state


def _observed(state: State, entry: Entry, event: ev.Observing, history: _History) -> State:
    match event:
        case ev.LineCheck():
            if "needle out" in (event.__dict__.get("found") or ()):
                return _but(_closed(state, entry, history), last_check=entry)
            infusion, stopped = entry if event.infusion else state.infusion, state.infusion_stopped
            if event.__dict__.get("nothing_runs") is True and infusion is not None:
                infusion, stopped = None, entry
            on = state.dressing
            if on is not None and isinstance(event.dressing_found, tuple):
                on = replace(on, found=entry)
            return _but(state, last_check=entry, infusion=infusion, infusion_stopped=stopped, dressing=on)
        case ev.PatencyCheck():
            if state.dwell is None:
                return state
            dwell = replace(state.dwell, checks=(*state.dwell.checks, entry))
            if event.blood_return == "present":
                history.dwells.append(replace(dwell, ended=entry))
                return _but(state, dwell=None)
            return _but(state, dwell=dwell)
        case _:
            if event.kind == "needle dislodged" and event.__dict__.get("extent") == "completely out":
                return _closed(state, entry, history)
            return state


def _moved(state: State, entry: Entry, event: ev.Moving, history: _History) -> State:
    match event:
        case ev.PortImplanted():
            return _but(state, port_in=True)
        case ev.PortRemoved():
            state = _closed(state, entry, history) if state.needle else state
            return _but(state, port_in=False, inside=None)
        case _:
            if event.kind == "flushed elsewhere":
                locked = entry if dangers.lock_of(event) is not None else state.last_lock
                return _but(state, last_flush=entry, last_lock=locked)
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
    if holds.blood_of(event) is not None:
        made["blood"] = entry
    if holds.flow_of(event) is not None:
        made["flow"] = entry
    if isinstance(event, ev.PatencyCheck) and holds.whole_blood(event) and dangers.removed(event):
        made["treated"] = entry
    left = dangers.inside(state, entry)
    if left is not state.inside:
        made["inside"] = left
    return _but(state, **made) if made else state


# -- holds --


def trouble(event: ev.Event) -> tuple[HoldReason, ...]:
    """Return every reason that ``event`` by itself gives to keep the line out of use, whatever came before it."""
    look = Look(Entry(0, event, event), _NOTHING_BEFORE, _ANY_PORT, DEFAULT)
    return tuple(hold.reason for hold in holds.begins(look))


_ANY_PORT: Final = Port(id="any")
_NOTHING_BEFORE: Final = State("")


def _look(state: State, entry: Entry, fold: _Fold) -> Look:
    event = entry.event
    return Look(
        entry,
        state,
        fold.known.port,
        fold.policy,
        holds.is_fresh(event.at, fold.implanted, fold.policy),
        fold.unread.get((entry.record, event.id), ()) if fold.unread else (),
    )


def _held(before: State, state: State, entry: Entry, fold: _Fold) -> State:
    event = entry.event
    look = _look(before, entry, fold)
    named = _named(event, fold.septa)
    if state.holds:
        told = holds.ends(state.holds, look, state, named=named, alone=len(fold.septa) == 1)
        state = _ended_holds(state, told, entry, fold)
    if isinstance(event, ev.Evaluation):
        state = _limited(state, event, entry, fold.policy)
    return _begun_holds(state, holds.begins(look))


def _ended_holds(state: State, told: Mapping[HoldReason, str], entry: Entry, fold: _Fold) -> State:
    if not told:
        return state
    over = tuple(holds.ended(hold, entry, told[hold.reason]) for hold in state.holds if hold.reason in told)
    fold.histories[state.septum].holds.extend(over)
    kept = tuple(hold for hold in state.holds if hold.reason not in told)
    restored = state.restored or any(h.reason == "no blood return" and h.how != "evaluation" for h in over)
    state = _but(state, holds=kept, restored=restored and state.port_in)
    if isinstance(entry.event, ev.PortRemoved):
        signs = ((hold.sign, hold.began) for hold in over if holds.ROWS[hold.reason].of_patient)
        state = _but(state, dangers=(*state.dangers, *dangers.left_behind(state, entry, signs)))
    return state


def _begun_holds(state: State, fresh: Iterator[Hold]) -> State:
    known = {hold.reason for hold in state.holds}
    more = tuple(hold for hold in fresh if hold.reason not in known)
    return _but(state, holds=(*state.holds, *more)) if more else state


def _limited(state: State, event: ev.Evaluation, entry: Entry, policy: Policy) -> State:
    if not holds.may_clear(event, policy) or event.decision not in holds.CLEARED:
        return state
    lifted = event.__dict__.get("lifts") or ()
    limits = tuple(limit for limit in state.limits if limit.what not in lifted)
    known = {limit.what for limit in limits}
    added = (what for what in event.__dict__.get("limits") or () if what not in known)
    limits = (*limits, *(UseLimit(state.septum, what, entry) for what in added))
    return _but(state, limits=limits) if limits != state.limits else state


def _endangered(before: State, state: State, entry: Entry, fold: _Fold) -> State:
    patient = fold.known.patient
    against = _against(state, patient, entry, fold)
    around = Around(entry, before, state, patient, fold.policy, against)
    standing, over = dangers.after(around)
    more: tuple[Danger, ...] = ()
    if fold.unread:
        facts = fold.unread.get((entry.record, entry.event.id), ())
        more = tuple(
            _unread_danger(state.septum, entry, f'{fact.label} could not be read: "{fact.text}"') for fact in facts
        )
    fold.histories[state.septum].dangers.extend(over)
    kept = tuple(danger for danger in state.dangers if danger.code == "P" and danger not in before.dangers)
    unread = tuple(danger for danger in before.dangers if danger.code == "D11")
    found = (*standing, *kept, *unread, *more)
    return _but(state, dangers=found) if found != state.dangers else state


def _against(state: State, patient: Patient, entry: Entry, fold: _Fold) -> tuple[str, ...]:
    """Return what is on the patient's skin against an allergy, in words."""
    if not patient.allergies or state.needle is None or state.dressing is None:
        return ()
    from lda_notes.line.against import on_the_skin

    return on_the_skin(state, patient, fold.known.port, entry, fold.policy, fold.zone)


# -- units --


def _units(episode: Episode, entries: Sequence[Entry]) -> tuple[tuple[UnitStay, ...], Entry | None]:
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
