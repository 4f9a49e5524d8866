"""Patient, port, needles and stay as others find them: what is known of each, until when, and where it is."""

from __future__ import annotations

import base64
from typing import Any

import pytest
from fhir_demos import noted
from in_short import bundles_of, called, said
from made_records import event, needle_event, removal_event

from lda_notes.fhir.build.bundle import Options

Json = dict[str, Any]

PATIENT = "Patient?identifier=https://made.example/mrn|MD-0001"
STAY = "Encounter?identifier=https://example.org/lda-notes/visit|made-1"
HOUSE = "Organization?identifier=https://example.org/lda-notes/facility|Lantern%20Bay%20Hospital%20%28fictional%29"
UNIT = "elsewhere Lantern Bay Hospital (fictional)/Ward Heron"
TEN = "2031-03-04T10:00:00-06:00"
INTO_PORT = "Procedure Access of implanted venous access port"
ACCESS = needle_event("2031-03-04 09:40")
OUT = removal_event("2031-03-06 09:00")
MOVE = event("transfer", "2031-03-05 10:00", to_unit="Ward Plover", to_room="7")
GONE = event("discharge", "2031-03-06 12:00", destination="home", needle_in=False)


def at_ten(kind: str, **facts: Any) -> Json:
    return event(kind, "2031-03-04 10:00", **facts)


# -- the patient --

KNOWN = {
    "allergies": [{"substance": "latex", "reaction": "hives"}, {"substance": "other", "detail": "strawberries"}],
    "history": ["cold intolerance", {"condition": "premature birth", "found_on": "1980-02-03"}],
    "weight_kg": 40,
}
TOLD = at_ten(
    "patient facts",
    allergies=[{"substance": "iodine"}],
    history=[{"condition": "heparin-induced thrombocytopenia", "found_on": "2031-03-01"}],
)
NONE_ANY_MORE = event(
    "patient facts",
    "2031-03-04 11:00",
    allergies_withdrawn=[{"substance": "latex", "reason": "tested"}, {"substance": "iodine"}],
)
ACTIVE = {"clinicalStatus": "Active", "patient": PATIENT}
REFUTED = {"clinicalStatus": "Inactive", "verificationStatus": "Refuted", "patient": PATIENT}
BY_NURSE = {"recordedDate": TEN, "recorder": "Marisol Tamm"}
HIVES = {"reaction": {"manifestation": "hives"}}
OF_STAY = {"subject": PATIENT, "encounter": STAY}


def facts(event: Json, *before: Json, **patient: Any) -> list[tuple[str, Json]]:
    """Return what an event sends of the patient: how, and the words."""
    kinds = ("AllergyIntolerance", "Condition")
    found = said(*before, event, patient=patient)
    return [(one.how, one.words) for one in found if one.event == event["id"] and one.kind in kinds]


def test_what_the_record_began_with_is_sent_once_with_its_first_event() -> None:
    assert facts(ACCESS, **KNOWN) == [
        ("opened", {**ACTIVE, **HIVES, "code": "latex"}),
        ("opened", {**ACTIVE, "code": "strawberries"}),
        ("opened", {**OF_STAY, "code": "cold intolerance"}),
        ("opened", {**OF_STAY, "code": "premature birth", "onsetDateTime": "1980-02-03"}),
    ]
    assert facts(OUT, ACCESS, **KNOWN) == []


def test_what_an_event_told_says_who_and_when() -> None:
    found = "heparin-induced thrombocytopenia"
    assert facts(TOLD, ACCESS, **KNOWN) == [
        ("opened", {**ACTIVE, **BY_NURSE, "code": "iodine"}),
        ("opened", {**OF_STAY, **BY_NURSE, "code": found, "onsetDateTime": "2031-03-01"}),
    ]
    again = at_ten("patient facts", allergies=[{"substance": "latex"}], history=[{"condition": "cold intolerance"}])
    assert facts(again, ACCESS, **KNOWN) == []
    nobody = {key: value for key, value in TOLD.items() if key != "by"}
    assert "recorder" not in facts(nobody, ACCESS, **KNOWN)[0][1]


def test_an_allergy_that_is_none_was_active_until_then() -> None:
    sent = said(ACCESS, TOLD, NONE_ANY_MORE, patient=KNOWN)
    allergies = [(one.how, one.words) for one in sent if one.kind == "AllergyIntolerance"]
    assert [words for how, words in allergies if how == "opened"] == [
        {**ACTIVE, **HIVES, "code": "latex"},
        {**ACTIVE, "code": "strawberries"},
        {**ACTIVE, **BY_NURSE, "code": "iodine"},
    ]
    assert [words for how, words in allergies if how == "changed"] == [
        {**REFUTED, **HIVES, "code": "latex", "note": "Withdrawn: tested"},
        {**REFUTED, **BY_NURSE, "code": "iodine"},
    ]


def test_of_two_of_one_name_each_is_sent() -> None:
    twice = [{"substance": "latex"}, {"substance": "latex", "reaction": "hives"}]
    assert [words["code"] for _, words in facts(ACCESS, allergies=twice)] == ["latex", "latex"]


NO_ALLERGY = {**ACTIVE, "code": "No known allergy"}


@pytest.mark.parametrize(("allergies", "sent"), [([], [("opened", NO_ALLERGY)]), (None, [])])
def test_no_known_allergy_is_said_only_where_it_was_asked(allergies: Any, sent: list[tuple[str, Json]]) -> None:
    assert facts(ACCESS, allergies=allergies) == sent


def test_the_weight_that_the_record_began_with_has_no_time_and_a_measured_one_has() -> None:
    weighed = at_ten("patient facts", weight_kg=41)
    first, second = (
        (one.event, one.words) for one in said(ACCESS, weighed, patient=KNOWN) if "weight" in called(one.words)
    )
    base = {"status": "final", "category": "Vital signs", "code": "Body weight", **OF_STAY}
    unknown = {"extension": {"data-absent-reason": "unknown"}}
    assert first == (
        ACCESS["id"],
        {**base, "_effectiveDateTime": unknown, "performer": HOUSE, "valueQuantity": "40 kg"},
    )
    assert second == (
        weighed["id"],
        {**base, "effectiveDateTime": TEN, "performer": "Marisol Tamm", "valueQuantity": "41 kg"},
    )


def test_the_list_refers_to_what_the_record_began_with_and_says_what_else_it_said() -> None:
    number = {"system": "https://made.example/mrn", "value": "MD-0001"}
    known = {
        **KNOWN,
        "identifiers": [
            {**number, "label": "record number"},
            {"system": "https://made.example/old", "value": "1", "replaced": True},
        ],
    }
    stay = {"admitted_at": "2031-03-04T08:00:00-06:00", "room": None}
    (found,) = (one.words for one in said(ACCESS, patient=known, stay=stay) if one.kind == "List")
    assert [one["item"] for one in found["entry"]] == [
        "elsewhere AllergyIntolerance latex",
        "elsewhere AllergyIntolerance strawberries",
        "elsewhere Condition cold intolerance",
        "elsewhere Condition premature birth",
        "elsewhere Observation Body weight",
    ]
    assert (found["status"], found["mode"], found["code"]) == (
        "current",
        "snapshot",
        "What the port's record began with",
    )
    assert found["extension"]["patient-and-stay"] == [
        {"time-zone": "America/Chicago"},
        {"identifier": {"type": "record number", **number}},
        {"identifier": {"use": "old", "system": "https://made.example/old", "value": "1"}},
        {"name": {"family": "Testmann-0001", "given": "Ottoline"}},
        {"birth-date": "1980-02-03"},
        {"facility": "Lantern Bay Hospital (fictional)"},
        {"unit": "Ward Heron"},
        {"setting": "inpatient"},
        {"admitted-at": "2031-03-04T08:00:00-06:00"},
    ]
    (none,) = (one.words for one in said(ACCESS) if one.kind == "List")
    assert none["entry"] == {"item": "elsewhere AllergyIntolerance No known allergy"}
    (unasked,) = (one.words for one in said(ACCESS, patient={"allergies": None}) if one.kind == "List")
    assert "entry" not in unasked


# -- the port --

UDI = "(01)51022222233336(17)320731(10)A213B1"
DETAILS = {
    "model": "M-1",
    "udi": UDI,
    "touch": "smooth",
    "valved": True,
    "implanted_on": "2031-01-05",
    "site_detail": "infraclavicular",
    "power": {"rated": True, "max_flow_ml_per_s": 5, "max_pressure_psi": 300},
    "catheter_volume_ml": 0.9,
    "tip": {"location": "cavoatrial junction", "method": "radiograph", "on": "2031-01-06"},
}
GS1 = "http://hl7.org/fhir/NamingSystem/gs1-di"
READ = {"deviceIdentifier": "51022222233336", "issuer": GS1, "carrierHRF": UDI, "entryType": "unknown"}
SCANNED = f"{chr(0x1D)}01510222222333361732073110A213B1"


def devices(event: Json, *before: Json, words: str = "needle", **parts: Any) -> list[tuple[str, Json]]:
    """Return the devices of a type that an event sends: how, and the words."""
    found = said(*before, event, **parts)
    mine = [one for one in found if one.event == event["id"] and one.kind == "Device"]
    return [(one.how, one.words) for one in mine if words in one.words["type"].lower()]


def properties(words: Json) -> list[tuple[str, str]]:
    listed = words.get("property", [])
    return [
        (one["type"], one.get("valueCode") or one["valueQuantity"])
        for one in (listed if isinstance(listed, list) else [listed])
    ]


def test_the_port_says_all_that_is_known_of_it() -> None:
    ((how, port),) = devices(ACCESS, words="port", port=DETAILS)
    assert (how, port["status"], port["patient"], port["location"]) == ("opened", "active", PATIENT, UNIT)
    assert [(one["name"], one["type"]) for one in port["deviceName"]] == [
        ("Implanted port, right chest", "user-friendly-name"),
        ("port-1", "other"),
        ("M-1", "model-name"),
    ]
    assert port["udiCarrier"] == READ
    assert properties(port) == [
        ("Side of the body", "right"),
        ("Part of the body", "chest"),
        ("Site detail", "infraclavicular"),
        ("Shape to the touch", "smooth"),
        ("Valve in catheter", "yes"),
        ("Day of implantation", "2031-01-05"),
        ("Septum", "single"),
        ("Power injection rating", "yes"),
        ("Labeled limit of injection rate", "5 mL/s"),
        ("Labeled limit of injection pressure", "300 [psi]"),
        ("Volume of catheter and port", "0.9 mL"),
        ("Catheter tip location", "cavoatrial junction"),
        ("How tip position was confirmed", "radiograph"),
        ("When tip position was confirmed", "2031-01-06"),
    ]


def test_a_port_of_which_little_is_known_says_little() -> None:
    ((_, port),) = devices(ACCESS, words="port", port={"side": None, "area": None})
    assert [one["name"] for one in port["deviceName"]] == ["Implanted port", "port-1"]
    assert properties(port) == [("Septum", "single")]
    assert not {"udiCarrier", "extension", "note", "expirationDate", "lotNumber"} & port.keys()


CARRIERS = [
    (UDI, READ),
    ("+A99912345/9901510X3", {"carrierHRF": "+A99912345/9901510X3", "entryType": "unknown"}),
    (
        SCANNED,
        {
            "deviceIdentifier": "51022222233336",
            "issuer": GS1,
            "carrierAIDC": base64.b64encode(SCANNED.encode()).decode(),
            "entryType": "unknown",
        },
    ),
]


@pytest.mark.parametrize(("udi", "carrier"), CARRIERS, ids=["printed", "not of GS1", "scanned"])
def test_a_device_identifier_is_taken_apart_only_where_it_can_be_read(udi: str, carrier: Json) -> None:
    ((_, port),) = devices(ACCESS, words="port", port={"udi": udi})
    assert {key: value for key, value in port["udiCarrier"].items() if key != "carrierHRF" or key in carrier} == carrier


def test_what_became_known_of_the_port_stands_beside_what_was_first_recorded() -> None:
    told = at_ten("port facts", power={"rated": False}, catheter_volume_ml=1.1)
    ((how, port),) = devices(told, ACCESS, words="port", port={"catheter_volume_ml": 0.9})
    assert (how, ("Power injection rating", "no") in properties(port)) == ("changed", True)
    assert port["extension"]["correction"] == {"before": '[[["catheter_volume_ml"],0.9],[["power"],null]]'}


def test_a_port_that_was_removed_is_inactive_and_of_no_unit_after_the_discharge() -> None:
    removed = event("port removed", "2031-03-06 10:00")
    ((how, port),) = devices(removed, ACCESS, OUT, words="port")
    assert (how, port["status"], port["location"]) == ("changed", "inactive", UNIT)
    ((how, left),) = devices(GONE, ACCESS, OUT, words="port")
    assert (how, left["status"], "location" in left) == ("changed", "active", False)


# -- the needle --

NEEDLE = {
    "gauge": 20,
    "length_mm": 19,
    "non_coring": True,
    "power_rated": False,
    "set_volume_ml": 0.4,
    "connector_volume_ml": 0.1,
    "lot": "L-1",
    "expires": "2032-01-31",
    "rated_flow_ml_per_s": 5,
    "rated_pressure_psi": 300,
    "latex": False,
    "udi": UDI,
}
WHY = {"not_assessed": "no label"}


def test_a_needle_says_all_that_is_known_of_it() -> None:
    ((how, needle),) = devices(at_ten("access", needle=NEEDLE))
    assert (how, needle["status"], needle["location"], needle["extension"]) == (
        "opened",
        "active",
        UNIT,
        {"septum": "single"},
    )
    assert needle["deviceName"]["name"] == "Non-coring needle, 20 gauge, 19 mm"
    assert (needle["lotNumber"], needle["expirationDate"], needle["udiCarrier"]) == ("L-1", "2032-01-31", READ)
    assert properties(needle) == [
        ("Needle gauge", "20 gauge"),
        ("Needle length", "19 mm"),
        ("Priming volume of needle and extension", "0.4 mL"),
        ("Priming volume of connector", "0.1 mL"),
        ("Labeled limit of injection rate", "5 mL/s"),
        ("Labeled limit of injection pressure", "300 [psi]"),
        ("Non-coring", "yes"),
        ("Power injection rating", "no"),
        ("Natural rubber latex on the label", "no"),
    ]


NAMES = [
    ({"gauge": 22}, "Needle, 22 gauge", None),
    ({"length_mm": 25.4, "non_coring": True}, "Non-coring needle, 25.4 mm", None),
    ({"gauge": 19, "non_coring": False}, "Needle, not non-coring, 19 gauge", None),
    ({"gauge": WHY, "length_mm": WHY, "non_coring": WHY}, "Needle", None),
    (None, "Needle", "Needle: not recorded"),
]


@pytest.mark.parametrize(("needle", "name", "note"), NAMES)
def test_a_needle_is_called_by_what_is_known_of_it(needle: Json | None, name: str, note: str | None) -> None:
    ((_, found),) = devices(at_ten("access", needle=needle))
    assert (found["deviceName"]["name"], found.get("note")) == (name, note)


def test_what_could_not_be_seen_of_a_needle_has_its_reason() -> None:
    ((_, needle),) = devices(at_ten("access", needle={"gauge": WHY, "length_mm": WHY, "non_coring": WHY}))
    assert properties(needle) == [(what, "no label") for what in ("Needle gauge", "Needle length", "Non-coring")]
    ((_, found),) = devices(at_ten("arrival accessed", needle=WHY))
    assert found["note"] == "Needle: not assessed, no label"


def test_an_ordinary_needle_is_not_sent_as_a_non_coring_one() -> None:
    found = said(at_ten("access", needle={"gauge": 20, "non_coring": False}))
    (needle,) = (one.words for one in found if one.kind == "Device" and "eedle" in one.words["type"])
    assert needle["type"] == "Needle"


USE = {
    "extension": {"septum": "single"},
    "status": "active",
    "subject": PATIENT,
    "derivedFrom": INTO_PORT,
    "timingPeriod": {"start": "2031-03-04T09:40:00-06:00"},
    "source": "Marisol Tamm",
    "device": "Device Non-coring needle",
    "bodySite": "Right chest",
}


def uses(*events: Json, **parts: Any) -> list[tuple[str, str, Json]]:
    return [(one.event, one.how, one.words) for one in said(*events, **parts) if one.kind == "DeviceUseStatement"]


def test_a_needle_is_used_from_access_to_removal() -> None:
    ended = {
        **USE,
        "status": "completed",
        "derivedFrom": f"elsewhere {INTO_PORT}",
        "timingPeriod": {"start": "2031-03-04T09:40:00-06:00", "end": "2031-03-06T09:00:00-06:00"},
    }
    assert uses(ACCESS, OUT) == [(ACCESS["id"], "opened", USE), (OUT["id"], "changed", ended)]
    charted = {**ACCESS, "charted_at": TEN}
    assert uses(charted)[0][2]["recordedOn"] == TEN
    nobody = {key: value for key, value in ACCESS.items() if key != "by"}
    assert "source" not in uses(nobody)[0][2]
    assert "bodySite" not in uses(ACCESS, port={"side": None, "area": None})[0][2]


ARRIVALS = [
    ({"inserted_at": "2031-03-01T08:00:00-06:00"}, {"start": "2031-03-01T08:00:00-06:00"}, None),
    ({"inserted_at": "2031-03-01"}, {"start": "2031-03-01"}, None),
    ({"inserted_at": WHY}, None, "Time of insertion is not known"),
    ({}, None, "Time of insertion is not known"),
]


@pytest.mark.parametrize(("told", "period", "note"), ARRIVALS)
def test_a_needle_found_in_place_has_no_access_of_ours(told: Json, period: Json | None, note: str | None) -> None:
    ((_, _, use),) = uses(at_ten("arrival accessed", **told))
    assert "derivedFrom" not in use
    assert (use.get("timingPeriod"), use.get("note")) == (period, note)


def test_a_needle_goes_with_the_patient_while_it_is_in() -> None:
    early = event("transfer", "2031-03-04 08:00", to_unit="Ward Wren")
    late = event("transfer", "2031-03-06 10:00", to_unit="Ward Gull")
    assert devices(early, ACCESS) == []
    assert devices(late, ACCESS, OUT) == []
    ((how, moved),) = devices(MOVE, ACCESS)
    assert (how, moved["status"], moved["location"]) == ("changed", "active", UNIT.replace("Heron", "Plover"))
    ((_, out),) = devices(OUT, ACCESS, MOVE, late)
    assert out["location"] == UNIT.replace("Heron", "Plover")
    ((_, there),) = devices(ACCESS, early)
    assert there["location"] == UNIT.replace("Heron", "Wren")


# -- the stay --

CONTEXT = Options(with_context=True)
ADMITTED = {"admitted_at": "2031-03-04T08:00:00-06:00"}


def stays(event: Json, *before: Json, **stay: Any) -> list[tuple[str, Json]]:
    found = said(*before, event, options=CONTEXT, stay=stay)
    return [(one.how, one.words) for one in found if (one.event, one.kind) == (event["id"], "Encounter")]


def test_the_stay_says_where_the_patient_was_one_unit_after_the_other() -> None:
    ((how, begun),) = stays(ACCESS, **ADMITTED)
    assert (how, begun["status"], begun["class"], begun["type"]) == (
        "opened",
        "in-progress",
        "IMP",
        "inpatient",
    )
    assert begun["period"] == {"start": "2031-03-04T08:00:00-06:00"}
    assert (begun["location"]["status"], begun["location"]["period"]["start"]) == ("active", ADMITTED["admitted_at"])
    ((how, moved),) = stays(MOVE, ACCESS, **ADMITTED)
    assert (how, [one["status"] for one in moved["location"]]) == ("changed", ["completed", "active"])
    ends = {"start": ADMITTED["admitted_at"], "end": "2031-03-05T10:00:00-06:00"}
    assert moved["location"][0]["period"] == ends
    ((how, left),) = stays(GONE, ACCESS, MOVE, OUT, **ADMITTED)
    assert (how, left["status"], left["period"]["end"]) == ("changed", "finished", "2031-03-06T12:00:00-06:00")
    ((_, unknown),) = stays(ACCESS)
    assert "period" not in unknown and "period" not in unknown["location"]
    late = "2031-03-05T12:00:00-06:00"
    ((_, moved_first),) = stays(MOVE, ACCESS, admitted_at=late)
    assert moved_first["location"][0]["period"] == {"end": "2031-03-05T10:00:00-06:00"}
    ((_, wrong),) = stays(GONE, ACCESS, OUT, admitted_at="2031-03-07T08:00:00-06:00")
    assert wrong["period"] == {"start": "2031-03-07T08:00:00-06:00"}


SETTINGS = [("emergency", "EMER"), ("outpatient", "AMB"), ("procedure area", "AMB"), ("home", "HH"), (None, "unknown")]


@pytest.mark.parametrize(("setting", "code"), SETTINGS)
def test_the_class_of_a_stay_is_its_setting(setting: str | None, code: str) -> None:
    ((_, stay),) = stays(ACCESS, setting=setting)
    assert stay["class"] == code
    assert stay.get("type") == setting


def test_context_says_who_everybody_is() -> None:
    nurse = {"name": "Marisol Tamm", "credential": "RN", "id": "N-1"}
    second = {"id": "N-2"}
    patient = {
        "identifiers": [
            {"system": "https://made.example/mrn", "value": "MD-0001", "label": "record number"},
            {"system": "https://made.example/old", "value": "1", "replaced": True, "label": "old number"},
        ]
    }
    found = said({**ACCESS, "by": nurse, "verified_by": second}, options=CONTEXT, patient=patient)
    who = {one.kind: one.words for one in found if one.kind in ("Patient", "Organization")}
    assert who["Patient"]["name"] == {"use": "official", "family": "Testmann-0001", "given": "Ottoline"}
    assert who["Patient"]["birthDate"] == "1980-02-03"
    assert who["Organization"]["name"] == "Lantern Bay Hospital (fictional)"
    staff = [(one.words["name"], one.words.get("qualification")) for one in found if one.kind == "Practitioner"]
    assert staff == [("Marisol Tamm", {"code": "RN"}), ("not named", None)]
    places = [(one.words["name"], one.words["physicalType"]) for one in found if one.kind == "Location"]
    assert places == [("Ward Heron", "unit"), ("1", "room")]
    assert [one.words["status"] for one in found if one.kind == "Location"] == ["active", "active"]
    (of_unit, of_room) = (one.words for one in found if one.kind == "Location")
    assert ("partOf" in of_unit, "partOf" in of_room) == (False, True)


def test_only_a_record_number_has_the_code_of_one() -> None:
    labels = ["record number", "old number", None]
    listed = [
        {"system": f"https://made.example/{at}", "value": "1", **({"label": label} if label else {})}
        for at, label in enumerate(labels)
    ]
    ((_, bundle),) = bundles_of(ACCESS, options=CONTEXT, patient={"identifiers": listed})
    resources = [entry["resource"] for entry in bundle["entry"]]
    (patient,) = (one for one in resources if one["resourceType"] == "Patient")
    types = [one.get("type") for one in patient["identifier"]]
    assert types[1:] == [{"text": "old number"}, None]
    assert (types[0]["text"], types[0]["coding"][0]["code"]) == ("record number", "MR")


# -- what is seen --

LOOK = "line check"
SEEN = {
    "status": "final",
    "category": "Exam",
    "effectiveDateTime": TEN,
    "performer": "Marisol Tamm",
    "focus": "Device Implanted venous access port",
    **OF_STAY,
}


def seen(words: str, kind: str = LOOK, **facts: Any) -> list[Json]:
    sent = said(ACCESS, at_ten(kind, **facts))
    return [one.words for one in sent if one.event == at_ten(kind)["id"] and words in called(one.words)]


def test_what_is_seen_is_a_value_or_the_reason_for_none() -> None:
    code = "Blood return from implanted venous access port"
    assert seen("Blood return", blood_return="sluggish") == [{**SEEN, "code": code, "valueCodeableConcept": "sluggish"}]
    assert seen("Blood return", blood_return=WHY) == [{**SEEN, "code": code, "dataAbsentReason": "no label"}]
    assert seen("Blood return") == []
    late = seen("Blood return", blood_return="none", charted_at="2031-03-04T11:00:00-06:00")
    assert late == [{**SEEN, "code": code, "valueCodeableConcept": "none", "issued": "2031-03-04T11:00:00-06:00"}]


def test_pain_is_of_the_patient_and_the_rest_of_the_port() -> None:
    (pain,) = seen("Pain", pain=3)
    assert (pain["valueInteger"], pain["category"], "focus" in pain) == (3, "Survey", False)
    (response,) = seen("esponse", response="tolerated well")
    assert (response["valueCodeableConcept"], "focus" in response) == ("tolerated well", False)


def test_each_part_of_a_site_is_a_component() -> None:
    (site,) = seen("Skin and tissue", site={"skin": "intact", "swelling": WHY, "erythema_mm": 4, "detail": "warm"})
    parts = {one["code"]: {key: value for key, value in one.items() if key != "code"} for one in site["component"]}
    assert {"valueCodeableConcept": "intact"} in parts.values()
    assert {"dataAbsentReason": "no label"} in parts.values()
    assert {"valueQuantity": "4 mm"} in parts.values()
    assert site["note"] == "warm"
    (whole,) = seen("Skin and tissue", site=WHY)
    assert (whole["dataAbsentReason"], "component" in whole) == ("no label", False)


def test_each_problem_and_each_sign_is_an_observation_of_its_own() -> None:
    told = {
        "what": "leak",
        "action": "stopped",
        "told": {"name": "Dr Amaranth Locke", "credential": "MD"},
        "reply": "ok",
    }
    problems = seen("roblem", problems=[told, {"what": "pain"}])
    assert len(problems) == 2
    said_to = {one["code"]: one.get("valueString") for one in problems[0]["component"]}
    assert "Dr Amaranth Locke" in said_to.values() and "MD" in said_to.values()
    assert len(seen("Signs", signs=[{"what": "redness"}, {"what": "leak"}])) == 2


def test_the_note_of_a_look_is_what_was_charted() -> None:
    found = said(ACCESS, at_ten(LOOK, blood_return="present"), options=noted())
    papers = [one.words for one in found if one.kind == "DocumentReference"]
    assert [one["date"] for one in papers] == ["2031-03-04T09:40:00-06:00", TEN]
