"""Patient, staff, facility, unit and stay: resources that are not ours, for servers that lack them.

They are created on their own identifiers; the stay alone is updated, since it moves and ends.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Final

from lda_notes.fhir.build.frame import NOT_NAMED, Frame, patient_role, place_number, stay_role
from lda_notes.fhir.codes import CODES, DATA_ABSENT_REASON, find
from lda_notes.fhir.concepts import codeable
from lda_notes.fhir.elements import Json, day, filled, period
from lda_notes.fhir.tokens import token
from lda_notes.line.states import UnitStay
from lda_notes.record import events as ev
from lda_notes.record.episode import PatientIdentifier
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


def context_entries(frame: Frame) -> Iterator[Json]:
    """Patient and facility, which everything refers to."""
    yield _patient(frame)
    yield _facility(frame)


def places(frame: Frame, units: Iterable[UnitStay]) -> dict[str, Json]:
    """Return every unit and room of a stay as an entry, by its address in a bundle; a room after its unit."""
    made = (entry for unit in units for entry in _places(frame, unit))
    return {entry["fullUrl"]: entry for entry in made}


def _patient(frame: Frame) -> Json:
    patient = frame.episode.patient
    resource = filled(
        {
            "resourceType": "Patient",
            "identifier": [_identifier(one) for one in patient.identifiers],
            "name": [{"use": "official", "family": patient.family_name, "given": [patient.given_name]}],
            "birthDate": patient.birth_date and day(patient.birth_date),
        }
    )
    first = patient.identifiers[0]
    return _entry("Patient", frame.names.of(patient_role(frame.episode)), resource, token(first.system, first.value))


def _facility(frame: Frame) -> Json:
    name = frame.episode.stay.facility
    system = frame.config.systems.facility
    resource = {"resourceType": "Organization", "identifier": [{"system": system, "value": name}], "name": name}
    return _entry("Organization", frame.names.of(f"facility/{name}"), resource, token(system, name))


def _places(frame: Frame, where: UnitStay) -> Iterator[Json]:
    unit = place_number(frame.episode, where.unit)
    yield _place(frame, where.unit, unit, "unit")
    if where.room is not None:
        yield _place(frame, where.room, place_number(frame.episode, where.unit, where.room), "room", unit)


def _place(frame: Frame, name: str, number: str, sort: str, within: str | None = None) -> Json:
    system = frame.config.systems.place
    resource = filled(
        {
            "resourceType": "Location",
            "identifier": [{"system": system, "value": number}],
            "status": "active",
            "name": name,
            "mode": "instance",
            "physicalType": {"text": sort},
            "managingOrganization": frame.organization,
            "partOf": within and {"reference": f"urn:uuid:{frame.names.of(f'place/{within}')}"},
        }
    )
    return _entry("Location", frame.names.of(f"place/{number}"), resource, token(system, number))


def stay_name(frame: Frame) -> str:
    """Return the identity of the stay."""
    return frame.names.of(stay_role(frame.port_name, frame.episode))


def stay(frame: Frame, units: Sequence[UnitStay], left: datetime | None) -> Json:
    """Return the stay: where the patient was one unit after the other, and whether it has ended (``left``)."""
    episode = frame.episode
    visit = {"type": {"text": "Visit number"}, "system": frame.config.systems.visit, "value": episode.id}
    admitted = episode.stay.admitted_at
    if left is not None and admitted is not None and left < admitted:
        lasted = period(admitted, None)  # a contradiction that the checks name; R4 has no such period
    else:
        lasted = period(admitted, left)
    return filled(
        {
            "resourceType": "Encounter",
            # Found by our own identity: another patient's stay may have the same number.
            "identifier": [visit, *frame.names.identifier(stay_name(frame))],
            "status": "finished" if left else "in-progress",
            "class": _class(units[-1].setting or episode.stay.setting),
            "type": episode.stay.setting and [{"text": episode.stay.setting}],
            "subject": frame.subject,
            "period": lasted,
            "location": [_where(frame, unit) for unit in units],
            "serviceProvider": frame.organization,
        }
    )


def _where(frame: Frame, unit: UnitStay) -> Json:
    number = place_number(frame.episode, unit.unit, unit.room)
    return filled(
        {
            "location": {"reference": f"urn:uuid:{frame.names.of(f'place/{number}')}"},
            "status": "active" if unit.until is None else "completed",
            "period": period(unit.since, unit.until),
        }
    )


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
    resource = filled(
        {
            "resourceType": "Practitioner",
            "identifier": [{"type": {"text": "Staff number"}, "system": system, "value": who.id}],
            "name": [{"text": who.name or NOT_NAMED}],
            "qualification": who.credential and [{"code": {"text": who.credential}}],
        }
    )
    return _entry("Practitioner", frame.names.of(f"staff/{who.id}"), resource, token(system, who.id))
