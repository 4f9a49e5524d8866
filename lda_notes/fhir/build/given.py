"""Substances given in one use of the line: a MedicationAdministration that lasts from the start to the stop.

The dose and the order are in the facility's medication record, not here: this says what went through which line, when.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from lda_notes.fhir.build.administrations import administration
from lda_notes.fhir.build.frame import Frame
from lda_notes.fhir.build.scene import Made, scene
from lda_notes.fhir.concepts import GIVEN
from lda_notes.fhir.elements import Json, period, quantity
from lda_notes.line.corrections import Entry
from lda_notes.line.timeline import Timeline
from lda_notes.record import events as ev


@dataclass(frozen=True, slots=True)
class Given:
    """A use that put something through the line; ``stopped`` is the event with which it no longer ran."""

    entry: Entry
    stopped: Entry | None = None


def given(timeline: Timeline) -> Iterator[Given]:
    """Yield every use that put something through; a stop alone only where no start of it is recorded."""
    uses = [entry for entry in timeline.entries if _puts_through(entry)]
    if not uses:
        return
    stopped: dict[str, Entry] = {}
    for septum in dict.fromkeys(timeline.episode.port.septa):
        running: list[str] = []
        for step in timeline.course(septum):
            if step.after.infusion is None:
                for event in running:
                    stopped.setdefault(event, step.entry)
                running = []
            elif _puts_through(step.entry) and _action(step.entry) == "started":
                running.append(step.entry.event.id)
    ends = {entry.event.id for entry in stopped.values()}
    for entry in uses:
        if not (_action(entry) == "stopped" and entry.event.id in ends):
            yield Given(entry, stopped.get(entry.event.id))


def _puts_through(entry: Entry) -> bool:
    event = entry.event
    return isinstance(event, ev.LineUse) and not entry.record and event.purpose in GIVEN


def _action(entry: Entry) -> str | None:
    assert isinstance(entry.event, ev.LineUse)
    return entry.event.action


def given_name(frame: Frame, one: Given) -> str:
    """Return the identity of what a use put through."""
    return frame.event_name(one.entry.event.id, "given")


def given_resource(frame: Frame, one: Given, *, closed: bool) -> Made:
    """Return the MedicationAdministration of a use, as it began or, with ``closed``, as it ended."""
    event = one.entry.event
    assert isinstance(event, ev.LineUse)
    here = scene(frame, event, whole=not closed)
    name = given_name(frame, one)
    ended = one.stopped.event.at if closed and one.stopped is not None else None
    status, when = _when(here.at, event, ended)
    kind = f"given: {event.purpose}"
    drug = frame.say.worded(kind, event.what) if event.what is not None else frame.say.concept(kind)
    rate = event.flow_ml_per_s
    dosage: Json | None = None
    if rate is not None:  # R4 (mad-1) has no dosage without a dose or a rate, so that a route needs one
        dosage = {"route": frame.say.concept("intravenous route"), "rateQuantity": quantity(rate, "mL/s")}
    why = f"reason: {event.purpose}"
    return Made(name, administration(here, name, status, drug, why, when, dosage=dosage), ())


def _when(at: str, event: ev.LineUse, ended: datetime | None) -> tuple[str, Json]:
    match event.action:
        case "started":
            return "in-progress" if ended is None else "completed", {"effectivePeriod": period(event.at, ended)}
        case "stopped":
            return "completed", {"effectivePeriod": period(None, event.at)}
        case "given":
            return "completed", {"effectiveDateTime": at}
        case _:
            return "unknown", {"effectiveDateTime": at}
