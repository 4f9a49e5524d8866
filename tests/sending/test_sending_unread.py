"""An answer that cannot be read is called that, with the reason, and never "missing"; what a server says is printed."""

from __future__ import annotations

import base64
import json
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
from fake_fhir import outcome
from loopback import Reply, Request
from test_sending_answers import ACCESS, WEEK, Connect, Fake, Type, send, status, typed

from lda_notes.fhir.elements import to_json_bytes
from lda_notes.sending.client import Unreadable
from lda_notes.sending.compare import Difference
from lda_notes.sending.deliver import Refused, deliver
from lda_notes.sending.parcel import Parcel
from lda_notes.sending.status import standing
from lda_notes.sending.words import differences

__all__ = ["typed"]

Json = dict[str, Any]
SAID = {"resourceType": "OperationOutcome", "issue": [{"severity": "error", "diagnostics": "the index is rebuilt"}]}
WARNING = {"resourceType": "OperationOutcome", "issue": [{"severity": "warning", "diagnostics": "index is old"}]}


def bundle(*entry: Any) -> bytes:
    return json.dumps({"resourceType": "Bundle", "type": "searchset", "entry": list(entry)}).encode()


def answering(kind: str, body: bytes) -> Callable[[Request], Reply | None]:
    """Answers each search for a type so."""
    return lambda request: Reply(200, body) if request.path == f"/fhir/{kind}/_search" else None


@pytest.mark.parametrize(
    "body, why",
    [
        (bundle({"fullUrl": "urn:x"}), "an entry of it has no resource"),
        (json.dumps({"resourceType": "Bundle", "entry": {"resource": {}}}).encode(), "its entries are not a list"),
        (bundle({"resource": SAID}), "the server reports: the index is rebuilt"),
        (json.dumps(SAID).encode(), "with no bundle: the index is rebuilt"),
        (b"<html>", "the server does not answer in FHIR JSON"),
        (b" " * (16 * 1024 * 1024 + 1), "the answer is larger than 16 MiB"),
    ],
)
def test_what_an_unreadable_answer_may_contain_is_unread_with_the_reason(
    connect: Connect, fake: Fake, body: bytes, why: str
) -> None:
    server, url = fake
    deliver(connect(url), ACCESS)
    server.fault = answering("Procedure", body)
    found = list(standing(connect(url), [Parcel(to_json_bytes(ACCESS))]))
    procedures = [one for one in found if one.entry.identity.kind == "Procedure"]
    assert procedures
    assert all((one.state, why in str(one.why), one.differences) == ("unread", True, ()) for one in procedures)
    assert {one.state for one in found} <= {"unread", "same", "present"}
    assert all("refers to" in str(one.why) for one in found if one.state == "unread" and one not in procedures)


def test_what_of_an_answer_can_be_read_is_compared(connect: Connect, fake: Fake) -> None:
    server, url = fake
    deliver(connect(url), ACCESS)
    steady = server.after

    def spoilt(request: Request, reply: Reply) -> Reply:
        if request.path != "/fhir/Observation/_search":
            return steady(request, reply)
        return Reply(200, bundle(*json.loads(reply.body)["entry"][1:], {"resource": "cut"}))

    server.after = spoilt
    found = list(standing(connect(url), [Parcel(to_json_bytes(ACCESS))]))
    states = Counter(one.state for one in found if one.entry.identity.kind == "Observation")
    assert states["unread"] == 1
    assert states["same"] > 5


def test_status_says_why_and_never_that_it_is_missing(typed: Type, fake: Fake) -> None:
    server, url = fake
    assert send(typed, WEEK, "--server", url).code == 0
    server.fault = answering("Procedure", b" " * (16 * 1024 * 1024 + 1))
    found = status(typed, WEEK, "--server", url, "--format", "json")
    listed = json.loads(found.out)["resources"]
    assert found.code == 1
    assert {one["state"] for one in listed if one["type"] == "Procedure"} == {"unread"}
    assert all("larger than 16 MiB" in one["why"] for one in listed if one["type"] == "Procedure")
    server.fault = lambda request: outcome(400, "no such type") if "Procedure" in request.path else None
    found = status(typed, WEEK, "--server", url)
    rows = found.out.splitlines()
    unread = [rows[index + 1].strip() for index, row in enumerate(rows) if row.startswith("unread     Procedure")]
    assert set(unread) == {"could not be read: the server refuses a question (400: no such type)"}
    assert "missing" not in found.out + found.err


def test_a_server_of_which_nothing_can_be_read_is_one_sentence(typed: Type, fake: Fake) -> None:
    server, url = fake
    server.fault = lambda request: Reply(200, b"<html>")
    found = status(typed, WEEK, "--server", url)
    assert found.code == 3
    assert found.err == "lda-notes: the server does not answer in FHIR JSON; check the address\n"


def test_pages_without_end_are_given_up_by_their_size(connect: Connect, fake: Fake) -> None:
    server, url = fake
    link = [{"relation": "next", "url": f"{url}/Task?page=2"}]
    page = {
        "resourceType": "Bundle",
        "link": link,
        "entry": [{"resource": {"resourceType": "Task", "id": "x" * (1 << 23)}}],
    }
    asked: list[str] = []

    def endless(request: Request) -> Reply | None:
        asked.append(request.path)
        return Reply(200, json.dumps(page).encode())

    server.fault = endless
    with pytest.raises(Unreadable, match="larger than 64 MiB together"):
        connect(url).search("Task", {"identifier": "a|b"})
    assert len(asked) == 8


def test_a_note_of_any_size_is_compared_and_its_rows_are_counted() -> None:
    texts = ["one\ntwo", "\n".join(f"row {number} of something else" for number in range(100_000))]
    sent, held = (base64.b64encode(text.encode()).decode() for text in texts)
    rows = list(differences([Difference("content[0].attachment.data", sent, held)]))
    assert rows[1:4] == ["  record: one", "  record: two", "  server: row 0 of something else"]
    assert (len(rows), rows[-1]) == (101, "and 99,903 more rows of differences")


# -- what is said beside a good answer --


def test_send_and_status_print_what_a_search_was_answered_with(typed: Type, fake: Fake) -> None:
    server, url = fake

    def warning(request: Request, reply: Reply) -> Reply:
        if not request.path.endswith("_search"):
            return reply
        page = json.loads(reply.body)
        return Reply(200, json.dumps({**page, "entry": [*page["entry"], {"resource": WARNING}]}).encode())

    server.after = warning
    for found in (send(typed, WEEK, "--server", url), status(typed, WEEK, "--server", url)):
        assert found.code == 0
        assert found.err.count(f"{url} reports: index is old") == 1


def test_a_good_answer_that_is_an_outcome_is_a_refusal_when_nothing_was_stored(connect: Connect, fake: Fake) -> None:
    server, url = fake
    server.fault = lambda request: Reply(200, json.dumps(SAID).encode()) if request.path == "/fhir" else None
    refused = deliver(connect(url), ACCESS)
    assert isinstance(refused, Refused)
    assert [one.words for one in refused.issues] == ["the index is rebuilt"]


def test_a_good_answer_that_is_an_outcome_is_told_when_all_was_stored(typed: Type, fake: Fake) -> None:
    server, url = fake
    server.after = lambda request, reply: Reply(200, json.dumps(WARNING).encode()) if request.path == "/fhir" else reply
    found = send(typed, WEEK, "--server", url)
    assert found.code == 0
    assert "the server took it and warns:" in found.out + found.err
    assert "The bundle: index is old" in found.out + found.err
