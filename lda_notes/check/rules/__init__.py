"""The rules, one file per family."""

from __future__ import annotations

from importlib import import_module
from typing import Final

FAMILIES: Final[tuple[str, ...]] = (
    "authorship",
    "identity",
    "order",
    "stay_order",
    "completeness",
    "corrections",
    "dwell_limits",
    "interval_limits",
    "skin_limits",
    "needle_limits",
    "flush_limits",
    "lock_limits",
    "thrombolytic_limits",
    "allergies",
    "supply_match",
    "supply_labels",
    "contradictions",
    "scales",
    "hold_use",
    "vesicants",
    "hold_end",
    "safety",
    "next_due",
    "wording",
)
"""Modules of this package that contain rules, in the order in which they are listed."""


def load() -> None:
    """Read every family, so that the table is full."""
    for family in FAMILIES:
        import_module(f"lda_notes.check.rules.{family}")
