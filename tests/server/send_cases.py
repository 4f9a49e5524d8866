"""What the contract tests of sending share: records of their own identities, and what a server has of them."""

from __future__ import annotations

import json
import re
import uuid
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import httpx

from lda_notes import pipeline
from lda_notes.fhir.build.bundle import Options
from lda_notes.fhir.build.notes import note_writer
from lda_notes.fhir.config import Config, Systems
from lda_notes.fhir.searches import everything
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.record import reading as records
from lda_notes.sending.address import address
from lda_notes.sending.auth import Bearer, Credentials
from lda_notes.sending.client import Server
from lda_notes.sending.entries import Identity, entries
from lda_notes.sending.making import Made, from_record, sharing
from lda_notes.sending.pace import Pace
from lda_notes.sending.parcel import Parcel
from lda_notes.sending.wire import Connection

Json = dict[str, Any]

DEMOS = sorted((Path(__file__).resolve().parents[2] / "demo_episodes").glob("*.yaml"))
NAMES = [path.stem for path in DEMOS]
LATER = datetime(2035, 1, 1, tzinfo=UTC)
FHIR = {"Content-Type": "application/fhir+json", "Cache-Control": "no-cache"}


def demo(name: str) -> str:
    return next(path for path in DEMOS if path.stem == name).read_text()


def configured(tag: str) -> Config:
    base = f"https://{tag}.example/ids"
    names = Systems.model_fields
    return Config(
        systems=Systems(**{name: f"{base}/{name}" for name in names}),
        extensions=f"https://{tag}.example/extensions",
        codes=f"https://{tag}.example/codes",
    )


@dataclass
class Case:
    """A demo under identities that no other test uses, so that the server may have anything else.

    All that differs between two cases of one demo is made of the tag: the test server judges it once.
    """

    text: str
    tag: str = field(default_factory=lambda: f"t{uuid.uuid4().hex}")
    with_context: bool = True
    config: Config = field(init=False)

    def __post_init__(self) -> None:
        self.config = configured(self.tag)
        self.text = self.text.replace("https://lantern-bay.example/", f"https://{self.tag}.example/")

    def judged(self, text: str | None = None) -> pipeline.Judged:
        return pipeline.judge(records.read_bytes((text or self.text).encode(), "demo.yaml"), DEFAULT, LATER)

    def made(self, text: str | None = None) -> Made:
        options = Options(with_context=self.with_context, notes=note_writer(DEFAULT))

        def make(judged: pipeline.Judged) -> Iterator[pipeline.Bundled]:
            return pipeline.bundled(judged.record, DEFAULT, self.config, options, judged.timeline)

        [made] = sharing([from_record(self.judged(text), make, self.config)])
        assert made.broken is None
        assert made.faults == ()
        return made

    def parcels(self, text: str | None = None) -> tuple[Parcel, ...]:
        return self.made(text).parcels

    def files(self, folder: Path) -> tuple[Path, Path]:
        """The record and the configuration as files."""
        record, config = folder / f"{self.tag}.yaml", folder / f"{self.tag}-config.json"
        record.write_text(self.text)
        config.write_text(json.dumps({"config_version": 1, **self.config.model_dump(mode="json")}))
        return record, config


def value_of(parcel: Parcel) -> Json:
    """The bundle of a parcel, with every number as the text that it is written with."""
    made: Json = json.loads(parcel.bundle)
    return made


def identities(parcels: tuple[Parcel, ...]) -> dict[Identity, str]:
    """Every identity of some parcels, with its ``fullUrl``."""
    return {entry.identity: entry.full_url for parcel in parcels for entry in entries(value_of(parcel))}


@contextmanager
def client(
    base_url: str, credentials: Credentials | None = None, timeout_s: float = 60.0, **pace: Any
) -> Iterator[Server]:
    """A client of a server; ``pace`` changes how long it waits and how often it tries."""
    where = address(base_url)
    made = Pace(**pace)
    with Connection(where, timeout_s=timeout_s, ca_file=None) as connection:
        yield Server(connection, where, credentials or Bearer(None), made)


def held(server: Server, parcels: tuple[Parcel, ...]) -> dict[Identity, list[Json]]:
    return server.find(identities(parcels))


def stored(server: Server, parcels: tuple[Parcel, ...]) -> dict[Identity, Json]:
    """Every resource of some parcels as the server has it; each must be there, and once."""
    found = held(server, parcels)
    assert {identity: len(some) for identity, some in found.items() if len(some) != 1} == {}
    return {identity: some[0] for identity, some in found.items()}


def versions(server: Server, parcels: tuple[Parcel, ...]) -> dict[Identity, str]:
    return {identity: one["meta"]["versionId"] for identity, one in stored(server, parcels).items()}


def ids(server: Server, parcels: tuple[Parcel, ...]) -> dict[Identity, str]:
    return {identity: one["id"] for identity, one in stored(server, parcels).items()}


_PLAIN = httpx.Client(
    headers=FHIR, timeout=60, trust_env=False, verify=False, limits=httpx.Limits(max_keepalive_connections=0)
)
"""Made once: certificates that plain HTTP does not ask for are read with every client."""


def raw(base_url: str, path: str) -> str:
    """What a server answers, byte by byte as text."""
    answer = _PLAIN.get(f"{base_url}/{path}")
    assert answer.status_code == 200, answer.text
    return answer.text


def read(base_url: str, ids: Iterable[tuple[str, str]]) -> dict[tuple[str, str], Json]:
    """What a server has under each kind and id, every number as it is written; all of a kind in one request."""
    kinds: dict[str, list[str]] = {}
    for kind, number in ids:
        kinds.setdefault(kind, []).append(number)
    found = {}
    for kind, numbers in kinds.items():
        page = json.loads(raw(base_url, f"{kind}?_id={','.join(numbers)}&_count=500"), parse_float=str, parse_int=str)
        found |= {(kind, entry["resource"]["id"]): entry["resource"] for entry in page["entry"]}
    return found


def found_for(base_url: str, case: Case) -> Json:
    """What the one search finds for a patient, whatever made it, by plain HTTP: with the Provenances of it."""
    line = case.judged().timeline
    assert line is not None
    number = line.episode.patient.identifiers[0]
    query = urlencode([*everything(number.system, number.value), ("_count", "1000")])
    found: Json = json.loads(raw(base_url, f"Patient?{query}"), parse_float=Decimal)
    assert not any(link["relation"] == "next" for link in found.get("link", ()))
    return found


def resources(page: Json) -> dict[str, Json]:
    """Every resource of a page, by address."""
    return {
        f"{entry['resource']['resourceType']}/{entry['resource']['id']}": entry["resource"]
        for entry in page.get("entry", ())
    }


def without_event(text: str, event: str) -> str:
    """A record without one of its events."""
    parts = re.split(r"(?m)^(?=  - id: )", text)
    kept = [part for part in parts if not part.startswith(f"  - id: {event}\n")]
    assert len(kept) == len(parts) - 1
    return "".join(kept)


Change = Callable[[Json], object]
