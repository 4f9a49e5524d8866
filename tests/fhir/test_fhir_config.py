"""The configuration of FHIR output: safe without a file, and every fault of a file named with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from lda_notes.commands import fhir_options
from lda_notes.fhir import config
from lda_notes.problems import Failure


def test_without_a_file_all_addresses_are_examples() -> None:
    made = config.load(None)
    addresses = [*made.systems.model_dump().values(), made.extensions]
    assert all(address.startswith("https://example.org/") for address in addresses)
    assert len(set(addresses)) == len(addresses)
    assert made.references == "conditional"
    assert made.organization is None


GOOD = """
config_version: 1
systems:
  identity: https://lantern-bay.example/fhir/identifier
  staff: urn:oid:2.999.1
organization: Organization/lantern-bay
references: conditional
patients: {LB-000427: Patient/1234}
staff: {LBN-204: "https://fhir.lantern-bay.example/r4/Practitioner/77"}
"""


def test_a_file_replaces_what_it_names_and_nothing_else(tmp_path: Path) -> None:
    file = tmp_path / "fhir.yaml"
    file.write_text(GOOD)
    made = config.load(file)
    assert made.systems.identity == "https://lantern-bay.example/fhir/identifier"
    assert made.systems.staff == "urn:oid:2.999.1"
    assert made.systems.order == config.DEFAULT.systems.order
    assert made.references == "conditional"
    assert made.patients == {"LB-000427": "Patient/1234"}


def test_json_is_read_as_well(tmp_path: Path) -> None:
    file = tmp_path / "fhir.json"
    file.write_text('{"organization": "Organization/x"}')
    assert config.load(file).organization == "Organization/x"


FAULTS = {
    "systems: {identity: not an address}": (1, "identity", "absolute address"),
    "systems: {identiti: 'https://a.example/x'}": (1, "identiti", "not a key that belongs here"),
    "\nreferences: guessed": (2, "references", "literal or conditional"),
    "organization: Patient/1": (1, "organization", "Organization/123"),
    "\n\npatients: {A: Practitioner/1}": (3, "A", "Patient/123"),
    "config_version: 2": (1, "config_version", "1"),
    "staff: [a]": (1, "staff", "mapping"),
    "references: literal\nreferences: conditional": (2, "references", ""),
    "extensions: https://a.example/with space": (1, "extensions", "absolute address"),
}


@pytest.mark.parametrize("text", FAULTS)
def test_a_fault_is_named_with_row_and_what_was_expected(text: str) -> None:
    row, name, expected = FAULTS[text]
    made, faults = config.read(text.encode(), "fhir.yaml")
    assert made == config.DEFAULT
    assert [fault.place.row for fault in faults] == [row]
    assert name in faults[0].message
    assert expected in str(faults[0])


def test_all_faults_come_in_one_run_and_nothing_is_half_in_force(tmp_path: Path) -> None:
    file = tmp_path / "fhir.yaml"
    file.write_text("references: guessed\norganization: 5\nsystems: {identity: x}\n")
    with pytest.raises(Failure, match="has 3 faults, so nothing was done") as failure:
        config.load(file)
    assert str(failure.value).count(f"{file}:") == 3


def test_an_empty_file_and_a_missing_one_are_said(tmp_path: Path) -> None:
    (tmp_path / "empty.yaml").write_text("")
    with pytest.raises(Failure, match=r"holds no configuration|1 fault"):
        config.load(tmp_path / "empty.yaml")
    with pytest.raises(Failure, match="cannot be read"):
        config.load(tmp_path / "nowhere.yaml")


def test_the_commands_name_the_variable_that_the_configuration_has() -> None:
    assert fhir_options.VARIABLE == config.VARIABLE
