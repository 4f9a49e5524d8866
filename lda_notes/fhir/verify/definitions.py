"""The official R4 definitions, trimmed to what our resources can reach.

``definitions.json.gz`` is made from HL7's package hl7.fhir.r4.core 4.0.1 (CC0-1.0) by
``tests/fhir/make_definitions.py``; a test makes it again and compares. Read once, on first use.
"""

from __future__ import annotations

import functools
import gzip
import json
from collections.abc import Mapping
from dataclasses import dataclass
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
    """Everything that is checked against."""

    resources: frozenset[str]
    carried: tuple[str, ...]
    types: Mapping[str, tuple[Element, ...]]
    primitives: Mapping[str, str]
    bindings: Mapping[str, frozenset[str]]
    invariants: Mapping[str, Invariant]


def _element(name: str, row: list[Any]) -> Element:
    least, many, types, *rest = row
    binding, targets = rest or ("", [])
    return Element(name, least > 0, bool(many), tuple(types), binding, tuple(targets))


@functools.cache
def load() -> Definitions:
    """Read the definitions that are part of this package."""
    packed = resources.files("lda_notes.fhir.verify").joinpath("definitions.json.gz").read_bytes()
    data = json.loads(gzip.decompress(packed))
    return Definitions(
        resources=frozenset(data["resources"]),
        carried=tuple(data["carried"]),
        types={name: tuple(_element(key, row) for key, row in rows.items()) for name, rows in data["types"].items()},
        primitives=data["primitives"],
        bindings={name: frozenset(codes) for name, codes in data["bindings"].items()},
        invariants={key: Invariant(key, row["says"], tuple(row["on"])) for key, row in data["invariants"].items()},
    )
