"""What must be recorded for each kind, in the order of the work: one table for the check, the worksheet and the chart.

A `Need` names one fact of one kind, how much it matters, who asks for it, and when it applies. Levels follow the
documents: ``required`` where a regulator or every source asks, ``recommended`` where some do.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from lda_notes.episode import Episode
from lda_notes.events import Event
from lda_notes.sources import Citation

Level = Literal["required", "recommended"]


@dataclass(frozen=True, slots=True)
class Need:
    """One fact that a record of its kind should hold.

    ``path`` leads to it inside the event (keys; ``"*"`` stands for every item of a list); ``asks`` is the question a
    nurse is asked; ``when`` tells whether it applies to an event as recorded so far (None: always).
    """

    path: tuple[str, ...]
    asks: str
    level: Level
    citations: tuple[Citation, ...]
    when: Callable[[Any, Episode], bool] | None = None

    @property
    def name(self) -> str:
        """Return the dotted path, such as ``needle.gauge``."""
        return ".".join(self.path)

    def applies(self, event: Event, episode: Episode) -> bool:
        """Tell whether the fact is asked of this event."""
        return self.when is None or self.when(event, episode)


NEEDS: Final[Mapping[str, tuple[Need, ...]]] = {}
"""Needs of each kind by its tag, in the order of the work."""
