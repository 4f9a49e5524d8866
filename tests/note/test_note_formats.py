"""The same facts in every format, whatever the words of the record are."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st
from note_reading import DEMOS, note_of, of_docx, of_html, of_markdown, of_pdf, words
from strategies import ODD_TEXTS
from strategies import words as free_text

from lda_notes.documents.blocks import (
    Alert,
    Blanks,
    Bullets,
    Fine,
    Heading,
    Line,
    Pairs,
    Sheet,
    Signature,
    Table,
    Together,
)
from lda_notes.documents.render import render
from lda_notes.narrative.sentences import Paragraph, Sentence


def everything(text: str) -> Sheet:
    """Return a sheet with every kind of block, each holding ``text``."""
    cell = text.replace("\n", " ")  # as plain text, the rows of cells side by side would alternate
    return Sheet(
        f"Title {text}",
        (
            Alert("stop", text),
            Alert("draft", f"DRAFT {text}"),
            Alert("caution", text),
            Heading(text),
            Heading(text, 3),
            Paragraph((Sentence(text), Sentence(f'He said: "{text}".')), text),
            Bullets((text, text), text),
            Bullets((text,), boxes=True),
            Table((cell, "Second"), ((cell, cell), (cell, "")), (2, 3), text),
            Table(("First",), (((Line(cell, strong=True), Line(cell, box=True), Line(cell)),),), (1,)),
            Fine(text, (text, text)),
            Pairs(((text, text), ("Label", text), (text, "last"))),
            Blanks(text, text),
            Blanks(text, choices=(text, "other")),
            Together((Paragraph((Sentence(text),)), Signature(text, text, text, text))),
            Signature("", "", "", text),
        ),
        status=text,
        cautions=(text,),
    )


def read_back(sheet: Sheet) -> dict[str, list[str]]:
    return {
        "text": words(render(sheet, "text", 100_000).decode()),
        "md": words(of_markdown(render(sheet, "md").decode())),
        "html": words(of_html(render(sheet, "html").decode())),
        "docx": words(of_docx(render(sheet, "docx"))),
    }


def without_signing(found: list[str]) -> list[str]:
    """Paper has room to sign, which is not a fact."""
    return [word for word in found if word != "Signature"]


@pytest.mark.parametrize("demo", DEMOS, ids=lambda path: path.stem)
def test_every_format_says_the_same(demo: Path) -> None:
    found = read_back(note_of(demo))
    assert len(found["text"]) > 100
    for form in ("md", "html", "docx"):
        assert without_signing(found[form]) == found["text"], form


@pytest.mark.parametrize("demo", DEMOS, ids=lambda path: path.stem)
def test_a_pdf_says_the_same(demo: Path) -> None:
    """Every word is there as often as in the text; a page adds its head and foot."""
    sheet = note_of(demo)
    text = Counter(words(render(sheet, "text", 9999).decode()))
    pdf = Counter(words(of_pdf(render(sheet, "pdf")).replace("\u200b", "")))  # where a long word may be broken
    assert text - pdf == Counter()
    pages = pdf["Page"]
    furniture = Counter(words(f"{sheet.running} {sheet.title} {sheet.status} Page of") * pages)
    assert {word for word in pdf - text - furniture if not word.isdigit()} <= {"Signature", "-"}


@pytest.mark.parametrize("text", ODD_TEXTS)
def test_a_pdf_takes_any_words(text: str) -> None:
    assert render(everything(text), "pdf").startswith(b"%PDF-")


@pytest.mark.parametrize("text", ODD_TEXTS)
def test_no_words_of_a_record_are_markup(text: str) -> None:
    found = read_back(everything(text))
    for form in ("md", "html", "docx"):
        assert without_signing(found[form]) == found["text"], form


@settings(deadline=None, max_examples=30, suppress_health_check=[HealthCheck.too_slow])
@given(st.one_of(free_text(4000), st.text("*_`[]()<>#+-.!|~&\\ \"'ab1\n:=@$", min_size=1)))
@example(" []")
def test_no_random_text_is_markup(text: str) -> None:
    assume(not re.search(r"\[\s+\]", text))  # a box to tick, which the reader of the formats leaves out
    found = read_back(everything(text))
    for form in ("md", "html", "docx"):
        assert without_signing(found[form]) == found["text"], form
