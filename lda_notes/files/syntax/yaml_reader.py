"""YAML 1.2 to plain data: our own composer over the events of libyaml.

PyYAML's constructors follow YAML 1.1 (``no`` is false, ``22:30`` is 1350, ``012`` is 10) and keep the last of two
equal keys without a word; its events say only what stands where, which is all that is taken from it here.
"""

from __future__ import annotations

import re
from typing import Any, Final

import yaml
from yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    StreamEndEvent,
)

from lda_notes.files.syntax import yaml_faults as sentences
from lda_notes.files.syntax.faults import EMPTY, MAX_DEPTH, TOO_DEEP, Refusal, not_a_mapping
from lda_notes.files.syntax.scalars import WORDS, number
from lda_notes.files.syntax.text import HIDDEN, Faults, Text, decode, hidden_fault, without_hidden
from lda_notes.files.syntax.tree import Parsed, Stopped, Tree
from lda_notes.problems import Path

_NUMBER_START: Final = frozenset("+-.0123456789")
_TYPOGRAPHIC: Final = frozenset("“”„‟‘’‚‛")
_SPECIAL_START: Final = frozenset(["", "~", *"nNtTfF", *_NUMBER_START, *_TYPOGRAPHIC])
"""How an unquoted scalar starts that may be something other than text."""

_SIGN: Final = re.compile(r"[ \t]#(?=\w)")
_SWALLOWED: Final = re.compile(r"[ \t]+#(?=\w)")
"""The sign that cuts a value such as "bag #2": YAML takes it for a comment, which no one meant."""

_TEXT_TAG: Final = "tag:yaml.org,2002:str"
_ADORNMENT: Final = re.compile(r"[&!](?<!\w[&!])")
"""A sign that may start an anchor or a tag; inside a word, as in "A&O" or "well!", it does not."""

_ESCAPE: Final = re.compile(r"\\(x[0-9a-fA-F]{2}|u[0-9a-fA-F]{4}|U[0-9a-fA-F]{8}|.)", re.DOTALL)
_NAMED_ESCAPES: Final = {
    "0": "\0",
    "a": "\a",
    "b": "\b",
    "v": "\v",
    "f": "\f",
    "e": "\x1b",
    "N": "\x85",
    "L": "\u2028",
    "P": "\u2029",
}


def _fastest_parser() -> type[Any]:
    try:
        from yaml._yaml import CParser
    except ImportError:  # PyYAML was built without libyaml: the same events, about ten times slower.
        return yaml.SafeLoader
    return CParser


PARSER: type[Any] = _fastest_parser()


def compose(raw: bytes) -> Parsed:
    """Read one YAML document whose whole is a mapping; never raises on bad input."""
    text, faults = decode(raw)
    if text is None:
        return Parsed(None, faults.all(), Text("", ""))
    composer = _Composer(text, faults)
    data = None
    try:
        data = composer.document()
    except Stopped:
        pass
    except yaml.YAMLError as error:
        at, refusal = sentences.explain(error, text, composer.last)
        faults.add(at, *refusal)
    except (ValueError, OverflowError):  # the pure Python parser, on a number that it does not check
        faults.add(composer.last, *sentences.OUT_OF_RANGE)
    return composer.finish(data)


class _Composer(Tree):
    """Builds the data of one document. Recursion ends at ``MAX_DEPTH``."""

    def __init__(self, text: Text, faults: Faults) -> None:
        super().__init__(text, faults)
        self.last = 0
        self.signed = False
        # Most files have nothing that could be an anchor or a tag, and then no event is asked about them.
        maybe = "&" in text.clean or "!" in text.clean
        self.adorned = maybe and _ADORNMENT.search(text.clean) is not None
        if "#" in text.clean and _SIGN.search(text.clean) is not None:
            self.adorned = self.signed = True
        self.get_event = PARSER(text.clean).get_event

    def document(self) -> dict[str, Any] | None:
        """Return the whole document, or None where it is not a mapping."""
        get = self.get_event
        get()  # the start of the stream
        event = get()
        if type(event) is StreamEndEvent:
            self.faults.add(0, *EMPTY)
            return None
        if event.version is not None and tuple(event.version) != (1, 2):
            self.faults.add(_spot(event), *sentences.VERSION)
        event = get()
        spot = event.start_mark.index
        self.notes.append(((), [None, spot, spot]))
        if type(event) is MappingStartEvent:
            self.adornment(event, spot)
            data: Any = self.mapping(())
        else:
            data = self.value(event, (), 0, spot)
        get()  # the end of the document; a fault of syntax may show only here, and says more than what follows
        if not isinstance(data, dict):
            self.faults.add(spot, *not_a_mapping(data))
        event = get()
        if type(event) is DocumentStartEvent:
            self.stop(_spot(event), sentences.SEVERAL)
        return data if isinstance(data, dict) else None

    def mapping(self, path: Path) -> dict[str, Any]:
        """Return the entries up to the end of the mapping."""
        get, adorned, many = self.get_event, self.adorned, self.many
        entries: dict[str, Any] = {}
        notes = self.notes_for(path)
        event = get()
        while type(event) is not MappingEndEvent:
            key_spot = event.start_mark.index
            if type(event) is ScalarEvent and event.style != '"' and not adorned:
                key: str | None = event.value
            else:
                key = self.key(event, path, key_spot)
            if key in entries or not key or key == "<<":
                key = self.refuse_key(event, key, path, key_spot, entries)
            event = get()
            spot = event.start_mark.index
            notes += (key, key_spot, spot)
            if many:
                self.count(spot)
            # Unquoted words are what a record mostly holds; they are read here, without a call.
            if type(event) is ScalarEvent and not event.style and not adorned:
                value = event.value
                entries[key] = self.plain(value, path, key, spot) if value[:1] in _SPECIAL_START else value
            else:
                entries[key] = self.value(event, path, key, spot)
            event = get()
        self.last = _spot(event)
        return entries

    def sequence(self, path: Path) -> list[Any]:
        """Return the items up to the end of the sequence."""
        get, many = self.get_event, self.many
        items: list[Any] = []
        notes = self.notes_for(path)
        event = get()
        while type(event) is not SequenceEndEvent:
            spot = event.start_mark.index
            notes += (len(items), spot, spot)
            if many:
                self.count(spot)
            items.append(self.value(event, path, len(items), spot))
            event = get()
        self.last = _spot(event)
        return items

    def value(self, event: Any, path: Path, key: str | int, spot: int) -> Any:
        """Return the value under a key or at a position; what is refused becomes None, with a fault."""
        kind = type(event)
        if kind is AliasEvent:
            self.faults.add(spot, *sentences.ALIAS)
            return None
        text_meant = self.adorned and self.adornment(event, spot)
        if kind is ScalarEvent:
            if self.signed:
                self.swallowed(event)
            value: str = event.value
            if event.style:
                return value if value.isprintable() or event.style != '"' else self.revealed(event)
            return value if text_meant or value[:1] not in _SPECIAL_START else self.plain(value, path, key, spot)
        if len(path) + 1 >= MAX_DEPTH:
            self.stop(spot, TOO_DEEP)
        return self.mapping((*path, key)) if kind is MappingStartEvent else self.sequence((*path, key))

    def adornment(self, event: Any, spot: int) -> bool:
        """Return whether a tag says that the value is text; any other tag and every anchor is a fault."""
        if event.anchor is not None:
            self.faults.add(spot, *sentences.ANCHOR)
        text_meant = event.tag == _TEXT_TAG and type(event) is ScalarEvent
        if event.tag is not None and not text_meant:
            self.faults.add(spot, *sentences.TAG)
        return text_meant

    def swallowed(self, event: Any) -> None:
        """Return a fault where the text of a value in one row continues after a number sign, which ends it."""
        clean, end = self.text.clean, event.end_mark.index
        while end > event.start_mark.index and clean[end - 1] in " \t":
            end -= 1
        found = _SWALLOWED.match(clean, end) if event.style not in ("|", ">") else None
        if found is not None:
            self.faults.add(found.end() - 1, *sentences.NUMBER_SIGN)

    def plain(self, value: str, path: Path, key: str | int, spot: int) -> Any:
        """Return what an unquoted scalar says."""
        if value[:1] not in _NUMBER_START:
            if len(value) > 1 and value[0] in _TYPOGRAPHIC and value[-1] in _TYPOGRAPHIC:
                self.faults.add(spot, *sentences.TYPOGRAPHIC)
            return WORDS.get(value, value)
        read = number(value)
        if read is None:
            return value
        if isinstance(read, Refusal):
            self.faults.add(spot, *read)
            return value
        if read.written is not None:
            self.written[(*path, key)] = read.written
        return read.value

    def key(self, event: Any, path: Path, spot: int) -> str | None:
        """Return the text of a key, as written; None where it is not text, with a fault."""
        if type(event) is AliasEvent:
            self.faults.add(spot, *sentences.ALIAS)
            return None
        if type(event) is not ScalarEvent:
            self.faults.add(spot, *sentences.KEY_NOT_TEXT)
            self.value(event, path, self.passing_name({}), spot)
            return None
        if self.adorned:
            self.adornment(event, spot)
        text: str = event.value
        return text if text.isprintable() or event.style != '"' else self.revealed(event)

    def refuse_key(self, event: Any, key: str | None, path: Path, spot: int, entries: dict[str, Any]) -> str:
        """Return a name for the entry: its own where the key is good after all, else one that no file can contain."""
        quoted = type(event) is ScalarEvent and bool(event.style)
        if key is not None and key in entries:
            return self.refuse_repeated(key, path, spot, entries)
        if key is not None and quoted:
            return key
        if key is not None:
            self.faults.add(spot, *(sentences.MERGE if key else sentences.NO_KEY))
        return self.passing_name(entries)

    def revealed(self, event: Any) -> str:
        """Return the text of double quotes less the hidden characters that were written as escapes."""
        value: str = event.value
        hidden = HIDDEN.findall(value)
        if hidden:
            start: int = event.start_mark.index
            found = first_hidden_escape(self.text.clean[start : event.end_mark.index])
            self.faults.put(hidden_fault(self.text.place(start + found), "".join(hidden)))
            value = without_hidden(value)
        return value


def first_hidden_escape(quoted: str) -> int:
    """Where, in a text with its double quotes, the first escape of a hidden character stands; 0 if nowhere."""
    for found in _ESCAPE.finditer(quoted):
        code = found[1]
        written = chr(int(code[1:], 16)) if len(code) > 1 else _NAMED_ESCAPES.get(code, "")
        if HIDDEN.match(written):
            return found.start()
    return 0


def _spot(event: Any) -> int:
    offset: int = event.start_mark.index
    return offset
