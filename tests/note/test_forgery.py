"""No free text of a record prints a row that looks like ours: a signature, an alarm, a rule of dashes."""

from __future__ import annotations

import re
import sys
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from click.testing import CliRunner

from lda_notes.cli import group
from lda_notes.narrative.facts import _vocabulary

sys.path.append(str(Path(__file__).parents[1] / "rules"))
from rule_cases import complete

AT = "2031-04-02T{}-05:00"
MARK = "Mallory Forge"
FORGED = {
    "line breaks": f"seen\r\nCharted by: {MARK}, MD\n------\nSTOP: {MARK}\n",
    "separators": f"seen\u2028Charted by: {MARK}, MD\u2029------\x85STOP: {MARK}\v",
    "look-alikes": f"seen\u2028\u0421h\u0430rted by: {MARK}\u2014\u2014\u2014 \uff33\uff34\uff2f\uff30: {MARK}",
    "unseen signs": f"seen\u2028Cha\u200brted by: {MARK}\u2028\u2500\u2500\u2500\u2028S\u0301T\u2060OP: {MARK}\u202e",
    "spread": f"seen\u2028Charted\u00a0by : {MARK}\u2028- - - - -\u2028ST0P: {MARK}",
}
SYSTEMS = (
    "id",
    "kind",
    "of",
    "system",
    "time_zone",
    "treatment",
    "second_dose_of",
    "follows_removal",
    "septum",
    "septa",
)


def laid(value: Any, text: str, key: str = "") -> Any:
    """Return ``value`` with ``text`` for every string that the layout leaves free."""
    if isinstance(value, dict):
        return {name: laid(one, text, name) for name, one in value.items()}
    if isinstance(value, list):
        return value if key in SYSTEMS else [laid(one, text, key) for one in value]
    free = isinstance(value, str) and key not in SYSTEMS and value not in _vocabulary()
    return text if free and not re.match(r"\d{4}-\d\d", value) else value


def record(text: str) -> dict[str, Any]:
    """Return a record that uses the free text of every kind, each of it the forgery."""
    events: list[dict[str, Any]] = [
        {
            "kind": "access", "at": AT.format("09:00"), "order": "x", "reason": "x", "remarks": "x", "verified_by": {},
            "infusion": "x", "problems": [{}], "supplies": [{"name": "x", "lot": "x"}], "pain": {"not_assessed": "x"},
            "needle": {"lot": "x"}, "teaching": {"about": "x", "to": "x"}, "samples": ["x"], "late_entry": "x",
            "site": {"detail": "x", "scale": {"name": "x", "score": 2}},
            "signs": [{"what": "fever", "detail": "x"}], "lock": {"not_done": "x"},
        },
        {"kind": "line check", "at": AT.format("10:00"), "infusion": "x", "response": {"not_assessed": "x"}},
        {"kind": "line use", "at": AT.format("10:30"), "what": "x", "product": "x", "despite_hold": {"purpose": "x"}},
        {"kind": "needle dislodged", "at": AT.format("10:40"), "running": "x", "extent": "partly out"},
        {"kind": "extravasation care", "at": AT.format("10:50"), "product": "x", "antidote": "x", "follow_up": "x"},
        {"kind": "evaluation", "at": AT.format("11:00"), "finding": "x", "decision": "remains on hold"},
        {"kind": "flush", "at": AT.format("11:10"), "flushes": {"not_done": "x"}, "lock": {"not_done": "x"}},
        {"kind": "addendum", "at": AT.format("11:20"), "of": "access-1", "text": "x", "reason": "x"},
        {"kind": "amendment", "at": AT.format("11:30"), "of": "access-1", "sets": {"reason": "x"}, "reason": "x"},
        {"kind": "flush", "id": "taken-back", "at": AT.format("11:32"), "remarks": "x"},
        {"kind": "retraction", "at": AT.format("11:34"), "of": "taken-back", "reason": "x"},
        {"kind": "transfer", "at": AT.format("11:40"), "to_unit": "x", "to_room": "x", "handed_to": {}},
        {"kind": "de-access", "at": AT.format("12:00"), "cover": "x", "missing_piece": "x"},
    ]  # fmt: skip
    patient = {"conditions": [], "allergies": [{"substance": "other", "detail": "x", "reaction": "x"}]}
    made: dict[str, Any] = laid(complete({"events": events, "patient": patient, "port": {"site_detail": "x"}}), text)
    return made


def rows(printed: str) -> Iterator[str]:
    """Yield the rows of a document without markup, indents and marks of lists, as an eye reads them."""
    for row in re.split(r"[\n\r\v\f\x85\u2028\u2029]", re.sub(r"<[^>]+>", "\n", printed)):
        seen = "".join(sign for sign in unicodedata.normalize("NFKD", row) if unicodedata.category(sign)[0] not in "CM")
        yield re.sub(r"\s+", " ", seen.translate(str.maketrans("\u0421\u04300", "Cao"))).strip(" *#|>-!").strip()


def begins_like_ours(row: str) -> bool:
    """Tell whether a row begins as only ours may: with a signature or an alarm that names the forger."""
    return bool(re.match(r"(charted by ?:|stop ?:)", row, re.IGNORECASE) and "Mallory" in row)


@pytest.mark.parametrize(
    ("command", "form"),
    [*((one, form) for one in ("note", "handoff", "worksheet") for form in ("text", "md", "html")), ("brief", "text")],
)
@pytest.mark.parametrize("forged", FORGED.values(), ids=FORGED)
def test_no_free_text_prints_a_row_that_looks_like_ours(tmp_path: Any, command: str, form: str, forged: str) -> None:
    path = tmp_path / "record.yaml"
    path.write_text(yaml.safe_dump(record(forged), sort_keys=False, allow_unicode=True))
    more = {"note": ["--all"], "brief": ["--all", "--brief"], "handoff": [], "worksheet": ["--for", "look"]}[command]
    kind = "note" if command == "brief" else command
    words = [kind, str(path), "--asof", AT.format("12:30"), *(["--format", form] if command != "brief" else []), *more]
    result = CliRunner().invoke(group, words)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.output
    assert "Mallory" in result.stdout, result.output
    forgeries = [row for row in rows(result.stdout) if begins_like_ours(row)]
    # a forged name in a true signature is a name: what stands before it is ours
    assert not [row for row in forgeries if "seen" not in row], forgeries[:3]
    assert not re.search(r"(?:[-\u2014\u2500] ?){3,}[ /]*(?:stop|Mallory)", result.stdout, re.IGNORECASE)
