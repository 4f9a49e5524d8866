"""The strip of days: what stands where, in characters, SVG and docx."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_records import event, moment, needle_event, record, removal_event, unit_of_patients
from ward import ASOF, handed

from lda_notes.documents.blocks import Mark, Span, Strip
from lda_notes.documents.render import strip as drawing

ZONE = ZoneInfo("America/Chicago")
PLAIN = Strip(
    moment("2031-03-02 00:00"),
    moment("2031-03-12 00:00"),
    moment("2031-03-05 07:00"),
    ("needle", "dressing", "hold", "look"),
    (
        Span("needle", "needle", moment("2031-03-03 09:00"), None, "20 gauge"),
        Span("dressing", "dressing", None, moment("2031-03-04 09:00"), "transparent"),
        Span("dressing", "dressing", moment("2031-03-04 09:00"), None, "gauze"),
        Span("hold", "hold", moment("2031-03-05 05:00"), None, "no blood return"),
    ),
    (
        Mark("needle", moment("2031-03-10 10:00"), "change by 10 Mar 10:00"),
        Mark("look", moment("2031-03-05 04:00"), "overdue since 5 Mar 04:00", late=True),
    ),
    "Days & needles <in>.",
)


def strip_of(*events: object) -> Strip:
    (found,) = handed([record(*events)]).patients  # type: ignore[arg-type]
    assert found.strip is not None
    return found.strip


def test_characters() -> None:
    assert drawing.text(PLAIN, 80) == [
        "         2 Mar  Mon 3  Tue 4  Wed 5  Thu 6  Fri 7  Sat 8  Sun 9  Mon 10 Tue 11",
        "needle   .      . [=============:    .      .change by 10 Mar 10:00 *   .",
        "dressing ?---------------[------:    .      .      .      .      .      .",
        "hold     .      .      .      .X: no blood return  .      .      .      .",
        "look     .      .      .      .!:overdue since 5 Mar 04:00.      .      .",
        "         = needle in, - dressing on, X on hold, : now, * due",
        "         ! due now or overdue",
    ]


@settings(max_examples=60, deadline=None)
@given(st.integers(40, 200), st.integers(0, 19))
def test_no_row_is_wider_than_asked_and_all_is_plain(width: int, number: int) -> None:
    strips = [patient.strip for patient in handed(unit_of_patients(20, ASOF)).patients]
    found = strips[number]
    assert found is not None
    for row in drawing.text(found, width):
        assert len(row) <= width
        assert row.isascii() and row.isprintable()


def test_a_bar_lies_where_its_time_lies() -> None:
    """Elapsed time, so a day of 23 hours is narrower than one of 24."""
    assert drawing.position(PLAIN, PLAIN.start, 100) == 0
    assert drawing.position(PLAIN, PLAIN.end, 100) == 100
    widths = [
        drawing.position(PLAIN, after, 239) - drawing.position(PLAIN, before, 239)
        for before, after in zip(drawing.days(PLAIN), [*drawing.days(PLAIN)[1:], PLAIN.end], strict=True)
    ]
    assert [round(width) for width in widths] == [24, 24, 24, 24, 24, 24, 24, 23, 24, 24]


def test_svg_is_well_formed_says_what_it_shows_and_stays_inside() -> None:
    root = ElementTree.fromstring(drawing.svg(PLAIN))
    assert (root.attrib["role"], root.attrib["aria-label"]) == ("img", "Days & needles <in>.")
    _, _, wide, high = map(float, root.attrib["viewBox"].split())
    for part in root.iter():
        for key in ("x", "x1", "x2"):
            assert 0 <= float(part.attrib.get(key, 0)) <= wide
        for key in ("y", "y1", "y2"):
            assert 0 <= float(part.attrib.get(key, 0)) <= high
    words = [part.text for part in root.iter() if part.tag.endswith("text")]
    assert {"needle", "dressing", "hold", "look", "change by 10 Mar 10:00", "no blood return"} <= set(words)
    assert "id=" not in drawing.svg(PLAIN), "nothing in it can clash with another strip of the page"


def test_docx_is_well_formed_and_describes_itself() -> None:
    root = ElementTree.fromstring(drawing.docx(PLAIN, 7))
    (described,) = [part for part in root.iter() if part.tag.endswith("}docPr")]
    assert (described.attrib["id"], described.attrib["descr"]) == ("7", "Days & needles <in>.")
    assert "".join(root.itertext()).count("Days & needles <in>.") == 1, "what a reader without drawings shows"
    numbers = [part.attrib["id"] for part in root.iter() if part.tag.endswith("}cNvPr")]
    assert len(numbers) == len(set(numbers)) > 20
    extents = [int(value) for part in root.iter() for key, value in part.attrib.items() if key in ("cx", "cy")]
    assert min(extents) >= 0


def test_pictures_use_black_white_and_grey_only() -> None:
    colours = set(re.findall(r"#([0-9a-f]{3,6})", drawing.svg(PLAIN)))
    colours |= set(re.findall(r'srgbClr val="(\w{6})"', drawing.docx(PLAIN, 1)))
    assert colours
    for colour in colours:
        parts = [colour[n : n + len(colour) // 3] for n in range(0, len(colour), len(colour) // 3)]
        assert len(set(parts)) == 1, colour


def test_rows_and_bars_follow_the_record() -> None:
    found = strip_of(
        needle_event("2031-03-01 09:00"),
        removal_event("2031-03-04 09:00"),
        needle_event("2031-03-04 09:10", dressing={"type": "gauze"}),
        event("line check", "2031-03-05 06:00", blood_return="none"),
    )
    assert found.rows == ("needle", "dressing", "hold", "check", "flush")
    bars = [(bar.row, bar.label, bar.start, bar.end) for bar in found.spans]
    assert bars == [
        ("needle", "20 gauge, 19 mm (3/4 inch)", moment("2031-03-01 09:00"), moment("2031-03-04 09:00")),
        ("needle", "20 gauge, 19 mm (3/4 inch)", moment("2031-03-04 09:10"), None),
        ("dressing", "transparent", moment("2031-03-01 09:00"), moment("2031-03-04 09:00")),
        ("dressing", "gauze", moment("2031-03-04 09:10"), None),
        ("hold", "no blood return", moment("2031-03-05 06:00"), None),
    ]
    marks = {mark.row: (mark.at, mark.label) for mark in found.marks}
    assert marks["dressing"] == (moment("2031-03-06 09:10"), "change by 6 Mar 09:10")
    assert (found.start, found.start.tzinfo) == (datetime(2031, 3, 4, tzinfo=ZONE), ZONE)


def test_a_far_due_time_is_told_at_the_edge() -> None:
    found = strip_of(needle_event("2031-03-04 09:00"), removal_event("2031-03-04 10:00"))
    (mark,) = found.marks
    assert (mark.beyond, mark.label) == (True, "later: by 1 Apr 11:00")
    assert any("later: by 1 Apr 11:00" in row for row in drawing.text(found, 80))


def test_bars_and_marks_lie_in_the_strip_or_are_cut_at_its_edge() -> None:
    for patient in handed(unit_of_patients(20, ASOF)).patients:
        found = patient.strip
        assert found is not None
        assert found.start < found.end and found.start <= found.now <= found.end
        assert (found.end.date() - found.start.date()) <= timedelta(days=24)
        for bar in found.spans:
            assert bar.start is None or bar.start < found.end
            assert bar.end is None or bar.end > found.start


@pytest.mark.parametrize("year", [1, 9999])
def test_at_the_ends_of_the_calendar_there_is_no_strip_and_no_failure(year: int) -> None:
    at = datetime(year, 1, 1, 12, tzinfo=ZONE) if year == 1 else datetime(year, 12, 30, 12, tzinfo=ZONE)
    made = record(needle_event(at))
    try:
        found = handed([made], at + timedelta(hours=1) if year == 1 else at)
    except OverflowError:
        return  # the command says so in one sentence
    assert found.patients[0].strip is None
