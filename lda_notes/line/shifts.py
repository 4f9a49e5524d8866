"""The shifts of a unit: which one a sheet is for, from the times of day at which the policy lets them begin."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from lda_notes.knowledge.policy import Policy

AROUND: Final = timedelta(hours=1)
"""A sheet printed this close to the start of a shift is for that shift (common practice)."""


class Shift(NamedTuple):
    """The time that a sheet covers: what happened since ``since``, what is due until ``end``.

    ``known``: by the policy's clock; else it is not known when the last handoff was.
    """

    since: datetime
    end: datetime
    known: bool = True


def shift_at(asof: datetime, starts: Sequence[time], zone: ZoneInfo) -> Shift:
    """Return the shift that a sheet printed at ``asof`` is for; one start ends where the next begins.

    Within an hour of a start the sheet hands over that shift: it is about the one before. Otherwise it is about the
    shift that runs. Starts are times of the clock on the wall, so that a shift lasts an hour more or less on the days
    when clocks change, and nothing falls between two. Raises OverflowError at the ends of the calendar.
    """
    today = asof.astimezone(zone).date()
    days = [today + timedelta(days=ahead) for ahead in (-2, -1, 0, 1, 2)]
    moments = sorted(datetime.combine(day, start, zone).astimezone(UTC) for day in days for start in starts)
    now = asof.astimezone(UTC)
    near = [at for at, moment in enumerate(moments) if abs(moment - now) <= AROUND]
    if near:
        place = min(near, key=lambda at: abs(moments[at] - now))
        return Shift(moments[place - 1], moments[place + 1])
    place = max(at for at, moment in enumerate(moments) if moment <= now)
    return Shift(moments[place], moments[place + 1])


def shift_of(asof: datetime, policy: Policy, zone: ZoneInfo, hours: Decimal | None = None) -> Shift:
    """Return the shift by the policy's ``shift_starts``; where it gives none, ``hours`` (else the policy's) end at
    ``asof`` and as many begin. Raises OverflowError at the ends of the calendar."""
    starts = policy.times("shift_starts")
    if starts:
        return shift_at(asof, starts, zone)
    length = timedelta(microseconds=int((hours or policy.value("shift_hours")) * 3_600_000_000))
    now = asof.astimezone(UTC)
    return Shift(now - length, now + length, known=False)
