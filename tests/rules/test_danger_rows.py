"""Each standing danger in its words: what begins it, what changes it, what ends it, one condition changed at a time."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest
from rule_cases import episode_of
from scenes import LOCKED, access, after, event

from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import dangers as table
from lda_notes.line.states import Danger
from lda_notes.line.timeline import Timeline, build
from lda_notes.problems import Place
from lda_notes.record.unread import Unread

DAY = 24 * 60
HIT = {"history": ["heparin-induced thrombocytopenia"]}
REST = access(**LOCKED)
NO_LOCK = {"lock": {"not_done": "left open"}, "infusion": None}
HEPARIN = "heparin in the line of a patient with heparin-induced thrombocytopenia"
DRY: dict[str, Any] = {"flushes": None, "lock": None}
STILL = {"discard_ml": None, "old_lock": None, "discard_method": None}


def line(*events: dict[str, Any], unread: Any = (), **parts: Any) -> Timeline:
    return build(episode_of(*events, **parts), DEFAULT, datetime.fromisoformat(after(400 * DAY)), unread)


def stand(*events: dict[str, Any], code: str = "", **parts: Any) -> list[Danger]:
    return [one for one in line(*events, **parts).now("single").dangers if one.code.startswith(code)]


def said(*events: dict[str, Any], code: str = "", **parts: Any) -> list[str]:
    return [one.what for one in stand(*events, code=code, **parts)]


def codes(*events: dict[str, Any], **parts: Any) -> list[str]:
    return [one.code for one in stand(*events, **parts)]


def locked(drug: str, units: int | None = None, **more: Any) -> dict[str, Any]:
    return access(infusion=None, lock={"drug": drug, "units_per_ml": units, "volume_ml": 5}, **more)


# -- D1 and D3: what is in the lumen --


@pytest.mark.parametrize(
    ("patient", "what"),
    [
        (HIT, HEPARIN),
        (
            {"history": [{"condition": "heparin-induced thrombocytopenia", "found_on": "2031-04-01"}]},
            HEPARIN,
        ),
        ({"allergies": [{"to": "heparin"}]}, "heparin in the line of a patient with an allergy to heparin"),
        ({"allergies": [{"to": "latex"}], "history": ["cold intolerance"]}, None),
    ],
    ids=str,
)
def test_d1_heparin_in_a_patient_who_must_have_none(patient: Any, what: str | None) -> None:
    for drug in ("heparin", "taurolidine with citrate and heparin"):
        assert said(locked(drug, 10), patient=patient, code="D1") == ([what] if what else [])
    for other in ("0.9% sodium chloride", "4% citrate", "taurolidine with citrate"):
        assert said(locked(other), patient=patient, code="D1") == []
    assert said(access(), patient=patient, code="D1") == [], "nothing is locked in"


def test_d1_begins_when_the_condition_is_found_with_the_lock_already_in() -> None:
    found = event("patient facts", 60, history=[{"condition": "heparin-induced thrombocytopenia"}])
    assert said(REST, found, code="D1") == [HEPARIN]
    assert said(REST, event("flush", 30, lock={"drug": "4% citrate", "units_per_ml": None}), found, code="D1") == []
    assert said(REST, event("de-access", 30, **DRY), found, code="D1") == [HEPARIN]


@pytest.mark.parametrize(
    ("drug", "units", "what"),
    [
        ("heparin", 1000, "heparin 1,000 units per mL in the line, a treatment strength"),
        ("heparin", 999, None),
        ("heparin", None, None),
        ("4% citrate", 5000, None),
        ("70% ethanol", None, "70% ethanol in the line"),
        ("taurolidine with citrate", None, "taurolidine with citrate in the line"),
        ("taurolidine with citrate and heparin", 100, "taurolidine with citrate and heparin in the line"),
        ("0.9% sodium chloride", None, None),
    ],
)
def test_d3_a_lock_that_must_not_be_flushed_in(drug: str, units: int | None, what: str | None) -> None:
    assert said(locked(drug, units), code="D3") == ([what] if what else [])


ETHANOL = locked("70% ethanol")
IN, OUT, EXPOSED = "70% ethanol in the line", "", "70% ethanol was flushed in: exposure"
AFTER = [
    # What the next event says, and what stands after it.
    ({"old_lock": "aspirated and discarded"}, OUT),
    ({"old_lock": "flushed in"}, EXPOSED),
    ({"old_lock": "could not be aspirated"}, IN),
    ({"discard_ml": 5, "discard_method": "discarded"}, OUT),
    ({"discard_ml": 5}, OUT),
    ({"discard_ml": 5, "discard_method": "returned"}, EXPOSED),
    ({"discard_ml": 0}, EXPOSED),
    ({"discard_ml": "0.1"}, OUT),
    ({}, EXPOSED),
    ({"flushes": {"not_done": "left"}, "lock": None}, IN),
    ({"flushes": [{"resistance": "cannot flush"}], "lock": None}, IN),
    ({"flushes": [{"resistance": "some"}], "lock": None}, EXPOSED),
]


@pytest.mark.parametrize(("facts", "what"), AFTER, ids=str)
def test_what_was_in_the_line_by_what_is_said_of_it(facts: Any, what: str) -> None:
    plain = {"lock": {"drug": "0.9% sodium chloride", "volume_ml": 5, "units_per_ml": None}}
    found = said(ETHANOL, event("flush", 60, **{**STILL, **plain, **facts}), code="D3")
    assert found == ([what] if what else [])


@pytest.mark.parametrize(
    ("use", "what"),
    [
        ({"purpose": "medication", "action": "given"}, EXPOSED),
        ({"purpose": "infusion", "action": "started"}, EXPOSED),
        ({"purpose": "infusion", "action": "stopped"}, IN),
        ({"purpose": "blood sampling", "action": "given"}, IN),
        ({"purpose": "removal of lock", "action": "given"}, IN),
        ({"purpose": "medication", "action": "given", "old_lock": "could not be aspirated"}, IN),
    ],
    ids=str,
)
def test_a_use_pushes_in_what_was_not_taken_out(use: Any, what: str) -> None:
    made = stand(ETHANOL, event("line use", 60, **use), code="D3")
    assert [one.what for one in made] == [what]
    assert [one.phase for one in made] == ["aspirated" if use["purpose"] == "removal of lock" else
                                            "flushed in" if what == EXPOSED else ""]  # fmt: skip


def test_what_was_taken_out_ends_only_with_a_flush_after_it() -> None:
    out = event("line use", 60, purpose="removal of lock", action="given")
    plain = {"drug": "0.9% sodium chloride", "volume_ml": 5, "units_per_ml": None}
    assert codes(ETHANOL, out, event("flush", 90, lock=plain, **STILL)) == []
    stuck = event("flush", 90, flushes=[{"resistance": "cannot flush"}], lock=None, **STILL)
    assert "D3" in codes(ETHANOL, out, stuck)
    for again in ("70% ethanol", "taurolidine with citrate"):
        after_it = event("flush", 90, lock={**plain, "drug": again}, **STILL)
        assert codes(ETHANOL, out, after_it).count("D3") == 1, "a lock of that kind is in the line again"
    citrate = event("flush", 90, lock={**plain, "drug": "4% citrate"}, **STILL)
    assert "D3" not in codes(ETHANOL, out, citrate)


@pytest.mark.parametrize(
    ("drug", "d1"), [("heparin", 1), ("taurolidine with citrate and heparin", 1), ("70% ethanol", 0), ("4% citrate", 0)]
)
def test_d1_ends_with_any_lock_without_heparin(drug: str, d1: int) -> None:
    lock = {"drug": drug, "volume_ml": 5, "units_per_ml": 10 if "heparin" in drug else None}
    assert codes(REST, event("flush", 60, lock=lock), patient=HIT).count("D1") == d1


PHYSICIAN = {"name": "Osric Fennimore", "credential": "MD"}
NURSE = {"name": "Ines Corwin", "credential": "RN"}


@pytest.mark.parametrize(
    ("decision", "who", "ends"),
    [
        ("cleared for use", PHYSICIAN, True),
        ("cleared with limits", PHYSICIAN, True),
        ("line to be removed", PHYSICIAN, False),  # line states, D1: it is still in the line, and pushed in by a flush
        ("thrombolytic ordered", PHYSICIAN, False),  # what is put in next would push it in
        ("remains on hold", PHYSICIAN, False),
        (None, PHYSICIAN, False),
        ("cleared for use", NURSE, False),
    ],
)
def test_a_decision_of_who_may_give_one_ends_what_nobody_can_aspirate(decision: Any, who: Any, ends: bool) -> None:
    judged = event("evaluation", 60, decision=decision, cleared_by=who)
    stuck = event("flush", 30, **{**STILL, "old_lock": "could not be aspirated"}, flushes=None, lock=None)
    assert ("D3" not in codes(ETHANOL, stuck, judged)) is ends
    assert "D3" in codes(ETHANOL, judged), "nobody tried to aspirate it"
    assert "D3" not in codes(ETHANOL, event("port removed", 60))


TOLD = {
    "what": "ethanol was flushed in",
    "told": PHYSICIAN,
    "told_at": after(70),
    "action": "watched",
    "reply": "watch",
}


@pytest.mark.parametrize(
    ("problem", "ends"),
    [
        ({}, True),
        ({"what": "Ethanol exposure"}, True),
        ({"what": "heparin was flushed in"}, False),
        ({"told": None, "told_at": None}, False),
        ({"told": {"credential": "MD", "name": None}}, False),
        ({"told_at": after(59)}, False),
        ({"told_at": after(60)}, True),
        ({"told_at": None}, True),
    ],
    ids=str,
)
def test_an_exposure_ends_when_somebody_named_is_told_of_it(problem: Any, ends: bool) -> None:
    pushed = event("line use", 60, purpose="medication", action="given")
    told = event("line check", 80, problems=[{**TOLD, **problem}])
    assert ("D3" not in codes(ETHANOL, pushed, told)) is ends
    assert "D3" in codes(ETHANOL, pushed, event("flush", 80)), "an exposure does not end with a flush"
    (exposure,) = stand(ETHANOL, pushed, code="D3")
    assert (exposure.forbids, exposure.exposure and exposure.exposure.drug) == ("", "70% ethanol")
    assert exposure.exposure is not None and exposure.exposure.at.isoformat() == after(60)


def test_an_exposure_names_the_patients_reason_and_leaves_the_next_lock_a_danger() -> None:
    pushed = event("flush", 60, lock={"drug": "heparin", "units_per_ml": 100, "volume_ml": 5}, **STILL)
    what = "heparin was flushed in: exposure of a patient with heparin-induced thrombocytopenia"
    assert sorted(said(REST, pushed, patient=HIT, code="D1")) == sorted([HEPARIN, what])


# -- D2 and D4 --

CORED = access(needle={"non_coring": False}, **LOCKED)


def test_d2_an_ordinary_needle_until_it_is_out() -> None:
    what = ["ordinary (coring) needle in the port"]
    assert said(CORED, code="D2") == what == said(event("arrival accessed", 0, needle={"non_coring": False}), code="D2")
    assert said(access(needle={"non_coring": None}), code="D2") == [] == said(REST, code="D2")
    assert said(CORED, event("line check", 30), code="D2") == what
    assert said(CORED, event("de-access", 30), code="D2") == []
    assert said(CORED, event("access", 30), code="D2") == [], (
        "another needle is in, though nobody charted the first out"
    )
    again = line(CORED, {**CORED, "at": after(30)})
    (one,) = (danger for danger in again.now("single").dangers if danger.code == "D2")
    assert one.began is not None and one.began.event.id == "access-1" and not again.now("single").usable


DOSE = event("patency treatment", 30)


@pytest.mark.parametrize(
    ("next_", "ends"),
    [
        (event("patency check", 60), True),
        (event("patency check", 60, withdrawn_ml=None), False),
        (event("patency check", 60, withdrawn_ml=0), False),
        (event("patency check", 60, withdrawn_ml=0.5), True),
        (event("flush", 60, **STILL), False),
        (event("flush", 60), True),
        (event("patency treatment", 60, old_lock="aspirated and discarded"), False),
        (event("port removed", 60), True),
        (event("evaluation", 60), True),
        (event("evaluation", 60, decision="thrombolytic ordered"), False),
        (event("evaluation", 60, decision="remains on hold"), False),
        (event("evaluation", 60, cleared_by=NURSE), False),
        (event("line check", 60), False),
    ],
    ids=lambda one: str(one)[:90],
)
def test_d4_a_thrombolytic_until_it_is_aspirated_or_the_line_is_judged(next_: Any, ends: bool) -> None:
    assert said(REST, DOSE, code="D4") == ["alteplase in the line"] and said(REST, code="D4") == []
    assert (said(REST, DOSE, next_, code="D4") == []) is ends
    urokinase = event("patency treatment", 30, drug="urokinase")
    assert said(REST, urokinase, code="D4") == ["urokinase in the line"]


# -- D5: a vesicant --

RED = {"purpose": "infusion", "action": "started", "what": "a red drug", "vesicant": True}
STOP = event("line use", 120, **{**RED, "action": "stopped"})


def test_d5_a_vesicant_runs_is_stopped_and_flushed_through_after_proof() -> None:
    start = event("line use", 30, **RED)
    runs = 'vesicant running: "a red drug"'
    stopped = 'vesicant stopped, line not yet flushed through after proof: "a red drug"'
    assert said(REST, start, code="D5") == [runs]
    assert said(REST, start, event("line check", 60), code="D5") == [runs]
    assert said(REST, start, event("flush", 60, lock=None), code="D5") == [runs], "it runs"
    assert said(REST, start, STOP, code="D5") == [stopped]
    assert said(REST, start, STOP, event("line check", 150), code="D5") == [stopped], "a look flushes nothing"
    for odd in ({"blood_return": "none", "blood_looks": None}, {"flushes": {"not_done": "left"}},
                {"flushes": [{"resistance": "some"}]}):  # fmt: skip
        assert said(REST, start, STOP, event("flush", 150, **odd), code="D5") == [stopped]
    assert said(REST, start, STOP, event("flush", 150), code="D5") == []
    assert said(REST, start, event("port removed", 150), code="D5") == []
    assert said(REST, start, STOP, event("port removed", 150), code="D5") == []


@pytest.mark.parametrize(
    ("use", "at", "what"),
    [
        ({}, 60, 'vesicant running: "a red drug"'),
        ({"what": None}, 60, "vesicant running"),
        ({"blood_return_before": None}, 61, 'vesicant running without proof of blood return: "a red drug"'),
        ({"blood_return_before": None}, 60, 'vesicant running: "a red drug"'),
        ({"blood_return_before": "sluggish"}, 30, 'vesicant running without proof of blood return: "a red drug"'),
        (
            {"action": "given"},
            60,
            'vesicant given, line not yet flushed through after proof: "a red drug"',
        ),
        (
            {"action": "given", "blood_return_before": "none"},
            60,
            'vesicant given without proof of blood return, line not yet flushed through after proof: "a red drug"',
        ),
        ({"action": "stopped"}, 60, None),
        ({"vesicant": False}, 60, None),
        ({"vesicant": None}, 60, None),
    ],
    ids=str,
)
def test_d5_in_words(use: Any, at: int, what: str | None) -> None:
    assert said(REST, event("line use", at, **{**RED, **use}), code="D5") == ([what] if what else [])


def test_a_vesicant_given_at_once_is_flushed_through() -> None:
    given = event("line use", 60, **{**RED, "action": "given"})
    assert said(REST, given, event("flush", 90), code="D5") == []


# -- D6: nothing runs, neither flushed nor locked --

OPEN = ["nothing runs, and the line is neither flushed nor locked"]
STOPPED = event("line use", 60, purpose="infusion", action="stopped")
D6 = [
    ((REST,), False),
    ((access(),), False),
    ((access(flushes={"not_done": "left"}, **NO_LOCK),), True),
    ((access(flushes={"not_done": "left"}, infusion=None),), True),
    ((access(**NO_LOCK),), False),
    ((access(flushes={"not_done": "left"}, **LOCKED),), False),
    ((access(flushes={"not_done": "left"}, blood_return="none", blood_looks=None, **NO_LOCK),), False),
    ((access(), STOPPED), True),
    ((REST, event("line use", 60, purpose="medication", action="given")), True),
    ((REST, event("line use", 60, purpose="medication", action="started")), False),
    ((REST, event("line use", 60, purpose="blood sampling", action=None)), True),
    ((REST, event("line use", 60, purpose="power injection", action=None)), False),
    ((access(), STOPPED, event("flush", 70)), False),
    ((access(), STOPPED, event("flush", 70, lock={"not_done": "an infusion follows"})), False),
    ((access(), STOPPED, event("flush", 70, lock=None)), True),
    ((access(), STOPPED, event("flush", 70, flushes={"not_done": "left"})), True),
    ((access(), STOPPED, event("flush", 70, flushes=[{"resistance": "cannot flush"}])), True),
    ((access(), STOPPED, event("line check", 70)), True),
    ((access(), STOPPED, event("line use", 70, purpose="infusion", action="started")), False),
    ((access(), STOPPED, event("line check", 70, infusion="saline")), False),
    ((access(), STOPPED, event("de-access", 70, **DRY)), False),
    ((access(), STOPPED, event("patency treatment", 70)), False),
    ((access(), event("line check", 60, nothing_runs=True)), True),
    ((access(), event("flush", 60)), False),
    ((access(), event("flush", 60, lock=None)), False),
    ((access(), event("transfer", 60)), False),
    ((access(), event("port removed", 60)), False),
    ((access(), event("line use", 60, purpose="infusion", action="stopped", flushes=None)), True),
]


@pytest.mark.parametrize(("events", "open_"), D6, ids=lambda one: str(one)[:150])
def test_d6_nothing_runs_and_the_line_is_left(events: Any, open_: bool) -> None:
    assert said(*events, code="D6") == (OPEN if open_ else [])


# -- D7 and D8: the dressing, and what nobody can date --


@pytest.mark.parametrize(
    ("found", "what"),
    [
        (["intact"], []),
        (["damp"], ["dressing not yet changed, found damp"]),
        (["loose", "soiled"], ["dressing not yet changed, found loose and soiled"]),
        (["intact", "missing"], ["dressing not yet changed, found missing"]),
        ({"not_assessed": "asleep"}, []),
        (None, []),
    ],
)
def test_d7_a_dressing_found_and_left(found: Any, what: list[str]) -> None:
    seen = event("line check", 60, dressing_found=found)
    assert said(REST, seen, code="D7") == what == said(event("arrival accessed", 0, dressing_found=found), code="D7")
    assert said(REST, seen, event("line check", 90, dressing_found=["intact"]), code="D7") == what
    assert said(REST, seen, event("dressing change", 90, dressing_found=["damp"]), code="D7") == []
    assert said(REST, seen, event("de-access", 90), code="D7") == []
    kept = event("dressing change", 90, dressing={"not_done": "no dressing at hand"}, dressing_found=["intact"])
    assert said(REST, seen, kept, code="D7") == what
    assert said(access(dressing={"not_done": "x"}, **LOCKED), seen, code="D7") == []


UNKNOWN = {"not_assessed": "not in the papers"}


@pytest.mark.parametrize(
    ("facts", "what"),
    [
        ({}, []),
        ({"inserted_at": UNKNOWN}, ["needle of unknown age"]),
        ({"dressed_at": UNKNOWN}, ["dressing of unknown age"]),
        ({"inserted_at": UNKNOWN, "dressed_at": UNKNOWN}, ["needle and dressing of unknown age"]),
    ],
    ids=str,
)
def test_d8_what_nobody_can_date(facts: Any, what: list[str]) -> None:
    arrived = event("arrival accessed", 0, **facts)
    assert said(arrived, code="D8") == what
    changed = ["needle of unknown age"] if "inserted_at" in facts else []
    assert said(arrived, event("dressing change", 60), code="D8") == changed
    assert said(arrived, event("de-access", 60), code="D8") == []
    assert said(arrived, event("line check", 60), code="D8") == what
    over = line(arrived, event("de-access", 60)).dangers["single"]
    assert [one.what for one in over if one.code == "D8"] == what, "what it was stays known"


# -- D9: against an allergy, on the skin --


@pytest.mark.parametrize(
    ("allergy", "facts", "what"),
    [
        ({"to": "chlorhexidine"}, {"antisepsis": {"agent": "povidone-iodine"}},
         "chlorhexidine disc, against an allergy to chlorhexidine"),
        ({"to": "iodine"}, {"antisepsis": {"agent": "povidone-iodine"}},
         "povidone-iodine, against an allergy to iodine"),
        ({"to": "iodine"}, {}, None),
        ({"to": "latex"}, {"dressing": {"latex": True}}, "dressing with latex, against an allergy to latex"),
        ({"to": "latex"}, {"dressing": {"latex": False}}, None),
        ({"to": "latex"}, {}, None),
        ({"to": "adhesive", "reaction": "hives"}, {"dressing": {"barrier_film": True}},
         "transparent dressing, against an allergy to adhesive"),
        ({"to": "adhesive", "reaction": "itching"}, {"dressing": {"barrier_film": True}}, None),
        ({"to": "adhesive", "reaction": "itching"}, {}, "transparent dressing, against an allergy to adhesive"),
        ({"to": "adhesive"}, {"dressing": {"barrier_film": True}},
         "transparent dressing, against an allergy to adhesive"),
        ({"to": "chlorhexidine"}, {"antisepsis": {"agent": "povidone-iodine"},
                                   "dressing": {"chlorhexidine_disc": False}}, None),
        ({"to": "chlorhexidine"}, {"antisepsis": {"agent": "povidone-iodine"},
                                   "dressing": {"type": "transparent with chlorhexidine", "chlorhexidine_disc": False}},
         "transparent with chlorhexidine dressing, against an allergy to chlorhexidine"),
    ],
    ids=str,
)  # fmt: skip
def test_d9_what_is_on_the_skin(allergy: Any, facts: Any, what: str | None) -> None:
    patient = {"allergies": [allergy]}
    made = access(**LOCKED, **facts)
    found = [f"on the patient: {what}"] if what else []
    assert said(made, patient=patient, code="D9") == found
    assert said(made, event("line check", 60), patient=patient, code="D9") == found
    assert said(made, event("de-access", 60), patient=patient, code="D9") == []
    withdrawn = {"substance": allergy["to"], "reason": "tested"}
    assert said(made, event("patient facts", 60, allergies_withdrawn=[withdrawn]), patient=patient, code="D9") == []


def test_d9_changes_with_what_is_on_and_goes_with_what_is_taken_off() -> None:
    patient = {"allergies": [{"to": "chlorhexidine"}, {"to": "latex"}]}
    both = access(**LOCKED, dressing={"latex": True}, antisepsis={"agent": "povidone-iodine"})
    disc = "chlorhexidine disc, against an allergy to chlorhexidine"
    latex = "dressing with latex, against an allergy to latex"
    assert said(both, patient=patient, code="D9") == [f"on the patient: {disc}; {latex}"]
    for off, left in ((["disc"], [latex]), (["latex"], [disc]), (["disc", "latex"], [])):
        gone = event("dressing change", 60, dressing={"not_done": "the rest stays on"}, taken_off=off, antisepsis=None)
        for later in ((), (event("line check", 90),)):
            assert said(both, gone, *later, patient=patient, code="D9") == [f"on the patient: {one}" for one in left]


# -- D10: the needle goes home --


@pytest.mark.parametrize(
    ("facts", "what"),
    [
        ({"needle_removal": None}, "who takes it out is not named, when is not named"),
        ({"needle_removal": {"by": NURSE}}, "when is not named"),
        ({"needle_removal": {"at": after(DAY)}}, "who takes it out is not named"),
        ({"needle_removal": {"by": NURSE, "at": after(DAY)}}, None),
        ({"needle_removal": {"by": NURSE, "at": after(DAY)}, "teaching": None}, "no teaching"),
        ({"needle_removal": {"by": NURSE, "at": after(DAY)}, "teaching": {"not_done": "asleep"}}, "no teaching"),
        ({"destination": "died"}, None),
    ],
    ids=str,
)
def test_d10_a_needle_in_at_discharge(facts: Any, what: str | None) -> None:
    left = event("discharge", 120, **{"needle_in": "yes", **facts})
    found = [f"needle in at discharge: {what}"] if what else []
    assert said(REST, left, code="D10") == found
    assert said(REST, {**left, "needle_in": "no"}, code="D10") == found, "the record says that one is in"
    assert said(REST, event("de-access", 60), left, code="D10") == found, "the discharge says that one is in"
    assert said(REST, event("de-access", 60), {**left, "needle_in": "no"}, code="D10") == []
    for later in (event("de-access", 180), event("port removed", 180), event("access", 180),
                  event("needle dislodged", 180, extent="completely out")):  # fmt: skip
        assert said(REST, left, later, code="D10") == []
    for other in (event("line check", 180), event("needle dislodged", 180), event("flush", 180)):
        assert said(REST, left, other, code="D10") == found
    named = {"needle_in": "yes", "needle_removal": {"by": NURSE, "at": after(DAY)}}
    assert said(REST, left, event("discharge", 180, **named), code="D10") == []


# -- D11 and P --


def test_d11_of_an_event_and_of_the_record() -> None:
    place = Place("case.yaml", 1, 1)
    odd = (
        Unread(("events", 0), place, "levl", "access-1", "wings", ("needle_wings",)),
        Unread(("patient",), place, "latx", None, "allergies", ("allergies",)),
    )
    found = line(REST, event("line check", 60), unread=odd)
    assert sorted(one.what for one in found.now("single").dangers) == [
        'allergies could not be read: "latx"',
        'wings could not be read: "levl"',
    ]
    assert {one.code for one in found.now("single").dangers} == {"D11"}
    assert {one.forbids for one in found.now("single").dangers} == {"stating its opposite"}
    given = event("amendment", 90, of="access-1", reason="read again", sets={"needle_wings": "level with the skin"})
    assert [one.what for one in line(REST, given, unread=odd).now("single").dangers] == [
        'allergies could not be read: "latx"'
    ]


def test_what_every_row_forbids() -> None:
    forbids = {
        "D1": "flushing the heparin in", "D2": "any use beyond what must be finished by order",
        "D3": "flushing the lock in", "D4": "any use", "D5": "a vesicant without proof of blood return", "D6": "",
        "D7": "waiting for the due date", "D8": "assuming a date", "D9": "reuse", "D10": "",
    }  # fmt: skip
    assert {row.code: row.forbids for row in table.TABLE} == forbids


def test_an_ended_danger_keeps_what_ended_it() -> None:
    made = line(ETHANOL, event("flush", 60))
    (over,) = (one for one in made.dangers["single"] if one.code == "D3")
    assert over.ended is not None and over.ended.event.id == "flush-1"
    assert over.since is not None and over.since.isoformat() == after(0)


# -- one danger after another of its kind --


def test_a_lock_put_in_where_one_was_aspirated_is_a_danger_of_its_own() -> None:
    again = event("flush", DAY, lock={"drug": "70% ethanol", "units_per_ml": None, "volume_ml": 5})
    (new,) = stand(ETHANOL, again, code="D3")
    assert (new.began and new.began.event.id, new.phase, new.what) == ("flush-1", "", IN)
    assert said(ETHANOL, again, event("flush", 2 * DAY, **STILL), code="D3") == [EXPOSED], "it was pushed in"
    assert said(ETHANOL, again, event("flush", 2 * DAY), code="D3") == []
    out = event("line use", 60, purpose="removal of lock", action="given")
    dry = event("flush", 90, flushes={"not_done": "not yet"}, **{**STILL, "lock": ETHANOL["lock"]})
    assert sorted(one.phase for one in stand(ETHANOL, out, dry, code="D3")) == ["", "aspirated"]
    assert said(ETHANOL, out, dry, event("flush", DAY, **STILL), code="D3") == [EXPOSED]


def test_heparin_after_ethanol_is_no_ethanol_in_the_line() -> None:
    assert said(ETHANOL, event("flush", 60), code="D3") == []


def test_a_vesicant_that_ran_without_proof_is_still_said_to_once_it_is_stopped() -> None:
    start = event("line use", 30, **{**RED, "blood_return_before": "sluggish"})
    assert said(REST, start, code="D5") == ['vesicant running without proof of blood return: "a red drug"']
    assert said(REST, start, STOP, code="D5") == [
        "vesicant that ran without proof of blood return stopped, line not yet flushed through after proof: "
        '"a red drug"'
    ]


def test_a_second_vesicant_is_a_danger_of_its_own() -> None:
    start, other = event("line use", 30, **RED), event("line use", 150, **{**RED, "what": "a blue drug"})
    first = 'vesicant stopped, line not yet flushed through after proof: "a red drug"'
    second = 'vesicant running: "a blue drug"'
    assert said(REST, start, STOP, other, code="D5") == [second, first]
    assert said(REST, start, STOP, other, event("flush", 160, lock=None), code="D5") == [second]
