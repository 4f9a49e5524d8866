"""DocumentReference and Provenance: the note as it reads, and who said what when."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Literal

from lda_notes.fhir.build.frame import Frame
from lda_notes.fhir.build.scene import Scene
from lda_notes.fhir.elements import Json, concept, filled, moment, to_json
from lda_notes.record.parts import Person

ASSEMBLER: Final = {"display": "lda-notes"}
NEW_TO_PROCEDURE: Final = "new to the procedure"
USED_TO_PROCEDURE: Final = "not new to the procedure"
DESPITE: Final = "Sent despite findings: "
"""Begins the reason of a Provenance whose record was sent although the checks had found faults."""

TEXT: Final = "text/plain; charset=utf-8"
DOCX: Final = "application/vnd.openxmlformats-officedocument.wordprocessingml.document"

CORRECTION: Final = "correction"
TIME_NOT_CHARTED: Final = "time-of-entry-not-recorded"
ENTRY_SEAL: Final = "entry-seal"
"""Names of our own extensions, below the configured base address."""


@dataclass(frozen=True, slots=True)
class Note:
    """A note as it goes into a DocumentReference. ``draft``: it lists facts that must still be recorded."""

    title: str
    text: str
    draft: bool = False
    docx: bytes | None = None


def _attachment(kind: str, data: bytes, title: str, created: str) -> Json:
    return {
        "attachment": {
            "contentType": kind,
            "language": "en-US",
            "data": base64.b64encode(data).decode(),
            "size": len(data),
            "hash": base64.b64encode(hashlib.sha1(data, usedforsecurity=False).digest()).decode(),
            "title": title,
            "creation": created,
        }
    }


def document(
    scene: Scene,
    name: str,
    note: Note,
    status: str,
    *,
    written: datetime | None = None,
    by: Person | None = None,
    relates: tuple[Literal["replaces", "appends"], str] | None = None,
    signed: bool = False,
) -> Json:
    """Return the DocumentReference of an event's note: preliminary until the entry was ``signed``.

    ``written`` and ``by`` are of the correction that made this version; ``relates`` names the identity of the
    document that it replaces or to which it adds.
    """
    frame, event = scene.frame, scene.event
    date = moment(written or scene.recorded)
    who = frame.person(by or event.by)
    final = signed and not note.draft
    attached = [_attachment(TEXT, note.text.encode(), note.title, date)]
    if note.docx is not None:
        attached.append(_attachment(DOCX, note.docx, note.title, date))
    return filled(
        {
            "resourceType": "DocumentReference",
            "identifier": frame.names.identifier(name),
            "status": status,
            "docStatus": "final" if final else "preliminary",
            "type": concept("nurse note"),
            "category": [concept("clinical note")],
            "subject": frame.subject,
            "date": date,
            "author": [who if who is not None else frame.organization],
            "authenticator": who if final else None,
            "custodian": frame.organization,
            "relatesTo": relates and [{"code": relates[0], "target": frame.elsewhere("DocumentReference", relates[1])}],
            "content": attached,
            "context": filled(
                {
                    "encounter": [frame.encounter],
                    "period": {"start": scene.at, "end": scene.at},
                    "related": scene.procedure and [scene.own("Procedure", scene.procedure)],
                }
            ),
        }
    )


def _agent(frame: Frame, kind: str, who: Person) -> Json:
    roles = [who.credential] if who.credential is not None else []
    if who.new_to_procedure is not None:
        roles.append(NEW_TO_PROCEDURE if who.new_to_procedure else USED_TO_PROCEDURE)
    return filled(
        {
            "type": concept(kind),
            "role": [{"text": role} for role in roles],
            "who": frame.agent(who),
            "onBehalfOf": frame.organization,
        }
    )


def provenance_name(frame: Frame, event: str) -> str:
    """Return the identity of the Provenance of an event."""
    return frame.event_name(event, "provenance")


def provenance(
    scene: Scene,
    activity: Literal["created", "revised", "nullified"],
    targets: Iterable[Json],
    *,
    reasons: Iterable[str] = (),
    revises: str | None = None,
) -> Json:
    """Return who recorded an event, when and from what; ``revises`` is the event that a correction is about."""
    frame, event = scene.frame, scene.event
    kind: str = event.kind
    name = provenance_name(frame, event.id)
    ours = frame.config.extensions
    sealed = {"url": f"{ours}/{ENTRY_SEAL}", "valueString": event.seal.digest} if event.seal is not None else None
    guessed = {"extension": [{"url": f"{ours}/{TIME_NOT_CHARTED}", "valueBoolean": True}]}
    agents = [_agent(frame, "author", event.by)] if event.by is not None else []
    if event.verified_by is not None:
        agents.append(_agent(frame, "verifier", event.verified_by))
    agents.append({"type": concept("assembler"), "who": ASSEMBLER, "onBehalfOf": frame.organization})
    entities: list[Json] = [{"role": "source", "what": {"identifier": frame.entry(event.id), "display": kind}}]
    if revises is not None:
        entities.append({"role": "revision", "what": {"identifier": frame.entry(revises)}})
    if event.late_entry is not None:
        entities.append({"role": "source", "what": {"display": event.late_entry}})
    return filled(
        {
            "resourceType": "Provenance",
            "meta": {"tag": [{"system": frame.names.system, "code": name}]},
            "extension": sealed and [sealed],
            "target": list(targets),
            "occurredDateTime": scene.at,
            "recorded": moment(scene.recorded),
            "_recorded": guessed if event.charted_at is None else None,
            "reason": [{"text": reason} for reason in reasons],
            "activity": concept(activity),
            "agent": agents,
            "entity": entities,
        }
    )


def replaced(frame: Frame, before: list[Any]) -> Json:
    """Return what was first recorded where a resource now says otherwise: pairs of path and value."""
    parts = [{"url": "before", "valueString": to_json(before)}]
    return {"url": f"{frame.config.extensions}/{CORRECTION}", "extension": parts}
