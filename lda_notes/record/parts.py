"""The parts that event kinds and the episode are built from: people, supplies, observations, acts."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Annotated, Any

from pydantic import AwareDatetime, BaseModel, BeforeValidator, ConfigDict, Field, Strict

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


def fact(label: str, says: str) -> Any:
    """Declare an optional fact: ``label`` names it in lists of gaps, ``says`` explains it in the schema."""
    return Field(default=None, title=label, description=says)


def required(label: str, says: str) -> Any:
    """Declare a fact without which the part cannot be placed at all."""
    return Field(title=label, description=says)


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
    erythema: words.Presence | NotAssessed | None = fact("erythema", "Redness around the port.")
    erythema_mm: Quantity | None = fact("extent of erythema", "How far redness reaches from the port, in mm.")
    swelling: words.Presence | NotAssessed | None = fact("swelling", "Swelling of pocket, arm, neck or face.")
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
    udi: Text | None = fact("needle device identifier", "Device identifier (UDI) as scanned or printed.")
    latex: YesNo | None = fact("latex on the label", "Yes when the label says that it holds natural rubber latex.")


class Anaesthetic(Model):
    """Topical or intradermal anaesthesia before the needle."""

    agent: words.AnaestheticAgent = required("anaesthetic agent", "What was used.")
    amount_g: Positive | None = fact("anaesthetic amount", "Cream, in g.")
    area_cm2: Positive | None = fact("anaesthetic area", "Skin covered, in square cm.")
    volume_ml: Positive | None = fact("anaesthetic volume", "Intradermal volume, in mL.")
    applied_at: Moment | None = fact("anaesthetic time on", "When it was put on, sprayed or injected.")
    removed_at: Moment | None = fact("anaesthetic time off", "When cream was taken off.")
    sterile: YesNo | None = fact("sterile-labelled spray", "Yes when the spray is labelled sterile.")
    lot: Short | None = fact("anaesthetic lot", "Lot number on the label.")
    expires: Day | None = fact("anaesthetic expiry", "Last day of use on the label.")


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
