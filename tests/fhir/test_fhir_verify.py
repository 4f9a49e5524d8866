"""`verify` against correct bundles, single faults, and whatever else JSON can contain."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from typing import Any

import pytest
from fhir_mutants import DROP, MUTANTS, Mutant, load
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lda_notes.fhir.verify import definitions, invariants, primitives
from lda_notes.fhir.verify.models import model_check
from lda_notes.fhir.verify.structure import SHAPE_RULES
from lda_notes.fhir.verify.verification import read_json, verify, verify_json

CORRECT = ("access", "deaccess", "with_context", "corrections")


@pytest.mark.parametrize("name", CORRECT)
def test_a_correct_bundle_has_no_fault(name: str) -> None:
    assert verify(load(name)) == ()
    assert verify(load(name), house=False) == ()
    assert model_check(load(name)) == ()


def test_every_emitted_type_stands_in_a_correct_bundle() -> None:
    types = {entry["resource"]["resourceType"] for name in CORRECT for entry in load(name)["entry"]}
    assert types | {"Bundle", "Medication"} == set(definitions.load().carried)


def test_there_are_faults_of_every_type() -> None:
    assert len(MUTANTS) >= 60
    assert len({mutant.name for mutant in MUTANTS}) == len(MUTANTS)
    assert {mutant.resource_type() for mutant in MUTANTS} | {"Medication"} == set(definitions.load().carried)


TOLD_ELSEWHERE = {"provenance leaves out the procedure": 3}
"""Faults of one entry that are told at another: it is the procedure that lacks a Provenance."""


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name)
def test_a_single_fault_is_found_where_it_was_made(mutant: Mutant) -> None:
    faults = verify(mutant.make())
    assert faults
    at = TOLD_ELSEWHERE.get(mutant.name, mutant.entry_index())
    assert at is None or at in {fault.entry for fault in faults}
    assert all(fault.message.endswith(".") and fault.todo.endswith((".", "?")) for fault in faults)


def test_faults_of_several_entries_are_all_told() -> None:
    bundle = load("access")
    bundle["entry"][3]["resource"]["status"] = "done"
    bundle["entry"][13]["resource"]["intent"] = "order"
    del bundle["entry"][16]["resource"]["recorded"]
    found = {(fault.entry, fault.rule) for fault in verify(bundle)}
    assert found >= {(3, "binding"), (13, "intent"), (16, "required")}


def test_a_fault_names_entry_path_rule_and_value() -> None:
    bundle = load("access")
    bundle["entry"][5]["resource"]["valueQuantity"]["code"] = "ML"
    (fault,) = verify(bundle)
    assert fault.entry == 5
    assert fault.path == ("entry", 5, "resource", "valueQuantity", "code")
    assert fault.where == "entry[5].resource.valueQuantity.code"
    assert fault.rule == "unit"
    assert fault.value == "'ML'"


def _objects(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The path of every object and list below a value, and of every leaf."""
    yield path
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, item in inside:
        yield from _objects(item, (*path, step))


def _changed(name: str, path: tuple[Any, ...], new: Any) -> Any:
    bundle = load(name)
    if not path:
        return new
    holder = bundle
    for step in path[:-1]:
        holder = holder[step]
    if new is DROP:
        del holder[path[-1]]
    else:
        holder[path[-1]] = new
    return bundle


PATHS = [(name, path) for name in CORRECT for path in _objects(load(name))]


def _required_keys(bundle: Any) -> Iterator[tuple[Any, ...]]:
    """Where the official definitions require what stands in a bundle, found by walking both side by side."""
    types = definitions.load().types

    def walk(value: Any, type_name: str, path: tuple[Any, ...]) -> Iterator[tuple[Any, ...]]:
        if type_name == "Resource":
            type_name = value["resourceType"]
            yield (*path, "resourceType")
        for element in types.get(type_name, ()):
            for one in element.types:
                key = element.name.removesuffix("[x]") + (
                    one.removeprefix("Simple")[:1].upper() + one.removeprefix("Simple")[1:] if element.is_choice else ""
                )
                if key not in value:
                    continue
                if element.required:
                    yield (*path, key)
                items = enumerate(value[key]) if element.many else [(None, value[key])]
                for index, item in items:
                    if isinstance(item, dict):
                        yield from walk(item, one, (*path, key) if index is None else (*path, key, index))

    yield from walk(bundle, "Bundle", ())


def test_every_required_element_is_missed_when_it_is_gone() -> None:
    paths = [(name, path) for name in CORRECT for path in _required_keys(load(name))]
    assert len(paths) > 400
    silent = [(name, path) for name, path in paths if not verify(_changed(name, path, DROP), house=False)]
    assert silent == []


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sampled_from(PATHS), st.sampled_from([None, [], {}, "", {"extra": 1}, [[]], [None], float("nan")]))
def test_what_no_element_can_be_is_found_anywhere(where: tuple[str, tuple[Any, ...]], new: Any) -> None:
    assert verify(_changed(*where, new), house=False)


def test_an_unknown_element_is_found_in_every_object() -> None:
    places = [(name, path) for name, path in PATHS if isinstance(_at(name, path), dict)]
    assert len(places) > 1000
    for name, path in places[:: len(places) // 150]:
        bundle = load(name)
        holder = bundle
        for step in path:
            holder = holder[step]
        holder["nonsense"] = "x"
        assert [fault.rule for fault in verify(bundle, house=False)] == ["unknown-element"]


def _at(name: str, path: tuple[Any, ...]) -> Any:
    value = load(name)
    for step in path:
        value = value[step]
    return value


LEAVES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=12),
    st.sampled_from(["2031-13-45", "2031-03-04T25:61:61Z", "urn:uuid:", "#", "Patient/", "x|y", "\ud800", "Task?a=b"]),
)
KEYS = st.one_of(
    st.sampled_from(
        [
            "resourceType",
            "type",
            "entry",
            "resource",
            "request",
            "fullUrl",
            "method",
            "url",
            "identifier",
            "system",
            "value",
            "code",
            "coding",
            "text",
            "reference",
            "extension",
            "meta",
            "tag",
            "contained",
            "status",
            "start",
            "end",
            "valueQuantity",
            "component",
            "dosage",
            "dose",
            "data",
            "size",
            "hash",
            "target",
            "agent",
            "restriction",
            "period",
            "lastModified",
            "authoredOn",
            "_status",
            "div",
            "versionId",
            "ifNoneExist",
        ]
    ),
    st.text(max_size=6),
)
JSON = st.recursive(
    LEAVES,
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(KEYS, inner, max_size=5)),
    max_leaves=25,
)


@settings(max_examples=300, deadline=None)
@given(JSON, st.booleans())
def test_nothing_in_json_makes_it_raise(value: Any, house: bool) -> None:
    verify(value, house=house)
    verify({"resourceType": "Bundle", "type": "transaction", "entry": value}, house=house)
    verify({"resourceType": "Bundle", "type": "transaction", "entry": [{"resource": value}]}, house=house)


@settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sampled_from(PATHS), JSON, st.booleans())
def test_nothing_in_a_bundle_makes_it_raise(where: tuple[str, tuple[Any, ...]], new: Any, house: bool) -> None:
    verify(_changed(*where, new), house=house)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sampled_from(PATHS), JSON)
def test_the_models_never_raise_either(where: tuple[str, tuple[Any, ...]], new: Any) -> None:
    model_check(_changed(*where, new))


def test_endless_nesting_is_a_fault() -> None:
    deep: dict[str, Any] = {"url": "https://example.org/x", "valueString": "x"}
    for _ in range(3000):
        deep = {"url": "https://example.org/x", "extension": [deep]}
    bundle = load("access")
    bundle["entry"][0]["resource"]["extension"] = [deep]
    assert [fault.rule for fault in verify(bundle)] == ["depth"]
    assert [fault.rule for fault in verify_json(b"[" * 200_000)] == ["depth"]


@pytest.mark.parametrize(
    ("data", "rule", "word"),
    [
        (b"", "json", "Row 1, column 1"),
        (b'{"a": 1,}', "json", "Row 1, column 9"),
        (b"\xff\xfe", "json", "Byte 1"),
        (b'{"type": "a", "type": "b"}', "json", "'type' stands twice"),
        (b'{"total": ' + b"9" * 5000 + b"}", "json", "more digits than can be read"),
        (b'{"total": NaN}', "json", "NaN"),
        (b"[]", "type", "A list"),
        (b"null", "type", "Null"),
        (b'"Bundle"', "type", "A text"),
    ],
)
def test_what_is_no_bundle_is_told_in_one_sentence(data: bytes, rule: str, word: str) -> None:
    (fault,) = verify_json(data)
    assert fault.rule == rule
    assert word in fault.message


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=40))
def test_no_bytes_make_it_raise(data: bytes) -> None:
    assert verify_json(data)


def test_a_file_is_read_as_written() -> None:
    text = json.dumps(load("access")).replace('"value": 10,', '"value": 10.0,')
    bundle, faults = read_json(b"\xef\xbb\xbf" + text.encode())
    assert faults == ()
    assert verify(bundle) == ()
    assert str(bundle["entry"][12]["resource"]["dosage"]["dose"]["value"]) == "10.0"


def test_every_official_invariant_has_a_row_or_a_reason() -> None:
    rows = {(rule.key, rule.on) for rule in invariants.invariant_rules()}
    for key, invariant in definitions.load().invariants.items():
        if key in invariants.ELSEWHERE:
            assert key not in {row for row, _ in rows}
            continue
        # org-2 and org-3 stand on elements whose type is shared: their rows are on the type that holds them.
        on = {place.rpartition(".")[0] if key in ("org-2", "org-3") else place for place in invariant.on}
        on = {"Extension"} if on == {"*"} else on
        assert {place for row, place in rows if row == key} == on, key


BREAKS: dict[str, dict[str, Any]] = {
    "age-1": {"valueAge": {"value": -1, "system": "http://unitsofmeasure.org", "code": "a"}},
    "cnt-3": {"valueCount": {"value": 1.5, "system": "http://unitsofmeasure.org", "code": "1"}},
    "dis-1": {"valueDistance": {"value": 1, "unit": "mm"}},
    "drt-1": {"valueDuration": {"value": 1, "code": "h", "system": "https://example.org/units"}},
    "qty-3": {"valueQuantity": {"value": 1, "code": "mL"}},
    "rat-1": {"valueRatio": {"numerator": {"value": 1}}},
    "rng-2": {"valueRange": {"low": {"value": 2}, "high": {"value": 1}}},
    "exp-1": {"valueExpression": {"language": "text/fhirpath"}},
    "tim-1": {"valueTiming": {"repeat": {"duration": 1}}},
    "tim-2": {"valueTiming": {"repeat": {"period": 1}}},
    "tim-4": {"valueTiming": {"repeat": {"duration": -1, "durationUnit": "h"}}},
    "tim-5": {"valueTiming": {"repeat": {"period": -1, "periodUnit": "h"}}},
    "tim-6": {"valueTiming": {"repeat": {"periodMax": 1}}},
    "tim-7": {"valueTiming": {"repeat": {"durationMax": 1}}},
    "tim-8": {"valueTiming": {"repeat": {"countMax": 1}}},
    "tim-9": {"valueTiming": {"repeat": {"offset": 5}}},
    "tim-10": {"valueTiming": {"repeat": {"timeOfDay": ["09:40:00"], "when": ["AC"]}}},
    "drq-1": {"valueDataRequirement": {"type": "Task", "codeFilter": [{"path": "a", "searchParam": "b"}]}},
    "drq-2": {"valueDataRequirement": {"type": "Task", "dateFilter": [{"valueDateTime": "2031"}]}},
    "trd-1": {"valueTriggerDefinition": {"type": "data-added", "data": [{"type": "Task"}], "timingDate": "2031-03-04"}},
    "trd-2": {"valueTriggerDefinition": {"type": "named-event", "name": "a", "condition": {"expression": "x"}}},
    "trd-3": {"valueTriggerDefinition": {"type": "periodic"}},
}


@pytest.mark.parametrize("key", BREAKS)
def test_invariants_of_datatypes_are_held(key: str) -> None:
    bundle = load("access")
    bundle["entry"][0]["resource"]["extension"] = [{"url": "https://example.org/x", **BREAKS[key]}]
    assert key in {fault.rule for fault in verify(bundle, house=False)}


def _contained(**device: Any) -> Any:
    bundle = load("access")
    inside = {"resourceType": "Device", "id": "d", **device}
    bundle["entry"][0]["resource"].update(contained=[inside], parent={"reference": "#d"})
    return bundle


@pytest.mark.parametrize(
    ("key", "device"),
    [
        ("dom-2", {"contained": [{"resourceType": "Device", "id": "e"}]}),
        ("dom-4", {"meta": {"versionId": "1"}}),
        ("dom-5", {"meta": {"security": [{"system": "https://example.org/s", "code": "x"}]}}),
    ],
)
def test_invariants_of_contained_resources_are_held(key: str, device: dict[str, Any]) -> None:
    assert verify(_contained(), house=False) == ()
    assert key in {fault.rule for fault in verify(_contained(**device), house=False)}


def test_a_contained_resource_nobody_refers_to_and_a_reference_to_none() -> None:
    bundle = _contained()
    bundle["entry"][0]["resource"]["parent"] = {"reference": "#e"}
    assert {fault.rule for fault in verify(bundle, house=False)} == {"ref-1", "dom-3"}
    del bundle["entry"][0]["resource"]["parent"]
    assert {fault.rule for fault in verify(bundle, house=False)} == {"dom-3"}
    assert "contained" in {fault.rule for fault in verify(_contained())}


@pytest.mark.parametrize(("key", "bundle_type"), [("bdl-9", "document"), ("bdl-10", "document")])
def test_documents_and_messages(key: str, bundle_type: str) -> None:
    bundle = {
        "resourceType": "Bundle",
        "type": bundle_type,
        "entry": [{"resource": load("access")["entry"][0]["resource"]}],
    }
    assert key in {fault.rule for fault in verify(bundle, house=False)}
    assert "bdl-11" in {fault.rule for fault in verify(bundle, house=False)}
    assert "bdl-12" in {fault.rule for fault in verify({**bundle, "type": "message"}, house=False)}


def test_an_entry_of_nothing() -> None:
    bundle = {"resourceType": "Bundle", "type": "collection", "entry": [{"fullUrl": "https://example.org/Task/1"}]}
    assert {fault.rule for fault in verify(bundle, house=False)} == {"bdl-5"}


def test_extensions_of_primitives() -> None:
    reason = {"extension": [{"url": "https://example.org/why", "valueString": "x"}]}
    bundle = load("access")
    bundle["entry"][3]["resource"]["_status"] = reason
    assert verify(bundle, house=False) == ()
    del bundle["entry"][3]["resource"]["status"]
    assert verify(bundle, house=False) == ()
    bundle["entry"][3]["resource"]["_status"] = {"valueString": "x"}
    assert {fault.rule for fault in verify(bundle, house=False)} == {"unknown-element"}
    context = load("with_context")
    context["entry"][1]["resource"]["name"][0].update(given=["Robin", None], _given=[None, reason])
    assert verify(context, house=False) == ()
    del context["entry"][1]["resource"]["name"][0]["_given"]
    assert {fault.rule for fault in verify(context, house=False)} == {"null"}


@pytest.mark.parametrize(
    ("first", "second", "later"),
    [
        ("2031-03-04T09:40:00-06:00", "2031-03-04T15:40:00Z", False),
        ("2031-03-04T09:40:01-06:00", "2031-03-04T15:40:00Z", True),
        ("2031-03-04T09:40:00.5Z", "2031-03-04T09:40:00.25Z", True),
        ("2031-03-04T23:59:60Z", "2031-03-05T00:00:00Z", False),
        ("2031-03-05", "2031-03-04", True),
        ("2031-03", "2031-03-04", None),
        ("2031-03-04", "2031-03-04", False),
        ("2031-03-04T09:40:00Z", "2031-03-04", None),
        ("2032", "2031-12-31T00:00:00Z", True),
    ],
)
def test_moments_are_compared_as_instants(first: str, second: str, later: bool | None) -> None:
    assert primitives.is_later(first, second) is later


def test_rules_of_an_object_wait_for_its_shape_alone() -> None:
    bundle = load("access")
    observation = bundle["entry"][4]["resource"]
    observation["status"] = "done"
    observation["dataAbsentReason"] = {"text": "Not known"}
    assert {fault.rule for fault in verify(bundle)} >= {"binding", "obs-6"}
    assert "binding" not in SHAPE_RULES


def test_the_input_is_left_alone() -> None:
    for mutant in MUTANTS[:: len(MUTANTS) // 20]:
        bundle = mutant.make()
        before = copy.deepcopy(bundle)
        verify(bundle)
        assert bundle == before
