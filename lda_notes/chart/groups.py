"""Questions that spell out several facts, so that one letter says them all. Saying nothing never says any of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from lda_notes.chart import paths
from lda_notes.chart.answers import Option, plain_number
from lda_notes.chart.heard import Heard, Reading, Unclear
from lda_notes.chart.leaves import Leaf
from lda_notes.chart.question import AS_WRITTEN, EACH, Question
from lda_notes.chart.scene import Scene
from lda_notes.chart.times import Frame, echo, written
from lda_notes.knowledge.suitability import disc_suits, suits
from lda_notes.narrative import phrasing

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
        if self.name == "flush" and scene.held:
            return _held_flush(open_)
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
            supply=_supply(first.path),
        )


ON_HOLD: Final = "line on hold"
HELD_ASKS: Final = "The line is on hold: "


def _held_flush(open_: Open) -> Question | None:
    """Return the question about a flush of a line on hold: the one letter that says most says that none was given."""
    flushed = [leaf for name, leaf in open_.items() if name.startswith("flushes.")]
    if not flushed:
        return None
    offered = (Option("h", f"no, {ON_HOLD}"), Option(EACH, "it was flushed: each fact by itself"))

    def read(text: str, _: Frame) -> Reading:
        match text.strip().casefold():
            case "h" | "n" | "no":
                return Heard(((("flushes", "not_done"), ON_HOLD),), f"not done: {ON_HOLD}")
            case "e":
                return Heard((), "each by itself")
            case _:
                return Unclear("Type h when none was given, e when it was flushed even so.")

    return Question(
        "flush",
        "flush",
        f"{HELD_ASKS}was it flushed even so?",
        read,
        offered,
        why_not=next((leaf.why_not for leaf in flushed if leaf.why_not), None),
        covers=tuple(leaf.name for leaf in flushed),
        needs=tuple(leaf.need for leaf in flushed),
        explains=tuple(leaf.spot.says for leaf in flushed),
        supply=_supply(flushed[0].path),
    )


def _supply(path: tuple[str | int, ...]) -> tuple[str | int, ...] | None:
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
    yield Part("extension_primed", True, "extension primed and clamped")


_AGENT_LIMITS: Final = {
    "chlorhexidine in alcohol": ("chg_scrub_dry_site_s", "chg_dry_dry_site_s"),
    "70% isopropyl alcohol": ("isopropyl_scrub_s", "isopropyl_dry_s"),
    "povidone-iodine": ("skin_friction_s", "povidone_iodine_dry_s"),
}


def _skin(scene: Scene, open_: Open) -> Iterator[Part]:
    """Spell out dry skin with the shortest times that the policy in force accepts for the agent."""
    limits = _AGENT_LIMITS.get(paths.get(scene.facts, ("antisepsis", "agent")) or "")
    if limits is None:
        return
    friction = max(scene.policy.value(limits[0]), scene.policy.value("skin_friction_s"))
    drying = scene.policy.value(limits[1])
    yield Part("antisepsis.skin", "dry", "skin dry before")
    yield Part("antisepsis.scrub_s", plain_number(friction), f"friction {_seconds(friction)}")
    yield Part("antisepsis.dry_s", plain_number(drying), f"drying {_seconds(drying)}")
    yield Part("antisepsis.fully_dry", True, "fully dry at the end")


def _seconds(value: Decimal) -> str:
    return phrasing.quantity(value, "seconds")


def _needle_label(scene: Scene, open_: Open) -> Iterator[Part]:
    yield Part("needle.non_coring", True, "non-coring")
    yield Part("needle.power_rated", True, "rated for power injection")


def _flush(scene: Scene, open_: Open) -> Iterator[Part]:
    """Spell out the last flush on record, else the least that the policy in force accepts for an adult."""
    scrub = scene.policy.value("hub_scrub_strict_s")
    volume = scene.last(("flushes", 0, "volume_ml"), (scene.kind,))
    if volume is None and not scene.child:
        volume = plain_number(scene.policy.value("flush_ml"))
    if volume is None:
        return
    syringe = plain_number(scene.policy.value("syringe_ml"))
    yield Part("hub_scrub_s", plain_number(scrub), f"connector scrubbed {_seconds(scrub)}")
    amount = phrasing.quantity(Decimal(str(volume)), "mL")
    yield Part("flushes.0.volume_ml", volume, f"{amount} of 0.9% sodium chloride")
    yield Part("flushes.0.solution", "0.9% sodium chloride", "")
    yield Part("flushes.0.syringe_ml", syringe, f"{syringe} mL syringe")
    yield Part("flushes.0.technique", "push-pause", "push-pause")


def _dressing(scene: Scene, open_: Open) -> Iterator[Part]:
    kind = paths.get(scene.facts, ("dressing", "type"))
    if scene.episode.patient.allergies is not None and disc_suits(scene.patient, scene.policy):
        yield Part("dressing.chlorhexidine_disc", True, "chlorhexidine disc in place")
    if kind not in ("gauze", "gauze under transparent"):
        yield Part("dressing.site_visible", True, "puncture site in view")
    yield Part("dressing.without_tension", True, "no tension")
    yield Part("dressing.labelled", True, "dated and initialled")
    known = scene.episode.patient.allergies is not None
    if known and suits("cap", "disinfecting cap", scene.patient, scene.policy).safe:
        yield Part("disinfecting_caps", True, "disinfecting cap on every connector")


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
        "antisepsis.skin", "antisepsis.scrub_s", "antisepsis.dry_s", "antisepsis.fully_dry",
    ), _skin),
    Group("label", "needle's label", "What does the needle's label say?", (
        "needle.non_coring", "needle.power_rated",
    ), _needle_label),
    Group("flush", "flush", "How was it flushed?", (
        "hub_scrub_s", "flushes.0.solution", "flushes.0.volume_ml", "flushes.0.syringe_ml", "flushes.0.technique",
    ), _flush),
    Group("finish", "dressing", "How was it finished?", (
        "dressing.chlorhexidine_disc", "dressing.site_visible", "dressing.without_tension", "dressing.labelled",
        "disinfecting_caps",
    ), _dressing),
    Group("removal", "removal", "How did the needle come out?", (
        "needle_intact", "safety_engaged", "bleeding",
    ), _removal),
    Group("due", "next due as told", "What did you say is due next?", (
        "next_due.needle_change", "next_due.dressing_change", "next_due.flush",
    ), _due, "something else, each by itself", 1),
)  # fmt: skip
"""Every group, each with the facts that it covers."""
