"""One bundle to one server: until the server has it, or says why it will not.

When no answer comes, the server is asked what it has. A transaction is applied whole or not at all and every entry
names its identity, so what the server has shows whether it was applied; only if it was not is it sent again.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any, Final

from lda_notes.fhir.elements import to_json
from lda_notes.fhir.identity import CONTEXT_TYPES, UPDATED, status_of
from lda_notes.sending.client import Server, Unreachable
from lda_notes.sending.compare import Difference, Resolve, differences, same_reference
from lda_notes.sending.entries import Entry, Identity, Json, NotSafe, entries, object_of, objects_of, patient_of
from lda_notes.sending.outcome import WARNED, Issue, issues, plain, read_outcome
from lda_notes.sending.pace import BUSY
from lda_notes.sending.parcel import Stored
from lda_notes.sending.wire import Answer, NoAnswer

_NOT_YET: Final = frozenset({408, 409, 425})
"""Not now, but the same request may work later; 409: somebody else is writing the same identities."""

_BETWEEN: Final = frozenset({502, 504})
"""Said by something on the way, which may have passed the request on."""

_STATUS: Final = re.compile("[1-9][0-9]{2}")
_SERVER_FAULT: Final = 500
_LATER: Final = 202


@dataclass(frozen=True, slots=True)
class Kept:
    """A resource that the server had already and did not change, although what was sent differs."""

    entry: Entry
    differences: tuple[Difference, ...]


@dataclass(frozen=True, slots=True)
class Delivered:
    """The server has every entry. ``resources`` as it has them now, in the order of the entries.

    ``created``, ``updated`` and ``unchanged`` count them; ``asked`` is True when no usable answer came and the server
    was asked what it has: then it is not known which of them are new, and all count as unchanged. ``warnings`` are the
    server's, entry by entry.
    """

    resources: tuple[Stored, ...]
    created: int
    updated: int
    unchanged: int
    kept: tuple[Kept, ...] = ()
    asked: bool = False
    warnings: tuple[Issue, ...] = ()


@dataclass(frozen=True, slots=True)
class Doubled:
    """Two resources of a server that bear one identity, as ``Type/id``."""

    entry: int
    identity: Identity
    found: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Refused:
    """The server did not take this bundle.

    Sending it again as it is would not help, except where ``status`` is a plain 500: that may be the bundle's fault or
    the server's, and `drain` decides which by what becomes of the next bundles.
    ``stored`` counts the entries that it took all the same: a server that does a transaction as a batch takes part.
    """

    status: int
    issues: tuple[Issue, ...]
    doubled: tuple[Doubled, ...] = ()
    stored: int = 0


Found = dict[Identity, list[Json]]
"""The resources of a server by identity: usually one for each, or none."""


def deliver(
    server: Server, bundle: Any, shared: Collection[int] = (), *, one_by_one: bool = False
) -> Delivered | Refused:
    """Bring a bundle to a server. ``shared``: entries whose last state another bundle decides.

    ``one_by_one``: for servers without transactions, each resource by itself. Decimals of ``bundle`` are expected as
    `Decimal`. Raises `NotSafe` for a bundle that cannot be sent twice or that would reach another patient, and what
    `Server` raises: then it is not known to be there, and sending it again is right.
    """
    sending = Sending(server, entries(bundle), shared)
    sending.refuse_other_patients()
    if one_by_one:
        from lda_notes.sending.singly import singly

        return singly(sending)
    before: Found | None = None
    if any(entry.method == "PUT" for entry in sending.listed):
        before = sending.find()
        if doubled := sending.doubled(before):
            return doubled
        sending.refuse_found_elsewhere(before)
        if sending.all_applied(before):
            return sending.delivered(before)
    return _send(sending, bundle, before)


# -- a bundle and a server --


@dataclass(frozen=True, slots=True)
class Sending:
    """The entries of a bundle on their way to a server. ``shared``: those whose last state another bundle decides."""

    server: Server
    listed: tuple[Entry, ...]
    shared: Collection[int] = ()

    def find(self) -> Found:
        """Return what the server has of the bundle."""
        return self.server.find(entry.identity for entry in self.listed)

    def refuse_other_patients(self) -> None:
        """Make sure that what is referred to is of the same patient. Raises `NotSafe`, with nothing changed.

        A Patient named by id must have the record number; a stay found by its number must be this patient's.
        """
        server = self.server
        for entry in self.listed:
            about = patient_of(entry.resource)
            if about is None:
                continue
            reference, number = str(about.get("reference")), object_of(about.get("identifier"))
            if number and "?" not in reference and not reference.startswith("urn:"):
                known = server.named(reference)
                if known is not None and not _has_number(known, number):
                    raise NotSafe(f"{reference} on the server does not have this patient's record number")
            stay = str(object_of(entry.resource.get("encounter")).get("reference", ""))
            if "?" in stay and "?" in reference:
                theirs = object_of(object_of(server.named(stay)).get("subject")).get("reference")
                resolve, base = server.resolved, server.address.base
                if isinstance(theirs, str) and not same_reference(reference, theirs, resolve, base):
                    raise NotSafe("the stay with this number is another patient's on the server; nothing was changed")

    def resolver(self, found: Found) -> Resolve:
        """Return what gives the ``Type/id`` of an entry or of a reference by condition."""
        known = {
            entry.full_url: f"{entry.identity.kind}/{found[entry.identity][0].get('id')}"
            for entry in self.listed
            if found.get(entry.identity)
        }
        return lambda reference: self.server.resolved(reference) if "?" in reference else known.get(reference)

    def comparison(self, found: Found) -> Callable[[Entry], tuple[Difference, ...]]:
        """Return what gives the differences between an entry and what the server has of it."""
        resolve, base = self.resolver(found), self.server.address.base
        lasting = {
            f"{entry.identity.kind}/{stored.get('id')}"
            for entry in self.listed
            if entry.method == "POST" and entry.index not in self.shared and entry.identity.kind not in CONTEXT_TYPES
            for stored in found[entry.identity]
        }
        return lambda entry: tuple(
            differences(entry.resource, found[entry.identity][0], resolve, base, lasting.__contains__)
        )

    def doubled(self, found: Found, status: int = 412, reported: tuple[Issue, ...] = ()) -> Refused | None:
        """Return the refusal when two resources of the server have one identity; None when none have."""
        two = tuple(
            Doubled(
                entry.index,
                entry.identity,
                tuple(f"{one['resourceType']}/{one.get('id')}" for one in found[entry.identity]),
            )
            for entry in self.listed
            if len(found[entry.identity]) > 1
        )
        return Refused(status, reported, two) if two else None

    def refuse_found_elsewhere(self, found: Found) -> None:
        """Make sure that what is found under these identities is their own patient's. Raises `NotSafe`."""
        resolve, base = self.resolver(found), self.server.address.base
        for entry in self.listed:
            about = patient_of(entry.resource)
            for stored in found[entry.identity]:
                theirs = object_of(patient_of(stored)).get("reference")
                if about is None or not isinstance(theirs, str) or "reference" not in about:
                    continue
                if not same_reference(str(about["reference"]), theirs, resolve, base):
                    where = plain(f"{stored['resourceType']}/{stored.get('id')}")
                    raise NotSafe(
                        f"{where} is filed under another patient on the server ({plain(theirs)}); nothing was changed"
                    )

    def all_applied(self, found: Found) -> bool:
        """Return whether the server is as the transaction leaves it: all is there, every update as it was sent."""
        apart = self.comparison(found)
        return all(len(found[entry.identity]) == 1 for entry in self.listed) and not any(
            entry.method == "PUT" and apart(entry) for entry in self.listed
        )

    def ask(self) -> Delivered | Refused | None:
        """Ask what the server has; None when the transaction was not applied."""
        found = self.find()
        if doubled := self.doubled(found):
            return doubled
        return replace(self.delivered(found), asked=True) if self.all_applied(found) else None

    def delivered(self, found: Found, statuses: Mapping[int, str] = MappingProxyType({})) -> Delivered:
        """Return what came of a bundle whose every entry is on the server; ``statuses`` say what became of each."""
        became = [statuses.get(entry.index, "unchanged") for entry in self.listed]
        differing = self.comparison(found)
        kept = tuple(
            Kept(entry, apart)
            for entry, how in zip(self.listed, became, strict=True)
            if how == "unchanged"
            and entry.index not in self.shared
            and not _decided_elsewhere(found[entry.identity][0])
            and (apart := differing(entry))
        )
        resources = tuple(stored_as(entry.identity, found[entry.identity][0]) for entry in self.listed)
        return Delivered(resources, became.count("created"), became.count("updated"), became.count("unchanged"), kept)


def _has_number(patient: Json, number: Json) -> bool:
    wanted = (number.get("system"), number.get("value"))
    return any((one.get("system"), one.get("value")) == wanted for one in objects_of(patient.get("identifier")))


def _decided_elsewhere(stored: Json) -> bool:
    """Return whether what the server has is not ours, or was closed or corrected by a later entry of the record."""
    kind = str(stored.get("resourceType"))
    return kind in CONTEXT_TYPES or status_of(stored) in UPDATED.get(kind, ())


def stored_as(identity: Identity, resource: Json) -> Stored:
    """Return what a receipt keeps of a resource that the server has."""
    ours = "" if identity.kind in CONTEXT_TYPES else identity.value
    return Stored(identity.kind, str(resource.get("id", "")), _version(resource), ours)


def _version(resource: Json) -> str:
    return str(object_of(resource.get("meta")).get("versionId", ""))


# -- sending --


def _send(sending: Sending, bundle: Json, before: Found | None) -> Delivered | Refused:
    server, base = sending.server, sending.server.address.base
    body = to_json(_without_idle_updates(sending, bundle, before)).encode()
    tried, uncertain = 0, False
    while True:
        wait: float | None = None
        ended: Delivered | Refused | None = None
        try:
            answer = server.transact(body)
        except NoAnswer as none:
            reason = str(none)
            uncertain = uncertain or none.may_have_arrived
            if none.may_have_arrived:
                ended = sending.ask()
            elif not none.again:
                raise Unreachable(f"{base} cannot be reached: {reason}") from None
        else:
            reason = f"status {answer.status}"
            if answer.status in (200, 201):
                return _answered(sending, answer, before, uncertain=uncertain)
            if answer.status == _LATER:
                return _looked_for(sending, answer)
            if answer.status in _BETWEEN or answer.status == _SERVER_FAULT:
                uncertain = True
                ended = sending.ask()
            if ended is None and answer.status not in BUSY | _NOT_YET:
                reported = issues(answer)
                doubled = sending.doubled(sending.find(), reported=reported) if answer.status == 412 else None
                return doubled or Refused(answer.status, reported)
            wait = server.asked_wait(answer)
        if ended is not None:
            return ended
        if not server.pace.wait(tried, wait):
            raise Unreachable(f"{base} does not take it now: {reason}")
        tried += 1


def _looked_for(sending: Sending, answer: Answer) -> Delivered | Refused:
    """Look for what a server took to do later (202): it is not sent a second time meanwhile."""
    server, tried = sending.server, 0
    while (ended := sending.ask()) is None:
        if not server.pace.wait(tried, server.asked_wait(answer)):
            raise Unreachable(
                f"{server.address.base} accepted a bundle to work on later (status 202) and does not have it yet"
            )
        tried += 1
    return ended


def _without_idle_updates(sending: Sending, bundle: Json, before: Found | None) -> Json:
    """Return the bundle with every update that would change nothing turned into a create on condition, which cannot."""
    if before is None:
        return bundle
    made, differing = list(bundle["entry"]), sending.comparison(before)
    for entry in sending.listed:
        if entry.method == "PUT" and before[entry.identity] and not differing(entry):
            request = {"method": "POST", "url": entry.identity.kind, "ifNoneExist": entry.condition}
            made[entry.index] = {**made[entry.index], "request": request}
    return {**bundle, "entry": made}


# -- what came of it --


def _answered(sending: Sending, answer: Answer, before: Found | None, *, uncertain: bool) -> Delivered | Refused:
    """Read the answer; where it does not show everything, or an earlier try may have arrived too, ask as well."""
    failed = _failed(answer)
    if failed is not None:
        return failed
    statuses, found = _read_entries(sending.listed, answer)
    if found is None or uncertain:
        found = sending.find()
        if doubled := sending.doubled(found):
            return doubled
        lost = [entry for entry in sending.listed if not found[entry.identity]]
        reported = tuple(read_outcome(answer.json()))
        if reported and len(lost) == len(sending.listed):
            return Refused(answer.status, reported)
        if lost:
            raise Unreachable(
                f"{sending.server.address.base} took the bundle but does not find {lost[0].identity.kind} of it again"
                + "".join(f"; it reports: {one.words}" for one in reported)
            )
    for entry in sending.listed:
        if entry.method == "PUT" and before is not None and before[entry.identity]:
            same = before[entry.identity][0].get("meta") == found[entry.identity][0].get("meta")
            statuses[entry.index] = "unchanged" if same else "updated"
    return replace(sending.delivered(found, statuses), warnings=tuple(_warnings(answer)))


def _responses(answer: Answer) -> list[Json]:
    """Return the response of each entry, in their order, as far as there are any."""
    return [object_of(one.get("response")) for one in objects_of(object_of(answer.json()).get("entry"))]


def _failed(answer: Answer) -> Refused | None:
    """Return the entries that failed inside an answer that says all is well, as from a server with batches alone."""
    responses = _responses(answer)
    statuses = [str(one.get("status", ""))[:3] for one in responses]
    bad = [index for index, status in enumerate(statuses) if _STATUS.fullmatch(status) and status[0] != "2"]
    if not bad:
        return None
    failed: list[Issue] = []
    for index in bad:
        reported = [replace(one, entry=index) for one in read_outcome(responses[index].get("outcome"))]
        failed += reported or [Issue(index, "", f"status {statuses[index]}, without a reason")]
    return Refused(int(statuses[bad[0]]), tuple(failed), stored=len(responses) - len(bad))


def _warnings(answer: Answer) -> Iterator[Issue]:
    """Yield what an answer that says all is well warns of: as a whole, and entry by entry."""
    body = object_of(answer.json())
    yield from read_outcome(body, WARNED)
    for index, entry in enumerate(objects_of(body.get("entry"))):
        for outcome in (object_of(entry.get("response")).get("outcome"), entry.get("resource")):
            for one in read_outcome(outcome, WARNED):
                yield replace(one, entry=index)


def _read_entries(listed: tuple[Entry, ...], answer: Answer) -> tuple[dict[int, str], Found | None]:
    """Return what became of each entry, and the resources as the answer shows them; None when it does not show all.

    Answers stand in the order of the entries (R4, "transaction"), but a server that merged two entries sends fewer:
    so an answer counts for an entry only when it shows that entry's own identity.
    """
    body = answer.json()
    given = body.get("entry") if isinstance(body, dict) else None
    if not isinstance(given, list) or len(given) != len(listed):
        return {}, None
    statuses: dict[int, str] = {}
    found: Found = {}
    for entry, one in zip(listed, given, strict=True):
        resource = one.get("resource") if isinstance(one, dict) else None
        if not isinstance(resource, dict) or not entry.identity.names(resource) or not _version(resource):
            return {}, None
        found[entry.identity] = [resource]
        created = str(object_of(one.get("response")).get("status", "")).startswith("201")
        statuses[entry.index] = "created" if created else "unchanged" if entry.method == "POST" else "updated"
    return statuses, found
