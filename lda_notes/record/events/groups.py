"""Facts that several kinds share: the look at the site, the proof of the line, the flush, the dressing."""

from __future__ import annotations

from lda_notes.knowledge.askers import AYRSHIRE, CP, INS, MARSDEN, ONS, OPEN_RN, US_HOSPITAL
from lda_notes.record import vocabulary as words
from lda_notes.record.parts import (
    Antisepsis,
    Dressing,
    Flush,
    Lock,
    Model,
    NotAssessed,
    NotDone,
    Quantity,
    Short,
    Site,
    Technique,
    YesNo,
    fact,
    several,
)


class SiteSeen(Model):
    """Facts of a look at the site."""

    site: Site | NotAssessed | None = fact(
        "site assessment",
        "The look at the skin over and around the port.",
        must=("How did the site look?", US_HOSPITAL, AYRSHIRE, MARSDEN, INS),
        why="Infection, swelling and a flipped port are first seen at the site, and a needle must not go through them.",
        reported="site_not_seen_lately",
    )


class Proved(Model):
    """Facts that prove the line, or fail to."""

    blood_return: words.BloodReturn | NotAssessed | None = fact(
        "blood return",
        "present, sluggish or none; none is a finding, a missing key is a gap.",
        must=("Blood return: present, sluggish or none?", INS, ONS, AYRSHIRE),
        why="Blood return is the proof that the needle is in the port and the tip in the vein; without a record of "
        "it, no one knows whether the line was proved.",
        when="proof due",
        reported="blood_not_seen_lately",
    )
    blood_looks: words.BloodLooks | None = fact(
        "look of the blood",
        "Color and consistency of the aspirate.",
        should=("How did the blood look?", INS, ONS),
        why="Thin or clotted aspirate is not the same proof as whole blood.",
        when="blood",
        reported="proves_the_line",
    )
    steps_tried: tuple[words.RestoringStep, ...] = several(
        "steps tried",
        "What was tried to get blood return.",
        should=("What was tried to get blood?", INS, ONS),
        why="The specialist who evaluates the line has to know what was already tried.",
        when="no_blood",
        reported="not a use",
    )
    discard_ml: Quantity | NotDone | None = fact(
        "discard volume",
        "First aspirate discarded, in mL.",
        may=("How much of the first aspirate was discarded, in mL?", AYRSHIRE, INS),
        why="The first aspirate contains the old lock; giving it back or sampling from it does harm.",
        when="blood drawn",
    )
    discard_method: words.DiscardMethod | None = fact(
        "way of discarding",
        "What was done with the first aspirate.",
        may=("What was done with the first aspirate?", CP),
        why="The first aspirate contains the old lock.",
        when="discarded_some",
    )
    samples: tuple[Short, ...] = several(
        "samples",
        "Blood samples drawn.",
        must=("Which samples were drawn?", AYRSHIRE, INS),
        why="What went through the line matters for occlusion, compatibility and tissue injury.",
        when="sampling",
    )


class Flushed(Model):
    """What went through the line and what stayed in it."""

    hub_scrub_s: Quantity | None = fact(
        "connector scrub time",
        "Scrub of the needleless connector, in seconds.",
        may=("How long was the connector scrubbed, in seconds?", INS),
        why="The needleless connector is the way in for most later infections.",
        when="flush due",
    )
    flushes: tuple[Flush, ...] | NotDone | None = fact(
        "flush",
        "Flushes in the order given.",
        must=("Was the line flushed?", INS, AYRSHIRE),
        why="A line that is not flushed clots; a flush that is not recorded may be skipped or repeated by the next "
        "nurse.",
        when="flush due",
    )
    old_lock: words.OldLock | None = fact(
        "old lock",
        "What was done with the lock that was in the line before.",
        should=("What was done with the lock that was in the line?", CP),
        why="A strong heparin or alcohol lock that is flushed in reaches the circulation as a dose.",
        when="old_lock_in",
    )
    lock: Lock | NotDone | None = fact(
        "lock",
        "What the line is locked with.",
        must=("Was the line locked?", INS, AYRSHIRE),
        why="What is left in the line is a drug: the next nurse has to withdraw it, and it counts toward the next "
        "dose.",
        when="lock due",
    )


class Dressed(Model):
    """Skin antisepsis, technique and the dressing put on."""

    antisepsis: Antisepsis | NotDone | None = fact(
        "skin antisepsis",
        "Agent, friction and drying.",
        must=("Was the skin disinfected?", INS, OPEN_RN),
        why="The antiseptic is the main protection against infection and a known cause of allergic reactions.",
    )
    technique: Technique | None = fact(
        "technique",
        "Hand hygiene, masks, sterile gloves, sterile field.",
        should=("How was it kept sterile?", INS, OPEN_RN),
        why="A later bloodstream infection is traced back to how the needle went in.",
    )
    dressing: Dressing | NotDone | None = fact(
        "dressing",
        "The dressing put on.",
        must=("Was a dressing put on?", INS),
        why="The dressing keeps needle and site clean; its type decides when it is due.",
        when="dressing due",
    )
    taken_off: tuple[words.TakenOff, ...] = several(
        "taken off because of a reaction", "What was taken off the skin because of a reaction to it."
    )
    connector_changed: YesNo | NotDone | None = fact(
        "connector change",
        "Yes when the needleless connector was changed.",
        may=("Was the needleless connector changed?", US_HOSPITAL, INS),
        why="A connector has its own interval, which runs from its last change.",
    )
    disinfecting_caps: YesNo | NotDone | None = fact(
        "disinfecting caps",
        "Yes when every needleless connector and side port has a disinfecting cap.",
        may=("Disinfecting cap on every connector?", CP),
        why="An uncapped connector has to be scrubbed before each use and is easily forgotten.",
        option="disinfecting_cap_expected",
    )
