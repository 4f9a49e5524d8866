"""What is printed of every demo, compared whole with what was read and accepted; what every case finds, word for word.

After a wanted change: ``pytest tests/test_golden.py --update-golden``, then read the difference. Other formats than
text are held to the same facts by tests of their own; one note of each format is kept whole.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

TESTS = Path(__file__).parent
sys.path[:0] = [str(TESTS / "note"), str(TESTS / "rules")]

from frozen import DEMOS, documents, moment_after  # noqa: E402
from note_reading import note_of, of_docx  # noqa: E402
from rule_cases import case_paths, read_case, read_yaml  # noqa: E402

from lda_notes.cli import group  # noqa: E402
from lda_notes.documents.render import render  # noqa: E402

GOLDEN = TESTS / "golden"
IN_EVERY_FORMAT = "no-blood-return"
KEPT = ("check.txt", "note.txt", "handoff.txt", "worksheet-access.txt")


def printed(demo: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """Return every document of a demo as text, by the name of its golden file."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1900000000")  # sheets name when they were printed
    data = read_yaml(demo.read_bytes()).data
    assert data is not None
    found = {}
    for name, arguments in documents(demo, moment_after(data)):
        if name in KEPT:
            run = CliRunner().invoke(group, arguments, terminal_width=80, catch_exceptions=False)
            found[f"{demo.stem}.{name}"] = run.output.replace(str(demo.parent), "demo_episodes")
    return found


def in_other_formats(demo: Path) -> dict[str, str]:
    """Return the note of a demo in the other formats: of docx the words, of HTML the body."""
    note = note_of(demo)
    html = render(note, "html").decode()
    return {
        f"{demo.stem}.note.md": render(note, "md").decode(),
        f"{demo.stem}.note.html": html[html.index("<body") :],
        f"{demo.stem}.note.docx.txt": of_docx(render(note, "docx")) + "\n",
    }


def compare(found: dict[str, str], request: pytest.FixtureRequest) -> None:
    """Hold each text to its golden file, or write the files anew where that was asked for."""
    if request.config.getoption("--update-golden"):
        for name, text in found.items():
            (GOLDEN / name).write_text(text, encoding="utf-8")
    for name, text in found.items():
        golden = GOLDEN / name
        assert golden.is_file(), f"{name} is missing: run with --update-golden and read it"
        assert text == golden.read_text(encoding="utf-8"), name


@pytest.mark.parametrize("demo", DEMOS, ids=lambda path: path.stem)
def test_what_is_printed_of_a_demo(demo: Path, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    compare(printed(demo, monkeypatch), request)


def test_one_note_in_every_format(request: pytest.FixtureRequest) -> None:
    compare(in_other_formats(next(demo for demo in DEMOS if demo.stem == IN_EVERY_FORMAT)), request)


def test_what_every_case_finds(request: pytest.FixtureRequest) -> None:
    rows = []
    for path in case_paths():
        case = read_case(path)
        rows.append(f"# {path.name}")
        rows += sorted(f"{'.'.join(map(str, f.path))}: {f.rule}: {f.message} To do: {f.todo}" for f in case.findings)
    compare({"cases.txt": "\n".join([*rows, ""])}, request)


def test_no_golden_file_is_left_over() -> None:
    wanted = {f"{demo.stem}.{name}" for demo in DEMOS for name in (*KEPT, "brief.txt")} | {"cases.txt"}
    wanted |= {f"{IN_EVERY_FORMAT}.note.{ending}" for ending in ("md", "html", "docx.txt")}
    assert len(DEMOS) >= 8
    assert {path.name for path in GOLDEN.iterdir()} == wanted
