"""A whole visit as one form: needle in, proved, used, flushed, locked, needle out.

It is charted as the events that it consists of. What the first of them says of the patient is not asked again.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from lda_notes.chart.answers import layout
from lda_notes.chart.answers.heard import Doubtful, Heard, Reading, Unclear, turned
from lda_notes.chart.answers.times import Frame
from lda_notes.chart.answers.values import Option
from lda_notes.chart.event import EventForm
from lda_notes.chart.form import Basis, EntryForm, Facts, Review, Say
from lda_notes.chart.questions import kits
from lda_notes.chart.questions import trial as trials
from lda_notes.chart.questions.question import Question, one_of
from lda_notes.chart.terminal import display
from lda_notes.check.visits import one_visit
from lda_notes.problems import Path
from lda_notes.record.events import KINDS, Event
from lda_notes.record.writer import Seen

IN: Final = "access"
USE: Final = "line use"
OUT: Final = "de-access"

_THROUGH: Final = "through"
_PURPOSES: Final = (Option("n", "nothing but the flush"), Option("s", "blood sampling"), Option("m", "medication"))

_WHEN: Final = {IN: "When did the needle go in?", USE: "When was the line used?", OUT: "When did the needle come out?"}
_HEAD: Final = {IN: "", USE: "Use of the line. ", OUT: "Needle out. "}

_AT_ONCE: Final = frozenset({"lock", "dressing"})
"""Facts not asked of an access whose needle comes out within the hour."""

_NOT_ASKED: Final[Mapping[str, frozenset[str]]] = {
    IN: frozenset(
        {
            *("infusion", "disinfecting_caps", "due", "next_due", "teaching", "response", "pain"),
            *("antisepsis.started_at", *_AT_ONCE),
        }
    ),
    USE: frozenset({"response", "identity", "identifiers_checked", "allergies_checked"}),
    OUT: frozenset({"due", "next_due", "hub_scrub_s", "response"}),
}
"""Facts asked of such an event by itself, and not as part of a visit."""


@dataclass
class VisitForm(EntryForm):
    """A visit to be added to a record."""

    basis: Basis
    _made: dict[str, tuple[Any, EventForm]] = field(default_factory=dict, init=False)

    @property
    def entry_id(self) -> str:  # type: ignore[override]  # read-only here
        """The name that a draft of the visit has."""
        return "visit"

    # -- the events of the visit --

    def kinds(self, facts: Facts) -> tuple[str, ...]:
        """Return the kinds of the events, in order."""
        return (IN, USE, OUT) if facts.get(_THROUGH) not in (None, "n") else (IN, OUT)

    def step(self, kind: str, facts: Facts) -> EventForm:
        """Return one event as a form of its own, in the record with the events of the visit before it."""
        before: list[Event] = []
        for one in self.kinds(facts):
            if one == kind:
                break
            made = self._event(one, facts)
            before.extend([made] if made is not None else [])
        given = {**self.given, **self._given(kind, facts)}
        key = (tuple(before), given)
        if kind not in self._made or self._made[kind][0] != key:
            episode = self.episode.model_copy(update={"events": (*self.episode.events, *before)})
            self._made[kind] = (key, EventForm(replace(self.basis, episode=episode, given=given, kits={}), kind))
        return self._made[kind][1]

    def _kit_places(self, name: str) -> tuple[Path, ...]:
        """Return where a fact of a kit goes: supplies to the event that uses them first, teaching to the last."""
        found = {kind: self.step(kind, {}).kit_places(name) for kind in (IN, OUT)}
        taught = layout.parse(name)[0] in _NOT_ASKED[IN]
        if layout.parse(name)[0] == "dressing":
            return ()  # the needle comes out at this visit
        kind = OUT if taught or not found[IN] else IN
        return tuple((kind, *path) for path in found[kind])

    def _given(self, kind: str, facts: Facts) -> dict[str, Any]:
        """Return what is said of one event by its being a part of the visit: who did it, its septum, its use."""
        if kind == IN:
            return {}
        access = self.step(IN, facts).situation(facts.get(IN) or {}).facts
        given = {key: access[key] for key in ("septum", "by") if key in access}
        if kind == USE:
            given["purpose"] = next(option.words for option in _PURPOSES if option.key == facts.get(_THROUGH))
        return given

    def _event(self, kind: str, facts: Facts) -> Event | None:
        data = self.step(kind, facts).finished(facts.get(kind) or {})
        event: Event | None = trials.fitted(KINDS[kind], data).whole
        return event

    def _not_asked(self, kind: str, facts: Facts) -> frozenset[str]:
        """Return what is not asked of an event: lock and dressing of a needle that came out at once, for one."""
        out = (facts.get(OUT) or {}).get("at")
        if kind != IN or out is None:
            return _NOT_ASKED[kind]
        access, removal = self._event(IN, facts), self._event(OUT, facts)
        long = access is not None and removal is not None and not one_visit(access, removal, self.policy)
        return _NOT_ASKED[kind] - (_AT_ONCE if long else frozenset())

    # -- what a talk needs --

    def questions(self, facts: Facts, answered: frozenset[str]) -> Iterator[Question]:
        """Yield what is still to be asked of each event of the visit, the next one first."""
        if facts.get(IN):
            yield from kits.asked(
                self.basis.kits, answered, self.step(IN, facts).situation(facts[IN]), self._kit_places
            )
        for kind in self.kinds(facts):
            own = frozenset(name.removeprefix(f"{kind}.") for name in answered if name.startswith(f"{kind}."))
            for question in self.step(kind, facts).questions(facts.get(kind) or {}, own):
                names = (question.name, *question.covers)
                if {question.name, *(name.split(".")[0] for name in names)} & self._not_asked(kind, facts):
                    continue
                asks = _WHEN[kind] if question.name == "at" else question.asks
                yield _under(kind, replace(question, asks=f"{_HEAD[kind]}{asks}"))
            if kind == IN and _THROUGH not in answered:
                yield _through()

    def frame(self, facts: Facts, question: str) -> Frame:
        """Return what a time typed at a question is read against."""
        kind, name = self._split(question, facts)
        return self.step(kind, facts).frame(facts.get(kind) or {}, name)

    def takes(self, path: Path) -> bool:
        """Return whether an event of the visit has a fact at ``path``."""
        return path[:1] in ((IN,), (USE,), (OUT,)) and self.step(str(path[0]), {_THROUGH: "s"}).takes(path[1:])

    def misfit(self, facts: Facts, given: tuple[Path, ...]) -> str | None:
        """Return one sentence when the facts just given do not fit the record's layout."""
        for kind in dict.fromkeys(str(path[0]) for path in given if path[0] != _THROUGH):
            inner = tuple(path[1:] for path in given if path[0] == kind)
            misfit = self.step(kind, facts).misfit(facts.get(kind) or {}, inner)
            if misfit is not None:
                return misfit
        return None

    def doubts(self, facts: Facts, given: Heard) -> Doubtful | Unclear | None:
        """Return what is doubted when the facts just given may be a slip."""
        if not given.facts or given.facts[0][0][0] == _THROUGH:
            return None
        kind = str(given.facts[0][0][0])
        bare = replace(given, facts=tuple((path[1:], value) for path, value in given.facts if path[0] == kind))
        doubt = self.step(kind, facts).doubts(facts.get(kind) or {}, bare)
        if not isinstance(doubt, Doubtful):
            return doubt
        several = len(bare.facts) < len(given.facts)  # a kit, whose facts are of several events
        return replace(doubt, heard=given if several else doubt.heard.under(kind))

    def remarks(self, before: Facts, after: Facts) -> Iterator[Say]:
        """Yield what is to be said at once because of an answer."""
        for kind in self.kinds(after):
            old, new = before.get(kind) or {}, after.get(kind) or {}
            if old != new:
                yield from self.step(kind, after).remarks(old, new)

    def setting(self, name: str, text: str, facts: Facts) -> Reading:
        """Read a fact that is set by its name."""
        kind, inner = self._split(name, facts)
        reading = self.step(kind, facts).setting(inner, text, facts.get(kind) or {})
        return turned(reading, lambda heard: heard.under(kind))

    def adding(self, word: str, facts: Facts) -> Question | Heard | Unclear:
        """Return the question for a fact that is added by a word: to the event that is under way."""
        kind = next((kind for kind in reversed(self.kinds(facts)) if facts.get(kind)), IN)
        found = self.step(kind, facts).adding(word, facts.get(kind) or {})
        match found:
            case Question():
                return _under(kind, found)
            case Heard():
                return found.under(kind)
            case Unclear():
                return found

    def _split(self, name: str, facts: Facts) -> tuple[str, str]:
        head, _, inner = name.partition(".")
        if head in self.kinds(facts):
            return head, inner
        path = layout.parse(name)
        return next((kind for kind in self.kinds(facts) if self.step(kind, facts).takes(path)), IN), name

    # -- the end --

    def review(self, facts: Facts) -> Review:
        """Return the note of the whole visit as it will read, and its events."""
        events = [self.step(kind, facts).finished(facts.get(kind) or {}) for kind in self.kinds(facts)]
        last = self.step(OUT, facts)
        situation = last.situation(facts.get(OUT) or {})
        trial = trials.judge(situation.facts, replace(self.basis.standing(), episode=last.episode, line=situation.line))
        text = display.preview(trial, self.policy, tuple(event["id"] for event in events))
        stops = tuple(display.warnings(trial.line.state_at(situation.septum, situation.at), self.zone))
        return Review({"events": events}, text, trial.findings, events[0].get("by") or {}, stops)

    def moved_on(self, seen: Seen) -> Iterator[str]:
        """Continue with the record as another user left it, and yield what changed."""
        yield from super().moved_on(seen)
        self._made.clear()


def _through() -> Question:
    choices = [(option, Heard((((_THROUGH,), option.key),), option.words)) for option in _PURPOSES]
    return one_of(_THROUGH, "through the line", "What else went through the line before the needle came out?", choices)


def _under(kind: str, question: Question) -> Question:
    """Return a question of one event as a question of the visit: its facts are those of that event."""
    why_not = question.why_not
    return replace(
        question,
        name=f"{kind}.{question.name}",
        read=lambda text, frame: turned(question.read(text, frame), lambda heard: heard.under(kind)),
        covers=tuple(f"{kind}.{name}" for name in question.covers),
        why_not=replace(why_not, path=(kind, *why_not.path)) if why_not is not None else None,
        default=question.default.under(kind) if question.default is not None else None,
        supply=(kind, *question.supply) if question.supply is not None else None,
    )
