"""The form: what a talk fills in, be it an event, a visit, a correction or a new record, and what it is charted on."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Literal
from zoneinfo import ZoneInfo

from lda_notes.chart.answers.heard import Doubtful, Heard, Reading, Unclear
from lda_notes.chart.answers.times import Frame, echo
from lda_notes.chart.questions import trial
from lda_notes.chart.questions.kits import Kit
from lda_notes.chart.questions.question import Question
from lda_notes.knowledge.policy import Policy
from lda_notes.line.timeline import ALONE, Others
from lda_notes.problems import Finding, Path
from lda_notes.record.episode import Episode
from lda_notes.record.events import KINDS, Event, unsealed
from lda_notes.record.unread import Unread
from lda_notes.record.writer import Seen

Facts = Mapping[str, Any]
"""Everything said so far, as one nested value."""

Tone = Literal["heard", "fault", "doubt", "explain", "known", "finding", "hold", "tell"]


@dataclass(frozen=True, slots=True)
class Say:
    """Something said back. ``finding`` is set where it is a finding of the check."""

    tone: Tone
    text: str
    finding: Finding | None = None


@dataclass(frozen=True, slots=True)
class Review:
    """The review before signing: the entry as it will be written, how it reads, what a check finds, who signs.

    ``warnings`` say what forbids the use of the line from here on.
    """

    entry: dict[str, Any]
    text: str
    findings: tuple[Finding, ...]
    author: Facts
    warnings: tuple[str, ...] = ()


class Form(ABC):
    """A form that a talk fills in and a session has signed. ``given``: facts known beforehand, such as who charts."""

    given: Facts
    entry_id: str
    """The name that the entry will have."""

    @abstractmethod
    def questions(self, facts: Facts, answered: frozenset[str]) -> Iterator[Question]:
        """Yield what is still to be asked, the next one first."""

    @abstractmethod
    def frame(self, facts: Facts, question: str) -> Frame:
        """Return what a time typed at a question is read against."""

    @abstractmethod
    def takes(self, path: Path) -> bool:
        """Return whether the layout has a fact at ``path``."""

    @abstractmethod
    def misfit(self, facts: Facts, given: tuple[Path, ...]) -> str | None:
        """Return one sentence when the facts just given do not fit the record's layout."""

    @abstractmethod
    def doubts(self, facts: Facts, given: Heard) -> Doubtful | Unclear | None:
        """Return what is doubted when the facts just given may be a slip, and what ``y`` then takes."""

    @abstractmethod
    def remarks(self, before: Facts, after: Facts) -> Iterator[Say]:
        """Yield what is to be said at once because of an answer: findings, a hold, facts from the record."""

    @abstractmethod
    def setting(self, name: str, text: str, facts: Facts) -> Reading:
        """Read a fact that is set by its name."""

    @abstractmethod
    def adding(self, word: str, facts: Facts) -> Question | Heard | Unclear:
        """Return the question for a fact that is added by a word, or the beginning of one more part of a list."""

    @abstractmethod
    def review(self, facts: Facts) -> Review:
        """Return what is to be signed."""

    def moved_on(self, seen: Seen) -> Iterator[str]:
        """Continue with the record as another user left it, and yield what changed."""
        return iter(())

    def written(self, entry: dict[str, Any]) -> bool:
        """Return whether an entry is already in the record."""
        return False


@dataclass(frozen=True)
class Basis:
    """The basis of charting an entry: the record as it is, its policy and clock, and what is known beforehand.

    ``signed_at`` gives the time of entry; without it, ``now`` does. ``unread`` could not be read of the record,
    ``others`` are the other stays of its line. ``kits`` and ``last`` (words of each signer, by the name of the fact)
    are the nurse's own.
    """

    episode: Episode
    policy: Policy
    now: Callable[[], datetime]
    given: Facts = field(default_factory=dict)
    signed_at: Callable[[], datetime] | None = None
    unread: tuple[Unread, ...] = ()
    others: Others = ALONE
    kits: Mapping[str, Kit] = field(default_factory=dict)
    last: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    @property
    def zone(self) -> ZoneInfo:
        """The zone of the stay."""
        return ZoneInfo(self.episode.stay.time_zone)

    def time_of_entry(self) -> datetime:
        """Return when what is signed now is entered."""
        return (self.signed_at or self.now)()

    def standing(self) -> trial.Standing:
        """Return the record as it stands at this minute."""
        minute = self.now().replace(second=0, microsecond=0)
        return trial.standing(self.episode, self.policy, minute, self.unread, self.others)


class EntryForm(Form):
    """A form whose entry is added to the record of its ``basis``."""

    basis: Basis

    @property
    def given(self) -> Facts:  # type: ignore[override]  # read-only here
        """The facts known beforehand."""
        return self.basis.given

    @property
    def episode(self) -> Episode:
        """The record as it stands."""
        return self.basis.episode

    @property
    def policy(self) -> Policy:
        """The policy in force."""
        return self.basis.policy

    @property
    def zone(self) -> ZoneInfo:
        """The zone of the stay."""
        return self.basis.zone

    def moved_on(self, seen: Seen) -> Iterator[str]:
        """Continue with the record as another user left it, and yield what changed."""
        episode = seen.record.episode
        assert episode is not None
        yield from _changes(self.episode, episode)
        self.basis = replace(self.basis, episode=episode, unread=seen.record.unread_facts)

    def written(self, entry: dict[str, Any]) -> bool:
        """Return whether every event of an entry is already in the record."""
        return all(self._has(event) for event in entry.get("events", (entry,)))

    def _has(self, entry: dict[str, Any]) -> bool:
        made = trial.fitted(KINDS[entry["kind"]], entry).whole if entry.get("kind") in KINDS else None
        return made is not None and any(unsealed(made) == unsealed(event) for event in self.episode.events)


def _changes(old: Episode, new: Episode) -> Iterator[str]:
    """Yield a row for each entry that was added, changed or taken out, and one for changes elsewhere."""
    zone = ZoneInfo(new.stay.time_zone)
    before, after = ({event.id: event for event in one.events} for one in (old, new))
    for name, event in after.items():
        if name not in before:
            yield f"added: {_said(event, zone)}"
        elif before[name] != event:
            yield f"changed: {_said(event, zone)}"
    yield from (f"taken out: {_said(event, zone)}" for name, event in before.items() if name not in after)
    for part in ("patient", "stay", "port"):
        if getattr(old, part) != getattr(new, part):
            yield f"changed: facts of the {part}"


def _said(event: Event, zone: ZoneInfo) -> str:
    by = f", by {event.by.name}" if event.by is not None and event.by.name else ""
    return f"{event.kind} of {echo(event.at, zone)}{by} ({event.id})"


def next_id(episode: Episode, kind: str) -> str:
    """Return a name for a new event of ``kind``, such as access-3."""
    taken = {event.id for event in episode.events}
    stem = KINDS[kind].stem
    number = 1 + sum(event.kind == kind for event in episode.events)
    while f"{stem}-{number}" in taken:
        number += 1
    return f"{stem}-{number}"
