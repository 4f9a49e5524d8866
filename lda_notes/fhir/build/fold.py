"""State that events share, as one reading of the record leaves it: port, needles, dwells, due tasks.

A *strand* is opened by one event and perhaps closed by another: a needle and its stay, a dwelling thrombolytic with
its procedure, a due task, the port itself. The bundle of the opening event creates it unless it is there; the
bundle of the closing event updates it to what it is in the end, so that the order of the bundles does not matter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

from lda_notes.record import events as ev
from lda_notes.fhir.build.administrations import thrombolytic, thrombolytic_name
from lda_notes.fhir.build.devices import needle_device, needle_name, needle_use, port_device, supply_devices, use_name
from lda_notes.fhir.elements import Json
from lda_notes.fhir.build.frame import Frame
from lda_notes.fhir.build.procedures import procedure
from lda_notes.fhir.build.scene import Made, scene
from lda_notes.fhir.build.tasks import Run, runs, task, task_name
from lda_notes.knowledge.policy import Policy
from lda_notes.line.timeline import Dwell, NeedleStay, Timeline

NOBODY: Final = ""
"""Opens the port's strand: the port was there before the first event."""


@dataclass(frozen=True, slots=True)
class Strand:
    """Shared state by the identity of its main resource: of a needle, its Device.

    ``sort`` is what it is. ``opened`` and ``closed`` are identifiers of events. ``start`` makes its resources as the
    opening leaves them, ``end`` as they are in the end, closed or still open.
    """

    name: str
    sort: Literal["port", "needle", "dwell", "task"]
    opened: str
    closed: str | None
    start: Callable[[], list[Made]]
    end: Callable[[], list[Made]]


@dataclass(frozen=True, slots=True)
class Fold:
    """Every strand of a timeline, and those that each event opens and closes."""

    timeline: Timeline
    strands: Mapping[str, Strand]
    opened: Mapping[str, tuple[Strand, ...]]
    closed: Mapping[str, tuple[Strand, ...]]


def fold(frame: Frame, timeline: Timeline, policy: Policy) -> Fold:
    """Gather the strands of ``timeline``."""
    strands = {strand.name: strand for strand in _strands(frame, timeline, policy)}
    opened: dict[str, list[Strand]] = {}
    closed: dict[str, list[Strand]] = {}
    for strand in strands.values():
        opened.setdefault(strand.opened, []).append(strand)
        if strand.closed is not None:
            closed.setdefault(strand.closed, []).append(strand)
    return Fold(
        timeline,
        strands,
        {event: tuple(found) for event, found in opened.items()},
        {event: tuple(found) for event, found in closed.items()},
    )


def _strands(frame: Frame, timeline: Timeline, policy: Policy) -> Iterator[Strand]:
    yield _port(frame, timeline)
    for needles in timeline.needles.values():
        for stay in needles:
            yield _needle(frame, stay)
    for dwells in timeline.dwells.values():
        for dwell in dwells:
            yield _dwell(frame, dwell)
    for run in runs(timeline, policy):
        yield _task(frame, run)


def _port(frame: Frame, timeline: Timeline) -> Strand:
    removals = [entry for entry in timeline.entries if isinstance(entry.event, ev.PortRemoved)]
    last = removals[-1].event.id if removals else None

    def made(status: str) -> list[Made]:
        return [Made(frame.port_name, port_device(frame, status), ())]

    return Strand(
        frame.port_name, "port", NOBODY, last, lambda: made("active"), lambda: made("inactive" if last else "active")
    )


def _needle(frame: Frame, stay: NeedleStay) -> Strand:
    event = stay.opened.event
    assert isinstance(event, ev.Opening)
    until = stay.until

    def made(end: datetime | None, access: Json | None) -> list[Made]:
        device = needle_device(frame, event, "active" if end is None else "inactive")
        use = needle_use(frame, event, stay.since, end, access, "active" if end is None else "completed")
        name = needle_name(frame, event.id)
        return [Made(name, device, ("needle",)), Made(use_name(frame, event.id), use, ("needle",))]

    def access(*, whole: bool) -> Json | None:
        if not isinstance(event, ev.Access):
            return None
        name = frame.event_name(event.id, "procedure")
        return frame.reference(name) if whole else frame.elsewhere("Procedure", name)

    return Strand(
        needle_name(frame, event.id),
        "needle",
        event.id,
        stay.closed.event.id if stay.closed is not None else None,
        lambda: made(None, access(whole=True)),
        lambda: made(until, access(whole=False)),
    )


def _dwell(frame: Frame, dwell: Dwell) -> Strand:
    event = dwell.treatment.event
    assert isinstance(event, ev.PatencyTreatment)
    seen = [check.event.blood_return for check in dwell.checks if isinstance(check.event, ev.PatencyCheck)]
    ended = dwell.ended.event if dwell.ended is not None else None
    outcome = f"blood return {seen[-1]}" if seen and isinstance(seen[-1], str) else None

    def made(end: datetime | None, result: str | None, *, whole: bool) -> list[Made]:
        here, apart = scene(frame, event), scene(frame, event, whole=whole)
        assert here.procedure is not None
        used = [apart.own("Device", supply.name) for supply in supply_devices(apart)]
        return [
            Made(here.procedure, procedure(apart, used, outcome=result), ()),
            Made(thrombolytic_name(here), thrombolytic(here, event, end), ("drug",)),
        ]

    return Strand(
        thrombolytic_name(scene(frame, event)),
        "dwell",
        event.id,
        ended.id if ended is not None else None,
        lambda: made(None, None, whole=True),
        lambda: made(ended.at if ended is not None else None, outcome if ended is not None else None, whole=False),
    )


def _task(frame: Frame, run: Run) -> Strand:
    name = task_name(frame, run)

    def made(closed: bool) -> list[Made]:
        return [Made(name, task(frame, run, closed=closed), ())]

    return Strand(
        name,
        "task",
        run.opened.event.id,
        run.closed.event.id if run.closed is not None else None,
        lambda: made(False),
        lambda: made(True),
    )
