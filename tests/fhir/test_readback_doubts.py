"""What readback must not read, or cannot find, is named with type, id and entry, and never read in silence."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from fhir_demos import CONFIG, FOLDER, episode, noted, resources, sent
from test_fhir_commands import run
from test_readback import element

from lda_notes.fhir.build.bundle import Options
from lda_notes.fhir.readback.reading import Found, Readback, readback
from lda_notes.record.episode import Episode

Json = dict[str, Any]
Change = Callable[[Json], object]
OTHER = {"system": "https://lantern-bay.example/record-number", "value": "LB-999999"}
LITERAL = CONFIG.model_copy(update={"references": "literal"})
STYLES = {"plain": Options(), "with context": Options(with_context=True)}


def read(bundles: list[Json]) -> Found:
    return readback(json.loads(json.dumps(bundles, default=float)), CONFIG)


def only(found: Found) -> Readback:
    [one] = found.episodes
    return one


def week(options: Options | None = None) -> list[Json]:
    return sent(episode("uncomplicated-week"), options)


def event(found: Readback, name: str) -> Json:
    made: Json = next(one for one in found.data["events"] if one["id"] == name)
    return made


def identity(resource: Json) -> str:
    return str(resource["identifier"][0]["value"])


def about(found: Readback, resource: Json, entry: str, words: str) -> bool:
    start = f"{resource['resourceType']} {identity(resource)} (entry {entry}): "
    return any(one.startswith(start) and words in one for one in found.remarks)


# -- another patient --


@pytest.mark.parametrize("style", STYLES)
def test_what_was_moved_to_another_patient_is_named_and_not_read(style: str) -> None:
    bundles = week(STYLES[style])
    moved = element(bundles, "Observation", "Blood return from")
    for step in ("reference", "identifier"):
        moved["subject"].pop(step, None)
    moved["subject"]["reference"] = "Patient/LB-999999"
    found = only(read(bundles))
    assert about(found, moved, "access-1", "another patient")
    assert len(found.remarks) == 1
    assert "blood_return" not in event(found, "access-1")


def test_a_stale_number_beside_the_other_patients_id_hides_nothing() -> None:
    bundles = sent(episode("uncomplicated-week"), config=LITERAL)
    moved = element(bundles, "Observation", "Blood return from")
    assert "identifier" in moved["subject"]
    moved["subject"] = moved["subject"] | {"reference": "Patient/LB-999999"}
    found = only(read(bundles))
    assert about(found, moved, "access-1", "another patient")


def test_the_right_id_with_another_number_is_another_patient() -> None:
    bundles = week()
    moved = element(bundles, "Observation", "Blood return from")
    moved["subject"] = moved["subject"] | {"identifier": OTHER}
    assert about(only(read(bundles)), moved, "access-1", "another patient")


def test_the_patient_is_told_by_the_ports_identity_and_not_by_how_many_were_moved() -> None:
    """All but one Observation are moved: the moved ones are named, and the one that is left is read."""
    bundles = week()
    stays = element(bundles, "Observation", "Blood return from")
    for bundle in bundles:
        for entry in bundle["entry"]:
            resource = entry["resource"]
            if resource["resourceType"] == "Observation" and resource is not stays:
                resource["subject"] = {"reference": "Patient/LB-999999", "identifier": OTHER}
    found = only(read(bundles))
    assert event(found, "access-1")["blood_return"] == "present"
    assert sum("another patient" in one for one in found.remarks) > 50
    assert not about(found, stays, "access-1", "")


def test_a_record_that_was_moved_whole_is_not_read_as_the_other_patients(tmp_path: Path) -> None:
    """By type, where the Patient has a row: its number is not the one that the port's identity was made of."""
    folder = tmp_path / "bulk"
    assert run("bundle", FOLDER / "two-septa.yaml", "--by-type", folder, "--no-note").exit_code == 0
    file = folder / "Patient.ndjson"
    patient = json.loads(file.read_text())
    patient["identifier"][0]["value"] = "LB-999999"
    patient["name"][0]["family"] = "Somebody"
    file.write_text(json.dumps(patient) + "\n")
    done = run("readback", folder, "--out", tmp_path / "x.yaml")
    assert done.exit_code == 1
    assert done.stderr.count("another patient") > 50
    assert "Somebody" not in (tmp_path / "x.yaml").read_text()


def test_a_number_that_was_added_is_the_same_patients() -> None:
    whole = episode("uncomplicated-week")
    first = whole.patient.identifiers[0]
    numbers = (first.model_copy(update={"replaced": True}), first.model_copy(update={"value": "LB-7000"}))
    patient = whole.patient.model_copy(update={"identifiers": numbers})
    merged = whole.model_copy(update={"patient": patient})
    for options in STYLES.values():
        later = sent(merged, options)
        assert only(read([*week(options)[:2], *later[2:]])).remarks == ()


def test_what_names_no_patient_is_named_and_not_read() -> None:
    bundles = week()
    bare = element(bundles, "Observation", "Blood return from")
    del bare["subject"]
    found = only(read(bundles))
    assert about(found, bare, "access-1", "it names no patient")
    assert "blood_return" not in event(found, "access-1")


def test_a_version_of_the_patient_is_the_patient() -> None:
    bundles = week()
    element(bundles, "Observation", "Blood return from")["subject"] = {"reference": "Patient/5/_history/2"}
    for bundle in bundles:
        for entry in bundle["entry"]:
            for step in ("subject", "patient", "for"):
                if "Patient?" in str(entry["resource"].get(step, {}).get("reference")):
                    entry["resource"][step] = {"reference": "Patient/5"}
    assert only(read(bundles)).remarks == ()


# -- rules that nobody knows --


@pytest.mark.parametrize(
    "change",
    [
        lambda one: one.update(implicitRules="https://a.example/rules"),
        lambda one: one.update(modifierExtension=[{"url": "https://a.example/not", "valueBoolean": True}]),
        lambda one: one["code"].update(
            coding=[{"modifierExtension": [{"url": "https://a.example/not", "valueBoolean": True}]}]
        ),
    ],
)
def test_what_may_mean_the_opposite_is_named_and_not_read(change: Change) -> None:
    bundles = week()
    bent = element(bundles, "Observation", "Blood return from")
    change(bent)
    found = only(read(bundles))
    assert about(found, bent, "access-1", "this program does not know it; R4 says not to process it")
    assert "blood_return" not in event(found, "access-1")


def test_rules_of_a_bundle_or_an_entry_are_those_of_what_is_in_it() -> None:
    bundles = week()
    bundles[0]["implicitRules"] = "https://a.example/rules"
    found = read(bundles)
    assert "access-1" not in [one["id"] for one in only(found).data["events"]]
    assert any(one.startswith("Provenance ") and "rules of its own" in one for one in found.remarks)


# -- statuses --


def test_a_procedure_that_is_entered_in_error_takes_its_entry_with_it() -> None:
    bundles = week()
    element(bundles, "Procedure", "Access")["status"] = "entered-in-error"
    procedure = element(bundles, "Procedure", "Access")
    found = only(read(bundles))
    assert about(found, procedure, "access-1", "is entered in error, and no retraction of the entry is here")
    assert "access-1" not in [one["id"] for one in found.data["events"]]


def test_a_procedure_whose_status_is_the_opposite_of_the_entry_is_named() -> None:
    bundles = week()
    procedure = element(bundles, "Procedure", "Access")
    procedure |= {"status": "not-done", "statusReason": {"text": "refused"}}
    assert about(only(read(bundles)), procedure, "access-1", "its status is not-done, and its entry says completed")


def test_an_access_whose_dressing_was_not_done_is_done() -> None:
    """Found by generated records: only a dressing change is undone by that."""
    data = json.loads(episode("uncomplicated-week").model_dump_json(exclude_unset=True))
    data["events"][0]["dressing"] = {"not_done": "none on the ward"}
    assert only(read(sent(Episode.model_validate_json(json.dumps(data))))).remarks == ()


@pytest.mark.parametrize(
    "kind, text, status, part",
    [
        ("MedicationAdministration", "sodium chloride", "not-done", "flushes"),
        ("Observation", "Blood return from", "cancelled", "blood_return"),
        ("Device", "Non-coring needle", "entered-in-error", "needle"),
    ],
)
def test_a_status_that_says_the_opposite_is_named_and_the_part_not_read(
    kind: str, text: str, status: str, part: str
) -> None:
    bundles = week()
    bent = element(bundles, kind, text)
    name = identity(bent)
    for bundle in bundles:
        for entry in bundle["entry"]:
            if name in entry["fullUrl"]:
                entry["resource"]["status"] = status
    found = only(read(bundles))
    assert about(found, bent, "access-1", "")
    assert part not in event(found, "access-1")


def test_observations_that_no_one_retracted_are_each_named() -> None:
    bundles = week()
    wrong = [
        entry["resource"]
        for entry in bundles[0]["entry"]
        if entry["resource"]["resourceType"] == "Observation"
        and entry["fullUrl"] in [one["reference"] for one in bundles[0]["entry"][-1]["resource"].get("target", ())]
    ]
    assert len(wrong) > 5
    for one in wrong:
        one["status"] = "entered-in-error"
    found = only(read(bundles))
    assert all(about(found, one, "access-1", "is entered in error") for one in wrong)


def test_what_was_retracted_and_corrected_is_not_named() -> None:
    assert only(read(sent(episode("corrected-entries")))).remarks == ()


def test_what_the_record_began_with_is_not_taken_back_in_silence() -> None:
    bundles = week(Options(with_context=True))
    for bundle in bundles:
        for entry in bundle["entry"]:
            if entry["resource"]["resourceType"] == "List":
                entry["resource"]["status"] = "entered-in-error"
    assert any(one.startswith("List ") and "entered in error" in one for one in only(read(bundles)).remarks)
    bundles = sent(episode("heparin-history"))
    allergy = resources(bundles, "AllergyIntolerance")[0]
    allergy["clinicalStatus"]["coding"][0]["code"] = "inactive"
    found = only(read(bundles))
    assert any(f"{identity(allergy)}: is inactive, and no entry withdraws it" in one for one in found.remarks)


# -- the same identity twice --


@pytest.mark.parametrize("where", ["same bundle", "another bundle"])
def test_two_resources_of_one_identity_that_differ_are_named_and_neither_is_read(where: str) -> None:
    bundles = week()
    first = element(bundles, "Observation", "Blood return from")
    at = next(one for one in bundles[0]["entry"] if one["resource"] is first)
    twin = json.loads(json.dumps(at, default=float))
    twin["resource"]["valueCodeableConcept"]["text"] = "absent"
    (bundles[0] if where == "same bundle" else bundles[-1])["entry"].append(twin)
    found = only(read(bundles))
    assert about(found, first, "access-1", "two resources with this identity differ")
    assert "blood_return" not in event(found, "access-1")


def test_the_same_bundle_twice_is_read_once() -> None:
    bundles = week(Options(with_context=True))
    found = read([*bundles, *bundles])
    assert (only(found).remarks, found.remarks) == ((), ())


# -- what is missing --


def bulk(tmp_path: Path) -> Path:
    folder = tmp_path / "bulk"
    assert run("bundle", FOLDER / "two-septa.yaml", "--by-type", folder, "--no-note").exit_code == 0
    return folder


@pytest.mark.parametrize("kind", ["Procedure", "Observation", "MedicationAdministration", "Device", "ServiceRequest"])
def test_a_file_that_is_missing_is_named_by_what_refers_to_it(kind: str, tmp_path: Path) -> None:
    folder = bulk(tmp_path)
    file = folder / f"{kind}.ndjson"
    named = {json.loads(row)["id"] for row in file.read_text().splitlines()}
    file.unlink()
    done = run("readback", folder, "--out", tmp_path / "x.yaml")
    assert done.exit_code == 1
    missing = [row for row in done.stderr.splitlines() if "the entry refers to it, and it is not here" in row]
    assert missing
    assert all(row.startswith(f"two-septa: {kind}/") and " (entry " in row for row in missing)
    told = {row.partition("/")[2].partition(" ")[0] for row in missing}
    assert told <= named
    assert kind == "Device" or told == named


def test_what_no_provenance_refers_to_is_named(tmp_path: Path) -> None:
    folder = bulk(tmp_path)
    file = folder / "Provenance.ndjson"
    *rest, last = file.read_text().splitlines()
    file.write_text("".join(f"{row}\n" for row in rest))
    done = run("readback", folder, "--out", tmp_path / "x.yaml")
    alone = {one["reference"] for one in json.loads(last)["target"]} - {
        one["reference"] for row in rest for one in json.loads(row)["target"]
    }
    assert (done.exit_code, bool(alone)) == (1, True)
    for address in alone:
        if not address.startswith("Device/"):
            assert f"{address}: no Provenance here refers to it" in done.stderr


@pytest.mark.parametrize("demo", ["needle-dislodged", "uncomplicated-week"])
def test_a_part_of_a_record_raises_no_doubts(demo: str) -> None:
    for options in (*STYLES.values(), noted()):
        for bundle in sent(episode(demo), options):
            found = read([bundle])
            assert found.remarks == ()
            assert not [one for one in only(found).remarks if "(entry " in one]
