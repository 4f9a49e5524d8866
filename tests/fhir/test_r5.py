"""R5 from the same source: accepted by the R5 models, with nothing of R4 left in it."""

from __future__ import annotations

import json
from typing import Any

import pytest
from fhir_demos import CONFIG, DEMOS, changed, episode, made, noted

from lda_notes.fhir.build.bundle import Options
from lda_notes.fhir.build.naming import Names
from lda_notes.fhir.build.r5 import to_r5
from lda_notes.fhir.elements import to_json

NAMES = Names(CONFIG.systems.identity)
ASKED = {
    "plain": lambda: Options(),
    "whole": lambda: Options(with_context=True, us_core=True, notes=noted().notes),
}


def r5(demo: str, options: Options | None = None) -> list[dict[str, Any]]:
    return [json.loads(to_json(to_r5(one.bundle, NAMES))) for one in made(episode(demo), options)]


def found(bundles: list[dict[str, Any]], kind: str) -> list[dict[str, Any]]:
    return [
        entry["resource"]
        for bundle in bundles
        for entry in bundle["entry"]
        if entry["resource"]["resourceType"] == kind
    ]


@pytest.mark.parametrize("asked", ASKED)
@pytest.mark.parametrize("demo", DEMOS)
def test_the_r5_models_take_every_demo(demo: str, asked: str) -> None:
    from fhir.resources.bundle import Bundle

    for bundle in r5(demo, ASKED[asked]()):
        Bundle.model_validate_json(json.dumps(bundle))


def test_the_r5_models_refuse_what_is_still_r4() -> None:
    from fhir.resources.bundle import Bundle
    from pydantic import ValidationError

    with pytest.raises((ValidationError, KeyError)):
        Bundle.model_validate_json(to_json(made(episode("two-septa"))[0].bundle))


def test_making_r5_leaves_the_r4_bundle_as_it_was() -> None:
    for one in made(episode("corrected-entries"), noted()):
        before = to_json(one.bundle)
        to_r5(one.bundle, NAMES)
        assert to_json(one.bundle) == before


def test_each_device_of_a_patient_brings_its_association() -> None:
    for bundle in r5("two-septa"):
        devices = [one["fullUrl"] for one in bundle["entry"] if one["resource"]["resourceType"] == "Device"]
        associated = {one["device"]["reference"]: one for one in found([bundle], "DeviceAssociation")}
        assert sorted(devices) == sorted(associated)
        assert all(one["subject"]["reference"].endswith("|LB-000959") for one in associated.values())
    statuses = [one["status"]["coding"][0]["code"] for one in found(r5("two-septa"), "DeviceAssociation")]
    assert set(statuses) == {"implanted", "attached", "unknown"}


def test_a_retracted_needle_is_associated_in_error() -> None:
    retraction = {"id": "r", "kind": "retraction", "at": "2026-12-01T10:00-06:00", "of": "access-medial"}
    whole = changed(episode("two-septa"), more=[retraction])
    bundles = [to_r5(one.bundle, NAMES) for one in made(whole) if one.event == "r"]
    statuses = {one["status"]["coding"][0]["code"] for one in found(bundles, "DeviceAssociation")}
    assert "entered-in-error" in statuses


def test_conditions_go_to_the_r5_types() -> None:
    urls = {
        one["request"]["url"].partition("?")[0]: one["resource"]["resourceType"]
        for bundle in r5("two-septa", noted())
        for one in bundle["entry"]
    }
    assert all(url == kind for url, kind in urls.items())
    assert "DeviceUsage" in urls
    assert "DeviceUseStatement" not in urls


def test_elements_moved_to_their_r5_places() -> None:
    whole = r5("corrected-entries", Options(with_context=True, notes=noted().notes, despite="late"))
    access = found(whole, "Procedure")[0]
    assert "occurrencePeriod" in access
    assert access["used"][0]["reference"]["reference"].startswith("urn:uuid:")
    assert {"concept": {"text": "chlorhexidine in alcohol"}} in access["used"]
    given = found(whole, "MedicationAdministration")[0]
    assert "occurenceDateTime" in given
    assert given["medication"]["concept"]["text"] == "0.9% sodium chloride"
    stay = found(whole, "Encounter")[0]
    assert stay["class"][0]["coding"][0]["code"] == "IMP"
    assert stay["status"] == "completed"
    assert "actualPeriod" in stay
    provenance = found(whole, "Provenance")[0]
    assert provenance["authorization"][-1]["concept"]["text"] == "Sent despite findings: late"
    replacing = [one for one in found(whole, "DocumentReference") if "relatesTo" in one]
    assert {one["relatesTo"][0]["code"]["text"] for one in replacing} == {"replaces", "appends"}
    assert all("context" in one and "period" in one for one in replacing)
    tasks = [one for one in found(whole, "Task") if "statusReason" in one]
    assert all("concept" in one["statusReason"] for one in tasks)


def test_properties_with_several_values_are_split() -> None:
    port = found(r5("two-septa"), "Device")[0]
    septa = [one["valueCodeableConcept"]["text"] for one in port["property"] if one["type"]["text"] == "Septum"]
    assert septa == ["medial", "lateral"]


def test_a_device_identifier_without_its_issuer_is_left_out() -> None:
    for device in found(r5("deliberately-bad"), "Device"):
        assert all("deviceIdentifier" in one and "issuer" in one for one in device.get("udiCarrier", ()))
