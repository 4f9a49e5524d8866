"""Limits of what goes through the line and stays in it: connector, discard, flush, syringe, lock."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final

from lda_notes.check.rule_table import Case, Found, Step, rule
from lda_notes.check.rules.patients import heparin_child, is_adult
from lda_notes.check.rules.supplies_used import against
from lda_notes.knowledge import amounts
from lda_notes.knowledge.policy import quantity
from lda_notes.knowledge.sources import Citation
from lda_notes.record.events import Access, Deaccess, Event, Flushed, FlushOrLock, LineUse
from lda_notes.record.parts import Flush, Lock

_ZERO: Final = Decimal(0)
_DAY: Final = timedelta(hours=24)
_BACTERIOSTATIC: Final = "0.9% sodium chloride with benzyl alcohol"


# -- the connector --


@rule(
    "unsafe",
    "scrub the needleless connector again for the full time before anything is joined to it",
    limits=("hub_scrub_s",),
)
def connector_scrub_time(step: Step, event: Flushed, case: Case) -> Iterable[Found]:
    """Compares the scrub of the needleless connector with the shortest time that the sources accept.

    Most bloodstream infections of a line in use start at the connector. Sources ask for 5 to 15 seconds of friction;
    one asks for 15 at least, which a facility can set.

    Let it dry, then connect.
    """
    scrub = event.hub_scrub_s
    if scrub is not None and scrub < case.policy.value("hub_scrub_s"):
        yield Found(
            step.entry.path("hub_scrub_s"),
            f"the needleless connector was scrubbed for {quantity(scrub, 'seconds')}; it takes "
            f"{case.policy.text('hub_scrub_s')}, and one source asks for "
            f"{quantity(case.policy.value('hub_scrub_strict_s'), 'seconds')}",
        )


# -- discard --


def _first_aspirate(event: Access | FlushOrLock | LineUse) -> bool:
    """Tell whether the discard is the one that clears the old lock before the line is used or sampled."""
    return type(event) is Access or bool(event.samples) or getattr(event, "purpose", None) == "blood sampling"


@rule(
    "advice",
    "draw samples again if they were taken too early; next time discard the full volume before flushing",
    limits=("discard_adult_ml", "discard_child_ml", "discard_volume_factor", "discard_small_child_kg"),
)
def discard_too_small(step: Step, event: Access | FlushOrLock | LineUse, case: Case) -> Iterable[Found]:
    """Compares the first aspirate thrown away, at access or before samples, with the least that clears the old lock.

    The first aspirate contains the previous lock and what clotted in it: a sample drawn too early may be wrong, and
    old lock may enter. In a small child the volume of the line decides, and blood is precious.

    Where the aspirate was returned or mixed, chart the method.
    """
    discarded = event.discard_ml
    if type(discarded) is not Decimal or not _first_aspirate(event):
        return
    weight = case.timeline.patient_at(event.at).weight_kg
    limit = "discard_adult_ml" if is_adult(case, event) else "discard_child_ml"
    least = case.policy.value(limit)
    if not is_adult(case, event) and weight is not None and weight < case.policy.value("discard_small_child_kg"):
        system = _system_ml(step, case)
        if system is None:
            return
        limit = "discard_volume_factor"
        least = min(system * case.policy.value(limit), least)
    if discarded < least:
        yield Found(
            step.entry.path("discard_ml"),
            f"{quantity(discarded, 'mL')} was discarded; usual is at least {quantity(least, 'mL')}",
            citations=case.policy.citations(limit),
        )


@rule(
    "advice",
    "discard no more than is needed; record why it was more",
    limits=("discard_adult_max_ml", "discard_child_max_ml"),
)
def discard_too_large(step: Step, event: Access | FlushOrLock | LineUse, case: Case) -> Iterable[Found]:
    """Compares the first aspirate thrown away with the most that the sources name.

    Blood thrown away at every sampling adds up, in a small child quickly. Without a birth date the larger limit, that
    of an adult, is used.
    """
    discarded = event.discard_ml
    if type(discarded) is not Decimal:
        return
    limit = "discard_child_max_ml" if is_adult(case, event) is False else "discard_adult_max_ml"
    if discarded > case.policy.value(limit):
        yield Found(
            step.entry.path("discard_ml"),
            f"{quantity(discarded, 'mL')} was discarded; the limit is {case.policy.text(limit)}",
            citations=case.policy.citations(limit),
        )


# -- flush --


def _system_ml(step: Step, case: Case) -> Decimal | None:
    stay = step.after.needle or step.before.needle
    needle = stay.needle if stay is not None else None
    return amounts.system_volume_ml(
        case.timeline.port_at(step.entry.event.at).catheter_volume_ml,
        needle.set_volume_ml if needle is not None else None,
        needle.connector_volume_ml if needle is not None else None,
    )


def _free_flush_ml(flushes: tuple[Flush, ...]) -> Decimal | None:
    """Return the summed volume; None when one is not recorded or resistance cut the flush short."""
    total = _ZERO
    for flush in flushes:
        if flush.volume_ml is None or flush.resistance in ("some", "cannot flush"):
            return None
        total += flush.volume_ml
    return total


@rule("unsafe", "flush again with at least the minimum volume", limits=("flush_volume_factor",))
def flush_below_minimum(step: Step, event: Flushed, case: Case) -> Iterable[Found]:
    """Compares the flush with twice the volume of catheter and add-ons, where the record contains these volumes.

    A smaller flush leaves drug or blood in the reservoir, where it clots or meets the next drug. Flushes of one event
    are added up; a flush that met resistance is not judged by its volume.

    Where the volume of the catheter is not recorded, this rule cannot judge.
    """
    flushes = event.flushes
    if type(flushes) is not tuple or not flushes:
        return
    system = _system_ml(step, case)
    if system is None:
        return
    flushed, least = _free_flush_ml(flushes), amounts.minimum_flush_ml(system, case.policy)
    if flushed is not None and flushed < least:
        yield Found(
            step.entry.path("flushes"),
            f"{quantity(flushed, 'mL')} was flushed; the minimum is {quantity(least, 'mL')}, "
            f"{case.policy.text('flush_volume_factor')} the {quantity(system, 'mL')} of catheter and add-ons",
        )


_ADULT_FLUSH: Final = ("flush_ml", "flush_after_blood_ml")
_CHILD_FLUSH: Final = ("flush_child_ml", "flush_child_after_use_ml")


@rule(
    "advice",
    "flush with the usual volume, or chart why less was used",
    limits=("flush_ml", "flush_after_blood_ml", "flush_child_ml", "flush_child_after_use_ml", "discard_small_child_kg"),
)
def flush_below_usual(step: Step, event: Access | Deaccess | FlushOrLock, case: Case) -> Iterable[Found]:
    """Compares the flush with the usual volume: for an adult or a child, each also after blood samples were drawn.

    The usual flush is several times the volume of the line, since a reservoir clears slowly; after blood it is doubled.
    Without a birth date a child's volume is used.
    In a child under 10 kg a line of known volume is judged by twice that volume alone.
    Flushes that met resistance or were part of work on a blocked line are not judged.
    """
    flushes = event.flushes
    if type(flushes) is not tuple or not flushes or event.steps_tried:
        return
    flushed = _free_flush_ml(flushes)
    weight = case.timeline.patient_at(event.at).weight_kg
    small = weight is not None and weight < case.policy.value("discard_small_child_kg")
    if flushed is None or (small and _system_ml(step, case) is not None):
        return  # in a small child a line of known volume is judged by that volume
    plain, after_blood = _ADULT_FLUSH if is_adult(case, event) else _CHILD_FLUSH
    limit = after_blood if event.samples else plain
    if flushed < case.policy.value(limit):
        yield Found(
            step.entry.path("flushes"),
            f"{quantity(flushed, 'mL')} was flushed; usual is at least {case.policy.text(limit)}",
            citations=case.policy.citations(limit),
        )


@rule("unsafe", "use a syringe with a barrel of at least that size", limits=("syringe_ml",))
def syringe_size(step: Step, event: Flushed, case: Case) -> Iterable[Found]:
    """Compares the barrel of a flush syringe with the smallest that is safe on a line not yet proved.

    The narrower the barrel, the higher the pressure under the same thumb: a small syringe on a blocked catheter can
    burst it. The first flush of an event is always on a line not yet proved; a later one is, when blood came back and
    the first went without resistance.

    Never force a flush.
    """
    flushes = event.flushes
    if type(flushes) is not tuple:
        return
    for position, flush in enumerate(flushes):
        barrel = flush.syringe_ml
        if barrel is None or barrel >= case.policy.value("syringe_ml"):
            continue
        if position and _proved(event, flushes[:position]):
            continue
        yield Found(
            step.entry.path("flushes", position, "syringe_ml"),
            f"a {quantity(barrel, 'mL')} syringe was used before patency was confirmed; the minimum is "
            f"{case.policy.text('syringe_ml')}",
        )


def _proved(event: Flushed, earlier: tuple[Flush, ...]) -> bool:
    return getattr(event, "blood_return", None) == "present" and all(flush.resistance == "none" for flush in earlier)


@rule(
    "unsafe",
    "stop saline with a preservative for today and use preservative-free saline",
    limits=("bacteriostatic_saline_ml_per_day",),
)
def bacteriostatic_saline(case: Case) -> Iterable[Found]:
    """Adds up saline with benzyl alcohol over the 24 hours up to each flush of an adult.

    The preservative is toxic in quantity; 30 mL of bacteriostatic saline in 24 hours is the most for an adult. A flush
    exactly 24 hours earlier no longer counts.
    """
    within: deque[tuple[datetime, Decimal]] = deque()
    total = _ZERO
    for entry in case.timeline.entries:
        event = entry.event
        given = sum(_bacteriostatic_ml(event), _ZERO)
        if not given:
            continue
        within.append((event.at, given))
        total += given
        while within[0][0] <= event.at - _DAY:
            total -= within.popleft()[1]
        if total > case.policy.value("bacteriostatic_saline_ml_per_day") and is_adult(case, event):
            yield Found(
                entry.path("flushes"),
                f"{quantity(total, 'mL')} of saline with benzyl alcohol in the 24 hours up to {case.say(event.at)}; "
                f"the limit is {case.policy.text('bacteriostatic_saline_ml_per_day')}",
                event=event.id,
            )


def _bacteriostatic_ml(event: Event) -> Iterator[Decimal]:
    flushes: Any = event.__dict__.get("flushes")
    if type(flushes) is tuple:
        for flush in flushes:
            if flush.solution == _BACTERIOSTATIC and flush.volume_ml:
                yield flush.volume_ml
    lock: Any = event.__dict__.get("lock")
    if type(lock) is Lock and lock.preservative == "benzyl alcohol" and lock.drug == "0.9% sodium chloride":
        yield lock.volume_ml or _ZERO


# -- lock --


@rule(
    "unsafe",
    "aspirate the lock at once if it is in, notify the prescriber, and lock with the labeled strength",
    limits=("heparin_lock_strength_units_per_ml",),
    cites=(Citation("heparin-injection-label", "R", "5.1"),),
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


@rule(
    "wrong",
    "read the strength from the syringe or vial again",
    limits=("heparin_lock_low_strength_units_per_ml", "heparin_lock_strength_units_per_ml"),
)
def lock_strength(step: Step, event: Flushed, case: Case) -> Iterable[Found]:
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
            step.entry.path("lock", "units_per_ml"),
            f"the heparin lock is {quantity(lock.units_per_ml, 'units per mL')}; lock flushes are sold as "
            f"{quantity(low, 'units per mL')} and {quantity(high, 'units per mL')}",
        )


@rule(
    "unsafe",
    "compare with the order and notify the prescriber; aspirate the lock if it is still in",
    limits=("heparin_lock_max_units", "heparin_lock_child_units", "heparin_child_years", "heparin_child_kg"),
)
def heparin_lock_units(step: Step, event: Flushed, case: Case) -> Iterable[Found]:
    """Multiplies strength and volume of a heparin lock and compares the units with the most that the sources name.

    Part of every lock reaches the patient. 400 to 600 units are named for an adult. A child under 12 years or under
    40 kg is locked by weight or by the facility's policy: 300 units are named by one source, and more is asked about.
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
            step.entry.path("lock"),
            f"{quantity(lock.volume_ml, 'mL')} at {quantity(lock.units_per_ml, 'units per mL')} is "
            f"{quantity(units, 'units')} of heparin{each}; {'for a child, ' if child else ''}at most "
            f"{case.policy.text(limit)} is usual",
            citations=case.policy.citations(limit),
            severity=None if grown else "advice",
        )


@rule("advice", "compare the lock with the order", limits=("heparin_lock_min_ml", "heparin_lock_max_ml"))
def heparin_lock_volume(step: Step, event: Flushed, case: Case) -> Iterable[Found]:
    """Compares the volume of a heparin lock with the volumes that the sources name.

    Too little does not fill the line, too much goes into the patient. Sources name 3 mL to 6 mL; a small child
    is locked with less, by the volume of the line.

    Follow the order where it differs, and chart what was used.
    """
    lock = event.lock
    if type(lock) is not Lock or lock.drug != "heparin" or lock.volume_ml is None:
        return
    low, high = case.policy.value("heparin_lock_min_ml"), case.policy.value("heparin_lock_max_ml")
    usual = case.policy.value("heparin_lock_ml")
    if lock.volume_ml > high or (lock.volume_ml < low and not heparin_child(case, step.entry.event)):
        yield Found(
            step.entry.path("lock", "volume_ml"),
            f"the heparin lock is {quantity(lock.volume_ml, 'mL')}; sources name {quantity(low, 'mL')} to "
            f"{quantity(high, 'mL')}, usually {quantity(usual, 'mL')}",
        )


@rule(
    "unsafe",
    "lock again with enough to fill the line",
    limits=("lock_volume_factor",),
    cites=(Citation("heparin-lock-label", "R2"),),
)
def lock_does_not_fill(step: Step, event: Flushed, case: Case) -> Iterable[Found]:
    """Compares the lock with the volume of catheter and add-ons and a fifth more, where these are recorded.

    A lock that does not fill the line leaves blood at the tip, where it clots.

    Where the volume of the catheter is not recorded, this rule cannot judge.
    """
    lock = event.lock
    if type(lock) is not Lock or lock.volume_ml is None:
        return
    system = _system_ml(step, case)
    if system is None:
        return
    least = amounts.lock_volume_ml(system, case.policy)
    if lock.volume_ml < least:
        yield Found(
            step.entry.path("lock", "volume_ml"),
            f"the lock is {quantity(lock.volume_ml, 'mL')}; the minimum is {quantity(least, 'mL')}, "
            f"{case.policy.text('lock_volume_factor')} the {quantity(system, 'mL')} of catheter and add-ons",
        )


@rule(
    "advice",
    "lock with what is ordered, or chart the order for saline alone",
    limits=("saline_lock_accepted",),
)
def saline_lock(case: Case) -> Iterable[Found]:
    """Finds a lock of saline alone where the facility's policy does not accept it; as published, saline is accepted.

    Trials found saline no worse than heparin, and some facilities keep to heparin all the same. A valved catheter and
    a patient who must not have heparin are locked with saline whatever the policy, and leave this rule quiet.
    """
    for one in against(case, "saline-lock"):
        yield one.found(f"the line is locked with {one.used.words} alone; the policy does not accept it")
