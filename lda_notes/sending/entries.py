"""The entries of a transaction bundle, each with the identity that its condition names."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from lda_notes.fhir.identity import ABOUT
from lda_notes.fhir.tokens import escaped, read_token

Json = dict[str, Any]


@dataclass(frozen=True, slots=True, order=True)
class Identity:
    """The key of a resource: its type, the search parameter (``identifier`` or ``_tag``), system and value."""

    kind: str
    parameter: str
    system: str
    value: str

    def token(self) -> str:
        """Return the value of the search parameter, its own signs escaped (R4, "Escaping Search Parameters")."""
        return f"{escaped(self.system)}|{escaped(self.value)}"

    def names(self, resource: Mapping[str, Any]) -> bool:
        """Return whether a resource carries this identity."""
        if resource.get("resourceType") != self.kind:
            return False
        if self.parameter == "_tag":
            tags = objects_of(object_of(resource.get("meta")).get("tag"))
            return any(one.get("system") == self.system and one.get("code") == self.value for one in tags)
        return any(
            one.get("system") == self.system and one.get("value") == self.value
            for one in objects_of(resource.get("identifier"))
        )


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry: created unless its identity is there (POST), or brought to a state by its identity (PUT).

    ``condition`` is the search for its identity as the bundle writes it.
    """

    index: int
    full_url: str
    method: Literal["POST", "PUT"]
    identity: Identity
    condition: str
    resource: Json


class NotSafe(Exception):
    """A bundle that cannot be sent twice without doubling or losing something; ``str()`` says why."""


def entries(bundle: Any) -> tuple[Entry, ...]:
    """Return every entry of a transaction. Raises `NotSafe` when sending it twice could double or lose anything."""
    if not isinstance(bundle, dict) or bundle.get("resourceType") != "Bundle" or bundle.get("type") != "transaction":
        raise NotSafe("it is no FHIR transaction bundle")
    listed = bundle.get("entry")
    if not isinstance(listed, list) or not listed:
        raise NotSafe("it has no entries")
    found = tuple(_entry(index, one) for index, one in enumerate(listed))
    if len({one.identity for one in found}) < len(found):
        raise NotSafe("two of its entries have one identity")
    return found


def _entry(index: int, value: Any) -> Entry:
    entry = object_of(value)
    resource, request, url = object_of(entry.get("resource")), object_of(entry.get("request")), entry.get("fullUrl")
    kind, method = resource.get("resourceType"), request.get("method")
    condition: Any = None
    if method == "POST":
        condition = request.get("ifNoneExist")
    elif method == "PUT":
        condition = str(request.get("url", "")).partition("?")[2]
    if isinstance(kind, str) and isinstance(url, str) and isinstance(condition, str) and "&" not in condition:
        parameter, _, token = condition.partition("=")
        named = read_token(token)
        if named is not None and parameter in ("identifier", "_tag"):
            assert method in ("POST", "PUT")
            return Entry(index, url, method, Identity(kind, parameter, *named), condition, resource)
    raise NotSafe(f"entry {index + 1} has no condition that names its identity")


# -- what a bundle says of itself --


def events(bundle: Any) -> dict[str, str]:
    """Return the entry of the record behind each entry of a bundle, by ``fullUrl``, as its Provenances say it.

    What no Provenance points to belongs to the event of the bundle when it has one alone.
    """
    listed = [object_of(one) for one in objects_of(object_of(bundle).get("entry"))]
    found: dict[str, str] = {}
    named: list[str] = []
    for entry in listed:
        resource = object_of(entry.get("resource"))
        if resource.get("resourceType") != "Provenance":
            continue
        source = next(entries_named(resource), None)
        if source is None:
            continue
        event = source.partition("/")[2] or source
        named.append(event)
        found.setdefault(str(entry.get("fullUrl")), event)
        for target in objects_of(resource.get("target")):
            found.setdefault(str(target.get("reference")), event)
    if len(set(named)) == 1:
        for entry in listed:
            found.setdefault(str(entry.get("fullUrl")), named[0])
    return found


def entries_named(provenance: Json) -> Iterator[str]:
    """Yield the entries of records that a Provenance names as its source: port, episode and event."""
    for entity in objects_of(provenance.get("entity")):
        value = object_of(object_of(entity.get("what")).get("identifier")).get("value")
        if entity.get("role") == "source" and isinstance(value, str):
            yield value


def line_of(bundle: Any) -> str | None:
    """Return the identity of the port, and with it of the patient, whose record a bundle is of; None for no one."""
    listed = [object_of(one.get("resource")) for one in objects_of(object_of(bundle).get("entry"))]
    provenances = [one for one in listed if one.get("resourceType") == "Provenance"]
    named = {value.partition("/")[0] for one in provenances for value in entries_named(one) if "/" in value}
    return named.pop() if len(named) == 1 else None


def references(value: Any) -> Iterator[str]:
    """Yield every literal reference in a value."""
    if isinstance(value, dict):
        if isinstance(value.get("reference"), str):
            yield value["reference"]
        value = list(value.values())
    for one in value if isinstance(value, list) else ():
        yield from references(one)


def patient_of(resource: Mapping[str, Any]) -> Json | None:
    """Return the reference to the patient of a resource; None when it has none."""
    for element in ABOUT:
        if isinstance(resource.get(element), dict):
            return object_of(resource[element])
    return None


def object_of(value: Any) -> Json:
    """``value`` if it is a JSON object, else an empty one: what comes from outside may have any shape."""
    return value if isinstance(value, dict) else {}


def objects_of(value: Any) -> list[Json]:
    """Return the JSON objects in ``value`` if it is a list, else none."""
    return [one for one in value if isinstance(one, dict)] if isinstance(value, list) else []


def called(resource: Mapping[str, Any]) -> str:
    """Return what a resource is, in words that hold nothing about the patient: its type and what it is coded as."""
    kind = str(resource.get("resourceType", "entry"))
    for element in ("code", "type", "medicationCodeableConcept"):
        text = object_of(resource.get(element)).get("text")
        if isinstance(text, str):
            return f"{kind} ({text})"
    return kind
