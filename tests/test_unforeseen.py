"""What nobody foresaw ends in one sentence; what is printed to a terminal is made visible; no code is changed."""

from __future__ import annotations

import ast
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pexpect
import pytest
from in_process import call

from lda_notes import cli
from lda_notes.commands.printing import visible

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "demo_episodes" / "uncomplicated-week.yaml"
PROGRAM = str(Path(sys.executable).with_name("lda-notes"))
PLANTED = (
    "import sys\nfrom lda_notes import pipeline\n"
    "def broken(*_): raise {error}\n"
    "pipeline.judge_all = broken\nfrom lda_notes.cli import main\n"
    "sys.argv = ['lda-notes', 'check', sys.argv[1]]\nmain()"
)


def run(*arguments: object, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [PROGRAM, *map(str, arguments)], capture_output=True, text=True, check=False, errors="surrogateescape",
        env={**os.environ, **environment},
    )  # fmt: skip


@pytest.mark.parametrize(
    ("error", "says"),
    [
        ("KeyError('Odessa Quillfeather')", "unexpected error KeyError at pipeline:"),
        ("MemoryError()", "there is not enough memory for this"),
        ("RecursionError()", "unexpected error RecursionError"),
    ],
)
def test_an_unforeseen_error_is_one_sentence_without_the_record(error: str, says: str) -> None:
    command = [sys.executable, "-c", PLANTED.format(error=error), str(DEMO)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 70 and done.stderr.count("\n") == 1
    assert done.stderr.startswith("lda-notes: ") and says in done.stderr
    assert "Traceback" not in done.stderr and "Quillfeather" not in done.stderr
    if "KeyError" in error:
        assert "LDA_NOTES_DEBUG=1" in done.stderr and "report this sentence" in done.stderr
    shown = subprocess.run(
        command, capture_output=True, text=True, check=False, env={**os.environ, "LDA_NOTES_DEBUG": "1"}
    )
    assert "Traceback" in shown.stderr


@pytest.mark.parametrize("moment", ["0001-01-01T00:00+00:00", "9999-12-31T23:59-12:00", "1849-12-31T23:59+00:00"])
@pytest.mark.parametrize("command", ["check", "note", "handoff", "amounts"])
def test_the_first_and_the_last_years_are_refused(command: str, moment: str) -> None:
    done = call(command, DEMO, "--asof", moment)
    assert done.returncode == 2 and b"1850 to 2199" in done.stderr


def test_names_that_are_no_text(tmp_path: Path) -> None:
    name = os.fsdecode(os.fsencode(str(tmp_path)) + b"/ep\xff\x1b[31m.yaml")
    Path(name).write_bytes(DEMO.read_bytes())
    for command in ("note", "handoff", "amounts", "bundle"):
        said = call(command, name)
        assert b"Traceback" not in said.stderr and b"unexpected" not in said.stderr, command
        assert said.returncode in (0, 1), command
    done = run("check", name)
    assert "Traceback" not in done.stderr and "unexpected" not in done.stderr and done.returncode in (0, 1)
    done = run("check", name, "--out", name)
    assert done.returncode == 2 and "is an input" in done.stderr and "\\xff" in done.stderr


@pytest.mark.parametrize("form", ["text", "md", "json"])
def test_a_broken_record_whose_name_is_no_text_stands_on_the_sheet_of_the_ward(tmp_path: Path, form: str) -> None:
    folder = os.fsencode(str(tmp_path))
    Path(os.fsdecode(folder + b"/a\xff.yaml")).write_bytes(DEMO.read_bytes())
    Path(os.fsdecode(folder + b"/bad\xff\x1b[31m.yaml")).write_bytes(b"[1")
    sheet = tmp_path / "sheet"
    said = call("handoff", tmp_path, "--format", form, "--out", sheet)
    assert said.returncode == 2 and b"unexpected" not in said.stderr
    made = sheet.read_bytes()
    assert b"bad\\xff\\x1b" in made.replace(b"\\\\", b"\\") and b"\x1b" not in made
    if form == "json":
        json.loads(made)


def test_files_that_are_no_policy(tmp_path: Path) -> None:
    for raw, says in ((b"", "is empty"), (b"  \n", "is empty"), (b"\x00\x01\x02", "is not text")):
        policy = tmp_path / "policy.yaml"
        policy.write_bytes(raw)
        done = call("policy", "--policy", policy)
        assert done.returncode == 2 and says.encode() in done.stderr and b"a record was expected" not in done.stderr


def test_without_a_home_folder(tmp_path: Path) -> None:
    from lda_notes.chart.terminal import drafts
    from lda_notes.problems import Failure

    assert drafts.folder({"XDG_STATE_HOME": str(tmp_path)}).is_relative_to(tmp_path)
    kept = Path.expanduser
    try:

        def homeless(_: Path) -> Path:
            raise RuntimeError("Could not determine home directory.")

        Path.expanduser = homeless  # type: ignore[method-assign,assignment]  # replaced on purpose
        with pytest.raises(Failure, match="no home folder"):
            drafts.folder({})
    finally:
        Path.expanduser = kept  # type: ignore[method-assign]  # replaced on purpose


STEERING = "ep\x1b[31m\u202e\x9b2J\x07.yaml"


@pytest.mark.parametrize("command", ["check", "note", "handoff", "worksheet --for access", "amounts", "bundle", "send"])
def test_nothing_that_steers_reaches_a_terminal(tmp_path: Path, command: str) -> None:
    """In the name of the file, and in what it says; where it is read and where it cannot be."""
    sound = DEMO.read_text().replace("Odessa", '"Od\\u001b[2Jessa\\u202e"')
    for text in (sound, sound.replace("record_version", "rec\x1b[5m"), "no record"):
        (tmp_path / STEERING).write_text(text)
        word, *more = command.split()
        process = pexpect.spawn(
            PROGRAM, [word, STEERING, *more], cwd=str(tmp_path), encoding="utf-8", timeout=60,
            codec_errors="surrogateescape",
            env={**os.environ, "TERM": "dumb", "NO_COLOR": "1"},
        )  # fmt: skip
        process.expect(pexpect.EOF)
        assert isinstance(process.before, str)
        shown = process.before
        process.close()
        assert not set(shown) & set("\x1b\x9b\x07\u202e"), shown[:400]
        assert "Traceback" not in shown


class Terminal(io.TextIOWrapper):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize("command", [["check"], ["bundle", "--no-note"], ["verify", "--format", "text"]])
def test_rows_of_a_stream_are_made_visible_too(
    tmp_path: Path, command: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """JSON spells only the oldest control characters out; what turns the direction of text is a letter to it."""
    rows = tmp_path / "rows\u202e.ndjson"
    rows.write_text('{"id": "\u202e\x9b2J", "resourceType": "\u202e\x9b"}\nno\x1b[2J\u202e\n')
    shown = Terminal(io.BytesIO(), "utf-8", write_through=True)
    monkeypatch.setattr(sys, "stdout", shown)
    monkeypatch.setattr(sys, "argv", ["lda-notes", *command, str(rows)])
    with pytest.raises(SystemExit):
        cli.main()
    assert isinstance(shown.buffer, io.BytesIO)
    said = shown.buffer.getvalue().decode()
    assert command[0] == "bundle" or "u202e" in said
    assert not set(said) & set("\x1b\x9b\u202e"), said


def test_visible_shows_what_it_finds() -> None:
    assert visible("a\tb\n\u00eb\u05d0") == "a\tb\n\u00eb\u05d0"
    assert visible("\x1b[2J\u202e\x9b\udcff") == "\\x1b[2J\\u202e\\x9b\\xff"


PRINTS = ("click.echo", "click.secho", "print", "sys.stdout.write", "sys.stderr.write")


def test_only_one_place_prints() -> None:
    for path in (ROOT / "lda_notes").rglob("*.py"):
        if path.name in ("printing.py", "__main__.py"):  # the latter says one word of its own before anything is loaded
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call):
                called = ast.unparse(node.func)
                assert called not in ("click.echo", "click.secho", "print", "sys.stdout.write", "sys.stderr.write"), (
                    path
                )


def test_a_lost_terminal_ends_with_its_own_code(tmp_path: Path) -> None:
    """The last flush of the interpreter fails on a terminal that is gone, and would make 120 of it."""
    code = (
        "import sys\nfrom lda_notes import cli\n"
        "class Gone:\n"
        "    def write(self, *_): raise OSError(5, 'Input/output error')\n"
        "    def flush(self): raise OSError(5, 'Input/output error')\n"
        "    def isatty(self): return True\n"
        "    closed = False\n"
        "def stopped(*_, **__): raise KeyboardInterrupt\n"
        "cli.group.main = stopped\nsys.stdout = sys.stderr = Gone()\ncli.main()\n"
    )
    for _ in range(3):
        assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 130
    with open("/dev/full", "w") as full:  # noqa: PTH123
        done = subprocess.run([PROGRAM, "policy"], stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2 and "Traceback" not in done.stderr and "Exception ignored" not in done.stderr


def test_ctrl_c_while_the_program_loads_is_a_word(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from lda_notes.__main__ import main

    class Impatient:
        def find_spec(self, name: str, *_: object) -> None:
            if name == "lda_notes.cli":
                raise KeyboardInterrupt

    monkeypatch.delitem(sys.modules, "lda_notes.cli", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Impatient(), *sys.meta_path])
    with pytest.raises(SystemExit) as left:
        main()
    assert (left.value.code, capsys.readouterr().err) == (130, "\nStopped.\n")
