"""Every invariant that ``verify`` checks by a row of its own, against its official expression by a FHIRPath engine.

Source of the expressions: StructureDefinitions of hl7.fhir.r4.core 4.0.1; of the objects that they are tried on:
hl7.fhir.r4.examples 4.0.1, as published and with one element left out, added or exchanged. The engine is fhirpathpy.
"""

from __future__ import annotations

import functools
import random
from collections.abc import Callable, Iterator
from typing import Any, Final

import fhir_examples
import fhir_official
import pytest
from fhirpathpy import compile as compiled
from fhirpathpy.engine.nodes import ResourceNode
from fhirpathpy.engine.util import get_data
from fhirpathpy.models import models

from lda_notes.fhir.verify.definitions import Element, load_all
from lda_notes.fhir.verify.invariants import _ROWS
from lda_notes.fhir.verify.scope import Scope

Json = dict[str, Any]

SAMPLES: Final = 12
CHANGES: Final = 150

TYPES: Final = (*fhir_examples.TYPES, "ActivityDefinition", "MedicationRequest", "Medication", "PlanDefinition")
"""Resource types whose examples are taken: those that we carry, and some with datatypes that these never use."""

_HL7: Final = "http://terminology.hl7.org/CodeSystem/"


def _coded(system: str, code: str) -> Json:
    return {"coding": [{"system": _HL7 + system, "code": code}]}


ALSO: Final[dict[str, list[tuple[str, Any]]]] = {
    "Age": [("value", -1), ("system", "http://other.example"), ("code", "a")],
    "AllergyIntolerance": [
        ("verificationStatus", _coded("allergyintolerance-verification", "entered-in-error")),
        ("clinicalStatus", _coded("allergyintolerance-clinical", "active")),
    ],
    "Attachment": [("data", "AAAA"), ("url", "https://a.example")],
    "Bundle": [("type", kind) for kind in ("document", "message", "searchset", "history", "batch-response", "batch")]
    + [("total", 1), ("timestamp", "2031-03-04T10:00:00Z"), ("identifier", {"system": "urn:a", "value": "b"})]
    + [("entry", [{"fullUrl": "https://a.example/Patient/1", "resource": {"resourceType": "Patient"}}] * 2)]
    + [("entry", [{"search": {"mode": "match"}, "resource": {"resourceType": "Patient"}}])]
    + [("entry", [{"response": {"status": "200"}}])],
    "Bundle.entry": [("fullUrl", "https://a.example/Patient/1/_history/2")],
    "Condition": [("verificationStatus", _coded("condition-ver-status", "entered-in-error")), ("abatementString", "a")]
    + [("clinicalStatus", _coded("condition-clinical", code)) for code in ("active", "resolved")]
    + [("clinicalStatus", _coded("other", "resolved")), ("verificationStatus", _coded("other", "entered-in-error"))],
    "Condition.evidence": [("extension", [{"url": "a", "valueCode": "b"}])],
    "ContactPoint": [("value", "a"), ("system", "phone")],
    "Count": [("value", 1), ("value", 1.5), ("code", "1"), ("code", "h"), ("system", "http://unitsofmeasure.org")],
    "DataRequirement.codeFilter": [("searchParam", "code"), ("path", "code")],
    "DataRequirement.dateFilter": [("searchParam", "date"), ("path", "date")],
    "Distance": [("value", 1), ("code", "m"), ("system", "http://unitsofmeasure.org"), ("system", "http://a.example")],
    "Duration": [("value", 1), ("code", "h"), ("system", "http://unitsofmeasure.org"), ("system", "http://a.example")],
    "Expression": [("expression", "a"), ("reference", "https://a.example")],
    "Extension": [("valueCode", "a"), ("extension", [{"url": "a", "valueCode": "b"}])],
    "List": [
        ("mode", "changes"),
        ("mode", "working"),
        ("emptyReason", {"text": "none"}),
        ("entry", [{"deleted": True, "item": {"display": "a"}}]),
        ("entry", [{"date": "2031", "item": {"display": "a"}}]),
    ],
    "Observation": [
        ("dataAbsentReason", {"text": "unknown"}),
        ("valueString", "a"),
        ("code", {"coding": [{"code": "a"}]}),
        ("component", [{"code": {"coding": [{"code": "a"}]}}]),
    ],
    "Observation.referenceRange": [("age", {"low": {"value": 1}}), ("text", "a")],
    "Organization": [("address", [{"use": "home"}]), ("telecom", [{"use": "home"}]), ("telecom", [{"use": "work"}])],
    "Patient": [
        ("contained", [{"resourceType": "Patient", "contained": [{"resourceType": "Patient", "id": "b"}]}]),
        (
            "contained",
            [{"resourceType": "Patient", "id": "a", "meta": {"versionId": "1", "security": [{"code": "R"}]}}],
        ),
    ],
    "Patient.contact": [("gender", "other"), ("name", {"text": "a"})],
    "Period": [("start", "2031-03-04"), ("end", "2031-03-03"), ("end", "2031-03-05")],
    "Quantity": [("code", "mL"), ("system", "http://unitsofmeasure.org"), ("comparator", "<")],
    "Range": [("low", {"value": 2}), ("high", {"value": 1})],
    "Ratio": [
        ("numerator", {"value": 2}),
        ("denominator", {"value": 1}),
        ("extension", [{"url": "a", "valueCode": "b"}]),
    ],
    "ServiceRequest": [("orderDetail", [{"text": "a"}])],
    "Task": [("authoredOn", "2031-03-04T10:00:00Z"), ("lastModified", "2031-03-04T09:00:00Z")],
    "Timing.repeat": [
        ("duration", -1),
        ("durationUnit", "h"),
        ("durationMax", 2),
        ("duration", 1),
        ("periodMax", 2),
        ("period", -1),
        ("period", 1),
        ("periodUnit", "h"),
        ("countMax", 2),
        ("count", 1),
        ("offset", 5),
        ("timeOfDay", ["10:00:00"]),
        ("when", ["C"]),
        ("when", ["MORN"]),
    ],
    "TriggerDefinition": [
        ("type", "data-added"),
        ("type", "periodic"),
        ("name", "a"),
        ("data", [{"type": "Patient"}]),
        ("timingDate", "2031"),
        ("condition", {"language": "text/cql", "expression": "a"}),
    ],
}
"""Values by hand that published examples lack and without which an invariant is never broken."""


def _profile_of(on: str) -> str:
    """The type of the objects: a SimpleQuantity is a profile of Quantity; ``*`` is tried on Patient."""
    return {"*": "Patient", "SimpleQuantity": "Quantity"}.get(on, on)


def expression(key: str, on: str) -> tuple[str, str]:
    """The official expression of an invariant, and the path of the element that it stands on."""
    name = on.partition(".")[0] if on != "*" else "Patient"
    definition = fhir_official.core()[f"StructureDefinition-{name}.json"]
    for element in definition["snapshot"]["element"]:
        for one in element.get("constraint", ()):
            if one["key"] == key and element["path"] in (_profile_of(on), f"{on}.address", f"{on}.telecom"):
                return str(one["expression"]), str(element["path"])
    raise AssertionError((key, on))


EMPTY_HOLDS: Final = {"bdl-8": "without a fullUrl there is nothing to contain a version"}
"""Invariants of which an expression without an answer is no breach."""

NOT_BY_THE_ENGINE: Final = {
    "dom-3": "the engine refuses `as` on several values; the reference validator judges it (ORACLES.md)",
    "rng-2": "the engine cannot compare Quantities; the reference validator judges it (ORACLES.md)",
}
"""Invariants whose expression the engine cannot evaluate, and what holds them instead."""


@functools.cache
def samples() -> dict[str, list[Json]]:
    """Objects of each type and backbone element, from the published examples."""
    found: dict[str, list[Json]] = {}
    for resource in fhir_official.examples(*TYPES).values():
        if len(found.get(resource["resourceType"], ())) < SAMPLES:
            for name, value in _inside(str(resource["resourceType"]), resource):
                kept = found.setdefault(name, [])
                if len(kept) < SAMPLES and value not in kept:
                    kept.append(value)
    return found


def _inside(name: str, value: Json) -> Iterator[tuple[str, Json]]:
    yield name, value
    kinds = {key: kind for element in load_all().types.get(name, ()) for key, kind in _keys(element)}
    for key, item in value.items():
        for one in item if isinstance(item, list) else [item]:
            if isinstance(one, dict) and key in kinds:
                kind = kinds[key]
                yield from _inside(str(one.get("resourceType")) if kind == "Resource" else kind, one)


def _keys(element: Element) -> Iterator[tuple[str, str]]:
    for kind in element.types:
        suffix = kind.removeprefix("Simple")
        yield (
            (element.name.removesuffix("[x]") + suffix[0].upper() + suffix[1:] if element.is_choice else element.name),
            kind,
        )


def changed(name: str, key: str) -> list[Json]:
    """The samples of a type, and what comes of leaving out, adding or exchanging elements of them; all required ones
    are there, since an invariant is asked only of objects of the right shape.
    """
    known = samples().get(name, [{}])
    chance = random.Random(f"{name} {key}")
    pool = [one for sample in known for one in sample.items() if one[0] != "resourceType"]
    by_hand = ALSO.get(name, [])
    made = list(known)
    for _ in range(CHANGES):
        value = dict(chance.choice([*known, dict(by_hand)]))
        for _ in range(chance.choice((1, 1, 2, 3))):
            element, other = chance.choice(by_hand if by_hand and (not pool or chance.random() < 0.6) else pool)
            if element in value and chance.random() < 0.5:
                del value[element]
            else:
                value[element] = other
        made.append(value)
    required = {element.name for element in load_all().types[name] if element.required and not element.is_choice}
    return [one for one in made if required <= one.keys() and one.keys() - {"resourceType"}]


def _has_value(inputs: list[Any]) -> bool:
    return len(inputs) == 1 and not isinstance(get_data(inputs[0]), dict)


def by_engine(key: str, on: str) -> Callable[[Json], bool]:
    """Whether an object holds an invariant, as the engine evaluates its official expression.

    FHIR adds ``hasValue`` to FHIRPath (R4, 2.9.1.5.1); the engine lacks it.
    """
    functions = {"userInvocationTable": {"hasValue": {"fn": _has_value, "arity": {0: []}}}}
    says, path = expression(key, on)
    judge = compiled(says, models["r4"], functions)
    inner = path.removeprefix(_profile_of(on)).removeprefix(".")

    def holds(value: Json) -> bool:
        values = value.get(inner, []) if inner else [value]
        said = [judge(ResourceNode.create_node(one, path), {"resource": value}) for one in values]
        return all(one == [True] or (one == [] and key in EMPTY_HOLDS) for one in said)

    return holds


ROWS: Final = {
    f"{key} on {on}": (key, on, needs.split(), holds) for key, on, needs, holds in _ROWS if key not in NOT_BY_THE_ENGINE
}


@pytest.mark.parametrize("row", ROWS)
def test_a_row_and_the_official_expression_agree(row: str) -> None:
    key, on, needs, holds = ROWS[row]
    judge = by_engine(key, on)
    said = set()
    for value in changed(_profile_of(on), key):
        ours = bool(needs and not value.keys() & needs) or holds(value, Scope({})) is True
        assert ours == judge(value), value
        said.add(ours)
    assert said == {True, False}
