"""A sheet as text, Markdown, HTML or docx: the same words in each, and nothing computed here."""

from __future__ import annotations

import re
from typing import Final, Literal, assert_never

from lda_notes.documents.blocks import Alert, Block, Sheet

Format = Literal["text", "md", "html", "docx"]
Paper = Literal["a4", "letter"]

SUFFIXES: Final[dict[str, Format]] = {
    ".txt": "text",
    ".text": "text",
    ".md": "md",
    ".markdown": "md",
    ".html": "html",
    ".htm": "html",
    ".docx": "docx",
}
"""Which format the ending of a file's name asks for."""

ALERT_WORDS: Final = {"stop": "STOP: ", "caution": "CAUTION: ", "draft": ""}
"""The word before an alert, so that it is known by more than its looks; a draft's own text begins with DRAFT."""

NUMBER_AND_UNIT: Final = re.compile(
    r"(?<![\w.:])(\d+(?:[.,]\d+)*) ((?:mL|mm|mg|g|kg|units|gauge|seconds?|minutes?|hours?|days?|psi|[A-Z][a-z]{2,8})\b)"
)
"""A number and its unit, or a day and its month: every format keeps them on one row where it can."""

BLANK: Final = "_" * 12
"""A blank to be filled in by hand."""


def leading(sheet: Sheet) -> tuple[tuple[Alert, ...], tuple[Block, ...]]:
    """Return the stop alerts at the head of a sheet, which every format prints above the title, and all the rest."""
    count = 0
    for block in sheet.blocks:
        if not (isinstance(block, Alert) and block.level == "stop"):
            break
        count += 1
    return tuple(block for block in sheet.blocks[:count] if isinstance(block, Alert)), sheet.blocks[count:]


def asked(label: str) -> str:
    """Return the label of a blank as it stands before it: a question as it is, anything else with a colon."""
    return label if label.endswith("?") else f"{label}:"


def titled(sheet: Sheet) -> str:
    """Return the title with its status."""
    return f"{sheet.title} - {sheet.status}" if sheet.status else sheet.title


def render(sheet: Sheet, form: Format, width: int = 80, paper: Paper = "a4") -> bytes:
    """Return ``sheet`` in a format, encoded. ``width`` counts for text alone, ``paper`` for HTML and docx."""
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
        case _:
            assert_never(form)
