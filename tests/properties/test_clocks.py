"""Clocks and windows with random events, across both clock changes of the year in three zones, one of them southern."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_records import FLUSH, HEPARIN, event, policy, record, timeline

from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import due, sums
from lda_notes.line.timeline import Timeline

CHANGES: dict[str, tuple[datetime, datetime]] = {
    "America/Chicago": (datetime(2026, 3, 8, 8, tzinfo=UTC), datetime(2026, 11, 1, 7, tzinfo=UTC)),
    "Europe/Berlin": (datetime(2026, 3, 29, 1, tzinfo=UTC), datetime(2026, 10, 25, 1, tzinfo=UTC)),
    "Australia/Sydney": (datetime(2026, 10, 3, 16, tzinfo=UTC), datetime(2026, 4, 4, 16, tzinfo=UTC)),
}
"""For each zone the moment when clocks go forward and the moment when they go back."""

RESTARTED_BY: dict[str, set[str]] = {
    "needle change": {"access", "arrival accessed"},
    "dressing change": {"access", "arrival accessed", "dressing change"},
    "line check": {"access", "arrival accessed", "dressing change", "line check"},
    "flush": {"access", "arrival accessed", "de-access", "flush", "patency treatment", "patency check", "line use"},
    "idle flush": {"access", "de-access", "flush", "patency check", "patency treatment"},
    "maintenance flush": {"access", "de-access", "flush", "patency check", "patency treatment"},
    "thrombolytic check": {"patency treatment"},
}
"""The kinds that may restart each clock; the others never do."""


@pytest.mark.parametrize("zone", CHANGES)
def test_the_changes_are_where_they_are_said_to_be(zone: str) -> None:
    forward, back = CHANGES[zone]
    for change, hours in ((forward, 1), (back, -1)):
        before, after = (
            (change + timedelta(seconds=shift)).astimezone(ZoneInfo(zone)).utcoffset() for shift in (-1, 0)
        )
        assert after is not None and before is not None
        assert after - before == timedelta(hours=hours)


def _facts(kind: str, draw: st.DrawFn, at: datetime) -> dict[str, Any]:
    some = draw(st.integers(0, 3))
    flushed = {"flushes": [FLUSH], "lock": HEPARIN} if some else {}
    match kind:
        case "access":
            film = [
                {"type": "transparent", "chlorhexidine_disc": True},
                {"type": "gauze"},
                {"type": "gauze under wings"},
            ]
            infusion = {"infusion": "saline"} if some == 2 else {}
            return {**flushed, **infusion, "discard_ml": 5, "dressing": film[some % 3], "blood_return": "present"}
        case "arrival accessed":
            known = {"inserted_at": (at - timedelta(hours=30)).isoformat()} if some else {}
            return {
                **known,
                "dressing": {"type": "transparent"},
                **({"dressed_at": at.isoformat()} if some > 1 else {}),
            }
        case "dressing change":
            return {"dressing": {"type": "gauze" if some else "transparent"}}
        case "line check":
            return {"dressing_found": ["damp"] if some == 3 else ["intact"]}
        case "line use":
            return {"purpose": "infusion", "action": "stopped" if some % 2 else "started"}
        case "patency treatment":
            return {"drug": "alteplase", "dose_mg": 2, "volume_ml": 2}
        case "patency check":
            return {"treatment": "any", "blood_return": "present" if some == 3 else "none", **flushed}
        case "discharge" | "port removed":
            return {}
        case _:
            return flushed


@st.composite
def episodes(draw: st.DrawFn) -> tuple[dict[str, Any], datetime]:
    """Return a record with events on either side of a clock change, and a moment to judge from."""
    name = draw(st.sampled_from(sorted(CHANGES)))
    change = draw(st.sampled_from(CHANGES[name]))
    zone = ZoneInfo(name)
    minutes = st.one_of(st.integers(-180, 180), st.integers(-12 * 1440, 12 * 1440))
    kinds = [
        "access", "access", "arrival accessed", "de-access", "dressing change", "line check", "flush", "line use",
        "patency treatment", "patency check", "discharge",
    ]  # fmt: skip
    made = []
    for number in range(draw(st.integers(1, 9))):
        at = (change + timedelta(minutes=draw(minutes))).astimezone(zone)
        kind = draw(st.sampled_from(kinds))
        made.append({**event(kind, at, **_facts(kind, draw, at)), "id": f"e{number}"})
    asof = change + timedelta(minutes=draw(minutes))
    return record(*made, time_zone=name, admitted_at=(change - timedelta(days=20)).isoformat()), asof


BY_DAY = policy(interval_counting="calendar day")


@settings(max_examples=250, deadline=None)
@given(episodes(), st.booleans())
def test_no_clock_runs_out_before_its_restart_or_beyond_its_limit(
    made: tuple[dict[str, Any], datetime], by_day: bool
) -> None:
    data, asof = made
    rules = BY_DAY if by_day else DEFAULT
    line = timeline(data, asof, rules)
    zone = due.zone_of(line)
    for clock in due.due(line, "single", rules):
        assert clock.restarted_by.event.at <= asof
        assert clock.restarted_by.event.kind in RESTARTED_BY[clock.clock]  # type: ignore[attr-defined]  # every kind has one
        if clock.by is None:
            assert clock.overdue(asof)
            assert clock.why
            continue
        assert clock.since is not None
        start, end = clock.since.astimezone(UTC), clock.by.astimezone(UTC)
        assert start <= end
        assert end - start == rules.span(clock.limit)  # what is due keeps its hour; counting moves only the lateness
        late = (clock.late or clock.by).astimezone(UTC)
        assert not clock.overdue(late)
        if clock.limit != "accessed_idle_flush_hours":  # a reminder is never late
            assert clock.overdue(late + timedelta(minutes=1))
        if by_day and rules.limit(clock.limit).unit == "days":
            assert late.astimezone(zone).date() == clock.by.astimezone(zone).date()
            assert (late + timedelta(minutes=1)).astimezone(zone).date() > clock.by.astimezone(zone).date()
        assert end <= late <= end + timedelta(hours=25)


@settings(max_examples=150, deadline=None)
@given(episodes())
def test_each_clock_rests_on_the_latest_event_that_restarts_it(made: tuple[dict[str, Any], datetime]) -> None:
    """An account of its own: the needle's and the look's clocks worked out from the bare list of events."""
    data, asof = made
    line = timeline(data, asof)
    past = [step.entry.event for step in line.steps if step.entry.event.at <= asof]
    kinds = [found.kind for found in past]  # type: ignore[attr-defined]  # every kind has one
    opened = max((n for n, kind in enumerate(kinds) if kind in ("access", "arrival accessed")), default=-1)
    closed = max((n for n, kind in enumerate(kinds) if kind == "de-access"), default=-1)
    clocks = {found.clock: found for found in due.due(line, "single", DEFAULT)}
    assert ("needle change" in clocks) == (opened > closed)
    if opened > closed:
        assert clocks["needle change"].restarted_by.event is past[opened]
        looks = [found for found in past[opened:] if found.kind in RESTARTED_BY["line check"]]  # type: ignore[attr-defined]  # every kind has one
        gone = [step.entry.event.at for step in line.steps if step.entry.event.kind == "discharge"]  # type: ignore[attr-defined]  # every kind has one
        if gone and gone[-1] <= asof:  # nobody of the ward looks any more
            assert "line check" not in clocks
        else:
            assert clocks["line check"].restarted_by.event is looks[-1]


def amounts_of(data: dict[str, Any]) -> tuple[Timeline, tuple[sums.Amount, ...]]:
    line = timeline(data, datetime(2027, 1, 1, tzinfo=UTC))
    return line, sums.amounts(line)


@settings(max_examples=150, deadline=None)
@given(episodes(), st.lists(st.integers(-14 * 1440, 14 * 1440), min_size=3, max_size=8, unique=True), st.data())
def test_windows_that_touch_share_and_lose_nothing(
    made: tuple[dict[str, Any], datetime], cuts: list[int], data: st.DataObject
) -> None:
    line, found = amounts_of(made[0])
    zone = due.zone_of(line)
    moments = [made[1] + timedelta(minutes=cut) for cut in sorted(cuts)]
    # Cuts that fall right on an event, and cuts of another zone, must not matter.
    moments += [amount.at for amount in found if data.draw(st.booleans())]
    moments = sorted({m.astimezone(UTC) for m in moments})
    edges = [m.astimezone(zone) if data.draw(st.booleans()) else m for m in moments]
    pieces = [sums.within(found, sums.Window(a, b)) for a, b in itertools.pairwise(edges)]
    whole = sums.within(found, sums.Window(edges[0], edges[-1]))
    assert [id(a) for piece in pieces for a in piece] == [id(a) for a in whole]
    added = [sums.add(piece) for piece in pieces]
    assert sum((s.flush_ml for s in added), Decimal(0)) == sums.add(whole).flush_ml
    assert sum((s.heparin_units for s in added), Decimal(0)) == sums.add(whole).heparin_units


@settings(max_examples=100, deadline=None)
@given(episodes())
def test_every_amount_lies_in_exactly_one_calendar_day(made: tuple[dict[str, Any], datetime]) -> None:
    line, found = amounts_of(made[0])
    zone = due.zone_of(line)
    noons = [made[1].astimezone(zone).replace(hour=12) + timedelta(days=n) for n in range(-26, 27)]
    windows = [sums.day(noon, zone) for noon in noons]
    assert all(a.end.astimezone(UTC) == b.start.astimezone(UTC) for a, b in itertools.pairwise(windows))
    for amount in found:
        assert [window.holds(amount.at) for window in windows].count(True) == 1


@settings(max_examples=100, deadline=None)
@given(
    st.sampled_from(sorted(CHANGES)), st.booleans(), st.integers(-48 * 60, 48 * 60), st.sampled_from(["8", "12", "7.5"])
)
def test_shifts_are_elapsed_hours_and_touch(name: str, forward: bool, minutes: int, hours: str) -> None:
    end = (CHANGES[name][0 if forward else 1] + timedelta(minutes=minutes)).astimezone(ZoneInfo(name))
    last = sums.shift(end, Decimal(hours))
    before = sums.shift(last.start, Decimal(hours))
    assert last.end.timestamp() - last.start.timestamp() == float(hours) * 3600
    assert before.end == last.start
    assert not before.holds(last.start) and last.holds(last.start)
