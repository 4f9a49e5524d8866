"""A sheet as docx. Styles, page and header come from python-docx; the body is written as prepared XML, in one go.

The same sheet gives the same bytes: dates inside the file are fixed, and no author, machine or time is in it.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from datetime import datetime
from io import BytesIO
from itertools import count
from typing import Any, Final, assert_never

from docx import Document
from docx.document import Document as DocumentObject
from docx.enum.section import WD_ORIENT
from docx.enum.style import WD_STYLE_TYPE
from docx.oxml import parse_xml
from docx.oxml.ns import nsdecls, qn
from docx.shared import Mm, Pt, RGBColor

from lda_notes.documents.blocks import (
    Alert,
    Blanks,
    Block,
    Bullets,
    Columns,
    Form,
    Heading,
    Pairs,
    Sheet,
    Signature,
    Strip,
    Table,
    Together,
)
from lda_notes.documents.render import ALERT_WORDS, NUMBER_AND_UNIT, Paper, asked, leading, strip, titled
from lda_notes.narrative.sentences import Paragraph

_SIZES: Final[dict[Paper, tuple[Mm, Mm]]] = {"a4": (Mm(210), Mm(297)), "letter": (Mm(215.9), Mm(279.4))}
_MARGIN: Final = Mm(16)
_DENSE_MARGIN: Final = Mm(12)
_FONT: Final = "Arial"
_STAMP: Final = (1980, 1, 1, 0, 0, 0)
_KEEP: Final = "\x02"
"""Stands where a paragraph may be told to stay with the next one; no record holds this character."""
_ONE_COLUMN: Final = "\x03"
_TWO_COLUMNS: Final = "\x04"
"""Stand where a section of one column or of two ends."""
_BETWEEN: Final = 320
"""Room between two columns, in twentieths of a point."""


def render(sheet: Sheet, paper: Paper = "a4") -> bytes:
    """Return the sheet as the bytes of a docx file."""
    document, room = _skeleton(sheet, paper)
    frame = BytesIO()
    document.save(frame)
    return _zipped(frame, _body(sheet, room))


def _zipped(frame: BytesIO, body: Iterator[str]) -> bytes:
    """Copy the skeleton with fixed dates, the body put in before its last section mark."""
    out = BytesIO()
    with zipfile.ZipFile(frame) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in sorted(old.namelist(), key=lambda n: (n != "[Content_Types].xml", n)):
            info = zipfile.ZipInfo(name, _STAMP)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o600 << 16
            data = old.read(name)
            if name != "word/document.xml":
                new.writestr(info, data)
                continue
            head, mark, tail = data.rpartition(b"<w:sectPr")
            section = (mark + tail[: tail.index(b"</w:sectPr>")] + b"</w:sectPr>").decode()
            one, two = _going_on(section, 1), _going_on(section, 2)
            parted = False
            with new.open(info, "w") as file:
                file.write(head)
                for piece in body:
                    parted = parted or _ONE_COLUMN in piece
                    whole = piece.replace(_KEEP, "").replace(_ONE_COLUMN, one).replace(_TWO_COLUMNS, two)
                    file.write(whole.encode())
                last = one.encode() + tail.partition(b"</w:sectPr>")[2] if parted else mark + tail
                file.write(last)
    return out.getvalue()


def _going_on(section: str, columns: int) -> str:
    """Return the properties of a section that goes on where the one before it ends, in a number of columns."""
    going_on = section.replace("<w:pgSz", '<w:type w:val="continuous"/><w:pgSz', 1)
    number = f'<w:cols w:num="{columns}" w:space="{_BETWEEN}" w:sep="1"/>' if columns > 1 else '<w:cols w:space="720"/>'
    return re.sub(r"<w:cols[^>]*/>", number, going_on, count=1)


# -- the skeleton: page, header, styles --


def _skeleton(sheet: Sheet, paper: Paper) -> tuple[DocumentObject, int]:
    """Return an empty document for the sheet, and the room between its margins in twentieths of a point."""
    document = Document()
    facts = document.core_properties
    facts.title = sheet.title[:200]
    facts.author = facts.comments = facts.last_modified_by = facts.keywords = ""
    facts.created = facts.modified = datetime(2000, 1, 1)  # noqa: DTZ001 -- the library wants it naive
    facts.revision = 1
    section = document.sections[0]
    width, height = _SIZES[paper]
    if sheet.landscape:
        section.orientation = WD_ORIENT.LANDSCAPE
        width, height = height, width
    section.page_width, section.page_height = width, height
    margin = _DENSE_MARGIN if sheet.dense else _MARGIN
    section.left_margin = section.right_margin = margin
    section.top_margin, section.bottom_margin = (Mm(11), Mm(10)) if sheet.dense else (Mm(20), Mm(18))
    section.header_distance = section.footer_distance = Mm(5) if sheet.dense else Mm(9)
    room = int((width - 2 * margin) / 635)
    _styles(document)
    if sheet.dense:
        _shrink(document)
    _running(section.header, _run(sheet.running), room)
    _running(section.footer, f"{_run(titled(sheet))}<w:r><w:tab/></w:r>{_PAGE_OF}", room)
    return document, room


_PAGE_OF: Final = (
    '<w:r><w:t xml:space="preserve">Page </w:t></w:r><w:fldSimple w:instr="PAGE"><w:r><w:t>1</w:t></w:r></w:fldSimple>'
    '<w:r><w:t xml:space="preserve"> of </w:t></w:r>'
    '<w:fldSimple w:instr="NUMPAGES"><w:r><w:t>1</w:t></w:r></w:fldSimple>'
)


def _running(part: Any, runs: str, room: int) -> None:
    """Fill the head or the foot of every page."""
    paragraph = part.paragraphs[0]._p
    filled = parse_xml(
        f'<w:p {nsdecls("w")}><w:pPr><w:pStyle w:val="Running"/><w:tabs><w:tab w:val="clear" w:pos="4320"/>'
        f'<w:tab w:val="clear" w:pos="8640"/><w:tab w:val="right" w:pos="{room}"/></w:tabs></w:pPr>{runs}</w:p>'
    )
    paragraph.getparent().replace(paragraph, filled)


def _styles(document: DocumentObject) -> None:
    styles = document.styles
    normal = styles["Normal"]
    _font(normal, 10.5)
    normal.paragraph_format.space_after = Pt(6)
    normal.paragraph_format.line_spacing = 1.15
    normal.paragraph_format.widow_control = True
    for name, size, before, after in (("Title", 17, 0, 8), ("Heading 2", 12.5, 14, 4), ("Heading 3", 10.5, 9, 3)):
        style = styles[name]
        _font(style, size, bold=True)
        style.paragraph_format.space_before, style.paragraph_format.space_after = Pt(before), Pt(after)
        style.paragraph_format.keep_with_next = True
        _border(style, "bottom", 12) if name == "Heading 2" else _no_border(style)
    _font(styles["List Bullet"], 10.5)
    styles["List Bullet"].paragraph_format.space_after = Pt(2)
    for name, size, after in (
        ("Cell", 9.5, 0), ("Box Item", 10.5, 2), ("Before", 10.5, 2), ("Stop", 11, 8), ("Alert", 10.5, 8),
        ("Sign", 9.5, 10), ("Caution", 9, 2), ("Running", 8.5, 0), ("Gap", 4, 4), ("Table Caption", 10.5, 2),
        ("Blank", 10.5, 4), ("Form", 10.5, 4), ("Ticks", 10.5, 4), ("Lead", 10.5, 0),
    ):  # fmt: skip
        style = styles.add_style(name, WD_STYLE_TYPE.PARAGRAPH)
        style.base_style = normal
        style.font.size = Pt(size)
        style.font.bold = name in ("Before", "Stop", "Table Caption")
        style.paragraph_format.space_after = Pt(after)
        style.paragraph_format.keep_with_next = name in ("Before", "Table Caption")
        style.paragraph_format.keep_together = True
        if name in ("Stop", "Alert"):
            style.paragraph_format.left_indent = style.paragraph_format.right_indent = Pt(5)
            _boxed(style, 24 if name == "Stop" else 12)
    styles["Sign"].paragraph_format.space_before = Pt(13)
    styles["Blank"].paragraph_format.space_before = Pt(8)
    styles["Form"].paragraph_format.line_spacing = Pt(20)
    styles["Lead"].font.italic = True


_DENSE: Final[dict[str, tuple[float, float, float]]] = {
    "Normal": (8, 0, 2), "Title": (14, 0, 4), "Heading 2": (10, 5, 2), "Heading 3": (8.5, 3, 1),
    "List Bullet": (8, 0, 0), "Cell": (8, 0, 0), "Box Item": (8, 0, 0), "Before": (8, 0, 0), "Stop": (9, 2, 3),
    "Alert": (8.5, 1, 3), "Sign": (8, 8, 4), "Caution": (8, 0, 0), "Running": (8, 0, 0), "Gap": (2, 0, 0),
    "Table Caption": (8, 0, 0), "Blank": (8, 5, 2), "Form": (8, 0, 0), "Ticks": (8, 0.5, 0.5), "Lead": (8, 2, 0),
}  # fmt: skip
"""Letter size, room before and room after of each style of a dense sheet, in points."""
_ROW_TO_WRITE_ON: Final = Pt(14)


def _shrink(document: DocumentObject) -> None:
    for name, (size, before, after) in _DENSE.items():
        style = document.styles[name]
        style.font.size = Pt(size)
        style.paragraph_format.space_before, style.paragraph_format.space_after = Pt(before), Pt(after)
        style.paragraph_format.line_spacing = _ROW_TO_WRITE_ON if name == "Form" else 1
    bullet = document.styles["List Bullet"].paragraph_format
    bullet.left_indent, bullet.first_line_indent = Pt(9), Pt(-9)
    for name, width in (("Stop", 18), ("Alert", 12)):
        _boxed(document.styles[name], width, 1)


def _font(style: Any, size: float, bold: bool = False) -> None:
    style.font.name, style.font.size, style.font.bold = _FONT, Pt(size), bold
    style.font.color.rgb = RGBColor(0, 0, 0)
    fonts = style.element.rPr.find(qn("w:rFonts"))
    for key in [key for key in fonts.attrib if "Theme" in key]:
        del fonts.attrib[key]
    for key in ("w:cs", "w:eastAsia"):
        fonts.set(qn(key), _FONT)


def _no_border(style: Any) -> None:
    old = style.element.get_or_add_pPr().find(qn("w:pBdr"))
    if old is not None:
        old.getparent().remove(old)


def _put_border(style: Any, sides: str) -> None:
    _no_border(style)
    properties = style.element.get_or_add_pPr()
    border = parse_xml(f"<w:pBdr {nsdecls('w')}>{sides}</w:pBdr>")
    after = [qn(f"w:{name}") for name in ("shd", "tabs", "spacing", "ind", "contextualSpacing", "jc", "outlineLvl")]
    place = next((n for n, child in enumerate(properties) if child.tag in after), len(properties))
    properties.insert(place, border)


def _border(style: Any, side: str, size: int) -> None:
    _put_border(style, f'<w:{side} w:val="single" w:sz="{size}" w:space="1" w:color="000000"/>')


def _boxed(style: Any, size: int, space: int = 4) -> None:
    look = f'w:val="single" w:sz="{size}" w:space="{space}" w:color="000000"'
    _put_border(style, "".join(f"<w:{side} {look}/>" for side in ("top", "left", "bottom", "right")))


# -- the body --


def _body(sheet: Sheet, room: int) -> Iterator[str]:
    drawings = count(1)
    alerts, blocks = leading(sheet)
    for alert in alerts:
        yield _alert(alert)
    yield _paragraph("Title", _run(titled(sheet)))
    for block in blocks:
        yield _block(block, room, drawings)
    if sheet.cautions:
        yield _paragraph("Gap", "")
        for caution in sheet.cautions:
            yield _paragraph("Caution", _run(caution))


def _block(block: Block, room: int, drawings: Iterator[int]) -> str:
    match block:
        case Paragraph():
            label = _run(f"{block.label} ", bold=True) if block.label else ""
            return _paragraph("Normal", label + _run(" ".join(map(_unbroken, (s.text for s in block.sentences)))))
        case Alert():
            return _alert(block)
        case Heading():
            return _paragraph("Heading3" if block.level > 2 else "Heading2", _run(block.text))
        case Bullets():
            return _bullets(block, room)
        case Table():
            return _table(block, room)
        case Pairs():
            return _pairs(block, room)
        case Blanks():
            return _blanks(block, room)
        case Form():
            return _form(block, room)
        case Signature():
            return _signature(block, room)
        case Strip():
            return _paragraph("Normal", strip.docx(block, next(drawings)))
        case Together():
            return _together(block, room, drawings)
        case Columns():
            return _columns(block, room, drawings)
        case _:
            assert_never(block)


def _together(block: Together, room: int, drawings: Iterator[int]) -> str:
    """Keep blocks on one page. Chained paragraphs do, but not every program follows the chain through tables: those
    are put into one row that must not split, below their heading."""
    if not any(isinstance(inner, Table | Pairs) for inner in block.blocks):
        return _chained("".join(_block(inner, room, drawings) for inner in block.blocks))
    head = 1 if isinstance(block.blocks[0], Heading) else 0
    drawn = [
        _ruled(inner, room) if isinstance(inner, Blanks) and not inner.choices else _block(inner, room, drawings)
        for inner in block.blocks
    ]
    inside = "".join(drawn[head:]).replace(_KEEP, "")
    return (
        "".join(drawn[:head]).replace(_KEEP, "<w:keepNext/>")
        + f'<w:tbl><w:tblPr><w:tblW w:w="{room}" w:type="dxa"/><w:tblLayout w:type="fixed"/><w:tblCellMar>'
        '<w:left w:w="0" w:type="dxa"/><w:right w:w="0" w:type="dxa"/></w:tblCellMar></w:tblPr>'
        f'<w:tblGrid><w:gridCol w:w="{room}"/></w:tblGrid><w:tr><w:trPr><w:cantSplit/></w:trPr><w:tc><w:tcPr>'
        f'<w:tcW w:w="{room}" w:type="dxa"/></w:tcPr>{inside}</w:tc></w:tr></w:tbl>{_paragraph("Gap", "")}'
    )


def _chained(drawn: str) -> str:
    """Tell every paragraph but the last to stay with the next."""
    return drawn.replace(_KEEP, "<w:keepNext/>", max(0, drawn.count(_KEEP) - 1))


def _paragraph(style: str, runs: str, more: str = "", keep: str = _KEEP) -> str:
    return f'<w:p><w:pPr><w:pStyle w:val="{style}"/>{keep}{more}</w:pPr>{runs}</w:p>'


_UNSAFE: Final = re.compile("[&<>\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_SAFE: Final = {"&": "&amp;", "<": "&lt;", ">": "&gt;"}


def _xml(text: str) -> str:
    return _UNSAFE.sub(lambda found: _SAFE.get(found[0], "\ufffd"), text)


def _run(text: str, bold: bool = False) -> str:
    if not text:
        return ""
    look = "<w:rPr><w:b/></w:rPr>" if bold else ""
    rows = '</w:t><w:br/><w:t xml:space="preserve">'.join(_xml(text).split("\n"))
    return f'<w:r>{look}<w:t xml:space="preserve">{rows}</w:t></w:r>'


def _unbroken(text: str) -> str:
    """Keep a number and its unit on one row, by a space that does not break; quotations stay as entered."""
    return text if '"' in text else NUMBER_AND_UNIT.sub("\\1\u00a0\\2", text)


def _alert(alert: Alert) -> str:
    return _paragraph("Stop" if alert.level == "stop" else "Alert", _run(ALERT_WORDS[alert.level] + alert.text))


def _bullets(bullets: Bullets, room: int) -> str:
    label = _paragraph("Before", _run(bullets.label)) if bullets.label else ""
    style, mark = ("BoxItem", "[  ]  ") if bullets.boxes else ("ListBullet", "")
    if bullets.columns > 1:
        return label + _side_by_side([_paragraph(style, _run(mark + item)) for item in bullets.items], bullets, room)
    return label + "".join(_paragraph(style, _run(mark + item)) for item in bullets.items) + _paragraph("Gap", "")


def _side_by_side(items: list[str], bullets: Bullets, room: int) -> str:
    """Put items into columns of about the same height, read down one after the other."""
    a_row = room // bullets.columns // _LETTER
    heights = [1 + len(item) // a_row for item in bullets.items]
    columns: list[list[str]] = [[] for _ in range(bullets.columns)]
    used = 0
    for item, high in zip(items, heights, strict=True):
        columns[min(bullets.columns - 1, bullets.columns * used // sum(heights))].append(item)
        used += high
    cells = ["".join(column) or _paragraph("Gap", "") for column in columns]
    return _grid([(cells, False)], [room // bullets.columns] * bullets.columns, lines=False) + _paragraph("Gap", "")


_EDGES: Final = ("top", "left", "bottom", "right", "insideH", "insideV")


def _grid(rows: list[tuple[list[str], bool]], widths: list[int], lines: bool) -> str:
    """Return a table of prepared cells; the flag of a row marks a head that repeats on every page."""
    border = "".join(
        f'<w:{edge} w:val="{"single" if lines else "nil"}" w:sz="6" w:space="0" w:color="555555"/>' for edge in _EDGES
    )
    drawn = "".join(
        f"<w:tr><w:trPr><w:cantSplit/>{'<w:tblHeader/>' if head else ''}</w:trPr>"
        + "".join(
            f'<w:tc><w:tcPr><w:tcW w:w="{wide}" w:type="dxa"/></w:tcPr>{cell}</w:tc>'
            for cell, wide in zip(cells, widths, strict=True)
        )
        + "</w:tr>"
        for cells, head in rows
    )
    return (
        f'<w:tbl><w:tblPr><w:tblW w:w="{sum(widths)}" w:type="dxa"/><w:tblBorders>{border}</w:tblBorders>'
        '<w:tblLayout w:type="fixed"/><w:tblCellMar><w:left w:w="70" w:type="dxa"/><w:right w:w="70" w:type="dxa"/>'
        '</w:tblCellMar><w:tblLook w:val="0020" w:firstRow="1" w:lastRow="0" w:firstColumn="0" w:lastColumn="0" '
        f'w:noHBand="1" w:noVBand="1"/></w:tblPr><w:tblGrid>{"".join(f"""<w:gridCol w:w="{w}"/>""" for w in widths)}'
        f"</w:tblGrid>{drawn}</w:tbl>"
    )


def _cell(text: str, first: bool, bold: bool = False) -> str:
    # Only the first cell of a row carries the mark: one is enough to keep the row with the next.
    return _paragraph("Cell", _run(text, bold), keep=_KEEP if first else "")


def _table(table: Table, room: int) -> str:
    total = sum(table.widths) or 1
    widths = [room * share // total for share in table.widths]
    rows = [([_cell(head, n == 0, bold=True) for n, head in enumerate(table.columns)], True)]
    rows += [([_cell(cell, n == 0) for n, cell in enumerate(row)], False) for row in table.rows]
    caption = _paragraph("TableCaption", _run(table.caption)) if table.caption else ""
    return caption + _grid(rows, widths, lines=True) + _paragraph("Gap", "")


def _pairs(pairs: Pairs, room: int) -> str:
    wide = max(1, pairs.columns)
    head = min(2000, room // (2 * wide))
    if wide > 1:  # as wide as the longest label: a small letter takes about 95 twentieths of a point
        head = min(head, 140 + 95 * max((len(label) for label, _ in pairs.rows), default=0))
    widths = [head, room // wide - head] * wide
    rows = []
    for start in range(0, len(pairs.rows), wide):
        found = pairs.rows[start : start + wide]
        found += (("", ""),) * (wide - len(found))
        cells = [cell for n, (label, value) in enumerate(found) for cell in _pair(label, value, n == 0)]
        rows.append((cells, False))
    return _grid(rows, widths, lines=False) + _paragraph("Gap", "")


def _pair(label: str, value: str, first: bool) -> tuple[str, str]:
    return _cell(f"{label}:" if label else "", first, bold=True), _cell(value, False)


def _line_to(room: int) -> str:
    return f'<w:tabs><w:tab w:val="right" w:leader="underscore" w:pos="{room}"/></w:tabs>'


def _choice(choice: str) -> str:
    """Return a box with its word, in spaces that do not break."""
    return f"[  ] {choice}".replace(" ", "\u00a0")


def _columns(block: Columns, room: int, drawings: Iterator[int]) -> str:
    """Put blocks into two columns: what is before them ends a section, and so do they."""
    narrow = (room - _BETWEEN) // 2
    return (
        f'<w:p><w:pPr><w:pStyle w:val="Gap"/>{_ONE_COLUMN}</w:pPr></w:p>'
        + "".join(_block(inner, narrow, drawings) for inner in block.blocks)
        + f'<w:p><w:pPr><w:pStyle w:val="Gap"/>{_TWO_COLUMNS}</w:pPr></w:p>'
    )


_LETTER: Final = 86
"""How wide a small letter is, in twentieths of a point: a little more than most."""


def _form(form: Form, room: int) -> str:
    """Put blanks into rows, as many to a row as fit; the line of the last one goes to the row's end."""
    rows: list[list[Blanks]] = []
    used = room
    for blank in form.blanks:
        wide = _LETTER * (_width(blank) + 4)
        if used + wide > room:
            rows.append([])
            used = 0
        rows[-1].append(blank)
        used += wide
    lead = _paragraph("Lead", _run(form.lead), keep="<w:keepNext/>") if form.lead else ""
    return lead + "".join(_form_row(row, room) for row in rows)


def _width(blanks: Blanks) -> int:
    """Return how many letters a blank takes, its answer included."""
    answer = sum(len(choice) + 6 for choice in blanks.choices) if blanks.choices else blanks.letters
    return len(asked(blanks.label)) + (len(blanks.hint) + 3 if blanks.hint else 0) + 1 + answer


def _form_row(row: list[Blanks], room: int) -> str:
    fields = [_field(blank, blank is row[-1]) for blank in row]
    style = "Ticks" if all(blank.choices for blank in row) else "Form"
    return _paragraph(style, _run("    ").join(fields), _line_to(room))


def _field(blanks: Blanks, last: bool) -> str:
    hint = _run(f" ({blanks.hint})") if blanks.hint else ""
    said = _run(asked(blanks.label), bold=True) + hint
    if blanks.choices:
        return said + _run(f" {'  '.join(map(_choice, blanks.choices))}")
    return said + (_run(" ") + "<w:r><w:tab/></w:r>" if last else _run(f" {'_' * blanks.letters}"))


def _blanks(blanks: Blanks, room: int) -> str:
    hint = _run(f" ({blanks.hint})") if blanks.hint else ""
    label = _run(blanks.label, bold=True) + hint + _run(" " if blanks.label.endswith("?") else ": ")
    if blanks.choices:
        return _paragraph("Normal", label + _run("   ".join(map(_choice, blanks.choices))))
    if blanks.more:
        return _ruled(blanks, room)
    return _paragraph("Blank", f"{label}<w:r><w:tab/></w:r>", _line_to(room))


def _ruled(blanks: Blanks, room: int) -> str:
    """Return a row of blanks with ruled cells: inside a table, not every program draws a tab's line."""
    hint = f" ({blanks.hint})" if blanks.hint else ""
    labels = [(blanks.label, hint), *((name, "") for name in blanks.more)]
    heads = [min(room // (2 * len(labels)), 84 * (len(name) + len(said) + 1) + 260) for name, said in labels]
    line = (room - sum(heads)) // len(labels)
    ruled = '<w:tcBorders><w:bottom w:val="single" w:sz="6" w:space="0" w:color="000000"/></w:tcBorders>'
    cells = "".join(
        f'<w:tc><w:tcPr><w:tcW w:w="{head}" w:type="dxa"/></w:tcPr>'
        f"{_paragraph('Blank', _run(name, bold=True) + _run(f'{said}:'))}</w:tc>"
        f'<w:tc><w:tcPr><w:tcW w:w="{line}" w:type="dxa"/>{ruled}</w:tcPr>{_paragraph("Blank", "")}</w:tc>'
        for (name, said), head in zip(labels, heads, strict=True)
    )
    grid = "".join(f'<w:gridCol w:w="{head}"/><w:gridCol w:w="{line}"/>' for head in heads)
    return (
        f'<w:tbl><w:tblPr><w:tblW w:w="{room}" w:type="dxa"/><w:tblLayout w:type="fixed"/></w:tblPr>'
        f"<w:tblGrid>{grid}</w:tblGrid><w:tr>{cells}</w:tr></w:tbl>{_paragraph('Gap', '')}"
    )


_GAP: Final = "_" * 22


def _signature(signature: Signature, room: int) -> str:
    who = ", ".join(part or _GAP for part in (signature.name, signature.credential))
    role = _run(f"{signature.note}: ", bold=True) if signature.note else ""
    when = f" ({signature.signed_at})" if signature.signed_at else ""
    text = _paragraph("Normal", role + _run(who + when), keep="<w:keepNext/>")
    return text + _paragraph("Sign", f"{_run('Signature ')}<w:r><w:tab/></w:r>", _line_to(room * 3 // 5))
