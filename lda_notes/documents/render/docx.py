"""A sheet as docx, through python-docx.

The same sheet gives the same bytes: dates inside the file are fixed, and no author, machine or time is in it.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterable, Sequence
from io import BytesIO
from typing import Final, assert_never

from docx import Document
from docx.document import Document as DocumentObject
from docx.enum.section import WD_SECTION
from docx.enum.text import WD_TAB_ALIGNMENT, WD_TAB_LEADER
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.shared import Length, Mm, Pt
from docx.table import Table as DocxTable
from docx.table import _Cell
from docx.text.paragraph import Paragraph as DocxParagraph

from lda_notes.documents.blocks import (
    Alert,
    Blanks,
    Block,
    Bullets,
    Cell,
    Columns,
    Fine,
    Form,
    Heading,
    NewPage,
    Pairs,
    Sheet,
    Signature,
    Table,
    Together,
)
from lda_notes.documents.render import (
    ACROSS,
    BOX,
    MARK,
    Paper,
    alert_text,
    asked,
    fitted,
    isolated,
    leading,
    lines,
    printable,
    spread,
    titled,
    unbroken,
)
from lda_notes.documents.render.docx_page import BETWEEN, LOOKS, columns_of, element, facts, head_and_foot, page, styles
from lda_notes.narrative.sentences import Paragraph

_STAMP: Final = (1980, 1, 1, 0, 0, 0)
Part = DocumentObject | _Cell
"""The containers that blocks are written into."""


def render(sheet: Sheet, paper: Paper = "a4") -> bytes:
    """Return the sheet as the bytes of a docx file."""
    document = Document()
    facts(document, sheet)
    section = document.sections[0]
    room = page(section, sheet, paper)
    styles(document, sheet.dense, sheet.size - 10 if sheet.dense else 0)
    head_and_foot(section, sheet.running, titled(sheet), room)
    writer = _Writer(document, titled(sheet), sheet.size if sheet.dense else 10.5)
    alerts, blocks = leading(sheet)
    writer.blocks(document, alerts, room)
    writer.paragraph(document, "Title", titled(sheet))
    writer.blocks(document, blocks, room)
    for caution in sheet.cautions:
        writer.paragraph(document, "Caution", caution)
    made = BytesIO()
    document.save(made)
    return _stamped(made)


def _stamped(made: BytesIO) -> bytes:
    """Return the file with the same date in every part."""
    out = BytesIO()
    with zipfile.ZipFile(made) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in sorted(old.namelist(), key=lambda n: (n != "[Content_Types].xml", n)):
            info = zipfile.ZipInfo(name, _STAMP)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o600 << 16
            new.writestr(info, old.read(name))
    return out.getvalue()


class _Writer:
    """Writes blocks into a document or a cell of it."""

    def __init__(self, document: DocumentObject, title: str, size: float) -> None:
        self.document = document
        self.letter = int(Pt(size) * _LETTER)
        self.across = ACROSS * 10 / size
        self.title = title
        # The library looks a style up by its name among all others for each paragraph; the names are few.
        self.style_ids = {name: document.styles[name].style_id for name in LOOKS}

    def paragraph(self, part: Part, style: str, text: str = "", bold: bool = False) -> DocxParagraph:
        """Add a paragraph; a cell's own first one is used before another is added."""
        first = part.paragraphs[0] if isinstance(part, _Cell) and _untouched(part) else None
        made = first or part.add_paragraph()
        made._p.style = self.style_ids[style]
        if text:
            self.run(made, text, bold)
        return made

    def run(self, paragraph: DocxParagraph, text: str, bold: bool = False) -> None:
        """Add words to a paragraph."""
        if text:
            run = paragraph.add_run(isolated(unbroken(printable(text))))
            if bold:
                run.bold = run.font.cs_bold = True  # the second is that of Hebrew or Arabic letters

    def blocks(self, part: Part, blocks: Iterable[Block], room: int) -> None:
        """Add blocks in their order."""
        for block in blocks:
            self.block(part, block, room)

    def block(self, part: Part, block: Block, room: int) -> None:
        """Add one block; ``room`` is how wide it may be, in English metric units."""
        match block:
            case Paragraph():
                made = self.paragraph(part, "Normal")
                self.run(made, f"{block.label} " if block.label else "", bold=True)
                self.run(made, " ".join(sentence.text for sentence in block.sentences))
            case Fine():
                made = self.paragraph(part, "Fine")
                self.run(made, f"{block.label} ", bold=True)
                self.run(made, " ".join(block.says))
            case Alert():
                style = "Stop" if block.level in ("stop", "mark") else "Alert"
                self.paragraph(part, style, alert_text(block))
            case Heading():
                self.paragraph(part, f"Heading {min(3, block.level)}", block.text)
            case Bullets():
                self.bullets(part, block, room)
            case Table():
                self.table(part, block, room)
            case Pairs():
                self.pairs(part, block, room)
            case Blanks():
                self.blanks(part, block, room)
            case Form():
                self.form(part, block, room)
            case Signature():
                self.signature(part, block, room)
            case NewPage():
                self.new_page(block, room)
            case Together():
                self.together(part, block, room)
            case Columns():
                self.columns(part, block, room)
            case _:
                assert_never(block)

    # -- what stays together, and where pages and columns begin --

    def together(self, part: Part, block: Together, room: int) -> None:
        """Keep blocks on one page. Chained paragraphs do, but not every program follows the chain through tables:
        those are put into one row that must not split, below their heading."""
        head = block.blocks[0] if isinstance(block.blocks[0], Heading) else None
        if head is None and not any(map(_as_table, block.blocks)):
            before = len(part.paragraphs)
            self.blocks(part, block.blocks, room)
            for made in part.paragraphs[before:-1]:
                made.paragraph_format.keep_with_next = True
            return
        if head:
            self.paragraph(part, f"Heading {min(3, head.level)}", head.text).paragraph_format.keep_with_next = True
        ((cell,),) = self.grid(part, 1, [room], ruled=False, margin=0)
        self.blocks(cell, block.blocks[1 if head else 0 :], room)
        self.gap(part)

    def new_page(self, block: NewPage, room: int) -> None:
        section = self.document.add_section(WD_SECTION.NEW_PAGE)
        if block.running:
            section.header.is_linked_to_previous = section.footer.is_linked_to_previous = False
            head_and_foot(section, block.running, self.title, room)

    def columns(self, part: Part, block: Columns, room: int) -> None:
        """Put blocks into two columns, in a section of their own."""
        two = self.document.add_section(WD_SECTION.CONTINUOUS)
        columns_of(two, 2)
        self.blocks(part, block.blocks, (room - BETWEEN) // 2)
        columns_of(self.document.add_section(WD_SECTION.CONTINUOUS), 1)

    def gap(self, part: Part) -> None:
        """Add a small empty row: two tables without one would grow together."""
        self.paragraph(part, "Gap")

    # -- tables --

    def grid(
        self, part: Part, rows: int, widths: Sequence[int], ruled: bool, margin: int | None = None
    ) -> list[tuple[_Cell, ...]]:
        """Add a table whose rows do not split and return its cells, row by row."""
        if isinstance(part, _Cell) and _untouched(part):
            self.gap(part)
        made = self.document.add_table(rows, len(widths)) if isinstance(part, DocumentObject) else part.add_table(
            rows, len(widths)
        )  # fmt: skip
        made.autofit = False
        if ruled:
            made.style = self.document.styles["Table Grid"]
        if margin is not None:
            _margins(made, margin)
        for column, width in zip(made.columns, widths, strict=True):
            column.width = Length(width)
        found = []
        for row in made.rows:
            row._tr.get_or_add_trPr().append(OxmlElement("w:cantSplit"))
            cells = row.cells
            for cell, width in zip(cells, widths, strict=True):
                cell.width = Length(width)
            found.append(cells)
        return found

    def table(self, part: Part, table: Table, room: int) -> None:
        if table.caption:
            self.paragraph(part, "Table Caption", table.caption)
        wide = fitted(table, self.across)
        widths = [room * one // sum(wide) for one in wide]
        head, *rows = self.grid(part, 1 + len(table.rows), widths, ruled=True, margin=Mm(1))
        _repeated(head[0])
        for cell, name in zip(head, table.columns, strict=True):
            self.paragraph(cell, "Cell", name, bold=True)
        for cells, said in zip(rows, table.rows, strict=True):
            for cell, words in zip(cells, said, strict=True):
                self.cell(cell, words)
        self.gap(part)

    def cell(self, cell: _Cell, words: Cell) -> None:
        for line in lines(words):
            made = self.paragraph(cell, "Cell")
            if line.box:
                made.paragraph_format.left_indent, made.paragraph_format.first_line_indent = Pt(13), Pt(-13)
            mark = (f"{BOX} " if line.box else "") + (f"{MARK} " if line.strong else "")
            self.run(made, mark + line.text if line.text else "", line.strong or line.bold)
        if not words:
            self.paragraph(cell, "Cell")

    def pairs(self, part: Part, pairs: Pairs, room: int) -> None:
        letters = max(len(label) for label, _ in pairs.rows)
        head = min(Mm(35), room // 2, int(Mm(3) + letters * Mm(1.95)))
        grid = self.grid(part, len(pairs.rows), [head, room - head], ruled=False, margin=Mm(0.5))
        for (left, right), (label, value) in zip(grid, pairs.rows, strict=True):
            self.paragraph(left, "Cell", f"{label}:", bold=True)
            self.paragraph(right, "Cell", value)
        self.gap(part)

    def bullets(self, part: Part, bullets: Bullets, room: int) -> None:
        if bullets.label:
            self.paragraph(part, "Before", bullets.label)
        style, mark = ("Box Item", f"{BOX} ") if bullets.boxes else ("List Bullet", "")
        if bullets.columns < 2:
            for item in bullets.items:
                self.paragraph(part, style, mark + item)
            self.gap(part)
            return
        columns = spread(bullets.items, bullets.columns, self.across)
        (cells,) = self.grid(part, 1, [room // bullets.columns] * bullets.columns, ruled=False, margin=Mm(0.5))
        for cell, items in zip(cells, columns, strict=True):
            for item in items:
                self.paragraph(cell, style, mark + item)
            if not items:
                self.gap(cell)
        self.gap(part)

    # -- what is filled in by hand --

    def blanks(self, part: Part, blanks: Blanks, room: int) -> None:
        if blanks.choices:
            made = self.paragraph(part, "Normal")
            self.run(made, blanks.label, bold=True)
            self.run(made, (f" ({blanks.hint})" if blanks.hint else "") + (" " if blanks.label[-1:] == "?" else ": "))
            self.run(made, "   ".join(map(_choice, blanks.choices)))
            return
        hint = f" ({blanks.hint})" if blanks.hint else ""
        labels = [(blanks.label, hint), *((name, "") for name in blanks.more)]
        heads = [
            min(room // (2 * len(labels)), int(Mm(1.9) * (len(name) + len(said) + 1) + Mm(3))) for name, said in labels
        ]
        line = (room - sum(heads)) // len(labels)
        (cells,) = self.grid(part, 1, [width for head in heads for width in (head, line)], ruled=False, margin=Mm(0.5))
        for place, (name, said) in enumerate(labels):
            made = self.paragraph(cells[2 * place], "Blank", name, bold=True)
            self.run(made, said + ("" if name.endswith("?") else ":"))
            _underline(cells[2 * place + 1])
            self.paragraph(cells[2 * place + 1], "Blank")
        self.gap(part)

    def form(self, part: Part, form: Form, room: int) -> None:
        """Put blanks into rows, as many to a row as fit; the line of the last one goes to the row's end."""
        rows: list[list[Blanks]] = []
        used = room
        for blank in form.blanks:
            wide = self.letter * (_width(blank) + 3)
            if used + wide > room:
                rows.append([])
                used = 0
            rows[-1].append(blank)
            used += wide
        if form.lead:
            self.paragraph(part, "Lead", form.lead)
        for row in rows:
            made = self.paragraph(part, "Ticks" if all(blank.choices for blank in row) else "Form")
            made.paragraph_format.tab_stops.add_tab_stop(Length(room), WD_TAB_ALIGNMENT.RIGHT, WD_TAB_LEADER.LINES)
            for place, blank in enumerate(row):
                self.field(made, blank, place == len(row) - 1)

    def field(self, paragraph: DocxParagraph, blanks: Blanks, last: bool) -> None:
        self.run(paragraph, asked(blanks.label), bold=True)
        self.run(paragraph, f" ({blanks.hint})" if blanks.hint else "")
        if blanks.choices:
            self.run(paragraph, f" {'  '.join(map(_choice, blanks.choices))}")
        else:
            paragraph.add_run(" \t" if last else f" {'_' * blanks.letters}")
        if not last:
            paragraph.add_run("    ")

    def signature(self, part: Part, signature: Signature, room: int) -> None:
        made = self.paragraph(part, "Normal")
        made.paragraph_format.keep_with_next = True
        self.run(made, f"{signature.note}: " if signature.note else "", bold=True)
        who = ", ".join(part or _GAP for part in (signature.name, signature.credential))
        self.run(made, who + (f" ({signature.signed_at})" if signature.signed_at else ""))
        sign = self.paragraph(part, "Sign", "Signature ")
        sign.add_run("\t")
        sign.paragraph_format.tab_stops.add_tab_stop(Length(room * 3 // 5), WD_TAB_ALIGNMENT.RIGHT, WD_TAB_LEADER.LINES)


_GAP: Final = "_" * 22
_LETTER: Final = 0.43
"""How wide a small letter is, as a share of the size of the letters."""


def _as_table(block: Block) -> bool:
    """Return whether a block is drawn as a table."""
    match block:
        case Table() | Pairs():
            return True
        case Bullets():
            return block.columns > 1
        case Blanks():
            return not block.choices
        case _:
            return False


def _untouched(cell: _Cell) -> bool:
    """Return whether a cell is as it was made: one empty paragraph without a style."""
    inside = cell._tc.inner_content_elements
    return len(inside) == 1 and len(inside[0]) == 0


def _width(blanks: Blanks) -> int:
    """Return how many letters a blank takes, its answer included."""
    answer = sum(len(choice) + 6 for choice in blanks.choices) if blanks.choices else blanks.letters
    return len(asked(blanks.label)) + (len(blanks.hint) + 3 if blanks.hint else 0) + 1 + answer


def _choice(choice: str) -> str:
    """Return a box with its word, in spaces that do not break."""
    return f"{BOX} {choice}".replace(" ", "\u00a0")


def _repeated(cell: _Cell) -> None:
    """Let the row of a cell be printed at the head of every page of its table."""
    cell._tc.getparent().get_or_add_trPr().append(OxmlElement("w:tblHeader"))


def _margins(table: DocxTable, margin: int) -> None:
    inside = OxmlElement("w:tblCellMar")
    for side in ("left", "right"):
        inside.append(element(f"w:{side}", w=int(margin / 635), type="dxa"))
    properties = table._tbl.tblPr
    before = properties.find(qn("w:tblLook"))
    properties.insert(len(properties) if before is None else list(properties).index(before), inside)


def _underline(cell: _Cell) -> None:
    edges = OxmlElement("w:tcBorders")
    edges.append(element("w:bottom", val="single", sz=6, space=0, color="000000"))
    cell._tc.get_or_add_tcPr().append(edges)
