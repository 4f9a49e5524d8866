"""A command run in this very process, as the shell would run it."""

from __future__ import annotations

import io
import sys
from datetime import datetime
from pathlib import Path

import pytest
from desk import NURSE, Ran, Run, demo_until

from lda_notes.cli import main
from lda_notes.commands import charting_options


@pytest.fixture
def ward(tmp_path: Path) -> Path:
    """A folder with the demo as it stood after a needle was taken out."""
    (tmp_path / "episode.yaml").write_bytes(demo_until("access-2"))
    return tmp_path


@pytest.fixture
def run(ward: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    monkeypatch.chdir(ward)
    monkeypatch.setenv("XDG_STATE_HOME", str(ward / "state"))
    monkeypatch.setenv("HOME", str(ward))
    monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)
    monkeypatch.setenv("LDA_NOTES_BY", NURSE)
    monkeypatch.delenv("LDA_NOTES_POLICY", raising=False)

    def run_it(*arguments: str, typed: str = "") -> Ran:
        monkeypatch.setattr(sys, "argv", ["lda-notes", *arguments])
        if "--asof" in arguments:  # the clock of this machine says so
            moment = datetime.fromisoformat(arguments[arguments.index("--asof") + 1])
            monkeypatch.setattr(charting_options, "wall_clock", lambda: moment)
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(typed.encode()), encoding="utf-8"))
        with pytest.raises(SystemExit) as left:
            main()
        said = capsys.readouterr()
        assert isinstance(left.value.code, int)
        return Ran(left.value.code, said.out, said.err)

    return run_it
