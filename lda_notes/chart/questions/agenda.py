"""Questions about an event, in the order of the work, given what is known so far."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, Final

from lda_notes.chart.answers import layout, values
from lda_notes.chart.answers.heard import Heard, Reading, Unclear, turned
from lda_notes.chart.answers.layout import Spot
from lda_notes.chart.answers.times import HOW, Frame, echo
from lda_notes.chart.answers.values import Option, choose, options, several
from lda_notes.chart.questions.question import Leaf, Question, leaf, leaves
from lda_notes.chart.questions.spelled import SUPPLIES, Together
from lda_notes.chart.questions.together import TOGETHER, untouched
from lda_notes.chart.questions.trial import CHOSEN, COVERED, Situation
from lda_notes.check.needs import NEEDS
from lda_notes.line import due
from lda_notes.narrative import phrasing
from lda_notes.problems import Path
from lda_notes.record.events import Event, PatencyTreatment
from lda_notes.record.parts import Needle

_COVERING: Final[dict[str, Together]] = {name: one for one in TOGETHER for name in one.covers}

_NOT_BEFORE: Final = frozenset({"id", "kind", "at"})


def questions(situation: Situation, answered: frozenset[str]) -> Iterator[Question]:
    """Yield every question that is still to be asked, the next one first."""
    if "at" not in situation.facts:
        yield _when(situation)
        return
    yield from _first(situation, answered)
    if situation.event is None:
        return
    yield from _what_changes(situation, answered)
    open_ = [one for one in leaves(situation, answered) if one.name not in answered]
    todo = _told_at_once([one for one in open_ if layout.get(situation.facts, one.path) is None], situation)
    if situation.policy.choice("login_shared") == "yes":
        todo.sort(key=lambda one: one.path[0] != "by")  # whose answers these are, a draft of them says from the first
    asked: set[str] = set()
    for one in todo:
        if one.name in asked:
            continue
        together = _together(one, todo, situation, answered)
        if together is not None:
            asked.update(together.covers)
            yield together
        else:
            yield _alone(one, situation)
    yield from _late(situation, answered)


_PROOF: Final = frozenset({"blood_return", "blood_looks", "steps_tried"})


def _told_at_once(todo: list[Leaf], situation: Situation) -> list[Leaf]:
    """Return what is open with the problems first, once the part that shows the trouble is through."""
    problems = [one for one in todo if one.path[0] == "problems"]
    others = [one for one in todo if one.path[0] != "problems"]
    if not problems or not others:
        return todo
    first = str(others[0].path[0])
    begun = any(key in situation.facts for key in (_PROOF if first in _PROOF else {first}))
    return todo if begun else [*problems, *others]


_CHANGES: Final = {
    "patient facts": "What about the patient has changed or become known?",
    "port facts": "What has become known about the port?",
}


def _what_changes(situation: Situation, answered: frozenset[str]) -> Iterator[Question]:
    """Ask first which facts of patient or port the event is about, then for each of those."""
    asks = _CHANGES.get(situation.kind)
    if asks is None:
        return
    usual = {*Event.model_fields, "kind", *(need.path[0] for need in NEEDS[situation.kind])}
    spots = {key: spot for key in situation.model.model_fields if key not in usual and (spot := situation.spot((key,)))}
    chosen = situation.aside.get(CHOSEN)
    if chosen is None:
        keys = {spot.title: key for key, spot in spots.items()}
        offered = options(tuple(keys))

        def read(text: str, _: Frame) -> Reading:
            said = several(text, offered)
            if isinstance(said, Unclear):
                return said
            return Heard((((CHOSEN,), [keys[word] for word in said.value]),), said.said)

        yield Question(CHOSEN, "to chart", asks, read, offered, "one or more, such as 1 4", needed=True)
        return
    for key in chosen:
        for path, spot in _inside((key,), spots[key]):
            if layout.dotted(path) not in answered and layout.get(situation.facts, path) is None:
                left_open = None if spot.required or len(path) == 1 else Heard((), "left open")
                head = spots[key].title
                asks = f"{phrasing.capital(head)}{'' if len(path) == 1 else f': {spot.title}'}?"
                yield replace(leaf(path, spot, asks, default=left_open), needed=spot.required)


def _inside(path: Path, spot: Spot) -> Iterator[tuple[Path, Spot]]:
    """Yield the single facts of a part, or the fact itself."""
    if spot.part is None:
        yield path, spot
        return
    head = (*path, 0) if spot.many else path
    for key in spot.part.model_fields:
        inner = layout.spot(spot.part, (key,))
        if inner is not None and inner.sort is not None:
            yield (*head, key), inner


def _together(one: Leaf, todo: list[Leaf], situation: Situation, answered: frozenset[str]) -> Question | None:
    """Return the question that asks a fact together with others, unless one of them was taken up by itself."""
    covering = _COVERING.get(one.name)
    if covering is None or not untouched(covering.covers, situation) or answered & set(covering.covers):
        return None
    question = covering.build(situation, {other.name: other for other in todo})
    return None if question is None or question.name in answered else question


def _when(situation: Situation) -> Question:
    spot = situation.spot(("at",))
    assert spot is not None
    now = situation.now.astimezone(situation.zone)
    default = None
    if not due.has_left(situation.line, situation.now):
        default = Heard(((("at",), now.isoformat(timespec="minutes")),), phrasing.moment(now, situation.zone))
    says = f"When it happened, on the clock of the stay. Type it like {HOW}."
    return replace(leaf(("at",), spot, "When was it?", default=default), needed=True, explains=(says,))


def _first(situation: Situation, answered: frozenset[str]) -> Iterator[Question]:
    """Ask first for what makes an event of its kind: nothing can be judged without it."""
    for key, field in situation.model.model_fields.items():
        if field.is_required() and key not in _NOT_BEFORE and key not in answered and key not in situation.facts:
            spot = situation.spot((key,))
            if spot is not None and spot.sort is not None:
                need = next((need for need in NEEDS[situation.kind] if need.path == (key,)), None)
                asks = need.asks if need is not None else f"{phrasing.capital(spot.title)}?"
                question = replace(leaf((key,), spot, asks, needs=(need,) if need is not None else ()), needed=True)
                yield _which_treatment(question, situation) if key == "treatment" else question


def _which_treatment(question: Question, situation: Situation) -> Question:
    """Offer the thrombolytics on record: nobody knows the names of entries by heart."""
    given = [entry.event for entry in situation.earlier() if isinstance(entry.event, PatencyTreatment)]
    offered = tuple(
        Option(str(number), f"{event.drug} of {echo(event.at, situation.zone)}")
        for number, event in enumerate(given, 1)
    )
    ids = {option.key: event.id for option, event in zip(offered, given, strict=True)}

    def read(text: str, frame: Frame) -> Reading:
        chosen = choose(text, offered) if offered else None
        if isinstance(chosen, Option):
            return Heard(((("treatment",), ids[chosen.key]),), chosen.words)
        if text.strip() in {event.id for event in situation.episode.events}:
            return question.read(text, frame)
        none = "No thrombolytic is on record for this port by then; chart it first, as a treatment."
        return chosen if isinstance(chosen, Unclear) else Unclear(none)

    return replace(question, read=read, options=offered)


_INNER_HINT: Final = "such as 0940, or -6 for 6 minutes before the event"
_AFTER_HINT: Final = "such as 0940, or +5 for 5 minutes after the event"
_DUE_HINT: Final = "such as 2031-03-11 09:40, or +7d for 7 days after the event"


def _alone(one: Leaf, situation: Situation) -> Question:
    if one.path[0] == "punctures":
        return _puncture(one, situation)
    words = options(situation.episode.port.septa) if one.path == ("septum",) else None
    question = leaf(
        one.path,
        one.spot,
        one.need.asks,
        why_not=one.why_not,
        default=_default(one.path, situation),
        needs=(one.need,),
        words=words,
    )
    if one.spot.sort == "time":
        usual = {"next_due": _DUE_HINT, "problems": _AFTER_HINT}.get(str(one.path[0]), _INNER_HINT)
        alone = ", or the day alone, such as 4 May" if one.spot.day_alone else ""
        question = replace(question, hint=f"{usual}{alone}")
    if one.path[0] == "problems" and one.path[-1] == "what":
        question = _covering(question, situation)
    if one.path[0] in SUPPLIES and situation.spot((one.path[0],)) is not None:
        question = replace(question, supply=one.path[:-1])
    return question


def _puncture(one: Leaf, situation: Situation) -> Question:
    """Ask of each pass of a needle which one it was, who put it in and what came of it; the last is the one in."""
    number, total = int(one.path[1]) + 1, situation.facts.get("attempts")
    asks = f"Puncture {number} of {total}: {one.need.asks[0].lower()}{one.need.asks[1:]}"
    if one.spot.part is not Needle:
        default = (
            Heard(((one.path, by),), "you") if one.spot.sort == "person" and (by := situation.facts.get("by")) else None
        )
        return leaf(one.path, one.spot, asks, needs=(one.need,), default=default)
    size = situation.facts.get("needle") or {}
    same = {key: size[key] for key in ("gauge", "length_mm") if key in size}
    default = Heard(((one.path, same),), "the needle that is in") if number == total and len(same) == 2 else None
    return Question(
        one.name, one.spot.title, f"{asks} Gauge and length in mm.", lambda text, _: values.needle_size(text, one.path),
        hint="such as 20 19", default=default, needs=(one.need,), explains=(one.spot.says,),
    )  # fmt: skip


def _covering(question: Question, situation: Situation) -> Question:
    """Return the question for a problem, whose answer is about every trouble that was not charted for yet."""
    position = question.name.split(".")[1]
    about: tuple[tuple[Path, Any], ...] = (((COVERED, position), list(situation.untold)),)

    def covering(heard: Heard) -> Heard:
        return replace(heard, facts=(*heard.facts, *about))

    default = covering(question.default) if question.default else None
    return replace(question, default=default, read=lambda text, frame: turned(question.read(text, frame), covering))


def _default(path: Path, situation: Situation) -> Heard | None:
    """Return what Enter takes: the same order, what runs, who is taught; never what was seen, done or measured."""
    name = layout.dotted(tuple("*" if isinstance(step, int) else step for step in path))
    match name:
        case "order":  # the order for care of the port is none for a drug, nor the other way round
            care = tuple(kind for kind in NEEDS if kind not in _BY_ORDER_OF_ITS_OWN)
            return _same(path, situation.last(path, care)) if situation.kind in care else None
        case "dressing.securement":
            return _same(path, situation.last(path))
        case "infusion":
            running = situation.before.infusion
            return _same(
                path, getattr(running.event, "infusion", None) if running else situation.last(path, (situation.kind,))
            )
        case "teaching.to":
            return None if situation.child else Heard(((path, "patient"),), "patient")
        case "problems.*.what":
            return _shown(path, situation)
        case _:
            return None


_BY_ORDER_OF_ITS_OWN: Final = frozenset({"patency treatment", "line use"})


def _same(path: Path, value: Any) -> Heard | None:
    return Heard(((path, value),), f"{value}, as before") if isinstance(value, str) else None


def _shown(path: Path, situation: Situation) -> Heard | None:
    """Return the trouble that the answers so far show: it is already said, and only named here."""
    reasons = situation.untold
    if not reasons:
        return None
    said = phrasing.listed(reasons)
    return Heard(((path, said),), said)


_LATE_SOURCES: Final = ("memory", "worksheet", "monitor")


def _late(situation: Situation, answered: frozenset[str]) -> Iterator[Question]:
    """Ask where the facts are recalled from when the entry is made late."""
    path: Path = ("late_entry",)
    late = situation.now - situation.at > situation.policy.span("late_entry_hours")
    if not late or "late_entry" in answered or layout.get(situation.facts, path) is not None:
        return
    spot = situation.spot(path)
    assert spot is not None
    words = tuple(Option(str(number), word) for number, word in enumerate(_LATE_SOURCES, 1))
    limit = situation.policy.text("late_entry_hours")
    yield leaf(path, spot, f"More than {limit} ago: a late entry. What are the facts recalled from?", words=words)
