"""State that events share, as one reading of the record leaves it: port, needles, dwells, due tasks.

A *strand* is opened by one event and perhaps changed or closed by others: a needle and its stay, a dwelling
thrombolytic with its procedure, what is due, a hold, an allergy, the port itself. The bundle of the opening event
creates it unless it is there; the bundle of each later one updates it to what it is in the end, so that the order of
the bundles does not matter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Final, Literal

from lda_notes.fhir.build import due, known, standing
from lda_notes.fhir.build.administrations import thrombolytic, thrombolytic_name
from lda_notes.fhir.build.context import stay, stay_name
from lda_notes.fhir.build.devices import needle_device, needle_name, needle_use, port_device, supply_devices, use_name
from lda_notes.fhir.build.frame import Frame
from lda_notes.fhir.build.given import Given, given, given_name, given_resource
from lda_notes.fhir.build.procedures import procedure
from lda_notes.fhir.build.scene import Made, scene
from lda_notes.knowledge.policy import Policy
from lda_notes.line.corrections import Entry, in_order
from lda_notes.line.states import Dwell, Hold, NeedleStay
from lda_notes.line.timeline import Timeline
from lda_notes.record import events as ev

NOBODY: Final = ""
"""Opens what was there before the first event: every bundle creates it unless it is there."""


@dataclass(frozen=True, slots=True)
class Strand:
    """Shared state by the identity of its main resource: of a needle, its Device.

    ``sort`` is what it is. ``opened`` is the identifier of an event, ``changed`` those of the events that change or
    close it. ``made`` makes its resources: with ``False`` as the opening leaves them, with ``True`` as they are in the
    end.
    """

    name: str
    sort: Literal["port", "needle", "dwell", "given", "due", "hold", "danger", "fact", "stay", "record"]
    opened: str
    changed: tuple[str, ...]
    made: Callable[[bool], list[Made]]


@dataclass(frozen=True, slots=True)
class Fold:
    """Every strand of a timeline, and those that each event opens and changes."""

    timeline: Timeline
    strands: Mapping[str, Strand]
    opened: Mapping[str, tuple[Strand, ...]]
    changed: Mapping[str, tuple[Strand, ...]]


def fold(frame: Frame, timeline: Timeline, policy: Policy) -> Fold:
    """Gather the strands of ``timeline``."""
    strands = {strand.name: strand for strand in _strands(frame, timeline, policy)}
    opened: dict[str, list[Strand]] = {}
    changed: dict[str, list[Strand]] = {}
    for strand in strands.values():
        opened.setdefault(strand.opened, []).append(strand)
        for event in strand.changed:
            changed.setdefault(event, []).append(strand)
    return Fold(
        timeline,
        strands,
        {event: tuple(found) for event, found in opened.items()},
        {event: tuple(found) for event, found in changed.items()},
    )


def _strands(frame: Frame, timeline: Timeline, policy: Policy) -> Iterator[Strand]:
    yield _port(frame, timeline)
    yield _record(frame)
    if frame.style == "context":
        yield _stay(frame, timeline)
    yield from _facts(frame, timeline)
    for needles in timeline.needles.values():
        for needle in needles:
            if not needle.opened.record:
                yield _needle(frame, timeline, needle)
    for dwells in timeline.dwells.values():
        for dwell in dwells:
            if not dwell.treatment.record:
                yield _dwell(frame, dwell)
    for use in given(timeline):
        yield _given(frame, use)
    for run in due.runs(timeline, policy):
        yield _due(frame, run)
    for hold in standing.holds(timeline):
        yield _hold(frame, timeline, hold)
    for stood in standing.dangers(timeline):
        yield _danger(frame, timeline, stood)


def _ids(*entries: Entry | None) -> tuple[str, ...]:
    """Identifiers of the events of this record among some entries, each once."""
    return tuple(dict.fromkeys(entry.event.id for entry in entries if entry is not None and not entry.record))


def _moves(timeline: Timeline) -> list[Entry]:
    """Return the transfers and the discharge."""
    moved = [unit.entry for unit in timeline.units if unit.entry is not None]
    return [*moved, timeline.discharge] if timeline.discharge is not None else moved


def _unit(timeline: Timeline, moment: datetime | None = None) -> str | None:
    """Return the unit where the patient is at a moment, or in the end."""
    if moment is None:
        return None if timeline.discharge is not None else timeline.units[-1].unit
    found = timeline.unit_at(moment)
    return found.unit if found is not None else None


def _port(frame: Frame, timeline: Timeline) -> Strand:
    removals = [entry for entry in timeline.entries if isinstance(entry.event, ev.PortRemoved)]
    told = [entry for entry in timeline.entries if isinstance(entry.event, ev.PortFacts | ev.PortImplanted)]
    status = "inactive" if removals else "active"
    now = timeline.known[-1].port

    def made(closed: bool) -> list[Made]:
        if closed:
            device = port_device(frame, status, now, _unit(timeline))
        else:
            device = port_device(frame, "active", frame.episode.port, timeline.units[0].unit)
        return [Made(frame.port_name, device, ())]

    return Strand(frame.port_name, "port", NOBODY, _ids(*_moves(timeline), *told, *removals[-1:]), made)


def _record(frame: Frame) -> Strand:
    made = known.record_list(frame, with_context=frame.style == "context")
    return Strand(made.name, "record", NOBODY, (), lambda _: [made])


def _stay(frame: Frame, timeline: Timeline) -> Strand:
    left = timeline.discharge.event.at if timeline.discharge is not None else None
    first = timeline.units[0]._replace(until=None)

    def made(closed: bool) -> list[Made]:
        resource = stay(frame, timeline.units, left) if closed else stay(frame, [first], None)
        return [Made(stay_name(frame), resource, ())]

    return Strand(stay_name(frame), "stay", NOBODY, _ids(*_moves(timeline)), made)


def _facts(frame: Frame, timeline: Timeline) -> Iterator[Strand]:
    """Allergies, conditions and weight. What the record began with is created with its first event, retracted or not:
    what other events carried and who signed it stays as it was sent.
    """
    charted = in_order((*timeline.entries, *timeline.retracted))
    first = next(iter(_ids(*charted)), NOBODY)
    for made in (known.none_known(frame), known.weight(frame)):
        if made is not None:
            yield Strand(made.name, "fact", first, (), partial(_unchanged, made))
    for fact in known.facts(frame, timeline):
        opened = fact.by.event.id if fact.by is not None else first
        yield Strand(fact.name, "fact", opened, _ids(fact.withdrawn), partial(_one_fact, frame, fact))


def _unchanged(made: Made, _: bool) -> list[Made]:
    return [made]


def _one_fact(frame: Frame, fact: known.Fact, closed: bool) -> list[Made]:
    return [known.resource(frame, fact, closed=closed)]


def _needle(frame: Frame, timeline: Timeline, needle: NeedleStay) -> Strand:
    event = needle.opened.event
    assert isinstance(event, ev.Opening)
    until = needle.until
    moved = [one for one in _moves(timeline) if one.event.at >= event.at and (until is None or one.event.at <= until)]

    def made(closed: bool) -> list[Made]:
        end, unit = (until, _unit(timeline, until)) if closed else (None, _unit(timeline, event.at))
        access = None
        if isinstance(event, ev.Access):
            name = frame.event_name(event.id, "procedure")
            access = frame.elsewhere("Procedure", name) if closed else frame.reference(name)
        device = needle_device(frame, event, needle.septum, "active" if end is None else "inactive", unit)
        use = needle_use(
            frame, event, needle.septum, needle.since, end, access, "active" if end is None else "completed"
        )
        named = (needle_name(frame, event.id), device), (use_name(frame, event.id), use)
        return [Made(name, resource, ("needle",)) for name, resource in named]

    return Strand(needle_name(frame, event.id), "needle", event.id, _ids(*moved, needle.closed), made)


def _dwell(frame: Frame, dwell: Dwell) -> Strand:
    event = dwell.treatment.event
    assert isinstance(event, ev.PatencyTreatment)
    seen = [check.event.blood_return for check in dwell.checks if isinstance(check.event, ev.PatencyCheck)]
    ended = dwell.ended.event if dwell.ended is not None else None
    outcome = f"blood return {seen[-1]}" if seen and isinstance(seen[-1], str) else None

    def made(closed: bool) -> list[Made]:
        here, apart = scene(frame, event), scene(frame, event, whole=not closed)
        assert here.procedure is not None
        used = [apart.own("Device", supply.name) for supply in supply_devices(apart)]
        over = ended if closed else None
        result = outcome if over is not None else None
        return [
            Made(here.procedure, procedure(apart, used, outcome=result), ()),
            Made(thrombolytic_name(here), thrombolytic(here, event, over.at if over is not None else None), ("drug",)),
        ]

    return Strand(thrombolytic_name(scene(frame, event)), "dwell", event.id, _ids(dwell.ended), made)


def _given(frame: Frame, use: Given) -> Strand:
    name, event = given_name(frame, use), use.entry.event.id
    return Strand(name, "given", event, _ids(use.stopped), lambda closed: [given_resource(frame, use, closed=closed)])


def _due(frame: Frame, run: due.Run) -> Strand:
    name = due.due_name(frame, run)

    def made(closed: bool) -> list[Made]:
        return [Made(name, due.request(frame, run, closed=closed), ())]

    return Strand(name, "due", run.opened.event.id, _ids(run.closed), made)


def _hold(frame: Frame, timeline: Timeline, hold: Hold) -> Strand:
    frame = standing.frame_of(frame, timeline, hold.began)

    def made(closed: bool) -> list[Made]:
        return standing.hold_resources(frame, hold, closed=closed)

    return Strand(standing.hold_names(frame, hold)[0], "hold", _opener(hold.began), _ids(hold.ended), made)


def _opener(began: Entry) -> str:
    """Return the event that opens it; what an earlier stay left is there before the first event of this one."""
    return NOBODY if began.record else began.event.id


def _danger(frame: Frame, timeline: Timeline, stood: standing.Stood) -> Strand:
    assert stood.began.began is not None
    frame = standing.frame_of(frame, timeline, stood.began.began)
    return Strand(
        standing.danger_name(frame, stood),
        "danger",
        _opener(stood.began.began),
        _ids(*stood.changed, stood.ended),
        lambda closed: [standing.danger_flag(frame, stood, closed=closed)],
    )
