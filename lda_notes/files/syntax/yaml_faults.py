"""The sentences for what is refused in YAML, and for what libyaml could not read.

libyaml's own texts speak of tokens and block mappings; here each becomes what was found, what was expected and what
to do. The messages of the pure Python parser, where they differ, are known too.
"""

from __future__ import annotations

import re
from typing import Final

import yaml

from lda_notes.files.syntax.faults import TOO_DEEP, Refusal
from lda_notes.files.syntax.text import Text

VERSION: Final = Refusal(
    "yaml-version",
    "The file asks for another version of YAML; 1.2 was expected.",
    "Remove the row that starts with %YAML.",
)
SEVERAL: Final = Refusal(
    "several-documents",
    "A second document starts here; one record a file was expected.",
    "Put it in a file of its own, or remove the row of three dashes or dots.",
)
ALIAS: Final = Refusal(
    "yaml-alias",
    "A reference (a star and a name) stands here; a value was expected.",
    "Write the value out, or put it in quotes if the star belongs to it.",
)
ANCHOR: Final = Refusal(
    "yaml-alias",
    "A label for references (an ampersand and a name) stands here; a value was expected.",
    "Remove the label, or put the value in quotes if the ampersand belongs to it.",
)
MERGE: Final = Refusal(
    "yaml-alias",
    "A merge key (two less-than signs) stands here; the name of an entry was expected.",
    "Write the entries out.",
)
TAG: Final = Refusal(
    "yaml-tag",
    "A tag (an exclamation mark and a name) stands here; a value was expected.",
    "Remove the tag, or put the value in quotes if the exclamation mark belongs to it.",
)
NO_KEY: Final = Refusal(
    "key-not-text", "An entry has no name; a name was expected before the colon.", "Write the name before the colon."
)
KEY_NOT_TEXT: Final = Refusal(
    "key-not-text",
    "A list or a group of entries stands where the name of an entry was expected.",
    "Write a name there, or put it in quotes if the brackets belong to it.",
)
TAB: Final = Refusal(
    "yaml-tab",
    "A tab is used for indentation, where YAML takes only spaces.",
    "Replace the tab with as many spaces as the rows around it have.",
)
NUMBER_SIGN: Final = Refusal(
    "yaml-number-sign",
    "From this number sign on the row is a remark to YAML and is not read as part of the value.",
    "Put the value in quotes if the text belongs to it; if it is a remark, put a space after the number sign.",
)
TYPOGRAPHIC: Final = Refusal(
    "typographic-quotes",
    "The value stands in typographic quotation marks, as word processors make them; straight ones were expected.",
    "Type the quotation marks again as straight ones, in a plain text editor.",
)
NO_SPACE: Final = Refusal(
    "yaml-syntax",
    "There is no space after the colon; one was expected between a name and its value.",
    "Put a space after the colon.",
)
OUT_OF_RANGE: Final = Refusal(
    "yaml-syntax",
    "After this place a character code or a version number is out of range.",
    "Write the text without it.",
)


_UNCLOSED_QUOTE: Final = (
    "A quotation mark opens here and is never closed.",
    "Close it at the end of the value.",
)
_UNCLOSED_LIST: Final = (
    "A square bracket opens here; it is not closed, or a comma is missing after it.",
    "Close the bracket, and put a comma between the items.",
)
_UNCLOSED_GROUP: Final = (
    "A curly bracket opens here; it is not closed, or a comma is missing after it.",
    "Close the bracket, and put a comma between the entries.",
)
_NO_COLON: Final = (
    "This row is neither a name with a value nor part of the value above; a colon was expected.",
    "Write it as a name, a colon, a space and the value; or put the text above in quotes.",
)
_SECOND_COLON: Final = (
    "A second colon stands in this row; only one was expected.",
    "Put the value in quotes if the colon belongs to it, or start a new row.",
)
_TOO_FAR_IN: Final = (
    "This row is indented further than the row above, which has its value already.",
    "Line it up with the rows that it belongs to.",
)
_NO_LINE_UP: Final = (
    "The indentation of this row fits none of the rows above.",
    "Line it up with the rows that it belongs to.",
)
_AFTER_VALUE: Final = (
    "Text stands after the end of a value; the end of the row was expected.",
    "Put the whole value in one pair of quotation marks, and double those inside it.",
)
_BLOCK_TEXT: Final = (
    "Text stands after the sign for a text of several rows; the end of the row was expected.",
    "Start the text in the next row, indented.",
)
_ESCAPE: Final = (
    "A backslash in double quotes starts a character code that YAML does not have.",
    "Write the backslash twice, or use single quotes.",
)
_DIRECTIVE: Final = (
    "A row that starts with a percent sign stands here; a name was expected.",
    "Remove the row, or put the text in quotes.",
)
_DASH: Final = (
    "A row without a dash stands among list items.",
    "Start it with a dash, or line it up with what it belongs to.",
)
_DASH_PLACE: Final = (
    "A dash for a list item stands where none can; a value was expected.",
    "Start the list in the next row, or put the value in quotes.",
)
_QUESTION_MARK: Final = (
    "A question mark stands alone where a name or a value was expected.",
    "Put the text in quotes.",
)
_NO_VALUE: Final = (
    "A bracket, comma or other sign stands here; a value was expected.",
    "Put the text in quotes if the sign belongs to it, or remove the sign.",
)
_UNKNOWN: Final = (
    "This place cannot be read as YAML.",
    "Look for a missing quotation mark, bracket or colon here or in the row above.",
)

_AT_CONTEXT: Final = (
    ("quoted scalar", "unexpected end of stream", _UNCLOSED_QUOTE),
    ("quoted scalar", "unexpected document indicator", _UNCLOSED_QUOTE),
    ("quoted scalar", "found unexpected document separator", _UNCLOSED_QUOTE),
    ("flow sequence", "',' or ']'", _UNCLOSED_LIST),
    ("flow mapping", "',' or '}'", _UNCLOSED_GROUP),
    ("simple key", "':'", _NO_COLON),
)
"""Part of libyaml's context, part of its problem, our words: the fault is where the context began."""

_AT_PROBLEM: Final = (
    ("quoted scalar", "escape", _ESCAPE),
    ("quoted scalar", "hexdec", _ESCAPE),
    ("block mapping", "", _NO_LINE_UP),
    ("block collection", "", _DASH),
    ("block sequence", "", _DASH),
    ("block scalar", "", _BLOCK_TEXT),
    ("directive", "", _DIRECTIVE),
    ("", "sequence entries are not allowed", _DASH_PLACE),
    ("", "mapping keys are not allowed", _QUESTION_MARK),
    ("", "node content", _NO_VALUE),
)
_SIGNS: Final = {"@": "an at sign", "`": "a backquote", "%": "a percent sign", "\t": "a tab"}
_CURVED_START: Final = re.compile("(?:^|:|-)\\s+([“”„‟‘’‚‛])")
_GLUED: Final = re.compile(r"[\s-]*[^\s:#'\"\[{][^\s:]*(:)\S")


def explain(error: yaml.YAMLError, text: Text, last: int) -> tuple[int, Refusal]:
    """Return where a file cannot be read (offset in the cleaned text; ``last`` if unknown) and why, in plain words."""
    mark = getattr(error, "problem_mark", None)
    if mark is None:
        return last, Refusal("yaml-syntax", *_UNKNOWN)
    context_mark = getattr(error, "context_mark", None) or mark
    return _explain(
        str(getattr(error, "context", None) or ""),
        str(getattr(error, "problem", None) or ""),
        context_mark.index,
        mark.index,
        text,
    )


def _explain(context: str, problem: str, began: int, at: int, text: Text) -> tuple[int, Refusal]:
    clean = text.clean
    start, row = text.row_at(at)
    if "nesting depth" in problem:
        return at, TOO_DEEP
    if "tab character" in problem or (clean[at : at + 1] == "\t" and not row[: at - start].strip()):
        return at, TAB
    if "cannot start any token" in problem:
        sign = _SIGNS.get(clean[at : at + 1], "this sign")
        return at, Refusal("yaml-syntax", f"A value cannot start with {sign}.", "Put the value in quotes.")
    if "alphabetic or numeric" in problem or "alias" in context or "anchor" in context:
        return began, ALIAS if clean[began : began + 1] == "*" else ANCHOR
    if "tag" in context.lower() or "tag handle" in problem:
        return began, TAG
    if "incompatible YAML" in problem or "version" in problem or "digit" in problem:
        return at, VERSION
    if "document start" in problem:
        return at, SEVERAL
    if clean[at : at + 1] == ":" and not row[: at - start].strip():
        return at, NO_KEY
    if "mapping values are not allowed" in problem:
        return _stray_colon(at, text)
    if "simple key" in context and (glued := _GLUED.match(text.row_at(began)[1])):
        return text.row_at(began)[0] + glued.start(1), NO_SPACE
    for within, about, words in _AT_CONTEXT:
        if within in context and about in problem:
            return began, Refusal("yaml-syntax", *words)
    if "block mapping" in context and row[: at - start].strip():
        return at, Refusal("yaml-syntax", *_AFTER_VALUE)
    for within, about, words in _AT_PROBLEM:
        if within in context and about in problem:
            return at, Refusal("yaml-syntax", *words)
    return at, Refusal("yaml-syntax", *_UNKNOWN)


def _stray_colon(at: int, text: Text) -> tuple[int, Refusal]:
    """Explain a colon after what is a value already: twice in a row, indented too far, or a space missing above."""
    start, row = text.row_at(at)
    if curved := _CURVED_START.search(row[: at - start]):
        return start + curved.start(1), TYPOGRAPHIC
    if re.search(r":\s", row[: at - start]):
        return at, Refusal("yaml-syntax", *_SECOND_COLON)
    above_start, above = text.row_at(len(text.clean[:start].rstrip()))
    if start and (glued := _GLUED.match(above)) and not re.search(r":(\s|$)", above):
        return above_start + glued.start(1), NO_SPACE
    if start:
        return start + len(row) - len(row.lstrip()), Refusal("yaml-syntax", *_TOO_FAR_IN)
    return at, Refusal("yaml-syntax", *_SECOND_COLON)
