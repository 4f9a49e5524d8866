"""One answer of a talk, as drafts keep it; alone here, since `check` looks for drafts and needs no more of charting."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from lda_notes.problems import Path


@dataclass(frozen=True, slots=True)
class Answered:
    """A question that was answered, with the facts that it gave."""

    question: str
    facts: tuple[tuple[Path, Any], ...]
    said: str
