"""Correct bundles with one fault each. Every row was written from the FHIR R4 specification, not from the checks.

A mutant is (name, bundle, where, path, change, what the specification or our own profile says). ``where`` picks a
resource by type and, after ``#``, by its number among that type; ``entry Type`` picks its bundle entry and
``bundle`` the bundle itself. ``path`` is dotted, with list positions as numbers; the change is a new value, DROP,
or a function from the old value to the new one.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

DATA = Path(__file__).parent / "data"
DROP: Final = object()
UUID_NOWHERE = "urn:uuid:00000000-0000-5000-8000-000000000000"
SCT = "http://snomed.info/sct"
XHTML = "http://www.w3.org/1999/xhtml"


@dataclass(frozen=True)
class Mutant:
    name: str
    bundle: str
    where: str
    path: str
    change: Any
    says: str

    def resource_type(self) -> str:
        return "Bundle" if self.where == "bundle" else self.where.removeprefix("entry ").split("#")[0]

    def entry_index(self) -> int | None:
        """Which entry is at fault; None for the bundle itself."""
        bundle = load(self.bundle)
        if self.where == "bundle":
            return None
        picked = _pick(bundle, self.where)
        return next(i for i, entry in enumerate(bundle["entry"]) if picked is entry or picked is entry["resource"])

    def make(self) -> Any:
        """The bundle with its one fault; raises when the path does not fit, so that no mutant is a no-op."""
        bundle = load(self.bundle)
        steps: list[str | int] = [int(s) if s.isdigit() else s for s in self.path.split(".")]
        holder = _pick(bundle, self.where)
        for step in steps[:-1]:
            holder = holder[step]
        last = steps[-1]
        if self.change is DROP:
            del holder[last]
        elif callable(self.change):
            holder[last] = self.change(holder[last])
        else:
            holder[last] = self.change
        if bundle == load(self.bundle):
            raise AssertionError(f"{self.name} changes nothing")
        return bundle


def load(name: str) -> Any:
    """A correct bundle, new each time."""
    return json.loads((DATA / f"{name}.json").read_text())


def _pick(bundle: Any, where: str) -> Any:
    if where == "bundle":
        return bundle
    kind, _, number = where.removeprefix("entry ").partition("#")
    entries = [entry for entry in bundle["entry"] if entry["resource"]["resourceType"] == kind]
    entry = entries[int(number or 0)]
    return entry if where.startswith("entry ") else entry["resource"]


def _twice(items: list[Any]) -> list[Any]:
    return [*items, copy.deepcopy(items[0])]


def _same_identity(entries: list[Any]) -> list[Any]:
    """One more entry under its own fullUrl that is another's double by identifier."""
    return [*entries, {**copy.deepcopy(entries[0]), "fullUrl": UUID_NOWHERE}]


def _swap_ends(period: dict[str, str]) -> dict[str, str]:
    return {"start": period["end"], "end": period["start"]}


def _in_list(value: Any) -> list[Any]:
    return [value]


def _first(values: list[Any]) -> Any:
    return values[0]


def _and(**more: Any) -> Callable[[dict[str, Any]], dict[str, Any]]:
    return lambda old: {**old, **more}


def _quantity(value: Any, code: str, unit: str) -> dict[str, Any]:
    return {"value": value, "unit": unit, "system": "http://unitsofmeasure.org", "code": code}


def _narrative(div: str) -> dict[str, str]:
    return {"status": "generated", "div": div}


M = Mutant
WRITTEN_BLIND: Final[tuple[Mutant, ...]] = (
    # -- Bundle ---------------------------------------------------------------------------------------------------
    M("bundle type not in the list", "access", "bundle", "type", "txn", "Bundle.type: required binding"),
    M("bundle without type", "access", "bundle", "type", DROP, "Bundle.type 1..1"),
    M("bundle of type collection with requests", "access", "bundle", "type", "collection", "bdl-3"),
    M("bundle with total", "access", "bundle", "total", 17, "bdl-1"),
    M("bundle under another name", "access", "bundle", "resourceType", "Bundel", "resourceType"),
    M("bundle with unknown element", "access", "bundle", "entries", [], "unknown element"),
    M("bundle timestamp without zone", "access", "bundle", "timestamp", "2031-03-04T09:58:00", "instant"),
    M("entry as an object", "access", "bundle", "entry", _first, "Bundle.entry 0..*"),
    M("entry list empty", "access", "bundle", "entry", [], "an array is never empty"),
    M("entry without request", "access", "entry Task", "request", DROP, "bdl-3"),
    M("entry with search", "access", "entry Task", "search", {"mode": "match"}, "bdl-2"),
    M("entry with response", "access", "entry Task", "response", {"status": "201"}, "bdl-4"),
    M("entry without fullUrl", "access", "entry Device#1", "fullUrl", DROP, "referred to by urn:uuid"),
    M("entry without resource", "access", "entry Provenance", "resource", DROP, "nothing to create"),
    M("same fullUrl twice", "access", "bundle", "entry", _twice, "bdl-7"),
    M("fullUrl of a version", "access", "entry Task", "fullUrl", "https://example.org/Task/1/_history/2", "bdl-8"),
    M("fullUrl uuid in capitals", "access", "entry Provenance", "fullUrl", str.upper, "urn:uuid is lower case"),
    M("fullUrl no uuid", "access", "entry Provenance", "fullUrl", "urn:uuid:1234", "uuid regex"),
    M("method not in the list", "access", "entry Task", "request.method", "CREATE", "request.method binding"),
    M("method missing", "access", "entry Task", "request.method", DROP, "request.method 1..1"),
    M("request url missing", "access", "entry Task", "request.url", DROP, "request.url 1..1"),
    M("request url of another type", "access", "entry Task", "request.url", "Procedure", "url names the type"),
    M("request url with a space", "access", "entry Task", "request.url", "Task ", "uri has no space"),
    M("unconditional create", "access", "entry Task", "request.ifNoneExist", DROP, "profile: sent twice"),
    M(
        "create condition on another identity",
        "access",
        "entry Task",
        "request.ifNoneExist",
        "identifier=https://example.org/lda-notes/identifier|other",
        "profile: identity",
    ),
    M(
        "create condition without system",
        "access",
        "entry Task",
        "request.ifNoneExist",
        lambda old: "identifier=" + old.split("|")[1],
        "profile: identity",
    ),
    M("unconditional update", "deaccess", "entry Task", "request.url", "Task", "PUT needs a condition"),
    M(
        "update of another identity",
        "deaccess",
        "entry Task",
        "request.url",
        "Task?identifier=https://example.org/lda-notes/identifier|other",
        "profile: identity",
    ),
    M("two entries for one identity", "access", "bundle", "entry", _same_identity, "profile: one identity once"),
    M("resource with id in a create", "access", "Task", "id", "task-1", "profile: no id on POST"),
    M("unknown resource type", "access", "Task", "resourceType", "Tusk", "resourceType"),
    M("name of an R5 resource", "access", "DeviceUseStatement", "resourceType", "DeviceUsage", "R5 name"),
    # -- Procedure ------------------------------------------------------------------------------------------------
    M("procedure status not in the list", "access", "Procedure", "status", "done", "required binding"),
    M("procedure without status", "access", "Procedure", "status", DROP, "1..1"),
    M("procedure without subject", "access", "Procedure", "subject", DROP, "1..1"),
    M("procedure subject as list", "access", "Procedure", "subject", _in_list, "0..1 is no array"),
    M("procedure performer as object", "access", "Procedure", "performer", _first, "0..* is an array"),
    M("procedure performer without actor", "access", "Procedure", "performer.0.actor", DROP, "actor 1..1"),
    M("procedure ends before it starts", "access", "Procedure", "performedPeriod", _swap_ends, "per-1"),
    M("procedure with two times", "access", "Procedure", "performedDateTime", "2031-03-04", "performed[x] 0..1"),
    M("procedure with R5 time", "access", "Procedure", "occurrencePeriod", {"start": "2031-03-04"}, "R5 name"),
    M(
        "procedure used needle is a patient",
        "access",
        "Procedure",
        "usedReference.0.reference",
        "Patient/example-patient",
        "usedReference: Device, Medication, Substance",
    ),
    M(
        "procedure used needle nowhere",
        "access",
        "Procedure",
        "usedReference.0.reference",
        UUID_NOWHERE,
        "urn:uuid resolves in the bundle",
    ),
    M(
        "procedure subject an observation in the bundle",
        "access",
        "Procedure",
        "subject.reference",
        lambda _: load("access")["entry"][4]["fullUrl"],
        "subject: Patient or Group",
    ),
    M("procedure focal device without target", "access", "Procedure", "focalDevice.0.manipulated", DROP, "1..1"),
    M("procedure reference badly formed", "access", "Procedure", "subject.reference", "Patient/", "literal"),
    M("procedure reference empty object", "access", "Procedure", "recorder", {}, "ele-1"),
    M("procedure code empty object", "access", "Procedure", "code", {}, "ele-1"),
    M("procedure note empty list", "access", "Procedure", "note", [], "an array is never empty"),
    M("procedure note text missing", "access", "Procedure", "note.0.text", DROP, "Annotation.text 1..1"),
    M("procedure code text empty", "access", "Procedure", "code.text", "", "string is never empty"),
    M("procedure body site null", "access", "Procedure", "bodySite", None, "null is no value"),
    M(
        "dressing code with impossible digits",
        "with_context",
        "Procedure",
        "code.coding.0.code",
        "18949004",
        "SNOMED CT check digit",
    ),
    M(
        "dressing code with the wrong display",
        "with_context",
        "Procedure",
        "code.coding.0.display",
        "Removal of dressing",
        "display of the code",
    ),
    M("code system no absolute uri", "with_context", "Procedure", "code.coding.0.system", "snomed", "absolute"),
    M("procedure not done without reason", "with_context", "Procedure#2", "statusReason", DROP, "profile: identity"),
    M("procedure done without time", "access", "Procedure", "performedPeriod", DROP, "us-core-7"),
    M("reason with unverified code", "access", "Procedure", "reasonCode.0.coding.0.code", "Z45.9", "codes.py"),
    # -- Device ---------------------------------------------------------------------------------------------------
    M("device status not in the list", "access", "Device#1", "status", "used", "required binding"),
    M("udi entry type not in the list", "access", "Device#1", "udiCarrier.0.entryType", "scan", "binding"),
    M("device name without type", "access", "Device#1", "deviceName.0.type", DROP, "1..1"),
    M("device expiry on a day that is not", "access", "Device#1", "expirationDate", "2032-02-30", "calendar"),
    M("device expiry an american date", "access", "Device#1", "expirationDate", "07/31/2032", "dateTime regex"),
    M(
        "gauge as a quantity",
        "access",
        "Device#1",
        "property.0",
        lambda old: {"type": old["type"], "valueQuantity": [_quantity(20, "G", "gauge")]},
        "G is gauss in UCUM",
    ),
    M(
        "needle length in mL",
        "access",
        "Device#1",
        "property.1.valueQuantity.0",
        _quantity(19, "mL", "mL"),
        "a length is in mm",
    ),
    M(
        "needle length in inches of no code",
        "access",
        "Device#1",
        "property.1.valueQuantity.0.code",
        "inch",
        "closed list of units",
    ),
    M("device property without type", "access", "Device#1", "property.0.type", DROP, "1..1"),
    M("port with unverified code", "access", "Device", "type.coding.0.code", "360043002", "codes.py"),
    M("device patient a practitioner", "access", "Device", "patient.reference", "Practitioner/x", "Patient"),
    M("identifier use not in the list", "access", "Device", "identifier.0.use", "main", "required binding"),
    M("identifier system no uri", "access", "Device", "identifier.0.system", "our ids", "uri"),
    M("identifier system relative", "access", "Device", "identifier.0.system", "ids", "absolute reference"),
    M("device carrier in base64 not base64", "access", "Device#1", "udiCarrier.0.carrierAIDC", "a=b", "base64"),
    M("device with R5 name", "access", "Device#1", "name", [{"value": "needle", "type": "other"}], "R5 name"),
    # -- DeviceUseStatement ---------------------------------------------------------------------------------------
    M("use without device", "access", "DeviceUseStatement", "device", DROP, "1..1"),
    M("use status not in the list", "access", "DeviceUseStatement", "status", "in-use", "required binding"),
    M(
        "use of a procedure",
        "access",
        "DeviceUseStatement",
        "device.reference",
        lambda _: load("access")["entry"][3]["fullUrl"],
        "device: Device",
    ),
    M("use ends before it starts", "deaccess", "DeviceUseStatement", "timingPeriod", _swap_ends, "per-1"),
    M("use with two timings", "access", "DeviceUseStatement", "timingDateTime", "2031-03-04", "timing[x] 0..1"),
    M(
        "use derived from a device",
        "access",
        "DeviceUseStatement",
        "derivedFrom.0.reference",
        "Device/d",
        "derivedFrom: ServiceRequest, Procedure, Claim, Observation, ...",
    ),
    M(
        "completed use without end",
        "deaccess",
        "DeviceUseStatement",
        "timingPeriod.end",
        DROP,
        "profile: what is emitted",
    ),
    # -- Observation ----------------------------------------------------------------------------------------------
    M("observation status not in the list", "access", "Observation", "status", "done", "required binding"),
    M("observation without code", "access", "Observation", "code", DROP, "1..1"),
    M(
        "observation with value and absence",
        "access",
        "Observation",
        "dataAbsentReason",
        {"text": "Not known"},
        "obs-6",
    ),
    M("observation with neither", "access", "Observation#1", "valueQuantity", DROP, "profile: element choices"),
    M("observation with two values", "access", "Observation#2", "valueString", "two", "value[x] 0..1"),
    M("observation value under the bare name", "access", "Observation#2", "value", 2, "value[x]"),
    M("pain as text", "access", "Observation#2", "valueInteger", "2", "integer is a number"),
    M("pain as a fraction", "access", "Observation#2", "valueInteger", 2.5, "integer"),
    M("pain as true", "access", "Observation#2", "valueInteger", True, "integer"),
    M(
        "pain code with impossible digits",
        "access",
        "Observation#2",
        "code.coding.0.code",
        "72514-4",
        "LOINC check digit",
    ),
    M("waste volume in mg", "access", "Observation#1", "valueQuantity", _quantity(5, "mg", "mg"), "volume"),
    M("waste volume in megalitres", "access", "Observation#1", "valueQuantity.code", "ML", "case"),
    M("waste volume in cc", "access", "Observation#1", "valueQuantity", _quantity(5, "cc", "cc"), "no such code"),
    M("waste volume code without system", "access", "Observation#1", "valueQuantity.system", DROP, "qty-3"),
    M("waste volume as text", "access", "Observation#1", "valueQuantity.value", "5", "decimal is a number"),
    M("waste volume below none", "access", "Observation#1", "valueQuantity.value", -5, "a volume is not negative"),
    M("comparator not in the list", "access", "Observation#1", "valueQuantity.comparator", "about", "binding"),
    M("component without code", "access", "Observation#3", "component.0.code", DROP, "1..1"),
    M(
        "component with value and absence",
        "access",
        "Observation#3",
        "component.0.dataAbsentReason",
        {"text": "Not known"},
        "our profile: one or the other",
    ),
    M(
        "component repeating the code of the value",
        "access",
        "Observation#2",
        "component",
        [
            {
                "code": {
                    "coding": [
                        {
                            "system": "http://loinc.org",
                            "code": "72514-3",
                            "display": "Pain severity - 0-10 verbal numeric rating [Score] - Reported",
                        }
                    ]
                },
                "valueInteger": 2,
            }
        ],
        "obs-7",
    ),
    M("component of two kinds of value", "access", "Observation#4", "component.1.valueString", "yes", "0..1"),
    M("flag as text", "access", "Observation#4", "component.1.valueBoolean", "true", "boolean"),
    M(
        "observation time without zone",
        "access",
        "Observation",
        "effectiveDateTime",
        "2031-03-04T09:40:00",
        "dateTime with a time has a zone",
    ),
    M(
        "observation time without seconds",
        "access",
        "Observation",
        "effectiveDateTime",
        "2031-03-04T09:40-06:00",
        "dateTime with a time has seconds",
    ),
    M("issued without zone", "access", "Observation", "issued", "2031-03-04T09:58:00", "instant"),
    M("issued a day only", "access", "Observation", "issued", "2031-03-04", "instant"),
    M("observation focus nowhere", "access", "Observation", "focus.0.reference", UUID_NOWHERE, "resolves"),
    M("observation performer a device", "access", "Observation", "performer.0.reference", "Device/d", "performer"),
    M(
        "observation measured by the port",
        "access",
        "Observation",
        "device",
        {"reference": load("access")["entry"][0]["fullUrl"]},
        "profile: device measures",
    ),
    M("category outside the table", "access", "Observation", "category.0.coding.0.code", "exams", "codes.py"),
    M(
        "reference range of nothing",
        "access",
        "Observation#1",
        "referenceRange",
        [{"age": {"low": {"value": 1}}}],
        "obs-3",
    ),
    M("observation without category", "access", "Observation", "category", DROP, "profile: element choices"),
    # -- MedicationAdministration ---------------------------------------------------------------------------------
    M("administration status not in the list", "access", "MedicationAdministration", "status", "given", "binding"),
    M(
        "administration without medication",
        "access",
        "MedicationAdministration",
        "medicationCodeableConcept",
        DROP,
        "medication[x] 1..1",
    ),
    M("administration without time", "access", "MedicationAdministration", "effectivePeriod", DROP, "1..1"),
    M(
        "administration with two medications",
        "access",
        "MedicationAdministration",
        "medicationReference",
        {"reference": "Medication/m"},
        "medication[x] 1..1",
    ),
    M("dosage without dose or rate", "access", "MedicationAdministration#1", "dosage.dose", DROP, "mad-1"),
    M("dosage as a list", "access", "MedicationAdministration#1", "dosage", _in_list, "0..1 is no array"),
    M("saline in mg", "access", "MedicationAdministration#1", "dosage.dose", _quantity(10, "mg", "mg"), "volume"),
    M("heparin in mL", "deaccess", "MedicationAdministration#1", "dosage.dose", _quantity(5, "mL", "mL"), "units"),
    M(
        "heparin in U",
        "deaccess",
        "MedicationAdministration#1",
        "dosage.dose",
        _quantity(500, "U", "U"),
        "U is the enzyme unit",
    ),
    M("alteplase in mL", "with_context", "MedicationAdministration", "dosage.dose", _quantity(2, "mL", "mL"), "mg"),
    M("unit written otherwise", "deaccess", "MedicationAdministration#1", "dosage.dose.unit", "U", "units.py"),
    M("dose with a comparator", "access", "MedicationAdministration#1", "dosage.dose.comparator", "<", "sqty-1"),
    M(
        "administration part of a device",
        "access",
        "MedicationAdministration",
        "partOf.0.reference",
        "Device/d",
        "partOf: MedicationAdministration, Procedure",
    ),
    M(
        "route with unverified code",
        "access",
        "MedicationAdministration#1",
        "dosage.route.coding.0.code",
        "IVP",
        "codes.py",
    ),
    M(
        "administration not done without reason",
        "with_context",
        "MedicationAdministration#1",
        "statusReason",
        DROP,
        "profile: identity",
    ),
    M(
        "administration given before it began",
        "access",
        "MedicationAdministration",
        "effectivePeriod",
        _swap_ends,
        "per-1",
    ),
    M("administration with R5 time", "access", "MedicationAdministration", "occurenceDateTime", "2031", "R5 name"),
    # -- Task -----------------------------------------------------------------------------------------------------
    M("task status not in the list", "access", "Task", "status", "due", "required binding"),
    M("task intent missing", "access", "Task", "intent", DROP, "1..1"),
    M("task intent not in the list", "access", "Task", "intent", "planned", "required binding"),
    M("task intent an order", "access", "Task", "intent", "order", "profile: intent plan; the tool never orders"),
    M("task priority not in the list", "access", "Task", "priority", "normal", "required binding"),
    M("task modified before authored", "deaccess", "Task", "lastModified", "2031-03-01T00:00:00-06:00", "inv-1"),
    M(
        "task modified before authored in another zone",
        "access",
        "Task",
        "lastModified",
        "2031-03-04T15:57:59Z",
        "inv-1 compares instants",
    ),
    M("task restriction empty", "access", "Task", "restriction", {}, "ele-1"),
    M("task without the reason of the hold", "access", "Task", "reasonCode", DROP, "profile: element choices"),
    M("request an order", "with_context", "ServiceRequest", "intent", "order", "profile: the tool never orders"),
    M("request status not in the list", "with_context", "ServiceRequest", "status", "open", "required binding"),
    M("request without a time", "with_context", "ServiceRequest", "occurrenceDateTime", DROP, "profile: always sent"),
    M("flag status not in the list", "with_context", "Flag", "status", "raised", "required binding"),
    M("flag for nobody", "with_context", "Flag", "subject", DROP, "1..1"),
    M("flag with unknown words", "with_context", "Flag", "code.text", "On hold: a feeling", "profile: concepts"),
    M("allergy without clinical status", "with_context", "AllergyIntolerance", "clinicalStatus", DROP, "ait-1"),
    M(
        "allergy status not in the list",
        "with_context",
        "AllergyIntolerance",
        "clinicalStatus.coding.0.code",
        "standing",
        "required binding",
    ),
    M("allergy for nobody", "with_context", "AllergyIntolerance", "patient", DROP, "1..1"),
    M("condition that began in month 13", "with_context", "Condition", "onsetDateTime", "2020-13-01", "dateTime"),
    M("condition stage empty", "with_context", "Condition", "stage", [{"type": {"text": "x"}}], "con-1"),
    M("list mode missing", "with_context", "List", "mode", DROP, "1..1"),
    M("list empty with a reason, and not", "with_context", "List", "emptyReason", {"text": "none"}, "lst-1"),
    M("list entry deleted", "with_context", "List", "entry.0.deleted", True, "lst-2"),
    M("task output without value", "access", "Task", "output", [{"type": {"text": "Result"}}], "value[x] 1..1"),
    M("task restriction repeats none", "access", "Task", "restriction", {"repetitions": 0}, "positiveInt"),
    M("task for a device", "access", "Task", "for.type", "Medicament", "Reference.type names a resource type"),
    M("task description of control characters", "access", "Task", "description", "due\u0000", "string"),
    # -- DocumentReference ----------------------------------------------------------------------------------------
    M("document status not in the list", "access", "DocumentReference", "status", "final", "required binding"),
    M("document doc status not in the list", "access", "DocumentReference", "docStatus", "signed", "binding"),
    M("document without content", "access", "DocumentReference", "content", DROP, "content 1..*"),
    M("document content empty", "access", "DocumentReference", "content", [], "content 1..*"),
    M(
        "attachment without content type",
        "access",
        "DocumentReference",
        "content.0.attachment.contentType",
        DROP,
        "att-1",
    ),
    M("attachment data no base64", "access", "DocumentReference", "content.0.attachment.data", "Tm90ZQ=", "base64"),
    M(
        "attachment of the wrong size",
        "access",
        "DocumentReference",
        "content.0.attachment.size",
        lambda size: size + 1,
        "Attachment.size: bytes of content",
    ),
    M(
        "attachment of the wrong hash",
        "access",
        "DocumentReference",
        "content.0.attachment.hash",
        "AAAAAAAAAAAAAAAAAAAAAAAAAAA=",
        "Attachment.hash: SHA-1 of content",
    ),
    M("attachment size negative", "access", "DocumentReference", "content.0.attachment.size", -1, "unsignedInt"),
    M("document date without zone", "access", "DocumentReference", "date", "2031-03-04T09:58:00", "instant"),
    M("document date beyond the day", "access", "DocumentReference", "date", "2031-03-04T24:00:00Z", "regex"),
    M("document type impossible digits", "access", "DocumentReference", "type.coding.0.code", "34746-9", "LOINC"),
    M(
        "document relation not in the list",
        "corrections",
        "DocumentReference#2",
        "relatesTo.0.code",
        "supersedes",
        "required binding",
    ),
    M("document relation without target", "corrections", "DocumentReference#2", "relatesTo.0.target", DROP, "1..1"),
    M("document subject nowhere", "with_context", "DocumentReference", "subject.reference", UUID_NOWHERE, "in it"),
    M(
        "document related to an empty extension",
        "access",
        "DocumentReference",
        "extension",
        [{"url": "https://example.org/x"}],
        "ext-1",
    ),
    M(
        "extension with value and extension",
        "access",
        "DocumentReference",
        "extension",
        [{"url": "https://example.org/x", "valueString": "a", "extension": [{"url": "b", "valueString": "c"}]}],
        "ext-1",
    ),
    M("extension without url", "access", "DocumentReference", "extension", [{"valueString": "a"}], "url 1..1"),
    M(
        "narrative with a script",
        "access",
        "DocumentReference",
        "text",
        _narrative(f'<div xmlns="{XHTML}"><p>note</p><script>alert(1)</script></div>'),
        "txt-1",
    ),
    M(
        "narrative not well formed",
        "access",
        "DocumentReference",
        "text",
        _narrative(f'<div xmlns="{XHTML}"><p>note</div>'),
        "xhtml",
    ),
    M(
        "narrative with an event handler",
        "access",
        "DocumentReference",
        "text",
        _narrative(f'<div xmlns="{XHTML}"><p onclick="x()">note</p></div>'),
        "txt-1",
    ),
    M(
        "narrative of nothing",
        "access",
        "DocumentReference",
        "text",
        _narrative(f'<div xmlns="{XHTML}"> </div>'),
        "txt-2",
    ),
    M(
        "narrative outside the namespace",
        "access",
        "DocumentReference",
        "text",
        _narrative("<div><p>note</p></div>"),
        "xhtml namespace",
    ),
    M(
        "narrative without status",
        "access",
        "DocumentReference",
        "text",
        {"div": f'<div xmlns="{XHTML}">note</div>'},
        "Narrative.status 1..1",
    ),
    # -- Provenance -----------------------------------------------------------------------------------------------
    M("provenance without target", "access", "Provenance", "target", DROP, "1..*"),
    M("provenance target nowhere", "access", "Provenance", "target.0.reference", UUID_NOWHERE, "in the bundle"),
    M("provenance without agent", "access", "Provenance", "agent", DROP, "1..*"),
    M("provenance agent without who", "access", "Provenance", "agent.0.who", DROP, "1..1"),
    M("provenance agent an observation", "access", "Provenance", "agent.0.who.reference", "Observation/o", "who"),
    M("provenance without recorded", "access", "Provenance", "recorded", DROP, "1..1"),
    M("provenance recorded on no day", "access", "Provenance", "recorded", "2031-02-29T09:58:00-06:00", "calendar"),
    M("provenance recorded to the minute", "access", "Provenance", "recorded", "2031-03-04T09:58-06:00", "instant"),
    M("provenance activity outside the table", "access", "Provenance", "activity.coding.0.code", "INSERT", "codes"),
    M("provenance agent without organisation", "access", "Provenance", "agent.0.onBehalfOf", DROP, "provenance-1"),
    M(
        "provenance entity role not in the list",
        "access",
        "Provenance",
        "entity",
        [{"role": "origin", "what": {"reference": "DocumentReference/d"}}],
        "required binding",
    ),
    M(
        "provenance tag not its condition",
        "access",
        "Provenance",
        "meta.tag.0.code",
        "00000000-0000-5000-8000-000000000000",
        "profile: identity",
    ),
    M(
        "provenance leaves out the procedure",
        "access",
        "Provenance",
        "target",
        lambda old: old[1:],
        "profile: what is emitted",
    ),
    # -- the context ----------------------------------------------------------------------------------------------
    M("patient gender not in the list", "with_context", "Patient", "gender", "F", "required binding"),
    M("patient born on no day", "with_context", "Patient", "birthDate", "1983-02-29", "calendar"),
    M("patient born at a time", "with_context", "Patient", "birthDate", "1984-02-29T00:00:00Z", "date"),
    M("patient contact of nothing", "with_context", "Patient", "contact", [{"gender": "other"}], "pat-1"),
    M("patient active as text", "with_context", "Patient", "active", "yes", "boolean"),
    M("patient name use not in the list", "with_context", "Patient", "name.0.use", "first", "required binding"),
    M("patient telecom without system", "with_context", "Patient", "telecom", [{"value": "555"}], "cpt-2"),
    M(
        "patient created without condition",
        "with_context",
        "entry Patient",
        "request.ifNoneExist",
        DROP,
        "profile: identity",
    ),
    M("patient without identifier", "with_context", "Patient", "identifier", DROP, "profile: by ifNoneExist"),
    M(
        "practitioner qualification without code",
        "with_context",
        "Practitioner",
        "qualification.0",
        {"issuer": {"display": "Board"}},
        "1..1",
    ),
    M("practitioner name as object", "with_context", "Practitioner", "name", _first, "0..* is an array"),
    M("practitioner given name an empty text", "with_context", "Practitioner", "name.0.given.0", "", "string"),
    M(
        "organization of nothing",
        "with_context",
        "entry Organization",
        "resource",
        {"resourceType": "Organization", "active": True},
        "org-1",
    ),
    M(
        "organization telecom at home",
        "with_context",
        "Organization",
        "telecom",
        [{"system": "phone", "value": "555", "use": "home"}],
        "org-3",
    ),
    M("organization address at home", "with_context", "Organization", "address", [{"use": "home"}], "org-2"),
    M(
        "organization part of a patient",
        "with_context",
        "Organization",
        "partOf",
        {"reference": "Patient/p"},
        "partOf: Organization",
    ),
    M("location mode not in the list", "with_context", "Location", "mode", "place", "required binding"),
    M("location status not in the list", "with_context", "Location", "status", "open", "required binding"),
    M("location position without latitude", "with_context", "Location", "position", {"longitude": 1.5}, "1..1"),
    M(
        "location managed by a patient",
        "with_context",
        "Location",
        "managingOrganization.reference",
        lambda _: load("with_context")["entry"][0]["fullUrl"],
        "Organization",
    ),
    M("encounter status not in the list", "with_context", "Encounter", "status", "open", "required binding"),
    M("encounter without class", "with_context", "Encounter", "class", DROP, "1..1"),
    M("encounter class as a concept", "with_context", "Encounter", "class", {"text": "Inpatient"}, "Coding"),
    M("encounter class as R5 list", "with_context", "Encounter", "class", _in_list, "R5 form"),
    M(
        "encounter location status not in the list",
        "with_context",
        "Encounter",
        "location.0.status",
        "here",
        "required binding",
    ),
    M("encounter location without target", "with_context", "Encounter", "location.0.location", DROP, "1..1"),
    M(
        "encounter at a patient",
        "with_context",
        "Encounter",
        "location.0.location.reference",
        lambda _: load("with_context")["entry"][0]["fullUrl"],
        "Location",
    ),
    M(
        "encounter ends before it starts",
        "with_context",
        "Encounter",
        "period",
        _and(end="2031-03-04T06:59:59-06:00"),
        "per-1",
    ),
    M("encounter class outside the table", "with_context", "Encounter", "class.code", "INPAT", "codes.py"),
)

FOUND_LATER: Final[tuple[Mutant, ...]] = (
    M(
        "an extension that changes the meaning",
        "access",
        "Procedure",
        "modifierExtension",
        [{"url": "https://other.example/not-done", "valueBoolean": True}],
        "2.4.1: not processed unless understood",
    ),
    M("rules apart from FHIR", "access", "Procedure", "implicitRules", "https://other.example/rules", "2.27"),
    M("a month 13 without a day", "access", "Procedure", "performedPeriod.end", "2031-13", "dateTime"),
    M(
        "language with the wrong capitals",
        "access",
        "DocumentReference",
        "content.0.attachment.language",
        "EN-us",
        "languages",
    ),
    M("language that is none", "access", "DocumentReference", "content.0.attachment.language", "english", "BCP 47"),
    M(
        "data with a space",
        "access",
        "DocumentReference",
        "content.0.attachment.data",
        lambda old: old + " ",
        "profile: strict base64",
    ),
    M("data beyond ASCII", "access", "DocumentReference", "content.0.attachment.data", lambda old: "é" + old, "base64"),
    M("modified on a day without a time", "deaccess", "Task", "lastModified", "2031-03-04", "inv-1 cannot be told"),
    M("period of two precisions", "access", "Procedure", "performedPeriod.end", "2031-03-04", "per-1 cannot be told"),
    M(
        "reference to an address of no resource",
        "access",
        "Procedure",
        "recorder.reference",
        "http://example.org",
        "literal",
    ),
    M("resource id of a bad form", "access", "Task", "id", "task 1", "id regex"),
    M("fullUrl of no address", "access", "entry Provenance", "fullUrl", "provenance-1", "fullUrl is absolute"),
    M("code with a scheme in capitals", "access", "Device", "identifier.0.system", lambda old: old.upper(), "absolute"),
    M(
        "closed needle created, not updated",
        "deaccess",
        "entry Device#1",
        "request",
        lambda old: {"method": "POST", "url": "Device", "ifNoneExist": old["url"].partition("?")[2]},
        "profile: identity",
    ),
    M(
        "patient updated",
        "with_context",
        "entry Patient",
        "request",
        lambda old: {"method": "PUT", "url": f"Patient?{old['ifNoneExist']}"},
        "profile: not ours to update",
    ),
    M(
        "task deleted",
        "access",
        "entry Task",
        "request",
        {"method": "DELETE", "url": "Task?code=x"},
        "profile: identity",
    ),
    M("fullUrl of another identity", "access", "entry Provenance", "fullUrl", UUID_NOWHERE, "profile: identity"),
    M(
        "medication of its own",
        "access",
        "entry Task",
        "resource",
        {"resourceType": "Medication", "code": {"text": "0.9% sodium chloride"}},
        "profile: what is emitted",
    ),
    M("procedure on hold", "access", "Procedure", "status", "on-hold", "profile: statuses"),
    M(
        "pain about the port",
        "access",
        "Observation#2",
        "focus",
        [{"reference": "Device/port"}],
        "profile: element choices",
    ),
    M("blood return about nothing", "access", "Observation", "focus", DROP, "profile: element choices"),
    M(
        "pain as an exam",
        "access",
        "Observation#2",
        "category",
        [
            {
                "coding": [
                    {
                        "system": "http://terminology.hl7.org/CodeSystem/observation-category",
                        "code": "exam",
                        "display": "Exam",
                    }
                ],
                "text": "Exam",
            }
        ],
        "profile: element choices",
    ),
    M("pain beyond ten", "access", "Observation#2", "valueInteger", 11, "profile: 0 to 10"),
    M("pain without its code", "access", "Observation#2", "code.coding", DROP, "codes.py"),
    M("observation of nothing we know", "access", "Observation", "code.text", "Blood retrun", "codes.py"),
    M(
        "reference that names another type",
        "access",
        "Procedure",
        "subject",
        {"reference": "Patient/example-patient", "type": "Group"},
        "Reference.type is the type of the target",
    ),
    M("reference to nothing contained", "access", "Procedure", "recorder.reference", "#nobody", "ref-1"),
    M(
        "extension with an unverified code",
        "access",
        "Procedure",
        "extension",
        [{"url": "https://example.org/x", "valueCoding": {"system": SCT, "code": "73211009", "display": "x"}}],
        "codes.py",
    ),
    M(
        "resource contained",
        "access",
        "DeviceUseStatement",
        "contained",
        [{"resourceType": "Device", "id": "d", "parent": {"reference": "#"}}],
        "profile: what is emitted",
    ),
)
"""Added after the checks were written: faults that the reference validator told us of on random changes, and
parts of our own profile that no earlier fault had reached."""

MUTANTS: Final = WRITTEN_BLIND + FOUND_LATER
