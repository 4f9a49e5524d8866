"""Facts that a note states beyond the record itself: due times, dwell, holds, each with the facts that it rests on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Final

from lda_notes.documents.note import due as note_due
from lda_notes.documents.note.scene import SIGNED, Scene, Value, Values, at, since
from lda_notes.knowledge import amounts
from lda_notes.line.states import Hold, State
from lda_notes.line.transitions import never_entered
from lda_notes.narrative import phrasing
from lda_notes.narrative.facts import ANSWERS, Computed, label, leaves, plain, say
from lda_notes.problems import Path
from lda_notes.record import events as ev
from lda_notes.record.parts import DayOnly, Lock, NotDone


def values(scene: Scene) -> Values:
    """Return every computed value that the template of an event may name; what does not apply is None."""
    return {
        **_where(scene),
        **_needle(scene),
        **_line(scene),
        **_dwell(scene),
        **_evaluated(scene),
        **_holds(scene),
        **note_due.values(scene),
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


def _needle(scene: Scene) -> Values:
    event = scene.event
    values: Values = {"needle_since": _NONE, "needle_for": _NONE, "needle_unknown": _NONE, "removal_at": _NONE}
    stay = scene.step.before.needle if scene.step is not None and scene.step.septum is not None else None
    if stay is not None:
        paths = (since(stay.opened), at(scene.entry, "at"))
        if stay.since is None:
            values["needle_unknown"] = ("The needle, in since an unknown time,", (at(stay.opened, "kind"),))
        elif stay.since <= event.at:
            values["needle_since"] = (stay.since, paths[:1])
            values["needle_for"] = (None if isinstance(stay.since, DayOnly) else event.at - stay.since, paths)
    if isinstance(event, ev.Access) and event.follows_removal:
        removal = scene.timeline.entry(event.follows_removal)
        if removal is not None and removal.retraction is None and isinstance(removal.event, ev.Deaccess):
            values["removal_at"] = (removal.event.at, (at(scene.entry, "follows_removal"), at(removal, "at")))
    return values


def _line(scene: Scene) -> Values:
    event = scene.event
    values: Values = {"lock_units": _NONE, "tended": _NONE, "lines": _NONE, **_headed(scene)}
    lock = getattr(event, "lock", None)
    if isinstance(lock, Lock) and lock.units_per_ml is not None and lock.volume_ml is not None:
        units = amounts.heparin_units(lock.units_per_ml, lock.volume_ml)
        paths = tuple(at(scene.entry, "lock", key) for key in ("units_per_ml", "volume_ml"))
        values["lock_units"] = (units, paths)
    if isinstance(event, ev.FlushOrLock):
        done: list[tuple[str, str]] = []
        flushes = event.flushes if isinstance(event.flushes, tuple) else ()
        if flushes:
            none_ran = all(flush.resistance == "cannot flush" for flush in flushes)
            done.append(("could NOT be flushed" if none_ran else "flushed", "flushes"))
        if isinstance(lock, Lock):
            done.append(("locked", "lock"))
        said = phrasing.listed([word for word, _ in done]) or "looked after"
        values["tended"] = (said, tuple(at(scene.entry, key) for _, key in done) or (at(scene.entry, "kind"),))
    if isinstance(event, ev.Transfer):
        values["lines"] = (tuple(_line_of(scene, after) for _, after in scene.states()), ())
    return values


def _headed(scene: Scene) -> Values:
    """Return what an access or a dressing change begins with: what was done, not what its kind is called."""
    event, kind = scene.event, at(scene.entry, "kind")
    values: Values = dict.fromkeys(("entered", "entered_briefly", "dressed", "dressed_briefly"), _NONE)
    if isinstance(event, ev.Access):
        missed = never_entered(event)
        long, short = "implanted port accessed", "port accessed"
        if missed:
            long = "access of the implanted port attempted; no puncture entered the port"
            short = "port access attempted, port NOT entered"
        where = (at(scene.entry, "punctures") if missed else kind,)
        values["entered"], values["entered_briefly"] = (long, where), (short, where)
    if isinstance(event, ev.DressingChange):
        how = "NOT changed" if isinstance(event.dressing, NotDone) else "changed"
        values["dressed"], values["dressed_briefly"] = (how, (kind,)), (f"port dressing {how}", (kind,))
    return values


def _line_of(scene: Scene, state: State) -> Values:
    where = f", {phrasing.label(state.septum)} septum" if len(scene.timeline.episode.port.septa) > 1 else ""
    stay = state.needle
    if stay is None:
        shown = state.last_removal
        path = at(shown, "at") if shown else ("port", "id")
        return {"says": (f"no needle is in{where}", (path,))}
    began = "an unknown time" if stay.since is None else phrasing.clock(stay.since, scene.zone, _today(scene))
    return {"says": (f"a needle is in since {began}{where}", (since(stay.opened),))}


def _today(scene: Scene) -> Any:
    return phrasing.local(scene.event.at, scene.zone).date()


def _dwell(scene: Scene) -> Values:
    event = scene.event
    names = ("dwell_since", "dwell_for", "dwell_drug", "first_dose_at", "treatment_gone", "before_dose")
    values: Values = dict.fromkeys(names, _NONE)
    before = getattr(event, "patency_before", None)
    if before is not None and (before, getattr(event, "blood_return", None)) != ("no blood return", "none"):
        values["before_dose"] = (before, (at(scene.entry, "patency_before"),))  # the proof itself says it else
    key = {"patency check": "treatment", "patency treatment": "second_dose_of"}.get(event.kind, "")
    named = getattr(event, key, None) if key else None
    meant = scene.timeline.entry(named) if named else None
    if meant is None or not isinstance(meant.event, ev.PatencyTreatment):
        values["treatment_gone"] = ("is not in this record", (at(scene.entry, key),)) if key else _NONE
        return values
    if meant.retraction is not None or meant.event.at > event.at:
        how = "was retracted" if meant.retraction is not None else "is charted with a later time"
        values["treatment_gone"] = (how, (at(scene.entry, key),))
        return values
    own, given = at(scene.entry, key), (at(scene.entry, key), at(meant, "at"))
    if isinstance(event, ev.PatencyCheck):
        values["dwell_since"] = (meant.event.at, given)
        values["dwell_for"] = (event.at - meant.event.at, (at(scene.entry, "at"), at(meant, "at")))
        values["dwell_drug"] = (meant.event.drug, (own, at(meant, "drug")))
    else:
        values["first_dose_at"] = (meant.event.at, given)
    return values


def _evaluated(scene: Scene) -> Values:
    """Return which of the limits and holds that an evaluation names end with it, and which do not."""
    values: Values = dict.fromkeys(("limits_ended", "limits_not_ended", "holds_named", "holds_not_ended"), _NONE)
    event = scene.event
    if not isinstance(event, ev.Evaluation) or scene.step is None:
        return values
    states = ((scene.step.before, scene.step.after),)
    limits = {one.what for before, _ in states for one in before.limits}
    limits -= {one.what for _, after in states for one in after.limits}
    left = {hold.reason for _, after in states for hold in after.holds}
    over = [hold for before, _ in states for hold in before.holds if hold.reason not in left]
    holds = {name for hold in over for name in ("all", hold.reason, hold.sign)}
    for key, ended, one, other in (
        ("lifts", limits, "limits_ended", "limits_not_ended"),
        ("ends", holds, "holds_named", "holds_not_ended"),
    ):
        names = event.__dict__.get(key) or ()
        paths = (at(scene.entry, key),)
        values[one] = (tuple(phrasing.typed(name) for name in names if name in ended), paths)
        values[other] = (tuple(phrasing.typed(name) for name in names if name not in ended), paths)
    return values


# -- holds --

_REASON_FACTS: Final = (
    "blood_return",
    "blood_return_before",
    "blood_looks",
    "flushes",
    "punctures",
    "site",
    "signs",
    "found",
    "extent",
    "needle",
    "needle_intact",
    "tip_confirmed",
    "flow_ml_per_s",
    "pressure_psi",
)
"""Facts that may show a reason for a hold."""


def reason_paths(hold: Hold) -> tuple[Path, ...]:
    """Return where the facts stand that may have shown a hold's sign; the kind of the event where none does."""
    facts = hold.began.event.__dict__
    found = tuple(at(hold.began, key) for key in _REASON_FACTS if facts.get(key) not in (None, ()))
    return found or (at(hold.began, "kind"),)


def _together(holds: Iterable[Hold]) -> list[Values]:
    """Return what sentences say of holds; those that began together are said together."""
    groups: dict[int, list[Hold]] = {}
    for hold in holds:
        groups.setdefault(id(hold.began), []).append(hold)
    told: list[Values] = []
    for group in groups.values():
        paths = tuple(dict.fromkeys(path for hold in group for path in reason_paths(hold)))
        signs = tuple(dict.fromkeys(hold.sign for hold in group))
        began = group[0].began
        told.append({"since": (began.event.at, (at(began, "at"),)), "reasons": (signs, paths)})
    return told


def _holds(scene: Scene) -> Values:
    begins, remains, ended = [], [], []
    new: list[Hold] = []
    old: list[Hold] = []
    for before, after in scene.states():
        known = {hold.reason for hold in before.holds}
        left = {hold.reason for hold in after.holds}
        new += (hold for hold in after.holds if hold.reason not in known)
        old += (hold for hold in after.holds if hold.reason in known)
        begins += _together(hold for hold in after.holds if hold.reason not in known)
        remains += _together(hold for hold in after.holds if hold.reason in known)
        ended += _together(hold for hold in before.holds if hold.reason not in left)
    rows = {"hold_begins": begins, "hold_remains": remains, "hold_ended": ended}
    first = min(old, key=lambda hold: hold.since, default=None)
    return {
        **{name: (tuple(found), ()) for name, found in rows.items()},
        "held_now": _reasons(new),
        "held_for": _reasons(old),
        "held_since": (first.since, (at(first.began, "at"),)) if first else _NONE,
    }


def _reasons(holds: list[Hold]) -> Value:
    signs = tuple(dict.fromkeys(hold.sign for hold in holds))
    return signs, tuple(dict.fromkeys(path for hold in holds for path in reason_paths(hold)))


# -- what no sentence said --


def reasons_left(scene: Scene, told: list[Path], written: list[Path]) -> list[Computed]:
    """Return each reason why not that no sentence has said yet; facts that share their reason are said together."""
    groups: dict[tuple[str, str], tuple[list[str], list[Path]]] = {}
    for path, value in _untold(scene, written):
        if path[-1] in ANSWERS:
            answer = "not assessed" if path[-1] == "not_assessed" else "not done"
            names, paths = groups.setdefault((answer, value), ([], []))
            names.append(_label(scene, path))
            paths.append(_full(scene, path))
    return [
        Computed({"answer": (answer, full), "what": (phrasing.listed(names), full), "why": (why, full)}, told)
        for (answer, why), (names, paths) in groups.items()
        for full in (tuple(paths),)
    ]


def facts_left(scene: Scene, told: list[Path], written: list[Path]) -> list[Computed]:
    """Return each recorded fact that no sentence has said yet, with its value in words."""
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
