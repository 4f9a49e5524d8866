"""Comparison of a resource as sent with the server's copy, element by element.

A server gives its own id and version, turns references between entries into its own, and may write a number or a
moment another way that means the same. All else that differs is a difference.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from itertools import zip_longest
from typing import Any, Final

Json = dict[str, Any]

Resolve = Callable[[str], str | None]
"""Gives the ``Type/id`` of an entry or of a reference by condition; None when the server does not have it."""

_MOMENT: Final = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)")
_DESPITE: Final = "Sent despite findings: "


@dataclass(frozen=True, slots=True)
class Difference:
    """One element that differs: its path below the resource, and both values as JSON has them."""

    path: str
    sent: Any
    stored: Any


_NOTHING: Final = object()


def differences(
    sent: Mapping[str, Any],
    stored: Mapping[str, Any],
    resolve: Resolve,
    base: str,
    decided: Callable[[str], bool] = lambda address: True,
) -> list[Difference]:
    """Return every element in which a resource that was sent differs from the one that the server has.

    ``base`` is the server's address: a reference that begins with it is the same as one without. ``decided`` says of
    a ``Type/id`` whether its creation alone decides what it is. A Provenance stays as it was when its event was sent,
    and a later correction may hand what that event closed to another one, so only such targets are compared, in no
    order.
    """
    ours = _without_despite({key: value for key, value in sent.items() if key != "id"})
    theirs = _theirs(stored, sent)
    apart: list[Difference] = []
    if ours.get("resourceType") == "Provenance":
        apart = _targets(ours.pop("target", []), theirs.pop("target", []), resolve, base, decided)
    return [*_apart(ours, theirs, "", resolve, base), *apart]


def _targets(sent: Any, stored: Any, resolve: Resolve, base: str, decided: Callable[[str], bool]) -> list[Difference]:
    def addresses(listed: Any, known: Resolve) -> list[str]:
        named = [str(_get(one, "reference")) for one in (listed if isinstance(listed, list) else [])]
        found = [_bare(known(name) or name, base) for name in named]
        return sorted(address for address in found if ":" in address or decided(address))

    mine, theirs = addresses(sent, resolve), addresses(stored, lambda name: name)
    return [] if mine == theirs else [Difference("target", mine, theirs)]


def _theirs(stored: Mapping[str, Any], sent: Mapping[str, Any]) -> Json:
    made = {key: value for key, value in stored.items() if key != "id"}
    meta = _meta(sent.get("meta"), made.pop("meta", None))
    if meta:
        made["meta"] = meta
    text = made.get("text")
    if "text" not in sent and isinstance(text, dict) and text.get("status") == "generated":
        made.pop("text")  # a narrative that the server made from the very elements that are compared
    return _without_despite(made)


def _meta(sent: Any, stored: Any) -> Json:
    """Of what a server says about a resource only what was sent: labels and profiles of its own are its business."""
    if not isinstance(sent, dict) or not isinstance(stored, dict):
        return {}
    made: Json = {}
    for key, value in sent.items():
        theirs = stored.get(key)
        if isinstance(value, list) and isinstance(theirs, list):
            made[key] = [one for one in value if one in theirs]
        elif theirs is not None:
            made[key] = theirs
    return {key: value for key, value in made.items() if value != []}


def _without_despite(resource: Json) -> Json:
    """Return why faults were overruled stands in the Provenance of the first sending alone."""
    if resource.get("resourceType") == "Provenance" and isinstance(resource.get("reason"), list):
        kept = [one for one in resource["reason"] if not str(_get(one, "text")).startswith(_DESPITE)]
        resource = {key: value for key, value in resource.items() if key != "reason"}
        if kept:
            resource["reason"] = kept
    return resource


def _get(value: Any, key: str) -> Any:
    return value.get(key) if isinstance(value, dict) else None


def _apart(mine: Any, theirs: Any, path: str, resolve: Resolve, base: str) -> Iterator[Difference]:
    """Yield where two values differ; what only one of them has is a difference, too."""
    if isinstance(mine, dict) and isinstance(theirs, dict):
        if not _names_it(mine, theirs, resolve, base):
            for key in dict.fromkeys((*mine, *theirs)):
                below = f"{path}.{key}" if path else key
                yield from _apart(mine.get(key, _NOTHING), theirs.get(key, _NOTHING), below, resolve, base)
    elif isinstance(mine, list) and isinstance(theirs, list):
        for index, (one, other) in enumerate(zip_longest(mine, theirs, fillvalue=_NOTHING)):
            yield from _apart(one, other, f"{path}[{index}]", resolve, base)
    elif not _same(mine, theirs) and not (
        path.rpartition(".")[2] == "reference"
        and isinstance(mine, str)
        and isinstance(theirs, str)
        and same_reference(mine, theirs, resolve, base)
    ):
        yield Difference(path, None if mine is _NOTHING else mine, None if theirs is _NOTHING else theirs)


def _names_it(mine: Json, theirs: Json, resolve: Resolve, base: str) -> bool:
    """Return whether ``mine`` names by identity what ``theirs`` refers to: another bundle referred to it directly."""
    number, theirs_to = mine.get("identifier"), theirs.get("reference")
    if "reference" in mine or not isinstance(number, dict) or not isinstance(theirs_to, str):
        return False
    known = resolve(f"{mine.get('type')}?identifier={number.get('system')}|{number.get('value')}")
    return known is not None and _bare(known, base) == _bare(theirs_to, base)


def _same(mine: Any, theirs: Any) -> bool:
    if _is_number(mine) and _is_number(theirs):
        return Decimal(str(mine)) == Decimal(str(theirs))
    if type(mine) is not type(theirs):
        return False
    if mine == theirs:
        return True
    return isinstance(mine, str) and _moment(mine) is not None and _moment(mine) == _moment(theirs)


def _moment(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text) if _MOMENT.fullmatch(text) else None
    except ValueError:
        return None


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float | Decimal) and not isinstance(value, bool)


def same_reference(mine: str, theirs: str, resolve: Resolve, base: str) -> bool:
    """Return whether a reference as sent names what a server's own reference names."""
    known = resolve(mine) if mine.startswith("urn:") or "?" in mine else mine
    return known is not None and _bare(known, base) == _bare(theirs, base)


def _bare(reference: str, base: str) -> str:
    """``Type/id`` without the server's own address and without a version."""
    return reference.removeprefix(f"{base}/").partition("/_history/")[0]
