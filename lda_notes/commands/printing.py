"""The one place that prints: what would steer a terminal is made visible first."""

from __future__ import annotations

import codecs
import io
import re
import sys
from typing import IO, Final, cast

import click

_STEERING: Final = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u00ad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb\U000e0000-\U000e007f]"
)
"""Control characters but tab and the end of a row, and what hides text or turns its direction."""
_NO_TEXT: Final = re.compile("[\ud800-\udfff]")
"""The replacement for bytes that are not text, as in names of files."""


def visible(text: str) -> str:
    """Return ``text`` with everything spelled out that a terminal would obey instead of showing."""
    return _NO_TEXT.sub(_byte, _STEERING.sub(lambda found: ascii(found[0])[1:-1], text))


def _byte(found: re.Match[str]) -> str:
    code = ord(found[0])
    return f"\\x{code - 0xDC00:02x}" if 0xDC80 <= code <= 0xDCFF else f"\\u{code:04x}"


def say(text: str | bytes = "", *, err: bool = False, nl: bool = True, styled: bool = False) -> None:
    """Print to standard output, or standard error with ``err``.

    On a terminal, content is made visible. ``styled`` is for text that has our own colors, in which that was done.
    """
    stream = sys.stderr if err else sys.stdout
    shown = stream.isatty() and not styled
    if isinstance(text, bytes):
        click.echo(visible(text.decode("utf-8", "replace")) if shown else text, err=err, nl=nl)
    else:
        click.echo(visible(text) if shown else _NO_TEXT.sub(_byte, text), err=err, nl=nl)


def rows_out() -> IO[bytes]:
    """Return where rows of a stream are printed: standard output, on a terminal with its content made visible."""
    return cast("IO[bytes]", _Visible()) if sys.stdout.isatty() else sys.stdout.buffer


class _Visible(io.RawIOBase):
    """Takes bytes in pieces of any size, and shows them."""

    def __init__(self) -> None:
        super().__init__()
        self._decoder = codecs.getincrementaldecoder("utf-8")("replace")

    def writable(self) -> bool:
        return True

    def write(self, data: bytes) -> int:  # type: ignore[override]  # bytes alone are written
        say(self._decoder.decode(data), nl=False)
        return len(data)
