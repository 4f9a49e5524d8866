"""References: how they are written, whether they resolve in the bundle, and which type they point to."""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping
from typing import Any, Final

from lda_notes.fhir.verify.definitions import load
from lda_notes.fhir.verify.faults import Fault, Found, shown
from lda_notes.fhir.verify.scope import Scope

# The literal and versioned forms of the R4 RESTful API, with or without a server's address before them.
_LITERAL: Final = re.compile(
    r"(?P<base>https?://\S+/)?(?P<type>[A-Z][A-Za-z]+)/[A-Za-z0-9.\-]{1,64}(/_history/[A-Za-z0-9.\-]{1,64})?"
)
_CONDITIONAL: Final = re.compile(r"(?P<type>[A-Z][A-Za-z]+)\?[^\s=&]+=[^\s&]+(&[^\s=&]+=[^\s&]+)*")
_FORMS: Final = "Type/id, urn:uuid: of an entry, or a search such as Type?identifier=system|value"


@functools.lru_cache(maxsize=4096)
def literal_type(reference: str) -> str | None:
    """Return the resource type that a relative or absolute literal reference names; None for any other form."""
    match = _LITERAL.fullmatch(reference)
    return match["type"] if match and match["type"] in load().resources else None


def _malformed(reference: str) -> list[Fault]:
    message = f"{shown(reference)} is no reference of a form that R4 knows."
    return [Fault("reference-form", reference, message, f"Write it as {_FORMS}.").at("reference")]


def _nowhere(reference: str, what: str) -> list[Fault]:
    message = f"{shown(reference)} is {what}."
    return [Fault("reference-unresolved", reference, message, "Add the entry, or point elsewhere.").at("reference")]


def _target(reference: str, scope: Scope) -> str | list[Fault]:
    """Return the type that a reference points to, empty when nothing says; or what is wrong with it."""
    if reference.startswith("#"):
        if reference == "#":
            return str((scope.root or {}).get("resourceType", ""))
        inside = scope.contained.get(reference[1:])
        if inside is None:
            message = f"{shown(reference)} is not contained in the resource."
            return [Fault("ref-1", reference, message, "Contain it, or point elsewhere.").at("reference")]
        return inside
    known = scope.types.get(reference)
    if known is not None:
        return known
    if reference.startswith("urn:"):
        # Outside a transaction a server may know the name already.
        return _nowhere(reference, "no fullUrl in this bundle") if scope.is_transaction else ""
    literal = literal_type(reference)
    if literal is not None:
        return literal
    if reference.startswith(("http://", "https://")):
        return ""
    conditional = _CONDITIONAL.fullmatch(reference)
    if conditional and conditional["type"] in load().resources and scope.is_transaction:
        return conditional["type"]
    return _malformed(reference)


def reference_faults(value: Mapping[str, Any], allowed: frozenset[str], scope: Scope) -> Found:
    """Return what is wrong with a Reference of the right shape whose element allows these types (none means any)."""
    reference = value.get("reference")
    named = value.get("type")
    points_to = ""
    if reference is not None:
        target = scope.types.get(reference) or _target(reference, scope)
        if isinstance(target, list):
            return target
        points_to = target
    elif named is None:
        return None
    if named is not None and named not in load().resources and ":" not in named:
        message = f"{shown(named)} is no resource type of FHIR R4."
        return [Fault("reference-type", named, message, "Name the type of the target.").at("type")]
    if named is not None and points_to and named != points_to:
        message = f"The reference says {named}, but points to type {points_to}."
        return [Fault("reference-type", named, message, "Name the type that it points to.").at("type")]
    seen = points_to or named
    if seen and allowed and seen not in allowed:
        message = f"The reference points to type {seen}; here it must be one of {', '.join(sorted(allowed))}."
        return [Fault("reference-target", reference, message, "Point to one of these types.").at("reference")]
    return None
