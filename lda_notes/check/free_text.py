"""The free text of a record: what people wrote in their own words, with the path of each piece."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from typing import Any, Final, NamedTuple, get_args, get_origin

from pydantic import BaseModel

from lda_notes.knowledge.abbreviations import UnsafeForm, unsafe_forms
from lda_notes.line.corrections import Entry
from lda_notes.line.timeline import Timeline
from lda_notes.problems import Path
from lda_notes.record.exchange import members
from lda_notes.record.parts import Person

Keys = tuple[str | int, ...]

NAMES: Final = frozenset(
    {
        *("id", "of", "follows_removal", "treatment", "second_dose_of", "order", "septum", "lot", "drug_lot", "udi"),
        *("to_unit", "to_room", "room", "skin", "ends"),
    }
)
"""Keys of text that names entries, places and labels: not written in somebody's own words."""


class Piece(NamedTuple):
    """One free text: where it stands in its entry, or in the record where that is None: patient, stay and port."""

    text: str
    keys: Path
    entry: Entry | None = None


def pieces(timeline: Timeline, entries: Sequence[Entry]) -> Iterator[Piece]:
    """Yield every free text of a record beside its events, and of some of its entries, corrections among them."""
    for entry in entries:  # the facts that corrections add or set are read where they are applied over their event
        for keys, text in _texts(entry.event):
            yield Piece(text, keys, entry)
    yield from _beside_events(timeline)


def _beside_events(timeline: Timeline) -> Iterator[Piece]:
    episode = timeline.written or timeline.episode
    for position, allergy in enumerate(episode.patient.allergies or ()):
        for key in ("detail", "reaction"):
            if (text := getattr(allergy, key)) is not None:
                yield Piece(text, ("patient", "allergies", position, key))
    if episode.port.site_detail is not None:
        yield Piece(episode.port.site_detail, ("port", "site_detail"))
    if episode.port.tip is not None:
        for key in ("location", "method"):
            if (text := getattr(episode.port.tip, key)) is not None:
                yield Piece(text, ("port", "tip", key))


def unsafe_wording(timeline: Timeline, entries: Sequence[Entry]) -> list[tuple[Piece, UnsafeForm]]:
    """Return every unsafe form of free text, as `pieces` yields it, with the text that contains it.

    The whole is read at once, and piece by piece only if it contains any: most records contain none.
    """
    found: list[str] = [piece.text for piece in _beside_events(timeline)]
    for entry in entries:
        _gather(entry.event, found)
    if not unsafe_forms("\n".join(dict.fromkeys(found))):
        return []
    return [(piece, form) for piece in pieces(timeline, entries) for form in unsafe_forms(piece.text)]


@cache
def _keys(kind: type[BaseModel]) -> tuple[tuple[str, bool], ...]:
    """Return the keys of a part under which text may stand, with whether they are free text themselves.

    People are not looked into: their names are not wording.
    """
    found = []
    for key, field in kind.model_fields.items():
        inside = set(_inside(field.annotation))
        is_text = str in inside and key not in NAMES
        if is_text or any(issubclass(one, BaseModel) and one is not Person and _keys(one) for one in inside):
            found.append((key, is_text))
    return tuple(found)


def _inside(annotation: Any) -> Iterator[type]:
    """Yield the classes that a value may be of, those of a list's items too."""
    for member in members(annotation):
        if get_origin(member) is tuple:
            yield from _inside(get_args(member)[0])
        elif isinstance(member, type):
            yield member


@cache
def _looked_into(kind: type) -> bool:
    return issubclass(kind, BaseModel) and kind is not Person and bool(_keys(kind))


def _gather(part: BaseModel, found: list[str]) -> None:
    """Add every text inside ``part`` to ``found``: the same texts as `_texts`, without their places."""
    values = part.__dict__
    for key, is_text in _keys(part.__class__):
        value = values[key]
        if not value:
            continue
        for one in value if value.__class__ is tuple else (value,):
            kind = one.__class__
            if kind is str:
                if is_text:
                    found.append(one)
            elif _looked_into(kind):
                _gather(one, found)


def _texts(part: BaseModel, above: Keys = ()) -> Iterator[tuple[Keys, str]]:
    """Yield every text inside ``part`` with the keys that lead to it."""
    for key, is_text in _keys(part.__class__):
        value = part.__dict__[key]
        listed = value.__class__ is tuple
        for position, one in enumerate(value if listed else (value,)):
            keys = (*above, key, position) if listed else (*above, key)
            if one.__class__ is str:
                if is_text:
                    yield keys, one
            elif isinstance(one, BaseModel) and one.__class__ is not Person:
                yield from _texts(one, keys)
