"""How far a stream has come: rows, rate and time left, rewritten in place on a terminal."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Final

from lda_notes.stream.names import STANDARD_INPUT, is_packed

_EVERY_S: Final = 0.5


class Progress:
    """Shows progress through ``show``; ``clock`` counts seconds. ``total`` is the input in bytes, 0 if not known."""

    def __init__(self, show: Callable[[str], None], clock: Callable[[], float], total: int) -> None:
        self._show, self._clock, self._total = show, clock, total
        self._began = self._shown = clock()
        self._rows = self._bytes = 0

    def step(self, rows: int, length: int) -> None:
        """Note that rows of ``length`` bytes are done."""
        self._rows += rows
        self._bytes += length
        now = self._clock()
        if now - self._shown >= _EVERY_S:
            self._shown = now
            self._show(self.text(now - self._began))

    def skip(self, length: int) -> None:
        """Note that ``length`` bytes are passed over, so that they count neither as done nor as left."""
        self._total = max(self._total - length, 0)

    def text(self, seconds: float) -> str:
        """Return the rows done in ``seconds``, their rate and the time left, as one short text."""
        text = f"{self._rows:,} rows, {self._rows / max(seconds, 0.001):,.0f} per second"
        if self._total and self._bytes:
            left = seconds * max(self._total - self._bytes, 0) / self._bytes
            text += f", {_span(left)} left"
        return text


def _span(seconds: float) -> str:
    minutes, seconds = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min" if hours else f"{minutes} min {seconds} s" if minutes else f"{seconds} s"


def total_size(files: list[Path]) -> int:
    """Return the size of all files in bytes; 0 when it says nothing about how much is to be read."""
    if any(path == STANDARD_INPUT or is_packed(path) for path in files):
        return 0
    try:
        return sum(path.stat().st_size for path in files)
    except OSError:
        return 0
