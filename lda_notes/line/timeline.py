"""Folds the events of an episode into states: what is in, which holds are on, since when, for every septum.

Corrections and retractions are applied first. Order is by time; events of the same minute have a fixed order
(`SAME_MINUTE`), so the order in the file never matters.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, time
from typing import Final, NamedTuple, TypeVar
from zoneinfo import ZoneInfo

from lda_notes.knowledge.policy import Policy
from lda_notes.line.corrections import Corrected, Entry, corrected
from lda_notes.line.known import Known, carried, dated, handed_on
from lda_notes.line.states import Danger, DressingStay, Dwell, Hold, NeedleStay, State, Step, UnitStay
from lda_notes.line.transitions import Fold, History, keep, unread_danger
from lda_notes.line.walk import Walk, alike
from lda_notes.problems import Finding
from lda_notes.record import events as ev
from lda_notes.record.episode import Episode, Patient, Port
from lda_notes.record.unread import Unread

T = TypeVar("T")


class Beside(NamedTuple):
    """Another record of the same line: another stay of the same patient with the same port."""

    episode: Episode
    file: str
    unread: tuple[Unread, ...] = ()
    since: datetime | None = None
    """When its stay begins, where that is after this one's: what it says of patient and port is known from then."""


class Others(NamedTuple):
    """The facts of other records that are true of this one too: ``beside`` are the other stays of the same line.

    ``elsewhere`` are the holds of another port of the same patient that nobody recorded as removed, which hold this
    one too, ``ports`` the names of such ports.
    """

    beside: tuple[Beside, ...] = ()
    elsewhere: tuple[Hold, ...] = ()
    ports: tuple[str, ...] = ()


ALONE: Final = Others()
"""A record that is judged by itself."""


@dataclass(frozen=True, slots=True)
class Timeline:
    """One record in order of time, within the line that it belongs to.

    ``entries`` are the standing events (not the retracted ones, not the corrections), ``retracted`` the withdrawn
    ones, ``corrections`` the correcting events: those of this record, or of every record of the line when it was
    built ``whole``. The states continue from the other records of the line in any case. ``needles``, ``dressings``,
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
    _walk: Walk | None = field(default=None, compare=False, repr=False)

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


def build(
    episode: Episode,
    policy: Policy,
    asof: datetime,
    unread: Sequence[Unread] = (),
    others: Others = ALONE,
    *,
    whole: bool = False,
    read: Corrected | None = None,
    since: Timeline | None = None,
) -> Timeline:
    """Fold ``episode`` into a timeline judged from ``asof``; events after ``asof`` are kept in it.

    ``unread`` are the facts of this record that could not be read; the states of ``others`` continue here. ``whole``
    gives the entries of every record, not only of this one. ``read`` are its events, where corrections were applied.
    ``since`` is an earlier timeline of the same record under the same policy: entries with which both begin, and those
    after which both stand alike, are not folded again. It is ignored where other records have a say.
    """
    beside, written = others.beside, episode if others.beside else None
    entries, retracted, corrections, findings = read or corrected(episode)
    every = entries
    if beside:
        every, retracted, corrections = _joined(entries, retracted, corrections, beside, whole)
        episode = carried(episode, [one.episode for one in beside if one.since is None])
    septa = episode.port.septa
    zone = ZoneInfo(episode.stay.time_zone)
    first_states = _first_states(septa, every, unread)
    fold = Fold(
        policy,
        septa,
        zone,
        _unread(unread, beside, every) if unread or beside else {},
        Known(None, episode.patient, episode.port),
        _implanted(episode, zone),
        {septum: History() for septum in septa},
    )
    walk = Walk(fold, dict(first_states), [fold.known], courses={septum: [] for septum in septa})
    alone = not beside and not others.elsewhere
    earlier = since._walk if since is not None and since._first == first_states and alone else None
    begin, end = alike(every, earlier)
    if earlier is not None:
        walk.take_over(earlier, 0, begin)
    marks = sorted(_marks(others.elsewhere), key=lambda mark: mark[0])
    later = _later(beside)
    for position, entry in enumerate(every[begin:], begin):
        while later and later[0][0] <= entry.event.at:
            _learn(fold, walk.told, *later.pop(0))
        while marks and marks[0][0] <= entry.event.at:
            _mark(walk.states, fold, *marks.pop(0))
        walk.pass_by(entry, own=whole or not entry.record)
        mark = walk.mark(entry)
        if earlier is not None and position >= end - 1 and mark[1:] == earlier.marks[position][1:]:
            walk.take_over(earlier, position + 1, len(every))
            break
    for hold in marks:
        _mark(walk.states, fold, *hold)
    for known_from, other in later:
        _learn(fold, walk.told, known_from, other)
    units, discharge = _units(episode, [entry for entry in every if not entry.record])
    histories = fold.histories
    return Timeline(
        episode,
        asof,
        tuple(entry for entry in every if whole or not entry.record) if beside else entries,
        tuple(walk.steps),
        retracted,
        corrections,
        findings,
        {septum: (*histories[septum].needles, *_lasting(state.needle)) for septum, state in walk.states.items()},
        {septum: (*histories[septum].dressings, *_lasting(state.dressing)) for septum, state in walk.states.items()},
        {septum: (*histories[septum].holds, *state.holds) for septum, state in walk.states.items()},
        {septum: (*histories[septum].dangers, *state.dangers) for septum, state in walk.states.items()},
        {septum: (*histories[septum].dwells, *_lasting(state.dwell)) for septum, state in walk.states.items()},
        units,
        discharge,
        dated(tuple(walk.told), zone),
        {septum: history.moments for septum, history in histories.items()},
        {septum: history.states for septum, history in histories.items()},
        first_states,
        {septum: tuple(course) for septum, course in walk.courses.items()},
        {
            (one.record, one.event.id): one for one in (*reversed(retracted), *reversed(every))
        },  # of two the first counts
        tuple(unread),
        others,
        written,
        walk,
    )


def _first_states(septa: Sequence[str], every: Sequence[Entry], unread: Sequence[Unread]) -> dict[str, State]:
    """Return what is true before the first event: no port, where the record says first that it was implanted."""
    changes = (entry.event for entry in every if isinstance(entry.event, ev.PortImplanted | ev.PortRemoved))
    port_in = not isinstance(next(changes, None), ev.PortImplanted)
    texts = list(_of_record(unread))
    return {
        septum: State(septum, port_in=port_in, dangers=tuple(unread_danger(septum, None, text) for text in texts))
        for septum in septa
    }


def _lasting(stay: T | None) -> tuple[T, ...]:
    """Return what still lasts at the end, to be added to what has been."""
    return () if stay is None else (stay,)


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


def _learn(fold: Fold, told: list[Known], since: datetime, other: Episode) -> None:
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


def _implanted(episode: Episode, zone: ZoneInfo) -> datetime | None:
    """Return the start of the day on which the port was implanted: only what is surely recent counts as recent."""
    day = episode.port.implanted_on
    return datetime.combine(day, time(), zone) if day is not None else None


def _marks(elsewhere: Sequence[Hold]) -> Iterator[tuple[datetime, bool, Hold]]:
    for hold in elsewhere:
        yield hold.began.event.at, True, hold
        if hold.ended is not None:
            yield hold.ended.event.at, False, hold


def _mark(states: dict[str, State], fold: Fold, moment: datetime, begins: bool, hold: Hold) -> None:
    """Let a hold of the patient's other port begin or end here."""
    for septum, state in states.items():
        others = tuple(h for h in state.holds if h.began is not hold.began or h.reason != hold.reason)
        kept = (*others, hold._replace(septum=septum, ended=None)) if begins else others
        states[septum] = state._replace(holds=kept)
        keep(fold.histories[septum], moment, states[septum])


def _units(episode: Episode, entries: Sequence[Entry]) -> tuple[tuple[UnitStay, ...], Entry | None]:
    stay = episode.stay
    units = [UnitStay(stay.unit, stay.room, stay.setting, stay.admitted_at)]
    discharge: Entry | None = None
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.Transfer):
            units[-1] = units[-1]._replace(until=event.at)
            units.append(UnitStay(event.to_unit, event.to_room, event.to_setting, event.at, entry=entry))
        elif isinstance(event, ev.Discharge):
            units[-1] = units[-1]._replace(until=event.at)
            discharge = entry
    return tuple(units), discharge
