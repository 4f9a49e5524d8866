"""The Provenances of ours: each is an entry of a record, and names the resources that carry what it says."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from lda_notes.fhir.build.naming import Names, event_role, record_role
from lda_notes.fhir.config import Config
from lda_notes.fhir.elements import Json
from lda_notes.fhir.readback.store import Store
from lda_notes.line.corrections import SAME_MINUTE
from lda_notes.record.events import KINDS

CORRECTIONS: Final = {"amendment": "sets", "addendum": "adds", "retraction": ""}
"""Kinds that correct another event, and the key under which they state what is so."""


@dataclass(frozen=True, slots=True)
class Source:
    """A Provenance of ours: the entry of the record that it is about."""

    provenance: Json
    port: str
    episode: str
    event: str
    kind: str
    of: str | None

    def name(self, names: Names, part: str) -> str:
        """Return the identity of a part of the entry."""
        return names.of(event_role(self.port, self.episode, self.event, part))

    def began(self, names: Names) -> str:
        """Return the identity of the List of what the record began with."""
        return names.of(record_role(self.port, self.episode, "began-with"))


def source_of(provenance: Json, config: Config) -> Source | None:
    """Read whose entry a Provenance is of; None when it is not one of ours."""
    named: tuple[str, str, str, str] | None = None
    of: str | None = None
    for entity in provenance.get("entity", ()):
        what = entity.get("what", {})
        identifier = what.get("identifier", {})
        if identifier.get("system") != config.systems.entry:
            continue
        port, _, rest = str(identifier.get("value")).partition("/")
        episode, _, event = rest.partition("/")
        if entity.get("role") == "revision":
            of = event
        else:
            named = port, episode, event, str(what.get("display"))
    return Source(provenance, *named, of) if named is not None and named[3] in KINDS else None


def targets(store: Store, provenance: Json) -> Iterator[str]:
    """Yield the identity of each target that is here, read or not."""
    for target in provenance.get("target", ()):
        name = store.name_at(target)
        if name is not None:
            yield name


def in_time(source: Source) -> tuple[datetime, int, str]:
    """Return when an entry happened, for sorting."""
    try:
        moment = datetime.fromisoformat(happened_at(source.provenance)).astimezone(UTC).replace(second=0, microsecond=0)
    except ValueError:
        moment = datetime.max.replace(tzinfo=UTC)
    return moment, SAME_MINUTE[source.kind], source.event


def happened_at(provenance: Json) -> str:
    """Return when the entry of a Provenance happened, as it is written."""
    occurred: Any = provenance.get("occurredDateTime") or provenance.get("occurredPeriod", {}).get("end")
    return str(occurred or provenance.get("recorded"))
