"""A whole visit as the subject of one talk: needle in, proved, used, flushed, locked, needle out.

It is charted as the events that it consists of. What the first of them says of the patient is not asked again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from lda_notes.chart import changes, kits, opening, paths, preview
from lda_notes.chart import trial as trials
from lda_notes.chart.answers import Option, choose
from lda_notes.chart.display import WIDTH
from lda_notes.chart.heard import Doubtful, Heard, Reading, Unclear
from lda_notes.chart.kits import Kit
from lda_notes.chart.question import Question
from lda_notes.chart.session import Review
from lda_notes.chart.subject import EventSubject, next_id
from lda_notes.chart.talk import Say
from lda_notes.chart.times import Frame
from lda_notes.check.visits import one_visit
from lda_notes.knowledge.policy import Policy
from lda_notes.line.timeline import ALONE, Others
from lda_notes.problems import Path
from lda_notes.record.episode import Episode
from lda_notes.record.events import KINDS, Event
from lda_notes.record.unread import Unread
from lda_notes.record.writer import Seen

IN: Final = "access"
USE: Final = "line use"
OUT: Final = "de-access"

_THROUGH: Final = "through"
_PURPOSES: Final = (Option("n", "nothing but the flush"), Option("s", "blood sampling"), Option("m", "medication"))

_WHEN: Final = {IN: "When did the needle go in?", USE: "When was the line used?", OUT: "When did the needle come out?"}
_HEAD: Final = {IN: "", USE: "Use of the line. ", OUT: "Needle out. "}

_AT_ONCE: Final = frozenset({"lock", "dressing"})
"""What an access lacks whose needle comes out within the hour."""

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
"""What is asked of such an event alone, and not of the same event as a part of a visit."""


@dataclass
class Visit:
    """A visit to be added to ``episode``; the arguments are those of an `EventSubject`."""

    episode: Episode
    policy: Policy
    now: Callable[[], datetime]
    given: Mapping[str, Any] = field(default_factory=dict)
    signed_at: Callable[[], datetime] | None = None
    unread: tuple[Unread, ...] = ()
    others: Others = ALONE
    kits: Mapping[str, Kit] = field(default_factory=dict)
    last: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    _made: dict[str, tuple[Any, EventSubject]] = field(default_factory=dict, init=False)

    @property
    def entry_id(self) -> str:
        """The name that a draft of the visit has."""
        return "visit"

    @property
    def zone(self) -> ZoneInfo:
        """The zone of the stay."""
        return ZoneInfo(self.episode.stay.time_zone)

    # -- the events of the visit --

    def kinds(self, facts: Mapping[str, Any]) -> tuple[str, ...]:
        """Return the kinds of the events, in order."""
        return (IN, USE, OUT) if facts.get(_THROUGH) not in (None, "n") else (IN, OUT)

    def step(self, kind: str, facts: Mapping[str, Any]) -> EventSubject:
        """Return one event as a subject of its own, in the record with the events of the visit before it."""
        before: list[Event] = []
        for one in self.kinds(facts):
            if one == kind:
                break
            made = self._event(self.step(one, facts), facts.get(one) or {})
            before.extend([made] if made is not None else [])
        given = {**self.given, **self._given(kind, facts)}
        key = (tuple(before), given)
        if kind not in self._made or self._made[kind][0] != key:
            events = (*self.episode.events, *before)
            episode = self.episode.model_copy(update={"events": events})
            name, clock = next_id(episode, kind), self.signed_at
            subject = EventSubject(
                episode, kind, name, self.policy, self.now, given, clock, self.unread, self.others, last=self.last
            )
            self._made[kind] = (key, subject)
        return self._made[kind][1]

    def _kit_places(self, name: str) -> tuple[Path, ...]:
        """Return where a fact of a kit goes: supplies to the event that uses them first, teaching to the last."""
        found = {kind: self.step(kind, {}).kit_places(name) for kind in (IN, OUT)}
        taught = paths.parse(name)[0] in _NOT_ASKED[IN]
        if paths.parse(name)[0] == "dressing":
            return ()  # the needle comes out at this visit
        kind = OUT if taught or not found[IN] else IN
        return tuple((kind, *path) for path in found[kind])

    def _given(self, kind: str, facts: Mapping[str, Any]) -> dict[str, Any]:
        """Return what is said of one event by its being a part of the visit: who did it, its septum, its use."""
        if kind == IN:
            return {}
        access = self.step(IN, facts).scene(facts.get(IN) or {}).facts
        given = {key: access[key] for key in ("septum", "by") if key in access}
        if kind == USE:
            given["purpose"] = next(option.words for option in _PURPOSES if option.key == facts.get(_THROUGH))
        return given

    def _event(self, subject: EventSubject, facts: Mapping[str, Any]) -> Event | None:
        data = subject.finished(facts, (self.signed_at or self.now)())
        event: Event | None = trials.fitted(KINDS[subject.kind], data).whole
        return event

    def _not_asked(self, kind: str, facts: Mapping[str, Any]) -> frozenset[str]:
        """Return what is not asked of an event: lock and dressing of a needle that came out at once, for one."""
        out = (facts.get(OUT) or {}).get("at")
        if kind != IN or out is None:
            return _NOT_ASKED[kind]
        access, removal = (self._event(self.step(one, facts), facts.get(one) or {}) for one in (IN, OUT))
        long = access is not None and removal is not None and not one_visit(access, removal, self.policy)
        return _NOT_ASKED[kind] - (_AT_ONCE if long else frozenset())

    # -- what a talk needs --

    def questions(self, facts: Mapping[str, Any], answered: frozenset[str]) -> Iterator[Question]:
        """Yield what is still to be asked of each event of the visit, the next one first."""
        if self.kits and facts.get(IN) and kits.QUESTION not in answered:
            scene = self.step(IN, facts).scene(facts[IN])
            known = scene.line.patient_at(scene.at).allergies is not None
            asked = kits.question(self.kits, scene.patient, known, self.policy, self._kit_places)
            yield from () if asked is None else (asked,)
        for kind in (IN, USE, OUT):
            if kind not in self.kinds(facts):
                continue
            own = frozenset(name.removeprefix(f"{kind}.") for name in answered if name.startswith(f"{kind}."))
            for question in self.step(kind, facts).questions(facts.get(kind) or {}, own):
                names = (question.name, *question.covers)
                if {question.name, *(name.split(".")[0] for name in names)} & self._not_asked(kind, facts):
                    continue
                asks = _WHEN[kind] if question.name == "at" else question.asks
                yield _under(kind, replace(question, asks=f"{_HEAD[kind]}{asks}"))
            if kind == IN and _THROUGH not in answered:
                yield _through()

    def frame(self, facts: Mapping[str, Any], question: str) -> Frame:
        """Return what a time typed at a question is read against."""
        kind, name = self._split(question, facts)
        return self.step(kind, facts).frame(facts.get(kind) or {}, name)

    def takes(self, path: Path) -> bool:
        """Tell whether an event of the visit has a fact at ``path``."""
        return path[:1] in ((IN,), (USE,), (OUT,)) and self.step(str(path[0]), {_THROUGH: "s"}).takes(path[1:])

    def misfit(self, facts: Mapping[str, Any], given: tuple[Path, ...]) -> str | None:
        """Return one sentence when the facts just given do not fit the record's layout."""
        if not given or given[0][0] == _THROUGH:
            return None
        for kind in dict.fromkeys(str(path[0]) for path in given):
            inner = tuple(path[1:] for path in given if path[0] == kind)
            misfit = self.step(kind, facts).misfit(facts.get(kind) or {}, inner)
            if misfit is not None:
                return misfit
        return None

    def doubts(self, facts: Mapping[str, Any], given: Heard) -> Doubtful | Unclear | None:
        """Return what is doubted when the facts just given may be a slip."""
        if not given.facts or given.facts[0][0][0] == _THROUGH:
            return None
        kind = str(given.facts[0][0][0])
        bare = replace(given, facts=tuple((path[1:], value) for path, value in given.facts if path[0] == kind))
        doubt = self.step(kind, facts).doubts(facts.get(kind) or {}, bare)
        if isinstance(doubt, Doubtful) and len(bare.facts) < len(given.facts):
            return replace(doubt, heard=given)  # a kit, whose facts are of several events
        return _read_under(kind, doubt) if isinstance(doubt, Doubtful) else doubt  # type: ignore[return-value]

    def remarks(self, before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[Say]:
        """Yield what is to be said at once because of an answer."""
        for kind in self.kinds(after):
            old, new = before.get(kind) or {}, after.get(kind) or {}
            if old != new:
                yield from self.step(kind, after).remarks(old, new)

    def setting(self, name: str, text: str, facts: Mapping[str, Any]) -> Reading:
        """Read a fact that is set by its name."""
        kind, inner = self._split(name, facts)
        return _read_under(kind, self.step(kind, facts).setting(inner, text, facts.get(kind) or {}))

    def adding(self, word: str, facts: Mapping[str, Any]) -> Question | Heard | Unclear:
        """Return the question for a fact that is added by a word: to the event that is under way."""
        kind = next((kind for kind in reversed(self.kinds(facts)) if facts.get(kind)), IN)
        found = self.step(kind, facts).adding(word, facts.get(kind) or {})
        return _under(kind, found) if isinstance(found, Question) else _read_under(kind, found)  # type: ignore[return-value]

    def _split(self, name: str, facts: Mapping[str, Any]) -> tuple[str, str]:
        head, _, inner = name.partition(".")
        if head in self.kinds(facts):
            return head, inner
        path = paths.parse(name)
        return next((kind for kind in self.kinds(facts) if self.step(kind, facts).takes(path)), IN), name

    # -- the end --

    def review(self, facts: Mapping[str, Any]) -> Review:
        """Return the note of the whole visit as it will read, and its events."""
        signed = (self.signed_at or self.now)()
        steps = [(self.step(kind, facts), facts.get(kind) or {}) for kind in self.kinds(facts)]
        events = [subject.finished(said, signed) for subject, said in steps]
        last, said = steps[-1]
        minute = self.now().replace(second=0, microsecond=0)
        _, known = trials.baseline(self.episode, self.policy, minute, self.unread, self.others)
        scene = last.scene(said)
        trial = trials.judge(scene.facts, last.episode, self.policy, minute, known, scene.line)
        names = tuple(event["id"] for event in events)
        episode = trial.line.episode
        text = preview.note("", episode, trial.line, trial.findings, self.policy, names, WIDTH)
        stops = tuple(opening.warnings(trial.line.state_at(scene.septum, scene.at), self.zone))
        return Review({"events": events}, text, trial.findings, events[0].get("by") or {}, stops)

    def written(self, entry: dict[str, Any]) -> bool:
        """Tell whether the visit is already in the record."""
        return all(
            EventSubject(self.episode, event["kind"], event["id"], self.policy, self.now).written(event)
            for event in entry["events"]
        )

    def moved_on(self, seen: Seen) -> Iterator[str]:
        """Continue with the record as another user left it."""
        episode = seen.record.episode
        assert episode is not None
        yield from changes.between(self.episode, episode)
        self.episode = episode
        self._made.clear()


def _through() -> Question:
    def read(text: str, _: Frame) -> Reading:
        chosen = choose(text, _PURPOSES)
        return chosen if isinstance(chosen, Unclear) else Heard((((_THROUGH,), chosen.key),), chosen.words)

    return Question(
        _THROUGH, "through the line", "What else went through the line before the needle came out?", read, _PURPOSES,
        needed=True,
    )  # fmt: skip


def _under(kind: str, question: Question) -> Question:
    """Return a question of one event as a question of the visit: its facts are those of that event."""
    why_not = question.why_not
    return replace(
        question,
        name=f"{kind}.{question.name}",
        read=lambda text, frame: _read_under(kind, question.read(text, frame)),
        covers=tuple(f"{kind}.{name}" for name in question.covers),
        why_not=replace(why_not, path=(kind, *why_not.path)) if why_not is not None else None,
        default=_heard_under(kind, question.default) if question.default is not None else None,
        supply=(kind, *question.supply) if question.supply is not None else None,
    )


def _heard_under(kind: str, heard: Heard) -> Heard:
    return replace(heard, facts=tuple(((kind, *path), value) for path, value in heard.facts))


def _read_under(kind: str, reading: Reading) -> Reading:
    match reading:
        case Heard():
            return _heard_under(kind, reading)
        case Doubtful():
            return replace(reading, heard=_heard_under(kind, reading.heard))
        case Unclear():
            return reading
