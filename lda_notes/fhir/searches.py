"""The search that finds everything of one patient's records, as a standard R4 server answers it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from lda_notes.fhir.elements import Json
from lda_notes.fhir.identity import CONTEXT_TYPES
from lda_notes.fhir.profiles import OWN_TYPES
from lda_notes.fhir.tokens import escaped

KINDS: Final = tuple(sorted({*OWN_TYPES, "Encounter"} - {"Provenance"}))
"""Resource types that name the patient: each has the search parameter ``patient``."""

MARK: Final = "Provenance:target"
"""A Provenance does not name the patient, so it is found by what it is about."""

STAY: Final = ("Encounter:patient", "Encounter:location", "Encounter:service-provider", "Location:partof")
"""References of a stay, present when it was sent with its context."""

TRACED: Final = frozenset(KINDS) - {"Device", "Encounter", "List"}
"""Types of which every resource of ours is the target of a Provenance."""

Query = list[tuple[str, str]]


def everything(system: str, value: str) -> Query:
    """Return the query on Patient that finds all of one patient's records, by a record number."""
    return [
        ("identifier", _token(system, value)),
        *(("_revinclude", f"{kind}:patient") for kind in KINDS),
        ("_revinclude:iterate", MARK),
        *(("_include:iterate", one) for one in STAY[1:]),
    ]


def by_type(system: str, value: str, ours: str) -> Iterator[tuple[str, Query]]:
    """Yield the same in parts, a type and its query each, for a server that keeps too much for one answer.

    ``ours`` is the identifier system of our identities: nothing else of the patient is asked for.
    """
    for kind in KINDS:
        stay = [("_include" if one.startswith(kind) else "_include:iterate", one) for one in STAY]
        found_by = ("patient.identifier", _token(system, value)), ("identifier", f"{escaped(ours)}|")
        yield kind, [*found_by, ("_revinclude", MARK), *(stay if kind == "Encounter" else [])]


def relevant(found: Iterable[Json], ours: str) -> list[Json]:
    """Return what readback needs of what a search found, each once: resources of ours, the patient, the stay.

    ``ours`` is the identifier system of our identities.
    """
    kept = (one for one in found if one.get("resourceType") in CONTEXT_TYPES or _is_ours(one, ours))
    return list({_address(one): one for one in kept}.values())


def is_cut_off(found: list[Json], ours: str) -> bool:
    """Return whether what belongs together is not all here: no Provenance, one without its target, or the reverse."""
    here = {_address(one) for one in found}
    named = {
        reference.partition("/_history/")[0]
        for one in found
        if one["resourceType"] == "Provenance" and _is_ours(one, ours)
        for target in one.get("target", ())
        if isinstance(reference := target.get("reference"), str)
    }
    traced = {_address(one) for one in found if one["resourceType"] in TRACED and _is_ours(one, ours)}
    return not named or not named <= here or not traced <= named


def _is_ours(resource: Json, ours: str) -> bool:
    listed = (*resource.get("identifier", ()), *resource.get("meta", {}).get("tag", ()))
    return any(isinstance(one, dict) and one.get("system") == ours for one in listed)


def _address(resource: Json) -> str:
    return f"{resource.get('resourceType')}/{resource.get('id')}"


def _token(system: str, value: str) -> str:
    return f"{escaped(system)}|{escaped(value)}"
