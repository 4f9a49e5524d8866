"""Each row of the table of holds by its sign in words, and each of its conditions with one fact changed at a time.

From the table of line states: what is charted, and the hold after it. A condition on a bound is tried on both sides.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from rule_cases import episode_of, local_policy
from scenes import AT, LOCKED, access, after, event

from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.line import holds
from lda_notes.line.timeline import Timeline, build
from lda_notes.problems import Place
from lda_notes.record.unread import Unread

DAY = 24 * 60
FAR = 30 * DAY
NONE = {"blood_return": "none", "blood_looks": None}
"""No blood return, for any kind that records it."""

REST = access(**LOCKED)
"""An access that proved the line and left it locked."""


def line(*events: dict[str, Any], policy: Policy = DEFAULT, unread: Any = (), **parts: Any) -> Timeline:
    return build(episode_of(*events, **parts), policy, datetime.fromisoformat(after(400 * DAY)), unread)


def held(*events: dict[str, Any], septum: str = "single", **more: Any) -> dict[str, str]:
    """Return the reasons that hold at the end, each with its sign."""
    return {hold.reason: hold.sign for hold in line(*events, **more).now(septum).holds}


def ended(*events: dict[str, Any], **more: Any) -> list[tuple[str, str]]:
    return [(hold.reason, hold.how) for hold in line(*events, **more).holds["single"] if hold.ended is not None]


def look(**facts: Any) -> dict[str, Any]:
    """Return a look long after anything was put in: only what it sees counts."""
    return event("line check", FAR, **{"blood_return": None, "blood_looks": None, **facts})


def seen(what: str, **facts: Any) -> dict[str, Any]:
    return look(signs=[{"what": what, **facts}])


# -- blood and flow --

BLOOD = [
    ({"blood_return": "present"}, {}),
    ({"blood_return": "sluggish"}, {}),
    (NONE, {"no blood return": "no blood return"}),
    ({"blood_return": {"not_assessed": "clamped"}, "blood_looks": None}, {}),
    ({"blood_looks": "thin"}, {"blood return not proven": "aspirate thin, not like whole blood"}),
    ({"blood_looks": "clotted"}, {"blood return not proven": "aspirate clotted, not like whole blood"}),
    ({"flushes": [{"resistance": "some"}]}, {"resistance": "resistance to the flush"}),
    ({"flushes": [{"resistance": "cannot flush"}]}, {"resistance": "cannot be flushed"}),
    ({"flushes": [{"resistance": "none"}]}, {}),
    ({"flushes": [{"resistance": "some"}, {"resistance": "none"}]}, {}),
    ({"flushes": [{"resistance": "none"}, {"resistance": "some"}]}, {"resistance": "resistance to the flush"}),
    ({"flushes": [{"resistance": {"not_assessed": "by pump"}}]}, {}),
]


@pytest.mark.parametrize(("facts", "found"), BLOOD, ids=str)
@pytest.mark.parametrize("kind", ["access", "flush"])
def test_blood_and_flow_of_the_last_aspirate_and_the_last_flush(kind: str, facts: Any, found: Any) -> None:
    assert held(event(kind, 0, **facts)) == found


PUNCTURES = [
    ({"blood_return": None, "blood_looks": None}, "blood return", {}),
    ({"blood_return": None, "blood_looks": None}, "no blood return", {"no blood return": "no blood return"}),
    ({"blood_return": None, "blood_looks": None}, "sluggish blood return", {}),
    ({"blood_return": "present"}, "no blood return", {}),
    ({"flushes": {"not_done": "no blood"}}, "resistance", {"resistance": "resistance to the flush"}),
    ({"flushes": {"not_done": "no blood"}}, "blood return", {}),
    ({"flushes": [{"resistance": "none"}]}, "resistance", {}),
]


@pytest.mark.parametrize(("facts", "outcome", "found"), PUNCTURES, ids=str)
def test_the_last_puncture_speaks_where_the_access_does_not(facts: Any, outcome: str, found: Any) -> None:
    assert held(access(punctures=[{"outcome": "port missed"}, {"outcome": outcome}], **facts)) == found
    assert held(access(punctures=[{"outcome": "no blood return"}, {"outcome": "blood return"}])) == {}


def test_sluggish_return_holds_by_policy_alone() -> None:
    strict = local_policy(sluggish_return_holds="yes")
    sign = {"blood return not proven": "sluggish blood return"}
    for made in (access(blood_return="sluggish", **LOCKED), access(
        blood_return=None, blood_looks=None, punctures=[{"outcome": "sluggish blood return"}], **LOCKED
    )):  # fmt: skip
        assert (held(made), held(made, policy=strict)) == ({}, sign)
    assert held(access(**LOCKED), policy=strict) == {}


def test_blood_before_a_use_counts_as_blood() -> None:
    use = event("line use", 30, blood_return_before="none")
    assert held(REST, use) == {"no blood return": "no blood return"}
    assert held(access(**NONE, **LOCKED), event("line use", 30)) == {"no blood return": "no blood return"}


# -- signs at the site and elsewhere --

NEAR = ("port pocket", "needle site", "connector", None)
SWELLS = [
    ({}, "swelling at the port"),
    ({"where": "port pocket"}, "swelling at the port pocket"),
    ({"where": "needle site"}, "swelling at the needle site"),
    ({"change": "new"}, "new swelling at the port"),
    ({"change": "growing", "where": "port pocket"}, "growing swelling at the port pocket"),
    ({"change": "unchanged"}, None),
    ({"change": "less"}, None),
    ({"where": "arm"}, "swelling of arm"),
    ({"where": "face or neck", "change": "new"}, "new swelling of face or neck"),
    ({"where": "collarbone"}, "swelling at the collarbone"),
    ({"where": "chest wall", "change": "growing"}, "growing swelling at the chest wall"),
    ({"where": "along the catheter"}, "swelling along the catheter"),
    ({"where": "arm", "change": "unchanged"}, None),
    ({"where": "arm", "change": "less"}, None),
]
FAR_AWAY = ("arm", "face or neck", "collarbone", "chest wall", "along the catheter")


@pytest.mark.parametrize(("facts", "sign"), SWELLS, ids=str)
def test_swelling_by_place_and_change_charted_as_a_sign_or_with_the_site(facts: Any, sign: str | None) -> None:
    reason = "swelling of arm, face, neck or chest" if facts.get("where") in FAR_AWAY else "swelling"
    found = {} if sign is None else {reason: sign}
    assert held(REST, seen("swelling", **facts)) == found
    assert held(REST, seen("fluid collection", **facts)) == found
    site = {"swelling": "present", "swelling_change": facts.get("change")}
    if facts.get("where"):
        site["swelling_where"] = [facts["where"]]
    assert held(REST, look(site=site)) == found
    assert held(REST, look(site={**site, "swelling": "none"})) == {}


def test_swelling_at_two_places_holds_for_both() -> None:
    site = {"swelling": "present", "swelling_where": ["port pocket", "arm"]}
    assert held(REST, look(site=site)) == {
        "swelling": "swelling at the port pocket",
        "swelling of arm, face, neck or chest": "swelling of arm",
    }


@pytest.mark.parametrize("during", ["infusion", "flush", "injection"])
def test_swelling_while_something_goes_in_is_of_what_was_given(during: str) -> None:
    said = {"infusion": "an infusion", "flush": "a flush", "injection": "an injection"}[during]
    given = "something given at the site hurt or leaked"
    assert held(REST, seen("swelling", where="port pocket", during=during)) == {
        given: f"swelling at the port pocket during {said}"
    }
    assert held(REST, seen("swelling", where="arm", during=during)) == {
        "swelling of arm, face, neck or chest": "swelling of arm"
    }
    assert held(REST, seen("pain", during=during)) == {given: f"pain during {said}"}
    assert held(REST, seen("leak", where="connector", during=during)) == {}


@pytest.mark.parametrize("during", ["blood sampling", "access"])
def test_a_sign_while_nothing_goes_in_is_none_of_what_was_given(during: str) -> None:
    assert held(REST, seen("pain", where="needle site", during=during)) == {}
    assert held(REST, seen("swelling", during=during)) == {"swelling": "swelling at the port"}


@pytest.mark.parametrize("what", ["pain", "burning", "leak"])
@pytest.mark.parametrize(("minutes", "sign"), [(59, True), (60, True), (61, False)])
def test_a_sign_within_an_hour_of_what_was_put_in(what: str, minutes: int, sign: bool) -> None:
    given = "something given at the site hurt or leaked"
    here = event("line check", minutes, blood_return=None, blood_looks=None, signs=[{"what": what}])
    assert held(REST, here) == ({given: what} if sign else {})
    later = event("line check", 5 * 60, signs=[{"what": what, "began_at": after(minutes), "where": "needle site"}])
    assert held(REST, later) == ({given: f"{what} at the needle site"} if sign else {})
    before = event("line check", 30, signs=[{"what": what, "began_at": after(-1)}])
    assert held(REST, before) == {}


@pytest.mark.parametrize(
    ("use", "held_for"),
    [
        ({"purpose": "medication", "action": "given"}, True),
        ({"purpose": "infusion", "action": "started"}, True),
        ({"purpose": "infusion", "action": "stopped"}, False),
        ({"purpose": "blood sampling", "action": "given"}, False),
    ],
    ids=str,
)
def test_pain_at_the_very_event_that_puts_something_in(use: Any, held_for: bool) -> None:
    hurts = event("line use", FAR, signs=[{"what": "pain"}], **use)
    assert bool(held(REST, hurts)) is held_for
    flushed = event("flush", FAR, signs=[{"what": "pain"}])
    assert bool(held(REST, flushed)) and not held(REST, {**flushed, "flushes": {"not_done": "it hurts"}})
    assert bool(held(access(), seen("pain"))), "an infusion runs"


def test_what_hurts_that_is_no_sign_of_what_was_given() -> None:
    for what in ("shoulder pain", "redness", "crack felt or heard"):
        assert held(access(), seen(what)) == {}


@pytest.mark.parametrize(
    ("site", "found"),
    [
        ({"drainage": "purulent"}, {"pus": "pus"}),
        ({"drainage": "clear"}, {}),
        ({"drainage": "bloody"}, {}),
        ({"erythema": "present", "tenderness": "present"}, {"redness and tenderness": "redness and tenderness"}),
        ({"erythema": "present"}, {}),
        ({"tenderness": "present"}, {}),
        ({"port": "flipped"}, {"port flipped or not felt": "port flipped"}),
        ({"port": "not felt"}, {"port flipped or not felt": "port not felt"}),
        ({"port": "tilted"}, {}),
        ({"skin": "broken"}, {"skin over the port": "skin broken"}),
        ({"skin": "thinned"}, {"skin over the port": "skin thinned"}),
        ({"skin": "port visible"}, {"skin over the port": "port visible through the skin"}),
        ({"skin": "irritated"}, {}),
        ({"incision": "opening"}, {"skin over the port": "incision opening"}),
        ({"incision": "opening", "skin": "broken"}, {"skin over the port": "incision opening"}),
        ({"incision": "healing"}, {}),
        ({"incision": "healed", "skin": "broken"}, {"skin over the port": "skin broken"}),
    ],
    ids=str,
)
def test_the_site_word_by_word(site: Any, found: Any) -> None:
    assert held(REST, look(site=site)) == found


def test_redness_and_tenderness_by_policy() -> None:
    red = look(site={"erythema": "present", "tenderness": "present"})
    assert held(REST, red, policy=local_policy(redness_and_tenderness_holds="no")) == {}


@pytest.mark.parametrize(("hours", "fresh"), [(0, True), (72, True), (73, False)])
def test_soon_after_the_implantation_redness_and_swelling_belong_to_the_wound(hours: int, fresh: bool) -> None:
    stay: dict[str, Any] = {"stay": {"admitted_at": after(-10 * DAY)}, "port": {"implanted_on": None}}

    def of_new(**facts: Any) -> dict[str, str]:
        seen_ = event("line check", hours * 60, **{"blood_return": None, **facts})
        return held(event("port implanted", 0), seen_, **stay)

    assert (of_new(site={"erythema": "present", "tenderness": "present"}) == {}) is fresh
    for change, grows in ((None, False), ("new", False), ("growing", True)):
        assert ("swelling" in of_new(site={"swelling": "present", "swelling_change": change})) is (grows or not fresh)
    assert bool(of_new(signs=[{"what": "fever"}])) is fresh
    assert of_new(signs=[{"what": "chills"}]) == {}


def test_what_is_soon_after_an_implantation() -> None:
    found = [holds.is_fresh(AT + timedelta(minutes=at), AT, DEFAULT) for at in (-1, 0, 72 * 60, 72 * 60 + 1)]
    assert found == [False, True, True, False] and not holds.is_fresh(AT, None, DEFAULT)


# -- fever, breath, an open line --

FEVER = "fever or chills after a flush or start"


@pytest.mark.parametrize("what", ["fever", "chills", "shaking"])
def test_fever_or_chills_within_hours_of_a_flush_or_a_start(what: str) -> None:
    def sign(minutes: int, began: int | None = None, *between: dict[str, Any], **facts: Any) -> str | None:
        said = {"what": what, **facts, **({} if began is None else {"began_at": after(began)})}
        found = held(REST, *between, event("line check", minutes, blood_return=None, signs=[said]))
        assert set(found) <= {FEVER}
        return found.get(FEVER)

    assert sign(1, 0) == f"{what} 0 minutes after the flush"
    assert sign(1) == f"{what} 1 minute after the flush"
    assert sign(2) == f"{what} 2 minutes after the flush"
    assert sign(119) == f"{what} 119 minutes after the flush"
    assert sign(120) == f"{what} 2 hours after the flush"
    assert sign(240) == f"{what} 4 hours after the flush"
    assert sign(241) is None
    assert sign(300, 240) == f"{what} 4 hours after the flush"
    assert sign(300, -1) is None, "it began before the flush"
    given = event("line use", 60, purpose="medication", action="given")
    assert sign(90, None, given) == f"{what} 30 minutes after the medication"
    started = event("line use", 60, purpose="infusion", action="started")
    assert sign(90, None, started) == f"{what} 30 minutes after the start of the infusion"
    running = sign(600, None, started)
    assert running == (None if what == "fever" else f"{what} while an infusion runs")
    for during, words in (("infusion", "an infusion"), ("flush", "a flush"), ("injection", "an injection")):
        assert sign(600, None, during=during) == f"{what} during {words}"
    for during in ("access", "blood sampling"):
        assert sign(600, None, during=during) is None


def test_a_fever_is_told_with_its_degrees() -> None:
    hot = {"what": "fever", "temperature_c": 38.6}
    assert held(REST, event("line check", 30, signs=[hot]))[FEVER] == "fever of 38.6 °C 30 minutes after the flush"
    chills = {"what": "chills", "temperature_c": 38.6}
    assert held(REST, event("line check", 30, signs=[chills]))[FEVER] == "chills 30 minutes after the flush"


OPEN = "breathlessness, chest pain or open line"


@pytest.mark.parametrize(
    ("facts", "found"),
    [
        ({"signs": [{"what": "breathlessness"}]}, {OPEN: "breathlessness"}),
        ({"signs": [{"what": "chest pain"}]}, {OPEN: "chest pain"}),
        ({"signs": [{"what": "line found open"}]}, {OPEN: "line found open"}),
        ({"signs": [{"what": "shoulder pain"}]}, {}),
        ({"signs": [{"what": "pus"}]}, {"pus": "pus"}),
        ({"signs": [{"what": "catheter parted"}]}, {"catheter parted": "catheter parted"}),
        ({"signs": [{"what": "crack felt or heard"}]}, {}),
        (
            {"signs": [{"what": "resistance changes with posture"}]},
            {"resistance that changes with posture": "resistance changes with posture"},
        ),
        ({"found": ["connector off"]}, {OPEN: "line found open: connector off"}),
        ({"found": ["tubing parted"]}, {OPEN: "line found open: tubing parted"}),
        ({"found": ["tubing parted", "connector off"]}, {OPEN: "line found open: connector off"}),
        ({"found": ["clamp open"]}, {}),
        ({"found": ["infusion pump off"]}, {}),
        ({"found": ["needle partly out"]}, {"needle partly out": "needle partly out"}),
        ({"found": ["needle out"]}, {}),
    ],
    ids=str,
)
def test_what_is_found_at_the_line(facts: Any, found: Any) -> None:
    assert held(REST, look(**facts)) == found


GIVEN = "something given at the site hurt or leaked"
PARTLY = "needle partly out"


@pytest.mark.parametrize(
    ("facts", "while_running", "at_rest"),
    [
        ({"extent": "partly out"}, {PARTLY: PARTLY}, {PARTLY: PARTLY}),
        ({"extent": "completely out", "running": "nothing"}, {}, {}),
        ({"extent": "completely out", "running": None}, {GIVEN: "needle out while something ran"}, {}),
        (
            {"extent": "completely out", "running": "a drug"},
            {GIVEN: "needle out while something ran"},
            {GIVEN: "needle out while something ran"},
        ),
    ],
    ids=str,
)  # fmt: skip
def test_a_needle_that_came_out(facts: Any, while_running: Any, at_rest: Any) -> None:
    out = event("needle dislodged", FAR, **facts)
    assert held(access(), out) == while_running
    assert held(REST, out) == at_rest


def test_a_needle_found_out_at_a_look_while_something_ran() -> None:
    assert held(access(), look(found=["needle out"])) == {GIVEN: "needle out while something ran"}
    assert held(REST, event("extravasation care", FAR)) == {GIVEN: "something was given outside the vein"}


def test_a_needle_partly_out_ends_with_proof_at_a_new_needle_or_an_evaluation_alone() -> None:
    out = (REST, event("needle dislodged", 60, extent="partly out"), event("de-access", 90))
    assert "needle partly out" in held(*out) and held(*out, event("access", 120)) == {}
    assert "needle partly out" in held(*out, event("access", 120, blood_return="sluggish"))


@pytest.mark.parametrize(
    ("facts", "found"),
    [
        ({"needle_intact": True}, {}),
        ({"needle_intact": False}, {"needle not whole": "needle not whole at removal"}),
        (
            {"needle_intact": False, "missing_piece": "the tip"},
            {"needle not whole": 'needle not whole at removal: "the tip"'},
        ),
    ],
    ids=str,
)
def test_a_needle_that_is_not_whole(facts: Any, found: Any) -> None:
    assert held(REST, event("de-access", 60, **facts)) == found


TIP = "tip not confirmed"


@pytest.mark.parametrize(
    ("facts", "found"),
    [
        ({"tip_confirmed": True}, {}),
        ({"tip_confirmed": None}, {}),
        ({"tip_confirmed": False}, {TIP: "tip position not confirmed"}),
    ],
    ids=str,
)
def test_a_tip_that_nobody_confirmed(facts: Any, found: Any) -> None:
    assert held(access(**facts)) == found


@pytest.mark.parametrize("where", ["Azygos vein", "right jugular", "coiled in the subclavian", "right ventricle"])
def test_a_tip_in_the_wrong_place(where: str) -> None:
    wrong = {TIP: f'tip lies wrong: "{where}"'}
    facts = event("port facts", 60, tip={"location": where, "method": "chest radiograph"})
    good = event("port facts", 90, tip={"location": "cavoatrial junction", "method": "chest radiograph"})
    assert held(REST, facts) == wrong and held(REST, facts, good) == {}
    assert ended(REST, facts, good) == [(TIP, "tip confirmed")]
    assert held(REST, good, {**facts, "at": after(120)}) == wrong
    implanted, unsaid = event("port implanted", -60, tip_location=where), access(tip_confirmed=None)
    assert held(implanted, unsaid) == wrong == held(implanted, unsaid, event("port facts", 60, valved=False))
    assert held(implanted, REST) == wrong, "confirmed says that it was looked for, not that it lies right"
    assert held(event("port implanted", -60), unsaid) == {}


# -- ratings --

RATED = "rated limit exceeded"
POWER = {"rated": True, "max_flow_ml_per_s": 5, "max_pressure_psi": 300}


def injected(needle: Any = None, power: Any = POWER, **use: Any) -> str | None:
    made = access(needle=needle or {}, **LOCKED)
    facts = {"purpose": "power injection", "what": "contrast", **use}
    return held(made, event("line use", 30, **facts), port={"power": power}).get(RATED)


def test_ratings_of_port_and_needle_against_what_was_injected() -> None:
    assert injected() is None and injected(flow_ml_per_s=5, pressure_psi=300) is None
    assert injected(power={**POWER, "rated": False}) == "power injection through a port that is not rated for it"
    assert injected({"power_rated": False}) == "power injection through a needle that is not rated for it"
    assert injected({"power_rated": None}) is None and injected(power=None, flow_ml_per_s=9) is None
    assert injected(flow_ml_per_s=5.1) == "5.1 mL per second, above the rated 5"
    assert injected(pressure_psi=301) == "301 psi, above the rated 300"
    needle = {"rated_flow_ml_per_s": 2, "rated_pressure_psi": 250}
    assert injected(needle, flow_ml_per_s=2, pressure_psi=250) is None
    assert injected(needle, flow_ml_per_s=2.1) == "2.1 mL per second, above the rated 2"
    assert injected(needle, pressure_psi=251) == "251 psi, above the rated 250"
    assert injected(needle, None, pressure_psi=251) == "251 psi, above the rated 250"
    assert injected({"rated_flow_ml_per_s": 7}, flow_ml_per_s=6) == "6 mL per second, above the rated 5"
    assert injected(action="stopped", flow_ml_per_s=6) is None
    plain = {"purpose": "infusion", "action": "started"}
    assert injected({"power_rated": False}, {**POWER, "rated": False}, **plain) is None
    assert injected(**plain, flow_ml_per_s=6) == "6 mL per second, above the rated 5"


def test_a_coring_needle_holds_its_septum() -> None:
    assert held(access(needle={"non_coring": False})) == {"coring needle": "coring needle used"}
    assert held(access(needle={"non_coring": None})) == {}


# -- what could not be read --


RESTING = "blood_return blood_return_before blood_looks flushes punctures site signs decision ends found extent"
RESTING += " needle_intact tip_confirmed"
BESIDE = "volume_ml syringe_ml technique lot expires detail temperature_c"


@pytest.mark.parametrize(
    ("fact", "holds_"),
    [
        *(((name,), True) for name in RESTING.split()),
        *((("flushes", 0, name), False) for name in BESIDE.split()),
        (("flushes", 0, "resistance"), True),
        (("site", "swelling"), True),
        (("pain",), False),
        ((), False),
    ],
)
def test_a_fact_on_which_a_hold_rests_that_could_not_be_read(fact: Any, holds_: bool) -> None:
    odd = Unread(("events", 0), Place("case.yaml", 1, 1), "prsent", "access-1", "blood return", fact)
    sign = {"blood return not proven": 'blood return could not be read: "prsent"'}
    assert held(REST, unread=(odd,)) == (sign if holds_ else {})
    if holds_:
        (hold,) = line(REST, unread=(odd,)).now("single").holds
        assert hold.ends_by == ("proof", "evaluation")
        assert held(REST, event("flush", 60), unread=(odd,)) == {}


def test_an_event_of_which_something_could_not_be_read_proves_nothing() -> None:
    odd = Unread(("events", 2), Place("case.yaml", 1, 1), "??", "access-2", "pain", ("pain",))
    events = (access(**NONE, **LOCKED), event("de-access", 60, **NONE), event("access", DAY))
    assert held(*events) == {} and "no blood return" in held(*events, unread=(odd,))
