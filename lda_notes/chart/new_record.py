"""A new record as a form: whose port it is, where the patient is, what is known of the port."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from lda_notes.chart.answers import layout
from lda_notes.chart.answers.heard import Doubtful, Heard, Reading, Unclear
from lda_notes.chart.answers.layout import plain_part
from lda_notes.chart.answers.times import Frame, echo, month_first, written
from lda_notes.chart.form import Facts, Form, Review, Say
from lda_notes.chart.questions import admission
from lda_notes.chart.questions import trial as trials
from lda_notes.chart.questions.by_name import added, set_fact
from lda_notes.chart.questions.question import Question
from lda_notes.chart.terminal import display
from lda_notes.check.rule_table import check
from lda_notes.check.rules.completeness import ABOUT_THE_RECORD
from lda_notes.knowledge.policy import Policy
from lda_notes.line.due import zone_of
from lda_notes.line.folding import letters, person
from lda_notes.line.timeline import Timeline, build
from lda_notes.narrative import phrasing
from lda_notes.problems import Finding, Path
from lda_notes.record.episode import RECORD_VERSION, Episode, Patient
from lda_notes.record.merging import merge


@dataclass
class RecordForm(Form):
    """A record to be started. ``given`` are facts known beforehand; ``usual`` are what Enter takes, by dotted name.

    ``earlier`` finds the line of an earlier stay by the system and value of a record number.
    """

    entry_id: str
    """The name of the record."""
    policy: Policy
    now: Callable[[], datetime]
    given: Facts = field(default_factory=dict)
    usual: Mapping[str, str] = field(default_factory=dict)
    earlier: Callable[[str, str], Timeline | None] = lambda system, number: None

    # -- what a talk needs --

    def questions(self, facts: Facts, answered: frozenset[str]) -> Iterator[Question]:
        """Yield what is still to be asked, the next one first."""
        yield from admission.questions(self._data(facts), answered, self.usual)

    def frame(self, facts: Facts, question: str) -> Frame:
        """Return what a time typed at a question is read against."""
        return Frame(self.now(), self._zone(facts), self.now(), "today", month_first(self.policy))

    def takes(self, path: Path) -> bool:
        """Return whether the layout has a fact at ``path``."""
        return layout.spot(Episode, path) is not None

    def misfit(self, facts: Facts, given: tuple[Path, ...]) -> str | None:
        """Return one sentence when the facts just given do not fit the record's layout."""
        return trials.unfit(Episode, self._data(facts), given)

    def doubts(self, facts: Facts, given: Heard) -> Doubtful | Unclear | None:
        """Return why a date or a time just given cannot be; a time still to come today may be yesterday's."""
        for path, value in given.facts:
            spot = layout.spot(Episode, path)
            if spot is None or spot.sort not in ("time", "day") or not isinstance(value, str):
                continue
            here = self.now().astimezone(self._zone(facts))
            if value[:10] > here.date().isoformat():
                return Unclear(f"{value[:10]} is in the future.")
            if "T" in value and (moment := datetime.fromisoformat(value)) > here:
                local = moment.astimezone(here.tzinfo) - timedelta(days=1)
                meant = Heard(((path, written(local)),), echo(local, self._zone(facts)))
                ahead = f"{echo(moment, self._zone(facts))} is in the future."
                return Doubtful(meant, f"{ahead} Was it yesterday, {meant.said}?")
        return None

    def remarks(self, before: Facts, after: Facts) -> Iterator[Say]:
        """Yield what an earlier record of the patient hands on, and the findings that an answer gave rise to."""
        yield from self._handed_on(before, after)
        # While facts are asked for, it is no news that they are not recorded.
        told = (one for one in self._findings(after) if one.rule not in ABOUT_THE_RECORD)
        yield from display.news(self._findings(before), told)

    def setting(self, name: str, text: str, facts: Facts) -> Reading:
        """Read a fact that is set by its name."""
        return set_fact(Episode, layout.parse(name), text, self.frame(facts, name))

    def adding(self, word: str, facts: Facts) -> Question | Heard | Unclear:
        """Return the question for a fact that is added by a word."""
        return added(Episode, word, facts)

    def review(self, facts: Facts) -> Review:
        """Return the record as it will be written."""
        fitted = trials.fitted(Episode, self._data(facts))
        rows = ["The record will contain:", *(f"  {row}" for row in admission.shown(fitted.data))]
        return Review(fitted.data, "\n".join(rows), self._findings(facts), {})

    # -- inside --

    def _zone(self, facts: Facts) -> ZoneInfo:
        return ZoneInfo(layout.get(self._data(facts), ("stay", "time_zone")) or "UTC")

    def _data(self, facts: Facts) -> dict[str, Any]:
        data: dict[str, Any] = {"record_version": RECORD_VERSION, "id": self.entry_id}
        line = self._line(facts)
        before = _taken(line) if line is not None and _same_person(line, facts) else {}
        for key in ("patient", "stay", "port"):
            known = merge(before.get(key) or {}, self.given.get(key) or {})
            data[key] = merge(known, facts.get(key) or {})
        data["patient"] = {name: data["patient"][name] for name in Patient.model_fields if name in data["patient"]}
        return {**data, "events": []}

    def _line(self, facts: Facts) -> Timeline | None:
        """Return the line of an earlier stay of the patient whose record number was said."""
        said = merge(self.given.get("patient") or {}, facts.get("patient") or {})
        number = layout.get(said, ("identifiers", 0))
        system, value = (layout.get(number or {}, (key,)) for key in ("system", "value"))
        return self.earlier(system, value) if isinstance(system, str) and isinstance(value, str) else None

    def _handed_on(self, before: Facts, after: Facts) -> Iterator[Say]:
        line = self._line(after)
        if line is None or self._line(before) is not None:
            return
        if _same_person(line, after):
            handed = _taken(line)
            handed["patient"].pop("identifiers")  # the number was just said
            for row in _handed_over(line, admission.shown(handed), self.now()):
                yield Say("known", row)
        else:
            yield Say("doubt", "In this folder that record number is another patient's: compare the number.")

    def _findings(self, facts: Facts) -> tuple[Finding, ...]:
        episode = trials.fitted(Episode, self._data(facts)).whole
        return check(build(episode, self.policy, self.now()), self.policy) if episode is not None else ()


_OF_PATIENT: Final = ("identifiers", "birth_date", "allergies", "history")
"""Facts of the patient that are taken over. The weight is asked again: it changes, and doses rest on it."""


def _same_person(line: Timeline, facts: Facts) -> bool:
    """Return whether the name that was said is the one of the earlier record."""
    said = tuple(letters(str(layout.get(facts, ("patient", name)) or "")) for name in ("family_name", "given_name"))
    return said == person(line.episode)


def _taken(line: Timeline) -> dict[str, Any]:
    """Return what is taken over from an earlier stay, as plain data: the port only while it is in the body."""
    patient = plain_part(Episode, ("patient",), line.episode.patient)
    made: dict[str, Any] = {"patient": {name: patient[name] for name in _OF_PATIENT if name in patient}}
    if any(line.now(septum).port_in for septum in line.episode.port.septa):
        made["port"] = plain_part(Episode, ("port",), line.episode.port)
    return made


def _handed_over(line: Timeline, rows: Iterator[str], now: datetime) -> Iterator[str]:
    """Yield in words what was taken over (``rows``), and what holds the line."""
    zone = zone_of(line)
    since = line.episode.stay.admitted_at or (line.entries[0].event.at if line.entries else None)
    stay = f"{line.episode.stay.unit}{f', from {echo(since, zone)}' if since is not None else ''}"
    yield f"An earlier record of this patient is in this folder ({stay}). Taken over, not asked: {'; '.join(rows)}."
    for septum in line.episode.port.septa:
        state = line.state_at(septum, now)
        if not state.port_in:
            yield f"Its port {line.episode.port.id} was removed, so the port is asked."
            return
        name = f"{phrasing.capital(septum)} septum: " if len(line.episode.port.septa) > 1 else ""
        yield from (f"{name}{row}" for row in display.warnings(state, zone))
