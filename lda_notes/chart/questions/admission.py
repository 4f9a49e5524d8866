"""Questions about patient, stay and port for a new record, and how answers copied from papers are read."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Final, get_args
from zoneinfo import ZoneInfo, available_timezones

from lda_notes.chart.answers import layout, values
from lda_notes.chart.answers.heard import Heard, Reading, Unclear, Value
from lda_notes.chart.answers.times import Frame
from lda_notes.chart.answers.values import Option
from lda_notes.chart.questions.by_name import said_fact
from lda_notes.chart.questions.question import Question, leaf
from lda_notes.check.conditions import Need
from lda_notes.check.needs import EPISODE_NEEDS
from lda_notes.narrative import phrasing
from lda_notes.problems import Path
from lda_notes.record import vocabulary as words
from lda_notes.record.episode import Episode
from lda_notes.record.spelling import NO_KNOWN_ALLERGIES

Facts = Mapping[str, Any]
Read = Callable[[str], Value | Unclear]

_OPEN: Final = Heard((), "left open")

_ADDRESS: Final = re.compile(r"(?:https?://[^\s/]+\S*|urn:[a-z0-9-]+:\S+)", re.IGNORECASE | re.ASCII)
_OID: Final = re.compile(r"[0-2](?:\.(?:0|[1-9]\d*))+", re.ASCII)


def issuer(text: str) -> Value | Unclear:
    """Return the address that stands for who issued a number.

    A name is turned into an address under ``.invalid``, which is nobody's (RFC 2606), so that a number is never
    mistaken for another hospital's while the right address is not known.
    """
    said = " ".join(text.split())
    if _ADDRESS.fullmatch(said):
        return Value(said, said)
    if _OID.fullmatch(said):
        return Value(f"urn:oid:{said}", f"urn:oid:{said}")
    plain = unicodedata.normalize("NFKD", said.casefold()).encode("ascii", "ignore").decode()
    name = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60].strip("-")
    if not re.search("[a-z]", name):
        return Unclear("Type the name of the hospital or system, or its address, such as https://...")
    address = f"https://{name}.invalid/record-number"
    return Value(address, f"{said} (kept as {address} until its own address is known)")


@cache
def _zones() -> Mapping[str, tuple[str, ...]]:
    found: dict[str, list[str]] = {}
    for zone in sorted(available_timezones()):
        if "/" in zone and not zone.startswith(("Etc/", "posix/", "right/", "SystemV/")):
            for name in (zone, zone.rpartition("/")[2]):
                found.setdefault(name.casefold().replace("_", " "), []).append(zone)
    return {name: tuple(zones) for name, zones in found.items()}


def zone(text: str) -> Value | Unclear:
    """Return the time zone that a name or the city in it means."""
    if text.strip() in available_timezones():
        return Value(text.strip(), text.strip())
    said = " ".join(text.replace("_", " ").split()).casefold()
    found = _zones().get(said, ())
    if len(found) == 1:
        return Value(found[0], found[0])
    if found:
        return Unclear(f"That could be {phrasing.listed(found, 'or')}.")
    return Unclear(
        "That is not a time zone. Type a large city that has the same time, such as Chicago or America/Chicago."
    )


def septa(text: str) -> Value | Unclear:
    """Return the names of a port's septa: one, or two."""
    said = [" ".join(part.split()) for part in re.split(r",|;|\band\b", text) if part.strip()]
    if said in (["1"], ["one"], ["single"]):
        return Value(["single"], "single")
    if len(said) == 2 and not any(part.isdigit() for part in said):
        return Value(said, phrasing.listed(said))
    return Unclear("Type 1 for a port with one septum; for one with two, their names, such as medial, lateral.")


@dataclass(frozen=True, slots=True)
class _Row:
    """One thing to ask. ``freely`` lets Enter leave it open: the record stands without it.

    Without ``asks`` the question is the one that the fact is declared with. ``read``, ``called`` and ``explains`` are
    for facts whose words in the layout are for programs.
    """

    name: str
    asks: str = ""
    freely: bool = False
    when: Callable[[Facts], bool] | None = None
    read: Read | None = None
    called: str = ""
    explains: str = ""


def _rated(facts: Facts) -> bool:
    return layout.get(facts, ("port", "power", "rated")) is True


def _tip_known(facts: Facts) -> bool:
    return layout.get(facts, ("port", "tip", "location")) is not None


ROWS: Final[tuple[_Row, ...]] = (
    _Row("patient.family_name", "Family name of the patient?"),
    _Row("patient.given_name", "Given name?"),
    _Row(
        "patient.identifiers.0.value",
        "Record number?",
        called="record number",
        explains="The number that the hospital knows the patient by, as on the wristband.",
    ),
    _Row(
        "patient.identifiers.0.system",
        "Which hospital or system issued that number? Its name, or its address if you know it.",
        read=issuer,
        called="issued by",
        explains="Two hospitals may give the same number to two people, so the record says whose number it is. "
        "The hospital's name will do; the people who run the record system know its address.",
    ),
    _Row("patient.birth_date"),
    _Row(
        "patient.allergies",
        explains="Allergies; type n if the patient has none, a period if no one asked.",
    ),
    _Row("patient.history", "Are any of these in the history?", True),
    _Row(
        "patient.weight_kg", freely=True, explains="Weight in kg; doses for a child and of a thrombolytic depend on it."
    ),
    _Row("stay.facility", "Which facility?"),
    _Row(
        "stay.time_zone",
        "Which time zone is it in? A large city will do, such as Chicago.",
        read=zone,
        explains="All times in this record are read and shown in it.",
    ),
    _Row("stay.unit", "Which unit?"),
    _Row("stay.room", "Which room?", True),
    _Row("stay.setting"),
    _Row("stay.admitted_at", freely=True),
    _Row(
        "port.id",
        "What name does the record use for this port?",
        called="port is called",
        explains="It tells two ports of one patient apart; with one port, the name offered will do.",
    ),
    _Row("port.side", "On which side is the port?"),
    _Row("port.area", "In which part of the body?"),
    _Row("port.site_detail", "More about the place, such as infraclavicular?", True),
    _Row(
        "port.septa",
        "Does the port have one septum or two? Type 1, or the names of two, such as medial, lateral.",
        read=septa,
    ),
    _Row("port.touch", "How does the top of the port feel under the skin?", True),
    _Row("port.power.rated", "Is the port rated for power injection?", True),
    _Row("port.power.max_flow_ml_per_s", "Highest labeled rate, in mL per second?", True, _rated),
    _Row("port.power.max_pressure_psi", "Highest labeled pressure, in psi?", True, _rated),
    _Row("port.catheter_volume_ml", freely=True),
    _Row("port.valved", "Does the catheter have a valve?", True),
    _Row("port.tip.location", "Where does the tip lie?", True),
    _Row("port.tip.method", "How was that confirmed?", True, _tip_known),
    _Row("port.tip.on", "When was it confirmed?", True, _tip_known),
    _Row("port.implanted_on", freely=True),
    _Row("port.model", "Which model does the patient's card name, without brand?", True),
    _Row("port.udi", "Device identifier of the port, scanned or typed?", True),
)
"""The questions, in the order in which a patient's papers are read."""


_CALLED: Final = {row.name: row.called for row in ROWS if row.called}


def _rows(facts: Facts) -> Iterator[_Row]:
    """Yield the rows, each allergy with what happened after the list of them."""
    for row in ROWS:
        yield row
        if row.name != "patient.allergies":
            continue
        for at, allergy in enumerate(layout.get(facts, ("patient", "allergies")) or ()):
            if allergy.get("substance") == "other":
                yield _Row(f"patient.allergies.{at}.detail", "Allergic to which substance?")
            known = allergy.get("detail") or allergy.get("substance")
            yield _Row(f"patient.allergies.{at}.reaction", f"What happened with {known}?", True)


def questions(known: Facts, answered: frozenset[str], usual: Mapping[str, str]) -> Iterator[Question]:
    """Yield what is still to be asked of a new record, the next one first; ``usual`` is what Enter takes."""
    for row in _rows(known):
        said = row.name in answered or layout.get(known, layout.parse(row.name)) is not None
        if not said and (row.when is None or row.when(known)):
            yield _question(row, usual.get(row.name))


def _question(row: _Row, usual: str | None) -> Question:
    path = layout.parse(row.name)
    if row.name == "patient.allergies":
        return _list_question(row, path, ("none known", *get_args(words.AllergenName)), _allergies)
    if row.name == "patient.history":
        return _list_question(row, path, ("none of them", *get_args(words.HistoryName)), list)
    spot = layout.spot(Episode, path)
    assert spot is not None
    default = Heard(((path, [usual] if spot.sort == "texts" else usual),), usual) if usual else None
    if default is None and row.freely:
        default = _OPEN
    question = replace(
        leaf(path, spot, _asks(row), default=default, needs=_needs(row.name)),
        needed=spot.required and not row.freely,
        supply=("port",) if row.name == "port.udi" else None,
    )
    if row.called:
        question = replace(question, about=row.called)
    if row.explains:
        question = replace(question, explains=(row.explains,))
    return replace(question, read=_reading(row.read, path), hint="") if row.read is not None else question


def _reading(read: Read, path: Path) -> Callable[[str, Frame], Reading]:
    def as_fact(text: str, _: Frame) -> Reading:
        value = read(text)
        return value if isinstance(value, Unclear) else Heard(((path, value.value),), value.said)

    return as_fact


def _needs(name: str) -> tuple[Need, ...]:
    return tuple(need for need in EPISODE_NEEDS if name == need.name or name.startswith(f"{need.name}."))


def _asks(row: _Row) -> str:
    return row.asks or next(need.asks for need in EPISODE_NEEDS if need.name == row.name)


# -- allergies and history: a list, or the statement that there are none --


def _list_question(row: _Row, path: Path, said: tuple[str, ...], made: Callable[[list[str]], list[Any]]) -> Question:
    none, *others = said
    offered = (Option("n", none), *(Option(str(number), word) for number, word in enumerate(others, 1)))
    spot = layout.spot(Episode, path)
    assert spot is not None

    another = "other" in others

    def read(text: str, _: Frame) -> Reading:
        typed = text.strip().casefold()
        if typed in ("n", "none", "no", none, *_NONE_AT_ALL):
            return Heard(((path, []),), none)
        if another and typed in NO_KNOWN_ALLERGIES:
            return Unclear(
                "That may refer to drugs only. Type n if there is no allergy to latex, tape or skin prep either."
            )
        chosen: list[str] = []
        for part in typed.replace(";", ",").split(","):
            one = values.choose(part.strip(), offered[1:])
            if isinstance(one, Unclear) and another and _SUBSTANCE.fullmatch(part.strip()):
                one = Option("", part.strip())
            if isinstance(one, Unclear):
                other = next(
                    (f"; for another, type {o.key} and say which after" for o in offered if o.words == "other"), ""
                )
                return Unclear(f'"{part.strip()}" is not in the list. Numbers or names, with commas between{other}.')
            chosen.append(one.words)
        return Heard(((path, made(list(dict.fromkeys(chosen)))),), phrasing.listed(list(dict.fromkeys(chosen))))

    default = _OPEN if row.freely else None
    return Question(
        row.name, spot.title, _asks(row), read, offered, "several with commas", None, default, (), _needs(row.name),
        (row.explains or spot.says,),
    )  # fmt: skip


_NONE_AT_ALL: Final = frozenset({"nka", "no allergies", "no known allergies", "none of these"})
"""Answers for no allergies of any kind; one that speaks of drugs or food alone is asked back."""


def _allergies(chosen: list[str]) -> list[Any]:
    """Return the allergies; a substance that has no word of its own in the record is kept in its own words."""
    known = get_args(words.AllergenName)
    return [{"substance": word} if word in known else {"substance": "other", "detail": word} for word in chosen]


_SUBSTANCE: Final = re.compile(r"[^\W\d_][^\d]{3,60}")
"""Text that may name a substance: words, without numbers or single letters."""


_ALLERGIES: Final = ("patient", "allergies")


def shown(data: Facts) -> Iterator[str]:
    """Yield facts of patient, stay and port in words, a row each, numbers with their units."""
    zone_name = layout.get(data, ("stay", "time_zone"))
    here = ZoneInfo(zone_name) if zone_name in available_timezones() else ZoneInfo("UTC")
    for key in ("patient", "stay", "port"):
        for name, value in _flat(data.get(key) or {}, (key,)):
            spot = layout.spot(Episode, name)
            dotted = layout.dotted(name)
            title = phrasing.capital(_CALLED.get(dotted, spot.title if spot is not None else dotted))
            if name[-1] != "substance" or value != "other":  # which substance it is stands in its detail
                called = "Allergen" if name[:2] == _ALLERGIES and name[-1] == "detail" else title
                yield f"{called}: {said_fact(spot, name, value, here)}"


def _flat(data: Any, path: Path) -> Iterator[tuple[Path, Any]]:
    if isinstance(data, Mapping):
        for key, value in data.items():
            yield from _flat(value, (*path, key))
    elif isinstance(data, list) and any(isinstance(item, Mapping) for item in data):
        for at, item in enumerate(data):
            yield from _flat(item, (*path, at))
    elif isinstance(data, list):
        yield path, ", ".join(str(item) for item in data) or "none"
    else:
        yield path, data
