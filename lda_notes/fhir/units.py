"""The units that a FHIR quantity of ours may carry: a closed list of UCUM codes, each with its dimension.

UCUM is case sensitive and full of near misses: ``G`` is gauss, ``ML`` is megaliter, ``U`` is the enzyme unit.
So nothing is parsed; a code is either one of these or refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

UCUM: Final = "http://unitsofmeasure.org"
"""The one system of units allowed in a quantity of ours."""

Dimension = Literal[
    "volume",
    "length",
    "area",
    "mass",
    "heparin activity",
    "international activity",
    "strength",
    "time",
    "flow",
    "pressure",
    "count",
    "temperature",
    "cell count",
]
"""The quantity that a unit measures. ``heparin activity`` is USP units; ``strength`` is USP units per mL."""


@dataclass(frozen=True, slots=True)
class Unit:
    """A UCUM code, what it measures and how it is written for a reader (never ``U``, ``IU`` or ``cc``)."""

    code: str
    dimension: Dimension
    written: str


UNITS: Final[Mapping[str, Unit]] = MappingProxyType(
    {
        unit.code: unit
        for unit in (
            Unit("mL", "volume", "mL"),
            Unit("mm", "length", "mm"),
            Unit("cm2", "area", "square cm"),
            Unit("mg", "mass", "mg"),
            Unit("g", "mass", "g"),
            Unit("kg", "mass", "kg"),
            Unit("[USP'U]", "heparin activity", "USP units"),
            Unit("[USP'U]/mL", "strength", "USP units/mL"),
            Unit("[IU]", "international activity", "international units"),
            Unit("s", "time", "s"),
            Unit("min", "time", "min"),
            Unit("h", "time", "h"),
            Unit("d", "time", "d"),
            Unit("mL/s", "flow", "mL/s"),
            Unit("[psi]", "pressure", "psi"),
            Unit("1", "count", "count"),
            Unit("Cel", "temperature", "degrees Celsius"),
            Unit("10*9/L", "cell count", "10^9 per L"),
        )
    }
)
"""Every unit by its UCUM code. The codes are checked against an independent UCUM parser in the tests."""
