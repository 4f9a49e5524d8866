"""Every event kind, declared here and nowhere else.

A *shape* says what an event does to the port's life (opens or closes access, tends, observes, moves, corrects);
a *kind* is a small class under a shape. Shapes are closed: code that must treat them all matches exhaustively.
"""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal, TypeAlias, get_args

from pydantic import Field

from lda_notes.record import vocabulary as words
from lda_notes.record.parts import (
    Anaesthetic,
    Antisepsis,
    Dressing,
    Flush,
    Identifier,
    Lock,
    Model,
    Moment,
    Needle,
    NextDue,
    NotAssessed,
    NotDone,
    Person,
    Positive,
    Problem,
    Quantity,
    Score,
    Short,
    Site,
    Supply,
    Teaching,
    Technique,
    Text,
    YesNo,
    fact,
    required,
)


class Event(Model):
    """What every event has: who, when it happened, when it was charted."""

    id: Identifier = required("event identifier", "Name of this event, unique in the file.")
    at: Moment = required("time of the event", "When it happened, with offset: 2031-03-04T09:40-06:00.")
    charted_at: Moment | None = fact("time of entry", "When it was charted.")
    by: Person | None = fact("author", "Who did it and signs for it.")
    verified_by: Person | None = fact("verifier", "Second nurse who watched and verified.")
    late_entry: Text | None = fact(
        "late entry",
        "Marks a late entry; says where the facts are recalled from (memory, worksheet, monitor).",
    )
    remarks: Text | None = fact("remarks", "Anything else, in the nurse's own words; quoted as entered.")


class CareEvent(Event):
    """An event at the bedside: the patient was identified and one septum of the port was in question."""

    septum: Short | None = fact("septum", "Which septum; only asked of a port with two.")
    identifiers_checked: tuple[words.IdentifierUsed, ...] | NotAssessed | None = fact(
        "patient identifiers checked", "What was compared to identify the patient, two at least."
    )
    allergies_checked: YesNo | NotAssessed | None = fact("allergy check", "Yes when allergies were checked.")
    order: Short | None = fact("order or protocol", "Order or protocol reference.")
    reason: Text | None = fact("reason", "Why it was done.")
    problems: tuple[Problem, ...] = Field(
        default=(), title="problems", description="Problems, what was done, who was told, what they answered."
    )
    response: words.Response | NotAssessed | None = fact("patient response", "How the patient took it.")
    pain: Score | NotAssessed | None = fact("pain score", "Pain, 0 to 10.")
    teaching: Teaching | NotDone | None = fact("teaching", "What was taught and understood.")
    supplies: tuple[Supply, ...] = Field(
        default=(), title="supplies", description="Further supplies used, as their labels tell."
    )
    next_due: NextDue | None = fact("next due as told", "What the nurse told or wrote as next due.")


class SiteSeen(Model):
    """Facts of a look at the site."""

    site: Site | NotAssessed | None = fact("site assessment", "The look at the skin over and around the port.")


class Proved(Model):
    """Facts that prove the line, or fail to."""

    blood_return: words.BloodReturn | NotAssessed | None = fact(
        "blood return", "present, sluggish or none; none is a finding, a missing key is a gap."
    )
    blood_looks: words.BloodLooks | None = fact("look of the blood", "Colour and consistency of the aspirate.")
    steps_tried: tuple[words.RestoringStep, ...] = Field(
        default=(), title="steps tried", description="What was tried to get blood return."
    )
    discard_ml: Quantity | NotDone | None = fact("discard volume", "First aspirate thrown away, in mL.")
    samples: tuple[Short, ...] = Field(default=(), title="samples", description="Blood samples drawn.")


class Flushed(Model):
    """What went through the line and what stayed in it."""

    hub_scrub_s: Quantity | None = fact("connector scrub time", "Scrub of the needleless connector, in seconds.")
    flushes: tuple[Flush, ...] | NotDone | None = fact("flush", "Flushes in the order given.")
    lock: Lock | NotDone | None = fact("lock", "What the line is locked with.")


class Dressed(Model):
    """Skin antisepsis, technique and the dressing put on."""

    antisepsis: Antisepsis | NotDone | None = fact("skin antisepsis", "Agent, friction and drying.")
    technique: Technique | None = fact("technique", "Hand hygiene, masks, sterile gloves, sterile field.")
    dressing: Dressing | NotDone | None = fact("dressing", "The dressing put on.")
    connector_changed: YesNo | NotDone | None = fact(
        "connector change", "Yes when needleless connector and extension were changed."
    )
    disinfecting_caps: YesNo | NotDone | None = fact(
        "disinfecting caps", "Yes when every needleless connector and side port has a disinfecting cap."
    )


# -- shapes --


class Opening(CareEvent):
    """Begins a needle's stay in a septum."""


class Closing(CareEvent):
    """Ends a needle's stay in a septum."""


class Tending(CareEvent):
    """Work on or through a line."""


class Observing(CareEvent):
    """A look or a judgement; nothing is done to the line."""


class Moving(Event):
    """Changes where the patient is, or whether the port is in the body."""


class Correcting(Event):
    """Changes how an earlier event is read. ``at`` is when the correction was made; the original stays."""

    of: Identifier = required("corrected event", "Identifier of the event that this corrects.")
    reason: Text | None = fact("reason for the correction", "Why the entry is corrected.")


# -- kinds --


class Access(Opening, SiteSeen, Proved, Flushed, Dressed):
    """A non-coring needle is put into the port and the line is proved."""

    kind: Literal["access"]
    follows_removal: Identifier | None = fact(
        "removal it follows", "In a needle change: identifier of the de-access that belongs to this access."
    )
    tip_confirmed: YesNo | NotAssessed | None = fact(
        "tip position confirmed", "Yes when tip position is known to be confirmed before first use."
    )
    anaesthetic: Literal["none used"] | Anaesthetic | NotAssessed | None = fact(
        "local anaesthetic", "Agent with amount and times, or none used."
    )
    extension_primed: YesNo | None = fact("extension primed", "Yes when primed with saline and clamped.")
    needle: Needle | None = fact("needle", "Gauge, length, kind, lot.")
    attempts: Annotated[int, Field(ge=1, le=20)] | None = fact("number of attempts", "Needle passes made.")
    infusion: Text | None = fact("infusion connected", "What runs after the access, if anything.")


class ArrivalAccessed(Opening, SiteSeen, Proved):
    """The patient arrives with a needle already in; its details may be unknown."""

    kind: Literal["arrival accessed"]
    came_from: Short | None = fact("where from", "Where the patient came from.")
    needle: Needle | NotAssessed | None = fact("needle", "What is known of the needle.")
    inserted_at: Moment | NotAssessed | None = fact("time of insertion", "When the needle was put in, if known.")
    dressing: Dressing | NotAssessed | None = fact("dressing", "The dressing found.")
    dressing_found: tuple[words.DressingCondition, ...] | NotAssessed | None = fact(
        "condition of the dressing", "Condition of the dressing found."
    )
    dressed_at: Moment | NotAssessed | None = fact("time of dressing", "When the dressing was put on, if known.")
    infusion: Text | None = fact("infusion connected", "What runs on arrival, if anything.")


class Deaccess(Closing, SiteSeen, Proved, Flushed):
    """The needle is taken out."""

    kind: Literal["de-access"]
    needle_intact: YesNo | NotAssessed | None = fact("needle whole", "Yes when the needle came out whole.")
    safety_engaged: YesNo | NotAssessed | None = fact("safety device", "Yes when the needle's safety device locked.")
    bleeding: words.Bleeding | NotAssessed | None = fact("bleeding", "Bleeding after removal.")
    cover: Short | NotDone | None = fact("cover", "What covers the puncture.")


class DressingChange(Tending, SiteSeen, Dressed):
    """The dressing is exchanged while the needle stays in."""

    kind: Literal["dressing change"]
    dressing_found: tuple[words.DressingCondition, ...] | NotAssessed | None = fact(
        "condition of the old dressing", "Condition of the dressing taken off."
    )


class LineCheck(Observing, SiteSeen, Proved):
    """The look at each shift."""

    kind: Literal["line check"]
    dressing_found: tuple[words.DressingCondition, ...] | NotAssessed | None = fact(
        "condition of the dressing", "Condition of the dressing."
    )
    connections_secure: YesNo | NotAssessed | None = fact(
        "connections", "Yes when connections are tight, clamps right."
    )
    infusion: Text | None = fact("running infusion", "What runs, if anything.")


class FlushOrLock(Tending, SiteSeen, Proved, Flushed):
    """The line is flushed, locked or both while the needle stays in."""

    kind: Literal["flush"]


class LineUse(Tending, SiteSeen, Proved):
    """Something is given or drawn through the line."""

    kind: Literal["line use"]
    purpose: words.UsePurpose = required("purpose", "What the line was used for.")
    action: words.UseAction | None = fact("action", "started, stopped or given.")
    what: Short | None = fact("what was given", "Drug, fluid or sample, spelled out.")
    vesicant: YesNo | NotAssessed | None = fact("vesicant", "Yes when it harms tissue outside the vein.")
    flow_ml_per_s: Positive | None = fact("injection rate", "Power injection rate, in mL per second.")
    pressure_psi: Positive | None = fact("injection pressure limit", "Limit set on the injector, in psi.")
    blood_return_before: words.BloodReturn | NotAssessed | None = fact(
        "blood return before use", "Blood return right before the use."
    )


class PatencyTreatment(Tending, SiteSeen, Proved, Flushed):
    """A thrombolytic is put in and left to dwell. ``at`` is the moment of instillation."""

    kind: Literal["patency treatment"]
    drug: words.ThrombolyticDrug = required("thrombolytic", "What was put in.")
    dose_mg: Positive | None = fact("dose", "Alteplase, in mg.")
    dose_units: Positive | None = fact("dose in units", "Urokinase, in units.")
    volume_ml: Positive | None = fact("instilled volume", "Volume put in, in mL.")
    lumen_ml: Positive | None = fact("lumen volume", "Internal volume of the lumen, in mL.")
    reconstituted_at: Moment | None = fact("time of mixing", "When the drug was reconstituted.")
    second_dose_of: Identifier | None = fact("second dose of", "Identifier of the first dose's event.")
    patency_before: Literal["no blood return", "no flush and no blood return", "sluggish"] | None = fact(
        "patency before", "State of the line before the dose."
    )
    drug_lot: Short | None = fact("thrombolytic lot", "Lot number on the label.")


class PatencyCheck(Observing, SiteSeen, Proved, Flushed):
    """The look at a dwelling thrombolytic, at 30 and at 120 minutes."""

    kind: Literal["patency check"]
    treatment: Identifier = required("treatment", "Identifier of the treatment that is checked.")
    withdrawn_ml: Quantity | None = fact("withdrawn volume", "Aspirate taken off after success, in mL.")


class Evaluation(Observing, SiteSeen):
    """Vascular access specialists or a physician judge a line on hold."""

    kind: Literal["evaluation"]
    cleared_by: Person | None = fact("who evaluated", "Specialist or physician who judged the line.")
    decision: words.EvaluationDecision | None = fact("decision", "What they decided.")
    evidence: tuple[words.Evidence, ...] = Field(
        default=(), title="evidence", description="What the decision rests on."
    )
    finding: Text | None = fact("finding", "What the evaluation showed.")


class Transfer(Moving):
    """The patient moves to another unit."""

    kind: Literal["transfer"]
    to_unit: Short = required("new unit", "Unit that takes the patient.")
    to_room: Short | None = fact("new room", "Room on the new unit.")
    to_setting: words.Setting | None = fact("setting", "Kind of place the new unit is.")
    handed_to: Person | None = fact("who took over", "Nurse who took over the line.")


class Discharge(Moving):
    """The patient leaves the facility."""

    kind: Literal["discharge"]
    destination: words.DestinationName | None = fact("destination", "Where the patient goes.")
    needle_in: YesNo | None = fact("needle left in", "Yes when the patient leaves with the needle in.")
    handed_to: Person | None = fact("who takes over", "Who looks after the line from here.")
    next_due: NextDue | None = fact("next due as told", "What the patient was told is next due.")
    teaching: Teaching | NotDone | None = fact("teaching", "What was taught and understood.")


class PortImplanted(Moving):
    """The port is implanted during this episode."""

    kind: Literal["port implanted"]
    tip_location: Short | None = fact("tip location", "Where the tip lies.")
    tip_method: Short | None = fact("confirmed by", "How tip position was confirmed.")


class PortRemoved(Moving):
    """The port is taken out of the body."""

    kind: Literal["port removed"]
    reason: Text | None = fact("reason", "Why it was removed.")
    complete: YesNo | None = fact("removed whole", "Yes when port and catheter came out whole.")


class Addendum(Correcting):
    """Adds omitted facts to an event; nothing recorded changes."""

    kind: Literal["addendum"]
    adds: dict[str, Any] = Field(
        default_factory=dict,
        title="added facts",
        description="Facts of the event that were left out, by key.",
    )
    text: Text | None = fact("added text", "What is added, in the nurse's own words.")


class Amendment(Correcting):
    """Replaces wrong facts of an event after signing; the original stays readable."""

    kind: Literal["amendment"]
    sets: dict[str, Any] = Field(title="corrected facts", description="The right facts, by key.")


class Retraction(Correcting):
    """Takes a wrong entry out of view, such as one made on the wrong patient."""

    kind: Literal["retraction"]


AnyEvent: TypeAlias = Annotated[
    Access
    | ArrivalAccessed
    | Deaccess
    | DressingChange
    | LineCheck
    | FlushOrLock
    | LineUse
    | PatencyTreatment
    | PatencyCheck
    | Evaluation
    | Transfer
    | Discharge
    | PortImplanted
    | PortRemoved
    | Addendum
    | Amendment
    | Retraction,
    Field(discriminator="kind"),
]

KINDS: Final[dict[str, type[Event]]] = {
    get_args(kind.model_fields["kind"].annotation)[0]: kind for kind in get_args(get_args(AnyEvent)[0])
}
"""Every kind by its tag."""
