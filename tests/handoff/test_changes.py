"""One fact of a record changed: exactly the rows of the sheet that depend on it change, and every one of them."""

from __future__ import annotations

import re
from copy import deepcopy
from typing import Any

import pytest
from made_records import FLUSH, HEPARIN, event, moment, needle_event, record
from ward import handed, rows

CHECK = event("line check", "2031-03-05 04:41", dressing_found=["intact"], blood_return="present")
BASE = record(
    needle_event("2031-03-03 09:13", lock={**HEPARIN, "units_per_ml": 10}),
    event("flush", "2031-03-04 20:29", flushes=[FLUSH], lock=HEPARIN),
    CHECK,
    number=1,
)
OTHERS = [record(needle_event("2031-03-02 03:17"), number=2), record(needle_event("2031-03-04 05:19"), number=3)]


def text(data: dict[str, Any], *others: dict[str, Any]) -> list[str]:
    return rows(handed([data, *others]))


def changed(data: dict[str, Any], other: dict[str, Any]) -> tuple[set[str], set[str]]:
    """Return the rows that only the first sheet has and the rows that only the second has."""
    one, two = text(data), text(other)
    return set(one) - set(two), set(two) - set(one)


def with_event(position: int, **facts: Any) -> dict[str, Any]:
    data = deepcopy(BASE)
    data["events"][position] = {**data["events"][position], **facts}
    return data


@pytest.mark.parametrize(
    ("position", "at", "tokens", "new_tokens"),
    [
        # the look: its own time, and the look that is due 12 hours later
        (2, "2031-03-05 04:52", ("5 Mar 04:41", "5 Mar 16:41"), ("5 Mar 04:52", "5 Mar 16:52")),
        # the flush: its own time, and the flush that is due 24 hours later
        (1, "2031-03-04 20:47", ("4 Mar 20:29", "5 Mar 20:29"), ("4 Mar 20:47", "5 Mar 20:47")),
        # the access: its own time, and needle and dressing due 7 days later by the hour (clocks go forward on 9 March)
        (0, "2031-03-03 09:44", ("3 Mar 09:13", "10 Mar 10:13"), ("3 Mar 09:44", "10 Mar 10:44")),
    ],
)
def test_a_time_changes_the_rows_that_name_it_and_what_is_due_from_it(
    position: int, at: str, tokens: tuple[str, ...], new_tokens: tuple[str, ...]
) -> None:
    other = with_event(position, at=moment(at).isoformat(timespec="minutes"))
    gone, come = changed(BASE, other)
    assert gone == {row for row in text(BASE) if any(token in row for token in tokens)}
    assert come == {row for row in text(other) if any(token in row for token in new_tokens)}
    assert len(gone) == len(come) >= 4
    for token in tokens:
        assert any(token in row for row in gone), token


def test_a_dose_changes_its_own_row_and_the_sums() -> None:
    gone, come = changed(BASE, with_event(1, lock={**HEPARIN, "volume_ml": 3}))
    assert [row.split(":")[0] for row in sorted(gone)] == ["Amounts", "Lock"]
    assert {row.split(":")[0] for row in come} == {"Amounts", "Lock"}
    (lock,) = (row for row in come if row.startswith("Lock"))
    assert "heparin 100 units per mL, 3 mL: 300 units" in lock
    (sums,) = (row for row in come if row.startswith("Amounts"))
    (before,) = (row for row in gone if row.startswith("Amounts"))
    assert re.findall(r"(\d+) units of (\d+) units per mL", sums) == [
        ("300", "100"),
        ("50", "10"),
        ("300", "100"),
    ]
    assert re.findall(r"(\d+) units of (\d+) units per mL", before) == [("500", "100"), ("50", "10"), ("500", "100")]


HOLD_ROWS = (
    "1     ",  # the unit list: urgency, what is due, what to know
    "!! STOP: ",
    "hold ",
    "day ",
    "Situation: ",
    "Blood return: ",
    "Evaluation; nothing through the line before",
    "Flush and lock, nothing runs",
    "If ... then: ",
    "         = needle in",  # the strip's legend
)


def test_a_hold_changes_the_rows_that_speak_of_it_and_no_others() -> None:
    held = with_event(2, blood_return="none")
    gone, come = changed(BASE, held)
    stray = {row for row in gone | come if not row.startswith(HOLD_ROWS)}
    assert {row for row in stray if "steps tried" not in row and not row.startswith("Not recorded")} == set()
    for start in ("!! STOP: ", "hold ", "Evaluation; nothing through the line before"):
        assert any(row.startswith(start) for row in come), start
        assert not any(row.startswith(start) for row in gone), start
    assert any(row.startswith("Situation: Line out of use: no blood return.") for row in come)
    kept = [row for row in text(BASE) if row.startswith(("Needle change", "Dressing change", "Line check", "Amounts"))]
    assert len(kept) == 4
    assert set(kept) & gone == set()


def test_a_hold_of_one_patient_leaves_the_rows_of_the_others_alone() -> None:
    held = with_event(2, blood_return="none")

    def of_others(lines: list[str]) -> list[list[str]]:
        blocks = re.split(r"\nRoom (?=\d: )", "\n".join(lines))
        return sorted(block.split("\n") for block in blocks[1:] if not block.startswith("1: "))

    def listed(lines: list[str]) -> set[str]:
        return {row for row in lines if row.startswith(("2     ", "3     "))}

    before, after = text(BASE, *OTHERS), text(held, *OTHERS)

    def bare(blocks: list[list[str]]) -> list[list[str]]:  # the last block runs into the table of limits
        return [
            block[: next((n for n, row in enumerate(block) if row.startswith("Where the")), None)] for block in blocks
        ]

    assert bare(of_others(before)) == bare(of_others(after))
    assert len(of_others(before)) == 2
    assert listed(before) == listed(after)
    assert len(listed(before)) >= 2
    order = [row.split("  ")[0] for row in after if re.match(r"[123]     ", row)][:3]
    assert order[0] == "1", "the line on hold comes first"


def test_a_repeated_run_says_the_same() -> None:
    assert text(BASE, *OTHERS) == text(deepcopy(BASE), *deepcopy(OTHERS))
