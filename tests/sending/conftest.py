from __future__ import annotations

from collections.abc import Iterator

import pytest
from fake_fhir import FakeFhir
from loopback import serving
from stand_ins import Connect, Waits

from lda_notes.sending.address import Address, address
from lda_notes.sending.auth import Bearer, Credentials
from lda_notes.sending.client import Server
from lda_notes.sending.wire import Connection


@pytest.fixture
def waits() -> Waits:
    return Waits()


@pytest.fixture
def connect(waits: Waits) -> Iterator[Connect]:
    """Makes a client of a server at an address; closed at the end of the test."""
    opened: list[Connection] = []

    def made(base_url: str, credentials: Credentials | None = None, timeout_s: float = 5.0, tries: int = 4) -> Server:
        where: Address = address(base_url)
        pace = waits.pace(tries)
        connection = Connection(where, timeout_s=timeout_s, ca_file=None)
        opened.append(connection)
        return Server(connection, where, credentials or Bearer(None), pace)

    yield made
    for connection in opened:
        connection.__exit__()


@pytest.fixture
def fake() -> Iterator[tuple[FakeFhir, str]]:
    """An empty FHIR server in memory, and its address."""
    server = FakeFhir()
    with serving(server) as here:
        yield server, f"{here.base_url}/fhir"
