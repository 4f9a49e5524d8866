"""For whom a chlorhexidine disc or dressing is: one answer for the check, the questions and the worksheet."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from lda_notes.knowledge.ages import MONTHS_PER_YEAR, months_old
from lda_notes.knowledge.policy import Policy
from lda_notes.record.episode import Patient


def least_months(policy: Policy) -> Decimal:
    """Return the age in months from which the policy uses chlorhexidine dressings and discs."""
    match policy.choice("chg_dressing_ages"):
        case "adults":
            return MONTHS_PER_YEAR * policy.value("chg_dressing_adult_years")
        case "over 2 months":
            return policy.value("chg_dressing_months")
        case _:
            return Decimal(0)


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
    return not allergic(patient) and of_age(patient, on, policy) is not False
