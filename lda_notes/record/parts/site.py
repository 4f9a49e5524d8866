"""The site and what is put on the skin: assessment, signs, anesthetic, antisepsis, technique, dressing."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Final

from pydantic import Field

from lda_notes.knowledge.askers import AYRSHIRE, CORNWALL, CP, INS, MARSDEN, OPEN_RN, US_HOSPITAL
from lda_notes.record import vocabulary as words
from lda_notes.record.parts.facts import Model, fact, required, several
from lda_notes.record.parts.people import NotAssessed
from lda_notes.record.parts.values import Day, Moment, Positive, Quantity, Score, Short, Text, YesNo


class Scale(Model):
    """A scored observation; the scale's name is kept with the score."""

    name: Short = required(
        "scale", "Name of the scale, such as INS phlebitis 0-4.", must=("Which site scale?", CORNWALL, INS)
    )
    score: Score = required("score", "Score on that scale.", must=("Which score?", CORNWALL, INS))


_FINDINGS_DIFFER: Final = (
    "Each finding has its own consequence: swelling points to a leak, redness with pain to infection."
)


class Site(Model):
    """The look at the skin over and around the port."""

    skin: words.Skin | NotAssessed | None = fact(
        "skin",
        "State of the skin over the port.",
        must=("How is the skin over the port?", US_HOSPITAL, INS),
        why=_FINDINGS_DIFFER,
    )
    incision: words.Incision | None = fact("incision", "Incision of the implantation: healing, healed or opening.")
    erythema: words.Presence | NotAssessed | None = fact(
        "erythema",
        "Redness around the port.",
        must=("Is there redness?", US_HOSPITAL, AYRSHIRE, INS),
        why=_FINDINGS_DIFFER,
    )
    erythema_mm: Quantity | None = fact(
        "extent of erythema",
        "How far redness reaches from the port, in mm.",
        may=("How far does the redness reach, in mm?", INS),
        why="Only a measured extent shows the next nurse whether the redness is spreading.",
        given="has_redness",
    )
    swelling: words.Presence | NotAssessed | None = fact(
        "swelling",
        "Swelling of pocket, arm, neck or face.",
        must=("Is there swelling of the pocket, arm, neck or face?", US_HOSPITAL, AYRSHIRE, INS),
        why=_FINDINGS_DIFFER,
    )
    swelling_where: tuple[words.Place, ...] = several("place of the swelling", "Where the swelling is.")
    swelling_change: words.Change | None = fact("change of the swelling", "new, growing, unchanged or less.")
    tenderness: words.Presence | NotAssessed | None = fact(
        "tenderness",
        "Pain to the touch over the port.",
        must=("Does the port hurt when touched?", US_HOSPITAL, AYRSHIRE, INS),
        why=_FINDINGS_DIFFER,
    )
    drainage: words.Drainage | NotAssessed | None = fact(
        "drainage",
        "Fluid from the site.",
        must=("Any drainage from the site?", US_HOSPITAL, AYRSHIRE, INS),
        why=_FINDINGS_DIFFER,
    )
    port: words.PortFeel | NotAssessed | None = fact(
        "port to the touch",
        "How the port lies under the skin.",
        may=("How does the port feel under the skin?", AYRSHIRE, MARSDEN),
        why=_FINDINGS_DIFFER,
    )
    scale: Scale | None = fact(
        "scale score",
        "Phlebitis or infiltration scale, where policy asks for one.",
        must=("Which score on which site scale?", CORNWALL, INS),
        why="Some facilities track the site with a score; the number means nothing without its scale.",
        option="scale_score_required",
    )
    detail: Text | None = fact("site detail", "More about the site, in the nurse's own words.")


_A_DRUG: Final = "An anesthetic is a drug: amount and contact time have limits that depend on age and weight."
_CHANGES_PREPARATION: Final = (
    "Cream and spray change the order of skin preparation and can cause reactions of their own."
)


class Anesthetic(Model):
    """Topical or intradermal anesthesia before the needle."""

    agent: words.AnestheticAgent = required(
        "anesthetic agent", "What was used.", must=("What was the skin numbed with?", OPEN_RN, US_HOSPITAL)
    )
    amount_g: Positive | None = fact(
        "anesthetic amount", "Cream, in g.", must=("How much cream, in g?", OPEN_RN), why=_A_DRUG, given="is_cream"
    )
    area_cm2: Positive | None = fact(
        "anesthetic area",
        "Skin covered, in square cm.",
        may=("How much skin did the cream cover, in square cm?", OPEN_RN),
        why=_CHANGES_PREPARATION,
        given="is_cream",
    )
    volume_ml: Positive | None = fact(
        "anesthetic volume",
        "Intradermal volume, in mL.",
        must=("How much was injected, in mL?", OPEN_RN),
        why=_A_DRUG,
        given="is_injected",
    )
    applied_at: Moment | None = fact(
        "anesthetic time on",
        "When it was put on, sprayed or injected.",
        should=("When was it put on or given?", OPEN_RN, US_HOSPITAL),
        why=_A_DRUG,
    )
    removed_at: Moment | None = fact(
        "anesthetic time off",
        "When cream was taken off.",
        should=("When was the cream taken off?", OPEN_RN, US_HOSPITAL),
        why=_A_DRUG,
        given="is_cream",
    )
    sterile: YesNo | None = fact(
        "sterile-labeled spray",
        "Yes when the spray is labeled sterile.",
        may=("Is the spray labeled sterile?", CP),
        why=_CHANGES_PREPARATION,
        given="is_spray",
    )
    lot: Short | None = fact("anesthetic lot", "Lot number on the label.")
    expires: Day | None = fact("anesthetic expiry", "Last day of use on the label.")


_FRICTION_AND_DRYING: Final = (
    "An antiseptic works only with enough friction and when fully dry; the times show that it had both."
)


class Antisepsis(Model):
    """Skin antisepsis: agent, friction and drying."""

    agent: words.AntisepticAgent = required(
        "antiseptic agent", "What was used.", must=("Which antiseptic?", INS, OPEN_RN)
    )
    started_at: Moment | None = fact(
        "skin prep start",
        "When friction began.",
        may=("When did skin preparation begin?", CP),
        why=_FRICTION_AND_DRYING,
        when="before puncture",
    )
    skin: Annotated[str, Field(pattern="^(dry|moist)$")] | None = fact(
        "skin dry or moist",
        "dry or moist.",
        may=("Was the skin dry or moist beforehand?", CP),
        why=_FRICTION_AND_DRYING,
    )
    scrub_s: Quantity | None = fact(
        "scrub time",
        "Friction, in seconds.",
        may=("How long was the skin scrubbed, in seconds?", INS, OPEN_RN),
        why=_FRICTION_AND_DRYING,
    )
    dry_s: Quantity | None = fact(
        "dry time",
        "Drying, in seconds.",
        may=("How long did the skin dry, in seconds?", INS, OPEN_RN),
        why=_FRICTION_AND_DRYING,
    )
    fully_dry: YesNo | None = fact(
        "skin fully dry",
        "Yes when dry before anything touched it.",
        may=("Was the skin fully dry before anything touched it?", INS),
        why=_FRICTION_AND_DRYING,
    )
    lot: Short | None = fact("antiseptic lot", "Lot number on the label.")
    expires: Day | None = fact("antiseptic expiry", "Last day of use on the label.")


_TRACED_BACK: Final = "A later bloodstream infection is traced back to how the needle went in."


class Technique(Model):
    """How asepsis was kept."""

    hand_hygiene: YesNo | NotAssessed | None = fact(
        "hand hygiene",
        "Hand hygiene before the procedure.",
        should=("Hand hygiene before the procedure?", INS, OPEN_RN),
        why=_TRACED_BACK,
    )
    masks: YesNo | NotAssessed | None = fact(
        "masks",
        "Masks for all people present.",
        may=("Masks on all people present?", INS, OPEN_RN),
        why=_TRACED_BACK,
    )
    sterile_gloves: YesNo | NotAssessed | None = fact(
        "sterile gloves",
        "Sterile gloves for the procedure.",
        should=("Sterile gloves?", INS, OPEN_RN),
        why=_TRACED_BACK,
    )
    sterile_field: YesNo | NotAssessed | None = fact(
        "sterile field", "Sterile field or pack.", should=("Sterile field?", INS, OPEN_RN), why=_TRACED_BACK
    )


_SEEN_AND_SLACK: Final = "A hidden site cannot be inspected, and a dressing under tension injures the skin."


class Dressing(Model):
    """A dressing as it was put on or found."""

    type: words.DressingType | NotAssessed | None = fact(
        "dressing type",
        "Kind of dressing.",
        must=("Which dressing?", INS),
        why="Gauze is due sooner than a transparent dressing; without the type there is no due time.",
    )
    chlorhexidine_disc: YesNo | NotAssessed | None = fact(
        "chlorhexidine disc",
        "Yes when a chlorhexidine disc lies between needle hub and skin.",
        may=("Chlorhexidine disc between hub and skin?", CP),
        why=_SEEN_AND_SLACK,
        when="put on here",
        given="no_built_in_disc",
        option="chg_disc_expected",
        suits="disc_suits",
    )
    site_visible: YesNo | None = fact(
        "puncture site in view",
        "Yes when the entry site can be seen.",
        may=("Is the puncture site in view?", CP),
        why=_SEEN_AND_SLACK,
        when="put on here",
    )
    without_tension: YesNo | None = fact(
        "applied without tension",
        "Yes when applied without pulling on the skin.",
        may=("Applied without tension?", CP),
        why=_SEEN_AND_SLACK,
        when="put on here",
    )
    labelled: YesNo | None = fact(
        "dressing label",
        "Yes when labeled with date and initials.",
        may=("Is the dressing labeled with date and initials?", INS),
        why="At the bedside, the next nurse sees the label before any record.",
        when="put on here",
    )
    barrier_film: YesNo | None = fact("skin barrier film", "Yes when a barrier film lies between skin and adhesive.")
    securement: Short | None = fact(
        "securement",
        "How needle and tubing are secured.",
        may=("How are needle and tubing secured?", INS),
        why="A needle that is not secured works its way out of the reservoir.",
        when="put on here",
    )
    lot: Short | None = fact("dressing lot", "Lot number on the label.")
    expires: Day | None = fact("dressing expiry", "Last day of use on the label.")
    latex: YesNo | None = fact("latex on the label", "Yes when the label says that it contains natural rubber latex.")


class Sign(Model):
    """A sign that bears on the line: what was seen, felt or said, where and when."""

    what: words.SignName = required("sign", "What was seen, felt or said.")
    where: words.Place | None = fact(
        "place of the sign",
        "Where on the body or the line.",
        should=("Where?", CP),
        why="Where a sign is decides who is called.",
        given="has_place",
    )
    began_at: Moment | None = fact(
        "beginning of the sign",
        "When it began.",
        should=("When did it begin?", CP),
        why="When a sign began shows what it belongs to.",
    )
    during: words.During | None = fact("what went on", "What was happening when it began.")
    change: words.Change | None = fact("change of the sign", "new, growing, unchanged or less.")
    temperature_c: Annotated[Decimal, Field(ge=25, le=45, decimal_places=2)] | None = fact(
        "temperature",
        "Temperature, in degrees Celsius.",
        should=("Temperature, in degrees Celsius?", CP),
        why="A fever is documented as a number.",
        given="is_fever",
    )
    detail: Text | None = fact("detail of the sign", "More about it, in the nurse's own words.")
