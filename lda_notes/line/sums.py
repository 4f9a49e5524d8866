"""Amounts through a line, added up: exact decimals over half-open windows, or over one needle's stay.

A window contains what happened from its start up to, but not at, its end; so windows that touch neither share nor lose
anything. A needle's stay is not a window but a row of events: its own opening and closing are part of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from typing import Final, Literal, NamedTuple
from zoneinfo import ZoneInfo

from lda_notes.knowledge.amounts import heparin_units
from lda_notes.line.corrections import Entry
from lda_notes.line.states import NeedleStay
from lda_notes.line.timeline import Timeline
from lda_notes.record import events as ev
from lda_notes.record.parts import Lock

Sort = Literal["flush", "discard", "withdrawal", "lock", "thrombolytic"]
"""The kind of an amount. A withdrawal is the aspirate taken off after a thrombolytic has worked."""

HEPARIN_LOCKS: Final = frozenset({"heparin", "taurolidine with citrate and heparin"})
"""Locks that contain heparin, so that their units count."""


class Amount(NamedTuple):
    """One thing that went in or came out. What was not recorded is None, never 0.

    ``volume_ml`` in mL, ``units_per_ml`` the strength of a heparin lock, ``mg`` the dose of a thrombolytic.
    """

    entry: Entry
    septum: str
    sort: Sort
    what: str
    volume_ml: Decimal | None
    units_per_ml: Decimal | None = None
    mg: Decimal | None = None

    @property
    def at(self) -> datetime:
        """When it was given or taken."""
        return self.entry.event.at

    @property
    def heparin(self) -> bool:
        """Return whether it contains heparin."""
        return self.sort == "lock" and self.what in HEPARIN_LOCKS

    @property
    def units(self) -> Decimal | None:
        """Units of heparin, strength times volume; None when it contains none, or either is not recorded."""
        if not self.heparin or self.units_per_ml is None or self.volume_ml is None:
            return None
        return heparin_units(self.units_per_ml, self.volume_ml)


class Window(NamedTuple):
    """A stretch of time: its start belongs to it, its end does not."""

    start: datetime
    end: datetime

    def holds(self, moment: datetime) -> bool:
        """Return whether ``moment`` lies in the window; compared as points in time, whatever the zones."""
        return self.start.astimezone(UTC) <= moment.astimezone(UTC) < self.end.astimezone(UTC)


class Sums(NamedTuple):
    """Amounts added up, in mL, units and mg.

    ``by_strength`` pairs each strength (units per mL) with its units, weakest first. ``unknown`` lists the amounts
    that could not be added because a volume, strength or dose is not recorded: with any, the sums are lower bounds.
    """

    flush_ml: Decimal
    preserved_flush_ml: Decimal
    discard_ml: Decimal
    withdrawn_ml: Decimal
    lock_ml: Decimal
    heparin_units: Decimal
    by_strength: tuple[tuple[Decimal, Decimal], ...]
    thrombolytic_mg: Decimal
    unknown: tuple[Amount, ...]


def amounts(timeline: Timeline) -> tuple[Amount, ...]:
    """Return every amount of the standing events, in order of time."""
    return tuple(
        amount for step in timeline.steps if step.septum is not None for amount in _of(step.entry, step.septum)
    )


def _of(entry: Entry, septum: str) -> Iterator[Amount]:
    event = entry.event
    if isinstance(event, ev.Proved) and isinstance(event.discard_ml, Decimal):
        yield Amount(entry, septum, "discard", "blood", event.discard_ml)
    if isinstance(event, ev.Flushed):
        if isinstance(event.flushes, tuple):
            for flush in event.flushes:
                yield Amount(entry, septum, "flush", flush.solution, flush.volume_ml)
        if isinstance(event.lock, Lock):
            yield Amount(entry, septum, "lock", event.lock.drug, event.lock.volume_ml, event.lock.units_per_ml)
    if isinstance(event, ev.PatencyTreatment):
        yield Amount(entry, septum, "thrombolytic", event.drug, event.volume_ml, mg=event.dose_mg)
    if isinstance(event, ev.PatencyCheck) and event.withdrawn_ml is not None:
        yield Amount(entry, septum, "withdrawal", "blood", event.withdrawn_ml)


def add(found: Iterable[Amount]) -> Sums:
    """Add up amounts. An amount without its volume, strength or dose is listed as unknown, not taken for 0."""
    ml: dict[Sort, Decimal] = dict.fromkeys(("flush", "discard", "withdrawal", "lock", "thrombolytic"), Decimal(0))
    preserved, mg = Decimal(0), Decimal(0)
    strengths: dict[Decimal, Decimal] = {}
    unknown: list[Amount] = []
    for amount in found:
        if _incomplete(amount):
            unknown.append(amount)
        ml[amount.sort] += amount.volume_ml or 0
        if amount.sort == "flush" and amount.what.endswith("with benzyl alcohol"):
            preserved += amount.volume_ml or 0
        mg += amount.mg or 0
        if amount.units_per_ml is not None and amount.units is not None:
            strengths[amount.units_per_ml] = strengths.get(amount.units_per_ml, Decimal(0)) + amount.units
    return Sums(
        ml["flush"],
        preserved,
        ml["discard"],
        ml["withdrawal"],
        ml["lock"],
        sum(strengths.values(), Decimal(0)),
        tuple(sorted(strengths.items())),
        mg,
        tuple(unknown),
    )


def _incomplete(amount: Amount) -> bool:
    return (
        amount.volume_ml is None
        or (amount.heparin and amount.units_per_ml is None)
        or (amount.sort == "thrombolytic" and amount.what == "alteplase" and amount.mg is None)
    )


def within(found: Iterable[Amount], window: Window, septum: str | None = None) -> tuple[Amount, ...]:
    """Return the amounts of ``window``, of one septum or (None) of the whole port."""
    return tuple(a for a in found if window.holds(a.at) and septum in (None, a.septum))


def of_stay(timeline: Timeline, stay: NeedleStay) -> tuple[Amount, ...]:
    """Return the amounts of one needle's stay up to the moment judged from, opening and closing included."""
    inside = False
    found: list[Amount] = []
    for step in timeline.steps:
        if step.septum != stay.septum or step.entry.event.at > timeline.asof:
            continue
        inside = inside or step.entry is stay.opened
        if inside and not (step.entry is stay.closed and isinstance(step.entry.event, ev.Opening)):
            found.extend(_of(step.entry, stay.septum))
        if step.entry is stay.closed:
            break
    return tuple(found)


def shift(end: datetime, hours: Decimal) -> Window:
    """Return the shift of ``hours`` elapsed hours that ends at ``end``."""
    length = timedelta(microseconds=int(hours * 3_600_000_000))
    return Window((end.astimezone(UTC) - length).astimezone(end.tzinfo), end)


def day(moment: datetime, zone: ZoneInfo) -> Window:
    """Return the calendar day of ``zone`` that contains ``moment``: 23, 24 or 25 hours."""
    today = moment.astimezone(zone).date()
    return Window(datetime.combine(today, time(), zone), datetime.combine(today + timedelta(days=1), time(), zone))
