"""What ends each hold, by whom and by what, and what does not: one condition changed at a time."""

from __future__ import annotations

from typing import Any

import pytest
from rule_cases import episode_of, local_policy
from scenes import AT, LOCKED, access, event
from test_hold_rows import DAY, FAR, NONE, REST, ended, held, line, look

from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import holds, transitions
from lda_notes.line.timeline import Hold
from lda_notes.record.parts import Person

# -- proof --


@pytest.mark.parametrize(("minutes", "proves"), [(59, True), (60, True), (61, False)])
def test_blood_and_a_free_flush_within_an_hour_are_one_proof(minutes: int, proves: bool) -> None:
    dry = {"flushes": None, "lock": None, "infusion": None}
    wet = {"blood_return": None, "blood_looks": None}
    back = (event("de-access", 60, **NONE), event("access", DAY, **dry), event("flush", DAY + minutes, **wet))
    policy = local_policy(hold_ends_with="evaluation or blood return")
    assert held(access(**NONE, **LOCKED), *back, policy=policy) == ({} if proves else {"no blood return": NO})
    other = (event("de-access", 60, **NONE), event("access", DAY, **wet), event("line check", DAY + minutes))
    assert held(access(**NONE, **LOCKED), *other, policy=policy) == ({} if proves else {"no blood return": NO})


NO = "no blood return"
BACK = {
    "whole blood and a free flush": ({}, True),
    "no word on its looks": ({"blood_looks": None}, True),
    "thin": ({"blood_looks": "thin"}, False),
    "by the last puncture": (
        {"blood_return": None, "blood_looks": None, "punctures": [{"outcome": "blood return"}]},
        True,
    ),
    "sluggish": ({"blood_return": "sluggish"}, False),
    "no flush": ({"flushes": {"not_done": "none"}}, False),
    "resistance": ({"flushes": [{"resistance": "some"}]}, False),
    "resistance not felt for": ({"flushes": [{"resistance": None}]}, False),
    "first resistance, then free": ({"flushes": [{"resistance": "some"}, {"resistance": "none"}]}, True),
}


@pytest.mark.parametrize("name", BACK)
def test_what_proves_a_line_at_a_new_access(name: str) -> None:
    facts, proves = BACK[name]
    again = (event("de-access", 60, **NONE), event("access", DAY, **facts))
    assert ("no blood return" not in held(access(**NONE, **LOCKED), *again)) is proves


@pytest.mark.parametrize(("minutes", "how"), [(60, ["proof at a new access"]), (61, [])])
def test_proof_at_a_new_access_is_given_within_the_visit(minutes: int, how: list[str]) -> None:
    again = event("access", DAY, blood_return=None, blood_looks=None, flushes=None, lock=None, infusion=None)
    proof = event("flush", DAY + minutes)
    events = (access(**NONE, **LOCKED), event("de-access", 60, **NONE), again, proof)
    assert [one[1] for one in ended(*events)] == how


def test_a_new_access_proves_nothing_about_what_it_shows_itself_or_what_came_later() -> None:
    # The hold begins at a look after the access: the same needle is no new access.
    began = event("line check", 20, **NONE)
    proof = event("flush", 40)
    assert held(access(**LOCKED), began, proof) == {"no blood return": NO}
    policy = local_policy(hold_ends_with="evaluation or blood return")
    assert ended(access(**LOCKED), began, proof, policy=policy) == [("no blood return", "proof with the same needle")]
    assert ended(access(**NONE, **LOCKED), event("flush", 40), policy=policy) == [
        ("no blood return", "proof with the same needle")
    ]


def test_what_was_seen_with_a_needle_that_came_with_the_patient_is_no_new_access() -> None:
    arrived = event("arrival accessed", 30, infusion=None, blood_return=None, blood_looks=None)
    events = (event("line check", 0, **NONE), arrived, event("flush", 60))
    assert held(*events) == {"no blood return": NO}


TREATED = (access(**NONE, **LOCKED), event("patency treatment", 60))


@pytest.mark.parametrize(
    ("facts", "how"),
    [
        ({}, ["treatment"]),
        ({"withdrawn_ml": None}, []),
        ({"withdrawn_ml": 0}, []),
        ({"blood_return": "sluggish"}, []),
        ({"blood_looks": "thin"}, []),
        ({"blood_looks": None}, ["treatment"]),
    ],
    ids=str,
)
def test_a_thrombolytic_that_worked_ends_the_hold(facts: Any, how: list[str]) -> None:
    assert [one[1] for one in ended(*TREATED, event("patency check", 180, **facts))] == how


@pytest.mark.parametrize(("minutes", "how"), [(60, ["treatment"]), (61, [])])
def test_the_flush_after_the_treatment_belongs_to_it_within_an_hour(minutes: int, how: list[str]) -> None:
    seen_ = event("patency check", 180, flushes=None, lock=None)
    flushed = event("flush", 180 + minutes)
    assert [one[1] for one in ended(*TREATED, seen_, flushed)] == how


def test_a_treatment_before_the_hold_does_not_end_it() -> None:
    events = (*TREATED, event("patency check", 180), event("line check", 190, **NONE), event("flush", 200))
    assert "no blood return" in held(*events)


@pytest.mark.parametrize(
    ("choice", "ends"),
    [
        ("evaluation", ()),
        ("evaluation, new access or treatment", ("new access", "treatment")),
        ("evaluation or blood return", ("proof", "new access", "treatment")),
    ],
)
def test_what_may_end_a_hold_by_policy(choice: str, ends: tuple[str, ...]) -> None:
    policy = local_policy(hold_ends_with=choice)

    def of(made: dict[str, Any]) -> tuple[str, ...]:
        (hold,) = line(made, policy=policy).now("single").holds
        return hold.ends_by

    assert of(access(**NONE, **LOCKED)) == (*ends, "evaluation")
    assert of(access(flushes=[{"resistance": "some"}], **LOCKED)) == (*ends, "evaluation")
    thin = tuple(one for one in ends if one != "treatment")
    assert of(access(blood_looks="thin", **LOCKED)) == (*thin, "evaluation")
    assert of(access(tip_confirmed=False, **LOCKED)) == ("tip confirmed", "evaluation")


OWN_ENDS = {"needle partly out": ("new access", "evaluation"), "tip not confirmed": ("tip confirmed", "evaluation")}


def test_every_other_reason_ends_by_an_evaluation_alone() -> None:
    for row in holds.TABLE:
        by_policy = row.reason in ("no blood return", "blood return not proven", "resistance") and row.shown_by != ()
        assert isinstance(row.ends_by, str) == by_policy, row.reason
        if not by_policy:
            own = OWN_ENDS.get(row.reason, ("evaluation",)) if row.shown_by else ("proof", "evaluation")
            assert row.ends_by == own, row.reason
    assert {"no blood return", "blood return not proven", "resistance"} == holds.PROVABLE


OF_ONE_SEPTUM = {"no blood return", "blood return not proven", "resistance", "needle partly out", "needle not whole"}
OF_ONE_SEPTUM |= {"coring needle"}
OF_PATIENT = {"something given at the site hurt or leaked", "swelling of arm, face, neck or chest", "needle not whole"}
OF_PATIENT |= {"fever or chills after a flush or start", "catheter parted"}


def test_what_reaches_both_septa_and_what_outlives_the_port() -> None:
    for row in holds.TABLE:
        assert row.whole_port is (row.reason not in OF_ONE_SEPTUM), row.reason
        assert row.of_patient is (row.reason in OF_PATIENT), row.reason


# -- no return again, and who may end what --


def test_no_return_after_it_was_restored_asks_for_imaging() -> None:
    restored = (*TREATED, event("patency check", 180))
    again = event("line check", 300, **NONE)
    posture = "resistance that changes with posture"
    found = {"no blood return": NO, posture: "no blood return again after it was restored"}
    assert held(*restored, again) == found
    cleared = event("evaluation", 150, ends=["no blood return"])
    assert held(access(**NONE, **LOCKED), cleared, again) == {"no blood return": NO}
    assert held(access(flushes=[{"resistance": "some"}], **LOCKED), event("patency treatment", 60),
                event("patency check", 180), again) == {"no blood return": NO}  # fmt: skip


ROLES = {
    "MD": True,
    "md": True,
    "Dr., MD": True,
    "MD-PhD": True,
    "RN, VA-BC": True,
    "nurse practitioner": True,
    "physician assistant": True,
    "PA": True,
    "RN": False,
    "LPN": False,
    "MDS nurse": False,
    "student MD": False,
    "medical assistant": False,
    "physician assistant student": False,
    "surgical technician, MD": False,
    "MD trainee": False,
    "aide": False,
    "": False,
}


@pytest.mark.parametrize("credential", ROLES)
def test_whose_role_may_clear(credential: str) -> None:
    swollen = look(site={"swelling": "present"})
    who = {"name": "Osric Fennimore", "credential": credential or None}
    nurse = {"name": "Ines Corwin", "credential": "RN"}
    doctor = {"name": "Osric Fennimore", "credential": "MD"}
    judged = event("evaluation", FAR + 60, cleared_by=who, by=nurse)
    assert (held(REST, swollen, judged) == {}) is ROLES[credential]
    alone = {**judged, "cleared_by": None, "by": who}
    assert (held(REST, swollen, alone) == {}) is ROLES[credential], "who charted it judged, where nobody is named"
    assert (held(REST, swollen, {**judged, "by": doctor}) == {}) is ROLES[credential]


DECISIONS = ("cleared for use", "cleared with limits", "remains on hold", "thrombolytic ordered", "line to be removed")


@pytest.mark.parametrize("decision", [*DECISIONS, "port replaced", None])
def test_only_a_clearance_ends_a_hold(decision: str | None) -> None:
    clears = decision in ("cleared for use", "cleared with limits")
    judged = event("evaluation", FAR + 60, decision=decision)
    assert (held(REST, look(site={"swelling": "present"}), judged) == {}) is clears


TWO = look(site={"swelling": "present", "port": "flipped"})


@pytest.mark.parametrize(
    ("ends", "left"),
    [
        (["all"], []),
        (["swelling"], ["port flipped or not felt"]),
        (["port flipped"], ["swelling"]),  # by its sign
        (["swelling at the port", "port flipped or not felt"], []),
        (["pus"], ["swelling", "port flipped or not felt"]),
        (None, ["swelling", "port flipped or not felt"]),
    ],
)
def test_an_evaluation_ends_what_it_names(ends: list[str] | None, left: list[str]) -> None:
    assert list(held(REST, TWO, event("evaluation", FAR + 60, ends=ends))) == left


@pytest.mark.parametrize(
    ("septum", "ends", "medial", "lateral"),
    [
        ("medial", ["all"], [], ["swelling"]),
        ("medial", ["swelling"], [], ["swelling"]),
        ("medial", None, ["swelling"], ["swelling"]),
        (None, ["all"], [], []),
        (None, ["swelling"], ["swelling"], ["swelling"]),
        (None, None, ["swelling"], ["swelling"]),
        ("third", ["all"], ["swelling"], ["swelling"]),
    ],
    ids=str,
)
def test_an_evaluation_of_two_septa(septum: Any, ends: Any, medial: Any, lateral: Any) -> None:
    swollen = {**look(site={"swelling": "present"}), "septum": "medial"}
    judged = event("evaluation", FAR + 60, septum=septum, ends=ends)
    made = line(access(septum="medial"), swollen, judged, port={"septa": ["medial", "lateral"]})
    found = [[hold.reason for hold in made.now(one).holds] for one in ("medial", "lateral")]
    assert found == [medial, lateral]


def test_the_port_out_ends_every_hold_and_leaves_what_is_the_patients() -> None:
    parted = look(site={"swelling": "present"}, signs=[{"what": "catheter parted"}])
    gone = event("port removed", FAR + 60)
    made = line(REST, parted, gone)
    assert made.now("single").holds == ()
    assert {hold.how for hold in made.holds["single"]} == {"port removed"}
    problems = [danger.what for danger in made.now("single").dangers if danger.code == "P"]
    assert problems == ["catheter parted; a problem of the patient that stays although the port is out"]
    assert held(REST, gone, event("line check", FAR + 90, site={"swelling": "present"})) == {}


def test_a_hold_that_lasts_is_not_begun_twice() -> None:
    made = line(access(**NONE, **LOCKED), event("line check", 60, **NONE))
    assert [hold.began.event.id for hold in made.now("single").holds] == ["access-1"]


# -- in words --


def test_what_may_end_holds_is_what_ends_every_one_of_them() -> None:
    swollen = line(REST, look(site={"swelling": "present"})).now("single").holds
    dry = line(access(**NONE, **LOCKED)).now("single").holds
    evaluation = "an evaluation that clears the line"
    needle = "a new needle with brisk blood return and a free flush"
    assert holds.common_ends_in_words(dry) == (needle, "a thrombolytic that worked", evaluation)
    assert holds.common_ends_in_words((*dry, *swollen)) == (evaluation,)
    proof = "blood that looks like whole blood with a flush that runs free"
    assert holds.ends_in_words(("evaluation", "treatment", "new access", "proof")) == (proof, evaluation)
    assert holds.ends_in_words(("tip confirmed", "evaluation")) == ("a tip position that is confirmed", evaluation)


def test_a_flush_elsewhere_on_the_day_of_the_hold_or_later() -> None:
    made = line(access(**NONE, **LOCKED), *(
        event("flushed elsewhere", 10 * DAY + count, on=on)
        for count, on in enumerate(("2031-04-01", "2031-04-02", "2031-04-03"))
    ))  # fmt: skip
    (hold,) = made.now("single").holds
    elsewhere = [entry.event for entry in made.entries if entry.event.kind == "flushed elsewhere"]
    assert [holds.flushed_on_hold(one, (hold,)) for one in elsewhere] == [None, hold, hold]
    assert holds.flushed_on_hold(made.entries[0].event, (hold,)) is None
    assert holds.flushed_on_hold(elsewhere[2], ()) is None


def test_what_an_event_by_itself_gives_reason_for() -> None:
    def trouble(made: dict[str, Any]) -> tuple[str, ...]:
        return transitions.trouble(episode_of(REST, made).events[1])

    assert trouble(event("line check", 60, **NONE)) == ("no blood return",)
    assert trouble(event("line check", 60)) == ()
    assert trouble(event("line check", 60, site={"erythema": "present", "tenderness": "present"})) == (
        "redness and tenderness",
    )


@pytest.mark.parametrize("who", [None, Person(name="Ines Corwin")])
def test_nobody_named_may_clear_nothing(who: Person | None) -> None:
    judged: Any = episode_of(event("evaluation", 0)).events[0].model_copy(update={"cleared_by": None, "by": who})
    assert not holds.may_clear(judged, DEFAULT)


def test_an_ended_hold_keeps_its_beginning() -> None:
    began, over = (one for one in line(access(**NONE, **LOCKED), event("line check", 30)).entries)
    hold = Hold("single", "no blood return", NO, began, ("evaluation",))
    assert (holds.with_end(hold, over, "evaluation").ended, holds.with_end(hold, over, "evaluation").since) == (
        over,
        AT,
    )
