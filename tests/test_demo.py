"""The demo command and the demo episodes: clean, except the one that is bad on purpose."""

from __future__ import annotations

import json
import stat
from pathlib import Path

import pytest
from click.testing import CliRunner

from lda_notes.cli import group

DEMOS = sorted((Path(__file__).parents[1] / "demo_episodes").glob("*.yaml"))
ASOF = "2026-11-25T12:00-06:00"


def run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(group, arguments)
    return result.exit_code, result.output


def test_there_are_at_least_eight() -> None:
    assert len(DEMOS) >= 8


@pytest.mark.parametrize("demo", [d for d in DEMOS if d.stem != "deliberately-bad"], ids=lambda path: path.stem)
def test_demo_is_clean(demo: Path) -> None:
    code, output = run("check", str(demo), "--asof", ASOF, "--format", "json")
    assert code == 0
    assert json.loads(output[: output.rindex("}") + 1])["files"][0]["findings"] == []


def test_bad_demo_breaks_at_least_fifteen_rules() -> None:
    bad = next(d for d in DEMOS if d.stem == "deliberately-bad")
    code, output = run("check", str(bad), "--asof", ASOF, "--format", "json")
    assert code == 1
    findings = json.loads(output[: output.rindex("}") + 1])["files"][0]["findings"]
    assert len({finding["rule"] for finding in findings}) >= 15


def test_demo_copies_checks_and_writes(tmp_path: Path) -> None:
    target = tmp_path / "shown"
    code, output = run("demo", str(target), "--asof", ASOF)
    assert code == 0, output
    assert {p.name for p in target.glob("*.yaml")} == {d.name for d in DEMOS}
    notes = sorted((target / "notes").glob("*.txt"))
    assert [n.stem for n in notes] == [d.stem for d in DEMOS]
    assert all(stat.S_IMODE(n.stat().st_mode) == 0o600 for n in notes)
    assert output.count("clean") == len(DEMOS) - 1
    assert "DRAFT" in (target / "notes" / "deliberately-bad.txt").read_text()


def test_demo_leaves_changed_files_alone(tmp_path: Path) -> None:
    changed = tmp_path / "soiled-dressing.yaml"
    changed.write_text("mine\n")
    code, output = run("demo", str(tmp_path), "--asof", ASOF)
    assert code == 0, output
    assert changed.read_text() == "mine\n"
    assert "soiled-dressing.yaml" in output.split("left as they are:")[1]


def test_demo_says_what_is_in_the_way(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    result = CliRunner().invoke(group, ["demo", str(tmp_path / "file")])
    assert result.exit_code != 0
    assert "Traceback" not in result.output
