"""One question: what is asked, how its answer is read, what may be typed instead of an answer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from lda_notes.chart import answers
from lda_notes.chart.answers import Option
from lda_notes.chart.heard import Doubtful, Heard, Reading, Unclear
from lda_notes.chart.layout import Spot
from lda_notes.chart.paths import dotted
from lda_notes.chart.times import Frame
from lda_notes.check.conditions import Need
from lda_notes.problems import Path

EACH = "e"
"""Typed at a question that stands for several: ask each by itself."""

AS_WRITTEN = "a"
"""Typed at a question that spells out several facts: all of them are as written there."""


@dataclass(frozen=True, slots=True)
class WhyNot:
    """Where a reason goes that is typed instead of an answer: the fact or the part, and under which key."""

    path: Path
    key: Literal["not_assessed", "not_done"]

    @property
    def said(self) -> str:
        """Return the reason's kind in words."""
        return self.key.replace("_", " ")


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked next.

    ``name`` identifies it; ``covers`` are the names of the facts it stands for, which are asked one by one when it is
    answered with `EACH`. ``default`` is what Enter takes; None where the answer must be said. ``about`` names what it
    asks, for the words said back; ``supply`` is the part that a scanned label would fill. ``needed`` marks what cannot
    be left open: there is no entry without it.
    """

    name: str
    about: str
    asks: str
    read: Callable[[str, Frame], Reading]
    options: tuple[Option, ...] = ()
    hint: str = ""
    why_not: WhyNot | None = None
    default: Heard | None = None
    covers: tuple[str, ...] = ()
    needs: tuple[Need, ...] = ()
    explains: tuple[str, ...] = ()
    supply: Path | None = None
    needed: bool = False


def leaf(
    path: Path,
    spot: Spot,
    asks: str,
    *,
    why_not: WhyNot | None = None,
    default: Heard | None = None,
    needs: tuple[Need, ...] = (),
    words: tuple[Option, ...] | None = None,
) -> Question:
    """Return the question for one fact, read as the layout says."""
    key = str(path[-1])
    read_value, options, hint = answers.reader(spot, key)
    if words is not None:
        options = words

    def read(text: str, frame: Frame) -> Reading:
        value = answers.choose(text, words) if words is not None else read_value(text, frame)
        if isinstance(value, Unclear):
            return value
        if isinstance(value, Option):
            return Heard(((path, value.words),), value.words)
        heard = Heard(((path, value.value),), value.said)
        if value.doubt:
            return Doubtful(heard, value.doubt)
        if spot.sort == "text" and len(value.said) == 1:
            return Doubtful(heard, f'Recorded as typed: "{value.said}".')
        return heard

    if why_not is None and spot.why_not is not None:
        why_not = WhyNot(path, spot.why_not)
    return Question(dotted(path), spot.title, asks, read, options, hint, why_not, default, (), needs, (spot.says,))
