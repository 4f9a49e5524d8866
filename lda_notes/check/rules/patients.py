"""How old the patient is at an event, for the rules whose limits depend on it."""

from __future__ import annotations

from decimal import Decimal

from lda_notes.check.rule_table import Case
from lda_notes.knowledge import amounts
from lda_notes.knowledge.ages import days_old, months_old
from lda_notes.knowledge.policy import quantity
from lda_notes.record import events as ev

_SURELY_GROWN = 30
"""A difference of calendar years beyond any limit of age that a policy may set for adults."""


def months_at(case: Case, event: ev.Event) -> int | None:
    """Return the age in whole months on the local day of ``event``; None without a birth date."""
    birth = case.timeline.episode.patient.birth_date
    return None if birth is None else months_old(birth, case.local(event.at).date())


def age_words(months: int) -> str:
    """Return an age as findings print it: in years from the age of two."""
    return quantity(Decimal(months), "months") if months < 24 else quantity(Decimal(months // 12), "years")


def days_at(case: Case, event: ev.Event) -> int | None:
    """Return the age in days on the local day of ``event``; None without a birth date."""
    birth = case.timeline.episode.patient.birth_date
    return None if birth is None else days_old(birth, case.local(event.at).date())


def is_adult(case: Case, event: ev.Event) -> bool | None:
    """Return whether the patient counts as an adult at ``event``; None without a birth date."""
    birth = case.timeline.episode.patient.birth_date
    if birth is None:
        return None
    if event.at.year - birth.year >= _SURELY_GROWN:
        return True
    months = months_at(case, event)
    return months is not None and months >= 12 * case.policy.value("adult_years")


def heparin_child(case: Case, event: ev.Event) -> bool:
    """Return whether the amount of heparin goes by a child's weight: known to be young, or known to be light."""
    patient = case.timeline.patient_at(event.at)
    return amounts.heparin_child(patient.birth_date, patient.weight_kg, case.local(event.at).date(), case.policy)


def is_newborn(case: Case, event: ev.Event) -> bool:
    """Return whether the patient is known to be a newborn at ``event``."""
    birth = case.timeline.episode.patient.birth_date
    if birth is None or event.at.year - birth.year > 1:
        return False
    days = days_at(case, event)
    return days is not None and 0 <= days <= case.policy.value("neonate_days")
