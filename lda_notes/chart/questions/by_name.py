"""Facts that the nurse names: set by their name, added by a word, or picked out of an entry to be corrected."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final
from zoneinfo import ZoneInfo

from pydantic import BaseModel

from lda_notes.chart.answers import layout, values
from lda_notes.chart.answers.heard import Heard, Reading, Unclear
from lda_notes.chart.answers.times import Frame, echo
from lda_notes.chart.answers.values import Option
from lda_notes.chart.questions.question import Question, leaf, one_of
from lda_notes.narrative import facts as narrative
from lda_notes.narrative import phrasing
from lda_notes.narrative.facts import label
from lda_notes.problems import Path
from lda_notes.record.events import Event
from lda_notes.record.spelling import nearest

_LISTS: Final = {"flush": "flushes", "flushes": "flushes", "problem": "problems", "problems": "problems"}
"""Words that begin one more part of a list whose facts are then asked."""

_NOT_SET: Final = frozenset({"id", "kind", "record_version", "seal"})
"""Facts that the program itself gives: what is told of an entry, and of its draft, rests on them."""

_MOST: Final = 6
_MOST_ITEMS: Final = 99


def set_fact(model: type[BaseModel], path: Path, text: str, frame: Frame) -> Reading:
    """Read ``text`` as the fact at ``path`` of ``model``; a reason why not follows a dash."""
    name = layout.dotted(path)
    spot = layout.spot(model, path)
    if name in _NOT_SET:
        return Unclear(f"The {name} of an entry cannot be set here.")
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
        return Unclear(f"{name} is a part with its own facts. Set one of them, such as {keys}.")
    if not text:
        return Unclear(f"Type what {name} is, after its name.")
    read, _, _ = values.reader(spot, str(path[-1]))
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
        items = layout.get(facts, (_LISTS[word],))
        position = len(items) if isinstance(items, list) else 0
        return Heard((((_LISTS[word], position), {}),), f"One more {word}")
    if word == "supply" and layout.spot(model, ("supplies",)) is not None:
        items = layout.get(facts, ("supplies",))
        path: Path = ("supplies", len(items) if isinstance(items, list) else 0, "name")
        return _question(model, path, "Which supply? Its label may be scanned.")
    every = list(every_fact(model))
    said = {name: called(model, tuple(step for step in layout.parse(name) if step != 0)) for name, _ in every}
    found = [
        name
        for name, title in every
        if word in (name, name.rpartition(".")[2], title.casefold(), said[name].casefold())
    ]
    found = found or [name for name, title in every if word in name or word in title.casefold()]
    if fits is not None and len(found) > 1:
        found = [name for name in found if fits(layout.parse(name))] or found
    if len(found) == 1:
        return _question(model, layout.parse(found[0]))
    if not found:
        close = nearest(word, [title for _, title in every])
        hint = f"Did you mean {close}?" if close else "Try remarks, flush, problem, supply or lot."
        return Unclear(f"Nothing is called {word} here. {hint}")
    shown = [said[name].casefold() for name in found[:_MOST]] + ["another"] * (len(found) > _MOST)
    return Unclear(f"That could be {phrasing.listed(shown, 'or')}. Type one of these.")


def _question(model: type[BaseModel], path: Path, asks: str = "") -> Question:
    spot = layout.spot(model, path)
    assert spot is not None
    question = leaf(path, spot, asks or f"{phrasing.capital(spot.title)}?")
    return replace(question, supply=path[:-1]) if path[0] == "supplies" else question


THAT_IS_ALL: Final = "that is all"

_ONE_MORE: Final = {
    "flushes": "flush",
    "problems": "problem",
    "supplies": "supply",
    "signs": "sign",
    "punctures": "pass",
}


@dataclass(frozen=True, slots=True)
class Recorded:
    """An entry as it is now read, as plain values, and how its facts are called and said."""

    model: type[Event]
    before: Mapping[str, Any]
    zone: ZoneInfo
    adds: bool
    """An addendum names what was left out, an amendment what is recorded."""

    def called(self, path: Path) -> str:
        """Return what a fact is called, with its place in a list where there is more than one."""
        return phrasing.capital(narrative.label(self.model, path))

    def said(self, path: Path, value: Any) -> str:
        """Return a plain value in words, with its unit."""
        return said_fact(layout.spot(self.model, path), path, value, self.zone)

    def has(self, path: Path) -> bool:
        """Return whether a fact is recorded."""
        return layout.get(self.before, path) is not None

    def fits(self, path: Path) -> bool:
        """Return whether a correction of this sort would mean a fact of this path."""
        if self.adds:
            return not self.has(path) and (len(path) == 1 or self.has(path[:-1]))
        return self.has(path)

    # -- the questions --

    def which_fact(self, number: int, enough: bool) -> Question:
        """Ask for the next fact; ``enough`` says that there may be none."""

        def read(text: str, _: Frame) -> Reading:
            found = added(self.model, text.strip(), self.before, self.fits)
            if isinstance(found, Unclear):
                return found
            path = found.facts[0][0] if isinstance(found, Heard) else layout.parse(found.name)
            name = layout.dotted(self._of_a_list(path, typed=text.strip()))
            spot = layout.spot(self.model, layout.parse(name.replace(".*", "")))
            if self.adds and spot is not None and spot.sort is not None and self.has(path) and "*" not in name:
                was = self.said(path, layout.get(self.before, path))
                return Unclear(f"{self.called(path)} is recorded: {was}. An amendment corrects it; this adds facts.")
            return Heard(((("asked", number), name),), spot.title if spot else name)

        return Question(
            f"asked.{number}", "fact", "Which fact was left out?" if self.adds else "Which fact is wrong?", read,
            hint="in a word, such as gauge",
            default=Heard(((("asked", number), THAT_IS_ALL),), THAT_IS_ALL) if enough else None,
            needed=not enough,
            explains=(", ".join(dict.fromkeys(title for _, title in every_fact(self.model))),),
        )  # fmt: skip

    def _of_a_list(self, path: Path, typed: str) -> Path:
        """Return the path with the place in a list left open unless it was typed: no word makes a second flush."""
        key = str(path[0])
        if len(path) < 2 or not isinstance(path[1], int) or layout.dotted(path) == typed or not self.has((key,)):
            return path
        if len(path) == 2:
            return (key,)
        return (key, "*", *path[2:]) if len(self.before[key]) > 1 else path

    def is_open(self, name: str) -> bool:
        """Return whether a name leaves open which part of a list is meant."""
        path = layout.parse(name)
        spot = layout.spot(self.model, path[:1])
        return "*" in path or (
            len(path) == 1 and spot is not None and spot.many and spot.part is not None and self.has(path)
        )

    def which_part(self, name: str, number: int) -> Question:
        """Ask which fact of which part is meant: each as it is recorded, and one more part last."""
        path = layout.parse(name)
        key, wanted = str(path[0]), path[2:]
        meant = [one for one in self._of_parts(key) if not wanted or one[2:] == wanted]
        offered = [(layout.dotted(one), self._offered(one)) for one in meant]
        if not wanted:
            another = f"another {_ONE_MORE.get(key, key)}, not charted so far"
            offered.append((f"{key}.{len(self.before[key])}", another))
        choices = [
            (Option(str(at), said), Heard(((("asked", number), name),), said))
            for at, (name, said) in enumerate(offered, 1)
        ]
        return one_of(f"which.{number}", "fact", "Which of these?", choices)

    def _of_parts(self, key: str) -> Iterator[Path]:
        part = layout.spot(self.model, (key,))
        assert part is not None and part.part is not None
        for place in range(len(self.before[key])):
            for inner in part.part.model_fields:
                path: Path = (key, place, inner)
                spot = layout.spot(self.model, path)
                if spot is not None and spot.sort is not None and self.fits(path):
                    yield path

    def _offered(self, path: Path) -> str:
        was = layout.get(self.before, path)
        return (
            f"{self.called(path)}: {self.said(path, was)}" if was is not None else f"{self.called(path)}: not recorded"
        )


def said_fact(spot: layout.Spot | None, path: Path, value: Any, zone: ZoneInfo) -> str:
    """Return the plain value of the fact at ``path`` in words, with its unit; times in ``zone``."""
    match spot.sort if spot is not None else None:
        case "time" if isinstance(value, str) and "T" in value:
            return echo(datetime.fromisoformat(value), zone)
        case "day" | "time" if isinstance(value, str):
            return phrasing.day(date.fromisoformat(value))
        case "number" | "whole number" if isinstance(value, int | float):
            return narrative.say(Decimal(str(value)), str(path[-1]), zone)
        case _:
            return said_value(value)


def said_value(value: Any) -> str:
    """Return a plain value in words."""
    match value:
        case bool():
            return "yes" if value else "no"
        case {"not_assessed": reason}:
            return f"not assessed: {reason}"
        case {"not_done": reason}:
            return f"not done: {reason}"
        case dict():
            return ", ".join(str(inner) for inner in value.values())
        case list():
            return phrasing.listed([said_value(item) for item in value])
        case _:
            return phrasing.printed(str(value))
