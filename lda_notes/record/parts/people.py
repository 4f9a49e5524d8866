"""Parts about people: what they did, left out, said to one another and agreed on."""

from __future__ import annotations

from typing import Final

from lda_notes.knowledge.askers import AYRSHIRE, CP, HOME, INS, ONS, US_HOSPITAL
from lda_notes.record import vocabulary as words
from lda_notes.record.parts.facts import Model, fact, required
from lda_notes.record.parts.values import Identifier, Moment, Short, Text, YesNo


class NotAssessed(Model):
    """An answer to a question that could not be assessed, with the reason: not the same as no record."""

    not_assessed: Short = required("not assessed", "Why it could not be assessed or is not known.")


class NotDone(Model):
    """An act left out on purpose, with the reason: not the same as no record."""

    not_done: Short = required("not done", "Why it was not done.")


class Person(Model):
    """Someone who acted, verified, cleared or was notified."""

    name: Short | None = fact("name", "Name as signed.")
    credential: Short | None = fact("credential", "License or role, such as RN or MD.")
    id: Short | None = fact("identifier", "Staff identifier.")
    new_to_procedure: YesNo | None = fact(
        "new to the procedure", "Yes when this nurse is new to the procedure and supervised by a verifier."
    )


class Seal(Model):
    """What the writer puts under a signed entry: a digest of it and of the one before it (see SEALS.md)."""

    version: Short = required("form of the seal", "Name of the canonical form that was digested.")
    before: Short = required("digest before", "Digest of the entry before this one; of the first, of patient and port.")
    after: Identifier | None = fact("entry before", "Identifier of the entry before this one.")
    asof: Moment | None = fact("moment judged from", "The time given with --asof, if it was not the time of entry.")
    digest: Short = required("digest", "Digest of this entry on top of the one before it.")


_REACHED: Final = (
    "A problem with the line has to reach someone who can decide about it; the time shows that it did so promptly."
)


class Problem(Model):
    """A problem, what was done, who was notified and what they replied."""

    what: Short = required("problem", "What was seen.", must=("What was seen?", INS, US_HOSPITAL, ONS))
    action: Text | None = fact(
        "action",
        "What was done about it.",
        must=("What was done about it?", INS, US_HOSPITAL, ONS),
        why="A problem without an action reads as one that no one dealt with.",
    )
    told: Person | None = fact(
        "person notified",
        "Who was notified.",
        must=("Who was notified?", INS, US_HOSPITAL, ONS),
        why=_REACHED,
        when="in_trouble",
        who="the person notified: name, credential?",
    )
    told_at: Moment | None = fact(
        "time of notification",
        "When they were notified.",
        should=("When were they notified?", INS, US_HOSPITAL),
        why=_REACHED,
        given="somebody_told",
    )
    reply: Text | None = fact(
        "reply",
        "What they replied or ordered.",
        must=("What did they reply?", INS, US_HOSPITAL),
        why="Without the reply, no one knows whether the line may be used.",
        given="somebody_told",
    )


_LEAVING: Final = (
    "After discharge no one reads this record daily, so the patient has to leave knowing what is due next."
)


class NextDue(Model):
    """When the next one is due, as the nurse charted it: compared with the computed times, never used for them."""

    needle_change: Moment | None = fact(
        "next needle change",
        "When the needle is due out or changed.",
        should=("When is the needle due out?", HOME),
        why=_LEAVING,
        when="leaves_accessed",
    )
    dressing_change: Moment | None = fact(
        "next dressing change",
        "When the dressing is due.",
        should=("When is the dressing due?", HOME),
        why=_LEAVING,
        when="leaves_accessed",
    )
    flush: Moment | None = fact(
        "next flush",
        "When the next flush is due.",
        should=("When is the next flush due?", AYRSHIRE),
        why=_LEAVING,
        when="leaves_without",
    )


_FIRST_TO_NOTICE: Final = "The patient, if told what to look for, is the first to notice trouble with the line."


class Teaching(Model):
    """What was taught and what was understood."""

    about: Text = required("teaching", "What was taught.", may=("What was taught?", INS, HOME))
    to: Short | None = fact(
        "who was taught", "Patient, parent or caregiver.", may=("Who was taught?", INS, HOME), why=_FIRST_TO_NOTICE
    )
    understanding: words.Understanding | None = fact(
        "understanding",
        "What the person taught showed.",
        may=("What did they understand?", INS, HOME),
        why=_FIRST_TO_NOTICE,
    )


class DespiteHold(Model):
    """A prescriber's order to use a line although it is on hold."""

    by: Person | None = fact(
        "who ordered it",
        "Prescriber who ordered the use.",
        must=("Who ordered the use despite the hold?", CP),
        why="Only a named prescriber may order it.",
    )
    purpose: Text | None = fact(
        "what it was ordered for",
        "What the line may be used for, such as blood cultures.",
        must=("For what?", CP),
        why="The order covers what it names, nothing else.",
    )
    ordered_at: Moment | None = fact(
        "time of that order",
        "When it was ordered.",
        should=("When was it ordered?", CP),
        why="The order comes before the use.",
    )


class NeedleRemoval(Model):
    """Who takes out a needle that is left in, and when."""

    by: Person | None = fact(
        "who takes the needle out",
        "Who takes the needle out.",
        must=("Who takes it out?", HOME),
        why="Someone has to know that it is their job.",
    )
    at: Moment | None = fact(
        "when the needle comes out",
        "When the needle should come out.",
        must=("When should it come out?", HOME),
        why="A needle has a day by which it must come out.",
    )
    call: Short | None = fact(
        "whom to call",
        "Whom to call if the needle comes out on its own.",
        must=("Whom should they call if it comes out on its own?", HOME),
        why="A needle that comes out at home is dangerous to whoever finds it.",
    )
