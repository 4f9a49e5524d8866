"""The command itself: where it writes, what it refuses, and what it says."""

from __future__ import annotations

import os
import subprocess
import sys
from inspect import signature
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from note_reading import DEMOS

from lda_notes.commands.note import command
from lda_notes.files import output
from lda_notes.problems import Failure

WEEK = next(path for path in DEMOS if path.stem == "uncomplicated-week")
BAD = next(path for path in DEMOS if path.stem == "deliberately-bad")


def names_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def run(*arguments: object) -> Result:
    apart = {"mix_stderr": False} if "mix_stderr" in signature(CliRunner).parameters else {}  # as click 8.1 asks
    return CliRunner(**apart).invoke(command, [str(argument) for argument in arguments])


def test_text_goes_to_standard_output() -> None:
    found = run(WEEK, "--event", "access-1")
    assert found.exit_code == 0, found.output
    assert found.stdout.startswith("Implanted port note\n=====")
    assert found.stderr == ""
    assert max(map(len, found.stdout.split("\n"))) <= 80


def test_a_draft_says_so_beside_the_note() -> None:
    found = run(BAD, "--event", "access-1")
    assert found.exit_code == 0
    assert found.stderr == "DRAFT: facts are missing or findings are open; the note lists them.\n"


@pytest.mark.parametrize(
    ("name", "begins"), [("a.txt", b"Implanted"), ("a.md", b"# "), ("a.HTML", b"<!doctype"), ("a.docx", b"PK")]
)
def test_the_ending_decides_and_the_file_is_private(tmp_path: Path, name: str, begins: bytes) -> None:
    found = run(WEEK, "--out", tmp_path / name)
    assert found.exit_code == 0, found.output
    assert (tmp_path / name).read_bytes().startswith(begins)
    assert (tmp_path / name).stat().st_mode & 0o777 == 0o600
    assert names_in(tmp_path) == [name]
    assert found.stdout == ""


def test_a_folder_gets_a_name_without_the_patient(tmp_path: Path) -> None:
    assert run(WEEK, "--out", tmp_path, "--format", "docx").exit_code == 0
    assert names_in(tmp_path) == ["port-note.docx"]


def test_an_unknown_ending_is_refused(tmp_path: Path) -> None:
    found = run(WEEK, "--out", tmp_path / "note.odt")
    assert found.exit_code == 2
    assert "give --format as well" in found.stderr
    assert names_in(tmp_path) == []


def test_two_choices_at_once_are_refused() -> None:
    found = run(WEEK, "--last", "--all")
    assert found.exit_code == 2
    assert "Give only one of" in found.stderr


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--event", "acess-1"), "has no event acess-1; did you mean access-1?"),
        (("--event", "zzz"), "has no event zzz; give one that it has"),
        (("--since", "2090-01-01T00:00-06:00"), "has no event to write a note of since then"),
        (("--templates", "/nowhere"), "/nowhere: is not a folder"),
        (("--out", "/nowhere/note.txt"), "/nowhere/note.txt: the folder /nowhere does not exist"),
        (("--out", "/dev/null", "--format", "text"), "/dev/null: is not a regular file"),
    ],
)
def test_what_cannot_be_done_is_one_sentence(arguments: tuple[str, ...], says: str) -> None:
    found = run(WEEK, *arguments)
    assert isinstance(found.exception, Failure)
    assert says in str(found.exception)
    assert found.exception.code == 2


def test_a_record_that_holds_no_episode_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "x.yaml").write_text("just words")
    found = run(tmp_path / "x.yaml")
    assert isinstance(found.exception, Failure)
    assert str(found.exception).startswith("no note can be written: ")


def test_the_trace_is_printed_instead_of_the_note() -> None:
    found = run(WEEK, "--event", "access-1", "--trace")
    rows = found.stdout.split("\n")
    assert rows[0].startswith("4 May 2026, 16:20: implanted port accessed")
    assert rows[1] == f"    events[1].at  {WEEK}:{row_of(WEEK, 'at: 2026-05-04T16:20')}"


def row_of(file: Path, words: str) -> str:
    for number, row in enumerate(file.read_text().split("\n"), 1):
        if words in row:
            return f"{number}:{row.index(':') + 3}"
    raise AssertionError(words)


def test_a_template_of_ones_own_replaces_ours(tmp_path: Path) -> None:
    (tmp_path / "access.jinja").write_text(
        "{% paragraph %}{% sentence %}Ours: {{ event['needle']['gauge'] }} gauge.{% endsentence %}{% endparagraph %}"
    )
    found = run(WEEK, "--event", "access-1", "--templates", tmp_path)
    assert "Ours: 20 gauge." in found.stdout
    assert run(WEEK, "--event", "check-1", "--templates", tmp_path).exit_code == 0


def test_docx_is_not_thrown_at_a_terminal() -> None:
    import pty

    main, other = pty.openpty()
    run_ = subprocess.run(
        [sys.executable, "-m", "lda_notes", "note", str(WEEK), "--format", "docx"],
        stdout=other,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    os.close(other)
    os.close(main)
    assert run_.returncode == 2
    assert "cannot be shown on a terminal; give --out" in run_.stderr


def test_docx_flows_through_a_pipe() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "lda_notes", "note", str(WEEK), "--format", "docx"], capture_output=True, check=False
    )
    assert done.returncode == 0
    assert done.stdout.startswith(b"PK")


def test_text_loads_no_docx() -> None:
    probe = (
        "import sys\nfrom lda_notes.cli import main\n"
        f"sys.argv = ['lda-notes', 'note', {str(WEEK)!r}]\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "print(sorted({n.partition('.')[0] for n in sys.modules} & {'docx', 'lxml', 'httpx', 'fhir', 'jinja2'}))"
    )
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    assert done.stdout.rstrip().endswith("['jinja2']")


# -- writing --


def test_writing_replaces_whole_and_leaves_nothing_beside(tmp_path: Path) -> None:
    target = tmp_path / "x"
    target.write_text("old")
    target.chmod(0o644)
    output.write_private(target, b"new")
    assert target.read_bytes() == b"new"
    assert target.stat().st_mode & 0o777 == 0o600
    assert names_in(tmp_path) == ["x"]


def test_a_write_that_fails_leaves_the_old_and_nothing_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "x"
    target.write_text("old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(Failure, match=r"cannot be written \(No space left on device\)"):
        output.write_private(target, b"new")
    assert target.read_text() == "old"
    assert names_in(tmp_path) == ["x"]


def test_a_write_that_is_stopped_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "replace", stop)
    with pytest.raises(KeyboardInterrupt):
        output.write_private(tmp_path / "x", b"new")
    assert names_in(tmp_path) == []


def test_links_and_folders_are_not_written_through(tmp_path: Path) -> None:
    (tmp_path / "real").write_text("old")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with pytest.raises(Failure, match="is a link"):
        output.write_private(tmp_path / "link", b"new")
    with pytest.raises(Failure, match="is not a regular file"):
        output.write_private(tmp_path, b"new")
    assert (tmp_path / "real").read_text() == "old"
