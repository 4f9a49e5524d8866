"""Questions whose one answer gives several facts. Saying nothing never says any of them.

Only what was seen or done as it should be is spelled out for one letter: a number, a rating, a drug or a device is
asked for.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from lda_notes.chart.answers import layout, values
from lda_notes.chart.answers.heard import Heard, Reading, Unclear, Value
from lda_notes.chart.answers.times import Frame, echo, written
from lda_notes.chart.answers.values import Option
from lda_notes.chart.questions.question import AS_WRITTEN, EACH, Choices, Leaf, Question, WhyNot, chosen_from
from lda_notes.chart.questions.trial import Situation, allergies
from lda_notes.narrative import phrasing
from lda_notes.problems import Path
from lda_notes.record.synonyms import SAID, means

Open = Mapping[str, Leaf]
"""The facts that are asked of an event and not said yet, by dotted path."""

Build = Callable[[Situation, Open], Question | None]
Read = Callable[[str, Frame], Reading]

SUPPLIES: Final = frozenset({"needle", "dressing", "antisepsis", "lock", "flushes"})
"""Parts that come out of a package with a label."""

_EACH_BY_ITSELF: Final = "each by itself"


@dataclass(frozen=True, slots=True)
class Together:
    """Facts that one question gives while none of them is said; without a question they are asked one by one."""

    covers: tuple[str, ...]
    build: Build


def _asked(
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


# -- all as it should be, in one letter --

ALL_SO: Final = frozenset({AS_WRITTEN, "ok", "okay", "all", "all ok", "all so", "as written", "all as written", "wnl"})
"""What says that all of it is as written."""

Part = tuple[str, Any, str]
"""A fact by its dotted path, what it is as it should be, and how that is written in the question."""


def _spelled(
    name: str, about: str, asks: str, covers: tuple[str, ...], parts: Callable[[Situation], Sequence[Part]],
    others: str = _EACH_BY_ITSELF, least: int = 2,
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
                    return some or Unclear(f"Type a when all of it is so, e for {others}.")

        reasons = (leaf.why_not for leaf in leaves.values() if leaf.why_not and leaf.why_not.path != leaf.path)
        return _asked(list(leaves.values()), name, about, asks, read, offered, why_not=next(reasons, None))

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
    return (chosen.words, f"{leaf.spot.title} {chosen.words}") if isinstance(chosen, Option) else None


def _plain(name: str, about: str, asks: str, *parts: Part) -> Together:
    return _spelled(name, about, asks, tuple(fact for fact, _, _ in parts), lambda _: parts)


DRESSED: Final[tuple[Part, ...]] = (
    ("dressing.site_visible", True, "puncture site in view"),
    ("dressing.without_tension", True, "no tension"),
    ("dressing.labelled", True, "dated and initialed"),
)
"""What was seen of the dressing; disc and caps are devices, each asked by itself."""


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
"""What is seen or done as it should be. A fact's own declaration says how it is asked, and not what is usual: that
these may be said in one letter, and that no number, drug or device may, is decided here."""


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
    offered = (Option(AS_WRITTEN, said), Option(EACH, _EACH_BY_ITSELF))
    read_compared, _, _ = values.reader(compared.spot, "identifiers_checked")

    def read(text: str, frame: Frame) -> Reading:
        typed = text.strip().casefold()
        if typed in ALL_SO or typed in ("y", "yes"):
            return Heard(tuple(facts), said, "all as written")
        if typed in (EACH, "each"):
            return Heard((), _EACH_BY_ITSELF)
        # Words alone: a number would be a choice of a list that is not shown.
        value = Unclear("") if re.search(r"\d", typed) else read_compared(text, frame)
        if isinstance(value, Unclear):
            return Unclear("Type a when all of it is so, e for each by itself.")
        return Heard(((compared.path, value.value),), value.said)

    leaves = [leaf for leaf in (compared, checked) if leaf is not None]
    return _asked(leaves, "identity", "identity", asks, read, offered, why_not=compared.why_not)


# -- the needle --


def _needle(situation: Situation, open_: Open) -> Question | None:
    gauge, length = open_.get("needle.gauge"), open_.get("needle.length_mm")
    if gauge is None or length is None:
        return None

    def read(text: str, _: Frame) -> Reading:
        return Heard((), _EACH_BY_ITSELF) if text.strip().casefold() == EACH else values.needle_size(text, ("needle",))

    part = situation.spot(("needle",))
    asks = "Which needle?" if situation.kind == "access" else "Which needle is in?"
    why_not = WhyNot(("needle",), part.why_not) if part and part.why_not else WhyNot(gauge.path, "not_assessed")
    asks = f"{asks} Gauge and length in mm, or scan its label."
    return _asked((gauge, length), "needle", "needle", asks, read, hint="such as 20 19", why_not=why_not)


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
                return Heard((), _EACH_BY_ITSELF)
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

        why_not = leaves[0].why_not or leaves[1].why_not
        return _asked(leaves, name, about, asks, read, hint=hint, why_not=why_not)

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
                return Heard((), _EACH_BY_ITSELF)
            case _:
                return Unclear("Type h when none was given, e when it was flushed even so.")

    asks = f"{HELD_ASKS}was it flushed even so?"
    why_not = next((leaf.why_not for leaf in flushed if leaf.why_not), None)
    return _asked(flushed, "flush", "flush", asks, read, offered, why_not=why_not)


# -- one of several: the blood, the lock, the anesthetic --


def _one_of(
    leaf: Leaf, name: str, about: str, asks: str, choices: Choices, covers: tuple[str, ...] = ()
) -> Question:  # fmt: skip
    offered = tuple(option for option, _ in choices)
    return _asked((leaf,), name, about, asks, chosen_from(choices), offered, why_not=leaf.why_not, covers=covers)


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
    asks = f"{HELD_ASKS}was it locked even so?" if held else "What is the line locked with?"
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
