"""Questions whose one answer gives several facts: the needle, the blood, the lock, the anesthetic."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from lda_notes.chart import answers, paths
from lda_notes.chart.answers import Option, plain_number
from lda_notes.chart.groups import HELD_ASKS, ON_HOLD, Open
from lda_notes.chart.heard import Heard, Reading, Unclear
from lda_notes.chart.question import AS_WRITTEN, EACH, Question, WhyNot
from lda_notes.chart.scene import Scene, allergies
from lda_notes.chart.times import Frame
from lda_notes.knowledge.suitability import suits
from lda_notes.narrative import phrasing
from lda_notes.problems import Path

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
    read_compared, _, _ = answers.reader(compared.spot, "identifiers_checked")

    def read(text: str, frame: Frame) -> Reading:
        typed = text.strip().casefold()
        if typed == AS_WRITTEN:
            return Heard(tuple(facts), said, "all as written")
        if typed == EACH:
            return Heard((), "each by itself")
        value = read_compared(text, frame)  # who knows the list by heart need not see it
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
        if text.strip().casefold() == EACH:
            return Heard((), "each by itself")
        found = _NEEDLE.fullmatch(" ".join(text.split()))
        if found is None:
            return Unclear("Type the gauge and the length in mm, such as 20 19, or in inches, such as 20 3/4 in.")
        mm = Decimal(found[2]) if found[2] else _inches(found[3])
        if not mm:
            return Unclear("A needle has a length. Type it in mm, such as 20 19.")
        facts = ((gauge.path, int(found[1])), (length.path, plain_number(mm)))
        return Heard(facts, f"{found[1]} gauge, {phrasing.length(mm)}")

    part = scene.spot(("needle",))
    asks = "Which needle?" if scene.kind == "access" else "Which needle is in?"
    return Question(
        "needle", "needle", f"{asks} Gauge and length in mm, or scan its label.", read,
        hint="such as 20 19",
        why_not=WhyNot(("needle",), part.why_not) if part and part.why_not else WhyNot(gauge.path, "not_assessed"),
        default=_same_needle(scene, open_),
        covers=("needle.gauge", "needle.length_mm"),
        needs=(gauge.need, length.need), explains=(gauge.spot.says, length.spot.says), supply=("needle",),
    )  # fmt: skip


def _inches(text: str) -> Decimal:
    """Return a length typed in inches, such as 3/4, 1 1/4 or 0.75, in whole millimetres as labels round it."""
    whole, _, part = text.rpartition(" ")
    top, slash, bottom = part.partition("/")
    inches = Decimal(whole or 0) + (Decimal(top) / Decimal(bottom) if slash else Decimal(part))
    return (inches * _INCH_MM).quantize(Decimal(1))


_NEEDLE_FACTS: Final = ("needle.gauge", "needle.length_mm", "needle.non_coring", "needle.power_rated")


def _same_needle(scene: Scene, open_: Open) -> Heard | None:
    """Return the last needle put into this septum, with what its label said: the same stock, as a rule."""
    if scene.kind != "access":
        return None
    values = {name: scene.last(open_[name].path, ("access",)) for name in _NEEDLE_FACTS if name in open_}
    gauge, mm = values.get("needle.gauge"), values.get("needle.length_mm")
    if gauge is None or mm is None:
        return None
    facts = tuple((open_[name].path, value) for name, value in values.items() if value is not None)
    said = [f"{gauge} gauge", phrasing.length(Decimal(str(mm)))]
    for name, words in (("needle.non_coring", "non-coring"), ("needle.power_rated", "rated for power injection")):
        if values.get(name) is not None:
            said.append(words if values[name] else f"not {words}")
    return Heard(facts, ", ".join(said) + ", as last time")


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
        if text.strip().casefold() == "present":
            return Heard(((leaf.path, "present"),), "present")
        chosen = answers.choose(text, offered)
        if isinstance(chosen, Unclear):
            return chosen
        return Heard(tuple(((key,), value) for key, value in _BLOOD[chosen.key][1].items()), chosen.words)

    return Question(
        "blood", "blood return", "Blood return?", read, offered, why_not=leaf.why_not,
        covers=("blood_return", "blood_looks"), needs=(leaf.need,), explains=(leaf.spot.says,),
    )  # fmt: skip


# -- the lock --

_INFUSION: Final = "infusion connected"


def _lock(scene: Scene, open_: Open) -> Question | None:
    leaf = open_.get("lock.drug")
    if leaf is None:
        return None
    held = scene.held
    asks = f"{HELD_ASKS}was it locked even so?" if held else "What is the line locked with?"
    usual = None if held else _usual_lock(scene)
    runs = scene.spot(("infusion",)) is not None
    drugs = answers.options(leaf.spot.words)
    offered = (
        *((Option(AS_WRITTEN, usual.said),) if usual else ()),
        *((Option("i", "none, an infusion runs"),) if runs and not held else ()),
        *((Option("h", f"none, {ON_HOLD}"),) if held else ()),
        *drugs,
    )

    def read(text: str, _: Frame) -> Reading:
        chosen = answers.choose(text, offered)
        if isinstance(chosen, Unclear):
            return chosen
        if chosen.key == AS_WRITTEN and usual:
            return usual
        if chosen.key in ("i", "h"):
            reason = _INFUSION if chosen.key == "i" else ON_HOLD
            return Heard(((("lock", "not_done"), reason),), chosen.words)
        return Heard(((leaf.path, chosen.words),), chosen.words)

    return Question(
        "lock", "lock", asks, read, offered, why_not=leaf.why_not,
        covers=("lock.drug", "lock.units_per_ml", "lock.volume_ml"), needs=(leaf.need,),
        explains=(leaf.spot.says,), supply=("lock",),
    )  # fmt: skip


def _usual_lock(scene: Scene) -> Heard | None:
    """Return the last lock on record, else the usual one for an adult; none that an allergy speaks against."""
    if scene.episode.patient.allergies is None:
        return None
    names = ("drug", "units_per_ml", "volume_ml")
    values = {name: scene.last(("lock", name)) for name in names}
    if values["drug"] != "heparin" or None in values.values():
        if scene.child or values["drug"] is not None:
            return None
        limits = ("heparin_lock_strength_units_per_ml", "heparin_lock_ml")
        usual, volume = (plain_number(scene.policy.value(name)) for name in limits)
        values = {"drug": "heparin", "units_per_ml": usual, "volume_ml": volume}
    strength = Decimal(str(values["units_per_ml"]))
    if not suits("lock", "heparin", scene.patient, scene.policy, units_per_ml=strength).plain:
        return None
    said = (
        f"heparin {phrasing.quantity(Decimal(str(values['units_per_ml'])), 'units')} per mL, "
        f"{phrasing.quantity(Decimal(str(values['volume_ml'])), 'mL')}"
    )
    return Heard(tuple((("lock", name), values[name]) for name in names), said)


# -- the anesthetic --


def _anesthetic(scene: Scene, open_: Open) -> Question | None:
    leaf = open_.get("anesthetic.agent")
    if leaf is None:
        return None
    offered = (Option("n", "none used"), *answers.options(leaf.spot.words))

    def read(text: str, _: Frame) -> Reading:
        chosen = answers.choose(text, offered)
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
    Joined(_NEEDLE_FACTS, _needle),
    Joined(("blood_return", "blood_looks"), _blood),
    Joined(("lock.drug", "lock.units_per_ml", "lock.volume_ml"), _lock),
    Joined(("anesthetic.agent",), _anesthetic),
)
"""Every question that joins facts, each with the facts that it may give."""


def untouched(covers: tuple[str, ...], scene: Scene) -> bool:
    """Tell whether none of the facts is said."""
    return all(paths.get(scene.facts, paths.parse(name)) is None for name in covers)
