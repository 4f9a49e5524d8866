"""Sentences that once said more than was recorded cannot be printed again, nor in the brief note (issue 13, part 4)."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest
import yaml
from click.testing import CliRunner

from lda_notes.cli import group

sys.path.append(str(Path(__file__).parents[1] / "rules"))
from rule_cases import complete

HOUSE = Path(__file__).parents[2]
AT = "2031-04-02T{}-05:00"
ONCE = (
    *("connector and extension", "flushed but gave no blood", "Withdrawn after success", "signs of infection"),
    *("ight before use", "before puncture", "restart its interval", "as the nurse noted", "only an evaluation ends"),
)
NO_BLOOD = {"blood_return": "none", "blood_looks": None, "discard_ml": {"not_done": "no aspirate"}, "infusion": None}
NO_FLUSH = {"flushes": {"not_done": "line on hold"}, "lock": {"not_done": "line on hold"}}


@pytest.mark.parametrize("phrase", ONCE)
def test_no_template_has_the_phrase(phrase: str) -> None:
    files = list((HOUSE / "note_templates").rglob("*.jinja"))
    assert len(files) > 20 and not [file.name for file in files if phrase in file.read_text()]


def note(tmp_path: Path, *events: dict[str, Any], brief: bool) -> str:
    path = tmp_path / "record.yaml"
    path.write_text(yaml.safe_dump(complete({"events": list(events)}), sort_keys=False))
    words = ["note", str(path), "--asof", AT.format("23:00"), *(["--brief"] if brief else [])]
    result = CliRunner().invoke(group, words)
    assert result.exit_code in (0, 1), result.output
    return " ".join(result.stdout.split())


def access(**facts: Any) -> dict[str, Any]:
    return {"kind": "access", "at": AT.format("09:00"), **facts}


@pytest.mark.parametrize("brief", [False, True])
def test_a_stopped_infusion_has_no_blood_return_before_use(tmp_path: Path, brief: bool) -> None:
    use = {"kind": "line use", "at": AT.format("10:00"), "action": "stopped", "blood_return_before": "present"}
    text = note(tmp_path, access(), use, brief=brief)
    assert "before use" not in text and "before it was stopped" in text and "stopped through" not in text


@pytest.mark.parametrize("brief", [False, True])
def test_before_a_dose_nothing_is_said_of_a_flush_that_nobody_recorded(tmp_path: Path, brief: bool) -> None:
    dose = {"kind": "patency treatment", "at": AT.format("10:00"), "patency_before": "no blood return"}
    text = note(tmp_path, access(**NO_BLOOD), {**dose, "flushes": {"not_done": "dwell"}}, brief=brief)
    assert "no blood return" in text.casefold() and "flushed" not in text.casefold()


@pytest.mark.parametrize("brief", [False, True])
def test_a_push_that_was_tried_is_no_flush_that_was_not_given(tmp_path: Path, brief: bool) -> None:
    text = note(tmp_path, access(**NO_BLOOD, **NO_FLUSH, steps_tried=["gentle push-pause flush"]), brief=brief)
    assert "No other flush" in text and "No flush" not in text


@pytest.mark.parametrize("brief", [False, True])
def test_a_port_that_every_puncture_missed_was_not_accessed(tmp_path: Path, brief: bool) -> None:
    missed = {
        "needle": None,
        "next_due": None,
        "dressing": None,
        "attempts": 2,
        "punctures": [{"outcome": "port missed"}, {"outcome": "port missed"}],
    }
    text = note(tmp_path, access(**missed, **NO_BLOOD, **NO_FLUSH), brief=brief)
    assert "port accessed" not in text and "attempted" in text and "change" not in text.partition("Charted by")[0]


@pytest.mark.parametrize("brief", [False, True])
def test_a_dressing_that_was_not_changed_is_not_headed_changed(tmp_path: Path, brief: bool) -> None:
    kept = {"kind": "dressing change", "at": AT.format("10:00"), "dressing": {"not_done": "none at hand"}}
    text = note(tmp_path, access(), kept, brief=brief)
    assert "NOT changed" in text and "port changed" not in text and "dressing changed" not in text


@pytest.mark.parametrize("brief", [False, True])
def test_once_the_needle_is_out_again_nothing_of_it_falls_due(tmp_path: Path, brief: bool) -> None:
    out = {"kind": "de-access", "at": AT.format("09:08")}
    path = tmp_path / "record.yaml"
    path.write_text(yaml.safe_dump(complete({"events": [access(next_due=None), out]}), sort_keys=False))
    words = ["note", str(path), "--event", "access-1", "--asof", AT.format("23:00"), *(["--brief"] if brief else [])]
    text = CliRunner().invoke(group, words).stdout
    assert "accessed" in text.casefold() and "change" not in text.partition("Charted by")[0], "the next flush alone"
