"""Reads rendered sheets back as plain words, so that formats can be compared with each other and with the sheet."""

from __future__ import annotations

import re
import subprocess
import zipfile
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from io import BytesIO
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from lda_notes import pipeline
from lda_notes.documents.blocks import Sheet
from lda_notes.documents.note import page as note
from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.narrative.narrator import narrator
from lda_notes.record.reading import read_bytes

DEMOS = sorted((Path(__file__).parents[2] / "demo_episodes").glob("*.yaml"))
W = "{http://schemas.openxmlformats.org/wordprocessingml/2006/main}"


def judged(source: Path | str, policy: Policy = DEFAULT, asof: datetime | None = None) -> pipeline.Judged:
    """Return a record judged an hour after its last event, or from ``asof``."""
    raw = source.read_bytes() if isinstance(source, Path) else source.encode()
    record = read_bytes(raw, source.name if isinstance(source, Path) else "made.yaml")
    last = max((event.at for event in record.episode.events), default=None) if record.episode else None
    return pipeline.judge(record, policy, asof or ((last or datetime.now(UTC)) + timedelta(hours=1)))


def note_of(source: Path | str, event: str | None = None, policy: Policy = DEFAULT, **more: Any) -> Sheet:
    """Return the note of one event, or of all."""
    choice = note.Choice(event=event, every=event is None)
    return note.sheet(judged(source, policy, **more), policy, choice, narrator())


def words(text: str) -> list[str]:
    """Return the words of a text, without what only the layout of some format adds."""
    for dressing in ("\u00a0", "\n"):
        text = text.replace(dressing, " ")
    text = re.sub("[\u2068\u2069]", "", text)
    said = re.sub(r"_{3,}|!!|(?<!\S)\[ \](?!\S)|[•:\u2610\u25a0]", " ", text).split()
    return [word for word in said if word.strip("-") and word.strip("=")]  # bullets and underlines


class _Html(HTMLParser):
    _APART = ("p", "h1", "h2", "h3", "li", "dt", "dd", "td", "th", "br", "div", "caption", "tr", "span")

    def __init__(self) -> None:
        super().__init__()
        self.pieces: list[str] = []
        self._hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("style", "title", "script"):
            self._hidden += 1
        if tag in self._APART and not (tag == "span" and ("class", "n") in attrs):
            self.pieces.append(" ")

    def handle_endtag(self, tag: str) -> None:
        if tag in ("style", "title", "script"):
            self._hidden -= 1
        if tag in self._APART and tag != "span":
            self.pieces.append(" ")

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.pieces.append(data)


def of_html(page: str) -> str:
    """Return the visible text of an HTML page."""
    parser = _Html()
    parser.feed(page)
    return "".join(parser.pieces)


def of_markdown(source: str) -> str:
    """Return the text that a CommonMark reader shows."""
    from markdown_it import MarkdownIt

    # Line breaks of mark-up are <br>, the only HTML that a sheet writes.
    return of_html(MarkdownIt("commonmark", {"html": True}).enable("table").render(source))


def docx_part(data: bytes, name: str = "word/document.xml") -> ElementTree.Element:
    """Return one part of a docx file."""
    with zipfile.ZipFile(BytesIO(data)) as archive:
        return ElementTree.fromstring(archive.read(name))


def of_docx(data: bytes, name: str = "word/document.xml") -> str:
    """Return the text of a docx part, a row for each paragraph."""
    rows = []
    for paragraph in docx_part(data, name).iter(f"{W}p"):
        pieces = []
        for node in (part for run in paragraph.iter(f"{W}r") for part in run):
            if node.tag == f"{W}t":
                pieces.append(node.text or "")
            elif node.tag in (f"{W}br", f"{W}tab"):
                pieces.append(" ")
        rows.append("".join(pieces))
    return "\n".join(rows)


def of_pdf(data: bytes) -> str:
    """Return the text of a PDF, without the head and the foot of its pages."""
    done = subprocess.run(
        ["pdftotext", "-raw", "-nopgbrk", "-", "-"], input=data, capture_output=True, check=True, timeout=60
    )
    return re.sub(r"-\n(?=\S)", "-", done.stdout.decode())  # a row may end at a word's own hyphen
