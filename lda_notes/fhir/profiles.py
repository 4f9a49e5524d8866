"""The profiles that resources claim when the configuration says so: our own, and US Core 9.0.0 (FHIR 4.0.1)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Final

from lda_notes.fhir.config import US_CORE, Config
from lda_notes.fhir.elements import Json, text_of

OWN_TYPES: Final = (
    "AllergyIntolerance",
    "Condition",
    "Device",
    "DeviceUseStatement",
    "DocumentReference",
    "Flag",
    "List",
    "MedicationAdministration",
    "Observation",
    "Procedure",
    "Provenance",
    "ServiceRequest",
    "Task",
)
"""Resource types of which our package has a profile: those that are ours."""

_US_CORE: Final = "http://hl7.org/fhir/us/core/StructureDefinition/us-core-"

US_CORE_PROFILES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "Procedure": f"{_US_CORE}procedure",
        "Device": f"{_US_CORE}device",
        "DocumentReference": f"{_US_CORE}documentreference",
        "Provenance": f"{_US_CORE}provenance",
    }
)
"""The profile of each type that our own checks hold to it; a type without a row claims none.

``us-core-device`` is the name since 9.0.0 (before: us-core-implantable-device). It is claimed for the implanted port
alone, not for needles and supplies. Patient and the other resources of the context claim none: US Core asks of them
what the record does not have, such as a gender.
"""


def own_profile(kind: str, config: Config) -> str:
    """Return the address of our own profile of a resource type."""
    return f"{config.extensions}/port-{kind.lower()}"


def claimed(resource: Json, config: Config) -> Iterator[str]:
    """Yield each profile that a resource claims under a configuration."""
    kind = resource["resourceType"]
    if "own" in config.profiles and kind in OWN_TYPES:
        yield own_profile(kind, config)
    is_ours = kind != "Device" or resource["type"].get("text") == text_of("port")
    if US_CORE in config.profiles and kind in US_CORE_PROFILES and is_ours:
        yield US_CORE_PROFILES[kind]


def profiled(resource: Json, config: Config) -> Json:
    """Return the resource with the profiles that it claims; the same object when it claims none."""
    profiles = list(claimed(resource, config))
    if not profiles:
        return resource
    meta = {**resource.get("meta", {}), "profile": profiles}
    head = {"resourceType": resource["resourceType"], "meta": meta}
    return head | {key: value for key, value in resource.items() if key not in head}
