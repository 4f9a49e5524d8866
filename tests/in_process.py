"""The program as typed, in this very process: what a command says and how it ends, without the cost of a start.

A process of its own is for what only a process has: signals, limits, closed streams, what is loaded.
"""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from unittest.mock import patch

from lda_notes.cli import main

OWN = ("LDA_NOTES_", "XDG_STATE_HOME")


def call(
    *arguments: object, stdin: bytes = b"", env: Mapping[str, str] | None = None, cwd: Path | None = None
) -> subprocess.CompletedProcess[bytes]:
    """Run one command; of the environment, what is meant for the program is taken out first, then ``env`` put in."""
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", "surrogateescape", write_through=True) for _ in range(2))
    typed = [str(argument) for argument in arguments]
    kept = {name: value for name, value in os.environ.items() if not name.startswith(OWN)}
    code: object = None
    with (
        patch.dict(os.environ, {**kept, **(env or {})}, clear=True),
        patch("gc.freeze"),  # this process does not end with the command: its garbage is looked for later
        patch.object(sys, "argv", ["lda-notes", *typed]),
        patch.object(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin), "utf-8", "surrogateescape")),
        contextlib.chdir(cwd or Path.cwd()),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as left:
            code = left.code
    assert isinstance(code, int), "the program always ends with a code"
    said = [stream.buffer.getvalue() for stream in (out, err)]  # type: ignore[attr-defined]  # the kind is known here
    return subprocess.CompletedProcess(typed, code, *said)
