"""Procedures: what was done to the port, with what, by whom, why."""

from __future__ import annotations

from typing import Any, Final

from lda_notes.fhir.build.frame import Frame
from lda_notes.fhir.build.observations import order
from lda_notes.fhir.build.scene import Scene
from lda_notes.fhir.elements import Json, concept, filled, period
from lda_notes.fhir.kinds import ACTS
from lda_notes.record import events as ev
from lda_notes.record.parts import Antisepsis, NotDone

_CARE: Final = frozenset({"access", "de-access", "dressing change", "flush", "patency treatment", "line use"})
"""Kinds whose reason is, at least, the care of the device."""


def procedure(scene: Scene, used: list[Json], *, outcome: str | None = None) -> Json:
    """Return the Procedure of an event. ``used`` are references to the devices that it used.

    ``outcome`` is what came of it, once a later event showed it.
    """
    event, frame = scene.event, scene.frame
    kind: str = event.kind
    act = ACTS[kind]
    assert scene.procedure is not None
    status, why = _status(event)
    who = frame.person(event.by)
    return filled(
        {
            "resourceType": "Procedure",
            "extension": frame.septum(frame.septum_of(event)),
            "identifier": frame.names.identifier(scene.procedure),
            "basedOn": [order(scene)] if isinstance(event, ev.CareEvent) and event.order is not None else [],
            "status": status,
            "statusReason": None if why is None else {"text": why},
            "category": frame.say.word(event.purpose) if isinstance(event, ev.LineUse) else None,
            "code": frame.say.concept(act.procedure),
            "subject": frame.subject,
            "encounter": frame.encounter,
            "performedPeriod": _performed(event),
            "recorder": who,
            "performer": _performers(scene, who),
            "reasonCode": _reasons(frame, event, kind),
            "bodySite": frame.site and [frame.site],
            "outcome": None if outcome is None else {"text": outcome},
            "focalDevice": [{"action": frame.say.concept(act.action), "manipulated": frame.port}],
            "usedReference": used,
            "usedCode": _used_codes(frame, event),
        }
    )


def _performers(scene: Scene, who: Json | None) -> list[Json]:
    frame = scene.frame
    made: list[Json] = [
        {"actor": who, "onBehalfOf": frame.organization} if who is not None else {"actor": frame.organization}
    ]
    second = frame.person(scene.event.verified_by)
    if second is not None:
        made.append({"function": concept("verifier"), "actor": second, "onBehalfOf": frame.organization})
    return made


def _performed(event: ev.Event) -> Json:
    start = event.at
    if isinstance(event, ev.Dressed) and isinstance(event.antisepsis, Antisepsis):
        start = event.antisepsis.started_at or start
    return period(min(start, event.at), event.at)


def _reasons(frame: Frame, event: ev.Event, kind: str) -> list[Json]:
    made = [frame.say.concept("device care")] if kind in _CARE else []
    said = event.reason if isinstance(event, ev.CareEvent | ev.PortRemoved) else None
    return [*made, {"text": said}] if said is not None else made


def _status(event: Any) -> tuple[str, str | None]:
    """Done, or not done, or begun and stopped, with the reasons that the record gives."""
    if isinstance(event, ev.FlushOrLock) and isinstance(event.flushes, NotDone) and isinstance(event.lock, NotDone):
        return "not-done", "; ".join(dict.fromkeys((event.flushes.not_done, event.lock.not_done)))
    if isinstance(event, ev.DressingChange) and isinstance(event.dressing, NotDone):
        begun = isinstance(event.antisepsis, Antisepsis)
        return "stopped" if begun else "not-done", event.dressing.not_done
    return "completed", None


def _used_codes(frame: Frame, event: ev.Event) -> list[Json]:
    """Supplies by name, for readers who do not follow references."""
    made: list[Json] = []
    if isinstance(event, ev.Dressed):
        if isinstance(event.antisepsis, Antisepsis):
            made.append(frame.say.word(event.antisepsis.agent))
        if event.disinfecting_caps is True:
            made.append({"text": "disinfecting cap"})
    return made
