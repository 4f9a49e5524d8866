"""A server in a few rows: what R4 says of conditional creates and updates in a transaction, and nothing else.

Written from the RESTful API of R4 (http.html, sections on create, update and transaction), not from the product.
Resources are kept under (type, number); a search is by identifier, or by tag where the condition says so.
"""

from __future__ import annotations

import copy
import itertools
from typing import Any

Key = tuple[str, int]


class Server:
    def __init__(self) -> None:
        self.held: dict[Key, Any] = {}
        self.versions: dict[Key, int] = {}
        self._numbers = itertools.count(1)

    def transact(self, bundle: dict[str, Any]) -> None:
        """All or nothing: conditions are looked up first, then every reference is turned into one to the server."""
        places: dict[str, Key] = {}
        writes: list[tuple[Key, dict[str, Any]]] = []
        for entry in bundle["entry"]:
            kind, request = entry["resource"]["resourceType"], entry["request"]
            creates = request["method"] == "POST"
            condition = request["ifNoneExist"] if creates else request["url"].partition("?")[2]
            found = self._search(kind, condition)
            if len(found) > 1:
                raise AssertionError("412: more than one match")
            place = found[0] if found else (kind, next(self._numbers))
            places[entry["fullUrl"]] = place
            if not (creates and found):
                writes.append((place, entry["resource"]))
        for place, resource in writes:
            resolved = _resolved(copy.deepcopy(resource), places)
            if self.held.get(place) != resolved:
                self.held[place] = resolved
                self.versions[place] = self.versions.get(place, 0) + 1

    def _search(self, kind: str, condition: str) -> list[Key]:
        parameter, _, token = condition.partition("=")
        system, _, value = token.partition("|")
        return [key for key, held in self.held.items() if key[0] == kind and _matches(held, parameter, system, value)]

    def state(self) -> dict[str, Any]:
        """What is held, by identity and with references by identity, so that two servers can be compared."""
        names = {f"{kind}/{number}": _name(held) for (kind, number), held in self.held.items()}
        return {_name(held): _renamed(held, names) for held in self.held.values()}


def _matches(held: dict[str, Any], parameter: str, system: str, value: str) -> bool:
    if parameter == "_tag":
        return any(one == {"system": system, "code": value} for one in held.get("meta", {}).get("tag", ()))
    return any(one.get("system") == system and one.get("value") == value for one in held.get("identifier", ()))


def _name(held: dict[str, Any]) -> str:
    if held["resourceType"] == "Provenance":
        return f"Provenance {held['meta']['tag'][0]['code']}"
    return f"{held['resourceType']} {held['identifier'][0]['value']}"


def _resolved(value: Any, places: dict[str, Key]) -> Any:
    if isinstance(value, dict):
        reference = value.get("reference")
        if isinstance(reference, str) and reference.startswith("urn:uuid:"):
            kind, number = places[reference]
            value["reference"] = f"{kind}/{number}"
        return {key: _resolved(held, places) for key, held in value.items()}
    return [_resolved(held, places) for held in value] if isinstance(value, list) else value


def _renamed(value: Any, names: dict[str, str]) -> Any:
    if isinstance(value, dict):
        return {
            key: names.get(held, held) if key == "reference" else _renamed(held, names) for key, held in value.items()
        }
    return [_renamed(held, names) for held in value] if isinstance(value, list) else value
