"""How sheets are drawn: width, pages, self-contained files, and the same bytes each time."""

from __future__ import annotations

import re
import zipfile
from io import BytesIO
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from note_reading import DEMOS, W, docx_part, note_of, of_docx
from strategies import words as free_text
from test_note_formats import everything

from lda_notes.documents.blocks import Bullets, Heading, Pairs, Sheet, Table, Together
from lda_notes.documents.render import SUFFIXES, markdown, render, text
from lda_notes.narrative.sentences import Paragraph, Sentence

LONG = " ".join(f"word{number}" for number in range(400))


def paragraph(words: str) -> Paragraph:
    return Paragraph((Sentence(words, (("x",),)),))


# -- text --


@settings(deadline=None, max_examples=100)
@given(st.one_of(free_text(4000), st.text("漢字 e\u0301ñ\u00a0x", min_size=1, max_size=300)), st.integers(40, 120))
def test_no_row_is_wider_than_asked_and_no_sign_is_lost(words: str, width: int) -> None:
    drawn = text.render(everything(words), width)
    for row in drawn.split("\n"):
        assert text.columns(row) <= width, row
    kept = "".join(words.split())
    assert kept in "".join(text.render(Sheet("T", (paragraph(words),)), width).split())


@pytest.mark.parametrize("width", [40, 60, 80, 132])
def test_no_demo_has_a_row_wider_than_asked(width: int) -> None:
    for demo in DEMOS:
        rows = render(note_of(demo), "text", width).decode().split("\n")
        assert max(map(text.columns, rows)) <= width


def test_rows_are_filled() -> None:
    rows = text.wrap(LONG, 80)
    assert all(text.columns(row) > 70 for row in rows[:-1])


def test_a_wide_letter_takes_two_columns_and_a_mark_above_none() -> None:
    assert text.columns("漢字") == 4
    assert text.columns("e\u0301") == 1
    assert text.columns("abc") == 3


def test_a_number_stays_with_its_unit() -> None:
    for width in range(40, 90):
        for row in text.wrap("Flushed with 10 mL of 0.9% sodium chloride on 3 March 2031 by 500 units " * 3, width):
            assert not re.search(r"\b(10|3|500)$", row), row


def test_what_is_narrower_than_legible_is_drawn_legible() -> None:
    assert max(map(text.columns, text.render(everything("x " * 40), 5).split("\n"))) == text.NARROWEST


def test_a_table_of_too_many_columns_is_stacked() -> None:
    table = Table(tuple(f"Column {n}" for n in range(20)), (tuple(f"cell {n}" for n in range(20)),), (1,) * 20)
    drawn = text.render(Sheet("T", (table,)), 60)
    assert "Column 19: cell 19" in drawn
    assert max(map(text.columns, drawn.split("\n"))) <= 60


# -- HTML --


@pytest.fixture(scope="module")
def page() -> str:
    return render(everything("some words"), "html").decode()


def test_the_page_stands_alone(page: str) -> None:
    assert not re.findall(r"""(?:src|href|action|url)\s*[=(]""", page)
    assert "<script" not in page
    assert "default-src 'none'" in page


def test_the_page_has_language_title_and_headings_in_order(page: str) -> None:
    assert page.startswith('<!doctype html>\n<html lang="en">')
    assert page.count("<title>") == 1
    assert [int(level) for level in re.findall(r"<h(\d)>", page)] == [1, 2, 3]


def test_tables_name_their_heads(page: str) -> None:
    assert '<th role="columnheader" scope="col">' in page
    assert '<th role="rowheader" scope="row"' in page
    assert "<caption>" in page


@pytest.mark.parametrize(("paper", "size"), [("a4", "A4"), ("letter", "letter")])
def test_the_printed_page_has_its_size_and_patient(paper: str, size: str) -> None:
    drawn = render(Sheet("T", (), running='O"Malley; </style><b>'), "html", paper=paper).decode()  # type: ignore[arg-type]  # a parametrized word
    assert f"size: {size};" in drawn
    style = drawn.partition("<style>")[2].partition("</style>")[0]
    (content,) = re.findall(r'@top-left { content: "([^"]*)"', style)
    assert re.sub(r"\\([0-9a-f]+) ", lambda found: chr(int(found[1], 16)), content) == 'O"Malley; </style><b>'


def test_nothing_of_the_patient_is_in_the_title() -> None:
    drawn = render(note_of(DEMOS[0]), "html").decode()
    assert "<title>Implanted port note" in drawn
    sheet = note_of(DEMOS[0])
    for part in sheet.running.split("; "):
        assert part not in drawn.partition("<title>")[2].partition("</title>")[0]


# -- Markdown --


@pytest.mark.parametrize(
    ("words", "escaped"),
    [
        ("# one", r"\# one"),
        ("12. twelve", r"12\. twelve"),
        ("- dash", r"\- dash"),
        ("a*b_c", r"a\*b\_c"),
        ("a\nb", "a\\\nb"),
        ("5 < 6 & 7", r"5 \< 6 \& 7"),
        ("www.x.example", r"www\.x.example"),
        ("plain 0.9% words.", "plain 0.9% words."),
    ],
)
def test_markdown_is_escaped_where_it_must_be(words: str, escaped: str) -> None:
    assert markdown.escape(words) == escaped


# -- docx --


def test_the_same_sheet_gives_the_same_bytes() -> None:
    for demo in DEMOS[:3]:
        assert render(note_of(demo), "docx") == render(note_of(demo), "docx")


def test_nothing_in_the_file_tells_author_machine_or_time() -> None:
    data = render(everything("words"), "docx")
    with zipfile.ZipFile(BytesIO(data)) as archive:
        assert {info.date_time for info in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        core = archive.read("docProps/core.xml").decode()
        whole = b"".join(archive.read(name) for name in archive.namelist() if name.endswith(".xml"))
    assert "2000-01-01T00:00:00Z" in core
    assert "python-docx" not in core
    assert re.findall(r"<(?:dc:creator|cp:lastModifiedBy)>(.*?)</", core) in ([], [""], ["", ""])
    assert b"words" in whole


def test_every_part_is_well_formed_and_opens_again() -> None:
    from docx import Document

    data = render(everything("some words"), "docx")
    with zipfile.ZipFile(BytesIO(data)) as archive:
        for name in archive.namelist():
            if name.endswith((".xml", ".rels")):
                ElementTree.fromstring(archive.read(name))
    document = Document(BytesIO(data))
    used = {mark.get(f"{W}val") for mark in docx_part(data).iter(f"{W}pStyle")}
    assert len(used) > 8
    assert used <= {style.style_id for style in document.styles}
    assert len(document.tables) == 4


def test_the_head_of_every_page_names_the_patient_by_two_identifiers() -> None:
    sheet = note_of(next(path for path in DEMOS if path.stem == "uncomplicated-week"))
    data = render(sheet, "docx")
    with zipfile.ZipFile(BytesIO(data)) as archive:
        heads = [name for name in archive.namelist() if re.fullmatch(r"word/header\d+\.xml", name)]
        feet = [name for name in archive.namelist() if re.fullmatch(r"word/footer\d+\.xml", name)]
    assert [of_docx(data, name) for name in heads] == ["Quillfeather, Odessa; LB-000101; born 19 May 1968"]
    assert [of_docx(data, name) for name in feet] == ["Implanted port note Page 1 of 1"]
    fields = [field.get(f"{W}instr") for field in docx_part(data, feet[0]).iter(f"{W}fldSimple")]
    assert fields == ["PAGE", "NUMPAGES"]


@pytest.mark.parametrize(
    ("paper", "size"),
    [("a4", (11906, 16838)), ("letter", (12240, 15840))],
)
def test_the_paper_is_as_asked(paper: str, size: tuple[int, int]) -> None:
    data = render(Sheet("T", ()), "docx", paper=paper)  # type: ignore[arg-type]  # a parametrized word
    (page,) = docx_part(data).iter(f"{W}pgSz")
    found = (int(page.get(f"{W}w", "0")), int(page.get(f"{W}h", "0")))
    assert all(abs(one - other) <= 2 for one, other in zip(found, size, strict=True))


def test_table_heads_repeat_and_rows_stay_whole() -> None:
    table = Table(("A", "B"), (("1", "2"), ("3", "4")), (1, 1))
    rows = list(docx_part(render(Sheet("T", (table,)), "docx")).iter(f"{W}tr"))
    assert [row.find(f"{W}trPr/{W}tblHeader") is not None for row in rows] == [True, False, False]
    assert all(row.find(f"{W}trPr/{W}cantSplit") is not None for row in rows)


def kept(sheet: Sheet) -> list[tuple[str, bool]]:
    """Return each paragraph's text and whether it stays with the next."""
    return [
        ("".join(node.text or "" for node in p.iter(f"{W}t")), p.find(f"{W}pPr/{W}keepNext") is not None)
        for p in docx_part(render(sheet, "docx")).iter(f"{W}p")
    ]


def test_blocks_that_belong_together_stay_on_one_page() -> None:
    sheet = Sheet("T", (Together((paragraph("one"), Bullets(("a", "b")), paragraph("two"))), paragraph("after")))
    flags = dict(kept(sheet))
    assert flags["one"]
    assert flags["a"]
    assert flags["b"]
    assert not flags["two"]
    assert not flags["after"]


def test_a_kept_block_with_a_table_is_one_row_that_does_not_split() -> None:
    inner = Together((paragraph("inner"), paragraph("inner end")))
    pairs = Pairs((("first", "1"), ("last", "2")))
    whole = docx_part(render(Sheet("T", (Together((Heading("H"), inner, pairs)), paragraph("after"))), "docx"))
    (outer,) = whole.findall(f"{W}body/{W}tbl")
    (row,) = outer.findall(f"{W}tr")
    assert row.find(f"{W}trPr/{W}cantSplit") is not None
    assert "".join(node.text or "" for node in row.iter(f"{W}t")) == "innerinner endfirst:1last:2"
    flags = dict(kept(Sheet("T", (Together((Heading("H"), inner, pairs)), paragraph("after")))))
    assert flags["H"]
    assert not flags["after"]


def test_a_heading_stays_with_what_it_heads() -> None:
    from docx import Document

    document = Document(BytesIO(render(Sheet("T", (Heading("H"), Heading("I", 3), paragraph("x"))), "docx")))
    assert [p.text for p in document.paragraphs if p.style.paragraph_format.keep_with_next] == ["T", "H", "I"]


def test_a_thousand_blocks_are_drawn_in_time_that_grows_with_them() -> None:
    import time

    def seconds(count: int) -> float:
        table = Table(("A", "B", "C"), tuple(("1", "2", "3") for _ in range(10)), (1, 1, 1))
        sheet = Sheet("T", (Heading("H"), paragraph("x"), table) * count)
        start = time.process_time()
        render(sheet, "docx")
        return time.process_time() - start

    seconds(1)
    base = seconds(1)
    small, large = seconds(34) - base, seconds(340) - base
    assert large < 20 * max(small, 0.005)


def test_every_ending_names_a_format() -> None:
    assert set(SUFFIXES.values()) == {"text", "md", "html", "docx", "pdf"}
