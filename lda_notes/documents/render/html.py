"""A sheet as one HTML file that stands alone: no script, no outside resource, legible in black and white, printable.

Text enters the page through ``Markup.format`` and an autoescaping template alone, so nothing in a record is markup.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final, assert_never

from jinja2 import FileSystemLoader, StrictUndefined, Template
from jinja2.sandbox import SandboxedEnvironment
from markupsafe import Markup, escape

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
    BOX,
    BREAK,
    MARK,
    RIGHT_TO_LEFT,
    Paper,
    alert_text,
    asked,
    breakable,
    leading,
    printable,
    titled,
    unbroken,
    written_on,
)
from lda_notes.files.resources import folder
from lda_notes.narrative.sentences import Paragraph

_PAGES: Final[dict[Paper, str]] = {"a4": "A4", "letter": "letter"}
_NOTHING: Final = Markup("")


@cache
def _page() -> Template:
    environment = SandboxedEnvironment(
        loader=FileSystemLoader(folder("note_templates")), autoescape=True, undefined=StrictUndefined, auto_reload=False
    )
    return environment.get_template("page.html.jinja")


def render(sheet: Sheet, paper: Paper = "a4") -> str:
    """Return the sheet as a whole HTML page."""
    alerts, blocks = leading(sheet)
    parts = _parts(blocks)
    page = _page().render(
        title=titled(sheet),
        alerts=_join(_alert(alert) for alert in alerts),
        body=_join(_section(part) for part in parts),
        heads=[(part.name, Markup(_css_text(part.running))) for part in parts if part.name],
        cautions=sheet.cautions,
        page=_PAGES[paper],
        dense=sheet.dense,
        size=sheet.size,
        running=Markup(_css_text(sheet.running)),
        foot=Markup(_css_text(titled(sheet))),
    )
    return printable(page)


@dataclass(frozen=True, slots=True)
class _Part:
    """Blocks of one patient: ``name`` is that of their printed pages, at whose head ``running`` stands; or none."""

    name: str
    running: str
    blocks: list[Block]


def _parts(blocks: Sequence[Block]) -> list[_Part]:
    """Return the blocks in parts, a part for each new page that names its patient."""
    parts = [_Part("", "", [])]
    for block in blocks:
        if isinstance(block, NewPage) and block.running:
            parts.append(_Part(f"of-{len(parts)}", block.running, []))
        else:
            parts[-1].blocks.append(block)
    return parts


def _section(part: _Part) -> Markup:
    inside = _join(_block(block) for block in part.blocks)
    if not part.name:
        return inside
    return Markup('<div class="new-page" style="page: {}">\n{}</div>\n').format(part.name, inside)


def _css_text(text: str) -> str:
    """Return ``text`` as it may stand between quotation marks in a style sheet: all but plain letters by number."""
    return "".join(sign if sign.isascii() and sign.isalnum() else f"\\{ord(sign):x} " for sign in text)


def _join(pieces: object) -> Markup:
    return _NOTHING.join(pieces)  # type: ignore[arg-type]  # Markup joins as str does


def _text(text: str) -> Markup:
    """Return text with its line breaks, no break within a date or before a unit, and right-to-left words isolated."""
    return Markup("<br>").join(map(_isolated, unbroken(text).split("\n")))


def _isolated(text: str) -> Markup:
    if text.isascii():
        return _breakable(text)
    pieces = []
    end = 0
    for found in RIGHT_TO_LEFT.finditer(text):
        pieces += [_breakable(text[end : found.start()]), Markup("<bdi>{}</bdi>").format(_breakable(found[0]))]
        end = found.end()
    return _join([*pieces, _breakable(text[end:])])


def _breakable(text: str) -> Markup:
    """Return text escaped, with places to break in words that are longer than a column."""
    return Markup("<wbr>").join(map(escape, breakable(text).split(BREAK)))


def _block(block: Block) -> Markup:
    match block:
        case Paragraph():
            label = Markup('<span class="label">{}</span> ').format(block.label) if block.label else _NOTHING
            sentences = Markup(" ").join(_text(sentence.text) for sentence in block.sentences)
            return Markup("<p>{}{}</p>\n").format(label, sentences)
        case Alert():
            return _alert(block)
        case Heading():
            level = Markup(str(min(6, max(2, block.level))))
            name = Markup(' id="{}"').format(block.anchor) if block.anchor else _NOTHING
            return Markup("<h{0}{2}>{1}</h{0}>\n").format(level, _text(block.text), name)
        case Bullets():
            return _bullets(block)
        case Table():
            return _table(block)
        case Pairs():
            return _pairs(block)
        case Blanks():
            return _blanks(block)
        case Form():
            lead = Markup("<em>{}</em> ").format(_text(block.lead)) if block.lead else _NOTHING
            inside = Markup(" ").join(_field(blank) for blank in block.blanks)
            return Markup('<p class="form">{}{}</p>\n').format(lead, inside)
        case Signature():
            return _signature(block)
        case Fine():
            label = Markup('<span class="label">{}</span> ').format(_text(block.label))
            return Markup('<p class="fine">{}{}</p>\n').format(label, Markup(" ").join(map(_text, block.says)))
        case NewPage():
            return Markup('<div class="new-page"></div>\n')
        case Columns():
            return Markup('<div class="columns">\n{}</div>\n').format(_join(_block(inner) for inner in block.blocks))
        case Together():
            return Markup('<div class="together">\n{}</div>\n').format(_join(_block(inner) for inner in block.blocks))
        case _:
            assert_never(block)


def _alert(alert: Alert) -> Markup:
    word = ALERT_WORDS[alert.level]
    said = _text(alert_text(alert).removeprefix(word))
    return Markup('<p class="alert {}">{}{}</p>\n').format(
        alert.level, Markup("<strong>{}</strong>").format(word) if word else _NOTHING, said
    )


def _bullets(bullets: Bullets) -> Markup:
    label = Markup('<p class="before">{}</p>\n').format(_text(bullets.label)) if bullets.label else _NOTHING
    box = Markup('<span class="box">&#9744;</span> ') if bullets.boxes else _NOTHING
    items = _join(Markup("<li>{}{}</li>\n").format(box, _text(item)) for item in bullets.items)
    look = " ".join([*(["boxes"] if bullets.boxes else []), *(["columns"] if bullets.columns > 1 else [])])
    return Markup('<div class="list">{}<ul{}>\n{}</ul></div>\n').format(
        label, Markup(' class="{}"').format(look) if look else _NOTHING, items
    )


def _table(table: Table) -> Markup:
    """Return a table whose roles are named: on a small screen each row is drawn as labels with values."""
    total = sum(table.widths) or 1
    hand = [Markup("") if place in written_on(table) else BY_HAND for place in range(len(table.columns))]
    columns = _join(Markup('<col style="width:{}%">').format(round(100 * share / total, 2)) for share in table.widths)
    heads = _join(Markup('<th role="columnheader" scope="col">{}</th>').format(_text(head)) for head in table.columns)
    links = table.links or ("",) * len(table.rows)
    rows = _join(_row(table, row, link, hand) for row, link in zip(table.rows, links, strict=True))
    caption = Markup("<caption>{}</caption>").format(_text(table.caption)) if table.caption else _NOTHING
    return Markup(
        '<table role="table">{}<colgroup>{}</colgroup>\n<thead role="rowgroup"><tr role="row">{}</tr></thead>\n'
        '<tbody role="rowgroup">\n{}</tbody></table>\n'
    ).format(caption, columns, heads, rows)


BY_HAND: Final = Markup(' class="by-hand"')
"""Room to write: on a small screen a line beside its label."""


def _row(table: Table, row: tuple[Cell, ...], link: str, hand: Sequence[Markup]) -> Markup:
    first, *rest = map(_cell, row)
    if link:
        first = Markup('<a href="#{}">{}</a>').format(link, first)
    head, *heads = table.columns
    return Markup('<tr role="row"><th role="rowheader" scope="row" data-head="{}">{}</th>{}</tr>\n').format(
        asked(head),
        first,
        _join(
            Markup('<td role="cell" data-head="{}"{}>{}</td>').format(asked(name), by, cell)
            for name, by, cell in zip(heads, hand[1:], rest, strict=True)
        ),
    )


def _cell(cell: Cell) -> Markup:
    if isinstance(cell, str):
        return _text(cell)
    said = []
    for line in cell:
        words = _text(line.text)
        if line.strong:  # after the box, as in every format
            words = Markup("<strong>{} {}</strong>").format(MARK, words)
        elif line.bold:
            words = Markup("<b>{}</b>").format(words)
        box = Markup('<span class="box">{}</span> ').format(BOX) if line.box else _NOTHING
        said.append(Markup('<span class="row{}">{}{}</span>').format(" ticked" if line.box else "", box, words))
    return _join(said)


def _pairs(pairs: Pairs) -> Markup:
    rows = _join(
        Markup("<div><dt>{}</dt> <dd>{}</dd></div>\n").format(_text(label), _text(value)) for label, value in pairs.rows
    )
    return Markup("<dl>\n{}</dl>\n").format(rows)


def _blanks(blanks: Blanks) -> Markup:
    hint = Markup(" <small>({})</small>").format(_text(blanks.hint)) if blanks.hint else _NOTHING
    if blanks.choices:
        fill = _choices(blanks)
    else:
        line = Markup('<span class="line"></span>')
        further = _join(Markup(' <span class="label">{}</span> {}').format(_text(name), line) for name in blanks.more)
        fill = Markup("{}{}").format(line, further)
    return Markup('<p class="blank"><span class="label">{}</span>{} {}</p>\n').format(_text(blanks.label), hint, fill)


def _choices(blanks: Blanks) -> Markup:
    return Markup(" ").join(
        Markup('<span class="choice"><span class="box">&#9744;</span> {}</span>').format(_text(choice))
        for choice in blanks.choices
    )


def _field(blanks: Blanks) -> Markup:
    """Return a blank as it is printed among others in a row."""
    hint = Markup(" <small>({})</small>").format(_text(blanks.hint)) if blanks.hint else _NOTHING
    asks = Markup('<span class="label">{}</span>{}').format(_text(asked(blanks.label)), hint)
    if blanks.choices:
        return Markup('<span class="field">{} {}</span>').format(asks, _choices(blanks))
    line = Markup('<span class="line" style="min-width:{}em"></span>').format(round(blanks.letters * 0.4, 1))
    return Markup('<span class="field write"><span>{}</span> {}</span>').format(asks, line)


def _signature(signature: Signature) -> Markup:
    line = Markup('<span class="gap"></span>')
    who = Markup(", ").join(_text(part) if part else line for part in (signature.name, signature.credential))
    role = Markup('<span class="label">{}:</span> ').format(signature.note) if signature.note else _NOTHING
    when = Markup(" ({})").format(_text(signature.signed_at)) if signature.signed_at else _NOTHING
    return Markup('<p class="signature">{}{}{}<span class="line sign">Signature</span></p>\n').format(role, who, when)
