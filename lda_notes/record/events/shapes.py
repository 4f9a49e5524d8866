"""The facts of every event, and the shapes: what an event does to the life of the port."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar, get_args

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
    ONS,
    OPEN_RN,
    REVISION,
    US_HOSPITAL,
)
from lda_notes.record import vocabulary as words
from lda_notes.record.parts import (
    DespiteHold,
    Identifier,
    Model,
    Moment,
    NextDue,
    NotAssessed,
    NotDone,
    Person,
    Problem,
    Score,
    Seal,
    Short,
    Sign,
    Supply,
    Teaching,
    Text,
    YesNo,
    fact,
    required,
    several,
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
        should=("When was it charted?", COP, CMS),
        why="An entry shows two times: when it happened and when it was written down.",
    )
    by: Person | None = fact(
        "author",
        "Who did it and signs for it.",
        must=("Who is charting?", COP, CDC, INS),
        why="An unsigned entry does not count: reviewers set it aside.",
        who="the nurse: name, credential, id?",
    )
    verified_by: Person | None = fact(
        "verifier",
        "Second nurse who watched and verified.",
        must=("Who watched and verified?", CP),
        why="A nurse new to the procedure works under the supervision of a second nurse who has the competence; "
        "both sign.",
        when="needs_verifier",
        option="verifier_required",
        who="the verifier: name, credential",
    )
    late_entry: Text | None = fact(
        "late entry", "Marks a late entry; says where the facts come from (memory, worksheet, monitor)."
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
        must=("Which septum?", INS, HOME, OPEN_RN),
        why="On a port with two septa each has its own needle, clocks and hold; a record without the septum can be "
        "assigned to the wrong one.",
        when="two_septa",
    )
    identifiers_checked: tuple[words.IdentifierUsed, ...] | NotAssessed | None = fact(
        "patient identifiers checked",
        "What was compared to identify the patient, at least two.",
        must=("What did you compare to identify the patient?", GOAL, OPEN_RN),
        why="Comparing two identifiers before a procedure is what keeps it from being done to the wrong patient.",
        when="under way",
        reported="not_identified_lately",
    )
    allergies_checked: YesNo | NotAssessed | None = fact(
        "allergy check",
        "Yes when allergies were checked.",
        should=("Did you check the allergies?", OPEN_RN, INS),
        why="Antiseptic, adhesive, latex, anesthetic and heparin all touch the patient during this work.",
        when="under way",
        reported="allergies_not_checked_lately",
    )
    order: Short | None = fact(
        "order or protocol",
        "Order or protocol reference.",
        must=("Which order or protocol?", US_HOSPITAL, OPEN_RN, LABEL),
        why="Work on a central line is based on an order or a standing protocol; the record has to name it where "
        "policy requires.",
        when="under way",
        option="order_reference_required",
        reported="drug_or_skin",
    )
    reason: Text | None = fact(
        "reason",
        "Why it was done.",
        may=("Why was it done?", INS),
        why="The reason tells the next reader whether the needle is still needed.",
        when="why due",
    )
    problems: tuple[Problem, ...] = several(
        "problems",
        "Problems, what was done, who was notified, what they replied.",
        must=("What was wrong?", INS, US_HOSPITAL, ONS),
        why="The event shows trouble with the line; a record that shows it without saying what was done leaves the "
        "next nurse without guidance.",
        when="in_trouble",
        reported="not_told_before",
    )
    response: words.Response | NotAssessed | None = fact(
        "patient response",
        "How the patient tolerated it.",
        may=("How did the patient tolerate it?", INS),
        why="How the patient tolerated the procedure decides how the next one is planned.",
        when="response due",
    )
    pain: Score | NotAssessed | None = fact(
        "pain score",
        "Pain, 0 to 10.",
        may=("Pain, 0 to 10?", INS),
        why="Pain at the port is a sign of a needle out of place and of infection.",
    )
    teaching: Teaching | NotDone | None = fact(
        "teaching",
        "What was taught and understood.",
        should=("Was anything taught?", INS, HOME),
        why="The patient, if told what to look for, is the first to notice trouble with the line.",
        reported="taught_now",
    )
    supplies: tuple[Supply, ...] = Field(default=(), title="supplies", description="Other supplies used, as labeled.")
    next_due: NextDue | None = fact(
        "next due as told",
        "What the nurse said or wrote is due next.",
        may=("What is due next?", HOME, AYRSHIRE),
        why="The time given is compared with the one computed from the record, so that a wrong plan is caught early.",
    )
    signs: tuple[Sign, ...] = several(
        "signs",
        "Signs that bear on the line: what, where, since when, during what.",
        should=("Which signs, such as fever, chills, pain or burning?", INS),
        why="A sign with its place and time shows what to look for; words such as unwell do not.",
        when="signs_told",
    )
    explained_and_agreed: YesNo | NotAssessed | None = fact(
        "explanation and agreement",
        "Yes when it was explained and the patient or parent agreed.",
        may=("Was it explained, and did the patient or parent agree?", INS),
        why="A needle is inserted with the agreement of the person who receives it.",
    )
    despite_hold: DespiteHold | None = fact(
        "order despite the hold",
        "A named prescriber's order to use the line although it is on hold.",
        must=("Who ordered the use despite the hold, and for what?", CP),
        why="Only a named prescriber may order a line on hold to be used, and only for what the order names.",
        when="despite_hold",
    )


class Opening(CareEvent):
    """Begins a needle's stay in a septum."""


class Closing(CareEvent):
    """Ends a needle's stay in a septum."""


class Tending(CareEvent):
    """Work on or through a line."""


class Observing(CareEvent):
    """A check or a judgment; nothing is done to the line."""


class Moving(Event):
    """Changes where the patient is, or whether the port is in the body."""


class Correcting(Event):
    """Changes how an earlier event is read. ``at`` is when the correction was made; the original stays."""

    of: Identifier = required(
        "corrected event", "Identifier of the event that this corrects.", must=("Which entry is it about?", AHIMA)
    )
    reason: Text | None = fact(
        "reason for the correction",
        "Why the entry is corrected.",
        must=("Why is the entry corrected?", AHIMA, REVISION),
        why="A correction states who, when, what changed and why; one without a reason looks like tampering.",
    )
