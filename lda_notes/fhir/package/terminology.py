"""The code system of our own with every concept and word, the value sets of its elements, the identifier systems."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Final

from lda_notes.fhir.concepts import CONCEPTS, Use
from lda_notes.fhir.config import Config, Systems
from lda_notes.fhir.elements import Json
from lda_notes.fhir.local import LOCAL, WORDS
from lda_notes.fhir.package.base import DATE, defined, root
from lda_notes.fhir.verify.profile import STATUSES

SETS: Final[Mapping[str, tuple[Use, ...]]] = {
    "actions": ("action",),
    "components": ("component",),
    "due": ("due",),
    "flags": ("hold", "danger"),
    "holds": ("hold",),
    "observations": ("observation",),
    "procedures": ("procedure",),
    "properties": ("property",),
    "reasons": ("reason",),
    "records": ("record",),
    "tasks": ("task",),
}
"""Value sets of our own codes, by the elements that they are for."""

STATUS_SYSTEMS: Final[Mapping[str, str]] = {
    "Procedure": "http://hl7.org/fhir/event-status",
    "Device": "http://hl7.org/fhir/device-status",
    "DeviceUseStatement": "http://hl7.org/fhir/device-statement-status",
    "Observation": "http://hl7.org/fhir/observation-status",
    "MedicationAdministration": "http://terminology.hl7.org/CodeSystem/medication-admin-status",
    "Task": "http://hl7.org/fhir/task-status",
    "DocumentReference": "http://hl7.org/fhir/document-reference-status",
    "ServiceRequest": "http://hl7.org/fhir/request-status",
    "Flag": "http://hl7.org/fhir/flag-status",
    "List": "http://hl7.org/fhir/list-status",
}
"""R4's code system of the status of each type."""


def code_system(config: Config) -> Json:
    """Return our code system: every concept and every word that records may say."""
    return defined(
        "CodeSystem",
        "port-care",
        "Port care",
        "Every concept and every word of port care records. A code beside it is of an outside system where one was "
        "verified.",
        config.codes,
        caseSensitive=True,
        content="complete",
        count=len(LOCAL),
        concept=[{"code": code, "display": display} for code, display in sorted(LOCAL.items())],
    )


def set_url(config: Config, name: str) -> str:
    """Return the address of a value set."""
    return f"{root(config)}/ValueSet/{name}"


def value_sets(config: Config) -> Iterator[Json]:
    """Yield the value sets of our codes with the verified ones beside them, of our words, and of our statuses."""
    yield _set(config, "words", "Port care: words", [(config.codes, code) for code in WORDS.values()])
    for name, uses in SETS.items():
        concepts = [concept for concept in CONCEPTS.values() if concept.use in uses]
        outside = [(code.system, code.code) for concept in concepts for code in concept.codes]
        ours = [(config.codes, concept.local) for concept in concepts]
        yield _set(config, name, f"Port care: {name}", [*ours, *outside])
    for kind, statuses in STATUSES.items():
        system = STATUS_SYSTEMS[kind]
        yield _set(config, status_set(kind), f"Statuses of {kind} in use", [(system, one) for one in statuses])


def status_set(kind: str) -> str:
    """Return the name of the value set of a type's statuses."""
    return f"status-{kind.lower()}"


def _set(config: Config, name: str, title: str, codes: Iterable[tuple[str, str]]) -> Json:
    by_system: dict[str, list[str]] = {}
    for system, code in sorted(set(codes)):
        by_system.setdefault(system, []).append(code)
    include = [{"system": system, "concept": [{"code": one} for one in some]} for system, some in by_system.items()]
    return defined("ValueSet", name, title, f"{title}.", set_url(config, name), compose={"include": include})


def naming_systems(config: Config) -> Iterator[Json]:
    """Yield the identifier systems that bundles use."""
    for name, field in Systems.model_fields.items():
        yield {
            "resourceType": "NamingSystem",
            "id": f"system-{name}",
            "name": f"{name.capitalize()}System",
            "status": "active",
            "kind": "identifier",
            "date": DATE,
            "publisher": "lda-notes",
            "description": field.description,
            "uniqueId": [{"type": "uri", "value": getattr(config.systems, name), "preferred": True}],
        }
