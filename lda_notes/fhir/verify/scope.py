"""The rest of a bundle, as far as a check inside it must know it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any


class Scope:
    """The bundle around a value: which ``fullUrl`` contains which resource type, and the resource at hand.

    ``types`` maps every ``fullUrl`` to the resource type behind it. ``root`` is the resource of the entry being
    checked, ``contained`` maps the ids of the resources inside it to their types.
    """

    __slots__ = ("contained", "is_transaction", "root", "types")

    def __init__(self, bundle: object) -> None:
        self.types: dict[str, str] = {}
        self.root: dict[str, Any] | None = None
        self.contained: dict[str, str] = {}
        self.is_transaction = isinstance(bundle, dict) and bundle.get("type") in ("transaction", "batch")
        for entry in entries(bundle):
            url, resource = entry.get("fullUrl"), entry.get("resource")
            if isinstance(url, str) and isinstance(resource, dict):
                name = resource.get("resourceType")
                self.types[url] = name if isinstance(name, str) else ""

    def enter(self, resource: dict[str, Any]) -> None:
        """Begin with the resource of an entry."""
        self.root = resource
        inside = resource.get("contained")
        if isinstance(inside, list):
            for one in inside:
                if isinstance(one, dict) and isinstance(one.get("id"), str):
                    self.contained[one["id"]] = str(one.get("resourceType"))

    def leave(self) -> None:
        """End with the resource of an entry."""
        self.root = None
        self.contained = {}


def entries(bundle: object) -> Iterator[dict[str, Any]]:
    """Yield the entries of a bundle that are objects, whatever else is wrong with it."""
    listed = bundle.get("entry") if isinstance(bundle, dict) else None
    if isinstance(listed, list):
        for entry in listed:
            if isinstance(entry, dict):
                yield entry
