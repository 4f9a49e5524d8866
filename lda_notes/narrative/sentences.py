"""Sentences and paragraphs: what the narrator makes, and what documents are put together from."""

from __future__ import annotations

from dataclasses import dataclass

from lda_notes.problems import Path


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence and the facts that it rests on. ``quoted`` marks the nurse's own words, printed as entered.

    ``spare``: routine that the full note has too; a brief note that is too long leaves it out.
    """

    text: str
    facts: tuple[Path, ...] = ()
    quoted: bool = False
    spare: bool = False


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Sentences that belong together. ``label`` is a run-in heading, empty for none."""

    sentences: tuple[Sentence, ...]
    label: str = ""
