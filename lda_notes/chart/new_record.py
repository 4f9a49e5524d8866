"""A new record as a form: whose port it is, where the patient is, what is known of the port."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any, Final, get_args
from zoneinfo import ZoneInfo

from lda_notes.chart.answers import layout, values
from lda_notes.chart.answers.heard import Doubtful, Heard, Reading, Unclear
from lda_notes.chart.answers.layout import plain_part
from lda_notes.chart.answers.times import Frame, echo, month_first, written
from lda_notes.chart.answers.values import Option
from lda_notes.chart.form import Facts, Form, Review, Say
from lda_notes.chart.questions import admission
from lda_notes.chart.questions import trial as trials
from lda_notes.chart.questions.by_name import added, set_fact
from lda_notes.chart.questions.question import Question, leaf
from lda_notes.chart.terminal import display
from lda_notes.check.conditions import Need
from lda_notes.check.needs import EPISODE_NEEDS
from lda_notes.check.rule_table import check
from lda_notes.check.rules.completeness import ABOUT_THE_RECORD
from lda_notes.knowledge.policy import Policy
from lda_notes.line.due import zone_of
from lda_notes.line.folding import letters, person
from lda_notes.line.timeline import Timeline, build
from lda_notes.narrative import phrasing
from lda_notes.problems import Finding, Path
from lda_notes.record import vocabulary as words
from lda_notes.record.episode import RECORD_VERSION, Episode, Patient
from lda_notes.record.merging import merge

_OPEN: Final = Heard((), "left open")


@dataclass(frozen=True, slots=True)
class _Row:
    """One thing to ask. ``freely`` lets Enter leave it open: the record stands without it."""

    name: str
    asks: str
    freely: bool = False
    when: Callable[[Facts], bool] | None = None


def _rated(facts: Facts) -> bool:
    return layout.get(facts, ("port", "power", "rated")) is True


def _tip_known(facts: Facts) -> bool:
    return layout.get(facts, ("port", "tip", "location")) is not None


_ROWS: Final[tuple[_Row, ...]] = (
    _Row("patient.family_name", "Family name of the patient?"),
    _Row("patient.given_name", "Given name?"),
    _Row("patient.identifiers.0.value", "Record number?"),
    _Row(
        "patient.identifiers.0.system",
        "Which hospital or system issued that number? Its name, or its address if you know it.",
    ),
    _Row("patient.birth_date", "When was the patient born?"),
    _Row("patient.allergies", "Which allergies are known?"),
    _Row("patient.history", "Is one of these in the history?", True),
    _Row("patient.weight_kg", "Weight, in kg?", True),
    _Row("stay.facility", "Which facility?"),
    _Row("stay.time_zone", "In which time zone is it? A large city will do, such as Chicago."),
    _Row("stay.unit", "Which unit?"),
    _Row("stay.room", "Which room?", True),
    _Row("stay.setting", "What kind of unit is it?"),
    _Row("stay.admitted_at", "When did the stay begin?", True),
    _Row("port.id", "What name does the record use for this port?"),
    _Row("port.side", "On which side is the port?"),
    _Row("port.area", "In which part of the body?"),
    _Row("port.site_detail", "More about the place, such as infraclavicular?", True),
    _Row("port.septa", "Has the port one septum or two? Type 1, or the names of two, such as medial, lateral."),
    _Row("port.touch", "How does the top of the port feel under the skin?", True),
    _Row("port.power.rated", "Is the port rated for power injection?", True),
    _Row("port.power.max_flow_ml_per_s", "Highest labeled rate, in mL per second?", True, _rated),
    _Row("port.power.max_pressure_psi", "Highest labeled pressure, in psi?", True, _rated),
    _Row("port.catheter_volume_ml", "Volume of catheter and port, in mL?", True),
    _Row("port.valved", "Does the catheter have a valve?", True),
    _Row("port.tip.location", "Where does the tip lie?", True),
    _Row("port.tip.method", "How was that confirmed?", True, _tip_known),
    _Row("port.tip.on", "When was it confirmed?", True, _tip_known),
    _Row("port.implanted_on", "When was the port implanted?", True),
    _Row("port.model", "Which model does the patient's card name, without brand?", True),
    _Row("port.udi", "Device identifier of the port, scanned or typed?", True),
)
"""What is asked, in the order in which a patient's papers are read."""


def _rows(facts: Facts) -> Iterator[_Row]:
    """Yield the rows, each allergy with what happened after the list of them."""
    for row in _ROWS:
        yield row
        if row.name != "patient.allergies":
            continue
        for at, allergy in enumerate(layout.get(facts, ("patient", "allergies")) or ()):
            if allergy.get("substance") == "other":
                yield _Row(f"patient.allergies.{at}.detail", "Allergic to which substance?")
            known = allergy.get("detail") or allergy.get("substance")
            yield _Row(f"patient.allergies.{at}.reaction", f"What happened with {known}?", True)


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
        known = self._data(facts)
        for row in _rows(known):
            said = row.name in answered or layout.get(known, layout.parse(row.name)) is not None
            if not said and (row.when is None or row.when(known)):
                yield self._question(row)

    def frame(self, facts: Facts, question: str) -> Frame:
        """Return what a time typed at a question is read against."""
        return Frame(self.now(), self._zone(facts), self.now(), "today", month_first(self.policy))

    def takes(self, path: Path) -> bool:
        """Tell whether the layout has a fact at ``path``."""
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
        rows = ["The record will contain:", *(f"  {row}" for row in _shown(fitted.data))]
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
            for row in _handed_over(line, _shown(handed), self.now()):
                yield Say("known", row)
        else:
            yield Say("doubt", "In this folder that record number is another patient's: compare the number.")

    def _findings(self, facts: Facts) -> tuple[Finding, ...]:
        episode = trials.fitted(Episode, self._data(facts)).whole
        return check(build(episode, self.policy, self.now()), self.policy) if episode is not None else ()

    def _question(self, row: _Row) -> Question:
        path = layout.parse(row.name)
        if row.name == "patient.allergies":
            return _list_question(row, path, ("none known", *get_args(words.AllergenName)), _allergies)
        if row.name == "patient.history":
            return _list_question(row, path, ("none of them", *get_args(words.HistoryName)), list)
        spot = layout.spot(Episode, path)
        assert spot is not None
        usual = self.usual.get(row.name)
        default = Heard(((path, [usual] if spot.sort == "texts" else usual),), usual) if usual else None
        if default is None and row.freely:
            default = _OPEN
        question = leaf(path, spot, row.asks, default=default, needs=_needs(row.name))
        question = replace(question, needed=spot.required and not row.freely)
        question = _in_plain_words(question, path)
        return replace(question, supply=("port",)) if row.name == "port.udi" else question


def _in_plain_words(question: Question, path: Path) -> Question:
    """Return a question that is read, named and explained in a nurse's words, where the layout has a program's."""
    read_plain = admission.READ.get(question.name)
    about = admission.CALLED.get(question.name, question.about)
    explains = (admission.EXPLAINED[question.name],) if question.name in admission.EXPLAINED else question.explains
    question = replace(question, about=about, explains=explains)
    if read_plain is None:
        return question

    def read(text: str, _: Frame) -> Reading:
        value = read_plain(text)
        return value if isinstance(value, Unclear) else Heard(((path, value.value),), value.said)

    return replace(question, read=read, hint="")


def _needs(name: str) -> tuple[Need, ...]:
    return tuple(need for need in EPISODE_NEEDS if name == need.name or name.startswith(f"{need.name}."))


# -- allergies and history: a list, or the statement that there are none --


def _list_question(row: _Row, path: Path, said: tuple[str, ...], made: Callable[[list[str]], list[Any]]) -> Question:
    none, *others = said
    offered = (Option("n", none), *(Option(str(number), word) for number, word in enumerate(others, 1)))
    spot = layout.spot(Episode, path)
    assert spot is not None

    another = "other" in others

    def read(text: str, _: Frame) -> Reading:
        typed = text.strip().casefold()
        if typed in ("n", "none", "no", none):
            return Heard(((path, []),), none)
        chosen: list[str] = []
        for part in typed.replace(";", ",").split(","):
            one = values.choose(part.strip(), offered[1:])
            if isinstance(one, Unclear) and another and _SUBSTANCE.fullmatch(part.strip()):
                one = Option("", part.strip())
            if isinstance(one, Unclear):
                other = next(
                    (f"; for another, type {o.key} and say which after" for o in offered if o.words == "other"), ""
                )
                return Unclear(f'"{part.strip()}" is not in the list. Numbers or names, with commas between{other}.')
            chosen.append(one.words)
        return Heard(((path, made(list(dict.fromkeys(chosen)))),), phrasing.listed(list(dict.fromkeys(chosen))))

    default = _OPEN if row.freely else None
    return Question(
        row.name, spot.title, row.asks, read, offered, "several with commas", None, default, (), _needs(row.name),
        (admission.EXPLAINED.get(row.name, spot.says),),
    )  # fmt: skip


def _allergies(chosen: list[str]) -> list[Any]:
    """Return the allergies; a substance that has no word of its own in the record is kept in its own words."""
    known = get_args(words.AllergenName)
    return [{"substance": word} if word in known else {"substance": "other", "detail": word} for word in chosen]


_SUBSTANCE: Final = re.compile(r"[^\W\d_][^\d]{3,60}")
"""What may be the name of a substance: words, no number and no letter alone."""


def _shown(data: Facts) -> Iterator[str]:
    for key in ("patient", "stay", "port"):
        for name, value in _flat(data.get(key) or {}, (key,)):
            spot = layout.spot(Episode, name)
            dotted = layout.dotted(name)
            title = phrasing.capital(admission.CALLED.get(dotted, spot.title if spot is not None else dotted))
            yield f"{title}: {value}"


def _flat(data: Any, path: Path) -> Iterator[tuple[Path, str]]:
    if isinstance(data, Mapping):
        for key, value in data.items():
            yield from _flat(value, (*path, key))
    elif isinstance(data, list) and any(isinstance(item, Mapping) for item in data):
        for at, item in enumerate(data):
            yield from _flat(item, (*path, at))
    elif isinstance(data, list):
        yield path, ", ".join(str(item) for item in data) or "none"
    else:
        yield path, {True: "yes", False: "no"}.get(data, str(data)) if isinstance(data, bool) else str(data)


_OF_PATIENT: Final = ("identifiers", "birth_date", "allergies", "history")
"""Facts of the patient that are taken over. The weight is asked again: it changes, and doses rest on it."""


def _same_person(line: Timeline, facts: Facts) -> bool:
    """Tell whether the name that was said is the one of the earlier record."""
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
