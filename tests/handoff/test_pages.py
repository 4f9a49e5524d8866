"""Handoffs of 1, 6 and 20 patients as printed, on A4 and Letter, from docx and from HTML, page by page."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from made_records import HEPARIN, event, needle_event, record, unit_of_patients
from pages import HERE, Pages, Word, colours, docx_to_pdf, html_to_pdf, read_pdf, violations
from ward import ASOF, handed, source, ward

from lda_notes.documents.blocks import Block, Columns, Form, Sheet, Table
from lda_notes.documents.handoff.line import View
from lda_notes.documents.handoff.page import sheet
from lda_notes.documents.render import Paper, render
from lda_notes.documents.wording import Wording
from lda_notes.documents.worksheet.page import sheet as worksheet

COUNTS = (1, 6, 20)
PAPERS: tuple[Paper, ...] = ("a4", "letter")
CASES = [(form, count, paper) for form in ("docx", "html") for count in COUNTS for paper in PAPERS]
SIZES = {"a4": (595, 842), "letter": (612, 792)}


@dataclass(frozen=True)
class Printed:
    sheet: Sheet
    patients: int
    paper: str
    pages: Pages
    pdf: Path


@pytest.fixture(scope="module")
def printed(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, int, str], Printed]:
    folder = tmp_path_factory.mktemp("printed")
    sheets = {count: ward(count) for count in COUNTS}
    paths: dict[tuple[str, int, str], Path] = {}
    for form, count, paper in CASES:
        path = folder / f"ward-{count}-{paper}.{form}"
        path.write_bytes(render(sheets[count], form, paper=paper))  # type: ignore[arg-type]
        paths[form, count, paper] = path
    docx_to_pdf([path for path in paths.values() if path.suffix == ".docx"])
    found = {}
    for case, path in paths.items():
        pdf = path.with_suffix(".pdf") if path.suffix == ".docx" else html_to_pdf(path)
        found[case] = Printed(sheets[case[1]], case[1], case[2], read_pdf(pdf), pdf)
    return found


EVERY = pytest.mark.parametrize("case", CASES, ids=lambda case: "-".join(map(str, case)))


def headings(pages: Pages) -> list[Word]:
    """Return the first word of each patient's heading: "Room", then "N:"."""
    return [
        word
        for word, then in zip(pages.words, pages.words[1:], strict=False)
        if word.text == "Room" and re.fullmatch(r"\d+:", then.text)
    ]


def ends(pages: Pages) -> list[Word]:
    """Return the first word of each patient's last row: "Read back"."""
    return [
        w for w, then in zip(pages.words, pages.words[1:], strict=False) if (w.text, then.text[:4]) == ("Read", "back")
    ]


@EVERY
def test_page_size(printed: dict[tuple[str, int, str], Printed], case: tuple[str, int, str]) -> None:
    one = printed[case]
    assert (round(one.pages.width), round(one.pages.height)) == SIZES[one.paper]


@EVERY
def test_no_block_is_split(printed: dict[tuple[str, int, str], Printed], case: tuple[str, int, str]) -> None:
    one = printed[case]
    begun, ended = headings(one.pages), ends(one.pages)
    assert len(begun) == len(ended) == one.patients
    for first, last in zip(begun, ended, strict=True):
        assert first.page == last.page
        assert first.top < last.top


@EVERY
def test_a_block_takes_half_a_page_at_most(
    printed: dict[tuple[str, int, str], Printed], case: tuple[str, int, str]
) -> None:
    """Of ports with one septum; a port with two has two of everything and may take more, never more than a page."""
    one = printed[case]
    two_septa = {str(number) for number in range(1, one.patients + 1) if number % 10 == 6}
    words = list(one.pages.words)
    for first, last in zip(headings(one.pages), ends(one.pages), strict=True):
        room = words[words.index(first) + 1].text.rstrip(":")
        if room not in two_septa:
            assert last.bottom - first.top <= one.pages.height / 2, f"room {room}"


@EVERY
def test_no_heading_stands_alone_at_the_foot_of_a_page(
    printed: dict[tuple[str, int, str], Printed], case: tuple[str, int, str]
) -> None:
    one = printed[case]
    titles = ("All lines, most urgent first", "Where the limits come from")
    seen = 0
    for page in range(1, one.pages.count + 1):
        rows = [row for row in one.pages.rows(page) if not re.search(r"Page \d+ of \d+$", row)]
        for place, row in enumerate(rows):
            if row in titles or re.match(r"Room \d+: ", row):
                seen += 1
                assert len(rows) - place > 2, f"page {page}: {row}"
    assert seen == one.patients + len(titles)


@EVERY
def test_nothing_is_clipped(printed: dict[tuple[str, int, str], Printed], case: tuple[str, int, str]) -> None:
    """Every cell's words are there whole, and no word leaves the paper's margins."""
    one = printed[case]
    told = re.sub(r"\s", "", "".join(word.text for word in one.pages.words)).replace("\u00a0", "")
    cells = [cell for block in one.sheet.blocks if isinstance(block, Table) for row in block.rows for cell in row]
    assert len(cells) >= 5
    assert [cell for cell in cells if re.sub(r"\s", "", cell) not in told] == []
    margin = 25
    for word in one.pages.words:
        assert margin < word.left and word.right < one.pages.width - margin, word
        assert word.top > 0 and word.bottom < one.pages.height, word


@EVERY
def test_the_unit_list_stands_on_the_first_page(
    printed: dict[tuple[str, int, str], Printed], case: tuple[str, int, str]
) -> None:
    one = printed[case]
    (listed,) = [block for block in one.sheet.blocks if isinstance(block, Table) and block.columns[0] == "Room"]
    first = " ".join(one.pages.rows(1))
    for row in listed.rows:
        assert row[1].split(",")[0] in first
    assert one.pages.rows(1).count("Where the limits come from") == (1 if one.patients == 1 else 0)


@EVERY
def test_letters_are_large_enough_to_read(
    printed: dict[tuple[str, int, str], Printed], case: tuple[str, int, str]
) -> None:
    """Words of the body are at least 8 points high from top to bottom of the letter's box, of the strip 7."""
    one = printed[case]
    heights = sorted(word.bottom - word.top for word in one.pages.words)
    assert heights[0] > 6.5
    assert heights[len(heights) // 10] > 7


@EVERY
def test_nothing_is_told_by_colour(printed: dict[tuple[str, int, str], Printed], case: tuple[str, int, str]) -> None:
    """Black, white and greys only, so that a copier loses nothing."""
    found = colours(printed[case].pdf)
    assert {(0, 0, 0), (255, 255, 255)} <= found
    assert {colour for colour in found if max(colour) - min(colour) > 2} == set()


@pytest.mark.parametrize(
    "kind", ["handoff of 1", "handoff of 6", "handoff of 20", "access", "de-access", "dressing change"]
)
def test_the_checker_finds_no_violation(kind: str, tmp_path: Path) -> None:
    made = ward(int(kind.split()[-1])) if kind.startswith("handoff") else bedside(kind)
    found = violations(render(made, "html").decode(), tmp_path)
    assert [(one["id"], one["help"], one["nodes"][0]["html"][:200]) for one in found] == []


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
    return worksheet(view, kind, timeline.episode.port.septa[0])  # type: ignore[arg-type]


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


SHEETS = [
    (form, kind, awkward, paper)
    for form in ("docx", "html")
    for kind, awkward in (("access", False), ("access", True), ("de-access", True), ("dressing change", True))
    for paper in PAPERS
]


@pytest.fixture(scope="module")
def worksheets(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, str, bool, str], tuple[Sheet, Pages]]:
    folder = tmp_path_factory.mktemp("worksheets")
    paths = {}
    for number, (form, kind, awkward, paper) in enumerate(SHEETS):
        path = folder / f"sheet-{number}.{form}"
        path.write_bytes(render(bedside(kind, awkward), form, paper=paper))  # type: ignore[arg-type]
        paths[form, kind, awkward, paper] = path
    docx_to_pdf([path for path in paths.values() if path.suffix == ".docx"])
    return {
        case: (
            bedside(case[1], case[2]),
            read_pdf(path.with_suffix(".pdf") if path.suffix == ".docx" else html_to_pdf(path)),
        )
        for case, path in paths.items()
    }


@pytest.mark.parametrize("case", SHEETS, ids=lambda case: "-".join(map(str, case)))
def test_a_worksheet_is_one_leaf_of_paper(
    worksheets: dict[tuple[str, str, bool, str], tuple[Sheet, Pages]], case: tuple[str, str, bool, str]
) -> None:
    """Front and back, every blank on it, legible, and the head of the second page says whose it is."""
    made, pages = worksheets[case]
    assert pages.count <= 2
    told = squeezed(" ".join(word.text for word in pages.words))
    blanks = [blank for block in in_columns(made) if isinstance(block, Form) for blank in block.blanks]
    assert len(blanks) > 25
    for blank in blanks:
        assert squeezed(blank.label) in told, blank.label
        assert all(squeezed(choice) in told for choice in blank.choices), blank.label
    heights = sorted(word.bottom - word.top for word in pages.words if word.text.strip("_"))
    assert heights[0] > 8.5, "letters of 8 points take up that much with what reaches below the row"
    for page in range(1, pages.count + 1):
        assert made.running.split(";")[0] in " ".join(pages.rows(page))
        assert max(word.right for word in pages.words if word.page == page) < pages.width - 25


def squeezed(text: str) -> str:
    return re.sub(r"\s", "", text).replace("\u00a0", "")


def in_columns(made: Sheet) -> list[Block]:
    (columns,) = [block for block in made.blocks if isinstance(block, Columns)]
    return list(columns.blocks)


@pytest.mark.parametrize(
    ("old", "new", "rule"),
    [
        ('lang="en"', "", "html-has-lang"),
        (' role="img"', ' role="img" data-was', "svg-img-alt"),
        ("color: #000", "color: #ccc", "color-contrast"),
        ("<title>Handoff of ports</title>", "<title></title>", "document-title"),
    ],
)
def test_the_checker_would_find_one(old: str, new: str, rule: str, tmp_path: Path) -> None:
    page = render(ward(1), "html").decode()
    if rule == "svg-img-alt":
        page = re.sub(r' aria-label="[^"]*"', "", page)
    broken = page.replace(old, new, 1)
    assert broken != page or rule == "svg-img-alt"
    assert rule in {one["id"] for one in violations(broken, tmp_path)}


def test_the_checker_is_pinned() -> None:
    assert '"integrity": "sha512-' in (HERE / "package-lock.json").read_text("utf-8")


def test_docx_and_html_print_the_same_words(printed: dict[tuple[str, int, str], Printed]) -> None:
    def words(pages: Pages) -> list[str]:
        found = " ".join(w.text for w in pages.words if w.text not in ("•", "Page", "of"))
        return sorted(re.findall(r"[A-Za-z]{3,}", re.sub(r"-\s", "-", found)))

    for count in COUNTS:
        for paper in PAPERS:
            docx, html = (printed[form, count, paper].pages for form in ("docx", "html"))
            both = set(words(docx)) & set(words(html))
            assert set(words(docx)) == set(words(html)) == both
            assert len(both) > 100


def test_a_ward_of_twenty_fits_two_patients_to_a_page(printed: dict[tuple[str, int, str], Printed]) -> None:
    for form in ("docx", "html"):
        assert printed[form, 20, "a4"].pages.count <= 1 + 10 + 2
    assert len(unit_of_patients(20, ASOF)) == 20
    assert len(sheet(handed(unit_of_patients(20, ASOF))).blocks) == 4 + 20 + 1
