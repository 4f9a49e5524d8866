"""The outside validator sees what it is there to see, and says nothing about what is right.

A check that passes everything would be worth nothing, so each fault below must be found where it was made.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from typing import Any

import maven_jar
import pytest
from validator import JavaValidator

Resources = list[dict[str, Any]]
Fault = Callable[[dict[str, Any], Resources], object]

IDS = "https://hospital.example/ids"
PATIENT, PORT, ACCESS, RETURN, SALINE, AUTHOR, NOBODY = (
    f"urn:uuid:00000000-0000-4000-8000-00000000000{n}" for n in range(1, 8)
)


def entry(full_url: str, resource: dict[str, Any], condition: str = "identifier") -> dict[str, Any]:
    kind = resource["resourceType"]
    number = full_url[-1]
    if condition == "identifier":
        resource["identifier"] = [{"system": IDS, "value": number}]
    request = {"method": "POST", "url": kind, "ifNoneExist": f"{condition}={IDS}|{number}"}
    return {"fullUrl": full_url, "resource": resource, "request": request}


def transaction() -> dict[str, Any]:
    return {
        "resourceType": "Bundle",
        "type": "transaction",
        "entry": [
            entry(PATIENT, {"resourceType": "Patient", "name": [{"text": "Example, Never A Person"}]}),
            entry(
                PORT,
                {
                    "resourceType": "Device",
                    "type": {
                        "coding": [
                            {
                                "system": "http://snomed.info/sct",
                                "code": "398013009",
                                "display": "Implantable venous access port",
                            }
                        ]
                    },
                    "patient": {"reference": PATIENT},
                },
            ),
            entry(
                ACCESS,
                {
                    "resourceType": "Procedure",
                    "status": "completed",
                    "code": {"text": "Access of implanted venous access port"},
                    "subject": {"reference": PATIENT},
                    "performedPeriod": {
                        "start": "2026-11-02T10:00:00+01:00",
                        "end": "2026-11-02T10:10:00+01:00",
                    },
                    "focalDevice": [{"manipulated": {"reference": PORT}}],
                },
            ),
            entry(
                RETURN,
                {
                    "resourceType": "Observation",
                    "status": "final",
                    "code": {"text": "Blood return"},
                    "subject": {"reference": PATIENT},
                    "focus": [{"reference": PORT}],
                    "partOf": [{"reference": ACCESS}],
                    "effectiveDateTime": "2026-11-02T10:05:00+01:00",
                    "valueCodeableConcept": {"text": "present"},
                },
            ),
            entry(
                SALINE,
                {
                    "resourceType": "MedicationAdministration",
                    "status": "completed",
                    "medicationCodeableConcept": {"text": "Sodium chloride 0.9 %"},
                    "subject": {"reference": PATIENT},
                    "partOf": [{"reference": ACCESS}],
                    "effectiveDateTime": "2026-11-02T10:06:00+01:00",
                    "dosage": {
                        "dose": {
                            "value": 10,
                            "unit": "mL",
                            "system": "http://unitsofmeasure.org",
                            "code": "mL",
                        }
                    },
                },
            ),
            entry(
                AUTHOR,
                {
                    "resourceType": "Provenance",
                    "meta": {"tag": [{"system": IDS, "code": "6"}]},
                    "target": [{"reference": ACCESS}],
                    "recorded": "2026-11-02T10:20:00+01:00",
                    "agent": [
                        {
                            "type": {
                                "coding": [
                                    {
                                        "system": ("http://terminology.hl7.org/CodeSystem/provenance-participant-type"),
                                        "code": "author",
                                    }
                                ]
                            },
                            "who": {"display": "Example nurse"},
                        }
                    ],
                },
                condition="_tag",
            ),
        ],
    }


# fault made, where the validator must point, what its message id or message must contain
FAULTS: dict[str, tuple[Fault, str, str]] = {
    "required code": (lambda b, r: r[2].update(status="done"), "entry[2].resource", "TX"),
    "dangling reference": (
        lambda b, r: r[2].update(subject={"reference": NOBODY}),
        "entry[2].resource",
        "Not_Local",
    ),
    "missing element": (lambda b, r: r[3].pop("code"), "entry[3].resource", "Observation.code"),
    "wrong target type": (
        lambda b, r: r[2].update(subject={"reference": PORT}),
        "entry[2].resource",
        "BadTargetType",
    ),
    "obs-6": (lambda b, r: r[3].update(dataAbsentReason={"text": "-"}), "entry[3].resource", "obs-6"),
    "mad-1": (lambda b, r: r[4].update(dosage={"text": "some"}), "entry[4].resource", "mad-1"),
    "per-1": (
        lambda b, r: r[2]["performedPeriod"].update(end="2026-11-01T10:00:00+01:00"),
        "entry[2].resource",
        "per-1",
    ),
    "unit not in UCUM": (lambda b, r: r[4]["dosage"]["dose"].update(code="mLs"), "entry[4].resource", "mLs"),
    "no request": (lambda b, r: b["entry"][0].pop("request"), "Bundle", "bdl-3"),
    "one fullUrl twice": (
        lambda b, r: b["entry"][3].update(fullUrl=PORT),
        "Bundle",
        "MultipleMatches",
    ),
    "unknown element": (
        lambda b, r: r[2].update(performedAt="2026"),
        "entry[2].resource",
        "Unrecognized property",
    ),
    "day that is not": (
        lambda b, r: r[3].update(effectiveDateTime="2026-02-30"),
        "entry[3].resource",
        "date/time",
    ),
    "not a time zone": (
        lambda b, r: r[3].update(effectiveDateTime="2026-11-02T10:05:00"),
        "entry[3].resource",
        "timezone",
    ),
    "null": (lambda b, r: r[2].update(outcome=None), "entry[2].resource", "Null"),
}


def test_a_correct_transaction_has_no_error(java_validator: JavaValidator) -> None:
    [issues] = java_validator.check([transaction()])
    assert [issue for issue in issues if issue.is_error] == []
    # No narrative is sent, which is allowed: seeing the warning shows that the resources were judged at all.
    assert {issue.id.rsplit("#", 1)[-1] for issue in issues} >= {"dom-6"}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_found_where_it_was_made(java_validator: JavaValidator, name: str) -> None:
    make, where, word = FAULTS[name]
    broken = copy.deepcopy(transaction())
    make(broken, [each["resource"] for each in broken["entry"]])
    [issues] = java_validator.check([broken])
    errors = [issue for issue in issues if issue.is_error]
    assert any(where in each.location and word in f"{each.id} {each.message}" for each in errors), errors


def test_answers_keep_the_order_of_what_was_asked(java_validator: JavaValidator) -> None:
    right = {"resourceType": "Patient", "gender": "female"}
    wrong = {"resourceType": "Patient", "gender": "femal"}
    answers = java_validator.check([right, wrong, right])
    assert [any(issue.is_error for issue in issues) for issues in answers] == [False, True, False]


def test_text_is_judged_as_it_stands(java_validator: JavaValidator) -> None:
    # U+2028 ends a row for some readers, but not here; laid-out JSON is one resource all the same.
    laid_out = json.dumps({"resourceType": "Patient", "name": [{"text": "A\u2028Ö"}]}, indent=2, ensure_ascii=False)
    twice = laid_out.replace('"name"', '"active": true, "active": false, "name"')
    [once_issues, twice_issues] = java_validator.check([laid_out, twice])
    assert [issue for issue in once_issues if issue.is_error] == []
    assert any("active" in issue.message for issue in twice_issues if issue.is_error)


def test_unknown_outside_code_systems_are_warnings(java_validator: JavaValidator) -> None:
    observation = copy.deepcopy(transaction()["entry"][3]["resource"])
    for key in ("subject", "focus", "partOf"):
        del observation[key]
    observation["code"] = {"coding": [{"system": "http://loinc.org", "code": "72514-3"}]}
    [issues] = java_validator.check([observation])
    about_loinc = [issue for issue in issues if "loinc.org" in issue.message]
    assert about_loinc
    assert {issue.severity for issue in about_loinc} == {"warning"}


def test_what_is_no_resource_is_refused_and_the_next_one_is_judged(java_validator: JavaValidator) -> None:
    with pytest.raises(RuntimeError, match="could not judge resource 0"):
        java_validator.check(["{bad"])
    [issues] = java_validator.check([{"resourceType": "Nope"}])
    assert [issue.severity for issue in issues] == ["fatal"]


def test_a_dead_process_is_told_with_its_last_words() -> None:
    validator = JavaValidator()
    try:
        validator._process.kill()
        validator._process.wait()
        with pytest.raises(RuntimeError, match="ended with code -9"):
            validator.check([{"resourceType": "Patient"}])
    finally:
        validator.close()


def test_missing_java_is_an_error_that_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "/nowhere")
    with pytest.raises(maven_jar.ToolMissing, match="default-jdk-headless maven"):
        JavaValidator()
