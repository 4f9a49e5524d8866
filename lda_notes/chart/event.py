"""An event as a form: what is asked, what does not fit, what is doubted, what is said at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import zip_longest
from typing import Any, Final

from lda_notes.chart.answers import layout
from lda_notes.chart.answers.heard import Doubtful, Heard, Reading, Unclear
from lda_notes.chart.answers.times import Frame, echo, written
from lda_notes.chart.form import Basis, EntryForm, Facts, Review, Say, next_id
from lda_notes.chart.questions import agenda, kits
from lda_notes.chart.questions import trial as trials
from lda_notes.chart.questions.by_name import added, set_fact
from lda_notes.chart.questions.question import Question
from lda_notes.chart.questions.trial import CLEARED, UNWRITTEN, Known, Situation, Standing, known
from lda_notes.chart.terminal import display
from lda_notes.check.needs import NEEDS
from lda_notes.line.states import State
from lda_notes.narrative import phrasing
from lda_notes.problems import Path
from lda_notes.record.events import KINDS, CareEvent, Event
from lda_notes.record.merging import lays_over
from lda_notes.record.writer import Seen

_FIRST_KEYS: Final = ("id", "kind", "at", "charted_at", "by")


@dataclass
class EventForm(EntryForm):
    """One event of ``kind`` to be added to a record. Judgments are made again whenever a minute has passed."""

    basis: Basis
    kind: str
    entry_id: str = ""
    """The name that the event will have."""
    _standing: Standing | None = field(default=None, init=False)
    _situations: list[tuple[dict[str, Any], Situation]] = field(default_factory=list, init=False)

    def __post_init__(self) -> None:
        self.entry_id = self.entry_id or next_id(self.episode, self.kind)

    @property
    def model(self) -> type[Event]:
        """The class of the event."""
        return KINDS[self.kind]

    # -- what a talk needs --

    def questions(self, facts: Facts, answered: frozenset[str]) -> Iterator[Question]:
        """Yield what is still to be asked, the next one first."""
        situation = self.situation(facts)
        if "at" in facts:
            yield from kits.asked(self.basis.kits, answered, situation, self.kit_places)
        who = str((situation.facts.get("by") or {}).get("name") or "")
        last = self.basis.last.get(who, {})
        for question in agenda.questions(situation, answered):
            words = last.get(f"{self.kind} {question.name}")
            yield kits.picked(question, words) if words else question

    def kit_places(self, name: str) -> tuple[Path, ...]:
        """Return where in the event the fact of a kit goes: where it is asked."""
        path = layout.parse(name)
        bare = tuple(str(step) for step in path if isinstance(step, str))
        asked = (tuple(step for step in need.path if step != "*") for need in NEEDS[self.kind])
        return (path,) if bare in asked and self.kind != "arrival accessed" else ()

    def frame(self, facts: Facts, question: str) -> Frame:
        """Return what a time typed at a question is read against."""
        return self.situation(facts).frame(question)

    def takes(self, path: Path) -> bool:
        """Return whether the layout has a fact at ``path``."""
        return layout.spot(self.model, path) is not None

    def misfit(self, facts: Facts, given: tuple[Path, ...]) -> str | None:
        """Return one sentence when the facts just given do not fit the record's layout."""
        return trials.unfit(self.model, self._whole(facts), given)

    def doubts(self, facts: Facts, given: Heard) -> Doubtful | Unclear | None:
        """Return what is doubted when the facts just given may be a slip, and what ``y`` then takes."""
        return next(_differences(self.situation(facts), given), None)

    def remarks(self, before: Facts, after: Facts) -> Iterator[Say]:
        """Yield what is to be said at once because of an answer."""
        old, new = self.situation(before), self.situation(after)
        told = {one.path for one in self._known_of(old, before)} if self._timed(before) else set()
        for one in self._known_of(new, after):
            if one.path not in told:
                yield Say("known", f"On record, so not asked: {one.said}.")
        yield from display.news(trials.at_once(old.trial, self.policy), trials.at_once(new.trial, self.policy))
        held = self._hold(new)
        if held and held != self._hold(old):
            yield Say("hold", held)

    def setting(self, name: str, text: str, facts: Facts) -> Reading:
        """Read a fact that is set by its name; a full stop takes it out."""
        path = layout.parse(name)
        if text == ".":
            if not self.takes(path):
                return Unclear(f"There is no fact {name} here.")
            return Heard(((path, None), ((CLEARED, layout.dotted(path)), True)), "taken out")
        return set_fact(self.model, path, text, self.frame(facts, name))

    def adding(self, word: str, facts: Facts) -> Question | Heard | Unclear:
        """Return the question for a fact that is added by a word, or the beginning of one more part of a list."""
        said = self.situation(facts).facts
        return added(self.model, word, facts, lambda path: len(path) == 1 or bool(layout.get(said, path[:-1])))

    # -- the record with the event --

    def situation(self, facts: Facts) -> Situation:
        """Return what is known with ``facts`` said, what follows from the record among it."""
        minute = self.basis.now().replace(second=0, microsecond=0)
        if self._standing is None or self._standing.asof != minute:
            self._standing, self._situations = self.basis.standing(), []
        for said, situation in self._situations:
            if said == facts:
                return situation
        situation = self._situation(facts, self._standing)
        self._situations = [(dict(facts), situation), *self._situations[:5]]
        return situation

    def finished(self, facts: Facts) -> dict[str, Any]:
        """Return the event as it is written: facts that fit, in the order of the work."""
        situation = self.situation(facts)
        data = trials.fitted(self.model, {**situation.facts, "charted_at": self._entered()}).data
        order = [*_FIRST_KEYS, *(need.path[0] for need in NEEDS[self.kind])]
        keys = sorted(data, key=lambda key: order.index(key) if key in order else len(order))
        return {key: _in_order(self.model, (key,), data[key]) for key in keys}

    def review(self, facts: Facts) -> Review:
        """Return the note as it will read, what a check finds, and the event to be written."""
        event, situation = self.finished(facts), self.situation(facts)
        text = display.preview(situation.trial, self.policy, (self.entry_id,))
        stops = tuple(display.warnings(_state(situation), self.zone)) if issubclass(self.model, CareEvent) else ()
        return Review(event, text, situation.trial.findings, event.get("by") or {}, stops)

    def moved_on(self, seen: Seen) -> Iterator[str]:
        """Continue with the record as another user left it; the event gets another name if its own is taken."""
        yield from super().moved_on(seen)
        self._standing = None
        if any(event.id == self.entry_id for event in self.episode.events):
            self.entry_id = next_id(self.episode, self.kind)

    def _entered(self) -> str:
        return written(self.basis.time_of_entry().astimezone(self.zone))

    def _whole(self, facts: Facts) -> dict[str, Any]:
        said = {key: value for key, value in facts.items() if key not in UNWRITTEN}
        given: Any = self.given
        for name in facts.get(CLEARED, {}):
            given = layout.drop(given, layout.parse(name))
        return {"id": self.entry_id, "kind": self.kind, **_onto({**given, "charted_at": self._entered()}, said)}

    def _situation(self, facts: Facts, base: Standing) -> Situation:
        whole = self._whole(facts)
        aside = {key: facts[key] for key in UNWRITTEN & facts.keys()}
        situation = self._made(whole, aside, base)
        follows = self._known_of(situation, facts) if self._timed(facts) else ()
        if follows:
            situation = self._made(layout.fold(((one.path, one.value) for one in follows), onto=whole), aside, base)
        return situation

    def _made(self, whole: dict[str, Any], aside: Facts, base: Standing) -> Situation:
        at = datetime.fromisoformat(whole["at"]) if whole.get("at") else base.asof
        trial, episode = trials.judge(whole, base), base.line.episode_at(at)
        return Situation(self.kind, episode, base.line, self.policy, base.asof, self.zone, whole, trial, aside)

    def _timed(self, facts: Facts) -> bool:
        return "at" in facts or "at" in self.given

    def _known_of(self, situation: Situation, facts: Facts) -> tuple[Known, ...]:
        cleared = facts.get(CLEARED, {})
        return tuple(one for one in known(situation, facts) if layout.dotted(one.path) not in cleared)

    def _hold(self, situation: Situation) -> str | None:
        if not issubclass(self.model, CareEvent) or situation.event is None:
            return None
        holds = _state(situation).holds
        known = {hold.reason for hold in situation.before.holds}
        return display.hold_words(holds) if any(hold.reason not in known for hold in holds) else None


def _state(situation: Situation) -> State:
    return situation.trial.line.state_at(situation.septum, situation.at)


def _onto(old: Any, new: Any) -> Any:
    """Return what was known beforehand with what was said applied over it, fact by fact; a person is one fact."""
    if isinstance(old, list) and isinstance(new, list) and all(isinstance(item, dict) for item in (*old, *new)):
        pairs: Iterator[tuple[Any, Any]] = zip_longest(old, new, fillvalue={})
        return [_onto(was, item) if item else was for was, item in pairs]
    if lays_over(old, new) and "name" not in new:
        return {**old, **{key: _onto(old.get(key), value) for key, value in new.items()}}
    return new


def _in_order(model: type[Event], path: Path, value: Any) -> Any:
    """Return a part with its facts in the order of the layout."""
    if isinstance(value, list):
        return [_in_order(model, (*path, at), item) for at, item in enumerate(value)]
    if not isinstance(value, dict):
        return value
    spot = layout.spot(model, path)
    order = list(spot.part.model_fields) if spot is not None and spot.part is not None else list(value)
    keys = sorted(value, key=lambda key: order.index(key) if key in order else len(order))
    return {key: _in_order(model, (*path, key), value[key]) for key in keys}


def _differences(situation: Situation, given: Heard) -> Iterator[Doubtful | Unclear]:
    """Yield each reason to doubt the facts just given, with what is meant if the nurse agrees."""
    for path, value in given.facts:
        spot = situation.spot(path)
        if spot is not None and spot.sort == "time" and isinstance(value, str) and "T" in value:
            yield from _time(situation, path, datetime.fromisoformat(value), given)
        if path in _COMPARED:
            yield from _other(situation, path, value, given)
        if path == ("septum",):
            yield from _other_septum(situation, value, given)


def _time(situation: Situation, path: Path, moment: datetime, given: Heard) -> Iterator[Doubtful | Unclear]:
    said = echo(moment, situation.zone)
    if path[0] != "next_due" and moment - situation.now > situation.policy.span("clock_slack_minutes"):
        ahead = f"{said} is in the future: it is {echo(situation.now, situation.zone)}."
        local = moment.astimezone(situation.zone) - timedelta(days=1)
        if path == ("at",) and local <= situation.now:
            meant = Heard(((path, written(local)),), echo(local, situation.zone))
            yield Doubtful(meant, f"{ahead} Was it yesterday, {meant.said}?")
        else:
            yield Unclear(f"{ahead} Type the time again.")
        return
    if path != ("at",):
        return
    left = situation.line.discharge
    if left is not None and moment > left.event.at:
        yield Doubtful(given, f"{said} is after the discharge of {echo(left.event.at, situation.zone)}.")
        return
    last = max((entry.event for entry in situation.line.entries), key=lambda event: event.at, default=None)
    if last is not None and moment < last.at:
        kind = last.kind
        yield Doubtful(given, f"{said} is before the last entry, {kind} of {echo(last.at, situation.zone)}.")


def _gauge(value: Any) -> str:
    return f"{value} gauge"


def _mm(value: Any) -> str:
    return phrasing.length(Decimal(str(value)))


def _strength(value: Any) -> str:
    return f"{phrasing.quantity(Decimal(str(value)), 'units')} per mL"


_COMPARED: Final[dict[Path, tuple[str, Callable[[Any], str]]]] = {
    ("needle", "gauge"): ("needle", _gauge),
    ("needle", "length_mm"): ("needle", _mm),
    ("lock", "drug"): ("lock", str),
    ("lock", "units_per_ml"): ("heparin lock", _strength),
}
"""Facts that rarely change from one time to the next, each with what it belongs to and how it is said."""


def _other(situation: Situation, path: Path, value: Any, given: Heard) -> Iterator[Doubtful]:
    last = situation.last(path)
    if last is not None and last != value:
        what, said = _COMPARED[path]
        yield Doubtful(given, f"The last {what} was {said(last)}; this is {said(value)}.")


def _other_septum(situation: Situation, value: Any, given: Heard) -> Iterator[Doubtful]:
    last = next(
        (said for entry in reversed(situation.line.entries) if (said := getattr(entry.event, "septum", None))), None
    )
    if last is not None and last != value:
        yield Doubtful(given, f"The last entry was about the {last} septum; this is about the {value} one.")
