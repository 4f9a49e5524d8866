"""Patient and port as known at a moment: dated facts change them, an earlier stay hands them on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, time
from typing import Any, Final
from zoneinfo import ZoneInfo

from lda_notes.record import events as ev
from lda_notes.record.episode import Episode, Patient, Port
from lda_notes.record.parts import Condition


@dataclass(frozen=True, slots=True)
class Known:
    """Facts of patient and port as known from ``since``; None for what the record began with."""

    since: datetime | None
    patient: Patient
    port: Port
    _episodes: list[tuple[Episode, Episode]] = field(default_factory=list, compare=False, repr=False)

    def episode(self, base: Episode) -> Episode:
        """Return ``base`` with this patient and port; the same object each time it is asked."""
        if base.patient is self.patient and base.port is self.port:
            return base
        for known, made in self._episodes:
            if known is base:
                return made
        made = base.model_copy(update={"patient": self.patient, "port": self.port})
        self._episodes.append((base, made))
        return made


_OF_PORT: Final = ("power", "catheter_volume_ml", "valved", "arm_history")
_HANDED_ON: Final = (
    "side",
    "area",
    "site_detail",
    "touch",
    "power",
    "catheter_volume_ml",
    "valved",
    "tip",
    "implanted_on",
    "model",
    "udi",
)
"""Facts of an implant that another stay's record supplies where this one is silent."""


def changed(known: Known, event: ev.Event) -> Known:
    """Return what is known after ``event``; the same object where it changes nothing."""
    match event.kind:
        case "patient facts":
            return Known(event.at, _patient(known.patient, event.__dict__), known.port)
        case "port facts":
            facts = event.__dict__
            given = {name: facts[name] for name in _OF_PORT if facts.get(name) is not None and _has(known.port, name)}
            tip = facts.get("tip")
            if tip is not None:
                given["tip"] = tip
            return Known(event.at, known.patient, known.port.model_copy(update=given)) if given else known
        case "port implanted" if event.__dict__.get("tip_location") is not None and known.port.tip is None:
            from lda_notes.record.parts import TipConfirmation

            tip = TipConfirmation(location=event.__dict__["tip_location"], method=event.__dict__.get("tip_method"))
            return Known(event.at, known.patient, known.port.model_copy(update={"tip": tip}))
        case _:
            return known


def _has(part: Any, name: str) -> bool:
    return name in type(part).model_fields


def _patient(patient: Patient, facts: dict[str, Any]) -> Patient:
    given: dict[str, Any] = {}
    added, withdrawn = facts.get("allergies") or (), facts.get("allergies_withdrawn") or ()
    if added or withdrawn:
        gone = {substance(one) for one in withdrawn}
        fresh = {substance(one) for one in added}
        kept = (one for one in patient.allergies or () if substance(one) not in gone | fresh)
        given["allergies"] = (*kept, *added)
    found = facts.get("history") or ()
    if found:
        names = {condition(one) for one in patient.history}
        given["history"] = (*patient.history, *(one for one in found if condition(one) not in names))
    for name in ("weight_kg", "room", "carer"):
        if facts.get(name) is not None and _has(patient, name):
            given[name] = facts[name]
    return patient.model_copy(update=given)


def substance(allergy: Any) -> str:
    """Return what an allergy is to."""
    return str(getattr(allergy, "substance", None) or getattr(allergy, "to", allergy))


def condition(entry: Any) -> str:
    """Return the condition of an entry of the history, written as a word or with the day it was found."""
    return str(getattr(entry, "condition", entry))


def dated(told: tuple[Known, ...], zone: ZoneInfo) -> tuple[Known, ...]:
    """Return the same, each condition known from the day on which it was found, where that is recorded."""
    days = {
        condition(one): one.found_on
        for known in told
        for one in known.patient.history
        if isinstance(one, Condition) and one.found_on is not None
    }
    if not days:
        return told
    found = {name: datetime.combine(day, time(), zone) for name, day in days.items()}
    moments = {known.since for known in told[1:] if known.since is not None} | set(found.values())
    made = [_without(told[0], None, frozenset(found))]
    for moment in sorted(moments):
        known = next((one for one in reversed(told[1:]) if one.since is not None and one.since <= moment), told[0])
        made.append(_without(known, moment, frozenset(name for name, since in found.items() if since > moment)))
    return tuple(made)


def _without(known: Known, since: datetime | None, unknown: frozenset[str]) -> Known:
    """Return what is known from ``since``, without conditions that were found later."""
    history = tuple(one for one in known.patient.history if condition(one) not in unknown)
    if len(history) == len(known.patient.history):
        return Known(since, known.patient, known.port)
    return Known(since, known.patient.model_copy(update={"history": history}), known.port)


def carried(episode: Episode, others: Sequence[Episode]) -> Episode:
    """Return ``episode`` with the facts of patient and port that only other records of the line state.

    A value of this record is never replaced; allergies and history are those of every record together, since nobody
    takes an allergy back by leaving it out.
    """
    known = Known(None, episode.patient, episode.port)
    for other in others:
        known = handed_on(known, None, other)
    return episode.model_copy(update={"patient": known.patient, "port": known.port})


def handed_on(known: Known, since: datetime | None, other: Episode) -> Known:
    """Return what is known from ``since``, when another record of the line is read too."""
    lacking = {name: getattr(other.port, name) for name in _HANDED_ON if getattr(known.port, name) is None}
    port = known.port.model_copy(update={name: value for name, value in lacking.items() if value is not None})
    return Known(since, _joined(known.patient, other.patient), port)


def _joined(patient: Patient, other: Patient) -> Patient:
    given: dict[str, Any] = {}
    if other.allergies:
        names = {substance(one) for one in patient.allergies or ()}
        more = tuple(one for one in other.allergies if substance(one) not in names)
        given["allergies"] = (*(patient.allergies or ()), *more)
    elif patient.allergies is None:
        given["allergies"] = other.allergies
    names = {condition(one) for one in patient.history}
    given["history"] = (*patient.history, *(one for one in other.history if condition(one) not in names))
    if patient.birth_date is None:
        given["birth_date"] = other.birth_date
    return patient.model_copy(update=given)
