"""One line over time: corrections applied, states, due times, sums and line days."""

from lda_notes.line.folding import Line, fold

__all__ = ["Line", "fold"]
