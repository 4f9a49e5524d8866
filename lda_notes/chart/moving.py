"""An entry that was charted in the wrong record: what of it is offered in the right one, for signing there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from lda_notes.chart.entries import plain_event
from lda_notes.record.episode import Episode
from lda_notes.record.events import Event

WRONG_PATIENT: Final = "charted on the wrong patient"
"""The reason that Enter gives for the retraction."""

_RECALLED: Final = "own entry, first made in another record"

_OF_THE_OTHER: Final = frozenset(
    {
        *("id", "kind", "charted_at", "seal", "by"),  # given anew when it is signed
        *("identifiers_checked", "allergies_checked", "despite_hold"),  # said of the other patient, and asked again
        *("treatment", "second_dose_of", "follows_removal", "of"),  # names of entries of the other record
        "tip_confirmed",  # of the other port
        "next_due",  # worked out from the other line
    }
)
"""Facts that do not move: they belong to the other record or patient."""


def carried(event: Event, into: Episode, late: bool) -> dict[str, Any]:
    """Return the facts of an entry that stay true in another record; ``late`` says that it is a late entry there."""
    facts = {key: value for key, value in plain_event(event).items() if key not in _OF_THE_OTHER}
    if facts.get("septum") not in into.port.septa:
        facts.pop("septum", None)
    return {**facts, **({"late_entry": _RECALLED} if late else {})}


def charted_by_another(event: Event, by: Mapping[str, Any]) -> str:
    """Return what whoever moves an entry has to know before signing it; empty where the author moves it."""
    first = event.by.name if event.by is not None else None
    if not first or first == (by.get("by") or {}).get("name"):
        return ""
    return f"It was charted by {first}. Sign it only if you did or saw it yourself; else ask {first} to move it."
