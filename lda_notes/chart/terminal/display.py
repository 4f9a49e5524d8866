"""The display of the terminal: rows of plain text, read from top to bottom, with nothing drawn over."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from lda_notes.chart.answers.times import echo
from lda_notes.chart.form import Say
from lda_notes.chart.questions.question import Question
from lda_notes.chart.questions.trial import Trial, allergies
from lda_notes.check.judged import Judged
from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.sources import COMMON_PRACTICE
from lda_notes.line import due
from lda_notes.line.due import zone_of
from lda_notes.line.holds import common_ends_in_words
from lda_notes.line.states import Hold, State
from lda_notes.line.timeline import Timeline
from lda_notes.narrative import phrasing
from lda_notes.problems import Finding, Severity
from lda_notes.record.episode import Episode
from lda_notes.record.reading import Record

WIDTH: Final = 78
_GAP: Final = "   "


def rows(text: str, indent: str = "", first: str | None = None) -> Iterator[str]:
    """Yield a text in rows no wider than the terminal, each paragraph by itself."""
    for paragraph in text.split("\n"):
        lead = indent if first is None else first
        yield from textwrap.wrap(
            paragraph,
            WIDTH,
            initial_indent=lead,
            subsequent_indent=indent,
            break_on_hyphens=False,
            break_long_words=False,
        ) or [""]


def question_text(question: Question) -> str:
    """Return a question with its choices, and what Enter takes."""
    asked = question.asks + (f" ({question.hint})" if question.hint else "")
    shown = [*rows(asked)]
    keyed = [f"{option.key}: {phrasing.printed(option.words)}" for option in question.options]
    together = _GAP.join(keyed)
    if keyed and len(together) + 2 <= WIDTH:
        shown.append(f"  {together}")
    else:
        for one in keyed:
            shown.extend(rows(one, "     ", "  "))
    if question.default is not None:
        shown.extend(rows(f"Enter: {question.default.said}", "         ", "  "))
    return "\n".join(shown)


def said_text(say: Say) -> str:
    """Return what is said back: a finding stands out by its first word, not by color."""
    match say.tone:
        case "finding" | "hold":
            first, *rest = say.text.split("\n")
            shown = [*rows(f"!! {first}", "   ")]
            for row in rest:
                shown.extend(rows(row, "   "))
            return "\n".join(shown)
        case "fault" | "doubt":
            return "\n".join(rows(say.text, "   ", "?? "))
        case "heard" | "known" | "explain" | "tell":
            return "\n".join(rows(say.text, "  "))


_CALLED: Final[dict[Severity, str]] = {
    "unsafe": "UNSAFE",
    "wrong": "CONTRADICTION",
    "gap": "NOT RECORDED",
    "advice": "WORTH A LOOK",
}


def found_words(finding: Finding) -> str:
    """Return a finding in the order in which it is needed: what, what to do now, why."""
    said = f"{_CALLED[finding.severity]}: {finding.message}."
    todo = f"What to do: {finding.todo}."
    rows = [said, todo]
    if finding.citations:
        first, *more = finding.citations
        rest = f", and {len(more)} more" if more else ""
        rows.append(f"Source: {first.text()}{rest} (rule {finding.rule}).")
    return "\n".join(rows)


def news(before: Iterable[Finding], after: Iterable[Finding]) -> Iterator[Say]:
    """Yield the findings that were not there before."""
    seen = {(finding.rule, finding.message) for finding in before}
    for finding in after:
        if (finding.rule, finding.message) not in seen:
            yield Say("finding", found_words(finding), finding)


def hold_words(holds: tuple[Hold, ...]) -> str:
    """Return what the holds of a line mean and what ends them."""
    signs = phrasing.listed(tuple(dict.fromkeys(hold.sign for hold in holds)))
    return (
        f"LINE ON HOLD: {signs}. Nothing goes through it.\n"
        f"What ends the hold: {phrasing.listed(common_ends_in_words(holds), 'or')}.\n"
        "Record below what was tried, who was notified, when, and the reply.\n"
        f"Source: {COMMON_PRACTICE.text()}."
    )


def opening(kind: str, record: Record, line: Timeline, now: datetime, author: str) -> Iterator[str]:
    """Yield the rows: identity first, then what would otherwise be asked."""
    episode, zone = line.episode_at(now), zone_of(line)
    yield from identity(kind, episode)
    yield from over(line, now)
    unit = line.unit_at(now)
    room = f", room {unit.room}" if unit is not None and unit.room else ""
    yield f"{episode.stay.facility}, {unit.unit if unit is not None else episode.stay.unit}{room}"
    yield f"Port: {_port(episode)}. Allergies: {allergies(episode)}."
    for septum in episode.port.septa:
        name = f"{phrasing.capital(septum)} septum. " if len(episode.port.septa) > 1 else ""
        yield from _state(name, line.state_at(septum, now), zone)
    if line.entries:
        last = line.entries[-1].event
        by = f", by {last.by.name}" if last.by is not None and last.by.name else ""
        yield f"Last entry: {last.kind} of {echo(last.at, zone)}{by}."
    if record.unread_events:
        many = phrasing.count(len(record.unread_events), "entry", "entries")
        yield f"{many} of this record cannot be read: run a check."
    if author:
        yield f"Signing: {author}. It is {echo(now, zone)}."
    yield "Any time: ? explains, < goes back, - and a reason: not assessed, not done"


def over(line: Timeline, now: datetime) -> Iterator[str]:
    """Yield that the stay is over, and what still belongs into its record."""
    left = line.discharge
    if left is not None and due.has_left(line, now):
        how = "the patient died" if due.died(line, now) else "discharged"
        when = echo(left.event.at, zone_of(line))
        more = "" if due.died(line, now) else " A new stay needs its own record: start it with lda-notes new."
        yield f"!! THIS STAY IS OVER: {how}, {when}. Chart here only what happened before that.{more}"


def identity(kind: str, episode: Episode) -> Iterator[str]:
    """Yield whose record it is, with what is to be done in it."""
    patient = episode.patient
    born = f", born {phrasing.day(patient.birth_date)}" if patient.birth_date else ""
    number = patient.identifiers[0]
    yield f"{phrasing.capital(kind)}: {patient.family_name}, {patient.given_name}{born}, {number.value}"


def _port(episode: Episode) -> str:
    port = episode.port
    where = " ".join(part for part in (port.side, port.area) if part) or "place not recorded"
    detail = f", {port.site_detail}" if port.site_detail else ""
    volume = f", volume {phrasing.quantity(port.catheter_volume_ml, 'mL')}" if port.catheter_volume_ml else ""
    return f"{where}{detail}{volume}"


def _state(name: str, state: State, zone: ZoneInfo) -> Iterator[str]:
    """Yield what is in a septum, and in a row each what forbids its use."""
    if not state.port_in:
        yield "No port is in the body."
        return
    yield name + (_needle(state.needle, zone) if state.needle is not None else "No needle in.")
    for row in warnings(state, zone):
        yield f"!! {name}{row}"


def warnings(state: State, zone: ZoneInfo) -> Iterator[str]:
    """Yield what forbids the use of a line: a hold, a thrombolytic in it."""
    if state.holds:
        signs: dict[str, dict[str, None]] = {}
        for hold in state.holds:
            signs.setdefault(echo(hold.since, zone), {})[hold.sign] = None
        held = "; ".join(f"since {since}: {phrasing.listed(list(why))}" for since, why in signs.items())
        yield f"LINE ON HOLD {held}. Nothing goes through it until it is cleared."
    if state.dwell is not None:
        treatment = state.dwell.treatment.event
        drug = getattr(treatment, "drug", "thrombolytic")
        since = echo(treatment.at, zone)
        yield f"{drug.upper()} IN THE LINE since {since}: no flush and no use until it is checked."
    for danger in state.dangers:
        if danger.code != "D4" or state.dwell is None:
            since = f" since {echo(danger.since, zone)}" if danger.since is not None else ""
            yield f"{danger.what.upper()}{since}{f': not {danger.forbids}' if danger.forbids else ''}."
    for limit in state.limits:
        yield f"{limit.what.upper()} since the evaluation of {echo(limit.began.event.at, zone)}."


def _needle(stay: Any, zone: ZoneInfo) -> str:
    needle = stay.needle
    what = []
    if needle is not None and isinstance(needle.gauge, int):
        what.append(f"{needle.gauge} gauge")
    if needle is not None and needle.length_mm is not None and not hasattr(needle.length_mm, "not_assessed"):
        what.append(phrasing.length(needle.length_mm))
    since = f"since {echo(stay.since, zone)}" if stay.since is not None else "since when is not known"
    return f"Needle in: {', '.join((*what, since))}."


def preview(trial: Trial, policy: Policy, events: tuple[str, ...]) -> str:
    """Return the note of events that are not written yet, as text."""
    from lda_notes.documents.note import page as notes
    from lda_notes.documents.render import render
    from lda_notes.narrative.narrator import narrator

    judged = Judged(Record("", trial.line.episode), trial.line, trial.findings)
    sheet = notes.sheet(judged, policy, notes.Choice(some=events), narrator(None))
    return render(sheet, "text", WIDTH).decode()
