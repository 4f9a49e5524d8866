"""What waits in an outbox is sent in order, once each; what is refused is set aside and said."""

from __future__ import annotations

import copy
import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from fake_fhir import FakeFhir, outcome
from loopback import Reply, Request
from stand_ins import Connect, receipts_of
from test_sending_deliver import ACCESS, CLOSING, CONTEXT, Fake

from lda_notes.fhir.elements import to_json
from lda_notes.problems import Failure
from lda_notes.sending.client import NotAllowed, Unreachable
from lda_notes.sending.deliver import Delivered
from lda_notes.sending.drain import Passed, SetAside, drain
from lda_notes.sending.entries import entries
from lda_notes.sending.outbox import FILE, Outbox
from lda_notes.sending.parcel import Parcel

AT = datetime(2031, 3, 4, 9, 0, tzinfo=UTC)


def parcel(bundle: Any, about: str | None = None, server: str | None = None, rows: tuple[int, ...] = ()) -> Parcel:
    listed = entries(bundle)
    kinds = {method: tuple({e.identity.kind for e in listed if e.method == method}) for method in ("POST", "PUT")}
    return Parcel(
        to_json(bundle).encode(),
        "line-1",
        about,
        "ward.yaml",
        rows,
        creates=kinds["POST"],
        updates=kinds["PUT"],
        server=server,
    )


OTHER = json.loads(to_json(CONTEXT).replace("/lda-notes/identifier", "/lda-notes/identifier-of-another-patient"))
THREE = (parcel(ACCESS, "week/access-1"), parcel(CLOSING, "week/removal-1"), parcel(OTHER, "other/care-1"))


@pytest.fixture
def box(tmp_path: Path) -> Outbox:
    return Outbox(tmp_path / "outbox")


def run(box: Outbox, client: Any) -> list[Passed]:
    return list(drain(box, client, lambda: AT))


def kinds(passed: list[Passed]) -> list[str]:
    return [type(one.result).__name__ for one in passed]


def order(requests: list[Request]) -> list[str]:
    return [json.loads(r.body)["entry"][-1]["fullUrl"] for r in requests if r.path == "/fhir" and r.body]


def test_all_that_waits_is_sent_in_order_with_receipts(connect: Connect, fake: Fake, box: Outbox) -> None:
    server, url = fake
    seen: list[Request] = []
    server.fault = lambda r: seen.append(r)  # type: ignore[func-returns-value]  # None is the answer wanted
    box.put(THREE)
    passed = run(box, connect(url))
    assert kinds(passed) == ["Delivered"] * 3
    assert order(seen) == [one["entry"][-1]["fullUrl"] for one in (ACCESS, CLOSING, OTHER)]
    assert box.waiting() == []
    assert [(one.line, one.about, one.bundle, one.server, one.at) for one in receipts_of(box)] == [
        (one.line, one.about, one.digest, url, AT) for one in THREE
    ]
    for receipt in receipts_of(box):
        for held in receipt.resources:
            assert (f"{held.kind}/{held.id}", held.version) in server.versions


def test_what_has_a_receipt_is_not_sent_again(connect: Connect, fake: Fake, box: Outbox) -> None:
    server, url = fake
    box.put(THREE)
    run(box, connect(url))
    sent = server.transactions
    seen: list[Request] = []
    server.fault = lambda r: seen.append(r)  # type: ignore[func-returns-value]  # None is the answer wanted
    box.put(THREE)
    assert kinds(run(box, connect(url))) == ["Known"] * 3
    assert seen == []
    assert server.transactions == sent
    assert len(receipts_of(box)) == 3
    assert box.waiting() == []


def test_a_receipt_of_another_server_does_not_count(connect: Connect, fake: Fake, box: Outbox) -> None:
    _, url = fake
    box.put(THREE[:1])
    run(box, connect(url))
    other = FakeFhir()
    from loopback import serving

    with serving(other) as here:
        box.put(THREE[:1])
        assert kinds(run(box, connect(f"{here.base_url}/fhir"))) == ["Delivered"]
    assert other.transactions == 1


def test_a_forgotten_receipt_is_sent_again_and_changes_nothing(connect: Connect, fake: Fake, box: Outbox) -> None:
    server, url = fake
    box.put(THREE[:2])
    run(box, connect(url))
    writes = server.writes
    box.forget(one.digest for one in THREE)
    box.put(THREE[:2])
    found = [one.result for one in run(box, connect(url))]
    assert [(one.created, one.updated) for one in found if isinstance(one, Delivered)] == [(0, 0), (0, 0)]
    assert server.writes == writes
    assert len(receipts_of(box)) == 4


def test_what_is_meant_for_another_server_waits(connect: Connect, fake: Fake, box: Outbox) -> None:
    _, url = fake
    elsewhere = THREE[1].to("https://other.example/fhir")
    box.put([THREE[0].to(url), elsewhere, THREE[2]])
    assert len(run(box, connect(url))) == 2
    [left] = box.waiting()
    assert left.server == "https://other.example/fhir"


def test_what_is_put_in_meanwhile_is_sent_too(connect: Connect, fake: Fake, box: Outbox) -> None:
    _, url = fake
    box.put(THREE[:1])
    passed = []
    for one in drain(box, connect(url), lambda: AT):
        passed.append(one)
        if len(passed) == 1:
            box.put(THREE[1:])
    assert kinds(passed) == ["Delivered"] * 3


def test_two_runs_do_not_send_at_once(connect: Connect, fake: Fake, box: Outbox) -> None:
    _, url = fake
    box.put(THREE)
    first = drain(box, connect(url), lambda: AT)
    next(first)
    with pytest.raises(Failure, match="another run is sending"):
        run(box, connect(url))
    assert len(list(first)) == 2


# -- refused --


def fault(kind: str, words: str) -> dict[str, Any]:
    return {
        "severity": "error",
        "code": "invalid",
        "diagnostics": words,
        "expression": [f"Bundle.entry[2].resource/*{kind}/null*/.status"],
    }


def refusing(about: Any) -> Callable[[Request], Reply | None]:
    """Refuses the one bundle that has the Provenance of ``about``."""
    own = about["entry"][-1]["fullUrl"].encode()
    said = {"resourceType": "OperationOutcome", "issue": [fault("Procedure", "Unknown code 'done'")]}

    def fails(request: Request) -> Reply | None:
        if request.path == "/fhir" and own in request.body:
            return Reply(422, json.dumps(said).encode())
        return None

    return fails


def test_a_refused_bundle_is_set_aside_and_the_others_go_on(connect: Connect, fake: Fake, box: Outbox) -> None:
    server, url = fake
    server.fault = refusing(CLOSING)
    put = [THREE[0], parcel(CLOSING, "week/removal-1", rows=(4, 5, 61)), THREE[2]]
    box.put(put)
    passed = run(box, connect(url))
    assert kinds(passed) == ["Delivered", "SetAside", "Delivered"]
    aside = passed[1].result
    assert isinstance(aside, SetAside)
    third = CLOSING["entry"][2]["resource"]["resourceType"]
    assert aside.reason.splitlines()[0].startswith("event week/removal-1, ward.yaml: nothing of it was stored")
    assert f"Entry 3, {third}" in aside.reason
    assert "element status" in aside.reason
    assert "ward.yaml:61" in aside.reason
    assert "Unknown code 'done'" in aside.reason
    assert [slip.reason for slip in box.set_aside()] == [aside.reason]
    assert box.waiting() == []
    assert [one.about for one in receipts_of(box)] == ["week/access-1", "other/care-1"]

    server.fault = lambda request: None
    assert len(box.put_back(url)) == 1
    assert kinds(run(box, connect(url))) == ["Delivered"]
    assert box.set_aside() == []


def test_two_matches_are_named_with_event_and_file(connect: Connect, fake: Fake, box: Outbox) -> None:
    server, url = fake
    box.put(THREE[:1])
    run(box, connect(url))
    task = next(one for one in server.resources.values() if one["resourceType"] == "Task")
    server.resources["Task/other"] = {**task, "id": "other"}
    box.put([THREE[1]])
    [passed] = run(box, connect(url))
    assert isinstance(passed.result, SetAside)
    assert f"Task/{task['id']} and Task/other" in passed.result.reason
    assert "week/removal-1" in passed.result.reason


def test_a_damaged_parcel_is_set_aside(connect: Connect, fake: Fake, box: Outbox) -> None:
    _, url = fake
    box.put(THREE)
    with closing(sqlite3.connect(box.folder / FILE)) as data, data:
        data.execute("UPDATE parcel SET bundle = CAST(substr(bundle, 1, 99) AS BLOB) WHERE number = 2")
    passed = run(box, connect(url))
    assert kinds(passed) == ["Delivered", "SetAside", "Delivered"]
    assert passed[1].parcel is None
    assert isinstance(passed[1].result, SetAside)
    assert "damaged" in passed[1].result.reason


def test_a_parcel_that_could_double_is_set_aside_unsent(connect: Connect, fake: Fake, box: Outbox) -> None:
    server, url = fake
    careless = copy.deepcopy(ACCESS)
    del careless["entry"][0]["request"]["ifNoneExist"]
    box.put([Parcel(to_json(careless).encode())])
    [passed] = run(box, connect(url))
    assert isinstance(passed.result, SetAside)
    assert "cannot be sent safely" in passed.result.reason
    assert server.transactions == 0


# -- the server goes away --


def test_what_is_left_when_the_server_goes_away_waits_in_its_order(connect: Connect, fake: Fake, box: Outbox) -> None:
    server, url = fake
    box.put(THREE)
    server.fault = lambda r: outcome(503, "down") if server.transactions else None
    found: list[Passed] = []
    with pytest.raises(Unreachable):
        found.extend(one for one in iter(drain(box, connect(url), lambda: AT)))
    assert [slip.about for slip in box.waiting()] == ["week/removal-1", "other/care-1"]
    assert len(receipts_of(box)) == 1
    server.fault = lambda r: None
    assert kinds(run(box, connect(url))) == ["Delivered"] * 2
    assert server.transactions == 3


def test_a_server_that_lacks_something_is_sent_nothing(connect: Connect, fake: Fake, box: Outbox) -> None:
    server, url = fake
    box.put(THREE)
    server.kinds = [kind for kind in server.kinds if kind != "Task"]
    with pytest.raises(NotAllowed, match="lacks what sending needs: the resource types Task") as failure:
        run(box, connect(url))
    assert failure.value.code == 3
    assert server.transactions == 0
    assert len(box.waiting()) == 3


def test_a_receipt_that_cannot_be_written_keeps_the_parcel(connect: Connect, fake: Fake, box: Outbox) -> None:
    server, url = fake
    box.put(THREE[:1])
    box._data.execute("CREATE TRIGGER full BEFORE INSERT ON receipt BEGIN SELECT RAISE(ABORT, 'no room'); END")
    with pytest.raises(Failure, match="nothing is doubled") as failure:
        run(box, connect(url))
    assert failure.value.code == 4
    assert len(box.waiting()) == 1
    box._data.execute("DROP TRIGGER full")
    writes = server.writes
    [passed] = run(box, connect(url))
    assert isinstance(passed.result, Delivered)
    assert server.writes == writes
    assert receipts_of(box)[-1].bundle == THREE[0].digest


def test_nothing_waits_and_nothing_is_asked(connect: Connect, fake: Fake, box: Outbox) -> None:
    server, url = fake
    server.fault = lambda r: outcome(500, "unasked")
    assert run(box, connect(url)) == []


# -- a server in trouble --


def many(number: int) -> list[Parcel]:
    """The same bundle under identities of its own, so many times."""
    texts = [to_json(ACCESS).replace("example.org/lda-notes", f"example.org/lda-notes/{n}") for n in range(number)]
    return [parcel(json.loads(text), f"week/access-{n}") for n, text in enumerate(texts)]


def test_a_server_in_trouble_pauses_the_queue(connect: Connect, fake: Fake, box: Outbox) -> None:
    server, url = fake
    box.put(many(6))
    server.fault = lambda r: outcome(500, "out of order") if r.path == "/fhir" else None
    with pytest.raises(Unreachable, match="in trouble: it answered 3 bundles in a row"):
        run(box, connect(url))
    assert len(box.waiting()) == 6
    assert box.set_aside() == []
    server.fault = lambda r: None
    assert kinds(run(box, connect(url))) == ["Delivered"] * 6


def test_one_bundle_that_breaks_a_server_is_set_aside_and_the_others_go_on(
    connect: Connect, fake: Fake, box: Outbox
) -> None:
    server, url = fake
    put = many(5)
    box.put(put)
    bad = entries(json.loads(put[1].bundle))[0].identity.value.encode()
    system = b"example.org/lda-notes/1/"
    server.fault = lambda r: outcome(500, "it broke") if r.path == "/fhir" and system in r.body and bad else None
    passed = run(box, connect(url))
    assert sorted(kinds(passed)) == ["Delivered"] * 4 + ["SetAside"]
    [aside] = box.set_aside()
    assert aside.about == "week/access-1"
    assert "it broke" in str(aside.reason)


# -- what a server keeps --


def test_what_the_server_keeps_is_compared_and_told_until_it_is_resolved(
    connect: Connect, fake: Fake, box: Outbox
) -> None:
    server, url = fake
    box.put(THREE[:1])
    run(box, connect(url))
    changed = next(one for one in server.resources.values() if one["resourceType"] == "Observation")
    old = changed["status"]
    changed["status"] = "preliminary"
    box.forget([THREE[0].digest])
    for _ in range(3):  # a receipt does not end it
        box.put(THREE[:1])
        [passed] = run(box, connect(url))
        assert isinstance(passed.result, Delivered)
        assert [one.differences[0].path for one in passed.result.kept] == ["status"]
        assert not box.has(url, THREE[0].digest)
    changed["status"] = old
    box.put(THREE[:1])
    [passed] = run(box, connect(url))
    assert isinstance(passed.result, Delivered)
    assert passed.result.kept == ()
    assert box.has(url, THREE[0].digest)
