"""Two patients whose records have one episode id: each one's resources stay theirs, counted by plain HTTP."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import httpx
import pytest
from send_cases import FHIR, Case, client, demo, raw
from test_send_contract import send_all, type_send

from lda_notes.sending.entries import NotSafe, entries
from lda_notes.sending.status import standing

KINDS = (
    "Device", "DeviceUseStatement", "DocumentReference", "Encounter", "MedicationAdministration", "Observation",
    "Procedure", "Task",
)  # fmt: skip


def counted(base_url: str, patient: str) -> dict[str, dict[str, str]]:
    """Id and version of everything filed under a patient, by type."""
    found = {}
    for kind in KINDS:
        page = json.loads(raw(base_url, f"{kind}?patient=Patient/{patient}&_count=1000&_elements=id,meta"))
        listed = [one["resource"] for one in page.get("entry", ())]
        found[kind] = {one["id"]: one["meta"]["versionId"] for one in listed}
    return found


def patient_id(base_url: str, system: str, number: str) -> str:
    [one] = json.loads(raw(base_url, f"Patient?identifier={system}%7C{number}"))["entry"]
    return str(one["resource"]["id"])


def of_two(text: str) -> tuple[str, str]:
    """A demo, and the same stay of another patient under the same episode id."""
    other = text.replace("LB-000101", "LB-000404")
    for name in ("family_name", "given_name"):
        [row] = [row for row in other.splitlines() if row.strip().startswith(name)]
        other = other.replace(row, row.partition(":")[0] + ": Quillfeather")
    assert other.count("LB-000404") == 1
    return text, other


def test_two_patients_of_one_episode_id_keep_what_is_theirs(fhir_server: str, tmp_path: Path) -> None:
    case = Case(demo("uncomplicated-week"))
    mine, theirs = of_two(case.text)
    _, config = case.files(tmp_path)
    ward = tmp_path / "ward"
    ward.mkdir()
    (ward / "a.yaml").write_text(mine)
    (ward / "b.yaml").write_text(theirs)
    said = type_send(tmp_path, "check", ward)
    assert said.stdout.count("episode-in-two-records") == 2
    system = f"https://{case.tag}.example/record-number"
    common = ("--server", fhir_server, "--config", config, "--with-context")

    first = type_send(tmp_path, "send", ward / "a.yaml", *common)
    assert first.returncode == 0, first.stdout + first.stderr
    one = patient_id(fhir_server, system, "LB-000101")
    before = counted(fhir_server, one)
    assert sum(map(len, before.values())) > 150

    second = type_send(tmp_path, "send", ward / "b.yaml", *common)
    assert second.returncode == 0, second.stdout + second.stderr
    other = patient_id(fhir_server, system, "LB-000404")
    assert counted(fhir_server, one) == before
    after = counted(fhir_server, other)
    assert {kind: len(some) for kind, some in after.items()} == {kind: len(some) for kind, some in before.items()}
    assert not any(set(before[kind]) & set(after[kind]) for kind in KINDS)
    print({kind: (len(before[kind]), len(after[kind])) for kind in KINDS})

    third = ward / "c.yaml"
    third.write_text(mine.replace("LB-000101", "LB-000505"))
    for record, state in ((ward / "a.yaml", ""), (ward / "b.yaml", ""), (third, "missing")):
        said = type_send(tmp_path, "status", record, *common)
        assert (said.returncode, state in said.stdout) == (int(bool(state)), True), said.stdout + said.stderr
        assert not state or "same" not in said.stdout, "what is of the same id and another number is not this patient's"


@pytest.mark.parametrize("style", ["conditional", "literal"])
def test_another_patients_stay_or_id_stops_the_sending(fhir_server: str, style: str) -> None:
    """Before anything is updated: the number finds one patient, the stay or the id belongs to another one."""
    case = Case(demo("uncomplicated-week"), with_context=False)
    case.config = case.config.model_copy(update={"references": style})
    system = f"https://{case.tag}.example/record-number"
    mine = put(fhir_server, patient(f"p{case.tag}", system, "LB-000101"))
    other = put(fhir_server, patient(f"q{case.tag}", system, "LB-000404"))
    put(
        fhir_server,
        {
            "resourceType": "Encounter",
            "id": f"e{case.tag}",
            "identifier": [{"system": case.config.systems.visit, "value": "uncomplicated-week"}],
            "status": "in-progress",
            "class": {"system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": "IMP"},
            "subject": {"reference": f"Patient/{other}"},
        },
    )
    if style == "literal":
        case.config = case.config.model_copy(update={"patients": {"LB-000101": f"Patient/{other}"}})
    with client(fhir_server) as server, pytest.raises(NotSafe, match=r"another patient's|record number"):
        send_all(server, case.parcels())
    for number in (mine, other):
        assert {kind: len(some) for kind, some in counted(fhir_server, number).items() if kind != "Encounter"} == (
            dict.fromkeys([kind for kind in KINDS if kind != "Encounter"], 0)
        )


def test_what_was_moved_to_another_patient_is_not_updated(fhir_server: str) -> None:
    case = Case(demo("uncomplicated-week"))
    parcels = case.parcels()
    system = f"https://{case.tag}.example/record-number"
    other = put(fhir_server, patient(f"q{case.tag}", system, "LB-000404"))
    removal = next(one for one in parcels if any(e.method == "PUT" for e in entries(json.loads(one.bundle))))
    earlier = parcels[: parcels.index(removal)]
    with client(fhir_server) as server:
        send_all(server, earlier)
        entry = next(e for e in entries(json.loads(removal.bundle)) if e.method == "PUT")
        [held] = server.find([entry.identity])[entry.identity]
        element = next(name for name in ("subject", "patient", "for") if name in held)
        moved = put(fhir_server, {**json.loads(raw(fhir_server, f"{entry.identity.kind}/{held['id']}")),
                                  element: {"reference": f"Patient/{other}"}})  # fmt: skip
        before = raw(fhir_server, f"{entry.identity.kind}/{moved}")
        [seen] = [one for one in standing(server, (removal,)) if one.entry.identity == entry.identity]
        assert seen.state == "different"
        assert any(apart.path.startswith(element) for apart in seen.differences), seen.differences
        with pytest.raises(NotSafe, match=rf"{entry.identity.kind}/{held['id']} is filed under another patient"):
            send_all(server, (removal,))
        assert raw(fhir_server, f"{entry.identity.kind}/{moved}") == before


def patient(number: str, system: str, value: str) -> dict[str, Any]:
    return {
        "resourceType": "Patient",
        "id": number,
        "identifier": [{"system": system, "value": value}],
        "name": [{"text": "Fictional"}],
    }


def put(base_url: str, resource: dict[str, Any]) -> str:
    answer = httpx.put(
        f"{base_url}/{resource['resourceType']}/{resource['id']}",
        headers=FHIR, json=resource, timeout=60, trust_env=False,
    )  # fmt: skip
    assert answer.status_code in (200, 201), answer.text
    return str(resource["id"])
