"""Rules of R4's own text that its definitions do not carry as invariants, and check digits of codes."""

from __future__ import annotations

import base64
import functools
import hashlib
import re
from collections.abc import Mapping
from typing import Any, Final

from lda_notes.fhir.verify.faults import Fault, Found, shown
from lda_notes.fhir.verify.primitives import code_is_possible
from lda_notes.fhir.verify.scope import Scope
from lda_notes.fhir.verify.structure import Rule

Object = Mapping[str, Any]

_TYPE_IN_URL: Final = re.compile(r"(?:https?://\S*?/|/)?(?P<type>[A-Z][A-Za-z]+)(?=[/?]|$)")

_possible = functools.lru_cache(maxsize=4096)(code_is_possible)


def _check_digit(value: Object, _: Scope) -> Found:
    system, code = value.get("system"), value["code"]
    if not isinstance(system, str) or _possible(system, code):
        return None
    message = f"{shown(code)} fails the check digit of {system}: no such code can exist."
    return [Fault("check-digit", code, message, "Look the code up again.").at("code")]


def _request_url(value: Object, _: Scope) -> Found:
    """R4, http.html: a create goes to the type, an update to the type with an id or a search."""
    request, resource = value["request"], value.get("resource")
    url, method = request.get("url"), request.get("method")
    if resource is None or method not in ("POST", "PUT") or not isinstance(url, str) or "$" in url:
        return None
    kind = resource.get("resourceType")
    if method == "POST" and url == kind:
        return None
    match = _TYPE_IN_URL.match(url)
    if match is None or match["type"] != kind:
        message = f"The {method} goes to {shown(url)}, but the resource is a {kind}."
        return [Fault("request-url", url, message, f"Send it to {kind}.").at("url", "request")]
    if method == "PUT" and url.rstrip("/").endswith(str(kind)):
        message = f"The PUT goes to {shown(url)} without an id or a search."
        return [Fault("condition", url, message, f"Send it to {kind}?identifier=system|value.").at("url", "request")]
    return None


def _full_url(value: Object, _: Scope) -> Found:
    """R4, bundle.html: the fullUrl does not disagree with the id in the resource."""
    url, resource = value["fullUrl"], value.get("resource") or {}
    own = resource.get("id")
    if own is None or not url.startswith("http") or url.endswith(f"/{resource.get('resourceType')}/{own}"):
        return None
    message = f"fullUrl {shown(url)} disagrees with the id {shown(own)}."
    return [Fault("full-url", url, message, "Make them the same.").at("fullUrl")]


def _attachment(value: Object, _: Scope) -> Found:
    """R4, datatypes.html: size counts the bytes of the content before base64, hash is its SHA-1."""
    if "size" not in value and "hash" not in value:
        return None
    try:
        content = base64.b64decode("".join(value["data"].split()), validate=True)
    except ValueError:
        return None  # The data have their own fault.
    found = []
    if value.get("size", len(content)) != len(content):
        message = f"size is {value['size']}, but the data hold {len(content)} bytes."
        found.append(Fault("attachment-size", value["size"], message, "Send the right size.").at("size"))
    if "hash" in value:
        digest = base64.b64encode(hashlib.sha1(content, usedforsecurity=False).digest()).decode()
        if value["hash"] != digest:
            message = f"hash is not the SHA-1 of the data, {digest}."
            found.append(Fault("attachment-hash", value["hash"], message, "Send the right hash.").at("hash"))
    return found or None


def base_rules() -> tuple[Rule, ...]:
    """Return the rules that hold for every R4 bundle."""
    return (
        Rule("check-digit", "Coding", frozenset({"code"}), _check_digit),
        Rule("request-url", "Bundle.entry", frozenset({"request"}), _request_url),
        Rule("full-url", "Bundle.entry", frozenset({"fullUrl"}), _full_url),
        Rule("attachment", "Attachment", frozenset({"data"}), _attachment),
    )
