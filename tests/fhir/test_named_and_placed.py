"""Identities that must never change, since servers hold them, and the place in the record of whatever is sent."""

from __future__ import annotations

import json
import uuid
from typing import Any

import made_records
from fhir_demos import noted
from in_short import LATER
from made_records import FILM, FLUSH, HEPARIN, NEEDLE, event, removal_event

from lda_notes.fhir.build.bundle import EventBundle, Options, bundles
from lda_notes.fhir.config import DEFAULT as CONFIG
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line.timeline import build

Json = dict[str, Any]

ACCESS = event(
    "access",
    "2031-03-04 09:40",
    needle=NEEDLE,
    dressing=FILM,
    anesthetic={"agent": "vapocoolant spray"},
    blood_return="none",
    punctures=[{"outcome": "no blood return"}],
    flushes=[FLUSH, FLUSH],
    lock=HEPARIN,
    supplies=[{"name": "access kit"}],
    signs=[{"what": "leak"}],
    problems=[{"what": "no blood return"}],
)
DOSE = event("patency treatment", "2031-03-04 10:00", drug="alteplase")
USE = event("line use", "2031-03-04 13:00", purpose="infusion", action="started", what="dextrose")
LOOK = event("line check", "2031-03-04 14:00", pain=2)
ETHANOL = event("flush", "2031-03-04 15:00", flushes={"not_done": "x"}, lock={"drug": "70% ethanol"})
NUMBED = event("access", "2031-03-07 09:00", needle=NEEDLE, anesthetic="none used", flushes=[], lock={"not_done": "x"})
HIT = {"condition": "heparin-induced thrombocytopenia"}
FACTS = event("patient facts", "2031-03-04 16:00", allergies=[{"substance": "iodine"}], history=[HIT])
PAIN = event("amendment", "2031-03-08 09:00", of=LOOK["id"], sets={"pain": 3})
HOME = event("discharge", "2031-03-06 12:00", destination="home", needle_in=False)
EVENTS = (ACCESS, DOSE, USE, LOOK, ETHANOL, FACTS, removal_event("2031-03-05 09:00"), NUMBED, PAIN)

ROLES = {
    ACCESS["id"]: [
        *("procedure", "needle", "needle/use", "anesthetic", "flush-1", "flush-2", "resistance-1", "resistance-2"),
        *("lock", "supply-1", "blood-return", "punctures-1", "signs-1", "problem-1", "dressing", "provenance"),
        *("due/needle-change", "due/dressing-change"),
        *("hold/no-blood-return/single", "hold/no-blood-return/single/flag"),
    ],
    DOSE["id"]: ["procedure", "thrombolytic", "due/patency-check", "danger/D4/single"],
    USE["id"]: ["procedure", "given"],
    LOOK["id"]: ["pain"],
    ETHANOL["id"]: ["flush", "lock", "danger/D3/single"],
    FACTS["id"]: ["allergy-1", "condition-1"],
    EVENTS[6]["id"]: ["procedure", "flush-1", "resistance-1", "lock"],
    NUMBED["id"]: ["local-anesthesia", "flush", "lock", "needle"],
    PAIN["id"]: ["correction", "provenance"],
}
OF_RECORD = ["/allergy-1", "/condition-1", "/weight-1", "/began-with"]
NO_ALLERGY = "/no-allergy-1"
"""The roles under which servers know what an event brought."""

RECORD = made_records.record(*EVENTS)
RECORD["patient"] |= {"allergies": [{"substance": "latex"}], "history": ["cold intolerance"], "weight_kg": 40}


def sent(record: Json = RECORD, options: Options | None = None) -> list[EventBundle]:
    line = build(made_records.episode(record), DEFAULT, LATER)
    return list(bundles(line, DEFAULT, CONFIG, options))


def found(record: Json = RECORD, options: Options | None = None) -> set[str]:
    return {name for one in sent(record, options) for entry in one.bundle["entry"] for name in names(entry["resource"])}


def names(of: Json) -> list[str]:
    tags = [one["code"] for one in of.get("meta", {}).get("tag", ())]
    return [*tags, *(one["value"] for one in of.get("identifier", ()) if "value" in one)]


def test_identities_are_what_servers_already_hold() -> None:
    space = uuid.uuid5(uuid.NAMESPACE_URL, CONFIG.systems.identity)
    port = uuid.uuid5(space, "port/https://made.example/mrn|MD-0001/port-1")
    held = found()
    assert str(port) in held
    roles = [f"{event}/{role}" for event, listed in ROLES.items() for role in listed] + OF_RECORD
    assert [role for role in roles if str(uuid.uuid5(space, f"{port}/made-1/{role}")) not in held] == []
    quiet = made_records.record(made_records.needle_event("2031-03-04 09:40"), EVENTS[6], HOME)
    held = found(quiet, noted())
    others = [f"{EVENTS[6]['id']}/due/flush", f"{HOME['id']}/due/flush", f"{HOME['id']}/note", NO_ALLERGY]
    assert [role for role in others if str(uuid.uuid5(space, f"{port}/made-1/{role}")) not in held] == []


def test_the_place_of_whatever_is_sent_is_in_the_record() -> None:
    """A fault that a server names is shown at this place of the file."""
    data = json.loads(json.dumps(RECORD))
    placed = 0
    for one in sent():
        for path in one.paths:
            held: Any = data
            for step in path:
                assert step in held if isinstance(held, dict) else isinstance(step, int), path
                held = held[step]
            placed += len(path) > 2
    assert placed > 20
