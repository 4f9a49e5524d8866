"""The tags of note templates, and what they gather.

``{% sentence %}`` is the heart: its text is written only if every fact that it names was recorded, and the sentence
keeps the paths of those facts. ``{% otherwise %}`` begins a second wording, tried when the first cannot be written;
``spare`` behind either word marks a sentence that a note which has grown too long may leave to the full note.
``{% part %}`` is a piece of a sentence that alone is left out when its facts are missing; ``{% series %}`` joins its
parts with commas and "and", and is missing itself when it has none. ``{% paragraph %}`` contains sentences.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final
from zoneinfo import ZoneInfo

from jinja2 import nodes
from jinja2.ext import Extension
from jinja2.parser import Parser
from jinja2.runtime import Context

from lda_notes.narrative.facts import NotRecorded
from lda_notes.narrative.phrasing import listed
from lda_notes.narrative.sentences import Paragraph, Sentence
from lda_notes.problems import Path

_BLANKS: Final = " \t\r\n"

MOST_TEXT: Final = 25_000_000
"""Characters that one narrative may contain: more than the largest record file, so that no record meets it."""

MOST_TURNS: Final = 1_000_000
"""Turns that the loops of one narrative may take together."""


class TemplateMistake(Exception):
    """A template does what templates may not do. ``str()`` says what, without the place."""


@dataclass(slots=True)
class Gathering:
    """The facts that the tags have gathered so far. ``told`` is shared with the facts, which append each path read."""

    told: list[Path]
    zone: ZoneInfo
    today: date
    paragraphs: list[Paragraph] = field(default_factory=list)
    sentences: list[Sentence] = field(default_factory=list)
    series: list[list[str] | None] = field(default_factory=list)
    written: bool = False
    said: bool = False
    missing: NotRecorded | None = None
    size: int = 0
    turns: int = 0

    def turn(self, items: Any) -> Any:
        """Count the turns of a loop over ``items`` and hand them back."""
        self.turns += len(items)
        if self.turns > MOST_TURNS:
            raise TemplateMistake("the loops of this template take too many turns")
        return items


_WHITE: Final = re.compile(r"[ \t\r\n]+")
"""White space of templates; the wide and the unbroken spaces of a record are none of it."""


def tidy(text: str) -> str:
    """Return template text with its line breaks and indents as single spaces, and one full stop at its end."""
    said = _WHITE.sub(" ", text).strip(" ")
    if said.endswith(("..", "!.", "?.", '.".', '!".', '?".')):  # typed words that end a sentence of their own
        said = said[:-1]
    return said


def _gathering(context: Context) -> Gathering:
    gathering: Gathering = context["_gathering"]
    return gathering


class Tags(Extension):
    """The four tags."""

    tags = {"paragraph", "sentence", "part", "series"}  # noqa: RUF012 -- as the base class declares it

    def parse(self, parser: Parser) -> nodes.Node | list[nodes.Node]:
        """Turn one tag, with its wordings, into call blocks."""
        token = next(parser.stream)
        name = token.value
        ends = (f"name:end{name}", "name:otherwise") if name in ("sentence", "part") else (f"name:end{name}",)
        blocks: list[nodes.Node] = []
        while True:
            method = f"_{name}" if not blocks else f"_{name}_otherwise"
            spare = [nodes.Const(True)] if parser.stream.skip_if("name:spare") else []
            body = parser.parse_statements(ends)
            call = self.call_method(method, [nodes.ContextReference(), *spare], lineno=token.lineno)
            blocks.append(nodes.CallBlock(call, [], [], body).set_lineno(token.lineno))
            if next(parser.stream).value != "otherwise":
                return blocks

    def _paragraph(self, context: Context, caller: Callable[[], str]) -> str:
        gathering = _gathering(context)
        gathering.sentences = []
        caller()
        if gathering.sentences:
            gathering.paragraphs.append(Paragraph(tuple(gathering.sentences)))
        return ""

    def _sentence(self, context: Context, spare: bool = False, *, caller: Callable[[], str]) -> str:
        gathering = _gathering(context)
        told = gathering.told
        start = len(told)
        gathering.written = False
        try:
            text = tidy(caller())
        except NotRecorded:
            text = ""
        facts = tuple(dict.fromkeys(told[start:]))
        if not text:
            del told[start:]
            return ""
        if not facts:
            raise TemplateMistake(f"a sentence names no fact: {text[:60]!r}")
        gathering.size += len(text)
        if gathering.size > MOST_TEXT:
            raise TemplateMistake("this template writes too much text")
        gathering.sentences.append(Sentence(text, facts, spare=spare))
        gathering.written = True
        return ""

    def _sentence_otherwise(self, context: Context, spare: bool = False, *, caller: Callable[[], str]) -> str:
        return "" if _gathering(context).written else self._sentence(context, spare, caller=caller)

    def _part(self, context: Context, caller: Callable[[], str]) -> str:
        gathering = _gathering(context)
        start = len(gathering.told)
        joined = gathering.series[-1] if gathering.series else None
        gathering.series.append(None)  # parts inside this one are plain text of it
        try:
            text = caller()
        except NotRecorded as missing:
            gathering.missing = gathering.missing or missing
            del gathering.told[start:]
            text = ""
        finally:
            gathering.series.pop()
        gathering.said = bool(text.strip(_BLANKS))
        if not gathering.said:
            del gathering.told[start:]
            return ""
        if joined is not None:
            joined.append(text.strip(_BLANKS))
            return ""
        return text

    def _part_otherwise(self, context: Context, caller: Callable[[], str]) -> str:
        return "" if _gathering(context).said else self._part(context, caller)

    def _series(self, context: Context, caller: Callable[[], str]) -> str:
        gathering = _gathering(context)
        items: list[str] = []
        gathering.series.append(items)
        gathering.missing = None
        try:
            caller()
        finally:
            gathering.series.pop()
        if not items:
            raise gathering.missing or NotRecorded(())
        return listed(items)
