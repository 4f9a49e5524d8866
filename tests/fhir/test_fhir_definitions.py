"""What `verify` checks against is what HL7 published."""

from __future__ import annotations

import gzip
import json

import fhir_examples
import fhir_official
import make_definitions

from lda_notes.fhir.verify import definitions
from lda_notes.fhir.verify.verification import verify


def test_the_shipped_definitions_are_made_from_the_official_package() -> None:
    assert make_definitions.TARGET.read_bytes() == make_definitions.made()
    assert make_definitions.OTHERS.read_bytes() == make_definitions.made_others()


def test_they_are_small_and_say_where_they_come_from() -> None:
    packed = make_definitions.TARGET.read_bytes()
    assert len(packed) < 16 * 1024
    assert len(make_definitions.OTHERS.read_bytes()) < 48 * 1024
    assert "hl7.fhir.r4.core 4.0.1" in json.loads(gzip.decompress(packed))["source"]


def test_cardinalities_are_those_of_the_official_snapshot() -> None:
    """Counted by another way than the script's: straight from the snapshot of one type."""
    snapshot = fhir_official.core()["StructureDefinition-Procedure.json"]["snapshot"]["element"]
    top = {e["path"].split(".")[1]: e for e in snapshot if e["path"].count(".") == 1}
    ours = {element.name: element for element in definitions.load().types["Procedure"]}
    assert top.keys() == ours.keys()
    assert {name for name, e in top.items() if e["min"]} == {n for n, e in ours.items() if e.required}
    assert {name for name, e in top.items() if e["max"] == "*"} == {n for n, e in ours.items() if e.many}
    assert definitions.load().bindings["event-status"] == {
        concept["code"] for concept in fhir_official.core()["CodeSystem-event-status.json"]["concept"]
    }


def test_there_are_published_examples_of_every_emitted_type() -> None:
    published = fhir_examples.published()
    assert {name.split("-")[0] for name in published} == set(fhir_examples.TYPES)
    assert set(definitions.load().carried) == {*fhir_examples.TYPES, "Medication"}
    assert set(fhir_examples.EXCEPTIONS) <= published.keys()


def test_no_published_example_has_a_fault_but_its_own() -> None:
    wrong = {}
    for name, resource in fhir_examples.published().items():
        faults = verify(fhir_examples.in_a_bundle(resource), house=False)
        expected = {fhir_examples.EXCEPTIONS[name][0]} if name in fhir_examples.EXCEPTIONS else set()
        if {fault.rule for fault in faults} != expected:
            wrong[name] = [str(fault) for fault in faults][:5]
    assert wrong == {}
