"""Holds and standing dangers, as other systems can find them: a Task and a Flag for each hold, a Flag for a danger.

The Task "evaluation of the line" is requested while the hold lasts: Flag has no search by code or status in R4. Both
rest on what was seen, and refer to it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from lda_notes.fhir.build.frame import Frame, of_stay
from lda_notes.fhir.build.observations import observations
from lda_notes.fhir.build.scene import Made, Scene, scene
from lda_notes.fhir.concepts import FLAGGED, slug
from lda_notes.fhir.elements import Json, concept, filled, moment, period
from lda_notes.line.corrections import Entry
from lda_notes.line.states import Danger, Hold
from lda_notes.line.timeline import Timeline
from lda_notes.record import events as ev
from lda_notes.record.parts import NotDone

FLAG_DETAIL: Final = "http://hl7.org/fhir/StructureDefinition/flag-detail"
"""R4's own extension for what a flag rests on."""

_SEEN: Final = ("signs", "site", "found-at-the-line", "problem")
_NEEDLE_OUT: Final = "how-far-the-needle-is-out"
_EVIDENCE: Final[Mapping[str, tuple[str, ...]]] = {
    "no blood return": ("blood-return", "return-before-use", "punctures"),
    "blood return not proven": ("blood-return", "return-before-use", "punctures"),
    "resistance": ("punctures",),
    "resistance that changes with posture": ("signs", "blood-return"),
    "rated limit exceeded": ("injection-rate", "injection-pressure"),
    "tip not confirmed": ("tip-position",),
    "needle not whole": ("needle-whole", "missing-piece"),
    "needle partly out": (_NEEDLE_OUT, "found-at-the-line"),
    "something given at the site hurt or leaked": (*_SEEN, _NEEDLE_OUT),
    "coring needle": (),
}
"""Which Observations of its event a hold rests on, by the beginning of their role; others rest on signs and site."""


@dataclass(frozen=True, slots=True)
class Stood:
    """A danger over its time: as it began, as it now is, and the events that changed or ended it."""

    began: Danger
    now: Danger
    changed: tuple[Entry, ...] = ()
    ended: Entry | None = None


def dangers(timeline: Timeline) -> Iterator[Stood]:
    """Yield every danger that leaves the record, by septum and in order of time."""
    for septum in dict.fromkeys(timeline.episode.port.septa):
        standing: dict[tuple[str, str, str], Stood] = {}
        for number, step in enumerate(timeline.course(septum)):
            if not number:  # what an earlier stay left standing
                standing = {key: Stood(one, one) for key, one in _leaving(step.before.dangers)}
            seen = dict(_leaving(step.after.dangers))
            for key in [key for key in standing if key not in seen]:
                stood = standing.pop(key)
                yield Stood(stood.began, stood.now, stood.changed, step.entry)
            for key, one in seen.items():
                known = standing.get(key)
                if known is None:
                    standing[key] = Stood(one, one)
                elif known.now.what != one.what:
                    standing[key] = Stood(known.began, one, (*known.changed, step.entry))
        yield from standing.values()


def _leaving(dangers: Iterable[Danger]) -> Iterator[tuple[tuple[str, str, str], Danger]]:
    for one in dangers:
        if one.code in FLAGGED and one.began is not None:
            yield (one.code, one.began.record, one.began.event.id), one


def holds(timeline: Timeline) -> Iterator[Hold]:
    """Yield every hold that an event of this record began, or that an earlier stay left to it, by septum."""
    own = {id(entry) for entry in timeline.entries}
    first = timeline.entries[0].event.at if timeline.entries else None
    for holds in timeline.holds.values():
        for hold in holds:
            until = hold.ended.event.at if hold.ended is not None else None
            left = hold.began.record and first is not None and hold.since <= first and (until is None or until >= first)
            if left or id(hold.began) in own:
                yield hold


def frame_of(frame: Frame, timeline: Timeline, began: Entry) -> Frame:
    """Return the frame of the stay whose event began something: its identities are those of that stay's own bundles."""
    if not began.record:
        return frame
    other = next(one.episode for one in timeline.others.beside if one.file == began.record)
    return of_stay(frame, other)


def hold_names(frame: Frame, hold: Hold) -> tuple[str, str]:
    """Return the identities of the Task and the Flag of a hold."""
    role = f"hold/{slug(hold.reason)}/{hold.septum}"
    event = hold.began.event.id
    return frame.event_name(event, role), frame.event_name(event, f"{role}/flag")


def hold_resources(frame: Frame, hold: Hold, *, closed: bool) -> list[Made]:
    """Return the Task and the Flag of a hold, as it began or, with ``closed``, as its end leaves them."""
    task_name, flag_name = hold_names(frame, hold)
    event = hold.began.event
    end = hold.ended.event if closed and hold.ended is not None else None
    authored = event.charted_at or event.at
    own = not hold.began.record
    whole = (
        own and not closed and not hold.began.corrections
    )  # what a correction showed is in the correction's own bundle
    evidence = _evidence(frame, event, hold.reason, whole=whole)
    flag = _flag(frame, flag_name, frame.say.concept(f"hold: {hold.reason}"), hold.septum, event, end, evidence)
    decided = isinstance(end, ev.Evaluation)
    ended = None if end is None or decided else {"text": f"The hold ended: {hold.how or end.kind}"}
    task = filled(
        {
            "resourceType": "Task",
            "extension": frame.septum(hold.septum),
            "identifier": frame.names.identifier(task_name),
            "status": "requested" if end is None else "completed" if decided else "cancelled",
            "statusReason": ended,
            "intent": "plan",
            "priority": "urgent",
            "code": frame.say.concept("evaluation due"),
            "description": f"On hold since {event.at:%Y-%m-%d %H:%M}: {hold.sign}",
            "focus": frame.port,
            "for": frame.subject,
            "encounter": frame.encounter,
            "executionPeriod": period(event.at, end.at if end is not None else None),
            "authoredOn": moment(authored),
            "lastModified": moment(max(authored, end.charted_at or end.at) if end is not None else authored),
            "requester": frame.person(event.by),
            "reasonCode": frame.say.concept(f"hold: {hold.reason}"),
            "reasonReference": frame.reference(flag_name),
        }
    )
    return [Made(task_name, task, ()), Made(flag_name, flag, ())]


def danger_name(frame: Frame, stood: Stood) -> str:
    """Return the identity of the Flag of a danger."""
    assert stood.began.began is not None
    return frame.event_name(stood.began.began.event.id, f"danger/{stood.began.code}/{stood.began.septum}")


def danger_flag(frame: Frame, stood: Stood, *, closed: bool) -> Made:
    """Return the Flag of a danger, as it began or, with ``closed``, as it now is."""
    danger = stood.now if closed else stood.began
    assert stood.began.began is not None
    event = stood.began.began.event
    name = danger_name(frame, stood)
    end = stood.ended.event if closed and stood.ended is not None else None
    whole = not closed and not stood.began.began.corrections and not stood.began.began.record
    rest = _evidence(frame, event, "", whole=whole)
    what = danger.what[:1].upper() + danger.what[1:]
    return Made(
        name, _flag(frame, name, frame.say.worded(f"danger {danger.code}", what), danger.septum, event, end, rest), ()
    )


def _flag(
    frame: Frame, name: str, code: Json, septum: str, began: ev.Event, end: ev.Event | None, evidence: list[Json]
) -> Json:
    return filled(
        {
            "resourceType": "Flag",
            "extension": [*frame.septum(septum), *({"url": FLAG_DETAIL, "valueReference": one} for one in evidence)],
            "identifier": frame.names.identifier(name),
            "status": "active" if end is None else "inactive",
            "category": [concept("safety")],
            "code": code,
            "subject": frame.subject,
            "period": period(began.at, end.at if end is not None else None),
            "encounter": frame.encounter,
            "author": frame.person(began.by),
        }
    )


def _evidence(frame: Frame, event: ev.Event, reason: str, *, whole: bool) -> list[Json]:
    """References to what was seen: the Observations that a hold rests on, else what was done or given."""
    here = scene(frame, event, whole=whole)
    roles = _EVIDENCE.get(reason, _SEEN) if reason else ()
    names = {frame.event_name(event.id, role) for role in _roles(roles)}
    felt = list(_felt(here)) if reason == "resistance" else []
    found = felt or [here.own("Observation", made.name) for made in observations(here) if made.name in names]
    if found:
        return found
    return [here.own("Procedure", here.procedure)] if here.procedure is not None else [frame.port]


def _felt(here: Scene) -> Iterator[Json]:
    """Yield the resistances to a flush, which stand in Observations of the flushes."""
    flushes = here.event.flushes if isinstance(here.event, ev.Flushed) else None
    if flushes is None or isinstance(flushes, NotDone):
        return
    for number, flush in enumerate(flushes, start=1):
        if flush.resistance in ("some", "cannot flush"):
            yield here.own("Observation", here.name(f"resistance-{number}"))


def _roles(roles: tuple[str, ...]) -> Iterator[str]:
    for role in roles:
        yield role
        yield from (f"{role}-{number}" for number in range(1, 10))
