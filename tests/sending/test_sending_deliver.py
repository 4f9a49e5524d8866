"""One bundle to one server, whatever the network does in between."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from fake_fhir import FakeFhir, outcome
from loopback import Reply, Request, serving
from stand_ins import Connect, Waits

from lda_notes.fhir.verify.verification import read_json
from lda_notes.sending.client import NotAllowed, Unreachable
from lda_notes.sending.deliver import Delivered, Refused, deliver
from lda_notes.sending.entries import NotSafe, entries

DATA = Path(__file__).parents[1] / "fhir" / "data"
Fake = tuple[FakeFhir, str]
Json = dict[str, Any]


def bundle(name: str) -> Any:
    value, faults = read_json((DATA / f"{name}.json").read_bytes())
    assert not faults
    return value


ACCESS, CLOSING, CONTEXT = bundle("access"), bundle("deaccess"), bundle("with_context")
ONE_EACH = len(ACCESS["entry"])


def delivered(result: Delivered | Refused) -> Delivered:
    assert isinstance(result, Delivered), result
    return result


def refused(result: Delivered | Refused) -> Refused:
    assert isinstance(result, Refused), result
    return result


def counts(result: Delivered | Refused) -> tuple[int, int, int]:
    found = delivered(result)
    return found.created, found.updated, found.unchanged


def transactions(requests: list[Request]) -> int:
    return sum(request.path == "/fhir" for request in requests)


# -- without faults --


def test_a_bundle_is_created_once_and_the_second_time_changes_nothing(connect: Connect, fake: Fake) -> None:
    server, url = fake
    client = connect(url)
    first = delivered(deliver(client, ACCESS))
    assert counts(first) == (ONE_EACH, 0, 0)
    writes = server.writes
    second = delivered(deliver(client, ACCESS))
    assert counts(second) == (0, 0, ONE_EACH)
    assert second.resources == first.resources
    assert server.writes == writes == ONE_EACH
    assert (second.kept, second.asked) == ((), False)
    for held, entry in zip(first.resources, entries(ACCESS), strict=True):
        assert (held.kind, held.version, held.identity) == (entry.identity.kind, "1", entry.identity.value)
        assert f"{held.kind}/{held.id}" in server.resources


def test_what_is_closed_is_told_as_updated_and_a_second_time_not_even_sent(connect: Connect, fake: Fake) -> None:
    server, url = fake
    client = connect(url)
    deliver(client, ACCESS)
    updates = sum(entry.method == "PUT" for entry in entries(CLOSING))
    assert updates > 2
    created, updated, _ = counts(deliver(client, CLOSING))
    assert updated == updates
    assert created > 0
    sent, writes = server.transactions, server.writes
    assert counts(deliver(client, CLOSING)) == (0, 0, len(CLOSING["entry"]))
    assert (server.transactions, server.writes) == (sent, writes)


def test_an_update_that_would_change_nothing_goes_as_a_create_that_cannot(connect: Connect, fake: Fake) -> None:
    """Also a server that writes a new version for an equal update gets none."""
    server, url = fake
    client = connect(url)
    deliver(client, CLOSING)
    note = next(e for e in entries(CLOSING) if e.identity.kind == "DocumentReference")
    gone = next(key for key, one in server.resources.items() if note.identity.names(one))
    del server.resources[gone]
    sent: list[Json] = []
    server.fault = lambda r: sent.append(json.loads(r.body)) if r.path == "/fhir" else None  # type: ignore[func-returns-value]  # None is the answer wanted
    created, updated, unchanged = counts(deliver(client, CLOSING))
    assert (created, updated, unchanged) == (1, 0, len(CLOSING["entry"]) - 1)
    assert {entry["request"]["method"] for entry in sent[0]["entry"]} == {"POST"}
    assert all(one["meta"]["versionId"] == "1" for one in server.resources.values())


def test_patient_and_staff_numbers_stand_in_no_address_and_no_receipt(connect: Connect, fake: Fake) -> None:
    server, url = fake
    seen: list[Request] = []
    server.fault = lambda r: seen.append(r)  # type: ignore[func-returns-value]  # None is the answer wanted
    result = delivered(deliver(connect(url), CONTEXT))
    numbers = [
        one["value"]
        for entry in CONTEXT["entry"]
        if entry["resource"]["resourceType"] in ("Patient", "Practitioner", "Encounter", "Organization", "Location")
        for one in entry["resource"]["identifier"]
    ]
    assert numbers
    for number in numbers:
        assert not any(number in request.path for request in seen)
        assert not any(number in held.identity for held in result.resources)


def test_receipts_are_asked_for_when_the_answer_shows_no_resources(connect: Connect, fake: Fake) -> None:
    server, url = fake
    expected = delivered(deliver(connect(url), ACCESS)).resources
    server.shows_resources = False
    assert delivered(deliver(connect(url), ACCESS)).resources == expected


def test_an_answer_with_fewer_entries_is_not_matched_by_position(connect: Connect, fake: Fake) -> None:
    server, url = fake

    def merged(request: Request, reply: Reply) -> Reply:
        if request.path != "/fhir":
            return reply
        said = json.loads(reply.body)
        del said["entry"][3]
        return Reply(200, json.dumps(said).encode())

    server.after = merged
    result = delivered(deliver(connect(url), ACCESS))
    for held, entry in zip(result.resources, entries(ACCESS), strict=True):
        assert entry.identity.names(server.resources[f"{held.kind}/{held.id}"])


@pytest.mark.parametrize(
    "damage",
    [
        lambda said: said["entry"].reverse(),
        lambda said: said["entry"][0].update(resource=None),
        lambda said: said["entry"][0]["resource"].update(meta={}),
        lambda said: said["entry"].__setitem__(0, 3),
        lambda said: said.update(entry=3),
        lambda said: said.clear(),
    ],
)
def test_a_strange_answer_is_checked_against_what_the_server_holds(
    connect: Connect, fake: Fake, damage: Callable[[Any], object]
) -> None:
    server, url = fake

    def strange(request: Request, reply: Reply) -> Reply:
        if request.path != "/fhir":
            return reply
        said = json.loads(reply.body)
        damage(said)
        return Reply(200, json.dumps(said).encode())

    server.after = strange
    result = delivered(deliver(connect(url), ACCESS))
    for held, entry in zip(result.resources, entries(ACCESS), strict=True):
        assert entry.identity.names(server.resources[f"{held.kind}/{held.id}"])
        assert held.version == "1"


def test_a_server_that_says_yes_and_stores_nothing_is_not_believed(connect: Connect, fake: Fake) -> None:
    server, url = fake
    server.fault = lambda r: Reply(200, b'{"resourceType": "Bundle"}') if r.path == "/fhir" else None
    with pytest.raises(Unreachable, match="does not find Device of it again"):
        deliver(connect(url), ACCESS)


# -- what the server keeps --


def test_a_changed_fact_that_the_server_does_not_take_over_is_told(connect: Connect, fake: Fake) -> None:
    _, url = fake
    deliver(connect(url), ACCESS)
    changed = copy.deepcopy(ACCESS)
    waste = next(e for e in changed["entry"] if "valueQuantity" in e["resource"])
    waste["resource"]["valueQuantity"]["value"] = Decimal("7.5")
    [kept] = delivered(deliver(connect(url), changed)).kept
    assert kept.entry.full_url == waste["fullUrl"]
    assert [one.path for one in kept.differences] == ["valueQuantity.value"]
    assert kept.differences[0].sent == Decimal("7.5")


def test_what_a_later_entry_closed_is_no_difference(connect: Connect, fake: Fake) -> None:
    _, url = fake
    for one in (ACCESS, CLOSING):
        deliver(connect(url), one)
    assert delivered(deliver(connect(url), ACCESS)).kept == ()


def test_an_entry_that_another_bundle_decides_is_not_compared(connect: Connect, fake: Fake) -> None:
    _, url = fake
    deliver(connect(url), ACCESS)
    changed = copy.deepcopy(ACCESS)
    index = next(i for i, e in enumerate(changed["entry"]) if "valueQuantity" in e["resource"])
    changed["entry"][index]["resource"]["valueQuantity"]["value"] = Decimal("7.5")
    assert delivered(deliver(connect(url), changed, shared=(index,))).kept == ()
    assert delivered(deliver(connect(url), changed, shared=(index + 1,))).kept != ()


# -- faults on the way --


def scripted(*replies: Reply | None) -> Callable[[Request], Reply | None]:
    """Answers transactions in turn; None lets one through."""
    left = list(replies)
    return lambda request: left.pop(0) if left and request.path == "/fhir" else None


@pytest.mark.parametrize("status", [429, 502, 503, 504, 408, 409, 425])
def test_what_may_be_repeated_is_repeated(connect: Connect, fake: Fake, waits: Waits, status: int) -> None:
    server, url = fake
    server.fault = scripted(outcome(status, "later"), outcome(status, "later"))
    assert counts(deliver(connect(url), ACCESS)) == (ONE_EACH, 0, 0)
    assert waits.slept == [0.375, 0.75]
    assert server.transactions == 1


@pytest.mark.parametrize("status", [429, 503])
@pytest.mark.parametrize(("asked", "seconds"), [("30", 30), ("Mon, 18 Mar 2030 00:00:45 GMT", 1899936045 + 0)])
def test_a_wait_that_is_asked_for_is_kept(
    connect: Connect, fake: Fake, waits: Waits, status: int, asked: str, seconds: float
) -> None:
    server, url = fake
    start = waits.pace().now()
    if seconds > 1000:
        from email.utils import formatdate

        asked, seconds = formatdate(start + 45, usegmt=True), 45
    server.fault = scripted(outcome(status, "later", Retry_After=asked))
    assert counts(deliver(connect(url), ACCESS)) == (ONE_EACH, 0, 0)
    assert len(waits.slept) == 1
    assert seconds <= waits.slept[0] <= seconds + 1


def test_a_wait_beyond_reason_is_not_kept(connect: Connect, fake: Fake, waits: Waits) -> None:
    server, url = fake
    server.fault = scripted(outcome(503, "later", Retry_After="86400"))
    with pytest.raises(Unreachable, match="does not take it now: status 503") as failure:
        deliver(connect(url), ACCESS)
    assert failure.value.code == 4
    assert waits.slept == []
    assert server.resources == {}


def test_trying_ends(connect: Connect, fake: Fake, waits: Waits) -> None:
    server, url = fake
    server.fault = scripted(*[outcome(503, "later")] * 99)
    with pytest.raises(Unreachable):
        deliver(connect(url, tries=6), ACCESS)
    assert len(waits.slept) == 5


@pytest.mark.parametrize("status", [400, 404, 405, 410, 413, 415, 422, 418])
def test_what_may_not_be_repeated_is_not(connect: Connect, fake: Fake, waits: Waits, status: int) -> None:
    server, url = fake
    server.fault = scripted(outcome(status, "no"))
    result = refused(deliver(connect(url), ACCESS))
    assert (result.status, result.issues[0].words) == (status, "no")
    assert waits.slept == []
    assert server.transactions == 0


@pytest.mark.parametrize("status", [401, 403, 302])
def test_a_server_that_takes_nothing_from_us_stops_everything(connect: Connect, fake: Fake, status: int) -> None:
    server, url = fake
    server.fault = scripted(outcome(status, "no"))
    with pytest.raises(NotAllowed) as failure:
        deliver(connect(url), ACCESS)
    assert failure.value.code == 3


def cut_after(times: int) -> Callable[[Request, Reply], Reply]:
    """The server does what was asked, but its answer does not arrive."""
    left = [times]

    def after(request: Request, reply: Reply) -> Reply:
        if request.path == "/fhir" and left[0]:
            left[0] -= 1
            return Reply(200, reply.body, cut=-1)
        return reply

    return after


def cut_in_the_middle(request: Request, reply: Reply) -> Reply:
    return Reply(200, reply.body, cut=100) if request.path == "/fhir" else reply


def gateway_timeout(request: Request, reply: Reply) -> Reply:
    return Reply(504, b"<html>") if request.path == "/fhir" else reply


@pytest.mark.parametrize("after", [cut_after(1), cut_in_the_middle, gateway_timeout])
def test_an_answer_that_is_lost_is_made_up_for_by_asking(
    connect: Connect, fake: Fake, after: Callable[[Request, Reply], Reply]
) -> None:
    server, url = fake
    server.after = after
    for one in (ACCESS, CLOSING):
        result = delivered(deliver(connect(url), one))
        assert len(result.resources) == len(one["entry"])
    assert server.transactions == 2, "what was applied is not sent again"
    assert result.asked or after is not cut_in_the_middle


def test_a_request_that_never_arrived_is_sent_again(connect: Connect, fake: Fake) -> None:
    server, url = fake
    server.fault = scripted(Reply(200, b"", cut=-1), Reply(200, b"", cut=-1))
    result = delivered(deliver(connect(url), ACCESS))
    assert result.created == ONE_EACH
    assert not result.asked
    assert server.transactions == 1


def test_a_late_first_try_beside_the_second_is_noticed(connect: Connect, fake: Fake) -> None:
    """A server that does not keep two equal transactions apart may double; that is said, never left in silence."""
    server, url = fake
    server.fault = scripted(Reply(200, b"", cut=-1))

    def doubling(request: Request, reply: Reply) -> Reply:
        if request.path == "/fhir":
            for one in list(server.resources.values()):
                if one["resourceType"] == "Procedure":
                    server.resources["Procedure/double"] = {**one, "id": "double"}
        return reply

    server.after = doubling
    result = refused(deliver(connect(url), ACCESS))
    [doubled] = result.doubled
    assert doubled.identity.kind == "Procedure"
    assert "Procedure/double" in doubled.found


def test_a_server_that_dies_after_the_request_leaves_it_open(connect: Connect, fake: Fake) -> None:
    server, url = fake
    dead = [False]

    def dying(request: Request) -> Reply | None:
        dead[0] = dead[0] or request.path == "/fhir"
        return Reply(200, b"", cut=-1) if dead[0] else None

    server.fault = dying
    with pytest.raises(Unreachable):
        deliver(connect(url), ACCESS)
    dead[0] = False
    server.fault = lambda request: None
    assert counts(deliver(connect(url), ACCESS)) == (ONE_EACH, 0, 0)


def test_a_slow_answer_is_not_waited_for_without_end(connect: Connect, fake: Fake) -> None:
    server, url = fake
    slow = cut_after(0)
    left = [1]

    def once(request: Request, reply: Reply) -> Reply:
        if request.path == "/fhir" and left[0]:
            left[0] = 0
            return Reply(200, reply.body, reply.headers, wait_s=30)
        return slow(request, reply)

    server.after = once
    result = delivered(deliver(connect(url, timeout_s=0.3), ACCESS))
    assert result.asked
    assert server.transactions == 1


def test_a_server_error_is_put_down_to_the_bundle_only_when_the_server_is_well(connect: Connect, fake: Fake) -> None:
    server, url = fake
    server.fault = scripted(outcome(500, "null pointer"))
    assert refused(deliver(connect(url), ACCESS)).status == 500
    server.fault = lambda request: outcome(500, "no database")
    with pytest.raises(Unreachable, match="cannot be reached: status 500"):
        deliver(connect(url), ACCESS)
    server.fault = lambda request: None
    server.after = lambda request, reply: outcome(500, "after all") if request.path == "/fhir" else reply
    assert delivered(deliver(connect(url), ACCESS)).asked


# -- two matches --


def test_two_matches_stop_and_are_both_named(connect: Connect, fake: Fake) -> None:
    server, url = fake
    deliver(connect(url), ACCESS)
    task = next(one for one in server.resources.values() if one["resourceType"] == "Task")
    server.resources["Task/other"] = {**task, "id": "other"}
    before = copy.deepcopy(server.resources)
    for one in (ACCESS, CLOSING):
        result = refused(deliver(connect(url), one))
        assert result.status == 412
        found = {name for two in result.doubled for name in two.found}
        assert found == {f"Task/{task['id']}", "Task/other"}
    assert server.resources == before


# -- what cannot be sent safely --


UNSAFE: dict[str, tuple[Callable[[Any], object], str]] = {
    "a batch": (lambda b: b.update(type="batch"), "no FHIR transaction"),
    "no bundle": (lambda b: b.update(resourceType="Patient"), "no FHIR transaction"),
    "no entries": (lambda b: b.update(entry=[]), "no entries"),
    "no condition": (lambda b: b["entry"][2]["request"].pop("ifNoneExist"), "entry 3 has no condition"),
    "a condition on two": (lambda b: b["entry"][2]["request"].update(ifNoneExist="identifier=a|b&x=y"), "entry 3"),
    "no system": (lambda b: b["entry"][2]["request"].update(ifNoneExist="identifier=abc"), "entry 3"),
    "another parameter": (lambda b: b["entry"][2]["request"].update(ifNoneExist="name=a|b"), "entry 3"),
    "deleting": (lambda b: b["entry"][2]["request"].update(method="DELETE"), "entry 3"),
    "no request": (lambda b: b["entry"][2].pop("request"), "entry 3"),
    "no object": (lambda b: b["entry"].__setitem__(2, 5), "entry 3"),
    "one identity twice": (lambda b: b["entry"].append(copy.deepcopy(b["entry"][2])), "two of its entries"),
}


@pytest.mark.parametrize("name", UNSAFE)
def test_what_could_double_is_never_sent(connect: Connect, fake: Fake, name: str) -> None:
    server, url = fake
    damaged = copy.deepcopy(ACCESS)
    damage, why = UNSAFE[name]
    damage(damaged)
    with pytest.raises(NotSafe, match=why):
        deliver(connect(url), damaged)
    assert server.transactions == 0


# -- what the server can do --


@pytest.mark.parametrize(
    ("change", "lacks"),
    [
        (lambda s: setattr(s, "version", "4.3.0"), ["FHIR R4 (it speaks 4.3.0)"]),
        (lambda s: setattr(s, "version", ""), ["FHIR R4 (it speaks no version that it names)"]),
        (lambda s: setattr(s, "kinds", ["Device", "Task"]), ["the resource types Provenance"]),
        (
            lambda s: setattr(s, "conditional", False),
            ["creating on a condition (Device, Provenance)", "updating on a condition (Task)"],
        ),
        (lambda s: None, []),
    ],
)  # fmt: skip
def test_what_a_server_lacks_is_named(
    connect: Connect, fake: Fake, change: Callable[[FakeFhir], object], lacks: list[str]
) -> None:
    server, url = fake
    change(server)
    assert connect(url).ability().lacks(["Device", "Provenance"], ["Task"]) == lacks


def test_a_server_without_transactions_is_named(connect: Connect) -> None:
    said = {"resourceType": "CapabilityStatement", "fhirVersion": "4.0.1", "rest": [{"resource": [{"type": "Task"}]}]}
    with serving(lambda request: Reply(200, json.dumps(said).encode())) as here:
        assert "transactions" in connect(here.base_url).ability().lacks([], [])


@pytest.mark.parametrize("body", [b"<html>hello</html>", b"[]", b'{"resourceType": "Patient"}', b"null"])
def test_what_is_no_fhir_server_is_told(connect: Connect, body: bytes) -> None:
    with serving(lambda request: Reply(200, body)) as here, pytest.raises(NotAllowed, match="check the address"):
        connect(here.base_url).ability()


def test_the_whole_statement_is_asked_for_when_the_short_one_says_nothing(connect: Connect, fake: Fake) -> None:
    server, url = fake
    short = Reply(200, b'{"resourceType": "CapabilityStatement", "fhirVersion": "4.0.1"}')
    server.fault = lambda request: short if "_elements" in request.path else None
    assert connect(url).ability().transaction
