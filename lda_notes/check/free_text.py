"""The free text of a record: what people wrote in their own words, with the path of each piece."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any, Final, NamedTuple

from pydantic import BaseModel

from lda_notes.knowledge.abbreviations import UnsafeForm, unsafe_forms
from lda_notes.line.timeline import Timeline
from lda_notes.problems import Path
from lda_notes.record.parts import (
    Dressing,
    Flush,
    Needle,
    NotAssessed,
    NotDone,
    Problem,
    Scale,
    Site,
    Supply,
    Teaching,
    Technique,
)

Keys = tuple[str | int, ...]

WORDS: Final = frozenset(
    {
        *("about", "action", "cover", "came_from", "detail", "finding", "infusion", "late_entry", "name"),
        *("not_assessed", "not_done", "reason", "remarks", "reply", "securement"),
        *("text", "tip_location", "tip_method", "to", "what", "samples"),
    }
)
"""Keys under which a record holds free text. Names of people, units and identifiers are not among them."""

PARTS: Final = frozenset(
    {
        *("site", "dressing", "needle", "technique", "teaching", "problems", "supplies", "scale"),
        *("flushes", "lock", "antisepsis", "anesthetic", "discard_ml", "connector_changed", "disinfecting_caps"),
        *("identifiers_checked", "allergies_checked", "response", "pain", "blood_return", "blood_return_before"),
        *("tip_confirmed", "inserted_at", "dressed_at", "dressing_found", "needle_intact", "safety_engaged"),
        *("bleeding", "connections_secure", "vesicant", "resistance"),
        *("skin", "erythema", "swelling", "tenderness", "drainage", "port", "gauge", "length_mm", "non_coring"),
        *("power_rated", "type", "chlorhexidine_disc", "hand_hygiene", "masks", "sterile_gloves", "sterile_field"),
    }
)
"""Keys whose value may hold free text further down, or a reason why it was not done or not assessed."""

_EITHER: Final = WORDS | PARTS
_OPEN: Final = frozenset(
    {Site, Dressing, Flush, Needle, Technique, Teaching, Problem, Supply, Scale, NotAssessed, NotDone}
)


class Piece(NamedTuple):
    """One free text: ``event`` is the identifier of its event, None for patient, stay and port."""

    text: str
    path: Path
    event: str | None


def pieces(timeline: Timeline) -> Iterator[Piece]:
    """Yield every free text of the standing record and of its corrections; retracted entries are left out."""
    for entry in timeline.entries:
        for keys, text in _texts(entry.event):
            yield Piece(text, entry.path(*keys), entry.event.id)
    for entry in timeline.corrections:  # the facts they add or set are read where they are laid over their event
        for keys, text in _texts(entry.event):
            yield Piece(text, entry.path(*keys), entry.event.id)
    yield from _beside_events(timeline)


def _beside_events(timeline: Timeline) -> Iterator[Piece]:
    episode = timeline.episode
    for position, allergy in enumerate(episode.patient.allergies or ()):
        for key in ("detail", "reaction"):
            if (text := getattr(allergy, key)) is not None:
                yield Piece(text, ("patient", "allergies", position, key), None)
    if episode.port.site_detail is not None:
        yield Piece(episode.port.site_detail, ("port", "site_detail"), None)
    if episode.port.tip is not None:
        for key in ("location", "method"):
            if (text := getattr(episode.port.tip, key)) is not None:
                yield Piece(text, ("port", "tip", key), None)


def unsafe_wording(timeline: Timeline) -> list[tuple[Piece, UnsafeForm]]:
    """Return every unsafe form of the record's free text with the text that holds it.

    The whole is read at once, and piece by piece only if it holds any: most records hold none.
    """
    found: list[str] = [piece.text for piece in _beside_events(timeline)]
    for entry in (*timeline.entries, *timeline.corrections):
        _gather(entry.event, found)
    if not unsafe_forms("\n".join(dict.fromkeys(found))):
        return []
    return [(piece, form) for piece in pieces(timeline) for form in unsafe_forms(piece.text)]


@cache
def _keys(kind: type[BaseModel]) -> tuple[tuple[str, bool], ...]:
    """The keys of a part under which text may stand, with whether they are free text themselves."""
    return tuple((key, key in WORDS) for key in kind.model_fields if key in _EITHER)


def _gather(part: Any, found: list[str]) -> None:
    """Add every text inside ``part`` to ``found``: the same texts as `_texts`, without their places."""
    values = part.__dict__
    for key, is_text in _keys(part.__class__):
        value = values[key]
        if value is None:
            continue
        kind = value.__class__
        if kind is str:
            if is_text:
                found.append(value)
        elif kind in _OPEN:
            _gather(value, found)
        elif kind is tuple and value:
            if value[0].__class__ in _OPEN:
                for item in value:
                    _gather(item, found)
            elif is_text:
                found.extend(value)


def _texts(part: Any, above: Keys = ()) -> Iterator[tuple[Keys, str]]:
    """Yield every text inside ``part`` with the keys that lead to it."""
    values = part.__dict__
    for key in part.__pydantic_fields_set__ & _EITHER:
        value = values[key]
        if value.__class__ is str:
            if key in WORDS:
                yield (*above, key), value
        elif value.__class__ in _OPEN:
            yield from _texts(value, (*above, key))
        elif value.__class__ is tuple:
            for position, item in enumerate(value):
                if item.__class__ in _OPEN:
                    yield from _texts(item, (*above, key, position))
                elif item.__class__ is str and key in WORDS:
                    yield (*above, key, position), item
