"""One bundle to one server: until the server has it, or says why it will not.

When no answer comes, the server is asked what it holds. A transaction is applied whole or not at all and every entry
names its identity, so what the server holds tells whether it was applied; only if it was not is it sent again.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from lda_notes.fhir.elements import to_json
from lda_notes.fhir.identity import CONTEXT_TYPES, UPDATED
from lda_notes.sending.client import BUSY, Server, Unreachable
from lda_notes.sending.compare import Difference, Resolve, differences
from lda_notes.sending.entries import Entry, Identity, Json, entries, object_of
from lda_notes.sending.outcome import Issue, issues
from lda_notes.sending.receipts import Held
from lda_notes.sending.wire import Answer, NoAnswer

_NOT_YET: Final = frozenset({408, 409, 425})
"""Not now, but the same request may work later; 409: somebody else is writing the same identities."""

_BETWEEN: Final = frozenset({502, 504})
"""Said by something on the way, which may have passed the request on."""

_SERVER_FAULT: Final = 500


@dataclass(frozen=True, slots=True)
class Kept:
    """A resource that the server had already and did not change, although what was sent differs."""

    entry: Entry
    differences: tuple[Difference, ...]


@dataclass(frozen=True, slots=True)
class Delivered:
    """The server has every entry. ``resources`` as it holds them now, in the order of the entries.

    ``created``, ``updated`` and ``unchanged`` count them; ``asked`` is True when no usable answer came and the server
    was asked what it holds: then nobody knows which of them are new, and all count as unchanged.
    """

    resources: tuple[Held, ...]
    created: int
    updated: int
    unchanged: int
    kept: tuple[Kept, ...] = ()
    asked: bool = False


@dataclass(frozen=True, slots=True)
class Doubled:
    """Two resources of a server that bear one identity, as ``Type/id``."""

    entry: int
    identity: Identity
    found: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Refused:
    """The server does not take this bundle as it is, and never will."""

    status: int
    issues: tuple[Issue, ...]
    doubled: tuple[Doubled, ...] = ()


def deliver(server: Server, bundle: Any, shared: Collection[int] = ()) -> Delivered | Refused:
    """Bring a bundle to a server. ``shared``: entries whose last state another bundle decides.

    Decimals of ``bundle`` are expected as `Decimal`. Raises `NotSafe` for a bundle that cannot be sent twice, and what
    `Server` raises: then it is not known to be there, and sending it again is right.
    """
    listed = entries(bundle)
    before: dict[Identity, list[Json]] | None = None
    if any(entry.method == "PUT" for entry in listed):
        before = server.find(entry.identity for entry in listed)
        doubled = _doubled(listed, before)
        if doubled:
            return Refused(412, (), doubled)
        if _settled(server, listed, before):
            return _delivered(server, listed, before, {}, shared)
    return _send(server, bundle, listed, before, shared)


def _send(
    server: Server,
    bundle: Json,
    listed: tuple[Entry, ...],
    before: dict[Identity, list[Json]] | None,
    shared: Collection[int],
) -> Delivered | Refused:
    base = server.address.base
    body = to_json(_sparing(server, bundle, listed, before)).encode()
    tried, uncertain = 0, False
    while True:
        wait: float | None = None
        try:
            answer = server.transact(body)
        except NoAnswer as none:
            reason = str(none)
            uncertain = uncertain or none.may_have_arrived
            if none.may_have_arrived:
                ended = _ask(server, listed, shared)
                if ended is not None:
                    return ended
            elif not none.again:
                raise Unreachable(f"{base} cannot be reached: {reason}") from None
        else:
            reason = f"status {answer.status}"
            if answer.status in (200, 201):
                return _answered(server, listed, answer, before, shared, uncertain=uncertain)
            if answer.status in _BETWEEN or answer.status == _SERVER_FAULT:
                uncertain = True
                ended = _ask(server, listed, shared)
                if ended is not None:
                    return ended
            if answer.status not in BUSY | _NOT_YET:
                return _refused(server, listed, answer)
            wait = server.asked_wait(answer)
        if not server.pace.wait(tried, wait):
            raise Unreachable(f"{base} does not take it now: {reason}")
        tried += 1


def _refused(server: Server, listed: tuple[Entry, ...], answer: Answer) -> Refused:
    doubled = _doubled(listed, server.find(entry.identity for entry in listed)) if answer.status == 412 else ()
    return Refused(answer.status, issues(answer), doubled)


def _sparing(
    server: Server, bundle: Json, listed: tuple[Entry, ...], before: dict[Identity, list[Json]] | None
) -> Json:
    """The bundle with every update that would change nothing turned into a create on condition, which cannot."""
    if before is None:
        return bundle
    resolve = resolver(server, listed, before)
    made = list(bundle["entry"])
    for entry in listed:
        held = before[entry.identity]
        if entry.method == "PUT" and held and not differences(entry.resource, held[0], resolve, server.address.base):
            request = {"method": "POST", "url": entry.identity.kind, "ifNoneExist": entry.condition}
            made[entry.index] = {**made[entry.index], "request": request}
    return {**bundle, "entry": made}


def resolver(server: Server, listed: Iterable[Entry], found: Mapping[Identity, list[Json]]) -> Resolve:
    """Turns the ``fullUrl`` of an entry, or a reference by condition, into the ``Type/id`` of what the server holds."""
    known = {
        entry.full_url: f"{entry.identity.kind}/{found[entry.identity][0].get('id')}"
        for entry in listed
        if found.get(entry.identity)
    }

    def resolve(reference: str) -> str | None:
        return server.resolved(reference) if "?" in reference else known.get(reference)

    return resolve


# -- asking --


def _ask(server: Server, listed: tuple[Entry, ...], shared: Collection[int]) -> Delivered | Refused | None:
    """Ask what the server holds; None when the transaction was not applied."""
    found = server.find(entry.identity for entry in listed)
    doubled = _doubled(listed, found)
    if doubled:
        return Refused(412, (), doubled)
    if not _settled(server, listed, found):
        return None
    return _delivered(server, listed, found, {}, shared, asked=True)


def _settled(server: Server, listed: tuple[Entry, ...], found: Mapping[Identity, list[Json]]) -> bool:
    """Whether the server is as the transaction leaves it: everything is there, every update as it was sent."""
    if not all(len(found[entry.identity]) == 1 for entry in listed):
        return False
    resolve = resolver(server, listed, found)
    return all(
        not differences(entry.resource, found[entry.identity][0], resolve, server.address.base)
        for entry in listed
        if entry.method == "PUT"
    )


def _doubled(listed: tuple[Entry, ...], found: Mapping[Identity, list[Json]]) -> tuple[Doubled, ...]:
    return tuple(
        Doubled(
            entry.index,
            entry.identity,
            tuple(f"{one['resourceType']}/{one.get('id')}" for one in found[entry.identity]),
        )
        for entry in listed
        if len(found[entry.identity]) > 1
    )


# -- what came of it --


def _answered(
    server: Server,
    listed: tuple[Entry, ...],
    answer: Answer,
    before: Mapping[Identity, list[Json]] | None,
    shared: Collection[int],
    *,
    uncertain: bool,
) -> Delivered | Refused:
    """Read the answer; where it does not tell all, or an earlier try may have arrived too, ask as well."""
    statuses, found = _told(listed, answer)
    if found is None or uncertain:
        found = server.find(entry.identity for entry in listed)
        doubled = _doubled(listed, found)
        if doubled:
            return Refused(412, (), doubled)
        lost = [entry for entry in listed if not found[entry.identity]]
        if lost:
            raise Unreachable(
                f"{server.address.base} took the bundle but does not find {lost[0].identity.kind} of it again"
            )
    if before is not None:
        for entry in listed:
            if entry.method == "PUT" and before[entry.identity]:
                same = before[entry.identity][0].get("meta") == found[entry.identity][0].get("meta")
                statuses[entry.index] = "unchanged" if same else "updated"
    return _delivered(server, listed, found, statuses, shared)


def _told(listed: tuple[Entry, ...], answer: Answer) -> tuple[dict[int, str], dict[Identity, list[Json]] | None]:
    """What became of each entry, and the resources as the answer shows them; None when it does not show all.

    Answers stand in the order of the entries (R4, "transaction"), but a server that merged two entries sends fewer:
    so an answer counts for an entry only when it shows that entry's own identity.
    """
    said = answer.json()
    given = said.get("entry") if isinstance(said, dict) else None
    if not isinstance(given, list) or len(given) != len(listed):
        return {}, None
    statuses: dict[int, str] = {}
    found: dict[Identity, list[Json]] = {}
    for entry, one in zip(listed, given, strict=True):
        resource = one.get("resource") if isinstance(one, dict) else None
        if not isinstance(resource, dict) or not entry.identity.names(resource) or not _version(resource):
            return {}, None
        found[entry.identity] = [resource]
        created = str(object_of(one.get("response")).get("status", "")).startswith("201")
        statuses[entry.index] = "created" if created else "unchanged" if entry.method == "POST" else "updated"
    return statuses, found


def _version(resource: Json) -> str:
    meta = resource.get("meta")
    return str(meta.get("versionId", "")) if isinstance(meta, dict) else ""


def _delivered(
    server: Server,
    listed: tuple[Entry, ...],
    found: Mapping[Identity, list[Json]],
    statuses: Mapping[int, str],
    shared: Collection[int],
    *,
    asked: bool = False,
) -> Delivered:
    resolve = resolver(server, listed, found)
    base = server.address.base
    lasting = {
        f"{entry.identity.kind}/{found[entry.identity][0].get('id')}"
        for entry in listed
        if entry.method == "POST" and entry.index not in shared and entry.identity.kind not in CONTEXT_TYPES
    }
    became = [statuses.get(entry.index, "unchanged") for entry in listed]
    kept = tuple(
        Kept(entry, tuple(apart))
        for entry, how in zip(listed, became, strict=True)
        if how == "unchanged"
        and entry.index not in shared
        and not _decided_elsewhere(found[entry.identity][0])
        and (apart := differences(entry.resource, found[entry.identity][0], resolve, base, lasting.__contains__))
    )
    resources = tuple(_held(entry, found[entry.identity][0]) for entry in listed)
    return Delivered(
        resources, became.count("created"), became.count("updated"), became.count("unchanged"), kept, asked
    )


def _decided_elsewhere(held: Json) -> bool:
    """Whether what the server holds is not ours, or was closed or corrected by a later entry of the record."""
    kind = str(held.get("resourceType"))
    return kind in CONTEXT_TYPES or held.get("status") in UPDATED.get(kind, ())


def _held(entry: Entry, resource: Json) -> Held:
    identity = "" if entry.identity.kind in CONTEXT_TYPES else entry.identity.value
    return Held(entry.identity.kind, str(resource.get("id", "")), _version(resource), identity)
