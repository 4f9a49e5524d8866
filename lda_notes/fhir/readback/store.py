"""Resources as a server would hold them after taking bundles, so that they can be read by identity.

Transactions are applied with their conditions: what is created on condition is kept when it is there, an update
replaces it. Search results and collections are taken as they are.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any, Final

from lda_notes.fhir.config import Config
from lda_notes.fhir.elements import Json

_LITERAL: Final = re.compile(r"(?:\S*/)?([A-Z][A-Za-z]+/[A-Za-z0-9.-]{1,64})(?:/_history/\S+)?")


class Store:
    """Resources by identity, and what references to them look like."""

    def __init__(self, config: Config) -> None:
        self._config = config
        self._resources: dict[str, Json] = {}
        self._aliases: dict[str, str] = {}

    def take(self, bundle: Json) -> None:
        """Take a bundle, as a server would if it is a transaction."""
        for entry in bundle.get("entry", ()):
            resource = entry.get("resource")
            if not isinstance(resource, dict):
                continue
            key = self._key(resource, entry)
            for alias in _aliases(resource, entry):
                self._aliases[alias] = key
            creates = entry.get("request", {}).get("method") == "POST"
            if not (creates and key in self._resources):
                self._resources[key] = resource

    def _key(self, resource: Json, entry: Json) -> str:
        """The identity of ours, or for resources that are not ours their first identifier."""
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
        """The resource with an identity of ours."""
        return self._resources.get(name)

    def all(self, kind: str) -> Iterator[Json]:
        """Every resource of a type, in the order in which they came."""
        return (one for one in self._resources.values() if one.get("resourceType") == kind)

    def name_at(self, reference: Json) -> str | None:
        """The identity that a reference points to, literally or by identifier; None when nothing here has it."""
        named = reference.get("identifier", {})
        if named.get("system") == self._config.systems.identity and named.get("value") in self._resources:
            return str(named["value"])
        address = str(reference.get("reference", ""))
        literal = _LITERAL.fullmatch(address)
        return self._aliases.get(address) or (self._aliases.get(literal[1]) if literal else None)

    def at(self, reference: Json | None) -> Json | None:
        """The resource that a reference points to, if it is here."""
        name = self.name_at(reference) if reference is not None else None
        return self._resources.get(name) if name is not None else None


def _aliases(resource: Json, entry: Json) -> Iterator[str]:
    full_url: Any = entry.get("fullUrl")
    if isinstance(full_url, str):
        yield full_url
    if "id" in resource:
        yield f"{resource.get('resourceType')}/{resource['id']}"


def stored(bundles: Iterable[Json], config: Config) -> Store:
    """The store that a row of bundles leaves."""
    store = Store(config)
    for bundle in bundles:
        store.take(bundle)
    return store
