"""The facts behind each sentence of a sheet, each with file, row and column."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from lda_notes.documents.blocks import Block, Columns, Sheet, Together
from lda_notes.narrative.sentences import Paragraph, Sentence
from lda_notes.problems import Path, Place


def sentences(blocks: tuple[Block, ...]) -> Iterator[Sentence]:
    """Yield every sentence of the blocks in order."""
    for block in blocks:
        match block:
            case Paragraph():
                yield from block.sentences
            case Together() | Columns():
                yield from sentences(block.blocks)
            case _:
                continue


def trace(sheet: Sheet, place: Callable[[Path], Place]) -> str:
    """Return each sentence of ``sheet``, under it a row for each fact: its name and where it is written."""
    rows: list[str] = []
    for sentence in sentences(sheet.blocks):
        rows.append(sentence.text)
        rows.extend(f"    {dotted(path)}  {place(path)}" for path in sentence.facts)
    return "".join(f"{row}\n" for row in rows)


def dotted(path: Path) -> str:
    """Return a path in one word, such as ``events[3].needle.gauge``; events count from 1, as people do."""
    said = ""
    for step in path:
        said += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if said else str(step)
    return said
