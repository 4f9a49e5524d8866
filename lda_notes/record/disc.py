"""For whom a chlorhexidine disc or dressing is: one answer for the check, the questions and the worksheet."""

from __future__ import annotations

from datetime import date

from lda_notes.knowledge.ages import months_old
from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.suitability import Subject, disc_suits, least_months
from lda_notes.record.episode import Patient


def allergic(patient: Patient) -> bool:
    """Tell whether an allergy rules chlorhexidine out."""
    return any(allergy.substance == "chlorhexidine" for allergy in patient.allergies or ())


def of_age(patient: Patient, on: date, policy: Policy) -> bool | None:
    """Tell whether the policy uses a disc at the patient's age; None when the age decides and is not known."""
    least = least_months(policy)
    if not least:
        return True
    return None if patient.birth_date is None else months_old(patient.birth_date, on) >= least


def suits(patient: Patient, on: date, policy: Policy) -> bool:
    """Tell whether a disc may be expected on that day: nothing on record speaks against one."""
    allergies = frozenset(allergy.substance for allergy in patient.allergies or ())
    who = Subject(patient.birth_date, on, patient.weight_kg, allergies, frozenset(patient.conditions))
    return disc_suits(who, policy)
