"""The demo of a blocked line at 8, 12 and 40 kg: dose and withdrawal by the label, in whatever the program prints.

The label: 2 mg in 2 mL from 30 kg; below, 110 % of the lumen's volume at 1 mg per mL. After success 4 to 5 mL are
withdrawn from 10 kg, 3 mL below.
"""

from __future__ import annotations

import re
from decimal import Decimal
from pathlib import Path

import pytest
from in_process import call

DEMO = Path(__file__).parents[1] / "demo_episodes" / "no-blood-return.yaml"
LUMEN = Decimal("0.9")
ROWS = {
    8: ("1", "3", "5", "3 mL", "3 mL"),
    12: ("1", "4", "3", "4 to 5 mL", "4 mL to 5 mL"),
    40: ("2", "5", "3", "4 to 5 mL", "4 mL to 5 mL"),
}
"""By weight: the dose in mg, a right and a wrong withdrawal in mL, how sheets and how the check say the right one."""


def demo(folder: Path, weight: int, dose: str, withdrawn: str) -> Path:
    """Return the demo itself, with another weight, dose and withdrawal."""
    text = DEMO.read_text()
    for old, new in (
        ("weight_kg: 74", f"weight_kg: {weight}"),
        ("    dose_mg: 2\n    volume_ml: 2\n", f"    dose_mg: {dose}\n    volume_ml: {dose}\n"),
        ("    withdrawn_ml: 5\n", f"    withdrawn_ml: {withdrawn}\n"),
    ):
        assert text.count(old) == 1
        text = text.replace(old, new)
    made = folder / DEMO.name
    made.write_text(text)
    return made


def said(*arguments: object) -> str:
    """Return what a command prints, its lines joined."""
    return re.sub(r"\s+", " ", call(*arguments).stdout.decode())


@pytest.mark.parametrize("weight", ROWS)
def test_the_dose_and_the_withdrawal_of_the_label_are_no_finding(tmp_path: Path, weight: int) -> None:
    dose, right, _, on_sheets, _ = ROWS[weight]
    record = demo(tmp_path, weight, dose, right)
    assert "alteplase" not in said("check", record)
    assert f"Withdrawn from the line: {right} mL." in said("note", record, "--event", "look-120")
    note = said("note", record, "--event", "treatment-1")
    assert f"Dose: {dose} mg of alteplase in {dose} mL" in note and f"weight {weight} kg" in note
    assert "DRAFT" not in note
    noon = ("--asof", "2026-06-15T12:00-05:00")
    assert f"If blood returns, then {on_sheets} are withdrawn and the line is flushed" in said("handoff", record, *noon)
    sheet = said("worksheet", record, "--for", "look", *noon)
    assert f"If blood returns: {on_sheets} are withdrawn and the line is flushed" in sheet


@pytest.mark.parametrize("weight", ROWS)
def test_another_withdrawal_and_another_dose_are_found_with_the_right_ones(tmp_path: Path, weight: int) -> None:
    dose, _, wrong, _, right = ROWS[weight]
    other = {"1": "2", "2": "1"}[dose]
    found = said("check", demo(tmp_path, weight, other, wrong))
    assert f"{wrong} mL was withdrawn; at {weight} kg it is {right}." in found
    label = f"2 mg for {weight} kg." if weight >= 30 else f"0.99 mg for {weight} kg and a lumen of {LUMEN} mL."
    assert f"The alteplase dose is {other} mg; the label's dose is {label}" in found
    note = said("note", demo(tmp_path, weight, other, wrong), "--event", "treatment-1")
    assert "DRAFT" in note and f"the label's dose is {label}" in note
