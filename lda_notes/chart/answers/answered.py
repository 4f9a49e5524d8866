"""One answer of a talk, as drafts keep it; alone here, since `check` looks for drafts and needs no more of charting."""

from __future__ import annotations

from typing import Any, NamedTuple

from lda_notes.problems import Path


class Answered(NamedTuple):
    """A question that was answered, with the facts that it gave."""

    question: str
    facts: tuple[tuple[Path, Any], ...]
    said: str
