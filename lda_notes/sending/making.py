"""From records and bundle files to parcels: what may leave, and why the rest may not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from lda_notes.check import report
from lda_notes.check.judged import Judged
from lda_notes.fhir.build.naming import port_identities
from lda_notes.fhir.build.papers import DESPITE
from lda_notes.fhir.config import DEFAULT, Config
from lda_notes.fhir.elements import to_json_bytes
from lda_notes.fhir.verify.faults import BundleFault
from lda_notes.fhir.verify.verification import read_json, verify
from lda_notes.files.system import contents
from lda_notes.pipeline import Bundled
from lda_notes.problems import STOPPING, Finding
from lda_notes.sending.entries import Entry, Identity, Json, NotSafe, entries, events, line_of
from lda_notes.sending.parcel import Parcel

Make = Callable[[Judged], Iterable[Bundled]]
"""Makes the bundles of a record; a reason to send it despite findings is already in them."""


@dataclass(frozen=True, slots=True)
class Made:
    """The parcels of one file, and what speaks against sending them.

    ``judged`` is the record, None for a bundle file; ``lines`` are the identities that its port has, or would have had
    under each further record number of the patient. ``faults`` are of its bundles, each with the entry of the record.
    ``broken`` says why nothing of the file can be sent, whatever reason is given: then there are no parcels.
    """

    file: str
    parcels: tuple[Parcel, ...] = ()
    judged: Judged | None = None
    lines: tuple[str, ...] = ()
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


def from_record(judged: Judged, make: Make, config: Config = DEFAULT) -> Made:
    """Return the parcels of a record, one for each event."""
    record = judged.record
    if judged.timeline is None:
        return Made(record.file, judged=judged, broken="it contains no record that can be read")
    episode = judged.timeline.episode
    lines = tuple(port_identities(episode, config))
    parcels, faults = [], []
    for one in make(judged):
        about = f"{episode.id}/{one.made.event}"
        faults += [(about, fault) for fault in one.faults]
        rows = tuple(record.place(path).row for path in one.made.paths)
        parcels.append(Parcel(to_json_bytes(one.made.bundle), lines[0], about, record.file, rows))
    return _finished(Made(record.file, tuple(parcels), judged, lines, tuple(faults)))


def is_bundle(path: Path) -> bool:
    """Return whether a file is a FHIR bundle and not a record: its first bytes tell."""
    if path.suffix.lower() not in (".json", ".ndjson"):
        return False
    try:
        return b'"resourceType"' in contents(path, 4096)
    except OSError:
        return False


def from_bundle(name: str, data: bytes, despite: str | None, row: int = 1) -> Made:
    """Return the parcel of a bundle that begins in ``row`` of a file; ``despite`` is added to its Provenances."""
    bundle, faults = read_json(data, row)
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
    return _finished(Made(name, (Parcel(written, line_of(bundle), about, name),), faults=found))


def _about(bundle: dict[str, Any]) -> str | None:
    """Return the entry of the record that a bundle is about, when it is one."""
    named = set(events(bundle).values())
    return named.pop() if len(named) == 1 else None


def with_reason(bundle: dict[str, Any], despite: str) -> dict[str, Any] | None:
    """Return the bundle with a reason in each Provenance; None when it has none."""
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


def documents_alone(made: Iterable[Made]) -> list[Made]:
    """Return the same files with the notes of their bundles and nothing else, for servers that take no more."""
    return [
        _finished(replace(one, parcels=tuple(found for each in one.parcels if (found := _documents(each)) is not None)))
        for one in made
    ]


def _documents(parcel: Parcel) -> Parcel | None:
    bundle, _ = read_json(parcel.bundle)
    kept = [
        (index, entry)
        for index, entry in enumerate(bundle["entry"])
        if entry["resource"]["resourceType"] == "DocumentReference"
    ]
    if not kept:
        return None
    here = {entry["fullUrl"] for _, entry in kept}
    away = {one.full_url: one.identity for one in entries(bundle) if one.full_url not in here}
    alone = {**bundle, "entry": [_by_identity(entry, away) for _, entry in kept]}
    rows = tuple(parcel.row(index) or 0 for index, _ in kept)
    return replace(parcel, bundle=to_json_bytes(alone), rows=rows)


def _by_identity(value: Any, away: Mapping[str, Identity]) -> Any:
    """Return a value with references to what is not sent turned into references by identity."""
    if isinstance(value, dict):
        gone = away.get(str(value.get("reference")))
        if gone is not None:
            kept: Json = {key: stored for key, stored in value.items() if key != "reference"}
            return {"type": gone.kind, "identifier": {"system": gone.system, "value": gone.value}, **kept}
        return {key: _by_identity(stored, away) for key, stored in value.items()}
    return [_by_identity(one, away) for one in value] if isinstance(value, list) else value


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
