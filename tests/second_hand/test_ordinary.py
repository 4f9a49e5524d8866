"""Nineteen ordinary charts: what a senior reviewer would send back is found, and little else is said.

ordinary/HAZARDS.md was written before any of the records was checked; ordinary/marks.csv judges the findings by it. In
marks.csv a finding that lists facts has a row for each fact, any other finding one row with the first words of it: a
list is signal when most of its facts are, so it is judged anew by itself when the list changes.
"""

from __future__ import annotations

import csv
import json
import re
from collections import Counter
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner

from lda_notes.cli import group

ORDINARY = Path(__file__).parent / "ordinary"
RECORDS = sorted(file.stem for file in ORDINARY.glob("*.yaml"))
LISTS = {"facts-not-recorded", "facts-recommended", "record-facts-not-recorded", "record-facts-recommended"}
MOST_NOISE = 0.15  # the share of findings that a reviewer would not want to read

HAZARDS = [  # record, events of which one must have the finding, what its message must match
    ("inpatient-ward", "check-2", "hold .*no stop is charted"),
    ("inpatient-ward", "dose-2", "used for medication while on hold"),
    ("emergency-room", "ct-1", "power rating of the port"),
    ("home-infusion", "visit-2", "damp and loose"),
    ("childs-ward", "removal-1", "heparin lock of 100 units"),
    ("oncology-ward", "look-2", "swelling .*no stop is charted"),
    ("home-antibiotics", "access-1", "needle put in .*still in"),
    ("child-8-kg", "alteplase-1", "dose is 2 mg"),
    ("newborn", "access-1", "alcohol"),
    ("arm-port", "look-1", "swelling of arm .*stopped only at"),
    ("arm-port", "removal-1", "flushed while on hold"),
    ("pregnancy", "discharge-1", "removal of the needle"),
    ("hospice-at-home", "arrival-1 check-2", "needle.*(age|insert|put in|not known|unknown|overdue)"),
]
# Not here: the entry that is nine hours late (rehabilitation-ward). The default limit is twelve, a facility's choice.
GAPS = [
    ("inpatient-ward", "check-2", "problems"),
    ("inpatient-ward", "access-1", "number of attempts"),
    ("inpatient-ward", "access-1", "sterile gloves"),
    ("emergency-room", "ct-1", "blood return before use"),
    ("emergency-room", "access-1", "tip position"),
    ("emergency-room", "access-1", r"\bskin\b(?! prep)"),
    ("infusion-clinic", "vesicant-1", "blood return before use"),
    ("infusion-clinic", "removal-1", "needle whole"),
    ("infusion-clinic", "removal-1", "teaching"),
    ("home-infusion", "visit-2", "notified|problems"),
    ("home-infusion", "weekly-1", "skin antisepsis"),
    ("procedure-area", "transfer-1", "who took over"),
    ("procedure-area", "access-1", "lock"),
    ("childs-ward", "access-1", "needle length"),
    ("childs-ward", "removal-1", "teaching"),
    ("oncology-ward", "look-2", "problems"),
    ("emergency-fever", "transfer-1", "who took over"),
    ("clinic-monthly-flush", "access-1", "sluggish"),
    ("clinic-monthly-flush", "removal-1", "teaching"),
    ("child-8-kg", "alteplase-1", "other causes"),
    ("child-25-kg", "look-1", "15 hours"),
    ("newborn", "access-1", "preservative"),
    ("arm-port", "look-1", "problems"),
    ("double-port", "transfer-1", "on hold .*who takes over"),
    ("pregnancy", "discharge-1", "teaching"),
    ("rehabilitation-ward", "flush-1", "blood return"),
    ("rehabilitation-ward", "flush-1", "lock strength"),
    ("hospice-at-home", "pump-1", "allergy check"),
    ("hospice-at-home", "pump-1", "order"),
]


@cache
def findings(record: str) -> list[dict[str, str]]:
    """Return the findings of a record an hour after its last event or entry."""
    path = ORDINARY / f"{record}.yaml"
    events = yaml.load(path.read_text(), yaml.BaseLoader)["events"]
    last = max(datetime.fromisoformat(event[key]) for event in events for key in ("at", "charted_at"))
    asof = (last + timedelta(hours=1)).isoformat()
    result = CliRunner().invoke(group, ["check", str(path), "--asof", asof, "--format", "json"])
    (file,) = json.loads(result.stdout)["files"]
    assert file["readable"] and not file["unread"], file
    return [{**found, "record": record, "event": found["event"] or ""} for found in file["findings"]]


def marks() -> dict[tuple[str, str, str], dict[str, str]]:
    """Return for each (record, rule, event) the mark of each of its facts or first words."""
    table: dict[tuple[str, str, str], dict[str, str]] = {}
    with (ORDINARY / "marks.csv").open(newline="") as rows:
        for row in csv.DictReader(rows):
            assert row["mark"] in ("signal", "noise"), row
            table.setdefault((row["record"], row["rule"], row["event"]), {})[row["what"]] = row["mark"]
    return table


def facts(found: dict[str, str]) -> list[str]:
    """Return the facts that a finding lists, nothing for any other finding."""
    if found["rule"] not in LISTS:
        return []
    return found["message"].split(": ", 1)[1].rstrip(".").split(", ")


def mark(found: dict[str, str], table: dict[tuple[str, str, str], dict[str, str]]) -> str | None:
    """Return "signal" or "noise", or None where the finding or one of its facts has no mark."""
    known = table.get((found["record"], found["rule"], found["event"]), {})
    given = [known.get(fact) for fact in facts(found)] or list(known.values())
    if not given or None in given:
        return None
    return "signal" if given.count("signal") * 2 > len(given) else "noise"


def is_found(record: str, events: str, words: str) -> bool:
    """Say whether a finding of one of the events matches the words."""
    return any(f["event"] in events.split() and re.search(words, f["message"], re.I) for f in findings(record))


def name(row: tuple[str, str, str]) -> str:
    """Return a short name for a row: the record, its first event and where it stands in the table."""
    return f"{row[0]}-{row[1].split()[0]}-{re.sub('[^a-z]+', '-', row[2].lower()).strip('-')[:20].strip('-')}"


@pytest.mark.parametrize("row", HAZARDS, ids=name)
def test_each_hazard_is_found(row: tuple[str, str, str]) -> None:
    assert is_found(*row), [f["message"] for f in findings(row[0]) if f["event"] in row[1].split()]


@pytest.mark.parametrize("row", GAPS, ids=name)
def test_each_gap_is_found(row: tuple[str, str, str]) -> None:
    assert is_found(*row), [f["message"] for f in findings(row[0]) if f["event"] in row[1].split()]


@pytest.mark.parametrize("record", RECORDS)
def test_each_finding_is_marked(record: str) -> None:
    table = marks()
    unmarked = [(f["rule"], f["event"], f["message"]) for f in findings(record) if mark(f, table) is None]
    assert not unmarked, f"mark these as signal or noise in ordinary/marks.csv, by HAZARDS.md: {unmarked}"


def test_at_most_fifteen_percent_is_noise() -> None:
    assert len(RECORDS) == 19
    table = marks()
    noise = Counter(f["rule"] for record in RECORDS for f in findings(record) if mark(f, table) == "noise")
    all_of_them = sum(len(findings(record)) for record in RECORDS)
    assert all_of_them
    assert noise.total() / all_of_them <= MOST_NOISE, f"{noise.total()} of {all_of_them}: {noise.most_common()}"
