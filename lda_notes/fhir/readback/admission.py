"""Patient, stay and port out of a FHIR R4 bundle of Patient, Encounter and Device, as far as they say it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, Final, get_args

from lda_notes.files.system import contents
from lda_notes.problems import Failure
from lda_notes.record import vocabulary as words

_CLASSES: Final = {
    "IMP": "inpatient",
    "ACUTE": "inpatient",
    "NONAC": "inpatient",
    "EMER": "emergency",
    "AMB": "outpatient",
    "HH": "home",
}
"""Settings by the codes of Encounter.class (HL7 v3 ActCode, from memory)."""

_PORT_CODE: Final = "398013009"
_MOST_BYTES: Final = 20 * 1024 * 1024

Json = Mapping[str, Any]


def read(path: Path) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return the facts of patient, stay and port, and sentences on what was not taken.

    Raises `Failure` when the file is not a bundle, or does not name one patient.
    """
    try:
        raw = contents(path, _MOST_BYTES + 1)
        data = json.loads(raw) if len(raw) <= _MOST_BYTES else None
    except OSError as error:
        raise Failure(f"{path}: cannot be read ({error.strerror}); check the name and the permissions") from None
    except (ValueError, RecursionError):
        data = None
    if not isinstance(data, dict) or data.get("resourceType") != "Bundle":
        raise Failure(f"{path}: is no FHIR bundle in JSON; give one with a Patient, an Encounter and a Device")
    entries = [entry for entry in _list(data, "entry") if isinstance(entry.get("resource"), dict)]
    by_address = {entry["fullUrl"]: entry["resource"] for entry in entries if isinstance(entry.get("fullUrl"), str)}
    resources = [entry["resource"] for entry in entries]
    for one in (one for one in resources if isinstance(one.get("id"), str)):
        by_address[f"{one.get('resourceType')}/{one.get('id')}"] = one
    patients = [one for one in resources if one.get("resourceType") == "Patient"]
    if len(patients) != 1:
        raise Failure(f"{path}: contains {len(patients)} patients; a record is about one")
    notes: list[str] = []
    stays = [one for one in resources if one.get("resourceType") == "Encounter"]
    ports = [one for one in resources if one.get("resourceType") == "Device" and _is_port(one)]
    if len(stays) > 1 or len(ports) > 1:
        notes.append(f"The bundle contains {len(stays)} stays and {len(ports)} ports; the last of each was taken.")
    found: dict[str, Any] = {"patient": _patient(patients[0])}
    if stays:
        found["stay"] = _stay(stays[-1], by_address)
    if ports:
        found["port"] = _port(ports[-1], notes)
    else:
        notes.append("The bundle contains no implanted port.")
    return {key: value for key, value in found.items() if value}, tuple(notes)


def _list(data: Any, key: str) -> list[Any]:
    value = data.get(key) if isinstance(data, Mapping) else None
    return [item for item in value if isinstance(item, Mapping)] if isinstance(value, list) else []


def _text(value: Any) -> str | None:
    return value.strip() or None if isinstance(value, str) else None


def _kept(facts: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in facts.items() if value not in (None, [], {})}


def _patient(patient: Json) -> dict[str, Any]:
    identifiers = []
    for one in _list(patient, "identifier"):
        kind = one.get("type")
        label = _text(kind.get("text")) if isinstance(kind, Mapping) else None
        row = _kept({"system": _text(one.get("system")), "value": _text(one.get("value")), "label": label})
        if {"system", "value"} <= row.keys():
            identifiers.append(row)
    names = _list(patient, "name")
    official = next((name for name in names if name.get("use") == "official"), names[0] if names else {})
    given = official.get("given")
    return _kept(
        {
            "identifiers": identifiers,
            "family_name": _text(official.get("family")),
            "given_name": " ".join(str(part) for part in given) if isinstance(given, list) else None,
            "birth_date": _day(patient.get("birthDate")),
        }
    )


def _day(value: Any) -> str | None:
    """Return a whole date; FHIR dates may be a year or a month alone, which the record has no place for."""
    try:
        return datetime.fromisoformat(str(value)).date().isoformat() if len(str(value)) == 10 else None
    except ValueError:
        return None


def _stay(stay: Json, by_address: Mapping[str, Json]) -> dict[str, Any]:
    places = [one.get("location") for one in _list(stay, "location")]
    where = _resolved(places[-1], by_address) if places else {}
    around = _resolved(where.get("partOf"), by_address)
    unit, room = (around, where) if around else (where, {})
    provider = _resolved(stay.get("serviceProvider"), by_address)
    period = stay.get("period")
    start = period.get("start") if isinstance(period, Mapping) else None
    setting = next((kind.get("text") for kind in _list(stay, "type")), None)
    code = stay.get("class")
    coded = _CLASSES.get(str(code.get("code"))) if isinstance(code, Mapping) else None
    return _kept(
        {
            "facility": _called(provider),
            "unit": _called(unit),
            "room": _called(room),
            "setting": setting if setting in get_args(words.Setting) else coded,
            "admitted_at": start if isinstance(start, str) and len(start) > 10 else None,
        }
    )


def _resolved(reference: Any, by_address: Mapping[str, Json]) -> Json:
    """Return the resource that a reference means; the reference itself, which may carry a name, where it is absent."""
    if not isinstance(reference, Mapping):
        return {}
    address = reference.get("reference")
    return by_address.get(address, reference) if isinstance(address, str) else reference


def _called(one: Json) -> str | None:
    return _text(one.get("name")) or _text(one.get("display"))


def _is_port(device: Json) -> bool:
    return any(coding.get("code") == _PORT_CODE for coding in _codings(device)) or "port" in _words_of(device).split()


def _codings(device: Json) -> Iterator[Json]:
    kind = device.get("type")
    yield from _list(kind, "coding")


def _words_of(device: Json) -> str:
    kind = device.get("type")
    said = [kind.get("text") if isinstance(kind, Mapping) else None, *(c.get("display") for c in _codings(device))]
    return " ".join(str(one) for one in said if one).casefold()


def _port(device: Json, notes: list[str]) -> dict[str, Any]:
    from lda_notes.fhir.readback.parts import Remarks, read_port

    remarks = Remarks()
    try:
        found = read_port(dict(device), remarks)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError):
        notes.append("The port's properties could not be read; they are asked.")
        found = {}
    notes.extend(remarks.said)
    return _kept(found)
