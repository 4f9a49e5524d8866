"""The vocabulary of a sheet: what a document says, before anybody decides how it looks.

A `Sheet` is a list of blocks. `render` turns the same sheet into text, Markdown, HTML, docx and PDF.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from lda_notes.narrative.sentences import Paragraph

BOX: Final = "\u2610"
"""A box to tick, on paper."""


@dataclass(frozen=True, slots=True)
class Alert:
    """Something that must be seen first.

    ``stop``: the line must not be used; ``mark``: a hold or a danger, which its own first word names; ``caution``: take
    care; ``draft``.
    """

    level: Literal["stop", "mark", "caution", "draft"]
    text: str


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; ``level`` 1 is the title of a sheet or of a part of it. ``anchor`` is what a row may link to."""

    text: str
    level: int = 2
    anchor: str = ""


@dataclass(frozen=True, slots=True)
class Bullets:
    """A short list. ``boxes`` draws an empty box before each item, to be ticked by hand.

    ``columns`` is how many items stand side by side on paper.
    """

    items: tuple[str, ...]
    label: str = ""
    boxes: bool = False
    columns: int = 1


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a cell or a list.

    ``strong``: it must be seen first, also on a photocopy; ``box``: a box to tick; ``bold``: in heavier letters alone.
    """

    text: str
    strong: bool = False
    box: bool = False
    bold: bool = False


Cell = str | tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under column heads. ``widths`` are shares of the page width; ``caption`` names the table.

    A column whose cells are all empty is room to write by hand: only paper has it. ``links`` names, for each row, the
    anchor of the heading that says more; empty for none.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    widths: tuple[int, ...]
    caption: str = ""
    links: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Fine:
    """Small print: statements that must be there and need not be read at the bedside."""

    label: str
    says: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NewPage:
    """The next block begins a page; ``running`` identifies the patient at its head, and on those that follow."""

    running: str = ""


@dataclass(frozen=True, slots=True)
class Pairs:
    """Labels with values, such as patient and room."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Blanks:
    """Lines to be filled in by hand; ``hint`` is printed small after the label, ``choices`` as boxes to tick.

    ``more`` are labels of further lines in the same row. ``letters`` is about how many letters the answer takes.
    """

    label: str
    hint: str = ""
    choices: tuple[str, ...] = ()
    more: tuple[str, ...] = ()
    letters: int = 24


@dataclass(frozen=True, slots=True)
class Form:
    """Blanks that stand several to a row on paper where they fit, in their order.

    ``lead`` says when they are to be filled in, such as "If nothing runs:"; empty for always.
    """

    blanks: tuple[Blanks, ...]
    lead: str = ""


@dataclass(frozen=True, slots=True)
class Signature:
    """Room for, or the text of, a signature. Empty values are drawn as blanks."""

    name: str
    credential: str
    signed_at: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Together:
    """Blocks that must stay on one page."""

    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Columns:
    """Blocks in two columns on paper, read down the first and then the second; they may go over several pages."""

    blocks: tuple[Block, ...]


Block = (
    Paragraph
    | Alert
    | Heading
    | Bullets
    | Table
    | Fine
    | Pairs
    | Blanks
    | Form
    | Signature
    | NewPage
    | Together
    | Columns
)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A whole document. ``status`` is printed with the title (such as DRAFT); ``cautions`` stand at its foot.

    ``running`` identifies the patient at the head of every printed page; empty when the sheet is about several.
    ``dense`` asks for narrow margins and little room between: much on a page, in letters of ``size`` points.
    """

    title: str
    blocks: tuple[Block, ...]
    status: str = ""
    cautions: tuple[str, ...] = ()
    running: str = ""
    dense: bool = False
    size: float = 10
