from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest
import run_server

sys.path.append(str(Path(__file__).resolve().parents[1] / "sending"))  # what stands in for servers that fail


class OwnServer:
    """A server of this session, which can be killed and started again at its address, on what it kept.

    It keeps resources in files: the many that the tests send would fill its memory, and it would hardly answer.
    """

    def __init__(self, data: Path) -> None:
        self.data: Final = data
        self.running = run_server.start(data=data)

    @property
    def base_url(self) -> str:
        return self.running.base_url

    def kill(self) -> None:
        self.running.kill()

    def start_again(self) -> None:
        port = int(self.base_url.split(":")[2].partition("/")[0])
        self.running = run_server.start(port=port, data=self.data, judged=True)


@pytest.fixture(scope="session")
def own_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OwnServer]:
    own = OwnServer(tmp_path_factory.mktemp("fhir"))
    yield own
    own.running.stop()
    assert own.running.process.returncode == 0, "ended in good order"


@pytest.fixture(scope="session")
def fhir_server(request: pytest.FixtureRequest) -> str:
    """The base address of a FHIR R4 server: the one named in LDA_NOTES_TEST_SERVER, else one of our own."""
    named = os.environ.get("LDA_NOTES_TEST_SERVER")
    if named:
        return named.rstrip("/")
    base_url: str = request.getfixturevalue("own_server").base_url
    return base_url
