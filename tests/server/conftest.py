from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
import run_server

sys.path.append(str(Path(__file__).resolve().parents[1] / "sending"))  # what stands in for servers that fail


@pytest.fixture(scope="session")
def fhir_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The base address of a FHIR R4 server: the one named in LDA_NOTES_TEST_SERVER, else one of our own.

    Ours keeps resources in files: the many that the tests send would fill its memory, and it would hardly answer.
    """
    named = os.environ.get("LDA_NOTES_TEST_SERVER")
    if named:
        yield named.rstrip("/")
        return
    with run_server.server(data=tmp_path_factory.mktemp("fhir")) as base_url:
        yield base_url
