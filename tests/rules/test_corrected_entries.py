"""Entries as they are read after corrections, and facts of patient and port as they become known, fact by fact."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any

import pytest
from rule_cases import episode_of, rules_found
from scenes import AT, access, after, event

from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line.corrections import corrected
from lda_notes.line.known import Known, carried, changed, handed_on
from lda_notes.line.timeline import Timeline, build
from lda_notes.record.merging import lays_over, merge

HIT = "heparin-induced thrombocytopenia"
DAY = 24 * 60


def read(*events: dict[str, Any]) -> tuple[list[str], list[str], list[str], list[str]]:
    """Return the identifiers of what stands, of what was withdrawn, of the corrections, and the faults."""
    standing, gone, changes, faults = corrected(episode_of(*events))
    named = ([entry.event.id for entry in entries] for entries in (standing, gone, changes))
    return (*named, [fault.rule for fault in faults])  # type: ignore[return-value]  # the generator gives three lists


def said(name: str, *events: dict[str, Any]) -> Any:
    (entry,) = corrected(episode_of(*events))[0]
    return getattr(entry.event, name)


def amend(at: int, of: str = "access-1", **sets: Any) -> dict[str, Any]:
    return event("amendment", at, of=of, reason="a slip", sets=sets)


def add(at: int, of: str = "access-1", **adds: Any) -> dict[str, Any]:
    return event("addendum", at, of=of, reason="left out", text="more", adds=adds)


def withdraw(at: int, of: str) -> dict[str, Any]:
    return event("retraction", at, of=of, reason="another patient")


# -- corrections --


def test_corrections_are_applied_in_order_of_time() -> None:
    assert said("pain", access(), amend(60, pain=4), amend(30, pain=7)) == 4
    assert said("pain", access(pain=None), add(60, pain=4)) == 4
    assert said("needle", access(), amend(60, needle={"gauge": 22})).gauge == 22
    assert said("needle", access(), amend(60, needle={"gauge": 22})).length_mm == Decimal(19)
    assert said("pain", access(), amend(60, of="nobody", pain=4)) == 1
    assert said("pain", access(), event("co-signature", 60, of="access-1")) == 1


def test_a_correction_that_was_withdrawn_corrects_nothing() -> None:
    assert said("pain", access(), amend(60, pain=4), withdraw(90, "amendment-1")) == 1
    assert said("pain", access(pain=None), add(60, pain=4), withdraw(90, "addendum-1")) is None
    both = (access(), amend(60, pain=4), amend(70, pain=6), withdraw(90, "amendment-2"))
    assert said("pain", *both) == 4


def test_a_withdrawn_entry_keeps_its_corrections_and_a_withdrawal_is_not_withdrawn() -> None:
    entries = (access(), amend(60, pain=4), withdraw(90, "access-1"), withdraw(95, "retraction-1"))
    assert read(*entries) == ([], ["access-1"], ["amendment-1", "retraction-1", "retraction-2"], [])
    (gone,) = corrected(episode_of(*entries))[1]
    assert gone.retraction is not None and gone.retraction.id == "retraction-1"
    assert [one.id for one in gone.corrections] == ["amendment-1", "retraction-1"]
    assert (getattr(gone.event, "pain", None), getattr(gone.original, "pain", None)) == (4, 1)
    later = (access(), withdraw(60, "access-1"), amend(90, pain=4))
    assert getattr(corrected(episode_of(*later))[1][0].event, "pain", None) == 4


def test_a_corrected_time_moves_the_entry() -> None:
    entries = (access(), event("line check", 30), {**amend(60, of="line-check-1"), "sets": {"at": after(-30)}})
    assert read(*entries)[0] == ["line-check-1", "access-1"]


@pytest.mark.parametrize(
    ("sets", "rule", "place"),
    [
        ({"id": "other"}, "correction-target", "id"),
        ({"kind": "flush"}, "correction-target", "kind"),
        ({"pain": 40}, "correction-unreadable", "pain"),
        ({"nonsense": 1}, "correction-unreadable", "nonsense"),
    ],
)
def test_a_correction_that_cannot_be_applied_is_a_fault_and_leaves_the_entry(sets: Any, rule: str, place: str) -> None:
    for change, key in ((amend(60, **sets), "sets"), (add(60, **sets), "adds")):
        standing, _, _, faults = corrected(episode_of(access(), change))
        assert standing[0].event is standing[0].original
        assert [fault.rule for fault in faults] == [rule] and dict(standing[0].origins) == {}
        assert faults[0].path[:3] == ("events", 1, key) and faults[0].path[3] == place
        assert faults[0].severity == "wrong" and faults[0].event == change["kind"] + "-1"


def test_a_fact_is_where_the_correction_gave_it() -> None:
    (entry,) = corrected(episode_of(access(), amend(60, pain=4), add(70, response="not tolerated")))[0]
    assert entry.path("pain") == ("events", 1, "sets", "pain")
    assert entry.path("response") == ("events", 2, "adds", "response")
    assert entry.path("needle", "gauge") == ("events", 0, "needle", "gauge") and entry.path() == ("events", 0)


def test_entries_of_one_minute_go_by_kind_looks_as_charted() -> None:
    every = (event("port removed", 0), event("flush", 0), event("line check", 0), access())
    assert read(*every)[0] == ["line-check-1", "access-1", "flush-1", "port-removed-1"]
    first, second = (event("line check", 0, id=name, charted_at=after(at)) for name, at in (("b", 10), ("a", 20)))
    assert read(second, first)[0] == ["b", "a"]
    same = [event("line check", 0, id=name, charted_at=after(10)) for name in ("b", "a")]
    assert read(*same)[0] == ["a", "b"]
    judged = event("evaluation", 0, charted_at=after(15))
    assert read(judged, second, first)[0] == ["b", "evaluation-1", "a"]
    flushes = [event("flush", 0, id=name, charted_at=after(at)) for name, at in (("b", 10), ("a", 20))]
    assert read(*flushes)[0] == ["a", "b"], "an act has no order of charting"
    unsaid = event("line check", 0, id="c", charted_at=None)
    assert read(event("flush", 0), unsaid, access())[0][0] == "c"


# -- laying one over the other --


@pytest.mark.parametrize("reason", ["not_assessed", "not_done"])
def test_a_reason_why_not_replaces_and_is_replaced_whole(reason: str) -> None:
    why: dict[str, Any] = {reason: "asleep"}
    part: dict[str, Any] = {"gauge": 20}
    assert not lays_over(why, part) and not lays_over(part, why)
    assert lays_over(why, {reason: "gone"}) and lays_over(part, {"length_mm": 19})
    assert not lays_over(part, [1]) and not lays_over([1], part) and not lays_over(None, part)
    assert merge(why, part) == part and merge(part, why) == why
    assert merge(part, {"length_mm": 19}) == {"gauge": 20, "length_mm": 19}
    assert merge({"needle": part}, {"needle": {"gauge": 22}, "pain": 1}) == {"needle": {"gauge": 22}, "pain": 1}


# -- rules of corrections --


def test_what_the_rules_say_of_corrections() -> None:
    def rules(*events: dict[str, Any]) -> set[str]:
        found = rules_found(access(), *events)
        return {one for one in found if one.startswith(("correction", "addendum", "amendment-changes", "retracted"))}

    assert rules(amend(60, of="nobody", pain=4)) == {"correction-of-unknown-event"}
    assert rules(amend(60, of="amendment-1", pain=4)) == {"correction-of-unknown-event"}
    assert rules(amend(60, pain=4), amend(70, of="amendment-1", reason="x")) == {"correction-of-a-correction"}
    assert rules(amend(60, pain=4), withdraw(70, "amendment-1")) == set()
    assert rules(withdraw(60, "access-1"), withdraw(70, "retraction-1")) == {"correction-of-a-correction"}
    assert rules(withdraw(60, "access-1"), withdraw(70, "access-1")) == {"retracted-twice"}
    assert rules(withdraw(60, "access-1"), amend(70, pain=4)) == {"correction-of-retracted-event"}
    assert rules(amend(60, pain=4), withdraw(70, "access-1")) == set()
    assert rules(amend(19, pain=4)) == {"correction-before-entry"} and rules(amend(20, pain=4)) == set()
    assert rules(amend(60, pain=1)) == {"amendment-changes-nothing"}
    assert rules(amend(60, pain=4), amend(70, pain=4)) == {"amendment-changes-nothing"}
    assert rules(amend(60, needle={"gauge": 20})) == {"amendment-changes-nothing"}
    assert rules(amend(60, supplies=[])) <= {"amendment-changes-nothing"}
    assert rules(add(60, pain=4)) == {"addendum-changes-fact"} and rules(add(60, pain=1)) == set()
    assert rules(add(60, needle={"lot": "L1"})) == set() and rules(add(60, needle={"gauge": 22})) != set()
    assert rules(add(60, needle={"lot": "L1"}), add(70, needle={"lot": "L2"})) == {"addendum-changes-fact"}
    assert rules(amend(60, pain=40)) == {"correction-unreadable"}


# -- what is known --


def line(*events: dict[str, Any], **parts: Any) -> Timeline:
    return build(episode_of(access(), *events, **parts), DEFAULT, datetime.fromisoformat(after(DAY)))


def test_each_fact_of_the_port_is_known_from_its_event_and_the_others_stay() -> None:
    tip = {"location": "right atrium", "method": "ultrasound"}
    given = {"power": {"rated": False}, "catheter_volume_ml": "1.2", "valved": True, "arm_history": ["lymphedema"]}
    facts: dict[str, Any] = {**given, "tip": tip}
    for name, value in facts.items():
        made = line(event("port facts", 60, **{name: value}))
        old, new = made.port_at(AT), made.now("single") and made.port_at(made.asof)
        different = {one for one in type(old).model_fields if getattr(old, one) != getattr(new, one)}
        assert different == {name} & set(type(old).model_fields), name
    known = Known(None, line().episode.patient, line().episode.port)
    (nothing,) = episode_of(event("port facts", 0)).events
    assert changed(known, nothing) is known
    (look,) = episode_of(event("line check", 0)).events
    assert changed(known, look) is known


def test_a_tip_at_implantation_is_known_where_none_was() -> None:
    placed = event("port implanted", -60, tip_location="right atrium", tip_method="ultrasound")
    before = {"port": {"tip": None, "implanted_on": None}, "stay": {"admitted_at": after(-DAY)}}
    found = line(placed, **before)
    tip = found.port_at(AT).tip
    assert tip is not None and (tip.location, tip.method) == ("right atrium", "ultrasound")
    assert found.port_at(datetime.fromisoformat(after(-61))).tip is None
    kept = line(placed, stay={"admitted_at": after(-DAY)}).port_at(AT).tip
    assert kept is not None and kept.location == "cavoatrial junction"
    assert line(event("port implanted", -60, tip_location=None), **before).port_at(AT).tip is None


def test_each_fact_of_the_patient() -> None:
    latex, iodine = {"substance": "latex", "reaction": "hives"}, {"substance": "iodine"}
    at_first = {"patient": {"allergies": [latex], "history": ["cold intolerance"]}}

    def after_facts(**facts: Any) -> Any:
        made = line(event("patient facts", 60, **facts), **at_first)
        assert made.patient_at(AT) == made.episode.patient
        return made.patient_at(made.asof)

    def names(patient: Any) -> list[str]:
        return [one.substance for one in patient.allergies or ()]

    plain = line(**at_first).episode.patient
    assert after_facts(weight_kg=64) == plain.model_copy(update={"weight_kg": Decimal(64)})
    assert names(after_facts(allergies=[iodine])) == ["latex", "iodine"]
    worse = after_facts(allergies=[{**latex, "reaction": "anaphylaxis"}])
    assert [(one.substance, one.reaction) for one in worse.allergies] == [("latex", "anaphylaxis")]
    assert names(after_facts(allergies_withdrawn=[{"substance": "latex"}])) == []
    assert names(after_facts(allergies_withdrawn=[{"substance": "iodine"}])) == ["latex"]
    assert names(after_facts(allergies=[iodine], allergies_withdrawn=[{"substance": "latex"}])) == ["iodine"]
    assert after_facts(history=[{"condition": HIT}]).conditions == ("cold intolerance", HIT)
    assert after_facts(history=[{"condition": "cold intolerance"}]).conditions == ("cold intolerance",)
    for name in ("room", "carer"):
        if name in type(plain).model_fields:
            assert getattr(after_facts(**{name: "12"}), name) == "12"


def test_a_condition_with_its_day_is_known_from_the_day() -> None:
    found = event("patient facts", 3 * DAY, history=[{"condition": HIT, "found_on": "2031-04-04"}])
    made = line(found, patient={"history": [{"condition": "cold intolerance", "found_on": "2031-04-02"}]})
    midnight = datetime.fromisoformat("2031-04-02T00:00-05:00")

    def known(day: int, minutes: int = 0) -> tuple[str, ...]:
        moment = midnight.replace(day=2 + day)
        return made.patient_at(datetime.fromisoformat(after(minutes, moment))).conditions

    assert [known(0, -1), known(0), known(2, -1)] == [(), ("cold intolerance",), ("cold intolerance",)]
    assert known(4) == ("cold intolerance", HIT), "from the entry on, since nothing was written before"
    assert made.known[0].since is None and made.known[0].patient.conditions == ()


def test_what_an_earlier_stay_hands_on() -> None:
    mine = episode_of(access(), patient={"allergies": None, "birth_date": None}, port={"model": None, "side": "left"})
    other = episode_of(access(), patient={"allergies": [{"substance": "latex"}]}, port={"model": "Finch"})
    got = carried(mine, [other])
    assert (got.port.model, got.port.side) == ("Finch", "left")
    assert (got.patient.birth_date, [one.substance for one in got.patient.allergies or ()]) == (
        date(1970, 2, 3), ["latex"],
    )  # fmt: skip
    none_known = carried(mine, [episode_of(access(), patient={"allergies": []})])
    assert none_known.patient.allergies == (), "asked there, and none"
    unasked = carried(mine, [episode_of(access(), patient={"allergies": None})])
    assert unasked.patient.allergies is None
    kept = carried(episode_of(access()), [episode_of(access(), patient={"allergies": None})])
    assert kept.patient.allergies == ()
    own = Known(None, mine.patient, mine.port)
    since = handed_on(own, AT, other)
    assert since.since == AT and since.episode(mine) is since.episode(mine) and own.episode(mine) is mine
