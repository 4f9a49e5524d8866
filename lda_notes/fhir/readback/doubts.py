"""Entries from which no record can be read, with the reason: refused, missing, or entered in error by no one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

from lda_notes.fhir.build.naming import Names
from lda_notes.fhir.elements import Json
from lda_notes.fhir.identity import IN_ERROR, status_of
from lda_notes.fhir.readback.parts import Remarks
from lda_notes.fhir.readback.sources import CORRECTIONS, Source, targets
from lda_notes.fhir.readback.store import FACTS, Store
from lda_notes.fhir.searches import TRACED

_USED: Final = (("Procedure", "usedReference"), ("DeviceUseStatement", "device"))
"""Where a resource refers to what was used, which an event is not read whole without."""


def reached(store: Store, sources: Iterable[Source]) -> dict[str, str]:
    """Return the resources of a record: each identity that its entries lead to in one step or two, with the entry."""
    found: dict[str, str] = {}
    further: dict[str, str] = {}
    for source in sources:
        for name in targets(store, source.provenance):
            found.setdefault(name, source.event)
            for reference in _references(store.own(name)):
                beyond = store.name_at(reference)
                if beyond is not None:
                    further.setdefault(beyond, source.event)
    return further | found


def _references(value: Any) -> Iterator[Json]:
    if isinstance(value, dict):
        if isinstance(value.get("reference"), str) or isinstance(value.get("identifier"), dict):
            yield value
        value = list(value.values())
    for one in value if isinstance(value, list) else ():
        yield from _references(one)


def remark_refused(store: Store, entries: Mapping[str, str | None], remarks: Remarks) -> None:
    """Name each resource of the record that must not be read; ``entries`` has the entry of each, if it has one."""
    for name, entry in entries.items():
        if name in store.refused:
            resource, why = store.refused[name]
            remarks.add(resource, f"{why}; it was not read", entry)


def remark_missing(store: Store, sources: Iterable[Source], remarks: Remarks) -> None:
    """Name what an entry refers to and that is not here: without it the entry is not whole."""
    for source in sources:
        wanted = list(source.provenance.get("target", ()))
        for name in targets(store, source.provenance):
            resource = store.own(name) or {}
            wanted += [
                one for kind, key in _USED if resource.get("resourceType") == kind for one in _listed(resource.get(key))
            ]
        for address in dict.fromkeys(str(one["reference"]) for one in wanted if _lost(store, one)):
            remarks.said.append(f"{address} (entry {source.event}): the entry refers to it, and it is not here")


def _listed(value: Any) -> list[Json]:
    return value if isinstance(value, list) else [value] if isinstance(value, dict) else []


def _lost(store: Store, reference: Json) -> bool:
    """Return whether a reference leads nowhere; one by identity alone may be to what was never sent."""
    return "reference" in reference and store.name_at(reference) is None


def retracted_by_no_one(store: Store, names: Names, sources: Sequence[Source], remarks: Remarks) -> set[str]:
    """Name what is entered in error although no correction of the record says so; return the entries taken back so.

    An entry whose Procedure is in error is taken back as a whole.
    """
    withdrawn = {source.of for source in sources if source.kind == "retraction"}
    own = {source.name(names, "correction") for source in sources}
    corrected = {
        name for source in sources if source.kind in CORRECTIONS for name in targets(store, source.provenance)
    } - own
    left_out: set[str] = set()
    named: set[str] = set()
    for source in sources:
        if source.event in withdrawn:
            continue
        for name in targets(store, source.provenance):
            resource = store.own(name)
            if (
                resource is None
                or resource["resourceType"] not in _SAID
                or status_of(resource) != IN_ERROR
                or name in corrected
            ):
                continue
            if name not in named:
                named.add(name)
                remarks.add(resource, "is entered in error, and no retraction of the entry is here", source.event)
            if name == source.name(names, "procedure"):
                left_out.add(source.event)
    for event in sorted(left_out):
        remarks.said.append(f"entry {event}: its Procedure is entered in error, so the entry was left out")
    return left_out


_SAID: Final = FACTS | {"Device"}


def unplaced(store: Store, entries: Iterable[str]) -> tuple[str, ...]:
    """Name what belongs to no entry that was read: refused, or named by no Provenance. ``entries`` are all others."""
    remarks = Remarks()
    known = set(entries)
    for name, (resource, why) in store.refused.items():
        if name not in known:
            remarks.add(resource, f"{why}; it was not read")
    for name, resource in store.owned():
        if resource["resourceType"] in TRACED and name not in known:
            remarks.add(resource, "no Provenance here refers to it, so its entry is unknown; it was not read")
    return tuple(remarks.said)
