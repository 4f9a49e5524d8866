"""Resources by type, as a server has them after every transaction: the form that bulk import takes.

Ids are literal: the UUID by which the bundles name a resource. References lead to them by type and id.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from lda_notes.fhir.config import Config
from lda_notes.fhir.elements import Json

_URN: Final = "urn:uuid:"


def by_id(bundles: Iterable[Json], config: Config) -> dict[str, Json]:
    """Return the resources that ``bundles``, made with context, leave on a server that had none, by literal id.

    A resource that is created on condition stays as the first bundle made it; one that is updated is as the last
    bundle left it, as with the transactions themselves.
    """
    found: dict[str, Json] = {}
    for bundle in bundles:
        for entry in bundle["entry"]:
            name = entry["fullUrl"].removeprefix(_URN)
            if entry["request"]["method"] == "PUT" or name not in found:
                found[name] = entry["resource"]
    kinds = {name: str(resource["resourceType"]) for name, resource in found.items()}
    made: dict[str, Json] = {}
    for name, resource in found.items():
        literal = _literal(resource, kinds, config.systems.identity)
        made[name] = {"resourceType": kinds[name], "id": name, **literal}
    return made


def _literal(value: Any, kinds: dict[str, str], system: str) -> Any:
    if isinstance(value, list):
        return [_literal(one, kinds, system) for one in value]
    if not isinstance(value, dict):
        return value
    made = {key: _literal(one, kinds, system) for key, one in value.items()}
    name = _named(value, system)
    return {**made, "reference": f"{kinds[name]}/{name}"} if name is not None and name in kinds else made


def _named(value: Json, system: str) -> str | None:
    """Return the UUID of the resource that a reference leads to, literally or by our identifier."""
    reference, identifier = value.get("reference"), value.get("identifier")
    if isinstance(reference, str) and reference.startswith(_URN):
        return reference.removeprefix(_URN)
    if isinstance(identifier, dict) and identifier.get("system") == system:
        return str(identifier.get("value"))
    return None
