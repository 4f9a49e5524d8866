"""Reads one answer as a value of the sort that the fact takes: a choice, a number, a time, a person, text."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final, assert_never

from lda_notes.chart.answers import times
from lda_notes.chart.answers.heard import Heard, Unclear, Value
from lda_notes.chart.answers.layout import Spot, plain_number
from lda_notes.chart.answers.times import Frame
from lda_notes.knowledge import supplies
from lda_notes.knowledge.supplies import ScanFault
from lda_notes.narrative import phrasing
from lda_notes.problems import Path
from lda_notes.record.synonyms import means

Read = Callable[[str, Frame], Value | Unclear]

RESERVED: Final = frozenset("ae?<>.-+=")
"""Keys that mean something at every question and so never stand for a choice: as written, each by itself, commands."""

_NUMBER: Final = re.compile(r"(\d{0,6}(?:\.\d{1,4})?)\s*((?:[A-Za-z\"'/][A-Za-z0-9\"'/ ]*)?)", re.ASCII)
_COMMA: Final = re.compile(r"\d+,\d{1,2}", re.ASCII)
_LONGEST: Final = 4000


@dataclass(frozen=True, slots=True)
class Option:
    """A choice as it is offered: the key to type and the words that it stands for."""

    key: str
    words: str


def options(words: Sequence[str]) -> tuple[Option, ...]:
    """Give each choice a key: its first letter where all differ, else its number."""
    letters = [phrasing.printed(word)[0].casefold() for word in words]
    if len(set(letters)) == len(letters) and all(letter.isalpha() and letter not in RESERVED for letter in letters):
        return tuple(Option(letter, word) for letter, word in zip(letters, words, strict=True))
    return tuple(Option(str(number), word) for number, word in enumerate(words, 1))


_WORD: Final = 3
"""Letters that may be a word by themselves, looked for inside the choices too."""


def choose(text: str, offered: Sequence[Option]) -> Option | Unclear:
    """Return the choice that ``text`` means: its key, its words, a word that nurses use for it, or its beginning.

    A beginning of one choice that is a word of another means neither: iodine is in povidone-iodine too.
    """
    said = " ".join(text.split()).casefold()
    if said in ("y", "yes") and [option.words for option in offered] == ["none", "present"]:
        return offered[1]  # the answer to "Is there redness?"; no is the beginning of none
    for option in offered:
        if said in (option.key, option.words.casefold()):
            return option
    close = _close(said, offered)
    for meant in means(said, [option.words for option in offered]):
        exact = [one for one in offered if one.words.casefold() == meant]
        close += [one for one in exact or _close(meant, offered) if one not in close]
    if len(close) == 1:
        return close[0]
    if len(close) > 1:
        return Unclear(f"That could be {phrasing.listed([option.words for option in close], 'or')}.")
    asks = "One at a time. Type" if "," in said else "Type"
    if len(offered) > _FEW:
        return Unclear(f"{asks} {offered[0].key} to {offered[-1].key} from the list, or its words.")
    return Unclear(f"{asks} {phrasing.listed([option.key for option in offered], 'or')}.")


_FEW: Final = 8
"""Choices whose keys are all named where none of them was typed."""


def _close(said: str, offered: Sequence[Option]) -> list[Option]:
    """Return the choices that begin with what was typed, or contain it as a word."""
    if not said or said in RESERVED:  # a letter with a meaning of its own is no beginning of a word
        return []
    words = re.compile(rf"(?<![a-z0-9]){re.escape(said)}(?![a-z0-9])")
    whole = len(said) >= _WORD and not said.isdigit()
    return [
        one
        for one in offered
        if one.words.casefold().startswith(said) or (whole and words.search(one.words.casefold()))
    ]


def reader(spot: Spot, key: str) -> tuple[Read, tuple[Option, ...], str]:
    """Return how a fact's answer is read, the choices offered, and a hint on how it is typed.

    ``key`` is the fact's key, whose ending names the unit.
    """
    if spot.sort is None:
        raise ValueError(f"{spot.title} is a part, not one fact")
    match spot.sort:
        case "choice":
            offered = options(spot.words)
            return (lambda text, _: _one(text, offered)), offered, ""
        case "several":
            offered = options(spot.words)
            return (lambda text, _: several(text, offered)), offered, _sample(offered)
        case "yes or no":
            return (lambda text, _: _yes_or_no(text)), (Option("y", "yes"), Option("n", "no")), ""
        case "time" if spot.day_alone:
            return _time_or_day, (), f"{times.HINT}, or the day alone"
        case "time":
            return _time, (), times.HINT
        case "day":
            return _day, (), times.DATE_HINT
        case "number":
            return (lambda text, _: _number(text, False, unit_of(key))), (), ""
        case "whole number":
            return (lambda text, _: _number(text, True, unit_of(key))), (), ""
        case "text":
            return (lambda text, _: _text(text)), (), ""
        case "texts":
            return (lambda text, _: _texts(text)), (), "separated by commas"
        case "person":
            return (lambda text, _: person(text)), (), "name, role; a staff identifier may follow"
        case _:
            assert_never(spot.sort)


def _one(text: str, offered: tuple[Option, ...]) -> Value | Unclear:
    chosen = choose(text, offered)
    return chosen if isinstance(chosen, Unclear) else Value(chosen.words, phrasing.printed(chosen.words))


def _sample(offered: tuple[Option, ...]) -> str:
    first, second = offered[1:3] if len(offered) > 2 else offered  # the first may exclude the others: intact
    return f"one or more, such as {first.key}{second.key} for {first.words} and {second.words}"


def several(text: str, offered: tuple[Option, ...]) -> Value | Unclear:
    """Return every choice that ``text`` names."""
    said = text.strip().casefold()
    keys = {option.key: option for option in offered}
    initials = [option.words[0].casefold() for option in offered]
    alone = [letter for letter in initials if initials.count(letter) == 1 and letter not in RESERVED]
    keys.update({letter: offered[initials.index(letter)] for letter in alone})
    # Keys and first letters are one sign each, so that several may be run together: nb, 1 2, 1,2.
    run = re.sub(r"[\s,]+", "", said)
    if run and all(sign in keys for sign in run):
        chosen = [keys[sign] for sign in run]
    else:
        chosen = []
        for part in re.split(r"\s*(?:,|;|\band\b)\s*", said):
            one = choose(part, offered)
            if isinstance(one, Unclear):
                return one
            chosen.append(one)
    words = list(dict.fromkeys(option.words for option in chosen))
    return Value(words, phrasing.listed(words))


def _yes_or_no(text: str) -> Value | Unclear:
    match text.strip().casefold():
        case "y" | "yes":
            return Value(True, "yes")
        case "n" | "no":
            return Value(False, "no")
        case _:
            return Unclear("Type y for yes or n for no.")


def _time(text: str, frame: Frame) -> Value | Unclear:
    moment = times.read(text, frame)
    if isinstance(moment, Unclear):
        return moment
    other = times.other_date(times.day_of(text), frame.calendar)
    past = other is not None and other <= frame.calendar.today
    doubt = f"Is that {phrasing.day(moment.date())}, not {phrasing.day(other)}?" if other and past else ""
    if times.turned_back(text, moment, frame):
        doubt = f"Was it the day before, {times.echo(moment, frame.zone)}?"
    return Value(times.written(moment), times.echo(moment, frame.zone), doubt)


def _time_or_day(text: str, frame: Frame) -> Value | Unclear:
    """Read a time, or a date alone as a label carries it: then the record says that the hour is not known."""
    moment = _time(text, frame)
    day = _day(text, frame) if isinstance(moment, Unclear) else moment
    if isinstance(day, Unclear) or day is moment:
        return moment
    if date.fromisoformat(day.value) > frame.now.astimezone(frame.zone).date():
        return Unclear(f"{day.said} is in the future. Type the day again.")
    return Value(day.value, f"{day.said}, hour not known", day.doubt)


def _day(text: str, frame: Frame) -> Value | Unclear:
    """Read a date; where day and month could be swapped, it is asked back."""
    day = times.last_of_month(text) or times.read_date(text, frame.calendar)
    if isinstance(day, Unclear):
        return day
    other = times.other_date(text, frame.calendar)
    doubt = f"Is that {phrasing.day(day)}, not {phrasing.day(other)}?" if other else ""
    return Value(day.isoformat(), phrasing.day(day), doubt)


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as it is said, and how often each spelling of it, or of a larger one, goes into it."""

    said: str
    typed: Mapping[str, int]


def _unit(said: str, *typed: str, **larger: int) -> Unit:
    return Unit(said, {said.casefold(): 1, **dict.fromkeys(typed, 1), **larger})


UNITS: Final[Mapping[str, Unit]] = {
    "units_per_ml": _unit("units per mL", "units/ml", "unit/ml"),
    "ml_per_s": _unit("mL per second", "ml/s"),
    "dose_units": _unit("units", "unit"),
    "_ml": _unit("mL", "mls"),
    "_mm": _unit("mm", cm=10),
    "_cm2": _unit("square cm", "cm2"),
    "_mg": _unit("mg"),
    "_kg": _unit("kg"),
    "_g": _unit("g"),
    "_psi": _unit("psi"),
    "_s": _unit("seconds", "s", "sec", "second", m=60, min=60, minutes=60, minute=60),
    "gauge": _unit("gauge", "g"),
}
"""The unit of a fact by the ending of its key, the longer endings first."""


def unit_of(key: str) -> Unit | None:
    """Return the unit that a fact's key names; None for a plain count."""
    return next((unit for ending, unit in UNITS.items() if key.endswith(ending)), None)


def _number(text: str, whole: bool, unit: Unit | None) -> Value | Unclear:
    said = " ".join(text.strip().split())
    if _COMMA.fullmatch(said):
        return Unclear(f"Write the number with a point: {said.replace(',', '.')}.")
    found = _NUMBER.fullmatch(said)
    if found is None or not found[1]:
        return Unclear("Type a whole number." if whole else "Type a number, such as 10 or 0.5.")
    if re.match(r"0\d", found[1]):
        return Unclear(
            f"A number does not begin with 0; {found[1]} looks like a time or a code. Type the number alone."
        )
    typed = found[2].casefold()
    factor = 1 if not typed else unit.typed.get(typed) if unit else None
    if factor is None:
        return Unclear(
            f'"{found[2]}" is not what is asked for. Type the number alone{f", in {unit.said}" if unit else ""}.'
        )
    value = Decimal(found[1]) * factor
    if whole and value != value.to_integral_value():
        return Unclear("Type a whole number.")
    spoken = phrasing.quantity(value, unit.said) if unit and unit.said != "gauge" else phrasing.number(value)
    return Value(plain_number(value), f"{spoken} gauge" if unit and unit.said == "gauge" else spoken)


def _text(text: str) -> Value | Unclear:
    said = " ".join(text.split())
    if not said:
        return Unclear("Type some words.")
    if len(said) > _LONGEST:
        return Unclear(f"That is too long: {len(said)} characters; at most {_LONGEST} are allowed.")
    return Value(said, said)


def _texts(text: str) -> Value | Unclear:
    parts = [part.strip() for part in text.split(",") if part.strip()]
    return Value(parts, phrasing.listed(parts)) if parts else Unclear("Type some words.")


_NO_NAME: Final = frozenset({"me", "i", "myself", "self", "y", "yes"})
_NOBODY: Final = frozenset({"no one", "noone", "no-one", "nobody", "none", "no", "n", "n/a", "na"})


def person(text: str) -> Value | Unclear:
    """Read a person: name, role, staff identifier, separated by commas; ``new`` marks one new to the procedure."""
    parts = [part.strip() for part in text.split(",") if part.strip()]
    if not parts:
        return Unclear("Type a name and a role, such as: Marisol Tamm, RN.")
    if parts[0].casefold() in _NO_NAME:
        return Unclear("That is not a name. Type a name and a role, such as: Marisol Tamm, RN.")
    if parts[0].casefold() in _NOBODY:
        return Unclear("If it was no one, type . to leave it open. Otherwise type a name and a role.")
    new = len(parts) > 1 and parts[-1].casefold() == "new"
    if new:
        parts.pop()
    if len(parts) > 3:
        return Unclear("Type name, role and staff identifier, separated by commas.")
    found: dict[str, Any] = dict(zip(("name", "credential", "id"), parts, strict=False))
    if new:
        found["new_to_procedure"] = True
    return Value(found, ", ".join(parts) + (", new to the procedure" if new else ""))


_NEEDLE: Final = re.compile(
    r"(\d{1,2})\s*(?:g|ga|gauge)?(?:\s*[,x/]\s*|\s+|(?<=[ga]))"
    r"(?:(\d{1,2}(?:\.\d{1,2})?)\s*(?:mm)?|((?:\d )?\d/[248]|\d?\.?\d{1,3})\s*(?:\"|''|in|inch|inches))",
    re.IGNORECASE | re.ASCII,
)
_INCH_MM: Final = Decimal("25.4")


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
    """Return a length typed in inches, such as 3/4, 1 1/4 or 0.75, in whole millimeters as labels round it."""
    whole, _, part = text.rpartition(" ")
    top, slash, bottom = part.partition("/")
    inches = Decimal(whole or 0) + (Decimal(top) / Decimal(bottom) if slash else Decimal(part))
    return (inches * _INCH_MM).quantize(Decimal(1))


_LABEL: Final = re.compile(r"(?:\][A-Za-z]\d)?(?:[({]\d{2,4}[)}]|\*?\+(?=.*[A-Z])[A-Z0-9].{5,}|=[/,>]|\d{16,})")


def looks_like_label(text: str) -> bool:
    """Return whether a text begins as a device identifier does, so that it is no answer and no command."""
    return bool(_LABEL.match(text.strip()))


def read_label(text: str, part: Path, frame: Frame, takes: Callable[[Path], bool]) -> Heard | Unclear:
    """Return the facts that a label gives about ``part``; ``takes`` says which facts the part can contain.

    An expired label is read and says so: if the supply was used, that is a fact; a label that cannot be read is not.
    """
    here = frame.now.astimezone(frame.zone)
    label = supplies.parse(text, here.date())
    if isinstance(label, ScanFault):
        return Unclear(f"The label was not read. {label.message} {label.todo}")
    found: list[tuple[str, Any]] = [("udi", label.carrier), ("lot", label.lot)]
    found.append(("expires", label.expires.isoformat() if label.expires else None))
    # What the label does not carry is taken out: it would be left from another label scanned before.
    facts = tuple(((*part, key), value) for key, value in found if takes((*part, key)))
    if all(value is None for _, value in facts):
        return Unclear("That label contains nothing that is recorded about this supply. Answer the question.")
    said = [f"product {label.device}"]
    said.append(f"lot {label.lot}" if label.lot else "no lot on it")
    if label.expires is None:
        said.append("no expiry on it")
    elif label.expired(here):
        said.append(f"EXPIRED on {phrasing.day(label.expires)}: do not use it")
    else:
        said.append(f"usable until {phrasing.day(label.expires)}")
    return Heard(facts, ", ".join((*said, *(note.rstrip(".") for note in label.notes))))
