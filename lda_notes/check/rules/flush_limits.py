"""Limits of what goes through the line: connector, discard, flush, syringe."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final

from lda_notes.check.rule_table import Case, Found, Step, advice, unsafe
from lda_notes.check.rules.patients import is_adult
from lda_notes.knowledge import amounts
from lda_notes.knowledge.policy import quantity
from lda_notes.record import events as ev
from lda_notes.record.parts import Flush, Lock

_ZERO: Final = Decimal(0)
_DAY: Final = timedelta(hours=24)
_BACTERIOSTATIC: Final = "0.9% sodium chloride with benzyl alcohol"


# -- the connector --


@unsafe(
    "scrub the needleless connector again for the full time before anything is connected to it", limits=("hub_scrub_s",)
)
def connector_scrub_time(step: Step, event: ev.Flushed, case: Case) -> Iterable[Found]:
    """Compares the scrub of the needleless connector with the shortest time that the sources accept.

    Most bloodstream infections of a line in use start at the connector. Sources ask for 5 to 15 seconds of friction;
    one asks for at least 15, which a facility can set.

    Let it dry, then connect.
    """
    scrub = event.hub_scrub_s
    if scrub is not None and scrub < case.policy.value("hub_scrub_s"):
        yield Found(
            "hub_scrub_s",
            f"the needleless connector was scrubbed for {quantity(scrub, 'seconds')}; it takes "
            f"{case.policy.text('hub_scrub_s')}, and one source asks for "
            f"{quantity(case.policy.value('hub_scrub_strict_s'), 'seconds')}",
        )


# -- discard --


def _first_aspirate(event: ev.Access | ev.FlushOrLock | ev.LineUse) -> bool:
    """Return whether the discard is the one that clears the old lock before the line is used or sampled."""
    return type(event) is ev.Access or bool(event.samples) or getattr(event, "purpose", None) == "blood sampling"


@advice(
    "draw samples again if they were taken too early; next time discard the full volume before flushing",
    limits=("discard_adult_ml", "discard_child_ml", "discard_volume_factor", "discard_small_child_kg"),
)
def discard_too_small(step: Step, event: ev.Access | ev.FlushOrLock | ev.LineUse, case: Case) -> Iterable[Found]:
    """Compares the first aspirate discarded, at access or before samples, with the least that clears the old lock.

    The first aspirate contains the previous lock and what clotted in it: a sample drawn too early may be wrong, and old
    lock solution may enter. In a small child the volume of the line decides, and blood is precious.

    Where the aspirate was returned or mixed, chart the method.
    """
    discarded = event.discard_ml
    if type(discarded) is not Decimal or not _first_aspirate(event):
        return
    weight = case.timeline.patient_at(event.at).weight_kg
    limit = "discard_adult_ml" if is_adult(case, event) else "discard_child_ml"
    least = case.policy.value(limit)
    if not is_adult(case, event) and weight is not None and weight < case.policy.value("discard_small_child_kg"):
        system = system_ml(step, case)
        if system is None:
            return
        limit = "discard_volume_factor"
        least = min(system * case.policy.value(limit), least)
    if discarded < least:
        says = f"{quantity(discarded, 'mL')} was discarded; usual is at least {quantity(least, 'mL')}"
        yield Found("discard_ml", says, citations=case.policy.citations(limit))


@advice(
    "discard no more than is needed; record why more was discarded",
    limits=("discard_adult_max_ml", "discard_child_max_ml"),
)
def discard_too_large(step: Step, event: ev.Access | ev.FlushOrLock | ev.LineUse, case: Case) -> Iterable[Found]:
    """Compares the first aspirate discarded with the most that the sources name.

    Blood discarded at every sampling adds up, and quickly in a small child. Without a birth date the larger limit, that
    of an adult, is used.
    """
    if type(event.discard_ml) is not Decimal:
        return
    limit = "discard_child_max_ml" if is_adult(case, event) is False else "discard_adult_max_ml"
    if event.discard_ml > case.policy.value(limit):
        says = f"{quantity(event.discard_ml, 'mL')} was discarded; the limit is {case.policy.text(limit)}"
        yield Found("discard_ml", says, citations=case.policy.citations(limit))


# -- flush --


def system_ml(step: Step, case: Case) -> Decimal | None:
    """Return the volume of catheter and add-ons at an event, in mL; None where it is not recorded."""
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


@unsafe("flush again with at least the minimum volume", limits=("flush_volume_factor",))
def flush_below_minimum(step: Step, event: ev.Flushed, case: Case) -> Iterable[Found]:
    """Compares the flush with twice the volume of catheter and add-ons, where the record contains these volumes.

    A smaller flush leaves drug or blood in the reservoir, where it clots or meets the next drug. Flushes of one event
    are added up; a flush that met resistance is not judged by its volume.

    If the volume of the catheter is not recorded, this rule cannot judge.
    """
    system = system_ml(step, case) if type(event.flushes) is tuple and event.flushes else None
    if system is None or type(event.flushes) is not tuple:
        return
    flushed, least = _free_flush_ml(event.flushes), amounts.minimum_flush_ml(system, case.policy)
    if flushed is not None and flushed < least:
        yield Found(
            "flushes",
            f"{quantity(flushed, 'mL')} was flushed; the minimum is {quantity(least, 'mL')}, "
            f"{case.policy.text('flush_volume_factor')} the {quantity(system, 'mL')} of catheter and add-ons",
        )


_ADULT_FLUSH: Final = ("flush_ml", "flush_after_blood_ml")
_CHILD_FLUSH: Final = ("flush_child_ml", "flush_child_after_use_ml")


@advice(
    "flush with the usual volume, or chart why less was used",
    limits=("flush_ml", "flush_after_blood_ml", "flush_child_ml", "flush_child_after_use_ml", "discard_small_child_kg"),
)
def flush_below_usual(step: Step, event: ev.Access | ev.Deaccess | ev.FlushOrLock, case: Case) -> Iterable[Found]:
    """Compares the flush with the usual volume for an adult or a child, routinely and after blood samples were drawn.

    The usual flush is several times the volume of the line, since a reservoir clears slowly; after blood it is doubled.
    Without a birth date a child's volume is used. In a child under 10 kg with a line of known volume, only twice that
    volume is expected. Flushes that met resistance or were part of work on a blocked line are not judged.
    """
    flushes = event.flushes
    if type(flushes) is not tuple or not flushes or event.steps_tried:
        return
    flushed = _free_flush_ml(flushes)
    weight = case.timeline.patient_at(event.at).weight_kg
    small = weight is not None and weight < case.policy.value("discard_small_child_kg")
    if flushed is None or (small and system_ml(step, case) is not None):
        return  # in a small child a line of known volume is judged by that volume
    plain, after_blood = _ADULT_FLUSH if is_adult(case, event) else _CHILD_FLUSH
    limit = after_blood if event.samples else plain
    if flushed < case.policy.value(limit):
        says = f"{quantity(flushed, 'mL')} was flushed; usual is at least {case.policy.text(limit)}"
        yield Found("flushes", says, citations=case.policy.citations(limit))


@unsafe("use a syringe with a barrel of at least that size", limits=("syringe_ml",))
def syringe_size(step: Step, event: ev.Flushed, case: Case) -> Iterable[Found]:
    """Compares the barrel of a flush syringe with the smallest that is safe before patency is confirmed.

    The narrower the barrel, the higher the pressure under the same thumb: a small syringe on a blocked catheter can
    burst it. The first flush of an event always comes before patency is confirmed; a later one comes after, if blood
    came back and the first met no resistance.

    Never force a flush.
    """
    flushes = event.flushes
    if type(flushes) is not tuple:
        return
    least, limit = case.policy.value("syringe_ml"), case.policy.text("syringe_ml")
    for position, flush in enumerate(flushes):
        barrel = flush.syringe_ml
        if barrel is not None and barrel < least and not (position and _proved(event, flushes[:position])):
            used = f"a {quantity(barrel, 'mL')} syringe was used before patency was confirmed"
            yield Found(f"flushes.{position}.syringe_ml", f"{used}; the minimum is {limit}")


def _proved(event: ev.Flushed, earlier: tuple[Flush, ...]) -> bool:
    return getattr(event, "blood_return", None) == "present" and all(flush.resistance == "none" for flush in earlier)


@unsafe(
    "stop saline with a preservative for today and use preservative-free saline",
    limits=("bacteriostatic_saline_ml_per_day",),
)
def bacteriostatic_saline(case: Case) -> Iterable[Found]:
    """Adds up the saline with benzyl alcohol given to an adult in the 24 hours up to each flush.

    The preservative is toxic in quantity; 30 mL of bacteriostatic saline in 24 hours is the maximum for an adult. A
    flush exactly 24 hours earlier no longer counts.
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
                "flushes",
                f"{quantity(total, 'mL')} of saline with benzyl alcohol in the 24 hours up to {case.say(event.at)}; "
                f"the limit is {case.policy.text('bacteriostatic_saline_ml_per_day')}",
                entry,
            )


def _bacteriostatic_ml(event: ev.Event) -> Iterator[Decimal]:
    flushes: Any = event.__dict__.get("flushes")
    if type(flushes) is tuple:
        for flush in flushes:
            if flush.solution == _BACTERIOSTATIC and flush.volume_ml:
                yield flush.volume_ml
    lock: Any = event.__dict__.get("lock")
    if type(lock) is Lock and lock.preservative == "benzyl alcohol" and lock.drug == "0.9% sodium chloride":
        yield lock.volume_ml or _ZERO
