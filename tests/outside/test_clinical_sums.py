"""Doses, units, volumes, due times and gauges: published figures and worked examples, typed anew.

Marks as in the bibliography; "derived" is our own arithmetic on a published rule, and never called published.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from rule_cases import episode_of, local_policy
from scenes import AT, DAY, Scene, access, event

from lda_notes.knowledge import amounts
from lda_notes.knowledge.gauges import BANDS, DESIGNATED, GAUGES, HUBS, WIRE
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import due, timeline

# -- sums --


@pytest.mark.parametrize(
    ("weight", "lumen", "expected", "basis"),
    [
        ("30", None, "2", "published: alteplase maker's dosing page, from 30 kg (R)"),
        ("70", None, "2", "published: the same"),
        ("25", "1.0", "1.1", "published: UK product summary, printed example (R)"),
        ("25", "0.5", "0.55", "derived from 110% of the lumen"),
        ("25", "1.5", "1.65", "derived from 110% of the lumen"),
        ("25", "1.8", "1.98", "derived from 110% of the lumen"),
        ("25", "1.82", "2", "derived: the cap of 2 mg"),
        ("25", "2.0", "2", "derived: the cap of 2 mg"),
        ("29.9", None, None, "derived: lumen unknown, cannot be computed"),
        (None, "1.0", None, "derived: weight unknown, cannot be computed"),
    ],
)
def test_alteplase_by_weight_and_lumen(weight: str | None, lumen: str | None, expected: str | None, basis: str) -> None:
    given = [Decimal(value) if value is not None else None for value in (weight, lumen, expected)]
    assert amounts.alteplase_dose_mg(given[0], given[1], DEFAULT) == given[2], basis
    if given[2] is not None:
        assert amounts.alteplase_volume_ml(given[2], DEFAULT) == given[2], "1 mg per mL (R)"


def test_the_cap_begins_where_the_lumen_holds_2_mg() -> None:
    # Derived: 2 mL by 1.1 is 1.818 mL.
    just_below, just_above = Decimal("1.818"), Decimal("1.819")
    weight = Decimal(25)
    dose = amounts.alteplase_dose_mg(weight, just_below, DEFAULT)
    assert dose is not None and dose < 2
    assert amounts.alteplase_dose_mg(weight, just_above, DEFAULT) == 2


@pytest.mark.parametrize(
    ("strength", "volume", "units", "basis"),
    [
        (100, 5, 500, "published: NHS Ayrshire and Arran G004 and Royal Marsden Manual (R)"),
        (100, 3, 300, "published: NHS Ayrshire and Arran G068 (R)"),
        (100, 4, 400, "published: Royal Cornwall Hospitals (R)"),
        (100, 6, 600, "published: Royal Cornwall Hospitals (R)"),
        (10, 5, 50, "derived from units per mL by mL"),
    ],
)
def test_heparin_units(strength: int, volume: int, units: int, basis: str) -> None:
    assert amounts.heparin_units(Decimal(strength), Decimal(volume)) == units, basis


def test_flush_and_lock_by_volume_of_the_system() -> None:
    # Derived from the INS rules (M-H): 0.9 mL catheter and port, 0.4 mL needle set, 0.1 mL connector.
    system = amounts.system_volume_ml(Decimal("0.9"), Decimal("0.4"), Decimal("0.1"))
    assert system == Decimal("1.4")
    assert amounts.minimum_flush_ml(system, DEFAULT) == Decimal("2.8")
    assert amounts.lock_volume_ml(system, DEFAULT) == Decimal("1.68")
    assert amounts.system_volume_ml(None, Decimal("0.4"), None) is None


CHICAGO = ZoneInfo("America/Chicago")


@pytest.mark.parametrize(
    ("limit", "by_hour", "last"),
    [
        # Derived from the limits in days: put on or in on 1 April at 10:00.
        ("transparent_dressing_days", "2031-04-08T10:00", "2031-04-08T23:59:59"),
        ("gauze_dressing_days", "2031-04-03T10:00", "2031-04-03T23:59:59"),
        ("needle_dwell_days", "2031-04-08T10:00", "2031-04-08T23:59:59"),
        ("idle_flush_days", "2031-04-29T10:00", "2031-04-29T23:59:59"),
    ],
)
def test_due_times_of_the_first_of_april(limit: str, by_hour: str, last: str) -> None:
    since = datetime(2031, 4, 1, 10, 0, tzinfo=CHICAGO)
    calendar = local_policy(interval_counting="calendar day")
    for policy in (DEFAULT, calendar):
        by = due.end_of(since, limit, policy, CHICAGO)
        assert by.replace(tzinfo=None) == datetime.fromisoformat(by_hour)
        hourly = policy is DEFAULT and limit == "gauze_dressing_days"
        latest = due.late_after(by, limit, policy).replace(tzinfo=None, microsecond=0)
        assert latest == datetime.fromisoformat(by_hour if hourly else last)


def test_a_dressing_change_does_not_restart_the_needle() -> None:
    # Common practice, no source: the needle keeps its own clock.
    scene = Scene((access(), event("dressing change", 3 * DAY)))
    line = timeline.build(episode_of(*scene.events), DEFAULT, AT + timedelta(days=4))
    clocks = {clock.clock: clock.by for clock in due.due(line, "single", DEFAULT)}
    assert clocks["needle change"] == AT + timedelta(days=7)
    assert clocks["dressing change"] == AT + timedelta(days=10)


# -- gauges --


@pytest.mark.parametrize(
    ("gauge", "designated", "low", "high", "wire", "hub"),
    [
        (18, "1.2", "1.200", "1.300", "1.270", "pink"),
        (19, "1.1", "1.030", "1.100", "1.067", "cream"),
        (20, "0.9", "0.860", "0.920", "0.9081", "yellow"),
        (21, "0.8", "0.800", "0.830", "0.8192", "deep green"),
        (22, "0.7", "0.698", "0.730", "0.7176", "black"),
        (23, "0.6", "0.600", "0.673", "0.6414", "deep blue"),
        (24, "0.55", "0.550", "0.580", "0.5652", "medium purple"),
    ],
)
def test_gauges_in_mm(gauge: int, designated: str, low: str, high: str, wire: str, hub: str) -> None:
    """ISO 9626 designated sizes (M-H) and bands (M-M), wire chart (R), ISO 6009 hub colours (M-H)."""
    row = GAUGES[gauge]
    assert (row.designated_mm, row.low_mm, row.high_mm) == (Decimal(designated), Decimal(low), Decimal(high))
    assert (row.wire_mm, row.hub) == (Decimal(wire), hub)
    assert row.low_mm <= row.wire_mm <= row.high_mm, "derived: every wire size lies inside its band"
    assert row.low_mm <= row.designated_mm <= row.high_mm, "derived: so does every designated size"
    assert [citation.mark for citation in (DESIGNATED, BANDS, WIRE, HUBS)] == ["M-H", "M-M", "R", "M-H"]
