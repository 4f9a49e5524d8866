"""Completion in the shells that people have: the scripts of the README, in real bash, zsh and fish."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from desk import INSTALLED as PROGRAM
from desk import demo_until, spawn

FOLDER = str(Path(PROGRAM).parent)
ENVIRONMENT = {
    **{key: value for key, value in os.environ.items() if key in ("LANG", "HOME")},
    "PATH": f"{FOLDER}:/usr/local/bin:/usr/bin:/bin",
    "TERM": "dumb",
}


def shell(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        pytest.fail(f"{name} is not installed; completion in it would go untested")
    return found


@pytest.fixture
def ward(tmp_path: Path) -> Path:
    (tmp_path / "episode.yaml").write_bytes(demo_until("access-2"))
    return tmp_path


def bash(ward: Path, *words: str) -> list[str]:
    """Return what bash offers for the last of ``words``."""
    script = (
        'eval "$(_LDA_NOTES_COMPLETE=bash_source lda-notes)"\n'
        f"COMP_WORDS=({' '.join(words)}); COMP_CWORD={len(words) - 1}\n"
        f"_lda_notes_completion lda-notes {words[-1]!r} {words[-2]!r}\n"
        'printf "%s\\n" "${COMPREPLY[@]}"\n'
    )
    ran = subprocess.run(
        [shell("bash"), "--norc", "-c", script], cwd=ward, env=ENVIRONMENT, capture_output=True, text=True, check=True
    )
    return ran.stdout.split()


def fish(ward: Path, line: str) -> list[str]:
    """Return what fish offers at the end of ``line``."""
    script = f"_LDA_NOTES_COMPLETE=fish_source lda-notes | source; complete -C {line!r}"
    ran = subprocess.run(
        [shell("fish"), "--no-config", "-c", script],
        cwd=ward,
        env={**ENVIRONMENT, "HOME": str(ward)},
        capture_output=True,
        text=True,
        check=True,
    )
    return [row.partition("\t")[0] for row in ran.stdout.splitlines()]


def zsh(ward: Path, typed: str) -> str:
    """Return what zsh makes of ``typed`` when Tab is pressed."""
    process = spawn(shell("zsh"), ["-f", "-i"], ward, {**ENVIRONMENT, "HOME": str(ward)})
    process.sendline(
        "PS1='ready> '; unsetopt zle_bracketed_paste; autoload -Uz compinit; compinit -u; echo up-and-run''ning"
    )
    process.expect("up-and-running")
    process.sendline('eval "$(_LDA_NOTES_COMPLETE=zsh_source lda-notes)"; echo completed')
    process.expect("\r\ncompleted")
    process.send(f"{typed}\t")
    process.expect(re.escape(typed) + r"\S+")
    completed = process.after
    process.close(force=True)
    assert isinstance(completed, str)
    return completed.strip()


def test_bash(ward: Path) -> None:
    assert bash(ward, "lda-notes", "cha") == ["chart"]
    assert "--no-input" in bash(ward, "lda-notes", "chart", "--no")
    assert bash(ward, "lda-notes", "chart", "episode.yaml", "dea") == ["deaccess"]
    assert bash(ward, "lda-notes", "amend", "episode.yaml", "removal") == ["removal-1"]


def test_fish(ward: Path) -> None:
    assert fish(ward, "lda-notes cha") == ["chart"]
    assert "--no-input" in fish(ward, "lda-notes chart --no")
    assert fish(ward, "lda-notes chart episode.yaml dea") == ["deaccess"]
    assert fish(ward, "lda-notes amend episode.yaml removal") == ["removal-1"]


def test_zsh(ward: Path) -> None:
    assert zsh(ward, "lda-notes cha") == "lda-notes chart"
    assert zsh(ward, "lda-notes chart episode.yaml dea") == "lda-notes chart episode.yaml deaccess"
