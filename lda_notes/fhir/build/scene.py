"""One event as its resources see it: when, by whom, part of what. And what building one resource gives."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from lda_notes.fhir.build.frame import Frame
from lda_notes.fhir.elements import Json, moment
from lda_notes.fhir.kinds import ACTS
from lda_notes.problems import Path
from lda_notes.record import events as ev


class Made(NamedTuple):
    """A resource with its identity and the path, in its event, of the facts that it carries."""

    name: str
    resource: Json
    path: Path


@dataclass(frozen=True, slots=True)
class Scene:
    """An event and what its resources share.

    ``whole``: the event's resources stand in one bundle, so that they refer to each other there. Otherwise each
    must stand by itself, and refers to the others by identity alone. ``part_of``, ``about_port`` and
    ``about_patient`` are elements that its observations share, ``septum`` the extension of those about the port, which
    a port with one septum does not need.
    """

    frame: Frame
    event: ev.Event
    whole: bool
    at: str
    charted: str | None
    performer: list[Json]
    procedure: str | None
    part_of: list[Json] | None
    about_port: Json
    about_patient: Json
    septum: list[Json]

    def name(self, part: str) -> str:
        """Return the identity of a part of this event."""
        return self.frame.event_name(self.event.id, part)

    def own(self, kind: str, name: str) -> Json:
        """Return a reference to another resource of this event."""
        return self.frame.reference(name) if self.whole else self.frame.elsewhere(kind, name)

    @property
    def recorded(self) -> datetime:
        """When it was charted; when it happened, if nobody wrote down when it was charted."""
        return self.event.charted_at or self.event.at


def scene(frame: Frame, event: ev.Event, *, whole: bool = True) -> Scene:
    """Set the scene for an event."""
    who = frame.person(event.by)
    kind: str = event.kind
    act = ACTS.get(kind)
    at = moment(event.at)
    charted = moment(event.charted_at) if event.charted_at is not None else None
    performer = [who if who is not None else frame.organization]
    procedure = frame.event_name(event.id, "procedure") if act else None
    done: Json = {"encounter": frame.encounter, "effectiveDateTime": at}
    if charted is not None:
        done["issued"] = charted
    done["performer"] = performer
    part_of = None
    if procedure is not None:
        part_of = [frame.reference(procedure) if whole else frame.elsewhere("Procedure", procedure)]
    septum = frame.septum(frame.septum_of(event)) if len(frame.episode.port.septa) > 1 else []
    return Scene(
        frame=frame,
        event=event,
        whole=whole,
        at=at,
        charted=charted,
        performer=performer,
        procedure=procedure,
        part_of=part_of,
        about_port={
            **({"extension": septum} if septum else {}),
            "subject": frame.subject,
            "focus": [frame.port],
            **done,
        },
        about_patient={"subject": frame.subject, **done},
        septum=septum,
    )
