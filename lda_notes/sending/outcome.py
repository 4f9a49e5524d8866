"""A server's OperationOutcome in plain words, issue by issue."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from lda_notes.sending.wire import Answer

_REMARK: Final = re.compile(r"/\*(.*?)\*/")
"""A comment that one server writes into an expression to name the type: ``resource/*Procedure/null*/``."""

_IN_ENTRY: Final = re.compile(r"^(?:Bundle\.)?entry\[([0-9]{1,9})\](?:\.resource)?\.?(.*)$")
_LONGEST: Final = 400
_MOST: Final = 50
_FAULTS: Final = ("fatal", "error")
WARNED: Final = (*_FAULTS, "warning")


@dataclass(frozen=True, slots=True)
class Issue:
    """One fault that the server names. ``entry`` counts from 0; None when the server names no entry.

    ``element`` is the path below the resource, such as ``status``, empty when it is not mentioned.
    """

    entry: int | None
    element: str
    words: str


def plain(text: str) -> str:
    """Text from outside without anything that could steer a terminal, of a length that can be read."""
    looked_at = text[: 4 * _LONGEST]
    said = " ".join("".join(sign if sign.isprintable() else " " for sign in looked_at).split())
    return said if len(said) <= _LONGEST and looked_at == text else f"{said[: _LONGEST - 3]}..."


def issues(answer: Answer) -> tuple[Issue, ...]:
    """Return every fault that an answer names; one that only gives the status when it names none."""
    found = tuple(read_outcome(answer.json()))
    if found:
        return found
    return (Issue(None, "", f"status {answer.status}, without a reason"),)


def reasons(answer: Answer) -> str:
    """Return what an answer names, in one sentence of a length that can be read."""
    return plain("; ".join(issue.words for issue in issues(answer)))


def read_outcome(said: Any, severities: tuple[str, ...] = _FAULTS) -> Iterator[Issue]:
    """Yield each issue of an OperationOutcome that has one of these severities."""
    listed = said.get("issue") if isinstance(said, dict) and said.get("resourceType") == "OperationOutcome" else None
    if not isinstance(listed, list):
        return
    faults = [one for one in listed if isinstance(one, dict) and one.get("severity") in severities]
    seen: set[Issue] = set()
    for one in faults[:_MOST]:
        issue = _issue(one)
        if issue not in seen:
            seen.add(issue)
            yield issue
    if len(faults) > _MOST:
        yield Issue(None, "", f"{len(faults) - _MOST} more")


def _issue(one: dict[str, Any]) -> Issue:
    details = one.get("details")
    words = [one.get("diagnostics"), details.get("text") if isinstance(details, dict) else None]
    texts = list(dict.fromkeys(plain(text) for text in words if isinstance(text, str) and text.strip()))
    entry, element = _where(one.get("expression"))
    if entry is None:
        entry, element = _where(one.get("location"))
    return Issue(entry, element, "; ".join(texts) or plain(str(one.get("code", "no reason told"))))


def _where(value: Any) -> tuple[int | None, str]:
    for text in value if isinstance(value, list) else ():
        if isinstance(text, str):
            found = _IN_ENTRY.match(_REMARK.sub("", text))
            if found:
                return int(found[1]), plain(found[2])
    return None, ""
