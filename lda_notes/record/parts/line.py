"""The needle and what goes through it: supplies, punctures, flushes, locks, cultures, thrombolytics."""

from __future__ import annotations

from typing import Annotated, Final

from pydantic import Field

from lda_notes.knowledge.askers import AYRSHIRE, CP, HOME, INS, LABEL, MARSDEN, OPEN_RN
from lda_notes.record import vocabulary as words
from lda_notes.record.parts.facts import Model, fact, required
from lda_notes.record.parts.people import NotAssessed, Person
from lda_notes.record.parts.values import Day, Moment, Positive, Quantity, Short, Text, YesNo


class Supply(Model):
    """A supply that was used, as its label says."""

    name: Short = required("supply", "What it is, without brand.")
    lot: Short | None = fact("lot", "Lot number on the label.")
    expires: Day | None = fact("expiry", "Last day of use on the label.")
    udi: Text | None = fact("device identifier", "Device identifier (UDI) as scanned or printed.")
    latex: YesNo | None = fact("latex on the label", "Yes when the label says that it contains natural rubber latex.")


_LEAST_VOLUMES: Final = "The minimum flush and lock volumes are computed from them."
_RECALL: Final = "In a recall, only the lot shows which patients have the needle."


class Needle(Model):
    """A needle in a port. Volumes are priming volumes."""

    gauge: Annotated[int, Field(ge=10, le=34)] | NotAssessed | None = fact(
        "needle gauge",
        "Gauge (G).",
        must=("Which gauge?", INS, HOME, OPEN_RN),
        why="The gauge decides what may run and how fast.",
    )
    length_mm: Positive | NotAssessed | None = fact(
        "needle length",
        "Length below the bend, in mm.",
        must=("How long, in mm?", INS, HOME, OPEN_RN),
        why="A needle that is too short leaves the reservoir and delivers into tissue; the next nurse "
        "needs the length.",
    )
    non_coring: YesNo | NotAssessed | None = fact(
        "non-coring needle",
        "Yes when the needle is non-coring.",
        must=("Is it a non-coring needle?", INS, HOME, OPEN_RN),
        why="An ordinary needle cuts the septum and ruins the port.",
    )
    power_rated: YesNo | NotAssessed | None = fact(
        "needle power rating",
        "Yes when its label allows power injection.",
        may=("Is it rated for power injection?", OPEN_RN, HOME),
        why="For a contrast scan both the port and the needle must be rated; the scanner's staff rely on the record.",
        when="rating matters",
    )
    set_volume_ml: Quantity | None = fact(
        "needle set volume",
        "Priming volume of needle and extension, in mL.",
        must=("Priming volume of needle and extension, in mL?", CP),
        why=_LEAST_VOLUMES,
        when="put in here",
        option="catheter_volume_required",
    )
    connector_volume_ml: Quantity | None = fact(
        "connector volume",
        "Priming volume of add-ons, in mL.",
        must=("Volume of add-ons, in mL?", CP),
        why=_LEAST_VOLUMES,
        when="put in here",
        option="catheter_volume_required",
    )
    lot: Short | None = fact(
        "needle lot",
        "Lot number on the label.",
        must=("Lot number of the needle?", INS, HOME, OPEN_RN),
        why=_RECALL,
        when="put in here",
        option="needle_lot_required",
    )
    expires: Day | None = fact(
        "needle expiry",
        "Last day of use on the label.",
        must=("Expiry of the needle?", INS, HOME, OPEN_RN),
        why=_RECALL,
        when="put in here",
        option="needle_lot_required",
    )
    rated_flow_ml_per_s: Positive | None = fact(
        "labeled needle flow limit", "Highest rate on the needle's label, in mL per second."
    )
    rated_pressure_psi: Positive | None = fact(
        "labeled needle pressure limit", "Highest pressure on the needle's label, in psi."
    )
    udi: Text | None = fact("needle device identifier", "Device identifier (UDI) as scanned or printed.")
    latex: YesNo | None = fact("latex on the label", "Yes when the label says that it contains natural rubber latex.")


_PRESSURES: Final = (
    "A small syringe creates pressures that can burst a catheter; push-pause clears the wall of the line."
)


class Flush(Model):
    """One flush through the needle."""

    solution: words.FlushSolution = required(
        "flush solution", "What was flushed.", must=("Flushed with what?", INS, AYRSHIRE)
    )
    volume_ml: Quantity | None = fact(
        "flush volume",
        "Volume, in mL.",
        must=("Flush volume, in mL?", INS, AYRSHIRE),
        why="Whether a flush reached the tip and cleared the line can be judged only from its volume.",
    )
    syringe_ml: Positive | None = fact(
        "flush syringe",
        "Barrel size of the syringe, in mL.",
        may=("Syringe size, in mL?", MARSDEN, AYRSHIRE),
        why=_PRESSURES,
    )
    technique: words.FlushTechnique | None = fact(
        "flush technique", "push-pause or steady.", may=("Push-pause or steady?", CP), why=_PRESSURES
    )
    resistance: words.Resistance | NotAssessed | None = fact(
        "resistance",
        "Resistance felt.",
        should=("Was there resistance?", INS, AYRSHIRE),
        why="Resistance is an early sign of occlusion or of a needle that has left the reservoir.",
    )
    lot: Short | None = fact("flush lot", "Lot number on the label.")
    expires: Day | None = fact("flush expiry", "Last day of use on the label.")


class Lock(Model):
    """What is left in the line when nothing is running."""

    drug: words.LockDrug = required(
        "lock drug", "What the line is locked with.", must=("Locked with what?", INS, AYRSHIRE)
    )
    units_per_ml: Quantity | None = fact(
        "lock strength",
        "Heparin, in units per mL.",
        must=("Heparin strength, in units per mL?", INS, AYRSHIRE),
        why="Heparin comes in very different strengths; the volume alone does not give the dose.",
        given="has_heparin",
    )
    volume_ml: Quantity | None = fact(
        "lock volume",
        "Volume, in mL.",
        must=("Lock volume, in mL?", INS, AYRSHIRE),
        why="Too little leaves blood in the tip, too much reaches the patient's circulation.",
    )
    preservative: words.Preservative | None = fact("lock preservative", "Preservative named on the label.")
    lot: Short | None = fact("lock lot", "Lot number on the label.")
    expires: Day | None = fact("lock expiry", "Last day of use on the label.")


class Puncture(Model):
    """One needle pass at an access; the last one is the needle that stays."""

    needle: Needle | None = fact(
        "needle of the puncture",
        "Gauge, length, kind, lot.",
        may=("Which needle?", CP),
        why="Each needle that was tried is recorded, with its length.",
    )
    by: Person | None = fact(
        "who punctured",
        "Who put this needle in.",
        may=("Who put it in?", CP),
        why="Each needle pass is recorded with who made it.",
    )
    outcome: words.PunctureOutcome | None = fact(
        "outcome of the puncture",
        "The outcome.",
        may=("What was the outcome?", CP),
        why="The next nurse should not repeat what did not work.",
    )
    at: Moment | None = fact("time of the puncture", "When the needle went in.")


class Cultures(Model):
    """How blood cultures were drawn."""

    paired: YesNo | None = fact("paired cultures", "Yes when drawn from the line and from a vein.")
    before_antibiotics: YesNo | None = fact("before antibiotics", "Yes when drawn before antibiotics were given.")
    new_connector: YesNo | None = fact("new connector for cultures", "Yes when the connector was replaced first.")


class BleedingRisk(Model):
    """What was asked before a thrombolytic."""

    anticoagulant: Short | None = fact(
        "anticoagulant",
        "Anticoagulant that the patient takes, or none.",
        should=("Which anticoagulant, or none?", LABEL),
        why="A thrombolytic adds to the effect of an anticoagulant.",
    )
    platelets_10e9_per_l: Quantity | None = fact(
        "platelets",
        "Platelets, in 10^9 per L.",
        should=("Platelets, in 10^9 per L?", LABEL),
        why="With a low platelet count, a thrombolytic may cause bleeding.",
    )
    recent_bleeding: YesNo | None = fact(
        "recent bleeding",
        "Yes when the patient recently bled or had surgery.",
        should=("Has the patient recently bled or had surgery?", LABEL),
        why="A fresh wound may bleed again.",
    )
    catheter_infection: YesNo | None = fact(
        "infection of the catheter",
        "Yes when an infection is known or suspected.",
        should=("Is an infection of the catheter known or suspected?", LABEL),
        why="A thrombolytic may release an infection from the catheter.",
    )
    other_causes: Text | None = fact(
        "other causes",
        "Other causes of the occlusion that were looked for.",
        should=("Which other causes were looked for?", LABEL),
        why="A drug does not open a kinked or displaced catheter.",
    )
