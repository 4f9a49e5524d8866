"""The terminal as charting uses it: rows out on standard error, rows in from standard input, nothing drawn over."""

from __future__ import annotations

import codecs
import errno
import io
import os
import re
import sys
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

import click

from lda_notes.commands.printing import say
from lda_notes.files.syntax.text import without_hidden

_ROW_BYTES: Final = 4095
"""Most bytes of one row that a terminal hands over, its end included; it drops the rest silently."""


def plain(text: str) -> str:
    """Return text as it may go to a terminal: no sign in it that moves the cursor, colors or hides."""
    return without_hidden(text.replace("\r", " "))


_COLUMNS: Final = 80
_LEAD: Final = re.compile(r"\s*(?:(?:\?\?|!!|\d+:?)\s+)?")


def folded(text: str) -> str:
    """Return text whose rows are cut between words where a terminal would cut them within one.

    A row that is too wide continues below its first word, past a mark such as ?? or a number.
    """
    shown: list[str] = []
    for row in text.split("\n"):
        if len(row) <= _COLUMNS:
            shown.append(row)
            continue
        lead = _LEAD.match(row)
        indent = " " * len(lead[0]) if lead is not None else ""
        shown += textwrap.wrap(
            row, _COLUMNS - 2, subsequent_indent=indent, break_on_hyphens=False, break_long_words=False,
            replace_whitespace=False, drop_whitespace=True,
        )  # fmt: skip
    return "\n".join(shown)


@contextmanager
def _lost_is_stopped() -> Iterator[None]:
    """Leave as after Ctrl-C where the terminal is gone (EIO) and the signal that says so comes late or is ignored."""
    try:
        yield
    except OSError as error:
        if error.errno != errno.EIO:
            raise
        raise click.exceptions.Exit(130) from error


class Terminal:
    """Shows text and takes rows. Standard output stays free for the result."""

    def __init__(self) -> None:
        if not isinstance(sys.stdin, io.TextIOWrapper):
            return
        # Bytes that are not text are reported, not a crash; a locale that knows ASCII alone still sends UTF-8.
        ascii_only = codecs.lookup(sys.stdin.encoding).name == "ascii"
        if ascii_only or sys.stdin.errors != "surrogateescape":  # a second terminal of the process finds it done
            sys.stdin.reconfigure(encoding="utf-8" if ascii_only else None, errors="surrogateescape")

    def show(self, text: str) -> None:
        """Show rows of text. Raises click's Exit where the terminal is gone."""
        with _lost_is_stopped():
            say(folded(plain(text)), err=True)

    def ask(self) -> str | None:
        """Return the row that was typed; None at the end of the input. Raises as `show` does."""
        while True:
            with _lost_is_stopped():
                say("> ", nl=False, err=True)
                row = sys.stdin.readline()
                if not row:
                    say("", err=True)
                    return None
            if sys.stdin.isatty() and len(os.fsencode(row)) >= _ROW_BYTES:
                self.show("?? The terminal cuts off so long a row; nothing of it was taken. Type or paste less.")
                continue
            return row.rstrip("\r\n")
