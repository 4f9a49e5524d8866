"""Facts of patient and port that are known before the events and apart from them."""

from __future__ import annotations

from lda_notes.record import vocabulary as words
from lda_notes.record.parts.facts import Model, fact, required
from lda_notes.record.parts.values import Day, HistoryName, Positive, Short, Text, YesNo


class Allergy(Model):
    """A recorded allergy or sensitivity."""

    substance: words.AllergenName = required("allergen", "What the allergy is to.", renamed="substance")
    detail: Short | None = fact("allergen detail", "Names the substance when it is not in the list.")
    reaction: Short | None = fact("reaction", "What happened.")


class AllergyWithdrawn(Model):
    """An allergy that was recorded and is not one."""

    substance: words.AllergenName = required("allergen withdrawn", "What the allergy was said to be to.")
    reason: Text | None = fact("reason for withdrawing it", "Why it is not an allergy.")


class Condition(Model):
    """A condition in the patient's history, and when it was found."""

    condition: HistoryName = required("condition", "Condition that changes which supplies may be used.")
    found_on: Day | None = fact("found on", "Day on which it was found.")


class TipConfirmation(Model):
    """How the position of the catheter tip is known."""

    location: Short = required("tip location", "Where the tip lies.")
    method: Short | None = fact("confirmed by", "How it was confirmed.")
    on: Day | None = fact("confirmed on", "When it was confirmed.")


class PowerRating(Model):
    """What the port's label allows for power injection."""

    rated: YesNo = required("port power rating", "Yes when the label allows power injection.")
    max_flow_ml_per_s: Positive | None = fact("labeled flow limit", "Highest labeled rate, in mL per second.")
    max_pressure_psi: Positive | None = fact("labeled pressure limit", "Highest labeled pressure, in psi.")
