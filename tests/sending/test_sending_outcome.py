"""OperationOutcomes in plain words."""

from __future__ import annotations

import json
from typing import Any

import pytest

from lda_notes.sending.outcome import Issue, issues
from lda_notes.sending.wire import Answer


def outcome(*listed: Any, status: int = 422) -> tuple[Issue, ...]:
    return issues(Answer(status, {}, json.dumps({"resourceType": "OperationOutcome", "issue": list(listed)}).encode()))


def error(**says: Any) -> dict[str, Any]:
    return {"severity": "error", "code": "processing", **says}


def test_a_fault_is_placed_by_its_expression() -> None:
    """As HAPI FHIR writes it, with the type between slashes and stars."""
    [found] = outcome(
        error(diagnostics="Unknown code 'done'", expression=["Bundle.entry[3].resource/*Procedure/null*/.status"])
    )
    assert found == Issue(3, "status", "Unknown code 'done'")


@pytest.mark.parametrize(
    ("where", "entry", "element"),
    [
        ("Bundle.entry[0].resource.code.coding[0]", 0, "code.coding[0]"),
        ("Bundle.entry[12].resource/*Observation/x-1*/.value.ofType(Quantity)", 12, "value.ofType(Quantity)"),
        ("Bundle.entry[4].fullUrl", 4, "fullUrl"),
        ("Bundle.entry[4]", 4, ""),
        ("entry[2].resource.status", 2, "status"),
        ("Procedure.status", None, ""),
        ("Bundle.type", None, ""),
    ],
)
def test_places(where: str, entry: int | None, element: str) -> None:
    assert outcome(error(diagnostics="x", expression=[where])) == (Issue(entry, element, "x"),)
    assert outcome(error(diagnostics="x", location=[where])) == (Issue(entry, element, "x"),)


def test_words_come_from_diagnostics_and_details_once() -> None:
    found = outcome(
        error(diagnostics="A", details={"text": "B"}),
        error(diagnostics="A", details={"text": "A"}),
        error(details={"text": "B"}),
        error(code="not-found"),
        error(code="not-found"),
    )
    assert [one.words for one in found] == ["A; B", "A", "B", "not-found"]


def test_warnings_are_left_out_and_many_faults_are_counted() -> None:
    found = outcome({"severity": "warning", "diagnostics": "W"}, *(error(diagnostics=f"F{n}") for n in range(70)))
    assert [one.words for one in found][:2] == ["F0", "F1"]
    assert found[-1].words == "20 more"
    assert len(found) == 51


@pytest.mark.parametrize(
    "body", [b"", b"<html>no</html>", b"[]", b'{"resourceType":"Patient"}', b'{"issue": 3}', b"\xff"]
)
def test_what_is_no_outcome_tells_the_status(body: bytes) -> None:
    assert issues(Answer(500, {}, body)) == (Issue(None, "", "status 500, without a reason"),)


def test_strange_outcomes_do_not_break_anything() -> None:
    assert outcome(3, None, error(diagnostics=4, expression="x"), error(expression=[5], location=[None])) == (
        Issue(None, "", "processing"),
    )


def test_a_server_cannot_steer_the_terminal() -> None:
    [found] = outcome(error(diagnostics="a\x1b[2Jb\nc\u202ed\x9b\u200b\xad" + "x" * 1000))
    assert found.words.startswith("a [2Jb c d x")
    assert len(found.words) == 400
    assert found.words.isprintable()
