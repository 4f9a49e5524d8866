"""The examples of README.md, run: what they print is what the page shows.

``python tests/house/readme.py`` writes the page anew; a test compares. In a console block a row that begins with
``$ `` is run by a shell in an empty folder, the rows after it are its output; ``[...]`` stands for rows left out.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

README = Path(__file__).parents[2] / "README.md"
_BLOCK = re.compile(r"(?<=```console\n).*?(?=```)", re.DOTALL)
LEFT_OUT = "[...]"
PRINTED = "1778241720"
"""When sheets are printed: 8 May 2026, 07:02 in Chicago."""
KEPT: dict[str, tuple[int, int]] = {
    "lda-notes handoff": (64, 0),
    "lda-notes demo": (12, 0),
}
"""Rows kept at the beginning and at the end of outputs too long for the page, by the beginning of the command."""


def commands(block: str) -> list[str]:
    """Return the commands of a block."""
    return [row[2:] for row in block.splitlines() if row.startswith("$ ")]


def shown(command: str, output: str) -> str:
    """Return an output as the page shows it."""
    rows = output.rstrip("\n").split("\n") if output.strip() else []
    for begins, (first, last) in KEPT.items():
        if command.startswith(begins) and len(rows) > first + last + 1:
            rows = [*rows[:first], LEFT_OUT, *(rows[-last:] if last else [])]
            break
    return "".join(f"{row}\n" for row in rows)


def filled(page: str) -> str:
    """Return the page with every console block as it comes out now."""
    with tempfile.TemporaryDirectory() as folder:

        def fill(match: re.Match[str]) -> str:
            return "".join(f"$ {c}\n{shown(c, _run(c, folder))}" for c in commands(match.group()))

        return _BLOCK.sub(fill, page)


def _run(command: str, folder: str) -> str:
    keep = {name: os.environ[name] for name in ("LANG", "LC_ALL") if name in os.environ}
    path = f"{Path(sys.executable).parent}:/usr/bin:/bin"
    ran = subprocess.run(
        ["sh", "-c", command],
        cwd=folder,
        env={**keep, "PATH": path, "HOME": folder, "COLUMNS": "80", "SOURCE_DATE_EPOCH": PRINTED},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        timeout=120,
        check=False,
    )
    assert "Traceback" not in ran.stdout, ran.stdout
    return ran.stdout


if __name__ == "__main__":
    README.write_text(filled(README.read_text()))
