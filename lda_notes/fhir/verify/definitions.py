"""The official R4 definitions, trimmed to what our resources can reach.

``definitions.json.gz`` and, for the types that we do not send, ``others.json.gz`` are made from HL7's package
hl7.fhir.r4.core 4.0.1 (CC0-1.0) by ``tests/fhir/make_definitions.py``; a test makes them again and compares. Each is
read once, on first use.
"""

from __future__ import annotations

import functools
import gzip
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from importlib import resources
from typing import Any


@dataclass(frozen=True, slots=True)
class Element:
    """One element of a type.

    ``types`` are names of datatypes, of backbone elements (``Procedure.performer``) or ``Resource``; a choice
    element has several, or a name that ends in ``[x]``. ``targets`` are the resource types that a reference
    may point to, empty for any. ``binding`` names the value set that its codes must come from, or is empty.
    """

    name: str
    required: bool
    many: bool
    types: tuple[str, ...]
    binding: str
    targets: tuple[str, ...]

    @property
    def is_choice(self) -> bool:
        """Whether the JSON name carries the type, as ``valueQuantity`` does."""
        return self.name.endswith("[x]")


@dataclass(frozen=True, slots=True)
class Invariant:
    """An official invariant of level error: its key, its words, and the elements that it stands on."""

    key: str
    says: str
    on: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Definitions:
    """Everything that is checked against.

    ``resources`` are all types of R4, ``carried`` those that we send or carry, whose invariants are held; ``judged``
    those whose structure is here.
    """

    resources: frozenset[str]
    carried: tuple[str, ...]
    judged: tuple[str, ...]
    types: Mapping[str, tuple[Element, ...]]
    primitives: Mapping[str, str]
    bindings: Mapping[str, frozenset[str]]
    invariants: Mapping[str, Invariant]


def _element(name: str, row: list[Any]) -> Element:
    least, many, types, *rest = row
    binding, targets = rest or ("", [])
    return Element(name, least > 0, bool(many), tuple(types), binding, tuple(targets))


def _read(name: str) -> Any:
    packed = resources.files("lda_notes.fhir.verify").joinpath(name).read_bytes()
    return json.loads(gzip.decompress(packed))


def _types(data: Any) -> dict[str, tuple[Element, ...]]:
    return {name: tuple(_element(key, row) for key, row in rows.items()) for name, rows in data["types"].items()}


@functools.cache
def load() -> Definitions:
    """Read the definitions of the types that we carry."""
    data = _read("definitions.json.gz")
    return Definitions(
        resources=frozenset(data["resources"]),
        carried=tuple(data["carried"]),
        judged=tuple(data["carried"]),
        types=_types(data),
        primitives=data["primitives"],
        bindings={name: frozenset(codes) for name, codes in data["bindings"].items()},
        invariants={key: Invariant(key, row["says"], tuple(row["on"])) for key, row in data["invariants"].items()},
    )


@functools.cache
def load_all() -> Definitions:
    """Read the structure of every other type of R4 as well; no invariants of theirs."""
    known, data = load(), _read("others.json.gz")
    return replace(
        known,
        judged=tuple(sorted(known.resources)),
        types=_types(data) | dict(known.types),
        primitives=data["primitives"] | dict(known.primitives),
        bindings={name: frozenset(codes) for name, codes in data["bindings"].items()} | dict(known.bindings),
    )
