"""Every supply that an event says was used, in the words of the record, with the fact that says so.

`against` puts each to `suitability`, with what was known of the patient when it was used.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Final, NamedTuple

from lda_notes.check.rule_table import Case, Entry, Found, enter
from lda_notes.check.rules.patients import days_at
from lda_notes.knowledge.sources import Citation
from lda_notes.knowledge.suitability import TABLE, Objection, Subject, Use, suits
from lda_notes.knowledge.supplies import contains
from lda_notes.line.against import subject
from lda_notes.problems import Severity
from lda_notes.record import events as ev
from lda_notes.record.parts import Anesthetic, Antisepsis, Dressing, Lock


class Used(NamedTuple):
    """A supply in the record's words, the event that used it, and the keys of the fact inside that event."""

    words: str
    entry: Entry
    keys: tuple[str | int, ...]
    use: Use = "other"
    units_per_ml: Decimal | None = None
    of: str | None = None
    """The drug that a preservative is in."""

    @property
    def said(self) -> str:
        """The supply as a message names it: between quotation marks where the record names it in its own words."""
        return f'"{self.words}"' if self.keys[0] == "supplies" else self.words


def supplies_used(entries: Iterable[Entry]) -> Iterator[Used]:
    """Yield every supply of some entries, in their order."""
    for entry in entries:
        event = entry.event
        if not isinstance(event, ev.CareEvent):
            continue
        if isinstance(event, ev.Dressed):
            if isinstance(event.antisepsis, Antisepsis):
                yield Used(event.antisepsis.agent, entry, ("antisepsis", "agent"), "antiseptic")
            if event.disinfecting_caps is True:
                yield Used("disinfecting cap", entry, ("disinfecting_caps",), "cap")
        if isinstance(event, ev.Dressed | ev.ArrivalAccessed) and isinstance(event.dressing, Dressing):
            if isinstance(event.dressing.type, str):
                yield Used(event.dressing.type, entry, ("dressing", "type"), "dressing")
            if event.dressing.chlorhexidine_disc is True:
                yield Used("chlorhexidine disc", entry, ("dressing", "chlorhexidine_disc"), "dressing")
        if isinstance(event, ev.Access) and isinstance(event.anesthetic, Anesthetic):
            yield Used(event.anesthetic.agent, entry, ("anesthetic", "agent"), "anesthetic")
        if isinstance(event, ev.Flushed):
            yield from _through_the_line(entry, event)
        if isinstance(event, ev.PatencyTreatment):
            yield Used(event.drug, entry, ("drug",), "thrombolytic")
        for position, supply in enumerate(event.supplies):
            yield Used(supply.name, entry, ("supplies", position, "name"))


def _through_the_line(entry: Entry, event: ev.Flushed) -> Iterator[Used]:
    if isinstance(event.flushes, tuple):
        for position, flush in enumerate(event.flushes):
            yield Used(flush.solution, entry, ("flushes", position, "solution"), "flush")
    if isinstance(event.lock, Lock):
        lock = event.lock
        yield Used(lock.drug, entry, ("lock", "drug"), "lock", lock.units_per_ml)
        if lock.preservative is not None:
            yield Used(lock.preservative, entry, ("lock", "preservative"), "lock", of=lock.drug)


def holding(case: Case, allergen: str) -> Iterator[Used]:
    """Yield every supply used that contains ``allergen``, in whichever entry."""
    for used in supplies_used(case.timeline.entries):
        inside = contains(used.words)
        if inside is not None and allergen in inside:
            yield used


class Against(NamedTuple):
    """The objection to a supply that was used, in a patient as known then."""

    used: Used
    objection: Objection
    who: Subject

    def found(self, message: str, key: str | None = None, *, severity: Severity | None = None) -> Found:
        """Return the fault at the supply, or at another ``key`` of the part that names it."""
        keys = self.used.keys if key is None else (*self.used.keys[:-1], key)
        return Found(keys, message, self.used.entry, severity=severity)


def against(case: Case, row: str, allergen: str | None = None) -> tuple[Against, ...]:
    """Return what a row of `suitability` speaks against, of ``allergen`` alone where one is named."""
    found = case.once(_objected).get(row, ())
    return found if allergen is None else tuple(one for one in found if one.objection.allergy == allergen)


def _objected(case: Case) -> dict[str, tuple[Against, ...]]:
    answered: dict[tuple[object, ...], tuple[Objection, ...]] = {}
    found: dict[str, tuple[Against, ...]] = {}
    for used in supplies_used(case.entries):
        who = subject_at(case, used.entry)
        asked = (id(who), used.use, used.words, used.units_per_ml, used.of)
        if asked not in answered:
            answered[asked] = tuple(_speaks_against(used, who, case))
        for objection in answered[asked]:
            found[objection.rule] = (*found.get(objection.rule, ()), Against(used, objection, who))
    return found


def _speaks_against(used: Used, who: Subject, case: Case) -> Iterator[Objection]:
    if used.of is None:
        yield from suits(used.use, used.words, who, case.policy, units_per_ml=used.units_per_ml).objections
        return
    for one in suits(used.use, used.of, who, case.policy, preservative=used.words).objections:
        if used.words == "benzyl alcohol" and (one.allergy == used.words or one.rule == "preservative-newborn"):
            yield one


class Unsuited(NamedTuple):
    """A rule that only says what `suitability` speaks against; its severity is the weight of the row of that name.

    ``says`` is the message: {said} or {words} names the supply, {days} is the age of a newborn. A rule that is named
    after an allergen, as in ``iodine-allergy``, is about the allergy to it. ``more`` is what else there is to do.
    """

    rule: str
    says: str
    todo: str
    what: str
    why: str
    more: str = ""
    cites: tuple[Citation, ...] = ()
    limits: tuple[str, ...] = ()

    def text(self) -> str:
        """Return the published explanation."""
        return "\n\n".join(filter(None, (self.what, self.why, self.more)))

    def check(self, case: Case) -> Iterator[Found]:
        """Yield each supply that is spoken against."""
        allergen = self.rule.removesuffix("-allergy").replace("-", " ") if self.rule.endswith("-allergy") else None
        for one in against(case, "allergy" if allergen else self.rule, allergen):
            used = one.used
            contains = "is used" if used.words == allergen else f"contains {allergen}"
            days = days_at(case, used.entry.event)
            said = self.says.format(said=used.said, words=used.words, contains=contains, allergen=allergen, days=days)
            yield one.found(said)


def enter_unsuited(module: str, rows: Iterable[Unsuited]) -> None:
    """Enter rules of a module into the table; an allergy forbids."""
    weights: dict[str, Severity] = {one.rule: one.weight for one in TABLE}
    for row in rows:
        enter(module, row.rule, weights.get(row.rule, "unsafe"), row.todo, row.check, row.text, row.cites, row.limits)


_GROWN: Final = 30
"""Years from which no supply depends on the day any more."""


def subject_at(case: Case, entry: Entry) -> Subject:
    """Return what suitability asks of the patient and port, as known at an event, on its local day."""
    subjects: dict[tuple[object, ...], Subject] = case.once(_subjects)
    patient, port = case.timeline.patient_at(entry.event.at), case.timeline.port_at(entry.event.at)
    born = patient.birth_date
    grown = born is None or entry.event.at.year - born.year > _GROWN
    key = (id(patient), id(port), None if grown else case.local(entry.event.at).date())
    if key not in subjects:
        subjects[key] = subject(patient, port, case.local(entry.event.at).date())
    return subjects[key]


def _subjects(_: Case) -> dict[tuple[object, ...], Subject]:
    return {}
