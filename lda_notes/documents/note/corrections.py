"""Corrections as a note states them: what each one changed, before and after, and where a fact now stands."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any, Final

from pydantic import ValidationError

from lda_notes.documents.note.scene import Scene, Value, Values, at
from lda_notes.line.corrections import Entry
from lda_notes.line.timeline import Timeline
from lda_notes.narrative import phrasing
from lda_notes.narrative.facts import ANSWERS, label, leaves, plain, say
from lda_notes.problems import Path
from lda_notes.record import events as ev
from lda_notes.record.merging import merge

KEY: Final[Mapping[str, str]] = {"amendment": "sets", "addendum": "adds"}
"""Under which key each kind of correction keeps its facts."""


def supplied(event: ev.Event) -> Mapping[str, Any]:
    """Return the facts that a correction supplies, in the shape of the entry; none for any other event."""
    found: Mapping[str, Any] = getattr(event, KEY.get(event.kind, ""), {})
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Family:
    """An entry with every correction that was made to it, or to a correction of it, in order of time."""

    entry: Entry
    corrections: tuple[Entry, ...] = ()
    of: Family | None = None
    """The family of a correction that is shown by itself."""


def families(timeline: Timeline) -> tuple[Family, ...]:
    """Return every event of the record once: each entry with its corrections; a correction of nothing by itself.

    In order of time of the entries.
    """
    entries = (*timeline.entries, *timeline.retracted)
    heads = {entry.event.id: entry.index for entry in reversed(entries)}
    by_id = {entry.event.id: entry for entry in reversed(timeline.corrections)}
    grouped: dict[int, list[Entry]] = {entry.index: [] for entry in entries}
    alone: list[Entry] = []
    ends: dict[str, str] = {}
    for correction in timeline.corrections:
        head = heads.get(_head_of(correction, by_id, heads, ends))
        if head is None:
            alone.append(correction)
        else:
            grouped[head].append(correction)
    found = [Family(entry, tuple(grouped[entry.index])) for entry in entries]
    found += [Family(entry) for entry in alone]
    return tuple(sorted(found, key=lambda family: (family.entry.event.at, family.entry.index)))


def _head_of(correction: Entry, by_id: Mapping[str, Entry], heads: Mapping[str, int], ends: dict[str, str]) -> str:
    """Follow corrections of corrections to the entry that they end at; a circle ends nowhere.

    ``ends`` keeps where each correction led, so that a long chain is followed once.
    """
    followed: list[str] = []
    target = _of(correction)
    while target not in heads and target in by_id and target not in ends:
        ends[target] = target
        followed.append(target)
        target = _of(by_id[target])
    head = ends.get(target, target)
    ends.update(dict.fromkeys(followed, head))
    return head


def _of(correction: Entry) -> str:
    return correction.event.of if isinstance(correction.event, ev.Correcting) else ""


@lru_cache(maxsize=4)
def applied(family: Family) -> tuple[Entry, ...]:
    """Return the corrections that now shape how the entry reads."""
    in_force = {id(change) for change in family.entry.corrections}
    return tuple(entry for entry in family.corrections if id(entry.event) in in_force)


def values(scene: Scene, family: Family | None) -> Values:
    """Return what the note of a correction may name beside its own facts."""
    event = scene.event
    if not isinstance(event, ev.Correcting):
        return {}
    family = family.of or family if family is not None else None
    target = scene.timeline.entry(event.of) or next(
        (entry for entry in scene.timeline.corrections if entry.event.id == event.of), None
    )
    nothing: Value = (None, ())
    if target is None:
        return dict.fromkeys(("target", "target_at", "target_by", "changes", "added", "fallen"), nothing)
    changes = tuple(_changes(scene, family))
    own = at(scene.entry, "of")
    by = target.original.by
    fallen = _fallen(scene, family) if isinstance(event, ev.Retraction) else ()
    return {
        "target": (target.event.titled.lower(), (own, at(target, "kind"))),
        "target_at": (target.original.at, (own, at(target, "at"))),
        "target_by": ((phrasing.person(by) or None) if by else None, (at(target, "by"),)),
        "changes": (changes, ()),
        "added": (tuple(map(_added, changes)), tuple(path for change in changes for path in change["now"][1])),
        "fallen": (fallen, ()),
    }


def _added(change: Values) -> str:
    """Return a fact that an addendum brings, and what stood in its place."""
    what, before, now = (change[key][0] for key in ("what", "before", "now"))
    return f"{what}: {now}" + (f" (before: {before})" if before else "")


def _fallen(scene: Scene, family: Family | None) -> tuple[Values, ...]:
    """Return the corrections that lose their meaning with the entry that is retracted."""
    if family is None or family.entry.retraction is not scene.event:
        return ()
    return tuple(
        {
            "what": (other.event.titled.lower(), (at(other, "kind"),)),
            "at": (other.event.at, (at(other, "at"),)),
            "id": (phrasing.label(other.event.id), (at(other, "id"),)),
        }
        for other in family.corrections
        if not isinstance(other.event, ev.Retraction)
    )


def _changes(scene: Scene, family: Family | None) -> Iterator[Values]:
    """Yield each fact that this correction changed, before and after, replaying those that came before it."""
    if family is None or scene.entry not in applied(family):
        return
    before, after = _replayed(family, scene.entry)
    if after is None:
        return
    old, new = _facts(before), _facts(after)
    within: Path = ()
    for path in (*new, *(path for path in old if path not in new)):
        if old.get(path) != new.get(path):
            what = label(type(family.entry.original), path, within)
            yield _change(scene, family, what, path, old.get(path), new.get(path))
            within = path[:-1]


def unchanged(scene: Scene, family: Family) -> tuple[Path, ...]:
    """Return the facts that a correction repeats, as a list is corrected whole, without changing them."""
    if scene.entry not in applied(family):
        return ()
    before, after = _replayed(family, scene.entry)
    if after is None:
        return ()
    key, old, new = KEY[scene.event.kind], _facts(before), _facts(after)
    given = (path for path, _ in leaves(supplied(scene.event)))
    return tuple(("events", scene.entry.index, key, *path) for path in given if path in old and old[path] == new[path])


def _facts(event: ev.Event) -> dict[Path, tuple[Any, Path]]:
    """Return each fact of an event by its path: its value, and its full path, which a reason why not makes longer."""
    found: dict[Path, tuple[Any, Path]] = {}
    for path, value in leaves(plain(event)):
        found[path[:-1] if path[-1] in ANSWERS else path] = (value, path)
    return found


def _change(
    scene: Scene, family: Family, what: str, path: Path, old: tuple[Any, Path] | None, new: tuple[Any, Path] | None
) -> Values:
    key = KEY[scene.event.kind]
    given = _longest(supplied(scene.event), new[1] if new else path)
    here: Path = ("events", scene.entry.index, key, *given)
    there = _written(family, scene.entry, old[1]) if old else here
    today = phrasing.local(family.entry.original.at, scene.zone).date()
    return {
        "what": (what, (here,)),
        "before": (_said(old, scene, today) if old else None, (there,)),
        "now": (_said(new, scene, today) if new else None, (here,)),
    }


def _said(fact: tuple[Any, Path], scene: Scene, today: date) -> str:
    value, path = fact
    if path[-1] in ANSWERS:
        return f"{str(path[-1]).replace('_', ' ')} ({phrasing.quoted(value)})"
    name = next(step for step in reversed(path) if isinstance(step, str))
    return say(value, name, scene.zone, today)


def _longest(values: Any, path: Path) -> Path:
    """Return as much of ``path`` as leads to something in ``values``."""
    while path and not _holds(values, path):
        path = path[:-1]
    return path


def _written(family: Family, upto: Entry, path: Path) -> Path:
    """Return where a fact was written before one correction: in an earlier one that supplied it, else in the entry."""
    place: Path = ("events", family.entry.index, *path)
    for correction in applied(family):
        if correction.index == upto.index:
            break
        if _holds(supplied(correction.event), path):
            place = ("events", correction.index, KEY[correction.event.kind], *path)
    return place


def _replayed(family: Family, upto: Entry) -> tuple[ev.Event, ev.Event | None]:
    """Return the entry right before and right after one of its corrections; None after when it cannot be applied."""
    return _steps(family).get(upto.index, (family.entry.original, None))


@lru_cache(maxsize=4)
def _steps(family: Family) -> Mapping[int, tuple[ev.Event, ev.Event | None]]:
    """Return the entry before and after each of its corrections, by their index: each is replayed once."""
    found: dict[int, tuple[ev.Event, ev.Event | None]] = {}
    event = family.entry.original
    for correction in applied(family):
        after = _with(event, correction)
        found[correction.index] = event, after
        event = after or event
    return found


def _with(event: ev.Event, correction: Entry) -> ev.Event | None:
    changed = supplied(correction.event)
    if not changed or {"id", "kind"} & set(changed):
        return None
    new = merge(event.model_dump(mode="json", exclude_unset=True), dict(changed))
    try:
        return type(event).model_validate_json(json.dumps(new))
    except ValidationError:
        return None  # a finding of its own says so


def standing(timeline: Timeline, path: Path) -> Path:
    """Return where a fact of an event is written: in the last correction that supplied it, else in the event itself."""
    if len(path) < 3 or path[0] != "events":
        return path
    entry = next((e for e in (*timeline.entries, *timeline.retracted) if e.index == path[1]), None)
    if entry is None:
        return path
    in_force = {id(change) for change in entry.corrections}
    for correction in reversed(timeline.corrections):
        if id(correction.event) in in_force and _holds(supplied(correction.event), path[2:]):
            return ("events", correction.index, KEY[correction.event.kind], *path[2:])
    return path


def _holds(values: Any, keys: Path) -> bool:
    """Return whether ``values``, as a correction gives them, hold something at ``keys``."""
    for key in keys:
        listed = isinstance(values, list | tuple) and isinstance(key, int) and key < len(values)
        if not listed and not (isinstance(values, Mapping) and key in values):
            return False
        values = values[key]
    return True
