"""Due times as ServiceRequests: every clock that an event starts, until another event ends or restarts it.

A request is opened by the event at which its clock begins to run and closed by the event at which it no longer runs
so: completed when that event is the act, revoked otherwise. Its intent is a plan: it orders nothing. Looks at each
shift are routine and make none.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from lda_notes.fhir.build.frame import Frame
from lda_notes.fhir.elements import Json, filled, moment, text_of
from lda_notes.knowledge.policy import Policy
from lda_notes.line import due
from lda_notes.line.corrections import Entry
from lda_notes.line.states import State
from lda_notes.line.timeline import Timeline
from lda_notes.record import events as ev
from lda_notes.record.parts import Dressing, Lock, NotDone

_CLOCKS: Final[dict[due.ClockName, tuple[str, str]]] = {
    "needle change": ("needle change due", "needle-change"),
    "dressing change": ("dressing change due", "dressing-change"),
    "flush": ("flush due", "flush"),
    "idle flush": ("flush due", "flush"),
    "maintenance flush": ("flush due", "flush"),
    "thrombolytic check": ("patency check due", "patency-check"),
}
"""The concept and the role of the request of each clock; a clock without a row makes none."""


@dataclass(frozen=True, slots=True)
class Run:
    """One run of a clock: what is due, the event that started it and the one that ended it."""

    due: due.Due
    opened: Entry
    closed: Entry | None = None


def runs(timeline: Timeline, policy: Policy) -> Iterator[Run]:
    """Yield every run of a clock that makes a request, by septum and in order of time."""
    zone = due.zone_of(timeline)
    left = timeline.discharge.event.at if timeline.discharge is not None else None
    for septum in dict.fromkeys(timeline.episode.port.septa):
        running: dict[tuple[str, str, str, datetime | None], Run] = {}
        before: tuple[object, ...] = ()
        for step in timeline.course(septum):
            at = step.entry.event.at
            rests_on = (*_rests_on(step.after), left is not None and left <= at)
            if rests_on == before:
                continue
            before = rests_on
            now = {
                (one.clock, one.restarted_by.event.id, one.limit, one.by): one
                for one in due.clocks(timeline, step.after, at, policy, zone)
                if one.clock in _CLOCKS
            }
            for key in [key for key in running if key not in now]:
                run = running.pop(key)
                yield Run(run.due, run.opened, step.entry)
            for key, one in now.items():
                if key not in running:
                    running[key] = Run(one, step.entry)
        yield from running.values()


def _rests_on(state: State) -> tuple[object, ...]:
    """Return what the clocks of a state rest on, as identities: most events change none of it."""
    parts = (
        state.needle,
        state.dressing,
        state.dwell,
        state.last_flush,
        state.last_lock,
        state.last_removal,
        state.infusion_stopped,
    )
    codes = tuple(danger.code for danger in state.dangers)
    return (*map(id, parts), bool(state.holds), codes, state.infusion is None, state.port_in)


def due_name(frame: Frame, run: Run) -> str:
    """Return the identity of the request: the event that opened it, what is due, and the septum where there are two."""
    part = f"due/{_CLOCKS[run.due.clock][1]}"
    two = len(frame.episode.port.septa) > 1
    return frame.event_name(run.opened.event.id, f"{part}/{run.due.septum}" if two else part)


def _completes(clock: due.ClockName, event: ev.Event) -> bool:
    """Return whether an event is the act that a clock was running for."""
    match clock:
        case "needle change":
            return isinstance(event, ev.Opening | ev.Closing | ev.PortRemoved)
        case "dressing change":
            return isinstance(event, ev.Dressed) and isinstance(event.dressing, Dressing)
        case "thrombolytic check":
            return isinstance(event, ev.PatencyCheck)
        case "flush" | "idle flush" | "maintenance flush":
            return isinstance(event, ev.FlushedElsewhere) or (
                isinstance(event, ev.Flushed)
                and (bool(event.flushes and not isinstance(event.flushes, NotDone)) or isinstance(event.lock, Lock))
            )
        case "line check":
            return False


def request(frame: Frame, run: Run, *, closed: bool) -> Json:
    """Return the ServiceRequest of a run, as it was opened or, with ``closed``, as the run's end leaves it.

    ``occurrenceDateTime`` is by when; of what is due at once, the moment at which that became known.
    """
    opener = run.opened.event
    end = run.closed.event if closed and run.closed is not None else None
    key = _CLOCKS[run.due.clock][0]
    name = text_of(key)
    done = end is not None and _completes(run.due.clock, end)
    by = run.due.by
    why = f"{name} by {by:%Y-%m-%d %H:%M}" if by is not None else f"{name} now: {run.due.why}"
    if end is not None and not done:
        why += f"; no longer due after: {end.kind}"
    return filled(
        {
            "resourceType": "ServiceRequest",
            "extension": frame.septum(run.due.septum),
            "identifier": frame.names.identifier(due_name(frame, run)),
            "status": "active" if end is None else "completed" if done else "revoked",
            "intent": "plan",
            "priority": "routine" if by is not None else "urgent",
            "code": frame.say.concept(key),
            "subject": frame.subject,
            "encounter": frame.encounter,
            "occurrenceDateTime": moment(by if by is not None else opener.at),
            "authoredOn": moment(opener.charted_at or opener.at),
            "requester": frame.person(opener.by),
            "supportingInfo": [frame.port],
            "note": [{"text": why}],
        }
    )
