"""Limits of the needle: gauge, length, kind, passes, blood products, power injection."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from lda_notes.check.rule_table import Case, Found, Step, advice, gap, unsafe, wrong
from lda_notes.knowledge.policy import quantity
from lda_notes.knowledge.sources import Citation
from lda_notes.record import events as ev
from lda_notes.record.parts import Needle
from lda_notes.record.unread import about

_MARSDEN = Citation("royal-marsden", "R", "ch. 17")
_POWER_NOTICE = Citation("fda-power-2004", "R")
_MM_PER_INCH = Decimal("25.4")
_WINGS = {"raised above the skin": ("are raised above", "long"), "pressing into the skin": ("press into", "short")}
"""How wings that are not level lie, in words, and what the needle may be too much of."""


@wrong("read the gauge from the needle's label again", limits=("needle_gauge_min", "needle_gauge_max"))
def needle_gauge(step: Step, event: ev.Access | ev.ArrivalAccessed, case: Case) -> Iterable[Found]:
    """Compares the recorded gauge with the gauges in which non-coring needles are made.

    A gauge outside the range is most likely a slip of the pen, and whoever picks the next needle or plans an injection
    relies on it.
    """
    gauge = event.needle.gauge if type(event.needle) is Needle else None
    low, high = case.policy.value("needle_gauge_min"), case.policy.value("needle_gauge_max")
    if type(gauge) is int and not low <= gauge <= high:
        says = f"the needle's gauge is {gauge}; non-coring needles are made in {low} to {high} gauge"
        yield Found("needle.gauge", says)


@wrong(
    "measure or read the length below the bend again, in mm", limits=("needle_length_min_mm", "needle_length_max_mm")
)
def needle_length(step: Step, event: ev.Access | ev.ArrivalAccessed, case: Case) -> Iterable[Found]:
    """Compares the recorded length with the lengths in which non-coring needles are made.

    A needle too short slips out of the septum, one too long sits above the skin; a length outside the range is most
    likely in another unit. Labels often print inches: one inch is 25.4 mm.
    """
    length = event.needle.length_mm if type(event.needle) is Needle else None
    low, high = case.policy.value("needle_length_min_mm"), case.policy.value("needle_length_max_mm")
    if type(length) is Decimal and not low <= length <= high:
        inches = low <= length * _MM_PER_INCH <= high
        hint = f"; {quantity(length, 'inch')} would be {quantity(length * _MM_PER_INCH, 'mm')}" if inches else ""
        yield Found(
            "needle.length_mm",
            f"the needle's length is {quantity(length, 'mm')}; non-coring needles are {quantity(low, 'mm')} to "
            f"{quantity(high, 'mm')} long{hint}",
        )


@unsafe(
    "take the needle out, use a non-coring needle, and report that the septum was entered with a coring needle",
    _MARSDEN,
)
def coring_needle(step: Step, event: ev.Access | ev.ArrivalAccessed, case: Case) -> Iterable[Found]:
    """Finds a port accessed with a needle that is not non-coring.

    An ordinary needle cuts a plug out of the septum: the port leaks from then on, and the plug can be flushed into the
    vein.

    Look for leaking and swelling.
    """
    needle = event.needle
    if type(needle) is Needle and needle.non_coring is False:
        yield Found("needle.non_coring", "the port was entered with a needle that is not non-coring")


@advice("let a second experienced nurse try, and record each pass", limits=("needle_attempts",))
def needle_attempts(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Compares the number of needle passes with what is usual for one nurse.

    Each pass hurts and opens the skin; repeated failure points to a port that is tilted, deep or swollen.

    Feel for the port again first.
    """
    attempts, limit = event.attempts, "needle_attempts"
    if attempts is not None and attempts > case.policy.value(limit):
        says = f"the port was entered after {attempts} attempts; the limit is {case.policy.text(limit)} by one nurse"
        yield Found("attempts", says)


@advice("compare the needle's length with the depth of the port, and record what was done", Citation("open-rn", "R"))
def needle_wings(step: Step, event: ev.Access | ev.LineCheck, case: Case) -> Iterable[Found]:
    """Asks about a needle whose wings do not lie level with the skin.

    Wings raised above the skin suggest a needle that is too long, which can tilt out; wings pressing into the skin
    suggest one that is too short, which hurts the skin and may not reach the floor of the reservoir.

    Choose the next needle accordingly; if the needle moves, hurts or leaks, change it now.
    """
    needle = step.after.needle.needle if step.after.needle is not None else None
    length = needle.length_mm if needle is not None else None
    size = f" of {quantity(length, 'mm')}" if type(length) is Decimal else ""
    if isinstance(event.needle_wings, str) and event.needle_wings in _WINGS:
        how, too = _WINGS[event.needle_wings]
        yield Found("needle_wings", f"the wings of the needle{size} {how} the skin; the needle may be too {too}")


# -- power injection --


def _injected(event: ev.LineUse) -> bool:
    return event.purpose == "power injection" and event.action != "stopped"


def _through(step: Step) -> Needle | None:
    """Return the needle through which the line is used, as far as it is recorded."""
    return step.before.needle.needle if step.before.needle is not None else None


@unsafe(
    "do not power-inject through this line; use a rated needle in a rated port, or another line",
    _POWER_NOTICE,
    Citation("power-ifu", "R2"),
)
def power_injection_unrated(step: Step, event: ev.LineUse, case: Case) -> Iterable[Found]:
    """Finds a power injection through a needle or a port that the record says is not rated for it.

    A power injector drives liquid at pressures that burst ordinary needles, tubing and catheters; more than 250
    ruptures were reported to the FDA.

    Look for swelling and pain.
    """
    if not _injected(event):
        return
    needle, power = _through(step), case.timeline.port_at(event.at).power
    rated = {"needle": needle.power_rated if needle is not None else None, "port": power.rated if power else None}
    unrated = [name for name, value in rated.items() if value is False]
    if unrated:
        said = f"power injection through a {' and a '.join(unrated)} recorded as not rated for it"
        yield Found("purpose", f"{said}; needle and port must both be rated")


@gap(
    "find the labels of needle and port and record their power rating before injecting",
    _POWER_NOTICE,
    Citation("open-rn", "R"),
)
def power_rating_unknown(step: Step, event: ev.LineUse, case: Case) -> Iterable[Found]:
    """Finds a power injection where the rating of needle or port is not on record.

    You cannot tell a power-rated port by look or feel: only the label, the patient's card or the implant record do.

    Power-inject only if both are rated.
    """
    if not _injected(event):
        return
    stay = step.before.needle
    needle = stay.needle if stay is not None else None
    label_unread = stay is not None and case.could_not_read(stay.opened.event.id, ("needle.power_rated",))
    unknown = []
    if type(needle.power_rated if needle is not None else None) is not bool and not label_unread:
        unknown.append("needle")
    if case.timeline.port_at(event.at).power is None and not about(case.timeline.unread, None, "port", "power"):
        unknown.append("port")
    if unknown:
        yield Found(
            "purpose", f"power injection, and the power rating of the {' and of the '.join(unknown)} is not recorded"
        )


@unsafe(
    "lower the rate to the lower of the needle and port limits; look for swelling, pain and loss of blood return",
    _POWER_NOTICE,
    limits=("power_rate_ml_per_s", "power_rate_22_gauge_ml_per_s", "power_gauge_full_rate"),
)
def power_injection_rate(step: Step, event: ev.LineUse, case: Case) -> Iterable[Found]:
    """Compares the rate of a power injection with what the needle's gauge and the port's label allow.

    The thinner the needle, the higher the pressure at the same rate. The lower of the needle limit and the labeled port
    limit counts; for 22 gauge, manufacturers differ, and the smaller figure is used.

    If the limit was exceeded, check the line for leaks before any further use.
    """
    if not _injected(event) or event.flow_ml_per_s is None:
        return
    needle = _through(step)
    gauge = needle.gauge if needle is not None else None
    policy = case.policy
    thin = type(gauge) is int and gauge > policy.value("power_gauge_full_rate")
    name = "power_rate_22_gauge_ml_per_s" if thin else "power_rate_ml_per_s"
    allowed, why, citations = policy.value(name), f"for {gauge} gauge", policy.citations(name)
    if type(gauge) is not int:
        why = "at any gauge"
    power = case.timeline.port_at(event.at).power
    labelled = power.max_flow_ml_per_s if power is not None else None
    if labelled is not None and labelled < allowed:
        allowed, why, citations = labelled, "by the port's label", (Citation("power-ifu", "R2"),)
    if event.flow_ml_per_s > allowed:
        yield Found(
            "flow_ml_per_s",
            f"power injection at {quantity(event.flow_ml_per_s, 'mL per second')}; the limit is "
            f"{quantity(allowed, 'mL per second')} {why}",
            citations=(*citations, _POWER_NOTICE),
        )


@unsafe("do not power-inject through so thin a needle", _POWER_NOTICE, limits=("power_gauge_max",))
def power_injection_gauge(step: Step, event: ev.LineUse, case: Case) -> Iterable[Found]:
    """Finds a power injection through a needle thinner than any that is rated for it.

    No label that was read allows power injection through a needle thinner than 22 gauge.
    """
    needle = _through(step) if _injected(event) else None
    gauge, most = needle.gauge if needle is not None else None, case.policy.value("power_gauge_max")
    if type(gauge) is int and gauge > most:
        yield Found("purpose", f"power injection through a {gauge} gauge needle; the limit is {most} gauge")


@unsafe(
    "set the injector's pressure limit to what needle and port allow; check the line before any further use",
    Citation("power-ifu-table", "R2", "325 psi"),
    _POWER_NOTICE,
    limits=("power_pressure_psi",),
)
def power_injection_pressure(step: Step, event: ev.LineUse, case: Case) -> Iterable[Found]:
    """Compares the injector's pressure limit with the port's label, or with the lower of two if none is known.

    The pressure limit is what stops the injector before something bursts. Labels say 300 or 325 psi.
    """
    if not _injected(event) or event.pressure_psi is None:
        return
    power = case.timeline.port_at(event.at).power
    labelled = power.max_pressure_psi if power is not None else None
    allowed = labelled if labelled is not None else case.policy.value("power_pressure_psi")
    if event.pressure_psi > allowed:
        why = "by the port's label" if labelled is not None else "where the port's label is not recorded"
        yield Found(
            "pressure_psi",
            f"the injector's pressure limit was {quantity(event.pressure_psi, 'psi')}; the limit is "
            f"{quantity(allowed, 'psi')} {why}",
        )


@unsafe("do not power-inject; work on the blood return first", Citation("power-ifu-table", "R2"))
def power_injection_without_blood(step: Step, event: ev.LineUse, case: Case) -> Iterable[Found]:
    """Finds a power injection that was not preceded by free blood return.

    Missing or sluggish blood return is the sign of a needle outside the reservoir or a kinked catheter; with an
    injector, that ends in rupture or in contrast under the skin. The instructions ask for blood return and then a free
    saline flush.
    """
    if _injected(event) and event.blood_return_before in ("none", "sluggish"):
        before = "no" if event.blood_return_before == "none" else "sluggish"
        says = f"power injection with {before} blood return right before it; it must be present"
        yield Found("blood_return_before", says)


@unsafe(
    "flush freely with saline before the next power injection, and chart the flush",
    limits=("power_test_flush_ml", "needle_change_minutes"),
)
def power_injection_test_flush(step: Step, event: ev.LineUse, case: Case) -> Iterable[Found]:
    """Looks at the last flush before a power injection: enough saline, without resistance.

    A free flush of 10 mL shows that the line carries the flow. It counts only if it was given at the same visit.

    Feel for resistance before injecting.
    """
    if not _injected(event):
        return
    last = step.before.last_flush.event if step.before.last_flush is not None else None
    if last is not None and event.at - last.at > case.span("needle_change_minutes"):
        yield Found(
            "purpose", f"power injection, but the last saline flush was at {case.say(last.at)}, not at the same visit"
        )
        return
    flushes = getattr(last, "flushes", None)
    if not isinstance(flushes, tuple):
        yield Found("purpose", "power injection without any saline flush on record before it")
        return
    total = sum((flush.volume_ml for flush in flushes if flush.volume_ml is not None), Decimal(0))
    known = any(flush.volume_ml is not None for flush in flushes)
    if known and total < case.policy.value("power_test_flush_ml"):
        yield Found(
            "purpose",
            f"power injection after a flush of {quantity(total, 'mL')}; the minimum is "
            f"{case.policy.text('power_test_flush_ml')}",
        )
