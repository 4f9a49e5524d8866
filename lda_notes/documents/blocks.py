"""The vocabulary of a sheet: what a document says, before anybody decides how it looks.

A `Sheet` is a list of blocks. `render` turns the same sheet into text, Markdown, HTML and docx; a block that one
format cannot draw has a plain form for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from lda_notes.narrative.sentences import Paragraph


@dataclass(frozen=True, slots=True)
class Alert:
    """Something that must be seen first. ``stop``: the line must not be used; ``caution``: take care; ``draft``."""

    level: Literal["stop", "caution", "draft"]
    text: str


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; ``level`` 1 is the sheet's own title."""

    text: str
    level: int = 2


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
class Table:
    """Rows under column heads. ``widths`` are shares of the page width; ``caption`` names the table."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[int, ...]
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Pairs:
    """Labels with values, such as patient and room."""

    rows: tuple[tuple[str, str], ...]
    columns: int = 1


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
class Span:
    """One stretch of a strip, drawn in the row named ``row``.

    ``start`` None means that it began before the strip or nobody knows when; ``end`` None that it still lasts: it is
    drawn up to ``now``.
    """

    row: str
    kind: Literal["needle", "dressing", "hold", "thrombolytic"]
    start: datetime | None
    end: datetime | None
    label: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A due time on a strip, drawn in the row named ``row``.

    ``late``: it has passed, or it is now. ``beyond``: it lies after the strip's end, so only its label is drawn.
    """

    row: str
    at: datetime
    label: str
    late: bool = False
    beyond: bool = False


@dataclass(frozen=True, slots=True)
class Strip:
    """A picture of days from ``start`` to ``end``, both midnights: stays of needle and dressing, holds, due marks.

    All moments are in the zone that the days are drawn in. ``says`` is its text alternative. Rows stand in the order
    of ``rows``.
    """

    start: datetime
    end: datetime
    now: datetime
    rows: tuple[str, ...]
    spans: tuple[Span, ...]
    marks: tuple[Mark, ...]
    says: str


@dataclass(frozen=True, slots=True)
class Together:
    """Blocks that must stay on one page."""

    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Columns:
    """Blocks in two columns on paper, read down the first and then the second; they may go over several pages."""

    blocks: tuple[Block, ...]


Block = Paragraph | Alert | Heading | Bullets | Table | Pairs | Blanks | Form | Signature | Strip | Together | Columns


@dataclass(frozen=True, slots=True)
class Sheet:
    """A whole document. ``status`` is printed with the title (such as DRAFT); ``cautions`` stand at its foot.

    ``running`` identifies the patient at the head of every printed page; empty when the sheet is about several.
    ``dense`` asks for small letters and narrow margins: much on a page.
    """

    title: str
    blocks: tuple[Block, ...]
    status: str = ""
    cautions: tuple[str, ...] = ()
    landscape: bool = False
    running: str = ""
    dense: bool = False
