"""Every limit at its value, one smallest step below and one above: minutes for times, the last digit for amounts.

A limit "at most" is broken only above it, "at least" only below it; on the limit itself the rule is quiet.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import pytest
from rule_cases import episode_of, judged, local_policy
from scenes import (
    AT,
    BABY,
    CREAM,
    DAY,
    HIDDEN,
    INFANT,
    LEAST,
    LOCKED,
    MOST,
    NO_BLOOD,
    SCHOOL,
    SMALL,
    STILL_NONE,
    Scene,
    access,
    after,
    event,
    fires,
)  # fmt: skip

from lda_notes.check import rule_table
from lda_notes.knowledge.policy import DEFAULT, Policy

# -- times --


class TimeRow(NamedTuple):
    """A limit of time: the rule, the limit's name and value in minutes, which side is allowed, the record."""

    rule: str
    limit: str
    minutes: int
    bound: str
    scene: Callable[[int], Scene]


def dwell(removed: int) -> Scene:
    return Scene((access(), event("de-access", removed)))


def needle_in(minutes: int) -> Scene:
    return Scene((access(),), asof=AT + timedelta(minutes=minutes))


def dressed(kind: str, **facts: Any) -> Callable[[int], Scene]:
    return lambda minutes: Scene((access(dressing={"type": kind, **facts}), event("dressing change", minutes)))


def dressing_on(kind: str, **facts: Any) -> Callable[[int], Scene]:
    return lambda minutes: Scene((access(dressing={"type": kind, **facts}),), asof=AT + timedelta(minutes=minutes))


def left_damp(minutes: int) -> Scene:
    damp = event("line check", 60, dressing_found=["damp"])
    return Scene((access(), damp, event("dressing change", 60 + minutes, dressing_found=["damp"])))


def of_unknown_age(minutes: int) -> Scene:
    unknown = {key: {"not_assessed": "not in the papers"} for key in ("inserted_at", "dressed_at")}
    return Scene((event("arrival accessed", 0, **unknown),), asof=AT + timedelta(minutes=minutes))


def looked(minutes: int) -> Scene:
    return Scene((access(), event("line check", minutes)), asof=AT + timedelta(minutes=minutes))


def rested(minutes: int) -> Scene:
    return Scene((access(**LOCKED), event("flush", minutes)), asof=AT + timedelta(minutes=minutes))


def stood(minutes: int) -> Scene:
    return Scene((access(), event("de-access", 60), event("access", 60 + minutes)))


def cream(agent: str, **patient: Any) -> Callable[[int], Scene]:
    def scene(minutes: int) -> Scene:
        amount = {"amount_g": 1, "area_cm2": 10}
        used = {"agent": agent, "applied_at": after(-minutes - 10), "removed_at": after(-10), **amount}
        return Scene((access(anesthetic=used),), {"patient": patient} if patient else {})

    return scene


def waited(minutes: int) -> Scene:
    used = {"agent": CREAM, "applied_at": after(-minutes - 70), "removed_at": after(-minutes)}
    return Scene((access(anesthetic=used),))


def mixed(minutes: int) -> Scene:
    return Scene((access(**NO_BLOOD), event("patency treatment", 600, reconstituted_at=after(600 - minutes))))


def second_dose(minutes: int) -> Scene:
    first = event("patency treatment", 60)
    again = event("patency treatment", 60 + minutes, second_dose_of="patency-treatment-1")
    return Scene((access(**NO_BLOOD), first, again))


def unseen(minutes: int) -> Scene:
    return Scene((access(**NO_BLOOD), event("patency treatment", 60)), asof=AT + timedelta(minutes=60 + minutes))


def unseen_again(minutes: int) -> Scene:
    first = event("patency check", 90, **STILL_NONE)
    return Scene((access(**NO_BLOOD), event("patency treatment", 60), first), asof=AT + timedelta(minutes=60 + minutes))


def look(minutes: int) -> Scene:
    return Scene((access(**NO_BLOOD), event("patency treatment", 60), event("patency check", 60 + minutes)))


def second_look(minutes: int) -> Scene:
    first = event("patency check", 90, **STILL_NONE)
    events = (access(**NO_BLOOD), event("patency treatment", 60), first, event("patency check", 60 + minutes))
    return Scene(events)


def told(key: str, **facts: Any) -> Callable[[int], Scene]:
    return lambda minutes: Scene((access(**facts, next_due={key: after(minutes)}),))


def told_flush(minutes: int) -> Scene:
    return Scene((access(), event("de-access", 60, next_due={"flush": after(60 + minutes)})))


def told_leaving(minutes: int) -> Scene:
    leave = event("discharge", 120, needle_in="no", next_due={"flush": after(60 + minutes)})
    return Scene((access(), event("de-access", 60), leave))


def told_at_dressing(minutes: int) -> Scene:
    change = event("dressing change", 3 * DAY, next_due={"needle_change": after(minutes)})
    return Scene((access(), change))


def implanted(**patient: Any) -> Callable[[int], Scene]:
    return lambda minutes: Scene((event("port implanted", -minutes), access()), {"patient": patient})


def sprayed(minutes: int) -> Scene:
    return Scene((access(anesthetic={"agent": "vapocoolant spray", "sterile": "yes", "applied_at": after(-minutes)}),))


TIMES = [
    TimeRow("failed-dressing-left", "failed_dressing_hours", 4 * 60, MOST, left_damp),
    TimeRow("unknown-age-left", "unknown_age_hours", DAY, MOST, of_unknown_age),
    TimeRow("needle-dwell", "needle_dwell_days", 7 * DAY, MOST, dwell),
    TimeRow("needle-overdue", "needle_dwell_days", 7 * DAY, MOST, needle_in),
    TimeRow("dressing-dwell", "transparent_dressing_days", 7 * DAY, MOST, dressed("transparent")),
    TimeRow("dressing-dwell", "transparent_dressing_days", 7 * DAY, MOST, dressed("transparent with chlorhexidine")),
    TimeRow("dressing-dwell", "gauze_dressing_days", 2 * DAY, MOST, dressed("gauze", **HIDDEN)),
    TimeRow("dressing-dwell", "gauze_dressing_days", 2 * DAY, MOST, dressed("gauze under transparent", **HIDDEN)),
    TimeRow("dressing-dwell", "gauze_dressing_days", 2 * DAY, MOST, dressed("gauze under wings", **HIDDEN)),
    TimeRow("dressing-dwell", "gauze_under_wings_days", 7 * DAY, MOST, dressed("gauze under wings")),
    TimeRow("dressing-overdue", "transparent_dressing_days", 7 * DAY, MOST, dressing_on("transparent")),
    TimeRow("dressing-overdue", "gauze_dressing_days", 2 * DAY, MOST, dressing_on("gauze", **HIDDEN)),
    TimeRow("line-check-interval", "12 hours and an hour of tolerance", 13 * 60, MOST, looked),
    TimeRow("accessed-idle-flush", "accessed_idle_flush_hours", DAY, MOST, rested),
    TimeRow("idle-flush", "idle_flush_days", 28 * DAY, MOST, stood),
    TimeRow("accessed-soon-after-implantation", "post_implant_tender_hours", 3 * DAY, LEAST, implanted()),
    TimeRow("accessed-soon-after-implantation", "post_implant_child_days", 7 * DAY, LEAST, implanted(**SCHOOL)),
    TimeRow("spray-worn-off", "spray_to_needle_s", 1, MOST, sprayed),
    TimeRow("cream-contact-short", "cream_contact_minutes", 60, LEAST, cream(CREAM)),
    TimeRow("cream-contact-short", "lidocaine_4_contact_minutes", 30, LEAST, cream("lidocaine 4% cream")),
    TimeRow("cream-worn-off", "cream_effect_hours", 120, MOST, waited),
    TimeRow("cream-child-maximum", "cream_under_3_months_hours", 60, MOST, cream(CREAM, **INFANT)),
    TimeRow("cream-child-maximum", "cream_3_to_12_months_hours", 240, MOST, cream(CREAM, **BABY)),
    TimeRow("cream-child-maximum", "cream_1_to_6_years_hours", 240, MOST, cream(CREAM, **SMALL)),
    TimeRow("cream-child-maximum", "cream_7_to_12_years_hours", 240, MOST, cream(CREAM, **SCHOOL)),
    TimeRow("alteplase-kept-too-long", "alteplase_use_within_hours", 480, MOST, mixed),
    TimeRow("alteplase-second-dose-early", "alteplase_second_dose_minutes", 120, LEAST, second_dose),
    TimeRow("thrombolytic-check-missing", "alteplase_first_check_minutes", 30, MOST, unseen),
    TimeRow("thrombolytic-check-missing", "alteplase_second_check_minutes", 120, MOST, unseen_again),
    TimeRow("thrombolytic-check-late", "clock_slack_minutes", 30 + 5, MOST, look),
    TimeRow("thrombolytic-check-late", "clock_slack_minutes", 120 + 5, MOST, second_look),
    TimeRow("told-due-too-late", "needle_dwell_days", 7 * DAY, MOST, told("needle_change")),
    TimeRow("told-due-too-late", "transparent_dressing_days", 7 * DAY, MOST, told("dressing_change")),
    TimeRow(
        "told-due-too-late",
        "gauze_dressing_days",
        2 * DAY,
        MOST,
        told("dressing_change", dressing={"type": "gauze", **HIDDEN}),
    ),
    TimeRow("told-due-too-late", "idle_flush_days", 28 * DAY, MOST, told_flush),
    TimeRow("told-due-too-late", "maintenance_flush_days", 28 * DAY, MOST, told_leaving),
    TimeRow("dressing-change-restarts-needle", "needle_dwell_days", 7 * DAY, MOST, told_at_dressing),
    TimeRow("told-due-in-the-past", "-", 0, LEAST, told("needle_change")),
]


BY_THE_HOUR = local_policy(interval_counting="hour", accessed_idle_flush_hours=24)


@pytest.mark.parametrize("row", TIMES, ids=lambda row: f"{row.rule} {row.limit}")
def test_a_limit_of_time_to_the_minute(row: TimeRow) -> None:
    if row.limit in DEFAULT.rows and row.limit != "clock_slack_minutes":
        assert DEFAULT.span(row.limit) == timedelta(minutes=row.minutes)

    def found(minutes: int) -> bool:
        return fires(row.rule, row.scene(minutes)._replace(policy=BY_THE_HOUR))

    assert [found(row.minutes + side) for side in (-1, 0, 1)] == [row.bound == LEAST, False, row.bound == MOST]


# -- order and days --


@pytest.mark.parametrize(("agent", "key", "rule"), [
    ("vapocoolant spray", "applied_at", "spray-after-antisepsis"),
    ("lidocaine 4% cream", "removed_at", "cream-after-antisepsis"),
])  # fmt: skip
def test_anesthetic_against_skin_preparation_to_the_minute(agent: str, key: str, rule: str) -> None:
    def scene(minutes: int) -> Scene:
        used = {"agent": agent, key: after(-10 + minutes)}
        return Scene((access(anesthetic=used, antisepsis={"started_at": after(-10)}),))

    assert [fires(rule, scene(minutes)) for minutes in (-1, 0, 1)] == [False, False, True]


def test_skin_preparation_is_let_a_minute() -> None:
    # Friction and drying from the start to 59, 60 and 61 seconds after the needle.
    found = [
        fires(
            "skin-prep-times",
            Scene((access(antisepsis={"started_at": after(-1), "scrub_s": 60, "dry_s": 60 + seconds}),)),
        )
        for seconds in (-1, 0, 1)
    ]
    assert found == [False, False, True]


@pytest.mark.parametrize("rule", ["expired-supply", "expired-by-identifier"])
def test_a_supply_is_usable_through_its_last_local_day(rule: str) -> None:
    label = {"expires": "2031-04-02"} if rule == "expired-supply" else {"udi": "(01)09506000117843(17)310402(10)1234AB"}

    def used(at: str) -> bool:
        return fires(rule, Scene(({"kind": "access", "at": at, "needle": label},)))

    # The stay is in Chicago. The last two times are the first two again, written with another offset.
    assert used("2031-04-02T23:59-05:00") is False
    assert used("2031-04-03T00:00-05:00") is True
    assert used("2031-04-03T04:59+00:00") is False
    assert used("2031-04-02T22:00-07:00") is True


# -- clocks that change --

CHICAGO = ZoneInfo("America/Chicago")


def hours_of(start: str, end: str) -> timedelta:
    return datetime.fromisoformat(end) - datetime.fromisoformat(start)


@pytest.mark.parametrize(
    ("put_in", "last_hour", "last_day"),
    [
        # Clocks go forward on 2031-03-09 and back on 2031-11-02: 168 hours end an hour later, or earlier, on the clock.
        ("2031-03-05T09:00-06:00", "2031-03-12T10:00-05:00", "2031-03-12T23:59-05:00"),
        ("2031-10-30T09:00-05:00", "2031-11-06T08:00-06:00", "2031-11-06T23:59-06:00"),
        # No change in between.
        ("2031-04-02T09:00-05:00", "2031-04-09T09:00-05:00", "2031-04-09T23:59-05:00"),
    ],
)
@pytest.mark.parametrize("asof_zone", [UTC, CHICAGO])
def test_needle_days_over_a_change_of_clocks(put_in: str, last_hour: str, last_day: str, asof_zone: Any) -> None:
    assert hours_of(put_in, last_hour) == timedelta(hours=168)
    stay = {"stay": {"admitted_at": "2031-03-01T00:00-06:00"}}
    by_day = local_policy(interval_counting="calendar day")
    needle = {"kind": "access", "at": put_in}

    def out(at: datetime, policy: Policy) -> bool:
        return fires("needle-dwell", Scene((needle, {"kind": "de-access", "at": at.isoformat()}), stay, policy))

    def still_in(at: datetime, policy: Policy) -> bool:
        return fires("needle-overdue", Scene((needle,), stay, policy, at.astimezone(asof_zone)))

    minute = timedelta(minutes=1)
    for end, policy in ((last_hour, local_policy(interval_counting="hour")), (last_day, DEFAULT), (last_day, by_day)):
        last = datetime.fromisoformat(end)
        for judge in (out, still_in):
            assert [judge(last + side * minute, policy) for side in (-1, 0, 1)] == [False, False, True]


def test_the_hour_that_comes_twice_in_autumn() -> None:
    stay = {"stay": {"admitted_at": "2031-10-01T00:00-05:00"}}
    gauze = {"kind": "access", "at": "2031-10-31T01:30-05:00", "dressing": {"type": "gauze", **HIDDEN}}
    # 48 hours end at 01:30, before the clocks go back; the second 01:30 of that night is an hour late.
    first, second = (datetime(2031, 11, 2, 1, 30, tzinfo=CHICAGO, fold=fold) for fold in (0, 1))
    assert not fires("dressing-overdue", Scene((gauze,), stay, asof=first))
    assert fires("dressing-overdue", Scene((gauze,), stay, asof=second))


# -- a facility's own limits, and that none is forgotten --


def test_a_facility_limit_moves_the_rule() -> None:
    five = local_policy(needle_dwell_days=5)
    removal = event("de-access", 6 * DAY)
    assert not fires("needle-dwell", Scene((access(), removal)))
    assert fires("needle-dwell", Scene((access(), removal), policy=five))
    cited = [f.citations[0].mark for f in judged(episode_of(access(), removal), five) if f.rule == "needle-dwell"]
    assert cited == ["LP"]


def test_no_rule_is_left_out_for_one_that_does_not_exist() -> None:
    """One cause, one finding: of two rules about one fact the one that says more is kept, and both exist."""
    rules = rule_table.load()
    assert {*rule_table.SAYS_MORE, *rule_table.SAYS_MORE.values()} <= set(rules)
