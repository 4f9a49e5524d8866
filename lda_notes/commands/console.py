"""The terminal as charting uses it: rows out on standard error, rows in from standard input, nothing drawn over."""

from __future__ import annotations

import io
import sys

import click


class Terminal:
    """Shows text and takes rows. Standard output stays free for the result."""

    def __init__(self) -> None:
        if isinstance(sys.stdin, io.TextIOWrapper):
            sys.stdin.reconfigure(errors="surrogateescape")  # bytes that are no text are told, not a crash

    def show(self, text: str) -> None:
        """Show rows of text."""
        click.echo(text, err=True)

    def ask(self) -> str | None:
        """Return the row that was typed; None at the end of the input."""
        click.echo("> ", nl=False, err=True)
        row = sys.stdin.readline()
        if not row:
            click.echo("", err=True)
            return None
        return row.rstrip("\r\n")
