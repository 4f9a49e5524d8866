"""Seals: each signed entry carries a digest over its own content and the digest of the entry before it.

SEALS.md beside this module says what a seal proves and what it does not, and gives the canonical form in full.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, Final, NamedTuple

import rfc8785

from lda_notes.problems import Finding

VERSION: Final = "1"
"""Name of the canonical form. Another form gets another name, so that old seals are checked by their own."""

CHANGED: Final = "entry-changed-after-signing"
REMOVED: Final = "entry-removed-after-signing"
INSERTED: Final = "entry-inserted-after-signing"

_LARGEST: Final = 2**53 - 1
"""The largest whole number that RFC 8785 can write; above it the digits are digested as text."""


class Sealed(NamedTuple):
    """The last sealed entry of a record: what a paper or a server can be compared with."""

    entry: str
    digest: str

    def said(self) -> str:
        """Return the digest in groups of eight, as it is printed."""
        return " ".join(self.digest[at : at + 8] for at in range(0, len(self.digest), 8))


def digest(value: Any) -> str:
    """Return the SHA-256 of plain data in canonical form (RFC 8785), as 64 hexadecimal digits."""
    return hashlib.sha256(rfc8785.dumps(_plain(value))).hexdigest()


def _plain(value: Any) -> Any:
    match value:
        case bool():  # YAML writes the words, JSON may write the values; a record means the same by both
            return "yes" if value else "no"
        case int() if abs(value) > _LARGEST:
            return str(value)
        case Mapping():
            return {str(key): _plain(inner) for key, inner in value.items()}
        case list() | tuple():
            return [_plain(inner) for inner in value]
        case _:
            return value


def digest_of_head(data: Mapping[str, Any]) -> str:
    """Return the digest of patient, stay and port: what the first seal rests on."""
    return digest({"version": VERSION, **{key: data.get(key) for key in ("patient", "stay", "port")}})


def digest_of_entry(entry: Mapping[str, Any], before: str, after: str | None = None, asof: str | None = None) -> str:
    """Return the digest of an entry, without its own seal, on top of the digest ``before`` it."""
    content = {key: value for key, value in entry.items() if key != "seal"}
    return digest({"version": VERSION, "before": before, "after": after, "asof": asof, "entry": content})


def sealed(data: Mapping[str, Any], entry: Mapping[str, Any], asof: datetime | None = None) -> dict[str, Any]:
    """Return ``entry`` with the seal that it has as the next one of the record ``data``.

    ``asof`` is the moment judged from, when it was not the time of entry.
    """
    entries = _entries(data)
    start = next((at for at in range(len(entries) - 1, -1, -1) if _seal(entries[at]) is not None), 0)
    *_, before = _chain(data, entries[start:])  # the last seal stands for all that was before it
    after = _name(entries[-1]) if entries else None
    moment = asof.isoformat(timespec="minutes") if asof is not None else None
    seal = {"version": VERSION, "before": before, **({"after": after} if after else {})}
    seal |= {"asof": moment} if moment else {}
    content = {key: value for key, value in entry.items() if key != "seal"}
    return {**content, "seal": {**seal, "digest": digest_of_entry(content, before, after, moment)}}


def last(data: Mapping[str, Any]) -> Sealed | None:
    """Return the last sealed entry of a record's data; None when no entry is sealed."""
    for entry in reversed(_entries(data)):
        seal = _seal(entry)
        if seal is not None:
            return Sealed(_name(entry) or "", seal["digest"])
    return None


def findings(data: Mapping[str, Any]) -> Iterator[Finding]:
    """Yield what the seals of a record find: entries changed, removed or inserted after a later one was signed."""
    entries = _entries(data)
    chain = list(_chain(data, entries))
    ids = {_name(entry): index for index, entry in enumerate(entries)}
    for index, entry in enumerate(entries):
        seal = _seal(entry)
        if seal is None:
            continue
        name = _name(entry) or f"in position {index + 1}"
        path = ("events", index)
        if digest_of_entry(entry, seal["before"], seal.get("after"), seal.get("asof")) != seal["digest"]:
            yield _finding(CHANGED, f"entry {name} was changed after it was signed", path, name)
        if seal["before"] == chain[index]:
            continue
        after = seal.get("after")
        if seal["before"] in chain[:index]:
            inserted = entries[chain.index(seal["before"]) : index]
            for at, one in enumerate(inserted, start=index - len(inserted)):
                what = _name(one) or f"in position {at + 1}"
                yield _finding(INSERTED, f"entry {what} was not there when {name} was signed", ("events", at), what)
        elif after is not None and after not in ids:
            says = f"entry {after}, which was there when {name} was signed, is not in the record"
            yield _finding(REMOVED, says, path, name)
        elif after is not None and ids[after] > index:
            says = f"entry {after}, which came before {name} when that was signed, now comes after it"
            yield _finding(INSERTED, says, path, name)
        elif after is None or all(_seal(one) is None for one in entries[:index]):
            unsealed = ", or an entry before it," if index else ""
            says = f"patient, stay or port{unsealed} was changed after {name} was signed"
            yield _finding(CHANGED, says, path, name)
        else:
            says = f"entry {after} was changed after {name}, which follows it, was signed, although it has a seal"
            yield _finding(CHANGED, says, ("events", ids[after]), after)


def unknown(data: Mapping[str, Any], paper: Sealed) -> Finding | None:
    """Return a finding when an entry, printed or sent with its digest, is not in the record as it was; else None."""
    for index, entry in enumerate(_entries(data)):
        seal = _seal(entry)
        if seal is not None and seal["digest"] == paper.digest:
            return None
        if _name(entry) == paper.entry:
            says = f"entry {paper.entry} is not the one that was printed or sent with the digest {paper.digest[:16]}..."
            return _finding(CHANGED, says, ("events", index), paper.entry)
    says = f"entry {paper.entry}, printed or sent with the digest {paper.digest[:16]}..., is not in the record"
    return _finding(REMOVED, says, ("events",), paper.entry)


def _finding(rule: str, says: str, path: tuple[str | int, ...], event: str) -> Finding:
    todo = "compare with the copies beside the record, its printed notes and the server, and ask who changed it"
    return Finding(rule, "wrong", says, todo, path, event=event)


def _chain(data: Mapping[str, Any], entries: Sequence[Any]) -> Iterator[str]:
    """Yield what each entry, and after the last one the next, is sealed on top of."""
    before = digest_of_head(data)
    yield before
    for entry in entries:
        seal = _seal(entry)
        before = seal["digest"] if seal is not None else digest_of_entry(entry, before)
        yield before


def _entries(data: Mapping[str, Any]) -> Sequence[Any]:
    events = data.get("events")
    return [one if isinstance(one, Mapping) else {"": one} for one in events] if isinstance(events, list) else []


def _seal(entry: Any) -> Mapping[str, Any] | None:
    """Return the seal of an entry, if it has one in a form that is known here."""
    seal = entry.get("seal") if isinstance(entry, Mapping) else None
    if not isinstance(seal, Mapping) or seal.get("version") != VERSION:
        return None
    return seal if all(isinstance(seal.get(key), str) for key in ("digest", "before")) else None


def _name(entry: Mapping[str, Any]) -> str | None:
    name = entry.get("id")
    return name if isinstance(name, str) else None
