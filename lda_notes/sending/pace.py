"""How long to wait before asking again: growing, scattered, and as long as the server asks for."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Final

from lda_notes.sending.wire import Answer, NoAnswer

BUSY: Final = frozenset({429, 502, 503, 504})
"""Statuses after which the same request may be made again."""

_MOST_DIGITS: Final = 9


@dataclass(frozen=True, slots=True)
class Pace:
    """Waits between tries, in seconds.

    Try ``n`` (from 0) is followed by a wait between half and all of ``first_s * 2**n``, never over ``longest_s``:
    scattered so that many clients do not come back at once. ``most_asked_s`` is the longest wait that a server may ask
    for; one that asks for more counts as not reachable. ``sleep``, ``chance`` (0 to 1), ``clock`` (seconds of any
    origin) and ``now`` (seconds since 1970) can be replaced by a test.
    """

    tries: int = 5
    first_s: float = 0.5
    longest_s: float = 20.0
    most_asked_s: float = 120.0
    sleep: Callable[[float], None] = field(default=time.sleep)
    chance: Callable[[], float] = field(default=random.random)
    clock: Callable[[], float] = field(default=time.monotonic)
    now: Callable[[], float] = field(default=time.time)

    def wait(self, tried: int, asked_s: float | None = None) -> bool:
        """Wait after try number ``tried`` (from 0); tell False, at once, when no further try is due."""
        if tried + 1 >= self.tries or (asked_s is not None and asked_s > self.most_asked_s):
            return False
        scattered = (1 + self.chance()) / 2 * min(self.longest_s, self.first_s * 2**tried)
        self.sleep(scattered if asked_s is None else asked_s + scattered / 10)
        return True


def steadily(pace: Pace, ask: Callable[[], Answer], again: Collection[int] = BUSY) -> Answer:
    """Ask what changes nothing, until the status is not one of ``again``. Raises the last `NoAnswer`."""
    tried = 0
    while True:
        asked: float | None = None
        try:
            answer = ask()
            if answer.status not in again:
                return answer
            asked = retry_after(answer.headers.get("Retry-After"), pace.now())
            late = f", and asks to wait {asked:.0f} seconds" if asked is not None else ""
            failed = NoAnswer(f"status {answer.status}{late}", may_have_arrived=True, again=True)
        except NoAnswer as none:
            failed = none
        if not failed.again or not pace.wait(tried, asked):
            raise failed
        tried += 1


def retry_after(value: str | None, now: float) -> float | None:
    """Read a ``Retry-After`` header: seconds, or a date that is turned into seconds from ``now`` (RFC 9110, 10.2.3).

    ``now`` counts seconds since 1970. None when the header is absent or says nothing.
    """
    text = (value or "").strip()
    if text.isascii() and text.isdigit():
        return float(text) if len(text) <= _MOST_DIGITS else float(10**_MOST_DIGITS)
    try:
        until = parsedate_to_datetime(text)
    except (ValueError, TypeError, IndexError, OverflowError):
        return None
    if until.tzinfo is None:
        until = until.replace(tzinfo=UTC)
    return max(0.0, (until - datetime.fromtimestamp(now, UTC)).total_seconds())
