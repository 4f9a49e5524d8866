"""What each kind of event changes in the state of its septum, field by field, and what it leaves as it was."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from rule_cases import episode_of
from scenes import AT, LOCKED, STILL_NONE, access, after, event

from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line.corrections import Entry
from lda_notes.line.states import DressingStay, Dwell, NeedleStay, State
from lda_notes.line.timeline import Timeline, build
from lda_notes.line.transitions import never_entered

DAY = 24 * 60
REST = access(**LOCKED)
NONE = {"blood_return": "none", "blood_looks": None}
DRY: dict[str, Any] = {"flushes": None, "lock": None}
BARE = {"blood_return": None, "blood_looks": None}
UNKNOWN = {"not_assessed": "-"}


def line(*events: dict[str, Any], **parts: Any) -> Timeline:
    return build(episode_of(*events, **parts), DEFAULT, datetime.fromisoformat(after(400 * DAY)))


def said(state: State) -> dict[str, Any]:
    """Return each field of a state that names an event, by the identifier of that event."""
    found: dict[str, Any] = {}
    for name in State._fields:
        value = getattr(state, name)
        match value:
            case Entry():
                found[name] = value.event.id
            case NeedleStay():
                found[name] = value.opened.event.id
            case DressingStay():
                found[name] = value.put_on.event.id
                found["found"] = value.found.event.id if value.found is not None else None
            case Dwell():
                found[name] = (value.treatment.event.id, *(one.event.id for one in value.checks))
            case _:
                pass
    return found


def changes(*events: dict[str, Any], **parts: Any) -> dict[str, Any]:
    """Return what the last event changed, None for what it ended."""
    step = list(line(*events, **parts).course("single"))[-1]
    before, now = said(step.before), said(step.after)
    return {name: now.get(name) for name in before | now if before.get(name) != now.get(name)}


ACCESS = {
    "needle": "access-1", "dressing": "access-1", "last_check": "access-1", "blood": "access-1",
    "last_blood_return": "access-1", "flow": "access-1", "last_flush": "access-1", "given": "access-1",
}  # fmt: skip
ENDS = {"needle": None, "dressing": None}
FLUSH = dict.fromkeys(["last_blood_return", "last_flush", "last_lock", "blood", "flow", "given", "inside"], "flush-1")
OUT = {"last_removal": "de-access-1", **dict.fromkeys(FLUSH, "de-access-1")}
SEEN = {"last_check": "line-check-1", "last_blood_return": "line-check-1", "blood": "line-check-1"}
LOOKED = {**SEEN, "found": "line-check-1"}
STARTS = event("line use", 30, purpose="infusion", action="started", blood_return_before=None)
DOSE = event("patency treatment", 30)

ARRIVED = "arrival-accessed-1"

ROWS: list[tuple[tuple[dict[str, Any], ...], dict[str, Any]]] = [
    # Openings.
    ((access(),), {**ACCESS, "infusion": "access-1"}),
    ((REST,), {**ACCESS, "last_lock": "access-1", "inside": "access-1"}),
    ((access(dressing={"not_done": "-"}, infusion=None),),
     {name: one for name, one in ACCESS.items() if name != "dressing"}),
    ((access(**BARE, flushes={"not_done": "-"}, infusion=None),),
     dict.fromkeys(("needle", "dressing", "last_check"), "access-1")),
    ((access(punctures=[{"outcome": "port missed"}], needle=None, infusion=None, **BARE, **DRY),), {}),
    ((event("arrival accessed", 0),),
     dict.fromkeys(("needle", "dressing", "found", "last_check", "infusion", "blood", "last_blood_return"), ARRIVED)),
    ((event("arrival accessed", 0, infusion=None, dressing_found=UNKNOWN, dressing=UNKNOWN, **BARE),),
     dict.fromkeys(("needle", "dressing", "last_check"), "arrival-accessed-1")),
    # Closings.
    ((REST, event("de-access", 60)), {**ENDS, **OUT}),
    ((access(), event("de-access", 60, **DRY, **BARE)), {**ENDS, "infusion": None, "last_removal": "de-access-1"}),
    ((REST, DOSE, event("de-access", 60, **DRY, **BARE)), {**ENDS, "dwell": None, "last_removal": "de-access-1"}),
    ((REST, event("needle dislodged", 60, extent="completely out")), {**ENDS, "last_removal": "needle-dislodged-1"}),
    ((REST, event("needle dislodged", 60)), {}),
    ((REST, event("line check", 60, found=["needle out"], **BARE)),
     {**ENDS, "last_removal": "line-check-1", "last_check": "line-check-1"}),
    # Tending.
    ((REST, event("dressing change", 60)), {"dressing": "dressing-change-1", "last_check": "dressing-change-1"}),
    ((REST, event("line check", 30), event("dressing change", 60)),
     {"dressing": "dressing-change-1", "found": None, "last_check": "dressing-change-1"}),
    ((REST, event("dressing change", 60, dressing={"not_done": "-"})), {"last_check": "dressing-change-1"}),
    ((access(dressing={"not_done": "-"}), event("dressing change", 60, dressing={"not_done": "-"})),
     {"dressing": "dressing-change-1", "last_check": "dressing-change-1"}),
    ((REST, event("flush", 60)), FLUSH),
    ((REST, event("flush", 60, **DRY, **BARE)), {"inside": None}),
    ((REST, event("flush", 60, **DRY, **BARE, discard_ml=None, old_lock=None)), {}),
    ((REST, event("flush", 60, flushes=[{"resistance": UNKNOWN}], lock={"not_done": "-"}, **BARE)),
     {"last_flush": "flush-1", "given": "flush-1", "inside": None}),
    ((access(), event("flush", 60)), {**FLUSH, "infusion": None, "infusion_stopped": "flush-1"}),
    ((access(), event("flush", 60, lock={"not_done": "-"})),
     {name: one for name, one in FLUSH.items() if name not in ("last_lock", "inside")}),
    ((REST, DOSE), {"dwell": ("patency-treatment-1",), "inside": "patency-treatment-1"}),
    ((REST, DOSE, event("patency treatment", 60)),
     {"dwell": ("patency-treatment-2",), "inside": "patency-treatment-2"}),
    ((REST, STARTS), {"infusion": "line-use-1", "given": "line-use-1", "inside": None}),
    ((REST, {**STARTS, "purpose": "medication"}), {"infusion": "line-use-1", "given": "line-use-1", "inside": None}),
    ((REST, {**STARTS, "purpose": "power injection"}), {"given": "line-use-1", "inside": None}),
    ((REST, {**STARTS, "action": "given"}), {"given": "line-use-1", "inside": None}),
    ((REST, {**STARTS, "blood_return_before": "present"}),
     {"infusion": "line-use-1", "given": "line-use-1", "inside": None, "blood": "line-use-1",
      "last_blood_return": "line-use-1"}),
    ((access(), {**STARTS, "action": "stopped"}), {"infusion": None, "infusion_stopped": "line-use-1"}),
    ((access(), {**STARTS, "action": "stopped", "purpose": "blood sampling"}), {}),
    # Observing.
    ((REST, event("line check", 60)), LOOKED),
    ((REST, event("line check", 60, dressing_found=None)), SEEN),
    ((REST, event("line check", 60, dressing_found=UNKNOWN, **BARE)), {"last_check": "line-check-1"}),
    ((REST, event("line check", 60, infusion="saline")), {**LOOKED, "infusion": "line-check-1"}),
    ((access(), event("line check", 60, nothing_runs=True)),
     {**LOOKED, "infusion": None, "infusion_stopped": "line-check-1"}),
    ((access(), event("line check", 60, nothing_runs=False)), LOOKED),
    ((REST, event("line check", 60, nothing_runs=True)), LOOKED),
    ((REST, DOSE, event("patency check", 60, **STILL_NONE)),
     {"dwell": ("patency-treatment-1", "patency-check-1"), "blood": "patency-check-1",
      "last_blood_return": "patency-check-1"}),
    ((REST, DOSE, event("patency check", 60)),
     {"dwell": None, "inside": None, "treated": "patency-check-1",
      **dict.fromkeys(("blood", "last_blood_return", "flow", "last_flush", "given"), "patency-check-1")}),
    ((REST, DOSE, event("patency check", 60, withdrawn_ml=None, **DRY)),
     {"dwell": None, "blood": "patency-check-1", "last_blood_return": "patency-check-1"}),
    ((REST, event("patency check", 60, **STILL_NONE)),
     {"blood": "patency-check-1", "last_blood_return": "patency-check-1"}),
    ((REST, event("evaluation", 60)), {}),
    ((REST, event("extravasation care", 60)), {}),
    # Moving.
    ((REST, event("transfer", 60)), {}),
    ((REST, event("port removed", 60)), {**ENDS, "inside": None, "last_removal": "port-removed-1"}),
    ((REST, event("de-access", 30), event("port removed", 60)), {"inside": None}),
    ((REST, event("flushed elsewhere", 60)), {"last_flush": "flushed-elsewhere-1"}),
    ((REST, event("flushed elsewhere", 60, lock={"drug": "heparin"})),
     {"last_flush": "flushed-elsewhere-1", "last_lock": "flushed-elsewhere-1", "inside": "flushed-elsewhere-1"}),
    ((REST, event("patient facts", 60, weight_kg=60)), {}),
]  # fmt: skip


UNSEEN = ("flush", "patency treatment", "extravasation care", "needle dislodged", "de-access")
"""Kinds that are a look at the line only where the site was charted."""


@pytest.mark.parametrize(("events", "found"), ROWS, ids=[f"{n} {row[0][-1]['kind']}" for n, row in enumerate(ROWS)])
def test_what_an_event_changes(events: Any, found: dict[str, Any]) -> None:
    *before, last = events
    if last["kind"] in UNSEEN:
        seen = changes(*before, last)
        assert seen == {**found, **({"last_check": seen["last_check"]} if "needle" not in found else {})}
        last = {**last, "site": None}
    assert changes(*before, last) == found


def test_a_port_that_is_implanted_here_was_not_in_before() -> None:
    early: dict[str, Any] = {"stay": {"admitted_at": after(-DAY)}, "port": {"implanted_on": None}}
    made = line(event("port implanted", -60), REST, event("port removed", 60), event("port implanted", 90), **early)
    at = [made.state_at("single", AT + timedelta(minutes=one)).port_in for one in (-61, -60, 59, 60, 89, 90)]
    assert at == [False, True, True, False, False, True]
    assert line(event("port removed", 60)).state_at("single", AT).port_in
    assert line(REST).state_at("single", AT - timedelta(days=1)).port_in


def test_stays_and_what_ended_them() -> None:
    made = line(REST, event("access", 60, **LOCKED), event("dressing change", 90), event("de-access", 120),
                event("access", 150))  # fmt: skip
    needles = [(one.opened.event.id, one.closed.event.id if one.closed else None) for one in made.needles["single"]]
    assert needles == [("access-1", "access-2"), ("access-2", "de-access-1"), ("access-3", None)]
    dressings = [(one.put_on.event.id, one.ended.event.id if one.ended else None) for one in made.dressings["single"]]
    assert dressings == [
        ("access-1", "access-2"), ("access-2", "dressing-change-1"), ("dressing-change-1", "de-access-1"),
        ("access-3", None),
    ]  # fmt: skip
    assert made.needles["single"][0].needle is not None and made.needles["single"][0].until == AT + timedelta(hours=1)
    assert made.now("single").needle == made.needles["single"][-1]
    arrived = line(event("arrival accessed", 0, needle={"gauge": UNKNOWN}, inserted_at="2031-04-01")).now("single")
    assert arrived.needle is not None and arrived.needle.since == datetime.fromisoformat("2031-04-01T00:00-05:00")


@pytest.mark.parametrize("ends", ["de-access", "access", "port removed", "patency treatment", "patency check", None])
def test_a_dwell_and_what_ended_it(ends: str | None) -> None:
    look = event("patency check", 60, **STILL_NONE)
    made = line(REST, DOSE, look, *([event(ends, 90)] if ends else []), event("line check", 120))
    first = made.dwells["single"][0]
    assert [one.event.id for one in first.checks][:1] == ["patency-check-1"]
    assert (first.ended.event.kind if first.ended else None) == ends
    assert len(made.dwells["single"]) == (2 if ends == "patency treatment" else 1)


def test_what_counts_as_never_entered() -> None:
    def of(**facts: Any) -> bool:
        (made,) = episode_of(access(**facts)).events
        return never_entered(made)

    missed = {"outcome": "port missed"}
    assert of(punctures=[missed], needle=None) and of(punctures=[missed, missed], needle=None)
    assert not of(punctures=[missed, {"outcome": "no blood return"}], needle=None)
    assert not of(punctures=[missed]) and not of(needle=None) and not of(punctures=[], needle=None)


# -- which septum, and when --


def test_events_of_a_port_with_two_septa() -> None:
    port = {"port": {"septa": ["medial", "lateral"]}}
    made = line(access(septum="medial"), event("line check", 60), event("transfer", 90), **port)
    assert [len(list(made.course(one))) for one in ("medial", "lateral")] == [3, 1]
    assert [step.septum for step in made.steps] == ["medial", "medial", None]
    swollen = event("line check", 60, septum="lateral", site={"swelling": "present"}, **BARE)
    both = line(access(septum="medial"), swollen, **port)
    assert [[one.reason for one in both.now(each).holds] for each in ("medial", "lateral")] == [["swelling"]] * 2
    dry = line(access(septum="medial"), event("line check", 60, septum="lateral", **NONE), **port)
    assert [bool(dry.now(each).holds) for each in ("medial", "lateral")] == [False, True]
    unsaid = line(access(septum="medial"), event("line check", 60, **NONE), **port)
    assert [bool(unsaid.now(each).holds) for each in ("medial", "lateral")] == [True, True], "which is not said"
    assert [septum for septum in made.needles if made.needles[septum]] == ["medial"]


def test_limits_of_use_stand_until_they_are_lifted() -> None:
    dry = access(**NONE, **LOCKED)

    def limits(*events: dict[str, Any]) -> list[tuple[str, str]]:
        return [(one.what, one.began.event.id) for one in line(dry, *events).now("single").limits]

    first = event("evaluation", 30, decision="cleared with limits", limits=["no vesicant"])
    more = event("evaluation", 60, decision="cleared with limits", limits=["no power injection", "no vesicant"])
    lifts = event("evaluation", 90, lifts=["no vesicant"])
    nurse = {"name": "Ines Corwin", "credential": "RN"}
    assert limits(first) == [("no vesicant", "evaluation-1")]
    assert limits(first, more) == [("no vesicant", "evaluation-1"), ("no power injection", "evaluation-2")]
    assert limits(first, more, lifts) == [("no power injection", "evaluation-2")]
    assert limits({**first, "cleared_by": nurse}) == [] == limits({**first, "decision": "remains on hold"})
    assert limits(first, {**lifts, "cleared_by": nurse}) == limits(first)
    assert limits(first, {**lifts, "decision": "remains on hold"}) == limits(first)
    assert limits(first, event("de-access", 60), event("access", 90)) == limits(first)


def test_states_at_their_moments() -> None:
    made = line(REST, event("de-access", 60))
    at = [made.state_at("single", AT + timedelta(minutes=one)).needle is not None for one in (-1, 0, 59, 60)]
    assert at == [False, True, True, False]
    assert [entry.event.id for entry in made.entries] == ["access-1", "de-access-1"]
    assert made.entry("access-1") is made.entries[0] and made.entry("nobody") is None
    gone = event("retraction", 90, of="de-access-1", reason="another patient")
    withdrawn = line(REST, event("de-access", 60), gone)
    assert withdrawn.entry("de-access-1") is withdrawn.retracted[0] and withdrawn.now("single").needle is not None


def test_where_the_patient_is() -> None:
    made = line(REST, event("transfer", 60, to_room="9"), event("discharge", 120))
    at = [made.unit_at(AT + timedelta(minutes=one)) for one in (0, 59, 60, 119, 120)]
    assert [one.unit if one else None for one in at] == ["Ward Plover"] * 2 + ["Ward Curlew"] * 2 + [None]
    second = at[2]
    assert second is not None and (second.room, second.setting) == ("9", "inpatient")
    assert second.entry is not None and second.entry.event.id == "transfer-1" and second.until == at_(120)
    admitted = line(REST).unit_at(datetime.fromisoformat("2031-03-31T23:59-05:00"))
    assert admitted is None, "not admitted yet"
    unknown = line(REST, stay={"admitted_at": None}).unit_at(AT - timedelta(days=9))
    assert unknown is not None and unknown.unit == "Ward Plover"


def at_(minutes: int) -> datetime:
    return AT + timedelta(minutes=minutes)
