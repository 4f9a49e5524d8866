"""A bundle resource by resource, for servers without transactions.

In the order in which they refer to each other, each looked for first: what is there is not created again, so a run
that was cut off continues where it ended.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from graphlib import CycleError, TopologicalSorter
from typing import Any, Final

from lda_notes.fhir.elements import to_json_bytes
from lda_notes.sending.client import Server, Unreachable
from lda_notes.sending.compare import Resolve
from lda_notes.sending.deliver import Delivered, Refused, Sending
from lda_notes.sending.entries import Entry, Json, NotSafe, references
from lda_notes.sending.outcome import WARNED, Issue, issues, read_outcome
from lda_notes.sending.pace import BUSY
from lda_notes.sending.wire import Answer, NoAnswer

_GOOD: Final = (200, 201)


def singly(sending: Sending) -> Delivered | Refused:
    """Bring the entries of a bundle to a server one by one. Raises what `deliver` raises."""
    server = sending.server
    found = sending.find()
    if doubled := sending.doubled(found):
        return doubled
    sending.refuse_found_elsewhere(found)
    statuses: dict[int, str] = {}
    warnings: list[Issue] = []
    for entry in _in_order(sending.listed):
        stored = found[entry.identity]
        if stored and (entry.method == "POST" or not sending.comparison(found)(entry)):
            continue
        try:
            resource = _resolved(entry.resource, sending.resolver(found))
        except _Missing as missing:
            nowhere = Issue(entry.index, "", f"{missing} finds nothing on the server, or more than one")
            return Refused(422, (nowhere,), stored=len(statuses))
        answer = _written(server, entry, resource, stored)
        if answer.status not in _GOOD:
            reported = tuple(Issue(entry.index, one.element, one.words) for one in issues(answer))
            return Refused(answer.status, reported, stored=len(statuses))
        warnings += (replace(one, entry=entry.index) for one in read_outcome(answer.json(), WARNED))
        statuses[entry.index] = "updated" if stored else "created"
        found[entry.identity] = _now(server, entry, answer)
    return replace(sending.delivered(found, statuses), warnings=tuple(warnings))


def _in_order(listed: tuple[Entry, ...]) -> Iterator[Entry]:
    """Yield the entries, each after those that it refers to."""
    by_url = {entry.full_url: entry for entry in listed}
    order: TopologicalSorter[str] = TopologicalSorter()
    for entry in listed:
        order.add(entry.full_url, *(name for name in references(entry.resource) if name in by_url))
    try:
        return (by_url[name] for name in tuple(order.static_order()))
    except CycleError:
        raise NotSafe("its entries refer to each other in a circle, so they cannot be sent one by one") from None


class _Missing(Exception):
    """A reference to nothing that the server has."""


def _resolved(value: Any, resolve: Resolve) -> Any:
    """Return a resource with every reference to an entry or by condition turned into the server's own."""
    if isinstance(value, dict):
        made = {key: _resolved(stored, resolve) for key, stored in value.items()}
        reference = value.get("reference")
        if isinstance(reference, str) and (reference.startswith("urn:") or "?" in reference):
            address = resolve(reference)
            if address is None:
                raise _Missing(reference.partition("?")[0])
            made["reference"] = address
        return made
    return [_resolved(one, resolve) for one in value] if isinstance(value, list) else value


def _written(server: Server, entry: Entry, resource: Json, stored: list[Json]) -> Answer:
    """Write one resource. A try that gets no answer ends the run: the next one looks before it writes again."""
    kind = entry.identity.kind
    try:
        if stored:
            number = str(stored[0].get("id"))
            answer = server.write("PUT", f"{kind}/{number}", to_json_bytes({**resource, "id": number}))
        else:
            answer = server.write("POST", kind, to_json_bytes(resource), entry.condition)
    except NoAnswer as none:
        raise Unreachable(f"{server.address.base} cannot be reached: {none}") from None
    if answer.status in BUSY:
        raise Unreachable(f"{server.address.base} does not take it now: status {answer.status}")
    return answer


def _now(server: Server, entry: Entry, answer: Answer) -> list[Json]:
    """Return the resource as the server now has it: as it answers, or as a search finds it."""
    body = answer.json()
    if isinstance(body, dict) and entry.identity.names(body) and isinstance(body.get("id"), str):
        return [body]
    found = server.find([entry.identity])
    if not found[entry.identity]:
        raise Unreachable(f"{server.address.base} took {entry.identity.kind} of the bundle but does not find it again")
    return found[entry.identity]
