"""Whose resources are: one that names another patient than its record's is not read.

The identity of a port is computed from the patient's first record number, so it proves which numbers are the patient's.
Where no number is here, the patient whom most resources of the record name is taken for theirs.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from lda_notes.fhir.build.naming import Names, port_role_of
from lda_notes.fhir.elements import Json
from lda_notes.fhir.identity import ABOUT
from lda_notes.fhir.readback.store import FACTS, Store
from lda_notes.fhir.tokens import read_token

Number = tuple[str, str]
"""A record number: system and value."""

ANOTHER: Final = "it names another patient than the record"
NO_ONE: Final = "it names no patient"


@dataclass(frozen=True, slots=True)
class _Named:
    """A patient as a resource names them: where, by which number, and the numbers of the Patient who is there."""

    address: str
    number: Number | None
    known: frozenset[Number]


def refuse_others(
    store: Store, names: Names, port: str, listed: Iterable[frozenset[Number]], about: Iterable[str]
) -> None:
    """Refuse what names another patient than the record does, among the resources with the identities ``about``.

    ``port`` is the identity of the record's port, ``listed`` are the record numbers in what the record began with, as
    each bundle has them: a number may have been added meanwhile.
    """
    named: dict[str, _Named] = {}
    for name in about:
        one = _named(store, store.own(name))
        if one is not None:
            named[name] = one
        elif (store.own(name) or {}).get("resourceType") in FACTS:
            store.refuse(name, NO_ONE)
    full = [*listed, *(one.known for one in named.values())]
    single = [frozenset({one.number}) for one in named.values() if one.number is not None]
    known = [group for group in full if group]
    called = _port_id(store.own(port))
    proving = [group for group in (*known, *single) if called is not None and _proves(names, port, called, group)]
    numbers = frozenset(number for group in proving for number in group)
    unproven = called is not None and bool(known) and not proving
    usual = _usual(named.values())
    for name, one in named.items():
        if numbers and (one.known or one.number):
            is_theirs = (not one.known or bool(one.known & numbers)) and (not one.number or one.number in numbers)
        else:
            is_theirs = not (unproven and one.known)
        if not is_theirs or (not one.known and one.address != usual[one.number]):
            store.refuse(name, ANOTHER)


def _usual(named: Iterable[_Named]) -> dict[Number | None, str]:
    """Return the address that most resources name, by the number that they give with it; under None the commonest."""
    counted: dict[Number | None, Counter[str]] = {}
    for one in named:
        for number in {one.number, None}:
            counted.setdefault(number, Counter())[one.address] += 1
    return {number: found.most_common(1)[0][0] for number, found in counted.items()}


def numbers_of(identifiers: Iterable[Json]) -> frozenset[Number]:
    """Return the record numbers that identifiers give."""
    return frozenset(
        (str(one["system"]), str(one["value"])) for one in identifiers if {"system", "value"} <= one.keys()
    )


def _named(store: Store, resource: Json | None) -> _Named | None:
    reference = next(_about(resource), None) if resource is not None else None
    if reference is None:
        return None
    address = str(reference.get("reference", "")).partition("/_history/")[0]
    name = store.name_at(reference)
    patient = store.own(name) if name is not None else None
    number = next(iter(numbers_of([reference.get("identifier", {})])), None)
    if number is None and "?" in address:
        number = read_token(address.partition("=")[2])
    return _Named(name or address, number, numbers_of((patient or {}).get("identifier", ())))


def _about(resource: Json) -> Iterator[Json]:
    return (resource[step] for step in ABOUT if isinstance(resource.get(step), dict))


def _port_id(port: Json | None) -> str | None:
    called = (one.get("name") for one in (port or {}).get("deviceName", ()) if one.get("type") == "other")
    return next(called, None)


def _proves(names: Names, port: str, called: str, numbers: frozenset[Number]) -> bool:
    return any(names.of(port_role_of(system, value, called)) == port for system, value in numbers)
