"""Due times in a note: the clocks that its kind names, as they run right after the event."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any, Final

from lda_notes.documents.note.scene import Scene, Values, at, recorded, since
from lda_notes.knowledge.policy import Policy
from lda_notes.line import due
from lda_notes.line.due import ClockName, Due
from lda_notes.line.states import State
from lda_notes.narrative import phrasing
from lda_notes.problems import Path
from lda_notes.record import events as ev

DUE_SHOWN: Final[Mapping[str, tuple[ClockName, ...]]] = {
    "access": ("needle change", "dressing change", "flush"),
    "arrival accessed": ("needle change", "dressing change", "flush"),
    "de-access": ("idle flush", "maintenance flush"),
    "dressing change": ("needle change", "dressing change"),
    "line check": ("needle change", "dressing change"),
    "flush": ("flush", "idle flush", "maintenance flush"),
    "patency treatment": ("thrombolytic check",),
    "patency check": ("thrombolytic check",),
    "transfer": ("needle change", "dressing change", "flush", "thrombolytic check"),
    "discharge": ("needle change", "dressing change", "flush", "idle flush", "maintenance flush", "thrombolytic check"),
}
"""Which clocks the note of each kind names; other kinds name none."""

CLOCK_WORDS: Final[Mapping[ClockName, str]] = {
    "needle change": "needle change",
    "dressing change": "dressing change",
    "line check": "next line check",
    "flush": "next flush",
    "idle flush": "next flush",
    "maintenance flush": "next flush",
    "thrombolytic check": "thrombolytic check",
}

_TOLD_KEYS: Final[Mapping[ClockName, str]] = {
    "needle change": "needle_change",
    "dressing change": "dressing_change",
    "flush": "flush",
    "idle flush": "flush",
    "maintenance flush": "flush",
}


def dues(scene: Scene) -> Iterator[Due]:
    """Yield the clocks that the note of this kind names, as they run after the visit."""
    if _needle_follows(scene):
        return  # the clocks of an empty port never ran
    shown = DUE_SHOWN.get(scene.event.kind, ())
    for _, after in scene.states():
        if _out_again(scene, after):
            continue  # the needle came out at the same visit: nothing of it falls due
        for row in due.due(scene.timeline, after.septum, scene.policy, scene.event.at):
            if row.clock in shown and _belongs(row, after):
                yield row


def _out_again(scene: Scene, after: State) -> bool:
    """Return whether the needle that is in right after the event came out within the time of one visit."""
    stays = scene.timeline.needles.get(after.septum, ()) if after.needle is not None else ()
    closed = next((stay.closed for stay in stays if after.needle and stay.opened is after.needle.opened), None)
    visit = scene.policy.span("needle_change_minutes")
    return closed is not None and closed.event.at - scene.event.at <= visit


def _needle_follows(scene: Scene) -> bool:
    """Return whether this removal is the first half of a needle change, whose access is recorded."""
    if not isinstance(scene.event, ev.Deaccess):
        return False
    later = (entry.event for entry in scene.timeline.entries if entry.event.at >= scene.event.at)
    return any(isinstance(event, ev.Access) and event.follows_removal == scene.event.id for event in later)


def _belongs(row: Due, after: State) -> bool:
    """Return whether a clock is this event's to name, not one that a later event of the same minute set."""
    match row.clock:
        case "needle change":
            return after.needle is not None and after.needle.opened.index == row.restarted_by.index
        case "dressing change":
            return after.dressing is not None and after.dressing.put_on.index == row.restarted_by.index
        case "idle flush" | "maintenance flush":
            return after.needle is None
        case _:
            return after.needle is not None


def interval(row: Due, policy: Policy) -> str:
    """Return how long a clock runs: "7 days"."""
    return policy.text(row.limit)


def due_paths(row: Due) -> tuple[Path, ...]:
    """Return where the facts stand that a due time rests on."""
    entry = row.restarted_by
    if row.clock == "needle change":
        return (since(entry),)
    if row.clock == "dressing change":
        began = "dressed_at" if isinstance(entry.event, ev.ArrivalAccessed) else "at"
        return (recorded(entry, began), recorded(entry, "dressing", "type"))
    return (at(entry, "at"),)


def values(scene: Scene) -> Values:
    """Return what a template may name of due times: computed ones together by moment, and what the nurse noted else."""
    noted = getattr(scene.event, "next_due", None)
    rows: dict[tuple[datetime, str], Values] = {}
    now: list[Values] = []
    agreed: set[str] = set()
    many = len(scene.timeline.episode.port.septa) > 1 and scene.step is not None and scene.step.septum is None
    out = any(_out_again(scene, after) for _, after in scene.states())
    order = list(CLOCK_WORDS)
    running = list(dues(scene))
    going = {id(row) for row in running if _goes_with_the_needle(row, running)}
    for row in sorted(running, key=lambda d: (d.by is not None, d.by or d.restarted_by.event.at, order.index(d.clock))):
        if id(row) in going:
            continue
        what = CLOCK_WORDS[row.clock] + (f" of the {phrasing.label(row.septum)} septum" if many else "")
        if row.by is None:
            now.append({"what": (what, due_paths(row)), "because": (row.why, due_paths(row))})
            continue
        key = _TOLD_KEYS.get(row.clock, "")
        same = noted is not None and getattr(noted, key, None) == row.by
        if same:
            agreed.add(key)
        values = rows.setdefault((row.by, interval(row, scene.policy)), {})
        _add_due(values, row, what, scene, (at(scene.entry, "next_due", key),) if same else ())
        with_it = [one for one in running if id(one) in going and one.septum == row.septum]
        if row.clock == "needle change" and with_it:
            values["with"] = ("the dressing goes with the needle", due_paths(with_it[0]))
    return {
        "due": (tuple(rows.values()), ()),
        "due_briefly": (tuple(_in_brief(scene, rows.values())), ()),
        "due_now": (tuple(now), ()),
        "told_otherwise": (tuple(_otherwise(scene, noted, agreed)), ()),
        "noted_briefly": (() if out else tuple(_otherwise(scene, noted, agreed)), ()),
    }


def _goes_with_the_needle(row: Due, running: list[Due]) -> bool:
    """Return whether a dressing need not be changed before the needle is, whose change takes it along."""
    needle = next((one for one in running if one.clock == "needle change" and one.septum == row.septum), None)
    return row.clock == "dressing change" and needle is not None and bool(row.by and needle.by and row.by > needle.by)


def _add_due(values: Values, row: Due, what: str, scene: Scene, noted: tuple[Path, ...]) -> None:
    past = row.by is not None and row.by < scene.event.at
    names: tuple[str, ...] = (*values.get("what", ((), ()))[0], what)
    paths = (*values.get("what", ((), ()))[1], *due_paths(row))
    verb = ("were" if past else "are") if len(names) > 1 else ("was" if past else "is")
    values["what"] = (names, paths)
    values["verb"] = (verb, paths)
    values["by"] = (row.by, (*values.get("by", (None, ()))[1], *due_paths(row), *noted))
    values["interval"] = (interval(row, scene.policy), paths)
    values.setdefault("with", (None, ()))


def _in_brief(scene: Scene, rows: Iterable[Values]) -> Iterator[Values]:
    """Yield what is due, with its times: "needle and dressing change", "thrombolytic check" at 11:10 and 12:40."""
    today = phrasing.local(scene.event.at, scene.zone).date()
    found: dict[str, list[Values]] = {}
    for row in rows:
        found.setdefault(_one_name(row["what"][0]), []).append(row)
    for what, same in found.items():
        paths = tuple(path for row in same for path in row["by"][1])
        times = tuple(phrasing.near(row["by"][0], scene.zone, today) for row in same)
        yield {"what": (what, tuple(path for row in same for path in row["what"][1])), "by": (times, paths)}


def _one_name(names: tuple[str, ...]) -> str:
    if all(name.endswith(" change") for name in names):
        return phrasing.listed([name.removesuffix(" change") for name in names]) + " change"
    return phrasing.listed(names)


def _otherwise(scene: Scene, noted: Any, agreed: set[str]) -> Iterator[Values]:
    """Yield what the nurse noted as next due that the computed times do not say themselves."""
    if noted is None:
        return
    for key, what in (("needle_change", "needle change"), ("dressing_change", "dressing change"), ("flush", "flush")):
        moment = getattr(noted, key)
        if moment is not None and key not in agreed:
            path = at(scene.entry, "next_due", key)
            yield {"what": (what, (path,)), "by": (moment, (path,))}
