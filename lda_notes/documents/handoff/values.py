"""The handoff as plain values for JSON: what the sheet says, and the machine's own form of times and amounts."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final

from lda_notes.documents.amounts_values import sums_values
from lda_notes.documents.handoff.amounts import Added, amounts_text
from lda_notes.documents.handoff.contingencies import Contingency
from lda_notes.documents.handoff.line import LineFacts
from lda_notes.documents.handoff.page import Handoff, later_says, round_rows
from lda_notes.documents.handoff.patient import PatientFacts
from lda_notes.documents.handoff.round import Row
from lda_notes.documents.handoff.view import Action, Told
from lda_notes.documents.handoff.words import left_to_know, when_due
from lda_notes.documents.references import Basis, in_force, key
from lda_notes.documents.wording import Wording
from lda_notes.knowledge.policy import Policy
from lda_notes.line.states import Danger, Dwell, Hold
from lda_notes.record.unread import Unread

VERSION: Final = 2


def values(found: Handoff) -> dict[str, Any]:
    """Return the whole handoff; every key is always there, None (null) where there is nothing."""
    return {
        "version": VERSION,
        "judged_from": _time(found.asof),
        "last_handoff": _time(found.since) if found.since_known else None,
        "changes_since": _time(found.marked or found.since),
        "shift_end": _time(found.shift_end),
        "facility_policy": found.policy.facility.text() if found.policy.facility else None,
        "not_on_this_sheet": list(found.unreadable),
        "stay_begins_later": {"records": len(found.later), "says": later_says(found) or None},
        "left_out": [*(f"{name}: stay begins later" for name in found.later), *found.left_out],
        "doubtful": list(found.doubtful),
        "round": [_row(one) for one in round_rows(found)],
        "patients": [_patient(found, patient) for patient in found.here],
        "left_the_facility": [_left(found, patient) for patient in (*found.left, *found.left_before)],
    }


def _time(moment: datetime | None, wording: Wording | None = None) -> str | None:
    if moment is None:
        return None
    here = moment.astimezone(wording.zone) if wording else moment
    return here.isoformat(timespec="minutes")


def _row(one: Row) -> dict[str, Any]:
    """Return what page one says of a patient, in its words."""
    return {
        "record": one.patient.record,
        "room": one.place,
        "urgency": one.patient.urgency,
        "patient": list(one.who),
        "allergies": list(one.allergies),
        "in_the_port": list(one.inside),
        "warnings": [warned.text for warned in one.warned],
        "runs": list(one.runs),
        "changed": one.changed or None,
        "due": [
            {"says": task.says, "due": _time(task.by, one.patient.wording), "late": task.late} for task in one.tasks
        ],
    }


def _patient(found: Handoff, patient: PatientFacts) -> dict[str, Any]:
    words, policy = patient.wording, found.policy
    return {
        "record": patient.record,
        "file": patient.file,
        "patient": patient.name,
        "identifiers": list(patient.identifiers),
        "born": patient.born,
        "unit": patient.unit,
        "room": patient.room,
        "urgency": patient.urgency,
        "allergies": patient.allergies or None,
        "precautions": [
            {"reason": one.reason, "says": one.says, "rests_on": _basis(one.basis, policy)}
            for one in patient.precautions
        ],
        "port": patient.port,
        "accessed_for": patient.reason or None,
        **_states(patient),
        "due": [
            {"what": action.act, "due": _time(action.by, words), "septum": action.septum}
            for line in patient.lines
            for action in line.actions
        ],
        "lines": [_line(patient, line, policy) for line in patient.lines],
        "problems": [problem.says for problem in patient.open_problems],
        "pending": list(patient.pending),
        "unsafe": list(patient.unsafe),
        "contingencies": [_contingency(one, policy) for one in patient.contingencies],
        "not_recorded": list(patient.gaps),
        "unread": [_unread(fact) for fact in patient.unread_facts],
        "not_read": list(patient.unread),
        "amounts": [_added(added, words) for added in patient.amounts],
        "not_signed": list(patient.drafts),
    }


def _left(found: Handoff, patient: PatientFacts) -> dict[str, Any]:
    return {
        "record": patient.record,
        "file": patient.file,
        "patient": patient.name,
        "identifiers": list(patient.identifiers),
        "unit": patient.unit,
        "room": patient.room,
        "left": patient.left,
        "still_listed": patient in found.left,
        **_states(patient),
        "to_know": list(left_to_know(patient)),
        "to_be_done": [
            {"septum": action.septum, **_action(patient, action, found.policy)} for action in patient.actions
        ],
    }


def _states(patient: PatientFacts) -> dict[str, Any]:
    """Return holds, limits, standing dangers and what may be used, as values with their times and events."""
    words = patient.wording
    dwelling = [line.state.dwell for line in patient.lines if line.state.dwell is not None]
    return {
        "usable": all(line.state.usable for line in patient.lines),
        "septa": [
            {"septum": line.septum, "usable": line.state.usable, "needle": line.needle or None}
            for line in patient.lines
        ],
        "holds": [_hold(hold, words) for line in patient.lines for hold in line.state.holds],
        "ended": [
            {
                **_hold(hold, words),
                "ended": _time(hold.ended.event.at, words),
                "by": hold.ended.event.id,
                "how": hold.how,
            }
            for hold in patient.ended
            if hold.ended is not None
        ],
        "limits": list(dict.fromkeys(limit.what for line in patient.lines for limit in line.state.limits)),
        "dangers": [_danger(danger, words) for line in patient.lines for danger in line.state.dangers],
        "dwell": _dwell(dwelling[0], words) if dwelling else None,
    }


def _unread(fact: Unread) -> dict[str, Any]:
    place = fact.place
    return {"fact": fact.label, "text": fact.text, "row": place.row, "column": place.column, "event": fact.event}


def _hold(hold: Hold, words: Wording) -> dict[str, Any]:
    ends = ["proof" if end == "new access" else end for end in hold.ends_by]
    return {
        "septum": hold.septum,
        "reason": hold.reason,
        "sign": hold.sign,
        "since": _time(hold.since, words),
        "event": hold.began.event.id,
        "ends_by": list(dict.fromkeys(ends)),
    }


def _danger(danger: Danger, words: Wording) -> dict[str, Any]:
    return {
        "code": danger.code,
        "septum": danger.septum,
        "what": danger.what,
        "since": _time(danger.since, words),
        "event": danger.began.event.id if danger.began is not None else None,
        "forbids": danger.forbids or None,
    }


def _dwell(dwell: Dwell, words: Wording) -> dict[str, Any]:
    return {
        "septum": dwell.septum,
        "since": _time(dwell.treatment.event.at, words),
        "looks": [_time(look.event.at, words) for look in dwell.checks],
    }


def _line(patient: PatientFacts, line: LineFacts, policy: Policy) -> dict[str, Any]:
    return {
        "septum": line.septum,
        "status": line.status,
        "urgency": line.urgency,
        "dwell_day": line.dwell_day,
        "hold": line.hold or None,
        "dangers": list(line.dangers),
        "facts": [_fact(fact, patient.wording) for fact in line.facts],
        "to_be_done": [_action(patient, action, policy) for action in line.actions],
    }


def _fact(fact: Told, words: Wording) -> dict[str, Any]:
    return {
        "fact": fact.label,
        "value": fact.value,
        "at": _time(fact.at, words),
        "by": fact.by,
        "when_and_by_whom": fact.told or None,
    }


def _action(patient: PatientFacts, action: Action, policy: Policy) -> dict[str, Any]:
    return {
        "act": action.act,
        "clock": action.clock,
        "due": _time(action.by, patient.wording),
        "due_says": when_due(patient.wording, action),
        "late": action.late,
        "by_whom": action.owner,
        "why": action.why,
        "rests_on": [_basis(one, policy) for one in action.basis],
    }


def _contingency(one: Contingency, policy: Policy) -> dict[str, Any]:
    return {"if": one.when, "then": one.then, "rests_on": [_basis(basis, policy) for basis in one.basis]}


def _basis(basis: Basis, policy: Policy) -> dict[str, Any]:
    limit = isinstance(basis, str)
    cited = policy.citations(basis) if isinstance(basis, str) else basis.citations
    return {
        "number": key(basis),
        "limit": basis if limit else None,
        "says": in_force(basis, policy) if isinstance(basis, str) else basis.says,
        "sources": [source.text() for source in cited],
    }


def _added(added: Added, words: Wording) -> dict[str, Any]:
    return {
        "over": added.over,
        "septum": added.septum,
        "from": _time(added.start, words),
        "says": amounts_text(added.sums, added.kg),
        **sums_values(added.sums),
    }
