"""Resources as a server would have them after taking bundles, so that they can be read by identity.

Transactions are applied with their conditions: what is created on condition is kept when it is there, an update
replaces it. Search results and collections are taken as they are.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any, Final, NamedTuple

from lda_notes.fhir.config import Config
from lda_notes.fhir.elements import Json
from lda_notes.fhir.verify.structure import not_understood

_LITERAL: Final = re.compile(r"(?:\S*/)?([A-Z][A-Za-z]+/[A-Za-z0-9.-]{1,64})(?:/_history/\S+)?")


FACTS: Final = frozenset({"Procedure", "Observation", "MedicationAdministration", "DeviceUseStatement"})
"""Types of which each resource is of one entry of a record, and says what happened."""

TWICE: Final = "two resources with this identity differ"


class Refused(NamedTuple):
    """A resource that must not be read, and why."""

    resource: Json
    why: str


class Store:
    """Resources by identity, and what references to them look like. ``refused`` are those that must not be read."""

    def __init__(self, config: Config) -> None:
        self._config = config
        self._resources: dict[str, Json] = {}
        self._aliases: dict[str, str] = {}
        self._seen: dict[tuple[str, str], Json] = {}
        self._lists: dict[str, list[Json]] = {}
        self.refused: dict[str, Refused] = {}

    def take(self, bundle: Json) -> None:
        """Take a bundle, as a server would if it is a transaction."""
        whole = not_understood({key: value for key, value in bundle.items() if key != "entry"})
        here: dict[tuple[str, str], Json] = {}
        for entry in bundle.get("entry", ()):
            resource = entry.get("resource")
            if not isinstance(resource, dict):
                continue
            key = self._key(resource, entry)
            for alias in _aliases(resource, entry):
                self._aliases[alias] = key
            if resource.get("resourceType") == "List":
                self._lists.setdefault(key, []).append(resource)
            method = str(entry.get("request", {}).get("method", ""))
            why = whole or not_understood(entry) or self._twice(key, method, resource, here)
            if why is not None:
                self._resources.setdefault(key, resource)
                self.refuse(key, why)
            elif key not in self.refused and not (method == "POST" and key in self._resources):
                self._resources[key] = resource

    def refuse(self, name: str, why: str) -> None:
        """Take a resource out, so that nothing of it is read, and keep why."""
        resource = self._resources.pop(name, None)
        if resource is not None:
            self.refused[name] = Refused(resource, why.rstrip("."))

    def _twice(self, key: str, method: str, resource: Json, here: dict[tuple[str, str], Json]) -> str | None:
        """Return why a resource cannot be told from another one of the same identity; None where only one is said.

        What is updated (PUT) in one bundle and again in another is as the later one says.
        """
        kind = resource.get("resourceType")
        if kind != "Patient" and not self._is_own(resource):
            return None
        seen = self._seen if kind in FACTS and method != "PUT" else here
        first = seen.setdefault((key, method), resource)
        return TWICE if _bare(first) != _bare(resource) else None

    def _is_own(self, resource: Json) -> bool:
        listed = (*resource.get("identifier", ()), *resource.get("meta", {}).get("tag", ()))
        return any(one.get("system") == self._config.systems.identity for one in listed)

    def _key(self, resource: Json, entry: Json) -> str:
        """Return the identity of ours, or for resources that are not ours their first identifier."""
        own = self._config.systems.identity
        if resource.get("resourceType") == "Provenance":
            for tag in resource.get("meta", {}).get("tag", ()):
                if tag.get("system") == own:
                    return str(tag.get("code"))
        identifiers = resource.get("identifier", ())
        for one in identifiers:
            if one.get("system") == own:
                return str(one.get("value"))
        kind = resource.get("resourceType")
        if identifiers:
            return f"{kind}|{identifiers[0].get('system')}|{identifiers[0].get('value')}"
        return str(entry.get("fullUrl") or f"{kind}/{resource.get('id')}")

    def own(self, name: str) -> Json | None:
        """Return the resource with an identity of ours."""
        return self._resources.get(name)

    def lists(self, name: str) -> list[Json]:
        """Return a List as each bundle has it: a server keeps the first one."""
        return self._lists.get(name, [])

    def owned(self) -> Iterator[tuple[str, Json]]:
        """Return every resource with an identity of ours, with that identity."""
        return ((name, one) for name, one in self._resources.items() if self._is_own(one))

    def all(self, kind: str) -> Iterator[Json]:
        """Return every resource of a type, in the order in which they came."""
        return (one for one in self._resources.values() if one.get("resourceType") == kind)

    def name_at(self, reference: Json) -> str | None:
        """Return the identity that a reference points to, literally or by identifier; None when nothing here has it."""
        named = reference.get("identifier", {})
        value = str(named.get("value"))
        if named.get("system") == self._config.systems.identity and (value in self._resources or value in self.refused):
            return value
        address = str(reference.get("reference", ""))
        literal = _LITERAL.fullmatch(address)
        return self._aliases.get(address) or (self._aliases.get(literal[1]) if literal else None)

    def at(self, reference: Json | None) -> Json | None:
        """Return the resource that a reference points to, if it is here."""
        name = self.name_at(reference) if reference is not None else None
        return self._resources.get(name) if name is not None else None


def _bare(resource: Json) -> Json:
    """Return a resource without what a server gives it."""
    made = {key: value for key, value in resource.items() if key not in ("id", "meta")}
    return made | {"tag": resource.get("meta", {}).get("tag")}


def _aliases(resource: Json, entry: Json) -> Iterator[str]:
    full_url: Any = entry.get("fullUrl")
    if isinstance(full_url, str):
        yield full_url
    if "id" in resource:
        yield f"{resource.get('resourceType')}/{resource['id']}"


def stored(bundles: Iterable[Json], config: Config) -> Store:
    """Return the store that a row of bundles leaves."""
    store = Store(config)
    for bundle in bundles:
        store.take(bundle)
    return store
