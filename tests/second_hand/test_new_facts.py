"""What the record must be able to say: charted, in the note, on the sheet if it matters, sent and read back.

Written from the issue's list alone (part 3). ``sheet`` is what the next nurse must see; ``asks`` is what the check asks
for when the fact is left out of a record in which it matters. That every fact of the schema is carried by a bundle and
comes back is held kind by kind in tests/fhir/test_readback.py; here it goes through the commands, in whole records.
"""

from __future__ import annotations

import json
import re
from copy import deepcopy
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
import yaml
from bedside import (
    Json,
    access,
    access_none,
    event,
    found,
    look,
    record,
    run,
    sheet,
    sign,
    t,
    treatment,
)
from click.testing import CliRunner

from lda_notes.cli import group

NURSE = {"name": "Ines Corwin", "credential": "RN", "id": "CASE-N1"}
TERN = {"name": "Home care Tern", "credential": "home care"}
TEACHING = {"about": "what to do when the needle comes out", "to": "patient", "understanding": "taught back"}
CONTRAST = {"purpose": "power injection", "what": "contrast medium"}
HOW_DRAWN = ("paired", "before_antibiotics", "new_connector")
CULTURES = {"purpose": "blood sampling", "action": "given", "what": None, "samples": ["blood cultures"]}


@dataclass(frozen=True)
class Row:
    """A fact: ``facts`` are of the last event, ``path`` leads to what is new in it."""

    name: str
    event: Json
    path: str
    note: str
    sheet: str | None = None
    asks: str | None = None
    before: tuple[Json, ...] = (access(t("09:00")),)
    parts: Json = field(default_factory=dict)


def seen(what: str, note: str, sheet: str | None = None, **more: Any) -> Row:
    """Return the row of a sign at a look an hour after the flush of the access."""
    return Row(f"sign-{what}", look(t("10:00"), signs=sign(what, **more)), "signs", note, sheet or note)


PUNCTURES = [
    {"needle": {"gauge": 22, "length_mm": 19, "non_coring": True}, "by": NURSE, "outcome": "port missed"},
    {"needle": {"gauge": 20, "length_mm": 25.4, "non_coring": True}, "by": NURSE, "outcome": "blood return"},
]
RATED = {"rated_flow_ml_per_s": 3, "rated_pressure_psi": 250}
RISK = {
    "anticoagulant": "apixaban",
    "platelets_10e9_per_l": 48,
    "recent_bleeding": True,
    "catheter_infection": False,
    "other_causes": "none found",
}
CARE = {
    "product": "doxorubicin",
    "estimated_ml": 3.5,
    "aspirated_ml": 1.5,
    "antidote": "dexrazoxane",
    "compress": "cold",
    "photograph": True,
    "follow_up": "a look every four hours",
}
REMOVAL = {"by": TERN, "at": t("10:00", day=9), "call": "the port clinic, at any hour"}
FILM = {"dressing": {"barrier_film": True}}
ARM = {"port": {"area": "upper arm"}}
RUNNING = (access(t("09:00")), event("line use", t("09:30"), purpose="infusion", action="started", what="vancomycin"))
INTO_THE_TISSUE = (*RUNNING, look(t("10:00"), signs=sign("swelling", where="needle site", during="infusion")))


ROWS = [
    seen("fever", "fever.{0,40}38[.]9", "fever", temperature_c=38.9, began_at=t("09:40"), change="new"),
    seen("chills", "chills", began_at=t("09:40"), change="new"),
    seen("shaking", "shaking", began_at=t("09:40"), change="new"),
    seen("breathlessness", "breathlessness", change="new"),
    seen("chest pain", "chest pain", change="new"),
    seen("line found open", "line found open", change="new"),
    seen("catheter parted", "catheter parted", change="new"),
    seen("crack felt or heard", "crack felt or heard", change="new"),
    seen("swelling", "swelling.{0,30}collarbone", "swelling.{0,30}collarbone", where="collarbone", change="new"),
    Row(
        "found-open", look(t("10:00"), found=["clamp open", "connector off"]), "found", "connector off", "connector off"
    ),
    Row(
        "missing-piece",
        event("de-access", t("10:00"), needle_intact=False, missing_piece="tip of the needle"),
        "missing_piece",
        "tip of the needle",
        "tip of the needle",
        "missing",
    ),
    Row(
        "partly-out",
        event(
            "needle dislodged", t("10:00"), extent="partly out", running="vancomycin", actions=["stopped", "clamped"]
        ),
        "extent",
        "partly out.*vancomycin.*clamped",
        "partly out",
        "partly|how far|extent|out of its place",
        RUNNING,
    ),
    Row(
        "fallen-out",
        event("needle dislodged", t("10:00"), extent="completely out", running="vancomycin", actions=["stopped"]),
        "running",
        "completely out.*vancomycin",
        "completely out|no needle",
        "running|what ran",
        RUNNING,
    ),
    Row(
        "wings-proud",
        access(t("09:00"), needle_wings="raised above the skin"),
        "needle_wings",
        "raised above the skin",
        before=(),
    ),
    Row(
        "wings-press", look(t("10:00"), needle_wings="pressing into the skin"), "needle_wings", "pressing into the skin"
    ),
    Row(
        "punctures",
        access(t("09:00"), attempts=2, punctures=PUNCTURES),
        "punctures",
        "22 gauge.*port missed.*20 gauge",
        None,
        None,
        before=(),
    ),
    Row(
        "needle-rating",
        access(t("09:00"), needle=RATED),
        "needle.rated_flow_ml_per_s",
        "3 mL per second.*250 psi",
        before=(),
    ),
    Row(
        "injected",
        event("line use", t("09:20"), **CONTRAST, flow_ml_per_s=2.5, pressure_psi=240),
        "flow_ml_per_s",
        "2[.]5 mL per second.*240 psi",
        None,
        "injection rate|rate",
        (access(t("09:00"), needle=RATED),),
    ),
    Row(
        "bleeding-risk",
        treatment(t("10:00"), bleeding_risk=RISK),
        "bleeding_risk",
        "apixaban.*48.*(?i:recent bleeding)",
        None,
        "anticoagulant|platelets|bleeding",
        (access_none(),),
    ),
    Row(
        "arm-history",
        event("port facts", t("10:00"), arm_history=["lymphedema", "dialysis fistula", "surgery on that side"]),
        "arm_history",
        "lymphedema.*dialysis fistula.*surgery on that side",
        "lymphedema.*dialysis fistula.*surgery on that side",
        parts=ARM,
    ),
    Row(
        "extravasation-care",
        event("extravasation care", t("10:30"), **CARE),
        "antidote",
        "doxorubicin.*3[.]5 mL.*1[.]5 mL.*dexrazoxane.*cold.*photograph.*a look every four hours",
        "a look every four hours",
        "antidote|given against",
        INTO_THE_TISSUE,
    ),
    Row(
        "cultures",
        event("line use", t("10:00"), **CULTURES, cultures=dict.fromkeys(HOW_DRAWN, True)),
        "cultures",
        "(?i:paired).*before antibiotics.*new connector",
        None,
        "paired|cultures",
    ),
    Row(
        "agreement",
        access(t("09:00"), explained_and_agreed=True),
        "explained_and_agreed",
        "explained.*agreed",
        before=(),
    ),
    Row("waste-returned", access(t("09:00"), discard_method="returned"), "discard_method", "returned", before=()),
    Row(
        "removal-at-home",
        event("discharge", t("13:00"), needle_in=True, teaching=TEACHING, needle_removal=REMOVAL),
        "needle_removal",
        "Home care Tern.*9 April.*the port clinic, at any hour",
        None,  # a narrow table: tested below
        "taken? out|takes? (the needle|it) out|removal",
    ),
    Row(
        "found-on-a-day",
        event(
            "patient facts",
            t("15:00", day=4),
            history=[{"condition": "heparin-induced thrombocytopenia", "found_on": "2031-04-04"}],
        ),
        "history",
        "heparin-induced thrombocytopenia.*4 April",
        "heparin-induced thrombocytopenia",
    ),
    Row("healing", look(t("10:00"), site={"incision": "healing"}), "site.incision", "incision.*healing"),
    Row(
        "barrier-film",
        access(t("09:00"), dressing={"barrier_film": True}),
        "dressing.barrier_film",
        "arrier film",
        before=(),
    ),
]
NAMED = [pytest.param(row, id=row.name.replace(" ", "-")) for row in ROWS]


def whole(row: Row) -> Json:
    return record(*row.before, row.event, **row.parts)


def last_id(data: Json) -> str:
    said: str = data["events"][-1]["id"]
    return said


@pytest.mark.parametrize("row", NAMED)
def test_it_is_read_and_in_the_note(row: Row) -> None:
    data = whole(row)
    result = run("note", data, event=last_id(data), width="1000")
    note = " ".join(result.output.split()).partition("For the writer")[0]
    assert "could not be read" not in note
    assert re.search(row.note, note), note


@pytest.mark.parametrize("row", [row for row in NAMED if row.values[0].sheet])  # type: ignore[union-attr]  # not None here
def test_it_is_on_the_sheet(row: Row) -> None:
    text = sheet(whole(row))
    assert re.search(row.sheet or "", text, re.IGNORECASE), text


@cache
def read_back() -> dict[str, Json]:
    """Return every record of the table as its bundles give it back: one run of each command for all of them."""
    records = [{**whole(row), "id": f"fact-{number}"} for number, row in enumerate(ROWS)]
    for number, data in enumerate(records):  # patients of their own: a patient's stays would be one line
        data["patient"]["identifiers"][0]["value"] = f"CASE-{number + 100}"
        data["port"]["id"] = f"port-{number}"
    with TemporaryDirectory() as folder:
        files = []
        for data in records:
            path = Path(folder) / f"{data['id']}.yaml"
            path.write_text(yaml.safe_dump(json.loads(json.dumps(data, default=str)), sort_keys=False))
            files.append(str(path))
        bundles = Path(folder) / "bundles.ndjson"
        sent = CliRunner().invoke(group, ["bundle", *files, "--no-note", "--out", str(bundles)])
        assert sent.exit_code == 0, sent.output
        back = CliRunner().invoke(group, ["readback", str(bundles), "--format", "json", "--out", folder])
        assert back.exit_code == 0, back.output
        read = [json.loads(path.read_text()) for path in Path(folder).glob("*.json")]
    return {data["id"]: data for data in read}


def at_path(data: Json, path: str) -> Any:
    value: Any = data["events"][-1]
    for key in path.split("."):
        value = value[key]
    return value


def plain(value: Any) -> Any:
    """Return a value as it compares: no nulls, numbers as numbers, yes as true."""
    if isinstance(value, dict):
        return {key: plain(held) for key, held in value.items() if held is not None}
    if isinstance(value, list):
        return [plain(held) for held in value]
    if isinstance(value, str) and re.fullmatch(r"\d+([.]\d+)?", value):
        return float(value)
    if isinstance(value, str) and re.match(r"\d{4}-\d\d-\d\dT", value):
        return value.replace(":00-", "-") if value.count(":") == 3 else value
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


@pytest.mark.parametrize("row", NAMED)
def test_it_is_sent_and_read_back(row: Row) -> None:
    back = read_back()[f"fact-{ROWS.index(row)}"]
    assert plain(at_path(back, row.path)) == plain(at_path(whole(row), row.path))


def without(data: Json, path: str) -> Json:
    left = deepcopy(data)
    *keys, last = path.split(".")
    here = left["events"][-1]
    for key in keys:
        here = here[key]
    del here[last]
    return left


@pytest.mark.parametrize("row", [row for row in NAMED if row.values[0].asks])  # type: ignore[union-attr]  # not None here
def test_it_is_asked_where_it_matters(row: Row) -> None:
    data = whole(row)
    event_id = last_id(data)
    assert not found(data, event=event_id, words=f"not recorded.*({row.asks})")
    left = without(data, row.path)
    assert found(left, event=event_id, words=f"not recorded.*({row.asks})"), found(left, event=event_id)


def test_who_takes_the_needle_out_at_home_is_on_the_sheet_and_nobody_is_missed() -> None:
    (row,) = [row for row in ROWS if row.name == "removal-at-home"]
    cells = " ".join(sheet(whole(row), form="md").split())
    assert re.search("Home care Tern.{0,20} takes it out 9 Apr 10:00.{0,60}the port clinic, at any hour", cells), cells
    assert "no one is named" not in cells


@pytest.mark.parametrize("wings", ["raised above the skin", "pressing into the skin"])
def test_wings_that_do_not_lie_level_question_the_needles_length(wings: str) -> None:
    assert found(record(access(t("09:00"), needle_wings=wings)), event="access-1", words="wings|length")
    assert not found(record(access(t("09:00"))), event="access-1", words="wings")


def test_extravasation_without_a_word_on_what_was_done_is_asked_about() -> None:
    assert found(record(*INTO_THE_TISSUE), words="extravasation|swelling")


# Heparin before it was known


LOCKED = {"lock": {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5, "preservative": "none"}, "infusion": None}
FOUND_ON_DAY_4 = event(
    "patient facts",
    t("15:00", day=4),
    history=[{"condition": "heparin-induced thrombocytopenia", "found_on": "2031-04-04"}],
)


def test_heparin_before_it_was_known_is_no_fault_and_somebody_is_to_be_told() -> None:
    data = record(access(t("09:00", day=3), **LOCKED), FOUND_ON_DAY_4)
    about = found(data, words="heparin")
    assert "unsafe" not in {one["severity"] for one in about if one["event"] == "access-1"}, about
    assert [one for one in about if re.search("tell|told|report|notified", f"{one['message']} {one['todo']}")], about
    assert len(about) == 1, about


def test_heparin_after_it_was_known_is_unsafe() -> None:
    late = event("flush", t("09:00", day=5), lock=LOCKED["lock"])
    data = record(access(t("09:00")), FOUND_ON_DAY_4, late)
    assert "unsafe" in {one["severity"] for one in found(data, event="flush-1", words="heparin")}


def test_saline_before_it_was_known_is_nothing() -> None:
    assert not found(record(access(t("09:00", day=3)), FOUND_ON_DAY_4), words="heparin")


def test_heparin_that_a_named_person_was_told_of_is_asked_no_more() -> None:
    told = {"what": "heparin was in the line before the thrombocytopenia was known", "action": "heparin stopped"}
    whom = {
        "told": {"name": "Osric Fennimore", "credential": "MD"},
        "told_at": t("15:20", day=4),
        "reply": "will review",
    }
    drawn = event(
        "flush",
        t("15:30", day=4),
        old_lock="aspirated and discarded",
        lock={"drug": "0.9% sodium chloride", "volume_ml": 5, "units_per_ml": None},
        problems=[{**told, **whom}],
    )
    data = record(access(t("09:00", day=3), **LOCKED), FOUND_ON_DAY_4, drawn)
    assert not found(data, words="heparin"), found(data, words="heparin")
