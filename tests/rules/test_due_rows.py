"""Every clock of a line: when it runs, from which event, to which limit, what stops it; one fact changed at a time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from rule_cases import episode_of, local_policy
from scenes import AT, LOCKED, STILL_NONE, access, after, event

from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.line import due
from lda_notes.line.timeline import Timeline, build
from lda_notes.record.parts import DayOnly

HOUR, DAY = 60, 24 * 60
ZONE = ZoneInfo("America/Chicago")
REST = access(**LOCKED)
OUT = event("de-access", HOUR)
UNKNOWN = {"not_assessed": "not in the papers"}
NOW = "now"


def line(*events: dict[str, Any], at: float = HOUR, policy: Policy = DEFAULT, **parts: Any) -> Timeline:
    return build(episode_of(*events, **parts), policy, datetime.fromisoformat(after(at)))


def running(*events: dict[str, Any], policy: Policy = DEFAULT, **more: Any) -> dict[str, due.Due]:
    made = line(*events, policy=policy, **more)
    return {one.clock: one for one in due.due(made, made.episode.port.septa[0], policy)}


def minutes(one: due.Due | None) -> int | str | None:
    """Return when a clock ends, in minutes from the access; now where its beginning is not known."""
    if one is None:
        return None
    return NOW if one.by is None else int((one.by - AT) / timedelta(minutes=1))


def ends(clock: str, *events: dict[str, Any], **more: Any) -> tuple[int | str | None, str, str]:
    """Return when a clock ends, its limit and its reason."""
    one = running(*events, **more).get(clock)
    return (minutes(one), one.limit, one.why) if one is not None else (None, "", "")


# -- which clocks run --


@pytest.mark.parametrize(
    ("events", "clocks"),
    [
        ((access(),), {"needle change", "dressing change", "line check"}),
        ((REST,), {"needle change", "dressing change", "line check"}),
        ((REST, OUT), {"idle flush"}),
        ((REST, event("de-access", HOUR, flushes=None, lock=None)), {"idle flush"}),
        ((event("line check", 0),), set()),
        ((event("flush", 0),), {"idle flush"}),
        ((REST, OUT, event("port removed", 90)), set()),
        ((event("port implanted", 0),), set()),
        ((REST, event("discharge", 90)), {"needle change", "dressing change"}),
        ((REST, event("discharge", 90, destination="died")), set()),
        ((REST, OUT, event("discharge", 90)), {"maintenance flush"}),
        ((REST, OUT, event("line check", 90, blood_return="none", blood_looks=None)), set()),
        ((REST, event("patency treatment", 30)), {"needle change", "dressing change", "line check",
                                                  "thrombolytic check"}),
        ((access(needle={"non_coring": False}, **LOCKED), OUT), set()),
        ((access(flushes={"not_done": "left"}, lock={"not_done": "left"}, infusion=None),),
         {"needle change", "dressing change", "line check", "flush"}),
    ],
    ids=lambda one: str(sorted(one) if isinstance(one, set) else one)[:140],
)  # fmt: skip
def test_which_clocks_run(events: Any, clocks: set[str]) -> None:
    assert set(running(*events, at=2 * HOUR)) == clocks


@pytest.mark.parametrize(("setting", "looked"), [
    ("inpatient", True), ("emergency", True), ("procedure area", True), ("outpatient", False), ("home", False),
    (None, True),
])  # fmt: skip
def test_who_looks_at_each_shift(setting: str | None, looked: bool) -> None:
    assert ("line check" in running(REST, stay={"setting": setting})) is looked
    moved = event("transfer", 30, to_setting=setting)
    assert ("line check" in running(REST, moved)) is looked
    assert ("line check" in running(REST, moved, event("discharge", 40), at=30)) is looked


def test_clocks_are_listed_the_unknown_first_then_by_time() -> None:
    made = line(event("arrival accessed", 0, inserted_at=UNKNOWN))
    assert [one.clock for one in due.due(made, "single", DEFAULT)] == ["needle change", "line check", "dressing change"]
    same = line(access(dressing={"chlorhexidine_disc": False}))
    assert [one.clock for one in due.due(same, "single", DEFAULT)] == ["line check", "dressing change", "needle change"]
    both = line(event("arrival accessed", 0, inserted_at=UNKNOWN, dressed_at=UNKNOWN, at=after(0)))
    assert [one.clock for one in due.due(both, "single", DEFAULT)][:2] == ["dressing change", "needle change"]


# -- needle and dressing --


def test_the_needle_counts_from_its_insertion() -> None:
    row = ("needle_dwell_days", "needle put in")
    assert ends("needle change", REST) == (7 * DAY, *row)
    assert ends("needle change", event("arrival accessed", 0)) == (6 * DAY, *row)
    assert ends("needle change", event("arrival accessed", 0, inserted_at=UNKNOWN)) == (
        NOW, "needle_dwell_days", "time of insertion is not known",
    )  # fmt: skip
    assert ends("needle change", REST, event("dressing change", 30)) == (7 * DAY, *row), "a dressing restarts no needle"
    coring = access(needle={"non_coring": False}, **LOCKED)
    assert ends("needle change", coring)[0] == NOW and "coring" in ends("needle change", coring)[2]
    loose = ends("needle change", REST, event("needle dislodged", 30))
    assert loose[0] == NOW and loose[2].startswith("needle partly out")
    stuck = access(flushes=[{"resistance": "some"}], **LOCKED)
    assert ends("needle change", stuck) == (7 * DAY, *row)
    one = running(REST, event("needle dislodged", 30))["needle change"]
    assert one.restarted_by.event.id == "needle-dislodged-1"


@pytest.mark.parametrize(
    ("dressing", "days", "limit"),
    [
        ({"type": "transparent"}, 7, "transparent_dressing_days"),
        ({"type": "transparent with chlorhexidine"}, 7, "transparent_dressing_days"),
        ({"type": "gauze"}, 2, "gauze_dressing_days"),
        ({"type": "gauze under transparent"}, 2, "gauze_dressing_days"),
        ({"type": "gauze under wings"}, 7, "gauze_under_wings_days"),
        ({"type": "gauze under wings", "site_visible": None}, 7, "gauze_under_wings_days"),
        ({"type": "gauze under wings", "site_visible": False}, 2, "gauze_dressing_days"),
    ],
    ids=str,
)
def test_the_dressing_counts_by_its_type(dressing: Any, days: int, limit: str) -> None:
    plain = {"chlorhexidine_disc": False, **dressing}
    assert ends("dressing change", access(dressing=plain, **LOCKED)) == (days * DAY, limit, "dressing put on")
    assert due.dressing_limit(line(access(dressing=plain)).now("single").dressing.dressing) == limit  # type: ignore[union-attr]  # not None here
    short = local_policy(chg_dressing_days=1)
    disc = access(dressing={**plain, "chlorhexidine_disc": True}, **LOCKED)
    assert ends("dressing change", disc, policy=short)[:2] == (DAY, "chg_dressing_days")
    own = plain["type"] == "transparent with chlorhexidine"
    found = ends("dressing change", access(dressing=plain, **LOCKED), policy=short)[:2]
    assert found == ((DAY, "chg_dressing_days") if own else (days * DAY, limit))


def test_a_dressing_of_which_too_little_is_known() -> None:
    def of(*events: dict[str, Any]) -> tuple[Any, str, str]:
        return ends("dressing change", *events)

    assert of(access(dressing={"not_done": "left bare"}, **LOCKED)) == (
        NOW, "transparent_dressing_days", "no dressing is recorded",
    )  # fmt: skip
    arrived = event("arrival accessed", 0, dressing=UNKNOWN, dressing_found=None)
    assert of(arrived) == (NOW, "gauze_dressing_days", "dressing type is not known")
    typeless = access(dressing={"type": UNKNOWN, "chlorhexidine_disc": True}, **LOCKED)
    assert of(typeless) == (NOW, "gauze_dressing_days", "dressing type is not known")
    assert due.dressing_limit(None) is None
    assert of(event("arrival accessed", 0, dressed_at=UNKNOWN)) == (
        NOW, "transparent_dressing_days", "time of dressing is not known",
    )  # fmt: skip
    since = running(arrived)["dressing change"].since
    assert since == AT - timedelta(days=1)


def test_a_dressing_found_in_need_is_due_now_until_a_look_or_a_change() -> None:
    def of(*events: dict[str, Any]) -> tuple[Any, str]:
        found = ends("dressing change", REST, *events, at=10 * HOUR)
        return found[0], found[2]

    damp = event("line check", HOUR, dressing_found=["loose", "damp"])
    assert of(damp) == (NOW, "dressing found loose and damp")
    assert of(damp, event("line check", 90, dressing_found=["intact"])) == (7 * DAY, "dressing put on")
    assert of(damp, event("line check", 90, dressing_found=None)) == (NOW, "dressing found loose and damp")
    assert of(damp, event("dressing change", 90)) == (7 * DAY + 90, "dressing put on")
    assert of(event("line check", HOUR, dressing_found=UNKNOWN)) == (7 * DAY, "dressing put on")
    arrived = ends("dressing change", event("arrival accessed", 0, dressing_found=["soiled"]))
    assert arrived == (NOW, "transparent_dressing_days", "dressing found soiled")


# -- looks and flushes --


def test_the_look_counts_from_the_last_look() -> None:
    for seen, at in ((), 0), ((event("line check", HOUR),), HOUR), ((event("dressing change", HOUR),), HOUR):
        assert ends("line check", REST, *seen) == (at + 12 * HOUR, "line_check_hours", "last look at the line")
    assert ends("line check", REST, event("flush", HOUR))[0] == 13 * HOUR  # who charts the site has looked
    assert ends("line check", REST, event("flush", HOUR, site=None))[0] == 12 * HOUR


DAILY = local_policy(accessed_idle_flush_hours=24)


@pytest.mark.parametrize(
    ("events", "at", "why"),
    [
        ((REST,), 0, "last flush or lock"),
        ((REST, event("flush", 30)), 30, "last flush or lock"),
        ((REST, event("flush", 30, flushes=None)), 30, "last flush or lock"),
        ((REST, event("flush", 30, lock=None)), 30, "last flush or lock"),
        ((access(), event("flush", 30)), 30, "infusion stopped"),
        ((REST, event("line use", 20, purpose="infusion", action="started"), event("flush", 30)), 30,
         "infusion stopped"),
        ((access(),), None, ""),
        ((REST, event("patency treatment", 30)), None, ""),
        ((REST, event("line check", 30, blood_return="none", blood_looks=None)), None, ""),
        ((REST, OUT), None, ""),
    ],
    ids=lambda one: str(sorted(one) if isinstance(one, set) else one)[:140],
)  # fmt: skip
def test_an_accessed_port_that_rests_by_policy(events: Any, at: int | None, why: str) -> None:
    found = ends("flush", *events, policy=DAILY)
    assert found == ((at + DAY, "accessed_idle_flush_hours", why) if at is not None else (None, "", ""))
    assert "flush" not in running(*events), "no policy asks for it"


def test_a_reminder_by_the_clock_is_never_overdue_and_an_open_line_is() -> None:
    one = running(REST, policy=DAILY)["flush"]
    assert not one.overdue(AT + timedelta(days=90))
    unsaid = access(flushes={"not_done": "left"}, lock={"not_done": "left"}, infusion=None)
    open_ = running(unsaid)["flush"]
    assert (minutes(open_), open_.restarted_by.event.id, open_.overdue(AT)) == (NOW, "access-1", True)
    stopped = (access(), event("line use", 30, purpose="infusion", action="stopped"))
    assert running(*stopped)["flush"].restarted_by.event.id == "line-use-1"
    arrived = event("arrival accessed", 0, infusion=None)
    assert ends("flush", arrived, policy=DAILY) == (NOW, "accessed_idle_flush_hours", "no flush is recorded")


@pytest.mark.parametrize(
    ("events", "at", "why"),
    [
        ((REST, OUT), HOUR, "last flush or lock"),
        ((REST, event("de-access", HOUR, flushes=None, lock=None)), 0, "last flush or lock"),
        ((REST, event("de-access", HOUR, flushes=None)), HOUR, "last flush or lock"),
        ((access(flushes=None, lock={"not_done": "-"}), event("de-access", HOUR, flushes=None, lock=None)), HOUR,
         "needle removed, no flush recorded"),
        ((REST, OUT, event("flushed elsewhere", 10 * DAY, on="2031-04-09", where=None, by_word_of=None)),
         7 * DAY - 9 * HOUR, "flushed elsewhere"),
        ((REST, OUT, event("flushed elsewhere", 10 * DAY, on="2031-04-09", where="Pine Clinic", by_word_of=None)),
         7 * DAY - 9 * HOUR, "flushed elsewhere at Pine Clinic"),
        ((REST, OUT, event("flushed elsewhere", 10 * DAY, on="2031-04-09", where=None, by_word_of="patient")),
         7 * DAY - 9 * HOUR, "flushed elsewhere, as reported by patient"),
        ((REST, OUT, event("flushed elsewhere", 10 * DAY, on="2031-03-09")), HOUR, "last flush or lock"),
    ],
    ids=lambda one: str(one)[:200],
)  # fmt: skip
def test_a_port_without_a_needle_counts_from_the_last_flush(events: Any, at: int, why: str) -> None:
    assert ends("idle flush", *events, at=11 * DAY) == (at + 28 * DAY, "idle_flush_days", why)
    gone = event("discharge", 11 * DAY - 1)
    assert ends("maintenance flush", *events, gone, at=11 * DAY) == (at + 28 * DAY, "idle_flush_days", why)
    two = local_policy(maintenance_flush_days=84)
    assert ends("maintenance flush", *events, gone, at=11 * DAY, policy=two) == (
        at + 84 * DAY, "maintenance_flush_days", why,
    )  # fmt: skip
    assert ends("idle flush", *events, at=11 * DAY, policy=two)[1] == "idle_flush_days"


def test_a_discharge_counts_from_its_minute() -> None:
    gone = (REST, OUT, event("discharge", 90, destination="died"))
    assert [set(running(*gone, at=at)) for at in (89, 90, 91)] == [{"idle flush"}, set(), set()]
    home = (REST, OUT, event("discharge", 90))
    assert [set(running(*home, at=at)) for at in (89, 90)] == [{"idle flush"}, {"maintenance flush"}]


# -- looks at a thrombolytic --


@pytest.mark.parametrize(
    ("looks", "limits"),
    [
        ((), [30, 120]),
        ((24,), [30, 120]),
        ((25,), [120]),
        ((30,), [120]),
        ((114,), [120]),
        ((115,), []),
        ((30, 120), []),
        ((30, 60), [120]),
    ],
)
def test_the_looks_that_are_still_due(looks: tuple[int, ...], limits: list[int]) -> None:
    seen = [event("patency check", 30 + at, treatment="patency-treatment-1", **STILL_NONE) for at in looks]
    made = line(REST, event("patency treatment", 30), *seen, at=4 * HOUR)
    found = [one for one in due.due(made, "single", DEFAULT) if one.clock == "thrombolytic check"]
    assert [minutes(one) for one in found] == [30 + at for at in limits]
    names = {30: "alteplase_first_check_minutes", 120: "alteplase_second_check_minutes"}
    assert [(one.limit, one.why) for one in found] == [(names[at], "thrombolytic put in") for at in limits]
    assert [one.since for one in found] == [AT + timedelta(minutes=30) for _ in limits]


def test_another_thrombolytic_has_no_times_of_the_alteplase_label() -> None:
    assert "thrombolytic check" not in running(REST, event("patency treatment", 30, drug="urokinase"))


# -- when a flush may be advised --


@pytest.mark.parametrize(
    ("events", "allowed"),
    [
        ((REST,), True),
        ((access(blood_return="none", blood_looks=None, **LOCKED),), False),
        ((REST, event("patency treatment", 30)), False),
        ((access(needle={"non_coring": False}, **LOCKED), event("evaluation", 30, ends=["all"])), False),
        ((access(infusion=None, lock={"drug": "70% ethanol", "units_per_ml": None, "volume_ml": 3}),), False),
        ((access(infusion=None, lock={"drug": "70% ethanol", "units_per_ml": None, "volume_ml": 3}),
          event("line use", 30, purpose="removal of lock", action="given")), True),
        ((REST, event("line check", 30, dressing_found=["damp"])), True),
        ((event("arrival accessed", 0, inserted_at=UNKNOWN),), True),
    ],
    ids=lambda one: str(sorted(one) if isinstance(one, set) else one)[:140],
)  # fmt: skip
def test_whether_a_flush_may_be_advised(events: Any, allowed: bool) -> None:
    assert due.flush_allowed(line(*events).now("single")) is allowed


# -- what a nurse charted as next --


def told(*events: dict[str, Any], policy: Policy = DEFAULT, at: float = HOUR, **parts: Any) -> dict[str, Any]:
    made = line(*events, policy=policy, at=at, **parts)
    return {one.clock: one for one in due.charted(made, "single", policy, made.asof)}


def next_(**facts: int) -> dict[str, Any]:
    return {"next_due": {key: after(value) for key, value in facts.items()}}


@pytest.mark.parametrize(
    ("made", "key", "clock", "limit", "computed"),
    [
        (access, "needle_change", "needle change", "needle_dwell_days", 7 * DAY),
        (access, "dressing_change", "dressing change", "transparent_dressing_days", 7 * DAY),
    ],
)
def test_an_earlier_next_time_that_was_charted_counts(
    made: Any, key: str, clock: str, limit: str, computed: int
) -> None:
    slack = 5
    for by, counts in ((computed - slack - 1, True), (computed - slack, False), (computed, False)):
        found = told(made(**LOCKED, next_due={"needle_change": None, "dressing_change": None, key: after(by)}))
        assert (clock in found) is counts
        if counts:
            one = found[clock]
            assert (one.by, one.limit, one.charted, one.since) == (AT + timedelta(minutes=by), limit, True, AT)
            assert one.why == "charted as the next one" and one.restarted_by.event.id == "access-1"
            assert not one.overdue(one.late) and one.overdue(one.late + timedelta(minutes=1))


def test_a_charted_time_ends_when_the_act_is_done() -> None:
    early = access(**LOCKED, **next_(dressing_change=2 * DAY))
    assert "dressing change" in told(early) and "dressing change" in told(early, event("line check", 30))
    assert "dressing change" not in told(early, event("dressing change", DAY), at=DAY + 1)
    assert "dressing change" in told(early, event("dressing change", DAY), at=DAY - 1), "not done yet"
    later = event("dressing change", DAY, **next_(dressing_change=3 * DAY))
    assert minutes(told(early, later, at=2 * DAY)["dressing change"]) == 3 * DAY
    assert told(early, event("de-access", 30), event("access", 60), at=HOUR) == {}


def test_a_charted_flush() -> None:
    plan = event("flush", 30, **next_(flush=3 * DAY))
    untended = event("arrival accessed", 0, infusion=None, **next_(flush=3 * DAY))
    assert minutes(told(untended)["flush"]) == 3 * DAY, "what was never flushed is not done"
    found = told(REST, plan)["flush"]
    assert (minutes(found), found.limit) == (3 * DAY, "accessed_idle_flush_hours")
    assert found.overdue(AT + timedelta(days=4)), "a nurse named that time"
    assert "flush" not in told(REST, plan, event("flush", 40, next_due=None))
    assert "flush" in told(REST, plan, event("line check", 40))
    assert "flush" not in told(access(), event("line check", 30, **next_(flush=3 * DAY)))
    out = event("de-access", 30, **next_(flush=10 * DAY))
    assert told(REST, out)["idle flush"].limit == "idle_flush_days"
    assert "idle flush" not in told(REST, event("de-access", 30, **next_(flush=28 * DAY + 30)))
    home = told(REST, out, event("discharge", 40, next_due=None))["maintenance flush"]
    assert (minutes(home), home.limit) == (10 * DAY, "idle_flush_days")
    assert told(REST, out, event("discharge", 40, destination="died")) == {}
    assert told(REST, out, event("port removed", 40)) == {}
    held = event("line check", 40, blood_return="none", blood_looks=None)
    assert told(REST, plan, held) == {}, "nothing is advised through a line on hold"
    assert told(REST, plan, event("patency treatment", 40)) == {}


def test_a_charted_time_of_a_dressing_that_nobody_can_type_goes_by_the_strictest() -> None:
    bare = event("arrival accessed", 0, dressing=UNKNOWN, **next_(dressing_change=DAY))
    assert told(bare) == {}, "due now already"


# -- counting --


def test_days_are_counted_by_the_calendar_and_hours_by_the_hour() -> None:
    hour, day = local_policy(interval_counting="hour"), local_policy(interval_counting="calendar day")
    gauze = local_policy(gauze_interval_counting="calendar day")
    rows = [
        ("needle_dwell_days", True, False, True, True),
        ("gauze_dressing_days", False, False, True, True),
        ("line_check_hours", False, False, False, False),
        ("alteplase_first_check_minutes", False, False, False, False),
    ]
    for limit, *expected in rows:
        assert [due.counted_by_day(limit, one) for one in (DEFAULT, hour, day, gauze)] == expected
    own = local_policy(interval_counting="calendar day", gauze_interval_counting="hour")
    assert not due.counted_by_day("gauze_dressing_days", own)
    by = datetime(2031, 4, 9, 9, tzinfo=ZONE)
    end = datetime(2031, 4, 9, 23, 59, 59, 999999, tzinfo=ZONE)
    assert due.late_after(by, "needle_dwell_days", DEFAULT) == end
    assert due.late_after(by, "gauze_dressing_days", DEFAULT) == by
    only = DayOnly(2031, 4, 9, tzinfo=ZONE)
    assert due.late_after(only, "gauze_dressing_days", DEFAULT) == end, "where only the day is known, the day counts"
    assert due.end_of(AT, "gauze_dressing_days", DEFAULT, ZONE) == AT + timedelta(days=2)


def test_overdue_is_after_the_last_moment_on_any_clock() -> None:
    one = running(REST)["needle change"]
    assert one.late is not None and one.by == AT + timedelta(days=7)
    for zone in (UTC, ZONE):
        assert [one.overdue((one.late + timedelta(seconds=at)).astimezone(zone)) for at in (0, 1)] == [False, True]
