"""Needle gauges in mm: the designated size, the band of outer diameters it allows, and the older wire gauge.

The color of a hub follows ISO 6009; it is not the color of the same gauge on a peripheral cannula, which has a
scale of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import Final, NamedTuple

from lda_notes.knowledge.sources import Citation


class Gauge(NamedTuple):
    """One gauge number. All sizes are outer diameters in mm.

    ``designated_mm`` is the metric size of ISO 9626, ``low_mm`` and ``high_mm`` the band that it allows, ``wire_mm``
    the size on the Birmingham (Stubs) wire chart, ``hub`` the color of the hub by ISO 6009.
    """

    number: int
    designated_mm: Decimal
    low_mm: Decimal
    high_mm: Decimal
    wire_mm: Decimal
    hub: str


DESIGNATED: Final = Citation("iso-9626", "M-H", "designated metric sizes")
BANDS: Final = Citation("iso-9626", "M-M", "outer diameters")
WIRE: Final = Citation("gauge-chart", "R")
HUBS: Final = Citation("iso-6009", "M-H")


def _row(number: int, designated: str, low: str, high: str, wire: str, hub: str) -> Gauge:
    return Gauge(number, Decimal(designated), Decimal(low), Decimal(high), Decimal(wire), hub)


GAUGES: Final[Mapping[int, Gauge]] = MappingProxyType(
    {
        gauge.number: gauge
        for gauge in (
            _row(18, "1.2", "1.200", "1.300", "1.270", "pink"),
            _row(19, "1.1", "1.030", "1.100", "1.067", "cream"),
            _row(20, "0.9", "0.860", "0.920", "0.9081", "yellow"),
            _row(21, "0.8", "0.800", "0.830", "0.8192", "deep green"),
            _row(22, "0.7", "0.698", "0.730", "0.7176", "black"),
            _row(23, "0.6", "0.600", "0.673", "0.6414", "deep blue"),
            _row(24, "0.55", "0.550", "0.580", "0.5652", "medium purple"),
        )
    }
)
"""The gauges met on ports and one wider, by number."""
