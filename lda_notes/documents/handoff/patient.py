"""One patient on the handoff sheet: the lines, what matters for them, what is open, what was not recorded."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from lda_notes.documents import wording
from lda_notes.documents.handoff.amounts import Added, amounts
from lda_notes.documents.handoff.background import allergies, allergy_lines, child, left, port_text, unit_of
from lda_notes.documents.handoff.changes import Change, changes
from lda_notes.documents.handoff.contingencies import Contingency, contingencies
from lda_notes.documents.handoff.line import LineFacts, line_facts
from lda_notes.documents.handoff.missing import gaps, matters, said, unread_event, unread_fact
from lda_notes.documents.handoff.problems import OpenProblem, open_problems, pending
from lda_notes.documents.handoff.sources import Unsigned
from lda_notes.documents.handoff.view import NEVER, URGENCIES, Action, Urgency, View
from lda_notes.documents.precautions import Precaution, precautions
from lda_notes.documents.wording import Wording
from lda_notes.line.states import Hold
from lda_notes.narrative import phrasing
from lda_notes.problems import Finding
from lda_notes.record import events as ev
from lda_notes.record.reading import UnreadEvent
from lda_notes.record.unread import Unread


@dataclass(frozen=True, slots=True)
class PatientFacts:
    """All that the sheet says of one record, in words and values.

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
    not_charted: str = ""
    drafts: tuple[str, ...] = ()
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
        return tuple(sorted((a for line in self.lines for a in line.actions), key=lambda action: action.when))

    @property
    def first_due(self) -> tuple[bool, datetime]:
        """A sort key: when the first action is due; `NEVER` where nothing is."""
        return next((action.when for action in self.actions), NEVER)


def patient_facts(
    view: View,
    file: str,
    findings: Sequence[Finding],
    unread: Iterable[UnreadEvent],
    unread_facts: Iterable[Unread] = (),
    drafts: Iterable[Unsigned] = (),
) -> PatientFacts:
    """Return what the sheet says of one record; ``findings`` are those of its check."""
    timeline = view.timeline
    patient, port = timeline.episode.patient, timeline.episode.port
    unit = unit_of(timeline)
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
        left(view),
        discharge.at if discharge else None,
        isinstance(discharge, ev.Discharge) and discharge.handed_to is not None and bool(discharge.handed_to.name),
        allergies(timeline),
        tuple(precautions(patient)),
        port_text(port, timeline),
        phrasing.quoted(why) if why else "",
        lines,
        tuple(_ended(view)),
        tuple(sorted(open_problems(view, lines), key=lambda problem: problem.answered)),
        tuple(dict.fromkeys(changes(view))),
        tuple(pending(view, lines)),
        tuple(dict.fromkeys(c for line in lines for c in contingencies(view, line))),
        tuple(said(view, finding) for finding in findings if finding.severity == "unsafe" and matters(view, finding)),
        tuple(gaps(view, findings)),
        (*(unread_event(event) for event in unread), *(unread_fact(view, fact) for fact in unread_facts)),
        tuple(unread_facts),
        tuple(amounts(view)),
        view.wording,
        _not_charted(view),
        tuple(_unsigned(view, draft) for draft in drafts if draft.began <= view.asof),
    )


def _unsigned(view: View, draft: Unsigned) -> str:
    by = f" by {wording.one_line(draft.by)}" if draft.by else ""
    return f"{draft.about} begun {view.wording.soon(draft.began)}{by}"


def _ended(view: View) -> Iterator[Hold]:
    """Yield the holds that have ended, in order of their end."""
    over = [hold for holds in view.timeline.holds.values() for hold in holds]
    past = [hold for hold in over if hold.ended is not None and hold.ended.event.at <= view.asof]
    yield from sorted(past, key=lambda hold: hold.ended.event.at if hold.ended else hold.since)


def _not_charted(view: View) -> str:
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
