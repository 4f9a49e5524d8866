"""What a FHIR R4 server must do for bundles to be sent safely, twice and in any order.

Nothing of lda_notes runs here: the bundles are written by hand, so that a server's answer is about the server.
Every test uses identifiers of its own, so the server may already hold anything.
"""

from __future__ import annotations

import copy
import json
import uuid
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import httpx
import pytest

Json = dict[str, Any]

IDS = "https://hospital.example/ids"
JSON_TYPE = "application/fhir+json"


@pytest.fixture
def client(fhir_server: str) -> Iterator[httpx.Client]:
    headers = {"Content-Type": JSON_TYPE, "Accept": JSON_TYPE}
    with httpx.Client(base_url=fhir_server, headers=headers, timeout=60, trust_env=False) as opened:
        yield opened


class Visit:
    """The entries of one access: context, port, needle, and what was done, each under fresh identifiers."""

    def __init__(self) -> None:
        patient, port, needle, access = (f"urn:uuid:{uuid.uuid4()}" for _ in range(4))
        about = {"subject": {"reference": patient}}
        self.patient = entry({"resourceType": "Patient", "name": [{"text": "Example, Never A Person"}]}, patient)
        self.port = entry(
            {
                "resourceType": "Device",
                "status": "active",
                "type": {"text": "Implanted venous access port"},
                "patient": {"reference": patient},
            },
            port,
        )
        self.needle = entry(
            {
                "resourceType": "Device",
                "status": "active",
                "type": {"text": "Non-coring needle"},
                "patient": {"reference": patient},
            },
            needle,
        )
        self.access = entry(
            {
                "resourceType": "Procedure",
                "status": "completed",
                "code": {"text": "Access of implanted venous access port"},
                **about,
                "performedPeriod": {"start": "2026-11-02T09:00:00+00:00", "end": "2026-11-02T09:10:00+00:00"},
                "focalDevice": [{"manipulated": {"reference": port}}],
                "usedReference": [{"reference": needle}],
            },
            access,
        )
        self.waste = entry(
            {
                "resourceType": "Observation",
                "status": "final",
                "code": {"text": "Waste volume"},
                **about,
                "focus": [{"reference": port}],
                "partOf": [{"reference": access}],
                "effectiveDateTime": "2026-11-02T09:05:00-05:00",
                "valueQuantity": quantity(5),
            }
        )
        self.saline = entry(
            {
                "resourceType": "MedicationAdministration",
                "status": "completed",
                "medicationCodeableConcept": {"text": "Sodium chloride 0.9 %"},
                **about,
                "partOf": [{"reference": access}],
                "effectiveDateTime": "2026-11-02T09:06:00-05:00",
                "dosage": {"dose": quantity(10)},
            }
        )
        self.use = entry(
            {
                "resourceType": "DeviceUseStatement",
                "status": "active",
                **about,
                "device": {"reference": needle},
                "derivedFrom": [{"reference": access}],
                "timingPeriod": {"start": "2026-11-02T09:10:00+00:00"},
            }
        )
        self.due = entry(
            {
                "resourceType": "Task",
                "status": "requested",
                "intent": "plan",
                "focus": {"reference": port},
                "for": {"reference": patient},
                "authoredOn": "2026-11-02T09:10:00+00:00",
                "lastModified": "2026-11-02T09:10:00+00:00",
                "restriction": {"period": {"end": "2026-11-09T09:10:00+00:00"}},
            }
        )
        self.note = entry(
            {
                "resourceType": "DocumentReference",
                "status": "current",
                "type": {"text": "Nurse Note"},
                **about,
                "content": [{"attachment": {"contentType": "text/plain", "data": "Tm90ZQ=="}}],
            }
        )
        self.provenance = entry(
            {
                "resourceType": "Provenance",
                "target": [{"reference": access}],
                "recorded": "2026-11-02T09:20:00+00:00",
                "agent": [{"who": {"display": "Example nurse"}}],
            }
        )

    def all(self) -> list[Json]:
        return list(vars(self).values())


def entry(resource: Json, full_url: str | None = None) -> Json:
    """A conditional create, by identifier; by tag where R4 has no identifier."""
    full_url = full_url or f"urn:uuid:{uuid.uuid4()}"
    value = full_url.removeprefix("urn:uuid:")
    kind = resource["resourceType"]
    if kind == "Provenance":
        resource["meta"] = {"tag": [{"system": IDS, "code": value}]}
    else:
        resource["identifier"] = [{"system": IDS, "value": value}]
    return {
        "fullUrl": full_url,
        "resource": resource,
        "request": {"method": "POST", "url": kind, "ifNoneExist": condition(kind, value)},
    }


def condition(kind: str, value: str) -> str:
    return f"{'_tag' if kind == 'Provenance' else 'identifier'}={IDS}|{value}"


def quantity(millilitres: float) -> Json:
    return {"value": millilitres, "unit": "mL", "system": "http://unitsofmeasure.org", "code": "mL"}


def put(posted: Json, **changes: object) -> Json:
    """The same resource as a conditional update, with some elements changed."""
    changed = copy.deepcopy(posted)
    changed["resource"].update(changes)
    url = f"{posted['request']['url']}?{posted['request']['ifNoneExist']}"
    changed["request"] = {"method": "PUT", "url": url}
    return changed


def bundle(*entries: Json) -> Json:
    return {"resourceType": "Bundle", "type": "transaction", "entry": list(entries)}


def send(client: httpx.Client, *entries: Json) -> httpx.Response:
    return client.post("", json=bundle(*entries))


def statuses(answer: httpx.Response) -> list[str]:
    assert answer.status_code == 200, answer.text
    return [each["response"]["status"][:3] for each in answer.json()["entry"]]


def held(client: httpx.Client, sent: Json) -> list[Json]:
    """The resources that the server holds under the identity of an entry."""
    kind = sent["resource"]["resourceType"]
    value = sent["fullUrl"].removeprefix("urn:uuid:")
    answer = client.get(f"/{kind}?{condition(kind, value)}")
    assert answer.status_code == 200, answer.text
    return [each["resource"] for each in answer.json().get("entry", [])]


def only(client: httpx.Client, sent: Json) -> Json:
    [resource] = held(client, sent)
    return resource


def versions(client: httpx.Client, entries: list[Json]) -> list[str]:
    found = [only(client, each) for each in entries]
    return [f"{each['resourceType']}/{each['id']}/{each['meta']['versionId']}" for each in found]


def version(resource: Json) -> str:
    number: str = resource["meta"]["versionId"]
    return number


def test_the_server_says_it_is_r4_and_takes_transactions_and_conditions(client: httpx.Client) -> None:
    capability = client.get("/metadata").json()
    assert capability["fhirVersion"] == "4.0.1"
    rest = capability["rest"][0]
    assert "transaction" in {each["code"] for each in rest["interaction"]}
    kinds = {each["type"]: each for each in rest["resource"]}
    for each in Visit().all():
        kind = kinds[each["resource"]["resourceType"]]
        assert kind["conditionalCreate"] is True
        assert kind["conditionalUpdate"] is True


def test_a_bundle_sent_twice_changes_nothing_the_second_time(client: httpx.Client) -> None:
    visit = Visit()
    assert set(statuses(send(client, *visit.all()))) == {"201"}
    before = versions(client, visit.all())
    assert set(statuses(send(client, *visit.all()))) == {"200"}
    assert versions(client, visit.all()) == before
    assert all(each.endswith("/1") for each in before)


def test_a_provenance_is_recognised_by_its_tag(client: httpx.Client) -> None:
    visit, other = Visit(), Visit()
    context = [visit.patient, visit.port, visit.needle, visit.access]
    assert statuses(send(client, *context, visit.provenance))[-1] == "201"
    assert statuses(send(client, *context, visit.provenance))[-1] == "200"
    other.provenance["resource"]["target"] = [{"reference": visit.access["fullUrl"]}]
    assert statuses(send(client, *context, other.provenance))[-1] == "201"


def test_a_later_bundle_refers_to_what_an_earlier_one_created(client: httpx.Client) -> None:
    visit = Visit()
    send(client, visit.patient, visit.port)
    assert statuses(send(client, visit.patient, visit.port, visit.due)) == ["200", "200", "201"]
    task = only(client, visit.due)
    assert task["for"]["reference"] == f"Patient/{only(client, visit.patient)['id']}"
    assert task["focus"]["reference"] == f"Device/{only(client, visit.port)['id']}"


def test_what_is_read_equals_what_was_sent(client: httpx.Client) -> None:
    """Also the precision of a decimal and the way an offset is written, which carry meaning."""
    visit = Visit()
    text = json.dumps(bundle(*visit.all())).replace('"value": 5,', '"value": 2.50,')
    assert "2.50" in text
    assert client.post("", content=text.encode()).status_code == 200
    renamed = {
        each["fullUrl"]: f"{each['resource']['resourceType']}/{only(client, each)['id']}" for each in visit.all()
    }
    for name, reference in renamed.items():
        text = text.replace(f'"reference": "{name}"', f'"reference": "{reference}"')
    for sent in json.loads(text, parse_float=str)["entry"]:
        kind = sent["resource"]["resourceType"]
        found = client.get(f"/{renamed[sent['fullUrl']]}")
        resource = json.loads(found.text, parse_float=str)
        resource.pop("id")
        for key in ("versionId", "lastUpdated", "source"):
            resource["meta"].pop(key, None)
        if not resource["meta"]:
            resource.pop("meta")
        assert resource == sent["resource"], kind
    waste = client.get(f"/{renamed[visit.waste['fullUrl']]}").text
    assert "2.50" in waste
    assert "09:05:00-05:00" in waste


def test_the_same_conditional_update_twice_makes_one_version(client: httpx.Client) -> None:
    visit = Visit()
    send(client, visit.patient, visit.port, visit.due)
    closed = put(visit.due, status="completed")
    for _ in range(3):
        assert statuses(send(client, visit.patient, visit.port, closed))[-1] == "200"
    task = only(client, visit.due)
    assert (task["status"], version(task)) == ("completed", "2")


def test_what_is_closed_is_not_opened_again_by_sending_the_opening(client: httpx.Client) -> None:
    visit = Visit()
    context = [visit.patient, visit.port, visit.needle, visit.access]
    opened = [visit.use, visit.due]
    closed = [put(visit.needle, status="inactive"), *(put(each, status="completed") for each in opened)]
    send(client, *context, *opened)
    send(client, *context, *opened)
    send(client, visit.patient, visit.port, visit.access, *closed)
    before = versions(client, [visit.needle, *opened])
    assert statuses(send(client, *context, *opened)) == ["200"] * 6
    assert versions(client, [visit.needle, *opened]) == before
    assert [only(client, each)["status"] for each in (visit.needle, *opened)] == [
        "inactive",
        "completed",
        "completed",
    ]


def test_an_answer_with_the_resource_tells_its_current_version(client: httpx.Client) -> None:
    """Without `Prefer`, this server's answer to a create that matched may name an older version."""
    visit = Visit()
    opened = bundle(visit.patient, visit.port, visit.due)
    for _ in range(2):
        client.post("", json=opened)
    send(client, visit.patient, visit.port, put(visit.due, status="completed"))
    answer = client.post("", json=opened, headers={"Prefer": "return=representation"})
    due = answer.json()["entry"][-1]
    task = only(client, visit.due)
    assert version(task) == "2"
    assert due["resource"] == task
    assert due["response"]["location"] == f"Task/{task['id']}/_history/2"


def test_a_closing_that_comes_first_stands(client: httpx.Client) -> None:
    visit = Visit()
    closed = put(visit.due, status="completed")
    assert statuses(send(client, visit.patient, visit.port, closed))[-1] == "201"
    assert statuses(send(client, visit.patient, visit.port, visit.due))[-1] == "200"
    task = only(client, visit.due)
    assert (task["status"], version(task)) == ("completed", "1")


def test_retraction_leaves_entered_in_error_and_keeps_the_values(client: httpx.Client) -> None:
    visit = Visit()
    send(client, *visit.all())
    wrong = [visit.needle, visit.access, visit.waste, visit.saline, visit.use, visit.due, visit.note]
    port_before = versions(client, [visit.port])
    retracted = [put(each, status="entered-in-error") for each in wrong]
    for _ in range(2):
        send(client, visit.patient, visit.port, *retracted)
    found = [only(client, each) for each in wrong]
    assert {each["status"] for each in found} == {"entered-in-error"}
    assert {version(each) for each in found} == {"2"}
    assert only(client, visit.waste)["valueQuantity"] == quantity(5)
    assert versions(client, [visit.port]) == port_before


def test_a_replaced_document_points_to_the_old_one(client: httpx.Client) -> None:
    visit, amended = Visit(), Visit()
    send(client, visit.patient, visit.note)
    new = amended.note
    new["resource"]["subject"] = {"reference": visit.patient["fullUrl"]}
    new["resource"]["relatesTo"] = [{"code": "replaces", "target": {"reference": visit.note["fullUrl"]}}]
    old = put(visit.note, status="superseded")
    assert statuses(send(client, visit.patient, old, new)) == ["200", "200", "201"]
    old_id = only(client, visit.note)["id"]
    assert only(client, new)["relatesTo"][0]["target"]["reference"] == f"DocumentReference/{old_id}"


BAD_ENTRIES: dict[str, Callable[[Json], object]] = {
    "a status that does not exist": lambda r: r.update(status="done"),
    "a required element missing": lambda r: r.pop("subject"),
    "a reference to an entry that is not there": lambda r: r.update(subject={"reference": f"urn:uuid:{uuid.uuid4()}"}),
    "a patient that the server does not hold": lambda r: r.update(subject={"reference": "Patient/no-such-patient"}),
    "a condition that matches no patient": lambda r: r.update(
        subject={"reference": f"Patient?identifier={IDS}|{uuid.uuid4()}"}
    ),
}


@pytest.mark.parametrize("name", BAD_ENTRIES)
def test_one_bad_entry_leaves_nothing_behind(client: httpx.Client, name: str) -> None:
    visit = Visit()
    BAD_ENTRIES[name](visit.access["resource"])
    answer = send(client, *visit.all())
    assert answer.status_code in (400, 404, 412, 422), answer.text
    outcome = answer.json()
    assert outcome["resourceType"] == "OperationOutcome"
    assert any(each["severity"] == "error" and each["diagnostics"] for each in outcome["issue"])
    assert [held(client, each) for each in visit.all()] == [[]] * len(visit.all())


def test_references_by_condition_find_the_patient(client: httpx.Client) -> None:
    visit = Visit()
    send(client, visit.patient)
    value = visit.patient["fullUrl"].removeprefix("urn:uuid:")
    visit.note["resource"]["subject"] = {"reference": f"Patient?identifier={IDS}|{value}"}
    assert statuses(send(client, visit.note)) == ["201"]
    found = only(client, visit.note)["subject"]["reference"]
    assert found == f"Patient/{only(client, visit.patient)['id']}"


def test_a_literal_reference_to_a_known_patient_is_kept(client: httpx.Client) -> None:
    visit = Visit()
    send(client, visit.patient)
    reference = f"Patient/{only(client, visit.patient)['id']}"
    visit.note["resource"]["subject"] = {"reference": reference}
    assert statuses(send(client, visit.note)) == ["201"]
    assert only(client, visit.note)["subject"]["reference"] == reference


@pytest.mark.parametrize("method", ["POST", "PUT"])
def test_two_matches_stop_the_whole_transaction(client: httpx.Client, method: str) -> None:
    visit = Visit()
    send(client, visit.patient, visit.port)
    doubled = {
        "resourceType": "Task",
        "status": "requested",
        "intent": "plan",
        "identifier": visit.due["resource"]["identifier"],
    }
    for _ in range(2):
        assert client.post("/Task", json=doubled).status_code == 201
    due = visit.due if method == "POST" else put(visit.due, status="completed")
    answer = send(client, visit.patient, visit.port, visit.note, due)
    assert answer.status_code == 412, answer.text
    assert visit.due["fullUrl"].removeprefix("urn:uuid:") in answer.text
    assert held(client, visit.note) == []
    assert [version(each) for each in held(client, visit.due)] == ["1", "1"]


def test_the_same_bundle_sent_at_the_same_time_is_stored_once(client: httpx.Client) -> None:
    visit = Visit()
    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(lambda _: send(client, *visit.all()), range(4)))
    assert {each.status_code for each in answers} <= {200, 409}
    assert 200 in {each.status_code for each in answers}
    assert set(statuses(send(client, *visit.all()))) == {"200"}
    assert [len(held(client, each)) for each in visit.all()] == [1] * len(visit.all())


def test_all_of_a_patient_is_found_and_nothing_of_another(client: httpx.Client) -> None:
    visit, other = Visit(), Visit()
    send(client, *visit.all())
    send(client, *other.all())
    patient = only(client, visit.patient)["id"]
    mine = {only(client, each)["id"] for each in visit.all()}

    everything = client.get(f"/Patient/{patient}/$everything?_count=500")
    assert everything.status_code == 200, everything.text
    found = {each["resource"]["id"] for each in everything.json()["entry"]}
    # A Provenance points to what was done, not to the patient, so it is asked for along with its targets.
    assert found == mine - {only(client, visit.provenance)["id"]}

    kinds = {each["resource"]["resourceType"] for each in visit.all()} - {"Patient", "Provenance"}
    searched = set()
    for kind in sorted(kinds):
        answer = client.get(f"/{kind}?patient=Patient/{patient}&_revinclude=Provenance:target&_count=500")
        searched |= {each["resource"]["id"] for each in answer.json()["entry"]}
    assert searched == mine - {patient}


def test_old_versions_can_be_read(client: httpx.Client) -> None:
    visit = Visit()
    send(client, visit.patient, visit.note)
    send(client, visit.patient, put(visit.note, status="entered-in-error"))
    identifier = only(client, visit.note)["id"]
    statuses_by_version = [
        client.get(f"/DocumentReference/{identifier}/_history/{number}").json()["status"] for number in (1, 2)
    ]
    assert statuses_by_version == ["current", "entered-in-error"]
