"""Stands here so that every test folder can import what is shared from this one, such as ``made_records``."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

# In CI a generated case that fails must fail again for whoever looks; at a desk new cases are sought.
settings.register_profile("ci", derandomize=True, deadline=None)
if os.environ.get("CI"):
    settings.load_profile("ci")


def pytest_addoption(parser: pytest.Parser) -> None:
    """Golden files are rewritten only when asked for."""
    parser.addoption("--update-golden", action="store_true", help="Write the golden files anew instead of comparing.")
