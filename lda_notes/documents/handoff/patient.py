"""One patient on the handoff sheet: the lines, what matters for them, what is open, what was not recorded."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from itertools import islice
from typing import Final

from lda_notes.documents import wording
from lda_notes.documents.handoff.line import (
    URGENCIES,
    Action,
    LineFacts,
    Urgency,
    View,
    doses_so_far,
    elsewhere,
    line_facts,
)
from lda_notes.documents.precautions import Precaution, precautions
from lda_notes.documents.references import Basis, Stated
from lda_notes.documents.wording import Wording
from lda_notes.knowledge.ages import days_old, months_old, years_old
from lda_notes.knowledge.amounts import alteplase_withdrawal, heparin_child
from lda_notes.knowledge.policy import Policy, number, quantity
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.line import sums
from lda_notes.line.holds import ENDED_BY, PROVABLE, ends_in_words, flushed_on_hold, policy_ends, what_ends
from lda_notes.line.sums import Sums
from lda_notes.line.timeline import Danger, Entry, Hold, State, Timeline, UnitStay
from lda_notes.narrative import phrasing
from lda_notes.problems import Finding
from lda_notes.record import events as ev
from lda_notes.record.episode import Port
from lda_notes.record.parts import Allergy, NeedleRemoval, Problem
from lda_notes.record.reading import UnreadEvent
from lda_notes.record.unread import Unread, about, absent

NO_ANSWER: Final = "NO ANSWER recorded"


@dataclass(frozen=True, slots=True)
class Contingency:
    """What is to happen if something does, from recorded facts and policy; ``basis`` says where it comes from."""

    when: str
    then: str
    basis: tuple[Basis, ...]


@dataclass(frozen=True, slots=True)
class Added:
    """Amounts over one stretch: ``over`` names it, ``start`` begins it."""

    over: str
    septum: str | None
    start: datetime
    sums: Sums
    kg: Decimal | None = None
    """Weight of a child, for what was given in one day."""


@dataclass(frozen=True, slots=True)
class OpenProblem:
    """A problem in words; ``answered`` when somebody was told and answered, ``septum`` where it is of one alone."""

    says: str
    answered: bool
    reply: str = ""
    septum: str | None = None


@dataclass(frozen=True, slots=True)
class Change:
    """What was charted, corrected or withdrawn since the last sheet. ``routine``: a look or a flush like any other."""

    says: str
    routine: bool


@dataclass(frozen=True, slots=True)
class PatientFacts:
    """All that the sheet tells of one record, in words and values.

    ``number`` counts the patients of a sheet in its order; ``second`` is the second identifier beside the name,
    ``child`` age and weight of a child, empty for an adult. ``taken_over``: somebody named sees to the port of one who
    left at ``left_at``. ``alike``: the family name could be taken for another's on the unit.
    """

    record: str
    file: str
    name: str
    family: str
    second: str
    child: str
    allergy_lines: tuple[str, ...]
    identifiers: tuple[str, ...]
    born: str
    unit: str
    room: str
    left: str
    left_at: datetime | None
    taken_over: bool
    allergies: str
    precautions: tuple[Precaution, ...]
    port: str
    reason: str
    lines: tuple[LineFacts, ...]
    ended: tuple[Hold, ...]
    open_problems: tuple[OpenProblem, ...]
    changes: tuple[Change, ...]
    pending: tuple[str, ...]
    contingencies: tuple[Contingency, ...]
    unsafe: tuple[str, ...]
    gaps: tuple[str, ...]
    unread: tuple[str, ...]
    unread_facts: tuple[Unread, ...]
    amounts: tuple[Added, ...]
    wording: Wording
    silent: str = ""
    number: int = 0
    alike: bool = False

    @property
    def urgency(self) -> Urgency:
        """The worst of the lines."""
        return min((line.urgency for line in self.lines), key=URGENCIES.index)

    @property
    def unanswered(self) -> tuple[str, ...]:
        """The problems that nobody was told of, or that nobody answered."""
        return tuple(problem.says for problem in self.open_problems if not problem.answered)

    @property
    def actions(self) -> tuple[Action, ...]:
        """Everything that is due for this patient, soonest first."""
        return tuple(sorted((a for line in self.lines for a in line.actions), key=soonest))


def soonest(action: Action) -> tuple[bool, datetime]:
    """Order actions by due time, what is due now first."""
    return action.by is not None, (action.by or datetime.min.replace(tzinfo=UTC)).astimezone(UTC)


def patient_facts(
    view: View,
    file: str,
    findings: Sequence[Finding],
    unread: Iterable[UnreadEvent],
    unread_facts: Iterable[Unread] = (),
) -> PatientFacts:
    """Return what the sheet tells of one record; ``findings`` are those of its check."""
    timeline = view.timeline
    patient, port = timeline.episode.patient, timeline.episode.port
    unit = _where(timeline)
    gone = view.left()
    discharge = gone.event if gone else None
    lines = tuple(line_facts(view, septum) for septum in port.septa)
    needle = next((line.state.needle for line in lines if line.state.needle), None)
    why = needle.opened.event.reason if needle and isinstance(needle.opened.event, ev.CareEvent) else None
    return PatientFacts(
        timeline.episode.id,
        file,
        wording.patient_name(patient),
        wording.in_letters(patient.family_name),
        wording.one_line(patient.identifiers[0].value),
        child(view),
        tuple(allergy_lines(view.timeline)),
        tuple(wording.one_line(f"{i.label or 'identifier'} {i.value}") for i in patient.identifiers),
        phrasing.day(patient.birth_date) if patient.birth_date else view.wording.absent(None, "patient", "birth_date"),
        wording.one_line(unit.unit) if unit else "",
        wording.one_line(unit.room or "") if unit else "",
        _left(view),
        discharge.at if discharge else None,
        isinstance(discharge, ev.Discharge) and discharge.handed_to is not None and bool(discharge.handed_to.name),
        _allergies(timeline),
        tuple(precautions(patient)),
        port_text(port, timeline),
        phrasing.quoted(why) if why else "",
        lines,
        tuple(_ended(view)),
        tuple(sorted(_open_problems(view, lines), key=lambda problem: problem.answered)),
        tuple(dict.fromkeys(_changes(view))),
        tuple(_pending(view, lines)),
        tuple(dict.fromkeys(c for line in lines for c in _contingencies(view, line))),
        tuple(_said(view, finding) for finding in findings if finding.severity == "unsafe" and _matters(view, finding)),
        tuple(_gaps(view, findings)),
        (*(_unread(event) for event in unread), *(_unread_fact(view, fact) for fact in unread_facts)),
        tuple(unread_facts),
        tuple(_amounts(view)),
        view.wording,
        _silent(view),
    )


def _ended(view: View) -> Iterator[Hold]:
    """Yield the holds that have ended, in order of their end."""
    over = [hold for holds in view.timeline.holds.values() for hold in holds]
    past = [hold for hold in over if hold.ended is not None and hold.ended.event.at <= view.asof]
    yield from sorted(past, key=lambda hold: hold.ended.event.at if hold.ended else hold.since)


def _silent(view: View) -> str:
    """Return since when nothing was charted, where that is longer than the line's own interval; "" otherwise."""
    line = view.timeline
    last = max((entry.event.at for entry in line.entries if entry.event.at <= view.asof), default=None)
    states = [line.now(septum) for septum in line.episode.port.septa]
    if last is None or view.left() is not None or not any(state.port_in for state in states):
        return ""
    limit = "line_check_hours" if any(state.needle is not None for state in states) else "idle_flush_days"
    if view.asof - last <= view.policy.span(limit):
        return ""
    day = last.astimezone(view.wording.zone).date()
    today = day == view.asof.astimezone(view.wording.zone).date()
    return f"nothing charted since {view.wording.soon(last) if today else phrasing.day(day)}"


def _where(timeline: Timeline) -> UnitStay | None:
    """Return the unit at the moment judged from; after discharge, the last one."""
    return timeline.unit_at(timeline.asof) or (timeline.units[-1] if timeline.units else None)


def child(view: View) -> str:
    """Return age and weight of a child, as of the moment judged from; "" for an adult."""
    patient = view.timeline.episode.patient
    today = phrasing.local(view.asof, view.wording.zone).date()
    if patient.birth_date is None or years_old(patient.birth_date, today) >= view.policy.value("adult_years"):
        return ""
    lacks = f"weight {absent(view.timeline.unread, None, 'patient', 'weight_kg')}"
    weight = quantity(patient.weight_kg, "kg") if patient.weight_kg is not None else lacks
    return f"{_age(patient.birth_date, today)}, {weight}"


def _age(born: date, today: date) -> str:
    if days_old(born, today) < 28:
        return phrasing.count(max(0, days_old(born, today)), "day")
    if years_old(born, today) < 2:
        return phrasing.count(months_old(born, today), "month")
    return phrasing.count(years_old(born, today), "year")


def allergy_lines(timeline: Timeline) -> Iterator[str]:
    """Yield allergies with their reactions and the conditions that matter for the line, or that none are known."""
    patient = timeline.episode.patient
    if patient.allergies:
        yield "Allergy: " + "; ".join(map(_allergy, patient.allergies))
    if said := _allergies(timeline):
        yield phrasing.capital(said)
    for condition in patient.conditions:
        yield phrasing.capital(condition)


def allergies_short(timeline: Timeline) -> str:
    """Return allergies and conditions in one line, the reaction only where it was anaphylaxis; "" for none known."""
    patient = timeline.episode.patient
    named = [
        _allergy(one if "anaphyla" in (one.reaction or "").casefold() else one.model_copy(update={"reaction": None}))
        for one in patient.allergies or ()
    ]
    other = _allergies(timeline).removesuffix(NONE_KNOWN)
    said = [f"allergy: {', '.join(named)}" if named else "", other, *patient.conditions]
    return phrasing.capital("; ".join(filter(None, said)))


def _allergy(allergy: Allergy) -> str:
    what = allergy.detail if allergy.substance == "other" and allergy.detail else allergy.substance
    return wording.one_line(f"{what} ({allergy.reaction})" if allergy.reaction else what)


_ROUTINE: Final = frozenset({"line check", "flush", "patency check"})


def _changes(view: View) -> Iterator[Change]:
    """Yield what was charted, corrected or withdrawn since the last sheet, in order of time."""
    for entry in view.timeline.entries:
        if entry.event.at > view.asof:
            continue
        # What has happened is known, as to the states, though it may be charted only later.
        charted = min(max(entry.event.charted_at or entry.event.at, entry.event.at), view.asof)
        if _since(view, charted):
            late = " (charted after the last sheet)" if not _since(view, entry.event.at) else ""
            yield Change(f"new: {_named_event(view, entry)}{late}", _kind(entry) in _ROUTINE and not late)
        elif any(_since(view, one.at) for one in entry.corrections):
            yield Change(f"corrected: {_named_event(view, entry)}", False)
    for entry in view.timeline.retracted:
        if entry.retraction is not None and _since(view, entry.retraction.at):
            change, when = entry.retraction, view.wording.soon(entry.retraction.at)
            yield Change(f"withdrawn: {_named_event(view, entry)}, by {wording.person(change.by)}, {when}", False)
    over = (one for holds in view.timeline.holds.values() for one in holds if one.ended is not None)
    for hold in sorted(over, key=lambda one: (one.ended.event.at if one.ended else one.since).astimezone(UTC)):
        if hold.ended is not None and _since(view, hold.ended.event.at):
            when, how = view.wording.soon(hold.ended.event.at), ENDED_BY.get(hold.how, hold.how)
            yield Change(f"hold ended: {hold.sign}, by {how}, {when}", False)


def _named_event(view: View, entry: Entry) -> str:
    septum = getattr(entry.event, "septum", None) if len(view.timeline.episode.port.septa) > 1 else None
    return f"{_done(entry)}{f', {septum},' if septum else ''} {view.wording.soon(entry.event.at)}"


def _done(entry: Entry) -> str:
    """Return what an event was, a use of the line by what began or ended, a dose by its drug."""
    event = entry.event
    if isinstance(event, ev.LineUse) and event.action in ("started", "stopped"):
        return f"{event.purpose} {event.action}"
    if isinstance(event, ev.PatencyTreatment):
        return f"{event.drug} put in"
    return _kind(entry)


def _kind(entry: Entry) -> str:
    kind: str = entry.event.kind
    return kind


def _since(view: View, moment: datetime) -> bool:
    return view.since.astimezone(UTC) < moment.astimezone(UTC) <= view.asof.astimezone(UTC)


def _left(view: View) -> str:
    entry = view.left()
    if entry is None or not isinstance(entry.event, ev.Discharge):
        return ""
    where = f" to {entry.event.destination}" if entry.event.destination else ""
    needle = {True: ", needle left in", False: ", no needle in", None: ""}[entry.event.needle_in]
    return f"Discharged{where}{needle}{_removal(view, entry.event.needle_removal)} ({view.wording.told(entry)})"


def _removal(view: View, plan: NeedleRemoval | None) -> str:
    """Return who takes out the needle that was left in, when, and whom to call before."""
    if plan is None:
        return ""
    who = f"; {wording.person(plan.by)} takes it out" if plan.by is not None else "; who takes it out is not named"
    at = f" {view.wording.when(plan.at)}" if plan.at else ""
    return who + at + (f"; if it comes out before, call {phrasing.quoted(plan.call)}" if plan.call else "")


NONE_KNOWN: Final = "no known allergies"


def _allergies(timeline: Timeline) -> str:
    allergies = timeline.episode.patient.allergies
    if allergies is None:
        return f"allergies {absent(timeline.unread, None, 'patient', 'allergies')}"
    if about(timeline.unread, None, "patient", "allergies"):
        return "allergies of which some could not be read"
    return "" if allergies else NONE_KNOWN


def port_text(port: Port, timeline: Timeline) -> str:
    """Return where the port lies and what is known of it and of its side."""
    unread = timeline.unread
    where = " ".join(part for part in (port.side, port.area) if part) or _port_lacks(unread, "site", "side", "area")
    parts = [wording.one_line(f"Port, {where}" + (f", {port.site_detail}" if port.site_detail else ""))]
    if port.implanted_on:
        parts.append(f"implanted {phrasing.day(port.implanted_on)}")
    if port.tip:
        how = f", by {port.tip.method}" if port.tip.method else ""
        when = f", {phrasing.day(port.tip.on)}" if port.tip.on else ""
        parts.append(wording.one_line(f"tip at {port.tip.location}{how}{when}"))
    power = port.power
    unknown = [*([] if port.tip else ["tip position"]), *([] if power else ["power rating"])]
    lost = [what for what in unknown if about(unread, None, "port", what.split()[0])]
    for what, why in ((lost, "could not be read"), ([what for what in unknown if what not in lost], "not recorded")):
        parts += [f"{phrasing.listed(what)} {why}"] if what else []
    if power is None:
        pass
    elif not power.rated:
        parts.append("not rated for power injection")
    else:
        most = [quantity(power.max_flow_ml_per_s, "mL per second")] if power.max_flow_ml_per_s else []
        most += [quantity(power.max_pressure_psi, "psi")] if power.max_pressure_psi else []
        parts.append("rated for power injection" + (f", at most {' and '.join(most)}" if most else ""))
    known = [row.event.arm_history for row in timeline.entries if isinstance(row.event, ev.PortFacts)]
    side = tuple(dict.fromkeys(said for words in known for said in words))
    parts += [f"known of that side: {phrasing.listed(side)}"] if side else []
    return "; ".join(parts)


def _port_lacks(unread: tuple[Unread, ...], what: str, *names: str) -> str:
    found = {absent(unread, None, "port", name) for name in names}
    return f"{what} {min(found)}"  # of the two the one that says more comes first


# -- what is open --


def _recent(view: View, entry: Entry) -> bool:
    """Tell whether an event belongs to what was charted since the last handoff, up to and with this moment."""
    return view.since.astimezone(UTC) <= entry.event.at.astimezone(UTC) <= view.asof.astimezone(UTC)


def _open_problems(view: View, lines: Sequence[LineFacts]) -> Iterator[OpenProblem]:
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
        recent = _recent(view, entry)
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
    found = (one for one in _open_problems(view, (line,)) if one.reply and one.septum in (None, line.septum))
    yield from (f"Last answer: {one.says}" for one in islice(found, 1))
    yield from _decisions(view, line)
    yield from _outside_the_vein(view, (line,))


_ANSWERS: Final = 3
"""Most answers that are told of a hold or danger beside the one at its beginning; the latest count."""


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
        said.append(f"told {wording.person(problem.told)}{at}")
        said.append(f"answer: {phrasing.quoted(problem.reply)}" if problem.reply else NO_ANSWER)
    return f"{'; '.join(said)} ({view.wording.told(entry)})"


def _problem_lacks(view: View, entry: Entry) -> str:
    said = view.wording.absent(entry.event.id, "problems", "action")
    return said if said.startswith("could") else f"is {said}"


def _pending(view: View, lines: Sequence[LineFacts]) -> Iterator[str]:
    outside = tuple(_outside_the_vein(view, lines))  # with the last follow-up
    yield from outside
    for line in lines:
        if line.dwelling is not None:
            check = next((a for a in line.actions if a.clock == "thrombolytic check"), None)
            when = f"; check by {view.wording.when(check.by)}" if check and check.by else "; see what is due"
            yield f"{line.dwelling.value}{when} ({line.dwelling.told})"
        yield from _decisions(view, line)
    held = any(line.state.holds for line in lines)
    said = _cared(view)[-1:] if outside else ()
    for entry in view.timeline.entries:
        event = entry.event
        recent = _recent(view, entry)
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


def _decisions(view: View, line: LineFacts) -> Iterator[str]:
    """Yield the last judgement of a line that is still on hold."""
    if not line.state.holds:
        return
    began = min(hold.since for hold in line.state.holds)
    judged = [
        entry
        for entry in view.timeline.entries
        if isinstance(entry.event, ev.Evaluation)
        and began <= entry.event.at <= view.asof
        and (entry.event.septum or line.septum) == line.septum
    ]
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
    if not cared or not (lasts or _recent(view, cared[-1])):
        return
    event = cared[-1].event
    assert isinstance(event, ev.ExtravasationCare)
    said = [
        f"Given outside the vein: {phrasing.quoted(event.product) if event.product else 'product not recorded'}",
        *([f"about {quantity(event.estimated_ml, 'mL')}"] if event.estimated_ml is not None else []),
        *([f"{quantity(event.aspirated_ml, 'mL')} drawn back"] if event.aspirated_ml is not None else []),
        f"follow-up: {phrasing.quoted(event.follow_up) if event.follow_up else 'not recorded'}",
    ]
    yield f"{'; '.join(said)} ({view.wording.told(cared[-1])})"


def _matters(view: View, finding: Finding) -> bool:
    """Tell whether a finding is about the record as a whole or an event since the last handoff."""
    if finding.event is None:
        return finding.path[:1] != ("events",)
    entry = view.entry(finding)
    if entry is None or isinstance(entry.event, ev.FlushedElsewhere):  # that one is among the problems
        return False
    return entry.retraction is None and _recent(view, entry)


def _said(view: View, finding: Finding) -> str:
    entry = view.entry(finding)
    where = f" ({view.wording.when(entry.event.at)})" if entry else ""  # what, not who: the sheet goes round
    return f"{phrasing.capital(_MOMENT.sub(lambda found: _as_elsewhere(view, found[0]), finding.message))}{where}"


_MOMENT: Final = re.compile(r"\b\d{4}-\d\d-\d\d \d\d:\d\d\b")
"""A moment as findings print it."""


def _as_elsewhere(view: View, moment: str) -> str:
    """Return a moment of a finding as the rest of the sheet prints moments; what is none stays as it is."""
    try:
        return view.wording.when(datetime.fromisoformat(moment).replace(tzinfo=view.wording.zone))
    except ValueError:
        return moment


def _gaps(view: View, findings: Sequence[Finding]) -> Iterator[str]:
    """Yield what is not recorded, one statement for each event and one for the record as a whole."""
    entries: dict[int, Entry] = {}
    by_event: dict[int | None, list[str]] = {}
    for finding in findings:
        if finding.severity == "gap" and _matters(view, finding):
            found = view.entry(finding)
            if found is not None:
                entries[id(found)] = found
            by_event.setdefault(id(found) if found is not None else None, []).append(finding.message)
    for event, messages in by_event.items():
        entry = entries.get(event) if event is not None else None
        if entry is None:
            yield phrasing.capital(
                "; ".join(message.removeprefix("not recorded for ").removeprefix("the ") for message in messages)
            )
        else:
            kind = entry.event.kind
            facts = "; ".join(_without_kind(message, kind) for message in messages)
            yield f"{phrasing.capital(kind)} ({view.wording.told(entry)}): {facts}"


def _without_kind(message: str, kind: str) -> str:
    """Return a gap's message without the words that the statement has said already."""
    head, colon, facts = message.partition(": ")
    return facts if colon and head.startswith("not recorded for this ") else message


def _unread(event: UnreadEvent) -> str:
    kind = f", {event.kind}" if event.kind else ""
    name = event.id or f"in position {event.index + 1} of the file"
    return f"An event could not be read and is not on this sheet: {name}{kind}"


def _unread_fact(view: View, fact: Unread) -> str:
    entry = view.timeline.entry(fact.event) if fact.event else None
    about = f" ({_kind(entry)} {view.wording.soon(entry.event.at)})" if entry else ""
    return f"{fact.label}, row {fact.place.row}{about}: {fact.text}. Ask"


# -- if ... then --

_SOILED = Stated(
    "C1",
    "A damp, loose or soiled dressing is changed at once; that never restarts the needle's time",
    (Citation("ahrq-ch42", "R", "table 3"), COMMON_PRACTICE),
)
_LEAK = Stated(
    "C2",
    "Swelling, pain or a leak can mean that the needle has left the port: nothing more is given",
    (Citation("royal-marsden", "R", "ch. 17"),),
)
_VESICANT = Stated("C3", "No vesicant without blood return", (Citation("ons", "R"),))


def no_blood(policy: Policy) -> Contingency:
    """Return what follows when blood does not return, with what ends that hold by policy."""
    either = phrasing.listed(ends_in_words(policy_ends(policy)), "or")
    then = f"nothing more goes through the line; the hold ends only with {either}"
    return Contingency("blood does not return", then, ("hold_ends_with",))


_SWELLS = Contingency("it swells, hurts or leaks", "what is being given stops and the prescriber is told", (_LEAK,))
_DAMP = Contingency(
    "the dressing is damp, loose or soiled",
    "it is due at once, whatever its date; the needle keeps its own time",
    (_SOILED,),
)


def every_line(policy: Policy) -> tuple[Contingency, ...]:
    """Return what is to be done in any patient with a needle: a sheet of several says it once."""
    return no_blood(policy), _SWELLS, _DAMP


def _contingencies(view: View, line: LineFacts) -> Iterator[Contingency]:
    state = line.state
    if state.dwell is not None:
        yield from thrombolytic(view, line)
    if state.holds:
        yield _on_hold(state)
    if state.needle is None:
        return
    if not state.holds:
        if line.vesicant:
            yield Contingency("blood return is lost", "the vesicant is stopped at once", (_VESICANT,))
        yield no_blood(view.policy)
    yield _SWELLS
    if not any(action.clock == "dressing change" and action.late for action in line.actions):
        yield _DAMP


def _on_hold(state: State) -> Contingency:
    """Return what blood return changes about the holds of a septum, as their ends say."""
    basis = ("hold_ends_with",) if all(hold.reason in PROVABLE for hold in state.holds) else ()
    either = phrasing.listed(what_ends(state.holds), "or")
    if all("proof" in hold.ends_by for hold in state.holds):
        return Contingency("blood that looks like whole blood returns and the flush runs free", "the hold ends", basis)
    if state.dwell is not None and all("treatment" in hold.ends_by for hold in state.holds):
        then = "the hold ends once the contents are withdrawn and the flush runs free"
        return Contingency("the thrombolytic brings blood return", then, basis)
    if state.needle is None:
        return Contingency("the port is needed", f"the hold has to end first, with {either}", basis)
    return Contingency("blood returns through this needle", f"the hold stays; it ends only with {either}", basis)


def thrombolytic(view: View, line: LineFacts) -> Iterator[Contingency]:
    """Yield what follows the looks at a dwelling dose. The limit in mg is that of two full doses; a dose by the lumen
    is given twice at most."""
    dwell = line.state.dwell
    assert dwell is not None
    policy = view.policy
    dose = getattr(dwell.treatment.event, "dose_mg", None)
    most = "alteplase_doses" if dose and dose < policy.value("alteplase_dose_mg") else "alteplase_total_mg"
    earliest = view.wording.when(dwell.treatment.event.at + policy.span("alteplase_second_dose_minutes"))
    more = doses_so_far(view, line.state, dwell) < policy.value("alteplase_doses")
    yield Contingency(
        "it has not worked by the second look",
        f"a second dose can be ordered from {earliest}, {policy.text(most)} at most in all"
        if more
        else "no further dose: the line is evaluated, with imaging",
        ("alteplase_second_dose_minutes", most) if more else ("alteplase_doses",),
    )
    withdrawn = _withdrawal(view.timeline, policy)
    if withdrawn:
        said, names = withdrawn
        yield Contingency("blood returns", f"{said} are withdrawn and the line is flushed", names)


def _withdrawal(timeline: Timeline, policy: Policy) -> tuple[str, tuple[Basis, ...]] | None:
    """Return what is taken off after success, by weight; None without a weight."""
    weight = timeline.episode.patient.weight_kg
    if weight is None:
        return None
    names = alteplase_withdrawal(weight, policy)
    return f"{' to '.join(number(policy.value(name)) for name in names)} mL", names


# -- amounts --


def _amounts(view: View) -> Iterator[Added]:
    found = tuple(amount for amount in sums.amounts(view.timeline) if amount.at <= view.asof)
    shift = sums.Window(view.since, view.asof)
    yield Added("since the last handoff", None, shift.start, sums.add(sums.within(found, shift)))
    try:
        today = sums.day(view.asof, view.wording.zone)
        yield Added("today", None, today.start, sums.add(sums.within(found, today)), _childs_weight(view))
    except OverflowError:  # at the ends of the calendar there is no such day
        pass
    many = len(view.timeline.episode.port.septa) > 1
    for septum in view.timeline.episode.port.septa:
        stay = view.timeline.now(septum).needle
        if stay is not None:
            added = sums.add(sums.of_stay(view.timeline, stay))
            yield Added(f"with this needle{f', {septum}' if many else ''}", septum, stay.opened.event.at, added)


def _childs_weight(view: View) -> Decimal | None:
    """Return the weight of a child in kg, for whom units of heparin are counted by weight and day."""
    patient = view.timeline.patient_at(view.asof)
    today = view.asof.astimezone(view.wording.zone).date()
    return patient.weight_kg if heparin_child(patient.birth_date, patient.weight_kg, today, view.policy) else None


def amounts_text(added: Sums, kg: Decimal | None = None) -> str:
    """Return sums in words, nothing for what did not happen; with the weight ``kg``, heparin per kg as well."""
    parts = []
    if added.flush_ml:
        preserved = f", of it {number(added.preserved_flush_ml)} mL preserved" if added.preserved_flush_ml else ""
        parts.append(f"flush {number(added.flush_ml)} mL{preserved}")
    if added.discard_ml:
        parts.append(f"{number(added.discard_ml)} mL discarded")
    if added.withdrawn_ml:
        parts.append(f"{number(added.withdrawn_ml)} mL withdrawn")
    if added.heparin_units:
        strengths = [
            f"{quantity(units, 'units')} of {number(strength)} units per mL" for strength, units in added.by_strength
        ]
        if len(strengths) > 1:
            strengths = [f"{quantity(added.heparin_units, 'units')}: {', '.join(strengths)}"]
        if kg:
            strengths[0] += (
                f" ({quantity(round(added.heparin_units / kg, 1), 'units per kg')} for {quantity(kg, 'kg')})"
            )
        parts.append(f"heparin {strengths[0]}")
    if added.thrombolytic_mg:
        parts.append(f"alteplase {number(added.thrombolytic_mg)} mg")
    if added.unknown:
        names = ", ".join(dict.fromkeys(amount.what for amount in added.unknown))
        parts.append(f"and an amount that is not recorded ({names})")
    return ", ".join(parts) or "nothing"
