"""The parts that event kinds and the episode are built from: people, supplies, observations, acts."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Annotated, Any, Final, get_args

from pydantic import AliasChoices, AwareDatetime, BaseModel, BeforeValidator, ConfigDict, Field, Strict

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
Text = Annotated[str, Field(min_length=1, max_length=4000)]
Short = Annotated[str, Field(min_length=1, max_length=200)]
Identifier = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
Quantity = Annotated[Decimal, Field(ge=0, le=1_000_000, decimal_places=4)]
Positive = Annotated[Decimal, Field(gt=0, le=1_000_000, decimal_places=4)]
Whole = Annotated[int, Field(ge=0, le=100_000)]
Score = Annotated[int, Field(ge=0, le=10)]


def fact(label: str, says: str, *, renamed: str = "") -> Any:
    """Declare an optional fact: ``label`` names it in lists of gaps, ``says`` explains it in the schema.

    ``renamed`` is its key where it had another one in an earlier version of the layout: both are read for ever.
    """
    return Field(default=None, title=label, description=says, **_former(renamed))


def required(label: str, says: str, *, renamed: str = "") -> Any:
    """Declare a fact without which the part cannot be placed at all."""
    return Field(title=label, description=says, **_former(renamed))


def several(label: str, says: str) -> Any:
    """Declare a list of facts; an empty list says no more than a missing key."""
    return Field(default=(), title=label, description=says)


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

    name: Short = required("scale", "Name of the scale, such as INS phlebitis 0-4.")
    score: Score = required("score", "Score on that scale.")


class Site(Model):
    """The look at the skin over and around the port."""

    skin: words.Skin | NotAssessed | None = fact("skin", "State of the skin over the port.")
    incision: words.Incision | None = fact("incision", "Incision of the implantation: healing, healed or opening.")
    erythema: words.Presence | NotAssessed | None = fact("erythema", "Redness around the port.")
    erythema_mm: Quantity | None = fact("extent of erythema", "How far redness reaches from the port, in mm.")
    swelling: words.Presence | NotAssessed | None = fact("swelling", "Swelling of pocket, arm, neck or face.")
    swelling_where: tuple[words.Place, ...] = several("place of the swelling", "Where the swelling is.")
    swelling_change: words.Change | None = fact("change of the swelling", "new, growing, unchanged or less.")
    tenderness: words.Presence | NotAssessed | None = fact("tenderness", "Pain to the touch over the port.")
    drainage: words.Drainage | NotAssessed | None = fact("drainage", "Fluid from the site.")
    port: words.PortFeel | NotAssessed | None = fact("port to the touch", "How the port lies under the skin.")
    scale: Scale | None = fact("scale score", "Phlebitis or infiltration scale, where policy asks for one.")
    detail: Text | None = fact("site detail", "More about the site, in the nurse's own words.")


class Supply(Model):
    """A supply that was used, as its label tells."""

    name: Short = required("supply", "What it is, without brand.")
    lot: Short | None = fact("lot", "Lot number on the label.")
    expires: Day | None = fact("expiry", "Last day of use on the label.")
    udi: Text | None = fact("device identifier", "Device identifier (UDI) as scanned or printed.")
    latex: YesNo | None = fact("latex on the label", "Yes when the label says that it holds natural rubber latex.")


class Needle(Model):
    """A needle in a port. Volumes are priming volumes."""

    gauge: Annotated[int, Field(ge=10, le=34)] | NotAssessed | None = fact("needle gauge", "Gauge (G).")
    length_mm: Positive | NotAssessed | None = fact("needle length", "Length below the bend, in mm.")
    non_coring: YesNo | NotAssessed | None = fact("non-coring needle", "Yes when the needle is non-coring.")
    power_rated: YesNo | NotAssessed | None = fact("needle power rating", "Yes when its label allows power injection.")
    set_volume_ml: Quantity | None = fact("needle set volume", "Priming volume of needle and extension, in mL.")
    connector_volume_ml: Quantity | None = fact("connector volume", "Priming volume of add-ons, in mL.")
    lot: Short | None = fact("needle lot", "Lot number on the label.")
    expires: Day | None = fact("needle expiry", "Last day of use on the label.")
    rated_flow_ml_per_s: Positive | None = fact(
        "labelled needle flow limit", "Highest rate on the needle's label, in mL per second."
    )
    rated_pressure_psi: Positive | None = fact(
        "labelled needle pressure limit", "Highest pressure on the needle's label, in psi."
    )
    udi: Text | None = fact("needle device identifier", "Device identifier (UDI) as scanned or printed.")
    latex: YesNo | None = fact("latex on the label", "Yes when the label says that it holds natural rubber latex.")


class Anesthetic(Model):
    """Topical or intradermal anesthesia before the needle."""

    agent: words.AnestheticAgent = required("anesthetic agent", "What was used.")
    amount_g: Positive | None = fact("anesthetic amount", "Cream, in g.")
    area_cm2: Positive | None = fact("anesthetic area", "Skin covered, in square cm.")
    volume_ml: Positive | None = fact("anesthetic volume", "Intradermal volume, in mL.")
    applied_at: Moment | None = fact("anesthetic time on", "When it was put on, sprayed or injected.")
    removed_at: Moment | None = fact("anesthetic time off", "When cream was taken off.")
    sterile: YesNo | None = fact("sterile-labelled spray", "Yes when the spray is labelled sterile.")
    lot: Short | None = fact("anesthetic lot", "Lot number on the label.")
    expires: Day | None = fact("anesthetic expiry", "Last day of use on the label.")


class Antisepsis(Model):
    """Skin antisepsis: agent, friction and drying."""

    agent: words.AntisepticAgent = required("antiseptic agent", "What was used.")
    started_at: Moment | None = fact("skin prep start", "When friction began.")
    skin: Annotated[str, Field(pattern="^(dry|moist)$")] | None = fact("skin dry or moist", "dry or moist.")
    scrub_s: Quantity | None = fact("scrub time", "Friction, in seconds.")
    dry_s: Quantity | None = fact("dry time", "Drying, in seconds.")
    fully_dry: YesNo | None = fact("skin fully dry", "Yes when dry before anything touched it.")
    lot: Short | None = fact("antiseptic lot", "Lot number on the label.")
    expires: Day | None = fact("antiseptic expiry", "Last day of use on the label.")


class Technique(Model):
    """How asepsis was kept."""

    hand_hygiene: YesNo | NotAssessed | None = fact("hand hygiene", "Hand hygiene before the procedure.")
    masks: YesNo | NotAssessed | None = fact("masks", "Masks for all people present.")
    sterile_gloves: YesNo | NotAssessed | None = fact("sterile gloves", "Sterile gloves for the procedure.")
    sterile_field: YesNo | NotAssessed | None = fact("sterile field", "Sterile field or pack.")


class Flush(Model):
    """One flush through the needle."""

    solution: words.FlushSolution = required("flush solution", "What was flushed.")
    volume_ml: Quantity | None = fact("flush volume", "Volume, in mL.")
    syringe_ml: Positive | None = fact("flush syringe", "Barrel size of the syringe, in mL.")
    technique: words.FlushTechnique | None = fact("flush technique", "push-pause or steady.")
    resistance: words.Resistance | NotAssessed | None = fact("resistance", "Resistance felt.")
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

    drug: words.LockDrug = required("lock drug", "What the line is locked with.")
    units_per_ml: Quantity | None = fact("lock strength", "Heparin, in units per mL.")
    volume_ml: Quantity | None = fact("lock volume", "Volume, in mL.")
    preservative: words.Preservative | None = fact("lock preservative", "Preservative named on the label.")
    lot: Short | None = fact("lock lot", "Lot number on the label.")
    expires: Day | None = fact("lock expiry", "Last day of use on the label.")


class Dressing(Model):
    """A dressing as it was put on or found."""

    type: words.DressingType | NotAssessed | None = fact("dressing type", "Kind of dressing.")
    chlorhexidine_disc: YesNo | NotAssessed | None = fact(
        "chlorhexidine disc", "Yes when a chlorhexidine disc lies between needle hub and skin."
    )
    site_visible: YesNo | None = fact("puncture site in view", "Yes when the entry site can be seen.")
    without_tension: YesNo | None = fact("laid without tension", "Yes when laid without pulling on the skin.")
    labelled: YesNo | None = fact("dressing label", "Yes when labelled with date and initials.")
    barrier_film: YesNo | None = fact("skin barrier film", "Yes when a barrier film lies between skin and adhesive.")
    securement: Short | None = fact("securement", "How needle and tubing are secured.")
    lot: Short | None = fact("dressing lot", "Lot number on the label.")
    expires: Day | None = fact("dressing expiry", "Last day of use on the label.")
    latex: YesNo | None = fact("latex on the label", "Yes when the label says that it holds natural rubber latex.")


class Problem(Model):
    """A problem, what was done, who was told and what they answered."""

    what: Short = required("problem", "What was seen.")
    action: Text | None = fact("action", "What was done about it.")
    told: Person | None = fact("who was told", "Who was told.")
    told_at: Moment | None = fact("when they were told", "When they were told.")
    reply: Text | None = fact("reply", "What they answered or ordered.")


class NextDue(Model):
    """What the nurse told the next one is due: compared with the computed times, never used for them."""

    needle_change: Moment | None = fact("next needle change", "When the needle is due out or changed.")
    dressing_change: Moment | None = fact("next dressing change", "When the dressing is due.")
    flush: Moment | None = fact("next flush", "When the next flush is due.")


class Teaching(Model):
    """What was taught and what was understood."""

    about: Text = required("teaching", "What was taught.")
    to: Short | None = fact("who was taught", "Patient, parent or carer.")
    understanding: words.Understanding | None = fact("understanding", "What the learner showed.")


class Sign(Model):
    """A sign that bears on the line: what was seen, felt or said, where and when."""

    what: words.SignName = required("sign", "What was seen, felt or said.")
    where: words.Place | None = fact("place of the sign", "Where on the body or the line.")
    began_at: Moment | None = fact("beginning of the sign", "When it began.")
    during: words.During | None = fact("what went on", "What went on when it began.")
    change: words.Change | None = fact("change of the sign", "new, growing, unchanged or less.")
    temperature_c: Annotated[Decimal, Field(ge=25, le=45, decimal_places=2)] | None = fact(
        "temperature", "Temperature, in degrees Celsius."
    )
    detail: Text | None = fact("detail of the sign", "More about it, in the nurse's own words.")


class DespiteHold(Model):
    """A prescriber's order to use a line although it is on hold."""

    by: Person | None = fact("who ordered it", "Prescriber who ordered the use.")
    purpose: Text | None = fact("what it was ordered for", "What the line may be used for, such as blood cultures.")
    ordered_at: Moment | None = fact("time of that order", "When it was ordered.")


class Puncture(Model):
    """One pass of a needle at an access; the last one is the needle that stays."""

    needle: Needle | None = fact("needle of the puncture", "Gauge, length, kind, lot.")
    by: Person | None = fact("who punctured", "Who put this needle in.")
    outcome: words.PunctureOutcome | None = fact("outcome of the puncture", "What came of it.")
    at: Moment | None = fact("time of the puncture", "When the needle went in.")


class Cultures(Model):
    """How blood cultures were drawn."""

    paired: YesNo | None = fact("paired cultures", "Yes when drawn from the line and from a vein.")
    before_antibiotics: YesNo | None = fact("before antibiotics", "Yes when drawn before antibiotics were given.")
    new_connector: YesNo | None = fact("new connector for cultures", "Yes when the connector was replaced first.")


class BleedingRisk(Model):
    """What was asked before a thrombolytic."""

    anticoagulant: Short | None = fact("anticoagulant", "Anticoagulant that the patient takes, or none.")
    platelets_10e9_per_l: Quantity | None = fact("platelets", "Platelets, in 10^9 per L.")
    recent_bleeding: YesNo | None = fact("recent bleeding", "Yes when the patient bled or was operated on lately.")
    catheter_infection: YesNo | None = fact("infection of the catheter", "Yes when an infection is known or suspected.")
    other_causes: Text | None = fact("other causes", "Other causes of the occlusion that were looked for.")


class NeedleRemoval(Model):
    """Who takes out a needle that is left in, and when."""

    by: Person | None = fact("who takes the needle out", "Who takes the needle out.")
    at: Moment | None = fact("when the needle comes out", "When the needle is to come out.")
    call: Short | None = fact("whom to call", "Whom to call if the needle comes out by itself.")


class Allergy(Model):
    """A recorded allergy or sensitivity."""

    substance: words.AllergenName = required("allergen", "What the allergy is to.", renamed="substance")
    detail: Short | None = fact("allergen detail", "Names the substance when it is none of the list.")
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
    max_flow_ml_per_s: Positive | None = fact("labelled flow limit", "Highest labelled rate, in mL per second.")
    max_pressure_psi: Positive | None = fact("labelled pressure limit", "Highest labelled pressure, in psi.")
