"""From bytes to text that contains nothing hidden.

Nothing here knows YAML or JSON. The file is decoded as UTF-8, characters that a person cannot see are reported
and left out, and every offset in the cleaned text can be turned into the row and column of the file.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import dataclass, field
from itertools import accumulate
from typing import Final

from lda_notes.files.syntax.faults import MAX_BYTES, MAX_FAULTS, MAX_HIDDEN, Fault

HIDDEN: Final = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\xad\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f"
    "\ud800-\udfff\ufeff\ufff9-\ufffc\ufffe\uffff\U000e0000-\U000e007f]"
)
"""One character that a reader of the file cannot see, or that changes the order in which others are shown:
control characters but tab and row ends, bidirectional controls, zero-width and tag characters, lone surrogates.
The joiners U+200C and U+200D are left alone: some scripts are spelled with them."""

_AS_SPACE: Final = re.compile("[\x0b\x0c\x1c-\x1f\x85\u2028\u2029]")
_SEEN_ASCII: Final = bytes([*range(0x20, 0x7F), 0x09, 0x0A, 0x0D])
_ROW_END: Final = re.compile(r"\r\n|\n|\r")

_NOT_TEXT: Final = (
    (b"\xff\xfe\x00\x00", "UTF-32"),
    (b"\x00\x00\xfe\xff", "UTF-32"),
    (b"\xff\xfe", "UTF-16"),
    (b"\xfe\xff", "UTF-16"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"PK\x03\x04", "a zip archive or an office document"),
    (b"%PDF", "a PDF document"),
)


@dataclass(slots=True)
class Text:
    """The text of a file: as decoded, and ``clean``, without hidden characters.

    ``removed`` contains, for each character left out, the offset in ``clean`` before which it stood. ``only_row`` is
    the row that the whole text stands in, for a record that is one row of a file; 0 for a file of its own.
    """

    decoded: str
    clean: str
    removed: list[int] = field(default_factory=list)
    only_row: int = 0
    _rows: list[int] = field(default_factory=list)

    def place(self, offset: int) -> tuple[int, int]:
        """Row and column, from 1, of the character at an offset in ``clean``."""
        return self.row_and_column(offset + bisect_right(self.removed, offset) if self.removed else offset)

    def places(self, offsets: list[int]) -> list[tuple[int, int]]:
        """Row and column of many characters; in one go this takes half the time."""
        if self.removed or self.only_row:
            return [self.place(offset) for offset in offsets]
        rows = self._rows or self._row_starts()
        return [(row := bisect_right(rows, offset), offset - rows[row - 1] + 1) for offset in offsets]

    def row_at(self, offset: int) -> tuple[int, str]:
        """Start (an offset in ``clean``) and text of the row around an offset in ``clean``."""
        start = max(self.clean.rfind("\n", 0, offset), self.clean.rfind("\r", 0, offset)) + 1
        end = _ROW_END.search(self.clean, max(start, offset))
        return start, self.clean[start : end.start() if end else len(self.clean)]

    def row_and_column(self, offset: int) -> tuple[int, int]:
        """Row and column, from 1, of the character at an offset in ``decoded``."""
        if self.only_row:
            return self.only_row, offset + 1
        rows = self._rows or self._row_starts()
        row = bisect_right(rows, offset)
        return row, offset - rows[row - 1] + 1

    def _row_starts(self) -> list[int]:
        if "\r" in self.decoded:
            self._rows = [0, *(end.end() for end in _ROW_END.finditer(self.decoded))]
        else:
            self._rows = [0, *accumulate(len(row) + 1 for row in self.decoded.split("\n")[:-1])]
        return self._rows


class Faults:
    """Faults as they are met; past ``MAX_FAULTS`` they are only counted."""

    def __init__(self, text: Text) -> None:
        self.text = text
        self._listed: list[Fault] = []
        self._more = 0

    def add(self, offset: int, rule: str, message: str, todo: str) -> None:
        """Note a fault at an offset in the cleaned text."""
        if self.full:
            self._more += 1
        else:
            self.put(Fault(*self.text.place(offset), rule, message, todo))

    @property
    def full(self) -> bool:
        """Whether further faults are only counted; their places then need not be worked out."""
        return len(self._listed) >= MAX_FAULTS

    def put(self, fault: Fault) -> None:
        """Note a fault whose row and column are known."""
        if self.full:
            self._more += 1
        else:
            self._listed.append(fault)

    def all(self) -> tuple[Fault, ...]:
        """Return every fault, in the order of the file, and last how many were left out."""
        listed = sorted(self._listed)
        if self._more:
            last = listed[-1]
            listed.append(
                Fault(
                    last.row,
                    last.column,
                    "too-many-faults",
                    f"{self._more} more faults of syntax are not listed.",
                    "Correct those above and run the check again.",
                )
            )
        return tuple(listed)


def without_hidden(value: str) -> str:
    """Return the text with hidden characters left out; those that part words become a space."""
    return HIDDEN.sub("", _AS_SPACE.sub(" ", value))


def hidden_fault(place: tuple[int, int], characters: str) -> Fault:
    """Return the fault for one or more hidden characters at a place."""
    import unicodedata

    def named(character: str) -> str:
        name = unicodedata.name(character, "").lower()
        return f"U+{ord(character):04X}" + (f" ({name})" if name else "")

    several = sorted(set(characters))
    listed = ", ".join(named(character) for character in several[:3]) + (" and others" if several[3:] else "")
    return Fault(
        *place,
        "hidden-character",
        f"This row contains what cannot be seen, {listed}; it was left out of what was read.",
        "Type the row again without it.",
    )


def decode(raw: bytes, only_row: int = 0) -> tuple[Text | None, Faults]:
    """Return the text of a file, or None where it is not text at all; with the faults met so far.

    A byte order mark is dropped. Bytes that are not UTF-8 are one fault, at the first, and become U+FFFD, so that
    the rest of the file is still checked. ``only_row`` is the row of a larger file that ``raw`` is, if it is one.
    """
    faults = Faults(Text("", ""))
    refused = _refused(raw, only_row or 1)
    if refused is not None:
        faults.put(refused)
        return None, faults
    raw = raw.removeprefix(b"\xef\xbb\xbf")
    try:
        decoded = raw.decode("utf-8")
        wrong = None
    except UnicodeDecodeError as error:
        decoded = raw.decode("utf-8", "replace")
        wrong = error.start
    text = Text(decoded, decoded, only_row=only_row)
    faults.text = text
    if wrong is not None:
        faults.add(len(raw[:wrong].decode("utf-8")), *_not_utf8(raw, wrong))
    # Valid UTF-8 less its plain ASCII is still valid, and in most files empty: a search of nearly nothing.
    hidden = HIDDEN.findall(raw.translate(None, _SEEN_ASCII).decode("utf-8", "replace"))
    if len(hidden) > MAX_HIDDEN:
        faults.put(_hardly_text(text, len(hidden)))
        return None, faults
    if hidden:
        _leave_out_hidden(text, faults)
    return text, faults


def _hardly_text(text: Text, count: int) -> Fault:
    first = HIDDEN.search(text.decoded)
    return Fault(
        *text.place(first.start() if first else 0),
        "hidden-character",
        f"The file contains {count:,} characters that cannot be seen, so it is unlikely to be text.",
        "Check that this is the right file, and save it again as plain text.",
    )


def _leave_out_hidden(text: Text, faults: Faults) -> None:
    text.clean = without_hidden(text.decoded)
    by_row: dict[int, list[tuple[int, str]]] = {}
    for found in HIDDEN.finditer(text.decoded):
        row, column = text.row_and_column(found.start())
        by_row.setdefault(row, []).append((column, found[0]))
        if not _AS_SPACE.match(found[0]):
            text.removed.append(found.start() - len(text.removed))
    for row, several in by_row.items():
        faults.put(hidden_fault((row, several[0][0]), "".join(character for _, character in several)))


def _refused(raw: bytes, row: int) -> Fault | None:
    if len(raw) > MAX_BYTES:
        return Fault(
            row,
            1,
            "too-large",
            f"The file contains {len(raw):,} bytes; a record is read up to {MAX_BYTES:,}.",
            "Give one file for each episode, or use the commands for bulk files.",
        )
    looks = next((name for start, name in _NOT_TEXT if raw.startswith(start)), None)
    head = raw[:64]
    if looks is None and len(head) > 1 and head.count(0) * 5 >= len(head) * 2 and head.count(0) < len(head):
        looks = "UTF-16"
    if looks is None:
        return None
    return Fault(
        row,
        1,
        "not-utf-8",
        f"The file looks like {looks}; text in UTF-8 was expected.",
        "Save it again as plain text with the encoding UTF-8.",
    )


def _not_utf8(raw: bytes, wrong: int) -> tuple[str, str, str]:
    try:
        raw.decode("cp1252")
        looks = "; the file looks like Windows-1252"
    except UnicodeDecodeError:
        looks = ""
    return (
        "not-utf-8",
        f"Byte 0x{raw[wrong]:02X} is not UTF-8, which was expected{looks}.",
        "Save the file again with the encoding UTF-8 and look at the letters with accents.",
    )
