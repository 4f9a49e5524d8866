"""Events of patient and port around the care, and facts that become known of them."""

from __future__ import annotations

from typing import Final, Literal

from lda_notes.knowledge.askers import AYRSHIRE, CP, HOME, INS, NHSN, OPEN_RN
from lda_notes.record import vocabulary as words
from lda_notes.record.events.shapes import Moving
from lda_notes.record.parts import (
    Allergy,
    AllergyWithdrawn,
    Condition,
    Day,
    Lock,
    NeedleRemoval,
    NextDue,
    NotAssessed,
    NotDone,
    Person,
    Positive,
    PowerRating,
    Short,
    Teaching,
    Text,
    TipConfirmation,
    YesNo,
    fact,
    required,
    several,
)

_TAKEN_OVER: Final = "An accessed port that no one takes over is an accessed port that no one looks at."


class Transfer(Moving, rank=130, command="transfer", asks="to_unit to_setting handed_to charted_at by verified_by"):
    """The patient moves to another unit."""

    kind: Literal["transfer"]
    to_unit: Short = required("new unit", "Unit that the patient moves to.", must=("Which unit?", CP))
    to_room: Short | None = fact("new room", "Room on the new unit.")
    to_setting: words.Setting | None = fact(
        "setting",
        "Kind of unit.",
        should=("What kind of unit is it?", NHSN),
        why=_TAKEN_OVER,
        reported="from_elsewhere",
    )
    handed_to: Person | None = fact(
        "who took over",
        "Nurse who took over the line.",
        should=("Who took over the line?", CP),
        why=_TAKEN_OVER,
        who="the nurse who took over: name",
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
        should=("Where does the patient go?", HOME),
        why="Where the patient goes decides who takes care of the port.",
    )
    needle_in: YesNo | None = fact(
        "needle left in",
        "Yes when the patient leaves with the needle in.",
        must=("Does the patient leave with the needle in?", HOME),
        why="A needle left in by oversight stays in until something goes wrong.",
    )
    handed_to: Person | None = fact(
        "who takes over",
        "Who looks after the line from here.",
        must=("Who looks after the line from here?", HOME),
        why="A patient who leaves with the needle in needs someone who will take it out in time.",
        when="leaves_accessed",
        who="the one who takes over: name",
    )
    needle_removal: NeedleRemoval | None = fact(
        "removal of the needle",
        "Who takes the needle out, when, and whom to call if it comes out.",
        must=("Who takes the needle out, and when?", HOME),
        why="A needle left in without a date and a name stays in until something goes wrong.",
        when="leaves_accessed",
    )
    next_due: NextDue | None = fact(
        "next due as told",
        "What the patient was told is due next.",
        should=("What is due next?", HOME, AYRSHIRE),
        why="After discharge no one reads this record daily, so the patient has to leave knowing what is due next.",
        when="taught_on_leaving",
    )
    teaching: Teaching | NotDone | None = fact(
        "teaching",
        "What was taught and understood.",
        should=("Was anything taught?", INS, HOME),
        why="The patient, if told what to look for, is the first to notice trouble with the line.",
        reported="taught_now",
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
        must=("Where does the tip lie?", OPEN_RN, INS),
        why="Every later first use refers to this confirmation.",
    )
    tip_method: Short | None = fact(
        "confirmed by",
        "How tip position was confirmed.",
        should=("How was the tip position confirmed?", OPEN_RN, INS),
        why="The method shows how far the confirmation can be relied on.",
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
        should=("Why was it removed?", INS),
        why="Infection, occlusion and end of treatment lead to different next steps.",
    )
    complete: YesNo | None = fact(
        "removed whole",
        "Yes when port and catheter came out whole.",
        must=("Did port and catheter come out whole?", INS),
        why="A piece left behind can travel to the heart.",
    )


class PatientFacts(Moving, titled="Patient information", rank=4, command="patient", asks="charted_at by verified_by"):
    """Facts about the patient change, or become known, during the stay."""

    kind: Literal["patient facts"]
    allergies: tuple[Allergy, ...] = several("allergies found", "Allergies that became known.")
    allergies_withdrawn: tuple[AllergyWithdrawn, ...] = several(
        "allergies withdrawn", "Allergies that turned out not to be allergies."
    )
    history: tuple[Condition, ...] = several("conditions found", "Conditions that became known, and when.")
    weight_kg: Positive | None = fact("weight", "Weight, in kg.")
    room: Short | None = fact("room", "Room that the patient is in from now on.")
    carer: Short | None = fact("caregiver", "Who looks after the patient at home.")


class PortFacts(Moving, titled="Port information", rank=6, command="port", asks="source charted_at by verified_by"):
    """Facts about the port become known: from its card, a radiograph or a report."""

    kind: Literal["port facts"]
    tip: TipConfirmation | None = fact("tip confirmation", "How the tip position is known.")
    power: PowerRating | None = fact("power rating", "What the label allows for power injection.")
    catheter_volume_ml: Positive | None = fact("catheter volume", "Volume of catheter and port, in mL.")
    valved: YesNo | None = fact("valved", "Yes when the catheter has a valve.")
    arm_history: tuple[words.ArmHistory, ...] = several(
        "history of that arm", "What is known about the port's side of the body."
    )
    source: words.PortSource | None = fact(
        "source",
        "Where it is known from.",
        should=("Where is it known from?", CP),
        why="For a power injection, a card in hand is not the same as hearsay.",
    )


class FlushedElsewhere(
    Moving, rank=8, command="elsewhere", asks="septum on where by_word_of charted_at by verified_by"
):
    """The port was flushed elsewhere, as the patient or that place reports."""

    kind: Literal["flushed elsewhere"]
    septum: Short | None = fact(
        "septum",
        "Which septum; only asked of a port with two.",
        must=("Which septum?", INS),
        why="On a port with two septa each has its own needle, clocks and hold; a record without the septum can be "
        "assigned to the wrong one.",
        when="two_septa",
    )
    on: Day = required("day of that flush", "Day on which it was flushed.", must=("On which day was it flushed?", CP))
    where: Short | None = fact(
        "place of that flush",
        "Where it was flushed.",
        may=("Where was it flushed?", CP),
        why="That place is the one to ask about the lock and the lot.",
    )
    by_word_of: Short | None = fact(
        "by whose word",
        "Who reported it: the patient, a letter, that place.",
        must=("Who reported it?", CP),
        why="The next flush is counted from that day.",
    )
    lock: Lock | NotAssessed | None = fact("lock", "What the line was locked with.")
