"""What a server holds of records, resource by resource."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Literal

from lda_notes.fhir.identity import CONTEXT_TYPES
from lda_notes.fhir.verify.verification import read_json
from lda_notes.sending.client import Server
from lda_notes.sending.compare import Difference, differences
from lda_notes.sending.deliver import resolver
from lda_notes.sending.entries import Entry, Identity, Json, entries, events
from lda_notes.sending.parcel import Held, Parcel

State = Literal["same", "present", "retracted", "missing", "different", "doubled"]
"""``present``: patient, staff or stay, which is not ours and not compared. ``retracted``: entered in error, on both
sides. ``doubled``: two resources under one identity."""

GOOD: tuple[State, ...] = ("same", "present", "retracted")


@dataclass(frozen=True, slots=True)
class Standing:
    """One resource of a record and how the server has it; ``held`` lists what it holds under that identity."""

    state: State
    entry: Entry
    event: str | None
    file: str | None
    row: int | None
    held: tuple[Held, ...]
    differences: tuple[Difference, ...] = ()


@dataclass(frozen=True, slots=True)
class Expected:
    """The last state of a resource that a record's bundles lead to, and where the record has it."""

    entry: Entry
    event: str | None
    parcel: Parcel


def expected(parcels: Iterable[Parcel]) -> dict[Identity, Expected]:
    """The last state of every resource: every update of a resource says the same, and goes before its creation.

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
    """Compare what a record's bundles lead to with what the server holds, in the order of the bundles."""
    wanted = expected(parcels)
    held = server.find(wanted)
    resolve = resolver(server, (one.entry for one in wanted.values()), held)
    updated = {identity for identity, one in wanted.items() if one.entry.method == "PUT"}
    lasting = {
        f"{identity.kind}/{each.get('id')}"
        for identity, some in held.items()
        for each in some
        if identity not in updated
    }
    for identity, one in wanted.items():
        found = held[identity]
        apart: tuple[Difference, ...] = ()
        if len(found) == 1 and identity.kind not in CONTEXT_TYPES:
            apart = tuple(differences(one.entry.resource, found[0], resolve, server.address.base, lasting.__contains__))
        yield Standing(
            _state(identity, one.entry.resource, found, apart),
            one.entry,
            one.event,
            one.parcel.file,
            one.parcel.row(one.entry.index),
            tuple(_held(identity, each) for each in found),
            apart,
        )


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


def _held(identity: Identity, resource: Json) -> Held:
    meta: Any = resource.get("meta")
    version = str(meta.get("versionId", "")) if isinstance(meta, dict) else ""
    return Held(identity.kind, str(resource.get("id", "")), version, identity.value)
