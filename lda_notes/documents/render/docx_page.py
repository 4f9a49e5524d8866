"""Paper, head and foot, and the styles of a docx file."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final

from docx.document import Document as DocumentObject
from docx.enum.style import WD_STYLE_TYPE
from docx.enum.text import WD_TAB_ALIGNMENT
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.section import Section
from docx.shared import Length, Mm, Pt, RGBColor
from docx.text.paragraph import Paragraph as DocxParagraph

from lda_notes.documents.blocks import Sheet
from lda_notes.documents.render import Paper, isolated, printable

_SIZES: Final[dict[Paper, tuple[Mm, Mm]]] = {"a4": (Mm(210), Mm(297)), "letter": (Mm(215.9), Mm(279.4))}
_FONT: Final = "Arial"
BETWEEN: Final = Mm(5.5)
"""Room between two columns."""


def facts(document: DocumentObject, sheet: Sheet) -> None:
    """Set the properties of the file: a title, and no author or time."""
    facts = document.core_properties
    facts.title = printable(sheet.title[:200])
    facts.author = facts.comments = facts.last_modified_by = facts.keywords = ""
    facts.created = facts.modified = datetime(2000, 1, 1)  # noqa: DTZ001 -- the library wants it naive
    facts.revision = 1


def page(section: Section, sheet: Sheet, paper: Paper) -> int:
    """Set paper and margins; return the room between the margins, in English metric units."""
    section.page_width, section.page_height = _SIZES[paper]
    margin = Mm(10) if sheet.dense else Mm(16)
    section.left_margin = section.right_margin = margin
    section.top_margin, section.bottom_margin = (Mm(12), Mm(11)) if sheet.dense else (Mm(20), Mm(18))
    section.header_distance = section.footer_distance = Mm(5) if sheet.dense else Mm(9)
    return int(_SIZES[paper][0] - 2 * margin)


def head_and_foot(section: Section, running: str, title: str, room: int) -> None:
    """Write what every page carries, with its number and their count."""
    head = section.header.paragraphs[0]
    head.style = "Running"
    head.text = isolated(printable(running))
    foot = section.footer.paragraphs[0]
    foot.style = "Running"
    foot.paragraph_format.tab_stops.add_tab_stop(Length(room), WD_TAB_ALIGNMENT.RIGHT)
    foot.add_run(isolated(printable(title)) + "\tPage ")
    _field(foot, "PAGE")
    foot.add_run(" of ")
    _field(foot, "NUMPAGES")


def _field(paragraph: DocxParagraph, name: str) -> None:
    """Add a field, such as the number of the page: the library has no call for it."""
    field = OxmlElement("w:fldSimple")
    field.set(qn("w:instr"), name)
    field.append(paragraph.add_run("1")._r)
    paragraph._p.append(field)


LOOKS: Final[dict[str, tuple[tuple[float, float, float], tuple[float, float, float]]]] = {
    "Normal": ((10.5, 0, 6), (10, 0, 1)), "Title": ((17, 0, 8), (14, 0, 3)),
    "Heading 1": ((17, 0, 8), (14, 0, 3)), "Heading 2": ((12.5, 14, 4), (10.5, 2, 1)),
    "Heading 3": ((10.5, 9, 3), (10, 3, 1)), "List Bullet": ((10.5, 0, 2), (10, 0, 0)),
    "Cell": ((9.5, 0, 0), (10, 0, 0)), "Box Item": ((10.5, 0, 2), (10, 0, 0)), "Before": ((10.5, 0, 2), (10, 0, 0)),
    "Stop": ((11, 0, 8), (10, 1, 2)), "Alert": ((10.5, 0, 8), (10, 0, 1)), "Sign": ((9.5, 13, 10), (10, 8, 4)),
    "Caution": ((9, 0, 2), (8.5, 0, 0)), "Running": ((8.5, 0, 0), (8.5, 0, 0)), "Gap": ((4, 0, 4), (2, 0, 0)),
    "Table Caption": ((10.5, 0, 2), (10, 3, 1)), "Blank": ((10.5, 8, 4), (10, 4, 0)),
    "Form": ((10.5, 0, 4), (10, 0, 0)), "Ticks": ((10.5, 0, 4), (10, 0.5, 0.5)), "Lead": ((10.5, 0, 0), (10, 1, 0)),
    "Fine": ((9, 0, 3), (8.5, 0, 1)),
}  # fmt: skip
"""Size of letters, room before and room after of each style, in points; of a dense sheet the second three."""

_OWN: Final = frozenset(LOOKS) - {"Normal", "Title", "Heading 1", "Heading 2", "Heading 3", "List Bullet"}
_FIXED: Final = frozenset({"Title", "Heading 1", "Caution", "Running", "Gap", "Fine"})
"""Styles whose letters do not follow the size of the sheet."""

_WITH_NEXT: Final = frozenset({"Title", "Heading 1", "Heading 2", "Heading 3", "Before", "Table Caption", "Lead"})
_BOLD: Final = frozenset({"Title", "Heading 1", "Heading 2", "Heading 3", "Before", "Table Caption", "Stop"})


def styles(document: DocumentObject, dense: bool, larger: float) -> None:
    """Make every style that the sheet uses, of its density."""
    for name, looks in LOOKS.items():
        new = name in _OWN
        style: Any = (
            document.styles.add_style(name, WD_STYLE_TYPE.PARAGRAPH)
            if new and name not in {style.name for style in document.styles}
            else document.styles[name]
        )
        size, before, after = looks[dense]
        if new:
            style.base_style = document.styles["Normal"]
        _font(style, size if name in _FIXED else size + larger, name in _BOLD)
        form = style.paragraph_format
        form.space_before, form.space_after = Pt(before), Pt(after)
        form.line_spacing = 1 if dense or name in ("Gap", "Running") else 1.15
        form.keep_with_next = name in _WITH_NEXT
        form.keep_together = True
        form.widow_control = True
        _border(style, _EDGES.get(name, {}))
    document.styles["Form"].paragraph_format.line_spacing = Pt(15 + 2 * (larger + 1) if dense else 20)
    document.styles["Lead"].font.italic = True
    bullet = document.styles["List Bullet"].paragraph_format
    bullet.left_indent, bullet.first_line_indent = Pt(11), Pt(-11)
    box = document.styles["Box Item"].paragraph_format
    box.left_indent, box.first_line_indent = Pt(13), Pt(-13)
    for name in ("Stop", "Alert"):
        form = document.styles[name].paragraph_format
        form.left_indent = form.right_indent = Pt(5)


_AROUND: Final = ("top", "left", "bottom", "right")
_EDGES: Final[dict[str, dict[str, int]]] = {
    "Heading 2": {"bottom": 12},
    "Stop": dict.fromkeys(_AROUND, 24),
    "Alert": dict.fromkeys(_AROUND, 12),
}
"""The edges of a style that are drawn, in eighths of a point."""


def _font(style: Any, size: float, bold: bool) -> None:
    style.font.name, style.font.size, style.font.bold = _FONT, Pt(size), bold
    style.font.color.rgb = RGBColor(0, 0, 0)
    fonts = style.element.rPr.find(qn("w:rFonts"))
    for key in [key for key in fonts.attrib if "Theme" in key]:
        del fonts.attrib[key]
    for key in ("w:cs", "w:eastAsia"):
        fonts.set(qn(key), _FONT)


def _border(style: Any, edges: dict[str, int]) -> None:
    """Draw the edges of a style and no others: the library has no call for it."""
    properties = style.element.get_or_add_pPr()
    for old in properties.findall(qn("w:pBdr")):
        properties.remove(old)
    if not edges:
        return
    border = OxmlElement("w:pBdr")
    for edge, width in edges.items():
        border.append(element(f"w:{edge}", val="single", sz=width, space=1, color="000000"))
    after = {qn(f"w:{name}") for name in ("shd", "tabs", "spacing", "ind", "contextualSpacing", "jc", "outlineLvl")}
    place = next((n for n, child in enumerate(properties) if child.tag in after), len(properties))
    properties.insert(place, border)


def element(name: str, **values: object) -> Any:
    """Return an element of the format with its attributes."""
    made = OxmlElement(name)
    for key, value in values.items():
        made.set(qn(f"w:{key}"), str(value))
    return made


def columns_of(section: Section, count: int) -> None:
    """Set the number of columns of a section."""
    for columns in section._sectPr.findall(qn("w:cols")):
        columns.set(qn("w:num"), str(count))
        columns.set(qn("w:space"), str(int(BETWEEN / 635)))
        columns.set(qn("w:sep"), "1" if count > 1 else "0")
