"""Sending what waits in an outbox: in order, once each, until nothing waits or the server cannot be reached."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from lda_notes.fhir.verify.verification import read_json
from lda_notes.sending.client import NotAllowed, Server
from lda_notes.sending.deliver import Delivered, Refused, deliver
from lda_notes.sending.entries import NotSafe
from lda_notes.sending.outbox import Outbox, Slip
from lda_notes.sending.parcel import Damaged, Parcel
from lda_notes.sending.receipts import Receipt, Receipts
from lda_notes.sending.words import refusal


@dataclass(frozen=True, slots=True)
class Known:
    """A parcel that its receipt shows to be there already: nothing was sent."""


@dataclass(frozen=True, slots=True)
class SetAside:
    """A parcel that cannot be sent as it is. ``path`` is where it lies now, ``reason`` what the user is told."""

    path: Path
    reason: str


@dataclass(frozen=True, slots=True)
class Passed:
    """What became of one parcel. ``parcel`` is None when its file could not be read."""

    slip: Slip
    parcel: Parcel | None
    result: Delivered | Known | SetAside


def drain(outbox: Outbox, server: Server, receipts: Receipts, now: Callable[[], datetime]) -> Iterator[Passed]:
    """Send what waits for this server, yielding each parcel once it is dealt with.

    What is put in meanwhile is sent too. Raises `Failure` when another run is sending, `Unreachable` when the server
    stops answering (what is left waits) and `NotAllowed` when it takes nothing from us.
    """
    base = server.address.base
    with outbox.draining():
        seen: set[Path] = set()
        while queue := [slip for slip in outbox.waiting() if slip.server in (None, base) and slip.path not in seen]:
            seen.update(slip.path for slip in queue)
            unknown = [slip for slip in queue if not receipts.has(base, slip.digest)]
            if unknown:
                _refuse_unable(server, unknown)
            for slip in queue:
                passed = _pass(outbox, server, receipts, now, slip)
                if passed is not None:
                    yield passed


def _refuse_unable(server: Server, queue: list[Slip]) -> None:
    created = {kind for slip in queue for kind in slip.creates}
    updated = {kind for slip in queue for kind in slip.updates}
    lacks = server.ability().lacks(created, updated)
    if lacks:
        raise NotAllowed(f"{server.address.base} lacks what sending needs: {'; '.join(lacks)}")


def _pass(outbox: Outbox, server: Server, receipts: Receipts, now: Callable[[], datetime], slip: Slip) -> Passed | None:
    base = server.address.base
    try:
        parcel = outbox.take(slip)
    except Damaged as damage:
        reason = f"The file of this parcel is damaged: {damage}. Send the record again."
        return Passed(slip, None, SetAside(outbox.refuse(slip, reason), reason))
    if parcel is None:
        return None
    if receipts.has(base, parcel.digest):
        outbox.done(slip)
        return Passed(slip, parcel, Known())
    bundle, _ = read_json(parcel.bundle)
    try:
        result = deliver(server, bundle, parcel.shared)
    except NotSafe as why:
        reason = f"This bundle cannot be sent safely: {why}."
        return Passed(slip, parcel, SetAside(outbox.refuse(slip, reason), reason))
    if isinstance(result, Refused):
        reason = refusal(parcel, bundle, result)
        return Passed(slip, parcel, SetAside(outbox.refuse(slip, reason), reason))
    receipts.add(Receipt(parcel.digest, base, parcel.about, now(), result.resources))
    outbox.done(slip)
    return Passed(slip, parcel, result)
