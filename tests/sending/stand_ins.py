"""What stands in for clock and client in the tests of sending."""

from __future__ import annotations

from collections.abc import Callable

from lda_notes.sending.client import Server
from lda_notes.sending.pace import Pace

Connect = Callable[..., Server]
"""Makes a client of a server at an address."""


class Waits:
    """Stands in for the clock: waiting takes no time and is written down."""

    def __init__(self) -> None:
        self.slept: list[float] = []
        self.seconds = 0.0

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.seconds += seconds

    def pace(self, tries: int = 4) -> Pace:
        return Pace(
            tries=tries,
            sleep=self.sleep,
            chance=lambda: 0.5,
            clock=lambda: self.seconds,
            now=lambda: 1_900_000_000.0 + self.seconds,
        )
