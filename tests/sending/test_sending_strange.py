"""Whatever a server answers, the end is a result or one sentence, never a traceback, and nothing steers a terminal."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stand_ins import Waits
from test_sending_deliver import ACCESS, CLOSING

from lda_notes.problems import Failure
from lda_notes.sending.address import address
from lda_notes.sending.auth import Bearer
from lda_notes.sending.client import Server, Unreadable
from lda_notes.sending.deliver import Delivered, Refused, deliver
from lda_notes.sending.entries import entries
from lda_notes.sending.outcome import issues
from lda_notes.sending.parcel import Parcel
from lda_notes.sending.status import standing
from lda_notes.sending.wire import Answer, NoAnswer
from lda_notes.sending.words import refusal

KEYS = st.sampled_from(
    [
        "resourceType", "fhirVersion", "rest", "mode", "resource", "interaction", "type", "code", "conditionalCreate",
        "entry", "response", "status", "link", "relation", "url", "issue", "severity", "diagnostics", "details", "text",
        "expression", "location", "meta", "tag", "versionId", "identifier", "system", "value", "id",
    ]
)  # fmt: skip
WORDS = st.sampled_from(
    ["Bundle", "CapabilityStatement", "OperationOutcome", "Task", "Device", "next", "server", "error", "4.0.1", "201"]
)
LEAVES = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8) | WORDS
VALUES = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS | st.text(max_size=4), inner, max_size=5),
    max_leaves=25,
)
BODIES = st.binary(max_size=20) | VALUES.map(lambda value: json.dumps(value).encode())
STATUSES = st.sampled_from([200, 201, 204, 302, 400, 401, 404, 409, 412, 422, 429, 500, 503, 599])
HEADERS = st.dictionaries(st.sampled_from(["Retry-After", "Location"]), st.text(max_size=20))
ANSWERS = st.builds(Answer, STATUSES, HEADERS, BODIES)
WITH_OUTCOMES = st.dictionaries(KEYS, VALUES).map(
    lambda one: json.dumps({"resourceType": "OperationOutcome", "issue": [{"severity": "error", **one}]}).encode()
)


class Scripted:
    """Stands in for the connection: answers in turn, then breaks off."""

    def __init__(self, answers: list[Answer]) -> None:
        self.answers = answers

    def ask(self, method: str, url: str, headers: Mapping[str, str], content: bytes | None = None) -> Answer:
        if self.answers:
            return self.answers.pop(0)
        raise NoAnswer("the connection broke off", may_have_arrived=True, again=True)


def server(answers: list[Answer]) -> Server:
    where = address("https://fhir.example.org/r4")
    return Server(Scripted(answers), where, Bearer(None), Waits().pace(2))  # type: ignore[arg-type]  # a stand-in of the test


def ends_well(act: Callable[[], Any]) -> None:
    try:
        act()
    except Failure as failure:
        assert str(failure).isprintable()
        assert failure.code in (3, 4)


@settings(max_examples=300, deadline=None)
@given(st.lists(ANSWERS, max_size=6))
def test_questions(answers: list[Answer]) -> None:
    wanted = [entry.identity for entry in entries(ACCESS)]
    ends_well(lambda: server(list(answers)).ability())
    ends_well(lambda: server(list(answers)).find(wanted))
    ends_well(lambda: server(list(answers)).resolved("Patient?identifier=a|b"))
    parcel = Parcel(json.dumps(ACCESS, default=float).encode())
    ends_well(lambda: list(standing(server(list(answers)), [parcel])))


@settings(max_examples=300, deadline=None)
@given(st.lists(ANSWERS, max_size=8), st.sampled_from([ACCESS, CLOSING]))
def test_deliveries(answers: list[Answer], bundle: Any) -> None:
    def act() -> None:
        result = deliver(server(list(answers)), bundle)
        if isinstance(result, Refused):
            said = refusal(Parcel(json.dumps(bundle, default=float).encode()), bundle, result)
            assert all(row.isprintable() for row in said.splitlines())
        else:
            assert isinstance(result, Delivered)
            assert len(result.resources) == len(bundle["entry"])

    ends_well(act)


@settings(max_examples=300, deadline=None)
@given(STATUSES, BODIES | WITH_OUTCOMES)
def test_outcomes(status: int, body: bytes) -> None:
    found = issues(Answer(status, {}, body))
    assert found
    for issue in found:
        assert issue.words
        assert issue.words.isprintable()
        assert issue.element.isprintable()


def test_the_generator_reaches_what_it_should() -> None:
    """A strange answer that is a bundle after all is read as one, and what of it could not be read is named."""
    page = {"resourceType": "Bundle", "entry": [3, {"resource": {"resourceType": "Task", "id": 5}}], "link": [None]}
    with pytest.raises(Failure):
        server([]).search("Task", {})
    answer = Answer(200, {}, json.dumps(page).encode())
    why: list[str] = []
    assert server([answer]).search("Task", {}, why) == [{"resourceType": "Task", "id": 5}]
    assert why == ["an entry of it has no resource"]
    with pytest.raises(Unreadable, match="a search for Task could not be read: an entry of it has no resource"):
        server([answer]).search("Task", {})
