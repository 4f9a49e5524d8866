"""Facts that are set by their name or added by a word, beyond what is asked."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any, Final

from pydantic import BaseModel

from lda_notes.chart import answers, layout, paths
from lda_notes.chart.heard import Heard, Reading, Unclear
from lda_notes.chart.question import Question, leaf
from lda_notes.chart.times import Frame
from lda_notes.narrative import phrasing
from lda_notes.narrative.facts import label
from lda_notes.problems import Path
from lda_notes.record.spelling import nearest

_LISTS: Final = {"flush": "flushes", "flushes": "flushes", "problem": "problems", "problems": "problems"}
"""Words that begin one more part of a list whose facts are then asked."""

_NOT_SET: Final = frozenset({"id", "kind", "record_version", "seal"})
"""Facts that the program itself gives: what is told of an entry, and of its draft, rests on them."""

_MOST: Final = 6
_MOST_ITEMS: Final = 99


def set_fact(model: type[BaseModel], path: Path, text: str, frame: Frame) -> Reading:
    """Read ``text`` as the fact at ``path`` of ``model``; a reason why not follows a dash."""
    name = paths.dotted(path)
    spot = layout.spot(model, path)
    if name in _NOT_SET:
        return Unclear(f"The {name} of an entry is not set here.")
    if spot is None or any(isinstance(step, int) and step > _MOST_ITEMS for step in path):
        close = nearest(name, [known for known, _ in every_fact(model)])
        hint = f" Did you mean {close}?" if close else ""
        return Unclear(f"There is no fact {name} here.{hint}")
    if text.startswith("-") and not text[1:2].isdigit() and spot.why_not is not None:
        reason = text[1:].strip()
        if not reason:
            return Unclear("Type the reason after the dash.")
        return Heard(
            (((*path, spot.why_not), reason),), f"{spot.why_not.replace('_', ' ')}: {reason}", called(model, path)
        )
    if spot.sort is None:
        if text in spot.words:
            return Heard(((path, text),), text, called(model, path))
        keys = phrasing.listed([f"{name}.{key}" for key in list(spot.part.model_fields)[:3]], "or") if spot.part else ""
        return Unclear(f"{name} is a part with facts of its own. Set one of them, such as {keys}.")
    if not text:
        return Unclear(f"Type what {name} is, after its name.")
    read, _, _ = answers.reader(spot, str(path[-1]))
    value = read(text, frame)
    return value if isinstance(value, Unclear) else Heard(((path, value.value),), value.said, called(model, path))


def called(model: type[BaseModel], path: Path) -> str:
    """Return what a fact is called in words, such as Needle lot."""
    return phrasing.capital(label(model, path))


def every_fact(model: type[BaseModel], head: str = "") -> Iterator[tuple[str, str]]:
    """Yield the dotted name and the title of every single fact of a model, those of its parts too."""
    for key in model.model_fields:
        spot = layout.spot(model, (key,))
        if spot is None or key in ("id", "kind", "charted_at", "seal"):
            continue
        if spot.part is not None and spot.sort != "person":
            yield from every_fact(spot.part, f"{head}{key}.0." if spot.many else f"{head}{key}.")
        elif spot.sort is not None:
            yield f"{head}{key}", spot.title


def added(
    model: type[BaseModel], word: str, facts: Mapping[str, Any], fits: Callable[[Path], bool] | None = None
) -> Question | Heard | Unclear:
    """Return the question for the fact that a word means, or the beginning of one more part of a list.

    Of several facts of a name, those that ``fits`` takes are meant.
    """
    word = word.casefold()
    if word in _LISTS and layout.spot(model, (_LISTS[word],)) is not None:
        items = paths.get(facts, (_LISTS[word],))
        position = len(items) if isinstance(items, list) else 0
        return Heard((((_LISTS[word], position), {}),), f"One more {word}")
    if word == "supply" and layout.spot(model, ("supplies",)) is not None:
        items = paths.get(facts, ("supplies",))
        path: Path = ("supplies", len(items) if isinstance(items, list) else 0, "name")
        return _question(model, path, "Which supply? Its label may be scanned.")
    every = list(every_fact(model))
    said = {name: called(model, tuple(step for step in paths.parse(name) if step != 0)) for name, _ in every}
    found = [
        name
        for name, title in every
        if word in (name, name.rpartition(".")[2], title.casefold(), said[name].casefold())
    ]
    found = found or [name for name, title in every if word in name or word in title.casefold()]
    if fits is not None and len(found) > 1:
        found = [name for name in found if fits(paths.parse(name))] or found
    if len(found) == 1:
        return _question(model, paths.parse(found[0]))
    if not found:
        return Unclear(f"Nothing is called {word} here. Try remarks, flush, problem, supply or lot.")
    shown = [said[name].casefold() for name in found[:_MOST]] + ["another"] * (len(found) > _MOST)
    return Unclear(f"That could be {phrasing.listed(shown, 'or')}. Type one of these.")


def _question(model: type[BaseModel], path: Path, asks: str = "") -> Question:
    spot = layout.spot(model, path)
    assert spot is not None
    question = leaf(path, spot, asks or f"{phrasing.capital(spot.title)}?")
    return replace(question, supply=path[:-1]) if path[0] == "supplies" else question
