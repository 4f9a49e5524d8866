"""Open items: problems and their answers, what went outside the vein, judgments, what is awaited."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC
from itertools import islice
from typing import Final

from lda_notes.documents import wording
from lda_notes.documents.handoff.actions import evaluations
from lda_notes.documents.handoff.line import LineFacts, elsewhere
from lda_notes.documents.handoff.view import View
from lda_notes.knowledge.policy import quantity
from lda_notes.line.corrections import Entry
from lda_notes.line.holds import flushed_on_hold
from lda_notes.line.states import Danger, Hold
from lda_notes.narrative import phrasing
from lda_notes.record import events as ev
from lda_notes.record.parts import Problem
from lda_notes.record.unread import about

NO_ANSWER: Final = "NO REPLY recorded"


@dataclass(frozen=True, slots=True)
class OpenProblem:
    """A problem in words; ``answered`` when somebody was told and answered, ``septum`` where it is of one alone."""

    says: str
    answered: bool
    reply: str = ""
    septum: str | None = None


def since_handoff(view: View, entry: Entry) -> bool:
    """Return whether an event belongs to what was charted since the last handoff, up to and with this moment."""
    return view.since.astimezone(UTC) <= entry.event.at.astimezone(UTC) <= view.asof.astimezone(UTC)


def open_problems(view: View, lines: Sequence[LineFacts]) -> Iterator[OpenProblem]:
    """Yield problems, the latest first: those since the last handoff, those without an answer, and while a hold or a
    danger lasts those that began it and the last words about it, whatever shift they were charted in."""
    open_now: list[Hold | Danger] = []
    for line in lines:
        open_now += (*line.state.holds, *line.state.dangers)
    began = {id(one.began) for one in open_now}
    since = min((one.since for one in open_now if one.since is not None), default=None)
    stay = view.timeline.episode
    starts = (since, stay.stay.admitted_at, *(event.at for event in stay.events), view.since)
    asked = min(at.astimezone(UTC) for at in starts if at is not None)
    answers = 0
    said: set[str] = set()
    for entry in reversed(view.timeline.entries):
        event = entry.event
        if event.at > view.asof:
            continue
        recent = since_handoff(view, entry)
        if isinstance(event, ev.FlushedElsewhere):
            yield from _flushed_on_hold(view, entry, lines)
        if not isinstance(event, ev.CareEvent):
            continue
        for problem in reversed(event.problems):
            answered = problem.told is not None and bool(problem.reply)
            lasts = since is not None and event.at >= since and problem.what.casefold() not in said
            if recent or (not answered and event.at >= asked) or (lasts and (id(entry) in began or answers < _ANSWERS)):
                reply = problem.reply or "" if answered else ""
                yield OpenProblem(_problem(view, entry, problem), answered, reply, getattr(event, "septum", None))
                answers += answered
                said.add(problem.what.casefold())
        if recent or id(entry) in began:
            yield from (OpenProblem(words, True) for words in _signs(view, entry, event))


def last_words(view: View, line: LineFacts) -> Iterator[str]:
    """Yield the last answer and judgment about the hold or danger of one septum, and what went outside the vein."""
    if not (line.state.holds or line.state.dangers):
        return
    found = (one for one in open_problems(view, (line,)) if one.reply and one.septum in (None, line.septum))
    yield from (f"Last reply: {one.says}" for one in islice(found, 1))
    yield from decisions(view, line)
    yield from _outside_the_vein(view, (line,))


_ANSWERS: Final = 3
"""Most answers that are said of a hold or danger beside the one at its beginning; the latest count."""


def _flushed_on_hold(view: View, entry: Entry, lines: Sequence[LineFacts]) -> Iterator[OpenProblem]:
    """Yield that a port on hold was flushed elsewhere, for as long as that hold lasts."""
    septum = entry.event.__dict__["septum"]
    held = [hold for line in lines if septum in (None, line.septum) for hold in line.state.holds]
    if (hold := flushed_on_hold(entry.event, held)) is not None:
        said = f"{phrasing.capital(elsewhere(entry.event))}, on hold then for {hold.sign}"
        todo = "ask that place whether blood returned and the flush ran free"
        yield OpenProblem(f"{said}: {todo} ({view.wording.told(entry)})", False)


def _signs(view: View, entry: Entry, event: ev.CareEvent) -> Iterator[str]:
    """Yield the signs of an event that hold no line by themselves, and the orders to use one in spite of a hold."""
    held = any(hold.began is entry for holds in view.timeline.holds.values() for hold in holds)
    for sign in event.signs if not held else ():
        where = f" at the {sign.where}" if sign.where else ""
        todo = ": replace the connector" if sign.what == "leak" and sign.where == "connector" else ""
        yield f"{phrasing.capital(str(sign.what))}{where}{todo} ({view.wording.told(entry)})"
    order = event.despite_hold
    if order is not None:
        by = wording.person(order.by) if order.by is not None else "somebody who is not recorded"
        what = f": {phrasing.quoted(order.purpose)}" if order.purpose else ""
        at = f", {view.wording.when(order.ordered_at)}" if order.ordered_at else ""
        yield f"Used in spite of the hold, by order of {by}{at}{what} ({view.wording.told(entry)})"


def _problem(view: View, entry: Entry, problem: Problem) -> str:
    said = [phrasing.quoted(problem.what)]
    said.append(
        f"done: {phrasing.quoted(problem.action)}" if problem.action else f"what was done {_problem_lacks(view, entry)}"
    )
    if problem.told is None:
        said.append("no one recorded as told")
    else:
        at = f" {view.wording.when(problem.told_at)}" if problem.told_at else ""
        said.append(f"notified {wording.person(problem.told)}{at}")
        said.append(f"reply: {phrasing.quoted(problem.reply)}" if problem.reply else NO_ANSWER)
    return f"{'; '.join(said)} ({view.wording.told(entry)})"


def _problem_lacks(view: View, entry: Entry) -> str:
    lost = about(view.wording.unread, entry.event.id, "problems", "action")
    return "could not be read" if lost else "is not recorded"


def pending(view: View, lines: Sequence[LineFacts]) -> Iterator[str]:
    """Yield what is awaited: looks at a dose, decisions, follow-ups, results."""
    outside = tuple(_outside_the_vein(view, lines))  # with the last follow-up
    yield from outside
    for line in lines:
        if line.dwelling is not None:
            check = next((a for a in line.actions if a.clock == "thrombolytic check"), None)
            when = f"; check by {view.wording.when(check.by)}" if check and check.by else "; see what is due"
            yield f"{line.dwelling.value}{when} ({line.dwelling.told})"
        yield from decisions(view, line)
    held = any(line.state.holds for line in lines)
    said = _cared(view)[-1:] if outside else ()
    for entry in view.timeline.entries:
        event = entry.event
        recent = since_handoff(view, entry)
        if isinstance(event, ev.ExtravasationCare) and event.follow_up and entry not in said and (recent or held):
            yield f"Follow-up at the site: {phrasing.quoted(event.follow_up)} ({view.wording.told(entry)})"
        if not recent:
            continue
        samples = list(event.samples) if isinstance(event, ev.Proved) else []
        if isinstance(event, ev.LineUse) and event.purpose == "blood sampling" and event.what:
            samples.append(event.what)
        if samples:
            drawn = ", ".join(phrasing.quoted(sample) for sample in dict.fromkeys(samples))
            yield f"Blood drawn: {drawn}; results are not in this record ({view.wording.told(entry)})"


def decisions(view: View, line: LineFacts) -> Iterator[str]:
    """Yield the last judgment of a line that is still on hold."""
    if not line.state.holds:
        return
    began = min(hold.since for hold in line.state.holds)
    judged = evaluations(view, line.septum, began)
    if judged and isinstance(judged[-1].event, ev.Evaluation) and judged[-1].event.decision:
        event = judged[-1].event
        who = f" by {wording.person(event.cleared_by)}" if event.cleared_by else ""
        found = f"; {phrasing.quoted(event.finding)}" if event.finding else ""
        yield f"Evaluated{who}: {event.decision}{found} ({view.wording.told(judged[-1])})"


def _cared(view: View) -> tuple[Entry, ...]:
    return tuple(
        entry
        for entry in view.timeline.entries
        if isinstance(entry.event, ev.ExtravasationCare) and entry.event.at <= view.asof
    )


def _outside_the_vein(view: View, lines: Sequence[LineFacts]) -> Iterator[str]:
    """Yield the last care after something was given outside the vein, while its hold lasts: how much, what follows."""
    cared = _cared(view)
    lasts = any(line.state.held_for("something given at the site hurt or leaked") for line in lines)
    lasts = lasts or any(line.state.danger("P") for line in lines)
    if not cared or not (lasts or since_handoff(view, cared[-1])):
        return
    event = cared[-1].event
    assert isinstance(event, ev.ExtravasationCare)
    said = [
        f"Outside the vein: {phrasing.quoted(event.product) if event.product else 'product not recorded'}",
        *([f"about {quantity(event.estimated_ml, 'mL')}"] if event.estimated_ml is not None else []),
        *([f"{quantity(event.aspirated_ml, 'mL')} aspirated"] if event.aspirated_ml is not None else []),
        f"follow-up: {phrasing.quoted(event.follow_up) if event.follow_up else 'not recorded'}",
    ]
    yield f"{'; '.join(said)} ({view.wording.told(cared[-1])})"
