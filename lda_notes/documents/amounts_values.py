"""Sums as plain values for JSON: exact numbers as text, in mL, units and mg; one shape always."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from lda_notes.knowledge.policy import number
from lda_notes.line.sums import Sums


def plain_number(value: Decimal) -> str:
    """Return an exact number as text without grouping: "1000", "0.5"."""
    return number(value).replace(",", "")


def sums_values(added: Sums) -> dict[str, Any]:
    """Return sums under their names; ``not_added`` lists the amounts that are not recorded."""
    return {
        "flush_ml": plain_number(added.flush_ml),
        "preserved_flush_ml": plain_number(added.preserved_flush_ml),
        "discard_ml": plain_number(added.discard_ml),
        "withdrawn_ml": plain_number(added.withdrawn_ml),
        "lock_ml": plain_number(added.lock_ml),
        "heparin_units": plain_number(added.heparin_units),
        "heparin_units_by_strength": [
            {"units_per_ml": plain_number(strength), "units": plain_number(units)}
            for strength, units in added.by_strength
        ],
        "thrombolytic_mg": plain_number(added.thrombolytic_mg),
        "not_added": [
            {"event": amount.entry.event.id, "sort": amount.sort, "what": amount.what} for amount in added.unknown
        ],
    }
