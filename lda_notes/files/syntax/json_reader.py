"""JSON (RFC 8259) to plain data with the place of every value.

The standard library's decoder reports neither places nor repeated keys, and its recursion and its integers can be
driven past their limits by a file; its string scanner, which is in C, is what is used of it.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from json import JSONDecodeError
from json import decoder as standard
from typing import Any, Final, NoReturn

from lda_notes.files.syntax.faults import (
    EMPTY,
    LEADING_ZERO,
    MAX_DEPTH,
    MAX_VALUES,
    NOT_A_ROW,
    NOT_FINITE,
    TOO_DEEP,
    Refusal,
    not_a_mapping,
)
from lda_notes.files.syntax.scalars import Number, number
from lda_notes.files.syntax.text import HIDDEN, Text, decode, hidden_fault, without_hidden
from lda_notes.files.syntax.tree import Parsed, Stopped, Tree
from lda_notes.problems import Path

_scan_string: Final[Callable[[str, int, bool], tuple[str, int]]] = standard.scanstring  # type: ignore[attr-defined]  # typeshed leaves it out

_SPACE: Final = re.compile(r"[ \t\n\r]*")
_PLAIN_TEXT: Final = re.compile(r'"([^"\\\x00-\x1f]*)"')
_PLAIN_KEY: Final = re.compile(r'"([^"\\\x00-\x1f]*)"[ \t\n\r]*:[ \t\n\r]*')
_NEXT: Final = re.compile(r"[ \t\n\r]*([,}\]])[ \t\n\r]*")
_NUMBER: Final = re.compile(r"-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)?")
_WORD: Final = re.compile(r"[^\s,:\[\]{}\"]+")
_LEADING_ZERO: Final = re.compile(r"-?0[0-9]")
_PAIR_OR_ESCAPE: Final = re.compile(
    r"\\(?:u[dD][89abAB][0-9a-fA-F]{2}\\u[dD][c-fC-F][0-9a-fA-F]{2}|u([0-9a-fA-F]{4})|.)", re.DOTALL
)
_HIDDEN_ESCAPE: Final = re.compile(rb"(?i)\\u(?:00[01789]|00ad|061c|200[bef]|202[89a-e]|206|d[89a-f]|feff|fff)")
_LITERALS: Final[dict[str, bool | None]] = {"true": True, "false": False, "null": None}
_ENDLESS: Final = frozenset(["NaN", "Infinity", "-Infinity"])
_NUMBER_START: Final = tuple("+-.0123456789")


def _wrong(message: str, todo: str) -> Refusal:
    return Refusal("json-syntax", message, todo)


_ENDS: Final = _wrong(
    "The text ends here; more was expected.", "Look whether the file was cut off, or a bracket is missing."
)
_TRAILING: Final = _wrong("More text stands after the end of the record.", "Remove it; one record a file is read.")
_NO_KEY: Final = _wrong(
    "A name in double quotes was expected here.", "Put the name in double quotes, or remove a comma too many."
)
_NO_COLON: Final = _wrong("A colon was expected here, after the name.", "Put a colon between the name and its value.")
_NO_COMMA: Final = _wrong(
    "A comma or the closing bracket was expected here.", "Put a comma between the entries, or close the bracket."
)
_NO_VALUE: Final = _wrong(
    "A value was expected here.", "Write the value, or remove a comma or colon too many; text needs double quotes."
)
_WORD_UNQUOTED: Final = _wrong(
    "A word stands here without quotes; only true, false and null may.", "Put it in double quotes."
)
_NUMBER_WRITTEN: Final = _wrong(
    "This number is not written as JSON wants it.",
    "Write digits before and after the point, and no plus sign.",
)
_UNCLOSED: Final = _wrong(
    "Text in double quotes starts here and does not end in its row.",
    "Close the quotes; write a new row inside a text as \\n and a tab as \\t.",
)
_ESCAPE: Final = _wrong("A backslash starts a character code that JSON does not have.", "Write the backslash twice.")


def read_json(raw: bytes, only_row: int = 0) -> Parsed:
    """Read one JSON text (RFC 8259) whose whole is an object, with the place of every value.

    Refused, each with a fault: repeated keys, ``NaN`` and ``Infinity``, numbers that are not finite.
    ``data`` is None only where reading had to stop. Where ``raw`` is one row of a file, ``only_row`` is its number,
    so that places name it.
    """
    text, faults = decode(raw, only_row)
    if text is None:
        return Parsed(None, faults.all(), Text("", ""))
    scanner = _Scanner(text, faults)
    try:
        return scanner.finish(scanner.whole())
    except Stopped:
        return scanner.finish(None)


def faultless_json(raw: bytes) -> bool:
    """Return whether `read_json` would surely find no fault but depth, about ten times as fast.

    Escapes that might hide something are not judged: False only says that `read_json` has to be asked.
    """
    if len(raw) > 2 * MAX_VALUES or _HIDDEN_ESCAPE.search(raw):
        return False
    try:
        text = raw.decode("utf-8")
        if not text.isascii() and HIDDEN.search(text):
            return False
        whole = json.loads(
            text,
            object_pairs_hook=_without_repeats,
            parse_float=_plain_number,
            parse_int=_plain_number,
            parse_constant=_plain_number,
        )
    except (ValueError, RecursionError):
        return False
    return isinstance(whole, dict)


def _without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    entries = dict(pairs)
    if len(entries) < len(pairs):
        raise ValueError
    return entries


def _plain_number(word: str) -> None:
    if not isinstance(number(word), Number):
        raise ValueError


class _Scanner(Tree):
    """Reads one JSON text. Recursion ends at ``MAX_DEPTH``. Offsets are in the cleaned text."""

    def whole(self) -> dict[str, Any] | None:
        """Return the object that the text is."""
        clean = self.text.clean
        start = self.skip(0)
        if start == len(clean):
            self.stop(0, EMPTY)
        if self.text.only_row and clean[start] != "{":
            self.stop(start, NOT_A_ROW)
        self.notes.append(((), [None, start, start]))
        if clean[start] == "{":
            data, end = self.object(start, ())
        else:
            data, end = self.value(start, (), 0)
        end = self.skip(end)
        if end < len(clean):
            self.stop(end, _TRAILING)
        if not isinstance(data, dict):
            self.stop(start, not_a_mapping(data))
        return data

    def skip(self, at: int) -> int:
        """Return where the next character that is not white space stands."""
        return _SPACE.match(self.text.clean, at).end()  # type: ignore[union-attr]  # it matches everywhere

    def object(self, at: int, path: Path) -> tuple[dict[str, Any], int]:
        """Return the entries of the object whose bracket opens here, and where it ends."""
        clean = self.text.clean
        entries: dict[str, Any] = {}
        notes = self.notes_for(path)
        at = self.skip(at + 1)
        if clean[at : at + 1] == "}":
            return entries, at + 1
        while True:
            key_spot = at
            found = _PLAIN_KEY.match(clean, at)
            key, at = (found[1], found.end()) if found else self.key(at)
            if key in entries:
                key = self.refuse_repeated(key, path, key_spot, entries)
            notes += (key, key_spot, at)
            entries[key], at = self.value(at, path, key)
            closed, at = self.next(at, "}")
            if closed:
                return entries, at

    def array(self, at: int, path: Path) -> tuple[list[Any], int]:
        """Return the items of the array whose bracket opens here, and where it ends."""
        items: list[Any] = []
        notes = self.notes_for(path)
        at = self.skip(at + 1)
        if self.text.clean[at : at + 1] == "]":
            return items, at + 1
        while True:
            notes += (len(items), at, at)
            item, at = self.value(at, path, len(items))
            items.append(item)
            closed, at = self.next(at, "]")
            if closed:
                return items, at

    def value(self, at: int, path: Path, key: str | int) -> tuple[Any, int]:
        """Return the value under a key or at a position, which starts here, and where it ends."""
        clean = self.text.clean
        if self.many:
            self.count(at)
        found = _PLAIN_TEXT.match(clean, at)
        if found:
            return found[1], found.end()
        sign = clean[at : at + 1]
        if sign == '"':
            return self.string(at)
        if sign in ("{", "["):
            if len(path) + 1 >= MAX_DEPTH:
                self.stop(at, TOO_DEEP)
            return self.object(at, (*path, key)) if sign == "{" else self.array(at, (*path, key))
        return self.word(at, path, key)

    def key(self, at: int) -> tuple[str, int]:
        """Return a key that has escapes, or is none; and where its value starts."""
        clean = self.text.clean
        if clean[at : at + 1] != '"':
            self.miss(at, _NO_KEY)
        key, at = self.string(at)
        at = self.skip(at)
        if clean[at : at + 1] != ":":
            self.miss(at, _NO_COLON)
        return key, self.skip(at + 1)

    def next(self, at: int, closing: str) -> tuple[bool, int]:
        """Return whether the bracket closes after a value, and where the next entry starts or the container ends."""
        found = _NEXT.match(self.text.clean, at)
        if found is None:
            self.miss(self.skip(at), _NO_COMMA)
        if found[1] == ",":
            return False, found.end()
        if found[1] != closing:
            self.stop(found.start(1), _NO_COMMA)
        return True, found.end(1)

    def string(self, at: int) -> tuple[str, int]:
        """Return the text whose double quotes open here, without hidden characters, and where it ends."""
        try:
            value, end = _scan_string(self.text.clean, at + 1, True)
        except JSONDecodeError as error:
            if "escape" in error.msg:
                self.stop(error.pos, _ESCAPE)
            self.stop(at, _UNCLOSED)
        if not value.isprintable() and (hidden := HIDDEN.findall(value)):
            found = at + first_hidden_escape(self.text.clean[at:end])
            self.faults.put(hidden_fault(self.text.place(found), "".join(hidden)))
            value = without_hidden(value)
        return value, end

    def word(self, at: int, path: Path, key: str | int) -> tuple[Any, int]:
        """Return a number, true, false or null; a number that JSON does not have is a fault, and stays text."""
        found = _WORD.match(self.text.clean, at)
        if found is None:
            self.miss(at, _NO_VALUE)
        word = found[0]
        if word in _LITERALS:
            return _LITERALS[word], found.end()
        if not word.startswith(_NUMBER_START) and word not in _ENDLESS:
            self.stop(at, _WORD_UNQUOTED)
        read = self.number(word)
        if isinstance(read, Refusal):
            self.faults.add(at, *read)
            return word, found.end()
        if read.written is not None:
            self.written[(*path, key)] = word
        return read.value, found.end()

    def number(self, word: str) -> Number | Refusal:
        """Return a number, if JSON has it so."""
        if word in _ENDLESS:
            return NOT_FINITE
        if _LEADING_ZERO.match(word):
            return LEADING_ZERO
        read = number(word) if _NUMBER.fullmatch(word) else None
        return _NUMBER_WRITTEN if read is None else read

    def miss(self, at: int, refusal: Refusal) -> NoReturn:
        """Stop because of what stands here, or because the text ends."""
        self.stop(at, refusal if at < len(self.text.clean) else _ENDS)


def first_hidden_escape(quoted: str) -> int:
    """Where, in a text with its double quotes, the first escape of a hidden character stands; 0 if nowhere."""
    for found in _PAIR_OR_ESCAPE.finditer(quoted):
        if found[1] is not None and HIDDEN.match(chr(int(found[1], 16))):
            return found.start()
    return 0
