"""The next due times that a nurse charted, compared with the limits."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta

from lda_notes.check.rule_table import Case, Entry, Found, Step, advice, wrong
from lda_notes.check.rules.overrun import overrun
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.line import due
from lda_notes.line.states import State
from lda_notes.problems import Related
from lda_notes.record import events as ev
from lda_notes.record.parts import NextDue


def _too_late(case: Case, since: datetime, limit: str, told: datetime) -> datetime | None:
    """Return when the interval ends, if ``told`` is past it by the minute and by the clock on the wall.

    A nurse who charts the same time of day a week later is right, even if the clocks changed in between.
    """
    if told - since <= case.span(limit):
        return None
    by = overrun(case, since, limit, told - timedelta(seconds=59))
    if by is None:
        return None
    days = int(case.policy.value(limit)) if case.policy.limit(limit).unit == "days" else 0
    same_time = case.local(since).replace(tzinfo=None) + timedelta(days=days)
    return None if days and case.local(told).replace(tzinfo=None) <= same_time else by


@wrong(
    "chart and report the needle's own date; a dressing change never moves it",
    COMMON_PRACTICE,
    limits=("needle_dwell_days",),
)
def dressing_change_restarts_needle(step: Step, event: ev.DressingChange, case: Case) -> Iterable[Found]:
    """Compares the next needle change charted at a dressing change with the clock of the needle that is in.

    A fresh dressing does not make the needle fresh: its days count from the access. Charted otherwise, the needle stays
    in too long.

    Amend the entry.
    """
    told = event.next_due.needle_change if event.next_due is not None else None
    stay = step.before.needle
    if told is None or stay is None or stay.since is None:
        return
    by = _too_late(case, stay.since, "needle_dwell_days", told)
    if by is not None:
        yield Found(
            "next_due.needle_change",
            f"the dressing change gives the next needle change as {case.say(told)}; the needle put in "
            f"{case.say(stay.since)} is due by {case.say(by)}",
            related=(Related(stay.opened.path("at"), "the needle's clock began here"),),
        )


@advice(
    "compare the time given with the facility's interval",
    Citation("home-infusion", "R2"),
    limits=(
        *("needle_dwell_days", "transparent_dressing_days", "gauze_dressing_days", "gauze_under_wings_days"),
        *("idle_flush_days", "maintenance_flush_days"),
    ),
)
def told_due_too_late(step: Step, event: ev.CareEvent | ev.Discharge, case: Case) -> Iterable[Found]:
    """Compares charted next due times with the limits: needle, dressing, and the flush of a port without a needle.

    The time that is charted is what will be done, above all after a discharge. A time before the limit is the nurse's
    choice and stays quiet; so does the same time of day, where the clocks changed in between.

    The needle's date at a dressing change has a rule of its own.
    """
    next_due = event.next_due
    if next_due is None:
        return
    for key, told, since, limit, restarted in _told(step, event, next_due, case):
        by = _too_late(case, since, limit, told)
        if by is not None and event.at <= by:  # what is overdue already can only be told as due later
            yield Found(
                f"next_due.{key}",
                f"the next {key.replace('_', ' ')} is told for {case.say(told)}; by {case.policy.text(limit)} from "
                f"{case.say(since)} it is due by {case.say(by)}",
                related=(Related(restarted.path(), "this began the interval"),),
                citations=case.policy.citations(limit),
            )


def _told(
    step: Step, event: ev.CareEvent | ev.Discharge, next_due: NextDue, case: Case
) -> Iterator[tuple[str, datetime, datetime, str, Entry]]:
    state = step.after
    needle, dressing = state.needle, state.dressing
    needle_told = next_due.needle_change if type(event) is not ev.DressingChange else None
    if needle_told is not None and needle is not None and needle.since is not None:
        yield "needle_change", needle_told, needle.since, "needle_dwell_days", needle.opened
    if next_due.dressing_change is not None and dressing is not None and dressing.since is not None:
        limit = due.dressing_limit(dressing.dressing)
        if limit is not None:
            yield "dressing_change", next_due.dressing_change, dressing.since, limit, dressing.put_on
    if next_due.flush is not None and needle is None:
        tended = _last_tended(state)
        if tended is not None:
            limit = due.home_flush_limit(case.policy) if type(event) is ev.Discharge else "idle_flush_days"
            yield "flush", next_due.flush, tended.event.at, limit, tended


def _last_tended(state: State) -> Entry | None:
    tended = [entry for entry in (state.last_flush, state.last_lock, state.last_removal) if entry is not None]
    return max(tended, key=lambda entry: entry.event.at, default=None)


@wrong("correct the due time", COMMON_PRACTICE)
def told_due_in_the_past(step: Step, event: ev.CareEvent | ev.Discharge, case: Case) -> Iterable[Found]:
    """Finds a next due time that lies before the event at which it was charted.

    Nothing can fall due before it was charted; most often a month or a year was mistyped.
    """
    if event.next_due is None:
        return
    for key, told in event.next_due.__dict__.items():
        if told is not None and told < event.at:
            yield Found(
                f"next_due.{key}",
                f"the next {key.replace('_', ' ')} is told for {case.say(told)}, before the event at "
                f"{case.say(event.at)}",
            )
