"""What shows only between records: one number for two patients, one patient with two numbers, names alike."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from click.testing import CliRunner, Result

from lda_notes.check.among import _alike
from lda_notes.cli import group

ASOF = "2031-03-05T07:00-06:00"
RULES = {"episode-in-two-records", "number-of-two-patients", "patient-with-two-numbers", "similar-names"}


def record(folder: Path, name: str, **facts: Any) -> Path:
    """A record of a stay in progress, written as JSON; ``facts``: id, number, family, given, born, unit."""
    made = {
        "record_version": 1,
        "id": facts.get("id", name),
        "patient": {
            "identifiers": [
                {"system": "https://lantern-bay.example/record-number", "value": number, "label": "record number"}
                for number in facts.get("numbers", [f"LB-{name}"])
            ],
            "family_name": facts.get("family", f"Family{name}"),
            "given_name": facts.get("given", "Odessa"),
            "birth_date": facts.get("born", "1961-05-17"),
            "allergies": [],
        },
        "stay": {
            "facility": "Lantern Bay Hospital",
            "unit": facts.get("unit", "Ward 3"),
            "time_zone": "America/Chicago",
            "admitted_at": "2031-03-03T08:00-06:00",
        },
        "port": {"id": "port-1", "side": "right", "area": "chest"},
        "events": [],
    }
    path = folder / f"{name}.yaml"
    path.write_text(yaml.safe_dump(made))
    return path


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(group, [str(one) for one in arguments])


def found(folder: Path) -> dict[str, set[str]]:
    """The rules between records that the check finds, by file."""
    said = json.loads(run("check", folder, "--asof", ASOF, "--format", "json").stdout)
    return {
        Path(file["file"]).stem: rules
        for file in said["files"]
        if (rules := {one["rule"] for one in file["findings"]} & RULES)
    }


def sheet(folder: Path) -> str:
    return " ".join(run("handoff", folder, "--asof", ASOF).stdout.replace("\n!! ", " ").split())


def test_records_of_different_patients_have_nothing_between_them(tmp_path: Path) -> None:
    record(tmp_path, "quill", family="Quillfeather")
    record(tmp_path, "marsh", family="Marshlight")
    assert found(tmp_path) == {}
    assert "alert" not in sheet(tmp_path).lower()


def test_one_episode_in_two_records(tmp_path: Path) -> None:
    record(tmp_path, "a", id="episode", family="Quillfeather")
    record(tmp_path, "b", id="episode", family="Marshlight")
    assert found(tmp_path) == {"a": {"episode-in-two-records"}, "b": {"episode-in-two-records"}}
    assert "One episode identifier in 2 records: Quillfeather, Odessa" in sheet(tmp_path)
    text = run("check", tmp_path, "--asof", ASOF).stdout
    assert re.search(r"b\.yaml:\d+:\d+  wrong  episode-in-two-records", text)
    assert run("check", tmp_path, "--asof", ASOF).exit_code == 1


@pytest.mark.parametrize("facts", [{"family": "Marshlight"}, {"given": "Ione"}, {"born": "1944-01-02"}])
def test_one_number_of_two_patients(tmp_path: Path, facts: dict[str, str]) -> None:
    record(tmp_path, "a", numbers=["LB-1"], family="Quillfeather")
    record(tmp_path, "b", **{"numbers": ["LB-2", "LB-1"], "family": "Quillfeather", **facts})
    assert found(tmp_path)["a"] >= {"number-of-two-patients"}
    assert found(tmp_path)["b"] >= {"number-of-two-patients"}
    assert "One record number for two patients: Quillfeather, Odessa, record number LB-1" in sheet(tmp_path)


def test_a_second_stay_of_one_patient_is_no_fault(tmp_path: Path) -> None:
    record(tmp_path, "a", numbers=["LB-1"], family="Quillfeather")
    record(tmp_path, "b", numbers=["LB-1", "LB-9"], family="QUILLFEATHER")
    assert found(tmp_path) == {}


def test_one_patient_with_two_numbers(tmp_path: Path) -> None:
    record(tmp_path, "a", family="Quillfeather")
    record(tmp_path, "b", family="Quillfeather")
    record(tmp_path, "c", family="Quillfeather", born="1999-01-01", unit="Ward 9")
    assert found(tmp_path) == {"a": {"patient-with-two-numbers"}, "b": {"patient-with-two-numbers"}}
    record(tmp_path, "d", family="Quillfeather", numbers=["LB-a", "LB-b"], unit="Ward 8")
    assert found(tmp_path) == {}, "a record with both numbers says that they are one"


@pytest.mark.parametrize(
    ("one", "other"), [("Marlow", "Marlowe"), ("Smith", "Smyth"), ("Peña", "Pena"), ("O'Dell", "Odell"), ("Lin", "Lin")]
)
def test_names_alike_on_one_unit(tmp_path: Path, one: str, other: str) -> None:
    record(tmp_path, "a", family=one)
    record(tmp_path, "b", family=other, born="1980-02-03")
    assert found(tmp_path) == {"a": {"similar-names"}, "b": {"similar-names"}}
    assert run("check", tmp_path, "--asof", ASOF, "--format", "json").exit_code in (0, 1)
    said = sheet(tmp_path)
    assert said.count("Name alert: similar") == 2
    assert f"{one}, Odessa" in said and f"{other}, Odessa" in said
    record(tmp_path, "b", family=other, born="1980-02-03", unit="Ward 9")
    assert found(tmp_path) == {}, "on another unit nobody mistakes them"


def test_the_other_patients_name_stands_in_no_finding_and_no_note(tmp_path: Path) -> None:
    record(tmp_path, "a", family="Marlow")
    other = record(tmp_path, "b", family="Marlowe", given="Ione", born="1980-02-03")
    said = json.loads(run("check", tmp_path, "--asof", ASOF, "--format", "json").stdout)
    assert "Ione" not in json.dumps(said)
    assert str(other) in json.dumps(said)


def test_short_names_must_be_the_same(tmp_path: Path) -> None:
    assert not _alike("Lin") & _alike("Lim")
    assert _alike("Brook") & _alike("Brooks")
    assert not _alike("Quillfeather") & _alike("Marshlight")
