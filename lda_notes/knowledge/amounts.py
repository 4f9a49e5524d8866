"""Volumes, units and doses as exact decimals: one function for each sum that rules, sheets and tests share.

Nothing here is an order: the numbers are what the named documents say of the facts charted, for comparison.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from lda_notes.knowledge.ages import MONTHS_PER_YEAR, months_old
from lda_notes.knowledge.policy import Policy


def alteplase_dose_mg(weight_kg: Decimal | None, lumen_ml: Decimal | None, policy: Policy) -> Decimal | None:
    """Return the alteplase dose for one lumen, in mg; None when weight or lumen must be known and is not.

    At or above the full-dose weight the full dose; below it the lumen's volume times the lumen factor at the labeled
    concentration, capped at the largest single dose. Sources: alteplase maker's dosing page and UK product summary,
    which prints 1.0 mL lumen: 1.1 mg.
    """
    if weight_kg is None:
        return None
    if weight_kg >= policy.value("alteplase_full_dose_kg"):
        return policy.value("alteplase_dose_mg")
    if lumen_ml is None:
        return None
    by_lumen = lumen_ml * policy.value("alteplase_lumen_factor") * policy.value("alteplase_mg_per_ml")
    return min(by_lumen, policy.value("alteplase_single_max_mg"))


def alteplase_volume_ml(dose_mg: Decimal, policy: Policy) -> Decimal:
    """Return the volume that contains ``dose_mg`` at the labeled concentration, in mL."""
    return dose_mg / policy.value("alteplase_mg_per_ml")


def alteplase_withdrawal(weight_kg: Decimal, policy: Policy) -> tuple[str, ...]:
    """Return the names of the limits of the withdrawal after success: least and most, or the one amount."""
    if weight_kg >= policy.value("alteplase_withdraw_child_kg"):
        return "alteplase_withdraw_ml", "alteplase_withdraw_max_ml"
    return ("alteplase_withdraw_child_ml",)


def heparin_units(units_per_ml: Decimal, volume_ml: Decimal) -> Decimal:
    """Return how many units a volume of heparin contains."""
    return units_per_ml * volume_ml


def heparin_child(birth: date | None, weight_kg: Decimal | None, on: date, policy: Policy) -> bool:
    """Return whether the amount of heparin goes by a child's weight: known to be young, or known to be light."""
    young = birth is not None and months_old(birth, on) < MONTHS_PER_YEAR * policy.value("heparin_child_years")
    return young or (weight_kg is not None and weight_kg < policy.value("heparin_child_kg"))


def system_volume_ml(
    catheter_ml: Decimal | None, needle_set_ml: Decimal | None, connector_ml: Decimal | None
) -> Decimal | None:
    """Return the volume of catheter with port, needle set and connector, in mL; None when the first is not known.

    An add-on whose volume was not recorded adds nothing, so the result is then the least that the volume can be.
    """
    if catheter_ml is None:
        return None
    return catheter_ml + (needle_set_ml or Decimal(0)) + (connector_ml or Decimal(0))


def minimum_flush_ml(system_ml: Decimal, policy: Policy) -> Decimal:
    """Return the smallest flush for a system of that volume, in mL (INS: twice the volume with add-ons)."""
    return system_ml * policy.value("flush_volume_factor")


def lock_volume_ml(system_ml: Decimal, policy: Policy) -> Decimal:
    """Return the lock that fills a system of that volume, in mL (INS: the volume with add-ons and a fifth more)."""
    return system_ml * policy.value("lock_volume_factor")
