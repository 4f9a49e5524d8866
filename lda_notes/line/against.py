"""Supplies on the patient's skin against an allergy: the dressing that is on, and the antiseptic under it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from datetime import date
from typing import Final
from zoneinfo import ZoneInfo

from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.suitability import Answer, Subject, suits
from lda_notes.knowledge.supplies import contains
from lda_notes.line.corrections import Entry
from lda_notes.line.known import condition, substance
from lda_notes.line.states import State
from lda_notes.record.episode import Patient, Port
from lda_notes.record.parts import Antisepsis, Dressing
from lda_notes.record.unread import Unread


def subject(patient: Patient, port: Port, today: date, unread: Iterable[Unread] = ()) -> Subject:
    """Return what suitability asks of a patient with a port on a day, as plain values.

    ``unread`` is what could not be read of the record, for what is offered; what was done is judged without it.
    """
    return Subject(
        patient.birth_date,
        today,
        patient.weight_kg,
        frozenset(map(substance, patient.allergies or ())),
        frozenset(map(condition, patient.history)),
        port.valved,
        frozenset(name for fact in unread for name in ("allergies", "history") if name in fact.names),
    )


def on_the_skin(
    state: State, patient: Patient, port: Port, entry: Entry, policy: Policy, zone: ZoneInfo
) -> tuple[str, ...]:
    """Return each thing on the skin that an allergy speaks against, in words."""
    who = subject(patient, port, entry.event.at.astimezone(zone).date())
    return tuple(dict.fromkeys(_found(state, patient, who, policy)))


_ALLERGIC: Final = re.compile(
    r"hives|urticaria|anaphyla|allerg|welts|wheez|blister|rash|dermatitis|swell", re.IGNORECASE
)
_SENSITIVE: Final = re.compile(r"sensitiv|irritat|itch|red(ness)?\b|tear|strip|sore|fragile", re.IGNORECASE)


def adhesive_against(patient: Patient, film: bool) -> bool:
    """Return whether adhesive is on the skin against what is known.

    A barrier film answers a sensitivity, never an allergy; a reaction that nobody recorded may be either.
    """
    known = [allergy.reaction or "" for allergy in patient.allergies or () if substance(allergy) == "adhesive"]
    return any(not film or _ALLERGIC.search(said) or not _SENSITIVE.search(said) for said in known)


def _found(state: State, patient: Patient, who: Subject, policy: Policy) -> Iterator[str]:
    on = state.dressing
    if on is None:
        return
    put_on = on.put_on.event.__dict__
    antisepsis, dressing = put_on.get("antisepsis"), on.dressing
    if isinstance(antisepsis, Antisepsis):
        yield from _against(suits("antiseptic", antisepsis.agent, who, policy), antisepsis.agent)
    if not isinstance(dressing, Dressing):
        return
    if isinstance(dressing.type, str):
        yield from _against(suits("dressing", dressing.type, who, policy), f"{dressing.type} dressing")
        if "adhesive" in (contains(dressing.type) or ()) and adhesive_against(patient, dressing.barrier_film is True):
            yield f"{dressing.type} dressing, against an allergy to adhesive"
    if dressing.chlorhexidine_disc is True:
        yield from _against(suits("dressing", "chlorhexidine disc", who, policy), "chlorhexidine disc")
    if dressing.latex is True and "latex" in who.allergies:
        yield "dressing with latex, against an allergy to latex"


def _against(answer: Answer, what: str) -> Iterator[str]:
    if answer.allergy is not None:
        yield f"{what}, against an allergy to {answer.allergy}"
