"""A second look at the states of a line: each with the case that must stay quiet beside the one that must not.

Written from the table of line states, the clinical facts and the FHIR map alone; the program was not read.
"""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml
from bedside import (
    FREE,
    SALINE_LOCK,
    Json,
    access,
    access_none,
    danger,
    dangers,
    evaluation,
    event,
    found,
    holds,
    look,
    look_none,
    moment,
    record,
    run,
    severities,
    sheet,
    sign,
    state,
    t,
    treatment,
)
from in_process import call

from lda_notes.chart.answers.answered import Answered
from lda_notes.chart.terminal import drafts
from lda_notes.chart.terminal.drafts import Draft

HEPARIN_LOCK = {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5, "preservative": "none"}
ETHANOL_LOCK = {"drug": "70% ethanol", "volume_ml": 2, "units_per_ml": None}
HIT = {"history": ["heparin-induced thrombocytopenia"]}
STUCK = {"flushes": [{**FREE, "resistance": "some"}]}


# --- row 28: the tip, by the record of the implantation


def implanted(tip: str, *events: Json) -> Json:
    """Return the record of a port implanted at eight with its tip there; nothing else says where the tip lies."""
    new = event("port implanted", t("08:00"), tip_location=tip, tip_method="chest radiograph")
    return record(new, *events, port={"implanted_on": "2031-04-02", "tip": None})


def test_28_a_tip_in_the_wrong_place_holds_from_its_implantation_on() -> None:
    (hold,) = holds(state(implanted("azygos vein")), "tip")
    assert moment(hold["since"]) == moment(t("08:00"))
    assert hold["event"] == "port-implanted-1"
    later = implanted("azygos vein", access(t("09:00", day=9), tip_confirmed=None))
    assert [moment(one["since"]) for one in holds(state(later), "tip")] == [moment(t("08:00"))], "proof is not its end"
    assert state(later)["usable"] is False
    assert "azygos" in sheet(later)


def test_28_a_tip_where_it_belongs_holds_nothing() -> None:
    for place in ("cavoatrial junction", "superior vena cava, lower third"):
        now = state(implanted(place, access(t("09:00", day=9))))
        assert not holds(now, "tip"), place


def test_28_confirmed_alone_does_not_move_a_tip_that_lies_wrong() -> None:
    routine = access(t("09:00", day=9), tip_confirmed=True)
    assert holds(state(implanted("azygos vein", routine)), "tip")
    moved = event(
        "port facts", t("09:00", day=8), source="radiograph",
        tip={"location": "cavoatrial junction", "method": "chest radiograph"},
    )  # fmt: skip
    assert not holds(state(implanted("azygos vein", moved, routine)), "tip")


def test_28_an_evaluation_ends_what_the_implantation_began() -> None:
    judged = evaluation(t("10:00", day=9), ends=["all"])
    assert not holds(state(implanted("azygos vein", access(t("09:00", day=9)), judged)), "tip")


# --- D1 and D3: a lock put in right after another one was aspirated


def locked_twice(lock: Json, again: Json, *events: Json, patient: Json | None = None) -> Json:
    """Return a line locked at nine, emptied at eleven and locked again in the same visit."""
    second = event("flush", t("11:00"), old_lock="aspirated and discarded", lock=again)
    return record(access(t("09:00"), lock=lock, infusion=None), second, *events, patient=patient or {})


def third(old_lock: str) -> Json:
    return event("flush", t("15:00"), old_lock=old_lock, lock=SALINE_LOCK)


KINDS = [("D1", HEPARIN_LOCK, HIT, "heparin"), ("D3", ETHANOL_LOCK, {}, "ethanol")]


@pytest.mark.parametrize(("code", "lock", "patient", "words"), KINDS, ids=["D1", "D3"])
def test_d1_d3_the_second_lock_is_a_danger_since_it_was_put_in(
    code: str, lock: Json, patient: Json, words: str
) -> None:
    now = state(locked_twice(lock, lock, patient=patient))
    assert moment(danger(now, code)["since"]) == moment(t("11:00"))
    assert words in danger(now, code)["what"].lower()


@pytest.mark.parametrize(("code", "lock", "patient", "words"), KINDS, ids=["D1", "D3"])
@pytest.mark.parametrize("became", ["flushed in", "aspirated and discarded"])
def test_d1_d3_to_flush_the_second_lock_in_is_found_and_to_aspirate_it_is_not(
    code: str, lock: Json, patient: Json, words: str, became: str
) -> None:
    whole = locked_twice(lock, lock, third(became), patient=patient)
    about = found(whole, event="flush-2", words=words)
    assert ("unsafe" in severities(about)) is (became == "flushed in"), about
    in_line = [
        one for one in state(whole)["dangers"] if re.search(f"{words}.{{0,20}} in the line", one["what"].lower())
    ]
    assert not in_line


def test_d3_plain_heparin_after_ethanol_is_not_ethanol_in_the_line() -> None:
    whole = locked_twice(ETHANOL_LOCK, HEPARIN_LOCK)
    assert "D3" not in dangers(state(whole))
    assert "ethanol in the line" not in sheet(whole).lower()
    assert not found(locked_twice(ETHANOL_LOCK, HEPARIN_LOCK, third("flushed in")), event="flush-2", words="ethanol")


def test_d1_heparin_after_ethanol_is_heparin_in_the_line_where_it_may_not_be() -> None:
    assert dangers(state(locked_twice(ETHANOL_LOCK, HEPARIN_LOCK, patient=HIT))) & {"D1", "D3"} == {"D1"}


# --- D1: what a prescriber decides


NOT_OUT = event(
    "flush",
    t("11:00"),
    old_lock="could not be aspirated",
    blood_return="none",
    blood_looks=None,
    flushes={"not_done": "nothing pushed in"},
    lock={"not_done": "nothing pushed in"},
)
HEPARIN_IN = access(t("09:00"), lock=HEPARIN_LOCK, infusion=None)


def test_d1_ends_by_a_decision_where_nothing_can_be_aspirated() -> None:
    assert "D1" in dangers(state(record(HEPARIN_IN, NOT_OUT, patient=HIT)))
    decided = [HEPARIN_IN, NOT_OUT, evaluation(t("13:00"), ends=["all"])]
    assert "D1" not in dangers(state(record(*decided, patient=HIT)))
    assert "D1" not in dangers(state(record(*decided, look(t("15:00")), patient=HIT))), "it does not come back"
    again = event("flush", t("17:00"), lock=HEPARIN_LOCK)
    assert "D1" in dangers(state(record(*decided, again, patient=HIT))), "the next lock was not decided about"


@pytest.mark.parametrize("ends", [["resistance"], None], ids=["named", "not-named"])
def test_d1_does_not_end_when_the_line_is_cleared_for_another_reason(ends: Any) -> None:
    stuck = {**HEPARIN_IN, **STUCK}
    cleared = record(stuck, evaluation(t("13:00"), ends=ends, finding="free flush after repositioning"), patient=HIT)
    assert not holds(state(cleared), "resistance")
    assert "D1" in dangers(state(cleared))


@pytest.mark.parametrize("tried", [True, False])
def test_d3_ends_by_a_decision_only_where_nothing_can_be_aspirated(tried: bool) -> None:
    ethanol = access(t("09:00"), lock=ETHANOL_LOCK, infusion=None, **({} if tried else STUCK))
    whole = record(ethanol, *([NOT_OUT] if tried else []), evaluation(t("13:00"), ends=["all"]))
    assert ("D3" in dangers(state(whole))) is not tried


# --- D5: a second vesicant before the first was flushed through


def drug(action: str, at: str, what: str) -> Json:
    return event("line use", at, purpose="infusion", action=action, what=what, vesicant=True)


FIRST = [access(t("09:00")), drug("started", t("10:00"), "vincristine"), drug("stopped", t("12:00"), "vincristine")]
NEXT = drug("started", t("12:10"), "doxorubicin")
NEXT_STOPPED = drug("stopped", t("14:00"), "doxorubicin")


def d5(*events: Json) -> list[str]:
    return [one["what"].lower() for one in state(record(*FIRST, *events))["dangers"] if one["code"] == "D5"]


def test_d5_the_second_vesicant_is_named() -> None:
    assert not re.search("doxorubicin", " ".join(d5()))
    assert re.search("doxorubicin", " ".join(d5(NEXT)))


@pytest.mark.parametrize("kind", ["flush", "line check"])
def test_d5_proof_and_a_flush_while_the_second_runs_do_not_end_it(kind: str) -> None:
    proof = event(kind, t("12:30"), **({"lock": {"not_done": "infusion connected"}} if kind == "flush" else {}))
    assert d5(NEXT, proof)
    assert d5(NEXT, proof, NEXT_STOPPED), "stopped and not flushed through"


def test_d5_both_end_when_the_last_was_stopped_and_flushed_through_after_proof() -> None:
    assert not d5(event("flush", t("12:05")))
    assert not d5(NEXT, NEXT_STOPPED, event("flush", t("14:10")))
    assert not d5(NEXT, event("flush", t("12:30")), NEXT_STOPPED, event("flush", t("14:10")))


def test_d5_the_second_stands_though_the_first_was_flushed_through() -> None:
    assert re.search("doxorubicin", " ".join(d5(event("flush", t("12:05")), NEXT)))


# --- D9: what was taken off stays off


IODINE = {"agent": "povidone-iodine", "started_at": t("08:50"), "scrub_s": 60, "dry_s": 120}
ON_SKIN: list[tuple[str, str, Json]] = [
    ("disc", "chlorhexidine", {"antisepsis": IODINE}),
    ("latex", "latex", {"antisepsis": IODINE, "dressing": {"latex": True, "chlorhexidine_disc": False}}),
]


@pytest.mark.parametrize(("what", "substance", "facts"), ON_SKIN, ids=["disc", "latex"])
@pytest.mark.parametrize("then", ["line check", "flush"])
def test_d9_does_not_come_back_at_the_next_event(what: str, substance: str, facts: Json, then: str) -> None:
    allergic = {"allergies": [{"substance": substance, "reaction": "blisters"}]}
    stays = {"not_done": "left as it was"}
    off = event("dressing change", t("11:00"), antisepsis=stays, dressing=stays, taken_off=[what])
    after = event(then, t("15:00"))
    on = access(t("09:00"), **facts)
    assert "D9" in dangers(state(record(on, after, patient=allergic)))
    assert "D9" not in dangers(state(record(on, off, patient=allergic)))
    assert "D9" not in dangers(state(record(on, off, after, patient=allergic)))
    assert "D9" in dangers(state(record(on, {**off, "taken_off": []}, after, patient=allergic)))
    again = event("dressing change", t("16:00"), **facts)
    assert "D9" in dangers(state(record(on, off, after, again, patient=allergic))), "a new one is on the skin"


# --- the bundle


def resources(whole: Json, folder: Path) -> dict[str, Json]:
    """Return what was sent for a record by its address: the last of each."""
    path = folder / "record.yaml"
    path.write_text(yaml.safe_dump(json.loads(json.dumps(whole, default=str)), sort_keys=False))
    sent = call("bundle", path, "--no-note")
    assert sent.returncode == 0, sent.stderr.decode()
    bundles = [json.loads(row) for row in sent.stdout.decode().splitlines()]
    return {entry["fullUrl"]: entry["resource"] for one in bundles for entry in one["entry"]}


def all_of(sent: dict[str, Json], kind: str) -> list[Json]:
    return [one for one in sent.values() if one["resourceType"] == kind]


def hold_rests_on(sent: dict[str, Json], words: str) -> list[Json]:
    """Return what the one hold with these words refers to."""
    (flag,) = [one for one in all_of(sent, "Flag") if re.search(words, one["code"]["text"], re.IGNORECASE)]
    details = [one for one in flag.get("extension", []) if one["url"].endswith("/flag-detail")]
    return [sent[one["valueReference"]["reference"]] for one in details]


def at_of(resource: Json) -> datetime:
    return moment(resource["effectiveDateTime"])


def test_bundle_a_hold_for_resistance_refers_to_the_flush_that_showed_it(tmp_path: Path) -> None:
    sent = resources(record(access(t("09:00")), event("flush", t("10:00"), **STUCK)), tmp_path)
    rests = hold_rests_on(sent, "resistance")
    felt = [one for one in rests if re.search("resistance", json.dumps(one["code"]), re.IGNORECASE)]
    assert [at_of(one) for one in felt] == [moment(t("10:00"))], rests
    assert all("Blood return" not in one["code"]["text"] for one in rests), "the blood return was good"
    assert not all_of(resources(record(access(t("09:00")), event("flush", t("10:00"))), tmp_path), "Flag")


def test_bundle_a_hold_for_a_needle_partly_out_refers_to_how_far_it_is_out(tmp_path: Path) -> None:
    out = event("needle dislodged", t("10:00"), extent="partly out")
    rests = hold_rests_on(resources(record(access(t("09:00")), out), tmp_path), "partly out|needle")
    assert rests
    assert "partly out" in json.dumps(rests), rests


FLUSH_DUE = "flush"


def status_of_flush_requests(whole: Json, folder: Path) -> dict[str, set[str]]:
    sent = resources(whole, folder)
    return {
        kind: {one["status"] for one in all_of(sent, kind) if FLUSH_DUE in one["code"]["text"].lower()}
        for kind in ("Task", "ServiceRequest")
    }


def test_bundle_a_flush_done_elsewhere_completes_its_request(tmp_path: Path) -> None:
    waits = [access(t("09:00")), event("de-access", t("10:00"))]
    before = status_of_flush_requests(record(*waits), tmp_path)
    elsewhere = event("flushed elsewhere", "2031-04-29T10:00-05:00", on="2031-04-28", where="clinic")
    after = status_of_flush_requests(record(*waits, elsewhere), tmp_path)
    said = set().union(*after.values())
    assert set().union(*before.values()).isdisjoint({"completed", "revoked", "cancelled"}), before
    assert "completed" in said, after
    assert said.isdisjoint({"revoked", "cancelled"}), after


@pytest.mark.parametrize("non_coring", [True, False])
def test_bundle_an_ordinary_needle_is_not_sent_as_a_non_coring_one(non_coring: bool, tmp_path: Path) -> None:
    sent = resources(record(access(t("09:00"), needle={"non_coring": non_coring})), tmp_path)
    (words,) = [
        one["type"]["text"]
        for one in all_of(sent, "Device")
        if any(coding.get("code") == "79068005" for coding in one["type"].get("coding", []))
    ]
    assert words == "Non-coring needle" if non_coring else words == "Needle"


# --- the history of the arm


def arm(*history: str) -> Json:
    return record(
        access(t("09:00")), event("port facts", t("10:00"), arm_history=list(history)), port={"area": "upper arm"}
    )


def test_no_history_of_the_arm_is_printed_on_note_and_sheet() -> None:
    none = arm("none of these")
    note = " ".join(run("note", none, event="port-facts-1", width="1000").output.split())
    assert re.search("none of these|no (known )?(history of )?lymphedema", note, re.IGNORECASE), note
    assert re.search("(arm|side).{0,60}none of these|no (known )?(history of )?lymphedema", sheet(none), re.IGNORECASE)
    assert not found(none, event="port-facts-1")


def test_no_history_beside_a_history_is_found() -> None:
    both = found(arm("none of these", "lymphedema"), event="port-facts-1", words="none of these")
    assert both
    assert not found(arm("lymphedema", "dialysis fistula"), event="port-facts-1", words="none of these")


# --- the sheet: a draft, and what is under way


def test_a_draft_is_named_on_the_sheet_without_its_content(tmp_path: Path) -> None:
    path = tmp_path / "record.yaml"
    path.write_text(yaml.safe_dump(json.loads(json.dumps(record(access(t("09:00"))), default=str)), sort_keys=False))
    env = {"XDG_STATE_HOME": str(tmp_path / "state"), "HOME": str(tmp_path)}
    asof = moment(t("12:00"))

    def printed() -> str:
        done = call("handoff", path, "--asof", asof.isoformat(), env=env)
        assert done.returncode in (0, 1), done.stderr
        return " ".join(done.stdout.decode().split())

    assert not re.search("not signed|unsigned", printed(), re.IGNORECASE)
    kept = drafts.folder(env)
    kept.mkdir(parents=True)
    said = (Answered("pain", ((("pain",), 9),), "Pain: 9 of 10, quince"),)
    began = asof - timedelta(minutes=30)
    drafts.save(
        drafts.place(kept, path, "flush"),
        Draft("flush-1", began, said, None, str(path.resolve()), "flush", "Ada Quill"),
    )
    text = printed()
    assert re.search("(?i:not signed|unsigned).{0,80}flush begun 11:30 by Ada Quill", text), text
    assert "quince" not in text
    assert "9 of 10" not in text


@cache
def to_do_now(*names: str) -> str:
    steps: dict[str, Json] = {
        "none": access_none(),
        "dose": treatment(t("10:00")),
        "look": look_none(t("10:30")),
        "swollen": look(
            t("09:30"), blood_return="none", blood_looks=None, signs=sign("swelling", where="arm", change="new")
        ),
    }
    whole = record(*(steps[name] for name in names))
    return sheet(whole).lower()


NOW_EVALUATION = r"now: 4, thistledown, perpetua case-1: evaluation"


def test_an_evaluation_is_to_be_had_now_where_nothing_is_under_way() -> None:
    assert re.search(NOW_EVALUATION, to_do_now("none")), to_do_now("none")


@pytest.mark.parametrize("steps", [("none", "dose"), ("none", "dose", "look")], ids=["dose", "first-look"])
def test_what_is_under_way_stands_for_the_evaluation_while_a_thrombolytic_dwells(steps: tuple[str, ...]) -> None:
    text = to_do_now(*steps)
    assert not re.search(NOW_EVALUATION, text), text
    assert re.search("under way|dwell", text), text


def test_swelling_is_evaluated_now_though_a_thrombolytic_dwells() -> None:
    assert re.search(NOW_EVALUATION, to_do_now("none", "swollen", "dose"))
