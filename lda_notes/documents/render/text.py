"""A sheet as plain text, for the terminal and for pasting: no row wider than asked, by the width as displayed."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from typing import Final, assert_never

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
    ALERT_WORDS,
    BLANK,
    BOX,
    TOGETHER,
    asked,
    fitted,
    leading,
    lines,
    titled,
    written_on,
)
from lda_notes.narrative.sentences import Paragraph

_HELD: Final = "\x01"
"""Stands for a space at which no row may end; no record contains this character."""

NARROWEST: Final = 40
"""Narrower than this no sheet is legible; a smaller width is taken as this."""


def render(sheet: Sheet, width: int = 80) -> str:
    """Return the sheet with no row wider than ``width`` columns (`NARROWEST` at least), ending in a line break."""
    width = max(width, NARROWEST)
    alerts, blocks = leading(sheet)
    groups = [_alert(alert, width) for alert in alerts]
    title = wrap(titled(sheet), width)
    groups.append([*title, "=" * max(map(columns, title))])
    groups.extend(_block(block, width) for block in blocks)
    if sheet.cautions:
        groups.append(["-" * width, *(row for caution in sheet.cautions for row in wrap(caution, width))])
    return _apart(groups) + "\n"


def plain_paragraph(paragraph: Paragraph) -> str:
    """Return a paragraph as one unbroken row, for pasting where the other program breaks rows itself."""
    return " ".join(" ".join(sentence.text for sentence in paragraph.sentences).split())


def _apart(groups: list[list[str]]) -> str:
    return "\n\n".join("\n".join(rows) for rows in groups if rows)


def _block(block: Block, width: int) -> list[str]:
    match block:
        case Paragraph():
            label = f"{block.label} " if block.label else ""
            return wrap(label + " ".join(sentence.text for sentence in block.sentences), width)
        case Alert():
            return _alert(block, width)
        case Heading():
            return _heading(block, width)
        case Bullets():
            mark = "[ ] " if block.boxes else "- "
            head = wrap(block.label, width) if block.label else []
            items = [row for item in block.items for row in wrap(item, width, mark, " " * len(mark))]
            return [*head, *items]
        case Table():
            return list(_table(block, width))
        case Pairs():
            return _pairs(block, width)
        case Blanks():
            return _blanks(block, width)
        case Form():
            return _form(block, width)
        case Signature():
            return _signature(block, width)
        case Fine():
            return wrap(" ".join((block.label, *block.says)), width)
        case NewPage():
            return ["=" * width]
        case Together():
            return list(_together(block, width))
        case Columns():
            return "\n\n".join("\n".join(_block(inner, width)) for inner in block.blocks).split("\n")
        case _:
            assert_never(block)


def _alert(alert: Alert, width: int) -> list[str]:
    return wrap(ALERT_WORDS[alert.level] + alert.text, width, "!! ", "!! ")


def _heading(heading: Heading, width: int) -> list[str]:
    rows = wrap(heading.text, width)
    return [*rows, ("=" if heading.level == 1 else "-") * max(map(columns, rows))] if heading.level < 3 else rows


def _pairs(pairs: Pairs, width: int) -> list[str]:
    head = min(max((columns(label) for label, _ in pairs.rows), default=0) + 2, width // 2)
    rows = []
    for label, value in pairs.rows:
        said = f"{label}:"
        first = said + " " * (head - columns(said))
        rows.extend(wrap(value, width, first, " " * head) if columns(said) < head else wrap(f"{said} {value}", width))
    return rows


def _together(together: Together, width: int) -> Iterator[str]:
    """Yield blocks with an empty row between them; none between blanks."""
    before: Block | None = None
    for block in together.blocks:
        rows = _block(block, width)
        if rows:
            if before is not None and not (isinstance(before, Blanks | Form) and isinstance(block, Blanks | Form)):
                yield ""
            yield from rows
            before = block


def _blanks(blanks: Blanks, width: int) -> list[str]:
    label = asked(f"{blanks.label} ({blanks.hint})" if blanks.hint else blanks.label)
    if blanks.choices:
        boxes = "  ".join(f"[ ] {choice}".replace(" ", _HELD) for choice in blanks.choices)
        return wrap(f"{label} {boxes}", width, rest="    ")
    if blanks.more:
        names = (label, *map(asked, blanks.more))
        room = (width - sum(columns(name) + 3 for name in names) + 2) // len(names)
        blank = "_" * max(6, min(len(BLANK), room))
        return wrap("  ".join(f"{name} {blank}" for name in names), width, rest="  ")
    rows = wrap(label, width)
    room = width - columns(rows[-1]) - 1
    if room < len(BLANK):
        return [*rows, "_" * width]
    return [*rows[:-1], f"{rows[-1]} {'_' * room}"]


def _form(form: Form, width: int) -> list[str]:
    indent = "  " if form.lead else ""
    rows = [row for blank in form.blanks for row in _blanks(blank, width - len(indent))]
    return [*(wrap(form.lead, width) if form.lead else []), *(indent + row for row in rows)]


def _signature(signature: Signature, width: int) -> list[str]:
    who = ", ".join((signature.name or BLANK, signature.credential or BLANK))
    role = f"{signature.note}: " if signature.note else ""
    when = f" ({signature.signed_at})" if signature.signed_at else ""
    return wrap(f"{role}{who}{when}", width, rest="  ")


def _table(table: Table, width: int) -> Iterator[str]:
    if table.caption:
        yield from wrap(table.caption, width)
    shown = written_on(table)
    names = tuple(table.columns[place] for place in shown)
    rows = tuple(tuple(row[place] for place in shown) for row in table.rows)
    room = width - 2 * (len(names) - 1)
    widths = fitted(Table(names, rows, tuple(table.widths[place] for place in shown)), room, columns)
    if sum(widths) > room:  # no room for columns side by side
        yield from _stacked(names, rows, width)
        return
    yield from _row(names, widths)
    yield "  ".join("-" * wide for wide in widths)
    apart = any(not isinstance(cell, str) and len(cell) > 1 for row in rows for cell in row)
    for number, row in enumerate(rows):
        if apart and number:  # rows of several lines would run together
            yield ""
        yield from _row(row, widths)


def _row(cells: Sequence[Cell], widths: list[int]) -> Iterator[str]:
    wrapped = [_cell(cell, wide) for cell, wide in zip(cells, widths, strict=True)]
    for number in range(max(len(rows) for rows in wrapped)):
        pieces = [rows[number] if number < len(rows) else "" for rows in wrapped]
        yield "  ".join(p + " " * (w - columns(p)) for p, w in zip(pieces, widths, strict=True)).rstrip()


def _cell(cell: Cell, width: int) -> list[str]:
    rows: list[str] = []
    for line in lines(cell):
        mark = ("[ ] " if line.box else "") + ("!! " if line.strong else "")
        text = line.text.replace(BOX, f"[{_HELD}]").replace("\u00a0", _HELD)
        rows.extend(wrap(text, width, mark, " " * len(mark)))
    return rows or [""]


def _stacked(names: Sequence[str], rows: Sequence[Sequence[Cell]], width: int) -> Iterator[str]:
    """Yield each row of a table as labels with values."""
    for number, row in enumerate(rows):
        if number:
            yield ""
        for name, cell in zip(names, row, strict=True):
            if isinstance(cell, str):
                yield from wrap(f"{asked(name)} {cell}", width, rest="  ")
            else:
                yield from wrap(asked(name), width)
                yield from (f"  {said}" for said in _cell(cell, width - 2))


# -- width as displayed --


def columns(text: str) -> int:
    """Return how many columns ``text`` takes on a terminal: none for a mark above a letter, two for a wide letter."""
    if text.isascii():
        return len(text)
    return sum(_columns_of(sign) for sign in text)


def _columns_of(sign: str) -> int:
    if unicodedata.combining(sign) or unicodedata.category(sign) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(sign) in "WF" else 1


def wrap(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """Return ``text`` in rows of at most ``width`` columns; its own line breaks stay.

    ``first`` begins the first row, ``rest`` every other. A word that is wider than a row is broken.
    """
    rows: list[str] = []
    for line in text.split("\n"):
        held = TOGETHER.sub(lambda found: found[0].replace(" ", _HELD), line)
        rows.extend(_wrapped(held, width, rest if rows else first, rest))
    return [row.replace(_HELD, " ") for row in rows]


def _wrapped(line: str, width: int, first: str, rest: str) -> Iterator[str]:
    row, used, begun = first, columns(first), False
    for word in line.split(" "):
        wide = columns(word)
        if begun and not word and used == width:  # a space at the end of a row begins no other
            continue
        if begun and used + 1 + wide <= width:
            row, used = f"{row} {word}", used + 1 + wide
            continue
        if begun:
            yield row.rstrip(" ")
            row, used = rest, columns(rest)
        while used + wide > width:
            piece = _fitting(word, width - used)
            yield row + piece.rstrip(_HELD)
            word = word[len(piece) :]
            wide = columns(word)
            row, used = rest, columns(rest)
        row, used, begun = row + word, used + wide, True
    yield row.rstrip(" ")


def _fitting(word: str, room: int) -> str:
    """Return as much of a word as fits: up to a space or a hyphen in it, else so that no row begins with a comma."""
    used = fits = 0
    for fits, sign in enumerate(word):  # noqa: B007 -- how many letters fit
        used += _columns_of(sign)
        if used > room:
            break
    at = max(word.rfind(_HELD, 0, fits + 1), word.rfind("-", 0, fits)) + 1
    if at:
        return word[:at]
    while fits > 2 and not word[fits].isalnum():
        fits -= 1
    return word[: max(fits, 1)]
