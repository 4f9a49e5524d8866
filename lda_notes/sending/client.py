"""A FHIR R4 server as sending needs it: what it can do, what it has, and one transaction at a time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import parse_qsl, urlencode

from lda_notes.problems import REFUSED, UNREACHABLE, Failure
from lda_notes.sending.address import Address, origin_of
from lda_notes.sending.auth import Credentials
from lda_notes.sending.entries import Identity, Json, objects_of
from lda_notes.sending.outcome import WARNED, plain, read_outcome, reasons
from lda_notes.sending.pace import BUSY, Pace, retry_after, steadily
from lda_notes.sending.wire import Answer, Connection, NoAnswer

FHIR: Final = "application/fhir+json"

_AT_ONCE: Final = 50
"""Identities asked for in one search."""

_MOST_PAGES: Final = 100

_MOST_SAID: Final = 50
"""Warnings that are repeated to the user; a server may send any number."""

_LARGEST_SEARCH: Final = 1 << 26
"""Bytes of the pages of one search after which no more of them are asked for."""

_LONGEST_SEARCH_S: Final = 1800
"""Seconds after which no more pages of a search are asked for: each may take ten times ``--timeout``."""


class Unreachable(Failure):
    """The server cannot be asked now; what was to be sent waits."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence, UNREACHABLE)


class NotAllowed(Failure):
    """The server is there and takes nothing from us: no permission, no R4, a redirect."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence, REFUSED)


class Unreadable(NotAllowed):
    """An answer came, and cannot be read."""


@dataclass(frozen=True, slots=True)
class Ability:
    """A server's declared capabilities. ``creates`` and ``updates``: types on a condition; ``kinds``: all its types."""

    version: str
    transaction: bool
    kinds: frozenset[str]
    creates: frozenset[str]
    updates: frozenset[str]

    def lacks(self, created: Iterable[str], updated: Iterable[str], *, one_by_one: bool = False) -> list[str]:
        """Return what is missing for bundles that create and update these types, in words; empty when nothing is.

        ``one_by_one``: without transactions and conditions.
        """
        created, updated = set(created), set(updated)
        missing = []
        if not self.version.startswith("4.0."):
            missing.append(f"FHIR R4 (it speaks {self.version or 'no version that it names'})")
        if not self.transaction and not one_by_one:
            missing.append("transactions")
        unknown = (created | updated) - self.kinds
        if unknown:
            missing.append(f"the resource types {_listed(unknown)}")
        for what, wanted, able in (
            ("creating on a condition", created, self.creates),
            ("updating on a condition", updated, self.updates),
        ):
            short = wanted - able - unknown
            if short and not one_by_one:
                missing.append(f"{what} ({_listed(short)})")
        return missing


def _listed(kinds: Iterable[str]) -> str:
    return ", ".join(sorted(kinds))


class Server:
    """Asks a server. Safe requests are repeated at the given pace; a transaction is tried once a call.

    ``said`` keeps what the server warned of beside the answers to searches. Every method may raise `Unreachable` or
    `NotAllowed`.
    """

    def __init__(self, connection: Connection, address: Address, credentials: Credentials, pace: Pace) -> None:
        self._connection = connection
        self._credentials = credentials
        self._known: dict[str, Json] = {}
        self.said: dict[str, None] = {}
        self.address = address
        self.pace = pace

    def ability(self) -> Ability:
        """Return what the server's capability statement says; only the few elements that matter are asked for."""
        wanted = ("type", "conditionalCreate", "conditionalUpdate")
        elements = ",".join(("fhirVersion", "rest.interaction", *(f"rest.resource.{each}" for each in wanted)))
        said = self._json("GET", self.address.at(f"metadata?_elements={elements}"))
        if said.get("resourceType") == "CapabilityStatement" and not said.get("rest"):
            said = self._json("GET", self.address.at("metadata"))
        if said.get("resourceType") != "CapabilityStatement":
            raise NotAllowed("at that address is no FHIR server: it tells no capabilities; check the address")
        rest = next((one for one in objects_of(said.get("rest")) if one.get("mode", "server") == "server"), {})
        listed = [one for one in objects_of(rest.get("resource")) if isinstance(one.get("type"), str)]
        return Ability(
            version=plain(str(said.get("fhirVersion", ""))),
            transaction=any(one.get("code") == "transaction" for one in objects_of(rest.get("interaction"))),
            kinds=frozenset(one["type"] for one in listed),
            creates=frozenset(one["type"] for one in listed if one.get("conditionalCreate") is True),
            updates=frozenset(one["type"] for one in listed if one.get("conditionalUpdate") is True),
        )

    def find(
        self, identities: Iterable[Identity], unreadable: dict[Identity, str] | None = None
    ) -> dict[Identity, list[Json]]:
        """Return what the server has under each identity: usually one resource or none.

        The identities travel in the body of the search, so that no log of addresses has them. With ``unreadable`` an
        answer that cannot be read ends nothing: what was not found is kept there, with the reason.
        """
        found: dict[Identity, list[Json]] = {identity: [] for identity in identities}
        kinds: dict[tuple[str, str], list[Identity]] = {}
        for identity in found:
            kinds.setdefault((identity.kind, identity.parameter), []).append(identity)
        for (kind, parameter), wanted in kinds.items():
            for first in range(0, len(wanted), _AT_ONCE):
                some = wanted[first : first + _AT_ONCE]
                query = {parameter: ",".join(one.token() for one in some), "_count": "200"}
                why: list[str] = []
                try:
                    resources = self.search(kind, query, None if unreadable is None else why)
                except NotAllowed as not_allowed:
                    if unreadable is None:
                        raise
                    resources, why = [], [str(not_allowed)]
                for resource in resources:
                    for one in some:
                        if one.names(resource):
                            found[one].append(resource)
                if unreadable is not None and why:
                    unreadable.update((one, why[0]) for one in some if not found[one])
        if unreadable and len(unreadable) == len(found):
            raise Unreadable(next(iter(unreadable.values())))
        return found

    def search(
        self, kind: str, query: Mapping[str, str] | Iterable[tuple[str, str]], unreadable: list[str] | None = None
    ) -> list[Json]:
        """Return every resource that a search finds, included ones too, over all its pages.

        Raises `Unreadable` when a part of an answer cannot be read; with ``unreadable`` that is kept there instead.
        """
        headers = {"Content-Type": "application/x-www-form-urlencoded"}
        asked = urlencode(tuple(query.items() if isinstance(query, Mapping) else query))
        answer = self._asked("POST", self.address.at(kind, "_search"), headers, asked.encode())
        resources: list[Json] = []
        why: list[str] = []
        size = 0
        until = self.pace.clock() + _LONGEST_SEARCH_S
        for _ in range(_MOST_PAGES):
            size += len(answer.body)
            page = self._object(answer)
            self._listen(page)
            if page.get("resourceType") != "Bundle":
                told = plain("".join(f": {issue.words}" for issue in read_outcome(page, WARNED)))
                raise Unreadable(f"the server answers a search for {kind} with no bundle{told}; check the address")
            why += self._read_page(page, resources)
            links = objects_of(page.get("link"))
            more = next((one.get("url") for one in links if one.get("relation") == "next"), None)
            if not isinstance(more, str):
                if why and unreadable is None:
                    raise Unreadable(f"an answer to a search for {kind} could not be read: {why[0]}")
                if unreadable is not None:
                    unreadable += why
                return resources
            if origin_of(more) != self.address.origin:
                raise NotAllowed("the next page of a search is on another host, so it was not asked for")
            if size > _LARGEST_SEARCH:
                raise Unreadable(
                    f"the answers to a search for {kind} are larger than {_LARGEST_SEARCH >> 20} MiB together"
                )
            if self.pace.clock() > until:
                raise Unreadable(f"a search for {kind} takes more than {_LONGEST_SEARCH_S // 60} minutes")
            answer = self._asked("GET", more)
        raise Unreadable(f"a search for {kind} has no end")

    def _read_page(self, page: Json, resources: list[Json]) -> Iterator[str]:
        """Add the resources of a page; yield why an entry of it cannot be read."""
        listed = page.get("entry", [])
        if not isinstance(listed, list):
            yield "its entries are not a list"
            return
        for one in listed:
            resource = one.get("resource") if isinstance(one, dict) else None
            if not isinstance(resource, dict):
                yield "an entry of it has no resource"
            elif resource.get("resourceType") == "OperationOutcome":
                self._listen(resource)
                yield from (f"the server reports: {issue.words}" for issue in read_outcome(resource))
            else:
                resources.append(resource)

    def _listen(self, outcome: Json) -> None:
        """Keep what a server says in an OperationOutcome beside a good answer."""
        for issue in read_outcome(outcome, WARNED):
            if len(self.said) < _MOST_SAID:
                self.said[issue.words] = None

    def named(self, reference: str) -> Json | None:
        """Return the one resource that a reference names, by condition (``Type?parameter=value``) or by its address.

        None when it is not there, or two are.
        """
        if reference not in self._known:
            kind, mark, query = reference.partition("?")
            found = self.search(kind, dict(parse_qsl(query))) if mark else self._read(reference)
            if len(found) != 1 or not isinstance(found[0].get("id"), str):
                return None
            self._known[reference] = found[0]
        return self._known[reference]

    def resolved(self, reference: str) -> str | None:
        """Return the ``Type/id`` that a reference by condition finds; None unless it finds one."""
        found = self.named(reference)
        return f"{reference.partition('?')[0]}/{found['id']}" if found is not None else None

    def _read(self, reference: str) -> list[Json]:
        answer = self._steady("GET", self.address.at(reference.removeprefix(f"{self.address.base}/")), {})
        return [self._object(answer)] if answer.status == 200 else []

    def transact(self, bundle: bytes) -> Answer:
        """Send a transaction once. Raises `NoAnswer` when nothing came back; whatever did is returned."""
        headers = {"Content-Type": FHIR, "Prefer": "return=representation"}
        return self._allowed("POST", self.address.base, headers, bundle)

    def write(self, method: str, where: str, resource: bytes, condition: str | None = None) -> Answer:
        """Create (POST) or update (PUT) one resource, once. Raises `NoAnswer` when nothing came back."""
        headers = {"Content-Type": FHIR, "Prefer": "return=representation"}
        if condition is not None:
            headers["If-None-Exist"] = condition
        return self._allowed(method, self.address.at(where), headers, resource)

    def asked_wait(self, answer: Answer) -> float | None:
        """Return how long an answer asks to wait, in seconds."""
        return retry_after(answer.headers.get("Retry-After"), self.pace.now())

    # -- how --

    def _json(self, method: str, url: str) -> Json:
        return self._object(self._asked(method, url))

    def _asked(
        self, method: str, url: str, headers: Mapping[str, str] | None = None, content: bytes | None = None
    ) -> Answer:
        answer = self._steady(method, url, headers or {}, content)
        if answer.status != 200:
            raise NotAllowed(f"the server refuses a question ({answer.status}: {reasons(answer)})")
        return answer

    def _object(self, answer: Answer) -> Json:
        said: Any = answer.json()
        if not isinstance(said, dict):
            raise Unreadable("the server does not answer in FHIR JSON; check the address")
        return said

    def _steady(self, method: str, url: str, headers: Mapping[str, str], content: bytes | None = None) -> Answer:
        """Ask what changes nothing, again and again at the server's pace."""
        fresh = {**headers, "Cache-Control": "no-cache"}
        try:
            return steadily(self.pace, lambda: self._allowed(method, url, fresh, content), {*BUSY, 500})
        except NoAnswer as none:
            if none.may_have_arrived and not none.again:
                raise Unreadable(f"{self.address.base}: {none}") from None
            raise Unreachable(f"{self.address.base} cannot be reached: {none}") from None

    def _allowed(self, method: str, url: str, headers: Mapping[str, str], content: bytes | None) -> Answer:
        """Ask once with the present token, and again with a new one when the server does not take it."""
        answer = self._with_token(method, url, headers, content)
        if answer.status == 401 and self._credentials.renew():
            answer = self._with_token(method, url, headers, content)
        if answer.status == 401:
            raise NotAllowed("the server does not accept who is asking (401): the token is missing, wrong or run out")
        if answer.status == 403:
            raise NotAllowed(f"the server does not permit this (403: {reasons(answer)})")
        if 300 <= answer.status < 400:
            to = plain(origin_of(answer.headers.get("Location", "")) or "another address")
            raise NotAllowed(f"the server sends us on to {to}; if that is right, give it with --server")
        return answer

    def _with_token(self, method: str, url: str, headers: Mapping[str, str], content: bytes | None) -> Answer:
        shown = self._credentials.header()
        authorized = {"Authorization": shown} if shown else {}
        return self._connection.ask(method, url, {"Accept": FHIR, **headers, **authorized}, content)
