"""Questions that spell out several facts, so that one letter says them all. Saying nothing never says any of them.

Only what was seen or done as it should be is spelled out: a number, a rating, a drug or a device is asked by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from lda_notes.chart import paths
from lda_notes.chart.answers import Option
from lda_notes.chart.heard import Heard, Reading, Unclear
from lda_notes.chart.leaves import Leaf
from lda_notes.chart.question import AS_WRITTEN, EACH, Question
from lda_notes.chart.scene import Scene
from lda_notes.chart.times import Frame, echo, written

Open = Mapping[str, Leaf]
"""The facts of a group that are asked of this event and not said yet, by dotted path."""


@dataclass(frozen=True, slots=True)
class Part:
    """One fact of a group as it is written there."""

    name: str
    value: Any
    said: str


Spelled = Callable[[Scene, Open], Iterator[Part]]


@dataclass(frozen=True, slots=True)
class Group:
    """Facts that are asked together while none of them is said. ``spells`` yields those that are written out.

    A group of fewer than ``least`` facts is asked one by one.
    """

    name: str
    about: str
    asks: str
    covers: tuple[str, ...]
    spells: Spelled
    others: str = "each by itself"
    least: int = 2

    def question(self, scene: Scene, open_: Open) -> Question | None:
        """Return the question; None when too few of its facts can be spelled out."""
        parts = [part for part in self.spells(scene, open_) if part.name in open_]
        if len(parts) < self.least:
            return None
        said = ", ".join(part.said for part in parts if part.said)
        facts = tuple((open_[part.name].path, part.value) for part in parts)
        offered = (Option(AS_WRITTEN, said), Option(EACH, self.others))

        def read(text: str, _: Frame) -> Reading:
            match text.strip().casefold():
                case "a":
                    return Heard(facts, said, "all as written")
                case "e":
                    return Heard((), self.others)
                case _:
                    return Unclear(f"Type a when all of it is so, e for {self.others}.")

        first = open_[parts[0].name]
        reasons = (leaf.why_not for leaf in open_.values() if leaf.why_not and leaf.why_not.path != leaf.path)
        return Question(
            self.name,
            self.about,
            self.asks,
            read,
            offered,
            why_not=next(reasons, None),
            covers=tuple(open_),
            needs=tuple(leaf.need for leaf in open_.values()),
            explains=tuple(leaf.spot.says for leaf in open_.values()),
            supply=supply_of(first.path),
        )


def supply_of(path: tuple[str | int, ...]) -> tuple[str | int, ...] | None:
    """Return the part that a fact belongs to, when it comes out of a package with a label."""
    return path[:-1] if path[0] in SUPPLIES else None


SUPPLIES: Final = frozenset({"needle", "dressing", "antisepsis", "lock", "flushes"})
"""Parts that come out of a package with a label."""


# -- what each group spells out --


def _site(scene: Scene, open_: Open) -> Iterator[Part]:
    yield Part("site.skin", "intact", "skin intact")
    yield Part("site.erythema", "none", "no redness")
    yield Part("site.swelling", "none", "no swelling")
    yield Part("site.tenderness", "none", "not tender")
    yield Part("site.drainage", "none", "no drainage")
    yield Part("site.port", "stable", "port stable")


def _set_up(scene: Scene, open_: Open) -> Iterator[Part]:
    yield Part("technique.hand_hygiene", True, "hand hygiene")
    yield Part("technique.masks", True, "masks on all present")
    yield Part("technique.sterile_gloves", True, "sterile gloves")
    yield Part("technique.sterile_field", True, "sterile field")
    yield Part("extension_primed", True, "extension primed with saline and clamped")


def _skin(scene: Scene, open_: Open) -> Iterator[Part]:
    """Spell out what was seen of the skin; seconds of friction and drying are asked, for one letter measured none."""
    yield Part("antisepsis.skin", "dry", "skin dry before")
    yield Part("antisepsis.fully_dry", True, "fully dry at the end")


def _dressing(scene: Scene, open_: Open) -> Iterator[Part]:
    """Spell out what was seen of the dressing; disc and caps are devices, each asked by itself."""
    kind = paths.get(scene.facts, ("dressing", "type"))
    if kind not in ("gauze", "gauze under transparent"):
        yield Part("dressing.site_visible", True, "puncture site in view")
    yield Part("dressing.without_tension", True, "no tension")
    yield Part("dressing.labelled", True, "dated and initialed")


def _flushed(scene: Scene, open_: Open) -> Iterator[Part]:
    yield Part("flushes.0.technique", "push-pause", "push-pause")
    yield Part("flushes.0.resistance", "none", "no resistance")


def _removal(scene: Scene, open_: Open) -> Iterator[Part]:
    yield Part("needle_intact", True, "needle whole")
    yield Part("safety_engaged", True, "safety device locked")
    yield Part("bleeding", "none", "no bleeding")


_DUE: Final = (
    ("needle_change", "needle out", ("needle change",)),
    ("dressing_change", "dressing", ("dressing change",)),
    ("flush", "flush", ("maintenance flush", "idle flush", "flush")),
)


def _due(scene: Scene, open_: Open) -> Iterator[Part]:
    """Spell out the computed times: the nurse says whether these are what she told."""
    for key, what, clocks in _DUE:
        by = next((by for clock in clocks if (by := scene.due_by(clock))), None)
        if by is not None:
            local = by.astimezone(scene.zone)
            yield Part(f"next_due.{key}", written(local), f"{what} by {echo(local, scene.zone)}")


GROUPS: Final[tuple[Group, ...]] = (
    Group("site", "site", "How did the site look?", (
        "site.skin", "site.erythema", "site.swelling", "site.tenderness", "site.drainage", "site.port",
    ), _site),
    Group("technique", "set-up", "How was it kept sterile?", (
        "technique.hand_hygiene", "technique.masks", "technique.sterile_gloves", "technique.sterile_field",
        "extension_primed",
    ), _set_up),
    Group("skin", "skin preparation", "How was the skin prepared?", (
        "antisepsis.skin", "antisepsis.fully_dry",
    ), _skin),
    Group("finish", "dressing", "How was it finished?", (
        "dressing.site_visible", "dressing.without_tension", "dressing.labelled",
    ), _dressing),
    Group("flushing", "flush", "How did the flush go?", (
        "flushes.0.technique", "flushes.0.resistance",
    ), _flushed),
    Group("removal", "removal", "How did the needle come out?", (
        "needle_intact", "safety_engaged", "bleeding",
    ), _removal),
    Group("due", "next due as told", "What did you say is due next?", (
        "next_due.needle_change", "next_due.dressing_change", "next_due.flush",
    ), _due, "something else, each by itself", 1),
)  # fmt: skip
"""Every group, each with the facts that it covers."""
