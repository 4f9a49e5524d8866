"""The patient's background: allergies, history, weight; and the List of what it began with.

Allergies become AllergyIntolerances, conditions Conditions, the weight an Observation without a time, as the record has
it. The List refers to those that the record began with, in its order, and says of patient and stay what no resource of
the bundle carries: their own resources belong to the facility and are referred to, not sent.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from lda_notes.fhir.build.frame import Frame
from lda_notes.fhir.build.scene import Made
from lda_notes.fhir.elements import Json, concept, day, filled, moment, quantity
from lda_notes.line.corrections import Entry
from lda_notes.line.timeline import Timeline
from lda_notes.record.episode import Episode
from lda_notes.record.events import PatientFacts
from lda_notes.record.parts import Allergy, AllergyWithdrawn, Condition

PATIENT_AND_STAY: Final = "patient-and-stay"
"""Name of our own extension of the List."""

DATA_ABSENT: Final = "http://hl7.org/fhir/StructureDefinition/data-absent-reason"
WITHDRAWN: Final = "Withdrawn: "


@dataclass(frozen=True, slots=True)
class Fact:
    """A fact of the patient: which resource says it, which event recorded it (None: the record), which withdrew it."""

    name: str
    told: Allergy | str | Condition
    by: Entry | None = None
    withdrawn: Entry | None = None
    why: AllergyWithdrawn | None = None


def facts(frame: Frame, timeline: Timeline) -> Iterator[Fact]:
    """Yield every allergy and condition, as the record began with it or as an event recorded it."""
    episode = frame.episode
    standing: dict[str, Fact] = {}
    done: list[Fact] = []
    for index, allergy in enumerate(episode.patient.allergies or ()):
        _add(standing, done, _key(allergy), Fact(_begun(frame, "allergy", index), allergy))
    for index, one in enumerate(episode.patient.history):
        _add(standing, done, f"condition {_condition(one)}", Fact(_begun(frame, "condition", index), one))
    for entry in timeline.entries:
        event = entry.event
        if not isinstance(event, PatientFacts):
            continue
        for gone in event.allergies_withdrawn:
            for key in [key for key, fact in standing.items() if _is_of(fact, gone)]:
                fact = standing.pop(key)
                done.append(Fact(fact.name, fact.told, fact.by, entry, gone))
        for index, allergy in enumerate(event.allergies):
            standing.setdefault(_key(allergy), Fact(_told(frame, entry, "allergy", index), allergy, entry))
        for index, one in enumerate(event.history):
            standing.setdefault(
                f"condition {_condition(one)}", Fact(_told(frame, entry, "condition", index), one, entry)
            )
    yield from done
    yield from standing.values()


def _add(standing: dict[str, Fact], done: list[Fact], key: str, fact: Fact) -> None:
    """Keep a fact of the record; one that is listed twice keeps a resource of its own, as the record lists it."""
    if key in standing:
        done.append(fact)
    else:
        standing[key] = fact


def _key(allergy: Allergy) -> str:
    return f"allergy {allergy.substance} {allergy.detail}"


def _is_of(fact: Fact, gone: AllergyWithdrawn) -> bool:
    return isinstance(fact.told, Allergy) and fact.told.substance == gone.substance


def _condition(one: str | Condition) -> str:
    return one.condition if isinstance(one, Condition) else one


def _begun(frame: Frame, what: str, index: int) -> str:
    return frame.record_name(f"{what}-{index + 1}")


def _told(frame: Frame, entry: Entry, what: str, index: int) -> str:
    return frame.event_name(entry.event.id, f"{what}-{index + 1}")


def resource(frame: Frame, fact: Fact, *, closed: bool) -> Made:
    """Return the resource of a fact, as it was recorded or, with ``closed``, as it now stands."""
    if isinstance(fact.told, Allergy):
        return Made(fact.name, _allergy(frame, fact, fact.told, closed=closed), ())
    found = fact.told.found_on if isinstance(fact.told, Condition) else None
    made = {
        "resourceType": "Condition",
        "identifier": frame.names.identifier(fact.name),
        "code": frame.say.word(_condition(fact.told)),
        "subject": frame.subject,
        "encounter": frame.encounter,
        "onsetDateTime": found and day(found),
        **_by(frame, fact),
    }
    return Made(fact.name, filled(made), ())


def _allergy(frame: Frame, fact: Fact, allergy: Allergy, *, closed: bool) -> Json:
    gone = closed and fact.withdrawn is not None
    why = fact.why.reason if gone and fact.why is not None else None
    return filled(
        {
            "resourceType": "AllergyIntolerance",
            "identifier": frame.names.identifier(fact.name),
            "clinicalStatus": concept("allergy inactive" if gone else "allergy active"),
            "verificationStatus": concept("allergy refuted") if gone else None,
            "code": {**frame.say.word(allergy.substance), "text": allergy.detail or allergy.substance},
            "patient": frame.subject,
            **_by(frame, fact),
            "note": None if why is None else [{"text": WITHDRAWN + why}],
            "reaction": allergy.reaction and [{"manifestation": [{"text": allergy.reaction}]}],
        }
    )


def _by(frame: Frame, fact: Fact) -> Json:
    """Return who recorded a fact and when; of what the record began with, nobody wrote that down."""
    if fact.by is None:
        return {}
    return {"recordedDate": moment(fact.by.event.at), "recorder": frame.person(fact.by.event.by)}


def none_known(frame: Frame) -> Made | None:
    """That no allergy is known, where the record began by saying so."""
    if frame.episode.patient.allergies != ():
        return None
    name = _begun(frame, "no-allergy", 0)
    made: Json = {
        "resourceType": "AllergyIntolerance",
        "identifier": frame.names.identifier(name),
        "clinicalStatus": concept("allergy active"),
        "code": frame.say.concept("no known allergy"),
        "patient": frame.subject,
    }
    return Made(name, made, ())


def weight(frame: Frame) -> Made | None:
    """Return the weight that the record began with; when it was measured is not recorded."""
    kilograms = frame.episode.patient.weight_kg
    if kilograms is None:
        return None
    name = _begun(frame, "weight", 0)
    made: Json = {
        "resourceType": "Observation",
        "identifier": frame.names.identifier(name),
        "status": "final",
        "category": [concept("vital signs")],
        "code": frame.say.concept("weight"),
        "subject": frame.subject,
        "encounter": frame.encounter,
        "_effectiveDateTime": {"extension": [{"url": DATA_ABSENT, "valueCode": "unknown"}]},
        "performer": [frame.organization],
        "valueQuantity": quantity(kilograms, "kg"),
    }
    return Made(name, made, ())


def record_list(frame: Frame, *, with_context: bool) -> Made:
    """Return the List of what the record began with."""
    patient = frame.episode.patient
    name = frame.record_name("began-with")
    entries = [("AllergyIntolerance", _begun(frame, "allergy", index)) for index in range(len(patient.allergies or ()))]
    entries += [("Condition", _begun(frame, "condition", index)) for index in range(len(patient.history))]
    if patient.allergies == ():
        entries.append(("AllergyIntolerance", _begun(frame, "no-allergy", 0)))
    if patient.weight_kg is not None:
        entries.append(("Observation", _begun(frame, "weight", 0)))
    made: Json = {
        "resourceType": "List",
        "extension": [_patient_and_stay(frame, with_context=with_context)],
        "identifier": frame.names.identifier(name),
        "status": "current",
        "mode": "snapshot",
        "code": frame.say.concept("port record"),
        "subject": frame.subject,
        "encounter": frame.encounter,
    }
    made["entry"] = [{"item": frame.elsewhere(kind, one)} for kind, one in entries]
    return Made(name, filled(made), ())


def _patient_and_stay(frame: Frame, *, with_context: bool) -> Json:
    episode = frame.episode
    parts: list[Json] = [_part("time-zone", "String", episode.stay.time_zone)]
    if not with_context:
        parts += list(_not_sent(episode))
    return {"url": f"{frame.config.extensions}/{PATIENT_AND_STAY}", "extension": parts}


def _part(url: str, kind: str, value: Any) -> Json:
    return {"url": url, f"value{kind}": value}


def _not_sent(episode: Episode) -> Iterator[Json]:
    """Yield what Patient, Organization, Location and Encounter carry when they are sent."""
    patient, stay = episode.patient, episode.stay
    for one in patient.identifiers:
        made: Json = {"use": "old"} if one.replaced else {}
        if one.label is not None:
            made["type"] = {"text": one.label}
        yield _part("identifier", "Identifier", made | {"system": one.system, "value": one.value})
    yield _part("name", "HumanName", {"family": patient.family_name, "given": [patient.given_name]})
    if patient.birth_date is not None:
        yield _part("birth-date", "Date", day(patient.birth_date))
    for name in ("facility", "unit", "room", "setting"):
        if getattr(stay, name) is not None:
            yield _part(name, "String", getattr(stay, name))
    if stay.admitted_at is not None:
        yield _part("admitted-at", "DateTime", moment(stay.admitted_at))
