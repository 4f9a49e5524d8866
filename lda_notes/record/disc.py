"""Whether allergy or age speaks against a chlorhexidine disc; `suitability.disc_suits` weighs both and all else."""

from __future__ import annotations

from datetime import date

from lda_notes.knowledge.ages import months_old
from lda_notes.knowledge.policy import Policy
from lda_notes.knowledge.suitability import least_months
from lda_notes.record.episode import Patient


def allergic(patient: Patient) -> bool:
    """Return whether an allergy rules chlorhexidine out."""
    return any(allergy.substance == "chlorhexidine" for allergy in patient.allergies or ())


def of_age(patient: Patient, on: date, policy: Policy) -> bool | None:
    """Return whether the policy uses a disc at the patient's age; None when the age decides and is not known."""
    least = least_months(policy)
    if not least:
        return True
    return None if patient.birth_date is None else months_old(patient.birth_date, on) >= least
