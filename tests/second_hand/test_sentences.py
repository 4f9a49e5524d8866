"""Each sentence of a note needs its least facts: without one, or with one that says otherwise, it is not printed."""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy
from typing import Any

import pytest
from bedside import Json, event, record, run, t
from sentence_rows import NEEDLE_IN, ONLY, ROWS, Row

from lda_notes.problems import Failure

ENTERS = ("access", "arrival accessed")  # kinds that begin with a port without a needle
CORRECTIONS_OF_ENTRIES = ("addendum", "amendment", "retraction", "co-signature")
RECORD_KEYS = ("patient", "stay", "port")
# What an event of this kind has no key for; a row for several kinds names the facts of all of them.
PROOF_AND_LOCK = ("blood_return", "blood_looks", "flushes", "lock")
HAS_NOT = {
    "addendum": ("sets",),
    "amendment": ("text",),
    "retraction": ("sets", "text"),
    "transfer": (*PROOF_AND_LOCK, "next_due"),
    "discharge": PROOF_AND_LOCK,
    "dressing change": PROOF_AND_LOCK,
    "extravasation care": PROOF_AND_LOCK,
    "line check": ("flushes", "lock"),
}
UNREAD = ("could not be read", "has no event", "no note can be written")


def whole(row: Row, kind: str) -> Json:
    """Return the record of a row: what was before, the event that prints the sentence, what came after."""
    before = row.before if row.before is not None else () if kind in ENTERS else (NEEDLE_IN,)
    beside = ("kind", "at", *HAS_NOT.get(kind, ()))
    facts = {key: value for key, value in row.recorded.items() if key not in beside}
    return record(*before, event(kind, t("12:00"), **facts), *row.after, **row.parts)


def printing(row: Row, data: Json) -> Json:
    """Return the event that prints the sentence."""
    found: Json = data["events"][len(data["events"]) - 1 - len(row.after)]
    return found


def change(row: Row, data: Json, path: str, value: Any) -> None:
    """Replace the fact of the path in the record, or take it out when ``value`` is None; it must be there to go."""
    keys: list[Any] = [int(key) if key.isdigit() else key for key in path.split(".")]
    here: Any = data if keys[0] in RECORD_KEYS else printing(row, data)
    if path.startswith("@"):
        here = data["events"][int(keys.pop(0)[1:])]
    for key in keys[:-1]:
        here = here[key]
    if value is None:
        del here[keys[-1]]
    else:
        here[keys[-1]] = value


def note(row: Row, data: Json) -> str:
    """Return the note in one row of words; of an event that is not readable, why there is none."""
    try:
        result = run("note", data, event=printing(row, data)["id"], width="1000", asof=t("23:00"))
    except Failure as why:
        assert any(words in str(why) for words in UNREAD), why
        return str(why)
    assert result.exit_code in (0, 1), result.output
    return " ".join(result.output.split())


def findings(text: str) -> str:
    """Return what the check found, as the note lists it."""
    return text.partition("Found by the check:")[2].partition("Seal:")[0]


CASES = [(row, kind) for row in ROWS for kind in row.kinds]
CHANGES = [(row, kind, name, facts) for row, kind in CASES for name, facts in row.changes()]
AGAINST = [(row, kind, name, path, value) for row, kind in CASES for name, path, value in row.contradictions()]
# Facts of an earlier event: (row, kind, name, number of that event, path in it, value that contradicts).
EARLIER = [
    (row, kind, f"{path} {other}", int(number[1:]), rest, other)
    for row, kind in CASES
    for path, others in row.least.items()
    for number, _, rest in [path.partition(".")]
    if number in ("@0", "@1") and kind not in CORRECTIONS_OF_ENTRIES
    for other in (others if isinstance(others, tuple) else (others,))
    if other is not ONLY
]


def names(cases: list[Any]) -> Iterator[str]:
    """Return a name for each case, short and without a repetition."""
    seen: dict[str, int] = {}
    for row, kind, *rest in cases:
        words = f"{kind} {row.says[:40]} {rest[0][:50] if rest else ''}".strip().replace(" ", "-")
        name = "".join(letter for letter in words if letter.isalnum() or letter in "-_.@")
        seen[name] = seen.get(name, 0) + 1
        yield name if seen[name] == 1 else f"{name}-{seen[name]}"


@pytest.mark.parametrize(("row", "kind"), CASES, ids=names(CASES))
def test_said_when_its_facts_are_recorded(row: Row, kind: str) -> None:
    text = note(row, whole(row, kind))
    assert row.says in text, text


@pytest.mark.parametrize(("row", "kind", "name", "facts"), CHANGES, ids=names(CHANGES))
def test_not_said_otherwise(row: Row, kind: str, name: str, facts: Json) -> None:
    data = whole(row, kind)
    for path, value in facts.items():
        change(row, data, path, deepcopy(value))
    text = note(row, data)
    assert row.says not in text, f"{name}: {text}"


@pytest.mark.parametrize(("row", "kind", "name", "path", "value"), AGAINST, ids=names(AGAINST))
def test_a_contradiction_is_not_said_or_is_found(row: Row, kind: str, name: str, path: str, value: Any) -> None:
    data = whole(row, kind)
    before = findings(note(row, data))
    change(row, data, path, deepcopy(value))
    text = note(row, data)
    assert row.says not in text or findings(text) not in ("", before), f"{name}: {text}"


@pytest.mark.parametrize(("row", "kind", "name", "number", "path", "value"), EARLIER, ids=names(EARLIER))
def test_not_said_of_a_retracted_entry(row: Row, kind: str, name: str, number: int, path: str, value: Any) -> None:
    data = whole(row, kind)
    retraction = {"id": "taken-back", "of": data["events"][number]["id"], "reason": "wrong patient"}
    row_events = record(event("retraction", t("11:50"), **retraction))["events"]
    data["events"][-1 - len(row.after) : -1 - len(row.after)] = row_events
    text = note(row, data)
    assert row.says not in text, f"{name}: {text}"


@pytest.mark.parametrize(("row", "kind", "name", "number", "path", "value"), EARLIER, ids=names(EARLIER))
def test_not_said_of_an_amended_fact(row: Row, kind: str, name: str, number: int, path: str, value: Any) -> None:
    data = whole(row, kind)
    sets = value
    for key in reversed(path.split(".")):
        sets = {key: sets}
    amendment = {"id": "put-right", "of": data["events"][number]["id"], "sets": sets}
    row_events = record(event("amendment", t("11:50"), **amendment))["events"]
    data["events"][-1 - len(row.after) : -1 - len(row.after)] = row_events
    text = note(row, data)
    assert row.says not in text, f"{name}: {text}"
