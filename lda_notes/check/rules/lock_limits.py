"""Limits of what stays in the line: the lock, its strength, its units, its volume."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from lda_notes.check.rule_table import Case, Found, Step, advice, unsafe, wrong
from lda_notes.check.rules.flush_limits import system_ml
from lda_notes.check.rules.patients import heparin_child
from lda_notes.check.rules.supplies_used import against
from lda_notes.knowledge import amounts
from lda_notes.knowledge.policy import quantity
from lda_notes.knowledge.sources import Citation
from lda_notes.record import events as ev
from lda_notes.record.parts import Lock


@unsafe(
    "aspirate the lock at once if it is in, notify the prescriber, and lock with the labeled strength",
    Citation("heparin-injection-label", "R", "5.1"),
    limits=("heparin_lock_strength_units_per_ml",),
)
def treatment_strength_heparin(case: Case) -> Iterable[Found]:
    """Finds a heparin lock stronger than the strongest lock flush that is sold.

    Vials of heparin for treatment contain ten times and more of a lock; mixing them up has killed patients.

    Look for bleeding, and report the mix-up.
    """
    for one in against(case, "treatment-strength-heparin"):
        yield one.found(
            f"the heparin lock is {quantity(one.used.units_per_ml or Decimal(0), 'units per mL')}; the limit is "
            f"{case.policy.text('heparin_lock_strength_units_per_ml')}",
            "units_per_ml",
        )


@wrong(
    "read the strength from the syringe or vial again",
    limits=("heparin_lock_low_strength_units_per_ml", "heparin_lock_strength_units_per_ml"),
)
def lock_strength(step: Step, event: ev.Flushed, case: Case) -> Iterable[Found]:
    """Compares the strength of a heparin lock with the two strengths in which lock flush is sold.

    Another strength below the strongest is most likely a slip of the pen, or units written as if they were units per
    mL.
    """
    lock = event.lock
    if type(lock) is not Lock or lock.drug != "heparin" or lock.units_per_ml is None:
        return
    low = case.policy.value("heparin_lock_low_strength_units_per_ml")
    high = case.policy.value("heparin_lock_strength_units_per_ml")
    if lock.units_per_ml < high and lock.units_per_ml != low:
        yield Found(
            "lock.units_per_ml",
            f"the heparin lock is {quantity(lock.units_per_ml, 'units per mL')}; lock flushes are sold as "
            f"{quantity(low, 'units per mL')} and {quantity(high, 'units per mL')}",
        )


@unsafe(
    "compare with the order and notify the prescriber; aspirate the lock if it is still in",
    limits=("heparin_lock_max_units", "heparin_lock_child_units", "heparin_child_years", "heparin_child_kg"),
)
def heparin_lock_units(step: Step, event: ev.Flushed, case: Case) -> Iterable[Found]:
    """Multiplies strength and volume of a heparin lock and compares the units with the most that the sources name.

    Part of every lock reaches the patient. The sources name 400 to 600 units for an adult. A child under 12 years or
    under 40 kg is locked by weight or by the facility's policy: one source names 300 units, and more than that is
    questioned.
    """
    lock = event.lock
    if type(lock) is not Lock or lock.drug != "heparin" or lock.units_per_ml is None or lock.volume_ml is None:
        return
    units = amounts.heparin_units(lock.units_per_ml, lock.volume_ml)
    child = heparin_child(case, step.entry.event)
    limit = "heparin_lock_child_units" if child else "heparin_lock_max_units"
    if units > case.policy.value(limit):
        weight = case.timeline.patient_at(step.entry.event.at).weight_kg
        each = f", {quantity(round(units / weight, 1), 'units')} per kg" if child and weight else ""
        grown = units > case.policy.value("heparin_lock_max_units")
        yield Found(
            "lock",
            f"{quantity(lock.volume_ml, 'mL')} at {quantity(lock.units_per_ml, 'units per mL')} is "
            f"{quantity(units, 'units')} of heparin{each}; {'for a child, ' if child else ''}at most "
            f"{case.policy.text(limit)} is usual",
            citations=case.policy.citations(limit),
            severity=None if grown else "advice",
        )


@advice("compare the lock with the order", limits=("heparin_lock_min_ml", "heparin_lock_max_ml"))
def heparin_lock_volume(step: Step, event: ev.Flushed, case: Case) -> Iterable[Found]:
    """Compares the volume of a heparin lock with the volumes that the sources name.

    Too little does not fill the line, too much goes into the patient. Sources name 3 mL to 6 mL; a small child gets
    less, according to the volume of the line.

    Follow the order where it differs, and chart what was used.
    """
    lock = event.lock
    if type(lock) is not Lock or lock.drug != "heparin" or lock.volume_ml is None:
        return
    low, high = case.policy.value("heparin_lock_min_ml"), case.policy.value("heparin_lock_max_ml")
    usual = case.policy.value("heparin_lock_ml")
    if lock.volume_ml > high or (lock.volume_ml < low and not heparin_child(case, step.entry.event)):
        yield Found(
            "lock.volume_ml",
            f"the heparin lock is {quantity(lock.volume_ml, 'mL')}; sources name {quantity(low, 'mL')} to "
            f"{quantity(high, 'mL')}, usually {quantity(usual, 'mL')}",
        )


@unsafe("lock again with enough to fill the line", Citation("heparin-lock-label", "R2"), limits=("lock_volume_factor",))
def lock_does_not_fill(step: Step, event: ev.Flushed, case: Case) -> Iterable[Found]:
    """Compares the lock with the volume of catheter and add-ons and a fifth more, where these are recorded.

    A lock that does not fill the line leaves blood at the tip, where it clots.

    If the volume of the catheter is not recorded, this rule cannot judge.
    """
    lock = event.lock
    if type(lock) is not Lock or lock.volume_ml is None:
        return
    system = system_ml(step, case)
    if system is None:
        return
    least = amounts.lock_volume_ml(system, case.policy)
    if lock.volume_ml < least:
        yield Found(
            "lock.volume_ml",
            f"the lock is {quantity(lock.volume_ml, 'mL')}; the minimum is {quantity(least, 'mL')}, "
            f"{case.policy.text('lock_volume_factor')} the {quantity(system, 'mL')} of catheter and add-ons",
        )


@advice("lock with what is ordered, or chart the order for saline alone", limits=("saline_lock_accepted",))
def saline_lock(case: Case) -> Iterable[Found]:
    """Finds a lock of saline alone where the facility's policy does not accept it; the published limits accept it.

    Trials found saline no worse than heparin, but some facilities still use heparin. A valved catheter and the line of
    a patient who must not have heparin are locked with saline whatever the policy, and are not reported.
    """
    for one in against(case, "saline-lock"):
        yield one.found(f"the line is locked with {one.used.words} alone; the policy does not accept it")
