"""Day-by-day vectors for surveillance, derived from the rules below; derived values are not published ones.

Rules, as the vectors cite them (NHSN: CDC, Patient Safety Component Manual):
N4 a flush is an infusion and so an access (NHSN chapter 4, from memory); N5 eligible from line day 3 after the first
access in an inpatient location (ICMR surveillance chapter 10, read); N6 until the day after removal or discharge
(the same); N7 line day 1 is the day of the first such access; N8 taking the needle out is not removal (follows from
N6); N9 the day after removal or discharge is associated (CDC questions and answers, read); N11 a full day without a
line restarts the count; N12 calendar days, not hours; N13 access elsewhere does not start the count; N14 access in a
procedure area as an inpatient (from memory, low confidence: an option); N15 a new admission is a new count; N16
hospital onset from hospital day 3; N17 infection window 3 days before and after; N18 date of event is the specimen's
day; N19 repeat timeframe of 14 days; N20 after a move, the sending unit; N22 the denominator counts patients at one
time of day; N22b regardless of access (an option); N23 one a patient and day.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from made_records import FLUSH, event, needle_event, policy, record, removal_event, timeline

from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.line import days as line_days
from lda_notes.line.day_count import LineDay, Stay
from lda_notes.line.days import days, infection, patient_days, stays


def april(day: int) -> date:
    return date(2024, 4, day)


def stay(*events: dict[str, Any], asof: str = "2024-05-01 12:00", policy: Policy = DEFAULT, **facts: Any) -> Stay:
    made = record(*events, **{"admitted_at": "2024-04-01T08:00-05:00", **facts})
    return Stay((timeline(made, asof, policy),))


def counted(of: Stay, policy: Policy = DEFAULT, last: int = 30) -> dict[int, LineDay]:
    return {found.day.day: found for found in days(of, policy, april(1), april(last))}


def numbers(found: dict[int, LineDay]) -> dict[int, int]:
    return {day: row.line_day for day, row in found.items() if row.line_day is not None}


def eligible(found: dict[int, LineDay]) -> list[int]:
    return [day for day, row in found.items() if row.eligible]


def associated(found: dict[int, LineDay]) -> list[int]:
    return [day for day, row in found.items() if row.in_window]


def gone(at: str) -> dict[str, Any]:
    return event("discharge", at, destination="home")


P2 = (needle_event("2024-04-03 09:00"), removal_event("2024-04-05 10:00"), gone("2024-04-09 11:00"))


def test_p1_never_accessed_never_counts_but_is_in_the_denominator() -> None:
    """N5, N7: no access, no line day. N22b: the denominator counts the line all the same, unless policy says not."""
    never = stay(gone("2024-04-06 11:00"))
    found = counted(never)
    assert (numbers(found), eligible(found), associated(found)) == ({}, [], [])
    assert [day for day, row in found.items() if row.device_day] == [1, 2, 3, 4, 5]
    later = policy(denominator_counts="from first access")
    assert [day for day, row in counted(never, later).items() if row.device_day] == []


def test_p2_taking_the_needle_out_changes_nothing() -> None:
    """N5, N6, N7, N8, N9: day 1 on 3 April, eligible from 5 April to discharge, associated one day longer."""
    found = counted(stay(*P2))
    assert numbers(found) == {3: 1, 4: 2, 5: 3, 6: 4, 7: 5, 8: 6, 9: 7}
    assert eligible(found) == [5, 6, 7, 8, 9]
    assert associated(found) == [5, 6, 7, 8, 9, 10]
    assert max(found) == 10


def test_patient_a_of_the_manual() -> None:
    """NHSN chapter 4, table of examples, patient A: from memory, medium confidence, to be confirmed.

    A port in all seven days, accessed on 2 and 3 April, de-accessed on 4 April: not eligible on 31 March to 3 April,
    eligible on 4, 5 and 6 April as days 3, 4 and 5.
    """
    a = stay(
        needle_event("2024-04-02 09:00"),
        event("flush", "2024-04-03 09:00", flushes=[FLUSH]),
        removal_event("2024-04-04 09:00"),
        admitted_at="2024-03-31T08:00-05:00",
    )
    found = {row.day: row for row in days(a, DEFAULT, date(2024, 3, 31), april(6))}
    assert [row.line_day for row in found.values()] == [None, None, 1, 2, 3, 4, 5]
    assert [row.eligible for row in found.values()] == [False, False, False, False, True, True, True]


def test_p4_calendar_days_not_hours() -> None:
    """N12: accessed at 23:50; the day that begins 24 hours and 10 minutes later is day 3 already."""
    found = counted(stay(needle_event("2024-04-01 23:50")))
    assert numbers(found)[1] == 1
    assert (numbers(found)[3], found[3].eligible) == (3, True)


ED = {"setting": "emergency", "unit": "Emergency", "admitted_at": "2024-04-01T10:00-05:00"}


def to_ward(at: str, **facts: Any) -> dict[str, Any]:
    return event("transfer", at, **{"to_unit": "Ward Heron", "to_setting": "inpatient", **facts})


def test_p5_access_in_the_emergency_department_waits_for_the_ward() -> None:
    """N13: day 1 is the day on which the line in use reaches an inpatient location."""
    in_use = stay(needle_event("2024-04-01 11:00", infusion="0.9% sodium chloride"), to_ward("2024-04-02 02:00"), **ED)
    found = counted(in_use)
    assert (numbers(found)[2], min(numbers(found)), min(eligible(found))) == (1, 2, 4)
    assert numbers(counted(in_use, policy(arrival_in_use_counts="no"))) == {}


def test_a_needle_that_is_in_but_unused_on_arrival_follows_the_option() -> None:
    """N13, edge not settled in the text: an option, default no. The first flush on the ward starts the count (N4)."""
    unused = (needle_event("2024-04-01 11:00"), to_ward("2024-04-02 02:00"))
    flushed = (*unused, event("flush", "2024-04-04 08:00", flushes=[FLUSH]))
    assert numbers(counted(stay(*unused, **ED))) == {}
    assert min(numbers(counted(stay(*unused, **ED), policy(arrival_unused_counts="yes")))) == 2
    assert min(numbers(counted(stay(*flushed, **ED)))) == 4
    assert numbers(counted(stay(*flushed, **ED), policy(flush_counts_as_access="no"))) == {}


@pytest.mark.parametrize(("facts", "first"), [({"infusion": "antibiotic"}, 1), ({}, None)])
def test_arriving_accessed_on_the_ward_counts_when_in_use(facts: dict[str, str], first: int | None) -> None:
    found = counted(stay(event("arrival accessed", "2024-04-01 09:00", **facts)))
    assert min(numbers(found), default=None) == first


def test_p8_and_p9_day_2_is_not_associated_and_day_3_is() -> None:
    """N5, N16: the same stay, an infection on line day 2 and on line day 3."""
    of = stay(*P2)
    assert (infection(of, DEFAULT, april(4)).line_associated, infection(of, DEFAULT, april(4)).onset) == (
        False,
        "hospital onset",
    )
    assert infection(of, DEFAULT, april(5)).line_associated


def test_p10_surgical_removal_ends_the_line_and_the_day_after_still_counts() -> None:
    """N6, N9: accessed on 1 April, the port removed on 5 April, the patient stays."""
    found = counted(stay(needle_event("2024-04-01 09:00"), event("port removed", "2024-04-05 14:00")))
    assert eligible(found) == [3, 4, 5]
    assert associated(found) == [3, 4, 5, 6]
    assert [day for day, row in found.items() if row.device_day] == [1, 2, 3, 4]


def test_p14_a_needle_change_does_not_touch_the_count() -> None:
    """N8, N12."""
    change = (removal_event("2024-04-07 09:00"), needle_event("2024-04-07 09:20"))
    with_change = counted(stay(needle_event("2024-04-01 09:00"), *change, gone("2024-04-12 09:00")))
    without = counted(stay(needle_event("2024-04-01 09:00"), gone("2024-04-12 09:00")))
    assert numbers(with_change) == numbers(without)
    assert numbers(with_change)[12] == 12


def test_p17_windows_of_a_positive_blood_culture() -> None:
    """N17, N18, N19: specimen of 10 April."""
    of = stay(needle_event("2024-04-03 09:00"))
    found = infection(of, DEFAULT, april(10))
    assert (found.event, found.window_opens, found.window_closes) == (april(10), april(7), april(13))
    assert found.repeat_closes == april(23)


def test_older_published_example() -> None:
    """NHSN text of about 2014, from memory, medium confidence: a line from 1 June, culture on 3 June counts,
    culture on the day after removal counts, culture on line day 2 does not."""
    placed = needle_event("2024-06-01 09:00")
    of = stay(placed, asof="2024-07-01 12:00", admitted_at="2024-06-01T08:00-05:00")
    assert infection(of, DEFAULT, date(2024, 6, 3)).line_associated
    assert not infection(of, DEFAULT, date(2024, 6, 2)).line_associated
    removed = stay(
        placed,
        event("port removed", "2024-06-04 09:00"),
        asof="2024-07-01 12:00",
        admitted_at="2024-06-01T08:00-05:00",
    )
    assert infection(removed, DEFAULT, date(2024, 6, 5)).line_associated
    assert not infection(removed, DEFAULT, date(2024, 6, 6)).line_associated


def test_infection_early_in_the_stay_is_present_on_admission() -> None:
    """N16: hospital day 2 at the latest."""
    of = stay(needle_event("2024-04-01 09:00"))
    assert infection(of, DEFAULT, april(2)).onset == "present on admission"
    assert infection(of, DEFAULT, april(3)).onset == "hospital onset"
    assert infection(of, DEFAULT, april(3)).hospital_day == 3


def test_infection_after_the_window_is_outside_the_stay() -> None:
    found = infection(stay(*P2), DEFAULT, april(11))
    assert (found.onset, found.line_associated, found.attributed_unit) == ("outside the stay", False, None)


def test_access_in_a_procedure_area_follows_the_option() -> None:
    """N14: counts while already an inpatient (default), never before."""
    there = event("transfer", "2024-04-02 08:00", to_unit="Imaging", to_setting="procedure area")
    back = to_ward("2024-04-02 12:00")
    of = stay(there, needle_event("2024-04-02 09:00"), back)
    assert min(numbers(counted(of))) == 2
    unused = policy(procedural_access_counts="no")
    assert numbers(counted(stay(there, needle_event("2024-04-02 09:00"), back, policy=unused), unused)) == {}
    first = stay(needle_event("2024-04-01 09:00"), to_ward("2024-04-02 12:00"), setting="procedure area")
    assert numbers(counted(first)) == {}


def test_a_full_day_without_a_line_restarts_and_a_shorter_gap_does_not() -> None:
    """N11: for a port taken out and another put in."""

    def replaced(on: str) -> dict[int, int]:
        return numbers(
            counted(
                stay(
                    needle_event("2024-04-01 09:00"),
                    event("port removed", "2024-04-04 09:00"),
                    event("port implanted", on),
                ),
                last=9,
            )
        )

    assert replaced("2024-04-05 15:00") == {1: 1, 2: 2, 3: 3, 4: 4, 5: 5, 6: 6, 7: 7, 8: 8, 9: 9}
    assert replaced("2024-04-06 15:00") == {1: 1, 2: 2, 3: 3, 4: 4, 6: 1, 7: 2, 8: 3, 9: 4}


def test_a_new_admission_is_a_new_count() -> None:
    """N15."""
    first = timeline(record(*P2, admitted_at="2024-04-01T08:00-05:00"), "2024-05-01 12:00")
    second = timeline(
        record(needle_event("2024-04-20 09:00"), admitted_at="2024-04-20T08:00-05:00"), "2024-05-01 12:00"
    )
    both = stays([first, second])
    assert [len(of.timelines) for of in both] == [1, 1]
    assert numbers(counted(both[1]))[20] == 1


def test_two_ports_of_one_patient_are_one_day() -> None:
    """N23; eligible when either is, by the longer count."""
    chest = record(needle_event("2024-04-01 09:00"), admitted_at="2024-04-01T08:00-05:00")
    arm = record(needle_event("2024-04-03 09:00"), admitted_at="2024-04-01T08:00-05:00")
    arm["id"], arm["port"]["id"] = "made-arm", "port-2"
    both = stays([timeline(chest, "2024-04-08 23:59"), timeline(arm, "2024-04-08 23:59")])
    assert [len(of.timelines) for of in both] == [2]
    found = counted(both[0], last=8)
    assert numbers(found)[8] == 8
    lines, patients = patient_days([(both[0], tuple(found.values()))])
    assert (lines, patients) == ({"Ward Heron": 8}, {"Ward Heron": 8})


MOVES = (
    needle_event("2024-04-01 09:00"),
    to_ward("2024-04-04 10:00", to_unit="Ward Plover"),
    gone("2024-04-08 09:00"),
)


def test_the_denominator_goes_by_unit_at_the_set_time() -> None:
    """N22, N24: on the day of the move the patient is counted once, where the count finds her."""
    of = stay(*MOVES)
    evening = [(of, days(of, DEFAULT, april(1), april(10)))]
    assert patient_days(evening)[0] == {"Ward Heron": 3, "Ward Plover": 4}
    early = policy(denominator_time="07:00")
    morning = [(of, days(of, early, april(1), april(10)))]
    assert patient_days(morning)[0] == {"Ward Heron": 3, "Ward Plover": 4}
    after_admission = policy(denominator_time="09:30")
    assert patient_days([(of, days(of, after_admission, april(1), april(10)))])[0] == {
        "Ward Heron": 4,
        "Ward Plover": 3,
    }


def test_an_infection_after_a_move_belongs_to_the_sending_unit() -> None:
    """N20: the day of the move and the next day; several moves in one day go to the first unit of the day before."""
    found = counted(stay(*MOVES))
    assert [found[day].attributed_unit for day in (3, 4, 5, 6)] == [
        "Ward Heron",
        "Ward Heron",
        "Ward Heron",
        "Ward Plover",
    ]
    twice = counted(
        stay(
            needle_event("2024-04-01 09:00"),
            to_ward("2024-04-04 08:00", to_unit="Ward Plover"),
            to_ward("2024-04-04 18:00", to_unit="Ward Wren"),
        )
    )
    assert [twice[day].attributed_unit for day in (3, 4, 5, 6)] == [
        "Ward Heron",
        "Ward Heron",
        "Ward Heron",
        "Ward Wren",
    ]


def test_emergency_and_procedure_areas_are_not_in_the_denominator() -> None:
    of = stay(needle_event("2024-04-01 11:00"), to_ward("2024-04-02 02:00"), gone("2024-04-04 09:00"), **ED)
    assert patient_days([(of, days(of, DEFAULT, april(1), april(10)))])[0] == {"Ward Heron": 2}


def test_nothing_after_the_moment_judged_from_is_counted() -> None:
    found = counted(stay(needle_event("2024-04-01 09:00"), asof="2024-04-04 12:00"))
    assert list(found) == [1, 2, 3, 4]
    assert [row.device_day for row in found.values()] == [True, True, True, None]


def test_published_arithmetic() -> None:
    """CLABSI rate 3 in 1250 line days and utilization of 1250 in 2000 patient days: derived from published formulas."""
    assert line_days.rate(3, 1250, DEFAULT) == Decimal("2.4")
    assert line_days.utilization(1250, 2000) == Decimal("0.625")
    assert line_days.rate(3, 0, DEFAULT) is None
    assert line_days.utilization(0, 0) is None


def test_every_option_and_limit_named_is_in_the_policy() -> None:
    assert {*line_days.OPTIONS, *line_days.LIMITS} <= set(DEFAULT.rows)


def consecutive(found: Sequence[LineDay]) -> bool:
    return all(later.day - sooner.day == timedelta(days=1) for sooner, later in itertools.pairwise(found))


@pytest.mark.parametrize("zone", ["America/Chicago", "Europe/Berlin", "Australia/Sydney"])
def test_days_run_on_through_both_clock_changes(zone: str) -> None:
    made = record(needle_event("2024-02-25 09:00"), admitted_at="2024-02-24T08:00-06:00", time_zone=zone)
    of = Stay((timeline(made, "2024-12-31 12:00"),))
    found = days(of, DEFAULT, date(2024, 2, 1), date(2024, 12, 31))
    assert consecutive(found)
    first = next(row for row in found if row.line_day == 1)
    assert all(row.line_day == (row.day - first.day).days + 1 for row in found if row.day >= first.day)
