"""What is asked of an event, in the order of the work, given what is known so far."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, Final

from lda_notes.chart import paths
from lda_notes.chart.answers import Option, choose, options
from lda_notes.chart.groups import GROUPS, SUPPLIES, Group
from lda_notes.chart.heard import Heard, Reading, Unclear
from lda_notes.chart.joined import JOINED, Joined, untouched
from lda_notes.chart.leaves import Leaf, leaves
from lda_notes.chart.question import Question, leaf
from lda_notes.chart.scene import Scene
from lda_notes.chart.times import Frame, echo
from lda_notes.check.needs import NEEDS
from lda_notes.line.timeline import trouble
from lda_notes.narrative import phrasing
from lda_notes.problems import Path
from lda_notes.record.events import Event, PatencyTreatment

_TOGETHER: Final[tuple[Group | Joined, ...]] = (*JOINED, *GROUPS)
_COVERING: Final[dict[str, Group | Joined]] = {name: one for one in _TOGETHER for name in one.covers}

_NOT_BEFORE: Final = frozenset({"id", "kind", "at"})

NEVER_BY_DEFAULT: Final = frozenset(
    {
        *("site", "blood_return", "blood_looks", "blood_return_before", "pain", "response", "dressing_found"),
        *("bleeding", "needle_intact", "safety_engaged", "connections_secure", "resistance", "withdrawn_ml"),
        *("patency_before", "needle_in", "complete", "hand_hygiene", "masks", "sterile_gloves", "sterile_field"),
        *("fully_dry", "identifiers_checked", "allergies_checked", "understanding", "attempts", "discard_ml"),
    }
)
"""Keys of what was seen or done: Enter alone never says them."""


def questions(scene: Scene, answered: frozenset[str]) -> Iterator[Question]:
    """Yield every question that is still to be asked, the next one first."""
    if "at" not in scene.facts:
        yield _when(scene)
        return
    yield from _first(scene, answered)
    if scene.event is None:
        return
    todo = [one for one in leaves(scene, answered) if _is_open(one, scene, answered)]
    asked: set[str] = set()
    for one in todo:
        if one.name in asked:
            continue
        together = _together(one, todo, scene, answered)
        if together is not None:
            asked.update(together.covers)
            yield together
        else:
            yield _alone(one, scene)
    yield from _late(scene, answered)


def _is_open(one: Leaf, scene: Scene, answered: frozenset[str]) -> bool:
    return one.name not in answered and paths.get(scene.facts, one.path) is None


def _together(one: Leaf, todo: list[Leaf], scene: Scene, answered: frozenset[str]) -> Question | None:
    """Return the question that asks a fact together with others, unless one of them was taken up by itself."""
    covering = _COVERING.get(one.name)
    if covering is None or not untouched(covering.covers, scene) or answered & set(covering.covers):
        return None
    open_ = {other.name: other for other in todo if other.name in covering.covers}
    question = covering.question(scene, open_) if isinstance(covering, Group) else covering.build(scene, _wide(todo))
    return None if question is None or question.name in answered else question


def _wide(todo: list[Leaf]) -> dict[str, Leaf]:
    return {leaf.name: leaf for leaf in todo}


def _when(scene: Scene) -> Question:
    spot = scene.spot(("at",))
    assert spot is not None
    now = scene.now.astimezone(scene.zone)
    default = Heard(((("at",), now.isoformat(timespec="minutes")),), phrasing.moment(now, scene.zone))
    return replace(leaf(("at",), spot, "When was it?", default=default), needed=True)


def _first(scene: Scene, answered: frozenset[str]) -> Iterator[Question]:
    """Ask first for what makes an event of its kind: nothing can be judged without it."""
    for key, field in scene.model.model_fields.items():
        if field.is_required() and key not in _NOT_BEFORE and key not in answered and key not in scene.facts:
            spot = scene.spot((key,))
            if spot is not None and spot.sort is not None:
                need = next((need for need in NEEDS[scene.kind] if need.path == (key,)), None)
                asks = need.asks if need is not None else f"{phrasing.capital(spot.title)}?"
                question = replace(leaf((key,), spot, asks, needs=(need,) if need is not None else ()), needed=True)
                yield _which_treatment(question, scene) if key == "treatment" else question


def _which_treatment(question: Question, scene: Scene) -> Question:
    """Offer the thrombolytics on record: nobody knows the names of entries by heart."""
    given = [entry.event for entry in scene.earlier() if isinstance(entry.event, PatencyTreatment)]
    offered = tuple(
        Option(str(number), f"{event.drug} of {echo(event.at, scene.zone)}") for number, event in enumerate(given, 1)
    )
    ids = {option.key: event.id for option, event in zip(offered, given, strict=True)}

    def read(text: str, frame: Frame) -> Reading:
        chosen = choose(text, offered) if offered else None
        if isinstance(chosen, Option):
            return Heard(((("treatment",), ids[chosen.key]),), chosen.words)
        if text.strip() in {event.id for event in scene.episode.events}:
            return question.read(text, frame)
        none = "No thrombolytic is on record for this port by then; chart it first, as a treatment."
        return chosen if isinstance(chosen, Unclear) else Unclear(none)

    return replace(question, read=read, options=offered)


_INNER_HINT: Final = "such as 0940, or -6 for 6 minutes before the event"
_DUE_HINT: Final = "such as 2031-03-11 09:40, or +7d for 7 days after the event"


def _alone(one: Leaf, scene: Scene) -> Question:
    words = _septa(scene) if one.path == ("septum",) else None
    question = leaf(
        one.path,
        one.spot,
        one.need.asks,
        why_not=one.why_not,
        default=None if _never(one.path) else _default(one.path, scene),
        needs=(one.need,),
        words=words,
    )
    if one.spot.sort == "time":
        due = one.path[0] == "next_due"
        question = replace(question, hint=_DUE_HINT if due else _INNER_HINT)
    if one.path[0] in SUPPLIES and scene.spot((one.path[0],)) is not None:
        question = replace(question, supply=one.path[:-1])
    return question


def _never(path: Path) -> bool:
    return bool(NEVER_BY_DEFAULT & {str(step) for step in path})


def _septa(scene: Scene) -> tuple[Option, ...]:
    return options(scene.episode.port.septa)


def _default(path: Path, scene: Scene) -> Heard | None:
    """Return what Enter takes: the same order, what runs, who is taught; never what was seen, done or measured."""
    name = paths.dotted(tuple("*" if isinstance(step, int) else step for step in path))
    match name:
        case "order":  # the order for care of the port is none for a drug, nor the other way round
            others = tuple(kind for kind in NEEDS if kind != "patency treatment")
            return None if scene.kind not in others else _same(path, scene.last(path, others))
        case "dressing.securement":
            return _same(path, scene.last(path))
        case "infusion":
            running = scene.before.infusion
            return _same(path, getattr(running.event, "infusion", None) if running else scene.last(path, (scene.kind,)))
        case "teaching.to":
            return None if scene.child else Heard(((path, "patient"),), "patient")
        case "problems.*.what":
            return _shown(path, scene)
        case _:
            return None


def _same(path: Path, value: Any) -> Heard | None:
    return Heard(((path, value),), f"{value}, as before") if isinstance(value, str) else None


def _shown(path: Path, scene: Scene) -> Heard | None:
    """Return the trouble that the answers so far show: it is already said, and only named here."""
    reasons = trouble(scene.event) if isinstance(scene.event, Event) else ()
    if not reasons or path[1] != 0:
        return None
    said = phrasing.listed(reasons)
    return Heard(((path, said),), said)


_LATE_SOURCES: Final = ("memory", "worksheet", "monitor")


def _late(scene: Scene, answered: frozenset[str]) -> Iterator[Question]:
    """Ask where the facts are recalled from when the entry is made late."""
    path: Path = ("late_entry",)
    late = scene.now - scene.at > scene.policy.span("late_entry_hours")
    if not late or "late_entry" in answered or paths.get(scene.facts, path) is not None:
        return
    spot = scene.spot(path)
    assert spot is not None
    words = tuple(Option(str(number), word) for number, word in enumerate(_LATE_SOURCES, 1))
    limit = scene.policy.text("late_entry_hours")
    yield leaf(path, spot, f"More than {limit} ago: a late entry. What are the facts recalled from?", words=words)
