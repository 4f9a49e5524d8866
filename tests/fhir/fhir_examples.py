"""The published examples of the types that we emit, and why some of them are not without fault."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import fhir_official

TYPES: Final = (
    "AllergyIntolerance",
    "Bundle",
    "Condition",
    "Device",
    "DeviceUseStatement",
    "DocumentReference",
    "Encounter",
    "Flag",
    "List",
    "Location",
    "MedicationAdministration",
    "Observation",
    "Organization",
    "Patient",
    "Practitioner",
    "Procedure",
    "Provenance",
    "ServiceRequest",
    "Task",
)

EXCEPTIONS: Final[Mapping[str, tuple[str, str]]] = {
    "Bundle-10bb101f-a121-4264-a920-67be9cb82c74.json": (
        "full-url",
        "an entry's fullUrl ends in Patient/pat12, the resource in it has the id pat2; R4: the fullUrl SHALL NOT "
        "disagree with the id",
    ),
    "Bundle-3a0707d3-549e-4467-b8b8-5a2ab3800efe.json": ("full-url", "the same: Patient/pat12 and pat2"),
    "Bundle-lri-example.json": ("full-url", "the same: Observation/lri-gramstain1 and gramstain1, and five more"),
    "Bundle-dataelements.json": ("bdl-7", "the fullUrl of de-Quantity.value stands three times, without a versionId"),
    "Bundle-b0a5e4277-83c4-4adb-87e2-e3efe3369b6f.json": (
        "primitive",
        "media types of endpoints have a parameter with a space, which no media type may have (RFC 2045)",
    ),
    "Bundle-valueset-expansions.json": (
        "primitive",
        "a parameter of type uri is an OID with a version behind it, urn:oid:...|4.0.1, which is no OID",
    ),
    "DeviceUseStatement-example.json": (
        "reference-target",
        "reasonReference points to a Procedure, which R4's definition of the element does not allow",
    ),
    "Observation-clinical-gender.json": (
        "reference-target",
        "performer points to an Encounter, which R4's definition of the element does not allow",
    ),
}
"""By file: the one rule that fails, and what is wrong in the example itself."""


def published() -> dict[str, dict[str, Any]]:
    """Every published example of our types, by file name."""
    return dict(fhir_official.examples(*TYPES))


def in_a_bundle(resource: dict[str, Any]) -> dict[str, Any]:
    """A resource as the one entry of a collection; a bundle as it is."""
    if resource["resourceType"] == "Bundle":
        return resource
    return {"resourceType": "Bundle", "type": "collection", "entry": [{"resource": resource}]}
