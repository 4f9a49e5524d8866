"""What the tests of streams share: made rows with faults of every sort, and the command as typed."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from in_process import call

HERE = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(HERE))

from tests.benchmarks.episodes import row  # noqa: E402

ASOF = ("--asof", "2032-01-01T00:00Z")
BAD = {
    4: b"{",
    7: b'{"record_version": 1, "record_version": 1}',
    9: b"no json",
    11: b"[]",
    12: b'{"id": "\xff"}',
    13: b"\x1f\x8b\x08",
}
"""Rows that are no record, by their number."""


def made_rows(count: int) -> bytes:
    """Return rows of which some are bad, one is blank and the last has no end."""
    made = [BAD.get(number, row(number).rstrip()) for number in range(1, count + 1)]
    made[4] = b""
    return b"\n".join(made)


def run(*arguments: object, stdin: bytes = b"", code: int | None = None) -> subprocess.CompletedProcess[bytes]:
    """Run the program in this process; workers are processes of their own all the same."""
    done = call(*arguments, stdin=stdin, cwd=HERE)
    if code is not None:
        assert done.returncode == code, (done.returncode, done.stdout[:300], done.stderr.decode(errors="replace"))
    assert b"Traceback" not in done.stderr, done.stderr.decode()
    return done


def parsed(out: bytes) -> list[Any]:
    return [json.loads(one) for one in out.splitlines()]
