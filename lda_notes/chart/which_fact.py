"""Which fact of an entry a correction means: by a word, by its name, or picked out of what the entry says."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final
from zoneinfo import ZoneInfo

from lda_notes.chart import layout, paths
from lda_notes.chart.adding import added, every_fact
from lda_notes.chart.answers import Option, choose
from lda_notes.chart.entries import said_value
from lda_notes.chart.heard import Heard, Reading, Unclear
from lda_notes.chart.question import Question
from lda_notes.chart.times import Frame, echo
from lda_notes.narrative import facts as narrative
from lda_notes.narrative import phrasing
from lda_notes.problems import Path
from lda_notes.record.events import Event

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
        spot = layout.spot(self.model, path)
        match spot.sort if spot is not None else None:
            case "time" if isinstance(value, str) and "T" in value:
                return echo(datetime.fromisoformat(value), self.zone)
            case "day" | "time" if isinstance(value, str):
                return phrasing.day(date.fromisoformat(value))
            case "number" | "whole number" if isinstance(value, int | float):
                return narrative.say(Decimal(str(value)), str(path[-1]), self.zone)
            case _:
                return said_value(value)

    def has(self, path: Path) -> bool:
        """Tell whether a fact is recorded."""
        return paths.get(self.before, path) is not None

    def fits(self, path: Path) -> bool:
        """Tell whether a correction of this sort would mean a fact of this path."""
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
            path = found.facts[0][0] if isinstance(found, Heard) else paths.parse(found.name)
            name = paths.dotted(self._of_a_list(path, typed=text.strip()))
            spot = layout.spot(self.model, paths.parse(name.replace(".*", "")))
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
        if len(path) < 2 or not isinstance(path[1], int) or paths.dotted(path) == typed or not self.has((key,)):
            return path
        if len(path) == 2:
            return (key,)
        return (key, "*", *path[2:]) if len(self.before[key]) > 1 else path

    def is_open(self, name: str) -> bool:
        """Tell whether a name leaves open which part of a list is meant."""
        path = paths.parse(name)
        spot = layout.spot(self.model, path[:1])
        return "*" in path or (
            len(path) == 1 and spot is not None and spot.many and spot.part is not None and self.has(path)
        )

    def which_part(self, name: str, number: int) -> Question:
        """Ask which fact of which part is meant: each as it is recorded, and one more part last."""
        path = paths.parse(name)
        key, wanted = str(path[0]), path[2:]
        meant = [one for one in self._of_parts(key) if not wanted or one[2:] == wanted]
        offered = [Option(str(at), self._offered(one)) for at, one in enumerate(meant, 1)]
        names = [paths.dotted(one) for one in meant]
        if not wanted:
            one = _ONE_MORE.get(key, key)
            offered.append(Option(str(len(offered) + 1), f"another {one}, not charted so far"))
            names.append(f"{key}.{len(self.before[key])}")

        def read(text: str, _: Frame) -> Reading:
            chosen = choose(text, offered)
            if isinstance(chosen, Unclear):
                return chosen
            return Heard(((("asked", number), names[int(chosen.key) - 1]),), chosen.words)

        return Question(f"which.{number}", "fact", "Which of these?", read, tuple(offered), needed=True)

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
        was = paths.get(self.before, path)
        return (
            f"{self.called(path)}: {self.said(path, was)}" if was is not None else f"{self.called(path)}: not recorded"
        )
