"""The parts that event kinds and the episode are built from: people, supplies, observations, acts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import Annotated, Any, Final, Literal, get_args

from pydantic import AliasChoices, AwareDatetime, BaseModel, BeforeValidator, ConfigDict, Field, Strict

from lda_notes.knowledge.askers import AYRSHIRE, CORNWALL, CP, HOME, INS, LABEL, MARSDEN, ONS, OPEN_RN, US_HOSPITAL
from lda_notes.knowledge.sources import Citation
from lda_notes.record import vocabulary as words


class Model(BaseModel):
    """A frozen, closed part of a record: unknown keys are refused."""

    # Values are not cached: in a stream the cache would only fill, with what other patients' records said.
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, cache_strings="keys")


def _yes_or_no(value: Any) -> Any:
    """YAML 1.2 reads ``yes`` and ``no`` as words; here they mean what they say."""
    if value == "yes":
        return True
    if value == "no":
        return False
    return value


_FIRST_YEAR, _LAST_YEAR = 1850, 2199
"""Years that a record may speak of; others are slips, and at the calendar's own ends no interval can be added."""


def _in_reach(value: Any) -> Any:
    year = value[:4] if isinstance(value, str) else str(value.year)
    if not str(_FIRST_YEAR) <= year <= str(_LAST_YEAR):
        raise ValueError(f"expected a year from {_FIRST_YEAR} to {_LAST_YEAR}")
    return value


def _written_as_moment(value: Any) -> Any:
    """Refuse what the lax parser would take as a count of seconds; a naive time is refused after it."""
    if isinstance(value, datetime) or (isinstance(value, str) and value[4:5] == "-" and len(value) > 10):
        return _in_reach(value)
    raise ValueError("expected a date and time with offset such as 2031-03-04T09:40-06:00")


def _written_as_date(value: Any) -> Any:
    if isinstance(value, date) or (isinstance(value, str) and len(value) == 10 and value[4] == "-"):
        return _in_reach(value)
    raise ValueError("expected a date such as 2031-03-04")


YesNo = Annotated[
    bool,
    BeforeValidator(_yes_or_no),
    Field(json_schema_extra={"type": ["boolean", "string"], "enum": [True, False, "yes", "no"]}),
]
Moment = Annotated[AwareDatetime, Strict(False), BeforeValidator(_written_as_moment)]
"""A date and time with its offset from UTC. A function before a strict type would shut out JSON text: hence lax."""
Day = Annotated[date, Strict(False), BeforeValidator(_written_as_date)]


class DayOnly(datetime):
    """The start of a day of which the hour is not known; an interval that begins with it ends with a day too."""


def began(written: object, like: datetime) -> datetime | None:
    """Return when something began that a record gives as a moment or as a day, in the zone of ``like``; else None."""
    if isinstance(written, datetime):
        return written
    return DayOnly.combine(written, time(), like.tzinfo) if isinstance(written, date) else None


Text = Annotated[str, Field(min_length=1, max_length=4000)]
Short = Annotated[str, Field(min_length=1, max_length=200)]
Identifier = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
Quantity = Annotated[Decimal, Field(ge=0, le=1_000_000, decimal_places=4)]
Positive = Annotated[Decimal, Field(gt=0, le=1_000_000, decimal_places=4)]
Whole = Annotated[int, Field(ge=0, le=100_000)]
Score = Annotated[int, Field(ge=0, le=10)]


Level = Literal["required", "recommended"]
"""How much a fact is needed: for want of a required one a reviewer would send the chart back."""


@dataclass(frozen=True, slots=True)
class Asked:
    """How a fact is asked for, how much it is needed, by whom, and why.

    ``when``, ``given`` and ``suits`` name what decides that it is asked of an event at all, ``option`` a choice of the
    policy that must be "yes", ``reported`` what decides that the check reports its absence, nothing: always (see
    lda_notes/check/conditions.py). ``who`` says of a person what to call them and what is asked of them, with a
    question mark where the check does not report it.
    """

    asks: str
    level: Level
    citations: tuple[Citation, ...]
    why: str = ""
    when: str = ""
    given: str = ""
    option: str = ""
    suits: str = ""
    reported: str = ""
    who: str = ""


def must(asks: str, *citations: Citation, **more: str) -> Asked:
    """Return that a fact is required; for the arguments see `Asked`."""
    return Asked(asks, "required", citations, **more)


def should(asks: str, *citations: Citation, **more: str) -> Asked:
    """Return that a fact is recommended; for the arguments see `Asked`."""
    return Asked(asks, "recommended", citations, **more)


def may(asks: str, *citations: Citation, **more: str) -> Asked:
    """Return that a fact is asked at the bedside and on the worksheet, and its absence not reported; see `Asked`."""
    return should(asks, *citations, reported="never", **more)


def fact(label: str, says: str, *, renamed: str = "", need: Asked | None = None) -> Any:
    """Declare an optional fact: ``label`` names it in lists of gaps, ``says`` explains it in the schema.

    ``renamed`` is its key where it had another one in an earlier version of the layout: both are read for ever.
    """
    return _declared(Field(default=None, title=label, description=says, **_former(renamed)), need)


def required(label: str, says: str, *, renamed: str = "", need: Asked | None = None) -> Any:
    """Declare a fact without which the part cannot be placed at all."""
    return _declared(Field(title=label, description=says, **_former(renamed)), need)


def several(label: str, says: str, need: Asked | None = None) -> Any:
    """Declare a list of facts; an empty list says no more than a missing key."""
    return _declared(Field(default=(), title=label, description=says), need)


def _declared(field: Any, need: Asked | None) -> Any:
    if need is not None:
        field.metadata.append(need)
    return field


def asked_of(model: type[BaseModel], name: str) -> Asked | None:
    """Return how a fact of a model is asked for; None when it is not asked."""
    return next((mark for mark in model.model_fields[name].metadata if isinstance(mark, Asked)), None)


FORMER_KEYS: Final = {"anesthetic": "anaesthetic", "substance": "to"}
"""Keys of version 1 by the keys that stand in their place."""


def _former(key: str) -> dict[str, Any]:
    return {"validation_alias": AliasChoices(key, FORMER_KEYS[key])} if key else {}


def _as_now(value: Any) -> Any:
    """Return a word of an earlier version of the layout as it is spelled now."""
    return words.FORMER_WORDS.get(value, value) if isinstance(value, str) else value


def _former_words(now: Any) -> dict[str, Any]:
    return {"enum": [*get_args(now), *(old for old, new in words.FORMER_WORDS.items() if new in get_args(now))]}


HistoryName = Annotated[
    words.HistoryName, BeforeValidator(_as_now), Field(json_schema_extra=_former_words(words.HistoryName))
]
TouchShape = Annotated[
    words.TouchShape, BeforeValidator(_as_now), Field(json_schema_extra=_former_words(words.TouchShape))
]


class NotAssessed(Model):
    """An answer to a question that could not be assessed, with the reason: not the same as no record."""

    not_assessed: Short = required("not assessed", "Why it could not be assessed or is not known.")


class NotDone(Model):
    """An act left out on purpose, with the reason: not the same as no record."""

    not_done: Short = required("not done", "Why it was not done.")


class Person(Model):
    """Someone who acted, verified, cleared or was told."""

    name: Short | None = fact("name", "Name as it is signed.")
    credential: Short | None = fact("credential", "Licence or role, such as RN or MD.")
    id: Short | None = fact("identifier", "Staff identifier.")
    new_to_procedure: YesNo | None = fact(
        "new to the procedure",
        "Yes when this nurse does the procedure for the first times, under a verifier.",
    )


class Scale(Model):
    """A scored observation; the scale's name is kept with the score."""

    name: Short = required(
        "scale", "Name of the scale, such as INS phlebitis 0-4.", need=must("Which site scale?", CORNWALL, INS)
    )
    score: Score = required("score", "Score on that scale.", need=must("Which score?", CORNWALL, INS))


class Site(Model):
    """The look at the skin over and around the port."""

    skin: words.Skin | NotAssessed | None = fact(
        "skin",
        "State of the skin over the port.",
        need=must(
            "How is the skin over the port?",
            US_HOSPITAL,
            INS,
            why="Each finding has its own consequence: swelling points to a leak, redness with pain to infection.",
        ),
    )
    incision: words.Incision | None = fact("incision", "Incision of the implantation: healing, healed or opening.")
    erythema: words.Presence | NotAssessed | None = fact(
        "erythema",
        "Redness around the port.",
        need=must(
            "Is there redness?",
            US_HOSPITAL,
            AYRSHIRE,
            INS,
            why="Each finding has its own consequence: swelling points to a leak, redness with pain to infection.",
        ),
    )
    erythema_mm: Quantity | None = fact(
        "extent of erythema",
        "How far redness reaches from the port, in mm.",
        need=should(
            "How far does the redness reach, in mm?",
            INS,
            why="Only a measured extent shows the next nurse whether the redness is spreading.",
            given="has_redness",
        ),
    )
    swelling: words.Presence | NotAssessed | None = fact(
        "swelling",
        "Swelling of pocket, arm, neck or face.",
        need=must(
            "Is there swelling of the pocket, arm, neck or face?",
            US_HOSPITAL,
            AYRSHIRE,
            INS,
            why="Each finding has its own consequence: swelling points to a leak, redness with pain to infection.",
        ),
    )
    swelling_where: tuple[words.Place, ...] = several("place of the swelling", "Where the swelling is.")
    swelling_change: words.Change | None = fact("change of the swelling", "new, growing, unchanged or less.")
    tenderness: words.Presence | NotAssessed | None = fact(
        "tenderness",
        "Pain to the touch over the port.",
        need=must(
            "Does the port hurt when touched?",
            US_HOSPITAL,
            AYRSHIRE,
            INS,
            why="Each finding has its own consequence: swelling points to a leak, redness with pain to infection.",
        ),
    )
    drainage: words.Drainage | NotAssessed | None = fact(
        "drainage",
        "Fluid from the site.",
        need=must(
            "Any drainage from the site?",
            US_HOSPITAL,
            AYRSHIRE,
            INS,
            why="Each finding has its own consequence: swelling points to a leak, redness with pain to infection.",
        ),
    )
    port: words.PortFeel | NotAssessed | None = fact(
        "port to the touch",
        "How the port lies under the skin.",
        need=may(
            "How does the port feel under the skin?",
            AYRSHIRE,
            MARSDEN,
            why="Each finding has its own consequence: swelling points to a leak, redness with pain to infection.",
        ),
    )
    scale: Scale | None = fact(
        "scale score",
        "Phlebitis or infiltration scale, where policy asks for one.",
        need=must(
            "Which score on which site scale?",
            CORNWALL,
            INS,
            why="Some facilities follow the site by a score; the number means nothing without its scale.",
            option="scale_score_required",
        ),
    )
    detail: Text | None = fact("site detail", "More about the site, in the nurse's own words.")


class Supply(Model):
    """A supply that was used, as its label tells."""

    name: Short = required("supply", "What it is, without brand.")
    lot: Short | None = fact("lot", "Lot number on the label.")
    expires: Day | None = fact("expiry", "Last day of use on the label.")
    udi: Text | None = fact("device identifier", "Device identifier (UDI) as scanned or printed.")
    latex: YesNo | None = fact("latex on the label", "Yes when the label says that it contains natural rubber latex.")


class Needle(Model):
    """A needle in a port. Volumes are priming volumes."""

    gauge: Annotated[int, Field(ge=10, le=34)] | NotAssessed | None = fact(
        "needle gauge",
        "Gauge (G).",
        need=must("Which gauge?", INS, HOME, OPEN_RN, why="The gauge decides what may run and how fast."),
    )
    length_mm: Positive | NotAssessed | None = fact(
        "needle length",
        "Length below the bend, in mm.",
        need=must(
            "How long, in mm?",
            INS,
            HOME,
            OPEN_RN,
            why="A needle that is too short leaves the reservoir and delivers into tissue; the next nurse "
            "needs the length.",
        ),
    )
    non_coring: YesNo | NotAssessed | None = fact(
        "non-coring needle",
        "Yes when the needle is non-coring.",
        need=must(
            "Is it a non-coring needle?",
            INS,
            HOME,
            OPEN_RN,
            why="An ordinary needle cuts the septum and ruins the port.",
        ),
    )
    power_rated: YesNo | NotAssessed | None = fact(
        "needle power rating",
        "Yes when its label allows power injection.",
        need=may(
            "Is it rated for power injection?",
            OPEN_RN,
            HOME,
            why="For a contrast scan both the port and the needle must be rated; the scanner's staff rely "
            "on the record.",
            when="rating matters",
        ),
    )
    set_volume_ml: Quantity | None = fact(
        "needle set volume",
        "Priming volume of needle and extension, in mL.",
        need=must(
            "Priming volume of needle and extension, in mL?",
            CP,
            why="The least flush and lock volumes are worked out from them.",
            when="put in here",
            option="catheter_volume_required",
        ),
    )
    connector_volume_ml: Quantity | None = fact(
        "connector volume",
        "Priming volume of add-ons, in mL.",
        need=must(
            "Volume of add-ons, in mL?",
            CP,
            why="The least flush and lock volumes are worked out from them.",
            when="put in here",
            option="catheter_volume_required",
        ),
    )
    lot: Short | None = fact(
        "needle lot",
        "Lot number on the label.",
        need=must(
            "Lot number of the needle?",
            INS,
            HOME,
            OPEN_RN,
            why="In a recall only the lot tells which patients have the needle.",
            when="put in here",
            option="needle_lot_required",
        ),
    )
    expires: Day | None = fact(
        "needle expiry",
        "Last day of use on the label.",
        need=must(
            "Expiry of the needle?",
            INS,
            HOME,
            OPEN_RN,
            why="In a recall only the lot tells which patients have the needle.",
            when="put in here",
            option="needle_lot_required",
        ),
    )
    rated_flow_ml_per_s: Positive | None = fact(
        "labeled needle flow limit", "Highest rate on the needle's label, in mL per second."
    )
    rated_pressure_psi: Positive | None = fact(
        "labeled needle pressure limit", "Highest pressure on the needle's label, in psi."
    )
    udi: Text | None = fact("needle device identifier", "Device identifier (UDI) as scanned or printed.")
    latex: YesNo | None = fact("latex on the label", "Yes when the label says that it contains natural rubber latex.")


class Anesthetic(Model):
    """Topical or intradermal anesthesia before the needle."""

    agent: words.AnestheticAgent = required(
        "anesthetic agent", "What was used.", need=must("What was it numbed with?", OPEN_RN, US_HOSPITAL)
    )
    amount_g: Positive | None = fact(
        "anesthetic amount",
        "Cream, in g.",
        need=must(
            "How much cream, in g?",
            OPEN_RN,
            why="An anesthetic is a drug: amount and contact time have limits that depend on age and weight.",
            given="is_cream",
        ),
    )
    area_cm2: Positive | None = fact(
        "anesthetic area",
        "Skin covered, in square cm.",
        need=may(
            "How much skin did the cream cover, in square cm?",
            OPEN_RN,
            why="Cream and spray change the order of skin preparation and can cause reactions of their own.",
            given="is_cream",
        ),
    )
    volume_ml: Positive | None = fact(
        "anesthetic volume",
        "Intradermal volume, in mL.",
        need=must(
            "How much was injected, in mL?",
            OPEN_RN,
            why="An anesthetic is a drug: amount and contact time have limits that depend on age and weight.",
            given="is_injected",
        ),
    )
    applied_at: Moment | None = fact(
        "anesthetic time on",
        "When it was put on, sprayed or injected.",
        need=should(
            "When was it put on or given?",
            OPEN_RN,
            US_HOSPITAL,
            why="An anesthetic is a drug: amount and contact time have limits that depend on age and weight.",
        ),
    )
    removed_at: Moment | None = fact(
        "anesthetic time off",
        "When cream was taken off.",
        need=should(
            "When was the cream taken off?",
            OPEN_RN,
            US_HOSPITAL,
            why="An anesthetic is a drug: amount and contact time have limits that depend on age and weight.",
            given="is_cream",
        ),
    )
    sterile: YesNo | None = fact(
        "sterile-labeled spray",
        "Yes when the spray is labeled sterile.",
        need=may(
            "Is the spray labeled sterile?",
            CP,
            why="Cream and spray change the order of skin preparation and can cause reactions of their own.",
            given="is_spray",
        ),
    )
    lot: Short | None = fact("anesthetic lot", "Lot number on the label.")
    expires: Day | None = fact("anesthetic expiry", "Last day of use on the label.")


class Antisepsis(Model):
    """Skin antisepsis: agent, friction and drying."""

    agent: words.AntisepticAgent = required(
        "antiseptic agent", "What was used.", need=must("Which antiseptic?", INS, OPEN_RN)
    )
    started_at: Moment | None = fact(
        "skin prep start",
        "When friction began.",
        need=may(
            "When did skin preparation begin?",
            CP,
            why="An antiseptic works only with enough friction and when fully dry; the times show that it had both.",
            when="before puncture",
        ),
    )
    skin: Annotated[str, Field(pattern="^(dry|moist)$")] | None = fact(
        "skin dry or moist",
        "dry or moist.",
        need=may(
            "Was the skin dry or moist before it?",
            CP,
            why="An antiseptic works only with enough friction and when fully dry; the times show that it had both.",
        ),
    )
    scrub_s: Quantity | None = fact(
        "scrub time",
        "Friction, in seconds.",
        need=may(
            "How long was it scrubbed, in seconds?",
            INS,
            OPEN_RN,
            why="An antiseptic works only with enough friction and when fully dry; the times show that it had both.",
        ),
    )
    dry_s: Quantity | None = fact(
        "dry time",
        "Drying, in seconds.",
        need=may(
            "How long did it dry, in seconds?",
            INS,
            OPEN_RN,
            why="An antiseptic works only with enough friction and when fully dry; the times show that it had both.",
        ),
    )
    fully_dry: YesNo | None = fact(
        "skin fully dry",
        "Yes when dry before anything touched it.",
        need=may(
            "Was it fully dry before anything touched it?",
            INS,
            why="An antiseptic works only with enough friction and when fully dry; the times show that it had both.",
        ),
    )
    lot: Short | None = fact("antiseptic lot", "Lot number on the label.")
    expires: Day | None = fact("antiseptic expiry", "Last day of use on the label.")


class Technique(Model):
    """How asepsis was kept."""

    hand_hygiene: YesNo | NotAssessed | None = fact(
        "hand hygiene",
        "Hand hygiene before the procedure.",
        need=should(
            "Hand hygiene before the procedure?",
            INS,
            OPEN_RN,
            why="A bloodstream infection later is traced back to how the needle went in.",
        ),
    )
    masks: YesNo | NotAssessed | None = fact(
        "masks",
        "Masks for all people present.",
        need=may(
            "Masks on all people present?",
            INS,
            OPEN_RN,
            why="A bloodstream infection later is traced back to how the needle went in.",
        ),
    )
    sterile_gloves: YesNo | NotAssessed | None = fact(
        "sterile gloves",
        "Sterile gloves for the procedure.",
        need=should(
            "Sterile gloves?",
            INS,
            OPEN_RN,
            why="A bloodstream infection later is traced back to how the needle went in.",
        ),
    )
    sterile_field: YesNo | NotAssessed | None = fact(
        "sterile field",
        "Sterile field or pack.",
        need=should(
            "Sterile field?",
            INS,
            OPEN_RN,
            why="A bloodstream infection later is traced back to how the needle went in.",
        ),
    )


class Flush(Model):
    """One flush through the needle."""

    solution: words.FlushSolution = required(
        "flush solution", "What was flushed.", need=must("Flushed with what?", INS, AYRSHIRE)
    )
    volume_ml: Quantity | None = fact(
        "flush volume",
        "Volume, in mL.",
        need=must(
            "Flush volume, in mL?",
            INS,
            AYRSHIRE,
            why="Whether a flush reached the tip and cleared the line can be judged only from its volume.",
        ),
    )
    syringe_ml: Positive | None = fact(
        "flush syringe",
        "Barrel size of the syringe, in mL.",
        need=may(
            "Syringe size, in mL?",
            MARSDEN,
            AYRSHIRE,
            why="A small syringe makes pressures that can burst a catheter; push-pause clears the wall of the line.",
        ),
    )
    technique: words.FlushTechnique | None = fact(
        "flush technique",
        "push-pause or steady.",
        need=may(
            "Push-pause or steady?",
            CP,
            why="A small syringe makes pressures that can burst a catheter; push-pause clears the wall of the line.",
        ),
    )
    resistance: words.Resistance | NotAssessed | None = fact(
        "resistance",
        "Resistance felt.",
        need=should(
            "Was there resistance?",
            INS,
            AYRSHIRE,
            why="Resistance is an early sign of occlusion or of a needle that has left the reservoir.",
        ),
    )
    lot: Short | None = fact("flush lot", "Lot number on the label.")
    expires: Day | None = fact("flush expiry", "Last day of use on the label.")


class Seal(Model):
    """What the writer puts under a signed entry: a digest of it and of the one before it (see SEALS.md)."""

    version: Short = required("form of the seal", "Name of the canonical form that was digested.")
    before: Short = required("digest before", "Digest of the entry before this one; of the first, of patient and port.")
    after: Identifier | None = fact("entry before", "Identifier of the entry before this one.")
    asof: Moment | None = fact("moment judged from", "The moment given with --asof, when it was not the time of entry.")
    digest: Short = required("digest", "Digest of this entry on top of the one before it.")


class Lock(Model):
    """What is left in the line when nothing runs."""

    drug: words.LockDrug = required(
        "lock drug", "What the line is locked with.", need=must("Locked with what?", INS, AYRSHIRE)
    )
    units_per_ml: Quantity | None = fact(
        "lock strength",
        "Heparin, in units per mL.",
        need=must(
            "Heparin strength, in units per mL?",
            INS,
            AYRSHIRE,
            why="Heparin comes in very different strengths; the volume alone does not tell the dose.",
            given="has_heparin",
        ),
    )
    volume_ml: Quantity | None = fact(
        "lock volume",
        "Volume, in mL.",
        need=must(
            "Lock volume, in mL?",
            INS,
            AYRSHIRE,
            why="Too little leaves blood in the tip, too much reaches the patient's circulation.",
        ),
    )
    preservative: words.Preservative | None = fact("lock preservative", "Preservative named on the label.")
    lot: Short | None = fact("lock lot", "Lot number on the label.")
    expires: Day | None = fact("lock expiry", "Last day of use on the label.")


class Dressing(Model):
    """A dressing as it was put on or found."""

    type: words.DressingType | NotAssessed | None = fact(
        "dressing type",
        "Kind of dressing.",
        need=must(
            "Which dressing?",
            INS,
            why="Gauze is due sooner than a transparent dressing: without the kind there is no due time.",
        ),
    )
    chlorhexidine_disc: YesNo | NotAssessed | None = fact(
        "chlorhexidine disc",
        "Yes when a chlorhexidine disc lies between needle hub and skin.",
        need=should(
            "Chlorhexidine disc between hub and skin?",
            CP,
            why="A hidden site cannot be looked at, and a dressing under tension injures the skin.",
            when="put on here",
            given="no_built_in_disc",
            option="chg_disc_expected",
            suits="disc_suits",
        ),
    )
    site_visible: YesNo | None = fact(
        "puncture site in view",
        "Yes when the entry site can be seen.",
        need=may(
            "Is the puncture site in view?",
            CP,
            why="A hidden site cannot be looked at, and a dressing under tension injures the skin.",
            when="put on here",
        ),
    )
    without_tension: YesNo | None = fact(
        "laid without tension",
        "Yes when laid without pulling on the skin.",
        need=may(
            "Laid without tension?",
            CP,
            why="A hidden site cannot be looked at, and a dressing under tension injures the skin.",
            when="put on here",
        ),
    )
    labelled: YesNo | None = fact(
        "dressing label",
        "Yes when labeled with date and initials.",
        need=may(
            "Is the dressing labeled with date and initials?",
            INS,
            why="The label is what the next nurse sees at the bedside before any record.",
            when="put on here",
        ),
    )
    barrier_film: YesNo | None = fact("skin barrier film", "Yes when a barrier film lies between skin and adhesive.")
    securement: Short | None = fact(
        "securement",
        "How needle and tubing are secured.",
        need=may(
            "How are needle and tubing secured?",
            INS,
            why="A needle that is not secured works its way out of the reservoir.",
            when="put on here",
        ),
    )
    lot: Short | None = fact("dressing lot", "Lot number on the label.")
    expires: Day | None = fact("dressing expiry", "Last day of use on the label.")
    latex: YesNo | None = fact("latex on the label", "Yes when the label says that it contains natural rubber latex.")


class Problem(Model):
    """A problem, what was done, who was told and what they answered."""

    what: Short = required("problem", "What was seen.", need=must("What was seen?", INS, US_HOSPITAL, ONS))
    action: Text | None = fact(
        "action",
        "What was done about it.",
        need=must(
            "What was done about it?",
            INS,
            US_HOSPITAL,
            ONS,
            why="A problem without an action reads as one that nobody dealt with.",
        ),
    )
    told: Person | None = fact(
        "who was told",
        "Who was told.",
        need=must(
            "Who was told?",
            INS,
            US_HOSPITAL,
            ONS,
            why="A problem with the line has to reach someone who may decide about it; the time shows that "
            "it did so in time.",
            when="in_trouble",
            who="the one told: name, credential?",
        ),
    )
    told_at: Moment | None = fact(
        "when they were told",
        "When they were told.",
        need=should(
            "When were they told?",
            INS,
            US_HOSPITAL,
            why="A problem with the line has to reach someone who may decide about it; the time shows that "
            "it did so in time.",
            given="somebody_told",
        ),
    )
    reply: Text | None = fact(
        "reply",
        "What they answered or ordered.",
        need=must(
            "What did they answer?",
            INS,
            US_HOSPITAL,
            why="Without the answer nobody knows whether the line may be used.",
            given="somebody_told",
        ),
    )


_LEAVING: Final = "After discharge nobody reads this record daily: the patient leaves with the next due time."


class NextDue(Model):
    """What the nurse told the next one is due: compared with the computed times, never used for them."""

    needle_change: Moment | None = fact(
        "next needle change",
        "When the needle is due out or changed.",
        need=should("When is the needle due out?", HOME, why=_LEAVING, when="leaves_accessed"),
    )
    dressing_change: Moment | None = fact(
        "next dressing change",
        "When the dressing is due.",
        need=should("When is the dressing due?", HOME, why=_LEAVING, when="leaves_accessed"),
    )
    flush: Moment | None = fact(
        "next flush",
        "When the next flush is due.",
        need=should("When is the next flush due?", AYRSHIRE, why=_LEAVING, when="leaves_without"),
    )


class Teaching(Model):
    """What was taught and what was understood."""

    about: Text = required("teaching", "What was taught.", need=may("What was taught?", INS, HOME))
    to: Short | None = fact(
        "who was taught",
        "Patient, parent or carer.",
        need=may(
            "Who was taught?",
            INS,
            HOME,
            why="The patient is the first to notice trouble with the line, if told what to look for.",
        ),
    )
    understanding: words.Understanding | None = fact(
        "understanding",
        "What the person taught showed.",
        need=may(
            "What did they understand?",
            INS,
            HOME,
            why="The patient is the first to notice trouble with the line, if told what to look for.",
        ),
    )


class Sign(Model):
    """A sign that bears on the line: what was seen, felt or said, where and when."""

    what: words.SignName = required("sign", "What was seen, felt or said.")
    where: words.Place | None = fact(
        "place of the sign",
        "Where on the body or the line.",
        need=should("Where?", CP, why="The place of a sign decides who is called.", given="has_place"),
    )
    began_at: Moment | None = fact(
        "beginning of the sign",
        "When it began.",
        need=should("When did it begin?", CP, why="When a sign began tells what it belongs to."),
    )
    during: words.During | None = fact("what went on", "What went on when it began.")
    change: words.Change | None = fact("change of the sign", "new, growing, unchanged or less.")
    temperature_c: Annotated[Decimal, Field(ge=25, le=45, decimal_places=2)] | None = fact(
        "temperature",
        "Temperature, in degrees Celsius.",
        need=should("Temperature, in degrees Celsius?", CP, why="A fever is a number.", given="is_fever"),
    )
    detail: Text | None = fact("detail of the sign", "More about it, in the nurse's own words.")


class DespiteHold(Model):
    """A prescriber's order to use a line although it is on hold."""

    by: Person | None = fact(
        "who ordered it",
        "Prescriber who ordered the use.",
        need=must("Who ordered the use despite the hold?", CP, why="Only a named prescriber may order it."),
    )
    purpose: Text | None = fact(
        "what it was ordered for",
        "What the line may be used for, such as blood cultures.",
        need=must("For what?", CP, why="The order covers what it names, nothing else."),
    )
    ordered_at: Moment | None = fact(
        "time of that order",
        "When it was ordered.",
        need=should("When was it ordered?", CP, why="The order comes before the use."),
    )


class Puncture(Model):
    """One pass of a needle at an access; the last one is the needle that stays."""

    needle: Needle | None = fact(
        "needle of the puncture",
        "Gauge, length, kind, lot.",
        need=may("Which needle?", CP, why="Each needle that was tried is told, with its length."),
    )
    by: Person | None = fact(
        "who punctured",
        "Who put this needle in.",
        need=may("Who put it in?", CP, why="Each pass of a needle has its author."),
    )
    outcome: words.PunctureOutcome | None = fact(
        "outcome of the puncture",
        "What came of it.",
        need=may("What came of it?", CP, why="The next nurse should not repeat what did not work."),
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
        need=should("Which anticoagulant, or none?", LABEL, why="A thrombolytic adds to an anticoagulant."),
    )
    platelets_10e9_per_l: Quantity | None = fact(
        "platelets",
        "Platelets, in 10^9 per L.",
        need=should("Platelets, in 10^9 per L?", LABEL, why="With few platelets a thrombolytic may bleed."),
    )
    recent_bleeding: YesNo | None = fact(
        "recent bleeding",
        "Yes when the patient bled or was operated on lately.",
        need=should(
            "Did the patient bleed, or have an operation, lately?", LABEL, why="A fresh wound may bleed again."
        ),
    )
    catheter_infection: YesNo | None = fact(
        "infection of the catheter",
        "Yes when an infection is known or suspected.",
        need=should(
            "Is an infection of the catheter known or suspected?",
            LABEL,
            why="A thrombolytic may let an infection of the catheter loose.",
        ),
    )
    other_causes: Text | None = fact(
        "other causes",
        "Other causes of the occlusion that were looked for.",
        need=should(
            "Which other causes were looked for?", LABEL, why="A kinked or displaced catheter does not open by a drug."
        ),
    )


class NeedleRemoval(Model):
    """Who takes out a needle that is left in, and when."""

    by: Person | None = fact(
        "who takes the needle out",
        "Who takes the needle out.",
        need=must("Who takes it out?", HOME, why="Somebody has to know that it is theirs to do."),
    )
    at: Moment | None = fact(
        "when the needle comes out",
        "When the needle is to come out.",
        need=must("When is it to come out?", HOME, why="A needle has a day by which it comes out."),
    )
    call: Short | None = fact(
        "whom to call",
        "Whom to call if the needle comes out by itself.",
        need=must(
            "Whom to call if it comes out by itself?",
            HOME,
            why="A needle that comes out at home is dangerous to whoever finds it.",
        ),
    )


class Allergy(Model):
    """A recorded allergy or sensitivity."""

    substance: words.AllergenName = required("allergen", "What the allergy is to.", renamed="substance")
    detail: Short | None = fact("allergen detail", "Names the substance when it is not in the list.")
    reaction: Short | None = fact("reaction", "What happened.")


class AllergyWithdrawn(Model):
    """An allergy that was recorded and is none."""

    substance: words.AllergenName = required("allergen withdrawn", "What the allergy was said to be to.")
    reason: Text | None = fact("reason for withdrawing it", "Why it is no allergy.")


class Condition(Model):
    """A condition in the history, and when it was found."""

    condition: HistoryName = required("condition", "Condition that changes which supplies may be used.")
    found_on: Day | None = fact("found on", "Day on which it was found.")


class TipConfirmation(Model):
    """How it is known where the catheter tip lies."""

    location: Short = required("tip location", "Where the tip lies.")
    method: Short | None = fact("confirmed by", "How it was confirmed.")
    on: Day | None = fact("confirmed on", "When it was confirmed.")


class PowerRating(Model):
    """What the port's label allows for power injection."""

    rated: YesNo = required("port power rating", "Yes when the label allows power injection.")
    max_flow_ml_per_s: Positive | None = fact("labeled flow limit", "Highest labeled rate, in mL per second.")
    max_pressure_psi: Positive | None = fact("labeled pressure limit", "Highest labeled pressure, in psi.")
