"""A line outlives a stay: commands that are given one record read the other stays of its line beside it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from lda_notes.cli import group

DEMOS = Path(__file__).parent.parent / "demo_episodes"
FIRST, AGAIN = "open-hold-first-stay.yaml", "open-hold-readmission.yaml"
NOON = "2026-07-06T12:00-05:00"

NEW_ACCESS = """\
  - id: access-9
    kind: access
    at: 2026-07-06T11:00-05:00
    charted_at: 2026-07-06T11:20-05:00
    by: {name: Ilse Marrowby, credential: RN, id: LBN-131}
    needle: {gauge: 20, length_mm: 19, non_coring: yes}
    blood_return: present
    flushes:
      - {solution: 0.9% sodium chloride, volume_ml: 20, syringe_ml: 10, technique: push-pause, resistance: none}
"""

FLUSH = """\
  - id: flush-9
    kind: flush
    at: 2026-07-06T11:00-05:00
    flushes:
      - {solution: 0.9% sodium chloride, volume_ml: 20, syringe_ml: 10, technique: push-pause, resistance: none}
"""


@pytest.fixture
def ward(tmp_path: Path) -> Path:
    for name in (FIRST, AGAIN):
        shutil.copy(DEMOS / name, tmp_path / name)
    return tmp_path


def run(*words: object, stdin: str = "") -> Result:
    return CliRunner().invoke(group, [str(word) for word in words], input=stdin)


def bundles(made: Result) -> list[dict[str, Any]]:
    return [json.loads(row) for row in made.stdout.splitlines()]


def written(bundle: dict[str, Any], kind: str) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for entry in bundle["entry"]:
        if entry["resource"]["resourceType"] == kind:
            yield entry["request"]["method"], entry["resource"]["status"], entry["resource"]


def test_a_note_shows_the_hold_of_the_earlier_stay(ward: Path) -> None:
    said = run("note", ward / AGAIN, "--asof", NOON)
    assert "LINE ON HOLD" in said.stdout
    assert "15 June 2026, 08:30 (no blood" in said.stdout
    assert said.exit_code == 0


def test_a_note_judged_before_the_earlier_stay_knows_nothing_of_it(ward: Path) -> None:
    (ward / AGAIN).write_text((ward / AGAIN).read_text().replace("2026-07-06", "2026-05-06"))
    said = run("note", ward / AGAIN, "--asof", "2026-05-06T12:00-05:00")
    assert "HOLD" not in said.stdout


def test_a_bundle_contains_the_hold_of_the_earlier_stay_under_its_own_identity(ward: Path) -> None:
    [of_first, *_] = [
        list(written(one, "Task")) for one in bundles(run("bundle", ward / FIRST)) if written(one, "Task")
    ]
    named = {task["identifier"][0]["value"] for _, _, task in of_first if "on hold" in task["description"].casefold()}
    [bundle] = bundles(run("bundle", ward / AGAIN))
    [(method, status, task)] = written(bundle, "Task")
    assert (method, status) == ("POST", "requested")
    assert {task["identifier"][0]["value"]} == named
    assert [(method, status) for method, status, _ in written(bundle, "Flag")] == [("POST", "active")]


def test_the_event_that_ends_it_in_the_next_stay_closes_it(ward: Path) -> None:
    with (ward / AGAIN).open("a") as file:
        file.write(NEW_ACCESS)
    made = bundles(run("bundle", ward / AGAIN, "--no-note"))
    assert [[(method, status) for method, status, _ in written(one, "Flag")][:1] for one in made] == [
        [("POST", "active")],
        [("PUT", "inactive")],
    ]
    assert "proof at a new access" in next(written(made[1], "Task"))[2]["statusReason"]["text"]


def test_every_reference_within_a_bundle_with_context_is_answered(ward: Path) -> None:
    [bundle] = bundles(run("bundle", ward / AGAIN, "--with-context", "--no-note"))
    there = {entry["fullUrl"] for entry in bundle["entry"]}
    text = json.dumps(bundle)
    named = {word for word in text.split('"') if word.startswith("urn:uuid:")}
    assert named <= there


def test_charting_knows_the_hold_and_the_last_flush_of_the_earlier_stay(ward: Path) -> None:
    said = run("chart", ward / AGAIN, "flush", "--no-input", "--asof", NOON)
    assert "LINE ON HOLD since" in said.output
    assert "no blood return" in said.output


def test_charting_knows_an_allergy_that_only_the_earlier_stay_records(ward: Path) -> None:
    text = (ward / AGAIN).read_text()
    assert "  allergies:\n" in text
    before, _, after = text.partition("  allergies:\n")
    (ward / AGAIN).write_text(before + after.partition("\n")[2])
    said = run("chart", ward / AGAIN, "flush", "--no-input", "--asof", NOON)
    assert "Allergies: LATEX" in said.output


def test_another_patient_beside_changes_nothing(ward: Path) -> None:
    (ward / FIRST).unlink()
    alone = run("note", ward / AGAIN, "--asof", NOON).stdout
    shutil.copy(DEMOS / "no-blood-return.yaml", ward / "other.yaml")
    assert run("note", ward / AGAIN, "--asof", NOON).stdout == alone


def test_a_copy_of_the_same_stay_is_no_earlier_stay(ward: Path) -> None:
    alone = run("note", ward / FIRST, "--asof", NOON).stdout
    shutil.copy(ward / FIRST, ward / "copy.yaml")
    assert run("note", ward / FIRST, "--asof", NOON).stdout == alone


@pytest.mark.parametrize("command", ["note", "bundle", "send"])
def test_an_earlier_stay_that_cannot_be_read_is_named(ward: Path, command: str) -> None:
    (ward / FIRST).write_text((ward / FIRST).read_text().replace("family_name", "family_name: x: y", 1))
    outbox = ["--outbox", ward / "outbox"] if command == "send" else []
    said = run(command, ward / AGAIN, *outbox)
    assert said.exit_code != 0
    words = f"{said.stderr}{said.exception}"  # the last is what the command line prints
    assert FIRST in words
    assert "stay of th" in words


def test_a_list_that_names_the_record_number_is_no_stay(ward: Path) -> None:
    (ward / "patients.yaml").write_text("patients: {LB-000391: Patient/12}\n")
    (ward / "bundle.json").write_text('{"resourceType": "Bundle", "type": "transaction", "entry": ["LB-000391"]}')
    assert run("note", ward / AGAIN, "--asof", NOON).exit_code == 0


def test_the_sheet_the_worksheet_and_the_check_of_one_file_know_the_earlier_stay_too(ward: Path) -> None:
    assert "no blood return" in run("handoff", ward / AGAIN, "--asof", NOON).stdout
    assert "hold" in run("worksheet", ward / AGAIN, "--for", "flush", "--asof", NOON).stdout.casefold()
    with (ward / AGAIN).open("a") as file:
        file.write(FLUSH)
    found = run("check", ward / AGAIN, "--asof", NOON).stdout
    assert "the hold begins here" in " ".join(found.split())
    assert f"{FIRST}:" in found
