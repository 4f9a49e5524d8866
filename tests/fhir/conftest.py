from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[1] / "java"))
from make_oracles import Pyrofile
from validator import JavaValidator


@pytest.fixture(scope="session")
def java() -> Iterator[JavaValidator]:
    """One reference validator for the session; its start takes some seconds."""
    with JavaValidator() as validator:
        yield validator


@pytest.fixture(scope="session")
def pyrofile() -> Pyrofile:
    """One pyrofile for the session; it reads the core package for some seconds."""
    return Pyrofile()
