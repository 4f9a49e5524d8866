"""What lies on the patient's skin against an allergy: the dressing that is on, and the antiseptic under it."""

from __future__ import annotations

from collections.abc import Iterator
from zoneinfo import ZoneInfo

from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.suitability import Answer, Subject, suits
from lda_notes.line.corrections import Entry
from lda_notes.line.known import condition, substance
from lda_notes.line.states import State
from lda_notes.record.episode import Patient, Port
from lda_notes.record.parts import Antisepsis, Dressing


def subject(patient: Patient, port: Port, moment_day: object) -> Subject:
    """Return what suitability asks of a patient on a day, as plain values."""
    return Subject(
        patient.birth_date,
        moment_day,  # type: ignore[arg-type]
        patient.weight_kg,
        frozenset(map(substance, patient.allergies or ())),
        frozenset(map(condition, patient.history)),
        port.valved,
    )


def on_the_skin(state: State, patient: Patient, entry: Entry, policy: Policy, zone: ZoneInfo) -> tuple[str, ...]:
    """Return each thing on the skin that an allergy speaks against, in words."""
    day = entry.event.at.astimezone(zone).date()
    who = Subject(
        patient.birth_date,
        day,
        patient.weight_kg,
        frozenset(map(substance, patient.allergies or ())),
        frozenset(map(condition, patient.history)),
        None,
    )
    return tuple(dict.fromkeys(_found(state, who, policy, entry)))


def _found(state: State, who: Subject, policy: Policy, entry: Entry) -> Iterator[str]:
    on = state.dressing
    if on is None:
        return
    put_on = on.put_on.event.__dict__
    taken = _taken_off(state, entry)
    antisepsis, dressing = put_on.get("antisepsis"), on.dressing
    if isinstance(antisepsis, Antisepsis):
        yield from _against(suits("antiseptic", antisepsis.agent, who, policy), antisepsis.agent)
    if not isinstance(dressing, Dressing):
        return
    if isinstance(dressing.type, str):
        film = put_on.get("barrier_film") is True or getattr(dressing, "barrier_film", None) is True
        if not (film and who.allergies & {"adhesive"}) or "chlorhexidine" in who.allergies:
            yield from _against(suits("dressing", dressing.type, who, policy), f"{dressing.type} dressing")
    if dressing.chlorhexidine_disc is True and "disc" not in taken:
        yield from _against(suits("dressing", "chlorhexidine disc", who, policy), "chlorhexidine disc")
    if dressing.latex is True and "latex" in who.allergies and "latex" not in taken:
        yield "dressing with latex, against an allergy to latex"


def _taken_off(state: State, entry: Entry) -> tuple[str, ...]:
    return tuple(entry.event.__dict__.get("taken_off") or ())


def _against(answer: Answer, what: str) -> Iterator[str]:
    if answer.allergy is not None:
        yield f"{what}, against an allergy to {answer.allergy}"
