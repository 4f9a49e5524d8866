"""Questions and what is said back, as rows of plain text: read from top to bottom, nothing drawn over."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import Final

from lda_notes.chart.question import Question
from lda_notes.chart.speech import found_words as finding_text
from lda_notes.chart.talk import Say

__all__ = ["WIDTH", "finding_text", "question_text", "rows", "said_text"]

WIDTH: Final = 78
_GAP: Final = "   "


def rows(text: str, indent: str = "", first: str | None = None) -> Iterator[str]:
    """Yield a text in rows no wider than the terminal, each paragraph by itself."""
    for paragraph in text.split("\n"):
        lead = indent if first is None else first
        yield from textwrap.wrap(
            paragraph, WIDTH, initial_indent=lead, subsequent_indent=indent, break_on_hyphens=False
        ) or [""]


def question_text(question: Question) -> str:
    """Return a question with its choices, and what Enter takes."""
    asked = question.asks + (f" ({question.hint})" if question.hint else "")
    shown = [*rows(asked)]
    keyed = [f"{option.key}: {option.words}" for option in question.options]
    together = _GAP.join(keyed)
    if keyed and len(together) + 2 <= WIDTH:
        shown.append(f"  {together}")
    else:
        for one in keyed:
            shown.extend(rows(one, "     ", "  "))
    if question.default is not None:
        shown.extend(rows(f"Enter: {question.default.said}", "         ", "  "))
    return "\n".join(shown)


def said_text(say: Say) -> str:
    """Return what is said back: a finding stands out by its first word, not by colour."""
    match say.tone:
        case "finding" | "hold":
            first, *rest = say.text.split("\n")
            shown = [*rows(f"!! {first}", "   ")]
            for row in rest:
                shown.extend(rows(row, "   "))
            return "\n".join(shown)
        case "fault" | "doubt":
            return "\n".join(rows(say.text, "   ", "?? "))
        case "heard" | "known" | "explain" | "tell":
            return "\n".join(rows(say.text, "  "))
