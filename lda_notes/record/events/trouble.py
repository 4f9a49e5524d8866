"""Trouble with the line: treatment of an occlusion, evaluation, care of an extravasation."""

from __future__ import annotations

from typing import Final, Literal

from lda_notes.knowledge.askers import CP, INS, LABEL, ONS
from lda_notes.record import vocabulary as words
from lda_notes.record.events.groups import Flushed, Proved, SiteSeen
from lda_notes.record.events.shapes import Observing, Tending
from lda_notes.record.parts import (
    BleedingRisk,
    Identifier,
    Moment,
    NotDone,
    Person,
    Positive,
    Quantity,
    Short,
    Text,
    YesNo,
    fact,
    required,
    several,
)

_CAPPED: Final = "Dose and volume have caps, and a second dose is added to the first."


class PatencyTreatment(
    Tending,
    SiteSeen,
    Proved,
    Flushed,
    rank=100,
    command="treatment",
    stem="treatment",
    asks="septum identifiers_checked allergies_checked order site patency_before bleeding_risk explained_and_agreed "
    "drug lumen_ml reconstituted_at dose_mg dose_units volume_ml signs despite_hold problems "
    "response charted_at by verified_by",
):
    """A thrombolytic is instilled and left to dwell. ``at`` is the moment of instillation."""

    kind: Literal["patency treatment"]
    drug: words.ThrombolyticDrug = required("thrombolytic", "What was instilled.", must=("Which thrombolytic?", LABEL))
    dose_mg: Positive | None = fact(
        "dose", "Alteplase, in mg.", must=("Dose, in mg?", LABEL), why=_CAPPED, when="is_alteplase"
    )
    dose_units: Positive | None = fact(
        "dose in units", "Urokinase, in units.", must=("Dose, in units?", INS), why=_CAPPED, when="is_urokinase"
    )
    volume_ml: Positive | None = fact(
        "instilled volume", "Volume instilled, in mL.", must=("Volume instilled, in mL?", LABEL), why=_CAPPED
    )
    lumen_ml: Positive | None = fact(
        "lumen volume",
        "Internal volume of the lumen, in mL.",
        must=("Internal volume of the lumen, in mL?", LABEL),
        why="Below the full-dose weight, the dose is computed from the lumen's volume.",
        when="dose_by_lumen",
    )
    reconstituted_at: Moment | None = fact(
        "time of mixing",
        "When the drug was reconstituted.",
        should=("When was it mixed?", LABEL),
        why="A mixed thrombolytic loses its effect and its sterility with time.",
    )
    second_dose_of: Identifier | None = fact("second dose of", "Identifier of the first dose's event.")
    patency_before: Literal["no blood return", "no flush and no blood return", "sluggish"] | None = fact(
        "patency before",
        "State of the line before the dose.",
        must=("How was the line before the dose?", LABEL),
        why="The result can be judged only against how the line was before.",
    )
    drug_lot: Short | None = fact("thrombolytic lot", "Lot number on the label.")
    bleeding_risk: BleedingRisk | None = fact(
        "bleeding risk",
        "What was asked before the dose.",
        should=("What was asked about bleeding and infection?", LABEL),
        why="The label advises caution with bleeding, anticoagulants and an infected catheter, and asks that other "
        "causes be considered first.",
    )


class PatencyCheck(
    Observing,
    SiteSeen,
    Proved,
    Flushed,
    rank=50,
    command="patency",
    asks="treatment septum identifiers_checked blood_return blood_looks withdrawn_ml hub_scrub_s "
    "flushes lock signs despite_hold charted_at by verified_by",
):
    """The check of a dwelling thrombolytic, at 30 and at 120 minutes."""

    kind: Literal["patency check"]
    treatment: Identifier = required(
        "treatment", "Identifier of the treatment that is checked.", must=("Which treatment is checked?", LABEL)
    )
    withdrawn_ml: Quantity | None = fact(
        "withdrawn volume",
        "Volume withdrawn after success, in mL.",
        must=("How much was withdrawn, in mL?", LABEL),
        why="The dwelling drug and the loosened clot are withdrawn before the line is flushed.",
        when="return_present",
    )


class Evaluation(
    Observing,
    SiteSeen,
    titled="Evaluation of the line",
    rank=40,
    command="evaluation",
    asks="septum cleared_by decision limits ends evidence finding charted_at by verified_by",
):
    """Vascular access specialists or a physician evaluate a line on hold."""

    kind: Literal["evaluation"]
    cleared_by: Person | None = fact(
        "who evaluated",
        "Specialist or physician who evaluated the line.",
        must=("Who evaluated the line?", CP),
        why="Only someone with the competence may end a hold; the record has to show who it was.",
        who="the one who evaluated: name, credential",
    )
    decision: words.EvaluationDecision | None = fact(
        "decision",
        "What they decided.",
        must=("What was decided?", CP),
        why="Without a decision the line stays on hold.",
    )
    evidence: tuple[words.Evidence, ...] = several(
        "evidence",
        "What the decision is based on.",
        must=("What is it based on?", CP),
        why="A line is cleared on evidence, such as restored blood return or a contrast study, not because time has "
        "passed.",
        when="cleared",
    )
    finding: Text | None = fact(
        "finding",
        "What the evaluation showed.",
        should=("What did the evaluation show?", CP),
        why="The finding explains the decision to whoever sees the same trouble again.",
    )
    limits: tuple[words.LineLimit, ...] = several(
        "limits of use",
        "What the line may not be used for.",
        must=("Which limits are set?", CP),
        why="Limits apply until they are lifted: the next nurse has to know them.",
        when="cleared_with_limits",
    )
    lifts: tuple[words.LineLimit, ...] = several("limits lifted", "Limits of use that end.")
    ends: tuple[Short, ...] = several(
        "holds that end",
        "Reasons for the holds that this ends, or all.",
        must=("Which holds does it end, or all?", CP),
        why="An evaluation ends the holds that it names, no others.",
        when="cleared_of_several",
    )


class ExtravasationCare(
    Tending,
    SiteSeen,
    titled="Care of an extravasation",
    rank=120,
    command="extravasation",
    stem="extravasation",
    asks="septum identifiers_checked product estimated_ml aspirated_ml site antidote compress "
    "photograph follow_up signs despite_hold problems charted_at by verified_by",
):
    """What was done after something given through the line went outside the vein, or may have."""

    kind: Literal["extravasation care"]
    product: Short | None = fact(
        "product",
        "The product as its label names it.",
        must=("Which product, as its label names it?", ONS),
        why="Antidote and compress depend on the product.",
    )
    estimated_ml: Quantity | None = fact(
        "estimated volume outside the vein",
        "Estimated volume, in mL.",
        should=("About how much is outside the vein, in mL?", ONS),
        why="A first estimate shows later whether it is getting worse.",
    )
    aspirated_ml: Quantity | None = fact(
        "volume aspirated",
        "Volume drawn back through the needle, in mL.",
        must=("How much was drawn back, in mL?", ONS),
        why="What is drawn back through the needle can no longer harm the tissue.",
    )
    antidote: Short | NotDone | None = fact(
        "antidote",
        "Antidote given, as ordered.",
        must=("Which antidote was given, as ordered?", ONS),
        why="Some antidotes work only within hours.",
    )
    compress: words.Compress | None = fact(
        "compress",
        "warm, cold or none.",
        should=("Compress: warm, cold or none?", ONS),
        why="Warm and cold have opposite effects; which one is right depends on the product.",
    )
    photograph: YesNo | None = fact(
        "photograph taken",
        "Yes when a photograph was taken.",
        should=("Was a photograph taken?", CP),
        why="A first picture shows later whether it is getting worse.",
    )
    follow_up: Text | None = fact(
        "follow-up",
        "When the site will be checked again, and by whom.",
        must=("When will the site be checked again, and by whom?", CP),
        why="Tissue damage may not show for days.",
    )
