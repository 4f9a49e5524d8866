"""Questions that write several facts out as they should be: one letter says all of them, or each is asked by itself.

Only what was seen or done is spelled out: a number, a rating, a drug or a device is asked for.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from lda_notes.chart.answers import layout, values
from lda_notes.chart.answers.heard import Heard, Reading, Unclear
from lda_notes.chart.answers.times import Frame, echo, written
from lda_notes.chart.answers.values import Option
from lda_notes.chart.questions.question import AS_WRITTEN, EACH, Leaf, Question, WhyNot
from lda_notes.chart.questions.trial import Situation
from lda_notes.problems import Path
from lda_notes.record.synonyms import SAID

Open = Mapping[str, Leaf]
"""The facts that are asked of an event and not said yet, by dotted path."""

Build = Callable[[Situation, Open], Question | None]
Read = Callable[[str, Frame], Reading]

SUPPLIES: Final = frozenset({"needle", "dressing", "antisepsis", "lock", "flushes"})
"""Parts that come out of a package with a label."""

EACH_BY_ITSELF: Final = "each by itself"


@dataclass(frozen=True, slots=True)
class Together:
    """Facts that one question gives while none of them is said; without a question they are asked one by one."""

    covers: tuple[str, ...]
    build: Build


def asking(
    leaves: Sequence[Leaf],
    name: str,
    about: str,
    asks: str,
    read: Read,
    options: tuple[Option, ...] = (),
    hint: str = "",
    why_not: WhyNot | None = None,
    covers: tuple[str, ...] = (),
) -> Question:
    """Return the question for several facts, with what each says of itself."""
    first = leaves[0].path
    return Question(
        name,
        about,
        asks,
        read,
        options,
        hint,
        why_not,
        covers=covers or tuple(leaf.name for leaf in leaves),
        needs=tuple(leaf.need for leaf in leaves),
        explains=tuple(leaf.spot.says for leaf in leaves),
        supply=first[:-1] if first[0] in SUPPLIES else None,
    )


ALL_SO: Final = frozenset({AS_WRITTEN, "ok", "okay", "all", "all ok", "all so", "as written", "all as written", "wnl"})
"""The answer that all of it is as written."""

Part = tuple[str, Any, str]
"""A fact by its dotted path, what it is as it should be, and how that is written in the question."""


def _spelled(
    name: str, about: str, asks: str, covers: tuple[str, ...], parts: Callable[[Situation], Sequence[Part]],
    others: str = EACH_BY_ITSELF, least: int = 2,
) -> Together:  # fmt: skip
    """Return the question that writes facts out; fewer than ``least`` of them are asked one by one."""

    def build(situation: Situation, open_: Open) -> Question | None:
        leaves = {name: leaf for name, leaf in open_.items() if name in covers}
        spelled = [(leaves[fact], value, said) for fact, value, said in parts(situation) if fact in leaves]
        if len(spelled) < least:
            return None
        said = ", ".join(said for _, _, said in spelled)
        facts = tuple((leaf.path, value) for leaf, value, _ in spelled)
        offered = (Option(AS_WRITTEN, said), Option(EACH, others))

        def read(text: str, _: Frame) -> Reading:
            match " ".join(text.split()).casefold():
                case typed if typed in ALL_SO:
                    return Heard(facts, said, "all as written")
                case "e" | "each":
                    return Heard((), others)
                case typed:
                    some = _some_of(typed, spelled)
                    return some or Unclear(f"Type a if all of it applies, e for {others}.")

        reasons = (leaf.why_not for leaf in leaves.values() if leaf.why_not and leaf.why_not.path != leaf.path)
        return asking(list(leaves.values()), name, about, asks, read, offered, why_not=next(reasons, None))

    return Together(covers, build)


_NO: Final = ("no ", "not ")


def _some_of(typed: str, spelled: Sequence[tuple[Leaf, Any, str]]) -> Heard | None:
    """Return the facts that words name: as written, by their own words, or as a trouble where none is written.

    The others are asked one by one. None where a word means none of them, or may mean several.
    """
    facts: dict[Path, tuple[Any, str]] = {}
    for word in re.split(r"\s*(?:,|;|\band\b)\s*", typed):
        meant = {leaf.path: one for leaf, value, said in spelled if (one := _meant(word, leaf, value, said))}
        if len(meant) != 1 or meant.keys() & facts.keys():
            return None
        facts.update(meant)
    return Heard(
        tuple((path, value) for path, (value, _) in facts.items()), ", ".join(said for _, said in facts.values())
    )


def _meant(word: str, leaf: Leaf, value: Any, said: str) -> tuple[Any, str] | None:
    """Return what a word says of one of the facts that are written out."""
    if word == said:
        return value, said
    for no in _NO:
        if said.startswith(no) and word in (rest := said.removeprefix(no), *SAID.get(rest, ())):
            return ("present", rest) if "present" in leaf.spot.words else None
    chosen = values.choose(word, values.options(leaf.spot.words)) if len(word) > 2 and leaf.spot.words else None
    return (chosen.words, f"{leaf.spot.title}: {chosen.words}") if isinstance(chosen, Option) else None


def _plain(name: str, about: str, asks: str, *parts: Part) -> Together:
    return _spelled(name, about, asks, tuple(fact for fact, _, _ in parts), lambda _: parts)


DRESSED: Final[tuple[Part, ...]] = (
    ("dressing.site_visible", True, "puncture site in view"),
    ("dressing.without_tension", True, "no tension"),
    ("dressing.labelled", True, "dated and initialed"),
)
"""Facts seen of the dressing; disc and caps are devices, each asked by itself."""


def _dressed(situation: Situation) -> Sequence[Part]:
    gauze = layout.get(situation.facts, ("dressing", "type")) in ("gauze", "gauze under transparent")
    return DRESSED[1:] if gauze else DRESSED


_DUE: Final = (
    ("needle_change", "needle out", ("needle change",)),
    ("dressing_change", "dressing", ("dressing change",)),
    ("flush", "flush", ("maintenance flush", "idle flush", "flush")),
)


def _due(situation: Situation) -> Sequence[Part]:
    """Spell out the computed times: the nurse says whether these are the times she gave."""
    return tuple(_due_parts(situation))


def _due_parts(situation: Situation) -> Iterator[Part]:
    for key, what, clocks in _DUE:
        by = next((by for clock in clocks if (by := situation.due_by(clock))), None)
        if by is not None:
            local = by.astimezone(situation.zone)
            yield f"next_due.{key}", written(local), f"{what} by {echo(local, situation.zone)}"


SPELLED: Final = (
    _plain("site", "site", "How did the site look?",
           ("site.skin", "intact", "skin intact"),
           ("site.erythema", "none", "no redness"),
           ("site.swelling", "none", "no swelling"),
           ("site.tenderness", "none", "not tender"),
           ("site.drainage", "none", "no drainage"),
           ("site.port", "stable", "port stable")),
    _plain("technique", "set-up", "How was it kept sterile?",
           ("technique.hand_hygiene", True, "hand hygiene"),
           ("technique.masks", True, "masks on all present"),
           ("technique.sterile_gloves", True, "sterile gloves"),
           ("technique.sterile_field", True, "sterile field"),
           ("extension_primed", True, "extension primed with saline and clamped")),
    _plain("skin", "skin preparation", "How was the skin prepared?",
           ("antisepsis.skin", "dry", "skin dry before"),
           ("antisepsis.fully_dry", True, "fully dry at the end")),
    _spelled("finish", "dressing", "How was it finished?", tuple(fact for fact, _, _ in DRESSED), _dressed),
    _plain("flushing", "flush", "How did the flush go?",
           ("flushes.0.technique", "push-pause", "push-pause"),
           ("flushes.0.resistance", "none", "no resistance")),
    _plain("removal", "removal", "How did the needle come out?",
           ("needle_intact", True, "needle whole"),
           ("safety_engaged", True, "safety device locked"),
           ("bleeding", "none", "no bleeding")),
    _spelled("due", "next due as told", "What did you say is due next?",
             tuple(f"next_due.{key}" for key, _, _ in _DUE), _due, "something else, each by itself", 1),
)  # fmt: skip
"""Facts seen or done as they should be. A fact's own declaration says how it is asked, and not what is usual: that
these may be said in one letter, and that no number, drug or device may, is decided here."""
