"""What a note states beside the record itself: due times, dwell, holds, each with the facts that it rests on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from lda_notes import amounts, due, phrasing
from lda_notes import events as ev
from lda_notes.due import ClockName, Due
from lda_notes.facts import ANSWERS, Computed, label, leaves, plain, say
from lda_notes.policy import Policy
from lda_notes.problems import Path
from lda_notes.shapes import Lock
from lda_notes.timeline import Entry, Hold, HoldReason, State, Step, Timeline

Value = tuple[Any, tuple[Path, ...]]
Values = dict[str, Value]

KIND_TITLES: Final[Mapping[str, str]] = {
    "access": "Access",
    "arrival accessed": "Arrival with a needle in",
    "de-access": "De-access",
    "dressing change": "Dressing change",
    "line check": "Line check",
    "flush": "Flush and lock",
    "line use": "Use of the line",
    "patency treatment": "Patency treatment",
    "patency check": "Patency check",
    "evaluation": "Evaluation of the line",
    "transfer": "Transfer",
    "discharge": "Discharge",
    "port implanted": "Port implanted",
    "port removed": "Port removed",
    "addendum": "Addendum",
    "amendment": "Amendment",
    "retraction": "Retraction",
}
"""What the note of each kind is headed."""

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
    "line check": "next look at the line",
    "flush": "next flush",
    "idle flush": "next flush",
    "maintenance flush": "next flush",
    "thrombolytic check": "next look at the thrombolytic",
}

_TOLD_KEYS: Final[Mapping[ClockName, str]] = {
    "needle change": "needle_change",
    "dressing change": "dressing_change",
    "flush": "flush",
    "idle flush": "flush",
    "maintenance flush": "flush",
}

SIGNED: Final = frozenset({"id", "kind", "at", "charted_at", "by", "verified_by"})
"""Facts that heading and signature tell, not the sentences."""


@dataclass(frozen=True, slots=True)
class Scene:
    """One event in its surroundings. ``step`` is None for an entry that does not stand (an original, a retracted)."""

    timeline: Timeline
    policy: Policy
    zone: ZoneInfo
    entry: Entry
    step: Step | None

    @property
    def event(self) -> Any:
        """The event, of whatever kind."""
        return self.entry.event

    def states(self) -> tuple[tuple[State, State], ...]:
        """Return the states before and after the event, for its septum or, if it is about none, for each."""
        if self.step is None:
            return ()
        if self.step.septum is not None:
            return ((self.step.before, self.step.after),)
        moment = self.event.at
        return tuple((s := self.timeline.state_at(septum, moment), s) for septum in self.timeline.episode.port.septa)


def at(entry: Entry, *keys: str) -> Path:
    """Return the path of a fact by its event; `standing` says where it is written when a correction supplied it."""
    return ("events", entry.index, *keys)


def kind_of(event: ev.Event) -> str:
    """Return the tag of an event's kind."""
    kind: str = event.kind  # type: ignore[attr-defined]
    return kind


def values(scene: Scene) -> Values:
    """Return every computed value that the template of an event may name; what does not apply is None."""
    return {
        **_where(scene),
        **_needle(scene),
        **_line(scene),
        **_dwell(scene),
        **_holds(scene),
        **_due(scene),
    }


_NONE: Final[Value] = (None, ())


def _where(scene: Scene) -> Values:
    port = scene.timeline.episode.port
    place = " ".join(word for word in (port.side, port.area) if word)
    detail = phrasing.label(port.site_detail) if port.site_detail else ""
    paths: list[Path] = [("port", key) for key in ("side", "area", "site_detail") if getattr(port, key) is not None]
    septum = getattr(scene.event, "septum", None)
    tip: Value = _NONE
    if port.tip is not None:
        how = (port.tip.location, port.tip.method)
        said = [phrasing.label(word) for word in how if word]
        said += [phrasing.day(port.tip.on)] if port.tip.on else []
        tip = (
            ", ".join(said),
            tuple(("port", "tip", k) for k in ("location", "method", "on") if getattr(port.tip, k) is not None),
        )
    unit: Value = _NONE
    for before, stay in zip(scene.timeline.units, scene.timeline.units[1:], strict=False):
        if stay.entry is not None and stay.entry.index == scene.entry.index:
            path: Path = at(before.entry, "to_unit") if before.entry else ("stay", "unit")
            unit = (phrasing.label(before.unit), (path,))
    return {
        "place": (", ".join(word for word in (place, detail) if word) or None, tuple(paths)),
        "septum": (septum, (at(scene.entry, "septum"),)),
        "tip": tip,
        "unit_before": unit,
    }


def _recorded(entry: Entry, *keys: str) -> Path:
    """Return the path of a fact, or of the kind of its event where it was not recorded: that is all there is."""
    part: Any = entry.event
    for key in keys:
        part = getattr(part, key, None)
    return at(entry, *keys) if part is not None else at(entry, "kind")


def _since(entry: Entry) -> Path:
    """Return the path of the moment that a needle's stay began."""
    return _recorded(entry, "inserted_at" if isinstance(entry.event, ev.ArrivalAccessed) else "at")


def _needle(scene: Scene) -> Values:
    event = scene.event
    values: Values = {"needle_since": _NONE, "needle_for": _NONE, "needle_unknown": _NONE, "removal_at": _NONE}
    stay = scene.step.before.needle if scene.step is not None and scene.step.septum is not None else None
    if stay is not None:
        paths = (_since(stay.opened), at(scene.entry, "at"))
        if stay.since is None:
            values["needle_unknown"] = ("The needle, in since an unknown time,", (at(stay.opened, "kind"),))
        elif stay.since <= event.at:
            values["needle_since"] = (stay.since, paths[:1])
            values["needle_for"] = (event.at - stay.since, paths)
    if isinstance(event, ev.Access) and event.follows_removal:
        removal = scene.timeline.entry(event.follows_removal)
        if removal is not None and removal.retraction is None and isinstance(removal.event, ev.Deaccess):
            values["removal_at"] = (removal.event.at, (at(scene.entry, "follows_removal"), at(removal, "at")))
    return values


def _line(scene: Scene) -> Values:
    event = scene.event
    values: Values = {"lock_units": _NONE, "tended": _NONE, "lines": _NONE}
    lock = getattr(event, "lock", None)
    if isinstance(lock, Lock) and lock.units_per_ml is not None and lock.volume_ml is not None:
        units = amounts.heparin_units(lock.units_per_ml, lock.volume_ml)
        paths = tuple(at(scene.entry, "lock", key) for key in ("units_per_ml", "volume_ml"))
        values["lock_units"] = (units, paths)
    if isinstance(event, ev.FlushOrLock):
        done: list[tuple[str, str]] = []
        if isinstance(event.flushes, tuple) and event.flushes:
            done.append(("flushed", "flushes"))
        if isinstance(lock, Lock):
            done.append(("locked", "lock"))
        said = phrasing.listed([word for word, _ in done]) or "looked after"
        values["tended"] = (said, tuple(at(scene.entry, key) for _, key in done) or (at(scene.entry, "kind"),))
    if isinstance(event, ev.Transfer):
        values["lines"] = (tuple(_line_of(scene, after) for _, after in scene.states()), ())
    return values


def _line_of(scene: Scene, state: State) -> Values:
    where = f", {phrasing.label(state.septum)} septum" if len(scene.timeline.episode.port.septa) > 1 else ""
    stay = state.needle
    if stay is None:
        shown = state.last_removal
        path = at(shown, "at") if shown else ("port", "id")
        return {"says": (f"no needle is in{where}", (path,))}
    since = "an unknown time" if stay.since is None else phrasing.clock(stay.since, scene.zone, _today(scene))
    return {"says": (f"a needle is in since {since}{where}", (_since(stay.opened),))}


def _today(scene: Scene) -> Any:
    return phrasing.local(scene.event.at, scene.zone).date()


def _dwell(scene: Scene) -> Values:
    event = scene.event
    values: Values = {"dwell_since": _NONE, "dwell_for": _NONE, "dwell_drug": _NONE, "first_dose_at": _NONE}
    if isinstance(event, ev.PatencyCheck):
        dose = scene.timeline.entry(event.treatment)
        if dose is not None and isinstance(dose.event, ev.PatencyTreatment) and dose.event.at <= event.at:
            own = at(scene.entry, "treatment")
            values["dwell_since"] = (dose.event.at, (own, at(dose, "at")))
            values["dwell_for"] = (event.at - dose.event.at, (at(scene.entry, "at"), at(dose, "at")))
            values["dwell_drug"] = (dose.event.drug, (at(dose, "drug"),))
    if isinstance(event, ev.PatencyTreatment) and event.second_dose_of:
        first = scene.timeline.entry(event.second_dose_of)
        if first is not None and isinstance(first.event, ev.PatencyTreatment):
            values["first_dose_at"] = (first.event.at, (at(scene.entry, "second_dose_of"), at(first, "at")))
    return values


# -- holds --

_REASON_FACTS: Final[Mapping[HoldReason, tuple[str, ...]]] = {
    "no blood return": ("blood_return", "blood_return_before"),
    "resistance": ("flushes",),
    "swelling": ("site",),
    "signs of infection": ("site",),
    "port flipped": ("site",),
    "skin over port": ("site",),
}


def reason_paths(hold: Hold) -> tuple[Path, ...]:
    """Return where the facts stand that keep a line on hold."""
    return tuple(
        at(entry, key)
        for reason, entry in hold.reasons
        for key in _REASON_FACTS[reason]
        if getattr(entry.event, key, None) is not None
    )


def hold_ends_with(hold: Hold, policy: Policy) -> str:
    """Say what alone ends a hold under the policy in force."""
    from lda_notes.timeline import RESTORABLE

    restorable = all(reason in RESTORABLE for reason, _ in hold.reasons)
    also = restorable and policy.choice("hold_ends_with") == "evaluation or blood return"
    return "a recorded evaluation that clears the line" + (", or a restored blood return," if also else "")


def _hold_values(scene: Scene, hold: Hold) -> Values:
    paths = reason_paths(hold)
    return {
        "since": (hold.began.event.at, (at(hold.began, "at"),)),
        "reasons": (tuple(reason for reason, _ in hold.reasons), paths),
        "ends_with": (hold_ends_with(hold, scene.policy), paths),
    }


def _holds(scene: Scene) -> Values:
    begins, remains, ended = [], [], []
    for before, after in scene.states():
        match before.hold, after.hold:
            case None, Hold() as hold:
                begins.append(_hold_values(scene, hold))
            case Hold(), Hold() as hold:
                remains.append(_hold_values(scene, hold))
            case Hold() as hold, None:
                ended.append(_hold_values(scene, hold))
            case _:
                pass
    return {"hold_begins": (tuple(begins), ()), "hold_remains": (tuple(remains), ()), "hold_ended": (tuple(ended), ())}


# -- what is due --


def dues(scene: Scene) -> Iterator[Due]:
    """Yield the clocks that the note of this kind names, as they run right after the event."""
    shown = DUE_SHOWN.get(scene.event.kind, ())
    for _, after in scene.states():
        for row in due.due(scene.timeline, after.septum, scene.policy, scene.event.at):
            if row.clock in shown and _belongs(row, after):
                yield row


def _belongs(row: Due, after: State) -> bool:
    """Tell whether a clock is this event's to name, not one that a later event of the same minute set."""
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
    """Say how long a clock runs and how it is counted."""
    said = policy.text(row.limit)
    if policy.limit(row.limit).unit == "days":
        by_day = policy.choice("interval_counting") == "calendar day"
        said += ", counted by calendar day" if by_day else ", counted by the hour"
    return said


def due_paths(row: Due) -> tuple[Path, ...]:
    """Return where the facts stand that a due time rests on."""
    entry = row.restarted_by
    if row.clock == "needle change":
        return (_since(entry),)
    if row.clock == "dressing change":
        began = "dressed_at" if isinstance(entry.event, ev.ArrivalAccessed) else "at"
        return (_recorded(entry, began), _recorded(entry, "dressing", "type"))
    return (at(entry, "at"),)


def _due(scene: Scene) -> Values:
    noted = getattr(scene.event, "next_due", None)
    rows: dict[tuple[datetime, str, bool], Values] = {}
    now: list[Values] = []
    agreed: set[str] = set()
    many = len(scene.timeline.episode.port.septa) > 1 and scene.step is not None and scene.step.septum is None
    order = list(CLOCK_WORDS)
    for row in sorted(
        dues(scene), key=lambda d: (d.by is not None, d.by or d.restarted_by.event.at, order.index(d.clock))
    ):
        what = CLOCK_WORDS[row.clock] + (f" of the {phrasing.label(row.septum)} septum" if many else "")
        if row.by is None:
            now.append({"what": (what, due_paths(row)), "because": (row.why, due_paths(row))})
            continue
        key = _TOLD_KEYS.get(row.clock, "")
        same = noted is not None and getattr(noted, key, None) == row.by
        if same:
            agreed.add(key)
        values = rows.setdefault((row.by, interval(row, scene.policy), same), {})
        _add_due(values, row, what, scene, at(scene.entry, "next_due", key) if same else None)
    return {
        "due": (tuple(rows.values()), ()),
        "due_now": (tuple(now), ()),
        "told_otherwise": (tuple(_otherwise(scene, noted, agreed)), ()),
    }


def _add_due(values: Values, row: Due, what: str, scene: Scene, told: Path | None) -> None:
    past = row.by is not None and row.by < scene.event.at
    names: tuple[str, ...] = (*values.get("what", ((), ()))[0], what)
    paths = (*values.get("what", ((), ()))[1], *due_paths(row))
    verb = ("were" if past else "are") if len(names) > 1 else ("was" if past else "is")
    values["what"] = (names, paths)
    values["verb"] = (verb, paths)
    values["by"] = (row.by, paths)
    values["interval"] = (interval(row, scene.policy), paths)
    told_paths = (*values.get("told", (None, ()))[1], *((told,) if told else ()))
    values["told"] = ("as the nurse noted" if told_paths else None, told_paths)


def _otherwise(scene: Scene, noted: Any, agreed: set[str]) -> Iterator[Values]:
    """Yield what the nurse noted as next due that the computed times do not say themselves."""
    if noted is None:
        return
    for key, what in (("needle_change", "needle change"), ("dressing_change", "dressing change"), ("flush", "flush")):
        moment = getattr(noted, key)
        if moment is not None and key not in agreed:
            path = at(scene.entry, "next_due", key)
            yield {"what": (what, (path,)), "by": (moment, (path,))}


# -- what no sentence told --


def reasons_left(scene: Scene, told: list[Path], written: list[Path]) -> list[Computed]:
    """Return each reason why not that no sentence has told yet."""
    left = []
    for path, value in _untold(scene, written):
        if path[-1] in ANSWERS:
            what = _label(scene, path)
            answer = "not assessed" if path[-1] == "not_assessed" else "not done"
            full = (_full(scene, path),)
            left.append(Computed({"answer": (answer, full), "what": (what, full), "why": (value, full)}, told))
    return left


def facts_left(scene: Scene, told: list[Path], written: list[Path]) -> list[Computed]:
    """Return each recorded fact that no sentence has told yet, with its value in words."""
    left = []
    for path, value in _untold(scene, written):
        if path[-1] not in ANSWERS:
            what = _label(scene, path)
            key = next(step for step in reversed(path) if isinstance(step, str))
            said = say(value, key, scene.zone, _today(scene))
            full = (_full(scene, path),)
            left.append(Computed({"what": (what, full), "value": (said, full)}, told))
    return left


def _label(scene: Scene, path: Path) -> str:
    """Return what a fact is called; the facts that a correction supplies are called as in the entry it corrects."""
    event = scene.event
    if isinstance(event, ev.Correcting) and path[0] in ("adds", "sets"):
        target = scene.timeline.entry(event.of)
        if target is not None:
            return label(type(target.original), path[1:])
    return label(type(event), path)


def _full(scene: Scene, path: Path) -> Path:
    return ("events", scene.entry.index, *path)


def _untold(scene: Scene, written: list[Path]) -> Iterator[tuple[Path, Any]]:
    known = {path[2:] for path in written if path[:2] == ("events", scene.entry.index)}
    for path, value in leaves(plain(scene.event)):
        if path[0] not in SIGNED and path not in known:
            yield path, value
