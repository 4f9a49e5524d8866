"""Bundles back to episode records: facts from the standard elements, old values of corrections from our extension.

Whatever a standard element carries is read from it and from nowhere else. Our own extensions are asked for three
things only: what the record says of patient and stay where their resources are not ours to send, that a time of
entry was not recorded, and what a correction or a later fact of the port replaced.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from pydantic import ValidationError

from lda_notes.fhir.build.known import PATIENT_AND_STAY
from lda_notes.fhir.build.naming import Names, event_role
from lda_notes.fhir.build.papers import CORRECTION, DESPITE, TIME_NOT_CHARTED
from lda_notes.fhir.config import Config
from lda_notes.fhir.elements import Json, text_of, to_json
from lda_notes.fhir.identity import IN_ERROR, status_of
from lda_notes.fhir.readback.corrections import Correction, original_and_stated
from lda_notes.fhir.readback.doubts import (
    reached,
    remark_missing,
    remark_refused,
    retracted_by_no_one,
    unplaced,
)
from lda_notes.fhir.readback.events import Reader, read_facts
from lda_notes.fhir.readback.known import read_known, read_names
from lda_notes.fhir.readback.parts import Remarks, put, read_agent, read_port
from lda_notes.fhir.readback.sources import CORRECTIONS, Source, happened_at, in_time, source_of, targets
from lda_notes.fhir.readback.store import FACTS, Store, stored
from lda_notes.fhir.readback.whose import numbers_of, refuse_others
from lda_notes.record.episode import RECORD_VERSION, Episode
from lda_notes.record.events import KINDS, Correcting
from lda_notes.record.validation import misfits


@dataclass(frozen=True, slots=True)
class Readback:
    """An episode as its resources tell it.

    ``data`` is the record as plain values, ``episode`` the same when it is complete enough to be one. ``remarks``
    say what was not read and what is missing.
    """

    data: Json
    episode: Episode | None
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """Every episode of some bundles, in order of identifier; ``remarks`` are on what belongs to none of them."""

    episodes: tuple[Readback, ...]
    remarks: tuple[str, ...]


def readback(bundles: Iterable[Json], config: Config) -> Found:
    """Read every episode in ``bundles``: transactions of ours, or what a server found.

    What must not be read is named: what is another patient's, what R4 says not to process, two resources of one
    identity that differ; and so is what an entry refers to and that is not here.
    """
    store = stored(bundles, config)
    by_episode: dict[tuple[str, str], list[Source]] = {}
    for provenance in store.all("Provenance"):
        source = source_of(provenance, config)
        if source is not None:
            by_episode.setdefault((source.episode, source.port), []).append(source)
    names: set[str] = set()
    episodes = tuple(_episode(store, config, sources, names) for _, sources in sorted(by_episode.items()))
    return Found(episodes, unplaced(store, names))


def _episode(store: Store, config: Config, sources: list[Source], known: set[str]) -> Readback:
    """Return the episode of sources of one port and one episode. ``known`` gathers the identities of its resources."""
    name, port_name = sources[0].episode, sources[0].port
    remarks = Remarks()
    names = Names(config.systems.identity)
    list_name = sources[0].began(names)
    parts = reached(store, sources)
    listed = read_names(store, store.own(list_name))
    entries: dict[str, str | None] = {**dict.fromkeys((list_name, port_name, *listed)), **parts}
    refuse_others(store, names, port_name, _numbers(store.lists(list_name), config), entries)
    remark_refused(store, entries, remarks)
    remark_missing(store, sources, remarks)
    left_out = retracted_by_no_one(store, names, sources, remarks)
    known.update(entries)
    corrections = {
        source.event: _correction(store, names, source, config, remarks)
        for source in sources
        if source.kind in CORRECTIONS
    }
    withdrawn: dict[str, set[str]] = {}
    for source in sources:
        if source.kind == "retraction" and source.of is not None:
            withdrawn.setdefault(source.of, set()).update(targets(store, source.provenance))
    events: list[Json] = []
    used: set[str] = set()
    times: dict[str, str | None] = {}
    for source in sorted(sources, key=in_time):
        gone = source.event in withdrawn
        only = None if _corrects(source.kind) else withdrawn.get(source.event)
        reader = Reader(store, names, source.port, name, source.event, remarks, gone, only)
        event = _said(source, config) | read_facts(reader, source.kind)
        used |= reader.used
        times[source.event] = reader.at
        if source.event not in left_out:
            events.append(event)
    _undo(events, times, corrections, withdrawn)
    began = store.own(list_name)
    for resource in (began, store.own(port_name)):
        if resource is not None and status_of(resource) == IN_ERROR:
            remarks.add(resource, "is entered in error, and no retraction takes back what the record began with")
    used |= {names.of(event_role(port_name, name, event, "correction")) for event in corrections}
    used |= listed
    _remark_unread(store, sources, used, remarks)
    data: Json = {"record_version": RECORD_VERSION, "id": name}
    data |= _patient_and_stay(store, config, sources, began, remarks)
    port = _port(store, sources)
    if port is not None:
        data["port"] = read_port(port, remarks)
        for path, value in _first_recorded(port, config, remarks):
            put(data["port"], tuple(path), value)
        data["port"] = {key: value for key, value in data["port"].items() if value is not None}
    data["events"] = events
    episode, faults = _validated(data)
    return Readback(data, episode, (*remarks.said, *faults))


def _numbers(lists: Iterable[Json], config: Config) -> Iterator[frozenset[tuple[str, str]]]:
    """Yield the record numbers in what the record began with."""
    for one in lists:
        parts = _parts(one, PATIENT_AND_STAY, config)
        yield numbers_of(part["valueIdentifier"] for part in parts if "valueIdentifier" in part)


def _corrects(kind: str) -> bool:
    """Return whether events of a kind correct others: one that is retracted may be dated after its retraction."""
    return issubclass(KINDS[kind], Correcting)


def _validated(data: Json) -> tuple[Episode | None, list[str]]:
    text = to_json(data)
    try:
        return Episode.model_validate_json(text), []
    except ValidationError as error:
        found = misfits(error, json.loads(text))
        return None, [f"{'.'.join(map(str, one.path)) or 'the record'}: {one.message}" for one in found]


# -- who and when --


def _said(source: Source, config: Config) -> Json:
    """Return what a Provenance says of an event."""
    resource = source.provenance
    made: Json = {"id": source.event, "kind": source.kind, "at": happened_at(resource)}
    if not _is_estimated(resource, config):
        made["charted_at"] = resource.get("recorded")
    for agent in resource.get("agent", ()):
        role = agent.get("type", {}).get("text")
        if role == text_of("author"):
            made["by"] = read_agent(agent)
        elif role == text_of("verifier"):
            made["verified_by"] = read_agent(agent)
    for entity in resource.get("entity", ()):
        what = entity.get("what", {})
        if entity.get("role") == "source" and "identifier" not in what and "display" in what:
            made["late_entry"] = what["display"]
    if source.of is not None:
        made["of"] = source.of
        reasons = [one.get("text", "") for one in resource.get("reason", ())]
        own = [text for text in reasons if not text.startswith(DESPITE)]
        if own:
            made["reason"] = own[0]
    return made


def _is_estimated(resource: Json, config: Config) -> bool:
    url = f"{config.extensions}/{TIME_NOT_CHARTED}"
    return any(one.get("url") == url for one in resource.get("_recorded", {}).get("extension", ()))


# -- corrections --


def _correction(store: Store, names: Names, source: Source, config: Config, remarks: Remarks) -> Correction:
    resource = store.own(source.name(names, "correction")) or {}
    said = {part.get("url"): part.get("valueString", "null") for part in _parts(resource, CORRECTION, config)}
    stated = _json(said.get("stated", "null"), remarks)
    return Correction(source.event, source.of, stated, _pairs(said.get("before"), remarks))


def _json(text: str, remarks: Remarks) -> Any:
    """Return the value of an extension that is JSON; what is none is named."""
    try:
        return json.loads(text, parse_float=Decimal)
    except (ValueError, RecursionError):
        remarks.said.append(f"the extension {CORRECTION} of a resource is not the JSON that we write")
        return None


def _pairs(text: str | None, remarks: Remarks) -> list[Any] | None:
    """Pairs of a path and the value that first stood there; None when there are none."""
    found = _json(text, remarks) if text is not None else None
    if not isinstance(found, list):
        return None
    return [pair for pair in found if isinstance(pair, list) and len(pair) == 2 and isinstance(pair[0], list)]


def _parts(resource: Json, name: str, config: Config) -> list[Json]:
    """Return the parts of an extension of ours."""
    url = f"{config.extensions}/{name}"
    return [part for one in resource.get("extension", ()) if one.get("url") == url for part in one.get("extension", ())]


def _first_recorded(port: Json, config: Config, remarks: Remarks) -> list[Any]:
    """Pairs of a path and a value: what was first recorded of a port of which more became known."""
    found = (part.get("valueString") for part in _parts(port, CORRECTION, config) if part.get("url") == "before")
    return [pair for text in found for pair in _pairs(text, remarks) or ()]


def _undo(
    events: list[Json],
    times: Mapping[str, str | None],
    corrections: Mapping[str, Correction],
    withdrawn: Mapping[str, Any],
) -> None:
    """Give each corrected event its first values again, and each correction what it states."""
    in_order = [corrections[event["id"]] for event in events if event["id"] in corrections]
    for event in events:
        about = [one for one in in_order if one.of == event["id"]]
        if event["kind"] not in CORRECTIONS and about:
            first, stated = original_and_stated(event, times[event["id"]], about, frozenset(withdrawn))
            event.clear()
            event.update(first)
            for one in about:
                one.stated = stated.get(one.event, one.stated)
    for event in events:
        key = CORRECTIONS.get(event["kind"])
        if key:
            value = corrections[event["id"]].stated
            if value is not None and (value or key == "sets"):
                event[key] = value


# -- the rest of the record --


def _remark_unread(store: Store, sources: Iterable[Source], used: set[str], remarks: Remarks) -> None:
    """Name what a Provenance of ours is about and nobody read: tasks and notes are made from the rest."""
    for source in sources:
        for name in targets(store, source.provenance):
            resource = store.own(name)
            if resource is None or resource.get("status") == IN_ERROR or name in used:
                continue
            if resource.get("resourceType") in FACTS:
                remarks.add(resource, "is none of the parts that we know and was not read")
                used.add(name)


def _port(store: Store, sources: Sequence[Source]) -> Json | None:
    """Return the port: what the resources of the episode are about."""
    for source in sources:
        for target in source.provenance.get("target", ()):
            resource = store.at(target)
            for focus in _foci(resource) if resource is not None else ():
                port = store.at(focus)
                if port is not None:
                    return port
            if resource is not None and resource.get("type", {}).get("text") == text_of("port"):
                return resource
    return next((port for source in sources if (port := store.own(source.port)) is not None), None)


def _foci(resource: Json) -> list[Json]:
    focus = resource.get("focus", [])
    if isinstance(focus, dict):
        return [focus]
    devices = [one.get("manipulated", {}) for one in resource.get("focalDevice", ())]
    return [*focus, *devices]


def _patient_and_stay(
    store: Store, config: Config, sources: list[Source], began: Json | None, remarks: Remarks
) -> Json:
    """Patient and stay: from the List and what it refers to; from their own resources where it leaves that to them.

    A Patient or an Encounter that the facility keeps may say more than the record, or say it otherwise.
    """
    made: Json = {"patient": {}, "stay": {}}
    if began is not None:
        _from_list(_parts(began, PATIENT_AND_STAY, config), made)
    if not made["patient"]:
        stay, patient = _resources_of(store, sources, began)
        made["patient"] |= _patient(patient) if patient is not None else {}
        made["stay"] |= _stay(store, stay) if stay is not None else {}
    if began is not None:
        made["patient"] |= read_known(
            store, began, remarks, told=any(source.kind == "patient facts" for source in sources)
        )
    if not made["patient"]:
        remarks.said.append("nothing in the bundles says who the patient is, and where the stay is")
    return made


_OF_STAY: Final = {"time-zone": "time_zone", "facility": "facility", "unit": "unit", "room": "room"} | {
    "setting": "setting",
    "admitted-at": "admitted_at",
}
"""Parts of the extension that are keys of the stay."""


def _from_list(parts: list[Json], made: Json) -> None:
    identifiers: list[Json] = []
    for part in parts:
        name = part.get("url", "")
        value = next((resource for key, resource in part.items() if key.startswith("value")), None)
        if name in _OF_STAY:
            made["stay"][_OF_STAY[name]] = value
        elif name == "birth-date":
            made["patient"]["birth_date"] = value
        elif name == "identifier" and isinstance(value, dict):
            identifiers.append(value)
        elif name == "name" and isinstance(value, dict):
            made["patient"] |= _patient({"name": [value]})
    if identifiers:
        made["patient"] |= _patient({"identifier": identifiers})


def _resources_of(store: Store, sources: list[Source], began: Json | None) -> tuple[Json | None, Json | None]:
    """Encounter and Patient, as the record's own List refers to them; without it, as any resource of its events does.

    What an event changed may be of an earlier stay.
    """
    targets = (store.at(target) for source in sources for target in source.provenance.get("target", ()))
    for resource in (began, *targets):
        if resource is not None and "encounter" in resource:
            return store.at(resource["encounter"]), store.at(resource.get("subject") or resource.get("for"))
    return None, None


def _patient(patient: Json) -> Json:
    made: Json = {}
    if "identifier" in patient:
        made["identifiers"] = [_number(one) for one in patient["identifier"]]
    for name in patient.get("name", ())[:1]:
        made["family_name"] = name.get("family")
        made["given_name"] = " ".join(name.get("given", ()))
    if "birthDate" in patient:
        made["birth_date"] = patient["birthDate"]
    return made


def _number(one: Json) -> Json:
    row = {
        "system": one.get("system"),
        "value": one.get("value"),
        "label": one.get("type", {}).get("text"),
        "replaced": True if one.get("use") == "old" else None,
    }
    return {key: value for key, value in row.items() if value is not None}


def _stay(store: Store, stay: Json) -> Json:
    made: Json = {}
    provider = store.at(stay.get("serviceProvider"))
    if provider is not None:
        made["facility"] = provider.get("name")
    for place in stay.get("location", ())[:1]:
        where = store.at(place.get("location"))
        within = store.at(where.get("partOf")) if where is not None else None
        if where is not None and within is not None:
            made["room"], made["unit"] = where.get("name"), within.get("name")
        elif where is not None:
            made["unit"] = where.get("name")
    for kind in stay.get("type", ())[:1]:
        made["setting"] = kind.get("text")
    if "start" in stay.get("period", {}):
        put(made, ("admitted_at",), stay["period"]["start"])
    return made
