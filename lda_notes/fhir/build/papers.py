"""DocumentReference and Provenance: the note as it reads, and who said what when."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Literal

from lda_notes.fhir.elements import Json, concept, moment, to_json
from lda_notes.fhir.build.frame import Frame
from lda_notes.fhir.build.scene import Scene
from lda_notes.record import events as ev
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
    made: Json = {
        "resourceType": "DocumentReference",
        "identifier": frame.names.identifier(name),
        "status": status,
        "docStatus": "preliminary" if note.draft or not signed else "final",
        "type": concept("nurse note"),
        "category": [concept("clinical note")],
        "subject": frame.subject,
        "date": date,
        "author": [who if who is not None else frame.organization],
    }
    if who is not None and signed and not note.draft:
        made["authenticator"] = who
    made["custodian"] = frame.organization
    if relates is not None:
        code, older = relates
        made["relatesTo"] = [{"code": code, "target": frame.elsewhere("DocumentReference", older)}]
    made["content"] = [_attachment(TEXT, note.text.encode(), note.title, date)]
    if note.docx is not None:
        made["content"].append(_attachment(DOCX, note.docx, note.title, date))
    context: Json = {"encounter": [frame.encounter], "period": {"start": scene.at, "end": scene.at}}
    if scene.procedure is not None:
        context["related"] = [scene.own("Procedure", scene.procedure)]
    made["context"] = context
    return made


def _agent(frame: Frame, kind: str, who: Person) -> Json:
    made: Json = {"type": concept(kind)}
    roles = [who.credential] if who.credential is not None else []
    if who.new_to_procedure is not None:
        roles.append(NEW_TO_PROCEDURE if who.new_to_procedure else USED_TO_PROCEDURE)
    if roles:
        made["role"] = [{"text": role} for role in roles]
    made["who"] = frame.agent(who)
    made["onBehalfOf"] = frame.organization
    return made


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
    made: Json = {
        "resourceType": "Provenance",
        "meta": {"tag": [{"system": frame.names.system, "code": name}]},
    }
    if event.seal is not None:
        url = f"{frame.config.extensions}/{ENTRY_SEAL}"
        made["extension"] = [{"url": url, "valueString": event.seal.digest}]
    made["target"] = list(targets)
    made["occurredDateTime"] = scene.at
    made["recorded"] = moment(scene.recorded)
    if event.charted_at is None:
        mark = {"url": f"{frame.config.extensions}/{TIME_NOT_CHARTED}", "valueBoolean": True}
        made["_recorded"] = {"extension": [mark]}
    said = [{"text": reason} for reason in reasons]
    if said:
        made["reason"] = said
    made["activity"] = concept(activity)
    agents = [_agent(frame, "author", event.by)] if event.by is not None else []
    if event.verified_by is not None:
        agents.append(_agent(frame, "verifier", event.verified_by))
    agents.append({"type": concept("assembler"), "who": ASSEMBLER, "onBehalfOf": frame.organization})
    made["agent"] = agents
    made["entity"] = [{"role": "source", "what": {"identifier": frame.entry(event.id), "display": kind}}]
    if revises is not None:
        made["entity"].append({"role": "revision", "what": {"identifier": frame.entry(revises)}})
    if event.late_entry is not None:
        made["entity"].append({"role": "source", "what": {"display": event.late_entry}})
    return made


def replaced(frame: Frame, before: list[Any]) -> Json:
    """Return what was first recorded where a resource now says otherwise: pairs of path and value."""
    parts = [{"url": "before", "valueString": to_json(before)}]
    return {"url": f"{frame.config.extensions}/{CORRECTION}", "extension": parts}


def is_signed(event: ev.Event) -> bool:
    """Return whether somebody signed the entry, so that it carries a seal."""
    return event.seal is not None
