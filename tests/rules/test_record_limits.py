"""Both sides of every limit on the record itself, to the minute; and the same with a facility's own limit."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from rule_cases import episode_of, judged, local_policy, rules_found

AT = datetime.fromisoformat("2031-04-02T10:00-05:00")
LOOK: dict[str, Any] = {
    "kind": "line check",
    "at": AT.isoformat(),
    "dressing_found": None,
    "connections_secure": None,
}
"""A look at a port without a needle: no clock runs."""


def later(minutes: float, seconds: int = 0) -> str:
    return (AT + timedelta(minutes=minutes, seconds=seconds)).isoformat()


@pytest.mark.parametrize(("minutes", "fires"), [(-4, False), (-5, False), (-6, True)])
def test_charted_before_event(minutes: int, fires: bool) -> None:
    assert ("charted-before-event" in rules_found({**LOOK, "charted_at": later(minutes)})) is fires


def test_charted_before_event_to_the_second() -> None:
    assert "charted-before-event" in rules_found({**LOOK, "charted_at": later(-5, -1)})


LATE = 12 * 60


@pytest.mark.parametrize(("minutes", "fires"), [(LATE - 1, False), (LATE, False), (LATE + 1, True)])
def test_late_entry_not_marked(minutes: int, fires: bool) -> None:
    assert ("late-entry-not-marked" in rules_found({**LOOK, "charted_at": later(minutes)})) is fires


@pytest.mark.parametrize(("minutes", "fires"), [(24 * 60, False), (24 * 60 + 1, True)])
def test_a_facility_sets_its_own_limit_for_late_entries(minutes: int, fires: bool) -> None:
    policy = local_policy(late_entry_hours=24)
    look = {**LOOK, "charted_at": later(minutes)}
    assert ("late-entry-not-marked" in rules_found(look, policy=policy)) is fires
    found = [f for f in judged(episode_of(look), policy) if f.rule == "late-entry-not-marked"]
    assert all("Case policy (invented), 2031-01-01" in f.citations[-1].text() for f in found)


@pytest.mark.parametrize(("minutes", "fires"), [(-4, False), (-5, False), (-6, True)])
def test_event_in_the_future(minutes: int, fires: bool) -> None:
    found = judged(episode_of({**LOOK, "charted_at": None}), asof=AT + timedelta(minutes=minutes))
    assert ("event-in-the-future" in {f.rule for f in found}) is fires


@pytest.mark.parametrize(("minutes", "fires"), [(16, False), (15, False), (14, True), (-6, False)])
def test_entry_in_the_future(minutes: int, fires: bool) -> None:
    found = judged(episode_of(LOOK), asof=AT + timedelta(minutes=minutes))  # charted after 20 minutes
    assert ("entry-in-the-future" in {f.rule for f in found}) is fires


@pytest.mark.parametrize(("minutes", "fires"), [(-4, False), (-5, False), (-6, True)])
def test_problem_told_too_early(minutes: int, fires: bool) -> None:
    look = {**LOOK, "problems": [{"told_at": later(minutes)}]}
    assert ("problem-told-too-early" in rules_found(look)) is fires


@pytest.mark.parametrize(("minutes", "fires"), [(24, False), (25, False), (26, True)])
def test_problem_told_after_charting(minutes: int, fires: bool) -> None:
    look = {**LOOK, "problems": [{"told_at": later(minutes)}]}
    assert ("problem-told-after-charting" in rules_found(look)) is fires


@pytest.mark.parametrize(("minutes", "apart"), [(59, False), (60, False), (61, True)])
def test_needle_change_links(minutes: int, apart: bool) -> None:
    access: dict[str, Any] = {"kind": "access", "at": later(minutes), "follows_removal": "de-access-1"}
    events = ({"kind": "access", "at": later(-120)}, {"kind": "de-access", "at": later(0)}, access)
    assert ("needle-change-apart" in rules_found(*events)) is apart
    assert "needle-change-apart" in rules_found(*events, policy=local_policy(needle_change_minutes=30))


@pytest.mark.parametrize(("minutes", "asked"), [(59, False), (60, False), (61, True)])
def test_teaching_is_missed_unless_a_needle_follows_within_the_hour(minutes: int, asked: bool) -> None:
    removal = {"kind": "de-access", "at": later(0), "teaching": None}
    events = ({"kind": "access", "at": later(-120)}, removal, {"kind": "access", "at": later(minutes)})
    assert ("facts-recommended" in rules_found(*events)) is asked


@pytest.mark.parametrize(
    ("checked", "least", "fires"),
    [
        (["name"], 2, True),
        (["name", "birth date"], 2, False),
        (["name", "birth date"], 3, True),
        (["name", "birth date", "record number"], 3, False),
        (["room number", "name"], 2, True),
        (["room number", "name", "birth date"], 2, False),
    ],
)
def test_identifiers_are_counted(checked: list[str], least: int, fires: bool) -> None:
    access = {"kind": "access", "at": later(0), "identifiers_checked": checked}
    policy = local_policy(patient_identifiers=least)
    assert ("too-few-patient-identifiers" in rules_found(access, policy=policy)) is fires


@pytest.mark.parametrize(
    ("born", "weight", "fires"),
    [
        ("2013-04-02", 20, False),  # 18 today
        ("2013-04-02", 19.9, True),
        ("2013-04-03", 19.9, False),  # 18 tomorrow
        ("2030-04-03", 20, False),  # a year old tomorrow
        ("2030-04-03", 20.1, True),
        ("2030-04-02", 20.1, False),
        ("1970-01-01", 400, False),
        ("1970-01-01", 400.1, True),
        (None, 400.1, True),
        (None, 2, False),
    ],
)
def test_implausible_weight(born: str | None, weight: float, fires: bool) -> None:
    patient = {"birth_date": born, "weight_kg": weight}
    assert ("implausible-weight" in rules_found(LOOK, patient=patient)) is fires


@pytest.mark.parametrize(("born", "fires"), [("1911-04-02", False), ("1910-04-03", False), ("1910-04-02", True)])
def test_implausible_age(born: str, fires: bool) -> None:
    """120 years are plausible to the last day; on the 121st birthday they no longer are."""
    assert ("implausible-age" in rules_found(LOOK, patient={"birth_date": born})) is fires


@pytest.mark.parametrize(("minutes", "fires"), [(4, False), (5, False), (6, True)])
def test_event_before_admission(minutes: int, fires: bool) -> None:
    assert ("event-before-admission" in rules_found(LOOK, stay={"admitted_at": later(minutes)})) is fires


def test_the_hour_that_comes_twice_is_not_mistaken() -> None:
    """2031-11-02 01:30 comes twice in Chicago: charted at the second, the entry is an hour late, not early."""
    look = {**LOOK, "at": "2031-11-02T01:30-05:00", "charted_at": "2031-11-02T01:20-06:00"}
    assert rules_found(look, stay={"admitted_at": "2031-11-01T08:00-05:00"}) == set()
