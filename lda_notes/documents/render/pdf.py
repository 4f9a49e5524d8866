"""A sheet as PDF, tagged for screen readers: `sheet.typ` says how each block looks, this module hands it the words.

The same sheet gives the same bytes: only the fonts that come with the program are used, and no time is written.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import fields, is_dataclass
from functools import cache, partial
from pathlib import Path
from typing import Any, Final

import typst
from anyascii import anyascii

from lda_notes.documents.blocks import Alert, Bullets, Sheet, Table
from lda_notes.documents.render import (
    ACROSS,
    BOX,
    MARK,
    Paper,
    alert_text,
    breakable,
    fitted,
    isolated,
    leading,
    printable,
    spread,
    titled,
    unbroken,
)

_HERE: Final = Path(__file__).parent
FONTS: Final = _HERE / "fonts"


BY_SOUND: Final = (
    "Signs that this file's font lacks are printed in Latin letters by their sound, or as ?. The other formats have "
    "them as recorded."
)


def render(sheet: Sheet, paper: Paper = "a4") -> bytes:
    """Return the sheet as the bytes of a PDF file; what the font lacks is in Latin letters, and the foot says so."""
    for missing in (lacked(), _NOT_LATIN):
        worded = partial(in_letters, missing=missing)
        said = _said(sheet, paper, worded)
        if said != _said(sheet, paper, _as_is):
            said["cautions"].append(BY_SOUND)
        with suppress(typst.TypstError):  # tagged PDF may leave no sign out, and some need more than the sign itself
            return _compiled(said)
    return _compiled(_said(sheet, paper, partial(in_letters, missing=_NOT_ASCII)))


def _said(sheet: Sheet, paper: Paper, worded: Callable[[str], str]) -> dict[str, Any]:
    plain = partial(_made_plain, worded=worded, room=ACROSS * 10 / sheet.size)
    alerts, blocks = leading(sheet)
    return {
        "titled": plain(titled(sheet)),
        "alerts": plain(alerts),
        "blocks": plain(blocks),
        "cautions": plain(sheet.cautions),
        "running": plain(sheet.running),
        "dense": sheet.dense,
        "size": sheet.size,
        "paper": paper,
    }


def _compiled(said: dict[str, Any]) -> bytes:
    return typst.compile(
        _HERE / "sheet.typ",
        format="pdf",
        font_paths=[FONTS],
        pdf_standards="ua-1",
        ignore_system_fonts=True,
        sys_inputs={"sheet": json.dumps(said)},
        timestamp=0,
    )


def _as_is(text: str) -> str:
    return text


@cache
def lacked() -> re.Pattern[str]:
    """Return what finds the signs that the fonts lack; `signs.txt` lists those that both have, range by range."""
    ends = (row.partition("-") for row in (FONTS / "signs.txt").read_text("ascii").split())
    had = "".join(f"\\U{first:0>8}-\\U{last or first:0>8}" for first, _, last in ends)
    return re.compile(f"[^\n\t{had}]+")


_NOT_LATIN: Final = re.compile(f"[^\x00-\u017f{MARK}{BOX}\u2010-\u2027]+")
_NOT_ASCII: Final = re.compile(f"[^\x00-\x7f{MARK}{BOX}]+")
_TWICE: Final = re.compile(r"(.{2,}) \(\1\)")


def in_letters(text: str, missing: re.Pattern[str] = _NOT_LATIN) -> str:
    """Return ``text`` with what the font lacks in Latin letters, so that it can be read; once where it was given in
    letters already. What has no letters is a question mark."""
    if text.isascii() or not missing.search(text):
        return text
    return _TWICE.sub(r"\1", missing.sub(lambda found: anyascii(found[0]) or "?", text))


def _made_plain(value: Any, worded: Callable[[str], str], room: float) -> Any:
    """Return blocks as dictionaries that name their kind, and every text as it may be printed; ``room`` is how many
    letters stand side by side."""
    if isinstance(value, str):
        return isolated(breakable(unbroken(worded(printable(value)))))
    if isinstance(value, tuple):
        return [_made_plain(one, worded, room) for one in value]
    if not is_dataclass(value):
        return value
    plain: dict[str, Any] = {}
    for field in fields(value):
        found = getattr(value, field.name)
        plain[field.name] = found if field.name in _NAMES else _made_plain(found, worded, room)
    plain["kind"] = type(value).__name__
    if isinstance(value, Table):
        plain["widths"] = fitted(value, room)
    if isinstance(value, Bullets):
        plain["spread"] = [_made_plain(tuple(one), worded, room) for one in spread(value.items, value.columns, room)]
    if isinstance(value, Alert):
        plain["says"] = _made_plain(alert_text(value), worded, room)
    return plain


_NAMES: Final = frozenset({"anchor", "links", "level", "facts"})
"""Fields that are names and numbers, not words."""
