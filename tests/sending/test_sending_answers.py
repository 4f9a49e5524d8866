"""What a server answers beside yes and no, servers that can do less, and what is another patient's."""

from __future__ import annotations

import base64
import copy
import json
from pathlib import Path
from typing import Any

import pytest
from loopback import Reply, Request
from stand_ins import Connect
from test_sending_commands import CORRECTED, LATER, WEEK, Type, send, status, typed
from test_sending_deliver import ACCESS, CLOSING, Fake, delivered, refused

from lda_notes.fhir.config import EXAMPLES
from lda_notes.fhir.elements import to_json
from lda_notes.sending.address import address
from lda_notes.sending.client import NotAllowed, Unreachable
from lda_notes.sending.deliver import deliver
from lda_notes.sending.drain import refuse_examples
from lda_notes.sending.entries import NotSafe, entries

__all__ = ["typed"]

Json = dict[str, Any]


# -- answers --


def test_a_bundle_taken_to_be_done_later_is_looked_for_and_not_sent_again(connect: Connect, fake: Fake) -> None:
    server, url = fake
    server.after = lambda request, reply: Reply(202, b"") if request.path == "/fhir" else reply
    assert delivered(deliver(connect(url), ACCESS)).asked
    assert server.transactions == 1
    sent: list[Request] = []
    server.resources.clear()

    def queued(request: Request) -> Reply | None:
        if request.path != "/fhir":
            return None
        sent.append(request)
        return Reply(202, b"")

    server.fault = queued
    with pytest.raises(
        Unreachable, match=r"accepted a bundle to work on later \(status 202\) and does not have it yet"
    ):
        deliver(connect(url), ACCESS)
    assert len(sent) == 1


def test_a_batch_inside_a_good_answer_is_told_entry_by_entry(connect: Connect, fake: Fake) -> None:
    server, url = fake
    said = {"resourceType": "OperationOutcome", "issue": [{"severity": "error", "diagnostics": "No such code"}]}

    def batch(request: Request, reply: Reply) -> Reply:
        if request.path != "/fhir":
            return reply
        given = json.loads(reply.body)
        given["entry"][2] = {"response": {"status": "422 Unprocessable", "outcome": said}}
        given["entry"][4] = {"response": {"status": "404"}}
        return Reply(200, json.dumps({**given, "type": "batch-response"}).encode())

    server.after = batch
    result = refused(deliver(connect(url), ACCESS))
    assert (result.status, result.stored) == (422, len(ACCESS["entry"]) - 2)
    assert [(one.entry, one.words) for one in result.issues] == [
        (2, "No such code"),
        (4, "status 404, without a reason"),
    ]


def test_what_a_server_warns_of_is_said(typed: Type, fake: Fake) -> None:
    server, url = fake
    warning = {
        "resourceType": "OperationOutcome",
        "issue": [
            {"severity": "information", "diagnostics": "All is well"},
            {"severity": "warning", "diagnostics": "The lot number is unusual"},
        ],
    }

    def warns(request: Request, reply: Reply) -> Reply:
        if request.path != "/fhir":
            return reply
        given = json.loads(reply.body)
        given["entry"][0]["response"]["outcome"] = warning
        return Reply(200, json.dumps(given).encode())

    server.after = warns
    found = send(typed, WEEK, "--server", url)
    assert found.code == 0, found.out
    assert "event uncomplicated-week/access-1" in found.out
    assert "the server took it and warns:" in found.out
    assert "Entry 1, Device (" in found.out
    assert "The lot number is unusual" in found.out
    assert "All is well" not in found.out


# -- whose it is --


def test_what_was_moved_to_another_patient_is_not_updated(connect: Connect, fake: Fake) -> None:
    server, url = fake
    client = connect(url)
    deliver(client, ACCESS)
    entry = next(one for one in entries(CLOSING) if one.method == "PUT" and "for" in one.resource)
    [held] = [one for one in server.resources.values() if entry.identity.names(one)]
    held["for"] = {"reference": "Patient/somebody-else"}
    before = copy.deepcopy(server.resources)
    with pytest.raises(NotSafe, match=f"Task/{held['id']} is filed under another patient on the server"):
        deliver(client, CLOSING)
    assert server.resources == before


def test_an_id_with_another_number_is_not_sent_to(connect: Connect, fake: Fake) -> None:
    server, url = fake
    bundle = json.loads(to_json(ACCESS))
    number = {"system": "https://lantern-bay.example/mrn", "value": "LB-1"}
    for entry in bundle["entry"]:
        for name in ("subject", "patient", "for"):
            if name in entry["resource"]:
                entry["resource"][name] = {"reference": "Patient/77", "identifier": number}
    server.resources["Patient/77"] = {
        "resourceType": "Patient",
        "id": "77",
        "meta": {"versionId": "1"},
        "identifier": [{**number, "value": "LB-2"}],
    }
    with pytest.raises(NotSafe, match="Patient/77 on the server does not have this patient's record number"):
        deliver(connect(url), bundle)
    assert list(server.resources) == ["Patient/77"]
    server.resources["Patient/77"]["identifier"].append(number)
    delivered(deliver(connect(url), bundle))


def test_example_systems_stay_on_this_machine(connect: Connect, fake: Fake) -> None:
    _, url = fake
    client = connect(url)
    refuse_examples(client, f'{{"system": "{EXAMPLES}/identifier"}}'.encode())
    client.address = address("https://fhir.example.com/r4")
    refuse_examples(client, b'{"system": "https://lantern-bay.example/ids"}')
    with pytest.raises(NotAllowed, match=r"built-in example systems .* nothing was sent .* with --config"):
        refuse_examples(client, f'{{"system": "{EXAMPLES}/identifier"}}'.encode())


# -- servers that can do less --


def test_documents_only_sends_the_notes_and_nothing_else(typed: Type, fake: Fake, tmp_path: Path) -> None:
    server, url = fake
    found = send(typed, CORRECTED, "--server", url, "--documents-only")
    assert found.code == 0, found.out + found.err
    kinds = {one["resourceType"] for key, one in server.resources.items() if "/known-" not in key}
    assert kinds == {"DocumentReference"}
    assert not any("urn:uuid" in json.dumps(one) for one in server.resources.values())
    related = [one["context"]["related"][0] for one in server.resources.values() if "related" in one.get("context", {})]
    assert related
    assert all(set(one) == {"type", "identifier"} for one in related)
    assert status(typed, CORRECTED, "--server", url, "--documents-only").code == 0
    assert send(typed, CORRECTED, "--documents-only", "--with-context").code == 2


# -- status --


def test_status_finds_what_is_no_longer_in_the_record(typed: Type, fake: Fake, tmp_path: Path) -> None:
    _, url = fake
    record = tmp_path / "week.yaml"
    record.write_text(WEEK.read_text())
    assert send(typed, record, "--server", url).code == 0
    parts = record.read_text().split("\n  - id: ")
    record.write_text("\n  - id: ".join(one for one in parts if not one.startswith("check-3\n")))
    found = status(typed, record, "--server", url)
    assert found.code == 1
    extra = [row for row in found.out.splitlines() if row.startswith("extra")]
    assert len(extra) > 5
    assert all("uncomplicated-week/check-3" in row for row in extra)
    assert any("DocumentReference" in row for row in extra)
    listed = json.loads(typed("status", record, "--server", url, "--format", "json", "--asof", LATER).out)
    assert sum(one["state"] == "extra" for one in listed["resources"]) == len(extra)
    record.write_text(WEEK.read_text())
    assert status(typed, record, "--server", url).code == 0


def test_status_shows_a_note_as_text(typed: Type, fake: Fake) -> None:
    server, url = fake
    send(typed, WEEK, "--server", url)
    note = next(one for one in server.resources.values() if one["resourceType"] == "DocumentReference")
    attachment = note["content"][0]["attachment"]
    text = base64.b64decode(attachment["data"]).decode()
    first, *rest = text.splitlines()
    changed = "\n".join([f"{first} CHANGED", *rest, "Added there"])
    attachment["data"] = base64.b64encode(changed.encode()).decode()
    attachment["size"] = 7
    found = status(typed, WEEK, "--server", url)
    assert found.code == 1
    rows = [row.strip() for row in found.out.splitlines()]
    assert "content[0].attachment: the text differs" in rows
    assert {f"record: {first}", f"server: {first} CHANGED", "server: Added there"} <= set(rows)
    assert sum(row.startswith(("record: ", "server: ")) for row in rows) == 3
    assert "attachment.size" not in found.out
    assert attachment["data"][:60] not in found.out
