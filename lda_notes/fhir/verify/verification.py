"""Verifies a FHIR R4 bundle: the official definitions first, then our own profile of them.

``verify`` judges a bundle that was built or read already, ``verify_json`` the bytes of a file. Both return every
fault that they find and raise nothing on any input. What the models of a general library find as well is in
``models.py``; they are not imported here.
"""

from __future__ import annotations

import functools
import json
from collections import Counter
from decimal import Decimal
from typing import Any, Final, Literal, TypeGuard

from lda_notes.fhir.verify.base_rules import base_rules
from lda_notes.fhir.verify.definitions import load, load_all
from lda_notes.fhir.verify.faults import BundleFault, Fault, kind
from lda_notes.fhir.verify.invariants import invariant_rules
from lda_notes.fhir.verify.profile import ALWAYS_SENT, profile_rules
from lda_notes.fhir.verify.scope import Scope
from lda_notes.fhir.verify.structure import Check, Compiler

_DEEPEST: Final = "The file is nested too deep to be read."


@functools.cache
def _check_of(kind: Literal["Bundle", "Resource"], house: bool) -> Check:
    rules = [*invariant_rules(), *base_rules()]
    if not house:
        return Compiler(load_all(), rules, {}).check(kind)
    return Compiler(load(), rules + profile_rules(), ALWAYS_SENT).check(kind)


def verify(bundle: object, *, house: bool = True, rows: bool = False) -> tuple[BundleFault, ...]:
    """Return every fault of a bundle, in the order of its entries; empty when a strict R4 server can take it.

    With ``rows`` a resource of another type is judged by itself: a row of bulk data.

    ``house`` adds the profile of the bundles that this program makes: identities, conditions, statuses, units,
    verified codes. Without it any R4 bundle is judged by R4 alone, types that we do not send by their structure. Rules
    about an object wait until its shape is right, so a second run may find what a first one could not read.
    """
    name = bundle.get("resourceType") if isinstance(bundle, dict) else None
    is_row = rows and isinstance(name, str) and name != "Bundle" and name in load().resources
    try:
        found = _check_of("Resource" if is_row else "Bundle", house)(bundle, Scope(bundle))
    except RecursionError:
        found = [Fault("depth", bundle, _DEEPEST, "Send a bundle without endless nesting.")]
    return tuple(sorted((fault.closed() for fault in found or ()), key=_order))


def _order(fault: BundleFault) -> tuple[int, list[str]]:
    return (-1 if fault.entry is None else fault.entry, [str(step).zfill(4) for step in fault.path])


class _Doubles(Exception):
    """A JSON object with a key that stands twice."""


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    built = dict(pairs)
    if len(built) != len(pairs):
        counted = Counter(key for key, _ in pairs)
        raise _Doubles(next(key for key, number in counted.items() if number > 1))
    return built


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no JSON number")


_MOST_PLACES: Final = 1000
_TOO_LONG: Final = "A number has more digits than can be read"


def _decimal(text: str) -> Decimal:
    """Return a decimal as written. Raises `ValueError` for 1e999999999, which is endless in digits."""
    number = Decimal(text)
    if abs(number.adjusted()) > _MOST_PLACES:
        raise ValueError(_TOO_LONG)
    return number


def read_json(data: bytes, row: int = 1) -> tuple[Any, tuple[BundleFault, ...]]:
    """Return a bundle from the bytes of a file, its decimals kept as written; or None and what is wrong with the JSON.

    ``row`` is the number of its first row in the file.
    """
    fault: Fault
    try:
        text = data.decode("utf-8-sig")
        return json.loads(text, parse_float=_decimal, parse_constant=_no_constant, object_pairs_hook=_no_doubles), ()
    except UnicodeDecodeError as error:
        message = f"Byte {error.start + 1} is not UTF-8."
        fault = Fault("json", data[error.start : error.start + 1].hex(), message, "Save the file as UTF-8.")
    except json.JSONDecodeError as error:
        expected = error.msg.removeprefix("Expecting ")
        why = error.msg if expected == error.msg else f"a {expected} was expected"
        message = f"Row {row + error.lineno - 1}, column {error.colno}: {why}."
        fault = Fault("json", error.doc[error.pos : error.pos + 20], message, "Correct the JSON there.")
    except _Doubles as error:
        message = f"The key {str(error)!r} stands twice in one object."
        fault = Fault("json", str(error), message, "Keep one of them.")
    except RecursionError:
        fault = Fault("depth", None, _DEEPEST, "Send a bundle without endless nesting.")
    except ValueError as error:
        endless = "int_max_str_digits" in str(error)  # Python's own words are for programmers
        message = f"{_TOO_LONG if endless else error}."
        fault = Fault("json", None, message, "Send JSON numbers of a usual size.")
    return None, (fault.closed(),)


_SHAPE: Final = frozenset(
    {"type", "list", "single", "null", "empty", "primitive", "calendar", "resource-type", "depth"}
)


def misshapen(bundle: object) -> tuple[BundleFault, ...]:
    """Return only the faults of shape: values of another JSON type, lists where R4 has none, days that are not days.

    What reads a bundle may rely on the shape of everything in it once this is empty.
    """
    return tuple(fault for fault in verify(bundle, house=False, rows=True) if fault.rule in _SHAPE)


def verify_json(data: bytes, *, house: bool = True, row: int = 1, rows: bool = False) -> tuple[BundleFault, ...]:
    """Return every fault of a bundle in a file, from its JSON on; ``row`` is the number of its first row in the file.

    ``rows``: as in `verify`.
    """
    bundle, faults = read_json(data, row)
    if faults:
        return faults
    if not isinstance(bundle, dict):
        message = f"{kind(bundle).capitalize()} stands where a bundle is due."
        return (Fault("type", bundle, message, "Send a FHIR bundle in JSON.").closed(),)
    return verify(bundle, house=house, rows=rows)


def not_judged(bundle: object, *, house: bool = True) -> tuple[str, ...]:
    """Return each profile that a resource of ``bundle`` claims and that no check here holds it to.

    Our own profiles are judged with ``house``.
    """
    entries = bundle.get("entry") if isinstance(bundle, dict) else None
    resources = [entry.get("resource") for entry in entries if isinstance(entry, dict)] if _is_list(entries) else []
    found: dict[str, None] = {}
    for resource in (bundle, *resources):
        meta = resource.get("meta") if isinstance(resource, dict) else None
        profiles = meta.get("profile") if isinstance(meta, dict) else None
        own = f"/port-{str(resource.get('resourceType')).lower()}" if isinstance(resource, dict) else ""
        for one in profiles if _is_list(profiles) else ():
            if not (house and str(one).endswith(own)):
                found[str(one)] = None
    return tuple(found)


def _is_list(value: object) -> TypeGuard[list[Any]]:
    return isinstance(value, list)
