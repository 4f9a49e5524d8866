"""Every event kind, declared here and nowhere else.

A *shape* says what an event does to the port's life (opens or closes access, tends, observes, moves, corrects);
a *kind* is a small class under a shape. Shapes are closed: code that must treat them all matches exhaustively.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Final, Literal, TypeAlias, get_args

from pydantic import Field

from lda_notes.knowledge.askers import (
    AHIMA,
    AYRSHIRE,
    CDC,
    CMS,
    COP,
    CP,
    GOAL,
    HOME,
    INS,
    LABEL,
    MARSDEN,
    NHSN,
    ONS,
    OPEN_RN,
    POWER,
    REVISION,
    US_HOSPITAL,
)
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
    may,
    must,
    required,
    several,
    should,
)


class Event(Model):
    """What every event has: who, when it happened, when it was charted.

    A kind says as arguments of its class what else is to be known of it: ``titled`` heads its note, ``rank`` places it
    among events of the same minute (see `KINDS`), ``command`` is the word by which it is charted (empty for what is
    charted otherwise), ``stem`` begins the names that its events are given, ``noun`` is what sentences call it,
    ``asks`` are the facts that are asked of it, in the order of the work.
    """

    if TYPE_CHECKING:
        kind: str
        """The tag of the kind, which every kind declares as its own literal."""

    titled: ClassVar[str]
    rank: ClassVar[int]
    command: ClassVar[str]
    stem: ClassVar[str]
    noun: ClassVar[str]
    asks: ClassVar[tuple[str, ...]]

    def __init_subclass__(
        cls,
        *,
        titled: str = "",
        rank: int = 0,
        command: str = "",
        stem: str = "",
        noun: str = "",
        asks: str = "",
        **_: Any,
    ) -> None:
        """Keep what a kind says of itself."""
        super().__init_subclass__()
        cls.titled, cls.rank, cls.command, cls.stem, cls.noun = titled, rank, command, stem, noun
        cls.asks = tuple(asks.split())

    @classmethod
    def __pydantic_init_subclass__(cls, **_: Any) -> None:
        """Fill in from a kind's tag what it does not say of itself."""
        field = cls.model_fields.get("kind")
        tag = str(get_args(field.annotation)[0]) if field is not None else ""
        cls.titled = cls.titled or tag.capitalize()
        cls.stem, cls.noun = cls.stem or tag.replace(" ", "-"), cls.noun or tag

    id: Identifier = required("event identifier", "Name of this event, unique in the file.")
    at: Moment = required("time of the event", "When it happened, with offset: 2031-03-04T09:40-06:00.")
    charted_at: Moment | None = fact(
        "time of entry",
        "When it was charted.",
        need=should(
            "When was it charted?",
            COP,
            CMS,
            why="An entry shows two times: when it happened and when it was written down.",
        ),
    )
    by: Person | None = fact(
        "author",
        "Who did it and signs for it.",
        need=must(
            "Who is charting?",
            COP,
            CDC,
            INS,
            why="An entry that nobody signs is no entry: reviewers set it aside.",
            who="the nurse: name, credential, id?",
        ),
    )
    verified_by: Person | None = fact(
        "verifier",
        "Second nurse who watched and verified.",
        need=must(
            "Who watched and verified?",
            CP,
            why="A nurse new to the procedure works under the eyes of a second one who has the competence; both sign.",
            when="needs_verifier",
            option="verifier_required",
            who="the verifier: name, credential",
        ),
    )
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

    septum: Short | None = fact(
        "septum",
        "Which septum; only asked of a port with two.",
        need=must(
            "Which septum?",
            INS,
            HOME,
            OPEN_RN,
            why="On a port with two septa each has its own needle, clocks and hold; a record without the "
            "septum can be put down to the wrong one.",
            when="two_septa",
        ),
    )
    identifiers_checked: tuple[words.IdentifierUsed, ...] | NotAssessed | None = fact(
        "patient identifiers checked",
        "What was compared to identify the patient, two at least.",
        need=must(
            "What did you compare to identify the patient?",
            GOAL,
            OPEN_RN,
            why="Comparing two identifiers before a procedure is what keeps it from being done to the wrong patient.",
            when="under way",
        ),
    )
    allergies_checked: YesNo | NotAssessed | None = fact(
        "allergy check",
        "Yes when allergies were checked.",
        need=should(
            "Did you check the allergies?",
            OPEN_RN,
            INS,
            why="Antiseptic, adhesive, latex, anesthetic and heparin all touch the patient during this work.",
            when="under way",
            reported="drug_or_skin",
        ),
    )
    order: Short | None = fact(
        "order or protocol",
        "Order or protocol reference.",
        need=must(
            "Which order or protocol?",
            US_HOSPITAL,
            OPEN_RN,
            LABEL,
            why="Work on a central line rests on an order or a standing protocol; the record has to name it "
            "where policy asks.",
            when="under way",
            option="order_reference_required",
            reported="drug_or_skin",
        ),
    )
    reason: Text | None = fact(
        "reason",
        "Why it was done.",
        need=may(
            "Why was it done?",
            INS,
            why="The reason tells the next reader whether the needle is still needed.",
            when="why due",
        ),
    )
    problems: tuple[Problem, ...] = several(
        "problems",
        "Problems, what was done, who was told, what they answered.",
        need=must(
            "What was wrong?",
            INS,
            US_HOSPITAL,
            ONS,
            why="The event shows trouble with the line; a record that shows it without saying what was done "
            "leaves the next nurse alone with it.",
            when="in_trouble",
        ),
    )
    response: words.Response | NotAssessed | None = fact(
        "patient response",
        "How the patient took it.",
        need=may(
            "How did the patient take it?",
            INS,
            why="How the patient took the procedure decides how the next one is planned.",
            when="response due",
        ),
    )
    pain: Score | NotAssessed | None = fact(
        "pain score",
        "Pain, 0 to 10.",
        need=may("Pain, 0 to 10?", INS, why="Pain at the port is a sign of a needle out of place and of infection."),
    )
    teaching: Teaching | NotDone | None = fact(
        "teaching",
        "What was taught and understood.",
        need=should(
            "Was anything taught?",
            INS,
            HOME,
            why="The patient is the first to notice trouble with the line, if told what to look for.",
            reported="taught_now",
        ),
    )
    supplies: tuple[Supply, ...] = Field(
        default=(), title="supplies", description="Further supplies used, as their labels tell."
    )
    next_due: NextDue | None = fact(
        "next due as told",
        "What the nurse told or wrote as next due.",
        need=may(
            "What is due next?",
            HOME,
            AYRSHIRE,
            why="The told time is compared with the one worked out from the record, so that a wrong plan is "
            "seen early.",
        ),
    )
    signs: tuple[Sign, ...] = several(
        "signs",
        "Signs that bear on the line: what, where, since when, during what.",
        need=should(
            "Which signs, such as fever, chills, pain or burning?",
            INS,
            why="A sign with its place and time tells what to look for; words such as unwell do not.",
            when="signs_told",
        ),
    )
    explained_and_agreed: YesNo | NotAssessed | None = fact(
        "explanation and agreement",
        "Yes when it was explained and patient or parent agreed.",
        need=may(
            "Was it explained, and did patient or parent agree?",
            INS,
            why="A needle is put in with the agreement of the one who gets it.",
        ),
    )
    despite_hold: DespiteHold | None = fact(
        "order despite the hold",
        "A named prescriber's order to use the line although it is on hold.",
        need=must(
            "Who ordered the use despite the hold, and for what?",
            CP,
            why="Only a named prescriber may order a line on hold to be used, and only for what the order names.",
            when="despite_hold",
        ),
    )


class SiteSeen(Model):
    """Facts of a look at the site."""

    site: Site | NotAssessed | None = fact(
        "site assessment",
        "The look at the skin over and around the port.",
        need=must(
            "How did the site look?",
            US_HOSPITAL,
            AYRSHIRE,
            MARSDEN,
            INS,
            why="Infection, swelling and a flipped port are first seen at the site, and a needle must not "
            "go through them.",
        ),
    )


class Proved(Model):
    """Facts that prove the line, or fail to."""

    blood_return: words.BloodReturn | NotAssessed | None = fact(
        "blood return",
        "present, sluggish or none; none is a finding, a missing key is a gap.",
        need=must(
            "Blood return: present, sluggish or none?",
            INS,
            ONS,
            AYRSHIRE,
            why="Blood return is the proof that the needle is in the port and the tip in the vein; without "
            "the record nobody knows whether the line was proved.",
            when="proof due",
        ),
    )
    blood_looks: words.BloodLooks | None = fact(
        "look of the blood",
        "Colour and consistency of the aspirate.",
        need=should(
            "How did the blood look?",
            INS,
            ONS,
            why="Thin or clotted aspirate is not the same proof as whole blood.",
            when="blood",
            reported="proves_the_line",
        ),
    )
    steps_tried: tuple[words.RestoringStep, ...] = several(
        "steps tried",
        "What was tried to get blood return.",
        need=should(
            "What was tried to get blood?",
            INS,
            ONS,
            why="The specialist who evaluates the line has to know what was tried already.",
            when="no_blood",
            reported="not a use",
        ),
    )
    discard_ml: Quantity | NotDone | None = fact(
        "discard volume",
        "First aspirate thrown away, in mL.",
        need=may(
            "How much of the first aspirate was discarded, in mL?",
            AYRSHIRE,
            INS,
            why="The first aspirate holds the old lock; giving it back or sampling from it does harm.",
            when="blood drawn",
        ),
    )
    discard_method: words.DiscardMethod | None = fact(
        "way of discarding",
        "What became of the first aspirate.",
        need=may(
            "What became of the first aspirate?",
            CP,
            why="The first aspirate contains the old lock.",
            when="discarded_some",
        ),
    )
    samples: tuple[Short, ...] = several(
        "samples",
        "Blood samples drawn.",
        need=must(
            "Which samples were drawn?",
            AYRSHIRE,
            INS,
            why="What went through the line matters for occlusion, compatibility and tissue injury.",
            when="sampling",
        ),
    )


class Flushed(Model):
    """What went through the line and what stayed in it."""

    hub_scrub_s: Quantity | None = fact(
        "connector scrub time",
        "Scrub of the needleless connector, in seconds.",
        need=may(
            "How long was the connector scrubbed, in seconds?",
            INS,
            why="The needleless connector is the way in for most later infections.",
            when="flush due",
        ),
    )
    flushes: tuple[Flush, ...] | NotDone | None = fact(
        "flush",
        "Flushes in the order given.",
        need=must(
            "Was the line flushed?",
            INS,
            AYRSHIRE,
            why="A line that is not flushed clots; a flush without a record may be left out or doubled by "
            "the next nurse.",
            when="flush due",
        ),
    )
    old_lock: words.OldLock | None = fact(
        "old lock",
        "What became of the lock that was in the line before.",
        need=should(
            "What became of the lock that was in the line?",
            CP,
            why="A strong heparin or alcohol lock that is flushed in reaches the circulation as a dose.",
            when="old_lock_in",
        ),
    )
    lock: Lock | NotDone | None = fact(
        "lock",
        "What the line is locked with.",
        need=must(
            "Was the line locked?",
            INS,
            AYRSHIRE,
            why="What is left in the line is a drug: the next nurse has to withdraw it, and the next dose "
            "counts with it.",
            when="lock due",
        ),
    )


class Dressed(Model):
    """Skin antisepsis, technique and the dressing put on."""

    antisepsis: Antisepsis | NotDone | None = fact(
        "skin antisepsis",
        "Agent, friction and drying.",
        need=must(
            "Was the skin disinfected?",
            INS,
            OPEN_RN,
            why="The antiseptic is the main protection against infection and a known cause of allergic reactions.",
        ),
    )
    technique: Technique | None = fact(
        "technique",
        "Hand hygiene, masks, sterile gloves, sterile field.",
        need=should(
            "How was it kept sterile?",
            INS,
            OPEN_RN,
            why="A bloodstream infection later is traced back to how the needle went in.",
        ),
    )
    dressing: Dressing | NotDone | None = fact(
        "dressing",
        "The dressing put on.",
        need=must(
            "Was a dressing put on?",
            INS,
            why="The dressing keeps needle and site clean; what is on decides when it is due.",
            when="dressing due",
        ),
    )
    taken_off: tuple[words.TakenOff, ...] = several(
        "taken off because of a reaction", "What was taken off the skin because of a reaction to it."
    )
    connector_changed: YesNo | NotDone | None = fact(
        "connector change",
        "Yes when the needleless connector was changed.",
        need=may(
            "Was the needleless connector changed?",
            US_HOSPITAL,
            INS,
            why="A connector has an interval of its own, which runs from its last change.",
        ),
    )
    disinfecting_caps: YesNo | NotDone | None = fact(
        "disinfecting caps",
        "Yes when every needleless connector and side port has a disinfecting cap.",
        need=may(
            "Disinfecting cap on every connector?",
            CP,
            why="An uncapped connector has to be scrubbed before each use and is easily forgotten.",
            option="disinfecting_cap_expected",
        ),
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

    of: Identifier = required(
        "corrected event", "Identifier of the event that this corrects.", need=must("Which entry is it about?", AHIMA)
    )
    reason: Text | None = fact(
        "reason for the correction",
        "Why the entry is corrected.",
        need=must(
            "Why is the entry corrected?",
            AHIMA,
            REVISION,
            why="A correction states who, when, what changed and why; one without a reason looks like tampering.",
        ),
    )


# -- kinds --


class Access(
    Opening,
    SiteSeen,
    Proved,
    Flushed,
    Dressed,
    rank=70,
    command="access",
    asks="septum identifiers_checked allergies_checked order reason site "
    "tip_confirmed anesthetic technique antisepsis extension_primed needle needle_wings "
    "punctures attempts blood_return blood_looks steps_tried discard_ml discard_method old_lock "
    "hub_scrub_s flushes lock infusion dressing disinfecting_caps signs despite_hold problems "
    "pain response teaching charted_at by verified_by",
):
    """A non-coring needle is put into the port and the line is proved."""

    kind: Literal["access"]
    follows_removal: Identifier | None = fact(
        "removal it follows", "In a needle change: identifier of the de-access that belongs to this access."
    )
    tip_confirmed: YesNo | NotAssessed | None = fact(
        "tip position confirmed",
        "Yes when tip position is known to be confirmed before first use.",
        need=must(
            "Is the tip position confirmed?",
            OPEN_RN,
            INS,
            why="A catheter whose tip is not where it should be can deliver drugs into tissue.",
            when="first_access",
        ),
    )
    anesthetic: Literal["none used"] | Anesthetic | NotAssessed | None = fact(
        "local anesthetic",
        "Agent with amount and times, or none used.",
        renamed="anesthetic",
        need=may(
            "Was the skin numbed?",
            OPEN_RN,
            US_HOSPITAL,
            why="Cream and spray change the order of skin preparation and can cause reactions of their own.",
        ),
    )
    extension_primed: YesNo | None = fact(
        "extension primed",
        "Yes when primed with saline and clamped.",
        need=may(
            "Was the extension primed with saline and clamped?",
            CP,
            why="An unprimed extension lets air into the line.",
        ),
    )
    needle: Needle | None = fact(
        "needle",
        "Gauge, length, kind, lot.",
        need=must(
            "Which needle was put in?",
            INS,
            HOME,
            OPEN_RN,
            why="What is in the port decides what may go through it, when it must come out, and what to "
            "look for on removal.",
        ),
    )
    needle_wings: words.NeedleWings | None = fact(
        "wings of the needle",
        "How the wings lie: level with the skin, raised above it, pressing into it.",
        need=should(
            "How do the wings lie on the skin?",
            CP,
            why="Wings raised above the skin or pressing into it mean that the needle is too long or too short.",
            when="painful",
        ),
    )
    punctures: tuple[Puncture, ...] = several(
        "punctures",
        "Each pass of a needle: which, by whom, what came of it; the last is the needle that stays.",
        need=may(
            "Which needle, by whom and with what outcome, each time?",
            CP,
            why="The next nurse should not repeat what did not work.",
            when="several_attempts",
        ),
    )
    attempts: Annotated[int, Field(ge=1, le=20)] | None = fact(
        "number of attempts",
        "Needle passes made.",
        need=should(
            "How many attempts?",
            INS,
            why="Repeated passes raise the risk of infection and hematoma and shorten the septum's life.",
        ),
    )
    infusion: Text | None = fact(
        "infusion connected",
        "What runs after the access, if anything.",
        need=may(
            "What runs through it?",
            CP,
            why="A working needle that is neither locked nor in use will clot.",
            when="unlocked",
        ),
    )


class ArrivalAccessed(
    Opening,
    SiteSeen,
    Proved,
    titled="Arrival with a needle in",
    rank=20,
    command="arrival",
    stem="arrival",
    noun="arrival",
    asks="septum identifiers_checked allergies_checked came_from site needle inserted_at dressing "
    "dressing_found dressed_at blood_return blood_looks steps_tried signs despite_hold problems "
    "charted_at by verified_by",
):
    """The patient arrives with a needle already in; its details may be unknown."""

    kind: Literal["arrival accessed"]
    came_from: Short | None = fact(
        "where from",
        "Where the patient came from.",
        need=may(
            "Where did the patient come from?",
            CP,
            why="The place that put the needle in is the one to ask for what is not known of it.",
        ),
    )
    needle: Needle | NotAssessed | None = fact(
        "needle",
        "What is known of the needle.",
        need=must(
            "Which needle is in?",
            INS,
            HOME,
            OPEN_RN,
            why="What is in the port decides what may go through it, when it must come out, and what to "
            "look for on removal.",
        ),
    )
    inserted_at: Moment | Day | NotAssessed | None = fact(
        "time of insertion",
        "When the needle was put in, if known; the day alone where the hour is not known.",
        need=must(
            "When was the needle put in?",
            CDC,
            INS,
            why="The needle's clock runs from its insertion, not from the arrival; when it is unknown the "
            "needle is due now.",
        ),
    )
    dressing: Dressing | NotAssessed | None = fact(
        "dressing",
        "The dressing found.",
        need=should(
            "Which dressing is on?",
            INS,
            why="The dressing keeps needle and site clean; what is on decides when it is due.",
        ),
    )
    dressing_found: tuple[words.DressingCondition, ...] | NotAssessed | None = fact(
        "condition of the dressing",
        "Condition of the dressing found.",
        need=must(
            "How was the dressing found?", INS, why="A damp, soiled or loose dressing is due now, whatever its age."
        ),
    )
    dressed_at: Moment | Day | NotAssessed | None = fact(
        "time of dressing",
        "When the dressing was put on, if known; the day alone where the label carries no more.",
        need=must(
            "When was the dressing put on?",
            CDC,
            INS,
            why="The dressing's clock runs from when it was put on, not from the arrival.",
        ),
    )
    infusion: Text | None = fact("infusion connected", "What runs on arrival, if anything.")


class Deaccess(
    Closing,
    SiteSeen,
    Proved,
    Flushed,
    rank=60,
    command="deaccess",
    stem="removal",
    asks="septum identifiers_checked order reason site blood_return blood_looks steps_tried "
    "hub_scrub_s flushes lock needle_intact missing_piece safety_engaged bleeding cover signs "
    "despite_hold problems pain response teaching charted_at by verified_by",
):
    """The needle is taken out."""

    kind: Literal["de-access"]
    needle_intact: YesNo | NotAssessed | None = fact(
        "needle whole",
        "Yes when the needle came out whole.",
        need=must(
            "Did the needle come out whole?",
            INS,
            why="A broken piece stays in the port or in the tissue and has to be looked for at once.",
        ),
    )
    missing_piece: Text | None = fact(
        "missing piece",
        "What is missing of the needle, and where it is looked for.",
        need=must(
            "What is missing, and where is it looked for?", CP, why="A piece left behind can travel.", when="not_whole"
        ),
    )
    safety_engaged: YesNo | NotAssessed | None = fact(
        "safety device",
        "Yes when the needle's safety device locked.",
        need=should(
            "Did the safety device lock?",
            INS,
            why="An unguarded non-coring needle is a common cause of needle-stick injury on removal.",
        ),
    )
    bleeding: words.Bleeding | NotAssessed | None = fact(
        "bleeding",
        "Bleeding after removal.",
        need=should(
            "Did it bleed?", INS, why="Bleeding after removal may show a clotting problem or a damaged septum."
        ),
    )
    cover: Short | NotDone | None = fact(
        "cover",
        "What covers the puncture.",
        need=may(
            "What covers the puncture?",
            INS,
            why="Bleeding after removal may show a clotting problem or a damaged septum.",
        ),
    )


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
    """The dressing is exchanged while the needle stays in."""

    kind: Literal["dressing change"]
    dressing_found: tuple[words.DressingCondition, ...] | NotAssessed | None = fact(
        "condition of the old dressing",
        "Condition of the dressing taken off.",
        need=must(
            "How was the old dressing found?", INS, why="A damp, soiled or loose dressing is due now, whatever its age."
        ),
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
        need=must(
            "How is the dressing?",
            INS,
            why="A damp, soiled or loose dressing is due now, whatever its age.",
            when="needle_in",
        ),
    )
    connections_secure: YesNo | NotAssessed | None = fact(
        "connections",
        "Yes when connections are tight, clamps right.",
        need=may(
            "Are connections tight and clamps right?",
            CP,
            why="A loose connection bleeds or lets air in.",
            when="needle_in",
        ),
    )
    infusion: Text | None = fact("running infusion", "What runs, if anything.")
    nothing_runs: YesNo | None = fact("nothing runs", "Yes when nothing runs any more.")
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
        "purpose", "What the line was used for.", need=must("What was the line used for?", INS)
    )
    action: words.UseAction | None = fact(
        "action",
        "started, stopped or given.",
        need=must(
            "Started, stopped or given?",
            CP,
            why="What went through the line matters for occlusion, compatibility and tissue injury.",
            when="begins_or_ends",
        ),
    )
    what: Short | None = fact(
        "what was given",
        "Drug, fluid or sample, spelled out.",
        need=must(
            "What was given or drawn?",
            INS,
            why="What went through the line matters for occlusion, compatibility and tissue injury.",
            when="not_sampling",
        ),
    )
    product: Short | None = fact(
        "product",
        "The product as its label names it.",
        need=should(
            "Which product, as its label names it?",
            CP,
            why="Forms of one drug differ in what they do outside the vein: the product decides.",
            when="may_be_liposomal",
        ),
    )
    vesicant: YesNo | NotAssessed | None = fact(
        "vesicant",
        "Yes when it harms tissue outside the vein.",
        need=should(
            "Does it harm tissue outside the vein?",
            ONS,
            why="A vesicant must never go through a line without blood return.",
            when="may_harm",
        ),
    )
    old_lock: words.OldLock | None = fact("old lock", "What became of the lock that was in the line before.")
    cultures: Cultures | None = fact(
        "blood cultures",
        "How blood cultures were drawn.",
        need=should(
            "How were the cultures drawn?",
            CP,
            why="A pair drawn before antibiotics, through a new connector, is what tells an infection of the line.",
            when="culturing",
        ),
    )
    flow_ml_per_s: Positive | None = fact(
        "injection rate",
        "Power injection rate, in mL per second.",
        need=must(
            "Injection rate, in mL per second?",
            POWER,
            why="Rate and pressure are what the labels of port and needle limit.",
            when="injection",
        ),
    )
    pressure_psi: Positive | None = fact(
        "injection pressure limit",
        "Limit set on the injector, in psi.",
        need=must(
            "Pressure limit set on the injector, in psi?",
            POWER,
            why="Rate and pressure are what the labels of port and needle limit.",
            when="injection",
        ),
    )
    blood_return_before: words.BloodReturn | NotAssessed | None = fact(
        "blood return before use",
        "Blood return right before the use.",
        need=must(
            "Blood return right before?",
            ONS,
            INS,
            why="Blood return is the proof that the needle is in the port and the tip in the vein; without "
            "the record nobody knows whether the line was proved.",
            when="under_way",
        ),
    )


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
    """A thrombolytic is put in and left to dwell. ``at`` is the moment of instillation."""

    kind: Literal["patency treatment"]
    drug: words.ThrombolyticDrug = required("thrombolytic", "What was put in.", need=must("Which thrombolytic?", LABEL))
    dose_mg: Positive | None = fact(
        "dose",
        "Alteplase, in mg.",
        need=must(
            "Dose, in mg?",
            LABEL,
            why="Dose and volume have caps, and a second dose counts with the first.",
            when="is_alteplase",
        ),
    )
    dose_units: Positive | None = fact(
        "dose in units",
        "Urokinase, in units.",
        need=must(
            "Dose, in units?",
            INS,
            why="Dose and volume have caps, and a second dose counts with the first.",
            when="is_urokinase",
        ),
    )
    volume_ml: Positive | None = fact(
        "instilled volume",
        "Volume put in, in mL.",
        need=must(
            "Volume put in, in mL?", LABEL, why="Dose and volume have caps, and a second dose counts with the first."
        ),
    )
    lumen_ml: Positive | None = fact(
        "lumen volume",
        "Internal volume of the lumen, in mL.",
        need=must(
            "Internal volume of the lumen, in mL?",
            LABEL,
            why="Under the full-dose weight the dose is worked out from the lumen's volume.",
            when="dose_by_lumen",
        ),
    )
    reconstituted_at: Moment | None = fact(
        "time of mixing",
        "When the drug was reconstituted.",
        need=should(
            "When was it mixed?", LABEL, why="A mixed thrombolytic loses its effect and its sterility with time."
        ),
    )
    second_dose_of: Identifier | None = fact("second dose of", "Identifier of the first dose's event.")
    patency_before: Literal["no blood return", "no flush and no blood return", "sluggish"] | None = fact(
        "patency before",
        "State of the line before the dose.",
        need=must(
            "How was the line before the dose?",
            LABEL,
            why="The result can be judged only against how the line was before.",
        ),
    )
    drug_lot: Short | None = fact("thrombolytic lot", "Lot number on the label.")
    bleeding_risk: BleedingRisk | None = fact(
        "bleeding risk",
        "What was asked before the dose.",
        need=should(
            "What was asked about bleeding and infection?",
            LABEL,
            why="The label asks for caution with bleeding, anticoagulants and an infected catheter, and for "
            "other causes first.",
        ),
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
    """The look at a dwelling thrombolytic, at 30 and at 120 minutes."""

    kind: Literal["patency check"]
    treatment: Identifier = required(
        "treatment", "Identifier of the treatment that is checked.", need=must("Which treatment is checked?", LABEL)
    )
    withdrawn_ml: Quantity | None = fact(
        "withdrawn volume",
        "Aspirate taken off after success, in mL.",
        need=must(
            "How much was withdrawn, in mL?",
            LABEL,
            why="The dwelling drug and the loosened clot are taken off before the line is flushed.",
            when="return_present",
        ),
    )


class Evaluation(
    Observing,
    SiteSeen,
    titled="Evaluation of the line",
    rank=40,
    command="evaluation",
    asks="septum cleared_by decision limits ends evidence finding charted_at by verified_by",
):
    """Vascular access specialists or a physician judge a line on hold."""

    kind: Literal["evaluation"]
    cleared_by: Person | None = fact(
        "who evaluated",
        "Specialist or physician who judged the line.",
        need=must(
            "Who evaluated the line?",
            CP,
            why="Only someone with the competence may end a hold; the record has to show who it was.",
            who="the one who evaluated: name, credential",
        ),
    )
    decision: words.EvaluationDecision | None = fact(
        "decision",
        "What they decided.",
        need=must("What was decided?", CP, why="Without a decision the line stays on hold."),
    )
    evidence: tuple[words.Evidence, ...] = several(
        "evidence",
        "What the decision rests on.",
        need=must(
            "What does it rest on?",
            CP,
            why="A line is cleared on evidence, such as blood return restored or a contrast study, not on "
            "time gone by.",
            when="cleared",
        ),
    )
    finding: Text | None = fact(
        "finding",
        "What the evaluation showed.",
        need=should(
            "What did the evaluation show?",
            CP,
            why="The finding explains the decision to whoever meets the same trouble again.",
        ),
    )
    limits: tuple[words.LineLimit, ...] = several(
        "limits of use",
        "What the line may not be used for.",
        need=must(
            "Which limits are set?",
            CP,
            why="Limits stand until they are lifted: the next nurse has to know them.",
            when="cleared_with_limits",
        ),
    )
    lifts: tuple[words.LineLimit, ...] = several("limits lifted", "Limits of use that end.")
    ends: tuple[Short, ...] = several(
        "holds that end",
        "Reasons of the holds that end by this, or all.",
        need=must(
            "Which holds does it end, or all?",
            CP,
            why="An evaluation ends the holds that it names, no others.",
            when="cleared_of_several",
        ),
    )


class Transfer(
    Moving,
    rank=130,
    command="transfer",
    asks="to_unit to_setting handed_to charted_at by verified_by",
):
    """The patient moves to another unit."""

    kind: Literal["transfer"]
    to_unit: Short = required("new unit", "Unit that takes the patient.", need=must("Which unit?", CP))
    to_room: Short | None = fact("new room", "Room on the new unit.")
    to_setting: words.Setting | None = fact(
        "setting",
        "Kind of place the new unit is.",
        need=should(
            "What kind of unit is it?",
            NHSN,
            why="An accessed port that nobody took over is an accessed port that nobody looks at.",
        ),
    )
    handed_to: Person | None = fact(
        "who took over",
        "Nurse who took over the line.",
        need=should(
            "Who took over the line?",
            CP,
            why="An accessed port that nobody took over is an accessed port that nobody looks at.",
            who="the nurse who took over: name",
        ),
    )


class Discharge(
    Moving,
    rank=140,
    command="discharge",
    asks="destination needle_in handed_to needle_removal teaching next_due charted_at by verified_by",
):
    """The patient leaves the facility."""

    kind: Literal["discharge"]
    destination: words.DestinationName | None = fact(
        "destination",
        "Where the patient goes.",
        need=should("Where does the patient go?", HOME, why="Where the patient goes decides who looks after the port."),
    )
    needle_in: YesNo | None = fact(
        "needle left in",
        "Yes when the patient leaves with the needle in.",
        need=must(
            "Does the patient leave with the needle in?",
            HOME,
            why="A needle left in by oversight stays in until something goes wrong.",
        ),
    )
    handed_to: Person | None = fact(
        "who takes over",
        "Who looks after the line from here.",
        need=must(
            "Who looks after the line from here?",
            HOME,
            why="A patient who leaves with the needle in needs someone who will take it out in time.",
            when="leaves_accessed",
            who="the one who takes over: name",
        ),
    )
    needle_removal: NeedleRemoval | None = fact(
        "removal of the needle",
        "Who takes the needle out, when, and whom to call if it comes out.",
        need=must(
            "Who takes the needle out, and when?",
            HOME,
            why="A needle left in without a date and a name stays in until something goes wrong.",
            when="leaves_accessed",
        ),
    )
    next_due: NextDue | None = fact(
        "next due as told",
        "What the patient was told is next due.",
        need=should(
            "What is due next?",
            HOME,
            AYRSHIRE,
            why="After discharge nobody reads this record daily: the patient has to leave with the next due time.",
            when="taught_on_leaving",
        ),
    )
    teaching: Teaching | NotDone | None = fact(
        "teaching",
        "What was taught and understood.",
        need=should(
            "Was anything taught?",
            INS,
            HOME,
            why="The patient is the first to notice trouble with the line, if told what to look for.",
            reported="taught_now",
        ),
    )


class PortImplanted(
    Moving,
    rank=10,
    command="implanted",
    stem="implanted",
    noun="implantation",
    asks="tip_location tip_method charted_at by verified_by",
):
    """The port is implanted during this episode."""

    kind: Literal["port implanted"]
    tip_location: Short | None = fact(
        "tip location",
        "Where the tip lies.",
        need=must("Where does the tip lie?", OPEN_RN, INS, why="Every later first use refers to this confirmation."),
    )
    tip_method: Short | None = fact(
        "confirmed by",
        "How tip position was confirmed.",
        need=should(
            "How was the tip position confirmed?",
            OPEN_RN,
            INS,
            why="The method tells how much the confirmation can be relied on.",
        ),
    )


class PortRemoved(
    Moving,
    rank=150,
    command="removed",
    stem="port-removed",
    noun="removal of the port",
    asks="reason complete charted_at by verified_by",
):
    """The port is taken out of the body."""

    kind: Literal["port removed"]
    reason: Text | None = fact(
        "reason",
        "Why it was removed.",
        need=should(
            "Why was it removed?", INS, why="Infection, occlusion and end of treatment lead to different next steps."
        ),
    )
    complete: YesNo | None = fact(
        "removed whole",
        "Yes when port and catheter came out whole.",
        need=must("Did port and catheter come out whole?", INS, why="A piece left behind can travel to the heart."),
    )


class NeedleDislodged(
    Observing,
    SiteSeen,
    rank=35,
    command="dislodged",
    stem="dislodged",
    asks="septum identifiers_checked extent running actions site signs despite_hold problems charted_at by verified_by",
):
    """The needle has come out of its place, in part or altogether, and nobody took it out."""

    kind: Literal["needle dislodged"]
    extent: words.DislodgedExtent | None = fact(
        "how far the needle is out",
        "partly out or completely out.",
        need=must(
            "Is the needle partly or completely out?",
            CP,
            why="What ran while the needle was out of place may be outside the vein.",
        ),
    )
    running: Short | None = fact(
        "what ran",
        "What ran when it was found, or nothing.",
        need=must(
            "What ran through it, or nothing?",
            CP,
            why="What ran while the needle was out of place may be outside the vein.",
        ),
    )
    actions: tuple[words.DislodgedAction, ...] = several(
        "what was done",
        "What was done about it.",
        need=must(
            "What was done about it?",
            CP,
            why="A needle that came out is never pushed back: the next nurse has to know what was done instead.",
        ),
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
    """What was done after something given through the line went beside the vein, or may have."""

    kind: Literal["extravasation care"]
    product: Short | None = fact(
        "product",
        "The product as its label names it.",
        need=must("Which product, as its label names it?", ONS, why="Antidote and compress depend on the product."),
    )
    estimated_ml: Quantity | None = fact(
        "estimated volume outside the vein",
        "Estimated volume, in mL.",
        need=should(
            "How much is outside the vein, about, in mL?",
            ONS,
            why="A first estimate shows later whether it is getting worse.",
        ),
    )
    aspirated_ml: Quantity | None = fact(
        "volume aspirated",
        "Volume drawn back through the needle, in mL.",
        need=must(
            "How much was drawn back, in mL?",
            ONS,
            why="What is drawn back through the needle no longer harms the tissue.",
        ),
    )
    antidote: Short | NotDone | None = fact(
        "antidote",
        "What was given against it, as ordered.",
        need=must("What was given against it, as ordered?", ONS, why="Some antidotes work only within hours."),
    )
    compress: words.Compress | None = fact(
        "compress",
        "warm, cold or none.",
        need=should(
            "Compress: warm, cold or none?",
            ONS,
            why="Warm and cold do the opposite of each other; which one depends on the product.",
        ),
    )
    photograph: YesNo | None = fact(
        "photograph taken",
        "Yes when a photograph was taken.",
        need=should("Was a photograph taken?", CP, why="A first picture shows later whether it is getting worse."),
    )
    follow_up: Text | None = fact(
        "follow-up",
        "When the site is looked at again, and by whom.",
        need=must("When is the site looked at again, and by whom?", CP, why="Harm to tissue may show only after days."),
    )


class PatientFacts(
    Moving,
    titled="Facts of the patient",
    rank=4,
    command="patient",
    asks="charted_at by verified_by",
):
    """Facts of the patient change, or become known, on a day of the stay."""

    kind: Literal["patient facts"]
    allergies: tuple[Allergy, ...] = several("allergies found", "Allergies that became known.")
    allergies_withdrawn: tuple[AllergyWithdrawn, ...] = several("allergies withdrawn", "Allergies that are none.")
    history: tuple[Condition, ...] = several("conditions found", "Conditions that became known, and when.")
    weight_kg: Positive | None = fact("weight", "Weight, in kg.")
    room: Short | None = fact("room", "Room that the patient is in from now on.")
    carer: Short | None = fact("carer", "Who looks after the patient at home.")


class PortFacts(
    Moving,
    titled="Facts of the port",
    rank=6,
    command="port",
    asks="source charted_at by verified_by",
):
    """Facts of the port become known: from its card, a radiograph or a report."""

    kind: Literal["port facts"]
    tip: TipConfirmation | None = fact("tip confirmation", "How it is known where the tip lies.")
    power: PowerRating | None = fact("power rating", "What the label allows for power injection.")
    catheter_volume_ml: Positive | None = fact("catheter volume", "Volume of catheter and port, in mL.")
    valved: YesNo | None = fact("valved", "Yes when the catheter has a valve.")
    arm_history: tuple[words.ArmHistory, ...] = several("history of that arm", "What is known of the port's side.")
    source: words.PortSource | None = fact(
        "source",
        "Where it is known from.",
        need=should(
            "Where is it known from?",
            CP,
            why="A card in the hand and hearsay are not the same ground for a power injection.",
        ),
    )


class FlushedElsewhere(
    Moving,
    rank=8,
    command="elsewhere",
    asks="septum on where by_word_of charted_at by verified_by",
):
    """The port was flushed by somebody else, as the patient or that place says."""

    kind: Literal["flushed elsewhere"]
    septum: Short | None = fact(
        "septum",
        "Which septum; only asked of a port with two.",
        need=must(
            "Which septum?",
            INS,
            why="On a port with two septa each has its own needle, clocks and hold; a record without the "
            "septum can be put down to the wrong one.",
            when="two_septa",
        ),
    )
    on: Day = required(
        "day of that flush", "Day on which it was flushed.", need=must("On which day was it flushed?", CP)
    )
    where: Short | None = fact(
        "place of that flush",
        "Where it was flushed.",
        need=may("Where was it flushed?", CP, why="That place is the one to ask for lock and lot."),
    )
    by_word_of: Short | None = fact(
        "by whose word",
        "Who says so: the patient, a letter, that place.",
        need=must("Who says so?", CP, why="The next flush is counted from that day."),
    )
    lock: Lock | NotAssessed | None = fact("lock", "What the line was locked with.")


class Addendum(
    Correcting,
    rank=160,
    asks="of text reason by",
):
    """Adds omitted facts to an event; nothing recorded changes."""

    kind: Literal["addendum"]
    adds: dict[str, Any] = Field(
        default_factory=dict,
        title="added facts",
        description="Facts of the event that were left out, by key.",
    )
    text: Text | None = fact(
        "added text",
        "What is added, in the nurse's own words.",
        need=must(
            "What is added?",
            AHIMA,
            REVISION,
            why="An addendum that adds nothing leaves the reader to guess what was left out.",
            when="adds_nothing",
        ),
    )


class Amendment(
    Correcting,
    rank=170,
    asks="of sets reason by",
):
    """Replaces wrong facts of an event after signing; the original stays readable."""

    kind: Literal["amendment"]
    sets: dict[str, Any] = required(
        "corrected facts", "The right facts, by key.", need=must("What is right?", AHIMA, REVISION)
    )


class Retraction(
    Correcting,
    rank=180,
    asks="of reason by",
):
    """Takes a wrong entry out of view, such as one made on the wrong patient."""

    kind: Literal["retraction"]


class CoSignature(
    Correcting,
    rank=190,
    asks="of role by",
):
    """A second person signs for an entry; nothing recorded changes. ``by`` is the co-signer."""

    kind: Literal["co-signature"]
    role: words.CoSigner | None = fact(
        "role of the co-signer",
        "preceptor, instructor or second nurse.",
        need=must(
            "As what: preceptor, instructor or second nurse?",
            CP,
            why="A preceptor answers for a student, a second nurse for a double check.",
        ),
    )


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
