"""The contents of a line's lumen: what an event left in it, took out of it or pushed into the patient."""

from __future__ import annotations

from decimal import Decimal
from typing import Final

from lda_notes.line.corrections import Entry
from lda_notes.line.proof import fact_of, flow_of
from lda_notes.line.states import Exposure, State
from lda_notes.record import events as ev
from lda_notes.record.episode import Patient
from lda_notes.record.parts import Lock

_MEDICINES: Final = ("heparin", "ethanol", "taurolidine")
"""The words by which a problem names a lock."""


def removed(event: ev.Event) -> bool:
    """Return whether the event took out what was in the line before: aspirated and discarded."""
    said = fact_of(event, "old_lock")
    if said is not None:
        return bool(said == "aspirated and discarded")
    withdrawn, discarded = fact_of(event, "withdrawn_ml"), fact_of(event, "discard_ml")
    if isinstance(withdrawn, Decimal) and withdrawn > 0:
        return True
    if isinstance(discarded, Decimal) and discarded > 0:
        return fact_of(event, "discard_method") in (None, "discarded")
    return bool(fact_of(event, "purpose") == "removal of lock")


def flushed(event: ev.Event) -> bool:
    """Return whether the event flushed the line."""
    flushes = fact_of(event, "flushes")
    return flushes.__class__ is tuple and bool(flushes) and flow_of(event) != "cannot flush"


def pushed_in(event: ev.Event) -> bool:
    """Return whether the event pushed what was in the line into the patient."""
    if removed(event) or fact_of(event, "old_lock") == "could not be aspirated":
        return False
    used = isinstance(event, ev.LineUse) and event.purpose != "blood sampling" and event.action != "stopped"
    return fact_of(event, "old_lock") == "flushed in" or flushed(event) or used


def lock_of(event: ev.Event) -> Lock | None:
    """Return the lock that the event left in the line, if any."""
    lock = fact_of(event, "lock")
    return lock if isinstance(lock, Lock) else None


def inside(before: State, entry: Entry) -> Entry | None:
    """Return the event that left in the lumen what is in it after ``entry``."""
    event = entry.event
    if lock_of(event) is not None or isinstance(event, ev.PatencyTreatment):
        return entry
    return None if removed(event) or pushed_in(event) else before.inside


def no_heparin(patient: Patient) -> str | None:
    """Return why the patient is to have no heparin, in words; None when nothing on record forbids it."""
    if "heparin-induced thrombocytopenia" in patient.conditions:
        return "heparin-induced thrombocytopenia"
    if any(allergy.substance == "heparin" for allergy in patient.allergies or ()):
        return "an allergy to heparin"
    return None


def told(event: ev.Event, exposure: Exposure) -> bool:
    """Return whether the event records that somebody named was told of ``exposure``, not before it happened."""
    names = [name for name in _MEDICINES if name in exposure.drug]
    return any(
        getattr(problem.told, "name", None)
        and any(name in problem.what.lower() for name in names)
        and (problem.told_at or event.at) >= exposure.at
        for problem in fact_of(event, "problems") or ()
    )
