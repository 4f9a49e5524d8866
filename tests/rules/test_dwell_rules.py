"""Limits of time in place: whom they judge and whom not, each condition beside the number changed once."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from rule_cases import local_policy
from scenes import LOCKED, SCHOOL, access, after, event
from test_hold_rules import found, say

DAY = 24 * 60
REST = access(**LOCKED)
UNKNOWN = {"not_assessed": "-"}


def fires(rule: str, *events: dict[str, Any], **more: Any) -> bool:
    return bool(found(rule, *events, **more))


# -- needle and dressing in place --


@pytest.mark.parametrize(("days", "minutes", "severity"), [
    (7, 0, None), (8, -1, None), (9, 14 * 60, "advice"), (9, 15 * 60, "unsafe"),
])  # fmt: skip
def test_a_day_late_is_overdue_and_from_the_second_unsafe(days: int, minutes: int, severity: str | None) -> None:
    # From 09:00 the week ends at 09:00, the day of its end at midnight, 15 hours on; the next day a day after.
    at = days * DAY + minutes if minutes >= 0 else days * DAY - 9 * 60 - 1
    late = {} if severity is None else {"needle-dwell": severity}
    out = found("needle-dwell", REST, event("de-access", at - DAY if severity else at))
    assert {one.rule: one.severity for one in out} == late
    asof = (at - DAY if severity else at) / 60
    still = found("needle-overdue", REST, hours=asof)
    assert [one.severity for one in still] == ([severity] if severity else [])


def test_stays_that_are_not_judged() -> None:
    arrived = event("arrival accessed", 0, inserted_at=UNKNOWN, dressed_at=UNKNOWN)
    for rule in ("needle-dwell", "dressing-dwell"):
        assert not fires(rule, arrived, event("de-access", 30 * DAY))
    for rule in ("needle-overdue", "dressing-overdue"):
        assert not fires(rule, arrived, hours=900) and fires(rule, REST, hours=900)
        assert not fires(rule, REST, event("de-access", 60), hours=900)
        assert not fires(rule, event("line check", 0), hours=900)
        assert not fires(rule, REST, event("discharge", 60), hours=900), "judged at the discharge"
        assert fires(rule, REST, event("discharge", 12 * DAY), hours=1)
        again = (REST, event("de-access", 60), event("access", 90))
        assert fires(rule, *again, hours=900) and not fires(rule, *again, hours=100)
    typeless = access(dressing={"type": UNKNOWN}, **LOCKED)
    assert not fires("dressing-overdue", typeless, hours=900)
    assert not fires("dressing-dwell", typeless, event("dressing change", 30 * DAY))


def test_what_a_stay_too_long_names() -> None:
    looked = [event("line check", at) for at in (DAY, 10 * DAY, 11 * DAY)]
    (out,) = found("needle-dwell", REST, *looked, event("de-access", 12 * DAY))
    assert [one.path for one in out.related] == [("events", 0), ("events", 2, "at")]
    assert "stayed in until" in out.message and "12 days" in out.message
    (still,) = found("needle-overdue", REST, *looked, hours=24)
    assert [one.path for one in still.related] == [("events", 0), ("events", 2, "at")]
    (alone,) = found("needle-overdue", REST, hours=300)
    assert [one.path for one in alone.related] == [("events", 0)]
    hidden = access(dressing={"type": "gauze under wings", "site_visible": False}, **LOCKED)
    assert "dressing with gauze that hides the site" in say("dressing-overdue", hidden, hours=900)[0]
    seen = access(dressing={"type": "gauze under wings"}, **LOCKED)
    assert "gauze under wings dressing" in say("dressing-overdue", seen, hours=900)[0]
    under = access(dressing={"type": "gauze under transparent"}, **LOCKED)
    cited = ["ins-2016" in {one.source for one in found("dressing-overdue", made, hours=900)[0].citations}
             for made in (under, REST)]  # fmt: skip
    assert cited == [True, False]


LOOK = event("line check", 60, dressing_found=["damp", "loose"])
FOUND = "the dressing was found damp and loose at 2031-04-02 10:00, and "


@pytest.mark.parametrize(
    ("events", "said"),
    [
        ((LOOK,), "no change is charted; no one is charted as notified"),
        ((LOOK, event("dressing change", 300, dressing_found=None)), None),
        ((LOOK, event("dressing change", 301, dressing_found=None)),
         "was left until 2031-04-02 14:01; no one is charted as notified"),
        ((LOOK, event("de-access", 120)), None),
        ((LOOK, event("access", 120)), None),
        ((LOOK, event("arrival accessed", 120)), None),
        ((LOOK, event("line check", 120)), "no change is charted; no one is charted as notified"),
        ((LOOK, event("flush", 120), event("dressing change", 200)), None),
        (({**LOOK, "problems": [{}]},), "no change is charted"),
        (({**LOOK, "problems": [{"told": None, "told_at": None}, {}]},), "no change is charted"),
        (({**LOOK, "dressing_found": ["intact"]},), None),
        (({**LOOK, "dressing_found": UNKNOWN},), None),
        ((event("arrival accessed", 60, dressing_found=["damp", "loose"]),),
         "no change is charted; no one is charted as notified"),
        ((event("de-access", 30), LOOK), None),
    ],
    ids=lambda one: str(one)[:120],
)  # fmt: skip
def test_a_dressing_that_was_found_and_left(events: Any, said: str | None) -> None:
    assert say("failed-dressing-left", REST, *events) == ([FOUND + said] if said else [])


def test_of_two_septa_each_has_its_own_dressing() -> None:
    port = {"septa": ["medial", "lateral"]}
    ones = [access(septum="medial", **LOCKED), event("access", 5, septum="lateral", **LOCKED)]
    damp = {**LOOK, "septum": "medial"}
    changed = event("dressing change", 90, septum="medial")
    assert fires("failed-dressing-left", *ones, damp, {**changed, "septum": "lateral"}, port=port)
    assert not fires("failed-dressing-left", *ones, damp, changed, port=port)


def test_what_nobody_can_date_is_reported_once() -> None:
    both = event("arrival accessed", 0, inserted_at=UNKNOWN, dressed_at=UNKNOWN)
    (one,) = found("unknown-age-left", both, hours=48)
    assert one.path[-1] == "inserted_at" and one.message.startswith("a needle of unknown age")
    (one,) = found("unknown-age-left", event("arrival accessed", 0, dressed_at=UNKNOWN), hours=48)
    assert one.path[-1] == "dressed_at" and one.message.startswith("a dressing of unknown age")
    assert not fires("unknown-age-left", both, event("de-access", 60), hours=48)
    assert fires("unknown-age-left", both, event("de-access", 25 * 60), hours=1)
    assert not fires("unknown-age-left", both, event("discharge", 60), hours=48)


# -- looks and rests --


def test_gaps_between_looks() -> None:
    def gap(*events: dict[str, Any], hours: float = 1, **more: Any) -> list[str]:
        return say("line-check-interval", *events, hours=hours, **more)

    looks = [event("line check", at * 60) for at in (12, 40, 60)]
    (message,) = gap(REST, *looks)
    assert "from 2031-04-02 21:00 to 2031-04-04 01:00, 1 day 4 hours" in message, "the longest of them"
    assert message.endswith("; 1 more such gap")
    assert gap(REST, *looks, hours=40)[0].endswith("; 2 more such gaps")
    assert "such gap" not in gap(REST, event("line check", 20 * 60))[0]
    assert gap(REST, event("de-access", 20 * 60)) and gap(REST, event("dressing change", 20 * 60))
    assert not gap(REST, event("dressing change", 10 * 60), event("line check", 20 * 60))
    assert not gap(REST, event("de-access", 60), event("line check", 40 * 60))
    flushed = event("flush", 10 * 60)
    assert gap(REST, {**flushed, "site": None}, event("line check", 20 * 60)), "a flush alone is no look"
    assert not gap(REST, flushed, event("line check", 20 * 60)), "who charted the site looked"
    assert not gap(REST, event("line check", 20 * 60), stay={"setting": "home"})
    home = event("transfer", 30, to_setting="home")
    assert gap(REST, home, event("line check", 20 * 60)) and not gap(REST, home, event("line check", 40),
                                                                    event("line check", 20 * 60))  # fmt: skip
    two = gap(access(septum="medial", **LOCKED), hours=20, port={"septa": ["medial", "lateral"]})
    assert len(two) == 1 and 'of septum "medial"' in two[0] and "septum" not in gap(REST, hours=20)[0]
    (one,) = found("line-check-interval", REST, *looks)
    assert one.path == ("events", 1, "at")


DAILY = local_policy(accessed_idle_flush_hours=24)


@pytest.mark.parametrize(
    ("events", "rested"),
    [
        ((REST,), True),
        ((REST, event("flush", 20 * 60), event("flush", 40 * 60)), False),
        ((REST, event("flush", 20 * 60, flushes=None), event("flush", 40 * 60, lock=None)), False),
        ((REST, event("line use", 20 * 60), event("line use", 40 * 60)), False),
        ((REST, event("line use", 60, purpose="infusion", action="started")), False),
        ((REST, event("line use", 60, purpose="infusion", action="started"),
          event("line use", 20 * 60, purpose="infusion", action="stopped")), True),
        ((REST, event("patency treatment", 60)), False),
        ((REST, event("line check", 20 * 60), event("line check", 40 * 60)), True),
        ((access(),), False),
        ((REST, event("de-access", 60)), False),
        ((REST, event("de-access", 26 * 60)), True),
        ((REST, event("de-access", 60), event("access", 40 * 60, **LOCKED)), True),
    ],
    ids=lambda one: str(one)[:150],
)  # fmt: skip
def test_an_accessed_port_that_rested(events: Any, rested: bool) -> None:
    last = max(datetime.fromisoformat(one["at"]) for one in events)
    hours = (datetime.fromisoformat(after(66 * 60)) - last) / timedelta(hours=1)
    short = any(one["kind"] == "flush" or one["at"] == after(40 * 60) for one in events) and not rested
    assert fires("accessed-idle-flush", *events, policy=DAILY, hours=1 if short else hours) is rested
    assert not fires("accessed-idle-flush", *events, hours=hours), "where no policy asks for it"


def test_the_longest_rest_is_named() -> None:
    (message,) = say("accessed-idle-flush", REST, event("flush", 30 * 60), event("flush", 70 * 60), policy=DAILY)
    assert "from 2031-04-03 15:00 to 2031-04-05 07:00, 1 day 16 hours" in message


def test_a_port_without_a_needle() -> None:
    out = event("de-access", 60)
    assert "stands without" in say("idle-flush", REST, out, hours=24 * 40)[0]
    assert "stood without" in say("idle-flush", REST, out, event("access", 40 * DAY))[0]
    assert not fires("idle-flush", REST, out, event("discharge", 90), hours=24 * 40)
    assert not fires("idle-flush", REST, out, event("port removed", 90), hours=24 * 40)
    assert not fires("idle-flush", REST, hours=24 * 40) and not fires("idle-flush", REST, event("access", 40 * DAY))
    (one,) = found("idle-flush", REST, out, event("access", 40 * DAY))
    assert one.event == "access-2" and one.path == ("events", 2, "at")


def test_a_new_port() -> None:
    rule = "accessed-soon-after-implantation"
    new = event("port implanted", -DAY)
    early: dict[str, Any] = {"stay": {"admitted_at": after(-40 * DAY)}}
    assert fires(rule, new, REST, **early) and fires(rule, event("port implanted", -60), REST, **early)
    assert not fires(rule, new, access(site={"incision": "healing"}, **LOCKED), **early)
    child = {**early, "patient": SCHOOL}
    assert fires(rule, new, access(site={"incision": "healing"}, **LOCKED), **child)
    assert "child" in say(rule, new, REST, **child)[0] and "tender" in say(rule, new, REST, **early)[0]
    assert not fires(rule, REST, event("port removed", 60), event("port implanted", DAY), **early)
    day = {"port": {"implanted_on": "2031-04-01"}}
    assert fires(rule, REST, **day) and not fires(rule, REST, port={"implanted_on": "2031-03-28"})
    assert not fires(rule, REST, port={"implanted_on": None}) and not fires(
        rule, REST, port={"implanted_on": "2031-04-03"}
    )
    unborn = {**early, "patient": {"birth_date": None}}
    assert fires(rule, new, REST, **unborn)
    week = event("port implanted", -5 * DAY)
    assert fires(rule, week, REST, **child) and not fires(rule, week, REST, **unborn)
