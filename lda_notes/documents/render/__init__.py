"""A sheet as text, Markdown, HTML, docx or PDF: the same words in each, and nothing computed here."""

from __future__ import annotations

import re
from typing import Final, Literal, assert_never

from lda_notes.documents.blocks import BOX as BOX
from lda_notes.documents.blocks import Alert, Block, Cell, Line, Sheet, Table

Format = Literal["text", "md", "html", "docx", "pdf"]
Paper = Literal["a4", "letter"]

SUFFIXES: Final[dict[str, Format]] = {
    ".txt": "text",
    ".text": "text",
    ".md": "md",
    ".markdown": "md",
    ".html": "html",
    ".htm": "html",
    ".docx": "docx",
    ".pdf": "pdf",
}
"""Which format the ending of a file's name asks for."""

ALERT_WORDS: Final = {"stop": "STOP: ", "mark": "", "caution": "CAUTION: ", "draft": ""}
"""The word before an alert, so that it is known by more than its looks; a draft's own text begins with DRAFT."""

NUMBER_AND_UNIT: Final = re.compile(
    "(?<!\\d[ \u00a0])"
    r"\bday \d+|"
    r"(?<![\w.:])(\d+(?:[.,]\d+)*) ((?:mL|mm|mg|g|kg|units|gauge|seconds?|minutes?|hours?|days?|psi|[A-Z][a-z]{2,8})\b)"
)
"""A number and its unit, a day and its month or its number: every format keeps them on one row where it can."""

BLANK: Final = "_" * 12
"""A blank to be filled in by hand."""

MARK: Final = "\u25a0"
"""Before what must be seen first: a black square outlives a photocopier, as colour and grey do not."""

_RIGHT_TO_LEFT: Final = "\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc\U00010800-\U00010fff\U0001e800-\U0001efff"
RIGHT_TO_LEFT: Final = re.compile(f"[{_RIGHT_TO_LEFT}](?:[^\\w\n]*[{_RIGHT_TO_LEFT}])*")
"""Words of a script that runs from right to left, with what stands between them."""
_UNPRINTABLE: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")


def isolated(text: str) -> str:
    """Return ``text`` with words that run from right to left isolated, so that they turn nothing around them."""
    return text if text.isascii() else RIGHT_TO_LEFT.sub("\u2068\\g<0>\u2069", text)


def printable(text: str) -> str:
    """Return ``text`` with signs that no document may contain replaced."""
    return _UNPRINTABLE.sub("\ufffd", text)


def unbroken(text: str) -> str:
    """Keep a number and its unit on one row, by a space that does not break; quotations stay as entered."""
    return text if '"' in text else NUMBER_AND_UNIT.sub(lambda found: found[0].replace(" ", "\u00a0"), text)


def lines(cell: Cell) -> tuple[Line, ...]:
    """Return a cell as lines."""
    return (Line(cell),) if isinstance(cell, str) else cell


def written_on(table: Table) -> tuple[int, ...]:
    """Return the places of the columns that say something; the others are room to write by hand."""
    said = range(len(table.columns))
    return tuple(place for place in said if not table.rows or any(row[place] for row in table.rows)) or tuple(said)


def leading(sheet: Sheet) -> tuple[tuple[Alert, ...], tuple[Block, ...]]:
    """Return the stop alerts at the head of a sheet, which every format prints above the title, and all the rest."""
    count = 0
    for block in sheet.blocks:
        if not (isinstance(block, Alert) and block.level == "stop"):
            break
        count += 1
    return tuple(block for block in sheet.blocks[:count] if isinstance(block, Alert)), sheet.blocks[count:]


def alert_text(alert: Alert) -> str:
    """Return an alert in words as paper prints it: what must be seen first behind its mark, in a row of its own."""
    if alert.level == "mark":
        return "\n".join(f"{MARK} {row}" for row in alert.text.split("\n"))
    return ALERT_WORDS[alert.level] + alert.text


def asked(label: str) -> str:
    """Return the label of a blank as it stands before it: a question as it is, anything else with a colon."""
    return label if label.endswith("?") else f"{label}:"


def titled(sheet: Sheet) -> str:
    """Return the title with its status."""
    return f"{sheet.title} - {sheet.status}" if sheet.status else sheet.title


def render(sheet: Sheet, form: Format, width: int = 80, paper: Paper = "a4") -> bytes:
    """Return ``sheet`` in a format, encoded. ``width`` counts for text alone, ``paper`` for HTML, docx and PDF."""
    match form:
        case "text":
            from lda_notes.documents.render import text

            return text.render(sheet, width).encode()
        case "md":
            from lda_notes.documents.render import markdown

            return markdown.render(sheet).encode()
        case "html":
            from lda_notes.documents.render import html

            return html.render(sheet, paper).encode()
        case "docx":
            from lda_notes.documents.render import docx

            return docx.render(sheet, paper)
        case "pdf":
            from lda_notes.documents.render import pdf

            return pdf.render(sheet, paper)
        case _:
            assert_never(form)
