"""What an answer came to: understood, not understood, or understood and doubted."""

from __future__ import annotations

from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True)
class Doubtful:
    """An answer that was understood but may be a slip; it stands when it is confirmed."""

    heard: Heard
    sentence: str


Reading = Heard | Unclear | Doubtful
