"""Kits: what a nurse uses every time, kept by herself under names of her own and offered for every patient.

Her last words of a reason and of what was taught are kept beside them and offered as a pick.

A kit has supplies and what is taught: no drug, no strength, no order, nothing of a patient, no measured number. What
does not suit the patient is left out of it and asked as usual.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from lda_notes.chart.answers import layout
from lda_notes.chart.answers.heard import Heard, Reading, Unclear
from lda_notes.chart.answers.times import Frame
from lda_notes.chart.answers.values import Option, choose
from lda_notes.chart.questions.question import Question
from lda_notes.chart.questions.trial import Situation
from lda_notes.files.output import write_private
from lda_notes.files.system import own_folder
from lda_notes.knowledge import suitability
from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.suitability import Subject
from lda_notes.narrative import phrasing
from lda_notes.problems import Failure
from lda_notes.problems import Path as FactPath

Kit = Mapping[str, Any]
"""Facts by dotted name, with what they are in the record's words."""

_SAID: Final[Mapping[str, str]] = {
    "antisepsis.agent": "{}",
    "needle.gauge": "{} gauge",
    "needle.length_mm": "{} mm",
    "needle.non_coring": "non-coring needle",
    "needle.power_rated": "rated for power injection",
    "flushes.0.syringe_ml": "{} mL saline syringe",
    "dressing.type": "{} dressing",
    "dressing.chlorhexidine_disc": "chlorhexidine disc",
    "dressing.securement": "secured with {}",
    "cover": "cover: {}",
    "teaching.about": "taught: {}",
    "teaching.to": "to {}",
}
"""The contents that a kit may have, and their names. Of flushes only plain saline, which the syringe stands for."""

_SALINE: Final = "0.9% sodium chloride"
QUESTION: Final = "kit"


def place(environment: Mapping[str, str]) -> Path:
    """Return the file of kits: under XDG_CONFIG_HOME, else under .config in the home folder."""
    return own_folder(environment, "XDG_CONFIG_HOME", ".config", "kits") / "kits.json"


def load(at: Path, who: str = "") -> dict[str, Kit]:
    """Return the kits kept there by name: those of the login, or on a shared one those of ``who``.

    Raises `Failure` for a file that is no list.
    """
    return _kits(_kept(at), who)


def _kits(kept: Mapping[str, Any], who: str) -> dict[str, Kit]:
    kits = kept["kits_of"].get(who, {}) if who else kept["kits"]
    return {str(name): {key: kit[key] for key in _SAID if key in kit} for name, kit in kits.items()}


def keep(at: Path, name: str, kit: Kit, who: str = "") -> None:
    """Keep a kit under a name, in place of one of the same name, readable by its owner alone."""
    kept = _kept(at)
    kits = {**_kits(kept, who), name: dict(kit)}
    _write(at, {**kept, **({"kits_of": {**kept["kits_of"], who: kits}} if who else {"kits": kits})})


def _kept(at: Path) -> dict[str, Any]:
    """Return what is kept there, each part under its key."""
    try:
        data = json.loads(at.read_bytes())
        kept = {key: dict(data["kits"] if key == "kits" else data.get(key, {})) for key in _PARTS}
        for kit in (*kept["kits"].values(), *(one for kits in kept["kits_of"].values() for one in kits.values())):
            kit.keys()
        return kept
    except FileNotFoundError:
        return {key: {} for key in _PARTS}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        raise Failure(f"{at}: your kits cannot be read; fix the file or remove it") from None


_PARTS: Final = ("kits", "kits_of", "last", "signers")


def _write(at: Path, kept: Mapping[str, Any]) -> None:
    at.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    write_private(at, json.dumps({"version": 1, **kept}, ensure_ascii=False, indent=1).encode())


_WORDS: Final = ("reason", "teaching.about")
"""Facts in words of her own that she writes much the same for every patient."""


def last_words(at: Path) -> dict[str, dict[str, str]]:
    """Return reason and teaching of the last entry of each kind, such as ``access reason``, by who signed it here.

    Raises `Failure` as `load` does.
    """
    try:
        kept = _kept(at)["last"]
        return {str(who): {str(name): str(words) for name, words in said.items()} for who, said in kept.items()}
    except (AttributeError, TypeError):
        raise Failure(f"{at}: your kits cannot be read; fix the file or remove it") from None


def signers(at: Path) -> tuple[Mapping[str, Any], ...]:
    """Return who signed on this login, in order of the names. Raises `Failure` as `load` does."""
    return tuple(dict(by) for _, by in sorted(_kept(at)["signers"].items()))


def remember(at: Path, entry: Mapping[str, Any], patient: tuple[str, ...]) -> None:
    """Keep who signed an entry, and its reason and teaching as her last words, none of them about the ``patient``.

    Words with a number, or with one of the patient's names, may be of this patient alone.
    """
    events = entry.get("events", (entry,))
    by = events[0].get("by") or {}
    who = str(by.get("name") or "")
    said = {
        f"{event['kind']} {name}": words
        for event in events
        for name in _WORDS
        if "of" not in event  # the reason of a correction is of that entry alone
        and isinstance(words := layout.get(event, layout.parse(name)), str)
        and _anybodys(words, patient)
    }
    if not who:
        return
    kept, last = _kept(at), last_words(at)
    last |= {who: {**last.get(who, {}), **said}} if said else {}
    new = {**kept, "last": last, "signers": {**kept["signers"], who: dict(by)}}
    if new != kept:
        _write(at, new)


def _anybodys(words: str, patient: tuple[str, ...]) -> bool:
    said = words.casefold()
    return not any(sign.isdigit() for sign in said) and not any(name.casefold() in said for name in patient)


def picked(question: Question, words: str) -> Question:
    """Return a question in one's own words with the last words as its pick."""
    offered = (Option("1", words),)
    facts = ((layout.parse(question.name), words),)

    def read(text: str, frame: Frame) -> Reading:
        return Heard(facts, words) if text.strip() == "1" else question.read(text, frame)

    return replace(question, read=read, options=offered, hint="or your own words")


def of_entry(entry: Mapping[str, Any]) -> Kit:
    """Return what a kit keeps of an entry, or of the entries of a visit."""
    kit: dict[str, Any] = {}
    for event in entry.get("events", (entry,)):
        for name in _SAID:
            value = layout.get(event, layout.parse(name))
            if value is not None and not isinstance(value, dict | list) and name not in kit:
                kit[name] = value
        if layout.get(event, ("flushes", 0, "solution")) not in (None, _SALINE):
            kit.pop("flushes.0.syringe_ml", None)
    return {name: value for name, value in kit.items() if value is not False}


def said(kit: Kit) -> str:
    """Return a kit in words."""
    return ", ".join(words.format(kit[name]) for name, words in _SAID.items() if name in kit) or "nothing"


def unsuited(kit: Kit, who: Subject, allergies_known: bool, policy: Policy) -> Iterator[tuple[str, str]]:
    """Yield the name of each fact of a kit that does not suit the patient, and why."""
    for name, use in (("antisepsis.agent", "antiseptic"), ("dressing.type", "dressing"), ("cover", "dressing")):
        if name in kit:
            answer = suitability.suits(use, str(kit[name]), who, policy)  # type: ignore[arg-type]  # one of the uses, by the table
            if not allergies_known:
                yield name, "allergies are not recorded"
            elif not answer.plain:
                yield name, phrasing.listed([objection.why for objection in answer.objections])
    if "dressing.chlorhexidine_disc" in kit and not (allergies_known and suitability.disc_suits(who, policy)):
        yield "dressing.chlorhexidine_disc", "it does not suit this patient"


Places = Callable[[str], tuple[FactPath, ...]]
"""Tells where in what is charted the fact of a name goes; nowhere where it is not asked."""


def asked(
    kits: Mapping[str, Kit], answered: frozenset[str], situation: Situation, places: Places
) -> Iterator[Question]:
    """Yield the question which kit was used, unless it is answered or none has anything that is asked here."""
    if QUESTION in answered:
        return
    allergies_known = situation.line.patient_at(situation.at).allergies is not None
    offered: dict[str, tuple[Option, Heard]] = {}
    for name, kit in kits.items():
        wrong = dict(unsuited(kit, situation.patient, allergies_known, situation.policy))
        fits = {
            key: value
            for key, value in kit.items()
            if key not in wrong and places(key) and not (situation.held and key.startswith("flushes."))
        }  # whether a line on hold was flushed at all is asked
        if not fits:
            continue
        left = [f"NOT {_SAID[key].format(kit[key])} ({why})" for key, why in wrong.items() if places(key)]
        words = f"{name}: {'; '.join((said(fits), *left))}"
        facts = [(path, value) for key, value in fits.items() for path in places(key)]
        if "flushes.0.syringe_ml" in fits:
            facts += [((*path[:-1], "solution"), _SALINE) for path in places("flushes.0.syringe_ml")]
        key = str(len(offered) + 1)
        offered[key] = Option(key, words), Heard(tuple(facts), words, f"{name}, as written")
    if not offered:
        return
    options = (*(option for option, _ in offered.values()), Option("n", "none of these"))

    def read(text: str, _: Frame) -> Reading:
        typed = text.strip().casefold()
        named = [key for key, (option, _) in offered.items() if option.words.casefold().startswith(typed)]
        plain = typed in {"", "no", "none", *(option.key for option in options)}  # never a kit whose name begins so
        chosen = choose(named[0] if len(named) == 1 and not plain else text, options)
        if isinstance(chosen, Unclear):
            return chosen
        return Heard((), "none") if chosen.key == "n" else offered[chosen.key][1]

    yield Question(
        QUESTION, QUESTION, "Was it one of your kits? Its contents are charted as used.", read, options,
        explains=("Kits are private to you. To keep what an entry used as a kit, type k and a name when you sign.",),
    )  # fmt: skip
