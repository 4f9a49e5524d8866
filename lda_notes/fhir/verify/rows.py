"""Resources that stand in rows, as bulk import takes them: what each row says of the others."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, Final

from lda_notes.fhir.verify.faults import BundleFault, Fault, shown

_LITERAL: Final = re.compile(r"[A-Z][A-Za-z]+/[A-Za-z0-9.-]{1,64}")


class Rows:
    """The rows of a folder, taken one after the other; only their ids and references are kept in memory."""

    def __init__(self) -> None:
        self._places: dict[str, str] = {}
        self._named: dict[str, tuple[str, BundleFault]] = {}

    def take(self, place: str, resource: object) -> tuple[BundleFault, ...]:
        """Take the resource of a row, called ``place``; return what is wrong with its id."""
        if not isinstance(resource, dict):
            return ()  # it has its own fault
        for path, reference in _references(resource, ()):
            if reference not in self._named and not reference.startswith("#"):
                self._named[reference] = place, _nowhere(reference).closed(*path)
        own = resource.get("id")
        if not isinstance(own, str):
            return (Fault("row-id", own, "The row has no id.", "Give each row the id that others refer to.").closed(),)
        address = f"{resource.get('resourceType')}/{own}"
        first = self._places.setdefault(address, place)
        if first == place:
            return ()
        message = f"{shown(address)} is in {first} as well."
        return (Fault("row-id", own, message, "Keep one of the rows.").closed("id"),)

    def unresolved(self) -> Iterator[tuple[str, BundleFault]]:
        """Yield each reference that leads to no row, once, with the first row that has it."""
        for reference, (place, fault) in self._named.items():
            literal = _LITERAL.fullmatch(reference) is not None
            if reference not in self._places and (literal or reference.startswith("urn:")):
                yield place, fault


def _nowhere(reference: str) -> Fault:
    message = f"{shown(reference)} leads to no row of this folder."
    return Fault("reference-unresolved", reference, message, "Add the row, or look whether a file was cut off.")


def _references(value: Any, path: tuple[str | int, ...]) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Yield every literal reference in a value, with the path to it."""
    if isinstance(value, dict):
        if isinstance(value.get("reference"), str):
            yield (*path, "reference"), value["reference"]
        for key, one in value.items():
            yield from _references(one, (*path, key))
    elif isinstance(value, list):
        for index, one in enumerate(value):
            yield from _references(one, (*path, index))
