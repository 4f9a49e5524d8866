"""Draws a `Strip`: as plain characters, as SVG, and as a drawing for docx. Legible in black and white.

A picture is first a list of plain shapes in points (72 to an inch); SVG and docx draw the same list.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from html import escape
from typing import Final, Literal, assert_never

from lda_notes.documents.blocks import Span, Strip

_LETTERS: Final = {"needle": "=", "dressing": "-", "hold": "X", "thrombolytic": "~"}
_LEGEND: Final = {
    "needle": "= needle in",
    "dressing": "- dressing on",
    "hold": "X on hold",
    "thrombolytic": "~ thrombolytic dwelling",
}


def position(strip: Strip, moment: datetime, width: float) -> float:
    """Return how far along a strip of ``width`` a moment lies; by elapsed time, cut off at both ends."""
    start, end, at = (m.astimezone(UTC) for m in (strip.start, strip.end, moment))
    return width * max(0.0, min(1.0, (at - start) / (end - start)))


def days(strip: Strip) -> list[datetime]:
    """Return the midnight at which each day of the strip begins."""
    zone = strip.start.tzinfo
    count = (strip.end.date() - strip.start.date()).days
    return [datetime.combine(strip.start.date() + timedelta(days=n), time(), zone) for n in range(count)]


def _extent(strip: Strip, span: Span, width: float) -> tuple[float, float]:
    start = 0.0 if span.start is None else position(strip, span.start, width)
    return start, position(strip, span.end or strip.now, width)


# -- plain characters --


def text(strip: Strip, width: int) -> list[str]:
    """Return the strip in rows of at most ``width`` characters, 40 at least, all of them plain ASCII."""
    head = max(len(row) for row in (*strip.rows, "day")) + 1
    room = max(width, 40) - head
    now = min(room - 1, int(position(strip, strip.now, room)))
    rows = [" " * head + _scale(strip, room)]
    rows.extend(f"{row:<{head}}" + _characters(strip, row, room, now) for row in strip.rows)
    used = dict.fromkeys(span.kind for span in strip.spans)
    legend = ", ".join([*(_LEGEND[kind] for kind in used), ": now", "* due", *_late_legend(strip)])
    return [row.rstrip() for row in (*rows, *_wrapped(legend, head, max(width, 40)))]


def _late_legend(strip: Strip) -> list[str]:
    return ["! due now or overdue"] if any(mark.late for mark in strip.marks) else []


def _wrapped(legend: str, indent: int, width: int) -> list[str]:
    rows = [""]
    for piece in legend.split(", "):
        longer = f"{rows[-1]}, {piece}" if rows[-1] else piece
        if len(longer) <= width - indent:
            rows[-1] = longer
        else:
            rows.append(piece)
    return [" " * indent + row for row in rows]


def _scale(strip: Strip, room: int) -> str:
    cells = [" "] * room
    free = 0
    wide = room / max(1, len(days(strip)))
    for day in days(strip):
        at = int(position(strip, day, room))
        said = _day(day, strip, wide >= 7)
        if at >= free and at + len(said) <= room:
            cells[at : at + len(said)] = said
            free = at + len(said) + 1
    return "".join(cells)


def _day(day: datetime, strip: Strip, wide: bool) -> str:
    """Return what stands over a day: its weekday where there is room; the month where it begins."""
    if day == strip.start or day.day == 1:
        return f"{day.day} {day:%b}"
    return f"{day:%a} {day.day}" if wide else f"{day.day}"


def _characters(strip: Strip, row: str, room: int, now: int) -> str:
    cells = [" "] * room
    for day in days(strip):
        cells[min(room - 1, int(position(strip, day, room)))] = "."
    cells[now] = ":"
    for span in (s for s in strip.spans if s.row == row):
        start, end = (int(edge) for edge in _extent(strip, span, room))
        for at in range(start, max(end, start + 1)):
            if at < room:
                cells[at] = _LETTERS[span.kind]
        if end - start > 1 and start < room:  # two stays that touch must not look like one
            cells[start] = "?" if span.start is None else "["
        if span.kind == "hold" and span.end is None:
            _beside(cells, min(room - 1, max(end - 1, now)), span.label)
    for mark in (m for m in strip.marks if m.row == row):
        at = min(room - 1, int(position(strip, mark.at, room)))
        if mark.beyond:
            _beside(cells, room, mark.label)
            continue
        cells[at] = "!" if mark.late else "*"
        _beside(cells, at, mark.label)
    return "".join(cells)


def _beside(cells: list[str], at: int, label: str) -> None:
    """Write a label right of a mark, else left of it, where nothing else stands; where there is no room, nowhere."""
    for start in (at + 2, at - 1 - len(label)):
        span = slice(start, start + len(label))
        if start >= 0 and start + len(label) <= len(cells) and set(cells[span]) <= {" ", "."}:
            cells[span] = label
            return


# -- shapes --

WIDTH: Final = 520.0
_HEAD: Final = 74.0
_ROW: Final = 11.0
_SCALE: Final = 10.0
_SIZE: Final = 7.0


@dataclass(frozen=True, slots=True)
class _Box:
    x: float
    y: float
    width: float
    height: float
    fill: Literal["white", "grey", "hatched", "black", "blank"]


@dataclass(frozen=True, slots=True)
class _Stroke:
    x: float
    y: float
    to_x: float
    to_y: float
    style: Literal["thin", "dashed", "bold"]


@dataclass(frozen=True, slots=True)
class _Diamond:
    x: float
    y: float
    size: float
    filled: bool


@dataclass(frozen=True, slots=True)
class _Words:
    """Text whose middle stands at ``y``; ``x`` is its left end, its middle or its right end by ``anchor``."""

    x: float
    y: float
    text: str
    anchor: Literal["start", "middle", "end"] = "start"
    bold: bool = False


_Shape = _Box | _Stroke | _Diamond | _Words


def height(strip: Strip) -> float:
    """Return the height of the picture, in points."""
    return _SCALE + _ROW * len(strip.rows) + 2


def _shapes(strip: Strip) -> Iterator[_Shape]:
    room = WIDTH - _HEAD - 1
    bottom = height(strip) - 2
    step = room / max(1, len(days(strip)))
    taken = []
    for day in days(strip):
        x = _HEAD + position(strip, day, room)
        label = _day(day, strip, step >= 30)
        taken.append((x, x + 4 + _length(label)))
        yield _Stroke(x, _SCALE, x, bottom, "thin")
        yield _Words(x + 2, _SCALE / 2, label)
    yield _Stroke(_HEAD + room, _SCALE, _HEAD + room, bottom, "thin")
    for number, row in enumerate(strip.rows):
        top = _SCALE + _ROW * number
        yield _Stroke(0, top, WIDTH - 1, top, "thin")
        yield _Words(0, top + _ROW / 2, row)
        yield from _row(strip, row, top, room)
    yield _Stroke(0, bottom, WIDTH - 1, bottom, "thin")
    now = _HEAD + position(strip, strip.now, room)
    yield _Stroke(now, _SCALE, now, bottom, "bold")
    yield from _now(now, taken)


def _now(x: float, taken: list[tuple[float, float]]) -> Iterator[_Shape]:
    """Name the line of now beside it, above it or nowhere: the days have the room first."""
    wide = _length("now")
    for start in (x - wide / 2, x + 1, x - 1 - wide):
        if start + wide <= WIDTH and all(start >= end or start + wide <= begin for begin, end in taken):
            yield _Words(start, _SCALE / 2, "now", bold=True)
            return


def _row(strip: Strip, row: str, top: float, room: float) -> Iterator[_Shape]:
    middle = top + _ROW / 2
    now = _HEAD + position(strip, strip.now, room)
    for span in (s for s in strip.spans if s.row == row):
        yield from _bar(strip, span, top, room)
    for mark in (m for m in strip.marks if m.row == row):
        x = _HEAD + position(strip, mark.at, room)
        if mark.beyond:
            yield _clear(WIDTH - 4 - _length(mark.label), top, mark.label)
            yield _Words(WIDTH - 4, middle, mark.label, "end")
            continue
        right = x + 7 + _length(mark.label) <= WIDTH
        free = x - 4 if right else x - 10 - _length(mark.label)
        if free > now:
            yield _Stroke(now, middle, free, middle, "dashed")
        yield _Diamond(x, middle, 3.5, mark.late)
        at = x + 7 if right else x - 7
        if right and x <= now < at + _length(mark.label):  # words across the line of now would be hard to read
            at = max(at, now + 4)
        yield _clear(at if right else at - _length(mark.label), top, mark.label)
        yield _Words(at, middle, mark.label, "start" if right else "end", mark.late)


def _clear(x: float, top: float, words: str) -> _Box:
    """Return a white ground for words, so that no line of a day runs through them."""
    return _Box(x, top + 1, _length(words), _ROW - 2, "blank")


def _bar(strip: Strip, span: Span, top: float, room: float) -> Iterator[_Shape]:
    start, end = _extent(strip, span, room)
    width = max(1.5, end - start)
    fill: Literal["white", "grey", "hatched", "black"]
    match span.kind:
        case "needle":
            fill = "white"
        case "dressing":
            fill = "grey"
        case "hold":
            fill = "hatched"
        case "thrombolytic":
            fill = "black"
        case _:
            assert_never(span.kind)
    yield _Box(_HEAD + start, top + 1.5, width, _ROW - 3, fill)
    label = f"? {span.label}" if span.start is None else span.label
    if fill in ("white", "grey") and _length(label) + 4 <= width:
        yield _Words(_HEAD + start + 3, top + _ROW / 2, label)
    elif span.kind == "hold" and span.end is None and _HEAD + end + 6 + _length(label) <= WIDTH:
        yield _clear(_HEAD + end + 6, top, label)
        yield _Words(_HEAD + end + 6, top + _ROW / 2, label, bold=True)


def _length(words: str) -> float:
    """Return about how long words are in points: a little more than common sans-serif letters take."""
    return len(words) * _SIZE * 0.53


# -- SVG --


def svg(strip: Strip) -> str:
    """Return the strip as one ``svg`` element for HTML, black, white and grey, with its text alternative."""
    drawn = "".join(_svg(shape) for shape in _shapes(strip))
    return (
        f'<svg class="strip" role="img" aria-label="{escape(strip.says)}" xmlns="http://www.w3.org/2000/svg" '
        f'viewBox="0 0 {WIDTH:g} {height(strip):g}" width="{WIDTH:g}pt" height="{height(strip):g}pt" '
        f'font-family="sans-serif" font-size="{_SIZE:g}">{drawn}</svg>'
    )


_STROKES: Final = {
    "thin": 'stroke="#777" stroke-width="0.4"',
    "dashed": 'stroke="#000" stroke-width="0.8" stroke-dasharray="2 2"',
    "bold": 'stroke="#000" stroke-width="1.6"',
}
_FILLS: Final = {"white": "#fff", "grey": "#ddd", "hatched": "#fff", "black": "#000", "blank": "#fff"}


def _svg(shape: _Shape) -> str:
    match shape:
        case _Box():
            edge = "" if shape.fill == "blank" else ' stroke="#000" stroke-width="0.8"'
            box = (
                f'<rect x="{_n(shape.x)}" y="{_n(shape.y)}" width="{_n(shape.width)}" height="{_n(shape.height)}" '
                f'fill="{_FILLS[shape.fill]}"{edge}/>'
            )
            return box + (_hatching(shape) if shape.fill == "hatched" else "")
        case _Stroke():
            ends = f'x1="{_n(shape.x)}" y1="{_n(shape.y)}" x2="{_n(shape.to_x)}" y2="{_n(shape.to_y)}"'
            return f"<line {ends} {_STROKES[shape.style]}/>"
        case _Diamond():
            x, y, s = shape.x, shape.y, shape.size
            points = f"{_n(x)},{_n(y - s)} {_n(x + s)},{_n(y)} {_n(x)},{_n(y + s)} {_n(x - s)},{_n(y)}"
            return f'<polygon points="{points}" fill="{"#000" if shape.filled else "#fff"}" stroke="#000"/>'
        case _Words():
            weight = ' font-weight="bold"' if shape.bold else ""
            place = f'x="{_n(shape.x)}" y="{_n(shape.y + _SIZE * 0.35)}"'
            return f'<text {place} text-anchor="{shape.anchor}"{weight}>{escape(shape.text)}</text>'
        case _:
            assert_never(shape)


def _hatching(box: _Box) -> str:
    """Draw diagonals by hand: a shared pattern would need a name that is single in the page."""
    lines = []
    offset = 4.0
    while offset < box.width + box.height:
        x1, y1 = (box.x + offset, box.y) if offset <= box.width else (box.x + box.width, box.y + offset - box.width)
        x2, y2 = (box.x, box.y + offset) if offset <= box.height else (box.x + offset - box.height, box.y + box.height)
        lines.append(f"M{_n(x1)} {_n(y1)}L{_n(x2)} {_n(y2)}")
        offset += 4
    return f'<path d="{"".join(lines)}" stroke="#000" stroke-width="1" fill="none"/>'


def _n(value: float) -> str:
    return f"{round(value, 2):g}"


# -- docx --

_NAMESPACES: Final = (
    'xmlns:w="http://schemas.openxmlformats.org/wordprocessingml/2006/main" '
    'xmlns:mc="http://schemas.openxmlformats.org/markup-compatibility/2006" '
    'xmlns:wp="http://schemas.openxmlformats.org/drawingml/2006/wordprocessingDrawing" '
    'xmlns:a="http://schemas.openxmlformats.org/drawingml/2006/main" '
    'xmlns:wpg="http://schemas.microsoft.com/office/word/2010/wordprocessingGroup" '
    'xmlns:wps="http://schemas.microsoft.com/office/word/2010/wordprocessingShape"'
)
_EMU: Final = 12700  # English metric units to a point


def docx(strip: Strip, number: int) -> str:
    """Return the strip as one run (``w:r``) that holds a drawing in the line of text.

    ``number`` must be single among the drawings of the document. Readers that know no drawings show the text
    alternative.
    """
    wide, high = round(WIDTH * _EMU), round(height(strip) * _EMU)
    says = escape(strip.says)
    shapes = "".join(_docx(shape, n) for n, shape in enumerate(_shapes(strip), 2))
    extent = f'<a:off x="0" y="0"/><a:ext cx="{wide}" cy="{high}"/>'
    return (
        f'<w:r {_NAMESPACES}><mc:AlternateContent><mc:Choice Requires="wpg"><w:drawing>'
        f'<wp:inline distT="0" distB="0" distL="0" distR="0"><wp:extent cx="{wide}" cy="{high}"/>'
        f'<wp:docPr id="{number}" name="Strip of days {number}" descr="{says}"/><wp:cNvGraphicFramePr/>'
        '<a:graphic><a:graphicData uri="http://schemas.microsoft.com/office/word/2010/wordprocessingGroup">'
        f"<wpg:wgp><wpg:cNvGrpSpPr/><wpg:grpSpPr><a:xfrm>{extent}"
        f'<a:chOff x="0" y="0"/><a:chExt cx="{wide}" cy="{high}"/></a:xfrm></wpg:grpSpPr>{shapes}</wpg:wgp>'
        "</a:graphicData></a:graphic></wp:inline></w:drawing></mc:Choice>"
        f'<mc:Fallback><w:t xml:space="preserve">{says}</w:t></mc:Fallback></mc:AlternateContent></w:r>'
    )


_BLACK: Final = '<a:solidFill><a:srgbClr val="000000"/></a:solidFill>'
_GREY: Final = '<a:solidFill><a:srgbClr val="DDDDDD"/></a:solidFill>'
_WHITE: Final = '<a:solidFill><a:srgbClr val="FFFFFF"/></a:solidFill>'
_HATCHED: Final = (
    '<a:pattFill prst="wdUpDiag"><a:fgClr><a:srgbClr val="000000"/></a:fgClr>'
    '<a:bgClr><a:srgbClr val="FFFFFF"/></a:bgClr></a:pattFill>'
)
_DOCX_FILLS: Final = {"white": _WHITE, "grey": _GREY, "hatched": _HATCHED, "black": _BLACK, "blank": _WHITE}
_OUTLINE: Final = f'<a:ln w="10160">{_BLACK}</a:ln>'
_DOCX_STROKES: Final = {
    "thin": '<a:ln w="5080"><a:solidFill><a:srgbClr val="777777"/></a:solidFill></a:ln>',
    "dashed": f'<a:ln w="10160">{_BLACK}<a:prstDash val="sysDash"/></a:ln>',
    "bold": f'<a:ln w="20320">{_BLACK}</a:ln>',
}
_NO_TEXT: Final = "<wps:bodyPr/>"


def _docx(shape: _Shape, number: int) -> str:
    match shape:
        case _Box():
            edge = "<a:ln><a:noFill/></a:ln>" if shape.fill == "blank" else _OUTLINE
            look = f"{_DOCX_FILLS[shape.fill]}{edge}"
            return _wsp(number, shape.x, shape.y, shape.width, shape.height, "rect", look, _NO_TEXT)
        case _Stroke():
            look = _DOCX_STROKES[shape.style]
            wide, high = shape.to_x - shape.x, shape.to_y - shape.y
            return _wsp(number, shape.x, shape.y, wide, high, "line", look, _NO_TEXT)
        case _Diamond():
            s = shape.size
            look = f"{_BLACK if shape.filled else _WHITE}{_OUTLINE}"
            return _wsp(number, shape.x - s, shape.y - s, 2 * s, 2 * s, "diamond", look, _NO_TEXT)
        case _Words():
            return _words(shape, number)
        case _:
            assert_never(shape)


def _words(shape: _Words, number: int) -> str:
    wide = min(_length(shape.text) * 1.25 + 8, WIDTH)
    x = {"start": shape.x, "middle": shape.x - wide / 2, "end": shape.x - wide}[shape.anchor]
    side = {"start": "left", "middle": "center", "end": "right"}[shape.anchor]
    bold = "<w:b/>" if shape.bold else ""
    half_points = round(_SIZE * 2)
    box = (
        f'<wps:txbx><w:txbxContent><w:p><w:pPr><w:spacing w:before="0" w:after="0" w:line="240" w:lineRule="auto"/>'
        f'<w:jc w:val="{side}"/></w:pPr><w:r><w:rPr><w:rFonts w:ascii="Arial" w:hAnsi="Arial" w:cs="Arial"/>{bold}'
        f'<w:sz w:val="{half_points}"/></w:rPr><w:t xml:space="preserve">{escape(shape.text)}</w:t></w:r></w:p>'
        '</w:txbxContent></wps:txbx><wps:bodyPr wrap="none" lIns="0" tIns="0" rIns="0" bIns="0" anchor="ctr">'
        "<a:noAutofit/></wps:bodyPr>"
    )
    return _wsp(number, x, shape.y - _ROW / 2, wide, _ROW, "rect", "<a:noFill/><a:ln><a:noFill/></a:ln>", box)


def _wsp(number: int, x: float, y: float, wide: float, high: float, form: str, look: str, inside: str) -> str:
    kind = '<wps:cNvSpPr txBox="1"/>' if "txbx" in inside else "<wps:cNvSpPr/>"
    return (
        f'<wps:wsp><wps:cNvPr id="{number}" name="{number}"/>{kind}<wps:spPr><a:xfrm>'
        f'<a:off x="{round(x * _EMU)}" y="{round(y * _EMU)}"/>'
        f'<a:ext cx="{round(wide * _EMU)}" cy="{round(high * _EMU)}"/></a:xfrm>'
        f'<a:prstGeom prst="{form}"><a:avLst/></a:prstGeom>{look}</wps:spPr>{inside}</wps:wsp>'
    )
