"""Freezes what the program prints and writes for every demo and case, so that a change of structure can be compared.

``python -m tests.frozen DIR`` writes one file per document under DIR; run it before and after a change and compare the
two folders with ``diff -r``. A difference is meant and named in the commit, or it is a fault.
"""

from __future__ import annotations

import json
import os
import sys
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from click.testing import CliRunner

TESTS = Path(__file__).parent
DEMOS = sorted((TESTS.parent / "demo_episodes").glob("*.yaml"))
sys.path.insert(0, str(TESTS / "rules"))

from rule_cases import case_paths, complete, read_yaml  # noqa: E402

from lda_notes.cli import group  # noqa: E402


def moment_after(data: dict[str, Any]) -> str:
    """Return the moment judged from: an hour after the last event or entry that can be read."""
    moments = []
    for event in data.get("events") or []:
        for key in ("at", "charted_at"):
            try:
                moments.append(datetime.fromisoformat(str(event.get(key))))
            except ValueError:
                continue
    last = max((m for m in moments if m.tzinfo), default=datetime.fromisoformat("2031-04-01T00:00-05:00"))
    return (last + timedelta(hours=1)).isoformat()


def subjects(records: Path) -> list[tuple[str, Path, str]]:
    """Return (name, file, asof) of every demo and case; cases are completed and written to ``records``."""
    found = []
    for path in DEMOS:
        data = read_yaml(path.read_bytes()).data
        assert data is not None
        found.append((path.stem, path, moment_after(data)))
    for path in case_paths():
        data = read_yaml(path.read_bytes()).data
        assert data is not None
        whole = complete(data)
        target = records / f"{path.stem}.json"
        target.write_text(json.dumps(whole, indent=1))
        found.append((f"case.{path.stem}", target, moment_after(whole)))
    assert len(found) > 500, "demos and cases were found"
    return found


def documents(path: Path, asof: str) -> list[tuple[str, list[str]]]:
    """Return the documents of one record: (name, arguments)."""
    day = asof[:10]
    at = ["--asof", asof]
    return [
        ("check.txt", ["check", str(path), *at]),
        ("check.json", ["check", str(path), "--format", "json", *at]),
        ("note.txt", ["note", str(path), "--all", "--width", "80", *at]),
        ("handoff.txt", ["handoff", str(path), *at]),
        ("handoff.json", ["handoff", str(path), "--format", "json", *at]),
        ("worksheet-access.txt", ["worksheet", str(path), "--for", "access", *at]),
        ("worksheet-deaccess.txt", ["worksheet", str(path), "--for", "deaccess", *at]),
        ("worksheet-dressing.txt", ["worksheet", str(path), "--for", "dressing", *at]),
        ("amounts.txt", ["amounts", str(path), *at]),
        ("days.csv", ["days", str(path), "--from", f"{day[:8]}01", "--to", day, *at]),
        ("bundle.ndjson", ["bundle", str(path), *at]),
    ]


def main() -> None:
    """Write every document under the folder named on the command row."""
    os.environ["SOURCE_DATE_EPOCH"] = "1900000000"  # sheets name when they were printed
    out = Path(sys.argv[1])
    records = out / "records"
    records.mkdir(parents=True)
    for name, path, asof in subjects(records):
        folder = out / name
        folder.mkdir()
        for document, arguments in documents(path, asof):
            run = CliRunner().invoke(group, arguments, terminal_width=80, catch_exceptions=True)
            text = f"exit {run.exit_code}\n{run.output}"
            if run.exception is not None and not isinstance(run.exception, SystemExit):
                text += f"\nexception {type(run.exception).__name__}"
            text = text.replace(str(records), "records").replace(str(TESTS.parent), "checkout")
            (folder / document).write_text(text)


if __name__ == "__main__":
    main()
