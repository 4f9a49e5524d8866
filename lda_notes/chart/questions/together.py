"""Questions whose one answer gives several facts. Saying nothing never says any of them."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, Final

from lda_notes.chart.answers import layout, values
from lda_notes.chart.answers.heard import Heard, Reading, Unclear, Value
from lda_notes.chart.answers.times import Frame
from lda_notes.chart.answers.values import Option
from lda_notes.chart.questions.question import AS_WRITTEN, EACH, Choices, Leaf, Question, WhyNot, chosen_from
from lda_notes.chart.questions.spelled import ALL_SO, EACH_BY_ITSELF, SPELLED, Open, Together, asking
from lda_notes.chart.questions.trial import Situation, allergies
from lda_notes.narrative import phrasing
from lda_notes.problems import Path
from lda_notes.record.synonyms import means

# -- the patient --

_IDENTITY: Final = ("identifiers_checked", "allergies_checked")


def _identity(situation: Situation, open_: Open) -> Question | None:
    """Ask whose port this is with the identifiers and the allergies in sight, where they are to be compared."""
    compared, checked = open_.get("identifiers_checked"), open_.get("allergies_checked")
    if compared is None:
        return None
    patient = situation.episode.patient
    born, number = patient.birth_date, patient.identifiers[0].value
    second, shown = ("birth date", phrasing.day(born)) if born else ("record number", number)
    facts: list[tuple[Path, Any]] = [(compared.path, ["name", second])]
    said = f"name and {second} agree: {patient.family_name}, {patient.given_name}, {shown}"
    asks = "Is this the patient?"
    if checked is not None and patient.allergies is not None:
        facts.append((checked.path, True))
        said += f"; allergies checked: {allergies(situation.episode)}"
        asks = "Is this the patient, and did you check the allergies?"
    offered = (Option(AS_WRITTEN, said), Option(EACH, EACH_BY_ITSELF))
    read_compared, _, _ = values.reader(compared.spot, "identifiers_checked")

    def read(text: str, frame: Frame) -> Reading:
        typed = text.strip().casefold()
        if typed in ALL_SO or typed in ("y", "yes"):
            return Heard(tuple(facts), said, "all as written")
        if typed in (EACH, "each"):
            return Heard((), EACH_BY_ITSELF)
        # Words alone: a number would be a choice of a list that is not shown.
        value = Unclear("") if re.search(r"\d", typed) else read_compared(text, frame)
        if isinstance(value, Unclear):
            return Unclear("Type a if all of it applies, e for each by itself.")
        return Heard(((compared.path, value.value),), value.said)

    leaves = [leaf for leaf in (compared, checked) if leaf is not None]
    return asking(leaves, "identity", "identity", asks, read, offered, why_not=compared.why_not)


# -- the needle --


def _needle(situation: Situation, open_: Open) -> Question | None:
    gauge, length = open_.get("needle.gauge"), open_.get("needle.length_mm")
    if gauge is None or length is None:
        return None

    def read(text: str, _: Frame) -> Reading:
        return Heard((), EACH_BY_ITSELF) if text.strip().casefold() == EACH else values.needle_size(text, ("needle",))

    part = situation.spot(("needle",))
    asks = "Which needle?" if situation.kind == "access" else "Which needle is in?"
    why_not = WhyNot(("needle",), part.why_not) if part and part.why_not else WhyNot(gauge.path, "not_assessed")
    asks = f"{asks} Gauge and length in mm, or scan its label."
    return asking((gauge, length), "needle", "needle", asks, read, hint="such as 20 19", why_not=why_not)


# -- two numbers in one row --

_NUMBERS: Final = re.compile(r"(\S+)(?:\s*[,/]\s*|\s+)(\S+)")


def _pair(first: str, second: str, name: str, about: str, asks: str, hint: str) -> Together:
    """Return the question for two numbers that are read off one after the other, each typed as it was."""

    def build(_: Situation, open_: Open) -> Question | None:
        pair = (open_.get(first), open_.get(second))
        if pair[0] is None or pair[1] is None:
            return None
        leaves = (pair[0], pair[1])
        readers = tuple(values.reader(leaf.spot, leaf.name)[0] for leaf in leaves)

        def read(text: str, frame: Frame) -> Reading:
            if text.strip().casefold() == EACH:
                return Heard((), EACH_BY_ITSELF)
            found = _NUMBERS.fullmatch(text.strip())
            if found is None or not all(re.search(r"\d", one) for one in found.groups()):
                return Unclear(f"Type both numbers in this order, {hint}, or e for each by itself.")
            heard = [read_one(one, frame) for read_one, one in zip(readers, found.groups(), strict=True)]
            values: list[Value] = []
            for one in heard:
                if isinstance(one, Unclear):
                    return one
                values.append(one)
            facts = tuple((leaf.path, value.value) for leaf, value in zip(leaves, values, strict=True))
            return Heard(facts, ", ".join(value.said for value in values))

        why_not = leaves[0].why_not or leaves[1].why_not
        return asking(leaves, name, about, asks, read, hint=hint, why_not=why_not)

    return Together((first, second), build)


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


def _flush(situation: Situation, open_: Open) -> Question | None:
    """Ask first whether a line on hold was flushed at all: the one letter that says most says that it was not."""
    flushed = [leaf for name, leaf in open_.items() if name.startswith("flushes.0.")]
    if not flushed or not situation.held:
        return None
    offered = (Option("h", f"no, {ON_HOLD}"), Option(EACH, "it was flushed: each fact by itself"))

    def read(text: str, _: Frame) -> Reading:
        match text.strip().casefold():
            case "h" | "n" | "no" if TRIED in (situation.facts.get("steps_tried") or ()):
                return Unclear(f"You charted that a {TRIED} was tried. Type e and chart that flush.")
            case "h" | "n" | "no":
                return Heard(((("flushes", "not_done"), ON_HOLD),), f"not done: {ON_HOLD}")
            case "e":
                return Heard((), EACH_BY_ITSELF)
            case _:
                return Unclear("Type h if none was given, e if it was flushed anyway.")

    asks = f"{HELD_ASKS}was it flushed anyway?"
    why_not = next((leaf.why_not for leaf in flushed if leaf.why_not), None)
    return asking(flushed, "flush", "flush", asks, read, offered, why_not=why_not)


# -- one of several: the blood, the lock, the anesthetic --


def _one_of(
    leaf: Leaf, name: str, about: str, asks: str, choices: Choices, covers: tuple[str, ...] = ()
) -> Question:  # fmt: skip
    offered = tuple(option for option, _ in choices)
    return asking((leaf,), name, about, asks, chosen_from(choices), offered, why_not=leaf.why_not, covers=covers)


def _choice(key: str, words: str, *facts: tuple[Path, Any]) -> tuple[Option, Heard]:
    return Option(key, words), Heard(facts, words)


def _words_of(leaf: Leaf) -> list[tuple[Option, Heard]]:
    return [_choice(one.key, one.words, (leaf.path, one.words)) for one in values.options(leaf.spot.words)]


_BLOOD: Final = (
    ("w", "present, like whole blood", "present", "like whole blood"),
    ("t", "present, but thin", "present", "thin"),
    ("c", "present, but clotted", "present", "clotted"),
    ("s", "sluggish", "sluggish", None),
    ("n", "none", "none", None),
)


def _blood(_: Situation, open_: Open) -> Question | None:
    leaf = open_.get("blood_return")
    if leaf is None:
        return None
    choices = [
        _choice(key, words, (("blood_return",), back), *(((("blood_looks",), looks),) if looks else ()))
        for key, words, back, looks in _BLOOD
    ]
    whole = _one_of(leaf, "blood", "blood return", "Blood return?", choices, ("blood_return", "blood_looks"))

    def read(text: str, frame: Frame) -> Reading:
        said = text.strip().casefold()
        if said == "present" or "present" in means(said, leaf.spot.words):
            return Heard(((leaf.path, "present"),), "present")
        return whole.read(text, frame)

    return replace(whole, read=read)


_INFUSION: Final = "infusion connected"


def _lock(situation: Situation, open_: Open) -> Question | None:
    leaf = open_.get("lock.drug")
    if leaf is None:
        return None
    held = situation.held
    asks = f"{HELD_ASKS}was it locked anyway?" if held else "What is the line locked with?"
    runs = situation.spot(("infusion",)) is not None and not held
    none: Path = ("lock", "not_done")
    choices = [
        *([_choice("i", "an infusion runs, no lock", (none, _INFUSION))] if runs else []),
        *([_choice("h", f"{ON_HOLD}, no lock", (none, ON_HOLD))] if held else []),
        *_words_of(leaf),
    ]
    return _one_of(leaf, "lock", "lock", asks, choices)


def _anesthetic(_: Situation, open_: Open) -> Question | None:
    leaf = open_.get("anesthetic.agent")
    if leaf is None:
        return None
    choices = [_choice("n", "none used", (("anesthetic",), "none used")), *_words_of(leaf)]
    return _one_of(leaf, "anesthetic", "local anesthetic", "What was the skin numbed with?", choices)


TOGETHER: Final[tuple[Together, ...]] = (
    Together(_IDENTITY, _identity),
    Together(("needle.gauge", "needle.length_mm"), _needle),
    Together(("blood_return", "blood_looks"), _blood),
    Together(_FLUSH, _flush),
    Together(("lock.drug",), _lock),
    Together(("anesthetic.agent",), _anesthetic),
    *_PAIRS,
    *SPELLED,
)
"""Every question that gives several facts, each with the facts that it may give; of a fact in two, the last counts."""


def untouched(covers: tuple[str, ...], situation: Situation) -> bool:
    """Return whether none of the facts is said."""
    return all(layout.get(situation.facts, layout.parse(name)) is None for name in covers)
