"""``send --one-by-one``: a server that refuses transactions gets each resource by itself, in order, once."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from fake_fhir import outcome
from loopback import Reply, Request
from stand_ins import Connect
from test_sending_commands import WEEK, Type, send, typed
from test_sending_deliver import ACCESS, CLOSING, CONTEXT, DATA, Fake, delivered

from lda_notes.sending.client import Unreachable
from lda_notes.sending.deliver import deliver
from lda_notes.sending.entries import entries, references

__all__ = ["typed"]


def singles(server: Any) -> None:
    """Makes the server one without transactions, that takes single resources."""
    numbers = iter(range(1, 9999))

    def one(request: Request) -> Reply | None:
        path = request.path.removeprefix("/fhir").strip("/")
        if request.path == "/fhir":
            return outcome(404, "no transactions here")
        if "_search" in path or "metadata" in path or request.method == "GET":
            return None
        kind, _, number = path.partition("/")
        made = json.loads(request.body)
        number = number or f"s{next(numbers)}"
        old = server.resources.get(f"{kind}/{number}", {"meta": {"versionId": "0"}})
        version = str(int(old["meta"]["versionId"]) + 1)
        kept = {**made, "id": number, "meta": {**made.get("meta", {}), "versionId": version}}
        server.resources[f"{kind}/{number}"] = kept
        server.writes += 1
        return Reply(200 if request.method == "PUT" else 201, json.dumps(kept).encode())

    server.fault = one


def test_one_by_one_leaves_what_transactions_leave(connect: Connect, fake: Fake) -> None:
    server, url = fake
    singles(server)
    client = connect(url)
    first = delivered(deliver(client, CONTEXT, one_by_one=True))
    assert (first.created, first.unchanged) == (len(CONTEXT["entry"]), 0)
    assert not any("urn:uuid" in json.dumps(one) for one in server.resources.values())
    writes = server.writes
    again = delivered(deliver(client, CONTEXT, one_by_one=True))
    assert (again.created, again.updated, again.kept, server.writes) == (0, 0, (), writes)


def test_one_by_one_goes_on_where_it_was_cut_off(connect: Connect, fake: Fake) -> None:
    server, url = fake
    singles(server)
    steady = server.fault
    for stop in range(1, len(CONTEXT["entry"]) + 1, 5):
        limit = server.writes + stop

        def cut(request: Request, limit: int = limit) -> Reply | None:
            is_write = "_search" not in request.path and request.method in ("POST", "PUT")
            return outcome(503, "down") if is_write and server.writes >= limit else steady(request)

        server.fault = cut
        try:
            deliver(connect(url), CONTEXT, one_by_one=True)
        except Unreachable:
            continue
        break
    server.fault = steady
    delivered(deliver(connect(url), CONTEXT, one_by_one=True))
    assert len(server.resources) == len(CONTEXT["entry"])
    for entry in entries(CONTEXT):
        assert sum(entry.identity.names(one) for one in server.resources.values()) == 1


def test_one_by_one_updates_what_was_closed(connect: Connect, fake: Fake) -> None:
    server, url = fake
    deliver(connect(url), ACCESS)
    singles(server)
    updates = [one for one in entries(CLOSING) if one.method == "PUT"]
    result = delivered(deliver(connect(url), CLOSING, one_by_one=True))
    assert result.updated == len(updates)
    for entry in updates:
        [held] = [one for one in server.resources.values() if entry.identity.names(one)]
        assert held["status"] == entry.resource["status"]


def test_one_by_one_names_who_is_not_there(typed: Type, fake: Fake) -> None:
    server, url = fake
    server.transaction = False
    singles(server)
    found = send(typed, WEEK, "--server", url, "--one-by-one")
    assert found.code == 3
    assert "Patient finds nothing on the server, or more than one" in found.out
    assert server.writes == 0


# -- what the server sees --


def is_write(request: Request) -> bool:
    return request.method in ("POST", "PUT") and not request.path.endswith("_search") and request.path != "/fhir"


def test_one_by_one_looks_first_and_writes_what_is_referred_to_before_what_refers(connect: Connect, fake: Fake) -> None:
    server, url = fake
    singles(server)
    write, seen = server.fault, []
    looked: set[str] = set()
    stored: set[str] = set()

    def watched(request: Request) -> Reply | None:
        if request.path.endswith("_search"):
            looked.add(request.path.split("/")[2])
        reply = write(request)
        if is_write(request) and reply is not None:
            made = json.loads(reply.body)
            assert made["resourceType"] in looked
            assert set(references(made)) <= stored
            stored.add(f"{made['resourceType']}/{made['id']}")
            seen.append(made["resourceType"])
        return reply

    server.fault = watched
    delivered(deliver(connect(url), CONTEXT, one_by_one=True))
    assert Counter(seen) == Counter(one["resource"]["resourceType"] for one in CONTEXT["entry"])
    assert seen.index("Patient") < seen.index("Encounter") < seen.index("Procedure") < seen.index("Provenance")
    assert server.transactions == 0


def sending(url: str, box: Path) -> subprocess.Popen[str]:
    """The command in a process of its own."""
    arguments = ["send", str(DATA / "with_context.json"), "--server", url, "--one-by-one", "--outbox", str(box)]
    return subprocess.Popen(
        [sys.executable, "-m", "lda_notes", *arguments], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )


@pytest.mark.parametrize("deadly", [9, len(CONTEXT["entry"])])
def test_one_by_one_killed_after_a_write_goes_on_and_doubles_nothing(deadly: int, fake: Fake, tmp_path: Path) -> None:
    """The process is killed when a resource was stored and before the answer; then the command is repeated."""
    server, url = fake
    singles(server)
    write = server.fault
    running: list[subprocess.Popen[str]] = []

    def killing(request: Request) -> Reply | None:
        reply = write(request)
        if is_write(request) and server.writes == deadly:
            os.kill(running[0].pid, signal.SIGKILL)
            running[0].wait()
        return reply

    server.fault = killing
    running.append(sending(url, tmp_path / "box"))
    running[0].communicate(timeout=60)
    assert (running[0].returncode, server.writes) == (-signal.SIGKILL, deadly)
    server.fault = write
    again = sending(url, tmp_path / "box")
    said, _ = again.communicate(timeout=60)
    assert again.returncode == 0, said
    held = [entry for entry in entries(CONTEXT) for one in server.resources.values() if entry.identity.names(one)]
    assert len(held) == len(entries(CONTEXT))
    assert {one.identity for one in held} == {one.identity for one in entries(CONTEXT)}
    assert len(server.resources) == server.writes == len(CONTEXT["entry"])
