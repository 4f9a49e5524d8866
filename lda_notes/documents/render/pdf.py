"""A sheet as PDF, tagged for screen readers: `sheet.typ` says how each block looks, this module hands it the words.

The same sheet gives the same bytes: only the fonts that come with the program are used, and no time is written.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import fields, is_dataclass
from functools import partial
from pathlib import Path
from typing import Any, Final

import typst
from anyascii import anyascii

from lda_notes.documents.blocks import Alert, Sheet
from lda_notes.documents.render import BOX, MARK, Paper, alert_text, isolated, leading, printable, titled, unbroken

_HERE: Final = Path(__file__).parent
FONTS: Final = _HERE / "fonts"


def render(sheet: Sheet, paper: Paper = "a4") -> bytes:
    """Return the sheet as the bytes of a PDF file."""
    for worded in (_as_is, partial(in_letters, lacked=_FAR)):
        with suppress(typst.TypstError):  # the font lacks a sign: tagged PDF may not leave it out
            return _compiled(sheet, paper, worded)
    return _compiled(sheet, paper, in_letters)


def _compiled(sheet: Sheet, paper: Paper, worded: Callable[[str], str]) -> bytes:
    plain = partial(_made_plain, worded=worded)
    alerts, blocks = leading(sheet)
    said = {
        "titled": plain(titled(sheet)),
        "alerts": plain(alerts),
        "blocks": plain(blocks),
        "cautions": plain(sheet.cautions),
        "running": plain(sheet.running),
        "dense": sheet.dense,
        "size": sheet.size,
        "landscape": sheet.landscape,
        "paper": paper,
    }
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


_LACKED: Final = re.compile(f"[^\x00-\u017f{MARK}{BOX}\u2010-\u2027]+")
_FAR: Final = re.compile(f"[^\x00-\u06ff\u1e00-\u1fff{MARK}{BOX}\u2010-\u2027]+")
"""What the font may lack: at first what lies far from the scripts that it has, then all that is not Latin."""
_TWICE: Final = re.compile(r"(.{2,}) \(\1\)")


def in_letters(text: str, lacked: re.Pattern[str] = _LACKED) -> str:
    """Return ``text`` with what the font may lack in Latin letters, so that it can be read; once where it was given
    in letters already."""
    if not lacked.search(text):
        return text
    return _TWICE.sub(r"\1", lacked.sub(lambda found: anyascii(found[0]), text))


def _made_plain(value: Any, worded: Callable[[str], str]) -> Any:
    """Return blocks as dictionaries that name their kind, and every text as it may be printed."""
    if isinstance(value, str):
        return isolated(unbroken(worded(printable(value))))
    if isinstance(value, tuple):
        return [_made_plain(one, worded) for one in value]
    if not is_dataclass(value):
        return value
    plain: dict[str, Any] = {}
    for field in fields(value):
        found = getattr(value, field.name)
        plain[field.name] = found if field.name in _NAMES else _made_plain(found, worded)
    plain["kind"] = type(value).__name__
    if isinstance(value, Alert):
        plain["says"] = _made_plain(alert_text(value), worded)
    return plain


_NAMES: Final = frozenset({"anchor", "links", "level", "facts"})
"""Fields that are names and numbers, not words."""
