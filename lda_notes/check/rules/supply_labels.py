"""Labels of supplies: expiry, and device identifiers with their check digits."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from datetime import date
from functools import lru_cache
from typing import Any, Final, NamedTuple

from lda_notes.check.rule_table import Case, Entry, Found, Step, unsafe, wrong
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.knowledge.supplies import DeviceIdentifier, ScanFault, parse
from lda_notes.problems import Path
from lda_notes.record import events as ev
from lda_notes.record.parts import Needle, Supply

_NAMES: Final = {
    "needle": "needle",
    "lock": "lock",
    "dressing": "dressing",
    "antisepsis": "antiseptic",
    "anesthetic": "anesthetic",
}
_USABLE: Final = Citation("gs1-general", "M-M", "usable through the end of the day of expiry")


@unsafe("use a supply that is in date, report it, and take the rest of the lot off the shelf", _USABLE)
def expired_supply(step: Step, event: ev.CareEvent, case: Case) -> Iterable[Found]:
    """Compares the expiry on the label of each supply with the day on which it was used.

    Past its date no one vouches for sterility or strength. A supply is usable through the end of that day, by the clock
    of the place.

    Notify whoever decides what follows for the patient.
    """
    for fact, what, part in _labeled(event):
        expires: date | None = getattr(part, "expires", None)
        # The local day is at most one later than the day of the recorded offset.
        if expires is None or expires > event.at.date():
            continue
        if expires < (used := case.local(event.at).date()):
            yield Found((*fact, "expires"), f"the {what} used on {used} expired at the end of {expires}")


def _labeled(event: ev.CareEvent) -> Iterator[tuple[Path, str, object]]:
    """Yield what may have a label: its place in the event, its name, and the part."""
    values, flushes = event.__dict__, event.__dict__.get("flushes")
    if type(event) is not ev.ArrivalAccessed:  # which names what was put in elsewhere, on a day before this one
        for key, what in _NAMES.items():
            if (part := values.get(key)) is not None:
                yield (key,), what, part
    for position, flush in enumerate(flushes if isinstance(flushes, tuple) else ()):
        yield ("flushes", position), "flush", flush
    for position, supply in enumerate(event.supplies):
        yield ("supplies", position), f'supply "{supply.name}"', supply


# -- device identifiers --


class _Scanned(NamedTuple):
    """A device identifier of the record: the part that carries it, its event (None for the port), where it stands."""

    what: str
    part: Needle | Supply | None
    entry: Entry | None
    where: str
    udi: str


def _readings(case: Case) -> list[tuple[_Scanned, DeviceIdentifier | ScanFault]]:
    return [
        (scanned, _read(scanned.udi, (scanned.entry.event.at if scanned.entry else case.timeline.asof).date()))
        for scanned in _scanned(case)
    ]


def _scanned(case: Case) -> Iterator[_Scanned]:
    port = case.timeline.episode.port
    if port.udi is not None:
        yield _Scanned("port", None, None, "port", port.udi)
    for entry in case.entries:
        event: Any = entry.event
        values = event.__dict__
        needle = values.get("needle")
        if needle.__class__ is Needle and needle.udi is not None:
            yield _Scanned("needle", needle, entry, "needle", needle.udi)
        for position, supply in enumerate(values.get("supplies") or ()):
            if supply.udi is not None:
                yield _Scanned(f'supply "{supply.name}"', supply, entry, f"supplies.{position}", supply.udi)


_PREFIX: Final = re.compile(r"^\s*(?:\][A-Za-z][0-9A-Za-z])?\x1d*")
_PAIR: Final = re.compile(r"[({](01|10|11|17|21)[)}]([^({]+)")
_FIXED: Final = {"01": 14, "11": 6, "17": 6}


def _in_brackets(text: str) -> str:
    """Return the five GS1 parts that supply labels carry in brackets, other parts left out; other issuers as given.

    The reader of supplies needs a heavy library for raw scans and for other parts; a check must not pay for that. A
    raw part that cannot be told ends the reading: what stands before it is still checked.
    """
    body = _PREFIX.sub("", text, count=1)
    if body[:1] in ("(", "{"):
        return "".join(f"({part}){value}" for part, value in _PAIR.findall(body)) or text
    if not body[:1].isdigit() or not body.startswith("01"):
        return text
    parts = []
    while body[:2] in _FIXED or body[:2] in ("10", "21"):
        part, body = body[:2], body[2:]
        value, separator, rest = body.partition("\x1d")
        if part in _FIXED:
            value, body = body[: _FIXED[part]], body[_FIXED[part] :].lstrip("\x1d")
        else:
            body = rest if separator else ""
        parts.append(f"({part}){value}")
    return "".join(parts)


@lru_cache(maxsize=512)
def _read(text: str, today: date) -> DeviceIdentifier | ScanFault:
    return parse(_in_brackets(text), today)


@wrong(
    "scan the label again, or correct what was typed",
    Citation("gs1-check-digit", "R"),
    Citation("fda-udi", "R2"),
    Citation("hibc-check-table", "R2"),
)
def device_identifier_unreadable(case: Case) -> Iterable[Found]:
    """Reads every device identifier of the record: its form, its check digit, its dates.

    Recalls are traced by these identifiers; one with a wrong digit finds nothing, or another product.
    """
    for scanned, read in case.once(_readings):
        if isinstance(read, ScanFault):
            said = read.message.rstrip(".")
            says = f"the device identifier of the {scanned.what} cannot be read: {said[:1].lower()}{said[1:]}"
            yield Found(
                f"{scanned.where}.udi", says, scanned.entry, todo=f"{read.todo[:1].lower()}{read.todo[1:].rstrip('.')}"
            )


@wrong("read the label again and correct the one that is wrong", Citation("fda-udi", "R2"))
def label_contradicts_identifier(case: Case) -> Iterable[Found]:
    """Compares expiry and lot as charted with those inside the scanned device identifier.

    Both come from one label. If they differ, one was mistyped or belongs to another box.

    The scanned one is usually right.
    """
    for scanned, read in case.once(_readings):
        if isinstance(read, ScanFault) or scanned.part is None:
            continue
        lot, expires = scanned.part.lot, scanned.part.expires
        if lot is not None and read.lot is not None and lot != read.lot:
            says = f'the lot of the {scanned.what} is "{lot}" as charted and "{read.lot}" in its device identifier'
            yield Found(f"{scanned.where}.lot", says, scanned.entry)
        if expires is not None and read.expires is not None and expires != read.expires:
            yield Found(
                f"{scanned.where}.expires",
                f"the expiry of the {scanned.what} is {expires} as charted and {read.expires} in its device identifier",
                scanned.entry,
            )


@unsafe("use a supply that is in date, report it, and take the rest of the lot off the shelf", _USABLE, COMMON_PRACTICE)
def expired_by_identifier(case: Case) -> Iterable[Found]:
    """Compares the expiry inside the device identifier with the day of use, where no expiry was charted beside it.

    A scan often contains the expiry that was not typed.

    Notify whoever decides what follows for the patient.
    """
    for scanned, read in case.once(_readings):
        if isinstance(read, ScanFault) or scanned.part is None or scanned.entry is None:
            continue
        if scanned.part.expires is not None or (
            scanned.what == "needle" and type(scanned.entry.event) is not ev.Access
        ):
            continue
        at = case.local(scanned.entry.event.at)
        if read.expired(at):
            hour = f" at {read.expires_hour}:00" if read.expires_hour is not None else ""
            says = f"the {scanned.what} used on {at.date()} expired on {read.expires}{hour} by its device identifier"
            yield Found(f"{scanned.where}.udi", says, scanned.entry)
