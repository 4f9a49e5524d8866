"""Patient, staff, facility, unit and stay: resources that are not ours, for servers that lack them.

They are created on their own identifiers and never updated. What the record says of patient and stay and no
element of theirs can say travels in an extension of the Provenance: allergies and history (the facility's own list
holds them, with the status and dates that this record lacks), weight (an observation without its time), time zone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any, Final

from lda_notes.record import events as ev
from lda_notes.record.episode import Episode, PatientIdentifier
from lda_notes.fhir.codes import CODES, DATA_ABSENT_REASON, codeable, find
from lda_notes.fhir.elements import Json, day, period, plain
from lda_notes.fhir.build.frame import NOT_NAMED, Frame, patient_role, stay_role
from lda_notes.fhir.tokens import token
from lda_notes.record.parts import Person

_CLASSES: Final = {
    "inpatient": "IMP",
    "emergency": "EMER",
    "outpatient": "AMB",
    "procedure area": "AMB",
    "home": "HH",
}
RECORD_NUMBER: Final = "record number"


def _entry(kind: str, name: str, resource: Json, condition: str) -> Json:
    request = {"method": "POST", "url": kind, "ifNoneExist": f"identifier={condition}"}
    return {"fullUrl": f"urn:uuid:{name}", "resource": resource, "request": request}


def _identifier(one: PatientIdentifier) -> Json:
    made: Json = {"use": "old"} if one.replaced else {}
    if one.label is not None:
        made["type"] = codeable("record number", one.label) if one.label == RECORD_NUMBER else {"text": one.label}
    return made | {"system": one.system, "value": one.value}


def context_entries(frame: Frame, left: datetime | None) -> Iterator[Json]:
    """Patient, facility, unit, room and stay, in an order in which each follows what it refers to.

    ``left`` is when the patient was discharged.
    """
    yield _patient(frame)
    yield _facility(frame)
    yield from _places(frame)
    yield _stay(frame, left)


def _patient(frame: Frame) -> Json:
    patient = frame.episode.patient
    resource: Json = {
        "resourceType": "Patient",
        "identifier": [_identifier(one) for one in patient.identifiers],
        "name": [{"use": "official", "family": patient.family_name, "given": [patient.given_name]}],
    }
    if patient.birth_date is not None:
        resource["birthDate"] = day(patient.birth_date)
    first = patient.identifiers[0]
    return _entry("Patient", frame.names.of(patient_role(frame.episode)), resource, token(first.system, first.value))


def _facility(frame: Frame) -> Json:
    name = frame.episode.stay.facility
    system = frame.config.systems.facility
    resource = {"resourceType": "Organization", "identifier": [{"system": system, "value": name}], "name": name}
    return _entry("Organization", frame.names.of(f"facility/{name}"), resource, token(system, name))


def _places(frame: Frame) -> Iterator[Json]:
    stay = frame.episode.stay
    yield _place(frame, stay.unit, f"{stay.facility}/{stay.unit}", "unit")
    if stay.room is not None:
        yield _place(
            frame, stay.room, f"{stay.facility}/{stay.unit}/{stay.room}", "room", f"{stay.facility}/{stay.unit}"
        )


def _place(frame: Frame, name: str, number: str, sort: str, within: str | None = None) -> Json:
    system = frame.config.systems.place
    resource: Json = {
        "resourceType": "Location",
        "identifier": [{"system": system, "value": number}],
        "status": "active",
        "name": name,
        "mode": "instance",
        "physicalType": {"text": sort},
        "managingOrganization": frame.organization,
    }
    if within is not None:
        resource["partOf"] = {"reference": f"urn:uuid:{frame.names.of(f'place/{within}')}"}
    return _entry("Location", frame.names.of(f"place/{number}"), resource, token(system, number))


def _stay(frame: Frame, left: datetime | None) -> Json:
    episode = frame.episode
    stay = episode.stay
    name = frame.names.of(stay_role(frame.port_name, episode))
    visit = {"type": {"text": "Visit number"}, "system": frame.config.systems.visit, "value": episode.id}
    number = f"{stay.facility}/{stay.unit}" + (f"/{stay.room}" if stay.room is not None else "")
    resource: Json = {
        "resourceType": "Encounter",
        # Created on our own identity: another patient's stay may have the same number.
        "identifier": [visit, *frame.names.identifier(name)],
        "status": "finished" if left else "in-progress",
        "class": _class(stay.setting),
    }
    if stay.setting is not None:
        resource["type"] = [{"text": stay.setting}]
    resource["subject"] = frame.subject
    admitted = stay.admitted_at
    if left is not None and admitted is not None and left < admitted:
        left = None  # a contradiction that the checks name; R4 has no such period
    lasted = period(admitted, left)
    if lasted:
        resource["period"] = lasted
    resource["location"] = [{"location": {"reference": f"urn:uuid:{frame.names.of(f'place/{number}')}"}}]
    resource["serviceProvider"] = frame.organization
    return _entry("Encounter", name, resource, token(frame.names.system, name))


def _class(setting: str | None) -> Json:
    if setting is None:
        known = find(DATA_ABSENT_REASON, "unknown")
    else:
        known = next(code for code in CODES if code.code == _CLASSES[setting])
    assert known is not None
    return known.coding()


def people(events: Iterable[ev.Event]) -> dict[str, Person]:
    """Everybody with a staff identifier who wrote, verified or judged in one of the events, by that identifier."""
    found: dict[str, Person] = {}
    for event in events:
        for who in (event.by, event.verified_by):
            if who is not None and who.id:
                found.setdefault(who.id, who)
    return found


def practitioner(frame: Frame, who: Person) -> Json:
    """Somebody of the staff."""
    system = frame.config.systems.staff
    assert who.id is not None
    resource: Json = {
        "resourceType": "Practitioner",
        "identifier": [{"type": {"text": "Staff number"}, "system": system, "value": who.id}],
        "name": [{"text": who.name or NOT_NAMED}],
    }
    if who.credential is not None:
        resource["qualification"] = [{"code": {"text": who.credential}}]
    return _entry("Practitioner", frame.names.of(f"staff/{who.id}"), resource, token(system, who.id))


CARRIED_IN_CONTEXT: Final = {
    "patient": ("identifiers", "family_name", "given_name", "birth_date"),
    "stay": ("facility", "unit", "room", "setting", "admitted_at"),
}
"""What Patient, Organization, Location and Encounter carry, so that the extension leaves it out."""


def leftover(episode: Episode, *, with_context: bool) -> dict[str, Any]:
    """What the record says of patient and stay and no resource of the bundle carries."""
    held: dict[str, Any] = {"patient": plain(episode.patient), "stay": plain(episode.stay)}
    if with_context:
        for part, fields in CARRIED_IN_CONTEXT.items():
            for field in fields:
                held[part].pop(field, None)
    return held
