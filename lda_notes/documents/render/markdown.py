"""A sheet as Markdown: CommonMark with the tables of GitHub's dialect. What the record says is never markup."""

from __future__ import annotations

import re
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
    Line,
    NewPage,
    Pairs,
    Sheet,
    Signature,
    Table,
    Together,
)
from lda_notes.documents.render import MARK, alert_text, leading, lines, titled, written_on
from lda_notes.narrative.sentences import Paragraph

_SPECIAL: Final = re.compile(r"[\\`*_\[\]<>&~|$]")
_AT_START: Final = re.compile(r"^(\s*)([#+=-]|\d+[.)])")
_LINKS: Final = re.compile(r"(?i)(https?|ftp)(:)|(www)(\.)|(@)")
_ENDS: Final = re.compile(r"^ +| +$")
"""Four spaces before a row make it code, two behind it a line break: one says the same here."""
_CLOSING: Final = re.compile(r"(?<!\\)#+$")
_BREAK: Final = "\\\n"


def render(sheet: Sheet) -> str:
    """Return the sheet as Markdown, ending in a line break."""
    alerts, blocks = leading(sheet)
    pieces = [_alert(alert) for alert in alerts]
    pieces.append(f"# {_title(titled(sheet))}")
    pieces.extend(_block(block) for block in blocks)
    if sheet.cautions:
        pieces.append("---")
        pieces.extend(escape(caution) for caution in sheet.cautions)
    return "\n\n".join(piece for piece in pieces if piece) + "\n"


def escape(text: str) -> str:
    """Return ``text`` so that Markdown prints it as it is; its line breaks stay as line breaks."""
    return _BREAK.join(_escape_row(row) for row in text.split("\n"))


def _escape_row(row: str) -> str:
    if not row.strip(" "):
        return "&#32;"
    row = _ENDS.sub(" ", _SPECIAL.sub(lambda found: "\\" + found[0], row))
    row = _LINKS.sub(lambda found: (found[1] or found[3] or "") + "\\" + (found[2] or found[4] or found[5]), row)
    start = _AT_START.match(row)
    if start is None:
        return row
    mark = start[2]
    return row[: start.start(2)] + (mark[:-1] + "\\" + mark[-1]) + row[start.end(2) :]


def _block(block: Block) -> str:
    match block:
        case Paragraph():
            label = f"{_bold(block.label)} " if block.label else ""
            return label + escape(" ".join(sentence.text for sentence in block.sentences))
        case Alert():
            return _alert(block)
        case Heading():
            return f"{'#' * max(2, block.level)} {_title(block.text)}"
        case Bullets():
            mark = "- [ ] " if block.boxes else "- "
            label = f"{escape(block.label)}\n\n" if block.label else ""
            return label + "\n".join(mark + _one_row(item) for item in block.items)
        case Table():
            return _table(block)
        case Pairs():
            return _BREAK.join(f"{_bold(f'{label}:')} {_one_row(value)}" for label, value in block.rows)
        case Blanks():
            return _blanks(block)
        case Form():
            return "\n\n".join([*([escape(block.lead)] if block.lead else []), *map(_blanks, block.blanks)])
        case Signature():
            return _signature(block)
        case Fine():
            return f"{_bold(block.label)} " + escape(" ".join(block.says))
        case NewPage():
            return "---"
        case Together() | Columns():
            return "\n\n".join(filter(None, map(_block, block.blocks)))
        case _:
            assert_never(block)


def _one_row(text: str) -> str:
    """Return ``text`` for a place that cannot contain a line break but by mark-up of its own."""
    return escape(text).replace(_BREAK, "<br>")


def _title(text: str) -> str:
    """Return ``text`` for a heading, at whose end number signs would vanish."""
    return _CLOSING.sub(lambda found: "\\" + found[0], _one_row(text))


def _bold(text: str) -> str:
    """Return ``text`` in strong emphasis, which must not begin or end with white space; a space must follow it."""
    said = _one_row(text.strip())
    return f"**{said}**" if said and not said.startswith("&#32;") else said


def _alert(alert: Alert) -> str:
    return f"> {_bold(alert_text(alert))}"


def _table(table: Table) -> str:
    shown = written_on(table)
    rows = [table.columns, *table.rows]
    drawn = ["| " + " | ".join(_cell(row[place]) for place in shown) + " |" for row in rows]
    drawn.insert(1, "|" + " --- |" * len(shown))
    caption = f"{escape(table.caption)}\n\n" if table.caption else ""
    return caption + "\n".join(drawn)


def _cell(cell: Cell) -> str:
    said = []
    for line in lines(cell):
        text = _one_row(line.text) if line.text else " "
        said.append((r"\[ \] " if line.box else "") + _worded(line, text))
    return "<br>".join(said) or " "


def _worded(line: Line, text: str) -> str:
    if line.strong:
        return _bold(f"{MARK} {line.text}")
    return _bold(line.text) if line.bold else text


_LINE: Final = r"\_" * 12


def _blanks(blanks: Blanks) -> str:
    hint = f" ({escape(blanks.hint)})" if blanks.hint else ""
    fill = " ".join(rf"\[ \] {escape(choice)}" for choice in blanks.choices) if blanks.choices else _LINE * 3
    further = "".join(f" {_bold(name)}: {_LINE}" for name in blanks.more)
    colon = "" if blanks.label.endswith("?") else ":"
    return f"{_bold(blanks.label)}{hint}{colon} {fill}{further}"


def _signature(signature: Signature) -> str:
    who = ", ".join(escape(part) if part else _LINE for part in (signature.name, signature.credential))
    role = f"{_bold(f'{signature.note}:')} " if signature.note else ""
    when = f" ({escape(signature.signed_at)})" if signature.signed_at else ""
    return f"{role}{who}{when}"
