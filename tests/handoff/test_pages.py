"""Sheets as printed, on A4 and Letter, from docx, HTML and PDF, page by page."""

from __future__ import annotations

import re
import subprocess
import unicodedata
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from made_records import HEPARIN, event, needle_event, record
from pages import HERE, Pages, colours, docx_to_pdf, html_to_pdf, read_pdf, violations, words_cut
from ward import ASOF, handed, source, twelve, ward

from lda_notes.documents.blocks import (
    Block,
    Columns,
    Form,
    Heading,
    NewPage,
    Sheet,
    Signature,
    Table,
    Together,
)
from lda_notes.documents.handoff.page import Printing, left_sheet, sheet
from lda_notes.documents.handoff.view import View
from lda_notes.documents.render import Paper, lines, render
from lda_notes.documents.render.pdf import BY_SOUND, FONTS, lacked
from lda_notes.documents.wording import Wording
from lda_notes.documents.worksheet.page import sheet as worksheet
from lda_notes.documents.worksheet.unit import due_sheet, unit_sheet
from lda_notes.narrative.sentences import Paragraph, Sentence

FORMS = ("docx", "html", "pdf")
PAPERS: tuple[Paper, ...] = ("a4", "letter")
CASES = [(form, paper) for form in FORMS for paper in PAPERS]
SIZES = {"a4": (595, 842), "letter": (612, 792)}


@dataclass(frozen=True)
class Printed:
    sheet: Sheet
    paper: str
    pages: Pages
    pdf: Path


def to_pages(sheets: dict[str, Sheet], folder: Path) -> dict[tuple[str, str, str], Printed]:
    """Print each sheet in each format on each paper."""
    made = {}
    for name, one in sheets.items():
        for form, paper in CASES:
            path = folder / f"{name}-{form}-{paper}.{form}"
            path.write_bytes(render(one, form, paper=paper))  # type: ignore[arg-type]  # a parametrized word
            made[name, form, paper] = path
    docx_to_pdf([path for path in made.values() if path.suffix == ".docx"])
    found = {}
    for case, path in made.items():
        pdf = html_to_pdf(path) if path.suffix == ".html" else path.with_suffix(".pdf")
        found[case] = Printed(sheets[case[0]], case[2], read_pdf(pdf), pdf)
    return found


@pytest.fixture(scope="module")
def printed(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, str, str], Printed]:
    made = sheet(handed(twelve()), Printing(at=ASOF, by="Marisol Tamm RN"))
    return to_pages({"unit": made}, tmp_path_factory.mktemp("printed"))


EVERY = pytest.mark.parametrize("case", CASES, ids=lambda case: "-".join(map(str, case)))


def of_case(printed: dict[tuple[str, str, str], Printed], case: tuple[str, str]) -> Printed:
    return printed["unit", *case]


def squeezed(text: str) -> str:
    return re.sub("[\\s\u00a0\u2068\u2069]", "", text)


def on_page(pages: Pages, number: int) -> str:
    return squeezed("".join(word.text for word in pages.words if word.page == number))


def round_table(made: Sheet) -> Table:
    return next(block for block in made.blocks if isinstance(block, Table))


@EVERY
def test_twelve_patients_on_page_one_and_four_pages_in_all(
    printed: dict[tuple[str, str, str], Printed], case: tuple[str, str]
) -> None:
    one = of_case(printed, case)
    assert (round(one.pages.width), round(one.pages.height)) == SIZES[one.paper]
    table = round_table(one.sheet)
    assert len(table.rows) == 12
    first = on_page(one.pages, 1)
    for row in table.rows:
        assert squeezed(lines(row[1])[1].text) in first, "each record number"
    assert one.pages.count <= 4


@EVERY
def test_nothing_of_the_round_is_cut(printed: dict[tuple[str, str, str], Printed], case: tuple[str, str]) -> None:
    """Every line of every cell is on page one, whole; a sign that a font lacks is given in letters beside it."""
    one = of_case(printed, case)
    first = on_page(one.pages, 1)
    page = Counter(w for word in one.pages.words if word.page == 1 for w in word.text.replace("\u00a0", " ").split())
    said = [line.text for row in round_table(one.sheet).rows for cell in row for line in lines(cell)]
    wanted = Counter(word for words in said for word in words.split() if word.isascii())
    assert sum(wanted.values()) > 200
    missing = wanted - page
    assert [word for word in missing if word.strip("()") not in first] == []
    assert sum(missing.values()) < 10, "words broken at their own hyphen"
    assert "Wang,XiaoMing" in first
    for word in one.pages.words:
        assert word.left > 20 and word.right < one.pages.width - 20, word
        assert word.top > 0 and word.bottom < one.pages.height, word


@EVERY
def test_letters_of_page_one_are_ten_points(
    printed: dict[tuple[str, str, str], Printed], case: tuple[str, str]
) -> None:
    """A box of Arial at 10 points is 11 points high, in the PDF as high as the letters; head and foot are less."""
    one = of_case(printed, case)
    words = [w for w in one.pages.words if w.page == 1 and w.top > 45 and w.bottom < one.pages.height - 45]
    assert len(words) > 150
    assert min(word.bottom - word.top for word in words if word.text.isascii()) > (9.9 if case[0] == "pdf" else 10.9)


@EVERY
def test_no_block_is_split_and_four_fit_a_page(
    printed: dict[tuple[str, str, str], Printed], case: tuple[str, str]
) -> None:
    one = of_case(printed, case)
    blocks = [block for block in one.sheet.blocks if isinstance(block, Together) and len(block.blocks) > 2]
    assert len(blocks) >= 8
    pages = [on_page(one.pages, number) for number in range(1, one.pages.count + 1)]
    holding: list[int] = []
    for block in blocks[:-1]:
        head, last = block.blocks[0], block.blocks[-1]
        number = squeezed(re.findall(r"record number (\S+?),", head.text)[0])  # type: ignore[union-attr]  # not None here
        if not hasattr(last, "sentences"):
            continue
        end = squeezed(last.sentences[-1].text)
        (place,) = [n for n, page in enumerate(pages) if f"recordnumber{number}," in page.replace("-", "-")]
        assert end in pages[place], number
        holding.append(place)
    assert max(holding.count(place) for place in holding) >= 4


@EVERY
def test_every_page_says_unit_moment_and_number(
    printed: dict[tuple[str, str, str], Printed], case: tuple[str, str]
) -> None:
    one = of_case(printed, case)
    for number in range(1, one.pages.count + 1):
        page = on_page(one.pages, number)
        assert f"Page{number}of{one.pages.count}" in page
        assert squeezed("Ward Heron; as of Wednesday, 5 March 2031, 07:00") in page
    assert squeezed("printed 07:00 by Marisol Tamm RN") in on_page(one.pages, 1)


@EVERY
def test_nothing_is_told_by_colour(printed: dict[tuple[str, str, str], Printed], case: tuple[str, str]) -> None:
    """Black, white and greys only, so that a copier loses nothing."""
    found = colours(of_case(printed, case).pdf)
    assert {(0, 0, 0), (255, 255, 255)} <= found
    assert {colour for colour in found if max(colour) - min(colour) > 2} == set()


@EVERY
def test_sources_take_a_quarter_of_a_page_at_most(
    printed: dict[tuple[str, str, str], Printed], case: tuple[str, str]
) -> None:
    pages = of_case(printed, case).pages
    start = next(
        w for w, a, b in zip(pages.words, pages.words[1:], pages.words[2:], strict=False)
        if (w.text, a.text, b.text) == ("Where", "the", "limits")
    )  # fmt: skip
    end = max(word.bottom for word in pages.words if word.page == start.page and word.bottom < pages.height - 40)
    assert start.page == pages.count
    assert end - start.top < pages.height / 4


def test_a_pdf_is_tagged_and_carries_its_font(printed: dict[tuple[str, str, str], Printed]) -> None:
    pdf = printed["unit", "pdf", "a4"].pdf
    said = subprocess.run(["pdfinfo", pdf], capture_output=True, text=True, check=True).stdout
    assert re.search(r"Tagged:\s+yes", said)
    fonts = subprocess.run(["pdffonts", pdf], capture_output=True, text=True, check=True).stdout.splitlines()[2:]
    assert fonts and all("DejaVuSansCondensed" in row and " yes yes yes " in row for row in fonts)


def test_the_list_of_signs_is_that_of_the_fonts() -> None:
    """What the PDF prints as it is and what in Latin letters: read from the fonts by the system's own library."""
    had = [
        {
            int(found, 16)
            for row in subprocess.run(
                ["fc-query", "--format", "%{charset}", font], capture_output=True, text=True, check=True
            ).stdout.split()
            for first, _, last in [row.partition("-")]
            for found in map(hex, range(int(first, 16), int(last or first, 16) + 1))
        }
        for font in sorted(FONTS.glob("*.ttf"))
    ]
    assert len(had) == 2
    both = had[0] & had[1]
    signs = "".join(map(chr, range(0x20, 0xD800))) + "".join(map(chr, range(0xE000, 0x20000)))
    assert {ord(sign) for sign in signs if not lacked().match(sign)} == {sign for sign in both if sign >= 0x20}


@pytest.mark.parametrize(
    ("name", "printed"),
    [
        ("Иванова", "Иванова, Ottoline (Ivanova, Ottoline)"),
        ("王小明", "WangXiaoMing, Ottoline"),
        ("ไทย", "aithy, Ottoline"),
        ("\ue000", "?, Ottoline"),
        ("N\u0303andu", "Ñandu, Ottoline"),
    ],
)
def test_a_name_is_printed_in_its_script_where_the_font_has_it_and_in_letters(name: str, printed: str) -> None:
    """One name that the font lacks costs no other name its script; the foot says what was put into letters."""
    made = [record(needle_event("2031-03-04 09:00"), number=number) for number in (1, 2)]
    made[0]["patient"]["family_name"] = name
    made[1]["patient"]["family_name"] = "Σωτηρίου"
    done = subprocess.run(
        ["pdftotext", "-layout", "-", "-"], input=render(sheet(handed(made)), "pdf"), capture_output=True, check=True
    )
    told = unicodedata.normalize("NFC", squeezed(done.stdout.decode()))
    assert squeezed(printed) in told
    assert "Σωτηρίου" in told
    assert ("bytheirsound" in told) == (name in ("王小明", "ไทย"))


@pytest.mark.parametrize("form", FORMS)
def test_the_round_alone_links_to_nothing(form: str) -> None:
    """The blocks are not on it: a link to one stopped the PDF."""
    made = sheet(handed(twelve()), Printing(round_alone=True))
    assert render(made, form)  # type: ignore[arg-type]  # a parametrized word
    assert b'href="#' not in render(made, "html")


def test_words_longer_than_their_column_stay_in_it(tmp_path: Path) -> None:
    """A number of 200 digits, a unit of many words: on the page, whole, none over the next column."""
    made = [record(needle_event("2031-03-04 09:00"), number=1), record(needle_event("2031-03-04 09:00"), number=2)]
    made[0]["patient"]["identifiers"][0]["value"] = "7" * 200
    made[1]["stay"]["unit"] = "Intermediate Care Unit of the Annex, Third Floor"
    path = tmp_path / "long.pdf"
    path.write_bytes(render(sheet(handed(made)), "pdf"))
    pages = read_pdf(path)
    assert max(word.right for word in pages.words) < pages.width - 20
    assert on_page(pages, 1).replace("\u200b", "").count("7" * 25) >= 1
    edge = next(word.left for word in pages.words if word.text == "In")  # the head of the next column
    digits = [word for word in pages.words if word.page == 1 and word.text.startswith("7" * 8) and word.left < edge]
    assert digits and max(word.right for word in digits[:8]) < edge


def test_a_unit_of_sixty_is_written_in_time() -> None:
    import time

    made = ward(60)
    for form in ("docx", "pdf"):
        start = time.process_time()
        render(made, form)  # type: ignore[arg-type]  # a parametrized word
        assert time.process_time() - start < 3, form


def who_left() -> list[dict[str, Any]]:
    """Return three patients who left: one nobody took over, one with long words and a needle, one taken over."""
    made = [
        record(
            needle_event("2031-03-01 09:00"), event("discharge", "2031-03-04 09:00", destination="home"), number=number
        )
        for number in (41, 42, 43)
    ]
    made[1]["patient"].update(
        family_name="Wolkenstein-Abercrombie-Featherstonehaugh", history=["heparin-induced thrombocytopenia"]
    )
    made[2]["patient"].update(family_name="Brackenridge")
    made[2]["events"][-1]["handed_to"] = {"name": "Port clinic, Lantern Bay", "credential": "clinic"}
    return made


@pytest.mark.parametrize("kind", ["handoff", "left", "access", "de-access", "dressing change", "line check", "due"])
def test_the_checker_finds_no_violation(kind: str, tmp_path: Path) -> None:
    match kind:
        case "handoff":
            made = sheet(handed(twelve()))
        case "left":
            made = left_sheet(handed(who_left()))
        case "line check":
            made = unit_sheet(views())
        case "due":
            made = due_sheet(views()[:4])
        case _:
            made = bedside(kind)
    found = violations(render(made, "html").decode(), tmp_path, 500 if kind == "left" else 800)
    assert [(one["id"], one["help"], one["nodes"][0]["html"][:200]) for one in found] == []


@pytest.mark.parametrize(("kind", "width"), [("handoff", 500), ("handoff", 700), ("left", 500), ("line check", 1200)])
def test_no_screen_cuts_a_word_or_hides_a_column(kind: str, width: int, tmp_path: Path) -> None:
    made = {
        "handoff": lambda: sheet(handed([*twelve(), *who_left()])),
        "left": lambda: left_sheet(handed(who_left())),
        "line check": lambda: unit_sheet(views()),
    }[kind]()
    page = render(made, "html").decode()
    assert words_cut(page, tmp_path, width) == []
    assert "display: none" not in page


def test_the_browser_would_find_a_word_cut(tmp_path: Path) -> None:
    page = render(left_sheet(handed(who_left())), "html").decode()
    found = words_cut(page.replace("</style>", "tbody { width: 4em; overflow-wrap: anywhere; }</style>"), tmp_path, 500)
    assert "thrombocytopenia," in found


def stuck(dense: bool) -> Sheet:
    """Return pages filled so far that the heading of a table comes to each place near the foot of one."""
    blocks: list[Block] = []
    for rows in range(57, 65) if dense else range(39, 46):
        filler = (Paragraph((Sentence("filler"),)) for _ in range(rows))
        table = Table(("Head", "Cell"), tuple((f"first{rows}", "x") for _ in range(3)), (1, 1), f"caption{rows}")
        blocks += [NewPage(), *filler, Heading(f"head{rows}"), table]
    return Sheet("T", tuple(blocks), dense=dense)


@pytest.mark.parametrize("dense", [True, False])
@pytest.mark.parametrize("form", ["pdf", "html"])
def test_a_heading_keeps_with_the_first_row_of_its_table(dense: bool, form: str, tmp_path: Path) -> None:
    path = tmp_path / f"stuck.{form}"
    path.write_bytes(render(stuck(dense), form))  # type: ignore[arg-type]  # a parametrized word
    pages = read_pdf(path if form == "pdf" else html_to_pdf(path))
    of = {word.text: word.page for word in reversed(pages.words)}
    begun = [name for name in of if name.startswith("head")]
    assert len(begun) >= 7
    for name in begun:
        number = name.removeprefix("head")
        assert of[name] == of[f"caption{number}"] == of[f"first{number}"], name


@EVERY
def test_no_page_has_the_signatures_alone(printed: dict[tuple[str, str, str], Printed], case: tuple[str, str]) -> None:
    pages = of_case(printed, case).pages
    signed = [page for page in range(1, pages.count + 1) if "Receivedby" in on_page(pages, page)]
    assert signed == [pages.count]
    assert "If-thenplan,forall:" in on_page(pages, pages.count)
    assert "Wherethelimitscomefrom" in on_page(pages, pages.count)
    assert "Aworkingpaper" in on_page(pages, pages.count)


def test_the_rows_of_a_list_are_at_one_distance(printed: dict[tuple[str, str, str], Printed]) -> None:
    """Read in the PDF from the boxes of what is due in order of time, wrapped rows among them."""
    pages = printed["unit", "pdf", "a4"].pages
    words = [word for word in pages.words if word.page == 2]
    head, end = (next(word for word in words if word.text == text) for text in ("same", "Room"))
    of_list = [word for word in words if head.bottom < word.bottom < end.top]
    for column in (True, False):
        rows = sorted({round(word.bottom, 1) for word in of_list if (word.left < pages.width / 2) == column})
        apart = [round(after - before, 1) for before, after in pairwise(rows)]
        assert len(apart) > 5 and max(apart) - min(apart) < 0.3, apart


def test_paragraphs_are_at_one_distance_where_the_last_stays_with_the_signature(tmp_path: Path) -> None:
    said = [Paragraph((Sentence(f"word{number}"),)) for number in range(3)]
    path = tmp_path / "note.pdf"
    path.write_bytes(render(Sheet("T", (*said[:2], Together((said[2], Signature("", "", "")))), dense=False), "pdf"))
    at = [word.bottom for word in read_pdf(path).words if word.text.startswith("word")]
    assert at[2] - at[1] == pytest.approx(at[1] - at[0], abs=0.2)


def test_each_row_of_the_page_links_to_its_block() -> None:
    page = render(sheet(handed(twelve())), "html").decode()
    links = re.findall(r'href="#(patient-\d+)"', page)
    assert len(links) >= 8
    assert all(page.count(f'id="{name}"') == 1 for name in links)
    assert page.count("<table ") == page.count("<caption>")


def views() -> list[View]:
    found = [source(data) for data in twelve()]
    policy = handed([]).policy
    zone = Wording(handed([twelve()[0]]).here[0].wording.zone, ASOF)
    return [View(one.timeline, policy, zone, ASOF, ASOF.replace(hour=19)) for one in found]


def bedside(kind: str, awkward: bool = False) -> Sheet:
    made = (
        awkward_record()
        if awkward
        else record(needle_event("2031-03-03 09:00", lock=HEPARIN), event("line check", "2031-03-04 09:00"), number=5)
    )
    if not awkward:
        made["patient"]["allergies"] = [{"to": "chlorhexidine"}]
    (patient,) = handed([made]).patients
    timeline = source(made).timeline
    view = View(timeline, handed([made]).policy, Wording(patient.wording.zone, ASOF), ASOF, ASOF)
    return worksheet(view, kind, timeline.episode.port.septa[0])  # type: ignore[arg-type]  # a stand-in of the test


def awkward_record() -> dict[str, Any]:
    """Return a patient of whom much is to be said: allergies, a condition, two septa, more trouble than is listed."""
    looks = [
        event(
            "line check",
            f"2031-03-0{day} 09:00",
            blood_return="sluggish",
            dressing_found=["damp", "loose"],
            problems=[{"what": "catheter looks kinked when the arm is lifted over the head"}],
        )
        for day in (1, 2, 3, 4)
    ]
    needle = {"gauge": 20, "length_mm": 19, "non_coring": True, "set_volume_ml": 0.4, "connector_volume_ml": 0.2}
    held = event("line check", "2031-03-05 06:00", blood_return="none")
    made = record(needle_event("2031-02-28 09:00", attempts=2, needle=needle), *looks, held, number=3)
    names = ("chlorhexidine", "adhesive", "latex", "heparin")
    made["patient"].update(
        allergies=[{"to": name, "reaction": "hives"} for name in names], history=["heparin-induced thrombocytopenia"]
    )
    made["port"].update(catheter_volume_ml=0.9, septa=["medial", "lateral"], power={"rated": True})
    made["events"] = [{**one, "septum": "medial"} for one in made["events"]]
    return made


PLAIN_WORKS = ("de-access", "dressing change", "flush", "arrival accessed", "patency check")


@pytest.fixture(scope="module")
def worksheets(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, str, str], Printed]:
    made = {kind.replace(" ", "-"): bedside(kind) for kind in ("access", *PLAIN_WORKS)}
    made["awkward"] = bedside("access", awkward=True)
    made["unit"] = unit_sheet(views())
    made["due"] = due_sheet(views())
    return to_pages(made, tmp_path_factory.mktemp("worksheets"))


@EVERY
def test_a_worksheet_is_one_page_and_an_access_two(
    worksheets: dict[tuple[str, str, str], Printed], case: tuple[str, str]
) -> None:
    counts = {name: one.pages.count for (name, *rest), one in worksheets.items() if tuple(rest) == case}
    assert {name: count for name, count in counts.items() if count > 1} == {"access": 2, "awkward": 2, "due": 3}


@EVERY
def test_the_head_of_each_page_names_the_patient_of_that_page(
    worksheets: dict[tuple[str, str, str], Printed], case: tuple[str, str]
) -> None:
    """All that is due is printed at once: another patient's name at the head of a worksheet is the worst of faults."""
    pages = worksheets["due", *case].pages
    heads = [squeezed("".join(w.text for w in pages.words if w.page == n and w.top < 34)) for n in (1, 2, 3)]
    assert heads[0].startswith("WardHeron")
    assert "MD-0003" in heads[1] and "recordnumberMD-0003" in on_page(pages, 2)
    assert "MD-0004" in heads[2] and "recordnumberMD-0004" in on_page(pages, 3)


def test_two_columns_are_read_down_a_page_before_the_next(worksheets: dict[tuple[str, str, str], Printed]) -> None:
    """The steps of an access go over two pages: none of the first page comes after one of the second."""
    for paper in PAPERS:
        one = worksheets["access", "pdf", paper]
        half = one.pages.width / 2
        order = sorted(one.pages.words, key=lambda w: (w.page, w.left > half, w.top))
        told = squeezed("".join(word.text for word in order))
        titles = [squeezed(block.text) for block in in_columns(one.sheet) if isinstance(block, Heading)]
        places = [told.index(title, told.index("stepbystep")) for title in titles if title != "Flush"]
        assert len(places) > 8 and places == sorted(places)


@EVERY
def test_every_blank_is_there_and_legible(
    worksheets: dict[tuple[str, str, str], Printed], case: tuple[str, str]
) -> None:
    for (name, *rest), one in worksheets.items():
        if tuple(rest) != case or name in ("unit", "due"):
            continue
        told = squeezed(" ".join(word.text for word in one.pages.words))
        blanks = [blank for block in in_columns(one.sheet) if isinstance(block, Form) for blank in block.blanks]
        assert len(blanks) > 15
        for blank in blanks:
            assert squeezed(blank.label) in told, blank.label
            assert all(squeezed(choice) in told for choice in blank.choices), blank.label
        heights = sorted(w.bottom - w.top for w in one.pages.words if w.text.strip("_") and w.text.isascii())
        assert heights[0] > 8.4, "small print"
        assert heights[len(heights) // 2] > 8.9
        for page in range(1, one.pages.count + 1):
            assert squeezed(one.sheet.running.split(";")[0]) in on_page(one.pages, page)
            assert max(w.right for w in one.pages.words if w.page == page) < one.pages.width - 20


def in_columns(made: Sheet) -> list[Block]:
    (columns,) = [block for block in made.blocks if isinstance(block, Columns)]
    return list(columns.blocks)


def test_all_that_is_due_is_printed_and_nothing_more() -> None:
    made = due_sheet(views())
    titles = [block.text for block in made.blocks if getattr(block, "level", 0) == 1]
    assert titles == ["Worksheet: dressing change", "Worksheet: check of a dwelling thrombolytic"]
    assert len(next(block for block in made.blocks if isinstance(block, Table)).rows) == 12, "a look at every needle"


@pytest.mark.parametrize(
    ("old", "new", "rule"),
    [
        ('lang="en"', "", "html-has-lang"),
        ("color: #000", "color: #ccc", "color-contrast"),
        ("<title>Handoff of ports</title>", "<title></title>", "document-title"),
    ],
)
def test_the_checker_would_find_one(old: str, new: str, rule: str, tmp_path: Path) -> None:
    page = render(ward(1), "html").decode()
    broken = page.replace(old, new, 1)
    assert broken != page
    assert rule in {one["id"] for one in violations(broken, tmp_path)}


def test_the_checker_is_pinned() -> None:
    assert '"integrity": "sha512-' in (HERE / "package-lock.json").read_text("utf-8")


def test_all_formats_print_the_same_words(printed: dict[tuple[str, str, str], Printed]) -> None:
    def words(pages: Pages) -> set[str]:
        found = " ".join(w.text for w in pages.words if w.text not in ("Page", "of"))
        found = found.replace(BY_SOUND, "")  # what the foot of the PDF alone says
        return set(re.findall(r"[A-Za-z]{3,}", re.sub(r"-\s", "-", found)))

    docx, html, pdf = (words(printed["unit", form, "a4"].pages) for form in FORMS)
    assert docx == html == pdf
    assert len(docx) > 100
