"""Sending what waits in an outbox: in order, once each, until nothing waits or the server cannot be reached."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from lda_notes.fhir.config import EXAMPLES
from lda_notes.fhir.verify.verification import read_json
from lda_notes.sending.client import NotAllowed, Server, Unreachable
from lda_notes.sending.deliver import Delivered, Refused, deliver
from lda_notes.sending.entries import NotSafe
from lda_notes.sending.outbox import Damaged, Outbox, Slip
from lda_notes.sending.parcel import Parcel, Receipt
from lda_notes.sending.words import refusal

_TROUBLE: Final = 3
"""So many bundles in a row that a server answers with a fault of its own, and the queue waits."""

_SERVER_FAULT: Final = 500


@dataclass(frozen=True, slots=True)
class Known:
    """A parcel that its receipt shows to be there already: nothing was sent."""


@dataclass(frozen=True, slots=True)
class SetAside:
    """A parcel that cannot be sent as it is; ``reason`` is what the user reads."""

    reason: str


@dataclass(frozen=True, slots=True)
class Passed:
    """The outcome of one parcel. ``parcel`` is None when it could not be read."""

    slip: Slip
    parcel: Parcel | None
    result: Delivered | Known | SetAside


def drain(outbox: Outbox, server: Server, now: Callable[[], datetime], *, one_by_one: bool = False) -> Iterator[Passed]:
    """Send what waits for this server, yielding each parcel once it is dealt with.

    What is put in meanwhile is sent too. ``one_by_one``: without transactions. Raises `Failure` when another run is
    sending, `Unreachable` when the server stops answering or is in trouble (what is left waits) and `NotAllowed` when
    it takes nothing from us.
    """
    base = server.address.base
    with outbox.draining():
        seen: set[int] = set()
        while queue := [slip for slip in outbox.waiting() if slip.server in (None, base) and slip.number not in seen]:
            seen.update(slip.number for slip in queue)
            unknown = [slip for slip in queue if not outbox.has(base, slip.digest)]
            if unknown:
                _refuse_unable(server, unknown, one_by_one=one_by_one)
            yield from _drain(outbox, server, now, queue, one_by_one=one_by_one)


def _drain(
    outbox: Outbox, server: Server, now: Callable[[], datetime], queue: list[Slip], *, one_by_one: bool
) -> Iterator[Passed]:
    """Send a queue. What a server answers with a fault of its own is set aside only once it takes another bundle."""
    faulty: list[tuple[Slip, Parcel, SetAside]] = []
    for slip in queue:
        result, parcel = _sent(outbox, server, slip, one_by_one=one_by_one)
        if result is None:
            continue
        if isinstance(result, Refused) and result.status >= _SERVER_FAULT and parcel is not None:
            faulty.append((slip, parcel, _aside(parcel, result)))
            if len(faulty) == _TROUBLE:
                raise Unreachable(
                    f"{server.address.base} is in trouble: it answered {_TROUBLE} bundles in a row with a fault of its "
                    f"own (status {result.status})"
                )
            continue
        yield from _set_aside(outbox, faulty)
        faulty = []
        if isinstance(result, Refused):
            assert parcel is not None
            result = _aside(parcel, result)
        if isinstance(result, SetAside):
            outbox.refuse(slip, result.reason)
        elif isinstance(result, Known) or parcel is None:
            outbox.done(slip)
        else:
            differs = bool(result.kept)
            base = server.address.base
            outbox.done(slip, Receipt(parcel.digest, base, parcel.line, parcel.about, now(), result.resources, differs))
        yield Passed(slip, parcel, result)
    yield from _set_aside(outbox, faulty)


def _set_aside(outbox: Outbox, faulty: list[tuple[Slip, Parcel, SetAside]]) -> Iterator[Passed]:
    for slip, parcel, aside in faulty:
        outbox.refuse(slip, aside.reason)
        yield Passed(slip, parcel, aside)


def _sent(
    outbox: Outbox, server: Server, slip: Slip, *, one_by_one: bool
) -> tuple[Delivered | Refused | Known | SetAside | None, Parcel | None]:
    """Return what became of one parcel; nothing of the outbox is changed."""
    try:
        parcel = outbox.take(slip)
    except Damaged as damage:
        return SetAside(f"This parcel is damaged: {damage}. Send the record again."), None
    if parcel is None:
        return None, None
    if outbox.has(server.address.base, parcel.digest):
        return Known(), parcel
    refuse_examples(server, parcel.bundle)
    bundle, _ = read_json(parcel.bundle)
    try:
        return deliver(server, bundle, parcel.shared, one_by_one=one_by_one), parcel
    except NotSafe as why:
        return SetAside(f"This bundle cannot be sent safely: {why}."), parcel


def _aside(parcel: Parcel, refused: Refused) -> SetAside:
    bundle: Any = read_json(parcel.bundle)[0]
    return SetAside(refusal(parcel, bundle, refused))


def refuse_examples(server: Server, bundle: bytes) -> None:
    """Refuse to send the built-in example systems to another machine. Raises `NotAllowed`."""
    if not server.address.is_local and EXAMPLES.encode() in bundle:
        raise NotAllowed(
            f"the bundles use the built-in example systems ({EXAMPLES}), which nobody owns, so nothing was sent to "
            f"{server.address.base}; give the facility's own systems with --config"
        )


def _refuse_unable(server: Server, queue: list[Slip], *, one_by_one: bool) -> None:
    created = {kind for slip in queue for kind in slip.creates}
    updated = {kind for slip in queue for kind in slip.updates}
    lacks = server.ability().lacks(created, updated, one_by_one=one_by_one)
    if lacks:
        hint = "" if one_by_one else "; for a server without transactions there is --one-by-one"
        raise NotAllowed(f"{server.address.base} lacks what sending needs: {'; '.join(lacks)}{hint}")
