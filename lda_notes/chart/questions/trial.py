"""The record as it would stand with what was said so far: the same judgment as a check, before anything is written."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ValidationError

from lda_notes.chart.answers import layout
from lda_notes.chart.answers.layout import plain_number
from lda_notes.chart.answers.times import Bias, Frame, echo, month_first
from lda_notes.check import conditions as asked
from lda_notes.check import rule_table
from lda_notes.check.conditions import troubles
from lda_notes.check.needs import missing
from lda_notes.knowledge.ages import years_old
from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.suitability import Subject
from lda_notes.line import due, timeline
from lda_notes.line.against import subject
from lda_notes.line.corrections import Entry
from lda_notes.line.signs import WRONG_TIP
from lda_notes.line.states import State
from lda_notes.line.timeline import ALONE, Others, Timeline
from lda_notes.narrative import phrasing
from lda_notes.problems import SEVERITIES, Finding, Path
from lda_notes.record.episode import Episode
from lda_notes.record.events import KINDS, Access, CareEvent, Event
from lda_notes.record.parts import Allergy
from lda_notes.record.unread import Unread
from lda_notes.record.validation import Misfit, misfits

_ROUNDS: Final = 20


@dataclass(frozen=True, slots=True)
class Trial:
    """``event`` is what was said so far as an event, parts without a needed fact left out; None before its kind's
    own needed facts are said. ``findings`` are those that the record without it does not have, worst first.
    """

    event: Event | None
    line: Timeline
    findings: tuple[Finding, ...]
    position: int


@dataclass(frozen=True, slots=True)
class Fitted:
    """Facts held against the layout. ``data`` are those that fit; ``whole`` is None when a needed one is missing."""

    whole: Any
    data: dict[str, Any]
    misfits: tuple[Misfit, ...]


def fitted(model: type[BaseModel], facts: Mapping[str, Any]) -> Fitted:
    """Hold ``facts`` against the layout of ``model``.

    A part that still lacks a needed fact is left out and is no misfit; a value that does not fit is both.
    """
    data: Any = dict(facts)
    found: list[Misfit] = []
    for _ in range(_ROUNDS):
        try:
            return Fitted(model.model_validate_json(json.dumps(data)), data, tuple(found))
        except ValidationError as error:
            faults = misfits(error, data)
        found.extend(fault for fault in faults if not fault.missing)
        gone = {fault.path[:-1] if fault.missing else fault.path for fault in faults}
        if () in gone:
            break
        for path in sorted(gone, key=lambda path: (len(path), str(path)), reverse=True):
            data = layout.drop(data, path)
    return Fitted(None, data, tuple(found))


def refusal(model: type[BaseModel], fault: Misfit) -> str:
    """Return a value that does not fit as it is said to who typed it: by what the fact is called, no key of a file."""
    said, _, wanted = fault.message.partition("; expected ")
    spot = layout.spot(model, fault.path)
    called = phrasing.capital(spot.title) if spot is not None else "That"
    typed = said.partition(" contains ")[2] or said
    shown = f"{typed} does not fit" if typed[:1].isdigit() or typed[:1] == "-" else "that does not fit"
    return f"{called}: {shown}. Expected: {wanted.removesuffix(' or a mapping that says why not')}."


def unfit(model: type[BaseModel], facts: Mapping[str, Any], given: tuple[Path, ...]) -> str | None:
    """Return one sentence when the facts just ``given`` do not fit the layout of ``model``."""
    for fault in fitted(model, facts).misfits:
        if any(fault.path[: len(path)] == path or path[: len(fault.path)] == fault.path for path in given):
            return refusal(model, fault)
    return None


@dataclass(frozen=True, slots=True)
class Standing:
    """The record as it stands, its timeline within its line, and what a check already finds in it."""

    episode: Episode
    policy: Policy
    asof: datetime
    line: Timeline
    known: frozenset[tuple[Any, ...]]


def standing(
    episode: Episode, policy: Policy, asof: datetime, unread: Sequence[Unread] = (), others: Others = ALONE
) -> Standing:
    """Return the record as it stands at a moment."""
    line = timeline.build(episode, policy, asof, unread, others)
    known = frozenset(_mark(f) for f in (*line.findings, *rule_table.check(line, policy)))
    return Standing(episode, policy, asof, line, known)


def judge(facts: Mapping[str, Any], base: Standing) -> Trial:
    """Judge the record with the event that ``facts`` make, if they make one."""
    event = fitted(KINDS[facts["kind"]], facts).whole
    position = len(base.episode.events)
    if event is None:
        return Trial(None, base.line, (), position)
    trial = base.episode.model_copy(update={"events": (*base.episode.events, event)})
    line = timeline.build(trial, base.policy, base.asof, base.line.unread, base.line.others)
    found = [f for f in (*line.findings, *rule_table.check(line, base.policy)) if _mark(f) not in base.known]
    found.sort(key=lambda f: (SEVERITIES.index(f.severity), f.rule, f.message))
    return Trial(event, line, tuple(found), position)


def _mark(finding: Finding) -> tuple[Any, ...]:
    return finding.rule, finding.event, finding.path, finding.message


def at_once(trial: Trial, policy: Policy) -> tuple[Finding, ...]:
    """Return the findings that an answer itself gave rise to: not those about facts that are still to be asked."""
    if trial.event is None:
        return ()
    lacking = missing(trial.event, trial.line.episode, policy)
    asked = {("events", trial.position, *gap.path) for gap in lacking}
    return tuple(f for f in trial.findings if f.path not in asked and f.severity != "gap")


CLEARED: Final = "cleared"
"""Facts from the record that the nurse took out."""

CHOSEN: Final = "chosen"
"""The facts that change, where the nurse names them first."""

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
    if layout.get(facts, ("site", "erythema")) == "present":
        yield "redness"
    if facts.get("blood_return") == "sluggish":
        yield "sluggish blood return"
    if isinstance(pain := facts.get("pain"), int) and pain > _PAIN:
        yield f"pain {pain} of 10"


_PAIN: Final = 3
"""The most pain, of 10, that goes without a question what was done about it."""


@dataclass(frozen=True)
class Situation:
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
    """Answers that are never written: see `UNWRITTEN`."""

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
        """The state of the septum just before the event."""
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
        """The patient as suitability needs to know them, at the time of the event."""
        today = self.at.astimezone(self.zone).date()
        return subject(self.line.patient_at(self.at), self.line.port_at(self.at), today, self.line.unread)

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
            value = layout.get(entry.event.model_dump(mode="json", exclude_unset=True), path)
            if value is not None and not layout.is_why_not(value):
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


class Known(NamedTuple):
    """A fact that follows from the record, and the sentence that says it."""

    path: Path
    value: Any
    said: str


def known(situation: Situation, answered: Mapping[str, Any]) -> tuple[Known, ...]:
    """Return every fact of the event that the record already contains, leaving out what was answered."""
    return tuple(fact for fact in _all(situation) if layout.get(answered, fact.path) is None)


def _all(situation: Situation) -> Iterator[Known]:
    match situation.kind:
        case "access":
            yield from _tip(situation)
            yield from _removal(situation)
        case "patency treatment":
            yield from _lumen(situation)
            yield from _dwelling(situation, "second_dose_of", "second dose, after the one of")
        case "patency check":
            yield from _dwelling(situation, "treatment", "thrombolytic put in")
        case _:
            return


def _tip(situation: Situation) -> Iterator[Known]:
    tip = situation.episode.port.tip
    if (
        tip is None
        or WRONG_TIP.search(tip.location)
        or not isinstance(situation.event, Access)
        or not asked.first_access(situation.event, situation.episode)
    ):
        return
    how = ", ".join(part for part in (tip.method, phrasing.day(tip.on) if tip.on else None) if part)
    yield Known(("tip_confirmed",), True, f"tip position confirmed: {tip.location}{f' ({how})' if how else ''}")


def _removal(situation: Situation) -> Iterator[Known]:
    removal = situation.before.last_removal
    if removal is None or situation.before.needle is not None:
        return
    if situation.at - removal.event.at <= situation.policy.span("needle_change_minutes"):
        when = echo(removal.event.at, situation.zone)
        yield Known(("follows_removal",), removal.event.id, f"needle change, after the removal of {when}")


def _lumen(situation: Situation) -> Iterator[Known]:
    volume = situation.episode.port.catheter_volume_ml
    if volume is not None:
        said = phrasing.quantity(volume, "mL")
        yield Known(("lumen_ml",), plain_number(volume), f"volume of catheter and port: {said}")


def _dwelling(situation: Situation, key: str, said: str) -> Iterator[Known]:
    dwell = situation.before.dwell
    if dwell is not None:
        given = dwell.treatment.event
        yield Known((key,), given.id, f"{said} {echo(given.at, situation.zone)}")
