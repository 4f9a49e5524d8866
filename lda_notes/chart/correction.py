"""A correction of an entry as a form: which fact, what is right, why. The original stays as it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Final, Literal

from lda_notes.chart.answers import layout
from lda_notes.chart.answers.heard import Doubtful, Heard, Reading, Unclear
from lda_notes.chart.answers.layout import plain_event
from lda_notes.chart.answers.times import Frame, month_first, written
from lda_notes.chart.answers.values import Option, person
from lda_notes.chart.form import Basis, EntryForm, Facts, Review, Say, next_id
from lda_notes.chart.questions import trial as trials
from lda_notes.chart.questions.by_name import THAT_IS_ALL, Recorded, set_fact
from lda_notes.chart.questions.question import Question, leaf, one_of
from lda_notes.chart.terminal import display
from lda_notes.check.needs import NEEDS
from lda_notes.line.corrections import Entry, corrected
from lda_notes.narrative import phrasing
from lda_notes.problems import Failure, Path
from lda_notes.record.episode import Episode
from lda_notes.record.events import KINDS, Correcting, Event
from lda_notes.record.merging import merge
from lda_notes.record.writer import Seen

Kind = Literal["addendum", "amendment", "retraction", "co-signature"]

_KINDS: Final = tuple(
    (Option(str(number), f"{kind}: {said}"), Heard(((("kind",), kind),), kind))
    for number, (kind, said) in enumerate(
        (
            ("addendum", "adds what was left out"),
            ("amendment", "corrects what is wrong"),
            ("retraction", "takes the entry out of view, for example when it was made on the wrong patient"),
            ("co-signature", "a second person signs, such as a preceptor; nothing changes"),
        ),
        1,
    )
)

OWN_ENTRY: Final = "No one co-signs their own entry; the second person signs."

_VALUES: Final[Mapping[str, str]] = {"addendum": "adds", "amendment": "sets"}
_OWN: Final = frozenset({"kind", "reason", "text", "by", "role"})
"""Facts of a correction itself; every other name is a fact of the entry."""


@dataclass
class CorrectionForm(EntryForm):
    """A correction of ``target``. What is said stands under ``new`` in the shape of the entry.

    ``preset`` are facts said beforehand, in the same shape; ``because`` is the reason that Enter gives.
    """

    basis: Basis
    target: Entry
    kind: Kind | None = None
    entry_id: str = ""
    """The name that the correction will have, once it is shown."""
    preset: Facts = field(default_factory=dict)
    because: str = ""

    @property
    def model(self) -> type[Event]:
        """The class of the entry's kind."""
        return type(self.target.event)

    @property
    def before(self) -> dict[str, Any]:
        """The entry as it is now read, as plain values."""
        return plain_event(self.target.event)

    # -- what a talk needs --

    def questions(self, facts: Facts, answered: frozenset[str]) -> Iterator[Question]:
        """Yield what is still to be asked: which sort of correction, which facts, why, who."""
        facts = self._all(facts)
        kind = self._kind(facts)
        if kind is None:
            if "kind" not in answered:
                yield one_of("kind", "correction", "Which correction is it?", _KINDS)
            return
        unsigned = not self.given.get("by") and not facts.get("by") and "by" not in answered
        if unsigned and self.policy.choice("login_shared") == "yes":  # whose draft it is, from the first answer
            yield self._plain(kind, "by")
        if kind == "co-signature":
            if "role" not in answered and not facts.get("role"):
                yield self._plain(kind, "role")
            if unsigned:
                yield self._plain(kind, "by")
            return
        if kind != "retraction":
            yield from self._facts(kind, facts, answered)
        if kind == "addendum" and "text" not in answered and not facts.get("text"):
            yield self._text(kind, facts)
        if "reason" not in answered and not facts.get("reason"):
            default = Heard(((("reason",), self.because),), self.because) if self.because else None
            yield replace(self._plain(kind, "reason"), default=default)
        if unsigned:
            yield self._plain(kind, "by")

    def frame(self, facts: Facts, question: str) -> Frame:
        """Return what a time typed at a question is read against: the time of the entry."""
        return Frame(self.basis.now(), self.zone, self.target.event.at, "near", month_first(self.policy))

    def takes(self, path: Path) -> bool:
        """Return whether the entry's layout has a fact at ``path``."""
        return path[:1] == ("new",) and layout.spot(self.model, path[1:]) is not None

    def misfit(self, facts: Facts, given: tuple[Path, ...]) -> str | None:
        """Return one sentence when the facts just given do not fit the entry's layout."""
        facts = self._all(facts)
        if self._kind(facts) == "co-signature" and self.is_author(facts.get("by") or self.given.get("by") or {}):
            return OWN_ENTRY
        inner = [path[1:] for path in given if path[0] == "new"]
        if not inner:
            return None
        if all(layout.get(facts, ("new", *path)) == layout.get(self.before, path) for path in inner):
            return "The entry already says that; nothing would change."
        return trials.unfit(self.model, merge(self.before, self._patch(facts)), tuple(inner))

    def is_author(self, who: Facts) -> bool:
        """Return whether a person is the author of the entry."""
        by = self.target.original.by
        return by is not None and bool(by.name) and who.get("name") == by.name

    def doubts(self, facts: Facts, given: Heard) -> Unclear | None:
        """Return why a time just given cannot be."""
        for path, value in given.facts:
            spot = layout.spot(self.model, path[1:]) if path[0] == "new" else None
            due = "next_due" in path
            timed = spot is not None and spot.sort == "time" and "T" in str(value)
            if timed and not due and datetime.fromisoformat(value) > self.basis.now():
                return Unclear("That time is in the future.")
        return None

    def remarks(self, before: Facts, after: Facts) -> Iterator[Say]:
        """Yield what changes, and the findings that the corrected record would have and the present one has not."""
        before, after = self._all(before), self._all(after)
        for path, was, becomes in self._differences(after):
            if (path, was, becomes) not in set(self._differences(before)):
                yield Say("tell", f"{self._recorded(None).called(path)}: was {was}, now {becomes}.")
        if self._kind(after) == "amendment" and not self._patch(after):
            return  # an amendment of nothing is not meant; the facts are still to come
        yield from display.news(self._trial(before).findings, trials.at_once(self._trial(after), self.policy))

    def setting(self, name: str, text: str, facts: Facts) -> Reading:
        """Read a fact of the entry that is set by its name."""
        path = layout.parse(name)
        if path in (("reason",), ("text",)):
            return Heard(((path, text),), text) if text else Unclear(f"Type the {name} after its name.")
        if path == ("by",):
            found = person(text)
            return found if isinstance(found, Unclear) else Heard(((path, found.value),), found.said)
        inner = layout.parse(name.removeprefix("new."))
        read = set_fact(self.model, inner, text, self.frame(facts, name))
        return replace(read.under("new"), brief="") if isinstance(read, Heard) else read

    def adding(self, word: str, facts: Facts) -> Question | Heard | Unclear:
        """Say that every fact is asked for by name here."""
        return Unclear("Facts are asked for one at a time here. Answer the question, or set one with =.")

    def take(self, given: dict[str, str]) -> None:
        """Take the facts of the entry out of answers given beforehand. Raises `Failure` for one that does not fit."""
        for name in [name for name in given if name not in _OWN]:
            text = given.pop(name)
            read = self.setting(name, text, {})
            if isinstance(read, Unclear):
                raise Failure(f"{name}: {read.sentence} Nothing was written")
            heard = read.heard if isinstance(read, Doubtful) else read
            self.preset = layout.fold(heard.facts, onto=self.preset)
            misfit = self.misfit({}, tuple(path for path, _ in heard.facts))
            if misfit is not None:
                raise Failure(f"{name}: {misfit} Nothing was written")

    def _all(self, facts: Facts) -> dict[str, Any]:
        said: dict[str, Any] = merge(dict(self.preset), dict(facts))
        return said

    # -- the questions --

    def _kind(self, facts: Facts) -> Kind | None:
        found: Kind | None = facts.get("kind") or self.kind
        return "retraction" if isinstance(self.target.event, Correcting) else found

    def _facts(self, kind: Kind, facts: Facts, answered: frozenset[str]) -> Iterator[Question]:
        asked: list[str] = facts.get("asked") or []
        for number, name in enumerate(asked):
            if name == THAT_IS_ALL:
                return
            if self._recorded(kind).is_open(name):
                yield self._recorded(kind).which_part(name, number)
                return
            for path in self._paths_of(name):
                if layout.dotted(("new", *path)) not in answered and layout.get(facts, ("new", *path)) is None:
                    yield self._right(path)
            if number == len(asked) - 1:
                break
        if f"asked.{len(asked)}" not in answered:
            enough = bool(facts.get("new")) or bool(asked) or kind == "addendum"
            yield self._recorded(kind).which_fact(len(asked), enough)

    def _recorded(self, kind: Kind | None) -> Recorded:
        return Recorded(self.model, self.before, self.zone, kind == "addendum")

    def _paths_of(self, name: str) -> Iterator[Path]:
        path = layout.parse(name)
        spot = layout.spot(self.model, path)
        if spot is not None and spot.part is not None and spot.sort != "person":
            for key in spot.part.model_fields:
                inner = layout.spot(self.model, (*path, key))
                if inner is not None and inner.sort is not None:
                    yield (*path, key)
        else:
            yield path

    def _right(self, path: Path) -> Question:
        spot = layout.spot(self.model, path)
        assert spot is not None
        was = layout.get(self.before, path)
        title = phrasing.capital(spot.title)
        whole = leaf(("new", *path), spot, f"{title}: what is right?" if was is not None else f"{title}?")
        in_part = was is None and len(path) > 1 and isinstance(path[-2], int) and not spot.required
        said = f"recorded: {self._recorded(None).said(path, was)}" if was is not None else "not recorded so far"
        default = Heard((), "left open") if in_part else None
        return replace(whole, asks=f"{whole.asks} ({said})", default=default)

    def _text(self, kind: Kind, facts: Facts) -> Question:
        question = self._plain(kind, "text")
        if not self._patch(facts):
            return question
        asks = "What else is added, in your own words?"
        return replace(question, asks=asks, default=Heard((), "nothing more"))

    def _plain(self, kind: Kind, key: str) -> Question:
        need = next((need for need in NEEDS[kind] if need.path == (key,)), None)
        spot = layout.spot(KINDS[kind], (key,))
        assert spot is not None
        asks = need.asks if need is not None else f"{phrasing.capital(spot.title)}?"
        return leaf((key,), spot, asks, needs=(need,) if need is not None else ())

    # -- the entry --

    def _patch(self, facts: Facts) -> dict[str, Any]:
        """Return the facts said, lists whole: what is applied over an entry replaces its lists."""
        new: dict[str, Any] = facts.get("new") or {}
        before = self.before
        return {
            key: _laid_over(before.get(key), value) if isinstance(value, list) else value for key, value in new.items()
        }

    def _entry(self, facts: Facts) -> dict[str, Any]:
        kind = self._kind(facts) or "addendum"
        now, signed = (written(one.astimezone(self.zone)) for one in (self.basis.now(), self.basis.time_of_entry()))
        name = self.entry_id or next_id(self.episode, kind)
        entry: dict[str, Any] = {"id": name, "kind": kind, "at": now, "charted_at": signed}
        by = facts.get("by") or self.given.get("by")
        entry.update({"by": by} if by else {})
        entry["of"] = self.target.event.id
        entry.update({"reason": facts["reason"]} if facts.get("reason") else {})
        if kind in _VALUES and (self._patch(facts) or kind == "amendment"):
            entry[_VALUES[kind]] = self._patch(facts)
        entry.update({key: facts[key] for key in ("text", "role") if facts.get(key)})
        return entry

    def _trial(self, facts: Facts) -> trials.Trial:
        return trials.judge(self._entry(facts), self.basis.standing())

    def _differences(self, facts: Facts) -> Iterator[tuple[Path, str, str]]:
        for path, value in _single_facts(facts.get("new") or {}):
            was, said = layout.get(self.before, path), self._recorded(None).said
            if was != value:
                yield path, said(path, was) if was is not None else "not recorded", said(path, value)

    # -- the end --

    def review(self, facts: Facts) -> Review:
        """Return the entry before and after, and the correction to be written."""
        facts = self._all(facts)
        self.entry_id = self.entry_id or next_id(self.episode, self._kind(facts) or "addendum")
        entry = self._entry(facts)
        trial = self._trial(facts)
        rows = [f"What changes in {self.target.event.id}:"]
        rows += [
            f"  {self._recorded(None).called(path)}: was {was}, now {becomes}"
            for path, was, becomes in self._differences(facts)
        ]
        if facts.get("text"):
            rows.append(f"  Added text: {facts['text']}")
        if entry["kind"] == "co-signature":
            rows.append("  Nothing. A second person signs for it.")
        if entry["kind"] == "retraction":
            rows.append("  Before: in view. After: out of view, kept with the reason.")
        event = self.target.event
        shown = event.of if isinstance(event, Correcting) else event.id
        note = display.preview(trial, self.policy, (shown,))
        return Review(entry, "\n".join((note, *rows)), trial.findings, entry.get("by") or {})

    def moved_on(self, seen: Seen) -> Iterator[str]:
        """Continue with the record as another user left it, and yield what changed."""
        yield from super().moved_on(seen)
        standing, retracted, corrections, _ = corrected(self.episode)
        every = {one.event.id: one for one in (*standing, *retracted, *corrections)}
        self.target, self.entry_id = every.get(self.target.event.id, self.target), ""


WRONG_PATIENT: Final = "charted on the wrong patient"
"""The reason that Enter gives for the retraction."""

_RECALLED: Final = "own entry, first made in another record"

_OF_THE_OTHER: Final = frozenset(
    {
        *("id", "kind", "charted_at", "seal", "by"),  # given anew when it is signed
        *("identifiers_checked", "allergies_checked", "despite_hold"),  # said of the other patient, and asked again
        *("treatment", "second_dose_of", "follows_removal", "of"),  # names of entries of the other record
        "tip_confirmed",  # of the other port
        "next_due",  # worked out from the other line
    }
)
"""Facts that do not move: they belong to the other record or patient."""


def carried(event: Event, into: Episode, late: bool) -> dict[str, Any]:
    """Return the facts of an entry that stay true in another record; ``late`` says that it is a late entry there."""
    facts = {key: value for key, value in plain_event(event).items() if key not in _OF_THE_OTHER}
    if facts.get("septum") not in into.port.septa:
        facts.pop("septum", None)
    return {**facts, **({"late_entry": _RECALLED} if late else {})}


def charted_by_another(event: Event, by: Facts) -> str:
    """Return what whoever moves an entry has to know before signing it; empty where the author moves it."""
    first = event.by.name if event.by is not None else None
    if not first or first == (by.get("by") or {}).get("name"):
        return ""
    return f"It was charted by {first}. Sign it only if you did or saw it yourself; else ask {first} to move it."


def _laid_over(old: Any, new: Any) -> Any:
    """Return a list as it will be: each part of the old one with what was said applied over it, new ones after."""
    if not isinstance(new, list) or not all(isinstance(item, dict) for item in new):
        return new
    before = old if isinstance(old, list) else []
    longest = max(len(before), len(new))
    made = []
    for at in range(longest):
        was = before[at] if at < len(before) else {}
        made.append(merge(was, new[at]) if at < len(new) else was)
    return made


def _single_facts(data: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Yield every single fact of a nested value with its path; a reason why not is one."""
    if isinstance(data, dict) and not layout.is_why_not(data) and data:
        for key, value in data.items():
            yield from _single_facts(value, (*path, key))
    elif isinstance(data, list) and any(isinstance(item, dict) for item in data):
        for at, item in enumerate(data):
            yield from _single_facts(item, (*path, at))
    elif data not in ({}, []):
        yield path, data
