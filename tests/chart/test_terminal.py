"""What reaches the terminal and what comes from it: hidden signs, long rows, poor locales, disks that are full."""

from __future__ import annotations

import json
import os
import resource
import subprocess
from pathlib import Path
from typing import Any

import pexpect
import pytest
from desk import NURSE, PROGRAM, Keyboard, Run, demo_until

from lda_notes.chart.terminal import drafts
from lda_notes.commands import console
from lda_notes.problems import Failure

NOON = "2026-05-07T12:00-05:00"
LOOK = "1150\na\ni\ny\n"


@pytest.fixture
def week(ward: Path) -> Path:
    """The demo in the middle of its first needle."""
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    return ward


def test_what_is_shown_holds_no_sign_that_moves_or_hides() -> None:
    assert console.plain("a\x1b[2Jb\x9b31m\u202ec\rd\n  \u00eb\t\u05d0") == "a[2Jb31mc d\n  \u00eb\t\u05d0"


def test_a_file_whose_name_holds_escapes_is_told_without_them(week: Path) -> None:
    name = "ep\x1b[31m\u202e.yaml"
    (week / "episode.yaml").rename(week / name)
    nurse = Keyboard(week, "chart", name, "check", asof=NOON)
    nurse.read()
    for text in LOOK.split():
        nurse.type(text)
    end = nurse.last("y")
    assert "check-6: written to ep[31m.yaml" in end and "\x1b" not in nurse.shown and "\u202e" not in nurse.shown


def test_an_author_with_hidden_signs_is_refused_before_the_first_question(run: Run, week: Path) -> None:
    ran = run("chart", "episode.yaml", "check", "--by", "Ev\x1b[2Jil, RN", "--asof", NOON)
    assert ran.code == 2 and "--by: contains a character that cannot be seen" in ran.err and "\x1b" not in ran.err


def test_a_row_that_the_terminal_cuts_off_is_not_taken(week: Path) -> None:
    nurse = Keyboard(week, "chart", "episode.yaml", "check", asof=NOON)
    nurse.read()
    for text in LOOK.split():
        nurse.type(text)
    nurse.type("+ remarks")
    nurse.process.send("\u00eb" * 3000)  # 6000 bytes: a terminal hands over 4095 of them
    assert "The terminal cuts off so long a row; nothing of it was taken." in nurse.type("")
    assert "Remarks: short." in nurse.type("short")
    nurse.last("y")
    assert nurse.code() == 0 and "\u00eb" not in (week / "episode.yaml").read_text("utf-8").split("check-6")[1]


def chart(folder: Path, typed: str, environment: dict[str, str] | None = None, **more: Any) -> Any:
    base = {
        "PATH": os.environ["PATH"],
        "HOME": str(folder / "state"),
        "XDG_STATE_HOME": str(folder / "state"),
        "LDA_NOTES_BY": NURSE,
    }
    command = [PROGRAM, "chart", "episode.yaml", "check", "--asof", NOON]
    return subprocess.run(
        command, cwd=folder, input=typed.encode(), capture_output=True, check=False, timeout=60,
        env={**base, **(environment or {})}, **more,
    )  # fmt: skip


@pytest.mark.parametrize(
    "environment",
    [
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
        {"LC_ALL": "C"},
        {"TERM": "", "COLUMNS": "20"},
        {"TERM": "dumb", "NO_COLOR": "1"},
    ],
)
def test_names_survive_a_poor_locale_and_a_poor_terminal(week: Path, environment: dict[str, str]) -> None:
    ended = chart(week, f"{LOOK}+ remarks\nZo\u00eb \u05e0\u05d5\u05e2\u05d4 saw it\ny\n", environment)
    assert ended.returncode == 0, ended.stderr
    assert "Zo\u00eb \u05e0\u05d5\u05e2\u05d4 saw it" in (week / "episode.yaml").read_text("utf-8")


def _short_of_room() -> None:
    resource.setrlimit(resource.RLIMIT_FSIZE, (4000, 4000))  # longer files fail as on a full disk


def test_a_disk_without_room_for_the_record_leaves_it_and_keeps_the_draft(week: Path) -> None:
    before = (week / "episode.yaml").read_bytes()
    assert len(before) > 4000
    ended = chart(week, f"{LOOK}y\n", preexec_fn=_short_of_room)
    said = ended.stderr.decode()
    assert ended.returncode == 2 and "cannot be written" in said and "Traceback" not in said
    assert said.rstrip().endswith("What you said is kept as a private draft; run it again to continue")
    assert (week / "episode.yaml").read_bytes() == before
    assert sorted(path.name for path in week.iterdir()) == ["episode.yaml", "state"]
    again = chart(week, "\ny\n")
    assert again.returncode == 0 and "A draft of this line check contains 4 answers" in again.stderr.decode()


def test_no_room_for_a_draft_is_told_once_and_the_entry_can_still_be_signed(
    run: Run, week: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any) -> None:
        raise Failure("draft.json: cannot be written (No space left on device)")

    monkeypatch.setattr(drafts, "save", full)
    ran = run("chart", "episode.yaml", "check", "--asof", NOON, typed=f"{LOOK}y\n")
    assert ran.code == 0 and ran.err.count("No draft can be kept") == 1 and "check-6: written" in ran.out


def test_a_folder_that_takes_nothing_is_told_before_the_first_question(
    run: Run, week: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path) != week.resolve())
    for command in (("chart", "episode.yaml", "check"), ("amend", "episode.yaml", "check-3"), ("new", "b.yaml")):
        ran = run(*command, "--asof", NOON)
        assert ran.code == 2 and "not have permission to write" in ran.err and "?" not in ran.err, command


def test_a_new_record_in_a_folder_that_is_not_there_is_told_at_once(run: Run) -> None:
    ran = run("new", "nowhere/b.yaml")
    assert ran.code == 2 and "is not a folder; create it first" in ran.err


def test_what_is_told_of_a_stop_is_true(run: Run, week: Path) -> None:
    ran = run("chart", "episode.yaml", "check", "--asof", NOON, typed="")
    assert ran.code == 130 and "draft" not in ran.err, "nothing was said, so nothing is kept"
    ran = run("chart", "episode.yaml", "check", "--asof", NOON, typed="1150\n")
    assert ran.code == 130 and "what you said is kept as a private draft" in ran.err


def test_a_stop_while_it_is_written_claims_nothing(run: Run, week: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from lda_notes.record import writer as append

    real = append.append

    def written_then_stopped(*arguments: Any) -> None:
        real(*arguments)
        raise KeyboardInterrupt

    monkeypatch.setattr(append, "append", written_then_stopped)
    ran = run("chart", "episode.yaml", "check", "--asof", NOON, typed=f"{LOOK}y\n")
    assert ran.code == 130 and "Nothing was written" not in ran.err and "the next run reports" in ran.err
    monkeypatch.setattr(append, "append", real)
    again = run("chart", "episode.yaml", "check", "--asof", NOON, typed="")
    assert "was signed and is in the record" in again.err


def test_nothing_of_the_patient_stands_in_names_or_in_the_process_list(week: Path) -> None:
    nurse = Keyboard(week, "chart", "episode.yaml", "check", asof=NOON)
    nurse.read()
    nurse.type("1150")
    title = Path(f"/proc/{nurse.process.pid}/cmdline").read_bytes()
    names = [str(path.relative_to(week)) for path in week.rglob("*")]
    draft = json.loads(next((week / "state").rglob("*.json")).read_bytes())
    nurse.process.sendeof()
    nurse.process.expect(pexpect.EOF)
    nurse.process.close()
    assert draft["answered"]
    for word in ("Quillfeather", "Odessa", "LB-000101"):
        assert word.encode() not in title and not any(word in name for name in names)
