"""How a sheet says moments, people and supplies: short enough for a table, with the words of ``phrasing``."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from anyascii import anyascii

from lda_notes.knowledge.amounts import heparin_units
from lda_notes.knowledge.policy import number, quantity
from lda_notes.line.corrections import Entry
from lda_notes.narrative import phrasing
from lda_notes.record import unread
from lda_notes.record.episode import Patient
from lda_notes.record.parts import DayOnly, Dressing, Flush, Lock, Needle, NotAssessed, NotDone, Person
from lda_notes.record.unread import Unread

Absent = Callable[..., str]
"""The words for a fact of a part that has no value, by its names within the part."""


def _not_recorded(*_names: str) -> str:
    return "not recorded"


@dataclass(frozen=True, slots=True)
class Wording:
    """Words for one stay: times in its zone; the year only where it is not the year of ``asof``."""

    zone: ZoneInfo
    asof: datetime
    unread: tuple[Unread, ...] = ()

    def absent(self, event: str | None, *names: str) -> str:
        """Return what is said of a fact without a value: not recorded, or that it could not be read."""
        return unread.absent(self.unread, event, *names)

    def absent_in(self, entry: Entry, part: str) -> Absent:
        """Return `absent` for the facts of one part of an event."""
        return lambda *names: self.absent(entry.event.id, part, *names)

    def when(self, moment: datetime) -> str:
        """Return date and time: "4 Mar 09:40", with the year if it is another one."""
        here = phrasing.local(moment, self.zone)
        year = f" {here.year}" if here.year != phrasing.local(self.asof, self.zone).year else ""
        clock = "" if isinstance(moment, DayOnly) else f" {phrasing.clock(moment, self.zone, here.date())}"
        return f"{here.day} {phrasing.MONTHS[here.month - 1][:3]}{year}{clock}"

    def soon(self, moment: datetime) -> str:
        """Return the time, with its day only where that is not the day judged from."""
        today = phrasing.local(self.asof, self.zone).date()
        here = phrasing.local(moment, self.zone)
        return phrasing.clock(moment, self.zone, today) if here.date() == today else self.when(moment)

    def in_full(self, moment: datetime) -> str:
        """Return weekday, date with its year, and time."""
        here = phrasing.local(moment, self.zone)
        return f"{here:%A}, {phrasing.day(here.date())}, {phrasing.clock(moment, self.zone, here.date())}"

    def told(self, entry: Entry) -> str:
        """Return when and by whom an event was established, and that it was corrected, if it was."""
        corrected = "; corrected later" if entry.corrections else ""
        return f"{self.when(entry.event.at)}, {self.author(entry)}{corrected}"

    def author(self, entry: Entry) -> str:
        """Return who charted an event."""
        by = entry.event.by
        if by is None or not (by.name or by.credential):
            return f"author {self.absent(entry.event.id, 'by')}"
        return person(by)


def person(who: Person | None) -> str:
    """Return a name with its credential."""
    if who is None or not (who.name or who.credential):
        return "author not recorded"
    return one_line(" ".join(part for part in (who.name, phrasing.role(who.name, who.credential)) if part))


def one_line(text: str) -> str:
    """Return names from a record on one row, so that nothing in them can look like a row of the sheet."""
    return phrasing.on_one_row(" ".join(text.split()))


def patient_name(patient: Patient) -> str:
    """Return family and given name; in a script other than Latin also in Latin letters, which every nurse can read."""
    said = one_line(f"{patient.family_name}, {patient.given_name}")
    letters = f"{in_letters(patient.family_name)}, {in_letters(patient.given_name)}"
    return said if letters == said else f"{said} ({letters})"


def in_letters(name: str) -> str:
    """Return a name in Latin letters."""
    said = one_line(name)
    return said if all(map(_latin, said)) else one_line(anyascii(said))


def _latin(sign: str) -> bool:
    return not sign.isalpha() or unicodedata.name(sign, "").startswith("LATIN")


def short_needle(found: Needle | NotAssessed | None) -> str:
    """Return gauge and length in mm, for a row of the round."""
    return re.sub(r" \([^)]*inch\)", "", needle(found)) if isinstance(found, Needle) else needle(found)


def needle(found: Needle | NotAssessed | None, absent: Absent = _not_recorded) -> str:
    """Return gauge and length of a needle, and whatever is not recorded or not known about them."""
    if found is None:
        return f"needle {absent()}"
    if isinstance(found, NotAssessed):
        return f"needle not known ({phrasing.quoted(found.not_assessed)})"
    coring = ", NOT non-coring" if found.non_coring is False else ""
    return f"{_gauge(found, absent)}, {_length(found, absent)}{coring}"


def _gauge(found: Needle, absent: Absent) -> str:
    match found.gauge:
        case None:
            return f"gauge {absent('gauge')}"
        case NotAssessed():
            return "gauge not known"
        case gauge:
            return f"{gauge} gauge"


def _length(found: Needle, absent: Absent) -> str:
    match found.length_mm:
        case None:
            return f"length {absent('length_mm')}"
        case NotAssessed():
            return "length not known"
        case mm:
            return phrasing.length(mm)


def dressing(found: Dressing | NotAssessed | NotDone | None, absent: Absent = _not_recorded) -> str:
    """Return what a dressing is, with its disc and, for gauze under wings, whether the site is in view."""
    match found:
        case None:
            return f"dressing {absent()}"
        case NotAssessed():
            return f"dressing not known ({phrasing.quoted(found.not_assessed)})"
        case NotDone():
            return f"no dressing ({phrasing.quoted(found.not_done)})"
        case _:
            pass
    kind: str = (
        found.type if isinstance(found.type, str) else "type not known" if found.type else f"type {absent('type')}"
    )
    parts: list[str] = [kind]
    if found.chlorhexidine_disc is True:
        parts.append("chlorhexidine disc")
    elif found.chlorhexidine_disc is False:
        parts.append("no chlorhexidine disc")
    if found.site_visible is False:
        parts.append("entry site not in view")
    return ", ".join(parts)


def flushes(given: tuple[Flush, ...], absent: Absent = _not_recorded) -> str:
    """Return what was flushed: volumes added up by solution, and any resistance."""
    by_solution: dict[str, list[Decimal | None]] = {}
    for flush in given:
        by_solution.setdefault(flush.solution, []).append(flush.volume_ml)
    parts = []
    for solution, volumes in by_solution.items():
        known = [volume for volume in volumes if volume is not None]
        total = (
            f"{number(sum(known, Decimal(0)))} mL {solution}" if known else f"{solution}, volume {absent('volume_ml')}"
        )
        some = "" if not known or len(known) == len(volumes) else f" and more, volume {absent('volume_ml')}"
        times = f" in {len(volumes)} flushes" if len(volumes) > 1 else ""
        parts.append(f"{total}{some}{times}")
    felt = [flush.resistance for flush in given if isinstance(flush.resistance, str) and flush.resistance != "none"]
    if felt:
        parts.append(f"resistance: {', '.join(dict.fromkeys(felt))}")
    return "; ".join(parts)


def lock(found: Lock, absent: Absent = _not_recorded) -> str:
    """Return drug, strength and volume of a lock, and the units that they make."""
    parts: list[str] = [found.drug]
    holds_heparin = "heparin" in found.drug
    if holds_heparin:
        strength = found.units_per_ml
        parts.append(
            f"{number(strength)} units per mL" if strength is not None else f"strength {absent('units_per_ml')}"
        )
    parts.append(quantity(found.volume_ml, "mL") if found.volume_ml is not None else f"volume {absent('volume_ml')}")
    said = f"{parts[0]} {', '.join(parts[1:])}"
    if holds_heparin and found.units_per_ml is not None and found.volume_ml is not None:
        said += f": {quantity(heparin_units(found.units_per_ml, found.volume_ml), 'units')}"
    return said
