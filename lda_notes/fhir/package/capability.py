"""The capabilities that a server needs to accept our bundles and to answer the questions of SEARCHES.md."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from lda_notes.fhir.config import Config
from lda_notes.fhir.elements import Json
from lda_notes.fhir.identity import CONTEXT_TYPES, EMITTED
from lda_notes.fhir.package.base import DATE, FHIR, VERSION, root
from lda_notes.fhir.profiles import OWN_TYPES, own_profile
from lda_notes.fhir.searches import KINDS, MARK, STAY

_SEARCHED: Final[Mapping[str, tuple[tuple[str, str], ...]]] = {
    "Device": (("location", "reference"), ("status", "token"), ("type", "token")),
    "MedicationAdministration": (("device", "reference"), ("status", "token")),
    "Provenance": (("target", "reference"),),
    "ServiceRequest": (("code", "token"), ("occurrence", "date"), ("status", "token")),
    "Task": (("code", "token"), ("focus", "reference"), ("status", "token")),
}
"""The search parameters of the questions, beside ``identifier`` and ``patient``: all of them R4's own."""


def capability(config: Config) -> Json:
    """Return the CapabilityStatement of what is required of a server."""
    return {
        "resourceType": "CapabilityStatement",
        "id": "port-care-server",
        "url": f"{root(config)}/CapabilityStatement/port-care-server",
        "version": VERSION,
        "name": "PortCareServer",
        "title": "Server for port care",
        "status": "active",
        "experimental": False,
        "date": DATE,
        "publisher": "lda-notes",
        "description": "What a server must do: take transactions whose entries are created or updated on a condition, "
        "and answer the searches that find them again. No search parameters beyond those of R4 are needed.",
        "kind": "requirements",
        "fhirVersion": FHIR,
        "format": ["application/fhir+json"],
        "rest": [
            {
                "mode": "server",
                "documentation": "A server without transactions is sent resources one by one (`send --one-by-one`), "
                "one that takes notes alone DocumentReferences (`--documents-only`).",
                "resource": [_resource(kind, config) for kind in sorted(EMITTED)],
                "interaction": [{"code": "transaction"}],
            }
        ],
    }


def _resource(kind: str, config: Config) -> Json:
    codes = ["read", "create", "search-type"] if kind in CONTEXT_TYPES - {"Encounter"} else _ALL
    made: dict[str, Any] = {"type": kind}
    if kind in OWN_TYPES:
        made["supportedProfile"] = [own_profile(kind, config)]
    made |= {
        "interaction": [{"code": code} for code in codes],
        "conditionalCreate": True,
        "conditionalUpdate": codes is _ALL and kind != "Provenance",
    }
    includes = [one for one in STAY if one.startswith(f"{kind}:")]
    if includes:
        made["searchInclude"] = includes
    reverse = [f"{one}:patient" for one in KINDS] if kind == "Patient" else [MARK] if kind in KINDS else []
    if reverse:
        made["searchRevInclude"] = reverse
    made["searchParam"] = [{"name": name, "type": sort} for name, sort in _parameters(kind)]
    return made


_ALL: Final = ["read", "create", "update", "search-type"]


def _parameters(kind: str) -> list[tuple[str, str]]:
    first = ("_tag", "token") if kind == "Provenance" else ("identifier", "token")
    patient = [("patient", "reference")] if kind in KINDS else []
    return [first, *patient, *_SEARCHED.get(kind, ())]
