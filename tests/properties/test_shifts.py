"""Shifts: one ends where the next begins, on every day of the year and in every zone."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from lda_notes.line.shifts import shift_at

STARTS = (time(7), time(19))


@pytest.mark.parametrize("zone", ["America/Chicago", "Europe/Madrid", "Asia/Kolkata", "Pacific/Chatham"])
def test_every_quarter_of_an_hour_of_a_year_is_in_the_shift_that_is_handed_over(zone: str) -> None:
    here = ZoneInfo(zone)
    moment = datetime(2026, 1, 1, tzinfo=UTC)
    ends = set()
    while moment < datetime(2027, 1, 1, tzinfo=UTC):
        shift = shift_at(moment, STARTS, here)
        assert shift.since <= moment < shift.end
        ends |= {shift.since, shift.end}
        moment += timedelta(minutes=45)
    assert {end.astimezone(here).time() for end in ends} == set(STARTS)
    lengths = {later - earlier for earlier, later in zip(sorted(ends), sorted(ends)[1:], strict=False)}
    assert lengths <= {timedelta(hours=hours) for hours in (11, 12, 13)}


def test_printed_at_18_40_the_sheet_is_for_the_shift_from_19_00() -> None:
    zone = ZoneInfo("America/Chicago")
    shift = shift_at(datetime(2026, 5, 20, 18, 40, tzinfo=zone), STARTS, zone)
    assert shift.since == datetime(2026, 5, 20, 7, tzinfo=zone)
    assert shift.end == datetime(2026, 5, 21, 7, tzinfo=zone)
