"""Each thing in a folder that is not read as a record and could be one is named."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from lda_notes.cli import group
from lda_notes.pipeline import passed_over

DEMO = Path(__file__).parent.parent / "demo_episodes" / "uncomplicated-week.yaml"
ASOF = "2026-05-08T07:00-05:00"


@pytest.fixture
def ward(tmp_path: Path) -> Path:
    shutil.copy(DEMO, tmp_path / "week.yaml")
    return tmp_path


def put(ward: Path, name: str) -> None:
    if name == "gone.yaml":
        (ward / name).symlink_to(ward / "nowhere.yaml")
    elif name.endswith("/"):
        (ward / name).mkdir()
        shutil.copy(DEMO, ward / name / "inner.yaml")
    else:
        shutil.copy(DEMO, ward / name)


@pytest.mark.parametrize(
    ("name", "why", "lost"),
    [
        ("gone.yaml", "is a link to a file that is not there", True),
        ("bed-3.yaml/", "is a folder named like a record", True),
        ("old/", "is a folder with 1 record", False),
        ("week.yaml~", "editor's copy", False),
        (".week.yaml.swp", "editor's copy", False),
        ("week.txt", "another ending", False),
        ("rows.ndjson.gz", "records in rows", False),
        ("LDA_Policy.yaml", "read only as lda-policy.yaml", False),
        ("lda-policy.yml", "read only as lda-policy.yaml", False),
    ],
)
def test_it_is_named_by_handoff_check_and_days(ward: Path, name: str, why: str, lost: bool) -> None:
    put(ward, name)
    (found,) = passed_over((ward,))
    assert why in found.why
    assert found.lost is lost
    run = CliRunner().invoke(group, ["handoff", str(ward), "--asof", ASOF])
    assert name.strip("/") in re.sub(r"[\s!]+", "", run.stdout)
    assert "Quillfeather" in run.stdout, "the others are handed over"
    assert run.exit_code == (2 if lost else 0), run.output
    run = CliRunner().invoke(group, ["check", str(ward), "--asof", ASOF])
    assert name.strip("/") in f"{run.stderr} {run.exception}", run.output
    run = CliRunner().invoke(group, ["days", str(ward), "--from", "2026-05-04", "--to", "2026-05-06", "--asof", ASOF])
    assert name.strip("/") in f"{run.stderr} {run.exception}", run.output


def test_nothing_else_is_named(ward: Path) -> None:
    (ward / "notes").mkdir()
    (ward / "notes" / "week.txt").write_text("Implanted port note")
    (ward / "round.docx").write_bytes(b"PK")
    (ward / "lda-policy.yaml").write_text("limits: {}")
    assert list(passed_over((ward,))) == []
