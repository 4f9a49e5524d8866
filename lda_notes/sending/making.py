"""From records and bundle files to parcels: what may leave, and why the rest may not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from lda_notes.check import report
from lda_notes.check.judged import Judged
from lda_notes.fhir.build.book import EventBundle
from lda_notes.fhir.build.papers import DESPITE
from lda_notes.fhir.elements import to_json_bytes
from lda_notes.fhir.verify.faults import BundleFault
from lda_notes.fhir.verify.verification import read_json, verify
from lda_notes.line.timeline import Timeline
from lda_notes.problems import Finding
from lda_notes.record.reading import Record
from lda_notes.sending.entries import Entry, Identity, NotSafe, entries, events
from lda_notes.sending.parcel import Parcel

STOPPING: Final = ("unsafe", "wrong", "gap")
"""Severities of findings that keep a record from being sent."""

Make = Callable[[Timeline], Iterable[EventBundle]]
"""Makes the bundles of a record; a reason to send it despite findings is already in them."""


@dataclass(frozen=True, slots=True)
class Made:
    """The parcels of one file, and what speaks against sending them.

    ``judged`` is the record, None for a bundle file; ``faults`` are of its bundles, each with the entry of the record.
    ``broken`` says why nothing of the file can be sent, whatever reason is given: then there are no parcels.
    """

    file: str
    parcels: tuple[Parcel, ...] = ()
    judged: Judged | None = None
    faults: tuple[tuple[str | None, BundleFault], ...] = ()
    broken: str | None = None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The findings of the record that keep it from being sent."""
        listed = self.judged.findings if self.judged is not None else ()
        return tuple(finding for finding in listed if finding.severity in STOPPING)

    @property
    def is_clean(self) -> bool:
        """Whether nothing speaks against sending."""
        return not self.findings and not self.faults and self.broken is None


def from_record(judged: Judged, make: Make) -> Made:
    """The parcels of a record, one for each event."""
    record = judged.record
    if judged.timeline is None:
        return Made(record.file, judged=judged, broken="it holds no record that can be read")
    made = list(make(judged.timeline))
    episode = judged.timeline.episode.id
    parcels, faults = [], []
    for one in made:
        data = to_json_bytes(one.bundle)
        bundle, _ = read_json(data)
        about = f"{episode}/{one.event}"
        faults += [(about, fault) for fault in verify(bundle)]
        parcels.append(Parcel(data, about, record.file, _rows(record, one)))
    return _finished(Made(record.file, tuple(parcels), judged, tuple(faults)))


def _rows(record: Record, one: EventBundle) -> tuple[int, ...]:
    return tuple(record.place(path).row for path in one.paths)


def is_bundle(path: Path) -> bool:
    """Whether a file is a FHIR bundle and not a record: its first bytes tell."""
    if path.suffix.lower() not in (".json", ".ndjson"):
        return False
    try:
        with path.open("rb") as file:
            return b'"resourceType"' in file.read(4096)
    except OSError:
        return False


def from_bundle(name: str, data: bytes, despite: str | None) -> Made:
    """The parcel of a bundle as a file called ``name`` holds it; ``despite`` is added to its Provenances."""
    bundle, faults = read_json(data)
    if faults or not isinstance(bundle, dict):
        said = str(faults[0]) if faults else "it is no JSON object"
        return Made(name, broken=f"it holds no bundle that can be read: {said}")
    about = _about(bundle)
    found = tuple((about, fault) for fault in verify(bundle))
    if despite is not None:
        bundle = with_reason(bundle, despite)
        if bundle is None:
            return Made(name, broken="it has no Provenance that could carry the reason given with --despite")
    try:
        written = to_json_bytes(bundle)
    except (TypeError, ValueError, RecursionError) as error:  # a number, text or nesting that no JSON writer takes
        return Made(name, broken=f"it holds a value that cannot be written again ({report.visible(str(error))})")
    return _finished(Made(name, (Parcel(written, about, name),), faults=found))


def _about(bundle: dict[str, Any]) -> str | None:
    """The entry of the record that a bundle is about, when it is one."""
    named = set(events(bundle).values())
    return named.pop() if len(named) == 1 else None


def with_reason(bundle: dict[str, Any], despite: str) -> dict[str, Any] | None:
    """The bundle with a reason in each Provenance; None when it has none."""
    listed, found = [], False
    for entry in bundle.get("entry", ()):
        resource = entry.get("resource") if isinstance(entry, dict) else None
        if isinstance(resource, dict) and resource.get("resourceType") == "Provenance":
            found = True
            reasons = [*(resource.get("reason") or []), {"text": DESPITE + despite}]
            entry = {**entry, "resource": {**resource, "reason": reasons}}
        listed.append(entry)
    return {**bundle, "entry": listed} if found else None


def _finished(made: Made) -> Made:
    """With what each parcel needs of a server; or with why it cannot be sent safely."""
    parcels = []
    for parcel in made.parcels:
        bundle, _ = read_json(parcel.bundle)
        try:
            listed = entries(bundle)
        except NotSafe as why:
            return replace(made, parcels=(), broken=f"a bundle of it cannot be sent safely: {why}")
        parcels.append(
            replace(
                parcel,
                creates=_kinds(one for one in listed if one.method == "POST"),
                updates=_kinds(one for one in listed if one.method == "PUT"),
            )
        )
    return replace(made, parcels=tuple(parcels))


def _kinds(listed: Iterable[Entry]) -> tuple[str, ...]:
    return tuple(sorted({one.identity.kind for one in listed}))


def sharing(made: Iterable[Made]) -> list[Made]:
    """Note in each parcel the entries whose last state another parcel decides, by an update of the same identity."""
    made = list(made)
    read = {parcel.digest: entries(read_json(parcel.bundle)[0]) for one in made for parcel in one.parcels}
    updating: Counter[Identity] = Counter()
    for listed in read.values():
        updating.update(entry.identity for entry in listed if entry.method == "PUT")
    return [
        replace(one, parcels=tuple(replace(each, shared=_shared(read[each.digest], updating)) for each in one.parcels))
        for one in made
    ]


def _shared(listed: tuple[Entry, ...], updating: Counter[Identity]) -> tuple[int, ...]:
    return tuple(entry.index for entry in listed if entry.method == "POST" and updating[entry.identity])
