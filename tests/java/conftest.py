from __future__ import annotations

from collections.abc import Iterator

import pytest
from validator import JavaValidator


@pytest.fixture(scope="session")
def java_validator() -> Iterator[JavaValidator]:
    """One validator process for all tests of a session; its start takes some seconds."""
    with JavaValidator() as validator:
        yield validator
