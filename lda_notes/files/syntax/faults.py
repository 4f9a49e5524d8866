"""Faults of syntax as values, the limits of what is read, and the sentences that both readers use."""

from __future__ import annotations

from typing import Final, NamedTuple

MAX_BYTES: Final = 20 * 1024 * 1024
"""Largest file that is read, in bytes. Common practice, no source: an episode of 1,000 events is under 1 MiB."""

MAX_DEPTH: Final = 40
"""Deepest nesting that is read. Common practice, no source: a record nests six deep."""

MAX_VALUES: Final = 300_000
"""Most values that are read from one file. Common practice, no source: 1,000 events contain about 60,000."""

MAX_FAULTS: Final = 100
"""Most faults that are listed for one file; a last one counts those left out."""

MAX_HIDDEN: Final = 1000
"""Most hidden characters that are left out of one file; with more it is not read."""

MAX_NUMBER: Final = 100
"""Longest number that is read, in characters."""

MAX_SHOWN: Final = 40
"""Most characters of the file that one message repeats, because messages end up in logs."""


class Fault(NamedTuple):
    """One fault of the syntax of a file. Rows and columns count from 1; columns count characters.

    ``message`` is one sentence with what was found and what was expected; ``todo`` says what to do.
    Neither repeats more than ``MAX_SHOWN`` characters of the file, and of values nothing at all.
    """

    row: int
    column: int
    rule: str
    message: str
    todo: str


class Refusal(NamedTuple):
    """Why a piece of a file is not taken: the fault's rule, message and advice."""

    rule: str
    message: str
    todo: str


EMPTY: Final = Refusal(
    "empty-file", "The file holds nothing; a record was expected.", "Write the record, or remove the file."
)
NOT_A_ROW: Final = Refusal(
    "not-a-mapping",
    "The row does not begin with a brace; one record in JSON was expected.",
    "Write each record as one row of JSON; a record in YAML goes into a file of its own.",
)
TOO_DEEP: Final = Refusal(
    "too-deep",
    f"Values are nested more than {MAX_DEPTH} deep here.",
    "Look for an indentation or a bracket too many above this place.",
)
TOO_MANY: Final = Refusal(
    "too-large",
    f"The file holds more than {MAX_VALUES:,} values.",
    "Give one file for each episode, or use the commands for bulk files.",
)
NOT_FINITE: Final = Refusal(
    "not-finite", "This is not a finite number.", "Write the number that was measured, or remove the entry."
)
LEADING_ZERO: Final = Refusal(
    "leading-zero",
    "This number starts with a zero, so it could be a number, a code or a time.",
    "Drop the zero if it is a number; put it in quotes if it is a code; write a time as 08:00.",
)
TOO_LONG: Final = Refusal(
    "number-too-long",
    f"This number has more than {MAX_NUMBER} characters.",
    "Write the number that was measured; put an identifier in quotes.",
)


def not_a_mapping(data: object) -> Refusal:
    """Return the fault of a file that is a value or a list as a whole."""
    found = "a list" if isinstance(data, list) else "nothing" if data is None else "a single value"
    return Refusal(
        "not-a-mapping",
        f"The file contains {found}; named entries were expected.",
        'Start with names such as "patient:" and put what belongs to each below it.',
    )


def repeated(key: str, row: int) -> Refusal:
    """Return a key that the same mapping contains already, in another row."""
    return Refusal(
        "repeated-key",
        f"The entry {shown(key)} is written a second time; it is already in row {row}.",
        "Keep one of the two.",
    )


def shown(key: str) -> str:
    """Return a key in quotation marks, cut to what a message may repeat."""
    plain = "".join(character if character.isprintable() else " " for character in key)
    return f'"{plain}"' if len(plain) <= MAX_SHOWN else f'"{plain[: MAX_SHOWN - 3]}..."'
