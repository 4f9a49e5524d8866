"""Care and use of a line with the needle in."""

from __future__ import annotations

from typing import Final, Literal

from lda_notes.knowledge.askers import CP, INS, ONS, POWER
from lda_notes.record import vocabulary as words
from lda_notes.record.events.groups import Dressed, Flushed, Proved, SiteSeen
from lda_notes.record.events.shapes import Observing, Tending
from lda_notes.record.parts import (
    Cultures,
    NotAssessed,
    Positive,
    Short,
    Text,
    YesNo,
    fact,
    required,
    several,
)

_DUE_NOW: Final = "A damp, soiled or loose dressing is due now, whatever its age."


class DressingChange(
    Tending,
    SiteSeen,
    Dressed,
    rank=80,
    command="dressing",
    stem="dressing",
    asks="septum identifiers_checked allergies_checked dressing_found site technique antisepsis "
    "dressing connector_changed disinfecting_caps signs despite_hold problems pain response "
    "teaching charted_at by verified_by",
):
    """The dressing is changed while the needle stays in."""

    kind: Literal["dressing change"]
    dressing_found: tuple[words.DressingCondition, ...] | NotAssessed | None = fact(
        "condition of the old dressing",
        "Condition of the dressing taken off.",
        must=("How was the old dressing found?", INS),
        why=_DUE_NOW,
    )


class LineCheck(
    Observing,
    SiteSeen,
    Proved,
    rank=30,
    command="check",
    stem="check",
    asks="septum site dressing_found connections_secure signs despite_hold problems charted_at by verified_by",
):
    """The look at each shift."""

    kind: Literal["line check"]
    dressing_found: tuple[words.DressingCondition, ...] | NotAssessed | None = fact(
        "condition of the dressing",
        "Condition of the dressing.",
        must=("How is the dressing?", INS),
        why=_DUE_NOW,
        when="needle_in",
    )
    connections_secure: YesNo | NotAssessed | None = fact(
        "connections",
        "Yes when connections are tight and clamps are set correctly.",
        may=("Are connections tight and clamps set correctly?", CP),
        why="A loose connection bleeds or lets air in.",
        when="needle_in",
    )
    infusion: Text | None = fact("running infusion", "What runs, if anything.")
    nothing_runs: YesNo | None = fact("nothing runs", "Yes when nothing is running any longer.")
    vesicant: YesNo | NotAssessed | None = fact("vesicant", "Yes when what runs harms tissue outside the vein.")
    needle_wings: words.NeedleWings | None = fact(
        "wings of the needle", "How the wings lie: level with the skin, raised above it, pressing into it."
    )
    found: tuple[words.FoundAtLine, ...] = several("found at the line", "What was found wrong at the line.")


class FlushOrLock(
    Tending,
    SiteSeen,
    Proved,
    Flushed,
    titled="Flush and lock",
    rank=90,
    command="flush",
    asks="septum identifiers_checked allergies_checked order reason site blood_return blood_looks "
    "steps_tried discard_ml discard_method old_lock hub_scrub_s flushes lock signs despite_hold "
    "problems pain response teaching charted_at by verified_by",
):
    """The line is flushed, locked or both while the needle stays in."""

    kind: Literal["flush"]


_WENT_THROUGH: Final = "What went through the line matters for occlusion, compatibility and tissue injury."
_LABELED: Final = "Rate and pressure are what the labels of port and needle limit."


class LineUse(
    Tending,
    SiteSeen,
    Proved,
    titled="Use of the line",
    rank=110,
    command="use",
    stem="use",
    asks="purpose septum identifiers_checked allergies_checked order action what product vesicant "
    "blood_return_before steps_tried discard_ml samples cultures flow_ml_per_s pressure_psi "
    "signs despite_hold problems response charted_at by verified_by",
):
    """Something is given or drawn through the line."""

    kind: Literal["line use"]
    purpose: words.UsePurpose = required(
        "purpose", "What the line was used for.", must=("What was the line used for?", INS)
    )
    action: words.UseAction | None = fact(
        "action",
        "started, stopped or given.",
        must=("Started, stopped or given?", CP),
        why=_WENT_THROUGH,
        when="begins_or_ends",
    )
    what: Short | None = fact(
        "what was given",
        "Drug, fluid or sample, spelled out.",
        must=("What was given or drawn?", INS),
        why=_WENT_THROUGH,
        when="not_sampling",
    )
    product: Short | None = fact(
        "product",
        "The product as its label names it.",
        should=("Which product, as its label names it?", CP),
        why="Forms of one drug differ in what they do outside the vein, so the product matters.",
        when="may_be_liposomal",
    )
    vesicant: YesNo | NotAssessed | None = fact(
        "vesicant",
        "Yes when it harms tissue outside the vein.",
        should=("Does it harm tissue outside the vein?", ONS),
        why="A vesicant must never go through a line without blood return.",
        when="may_harm",
    )
    old_lock: words.OldLock | None = fact("old lock", "What was done with the lock that was in the line before.")
    cultures: Cultures | None = fact(
        "blood cultures",
        "How blood cultures were drawn.",
        should=("How were the cultures drawn?", CP),
        why="A pair drawn before antibiotics, through a new connector, is what shows an infection of the line.",
        when="culturing",
    )
    flow_ml_per_s: Positive | None = fact(
        "injection rate",
        "Power injection rate, in mL per second.",
        must=("Injection rate, in mL per second?", POWER),
        why=_LABELED,
        when="injection",
    )
    pressure_psi: Positive | None = fact(
        "injection pressure limit",
        "Limit set on the injector, in psi.",
        must=("Pressure limit set on the injector, in psi?", POWER),
        why=_LABELED,
        when="injection",
    )
    blood_return_before: words.BloodReturn | NotAssessed | None = fact(
        "blood return before use",
        "Blood return immediately before the use.",
        must=("Blood return immediately before?", ONS, INS),
        why="Blood return is the proof that the needle is in the port and the tip in the vein; without a record of "
        "it, no one knows whether the line was proved.",
        when="under_way",
        reported="proof_before_use",
    )
