"""Questions that spell out several facts, so that one letter says them all. Saying nothing never says any of them.

Only what was seen or done as it should be is spelled out: a number, a rating, a drug or a device is asked by itself.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from lda_notes.chart.answers import layout, values
from lda_notes.chart.answers.heard import Heard, Reading, Unclear, Value
from lda_notes.chart.answers.layout import plain_number
from lda_notes.chart.answers.times import Frame, echo, written
from lda_notes.chart.answers.values import Option
from lda_notes.chart.questions.question import AS_WRITTEN, EACH, Leaf, Question, WhyNot
from lda_notes.chart.questions.trial import Scene, allergies
from lda_notes.narrative import phrasing
from lda_notes.problems import Path

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
    kind = layout.get(scene.facts, ("dressing", "type"))
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


_NEEDLE: Final = re.compile(
    r"(\d{1,2})\s*(?:g|ga|gauge)?(?:\s*[,x/]\s*|\s+|(?<=[ga]))"
    r"(?:(\d{1,2}(?:\.\d{1,2})?)\s*(?:mm)?|((?:\d )?\d/[248]|\d?\.?\d{1,3})\s*(?:\"|''|in|inch|inches))",
    re.IGNORECASE | re.ASCII,
)
_INCH_MM: Final = Decimal("25.4")


@dataclass(frozen=True, slots=True)
class Joined:
    """Facts that one answer gives while none of them is said."""

    covers: tuple[str, ...]
    build: Callable[[Scene, Open], Question | None]


# -- the patient --

_IDENTITY: Final = ("identifiers_checked", "allergies_checked")


def _identity(scene: Scene, open_: Open) -> Question | None:
    """Ask whose port this is with the identifiers and the allergies in sight, where they are to be compared."""
    compared, checked = open_.get("identifiers_checked"), open_.get("allergies_checked")
    if compared is None:
        return None
    patient = scene.episode.patient
    born, number = patient.birth_date, patient.identifiers[0].value
    second, shown = ("birth date", phrasing.day(born)) if born else ("record number", number)
    facts: list[tuple[Path, Any]] = [(compared.path, ["name", second])]
    said = f"name and {second} agree: {patient.family_name}, {patient.given_name}, {shown}"
    asks = "Is this the patient?"
    if checked is not None and patient.allergies is not None:
        facts.append((checked.path, True))
        said += f"; allergies checked: {allergies(scene.episode)}"
        asks = "Is this the patient, and did you check the allergies?"
    offered = (Option(AS_WRITTEN, said), Option(EACH, "each by itself"))
    read_compared, _, _ = values.reader(compared.spot, "identifiers_checked")

    def read(text: str, frame: Frame) -> Reading:
        typed = text.strip().casefold()
        if typed == AS_WRITTEN:
            return Heard(tuple(facts), said, "all as written")
        if typed == EACH:
            return Heard((), "each by itself")
        # Words alone: a number would be a choice of a list that is not shown.
        value = Unclear("") if re.search(r"\d", typed) else read_compared(text, frame)
        if isinstance(value, Unclear):
            return Unclear("Type a when all of it is so, e for each by itself.")
        return Heard(((compared.path, value.value),), value.said)

    needs = tuple(leaf.need for leaf in (compared, checked) if leaf is not None)
    explains = tuple(leaf.spot.says for leaf in (compared, checked) if leaf is not None)
    return Question(
        "identity", "identity", asks, read, offered, why_not=compared.why_not,
        covers=tuple(name for name in _IDENTITY if name in open_), needs=needs, explains=explains,
    )  # fmt: skip


# -- the needle --


def _needle(scene: Scene, open_: Open) -> Question | None:
    gauge, length = open_.get("needle.gauge"), open_.get("needle.length_mm")
    if gauge is None or length is None:
        return None

    def read(text: str, _: Frame) -> Reading:
        return Heard((), "each by itself") if text.strip().casefold() == EACH else needle_size(text, ("needle",))

    part = scene.spot(("needle",))
    asks = "Which needle?" if scene.kind == "access" else "Which needle is in?"
    return Question(
        "needle", "needle", f"{asks} Gauge and length in mm, or scan its label.", read,
        hint="such as 20 19",
        why_not=WhyNot(("needle",), part.why_not) if part and part.why_not else WhyNot(gauge.path, "not_assessed"),
        covers=("needle.gauge", "needle.length_mm"),
        needs=(gauge.need, length.need), explains=(gauge.spot.says, length.spot.says), supply=("needle",),
    )  # fmt: skip


def needle_size(text: str, part: Path) -> Heard | Unclear:
    """Read gauge and length of a needle as the facts of ``part``."""
    found = _NEEDLE.fullmatch(" ".join(text.split()))
    if found is None:
        return Unclear("Type the gauge and the length in mm, such as 20 19, or in inches, such as 20 3/4 in.")
    mm = Decimal(found[2]) if found[2] else _inches(found[3])
    if not mm:
        return Unclear("A needle has a length. Type it in mm, such as 20 19.")
    facts = (((*part, "gauge"), int(found[1])), ((*part, "length_mm"), plain_number(mm)))
    return Heard(facts, f"{found[1]} gauge, {phrasing.length(mm)}")


def _inches(text: str) -> Decimal:
    """Return a length typed in inches, such as 3/4, 1 1/4 or 0.75, in whole millimetres as labels round it."""
    whole, _, part = text.rpartition(" ")
    top, slash, bottom = part.partition("/")
    inches = Decimal(whole or 0) + (Decimal(top) / Decimal(bottom) if slash else Decimal(part))
    return (inches * _INCH_MM).quantize(Decimal(1))


# -- the blood --

_BLOOD: Final[dict[str, tuple[str, dict[str, str]]]] = {
    "w": ("present, like whole blood", {"blood_return": "present", "blood_looks": "like whole blood"}),
    "t": ("present, but thin", {"blood_return": "present", "blood_looks": "thin"}),
    "c": ("present, but clotted", {"blood_return": "present", "blood_looks": "clotted"}),
    "s": ("sluggish", {"blood_return": "sluggish"}),
    "n": ("none", {"blood_return": "none"}),
}


def _blood(scene: Scene, open_: Open) -> Question | None:
    leaf = open_.get("blood_return")
    if leaf is None:
        return None
    offered = tuple(Option(key, words) for key, (words, _) in _BLOOD.items())

    def read(text: str, _: Frame) -> Reading:
        if values.ALIASES.get(said := text.strip().casefold(), said) == "present":
            return Heard(((leaf.path, "present"),), "present")
        chosen = values.choose(text, offered)
        if isinstance(chosen, Unclear):
            return chosen
        return Heard(tuple(((key,), value) for key, value in _BLOOD[chosen.key][1].items()), chosen.words)

    return Question(
        "blood", "blood return", "Blood return?", read, offered, why_not=leaf.why_not,
        covers=("blood_return", "blood_looks"), needs=(leaf.need,), explains=(leaf.spot.says,),
    )  # fmt: skip


# -- two numbers in one row --

_NUMBERS: Final = re.compile(r"(\S+)(?:\s*[,/]\s*|\s+)(\S+)")


def _pair(first: str, second: str, name: str, about: str, asks: str, hint: str) -> Joined:
    """Return the question for two numbers that are read off one after the other, each typed as it was."""

    def build(_: Scene, open_: Open) -> Question | None:
        pair = (open_.get(first), open_.get(second))
        if pair[0] is None or pair[1] is None:
            return None
        leaves = (pair[0], pair[1])
        readers = tuple(values.reader(leaf.spot, leaf.name)[0] for leaf in leaves)

        def read(text: str, frame: Frame) -> Reading:
            if text.strip().casefold() == EACH:
                return Heard((), "each by itself")
            found = _NUMBERS.fullmatch(text.strip())
            if found is None:
                return Unclear(f"Type both numbers in this order, {hint}, or e for each by itself.")
            heard = [read_one(one, frame) for read_one, one in zip(readers, found.groups(), strict=True)]
            values: list[Value] = []
            for one in heard:
                if isinstance(one, Unclear):
                    return one
                values.append(one)
            facts = tuple((leaf.path, value.value) for leaf, value in zip(leaves, values, strict=True))
            return Heard(facts, ", ".join(value.said for value in values))

        return Question(
            name, about, asks, read, hint=hint, why_not=leaves[0].why_not or leaves[1].why_not, covers=(first, second),
            needs=tuple(leaf.need for leaf in leaves), explains=tuple(leaf.spot.says for leaf in leaves),
            supply=supply_of(leaves[0].path),
        )  # fmt: skip

    return Joined((first, second), build)


_PAIRS: Final = (
    _pair("antisepsis.scrub_s", "antisepsis.dry_s", "seconds", "friction and drying",
          "Seconds of friction, then of drying?", "such as 40 45"),
    _pair("flushes.0.volume_ml", "flushes.0.syringe_ml", "flushed", "flush and syringe",
          "How many mL were flushed, and how large was the syringe?", "such as 10 10"),
    _pair("lock.units_per_ml", "lock.volume_ml", "locked", "strength and volume of the lock",
          "How many units per mL, and how many mL?", "such as 100 5"),
)  # fmt: skip


# -- flush and lock --

ON_HOLD: Final = "line on hold"
HELD_ASKS: Final = "The line is on hold: "
TRIED: Final = "gentle push-pause flush"
"""The step for blood return that is itself a flush."""
_FLUSH: Final = ("hub_scrub_s", "flushes.0.solution", "flushes.0.technique")


def _flush(scene: Scene, open_: Open) -> Question | None:
    """Ask first whether a line on hold was flushed at all: the one letter that says most says that it was not."""
    flushed = [leaf for name, leaf in open_.items() if name.startswith("flushes.0.")]
    if not flushed or not scene.held:
        return None
    offered = (Option("h", f"no, {ON_HOLD}"), Option(EACH, "it was flushed: each fact by itself"))

    def read(text: str, _: Frame) -> Reading:
        match text.strip().casefold():
            case "h" | "n" | "no" if TRIED in (scene.facts.get("steps_tried") or ()):
                return Unclear(f"You charted that a {TRIED} was tried. Type e and chart that flush.")
            case "h" | "n" | "no":
                return Heard(((("flushes", "not_done"), ON_HOLD),), f"not done: {ON_HOLD}")
            case "e":
                return Heard((), "each by itself")
            case _:
                return Unclear("Type h when none was given, e when it was flushed even so.")

    return Question(
        "flush", "flush", f"{HELD_ASKS}was it flushed even so?", read, offered,
        why_not=next((leaf.why_not for leaf in flushed if leaf.why_not), None),
        covers=tuple(leaf.name for leaf in flushed), needs=tuple(leaf.need for leaf in flushed),
        explains=tuple(leaf.spot.says for leaf in flushed), supply=supply_of(flushed[0].path),
    )  # fmt: skip


_INFUSION: Final = "infusion connected"


def _lock(scene: Scene, open_: Open) -> Question | None:
    leaf = open_.get("lock.drug")
    if leaf is None:
        return None
    held = scene.held
    asks = f"{HELD_ASKS}was it locked even so?" if held else "What is the line locked with?"
    runs = scene.spot(("infusion",)) is not None
    drugs = values.options(leaf.spot.words)
    offered = (
        *((Option("i", "none, an infusion runs"),) if runs and not held else ()),
        *((Option("h", f"none, {ON_HOLD}"),) if held else ()),
        *drugs,
    )

    def read(text: str, _: Frame) -> Reading:
        chosen = values.choose(text, offered)
        if isinstance(chosen, Unclear):
            return chosen
        if chosen.key in ("i", "h"):
            reason = _INFUSION if chosen.key == "i" else ON_HOLD
            return Heard(((("lock", "not_done"), reason),), chosen.words)
        return Heard(((leaf.path, chosen.words),), chosen.words)

    return Question(
        "lock", "lock", asks, read, offered, why_not=leaf.why_not,
        covers=("lock.drug",), needs=(leaf.need,),
        explains=(leaf.spot.says,), supply=("lock",),
    )  # fmt: skip


# -- the anesthetic --


def _anesthetic(scene: Scene, open_: Open) -> Question | None:
    leaf = open_.get("anesthetic.agent")
    if leaf is None:
        return None
    offered = (Option("n", "none used"), *values.options(leaf.spot.words))

    def read(text: str, _: Frame) -> Reading:
        chosen = values.choose(text, offered)
        if isinstance(chosen, Unclear):
            return chosen
        path: Path = ("anesthetic",) if chosen.key == "n" else leaf.path
        facts: tuple[tuple[Path, Any], ...] = ((path, chosen.words),)
        return Heard(facts, chosen.words)

    return Question(
        "anesthetic", "local anesthetic", "What was the skin numbed with?", read, offered, why_not=leaf.why_not,
        covers=("anesthetic.agent",), needs=(leaf.need,), explains=(leaf.spot.says,),
    )  # fmt: skip


JOINED: Final[tuple[Joined, ...]] = (
    Joined(_IDENTITY, _identity),
    Joined(("needle.gauge", "needle.length_mm"), _needle),
    Joined(("blood_return", "blood_looks"), _blood),
    Joined(_FLUSH, _flush),
    Joined(("lock.drug",), _lock),
    Joined(("anesthetic.agent",), _anesthetic),
    *_PAIRS,
)
"""Every question that joins facts, each with the facts that it may give."""


def untouched(covers: tuple[str, ...], scene: Scene) -> bool:
    """Tell whether none of the facts is said."""
    return all(layout.get(scene.facts, layout.parse(name)) is None for name in covers)
