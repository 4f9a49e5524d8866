"""The core works without what only Unix has. It is no Windows: paths, file sharing and the console are not tried."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

TESTS = Path(__file__).parents[1]
DEMOS = TESTS.parent / "demo_episodes"
CORE = (
    "test_check_command.py",
    "test_demo.py",
    "note/test_note_command.py",
    "chart/test_amend.py",
    "chart/test_drafts.py",
)


def test_the_core_of_the_suite_passes(tmp_path: Path) -> None:
    done = subprocess.run(
        [
            *(sys.executable, "-m", "pytest", "-p", "without_unix", "-p", "no:cacheprovider", "-p", "no:xdist"),
            f"--basetemp={tmp_path / 'base'}",  # pytest's own choice of a folder asks for the user
            "--deselect=tests/note/test_note_command.py::test_docx_is_not_thrown_at_a_terminal",  # makes a terminal
            *(str(TESTS / f) for f in CORE),
        ],
        capture_output=True,
        text=True,
        check=False,
        cwd=TESTS.parent,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parent)},
    )
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]
    assert " passed" in done.stdout


COMMANDS = {
    "check": ("check", "{r}", "--out", "{o}/found.txt"),
    "note": ("note", "{r}", "--out", "{o}/note.docx"),
    "handoff": ("handoff", "{r}", "--asof", "2026-05-08T07:00-05:00", "--out", "{o}/handoff.html"),
    "worksheet": ("worksheet", "{r}", "--for", "access", "--out", "{o}/worksheet.md"),
    "days": ("days", "{r}", "--from", "2026-05-01", "--to", "2026-05-31"),
    "amounts": ("amounts", "{r}"),
    "bundle": ("bundle", "{r}", "--out", "{o}/bundles.ndjson"),
    "verify": ("verify", "{o}/bundles.ndjson"),
    "readback": ("readback", "{o}/bundles.ndjson", "--out", "{o}/back.yaml"),
    "send": ("send", "{r}", "--outbox", "{o}/outbox"),
    "send again": ("send", "{r}", "--outbox", "{o}/outbox"),
    "policy": ("policy",),
    "rules": ("rules",),
    "schema": ("schema",),
    "demo": ("demo", "{o}/demo"),
    "amend": (
        "amend", "{w}", "access-1", "--as", "retraction", "--no-input", "--sign", "y", "--by", "Marisol Tamm, RN",
        "--set", "reason=charted for another patient",
    ),
}  # fmt: skip


WITHOUT = """
import json, sys
sys.path[:0] = sys.argv[1:3]
import without_unix
without_unix.take_away()
from in_process import call
for typed in json.load(sys.stdin):
    done = call(*typed)
    print(json.dumps([typed, done.returncode, done.stderr.decode()]))
"""


def test_every_command_runs(tmp_path: Path) -> None:
    """One after another in one process that has lost what only Unix has."""
    (tmp_path / "write.yaml").write_bytes((DEMOS / "uncomplicated-week.yaml").read_bytes())
    names = {"{r}": str(DEMOS / "uncomplicated-week.yaml"), "{o}": str(tmp_path), "{w}": str(tmp_path / "write.yaml")}
    typed = [
        [one if "{" not in one else one.replace(one[:3], names[one[:3]]) for one in arguments]
        for arguments in COMMANDS.values()
    ]
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT, str(Path(__file__).parent), str(TESTS)],
        input=json.dumps(typed), capture_output=True, text=True, check=False, cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    ran = [json.loads(row) for row in done.stdout.splitlines()]
    assert [words for words, _, _ in ran] == typed
    assert [(words, code, said) for words, code, said in ran if code not in (0, 1) or "Traceback" in said] == []
