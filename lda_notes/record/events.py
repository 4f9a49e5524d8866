"""Every event kind, declared here and nowhere else.

A *shape* says what an event does to the port's life (opens or closes access, tends, observes, moves, corrects);
a *kind* is a small class under a shape. Shapes are closed: code that must treat them all matches exhaustively.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Final, Literal, TypeAlias, get_args

from pydantic import Field

from lda_notes.record import vocabulary as words
from lda_notes.record.parts import (
    FORMER_KEYS,
    Allergy,
    AllergyWithdrawn,
    Anesthetic,
    Antisepsis,
    BleedingRisk,
    Condition,
    Cultures,
    Day,
    DespiteHold,
    Dressing,
    Flush,
    Identifier,
    Lock,
    Model,
    Moment,
    Needle,
    NeedleRemoval,
    NextDue,
    NotAssessed,
    NotDone,
    Person,
    Positive,
    PowerRating,
    Problem,
    Puncture,
    Quantity,
    Score,
    Seal,
    Short,
    Sign,
    Site,
    Supply,
    Teaching,
    Technique,
    Text,
    TipConfirmation,
    YesNo,
    fact,
    required,
    several,
)


class Event(Model):
    """What every event has: who, when it happened, when it was charted.

    A kind says as arguments of its class what else is to be known of it: ``title`` heads its note, ``rank`` places it
    among events of the same minute (see `KINDS`), ``command`` is the word by which it is charted (empty for what is
    charted otherwise), ``stem`` begins the names that its events are given, ``noun`` is what sentences call it.
    """

    titled: ClassVar[str]
    rank: ClassVar[int]
    command: ClassVar[str]
    stem: ClassVar[str]
    noun: ClassVar[str]

    def __init_subclass__(
        cls, *, titled: str = "", rank: int = 0, command: str = "", stem: str = "", noun: str = "", **_: Any
    ) -> None:
        """Keep what a kind says of itself."""
        super().__init_subclass__()
        cls.titled, cls.rank, cls.command, cls.stem, cls.noun = titled, rank, command, stem, noun

    @classmethod
    def __pydantic_init_subclass__(cls, **_: Any) -> None:
        """Fill in from a kind's tag what it does not say of itself."""
        field = cls.model_fields.get("kind")
        tag = str(get_args(field.annotation)[0]) if field is not None else ""
        cls.titled = cls.titled or tag.capitalize()
        cls.stem, cls.noun = cls.stem or tag.replace(" ", "-"), cls.noun or tag

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
    seal: Seal | None = fact("seal", "Written by the program when the entry is signed; never by hand.")


def unsealed(event: Event) -> Event:
    """Return an event as it was before the writer sealed it."""
    return event if event.seal is None else event.model_copy(update={"seal": None})


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
    signs: tuple[Sign, ...] = several("signs", "Signs that bear on the line: what, where, since when, during what.")
    explained_and_agreed: YesNo | NotAssessed | None = fact(
        "explanation and agreement", "Yes when it was explained and patient or parent agreed."
    )
    despite_hold: DespiteHold | None = fact(
        "order despite the hold", "A named prescriber's order to use the line although it is on hold."
    )


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
    discard_method: words.DiscardMethod | None = fact("way of discarding", "What became of the first aspirate.")
    samples: tuple[Short, ...] = Field(default=(), title="samples", description="Blood samples drawn.")


class Flushed(Model):
    """What went through the line and what stayed in it."""

    hub_scrub_s: Quantity | None = fact("connector scrub time", "Scrub of the needleless connector, in seconds.")
    flushes: tuple[Flush, ...] | NotDone | None = fact("flush", "Flushes in the order given.")
    old_lock: words.OldLock | None = fact("old lock", "What became of the lock that was in the line before.")
    lock: Lock | NotDone | None = fact("lock", "What the line is locked with.")


class Dressed(Model):
    """Skin antisepsis, technique and the dressing put on."""

    antisepsis: Antisepsis | NotDone | None = fact("skin antisepsis", "Agent, friction and drying.")
    technique: Technique | None = fact("technique", "Hand hygiene, masks, sterile gloves, sterile field.")
    dressing: Dressing | NotDone | None = fact("dressing", "The dressing put on.")
    taken_off: tuple[words.TakenOff, ...] = several(
        "taken off because of a reaction", "What was taken off the skin because of a reaction to it."
    )
    connector_changed: YesNo | NotDone | None = fact(
        "connector change", "Yes when the needleless connector was changed."
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


class Access(Opening, SiteSeen, Proved, Flushed, Dressed, rank=70, command="access"):
    """A non-coring needle is put into the port and the line is proved."""

    kind: Literal["access"]
    follows_removal: Identifier | None = fact(
        "removal it follows", "In a needle change: identifier of the de-access that belongs to this access."
    )
    tip_confirmed: YesNo | NotAssessed | None = fact(
        "tip position confirmed", "Yes when tip position is known to be confirmed before first use."
    )
    anesthetic: Literal["none used"] | Anesthetic | NotAssessed | None = fact(
        "local anesthetic",
        "Agent with amount and times, or none used.",
        renamed="anesthetic",
    )
    extension_primed: YesNo | None = fact("extension primed", "Yes when primed with saline and clamped.")
    needle: Needle | None = fact("needle", "Gauge, length, kind, lot.")
    needle_wings: words.NeedleWings | None = fact(
        "wings of the needle", "How the wings lie: level with the skin, stand proud, press in."
    )
    punctures: tuple[Puncture, ...] = several(
        "punctures", "Each pass of a needle: which, by whom, what came of it; the last is the needle that stays."
    )
    attempts: Annotated[int, Field(ge=1, le=20)] | None = fact("number of attempts", "Needle passes made.")
    infusion: Text | None = fact("infusion connected", "What runs after the access, if anything.")


class ArrivalAccessed(
    Opening,
    SiteSeen,
    Proved,
    titled="Arrival with a needle in",
    rank=20,
    command="arrival",
    stem="arrival",
    noun="arrival",
):
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


class Deaccess(Closing, SiteSeen, Proved, Flushed, rank=60, command="deaccess", stem="removal"):
    """The needle is taken out."""

    kind: Literal["de-access"]
    needle_intact: YesNo | NotAssessed | None = fact("needle whole", "Yes when the needle came out whole.")
    missing_piece: Text | None = fact("missing piece", "What is missing of the needle, and where it is looked for.")
    safety_engaged: YesNo | NotAssessed | None = fact("safety device", "Yes when the needle's safety device locked.")
    bleeding: words.Bleeding | NotAssessed | None = fact("bleeding", "Bleeding after removal.")
    cover: Short | NotDone | None = fact("cover", "What covers the puncture.")


class DressingChange(Tending, SiteSeen, Dressed, rank=80, command="dressing", stem="dressing"):
    """The dressing is exchanged while the needle stays in."""

    kind: Literal["dressing change"]
    dressing_found: tuple[words.DressingCondition, ...] | NotAssessed | None = fact(
        "condition of the old dressing", "Condition of the dressing taken off."
    )


class LineCheck(Observing, SiteSeen, Proved, rank=30, command="check", stem="check"):
    """The look at each shift."""

    kind: Literal["line check"]
    dressing_found: tuple[words.DressingCondition, ...] | NotAssessed | None = fact(
        "condition of the dressing", "Condition of the dressing."
    )
    connections_secure: YesNo | NotAssessed | None = fact(
        "connections", "Yes when connections are tight, clamps right."
    )
    infusion: Text | None = fact("running infusion", "What runs, if anything.")
    nothing_runs: YesNo | None = fact("nothing runs", "Yes when nothing runs any more.")
    vesicant: YesNo | NotAssessed | None = fact("vesicant", "Yes when what runs harms tissue outside the vein.")
    needle_wings: words.NeedleWings | None = fact(
        "wings of the needle", "How the wings lie: level with the skin, stand proud, press in."
    )
    found: tuple[words.FoundAtLine, ...] = several("found at the line", "What was found wrong at the line.")


class FlushOrLock(Tending, SiteSeen, Proved, Flushed, titled="Flush and lock", rank=90, command="flush"):
    """The line is flushed, locked or both while the needle stays in."""

    kind: Literal["flush"]


class LineUse(Tending, SiteSeen, Proved, titled="Use of the line", rank=110, command="use", stem="use"):
    """Something is given or drawn through the line."""

    kind: Literal["line use"]
    purpose: words.UsePurpose = required("purpose", "What the line was used for.")
    action: words.UseAction | None = fact("action", "started, stopped or given.")
    what: Short | None = fact("what was given", "Drug, fluid or sample, spelled out.")
    product: Short | None = fact("product", "The product as its label names it.")
    vesicant: YesNo | NotAssessed | None = fact("vesicant", "Yes when it harms tissue outside the vein.")
    old_lock: words.OldLock | None = fact("old lock", "What became of the lock that was in the line before.")
    cultures: Cultures | None = fact("blood cultures", "How blood cultures were drawn.")
    flow_ml_per_s: Positive | None = fact("injection rate", "Power injection rate, in mL per second.")
    pressure_psi: Positive | None = fact("injection pressure limit", "Limit set on the injector, in psi.")
    blood_return_before: words.BloodReturn | NotAssessed | None = fact(
        "blood return before use", "Blood return right before the use."
    )


class PatencyTreatment(Tending, SiteSeen, Proved, Flushed, rank=100, command="treatment", stem="treatment"):
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
    bleeding_risk: BleedingRisk | None = fact("bleeding risk", "What was asked before the dose.")


class PatencyCheck(Observing, SiteSeen, Proved, Flushed, rank=50, command="patency"):
    """The look at a dwelling thrombolytic, at 30 and at 120 minutes."""

    kind: Literal["patency check"]
    treatment: Identifier = required("treatment", "Identifier of the treatment that is checked.")
    withdrawn_ml: Quantity | None = fact("withdrawn volume", "Aspirate taken off after success, in mL.")


class Evaluation(Observing, SiteSeen, titled="Evaluation of the line", rank=40, command="evaluation"):
    """Vascular access specialists or a physician judge a line on hold."""

    kind: Literal["evaluation"]
    cleared_by: Person | None = fact("who evaluated", "Specialist or physician who judged the line.")
    decision: words.EvaluationDecision | None = fact("decision", "What they decided.")
    evidence: tuple[words.Evidence, ...] = Field(
        default=(), title="evidence", description="What the decision rests on."
    )
    finding: Text | None = fact("finding", "What the evaluation showed.")
    limits: tuple[words.LineLimit, ...] = several("limits of use", "What the line may not be used for.")
    lifts: tuple[words.LineLimit, ...] = several("limits lifted", "Limits of use that end.")
    ends: tuple[Short, ...] = several("holds that end", "Reasons of the holds that end by this, or all.")


class Transfer(Moving, rank=130, command="transfer"):
    """The patient moves to another unit."""

    kind: Literal["transfer"]
    to_unit: Short = required("new unit", "Unit that takes the patient.")
    to_room: Short | None = fact("new room", "Room on the new unit.")
    to_setting: words.Setting | None = fact("setting", "Kind of place the new unit is.")
    handed_to: Person | None = fact("who took over", "Nurse who took over the line.")


class Discharge(Moving, rank=140, command="discharge"):
    """The patient leaves the facility."""

    kind: Literal["discharge"]
    destination: words.DestinationName | None = fact("destination", "Where the patient goes.")
    needle_in: YesNo | None = fact("needle left in", "Yes when the patient leaves with the needle in.")
    handed_to: Person | None = fact("who takes over", "Who looks after the line from here.")
    needle_removal: NeedleRemoval | None = fact(
        "removal of the needle", "Who takes the needle out, when, and whom to call if it comes out."
    )
    next_due: NextDue | None = fact("next due as told", "What the patient was told is next due.")
    teaching: Teaching | NotDone | None = fact("teaching", "What was taught and understood.")


class PortImplanted(Moving, rank=10, command="implanted", stem="implanted", noun="implantation"):
    """The port is implanted during this episode."""

    kind: Literal["port implanted"]
    tip_location: Short | None = fact("tip location", "Where the tip lies.")
    tip_method: Short | None = fact("confirmed by", "How tip position was confirmed.")


class PortRemoved(Moving, rank=150, command="removed", stem="port-removed", noun="removal of the port"):
    """The port is taken out of the body."""

    kind: Literal["port removed"]
    reason: Text | None = fact("reason", "Why it was removed.")
    complete: YesNo | None = fact("removed whole", "Yes when port and catheter came out whole.")


class NeedleDislodged(Observing, SiteSeen, rank=35, command="dislodged", stem="dislodged"):
    """The needle has come out of its place, in part or altogether, and nobody took it out."""

    kind: Literal["needle dislodged"]
    extent: words.DislodgedExtent | None = fact("how far the needle is out", "partly out or completely out.")
    running: Short | None = fact("what ran", "What ran when it was found, or nothing.")
    actions: tuple[words.DislodgedAction, ...] = several("what was done", "What was done about it.")


class ExtravasationCare(
    Tending, SiteSeen, titled="Care of an extravasation", rank=120, command="extravasation", stem="extravasation"
):
    """What was done after something given through the line went beside the vein, or may have."""

    kind: Literal["extravasation care"]
    product: Short | None = fact("product", "The product as its label names it.")
    estimated_ml: Quantity | None = fact("estimated volume outside the vein", "Estimated volume, in mL.")
    aspirated_ml: Quantity | None = fact("volume aspirated", "Volume drawn back through the needle, in mL.")
    antidote: Short | NotDone | None = fact("antidote", "What was given against it, as ordered.")
    compress: words.Compress | None = fact("compress", "warm, cold or none.")
    photograph: YesNo | None = fact("photograph taken", "Yes when a photograph was taken.")
    follow_up: Text | None = fact("follow-up", "When the site is looked at again, and by whom.")


class PatientFacts(Moving, titled="Facts of the patient", rank=4, command="patient"):
    """Facts of the patient change, or become known, on a day of the stay."""

    kind: Literal["patient facts"]
    allergies: tuple[Allergy, ...] = several("allergies found", "Allergies that became known.")
    allergies_withdrawn: tuple[AllergyWithdrawn, ...] = several("allergies withdrawn", "Allergies that are none.")
    history: tuple[Condition, ...] = several("conditions found", "Conditions that became known, and when.")
    weight_kg: Positive | None = fact("weight", "Weight, in kg.")
    room: Short | None = fact("room", "Room that the patient is in from now on.")
    carer: Short | None = fact("carer", "Who looks after the patient at home.")


class PortFacts(Moving, titled="Facts of the port", rank=6, command="port"):
    """Facts of the port become known: from its card, a radiograph or a report."""

    kind: Literal["port facts"]
    tip: TipConfirmation | None = fact("tip confirmation", "How it is known where the tip lies.")
    power: PowerRating | None = fact("power rating", "What the label allows for power injection.")
    catheter_volume_ml: Positive | None = fact("catheter volume", "Volume of catheter and port, in mL.")
    valved: YesNo | None = fact("valved", "Yes when the catheter has a valve.")
    arm_history: tuple[words.ArmHistory, ...] = several("history of that arm", "What is known of the port's side.")
    source: words.PortSource | None = fact("source", "Where it is known from.")


class FlushedElsewhere(Moving, rank=8, command="elsewhere"):
    """The port was flushed by somebody else, as the patient or that place says."""

    kind: Literal["flushed elsewhere"]
    septum: Short | None = fact("septum", "Which septum; only asked of a port with two.")
    on: Day = required("day of that flush", "Day on which it was flushed.")
    where: Short | None = fact("place of that flush", "Where it was flushed.")
    by_word_of: Short | None = fact("by whose word", "Who says so: the patient, a letter, that place.")
    lock: Lock | NotAssessed | None = fact("lock", "What the line was locked with.")


class Addendum(Correcting, rank=160):
    """Adds omitted facts to an event; nothing recorded changes."""

    kind: Literal["addendum"]
    adds: dict[str, Any] = Field(
        default_factory=dict,
        title="added facts",
        description="Facts of the event that were left out, by key.",
    )
    text: Text | None = fact("added text", "What is added, in the nurse's own words.")


class Amendment(Correcting, rank=170):
    """Replaces wrong facts of an event after signing; the original stays readable."""

    kind: Literal["amendment"]
    sets: dict[str, Any] = Field(title="corrected facts", description="The right facts, by key.")


class Retraction(Correcting, rank=180):
    """Takes a wrong entry out of view, such as one made on the wrong patient."""

    kind: Literal["retraction"]


class CoSignature(Correcting, rank=190):
    """A second person signs for an entry; nothing recorded changes. ``by`` is the co-signer."""

    kind: Literal["co-signature"]
    role: words.CoSigner | None = fact("role of the co-signer", "preceptor, instructor or second nurse.")


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
    | NeedleDislodged
    | ExtravasationCare
    | Transfer
    | Discharge
    | PortImplanted
    | PortRemoved
    | PatientFacts
    | PortFacts
    | FlushedElsewhere
    | Addendum
    | Amendment
    | Retraction
    | CoSignature,
    Field(discriminator="kind"),
]

KINDS: Final[dict[str, type[Event]]] = {
    get_args(kind.model_fields["kind"].annotation)[0]: kind for kind in get_args(get_args(AnyEvent)[0])
}
"""Every kind by its tag. Of events of one minute looks come first, removal before access, leaving last."""


def as_spelled(kind: type[Event], values: Mapping[str, Any]) -> dict[str, Any]:
    """Return facts of a kind by the keys of this version of the layout, whatever version they were written in."""
    now = {old: key for key, old in FORMER_KEYS.items() if key in kind.model_fields}
    return {now.get(key, key): value for key, value in values.items()}
