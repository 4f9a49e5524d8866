"""Who signs, and when."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import timedelta
from typing import Final

from lda_notes.check.rule_table import Case, Found, Step, advice, gap, wrong
from lda_notes.check.rules.overrun import length
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.record import events as ev
from lda_notes.record.parts import Person

_NEEDLE_STICK: Final = re.compile(r"\bneedle[ -]?stick\b", re.IGNORECASE)
_CMS: Final = Citation("cms-pim-3325", "R2")
_COP: Final = Citation("cfr-482-24", "M-H", "paragraph 1")
_LATE: Final = Citation("ahima-2012", "M-H", "late entry")


# -- when it was charted --


@wrong("correct the time of the event or the time of entry", _CMS, _COP, limits=("clock_slack_minutes",))
def charted_before_event(case: Case) -> Iterable[Found]:
    """Compares the time of entry with the time of the event; a few minutes are allowed for clocks that differ.

    An entry made before the event describes what had not happened: a plan written as a fact, or a mistyped time.

    If the entry was written beforehand, retract it and chart what was done.
    """
    slack = case.span("clock_slack_minutes")
    for entry, wait in case.waits:
        event = entry.event
        if -wait > slack and event.charted_at is not None:
            says = f"charted at {case.say(event.charted_at)}, before the event at {case.say(event.at)}"
            yield Found("charted_at", says, entry)


@gap("mark it as a late entry and say where the facts are recalled from", _CMS, _LATE, limits=("late_entry_hours",))
def late_entry_not_marked(case: Case) -> Iterable[Found]:
    """Compares the time of entry with the time of the event: beyond the limit the entry must be marked as late.

    A late entry is honest when it says that it is one. Unmarked, it looks as if written at the bedside.

    Never change the times.
    """
    limit = case.span("late_entry_hours")
    for entry, wait in case.waits:
        event = entry.event
        if wait > limit and event.late_entry is None:
            yield Found(
                "charted_at",
                f"charted {length(wait)} after the event and not marked as a late entry; "
                f"a mark is asked for after {case.policy.text('late_entry_hours')}",
                entry,
            )


@gap("record when the entry was made", _CMS, _LATE)
def late_entry_without_entry_time(case: Case) -> Iterable[Found]:
    """Finds entries marked as late that do not say when they were made.

    A late entry carries the current date and time next to those of the event; without them no one can tell how late.
    """
    for entry in case.entries_and_corrections:
        if entry.event.late_entry is not None and entry.event.charted_at is None:
            yield Found("late_entry", "marked as a late entry without a time of entry", entry)


_SAYS_NOTHING: Final = frozenset({"yes", "y", "true", "late", "late entry", "x"})


@gap("say where the facts are recalled from: memory, worksheet or monitor", _LATE)
def late_entry_without_source(case: Case) -> Iterable[Found]:
    """Finds late entries whose text does not say where the facts come from.

    Facts recalled from memory a day later weigh less than those copied from a worksheet; the reader has to know.
    """
    for entry in case.entries_and_corrections:
        said = entry.event.late_entry
        if said is not None and said.strip().casefold() in _SAYS_NOTHING:
            yield Found("late_entry", f'the late entry says "{said}", and not where the facts are recalled from', entry)


@wrong(
    "correct the time of the event, or the clock of this computer if that is wrong",
    _COP,
    limits=("clock_slack_minutes",),
)
def event_in_the_future(case: Case) -> Iterable[Found]:
    """Compares the time of each event with the time as of which the record is judged.

    What has not happened cannot be charted; most often the date or the offset is mistyped.

    If it has not happened yet, remove the entry.
    """
    latest = case.timeline.asof + case.span("clock_slack_minutes")
    for entry in case.entries_and_corrections:
        if entry.event.at > latest:
            at, asof = case.say(entry.event.at), case.say(case.timeline.asof)
            yield Found("at", f"the event is at {at}, after the moment judged from, {asof}", entry)


@wrong("correct the time of entry", _COP, limits=("clock_slack_minutes",))
def entry_in_the_future(case: Case) -> Iterable[Found]:
    """Compares the time of each entry with the time as of which the record is judged.

    An entry cannot have been made later than now; most often the date is mistyped.
    """
    latest = case.timeline.asof + case.span("clock_slack_minutes")
    for entry in case.entries_and_corrections:
        charted = entry.event.charted_at
        if charted is not None and charted > latest >= entry.event.at:
            says = f"charted at {case.say(charted)}, after the moment judged from, {case.say(case.timeline.asof)}"
            yield Found("charted_at", says, entry)


@advice("write the time with the offset of the stay's time zone on that day", COMMON_PRACTICE)
def offset_not_of_zone(case: Case) -> Iterable[Found]:
    """Compares the offset written with each event's time with that of the stay's time zone on that day.

    After a clock change the old offset is easily written on: the event is then an hour from where it was.
    Times in UTC, as machines write them, are accepted.
    """
    for entry in case.entries:
        at, local = entry.event.at, case.local(entry.event.at)
        if at.utcoffset() not in (timedelta(0), local.utcoffset()):
            yield Found(
                "at",
                f"the time is written with offset {at.strftime('%z')}; "
                f"{case.timeline.episode.stay.time_zone} then had {local.strftime('%z')}",
                entry,
            )


# -- who --


def _same(one: Person | None, other: Person | None) -> bool:
    """Return whether two people are one: by identifier where both have it, else by name."""
    if one is None or other is None:
        return False
    if one.id is not None and other.id is not None:
        return one.id == other.id
    return one.name is not None and other.name is not None and one.name.casefold() == other.name.casefold()


@wrong("record the second nurse who watched", COMMON_PRACTICE)
def verifier_is_author(case: Case) -> Iterable[Found]:
    """Compares the verifier with the author, by staff identifier or else by name.

    No one verifies her own work: a verifier is a second pair of eyes.

    If no one did, leave the verifier out and say so in the remarks.
    """
    for entry in case.entries_and_corrections:
        event = entry.event
        if event.verified_by is not None and _same(event.verified_by, event.by):
            yield Found("verified_by", "the verifier is the author", entry)


@wrong("have a nurse with the competence verify", COMMON_PRACTICE)
def verifier_new_to_procedure(case: Case) -> Iterable[Found]:
    """Finds verifiers who are new to the procedure themselves.

    The verifier has to know what to look for.

    If the nurse is not new to the procedure, correct the mark.
    """
    for entry in case.entries_and_corrections:
        verifier = entry.event.verified_by
        if verifier is not None and verifier.new_to_procedure is True:
            yield Found("verified_by.new_to_procedure", "the verifier is new to the procedure", entry)


# -- problems told --


@wrong("correct the time", _COP, limits=("clock_slack_minutes",))
def problem_told_too_early(step: Step, event: ev.CareEvent, case: Case) -> Iterable[Found]:
    """Compares the time at which someone was notified of a problem with the time of the event that showed it.

    No one can be notified of what was not yet seen.
    """
    for position, problem in enumerate(event.problems):
        if problem.told_at is not None and event.at - problem.told_at > case.span("clock_slack_minutes"):
            says = f"notified at {case.say(problem.told_at)}, before the event at {case.say(event.at)}"
            yield Found(f"problems.{position}.told_at", says)


@wrong("correct the time, or add the notification as an addendum", _CMS, limits=("clock_slack_minutes",))
def problem_told_after_charting(step: Step, event: ev.CareEvent, case: Case) -> Iterable[Found]:
    """Compares the time at which someone was notified of a problem with the time of entry.

    What happened after the entry cannot be in it; it belongs in an addendum with its own time.
    """
    charted = event.charted_at
    if charted is None:
        return
    for position, problem in enumerate(event.problems):
        if problem.told_at is not None and problem.told_at - charted > case.span("clock_slack_minutes"):
            says = f"notified at {case.say(problem.told_at)}, after the entry was made at {case.say(charted)}"
            yield Found(f"problems.{position}.told_at", says)


@advice("report it to employee health, and take it out of the chart", COMMON_PRACTICE)
def staff_injury_in_chart(step: Step, event: ev.CareEvent, case: Case) -> Iterable[Found]:
    """Finds a needle-stick charted as a problem of the patient.

    A nurse's needle-stick injury concerns another person; it is followed up there and has no place in this chart.
    """
    for position, problem in enumerate(event.problems):
        if _NEEDLE_STICK.search(problem.what or ""):
            yield Found(
                f"problems.{position}.what", "a needle-stick is charted with the patient; it belongs to employee health"
            )


@wrong("record the person who was notified", COMMON_PRACTICE)
def problem_told_to_author(step: Step, event: ev.CareEvent, case: Case) -> Iterable[Found]:
    """Compares the person notified of a problem with the author.

    A problem known only to the one who saw it has reached no one who may decide.

    If no one was notified, notify someone who may decide, and chart it.
    """
    for position, problem in enumerate(event.problems):
        if _same(problem.told, event.by):
            yield Found(f"problems.{position}.told", "the person notified is the author")
