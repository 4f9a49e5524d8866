"""Every code and unit that we send stands in a published text, with the display that we send."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any, Literal, get_args, get_origin

import fhir_official
import pytest
from ucumvert import PintUcumRegistry

from lda_notes.fhir import codes, concepts, elements, local, units
from lda_notes.fhir.codes import CODES, LOINC, SNOMED_CT, Code
from lda_notes.fhir.concepts import CONCEPTS
from lda_notes.fhir.verify.check_digits import loinc_is_possible, snomed_ct_is_possible
from lda_notes.fhir.verify.definitions import load
from lda_notes.fhir.verify.faults import Found
from lda_notes.fhir.verify.invariants import invariant_rules
from lda_notes.fhir.verify.profile import profile_rules
from lda_notes.fhir.verify.scope import Scope
from lda_notes.fhir.verify.structure import Compiler
from lda_notes.line.states import HoldReason
from lda_notes.record import vocabulary


def _concepts(concepts: list[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    for concept in concepts:
        yield concept
        yield from _concepts(concept.get("concept", []))


@pytest.fixture(scope="module")
def published() -> Mapping[tuple[str, str], set[str]]:
    """Displays by system and code, from the core package, HL7 Terminology and the published examples."""
    found: dict[tuple[str, str], set[str]] = {}
    for name, resource in fhir_official.core().items():
        if name.startswith("CodeSystem-"):
            groups = [(resource["url"], resource.get("concept", []))]
        else:
            included = resource.get("compose", {}).get("include", []) if name.startswith("ValueSet-") else []
            groups = [(one.get("system", ""), one.get("concept", [])) for one in included]
        for system, listed in groups:
            for concept in _concepts(listed):
                found.setdefault((system, concept["code"]), set()).add(concept.get("display", ""))
    participants = fhir_official.terminology("CodeSystem-provenance-participant-type.json")
    for concept in participants["concept"]:
        found.setdefault((participants["url"], concept["code"]), set()).add(concept["display"])
    for one in fhir_official.terminology("ValueSet-snomed-intl-gps.json")["compose"]["include"]:
        for concept in one["concept"]:
            found.setdefault((one["system"], concept["code"]), set()).add(concept["display"])
    for resource in fhir_official.examples("Observation").values():
        for coding in _codings(resource):
            found.setdefault((coding["system"], coding["code"]), set()).add(coding["display"])
    return found


def _codings(value: Any) -> Iterator[dict[str, Any]]:
    if isinstance(value, dict):
        if value.keys() >= {"system", "code", "display"}:
            yield value
        for item in value.values():
            yield from _codings(item)
    elif isinstance(value, list):
        for item in value:
            yield from _codings(item)


NOT_IN_THE_PACKAGES = {
    "72514-3": "LOINC itself is not in them; the check digit is tested below",
    "Z45.2": "ICD-10-CM is not in them",
    "clinical-note": "US Core is not in them",
}

FULLY_SPECIFIED = {
    "398013009": "Implantable venous access port (physical object)",
    "79068005": "Needle, device (physical object)",
    "18949003": "Change of dressing (procedure)",
    "716186003": "No known allergy (situation)",
    "78904004": "Chest wall structure (body structure)",
    "66288003": "Skin structure of infraclavicular region (body structure)",
    "40983000": "Structure of upper extremity between shoulder and elbow (body structure)",
    "47625008": "Intravenous route (qualifier value)",
    "6064005": "Topical route (qualifier value)",
}
"""SNOMED CT's fully specified names in its Global Patient Set: they name the concept; our display is a synonym."""


@pytest.mark.parametrize("code", CODES, ids=lambda code: code.code)
def test_a_code_is_published_with_its_display(code: Code, published: Mapping[tuple[str, str], set[str]]) -> None:
    if code.code in NOT_IN_THE_PACKAGES:
        assert (code.system, code.code) not in published
        return
    displays = published[code.system, code.code]
    assert FULLY_SPECIFIED.get(code.code, code.display) in displays, displays


def test_codes_stand_once_and_are_used() -> None:
    assert len({(code.system, code.code) for code in CODES}) == len(CODES)
    assert all(any(code in concept.codes for concept in CONCEPTS.values()) for code in CODES)
    assert all(code.verified for code in CODES)
    assert codes.find(LOINC, "72514-3") is not None
    assert codes.find(LOINC, "72514-4") is None


def test_a_concept_always_has_a_text_and_only_verified_codes() -> None:
    pairs = [(concept.use, concept.text) for concept in CONCEPTS.values()]
    assert len(set(pairs)) == len(pairs)
    for key in CONCEPTS:
        said = concepts.codeable(key)
        assert said["text"]
        for coding in said.get("coding", []):
            assert codes.find(coding["system"], coding["code"]) is not None
    assert concepts.codeable("chest", "Left upper chest")["text"] == "Left upper chest"
    assert concepts.codeable("pain") is not concepts.codeable("pain")


def test_every_concept_and_every_word_has_a_code_of_our_own() -> None:
    """The vocabularies of records are the source: a new word has its code at once, and a display that is the word."""
    locals_ = [concept.local for concept in CONCEPTS.values()]
    assert len(set(locals_)) == len(locals_)
    assert len(set(local.WORDS.values())) == len(local.WORDS)
    assert {local.LOCAL[concept.local] for concept in CONCEPTS.values()} == {one.text for one in CONCEPTS.values()}
    for name, held in vars(vocabulary).items():
        for word in get_args(held) if get_origin(held) is Literal else ():
            assert local.LOCAL[local.WORDS[word]] == word, name
    for reason in get_args(HoldReason):
        assert local.LOCAL[CONCEPTS[f"hold: {reason}"].local] == f"On hold: {reason}"


def test_every_concept_of_ours_is_sound() -> None:
    """`verify` takes equal concepts on trust, so each is judged once here without that short way."""
    compiler = Compiler(load(), [*invariant_rules(), *profile_rules()], {})
    check = compiler.check("CodeableConcept")
    faults: list[Found] = [check(concepts.codeable(key), Scope(None)) for key in CONCEPTS]
    assert faults == [None] * len(CONCEPTS)
    assert check({"coding": [{"system": SNOMED_CT, "code": "1", "display": "x"}], "text": "x"}, Scope(None))


# Published codes: LOINC's user guide gives 2951-2 and 8480-6, SNOMED CT's release format guide gives the rest.
@pytest.mark.parametrize("code", ["2951-2", "8480-6", "72514-3", "34746-8", "LA6568-5"])
def test_possible_loinc_codes(code: str) -> None:
    assert loinc_is_possible(code)


@pytest.mark.parametrize("code", ["2951-3", "72541-3", "72514-4", "72514", "-3", "72514-33", "", "LA6568"])
def test_impossible_loinc_codes(code: str) -> None:
    assert not loinc_is_possible(code)


@pytest.mark.parametrize("code", ["138875005", "404684003", "79068005", "71341001:272741003=7771000"])
def test_possible_snomed_ct_codes(code: str) -> None:
    assert snomed_ct_is_possible(code)


@pytest.mark.parametrize(
    "code", ["138875006", "138785005", "18949004", "0138875005", "1388750", "", "138875005x", "71341001:27274100"]
)
def test_impossible_snomed_ct_codes(code: str) -> None:
    assert not snomed_ct_is_possible(code)


def test_check_digits_hold_for_every_published_code() -> None:
    checked = 0
    for name, resource in fhir_official.core().items():
        if not name.startswith("ValueSet-"):
            continue
        for one in resource.get("compose", {}).get("include", []):
            is_possible = {LOINC: loinc_is_possible, SNOMED_CT: snomed_ct_is_possible}.get(one.get("system"))
            for concept in one.get("concept", []) if is_possible else []:
                assert is_possible(concept["code"]), (name, concept)
                checked += 1
    assert checked > 1000


def test_every_unit_is_ucum_and_measures_what_it_says() -> None:
    registry = PintUcumRegistry()
    dimension = {
        "volume": "[length] ** 3",
        "length": "[length]",
        "area": "[length] ** 2",
        "mass": "[mass]",
        "time": "[time]",
        "flow": "[length] ** 3 / [time]",
        "pressure": "[mass] / [length] / [time] ** 2",
        "count": "",
    }
    for unit in units.UNITS.values():
        measured = registry.from_ucum(unit.code)
        if unit.dimension in dimension:
            assert measured.check(dimension[unit.dimension] or "[]"), unit


def test_a_quantity_is_made_of_a_listed_unit() -> None:
    assert elements.quantity(5, "mL") == {"value": 5, "unit": "mL", "system": units.UCUM, "code": "mL"}
    with pytest.raises(KeyError):
        elements.quantity(5, "ML")


def test_no_unit_is_written_as_an_unsafe_abbreviation() -> None:
    written = {unit.written for unit in units.UNITS.values()}
    assert written.isdisjoint({"U", "u", "IU", "cc", "ug", "L", "l"})
    assert json.dumps(sorted(written))
