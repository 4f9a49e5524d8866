"""Amounts given and withdrawn over a period, added up, in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from lda_notes.documents.handoff.view import View
from lda_notes.knowledge.amounts import heparin_child
from lda_notes.knowledge.policy import number, quantity
from lda_notes.line import sums
from lda_notes.line.sums import Sums


@dataclass(frozen=True, slots=True)
class Added:
    """Amounts over one stretch: ``over`` names it, ``start`` begins it."""

    over: str
    septum: str | None
    start: datetime
    sums: Sums
    kg: Decimal | None = None
    """Weight of a child, for what was given in one day."""


def amounts(view: View) -> Iterator[Added]:
    """Yield what was given and taken off since the last handoff, today, and with each needle that is in."""
    found = tuple(amount for amount in sums.amounts(view.timeline) if amount.at <= view.asof)
    shift = sums.Window(view.since, view.asof)
    yield Added("since the last handoff", None, shift.start, sums.add(sums.within(found, shift)))
    try:
        today = sums.day(view.asof, view.wording.zone)
        yield Added("today", None, today.start, sums.add(sums.within(found, today)), _childs_weight(view))
    except OverflowError:  # at the ends of the calendar there is no such day
        pass
    many = len(view.timeline.episode.port.septa) > 1
    for septum in view.timeline.episode.port.septa:
        stay = view.timeline.now(septum).needle
        if stay is not None:
            added = sums.add(sums.of_stay(view.timeline, stay))
            yield Added(f"with this needle{f', {septum}' if many else ''}", septum, stay.opened.event.at, added)


def _childs_weight(view: View) -> Decimal | None:
    """Return the weight of a child in kg, for whom units of heparin are counted by weight and day."""
    patient = view.timeline.patient_at(view.asof)
    today = view.asof.astimezone(view.wording.zone).date()
    return patient.weight_kg if heparin_child(patient.birth_date, patient.weight_kg, today, view.policy) else None


def amounts_text(added: Sums, kg: Decimal | None = None) -> str:
    """Return sums in words, nothing for what did not happen; with the weight ``kg``, heparin per kg as well."""
    parts = []
    if added.flush_ml:
        preserved = f", of it {number(added.preserved_flush_ml)} mL preserved" if added.preserved_flush_ml else ""
        parts.append(f"flush {number(added.flush_ml)} mL{preserved}")
    if added.discard_ml:
        parts.append(f"{number(added.discard_ml)} mL discarded")
    if added.withdrawn_ml:
        parts.append(f"{number(added.withdrawn_ml)} mL withdrawn")
    if added.heparin_units:
        strengths = [
            f"{quantity(units, 'units')} of {number(strength)} units per mL" for strength, units in added.by_strength
        ]
        if len(strengths) > 1:
            strengths = [f"{quantity(added.heparin_units, 'units')}: {', '.join(strengths)}"]
        if kg:
            strengths[0] += (
                f" ({quantity(round(added.heparin_units / kg, 1), 'units per kg')} for {quantity(kg, 'kg')})"
            )
        parts.append(f"heparin {strengths[0]}")
    if added.thrombolytic_mg:
        parts.append(f"alteplase {number(added.thrombolytic_mg)} mg")
    if added.unknown:
        names = ", ".join(dict.fromkeys(amount.what for amount in added.unknown))
        parts.append(f"and an amount that is not recorded ({names})")
    return ", ".join(parts) or "nothing"
