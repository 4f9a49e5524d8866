"""Charts made to mislead: each was tried against the check, the note and the sheet by a nurse who knows the trade.

What is expected is written from the table of line states (rows 1 to 41, D1 to D11) and the clinical facts, before the
program was changed.
"""

from __future__ import annotations

import re

import pytest
from bedside import FREE, MD, Json, access, event, found, look, record, site, t

ARM = site(swelling="present", swelling_where=["arm"], swelling_change="new")
RUNS: Json = {"lock": {"not_done": "infusion connected"}, "infusion": "0.9% sodium chloride at 50 mL per hour"}
TOLD = [{"what": "swelling", "action": "told at once", "told": MD, "told_at": t("12:05"), "reply": "will come"}]
SWOLLEN_ARM = look(t("12:00"), site=ARM, problems=TOLD)


def stop(at: str) -> Json:
    return event("line use", at, purpose="infusion", action="stopped", what="0.9% sodium chloride", vesicant=None)


# --- what runs on, and what is pushed in, while the line is on hold (rows 22 to 25: stop, do not flush)


@pytest.mark.parametrize("kind", ["flush", "de-access"])
def test_a_swollen_arm_is_not_flushed_whatever_the_entry_is_called(kind: str) -> None:
    whole = record(
        access(t("09:00")), look(t("12:00"), site=ARM, problems=TOLD), event(kind, t("12:20"), flushes=[FREE])
    )
    (one,) = found(whole, event=f"{kind}-1", words="flush")
    assert one["severity"] == "unsafe"
    assert "swelling of arm" in one["message"]


def test_a_needle_taken_out_of_a_held_line_without_a_flush_is_good_care() -> None:
    still: Json = {"flushes": {"not_done": "line on hold"}, "lock": {"not_done": "line on hold"}}
    whole = record(
        access(t("09:00")), look(t("12:00"), site=ARM, problems=TOLD), event("de-access", t("12:20"), **still)
    )
    assert not found(whole, event="de-access-1", words="flush|hold")


@pytest.mark.parametrize(("clock", "late"), [("12:10", False), ("14:10", True)])
def test_a_stop_that_comes_hours_after_the_swelling_is_no_stop_at_once(clock: str, late: bool) -> None:
    whole = record(access(t("09:00"), **RUNS), look(t("12:00"), site=ARM, problems=TOLD), stop(t(clock)))
    every = found(whole, words="stop")
    assert bool(every) is late
    assert not late or (len(every) == 1 and every[0]["severity"] == "unsafe" and "14:10" in every[0]["message"])


def test_an_infusion_runs_since_it_was_started_and_not_since_it_was_seen() -> None:
    runs = {"infusion": "0.9% sodium chloride at 50 mL per hour"}
    swollen = site(swelling="present", swelling_where=["needle site"], swelling_change="new")
    whole = record(
        access(t("09:00"), **RUNS), look(t("12:00"), **runs), look(t("15:00"), site=swollen, problems=TOLD, **runs)
    )
    (one,) = found(whole, words="no stop is charted")
    assert not re.search(r"running since \S+ 1[25]:00", one["message"])


def test_morphine_that_a_prescriber_lets_run_on_is_no_infusion_forgotten() -> None:
    sore = site(erythema="present", tenderness="present")
    order = {"by": MD, "purpose": "morphine for comfort", "ordered_at": t("12:10")}
    whole = record(
        access(t("09:00"), **RUNS),
        look(t("12:00"), site=sore, problems=TOLD, despite_hold=order, infusion="morphine"),
        look(t("20:00"), site=sore, problems=TOLD, despite_hold=order, infusion="morphine"),
        port={"implanted_on": "2030-01-01"},
    )
    assert not found(whole, words="no stop")
    unordered = record(
        access(t("09:00"), **RUNS),
        look(t("12:00"), site=sore, problems=TOLD, infusion="morphine"),
        port={"implanted_on": "2030-01-01"},
    )
    assert found(unordered, words="no stop")
