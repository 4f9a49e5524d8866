"""A fact that was written and could not be read: neither recorded nor missing, but to be asked about.

Facts keep their types; what could not be read is listed beside the episode, with its place and the text as written,
so that no sheet, sum or bundle takes it for something that nobody recorded.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final, NamedTuple

from lda_notes.knowledge.one_row import on_one_row
from lda_notes.problems import Path, Place

SAID: Final = "Could not be read"

_MOST: Final = 200
"""Most characters of one fact that are repeated."""


class Unread(NamedTuple):
    """One fact that was written and could not be read.

    ``path`` is where it stands in the file. ``text`` is what was written there, with the rest of what had to be left
    out with it. ``event`` is the identifier of the event that it is a fact of (of a correction: of the corrected
    event), None for patient, stay and port. ``label`` is what people call it. ``fact`` leads to it by the names of
    the layout, a misspelled or misplaced name put right, from the event or, without event, from the record.
    """

    path: Path
    place: Place
    text: str
    event: str | None
    label: str
    fact: Path = ()

    @property
    def names(self) -> tuple[str, ...]:
        """``fact`` without the positions in lists, such as ``("flushes", "resistance")``."""
        return tuple(step for step in self.fact if isinstance(step, str))

    def concerns(self, *names: str) -> bool:
        """Return whether it is the fact of these names, a part of it, or what it is a part of."""
        own = self.names
        return own[: len(names)] == names[: len(own)]


def about(unread: Iterable[Unread], event: str | None, *names: str) -> tuple[Unread, ...]:
    """Return those of ``unread`` that concern the fact ``names`` of ``event`` (None: of patient, stay or port)."""
    return tuple(fact for fact in unread if fact.event == event and fact.concerns(*names))


def notice(fact: Unread, with_text: bool = True) -> str:
    """Return what names a fact and asks for it; the text is left out where it may be logged."""
    event = f"{fact.event}, " if fact.event else ""
    return f"{SAID}: {event}{fact.label}, row {fact.place.row}{f': {fact.text}' if with_text else ''}. Ask."


def absent(unread: Iterable[Unread], event: str | None, *names: str) -> str:
    """Return what is said of a fact without a value: that nobody recorded it, or that it could not be read."""
    return "could not be read" if about(unread, event, *names) else "not recorded"


def absent_anywhere(unread: Iterable[Unread], *names: str) -> str:
    """Return what is said of a fact that no event has a value of."""
    return "could not be read" if any(fact.concerns(*names) for fact in unread) else "not recorded"


def as_text(value: Any) -> str:
    """Return a value of a file as one row of text, much as it was written."""
    if isinstance(value, dict):
        said = ", ".join(f"{key}: {as_text(item)}" for key, item in value.items())
    elif isinstance(value, list):
        said = ", ".join(map(as_text, value))
    elif isinstance(value, bool):
        said = "yes" if value else "no"
    else:
        said = "" if value is None else on_one_row(" ".join(str(value).split()))
    return said if len(said) <= _MOST else f"{said[: _MOST - 3]}..."
