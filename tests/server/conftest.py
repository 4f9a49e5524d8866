from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
import run_server

sys.path.append(str(Path(__file__).resolve().parents[1] / "sending"))  # what stands in for servers that fail


@pytest.fixture(scope="session")
def fhir_server() -> Iterator[str]:
    """The base address of a FHIR R4 server: the one named in LDA_NOTES_TEST_SERVER, else one of our own."""
    named = os.environ.get("LDA_NOTES_TEST_SERVER")
    if named:
        yield named.rstrip("/")
        return
    with run_server.server() as base_url:
        yield base_url
