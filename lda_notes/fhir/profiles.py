"""US Core 9.0.0 (FHIR 4.0.1): which profile each resource type of ours claims when asked to."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from lda_notes.fhir.elements import Json

_US_CORE: Final = "http://hl7.org/fhir/us/core/StructureDefinition/us-core-"

PROFILES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "Procedure": f"{_US_CORE}procedure",
        "Device": f"{_US_CORE}device",
        "DocumentReference": f"{_US_CORE}documentreference",
        "Provenance": f"{_US_CORE}provenance",
    }
)
"""The profile of each type; a type without a row claims none.

``us-core-device`` is the name since 9.0.0 (before: us-core-implantable-device). Patient and the other resources of
the context claim none: US Core asks of them what the record does not hold, such as a gender.
"""


def profiled(resource: Json) -> Json:
    """The resource with the profile that it claims; the same object when it claims none."""
    profile = PROFILES.get(resource["resourceType"])
    if profile is None:
        return resource
    meta = {**resource.get("meta", {}), "profile": [profile]}
    head = {"resourceType": resource["resourceType"], "meta": meta}
    return head | {key: value for key, value in resource.items() if key not in head}
