"""Identity in our bundles: what makes sending one twice, or in any order, change nothing.

Every entry is created or updated on a condition that names its own identity. Facts of one event are created
unless they are there; what a later event changed, or what was wrong, is updated by a search for its identity.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

from lda_notes.fhir.elements import text_of
from lda_notes.fhir.tokens import read_token
from lda_notes.fhir.verify.faults import Fault, Found, says, shown
from lda_notes.fhir.verify.scope import Scope
from lda_notes.fhir.verify.structure import Rule

Object = Mapping[str, Any]

CONTEXT_TYPES: Final = frozenset({"Patient", "Practitioner", "Encounter", "Organization", "Location"})
"""Resources that are not ours: created on their own identifiers when asked to, never updated."""

IN_ERROR: Final = "entered-in-error"

UPDATED: Final[Mapping[str, frozenset[str]]] = {
    "Encounter": frozenset({"finished"}),
    "Procedure": frozenset({"entered-in-error"}),
    "Device": frozenset({"inactive", "entered-in-error"}),
    "DeviceUseStatement": frozenset({"completed", "entered-in-error"}),
    "Observation": frozenset({"amended", "corrected", "entered-in-error"}),
    "MedicationAdministration": frozenset({"entered-in-error"}),
    "Task": frozenset({"completed", "cancelled", "entered-in-error"}),
    "ServiceRequest": frozenset({"completed", "revoked", "entered-in-error"}),
    "Flag": frozenset({"inactive", "entered-in-error"}),
    "AllergyIntolerance": frozenset({"inactive", "entered-in-error"}),
    "Condition": frozenset({"entered-in-error"}),
    "List": frozenset({"entered-in-error"}),
    "DocumentReference": frozenset({"superseded", "entered-in-error"}),
}
"""Statuses that only an update can reach: a create on condition would leave what the server already has."""


def status_of(resource: Object) -> str:
    """Return the status of a resource: for allergies and conditions, that they are in error or withdrawn."""
    said = resource.get("status")
    if said is None:
        for key in ("verificationStatus", "clinicalStatus"):
            for coding in (resource.get(key) or {}).get("coding", ()):
                if coding.get("code") in (IN_ERROR, "inactive"):
                    return str(coding["code"])
    return str(said)


def needs_update(resource: Object) -> bool:
    """Return whether only an update can leave a server with this status. Supplies are used up when they are charted."""
    kind = resource.get("resourceType")
    if kind == "Device" and resource.get("status") == "inactive":
        return str((resource.get("type") or {}).get("text")) in _LASTING
    return status_of(resource) in UPDATED.get(str(kind), ())


EMITTED: Final = CONTEXT_TYPES | UPDATED.keys() | {"Provenance"}
"""Every resource type of ours."""

_LASTING: Final = frozenset({text_of("port"), text_of("needle"), text_of("other needle")})
_URN_UUID: Final = "urn:uuid:"
_UNTRACED: Final = CONTEXT_TYPES | {"Device", "Provenance", "List"}

Identity = tuple[str, str, str]
"""The search parameter, the system and the value."""


def _identity(condition: object) -> Identity | None:
    """Return what a condition such as ``identifier=system|value`` searches for; None when it is not of that form."""
    if not isinstance(condition, str) or "&" in condition:
        return None
    parameter, _, token = condition.partition("=")
    found = read_token(token)
    return (parameter, *found) if found else None


def _entry(value: Object, _: Scope) -> Found:
    resource, request, url = value.get("resource"), value.get("request"), value.get("fullUrl")
    if resource is None or request is None or url is None:
        return None  # A missing part has its own fault.
    if _is_plain_create(resource, request, url):
        return None
    found = []
    if not url.startswith(_URN_UUID):
        message = f"{shown(url)} is no urn:uuid."
        found.append(says("full-url", url, message, "Send urn:uuid: and the identity.", "fullUrl"))
    if "id" in resource:
        message = "The resource has an id; the server gives it one."
        found.append(says("no-id", resource["id"], message, "Leave the id out.", "id", "resource"))
    if resource.get("resourceType") not in EMITTED:
        message = f"{resource.get('resourceType')} is a resource type that we do not send."
        found.append(says("not-emitted", resource.get("resourceType"), message, "Leave it out.", "resource"))
    found += _conditions(resource, request, url)
    return found or None


def _is_plain_create(resource: Object, request: Object, url: str) -> bool:
    """Return the usual case, seen at once: one of ours, created on its own identity, which is its fullUrl."""
    if request.get("method") != "POST" or "id" in resource or not url.startswith(_URN_UUID):
        return False
    kind = resource["resourceType"]
    if kind not in UPDATED or needs_update(resource):
        return False
    listed = resource.get("identifier")
    if not listed or listed[0].get("value") != url[9:]:
        return False
    return bool(request.get("ifNoneExist") == f"identifier={listed[0].get('system')}|{url[9:]}")


def _condition(request: Object) -> tuple[str, str]:
    """Return where a request carries its condition, and the condition; empty when there is none."""
    if request.get("method") == "PUT":
        return "url", request.get("url", "").partition("?")[2]
    return "ifNoneExist", request.get("ifNoneExist", "")


def _conditions(resource: Object, request: Object, url: str) -> Iterator[Fault]:
    kind, method = str(resource.get("resourceType")), request.get("method")
    if method not in ("POST", "PUT"):
        message = f"The method is {shown(method)}; we create (POST) and update (PUT)."
        yield says("condition", method, message, "Send POST or PUT.", "method", "request")
        return
    step, condition = _condition(request)
    if method == "PUT" and kind in CONTEXT_TYPES and kind != "Encounter":
        message = f"{kind} is not ours to update."
        yield says("condition", method, message, "Create it on condition.", "method", "request")
    if method == "POST" and needs_update(resource):
        message = f"A {kind} that is {status_of(resource)} is created on condition: a server keeps its old one."
        yield says("condition", method, message, "Update it (PUT) by its identity.", "method", "request")
    identity = _identity(condition)
    if identity is None:
        message = f"The {method} has no condition of the form identifier=system|value."
        yield says("condition", condition, message, "Name the identity of the resource.", step, "request")
    elif not _is_own(identity, resource, kind):
        message = f"The condition {shown(condition)} names no identity of this resource."
        yield says("condition", condition, message, "Name its own identity.", step, "request")
    elif kind not in CONTEXT_TYPES and url != _URN_UUID + identity[2]:
        message = f"fullUrl {shown(url)} and the identity {shown(identity[2])} differ."
        yield says("identity", url, message, "Make fullUrl of the identity.", "fullUrl")


def _is_own(identity: Identity, resource: Object, kind: str) -> bool:
    parameter, system, value = identity
    if kind == "Provenance":
        # R4 gives Provenance no identifier, neither as an element nor as a search parameter.
        tags = resource.get("meta", {}).get("tag", ())
        return parameter == "_tag" and any(tag.get("system") == system and tag.get("code") == value for tag in tags)
    return parameter == "identifier" and any(
        one.get("system") == system and one.get("value") == value for one in resource.get("identifier", ())
    )


def _bundle(value: Object, _: Scope) -> Found:
    found = []
    if value.get("type") != "transaction":
        message = f"The bundle is a {shown(value.get('type'))}, not a transaction."
        found.append(says("transaction", value.get("type"), message, "Send a transaction.", "type"))
    targets = {
        target.get("reference")
        for entry in value.get("entry", ())
        if (resource := entry.get("resource")) and resource.get("resourceType") == "Provenance"
        for target in resource.get("target", ())
    }
    seen: dict[tuple[str, str], int] = {}
    for index, entry in enumerate(value.get("entry", ())):
        kind = (entry.get("resource") or {}).get("resourceType", "")
        step, condition = _condition(entry.get("request") or {})
        first = seen.setdefault((kind, condition), index) if condition else index
        if first != index:
            message = f"The identity {shown(condition)} is that of entry {first} as well."
            found.append(says("identity", condition, message, "Send it once.", step, "request", index, "entry"))
        if kind not in _UNTRACED and entry.get("fullUrl") not in targets:
            message = f"No Provenance of the bundle names this {kind or 'entry'} as its target."
            found.append(says("provenance", entry.get("fullUrl"), message, "Add it.", index, "entry"))
    found += _other_patients(value)
    return found or None


ABOUT: Final = ("subject", "patient", "for")
"""The elements of our resources that name the patient."""


def _other_patients(bundle: Object) -> Iterator[Fault]:
    """Faults of a bundle that speaks of two patients, at each resource that names another one than the first."""
    first: str | None = None
    for index, entry in enumerate(bundle.get("entry", ())):
        for step, named in _patients(entry):
            first = first or named
            if named != first:
                message = f"The bundle speaks of two patients: {shown(first)} and {shown(named)}."
                yield says(
                    "two-patients", named, message, "Send one patient to a bundle.", step, "resource", index, "entry"
                )


def _patients(entry: Object) -> Iterator[tuple[str, str]]:
    """Yield the patients that an entry names, each with the element that does."""
    resource = entry.get("resource") or {}
    if resource.get("resourceType") == "Patient":
        yield "identifier", str(entry.get("fullUrl"))
    for step in ABOUT:
        about = resource.get(step)
        if isinstance(about, dict):
            number = about.get("identifier") or {}
            yield step, str(about.get("reference") or f"{number.get('system')}|{number.get('value')}")


def identity_rules() -> list[Rule]:
    """Return the rules of identity, for entries and for the whole bundle."""
    always: frozenset[str] = frozenset()
    return [Rule("condition", "Bundle.entry", always, _entry), Rule("identity", "Bundle", always, _bundle)]
