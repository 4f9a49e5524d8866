"""What was sent against what is held."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from lda_notes.sending.compare import Difference, differences

BASE = "https://fhir.example.org/r4"
KNOWN = {"urn:uuid:1": "Device/7", "Patient?identifier=s|1": "Patient/4"}


def apart(sent: Any, held: Any) -> list[Difference]:
    return differences(sent, held, KNOWN.get, BASE)


def paths(sent: Any, held: Any) -> list[str]:
    return [one.path for one in apart(sent, held)]


SAME: list[tuple[Any, Any]] = [
    ({"a": 1}, {"id": "9", "meta": {"versionId": "3", "lastUpdated": "x", "source": "#y"}, "a": 1}),
    ({"a": Decimal("2.50")}, {"a": Decimal("2.5")}),
    ({"a": 2}, {"a": Decimal("2.0")}),
    ({"at": "2031-03-04T09:00:00+00:00"}, {"at": "2031-03-04T09:00:00Z"}),
    ({"at": "2031-03-04T09:00:00-06:00"}, {"at": "2031-03-04T15:00:00.000Z"}),
    ({"device": {"reference": "urn:uuid:1"}}, {"device": {"reference": "Device/7"}}),
    ({"device": {"reference": "urn:uuid:1"}}, {"device": {"reference": f"{BASE}/Device/7"}}),
    ({"device": {"reference": "urn:uuid:1"}}, {"device": {"reference": "Device/7/_history/2"}}),
    ({"subject": {"reference": "Patient?identifier=s|1"}}, {"subject": {"reference": "Patient/4"}}),
    ({"subject": {"reference": "Patient/4"}}, {"subject": {"reference": "Patient/4"}}),
    (
        {"subject": {"type": "Patient", "identifier": {"system": "s", "value": "1"}}},
        {"subject": {"reference": "Patient/4"}},
    ),
    ({"a": 1}, {"a": 1, "text": {"status": "generated", "div": "<div/>"}}),
    ({"meta": {"tag": [{"code": "1"}]}}, {"meta": {"tag": [{"code": "x"}, {"code": "1"}], "profile": ["p"]}}),
]  # fmt: skip


@pytest.mark.parametrize("pair", range(len(SAME)))
def test_the_same_in_other_words(pair: int) -> None:
    assert apart(*SAME[pair]) == []


DIFFERENT: list[tuple[Any, Any, list[str]]] = [
    ({"status": "final"}, {"status": "amended"}, ["status"]),
    ({"a": Decimal("2.50")}, {"a": Decimal("2.51")}, ["a"]),
    ({"a": 1}, {"a": True}, ["a"]),
    ({"a": 1}, {"a": "1"}, ["a"]),
    ({"a": 1}, {}, ["a"]),
    ({}, {"a": 1}, ["a"]),
    ({"at": "2031-03-04T09:00:00-06:00"}, {"at": "2031-03-04T09:00:00-05:00"}, ["at"]),
    ({"at": "2031-03-04T09:99:00-06:00"}, {"at": "2031-03-04T09:00:00-05:00"}, ["at"]),
    ({"at": "2031-03-04"}, {"at": "2031-03-05"}, ["at"]),
    ({"device": {"reference": "urn:uuid:1"}}, {"device": {"reference": "Device/8"}}, ["device.reference"]),
    ({"device": {"reference": "urn:uuid:2"}}, {"device": {"reference": "Device/8"}}, ["device.reference"]),
    ({"a": {"reference": "Patient?identifier=s|2"}}, {"a": {"reference": "Patient/4"}}, ["a.reference"]),
    (
        {"a": {"type": "Patient", "identifier": {"system": "s", "value": "1"}}},
        {"a": {"reference": "Patient/5"}},
        ["a.type", "a.identifier", "a.reference"],
    ),
    ({"a": [1, 2]}, {"a": [1]}, ["a[1]"]),
    ({"a": [1]}, {"a": [2, 3]}, ["a[0]", "a[1]"]),
    ({"a": {"b": [{"c": 1}]}}, {"a": {"b": [{"c": 2, "d": 1}]}}, ["a.b[0].c", "a.b[0].d"]),
    ({"a": 1}, {"a": 1, "text": {"status": "additional"}}, ["text"]),
    ({"meta": {"tag": [{"code": "1"}]}}, {"meta": {"tag": [{"code": "x"}]}}, ["meta"]),
    ({"meta": {"tag": [{"code": "1"}]}}, {}, ["meta"]),
]  # fmt: skip


@pytest.mark.parametrize("pair", range(len(DIFFERENT)))
def test_a_difference_is_named_by_its_element(pair: int) -> None:
    sent, held, expected = DIFFERENT[pair]
    assert paths(sent, held) == expected


def test_both_values_are_told() -> None:
    assert apart({"a": [1]}, {"a": [2]}) == [Difference("a[0]", 1, 2)]
    assert apart({"a": 1}, {"b": 2}) == [Difference("a", 1, None), Difference("b", None, 2)]


def test_why_findings_were_overruled_is_no_difference() -> None:
    said = {"text": "Sent despite findings: server test"}
    plain = {"resourceType": "Provenance", "reason": [{"text": "wrong patient"}]}
    told = {"resourceType": "Provenance", "reason": [{"text": "wrong patient"}, said]}
    assert apart(plain, told) == apart(told, plain) == []
    assert apart({"resourceType": "Provenance"}, {"resourceType": "Provenance", "reason": [said]}) == []
    assert paths({"resourceType": "Provenance"}, plain) == ["reason"]
    assert paths({"resourceType": "Task"}, {"resourceType": "Task", "reason": [said]}) == ["reason"]


def test_targets_of_a_provenance_that_others_decide_may_change() -> None:
    def provenance(*addresses: str) -> dict[str, Any]:
        return {"resourceType": "Provenance", "target": [{"reference": one} for one in addresses]}

    assert apart(provenance("urn:uuid:1", "Task/2"), provenance("Task/2", "Device/7")) == []
    assert apart(provenance("Task/2"), provenance("Task/3")) == [Difference("target", ["Task/2"], ["Task/3"])]
    assert paths(provenance("urn:uuid:2"), provenance("Task/3")) == ["target"]
    moved = provenance("urn:uuid:1", "Task/2"), provenance("Device/7", f"{BASE}/Task/3", "Task/4")
    assert differences(*moved, KNOWN.get, BASE, lambda address: not address.startswith("Task/")) == []
    kept = provenance("urn:uuid:1"), provenance("Device/8")
    assert [one.path for one in differences(*kept, KNOWN.get, BASE, lambda address: address == "Device/7")] == [
        "target"
    ]
    unknown = provenance("urn:uuid:2"), provenance()
    assert [one.path for one in differences(*unknown, KNOWN.get, BASE, lambda address: False)] == ["target"]
