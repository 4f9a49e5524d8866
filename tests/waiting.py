"""Waits for what another process does, instead of for a time that a busy machine may need longer than."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path


def until(true: Callable[[], bool], limit_s: float = 120) -> None:
    """Wait until something is true. Raises AssertionError after ``limit_s`` seconds."""
    end = time.monotonic() + limit_s
    while not true():
        assert time.monotonic() < end, f"still not so after {limit_s} s"
        time.sleep(0.01)


def sleeps(pid: int) -> bool:
    """Tell whether a process waits for something, such as a key; a signal sent a little earlier could be missed."""
    return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] in ("S", "Z")
