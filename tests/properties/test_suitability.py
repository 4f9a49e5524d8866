"""Nothing that a worksheet, a to-do, a due time, an offered answer or a note says to do is called unsafe when done."""

from __future__ import annotations

import os
import re
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import made_records as made
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from lda_notes.chart.questions import spelled
from lda_notes.chart.questions.trial import Situation
from lda_notes.check import rule_table
from lda_notes.documents.handoff.line import line_facts
from lda_notes.documents.handoff.view import View
from lda_notes.documents.note import due as note_due
from lda_notes.documents.note.scene import Scene as NoteScene
from lda_notes.documents.wording import Wording
from lda_notes.documents.worksheet.steps import TITLES, cautions
from lda_notes.documents.worksheet.supplies import supplies
from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.knowledge.suitability import ANTISEPTICS, TABLE, Offered
from lda_notes.line import due
from lda_notes.line.timeline import Timeline, build

MANY = settings(
    phases=[Phase.explicit, Phase.generate],
    max_examples=int(os.environ.get("LDA_NOTES_TEST_EXAMPLES", "600")),
    derandomize=True,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)
NOW = made.moment("2026-05-20 09:00")
POLICIES = (
    DEFAULT,
    made.policy(chg_dressing_ages="any"),
    made.policy(chg_dressing_ages="adults", saline_lock_accepted="no"),
    made.policy(hold_ends_with="evaluation or blood return"),
)
ALLERGENS = (
    *("chlorhexidine", "iodine", "isopropyl alcohol", "adhesive", "latex", "heparin", "lidocaine", "prilocaine"),
    *("vapocoolant", "benzyl alcohol", "shellfish"),
)
CONDITIONS = (
    *("heparin-induced thrombocytopenia", "methemoglobinemia", "G6PD deficiency", "cold intolerance"),
    "premature birth",
)
AGES = (5, 10, 20, 29, 40, 59, 62, 100, 330, 364, 366, 800, 3650, 6500, 12000, 30000)

SALINE = {"solution": "0.9% sodium chloride", "volume_ml": 10, "syringe_ml": 10, "resistance": "none"}
HEPARIN_10 = {"drug": "heparin", "units_per_ml": 10, "volume_ml": 3, "preservative": "none"}


@st.composite
def people(draw: st.DrawFn) -> dict[str, Any]:
    days = draw(st.sampled_from(AGES))
    return {
        "born": None if draw(st.integers(0, 9)) == 0 else (date(2026, 5, 20) - timedelta(days=days)).isoformat(),
        "kg": draw(st.sampled_from((None, 0.9, 3, 9.5, 12, 35, 80))),
        "allergies": draw(st.lists(st.sampled_from(ALLERGENS), max_size=4, unique=True)),
        "history": draw(st.lists(st.sampled_from(CONDITIONS), max_size=2, unique=True)),
        "valved": draw(st.sampled_from((None, True, False))),
        "policy": draw(st.integers(0, len(POLICIES) - 1)),
    }


def record(who: dict[str, Any], *events: dict[str, Any]) -> dict[str, Any]:
    data = made.record(*events)
    patient, port = data["patient"], data["port"]
    patient.pop("birth_date")
    if who["born"]:
        patient["birth_date"] = who["born"]
    if who["kg"]:
        patient["weight_kg"] = who["kg"]
    patient["allergies"] = [{"substance": one} for one in who["allergies"]]
    patient["history"] = who["history"]
    if who["valved"] is not None:
        port["valved"] = who["valved"]
    data["record_version"] = 2
    return data


def timeline(data: dict[str, Any], policy: Policy) -> Timeline:
    return build(made.episode(data), policy, NOW)


def view(line: Timeline, policy: Policy) -> View:
    return View(line, policy, Wording(due.zone_of(line), NOW), NOW - timedelta(hours=12), NOW + timedelta(hours=12))


def bad(line: Timeline, policy: Policy, event: str, *families: str) -> list[str]:
    """Return what the check calls unsafe or wrong about an event, or objects to its supplies, in these families."""
    return [
        f"{finding.rule}: {finding.message}"
        for finding in rule_table.check(line, policy)
        if (finding.severity in ("unsafe", "wrong") or finding.rule in OBJECTIONS)
        and finding.event == event
        and rule_table.RULES[finding.rule].family in families
    ]


OBJECTIONS = {row.rule for row in TABLE}
"""What speaks against a supply, as advice too: what needs a prescriber's word is not offered."""
SUPPLY = ("allergies", "supply match", "flush limits")
AGENTS = ("chlorhexidine in alcohol", "aqueous chlorhexidine", "povidone-iodine", "70% isopropyl alcohol")


def told_to_use(texts: list[str]) -> dict[str, list[Any]]:
    """Return what texts say to use: antiseptics, locks, disc, cap, anesthetics."""
    said = [text.lower() for text in texts]
    agents = [agent for agent in AGENTS if any(re.search(rf"(?<!no ){re.escape(agent)}", text) for text in said)]
    strengths = [
        int(found.replace(",", "")) for text in said for found in re.findall(r"heparin[^.;]*?([\d,]+) units", text)
    ]
    numbing = [
        agent
        for words, agent in (
            ("cream of lidocaine and prilocaine", "lidocaine 2.5% with prilocaine 2.5% cream"),
            ("cold spray", "vapocoolant spray"),
        )
        if any(words in text and "no cold" not in text for text in said)
    ]
    return {
        "agents": agents,
        "strengths": strengths,
        "disc": [True for text in said if re.search(r"^chlorhexidine disc$|^the disc ", text)],
        "cap": [True for text in said if text.startswith("a disinfecting cap")],
        "numbing": numbing,
    }


def bad_offers(who: dict[str, Any]) -> list[str]:
    """Return what the check says against what a worksheet or charting offers for an access, once it is done."""
    policy = POLICIES[who["policy"]]
    empty = timeline(record(who), policy)
    shown = view(empty, policy)
    texts = [one.says for one in supplies(shown, "access", "single")]
    line = line_facts(shown, "single")
    texts += [one.says for title in set(TITLES.values()) for one in cautions(shown, "access", title, (), line)]
    told = told_to_use(texts)
    scene = Situation("access", empty.episode, empty, policy, NOW, made.CHICAGO, {}, None)  # type: ignore[arg-type]  # a stand-in of the test
    parts = {name: value for name, value, _ in spelled._dressed(scene)}
    each: dict[str, list[Any]] = {
        "antisepsis": [{"agent": one, "scrub_s": 120, "dry_s": 180, "fully_dry": True} for one in told["agents"]],
        "lock": [{**HEPARIN_10, "units_per_ml": strength} for strength in told["strengths"]],
        "anesthetic": [{"agent": agent} for agent in told["numbing"]],
        "dressing": [{**made.FILM, "chlorhexidine_disc": True}]
        if told["disc"] or parts.get("dressing.chlorhexidine_disc")
        else [],
        "disinfecting_caps": [True] if told["cap"] or parts.get("disinfecting_caps") else [],
    }
    usual = {"lock": {"not_done": "an infusion follows"}, "dressing": made.FILM, "discard_ml": 5, "flushes": [SALINE]}
    done = [  # as few accesses as say everything that was offered, in one record
        made.needle_event(
            NOW + timedelta(hours=turn),
            **{"id": f"done-{turn}", **usual, **{key: some[turn] for key, some in each.items() if turn < len(some)}},
        )
        for turn in range(max(1, *map(len, each.values())))
    ]
    after = timeline(record(who, *done), policy)
    return [found for one in done for found in bad(after, policy, one["id"], *SUPPLY)]


@MANY
@given(people())
def test_what_a_worksheet_or_chart_offers_suits_the_patient(who: dict[str, Any]) -> None:
    assert bad_offers(who) == []


NOBODY: dict[str, Any] = {
    "born": "1980-02-03",
    "kg": 80,
    "allergies": [],
    "history": [],
    "valved": None,
    "policy": 0,
}
NEWBORN = {**NOBODY, "born": "2026-05-10", "kg": 3}
STEPS_ROOM = "lda_notes.documents.worksheet.steps"


@pytest.mark.parametrize(
    ("offer", "gives", "who", "rule"),
    [
        ("locks", (Offered("heparin", Decimal(100)),), {**NOBODY, "history": CONDITIONS[:1]}, "heparin-history"),
        ("locks", (Offered("heparin", Decimal(10)),), {**NOBODY, "allergies": ["heparin"]}, "heparin-allergy"),
        ("locks", (Offered("heparin", Decimal(100)),), NEWBORN, "strong-heparin-infant"),
        ("antiseptics", ANTISEPTICS, NEWBORN, "alcohol-on-newborn-skin"),
        ("antiseptics", ANTISEPTICS, {**NOBODY, "allergies": ["iodine"]}, "iodine-allergy"),
    ],
)
def test_the_property_fails_where_an_offer_ignores_the_patient(
    offer: str, gives: tuple[Any, ...], who: dict[str, Any], rule: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Planted faults: what is offered is broken, and nothing else is."""
    assert bad_offers(who) == []
    monkeypatch.setattr(f"{STEPS_ROOM}.{offer}", lambda *_: gives)
    assert any(found.startswith(rule) for found in bad_offers(who)), bad_offers(who)


STEPS: dict[str, dict[str, Any]] = {
    "access": {"kind": "access"},
    "access none": {"kind": "access", "blood_return": "none", "lock": {"not_done": "on hold"}},
    "access pale": {"kind": "access", "blood_looks": "thin"},
    "coring": {"kind": "access", "needle": {"gauge": 20, "length_mm": 19, "non_coring": False}},
    "heparin": {"kind": "flush", "lock": made.HEPARIN},
    "strong": {"kind": "flush", "lock": {**made.HEPARIN, "units_per_ml": 1000}},
    "ethanol": {"kind": "flush", "lock": {"drug": "70% ethanol", "volume_ml": 2}},
    "aspirated": {"kind": "flush", "old_lock": "aspirated and discarded"},
    "treatment": {"kind": "patency treatment", "drug": "alteplase", "dose_mg": 2, "volume_ml": 2},
    "look none": {"kind": "patency check", "treatment": "x", "blood_return": "none"},
    "look good": {"kind": "patency check", "treatment": "x", "blood_return": "present", "withdrawn_ml": 4},
    "swelling": {"kind": "line check", "site": {"swelling": "present"}},
    "chills": {"kind": "line check", "signs": [{"what": "chills"}]},
    "check": {"kind": "line check", "blood_return": "present", "dressing_found": ["intact"]},
    "damp": {"kind": "line check", "dressing_found": ["damp"]},
    "start": {"kind": "line use", "purpose": "infusion", "action": "started", "blood_return_before": "present"},
    "stop": {"kind": "line use", "purpose": "infusion", "action": "stopped"},
    "cleared": {
        "kind": "evaluation",
        "decision": "cleared for use",
        "ends": ["all"],
        "cleared_by": {"credential": "MD"},
    },
    "out": {"kind": "de-access"},
    "learned": {"kind": "patient facts", "history": [{"condition": "heparin-induced thrombocytopenia"}]},
}
FLUSHED = {"blood_return": "present", "flushes": [SALINE]}
DONE = {
    "flush": {"kind": "flush", "old_lock": None, **FLUSHED},
    "idle flush": {"kind": "access", "needle": made.NEEDLE, "dressing": made.FILM, "discard_ml": 5, **FLUSHED},
    "maintenance flush": {"kind": "access", "needle": made.NEEDLE, "dressing": made.FILM, "discard_ml": 5, **FLUSHED},
}
"""What is done when one of these clocks says that it is due."""
JUDGED = ("hold use", "allergies", "supply match", "thrombolytic limits")


@st.composite
def courses(draw: st.DrawFn) -> list[dict[str, Any]]:
    names = draw(st.lists(st.sampled_from(sorted(STEPS)), min_size=1, max_size=6))
    start = NOW - timedelta(hours=8)
    return [
        made.event(STEPS[name]["kind"], start + timedelta(hours=at), **_facts(name, at))
        for at, name in enumerate(names)
    ]


def _facts(name: str, at: int) -> dict[str, Any]:
    facts = {key: value for key, value in STEPS[name].items() if key != "kind"}
    if STEPS[name]["kind"] == "access":
        usual = {"needle": made.NEEDLE, "dressing": made.FILM, "discard_ml": 5, "lock": made.HEPARIN, **FLUSHED}
        facts = {**usual, **facts}
    return {"id": f"step-{at}", **facts}


@MANY
@given(people(), courses())
def test_what_is_due_may_be_done(who: dict[str, Any], events: list[dict[str, Any]]) -> None:
    policy = POLICIES[who["policy"]]
    line = timeline(record(who, *events), policy)
    shown = view(line, policy)
    facts = line_facts(shown, "single")
    clocks = {action.clock for action in facts.actions if action.clock is not None}
    last = line.steps[-1] if line.steps else None
    if last is not None:
        note = NoteScene(line, policy, due.zone_of(line), last.entry, last)
        clocks |= {row.clock for row in note_due.dues(note)}
        later = line.state_at("single", NOW)
        assert not (later.holds and any("flush" in row.clock for row in note_due.dues(note)))
    for clock in clocks & DONE.keys():
        done = {key: value for key, value in DONE[clock].items() if value is not None and key != "kind"}
        act = made.event(DONE[clock]["kind"], NOW, id="done", **done)
        after = timeline(record(who, *events, act), policy)
        assert bad(after, policy, "done", *JUDGED) == [], clock
