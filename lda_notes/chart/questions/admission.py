"""Answers about patient, stay and port that are read from papers, in the words that stand there."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping
from functools import cache
from typing import Final
from zoneinfo import available_timezones

from lda_notes.chart.answers.heard import Unclear, Value
from lda_notes.narrative import phrasing

Read = Callable[[str], Value | Unclear]

_ADDRESS: Final = re.compile(r"(?:https?://[^\s/]+\S*|urn:[a-z0-9-]+:\S+)", re.IGNORECASE | re.ASCII)
_OID: Final = re.compile(r"[0-2](?:\.(?:0|[1-9]\d*))+", re.ASCII)


def issuer(text: str) -> Value | Unclear:
    """Return the address that stands for who issued a number.

    A name is turned into an address under ``.invalid``, which is nobody's (RFC 2606), so that a number is never
    mistaken for another hospital's while the right address is not known.
    """
    said = " ".join(text.split())
    if _ADDRESS.fullmatch(said):
        return Value(said, said)
    if _OID.fullmatch(said):
        return Value(f"urn:oid:{said}", f"urn:oid:{said}")
    plain = unicodedata.normalize("NFKD", said.casefold()).encode("ascii", "ignore").decode()
    name = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60].strip("-")
    if not re.search("[a-z]", name):
        return Unclear("Type the name of the hospital or system, or its address, such as https://...")
    address = f"https://{name}.invalid/record-number"
    return Value(address, f"{said} (kept as {address} until its own address is known)")


@cache
def _zones() -> Mapping[str, tuple[str, ...]]:
    found: dict[str, list[str]] = {}
    for zone in sorted(available_timezones()):
        if "/" in zone and not zone.startswith(("Etc/", "posix/", "right/", "SystemV/")):
            for name in (zone, zone.rpartition("/")[2]):
                found.setdefault(name.casefold().replace("_", " "), []).append(zone)
    return {name: tuple(zones) for name, zones in found.items()}


def zone(text: str) -> Value | Unclear:
    """Return the time zone that a name or the city in it means."""
    if text.strip() in available_timezones():
        return Value(text.strip(), text.strip())
    said = " ".join(text.replace("_", " ").split()).casefold()
    found = _zones().get(said, ())
    if len(found) == 1:
        return Value(found[0], found[0])
    if found:
        return Unclear(f"That could be {phrasing.listed(found, 'or')}.")
    return Unclear(
        "That is not a time zone. Type a large city that has the same time, such as Chicago or America/Chicago."
    )


def septa(text: str) -> Value | Unclear:
    """Return the names of a port's septa: one, or two."""
    said = [" ".join(part.split()) for part in re.split(r",|;|\band\b", text) if part.strip()]
    if said in (["1"], ["one"], ["single"]):
        return Value(["single"], "single")
    if len(said) == 2 and not any(part.isdigit() for part in said):
        return Value(said, phrasing.listed(said))
    return Unclear("Type 1 for a port with one septum; for one with two, their names, such as medial, lateral.")


READ: Final[Mapping[str, Read]] = {
    "patient.identifiers.0.system": issuer,
    "stay.time_zone": zone,
    "port.septa": septa,
}
"""The facts that are read so, by dotted name."""

CALLED: Final[Mapping[str, str]] = {
    "patient.identifiers.0.value": "record number",
    "patient.identifiers.0.system": "issued by",
    "port.id": "port is called",
}
"""What is said of a fact where its title in the layout is no nurse's word."""

EXPLAINED: Final[Mapping[str, str]] = {
    "patient.allergies": "Allergies; n says that the patient has none, a period that no one asked.",
    "patient.identifiers.0.system": (
        "Two hospitals may give the same number to two people, so the record says whose number it is. "
        "The hospital's name will do; the people who run the record system know its address."
    ),
    "stay.time_zone": "Every time of this record is read and shown in it.",
    "port.id": "A name that distinguishes two ports of one patient apart; with one port, the name offered will do.",
}
"""What ? says where the layout's own words are for programs."""
