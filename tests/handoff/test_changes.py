"""One fact of a record changed: what depends on it changes on the sheet, and nothing of anybody else."""

from __future__ import annotations

import re
from copy import deepcopy
from typing import Any

import pytest
from made_records import FLUSH, HEPARIN, event, moment, needle_event, record, removal_event
from ward import handed, rows

from lda_notes.documents.handoff.page import round_rows

CHECK = event("line check", "2031-03-05 04:41", dressing_found=["intact"], blood_return="present")
BASE = record(
    needle_event("2031-03-03 09:13", lock={**HEPARIN, "units_per_ml": 10}),
    event("flush", "2031-03-04 20:29", flushes=[FLUSH], lock=HEPARIN),
    CHECK,
    event("dressing change", "2031-03-05 05:02", dressing={"type": "gauze"}),
    number=1,
)
OTHERS = [record(needle_event("2031-03-02 03:17"), number=2), record(needle_event("2031-03-04 05:19"), number=3)]


def text(data: dict[str, Any], *others: dict[str, Any]) -> list[str]:
    return rows(handed([data, *others]), 4000)


def with_event(position: int, **facts: Any) -> dict[str, Any]:
    data = deepcopy(BASE)
    data["events"][position] = {**data["events"][position], **facts}
    return data


@pytest.mark.parametrize(
    ("position", "at", "tokens", "new_tokens"),
    [
        # the dressing: its own time, and the next one 48 hours later
        (3, "2031-03-05 05:22", ("05:02", "7 Mar 05:02"), ("05:22", "7 Mar 05:22")),
        # the flush: its own time
        (1, "2031-03-04 20:47", ("4 Mar 20:29",), ("4 Mar 20:47",)),
        # the access: its own time, and the needle due 7 days later by the hour (clocks go forward on 9 March)
        (0, "2031-03-03 09:44", ("3 Mar 09:13", "10 Mar 10:13"), ("3 Mar 09:44", "10 Mar 10:44")),
    ],
)
def test_a_time_changes_everywhere_or_nowhere(
    position: int, at: str, tokens: tuple[str, ...], new_tokens: tuple[str, ...]
) -> None:
    before = "\n".join(text(BASE))
    after = "\n".join(text(with_event(position, at=moment(at).isoformat(timespec="minutes"))))
    for old, new in zip(tokens, new_tokens, strict=True):
        assert old in before and old not in after
        assert new in after and new not in before


def test_a_dose_changes_the_lock_and_the_sums() -> None:
    before, after = text(BASE), text(with_event(1, lock={**HEPARIN, "volume_ml": 3}))
    gone, come = set(before) - set(after), set(after) - set(before)
    assert {row.split(":")[0] for row in come} == {row.split(":")[0] for row in gone} == {"In the port", "Given"}
    assert any("heparin 100 units per mL, 3 mL: 300 units" in row for row in come)
    assert any("500 units of 100 units per mL" in row for row in gone if row.startswith("Given"))
    assert any("300 units of 100 units per mL" in row for row in come if row.startswith("Given"))


def test_a_hold_stands_first_in_row_and_block_and_is_to_be_evaluated() -> None:
    held = with_event(2, blood_return="none")
    (before,), (after,) = round_rows(handed([BASE])), round_rows(handed([held]))
    assert before.warned == ()
    assert after.warned[0].text.startswith("HOLD: no blood return, 04:41")
    assert any(task.says == "now: evaluation" for task in after.tasks)
    assert not any("evaluation" in task.says for task in before.tasks)
    told = text(held)
    assert sum("HOLD: no blood return" in row for row in told) == 2, "on page one and in the block"


def test_a_hold_of_one_patient_leaves_the_others_alone() -> None:
    held = with_event(2, blood_return="none")
    before, after = (handed([data, *OTHERS]) for data in (BASE, held))

    def others(found: Any) -> dict[str, Any]:
        return {
            row.who[0]: (row.warned, row.inside, row.tasks) for row in round_rows(found) if "0001" not in row.who[0]
        }

    assert others(before) == others(after)
    assert len(others(after)) == 2
    assert "0001" in round_rows(after)[0].who[0], "the line on hold comes first"


def test_a_repeated_run_says_the_same() -> None:
    assert text(BASE, *OTHERS) == text(deepcopy(BASE), *deepcopy(OTHERS))


def test_what_changed_since_the_last_sheet_is_marked() -> None:
    access = needle_event("2031-03-03 09:00")
    look = event("line check", "2031-03-04 15:00", blood_return="present")
    data = record(
        access,
        look,
        event("dressing change", "2031-03-05 02:00", dressing={"type": "gauze"}),
        event("amendment", "2031-03-05 03:00", of=access["id"], sets={"needle": {"gauge": 22}}, reason="misread"),
        event("retraction", "2031-03-05 04:00", of=look["id"], reason="charted on Quillfeather, Odessa"),
    )
    (row,) = round_rows(handed([data]))
    assert row.changed == (
        "Corrected: access 3 Mar 09:00; new: dressing change 02:00; withdrawn: line check 4 Mar 15:00, "
        "by Marisol Tamm RN, 04:00"
    )
    told = "\n".join(text(data))
    assert "Quillfeather" not in told, "no other patient's name in a retraction"
    assert not re.search(r"\b(unsafe|wrong)\b", told)


def test_what_has_happened_is_new_though_it_is_charted_later() -> None:
    """The row says that no needle is in: it says, too, that the needle came out."""
    out = removal_event("2031-03-05 06:50") | {"charted_at": moment("2031-03-05 07:20")}
    (one,) = handed([record(needle_event("2031-03-04 09:00"), out)]).here
    assert "new: de-access 06:50" in [change.says for change in one.changes]
