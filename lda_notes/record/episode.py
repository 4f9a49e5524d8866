"""The record as a whole: one patient, one stay, one port, and what happened to it."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal

from pydantic import BeforeValidator, Field

from lda_notes.knowledge.askers import CP, GOAL, HOME, INS, LABEL, NHSN, OPEN_RN
from lda_notes.record import vocabulary as words
from lda_notes.record.events import AnyEvent
from lda_notes.record.parts import (
    Allergy,
    Condition,
    Day,
    HistoryName,
    Identifier,
    Model,
    Moment,
    Positive,
    PowerRating,
    Short,
    Text,
    TipConfirmation,
    TouchShape,
    YesNo,
    fact,
    required,
)


class PatientIdentifier(Model):
    """An identifier and the system that issued it."""

    system: Short = required("identifier system", "Address (URI) of the system that issued it.")
    value: Short = required("identifier value", "The identifier itself.")
    label: Short | None = fact("identifier label", "What people call it, such as record number.")
    replaced: YesNo | None = fact(
        "identifier replaced",
        "Yes when the number was corrected or merged into another one: it keeps its place, since what was sent is "
        "found by the first number, and the current number is added after it.",
    )


class Patient(Model):
    """The patient, as far as the line's safety needs to know."""

    identifiers: tuple[PatientIdentifier, ...] = Field(
        min_length=1, title="patient identifiers", description="Identifiers, each with its system."
    )
    family_name: Short = required("family name", "Family name.")
    given_name: Short = required("given name", "Given name.")
    birth_date: Day | None = fact(
        "birth date",
        "Birth date.",
        must=("When was the patient born?", GOAL),
        why="Without it neither the age limits of antiseptics, creams and discs nor the second "
        "identifier can be checked.",
    )
    weight_kg: Positive | None = fact(
        "weight",
        "Weight, in kg.",
        must=("Weight, in kg?", LABEL),
        why="Doses for children and of a thrombolytic depend on the weight; a guessed weight is a guessed dose.",
        when="small_or_treated",
    )
    allergies: tuple[Allergy, ...] | None = fact(
        "allergies",
        "Allergies; an empty list means that none are known, a missing key that they were not recorded.",
        must=("Which allergies are known?", OPEN_RN, INS),
        why="A missing list does not mean that there are no allergies; antiseptic, dressing and lock cannot be "
        "checked against it.",
    )
    history: tuple[HistoryName | Condition, ...] = Field(
        default=(),
        title="history",
        description="Conditions that change which supplies may be used: the word alone, or with when it was found.",
    )

    @property
    def conditions(self) -> tuple[words.HistoryName, ...]:
        """The conditions of the history, whenever they were found."""
        return tuple(one.condition if isinstance(one, Condition) else one for one in self.history)


def _known_zone(value: Any) -> Any:
    if isinstance(value, str):
        from zoneinfo import ZoneInfo

        try:
            ZoneInfo(value)
        except (OSError, ValueError, KeyError):  # a missing zone, a folder's name, an impossible name
            raise ValueError("expected a time zone such as America/Chicago") from None
    return value


class Stay(Model):
    """The stay in one facility. Later moves and the discharge are events."""

    facility: Short = required("facility", "Facility.")
    unit: Short = required("unit", "Unit at the beginning of the stay.")
    room: Short | None = fact("room", "Room at the beginning of the stay.")
    setting: words.Setting | None = fact(
        "setting",
        "Kind of unit at the beginning of the stay.",
        may=("What kind of unit is it?", NHSN),
        why="Line days are counted from the stay, and only on inpatient units.",
    )
    admitted_at: Moment | None = fact(
        "admission",
        "When the stay began.",
        may=("When did the stay begin?", NHSN),
        why="Line days are counted from the stay, and only on inpatient units.",
    )
    time_zone: Annotated[str, BeforeValidator(_known_zone)] = required(
        "time zone", "IANA time zone of the facility, such as America/Chicago."
    )


class Port(Model):
    """The implanted port."""

    id: Identifier = required("port identifier", "Name of this port, unique for the patient.")
    side: words.Side | None = fact(
        "side",
        "Side of the body.",
        must=("Which side of the body?", INS, HOME, OPEN_RN),
        why="A patient may have more than one device; the next nurse must find the right one.",
    )
    area: words.SiteArea | None = fact(
        "site",
        "Part of the body.",
        must=("Which part of the body?", INS, HOME, OPEN_RN),
        why="A patient may have more than one device; the next nurse must find the right one.",
    )
    site_detail: Short | None = fact("site detail", "More about the place, such as infraclavicular.")
    septa: tuple[Short, ...] = Field(
        default=("single",),
        min_length=1,
        max_length=2,
        title="septa",
        description="Names of the septa, one or two; each has its own needle, clocks and hold.",
    )
    touch: TouchShape | None = fact("shape to the touch", "How the top feels under the skin.")
    power: PowerRating | None = fact(
        "power rating",
        "What the label allows for power injection.",
        must=("Is the port rated for power injection?", OPEN_RN, HOME),
        why="An unrated port can rupture under injector pressure.",
        when="injected",
        reported="never",
    )
    catheter_volume_ml: Positive | None = fact(
        "catheter volume",
        "Volume of catheter and port, in mL.",
        must=("Volume of catheter and port, in mL?", CP),
        why="The minimum flush and lock volumes are computed from it.",
        option="catheter_volume_required",
    )
    valved: YesNo | None = fact("valved", "Yes when the catheter has a valve.")
    tip: TipConfirmation | None = fact(
        "tip confirmation",
        "How the tip position is known.",
        may=("How is the tip position known?", OPEN_RN, INS),
        why="A new pocket and an unconfirmed tip both affect whether the port may be used.",
    )
    implanted_on: Day | None = fact(
        "implant date",
        "When the port was implanted.",
        may=("When was the port implanted?", INS, HOME),
        why="A new pocket and an unconfirmed tip both affect whether the port may be used.",
    )
    model: Short | None = fact("model", "Model name on the patient's card, without brand.")
    udi: Text | None = fact("port device identifier", "Device identifier (UDI) as scanned or printed.")


RECORD_VERSION: Final = 2
"""Version of the layout that new files are written in."""


MAX_EVENTS: Final = 4000
"""Most events of one record. Common practice, no source: a month on a ward is under 500; a file of more contains no
record of one stay, and would keep a machine busy."""


class Episode(Model):
    """One file: a patient, a stay, a port and its events."""

    record_version: Literal[1, 2] = Field(
        title="record version", description="Version of this layout: 2. Version 1 can also be read."
    )
    id: Identifier = required("episode identifier", "Name of this episode, unique in the facility.")
    patient: Patient
    stay: Stay
    port: Port
    events: tuple[AnyEvent, ...] = Field(
        max_length=MAX_EVENTS, title="events", description="What happened, in any order."
    )
