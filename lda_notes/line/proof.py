"""Proof that a line works, as an event shows it: blood return, a free flush, both in one visit."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, Final

from lda_notes.line.corrections import Entry
from lda_notes.line.states import State
from lda_notes.record import events as ev

VISIT: Final = timedelta(hours=1)
"""Blood and a free flush within this time are one proof, though charted in two entries (common practice)."""


def fact_of(event: Any, name: str) -> Any:
    """Return a fact of an event of whatever kind, None where the kind has no such fact.

    Asked of every event many times: a look into the dictionary costs least.
    """
    return event.__dict__.get(name)


def blood_of(event: ev.Event) -> str | None:
    """Return the last blood return that ``event`` records: present, sluggish or none; None when it records none."""
    for name in ("blood_return", "blood_return_before"):
        seen = fact_of(event, name)
        if seen.__class__ is str:
            return str(seen)
    punctures = fact_of(event, "punctures")
    outcome = getattr(punctures[-1], "outcome", None) if punctures.__class__ is tuple and punctures else None
    return {"blood return": "present", "no blood return": "none", "sluggish blood return": "sluggish"}.get(
        outcome or ""
    )


def flow_of(event: ev.Event) -> str | None:
    """Return how the last flush of ``event`` ran: none (free), some, cannot flush; None when that is not recorded."""
    flushes = fact_of(event, "flushes")
    if flushes.__class__ is tuple and flushes:
        felt = flushes[-1].resistance
        return felt if felt.__class__ is str else None
    punctures = fact_of(event, "punctures")
    if punctures.__class__ is tuple and punctures and getattr(punctures[-1], "outcome", None) == "resistance":
        return "some"
    return None


def whole_blood(event: ev.Event) -> bool:
    """Return whether the last aspirate of ``event`` is blood that returned freely and looks like blood."""
    return blood_of(event) == "present" and fact_of(event, "blood_looks") in (None, "like whole blood")


def proved(after: State, entry: Entry) -> bool:
    """Return whether ``entry`` proves the line: whole blood and a free last flush, in one visit that it belongs to."""
    blood, flow = after.blood, after.flow
    if blood is None or flow is None or entry not in (blood, flow):
        return False
    near = all(entry.event.at - one.event.at <= VISIT for one in (blood, flow))
    return near and whole_blood(blood.event) and flow_of(flow.event) == "none"
