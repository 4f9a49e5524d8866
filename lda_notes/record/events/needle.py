"""The needle is put in, found in, taken out, or has come out."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field

from lda_notes.knowledge.askers import CDC, CP, HOME, INS, OPEN_RN, US_HOSPITAL
from lda_notes.record import vocabulary as words
from lda_notes.record.events.groups import Dressed, Flushed, Proved, SiteSeen
from lda_notes.record.events.shapes import Closing, Observing, Opening
from lda_notes.record.parts import (
    Anesthetic,
    Day,
    Dressing,
    Identifier,
    Moment,
    Needle,
    NotAssessed,
    NotDone,
    Puncture,
    Short,
    Text,
    YesNo,
    fact,
    several,
)

_NEEDLE_DECIDES: Final = (
    "What is in the port decides what may go through it, when it must come out, and what to look for on removal."
)


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
        must=("Is the tip position confirmed?", OPEN_RN, INS),
        why="A catheter whose tip is not where it should be can deliver drugs into tissue.",
        when="first_access",
        reported="tip_unknown",
    )
    anesthetic: Literal["none used"] | Anesthetic | NotAssessed | None = fact(
        "local anesthetic",
        "Agent with amount and times, or none used.",
        renamed="anesthetic",
        may=("Was the skin numbed?", OPEN_RN, US_HOSPITAL),
        why="Cream and spray change the order of skin preparation and can cause reactions of their own.",
    )
    extension_primed: YesNo | None = fact(
        "extension primed",
        "Yes when primed with saline and clamped.",
        may=("Was the extension primed with saline and clamped?", CP),
        why="An unprimed extension lets air into the line.",
    )
    needle: Needle | None = fact(
        "needle",
        "Gauge, length, kind, lot.",
        must=("Which needle was put in?", INS, HOME, OPEN_RN),
        why=_NEEDLE_DECIDES,
    )
    needle_wings: words.NeedleWings | None = fact(
        "wings of the needle",
        "How the wings lie: level with the skin, raised above it, pressing into it.",
        should=("How do the wings lie on the skin?", CP),
        why="Wings raised above the skin or pressing into it mean that the needle is too long or too short.",
        when="painful",
    )
    punctures: tuple[Puncture, ...] = several(
        "punctures",
        "Each needle pass: which needle, by whom, with what outcome; the last is the needle that stays.",
        may=("Which needle, by whom and with what outcome, each time?", CP),
        why="The next nurse should not repeat what did not work.",
        when="several_attempts",
    )
    attempts: Annotated[int, Field(ge=1, le=20)] | None = fact(
        "number of attempts",
        "Needle passes made.",
        should=("How many attempts?", INS),
        why="Repeated passes raise the risk of infection and hematoma and shorten the septum's life.",
    )
    infusion: Text | None = fact(
        "infusion connected",
        "What runs after the access, if anything.",
        may=("What runs through it?", CP),
        why="A working needle that is neither locked nor in use will clot.",
        when="unlocked",
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
        may=("Where did the patient come from?", CP),
        why="The place that inserted the needle is the one to ask for what is not known about it.",
    )
    needle: Needle | NotAssessed | None = fact(
        "needle",
        "What is known about the needle.",
        must=("Which needle is in?", INS, HOME, OPEN_RN),
        why=_NEEDLE_DECIDES,
    )
    inserted_at: Moment | Day | NotAssessed | None = fact(
        "time of insertion",
        "When the needle was put in, if known; only the day if the hour is not known.",
        must=("When was the needle put in?", CDC, INS),
        why="The needle's clock runs from its insertion, not from the arrival; when it is unknown the "
        "needle is due now.",
    )
    dressing: Dressing | NotAssessed | None = fact(
        "dressing",
        "The dressing found.",
        should=("Which dressing is on?", INS),
        why="The dressing keeps needle and site clean; its type decides when it is due.",
    )
    dressing_found: tuple[words.DressingCondition, ...] | NotAssessed | None = fact(
        "condition of the dressing",
        "Condition of the dressing found.",
        must=("How was the dressing found?", INS),
        why="A damp, soiled or loose dressing is due now, whatever its age.",
    )
    dressed_at: Moment | Day | NotAssessed | None = fact(
        "time of dressing",
        "When the dressing was put on, if known; only the day if the label shows no more.",
        must=("When was the dressing put on?", CDC, INS),
        why="The dressing's clock runs from when it was put on, not from the arrival.",
    )
    infusion: Text | None = fact("infusion connected", "What runs on arrival, if anything.")


_BLEEDING_SHOWS: Final = "Bleeding after removal may show a clotting problem or a damaged septum."


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
        must=("Did the needle come out whole?", INS),
        why="A broken piece stays in the port or in the tissue and has to be looked for at once.",
    )
    missing_piece: Text | None = fact(
        "missing piece",
        "What part of the needle is missing, and where it was looked for.",
        must=("What is missing, and where was it looked for?", CP),
        why="A piece left behind can travel.",
        when="not_whole",
    )
    safety_engaged: YesNo | NotAssessed | None = fact(
        "safety device",
        "Yes when the needle's safety device locked.",
        should=("Did the safety device lock?", INS),
        why="An unguarded non-coring needle is a common cause of needle-stick injury on removal.",
    )
    bleeding: words.Bleeding | NotAssessed | None = fact(
        "bleeding", "Bleeding after removal.", should=("Did it bleed?", INS), why=_BLEEDING_SHOWS
    )
    cover: Short | NotDone | None = fact(
        "cover", "What covers the puncture.", may=("What covers the puncture?", INS), why=_BLEEDING_SHOWS
    )


_RAN_OUTSIDE: Final = "What ran while the needle was out of place may be outside the vein."


class NeedleDislodged(
    Observing,
    SiteSeen,
    rank=35,
    command="dislodged",
    stem="dislodged",
    asks="septum identifiers_checked extent running actions site signs despite_hold problems charted_at by verified_by",
):
    """The needle has come out of place, partly or completely, without being removed."""

    kind: Literal["needle dislodged"]
    extent: words.DislodgedExtent | None = fact(
        "how far the needle is out",
        "partly out or completely out.",
        must=("Is the needle partly or completely out?", CP),
        why=_RAN_OUTSIDE,
    )
    running: Short | None = fact(
        "what ran",
        "What ran when it was found, or nothing.",
        must=("What ran through it, or nothing?", CP),
        why=_RAN_OUTSIDE,
    )
    actions: tuple[words.DislodgedAction, ...] = several(
        "what was done",
        "What was done about it.",
        must=("What was done about it?", CP),
        why="A needle that came out is never pushed back: the next nurse has to know what was done instead.",
    )
