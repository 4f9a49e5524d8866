"""Rules about a line on hold, each with every condition of it changed once: what fires, and what stays quiet."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from rule_cases import episode_of, judged
from scenes import LOCKED, access, after, event

from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.problems import Finding

DAY = 24 * 60
NONE = {"blood_return": "none", "blood_looks": None}
REST = access(**LOCKED)
HELD = access(**NONE, **LOCKED)
"""Locked and on hold: no blood return."""
SWOLLEN = event("line check", 30, site={"swelling": "present"}, blood_return=None, blood_looks=None)
GIVEN = {"purpose": "medication", "action": "given"}
ORDER = {"despite_hold": {"by": {"name": "Osric Fennimore", "credential": "MD"}, "purpose": "cultures"}}
PHYSICIAN = {"name": "Osric Fennimore", "credential": "MD"}
NURSE = {"name": "Ines Corwin", "credential": "RN"}


_DONE: dict[str, tuple[Finding, ...]] = {}
"""What was found in a record already: many rules are asked of one."""


def found(
    rule: str, *events: dict[str, Any], policy: Policy = DEFAULT, hours: float = 1, **parts: Any
) -> list[Finding]:
    """Return what a rule finds, judged some hours after the last event."""
    key = f"{id(policy)} {hours} {json.dumps([events, parts])}"
    if key not in _DONE:
        episode = episode_of(*events, **parts)
        asof = max(one.at for one in episode.events) + timedelta(hours=hours)
        _DONE[key] = judged(episode, policy, asof)
    return [one for one in _DONE[key] if one.rule == rule]


def say(rule: str, *events: dict[str, Any], **more: Any) -> list[str]:
    return [one.message for one in found(rule, *events, **more)]


Row = tuple[str, bool, tuple[dict[str, Any], ...]]


def use(at: int = 60, **facts: Any) -> dict[str, Any]:
    return event("line use", at, **{**GIVEN, **facts})


def flush(at: int = 60, **facts: Any) -> dict[str, Any]:
    return event("flush", at, **{"steps_tried": None, **NONE, **facts})


def judge(at: int = 90, **facts: Any) -> dict[str, Any]:
    return event("evaluation", at, **facts)


USED: list[Row] = [
    ("held-line-used", True, (HELD, use())),
    ("held-line-used", False, (REST, use())),
    ("held-line-used", False, (HELD, use(action="stopped"))),
    ("held-line-used", False, (HELD, use(**ORDER))),
    ("held-line-used", True, (HELD, use(despite_hold={"by": None, "purpose": "cultures"}))),
    ("held-line-used", True, (HELD, use(despite_hold={"by": {"credential": "MD"}}))),
    ("held-line-used", False, (HELD, use(despite_hold={"by": {"id": "CASE-M1"}}))),
    ("held-line-used", True, (REST, use(blood_return_before="none"))),
    ("held-line-used", True, (REST, use(signs=[{"what": "chest pain"}]))),
    ("held-line-used", False, (REST, use(purpose="power injection", flow_ml_per_s=9))),
    ("held-line-used", True, (HELD, use(purpose="power injection", flow_ml_per_s=9))),
    ("held-line-flushed", True, (HELD, flush())),
    ("held-line-flushed", False, (REST, flush(blood_return="present", blood_looks="like whole blood"))),
    ("held-line-flushed", False, (HELD, flush(steps_tried=["repositioned patient"]))),
    ("held-line-flushed", False, (HELD, flush(blood_return="present"))),
    ("held-line-flushed", True, (HELD, flush(blood_return="sluggish"))),
    ("held-line-flushed", True, (REST, SWOLLEN, flush(blood_return="present"))),
    ("held-line-flushed", True, (REST, SWOLLEN, flush(steps_tried=["repositioned patient"]))),
    ("held-line-flushed", True, (HELD, SWOLLEN, flush(blood_return="present"))),
    ("held-line-flushed", False, (HELD, flush(flushes={"not_done": "on hold"}))),
    ("held-line-flushed", False, (HELD, flush(flushes=None))),
    ("held-line-flushed", False, (HELD, flush(**ORDER))),
    ("held-line-flushed", True, (HELD, event("flushed elsewhere", 10 * DAY, on="2031-04-02"))),
    ("held-line-flushed", False, (HELD, event("flushed elsewhere", 10 * DAY, on="2031-04-01"))),
    ("held-line-flushed", False, (REST, event("flushed elsewhere", 10 * DAY, on="2031-04-05"))),
    ("infusion-on-unproven-line", True, (access(**NONE),)),
    ("infusion-on-unproven-line", False, (access(),)),
    ("infusion-on-unproven-line", False, (HELD,)),
    ("infusion-on-unproven-line", False, (access(**NONE, **ORDER),)),
    ("infusion-on-unproven-line", False, (access(tip_confirmed=False),)),
    ("infusion-on-unproven-line", False, (access(needle={"non_coring": False}),)),
    ("infusion-on-unproven-line", True, (REST, SWOLLEN, event("de-access", 60), event("access", 90))),
    ("infusion-on-unproven-line", False, (HELD, event("de-access", 60, **NONE), event("access", 90))),
    ("vesicant-without-blood-return", True, (REST, use(vesicant=True, blood_return_before="none"))),
    ("vesicant-without-blood-return", True, (REST, use(vesicant=True, blood_return_before="sluggish"))),
    ("vesicant-without-blood-return", True, (REST, use(vesicant=True, blood_return_before={"not_assessed": "-"}))),
    ("vesicant-without-blood-return", False, (REST, use(vesicant=True))),
    ("vesicant-without-blood-return", False, (REST, use(vesicant=True, blood_return_before=None))),
    ("vesicant-without-blood-return", True,
     (REST, use(vesicant=True, blood_return_before=None, blood_return="none"))),
    ("vesicant-without-blood-return", False,
     (REST, use(vesicant=True, blood_return_before="present", blood_return="none"))),
    ("vesicant-without-blood-return", False,
     (REST, use(vesicant=True, blood_return_before="none", action="stopped"))),
    ("vesicant-without-blood-return", False, (REST, use(vesicant=False, blood_return_before="none"))),
    ("vesicant-without-blood-return", False, (REST, use(vesicant=None, blood_return_before="none"))),
    ("vesicant-not-flagged", True, (REST, use(what="doxorubicin", vesicant=False))),
    ("vesicant-not-flagged", True, (REST, use(what="doxorubicin", vesicant=None))),
    ("vesicant-not-flagged", False, (REST, use(what="doxorubicin", vesicant=True))),
    ("vesicant-not-flagged", False, (REST, use(what="saline", vesicant=False))),
    ("flushed-into-swelling", True, (access(site={"swelling": "present"}, problems=None),)),
    ("flushed-into-swelling", True, (REST, flush(site={"swelling": "present"}))),
    ("flushed-into-swelling", False, (REST, flush(site={"swelling": "none"}))),
    ("flushed-into-swelling", False, (REST, flush(site={"swelling": {"not_assessed": "-"}}))),
    ("flushed-into-swelling", False, (REST, flush(site={"not_assessed": "-"}, problems=[{}]))),
    ("flushed-into-swelling", False, (REST, flush(site={"swelling": "none"}, problems=[{}]))),
    ("flushed-into-swelling", False, (REST, flush(site={"swelling": "present"}, problems=[{}]))),
    ("flushed-into-swelling", False, (REST, flush(site={"swelling": "present"}, flushes={"not_done": "-"}))),
    ("flushed-into-swelling", False, (REST, flush(site={"swelling": "present"}, flushes=None))),
]  # fmt: skip

LIMITED = (HELD, judge(30, decision="cleared with limits", limits=["no vesicant"], ends=["all"]))
NO_POWER = (HELD, judge(30, decision="cleared with limits", limits=["no power injection"], ends=["all"]))
LIFTED = judge(45, lifts=["no vesicant"])
RULES = [
    *USED,
    ("use-against-limit", True, (*LIMITED, use(vesicant=True))),
    ("use-against-limit", False, (*LIMITED, use(vesicant=False))),
    ("use-against-limit", False, (*LIMITED, use(vesicant=None))),
    ("use-against-limit", False, (*LIMITED, use(vesicant=True, action="stopped"))),
    ("use-against-limit", False, (*LIMITED, LIFTED, use(vesicant=True))),
    ("use-against-limit", False, (*LIMITED, use(purpose="power injection"))),
    ("use-against-limit", True, (*NO_POWER, use(purpose="power injection"))),
    ("use-against-limit", False, (*NO_POWER, use(purpose="power injection", action="stopped"))),
    ("use-against-limit", False, (*NO_POWER, use(vesicant=True))),
    ("use-against-limit", True, (*NO_POWER, use(purpose="power injection", vesicant=True))),
    ("use-against-limit", False, (REST, use(vesicant=True))),
    ("lock-not-aspirated", True, (access(infusion=None, lock={"drug": "70% ethanol", "units_per_ml": None}),
                                  flush(old_lock="flushed in"))),
    ("lock-not-aspirated", False, (access(infusion=None, lock={"drug": "70% ethanol", "units_per_ml": None}), flush())),
    ("lock-not-aspirated", False, (REST, flush(old_lock="flushed in"))),
    ("cleared-in-spite-of-site", True, (HELD, judge(site={"swelling": "present"}, ends=["all"]))),
    ("cleared-in-spite-of-site", False, (HELD, judge(ends=["all"]))),
    ("cleared-in-spite-of-site", False,
     (HELD, judge(site={"swelling": "present"}, decision="remains on hold"))),
    ("cleared-without-restored-blood", True, (HELD, judge(evidence=["blood return restored"]))),
    ("cleared-without-restored-blood", False, (HELD, judge(evidence=["ultrasound"]))),
    ("cleared-without-restored-blood", False, (REST, judge(evidence=["blood return restored"]))),
    ("cleared-without-restored-blood", False, (judge(evidence=["blood return restored"]),)),
    ("cleared-without-restored-blood", False,
     (HELD, judge(evidence=["blood return restored"], decision="remains on hold"))),
    ("cleared-without-restored-blood", False,
     (HELD, event("line check", 60), judge(evidence=["blood return restored"]))),
    ("cleared-by-other-role", True, (HELD, judge(cleared_by=NURSE))),
    ("cleared-by-other-role", False, (HELD, judge())),
    ("cleared-by-other-role", False, (HELD, judge(cleared_by=NURSE, decision="remains on hold"))),
    ("cleared-by-other-role", False, (HELD, judge(cleared_by={"name": "Ines Corwin", "credential": None}))),
    ("cleared-by-other-role", False, (HELD, judge(cleared_by=None))),
    ("evaluation-against-itself", False, (HELD, judge(ends=["no blood return"]))),
    ("evaluation-against-itself", False, (HELD, judge(ends=["all"]))),
    ("evaluation-against-itself", True, (HELD, judge(ends=["pus"]))),
    ("evaluation-against-itself", True, (HELD, judge(limits=["no vesicant"], ends=["all"]))),
    ("evaluation-against-itself", False,
     (HELD, judge(decision="cleared with limits", limits=["no vesicant"], ends=["all"]))),
    ("evaluation-against-itself", True, (HELD, judge(lifts=["no vesicant"], ends=["all"]))),
    ("evaluation-against-itself", False, (*LIMITED, judge(lifts=["no vesicant"]))),
    ("evaluation-against-itself", True, (HELD, judge(decision="remains on hold", ends=["no blood return"]))),
    ("evaluation-against-itself", True, (HELD, judge(decision="remains on hold", limits=["no vesicant"]))),
    ("evaluation-against-itself", True, (*LIMITED, judge(decision="remains on hold", lifts=["no vesicant"]))),
    ("evaluation-against-itself", False, (HELD, judge(decision="remains on hold"))),
    ("evaluation-against-itself", False, (HELD, judge(decision=None, ends=["pus"]))),
    ("hold-to-end-not-named", False, (HELD, judge())),
    ("hold-to-end-not-named", True, (HELD, SWOLLEN, judge())),
    ("hold-to-end-not-named", False, (HELD, SWOLLEN, judge(ends=["swelling"]))),
    ("hold-to-end-not-named", False, (HELD, SWOLLEN, judge(decision="remains on hold"))),
    ("hold-to-end-not-named", False, (HELD, SWOLLEN, judge(cleared_by=NURSE))),
    ("hold-to-end-not-named", False, (REST, judge())),
    ("blood-back-still-held", True, (HELD, event("line check", 60))),
    ("blood-back-still-held", True, (HELD, flush(blood_return="present"))),
    ("blood-back-still-held", False, (HELD, event("line check", 60, blood_return="sluggish", blood_looks=None))),
    ("blood-back-still-held", False, (HELD, event("line check", 60, **NONE))),
    ("blood-back-still-held", False, (REST, SWOLLEN, event("line check", 60))),
    ("blood-back-still-held", False, (REST, event("line check", 60, blood_looks="thin"))),
    ("blood-back-still-held", False, (HELD, event("line check", 60), judge(ends=["all"]))),
    ("discharged-on-hold", True, (HELD, event("discharge", 60))),
    ("discharged-on-hold", False, (REST, event("discharge", 60))),
    ("discharged-on-hold", False, (HELD, event("discharge", 60, destination="died"))),
    ("discharged-on-hold", False, (HELD, event("discharge", 60, handed_to={}))),
    ("discharged-on-hold", True, (HELD, event("discharge", 60, handed_to={"name": None}))),
    ("transferred-on-hold", False, (HELD, event("transfer", 60))),
    ("transferred-on-hold", True, (HELD, event("transfer", 60, handed_to=None))),
    ("transferred-on-hold", True, (HELD, event("transfer", 60, handed_to={"name": None}))),
    ("transferred-on-hold", False, (REST, event("transfer", 60, handed_to=None))),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "fires", "events"), RULES, ids=[f"{row[0]} {n}" for n, row in enumerate(RULES)])
def test_a_rule_fires_or_stays_quiet(rule: str, fires: bool, events: Any) -> None:
    assert bool(found(rule, *events)) is fires


# -- what they say --


def test_why_and_since_when() -> None:
    since = "on hold since 2031-04-02 09:00 for no blood return"
    (message,) = say("held-line-used", HELD, use())
    assert since in message and "medication" in message and "although this event" not in message
    (message,) = say("held-line-used", REST, use(blood_return_before="none"))
    assert message == "the line was used for medication although this event shows no blood return"
    (one,) = found("held-line-used", HELD, use())
    assert [related.path for related in one.related] == [("events", 0)]
    assert found("held-line-used", REST, use(blood_return_before="none"))[0].related == ()
    (message,) = say("held-line-flushed", HELD, flush())
    assert since in message and "only work on its patency is done" in message
    (message,) = say("held-line-flushed", HELD, SWOLLEN, flush(**ORDER | {"despite_hold": None}))
    assert "for no blood return and swelling at the port; it may not be flushed" in message
    for blood, words in (("sluggish", "sluggish blood return;"), ({"not_assessed": "-"}, "return not assessed;")):
        given = use(vesicant=True, blood_return_before=blood)
        assert words in say("vesicant-without-blood-return", REST, given)[0]


def test_what_is_wrong_and_what_is_missing_about_a_vesicant() -> None:
    (one,) = found("vesicant-not-flagged", REST, use(what="doxorubicin", vesicant=False))
    (other,) = found("vesicant-not-flagged", REST, use(what="doxorubicin", vesicant=None))
    assert (one.severity, other.severity) == ("wrong", "gap")
    assert one.path[-1] == "vesicant" and other.path[-1] == "what"


def test_where_a_finding_points() -> None:
    own = use(vesicant=True, blood_return_before=None, blood_return="none")
    assert found("vesicant-without-blood-return", REST, own)[0].path[-1] == "blood_return"
    before = use(vesicant=True, blood_return_before="none")
    assert found("vesicant-without-blood-return", REST, before)[0].path[-1] == "blood_return_before"
    assert found("use-against-limit", *LIMITED, use(vesicant=True))[0].path[-1] == "vesicant"
    assert found("use-against-limit", *NO_POWER, use(purpose="power injection"))[0].path[-1] == "purpose"
    ethanol = access(infusion=None, lock={"drug": "70% ethanol", "units_per_ml": None})
    pushed = found("lock-not-aspirated", ethanol, flush(old_lock="flushed in"))
    assert pushed[0].path[-1] == "discard_ml" and pushed[0].related[0].path == ("events", 0)
    assert found("lock-not-aspirated", ethanol, flush(old_lock="flushed in", discard_ml=None))[0].path[-1] == "at"
    assert [one.path[-1] for one in found("evaluation-against-itself", HELD, judge(ends=["pus"]))] == ["ends"]
    for key in ("limits", "lifts", "ends"):
        made = judge(decision="remains on hold", **{key: ["no vesicant"]})
        (one,) = found("evaluation-against-itself", *LIMITED, made)
        assert one.path[-1] == key and '"no vesicant"' in one.message
        assert ("holds are named" in one.message) is (key == "ends")
        assert ("limits are named" in one.message) is (key == "lifts")


@pytest.mark.parametrize(
    ("septum", "ends", "rule", "fires"),
    [
        ("medial", ["all"], "hold-to-end-not-named", False),
        ("medial", ["swelling"], "hold-to-end-not-named", False),
        ("medial", None, "hold-to-end-not-named", True),
        (None, ["swelling"], "hold-to-end-not-named", True),
        (None, ["all"], "hold-to-end-not-named", False),
        ("medial", ["pus"], "evaluation-against-itself", True),
        (None, ["pus"], "evaluation-against-itself", False),
    ],
    ids=str,
)
def test_an_evaluation_of_a_port_with_two_septa(septum: Any, ends: Any, rule: str, fires: bool) -> None:
    swollen = {**SWOLLEN, "septum": "medial"}
    made = (access(septum="medial", **LOCKED), swollen, judge(septum=septum, ends=ends))
    assert bool(found(rule, *made, port={"septa": ["medial", "lateral"]})) is fires


def test_both_septa_on_hold_at_discharge() -> None:
    swollen = {**SWOLLEN, "septum": "medial"}
    made = (access(septum="medial", **LOCKED), swollen, event("discharge", 60))
    assert len(found("discharged-on-hold", *made, port={"septa": ["medial", "lateral"]})) == 2


# -- an infusion that runs on --

RUNS = access()
STOPS = event("line use", 60, purpose="infusion", action="stopped")
TOLD = {"what": "swelling", "told": PHYSICIAN, "told_at": after(31), "reply": "stay"}
HURTS = {"site": {"swelling": "present"}, "blood_return": None, "blood_looks": None}
ON = "infusion-on-held-line"
SWELLS = "extravasation-suspected"


def swollen(**facts: Any) -> dict[str, Any]:
    return event("line check", 30, **{**HURTS, **facts})


def dry(**facts: Any) -> dict[str, Any]:
    return event("line check", 30, **{**NONE, **facts})


@pytest.mark.parametrize(
    ("events", "extravasation", "on"),
    [
        ((RUNS, swollen()), True, False),
        ((RUNS, dry()), False, True),
        ((RUNS, swollen(), STOPS), False, False),
        ((RUNS, dry(), STOPS), False, False),
        ((RUNS, dry(), event("de-access", 60)), False, False),
        ((RUNS, dry(), event("line check", 45, **NONE), STOPS), False, True),
        ((RUNS, dry(), judge(45, ends=["all"]), STOPS), False, True),
        ((RUNS, dry(), judge(45, ends=["pus"]), STOPS), False, False),
        ((REST, dry()), False, False),
        ((REST, swollen()), False, False),
        ((RUNS, dry(problems=[{**TOLD, "action": "infusion stopped"}])), False, False),
        ((RUNS, dry(problems=[{**TOLD, "action": "clamped"}])), False, False),
        ((RUNS, dry(problems=[{**TOLD, "action": "discontinued"}])), False, False),
        ((RUNS, dry(problems=[{**TOLD, "action": "watched"}])), False, True),
        ((RUNS, swollen(problems=[{**TOLD, "action": "watched"}, {**TOLD, "action": "Stopped"}])), False, False),
        ((access(**NONE),), False, False),
        ((REST, event("line use", 30, purpose="infusion", action="started", blood_return_before="none")), False, False),
        ((REST, dry(infusion="saline")), False, True),
        ((RUNS, swollen(**NONE)), True, False),
        ((RUNS, dry(), event("line check", 45, site={"swelling": "present"}, **NONE)), True, True),
        ((RUNS, event("line check", 30, signs=[{"what": "pain"}], blood_return=None)), True, False),
    ],
    ids=lambda one: str(one)[:160],
)  # fmt: skip
def test_an_infusion_that_runs_on_when_the_line_went_on_hold(events: Any, extravasation: bool, on: bool) -> None:
    assert (bool(found(SWELLS, *events)), bool(found(ON, *events))) == (extravasation, on)


def test_of_what_still_ran_the_first_look_is_named() -> None:
    (message,) = say(ON, RUNS, dry(), event("line check", 45, **NONE), event("line check", 50, **NONE))
    assert "2031-04-02 09:30 for no blood return" in message and "still ran at 2031-04-02 09:45" in message
    (message,) = say(ON, RUNS, dry())
    assert "still ran" not in message and "since 2031-04-02 09:00" in message
    (one,) = found(SWELLS, RUNS, swollen())
    assert (one.event, one.path[-2:]) == ("line-check-1", ("site", "swelling"))
    assert one.related[0].path == ("events", 0)


def test_of_two_septa_each_by_its_own_events() -> None:
    port = {"septa": ["medial", "lateral"]}
    made = (access(septum="medial"), {**dry(), "septum": "medial"})
    other = event("line use", 60, septum="lateral", purpose="infusion", action="stopped")
    assert found(ON, *made, other, port=port) and not found(ON, *made, {**other, "septum": "medial"}, port=port)
