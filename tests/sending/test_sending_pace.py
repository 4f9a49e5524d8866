"""Waiting: growing, scattered, capped, and as long as asked."""

from __future__ import annotations

from datetime import UTC, datetime
from email.utils import format_datetime

import pytest

from lda_notes.sending.pace import Pace, retry_after

NOW = datetime(2031, 3, 4, 9, 0, tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("value", "seconds"),
    [
        ("0", 0),
        ("7", 7),
        (" 120 ", 120),
        ("99999999999999999999", 10**9),
        (format_datetime(datetime(2031, 3, 4, 9, 0, 30, tzinfo=UTC), usegmt=True), 30),
        (format_datetime(datetime(2031, 3, 4, 8, 0, tzinfo=UTC), usegmt=True), 0),
        ("Tue, 04 Mar 2031 09:01:00 GMT", 60),
        ("Tuesday, 04-Mar-31 09:01:00 GMT", 60),
        ("Tue Mar  4 09:01:00 2031", 60),
        (None, None),
        ("", None),
        ("soon", None),
        ("-5", None),
        ("1.5", None),
        ("٣", None),
        ("Tue, 99 Mar 2031 09:01:00 GMT", None),
        ("Tue, 04 Mar 99999 09:01:00 GMT", None),
    ],
)
def test_retry_after_in_both_forms(value: str | None, seconds: float | None) -> None:
    assert retry_after(value, NOW) == seconds


def waited(chance: float, asked: float | None = None, tries: int = 9) -> list[float]:
    slept: list[float] = []
    pace = Pace(tries=tries, sleep=slept.append, chance=lambda: chance)
    tried = 0
    while pace.wait(tried, asked):
        tried += 1
    return slept


def test_waits_grow_to_a_limit_and_end() -> None:
    assert waited(1.0) == [0.5, 1, 2, 4, 8, 16, 20, 20]
    assert waited(0.0) == [0.25, 0.5, 1, 2, 4, 8, 10, 10]


def test_what_the_server_asks_for_is_waited_for() -> None:
    assert all(one >= 7 for one in waited(0.0, asked=7))
    assert waited(1.0, asked=7, tries=2) == [7.05]
    assert waited(1.0, asked=0, tries=2) == [0.05]


def test_a_wait_beyond_the_limit_is_not_waited_for() -> None:
    assert waited(1.0, asked=120.0, tries=2) == [120.05]
    assert waited(1.0, asked=120.1) == []
