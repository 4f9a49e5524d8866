"""The same bundles as FHIR R5 (5.0.0), a second output made from the R4 ones element by element.

R4 is the source; nothing is added but what R5 asks for. R5 has no patient in Device: each device brings a
DeviceAssociation that says whose it is. What R5 dropped is dropped: DocumentReference.context.related, a device
identifier without issuer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType
from typing import Final

from lda_notes.fhir.elements import Json, text_of
from lda_notes.fhir.build.naming import Names

_ASSOCIATION_STATUS: Final = "http://hl7.org/fhir/deviceassociation-status"
_TYPES: Final = {"DeviceUseStatement": "DeviceUsage"}
_PREFIX: Final = "urn:uuid:"


def _moved(resource: Json, names: Mapping[str, str]) -> Json:
    """The resource with elements under their R5 names, in place."""
    return {names.get(key, key): value for key, value in resource.items()}


def _concepts(concepts: list[Json]) -> list[Json]:
    return [{"concept": one} for one in concepts]


def _procedure(old: Json) -> Json:
    made = _moved(old, {"performedPeriod": "occurrencePeriod", "reasonCode": "reason"})
    if "category" in made:
        made["category"] = [made["category"]]
    if "reason" in made:
        made["reason"] = _concepts(made["reason"])
    used = [{"reference": one} for one in made.pop("usedReference", [])] + _concepts(made.pop("usedCode", []))
    if used:
        made["used"] = used
    return made


def _device(old: Json) -> Json:
    made: Json = {}
    for key, value in old.items():
        match key:
            case "deviceName":
                _name(value, made)
            case "type":
                made["type"] = [value]
            case "property":
                made["property"] = [one for row in value for one in _properties(row)]
            case "udiCarrier":
                whole = [one for one in value if "deviceIdentifier" in one and "issuer" in one]
                if whole:
                    made["udiCarrier"] = whole
            case "patient":
                pass  # told by the DeviceAssociation
            case _:
                made[key] = value
    return made


def _name(names: list[Json], made: Json) -> None:
    """R5 has fewer sorts of names: the model's is the model number, the port's own is an identifier."""
    for one in names:
        match one["type"]:
            case "user-friendly-name":
                made["name"] = [{"value": one["name"], "type": "user-friendly-name"}]
            case "model-name":
                made["modelNumber"] = one["name"]
            case _:
                own = {"type": {"text": "Name in the record"}, "value": one["name"]}
                made["identifier"] = [*made["identifier"], own]


def _properties(row: Json) -> Iterator[Json]:
    for quantity in row.get("valueQuantity", ()):
        yield {"type": row["type"], "valueQuantity": quantity}
    for said in row.get("valueCode", ()):
        yield {"type": row["type"], "valueCodeableConcept": said}


def _use(old: Json) -> Json:
    names = {"subject": "patient", "recordedOn": "dateAsserted", "source": "informationSource"}
    made = _moved(old, names) | {"resourceType": "DeviceUsage", "device": {"reference": old["device"]}}
    if "bodySite" in made:
        made["bodySite"] = {"concept": made["bodySite"]}
    return made


def _administration(old: Json) -> Json:
    names = {
        "medicationCodeableConcept": "medication",
        "context": "encounter",
        "effectiveDateTime": "occurenceDateTime",
        "effectivePeriod": "occurencePeriod",
        "reasonCode": "reason",
    }
    made = _moved(old, names)
    made["medication"] = {"concept": made["medication"]}
    made["performer"] = [{**one, "actor": {"reference": one["actor"]}} for one in made["performer"]]
    made["reason"] = _concepts(made["reason"])
    return made


def _task(old: Json) -> Json:
    made = dict(old)
    if "statusReason" in made:
        made["statusReason"] = {"concept": made["statusReason"]}
    return made


def _document(old: Json) -> Json:
    made = dict(old)
    who = made.pop("authenticator", None)
    if who is not None:
        made["attester"] = [{"mode": {"text": "professional"}, "time": made["date"], "party": who}]
    if "relatesTo" in made:
        made["relatesTo"] = [{**one, "code": {"text": one["code"]}} for one in made["relatesTo"]]
    context = made.pop("context")
    made["context"] = context["encounter"]
    made["period"] = context["period"]
    return made


def _provenance(old: Json) -> Json:
    made = _moved(old, {"reason": "authorization"})
    if "authorization" in made:
        made["authorization"] = _concepts(made["authorization"])
    return made


def _encounter(old: Json) -> Json:
    made = _moved(old, {"period": "actualPeriod"})
    made["class"] = [{"coding": [made["class"]]}]
    made["status"] = {"finished": "completed"}.get(made["status"], made["status"])
    return made


def _location(old: Json) -> Json:
    return _moved(old, {"physicalType": "form"})


_CHANGES: Final[Mapping[str, Callable[[Json], Json]]] = MappingProxyType(
    {
        "Procedure": _procedure,
        "Device": _device,
        "DeviceUseStatement": _use,
        "MedicationAdministration": _administration,
        "Task": _task,
        "DocumentReference": _document,
        "Provenance": _provenance,
        "Encounter": _encounter,
        "Location": _location,
    }
)
"""What changes from R4 to R5, by R4 type; the other types of ours are the same in both."""


def to_r5(bundle: Json, names: Names) -> Json:
    """An R4 transaction of ours as an R5 one; ``names`` makes the identities of the added associations."""
    entries: list[Json] = []
    for entry in bundle["entry"]:
        resource = entry["resource"]
        kind = resource["resourceType"]
        change = _CHANGES.get(kind)
        request = {**entry["request"], "url": _url(entry["request"]["url"], kind)}
        made = change(resource) if change is not None else resource
        if "profile" in made.get("meta", {}):  # the profiles that it claims are of R4
            made = {**made, "meta": {key: value for key, value in made["meta"].items() if key != "profile"}}
            if not made["meta"]:
                del made["meta"]
        entries.append({"fullUrl": entry["fullUrl"], "resource": made, "request": request})
        if kind == "Device" and "patient" in resource:
            entries.append(_association(entry, names))
    return {**bundle, "entry": entries}


def _url(url: str, kind: str) -> str:
    return url.replace(kind, _TYPES[kind], 1) if kind in _TYPES else url


def _association(entry: Json, names: Names) -> Json:
    """Whose the device is, created or updated together with it."""
    device = entry["resource"]
    name = names.of(f"association/{entry['fullUrl'].removeprefix(_PREFIX)}")
    resource: Json = {
        "resourceType": "DeviceAssociation",
        "identifier": names.identifier(name),
        "device": {"reference": entry["fullUrl"]},
        "status": {"coding": [{"system": _ASSOCIATION_STATUS, "code": _associated(device)}]},
        "subject": device["patient"],
    }
    condition = names.condition(name)
    request = (
        {"method": "PUT", "url": f"DeviceAssociation?{condition}"}
        if entry["request"]["method"] == "PUT"
        else {"method": "POST", "url": "DeviceAssociation", "ifNoneExist": condition}
    )
    return {"fullUrl": f"{_PREFIX}{name}", "resource": resource, "request": request}


def _associated(device: Json) -> str:
    """The R5 word for how a device is with the patient. R5 has none for a needle that was taken out: unknown.

    Codes: FHIR R5 5.0.0, CodeSystem deviceassociation-status.
    """
    if device["status"] == "entered-in-error":
        return "entered-in-error"
    if device["type"].get("text") == text_of("port"):
        return "implanted" if device["status"] == "active" else "explanted"
    is_needle = device["type"].get("text") == text_of("needle")
    return "attached" if is_needle and device["status"] == "active" else "unknown"
