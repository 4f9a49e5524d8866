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
        ("gone.yaml.lda-copy-1", "editor's copy", False),
        ("week.txt", "another extension", False),
        ("rows.ndjson.gz", "one record per row", True),
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


def test_check_reads_the_records_of_a_folder_and_names_the_rows_beside_them(ward: Path) -> None:
    rows = ward / "night.ndjson"
    rows.write_text("{}\n")
    run = CliRunner().invoke(group, ["check", str(ward), "--asof", ASOF])
    assert run.exit_code == 2
    assert "week.yaml" in run.stdout
    assert re.search(r"night\.ndjson: .* separate run", run.stderr)
    run = CliRunner().invoke(group, ["check", str(ward), str(rows), "--asof", ASOF])
    assert "two runs" in str(run.exception), "a file of rows that was asked for is never left out"


def test_nothing_else_is_named(ward: Path) -> None:
    (ward / "notes").mkdir()
    (ward / "notes" / "week.txt").write_text("Implanted port note")
    (ward / "round.docx").write_bytes(b"PK")
    (ward / "bundles.ndjson").write_text('{"resourceType": "Bundle"}\n')
    (ward / "lda-policy.yaml").write_text("limits: {}")
    shutil.copy(DEMO, ward / "week.yaml.lda-copy-1")  # kept by the program when an entry is signed
    assert list(passed_over((ward,))) == []


@pytest.mark.parametrize("fault", ["syntax", "too large", "dangling"])
@pytest.mark.parametrize("words", [("handoff",), ("worksheet", "--for", "check"), ("worksheet", "--due"), ("check",)])
def test_a_record_that_cannot_be_read_is_named_and_the_others_stay(
    ward: Path, fault: str, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    text = DEMO.read_text()
    if fault == "syntax":
        (ward / "other.yaml").write_text(text.replace("blood_return: present", "blood_return: [present", 1))
    elif fault == "dangling":
        (ward / "other.yaml").symlink_to(ward / "nowhere.yaml")
    else:
        monkeypatch.setattr("lda_notes.record.reading.MAX_BYTES", len(text) + 100)
        (ward / "other.yaml").write_text(text + "#" * 200)
    run = CliRunner().invoke(group, [words[0], str(ward), *words[1:], "--asof", ASOF])
    paper = re.sub(r"[\s!]+", "", run.stdout)
    assert "other.yaml" in (run.output if words[0] == "check" else paper)
    assert ("week.yaml" if words[0] == "check" else "Quillfeather") in paper, "the other is there"
    assert run.exit_code == 2, run.output
