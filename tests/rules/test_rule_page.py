"""The published page of rules is the table, not a memory of it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
import rule_page

from lda_notes.check import rule_table


def test_the_page_is_not_stale() -> None:
    done = subprocess.run([sys.executable, rule_page.__file__, "--check"], capture_output=True, text=True)
    assert (done.stderr, done.returncode) == ("", 0)


def test_every_rule_stands_on_the_page_with_its_example() -> None:
    page = rule_page.PAGE.read_text()
    for name in rule_table.load():
        section = page.split(f"\n### {name}\n", 1)[1].split("\n### ", 1)[0]
        assert f"# expect: {name}" in section or f", {name}" in section, name


def test_a_stale_page_is_told_and_written_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(rule_page, "ROOT", tmp_path)
    monkeypatch.setattr(rule_page, "PAGE", tmp_path / "RULES.md")
    assert rule_page.main(["--check"]) == 1
    assert "is stale" in capsys.readouterr().err
    assert rule_page.main(["--write"]) == 0
    assert rule_page.main(["--check"]) == 0
    (tmp_path / "RULES.md").write_text("old")
    assert rule_page.main(["--check"]) == 1
    assert rule_page.main([]) == 2
