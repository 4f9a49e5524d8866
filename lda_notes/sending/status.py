"""Comparison of records with a server, resource by resource."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from lda_notes.fhir.identity import CONTEXT_TYPES, UPDATED
from lda_notes.fhir.verify.verification import read_json
from lda_notes.sending.client import Server
from lda_notes.sending.compare import Difference
from lda_notes.sending.deliver import Sending, stored_as
from lda_notes.sending.entries import (
    Entry,
    Identity,
    Json,
    entries,
    entries_named,
    events,
    object_of,
    objects_of,
    patient_of,
    references,
)
from lda_notes.sending.parcel import Parcel, Stored

State = Literal["same", "present", "retracted", "missing", "different", "doubled", "extra", "unread"]
"""``present``: patient, staff or stay, which is not ours and not compared. ``retracted``: entered in error, on both
sides. ``doubled``: two resources under one identity. ``extra``: of an entry that is no longer in the record.
``unread``: the server's answer could not be read, so that it may be there or not."""

GOOD: tuple[State, ...] = ("same", "present", "retracted")


@dataclass(frozen=True, slots=True)
class Standing:
    """One resource of a record and how the server has it; ``stored`` lists what it has under that identity.

    ``why`` says why it is ``unread``.
    """

    state: State
    entry: Entry
    event: str | None
    file: str | None
    row: int | None
    stored: tuple[Stored, ...]
    differences: tuple[Difference, ...] = ()
    why: str | None = None


@dataclass(frozen=True, slots=True)
class Expected:
    """The last state of a resource that a record's bundles lead to, and where the record has it."""

    entry: Entry
    event: str | None
    parcel: Parcel


def expected(parcels: Iterable[Parcel]) -> dict[Identity, Expected]:
    """Return the last state of every resource: every update of a resource says the same, and goes before its creation.

    Raises `NotSafe` for a bundle that has no identities.
    """
    found: dict[Identity, Expected] = {}
    for parcel in parcels:
        bundle, _ = read_json(parcel.bundle)
        by_url = events(bundle)
        for entry in entries(bundle):
            known = found.get(entry.identity)
            if known is None or (entry.method == "PUT" and known.entry.method == "POST"):
                found[entry.identity] = Expected(entry, by_url.get(entry.full_url, parcel.about), parcel)
    return found


def standing(server: Server, parcels: Iterable[Parcel]) -> Iterator[Standing]:
    """Compare what a record's bundles lead to with what the server has, in the order of the bundles.

    Raises `NotSafe` when what a bundle refers to is another patient's on the server.
    """
    wanted = expected(parcels)
    sending = Sending(server, tuple(one.entry for one in wanted.values()))
    sending.refuse_other_patients()
    unreadable: dict[Identity, str] = {}
    stored = server.find(wanted, unreadable)
    differing = sending.comparison(stored)
    nowhere = {one.entry.full_url for identity, one in wanted.items() if identity in unreadable}
    for identity, one in wanted.items():
        found = stored[identity]
        apart: tuple[Difference, ...] = ()
        if len(found) == 1 and identity.kind not in CONTEXT_TYPES:
            apart = differing(one.entry)
        why = unreadable.get(identity)
        if why is None and apart and not nowhere.isdisjoint(references(one.entry.resource)):
            why = "what it refers to could not be read"
        yield Standing(
            "unread" if why is not None else _state(identity, one.entry.resource, found, apart),
            one.entry,
            one.event,
            one.parcel.file,
            one.parcel.row(one.entry.index),
            tuple(stored_as(identity, each) for each in found),
            apart if why is None else (),
            why,
        )


def left_over(server: Server, parcels: Iterable[Parcel]) -> Iterator[Standing]:
    """Find what a server has of the stays of these records that no bundle of theirs leads to any more.

    Each resource is told to be of a stay by its Provenance. Raises what `Server` raises, also where the server has no
    search by patient or by ``_revinclude``.
    """
    parcels = [parcel for parcel in parcels if parcel.rows and parcel.line is not None and parcel.about is not None]
    wanted = expected(parcels)
    stays = {f"{one.line}/{str(one.about).partition('/')[0]}/": one.file for one in parcels}
    sending = Sending(server, tuple(one.entry for one in wanted.values()))
    resolve = sending.resolver(sending.find())
    named = {str(object_of(patient_of(one.entry.resource)).get("reference")) for one in wanted.values()} - {"None"}
    patients = {(resolve(one) if one.startswith("urn:") or "?" in one else one) for one in named} - {None}
    known = {identity.value for identity in wanted}
    systems = {identity.system for identity in wanted if identity.kind not in CONTEXT_TYPES}
    for patient in sorted(str(one) for one in patients):
        seen: set[str] = set()
        for kind in sorted(UPDATED):
            query = {"patient": patient, "_revinclude": "Provenance:target", "_count": "200"}
            stored = {f"{one.get('resourceType')}/{one.get('id')}": one for one in server.search(kind, query)}
            about: dict[str, str] = {}
            for one in stored.values():
                ours = [entry for entry in entries_named(one) if any(entry.startswith(stay) for stay in stays)]
                if one.get("resourceType") == "Provenance" and ours:
                    listed = (f"Provenance/{one.get('id')}", *references(one.get("target")))
                    about.update(dict.fromkeys(listed, ours[-1]))
            for address, entry in about.items():
                resource = stored.get(address)
                identity = _own(resource, systems) if resource is not None else None
                if resource is None or identity is None or identity.value in known or address in seen:
                    continue
                seen.add(address)
                file = next(file for stay, file in stays.items() if entry.startswith(stay))
                shown = Entry(-1, "", "POST", identity, "", resource)
                yield Standing("extra", shown, entry.partition("/")[2], file, None, (stored_as(identity, resource),))


def _own(resource: Json, systems: set[str]) -> Identity | None:
    """Return the identity of ours that a resource carries."""
    kind = str(resource.get("resourceType"))
    for parameter, listed, key in (
        ("identifier", resource.get("identifier"), "value"),
        ("_tag", object_of(resource.get("meta")).get("tag"), "code"),
    ):
        for one in objects_of(listed):
            if one.get("system") in systems and isinstance(one.get(key), str):
                return Identity(kind, parameter, str(one["system"]), str(one[key]))
    return None


def _state(identity: Identity, sent: Json, found: list[Json], apart: tuple[Difference, ...]) -> State:
    if not found:
        return "missing"
    if len(found) > 1:
        return "doubled"
    if identity.kind in CONTEXT_TYPES:
        return "present"
    if apart:
        return "different"
    return "retracted" if sent.get("status") == "entered-in-error" else "same"
