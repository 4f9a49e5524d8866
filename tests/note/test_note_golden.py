"""Every demo, in every format, compared whole with what was looked at and accepted.

After a wanted change: ``pytest tests/note/test_note_golden.py --update-golden``, then read the difference.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from note_reading import DEMOS, note_of, of_docx

from lda_notes.documents.render import render

GOLDEN = Path(__file__).parents[1] / "golden"
FORMATS = ("text", "md", "html", "docx")
ENDINGS = {"text": "txt", "md": "md", "html": "html", "docx": "docx.txt"}


def produced(demo: Path, form: str) -> str:
    """Return a note as its golden file keeps it: of docx the words, of HTML the body."""
    data = render(note_of(demo), form)  # type: ignore[arg-type]
    if form == "docx":
        return of_docx(data) + "\n"
    text = data.decode()
    return text[text.index("<body") :] if form == "html" else text


def test_there_are_demos_enough() -> None:
    assert len(DEMOS) >= 8


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("demo", DEMOS, ids=lambda path: path.stem)
def test_note_of_demo(demo: Path, form: str, request: pytest.FixtureRequest) -> None:
    golden = GOLDEN / f"{demo.stem}.note.{ENDINGS[form]}"
    found = produced(demo, form)
    if request.config.getoption("--update-golden"):
        golden.write_text(found, encoding="utf-8")
    assert golden.is_file(), f"{golden.name} is missing: run with --update-golden and read it"
    assert found == golden.read_text(encoding="utf-8")


def test_no_golden_note_is_left_over() -> None:
    wanted = {f"{demo.stem}.note.{ending}" for demo in DEMOS for ending in ENDINGS.values()}
    assert {path.name for path in GOLDEN.glob("*.note.*")} == wanted
