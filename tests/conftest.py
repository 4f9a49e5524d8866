"""Stands here so that every test folder can import what is shared from this one, such as ``made_records``."""

from __future__ import annotations

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    """Golden files are rewritten only when asked for."""
    parser.addoption("--update-golden", action="store_true", help="Write the golden files anew instead of comparing.")
