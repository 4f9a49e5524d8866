"""Problems of the user's data, as values; and the one exception for a run that cannot continue."""

from __future__ import annotations

from typing import Final, Literal, NamedTuple

from lda_notes.knowledge.sources import Citation

Path = tuple[str | int, ...]
"""Where a value stands inside a record: keys and list positions, such as ``("events", 3, "needle", "gauge")``."""

Severity = Literal["unsafe", "wrong", "gap", "advice"]
"""How much a finding matters.

``unsafe``: the line or the patient is at risk. ``wrong``: the record contradicts itself or cannot be read.
``gap``: something that must be recorded is not. ``advice``: worth a look; the record stands without it.
"""

SEVERITIES: Final[tuple[Severity, ...]] = ("unsafe", "wrong", "gap", "advice")
"""Every severity, worst first."""

STOPPING: Final[tuple[Severity, ...]] = ("unsafe", "wrong", "gap")
"""Severities for which a check ends with 1 and a record is not sent."""


class Place(NamedTuple):
    """A spot in a file: rows and columns count from 1."""

    file: str
    row: int
    column: int

    def __str__(self) -> str:
        return f"{self.file}:{self.row}:{self.column}"


class Related(NamedTuple):
    """A second spot that a finding is about, and what is there."""

    path: Path
    says: str
    place: Place | None = None


class Gap(NamedTuple):
    """Facts that are not recorded, by their labels, and of what: a kind of event, or the record as a whole."""

    of: str
    facts: tuple[str, ...]


class Finding(NamedTuple):
    """One fault of a record, with everything a reader needs to act on it.

    ``message`` is one plain sentence with the values found and expected; ``todo`` says what to do about it;
    ``citations`` say where the expectation comes from. ``place`` is filled once the file is known. ``gap`` is what is
    not recorded, where that is all that the finding says.
    """

    rule: str
    severity: Severity
    message: str
    todo: str
    path: Path
    citations: tuple[Citation, ...] = ()
    event: str | None = None
    related: tuple[Related, ...] = ()
    place: Place | None = None
    gap: Gap | None = None


FOUND: Final = 1
UNUSABLE: Final = 2
REFUSED: Final = 3
UNREACHABLE: Final = 4
"""Exit codes that are decided by what was found or done; the README lists all."""


class Failure(Exception):
    """The run cannot continue. ``str()`` is one sentence for the user; ``code`` is the exit code."""

    def __init__(self, sentence: str, code: int = UNUSABLE) -> None:
        super().__init__(sentence)
        self.code = code
