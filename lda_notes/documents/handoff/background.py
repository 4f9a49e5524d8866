"""Who the patient is and where the port lies: allergies, age, port, the way out."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Final

from lda_notes.documents import wording
from lda_notes.documents.handoff.view import View
from lda_notes.knowledge.ages import days_old, months_old, years_old
from lda_notes.knowledge.policy import quantity
from lda_notes.line.states import UnitStay
from lda_notes.line.timeline import Timeline
from lda_notes.narrative import phrasing
from lda_notes.record import events as ev
from lda_notes.record.episode import Port
from lda_notes.record.parts import Allergy, NeedleRemoval
from lda_notes.record.unread import Unread, about, absent


def unit_of(timeline: Timeline) -> UnitStay | None:
    """Return the unit at the moment judged from; after discharge, the last one."""
    return timeline.unit_at(timeline.asof) or (timeline.units[-1] if timeline.units else None)


def child(view: View) -> str:
    """Return age and weight of a child, as of the moment judged from; "" for an adult."""
    patient = view.timeline.episode.patient
    today = phrasing.local(view.asof, view.wording.zone).date()
    if patient.birth_date is None or years_old(patient.birth_date, today) >= view.policy.value("adult_years"):
        return ""
    lacks = f"weight {absent(view.timeline.unread, None, 'patient', 'weight_kg')}"
    weight = quantity(patient.weight_kg, "kg") if patient.weight_kg is not None else lacks
    return f"{_age(patient.birth_date, today)}, {weight}"


def _age(born: date, today: date) -> str:
    if days_old(born, today) < 28:
        return phrasing.count(max(0, days_old(born, today)), "day")
    if years_old(born, today) < 2:
        return phrasing.count(months_old(born, today), "month")
    return phrasing.count(years_old(born, today), "year")


def allergy_lines(timeline: Timeline) -> Iterator[str]:
    """Yield allergies with their reactions and the conditions that matter for the line, or that none are known."""
    patient = timeline.episode.patient
    if patient.allergies:
        yield "Allergy: " + "; ".join(map(_allergy, patient.allergies))
    if said := allergies(timeline):
        yield phrasing.capital(said)
    for condition in patient.conditions:
        yield phrasing.capital(condition)


def allergies_short(timeline: Timeline) -> str:
    """Return allergies and conditions in one line, the reaction only where it was anaphylaxis; "" for none known."""
    patient = timeline.episode.patient
    named = [
        _allergy(one if "anaphyla" in (one.reaction or "").casefold() else one.model_copy(update={"reaction": None}))
        for one in patient.allergies or ()
    ]
    said = [f"allergy: {', '.join(named)}" if named else "", _unclear(timeline), *patient.conditions]
    return phrasing.capital("; ".join(filter(None, said)))


def _allergy(allergy: Allergy) -> str:
    what = allergy.detail if allergy.substance == "other" and allergy.detail else allergy.substance
    return wording.one_line(f"{what} ({allergy.reaction})" if allergy.reaction else what)


def left(view: View) -> str:
    """Return where a discharged patient went, and who sees to a needle left in; "" for one who stays."""
    entry = view.left()
    if entry is None or not isinstance(entry.event, ev.Discharge):
        return ""
    where = f" to {entry.event.destination}" if entry.event.destination else ""
    needle = {True: ", needle left in", False: ", no needle in", None: ""}[entry.event.needle_in]
    return f"Discharged{where}{needle}{_removal(view, entry.event.needle_removal)} ({view.wording.told(entry)})"


def _removal(view: View, plan: NeedleRemoval | None) -> str:
    """Return who takes out the needle that was left in, when, and whom to call before."""
    if plan is None:
        return ""
    who = f"; {wording.person(plan.by)} takes it out" if plan.by is not None else "; who takes it out is not named"
    at = f" {view.wording.when(plan.at)}" if plan.at else ""
    return who + at + (f"; if it comes out before, call {phrasing.quoted(plan.call)}" if plan.call else "")


NONE_KNOWN: Final = "no known allergies"


def allergies(timeline: Timeline) -> str:
    """Return in words that allergies are not recorded, not readable or not known; "" where they are listed."""
    return _unclear(timeline) or ("" if timeline.episode.patient.allergies else NONE_KNOWN)


def _unclear(timeline: Timeline) -> str:
    if timeline.episode.patient.allergies is None:
        return f"allergies {absent(timeline.unread, None, 'patient', 'allergies')}"
    lost = about(timeline.unread, None, "patient", "allergies")
    return "allergies of which some could not be read" if lost else ""


def port_text(port: Port, timeline: Timeline) -> str:
    """Return where the port lies and what is known of it and of its side."""
    unread = timeline.unread
    where = " ".join(part for part in (port.side, port.area) if part) or _port_lacks(unread, "site", "side", "area")
    parts = [wording.one_line(f"Port, {where}" + (f", {port.site_detail}" if port.site_detail else ""))]
    if port.implanted_on:
        parts.append(f"implanted {phrasing.day(port.implanted_on)}")
    if port.tip:
        how = f", by {port.tip.method}" if port.tip.method else ""
        when = f", {phrasing.day(port.tip.on)}" if port.tip.on else ""
        parts.append(wording.one_line(f"tip at {port.tip.location}{how}{when}"))
    power = port.power
    unknown = [*([] if port.tip else ["tip position"]), *([] if power else ["power rating"])]
    lost = [what for what in unknown if about(unread, None, "port", what.split()[0])]
    for what, why in ((lost, "could not be read"), ([what for what in unknown if what not in lost], "not recorded")):
        parts += [f"{phrasing.listed(what)} {why}"] if what else []
    if power is None:
        pass
    elif not power.rated:
        parts.append("not rated for power injection")
    else:
        most = [quantity(power.max_flow_ml_per_s, "mL per second")] if power.max_flow_ml_per_s else []
        most += [quantity(power.max_pressure_psi, "psi")] if power.max_pressure_psi else []
        parts.append("rated for power injection" + (f", at most {' and '.join(most)}" if most else ""))
    known = [row.event.arm_history for row in timeline.entries if isinstance(row.event, ev.PortFacts)]
    said = dict.fromkeys(word for words in known for word in words)
    side = tuple(word for word in said if word != "none of these")
    if side:
        parts.append(f"known of that side: {phrasing.listed(side)}")
    elif said:
        parts.append("no lymphedema, dialysis fistula or surgery on that side")
    return "; ".join(parts)


def _port_lacks(unread: tuple[Unread, ...], what: str, *names: str) -> str:
    found = {absent(unread, None, "port", name) for name in names}
    return f"{what} {min(found)}"  # of the two the one that says more comes first
