"""The result of reading an answer: understood, not understood, or understood and doubted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from lda_notes.problems import Path


@dataclass(frozen=True, slots=True)
class Value:
    """A value as it goes into the record (plain JSON) and as it is said back; ``doubt`` asks whether it is meant so."""

    value: Any
    said: str
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class Unclear:
    """An answer that was not understood: one sentence on what was expected. The question is asked again."""

    sentence: str


@dataclass(frozen=True, slots=True)
class Heard:
    """Facts that an answer gave, each with its path, and what is said back. No facts: the question is left open.

    ``brief`` is said instead where all of it stands right above; of a fact set by its name it says what that is called.
    """

    facts: tuple[tuple[Path, Any], ...]
    said: str
    brief: str = ""

    def under(self, head: str) -> Heard:
        """Return the same facts as facts of a part."""
        return replace(self, facts=tuple(((head, *path), value) for path, value in self.facts))


@dataclass(frozen=True, slots=True)
class Doubtful:
    """An answer that was understood but may be a slip; it stands when it is confirmed."""

    heard: Heard
    sentence: str


Reading = Heard | Unclear | Doubtful


def turned(reading: Reading, change: Callable[[Heard], Heard]) -> Reading:
    """Return a reading with what was heard changed; what was not understood stays so."""
    match reading:
        case Heard():
            return change(reading)
        case Doubtful():
            return replace(reading, heard=change(reading.heard))
        case Unclear():
            return reading
