"""Times as people type them, in the zone of the stay, clock changes included."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lda_notes.chart.answers import layout, times, values
from lda_notes.chart.answers.heard import Unclear
from lda_notes.chart.answers.times import Bias, Calendar, Frame, echo, read, written
from lda_notes.record.events import Access

CHICAGO = ZoneInfo("America/Chicago")
NOW = datetime(2031, 3, 4, 15, 30, 42, tzinfo=UTC)  # 09:30 in Chicago, and the machine is somewhere else


def frame(now: datetime = NOW, base: datetime | None = None, bias: Bias = "today", zone: ZoneInfo = CHICAGO) -> Frame:
    return Frame(now, zone, base or now, bias)


@pytest.mark.parametrize(
    ("typed", "means"),
    [
        ("0940", "2031-03-04T09:40-06:00"),
        ("9:40", "2031-03-04T09:40-06:00"),
        ("940", "2031-03-04T09:40-06:00"),
        (" 00:05 ", "2031-03-04T00:05-06:00"),
        ("now", "2031-03-04T09:30-06:00"),
        ("NOW", "2031-03-04T09:30-06:00"),
        ("-15m", "2031-03-04T09:15-06:00"),
        ("-15", "2031-03-04T09:15-06:00"),
        ("- 15 min", "2031-03-04T09:15-06:00"),
        ("-2h", "2031-03-04T07:30-06:00"),
        ("-1h30", "2031-03-04T08:00-06:00"),
        ("+7d", "2031-03-11T10:30-05:00"),
        ("yesterday 2210", "2031-03-03T22:10-06:00"),
        ("Yesterday, 22:10", "2031-03-03T22:10-06:00"),
        ("today 0800", "2031-03-04T08:00-06:00"),
        ("tomorrow 0800", "2031-03-05T08:00-06:00"),
        ("2031-03-01 23:59", "2031-03-01T23:59-06:00"),
        ("2031-03-01T2359", "2031-03-01T23:59-06:00"),
        ("2031-03-04T15:40Z", "2031-03-04T09:40-06:00"),
        ("2031-03-04 09:40 -06:00", "2031-03-04T09:40-06:00"),
        ("2031-03-04T09:40:59-0600", "2031-03-04T09:40-06:00"),
    ],
)
def test_a_time_is_read_in_the_zone_of_the_stay(typed: str, means: str) -> None:
    found = read(typed, frame())
    assert isinstance(found, datetime)
    assert written(found) == means


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "not a time"),
        ("soon", "not a time"),
        ("12", "not a time"),
        ("2460", "24:60 is not on the clock"),
        ("2400", "24:00 is not on the clock"),
        ("9.40", "not a time"),
        ("9:4", "not a time"),
        ("-", "not a time"),
        ("-m", "not a time"),
        ("2031-02-30 10:00", "no 2031-02-30 in the calendar"),
        ("2031-13-01T10:00Z", "no such date and time"),
        ("０９４０", "not a time"),
        ("0940 EST", "09:40 on 4 March 2031 is CST, not EST"),
        ("-999d", "2028"),
    ],
)
def test_what_is_no_time_is_asked_again(typed: str, says: str) -> None:
    found = read(typed, frame())
    said = found.sentence if isinstance(found, Unclear) else str(found)
    assert says in said


def test_an_hour_that_comes_twice_has_to_say_which() -> None:
    """Clocks go back on 2 November 2031 at 02:00 in Chicago (tz database)."""
    after = frame(datetime(2031, 11, 2, 9, 0, tzinfo=UTC))
    asked = read("0130", after)
    assert isinstance(asked, Unclear)
    assert "came twice" in asked.sentence and "first (CDT)" in asked.sentence and "second (CST)" in asked.sentence
    assert [written(read(f"0130 {which}", after)) for which in ("first", "CDT")] == ["2031-11-02T01:30-05:00"] * 2  # type: ignore[arg-type]  # a stand-in of the test
    assert [written(read(f"01:30 {which}", after)) for which in ("second", "cst")] == ["2031-11-02T01:30-06:00"] * 2  # type: ignore[arg-type]  # a stand-in of the test
    back = read("-2h", after)
    assert isinstance(back, datetime) and written(back) == "2031-11-02T01:00-06:00", "elapsed time, not the wall clock"
    assert echo(back, CHICAGO) == "2 November 2031, 01:00 CST"


def test_an_hour_that_was_skipped_is_refused() -> None:
    """Clocks go forward on 9 March 2031 at 02:00 in Chicago (tz database)."""
    found = read("2031-03-09 02:30", frame())
    assert isinstance(found, Unclear) and "there was no 02:30" in found.sentence


@pytest.mark.parametrize(
    ("bias", "typed", "means"),
    [
        ("near", "0010", "2031-03-05T00:10-06:00"),
        ("near", "2330", "2031-03-04T23:30-06:00"),
        ("near", "-6", "2031-03-04T23:44-06:00"),
        ("today", "0010", "2031-03-04T00:10-06:00"),
        ("next", "0010", "2031-03-05T00:10-06:00"),
        ("next", "2355", "2031-03-04T23:55-06:00"),
    ],
)
def test_a_time_without_a_day_lies_where_it_belongs(bias: Bias, typed: str, means: str) -> None:
    base = datetime(2031, 3, 4, 23, 50, tzinfo=CHICAGO)
    found = read(typed, frame(now=base, base=base, bias=bias))
    assert isinstance(found, datetime) and written(found) == means


@settings(deadline=None)
@given(st.integers(950_000_000 // 60, 2_800_000_000 // 60))
def test_what_is_echoed_in_full_reads_back_as_the_same_moment(minutes: int) -> None:
    moment = datetime.fromtimestamp(minutes * 60, UTC)
    typed = written(moment.astimezone(CHICAGO))
    assert read(typed, frame()) == moment


@settings(deadline=None)
@given(st.text(max_size=40))
def test_any_text_is_read_or_refused_in_one_sentence(text: str) -> None:
    for bias in ("today", "near", "next"):
        found = read(text, frame(bias=bias))  # type: ignore[arg-type]  # a stand-in of the test
        assert isinstance(found, datetime) or found.sentence.endswith((".", ")."))
    assert isinstance(times.read_date(text, US), date | Unclear)


US = Calendar(date(2031, 3, 4))  # a Tuesday
ELSEWHERE = Calendar(date(2031, 3, 4), month_first=False)
AHEAD = Calendar(date(2031, 3, 4), ahead=True)


@pytest.mark.parametrize(
    ("typed", "means", "calendar"),
    [
        ("today", "2031-03-04", US),
        ("2031-03-09", "2031-03-09", US),
        ("03/12/1957", "1957-03-12", US),
        ("3/12/1957", "1957-03-12", US),
        ("03/12/1957", "1957-12-03", ELSEWHERE),
        ("27/12/1957", "1957-12-27", ELSEWHERE),
        ("12 March 1957", "1957-03-12", US),
        ("12 mar 1957", "1957-03-12", US),
        ("March 12, 1957", "1957-03-12", US),
        ("Mar. 12th 1957", "1957-03-12", US),
        ("12-Mar-1957", "1957-03-12", US),
        ("2/27", "2031-02-27", US),
        ("27 Feb", "2031-02-27", US),
        ("Feb 27", "2031-02-27", US),
        ("27Feb", "2031-02-27", US),
        ("12/30", "2030-12-30", US),
        ("30 Dec", "2030-12-30", US),
        ("30 Dec", "2031-12-30", AHEAD),
        ("Fri", "2031-02-28", US),
        ("tues", "2031-03-04", US),
        ("Wednesday", "2031-02-26", US),
        ("Fri", "2031-03-07", AHEAD),
        ("Tue", "2031-03-04", AHEAD),
    ],
)
def test_dates_as_they_are_written(typed: str, means: str, calendar: Calendar) -> None:
    assert times.read_date(typed, calendar) == date.fromisoformat(means)


@pytest.mark.parametrize(
    "typed",
    ["", "31", "10", "2031-13-01", "2031-02-30", "29 Feb 2031", "03/04/31", "13/27", "T", "Th", "Ma 12", "12 Xyz"],
)
def test_what_is_no_date_is_refused(typed: str) -> None:
    assert isinstance(times.read_date(typed, US), Unclear)


def test_day_and_month_that_could_be_swapped() -> None:
    assert times.other_date("03/12/1957", US) == date(1957, 12, 3)
    assert times.other_date("03/12/1957", ELSEWHERE) == date(1957, 3, 12)
    for one in ("3/27/1957", "5/5/1957", "12 March 1957", "1957-03-12"):
        assert times.other_date(one, US) is None


def test_a_label_that_names_a_month_means_its_last_day() -> None:
    assert times.last_of_month("2032-02") == date(2032, 2, 29)
    assert times.last_of_month("12/2031") == date(2031, 12, 31)
    assert times.last_of_month("13/2031") is None and times.last_of_month("2031-03-04") is None


@pytest.mark.parametrize(
    ("typed", "means"),
    [
        ("Fri 0940", "2031-02-28T09:40-06:00"),
        ("fri, 9:40", "2031-02-28T09:40-06:00"),
        ("2/27 0940", "2031-02-27T09:40-06:00"),
        ("27 Feb 0940", "2031-02-27T09:40-06:00"),
        ("Feb 27, 09:40", "2031-02-27T09:40-06:00"),
        ("02/27/2031 0940", "2031-02-27T09:40-06:00"),
        ("27 Feb 2031 2140", "2031-02-27T21:40-06:00"),
        ("9:40 pm", "2031-03-04T21:40-06:00"),
        ("yesterday 12:05 am", "2031-03-03T00:05-06:00"),
    ],
)
def test_times_with_dates_as_nurses_write_them(typed: str, means: str) -> None:
    found = read(typed, frame())
    assert isinstance(found, datetime) and written(found) == means


def test_the_sentence_on_how_to_type_a_time_is_true() -> None:
    for example in times.HOW.replace(" or ", ", ").split(", "):
        assert isinstance(read(example, frame()), datetime), example
    for example in times.HINT.removeprefix("such as ").split(", "):
        assert isinstance(read(example, frame()), datetime), example


@pytest.mark.parametrize("typed", ["9999-12-31 23:59", "0001-01-01 00:00", "9999-12-31 23:59 -06:00"])
def test_the_ends_of_the_calendar_are_refused_in_words(typed: str) -> None:
    for zone in ("America/Chicago", "Pacific/Auckland"):
        now = datetime.fromisoformat("2026-05-07T12:00-05:00")
        found = read(typed, Frame(now, ZoneInfo(zone), now))
        assert isinstance(found, Unclear) and found.sentence == "That date is outside the calendar."


def test_a_clock_time_that_was_read_as_of_the_day_before_is_asked_back() -> None:
    early = datetime(2031, 3, 4, 4, 47, tzinfo=CHICAGO)
    assert _doubt("2300", early) == "Was it the day before, 3 March 2031, 23:00?"
    assert _doubt("yesterday 2300", early) == _doubt("0430", early) == _doubt("-8h", early) == ""
    assert _doubt("2355", early.replace(hour=0, minute=10)) == "", "minutes before an event just after midnight"


def _doubt(typed: str, base: datetime) -> str:
    spot = layout.spot(Access, ("antisepsis", "started_at"))
    assert spot is not None
    value = values.reader(spot, "started_at")[0](typed, frame(now=base, bias="near"))
    assert not isinstance(value, Unclear)
    return value.doubt


def test_a_date_without_its_year_is_past_where_only_the_past_is_meant() -> None:
    november = frame(now=datetime(2031, 11, 28, 4, 47, tzinfo=CHICAGO)).calendar
    assert times.read_date("2/27", november) == date(2031, 2, 27)
    assert times.read_date("12/1", november) == date(2030, 12, 1)


@pytest.mark.parametrize("typed", ["no one", "Nobody", "none", "me", "me, RN"])
def test_who_is_no_name_is_asked_back(typed: str) -> None:
    assert isinstance(values.person(typed), Unclear)
