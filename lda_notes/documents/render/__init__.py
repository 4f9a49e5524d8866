"""A sheet as text, Markdown, HTML, docx or PDF: the same words in each, and nothing computed here."""

from __future__ import annotations

import calendar
import re
from collections.abc import Callable, Sequence
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

_UNIT: Final = (
    "mL|mm|mg|g|kg|cm|L|units?|gauge|inch|seconds?|minutes?|hours?|days?|weeks?|months?|years?|psi|attempts?|letters?"
)
_MONTH: Final = "|".join(f"{name}|{name[:3]}" for name in calendar.month_name[1:])
TOGETHER: Final = re.compile(
    rf"\b\d{{1,2}} (?:{_MONTH})\b(?: \d{{4}}\b| \d{{1,2}}:\d{{2}}\b)*|"  # 5 Mar 09:00, 5 March 2031
    rf"(?<![\w.:])\d+(?:[.,/]\d+)* (?:{_UNIT})\b(?: per (?:{_UNIT})\b)?|"  # 100 units per mL, 3/4 inch
    r"\b(?:[Dd]ay|[Rr]ow|[Rr]oom) \d+"
)
"""A date with its year or time, a number and its unit: every format keeps them on one row where it can."""

BLANK: Final = "_" * 12
"""A blank to be filled in by hand."""

MARK: Final = "\u25a0"
"""Before what must be seen first: a black square outlives a photocopier, as color and gray do not."""

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
    """Return ``text`` with spaces that do not break in dates and between numbers and their units."""
    return TOGETHER.sub(lambda found: found[0].replace(" ", "\u00a0"), text)


_LONG: Final = re.compile(r"[^\s\u00a0\u200b-]{25,}")
BREAK: Final = "\u200b"
"""A place where a word may break, without a sign of its own."""


def breakable(text: str) -> str:
    """Return ``text`` with places to break where a word is longer than a column: it never runs over the next."""
    return _LONG.sub(lambda word: BREAK.join(re.findall(".{1,8}", word[0])), text)


_MOST: Final = 24
"""A column is never wider than this for the sake of one word."""
ACROSS: Final = 88
"""How many letters of 10 points, in bold, stand side by side on a page."""


def fitted(table: Table, room: float = ACROSS, letters: Callable[[str], int] | None = None) -> list[int]:
    """Return how wide each column is, of ``room`` letters in all: as `widths` says, and no word is cut.

    ``letters`` says how wide a word is; without it as on paper. The sum is more than ``room`` where the longest words
    of all columns do not fit side by side.
    """
    total = sum(table.widths) or 1
    least = [
        _longest([(Line(name, bold=True),), *(row[place] for row in table.rows)], letters)
        for place, name in enumerate(table.columns)
    ]
    wide = [max(low, round(room * share / total)) for low, share in zip(least, table.widths, strict=True)]
    while sum(wide) > room and wide != least:
        spare = [one - low for one, low in zip(wide, least, strict=True)]
        wide[spare.index(max(spare))] -= 1
    return wide


def _longest(cells: Sequence[Cell], letters: Callable[[str], int] | None) -> int:
    """Return how many letters the longest word takes, with what stands before it; a hyphen ends a word."""
    longest = 3
    for cell in cells:
        for line in lines(cell):
            before = 4 * line.box + 3 * line.strong if letters else 2 * line.box + 1
            wide = letters or (_in_bold if line.bold or line.strong else _plain)
            longest = max(longest, *(before + wide(word) for word in re.split(r"[ \n]|(?<=-)", line.text)))
    return min(longest, _MOST)


def _in_bold(word: str) -> int:
    return len(word) + sum(map(str.isupper, word)) // 3 + 1


def _plain(word: str) -> int:
    return round(0.88 * _in_bold(word))


def spread(items: Sequence[str], count: int, room: float) -> list[list[str]]:
    """Return the items of a list in ``count`` columns about equally high, on a page of ``room`` letters."""
    high = [-(-len(item) // int(room * 1.2 / count - 3)) for item in items]
    for most in range(max(high, default=1), sum(high) + 1):
        columns: list[list[str]] = [[]]
        used = 0
        for item, rows in zip(items, high, strict=True):
            if used + rows > most:
                columns.append([])
                used = 0
            columns[-1].append(item)
            used += rows
        if len(columns) <= count:
            return columns + [[] for _ in range(count - len(columns))]
    return [list(items)]


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
    """Return the label of a blank as it is printed before it: a question as it is, anything else with a colon."""
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
