"""An event as the subject of a talk: what is asked, what does not fit, what is doubted, what is said at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import zip_longest
from typing import Any, Final
from zoneinfo import ZoneInfo

from lda_notes.chart import form
from lda_notes.chart.answers import kits, layout
from lda_notes.chart.answers.heard import Doubtful, Heard, Reading, Unclear
from lda_notes.chart.answers.kits import Kit
from lda_notes.chart.answers.times import Frame, echo, written
from lda_notes.chart.questions import agenda
from lda_notes.chart.questions import trial as trials
from lda_notes.chart.questions.by_name import added, set_fact
from lda_notes.chart.questions.question import Question
from lda_notes.chart.questions.trial import CLEARED, UNWRITTEN, Known, Scene, Trial, known
from lda_notes.chart.talk import Say
from lda_notes.chart.terminal import display
from lda_notes.chart.terminal.display import WIDTH, found_words, hold_words
from lda_notes.chart.terminal.session import Review
from lda_notes.check.needs import NEEDS
from lda_notes.knowledge.policy import Policy
from lda_notes.line.timeline import ALONE, Others, Timeline
from lda_notes.narrative import phrasing
from lda_notes.problems import Finding, Path
from lda_notes.record.episode import Episode
from lda_notes.record.events import KINDS, CareEvent, Event, unsealed
from lda_notes.record.merging import lays_over
from lda_notes.record.unread import Unread
from lda_notes.record.writer import Seen

_FIRST_KEYS: Final = ("id", "kind", "at", "charted_at", "by")


@dataclass
class EventSubject:
    """One event of ``kind`` to be added to ``episode``. ``given`` are facts known beforehand, such as the author.

    ``now`` asks the clock; judgements are made anew whenever a minute has passed.
    """

    episode: Episode
    kind: str
    event_id: str
    policy: Policy
    now: Callable[[], datetime]
    given: Mapping[str, Any] = field(default_factory=dict)
    signed_at: Callable[[], datetime] | None = None
    """Tells the time of entry; without it, ``now`` does."""
    unread: tuple[Unread, ...] = ()
    others: Others = ALONE
    """What could not be read of the record, and the other stays of its line."""
    kits: Mapping[str, Kit] = field(default_factory=dict)
    last: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """Last words of each signer, by the name of the fact."""
    _minute: datetime | None = field(default=None, init=False)
    _line: Timeline | None = field(default=None, init=False)
    _found: frozenset[tuple[Any, ...]] = field(default=frozenset(), init=False)
    _scenes: list[tuple[dict[str, Any], Scene]] = field(default_factory=list, init=False)

    @property
    def zone(self) -> ZoneInfo:
        """The zone of the stay."""
        return ZoneInfo(self.episode.stay.time_zone)

    # -- what a talk needs --

    def questions(self, facts: Mapping[str, Any], answered: frozenset[str]) -> Iterator[Question]:
        """Yield what is still to be asked, the next one first."""
        scene = self.scene(facts)
        if self.kits and "at" in facts and kits.QUESTION not in answered:
            known = scene.line.patient_at(scene.at).allergies is not None
            asked = kits.question(self.kits, scene.patient, known, self.policy, self.kit_places)
            yield from () if asked is None else (asked,)
        who = str((scene.facts.get("by") or {}).get("name") or "")
        last = self.last.get(who, {})
        for question in agenda.questions(scene, answered):
            words = last.get(f"{self.kind} {question.name}")
            yield kits.picked(question, words) if words else question

    def kit_places(self, name: str) -> tuple[Path, ...]:
        """Return where in the event the fact of a kit goes: where it is asked."""
        path = layout.parse(name)
        bare = tuple(str(step) for step in path if isinstance(step, str))
        asked = (tuple(step for step in need.path if step != "*") for need in NEEDS[self.kind])
        return (path,) if bare in asked and self.kind != "arrival accessed" else ()

    def frame(self, facts: Mapping[str, Any], question: str) -> Frame:
        """Return what a time typed at a question is read against."""
        return self.scene(facts).frame(question)

    def takes(self, path: Path) -> bool:
        """Tell whether the layout has a fact at ``path``."""
        return layout.spot(KINDS[self.kind], path) is not None

    def misfit(self, facts: Mapping[str, Any], given: tuple[Path, ...]) -> str | None:
        """Return one sentence when the facts just given do not fit the record's layout."""
        for fault in trials.fitted(KINDS[self.kind], self._whole(facts, self.now())).misfits:
            if any(fault.path[: len(path)] == path or path[: len(fault.path)] == fault.path for path in given):
                return trials.refusal(fault)
        return None

    def doubts(self, facts: Mapping[str, Any], given: Heard) -> Doubtful | Unclear | None:
        """Return what is doubted when the facts just given may be a slip, and what ``y`` then takes."""
        return next(differences(self.scene(facts), given), None)

    def remarks(self, before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[Say]:
        """Yield what is to be said at once because of an answer."""
        old, new = self.scene(before), self.scene(after)
        told = {one.path for one in self._known_of(old, before)} if self._timed(before) else set()
        for one in self._known_of(new, after):
            if one.path not in told:
                yield Say("known", f"On record, so not asked: {one.said}.")
        seen = {_mark(finding) for finding in trials.at_once(old.trial, self.policy)}
        for finding in trials.at_once(new.trial, self.policy):
            if _mark(finding) not in seen:
                yield Say("finding", found_words(finding), finding)
        held = self._hold(new)
        if held and held != self._hold(old):
            yield Say("hold", held)

    def setting(self, name: str, text: str, facts: Mapping[str, Any]) -> Reading:
        """Read a fact that is set by its name; a full stop takes it out."""
        path = layout.parse(name)
        if text == ".":
            if not self.takes(path):
                return Unclear(f"There is no fact {name} here.")
            return Heard(((path, None), ((CLEARED, layout.dotted(path)), True)), "taken out")
        return set_fact(KINDS[self.kind], path, text, self.frame(facts, name))

    def adding(self, word: str, facts: Mapping[str, Any]) -> Question | Heard | Unclear:
        """Return the question for a fact that is added by a word, or the beginning of one more part of a list."""
        said = self.scene(facts).facts
        return added(KINDS[self.kind], word, facts, lambda path: len(path) == 1 or bool(layout.get(said, path[:-1])))

    # -- the record with the event --

    def scene(self, facts: Mapping[str, Any]) -> Scene:
        """Return what is known with ``facts`` said, what follows from the record among it."""
        self._refresh()
        for said, scene in self._scenes:
            if said == facts:
                return scene
        scene = self._scene(facts)
        self._scenes = [(dict(facts), scene), *self._scenes[:5]]
        return scene

    def finished(self, facts: Mapping[str, Any], charted_at: datetime) -> dict[str, Any]:
        """Return the event as it is written: facts that fit, in the order of the work."""
        scene = self.scene(facts)
        data = trials.fitted(KINDS[self.kind], {**scene.facts, "charted_at": _written(charted_at, self.zone)}).data
        order = [*_FIRST_KEYS, *(need.path[0] for need in NEEDS[self.kind])]
        keys = sorted(data, key=lambda key: order.index(key) if key in order else len(order))
        return {key: _in_order(KINDS[self.kind], (key,), data[key]) for key in keys}

    def findings(self, facts: Mapping[str, Any]) -> tuple[Finding, ...]:
        """Return everything a check would find because of the event, worst first."""
        return self.scene(facts).trial.findings

    @property
    def entry_id(self) -> str:
        """The name that the event will have."""
        return self.event_id

    def review(self, facts: Mapping[str, Any]) -> Review:
        """Return the note as it will read, what a check finds, and the event to be written."""
        event = self.finished(facts, (self.signed_at or self.now)())
        trial = self.scene(facts).trial
        episode = trial.line.episode
        text = display.preview("", episode, trial.line, trial.findings, self.policy, (self.event_id,), WIDTH)
        scene = self.scene(facts)
        stops = tuple(display.warnings(_state(trial, scene), self.zone)) if issubclass(scene.model, CareEvent) else ()
        return Review(event, text, trial.findings, event.get("by") or {}, stops)

    def written(self, entry: dict[str, Any]) -> bool:
        """Tell whether an entry already stands in the record."""
        made = trials.fitted(KINDS[self.kind], entry).whole
        return made is not None and any(unsealed(made) == unsealed(event) for event in self.episode.events)

    def moved_on(self, seen: Seen) -> Iterator[str]:
        """Go on with the record as somebody else left it; the event gets another name if its own is taken."""
        episode = seen.record.episode
        assert episode is not None
        yield from form.between(self.episode, episode)
        self.episode, self.unread, self._minute = episode, seen.record.unread_facts, None
        if any(event.id == self.event_id for event in episode.events):
            self.event_id = next_id(episode, self.kind)

    def _refresh(self) -> None:
        minute = self.now().replace(second=0, microsecond=0)
        if minute != self._minute:
            self._minute = minute
            self._line, self._found = trials.baseline(self.episode, self.policy, minute, self.unread, self.others)
            self._scenes = []

    def _whole(self, facts: Mapping[str, Any], now: datetime) -> dict[str, Any]:
        said = {key: value for key, value in facts.items() if key not in UNWRITTEN}
        charted = {"charted_at": _written(self.signed_at() if self.signed_at else now, self.zone)}
        given: Any = self.given
        for name in facts.get(CLEARED, {}):
            given = layout.drop(given, layout.parse(name))
        return {"id": self.event_id, "kind": self.kind, **_onto({**given, **charted}, said)}

    def _scene(self, facts: Mapping[str, Any]) -> Scene:
        assert self._minute is not None
        whole = self._whole(facts, self._minute)
        aside = {key: facts[key] for key in UNWRITTEN & facts.keys()}
        scene = self._made(whole, aside)
        follows = self._known_of(scene, facts) if self._timed(facts) else ()
        if follows:
            scene = self._made(layout.fold(((one.path, one.value) for one in follows), onto=whole), aside)
        return scene

    def _made(self, whole: dict[str, Any], aside: Mapping[str, Any]) -> Scene:
        assert self._minute is not None and self._line is not None
        trial = trials.judge(whole, self.episode, self.policy, self._minute, self._found, self._line)
        at = datetime.fromisoformat(whole["at"]) if whole.get("at") else self._minute
        episode = self._line.episode_at(at)
        return Scene(self.kind, episode, self._line, self.policy, self._minute, self.zone, whole, trial, aside)

    def _timed(self, facts: Mapping[str, Any]) -> bool:
        return "at" in facts or "at" in self.given

    def _known_of(self, scene: Scene, facts: Mapping[str, Any]) -> tuple[Known, ...]:
        cleared = facts.get(CLEARED, {})
        return tuple(one for one in known(scene, facts) if layout.dotted(one.path) not in cleared)

    def _hold(self, scene: Scene) -> str | None:
        if not issubclass(KINDS[self.kind], CareEvent) or scene.event is None:
            return None
        holds = _state(scene.trial, scene).holds
        known = {hold.reason for hold in scene.before.holds}
        return hold_words(holds) if any(hold.reason not in known for hold in holds) else None


def _onto(old: Any, new: Any) -> Any:
    """Return what was known beforehand with what was said laid over it, fact by fact; a person is one fact."""
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


def _state(trial: Trial, scene: Scene) -> Any:
    return trial.line.state_at(scene.septum, scene.at)


def _mark(finding: Finding) -> tuple[str, str]:
    return finding.rule, finding.message


def _written(moment: datetime, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).isoformat(timespec="minutes")


def next_id(episode: Episode, kind: str) -> str:
    """Return a name for a new event of ``kind``, such as access-3."""
    taken = {event.id for event in episode.events}
    stem = KINDS[kind].stem
    number = 1 + sum(event.kind == kind for event in episode.events)
    while f"{stem}-{number}" in taken:
        number += 1
    return f"{stem}-{number}"


def differences(scene: Scene, given: Heard) -> Iterator[Doubtful | Unclear]:
    """Yield each reason to doubt the facts just given, with what is meant if the nurse agrees."""
    for path, value in given.facts:
        spot = scene.spot(path)
        if spot is not None and spot.sort == "time" and isinstance(value, str) and "T" in value:
            yield from _time(scene, path, datetime.fromisoformat(value), given)
        if path in _COMPARED:
            yield from _other(scene, path, value, given)
        if path == ("septum",):
            yield from _other_septum(scene, value, given)


def _time(scene: Scene, path: Path, moment: datetime, given: Heard) -> Iterator[Doubtful | Unclear]:
    said = echo(moment, scene.zone)
    if path[0] != "next_due" and moment - scene.now > scene.policy.span("clock_slack_minutes"):
        ahead = f"{said} is in the future: it is {echo(scene.now, scene.zone)}."
        local = moment.astimezone(scene.zone) - timedelta(days=1)
        if path == ("at",) and local <= scene.now:
            meant = Heard(((path, written(local)),), echo(local, scene.zone))
            yield Doubtful(meant, f"{ahead} Was it yesterday, {meant.said}?")
        else:
            yield Unclear(f"{ahead} Type the time again.")
        return
    if path != ("at",):
        return
    last = max((entry.event for entry in scene.line.entries), key=lambda event: event.at, default=None)
    if last is not None and moment < last.at:
        kind = last.kind
        yield Doubtful(given, f"{said} is before the last entry, {kind} of {echo(last.at, scene.zone)}.")


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


def _other(scene: Scene, path: Path, value: Any, given: Heard) -> Iterator[Doubtful]:
    last = scene.last(path)
    if last is not None and last != value:
        what, said = _COMPARED[path]
        yield Doubtful(given, f"The last {what} was {said(last)}; this is {said(value)}.")


def _other_septum(scene: Scene, value: Any, given: Heard) -> Iterator[Doubtful]:
    last = next(
        (said for entry in reversed(scene.line.entries) if (said := getattr(entry.event, "septum", None))), None
    )
    if last is not None and last != value:
        yield Doubtful(given, f"The last entry was about the {last} septum; this is about the {value} one.")
