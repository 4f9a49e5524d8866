"""Worked amounts and due dates, each beside its source; a derived value is our arithmetic on a published rule."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from made_records import FILM, FLUSH, HEPARIN, event, moment, needle_event, policy, record, removal_event, timeline

from lda_notes.knowledge import amounts
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import due, sums


@pytest.mark.parametrize(
    ("strength", "volume", "units"),
    [
        # NHS Ayrshire and Arran adult guideline G004 and Royal Marsden manual ch. 17, read: 5 mL of 100, "500 IU"
        ("100", "5", "500"),
        # NHS Ayrshire and Arran paediatric guideline G068, read: 3 mL of 100 is 300 units
        ("100", "3", "300"),
        # Royal Cornwall Hospitals port sheet, read: 4 to 6 mL of 100 is 400 to 600 units
        ("100", "4", "400"),
        ("100", "6", "600"),
        ("10", "5", "50"),  # derived
    ],
)
def test_heparin_units(strength: str, volume: str, units: str) -> None:
    assert amounts.heparin_units(Decimal(strength), Decimal(volume)) == Decimal(units)
    lock = {"drug": "heparin", "units_per_ml": Decimal(strength), "volume_ml": Decimal(volume)}
    of = timeline(record(removal_event("2024-04-01 09:00", lock=lock)), "2024-04-02 09:00")
    assert sums.add(sums.amounts(of)).heparin_units == Decimal(units)


@pytest.mark.parametrize(
    ("weight", "lumen", "dose"),
    [
        ("25", "1.0", "1.1"),  # UK product summary (emc 4617), read: the worked example printed there
        ("25", "0.5", "0.55"),  # derived from the label's 110 percent, as are the next four
        ("25", "1.5", "1.65"),
        ("25", "1.8", "1.98"),
        ("25", "1.82", "2"),  # the cap of 2 mg
        ("25", "2.0", "2"),
        ("30", None, "2"),  # maker's dosing page, read: 30 kg and more have the full dose
        ("29.9", None, None),  # derived: without the lumen's volume there is no dose to compute
    ],
)
def test_alteplase_dose(weight: str, lumen: str | None, dose: str | None) -> None:
    found = amounts.alteplase_dose_mg(Decimal(weight), Decimal(lumen) if lumen else None, DEFAULT)
    assert found == (Decimal(dose) if dose else None)


def test_flush_and_lock_volume_of_a_system() -> None:
    """INS rule, from memory, high confidence: twice the volume, and the volume with a fifth more; values derived."""
    system = amounts.system_volume_ml(Decimal("0.9"), Decimal("0.4"), Decimal("0.1"))
    assert system is not None
    assert amounts.minimum_flush_ml(system, DEFAULT) == Decimal("2.8")
    assert amounts.lock_volume_ml(system, DEFAULT) == Decimal("1.68")


def due_date(clock: str, *events: dict[str, Any], asof: str, **limits: str) -> datetime:
    rules = policy(**limits) if limits else DEFAULT
    found = due.due(timeline(record(*events), asof, rules), "single", rules)
    by = next(one.by for one in found if one.clock == clock)
    assert by is not None
    return by


@pytest.mark.parametrize(
    ("clock", "events", "day"),
    [
        # AHRQ Patient Safety and Quality ch. 42 table 3, read: transparent 7 days, gauze 2 days; dates derived
        ("dressing change", [needle_event("2024-04-01 10:00")], 8),
        ("dressing change", [needle_event("2024-04-01 10:00", dressing={"type": "gauze"})], 3),
        # Royal Marsden manual ch. 17, read: 7 days; date derived
        ("needle change", [needle_event("2024-04-01 10:00")], 8),
        # Royal Marsden, Ayrshire and Arran, read: 4 weeks, 28 days and not a calendar month; date derived
        ("idle flush", [needle_event("2024-04-01 09:00"), removal_event("2024-04-01 10:00")], 29),
    ],
)
def test_due_dates(clock: str, events: list[dict[str, Any]], day: int) -> None:
    by_hour = due_date(clock, *events, asof="2024-04-01 12:00")
    assert by_hour == moment(f"2024-04-{day:02} 10:00")
    by_day = due_date(clock, *events, asof="2024-04-01 12:00", interval_counting="calendar day")
    assert by_day == by_hour


def test_a_film_of_1_april_10_00_is_overdue_by_hour_or_by_day() -> None:
    """Derived: after 8 April 10:00 by the hour, from 9 April by calendar day; local policy chooses."""
    made = record(needle_event("2024-04-01 10:00"))
    by_hour = policy(interval_counting="hour")
    by_day = policy(interval_counting="calendar day")
    for rules, last in ((by_hour, "2024-04-08 10:00"), (by_day, "2024-04-08 23:59"), (DEFAULT, "2024-04-08 23:59")):
        clock = next(
            one
            for one in due.due(timeline(made, "2024-04-02 12:00", rules), "single", rules)
            if one.clock == "dressing change"
        )
        assert not clock.overdue(moment(last))
        assert clock.overdue(moment(last) + timedelta(minutes=1))


def test_the_disc_never_outlasts_its_own_limit() -> None:
    """Derived: a disc is changed with its dressing, at most every 7 days."""
    disc = needle_event("2024-04-01 10:00", dressing={**FILM, "chlorhexidine_disc": True})
    longer = {"transparent_dressing_days": 10}
    assert due_date("dressing change", disc, asof="2024-04-02 10:00", **longer).day == 8  # type: ignore[arg-type]  # keywords of a table
    plain = needle_event("2024-04-01 10:00")
    assert due_date("dressing change", plain, asof="2024-04-02 10:00", **longer).day == 11  # type: ignore[arg-type]  # keywords of a table


# -- sums over windows --

SHIFT = [
    needle_event("2024-04-01 07:00", flushes=[FLUSH, FLUSH], lock={"not_done": "infusion"}),
    event("flush", "2024-04-01 18:59", flushes=[FLUSH], lock={**HEPARIN, "units_per_ml": 10}),
    event("flush", "2024-04-01 19:00", flushes=[{**FLUSH, "volume_ml": 20}], lock=HEPARIN),
    removal_event("2024-04-02 06:00"),
]


def test_shift_holds_its_start_and_not_its_end() -> None:
    of = timeline(record(*SHIFT), "2024-04-02 07:00")
    found = sums.amounts(of)
    early = sums.add(sums.within(found, sums.Window(moment("2024-04-01 07:00"), moment("2024-04-01 19:00"))))
    late = sums.add(sums.within(found, sums.Window(moment("2024-04-01 19:00"), moment("2024-04-02 07:00"))))
    assert (early.flush_ml, early.discard_ml, early.heparin_units) == (30, 5, 50)
    assert (late.flush_ml, late.discard_ml, late.heparin_units) == (30, 0, 1000)
    assert early.by_strength == ((Decimal(10), Decimal(50)),)
    assert sums.shift(moment("2024-04-01 19:00"), Decimal(12)).start == moment("2024-04-01 07:00")


def test_a_dwell_holds_its_own_opening_and_closing_even_when_they_touch() -> None:
    """In a needle change both events carry one time: the last lock belongs to the old needle."""
    of = timeline(
        record(
            needle_event("2024-04-01 09:00", lock={"not_done": "infusion"}),
            removal_event("2024-04-08 09:00", lock={**HEPARIN, "volume_ml": 3}, flushes=[FLUSH]),
            needle_event("2024-04-08 09:00", flushes=[FLUSH, FLUSH], lock={"not_done": "infusion"}),
        ),
        "2024-04-09 09:00",
    )
    old, new = (sums.add(sums.of_stay(of, stay)) for stay in of.needles["single"])
    assert (old.flush_ml, old.heparin_units, old.discard_ml) == (20, 300, 5)
    assert (new.flush_ml, new.heparin_units, new.discard_ml) == (20, 0, 5)


def test_what_is_not_recorded_is_named_and_not_taken_for_nothing() -> None:
    of = timeline(
        record(
            event(
                "flush", "2024-04-01 09:00", flushes=[{"solution": "0.9% sodium chloride"}], lock={"drug": "heparin"}
            ),
            event("patency treatment", "2024-04-01 10:00", drug="alteplase", volume_ml=2),
        ),
        "2024-04-02 09:00",
    )
    found = sums.add(sums.amounts(of))
    assert [(amount.sort, amount.what) for amount in found.unknown] == [
        ("flush", "0.9% sodium chloride"),
        ("lock", "heparin"),
        ("thrombolytic", "alteplase"),
    ]
    assert (found.flush_ml, found.heparin_units, found.thrombolytic_mg) == (0, 0, 0)


def test_sums_are_exact() -> None:
    tenth = [{**FLUSH, "volume_ml": Decimal("0.1")}] * 3
    of = timeline(record(event("flush", "2024-04-01 09:00", flushes=tenth)), "2024-04-02 09:00")
    assert str(sums.add(sums.amounts(of)).flush_ml) == "0.3"


@pytest.mark.parametrize(("day", "hours"), [("2024-03-10", 23), ("2024-11-03", 25), ("2024-04-01", 24)])
def test_a_calendar_day_may_have_23_or_25_hours(day: str, hours: int) -> None:
    window = sums.day(moment(f"{day} 12:00"), due.ZoneInfo("America/Chicago"))
    assert window.holds(window.start) and not window.holds(window.end)
    assert (window.end.timestamp() - window.start.timestamp()) / 3600 == hours


def test_preserved_saline_and_withdrawals_stand_apart() -> None:
    preserved = {"solution": "0.9% sodium chloride with benzyl alcohol", "volume_ml": 10}
    of = timeline(
        record(
            needle_event("2024-04-01 08:00", flushes=[preserved, FLUSH]),
            event("patency treatment", "2024-04-01 09:00", drug="alteplase", dose_mg=Decimal("1.1"), volume_ml=1),
            event("patency check", "2024-04-01 09:30", treatment="x", withdrawn_ml=3, discard_ml=2),
        ),
        "2024-04-02 09:00",
    )
    found = sums.add(sums.amounts(of))
    assert (found.flush_ml, found.preserved_flush_ml, found.withdrawn_ml, found.discard_ml) == (20, 10, 3, 7)
    assert found.thrombolytic_mg == Decimal("1.1")
