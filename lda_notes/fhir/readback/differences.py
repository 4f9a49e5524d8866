"""Differences between two readings of an episode, fact by fact."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from pydantic import BaseModel

from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line.timeline import build
from lda_notes.record import events as ev
from lda_notes.record.episode import Episode
from lda_notes.record.parts import Condition


def differences(one: Episode, other: Episode) -> tuple[str, ...]:
    """Return every fact that differs, as ``path: this, that``. The order of events in the file is not a fact.

    Numbers are compared by value, moments with their offsets. What a correction states is compared as the corrected
    event reads it, so ``yes`` and true, or ``"5"`` and 5, are the same statement.
    """
    return tuple(_differing(_canonical_episode(one), _canonical_episode(other), ""))


def _canonical_episode(episode: Episode) -> Any:
    made: dict[str, Any] = _canonical(episode)
    del made["record_version"]  # how a file is laid out is not a fact
    stated = _statements(episode)
    events: dict[str, Any] = {}
    for event in made["events"]:
        for key in ("sets", "adds"):
            if key in event and event["id"] in stated:
                event[key] = stated[event["id"]]
        events[event["id"]] = event
    made["events"] = events
    return made


def _canonical(value: Any) -> Any:
    match value:
        case BaseModel():
            fields = ((key, getattr(value, key)) for key in type(value).model_fields)
            made = {key: _canonical(one) for key, one in fields if one is not None}
            if made.get("replaced") is False:  # said or not, the number is in use
                del made["replaced"]
            bare = isinstance(value, Condition) and set(made) == {"condition"}
            return made["condition"] if bare else made  # a condition without its day is the word alone
        case datetime() | date():
            return value.isoformat()
        case bool() | str():
            return value
        case int() | float() | Decimal():
            return Decimal(str(value))
        case tuple() | list():
            return [_canonical(item) for item in value]
        case dict():
            return {key: _canonical(item) for key, item in value.items()}
        case _:
            return value


def _statements(episode: Episode) -> dict[str, Any]:
    """Return what each correction that changes an event states, with the values as the event then reads them."""
    corrections = [event for event in episode.events if isinstance(event, ev.Amendment | ev.Addendum)]
    if not corrections:
        return {}
    charted = [event for event in episode.events if not isinstance(event, ev.Correcting)]
    found: dict[str, Any] = {}
    for correction in corrections:
        alone = episode.model_copy(update={"events": (*charted, *_up_to(episode, correction))})
        reading = build(alone, DEFAULT, correction.at).entry(correction.of)
        values = correction.sets if isinstance(correction, ev.Amendment) else correction.adds
        values = ev.as_spelled(type(reading.event), values) if reading is not None else values
        if reading is not None and any(one.id == correction.id for one in reading.corrections):
            found[correction.id] = _as_read(_canonical(values), _canonical(reading.event))
    return found


def _up_to(episode: Episode, correction: ev.Correcting) -> Iterator[ev.Event]:
    for event in episode.events:
        if isinstance(event, ev.Amendment | ev.Addendum) and (event.at, event.id) <= (correction.at, correction.id):
            yield event


def _as_read(stated: Any, read: Any) -> Any:
    if isinstance(stated, dict):
        inner = read if isinstance(read, dict) else {}
        return {key: _as_read(value, inner[key]) if key in inner else value for key, value in stated.items()}
    return read


def _differing(one: Any, other: Any, path: str) -> Iterator[str]:
    if isinstance(one, dict) and isinstance(other, dict):
        for key in [*one, *(key for key in other if key not in one)]:
            yield from _differing(one.get(key), other.get(key), f"{path}.{key}" if path else str(key))
    elif isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        for index, (left, right) in enumerate(zip(one, other, strict=True)):
            yield from _differing(left, right, f"{path}[{index}]")
    elif one != other:
        yield f"{path}: {_shown(one)}, {_shown(other)}"


def _shown(value: Any) -> str:
    return "nothing" if value is None else f"{value}"
