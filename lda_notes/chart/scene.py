"""What is known while an event is charted: the record as it stands, the answers so far, and the trial of both."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final
from zoneinfo import ZoneInfo

from lda_notes.chart import layout, paths
from lda_notes.chart.answers import plain_number
from lda_notes.chart.times import Bias, Frame, month_first
from lda_notes.chart.trial import Trial
from lda_notes.check.conditions import troubles
from lda_notes.knowledge.ages import years_old
from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.suitability import Subject
from lda_notes.line import due
from lda_notes.line.against import subject
from lda_notes.line.corrections import Entry
from lda_notes.line.states import State
from lda_notes.line.timeline import Timeline
from lda_notes.problems import Path
from lda_notes.record.episode import Episode
from lda_notes.record.events import KINDS, CareEvent, Event
from lda_notes.record.parts import Allergy

CLEARED: Final = "cleared"
"""Facts from the record that the nurse took out."""

CHOSEN: Final = "chosen"
"""What changes, where the nurse says that first."""

COVERED: Final = "covered"
"""The troubles that each problem is about, by its position."""

UNWRITTEN: Final = frozenset({CLEARED, CHOSEN, COVERED})
"""Keys under which answers stand that steer the talk and are no facts of the event."""


def allergies(episode: Episode) -> str:
    """Return the allergies on record as they are said, each substance in capitals and by its own name."""
    known = episode.patient.allergies
    if known is None:
        return "NOT RECORDED"
    return ", ".join(_allergy(one) for one in known) or "none known"


def _allergy(one: Allergy) -> str:
    by_name = one.substance == "other" and one.detail is not None
    more = "; ".join(part for part in (None if by_name else one.detail, one.reaction) if part)
    return f"{str(one.detail if by_name else one.substance).upper()}{f' ({more})' if more else ''}"


def _lesser(facts: Mapping[str, Any]) -> Iterator[str]:
    """Yield signs that put no line on hold and still want an answer to: what was done, who was told."""
    if paths.get(facts, ("site", "erythema")) == "present":
        yield "redness"
    if facts.get("blood_return") == "sluggish":
        yield "sluggish blood return"
    if isinstance(pain := facts.get("pain"), int) and pain > _PAIN:
        yield f"pain {pain} of 10"


_PAIN: Final = 3
"""The most pain, of 10, that goes without a question what was done about it."""


@dataclass(frozen=True)
class Scene:
    """``facts`` are the answers so far with what follows from the record; ``line`` is the record without them."""

    kind: str
    episode: Episode
    line: Timeline
    policy: Policy
    now: datetime
    zone: ZoneInfo
    facts: Mapping[str, Any]
    trial: Trial
    aside: Mapping[str, Any] = field(default_factory=dict)
    """What was said that is never written: see `UNWRITTEN`."""

    @property
    def untold(self) -> tuple[str, ...]:
        """The troubles that the answers show and that no problem was charted for yet."""
        told = {reason for reasons in self.aside.get(COVERED, {}).values() for reason in reasons}
        shown = troubles(self.event) if self.event is not None else ()
        lesser = tuple(sign for sign in _lesser(self.facts) if not any(sign in reason for reason in (*shown, *told)))
        return tuple(reason for reason in (*shown, *lesser) if reason not in told)

    @property
    def model(self) -> type[Event]:
        """The class of the kind that is charted."""
        return KINDS[self.kind]

    @property
    def event(self) -> Event | None:
        """The answers so far as an event."""
        return self.trial.event

    @property
    def at(self) -> datetime:
        """When it happened; now until that is said."""
        said = self.facts.get("at")
        return datetime.fromisoformat(said) if said else self.now

    @property
    def septum(self) -> str:
        """The septum in question."""
        return str(self.facts.get("septum") or self.episode.port.septa[0])

    @property
    def before(self) -> State:
        """What was true of the septum just before the event."""
        return self.line.state_at(self.septum, self.at)

    @property
    def held(self) -> bool:
        """Whether the line is on hold with what is said so far."""
        return self.event is not None and bool(self.trial.line.state_at(self.septum, self.at).holds)

    @property
    def child(self) -> bool:
        """Whether the limits for children hold; also when the age is not known, for caution."""
        born = self.episode.patient.birth_date
        if born is None:
            return True
        return years_old(born, self.at.astimezone(self.zone).date()) < self.policy.value("adult_years")

    @property
    def patient(self) -> Subject:
        """What suitability asks of the patient, as known at the time of the event."""
        today = self.at.astimezone(self.zone).date()
        return subject(self.line.patient_at(self.at), self.line.port_at(self.at), today, self.line.unread)

    def allergic_to(self, *names: str) -> bool:
        """Tell whether an allergy to one of ``names`` is on record, or none were asked for."""
        allergies = self.episode.patient.allergies
        return allergies is None or any(allergy.substance in names for allergy in allergies)

    def earlier(self) -> Iterator[Entry]:
        """Yield the events before this one, the last first: those of the same septum or of the whole port."""
        first = self.episode.port.septa[0]
        for entry in reversed(self.line.entries):
            event = entry.event
            same = not isinstance(event, CareEvent) or (event.septum or first) == self.septum
            if same and event.at <= self.at:
                yield entry

    def last(self, path: Path, kinds: tuple[str, ...] = ()) -> Any:
        """Return what the last event that says anything about ``path`` said, as plain JSON; None when none does."""
        for entry in self.earlier():
            if kinds and entry.event.kind not in kinds:
                continue
            if getattr(entry.event, str(path[0]), None) is None:
                continue
            value = paths.get(entry.event.model_dump(mode="json", exclude_unset=True), path)
            if value is not None and not paths.is_why_not(value):
                found = layout.spot(type(entry.event), path)
                numeric = found is not None and found.sort in ("number", "whole number")
                return plain_number(Decimal(value)) if numeric and isinstance(value, str) else value
        return None

    def spot(self, path: Path) -> layout.Spot | None:
        """Return what the layout says of a fact of this kind."""
        return layout.spot(self.model, path)

    def frame(self, question: str) -> Frame:
        """Return what a time typed at a question is read against."""
        bias: Bias = "today" if question == "at" else "next" if question.startswith("next_due") else "near"
        return Frame(self.now, self.zone, self.now if question == "at" else self.at, bias, month_first(self.policy))

    def due_by(self, clock: str) -> datetime | None:
        """Return when a clock runs out that this event started, judged from the event itself."""
        running = due.due(self.trial.line, self.septum, self.policy, self.at + timedelta(minutes=1))
        return next((one.by for one in running if one.clock == clock), None)
