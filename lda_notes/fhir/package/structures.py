"""Our profiles as StructureDefinitions: what our own verification asks of each type beyond R4."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

from lda_notes.fhir.config import Config
from lda_notes.fhir.elements import Json
from lda_notes.fhir.package.base import FHIR, defined
from lda_notes.fhir.package.terminology import set_url, status_set
from lda_notes.fhir.profiles import OWN_TYPES, own_profile
from lda_notes.fhir.verify.profile import ALWAYS_SENT, STATUSES

_CODED: Final[Mapping[str, Mapping[str, str]]] = {
    "Procedure": {"code": "procedures", "focalDevice.action": "actions"},
    "Observation": {"code": "observations", "component.code": "components"},
    "Device": {"property.type": "properties"},
    "MedicationAdministration": {"reasonCode": "reasons"},
    "Task": {"code": "tasks", "reasonCode": "holds"},
    "ServiceRequest": {"code": "due"},
    "Flag": {"code": "flags"},
    "List": {"code": "records"},
}
"""Elements that always have a code of ours, and the value set that it is in."""

_PLANS: Final = ("Task", "ServiceRequest")
"""Types whose intent is always a plan: nothing is ordered."""


def profile(kind: str, config: Config) -> Json:
    """Return our profile of a resource type."""
    elements = {element["path"]: element for element in _elements(kind, config)}
    url = own_profile(kind, config)
    return defined(
        "StructureDefinition",
        url.rpartition("/")[2],
        f"{kind} of port care",
        f"{kind} as records of implanted port care send it.",
        url,
        fhirVersion=FHIR,
        kind="resource",
        abstract=False,
        type=kind,
        baseDefinition=f"http://hl7.org/fhir/StructureDefinition/{kind}",
        derivation="constraint",
        differential={"element": list(elements.values())},
    )


def _elements(kind: str, config: Config) -> Iterator[Json]:
    """Yield what the profile asks, in R4's order of elements, since validators read differentials in that order."""
    asked: dict[str, dict[str, Any]] = {}
    if kind != "Provenance":  # it has no identifier in R4 and carries its identity as a tag
        asked["identifier"] = {"min": 1}
    else:
        asked["meta"] = {"min": 1}
        asked["meta.tag"] = {"min": 1}
    for name in ALWAYS_SENT.get(kind, ()):
        asked.setdefault(name, {})["min"] = 1
    if kind in STATUSES:
        asked.setdefault("status", {})["binding"] = _bound(config, status_set(kind))
    for name, value_set in _CODED.get(kind, {}).items():
        asked.setdefault(name, {})["binding"] = _bound(config, value_set)
    if kind in _PLANS:
        asked["intent"] = {"fixedCode": "plan"}
    yield {"id": kind, "path": kind}
    for name in sorted(asked, key=lambda name: _place(kind, name)):
        path = f"{kind}.{name}"
        yield {"id": path, "path": path, **asked[name]}


def _bound(config: Config, value_set: str) -> Json:
    return {"strength": "required", "valueSet": set_url(config, value_set)}


def _place(kind: str, name: str) -> tuple[int, str]:
    from lda_notes.fhir.verify.definitions import load

    order = [element.name for element in load().types[kind]]
    first = name.partition(".")[0]
    return order.index(first) if first in order else -1, name


def profiles(config: Config) -> Iterator[Json]:
    """Yield our profile of every type that is ours."""
    return (profile(kind, config) for kind in OWN_TYPES)
