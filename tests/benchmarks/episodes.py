"""Synthetic episodes, one to a row: ``python -m tests.benchmarks.episodes N --seed S``.

Everyone in them is invented. The same seed gives the same bytes, and row N of a seed is the same however many rows
are asked for. Every kind of event occurs. One record in five carries one fault that is known beforehand: the rule
that must find it is in `made` (and, with ``--faults FILE``, in a file of row and rule); the others are sound: the
check finds nothing in them.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any, NamedTuple

Event = dict[str, Any]

ASOF = datetime(2032, 1, 1, tzinfo=UTC)
"""A moment after the last event of any record: judge from here."""

_FAMILIES = ("Quillfeather", "Ashgrove", "Tamarind", "Oxbow", "Larkspur", "Fenwright", "Ostrava-Lind", "Pell")
_GIVEN = ("Odessa", "Bram", "Ilse", "Teodor", "Marisol", "Junia", "Corvin", "Ottoline")
_NURSES = (("Marisol Tamm", "LBN-204"), ("Bertrand Oyelle", "LBN-117"), ("Ilse van Tongelaar", "LBN-331"))
_SPECIALIST = {"name": "Amaranth Locke", "credential": "MD", "id": "LBN-900"}
_UNITS = ("Ward Heron", "Ward Kestrel", "Ward Plover")
_SITE = {"skin": "intact", "erythema": "none", "swelling": "none", "tenderness": "none", "drainage": "none"}
_ZONE = timezone(timedelta(0))


class Made(NamedTuple):
    """A record and the rule that must find its fault; None when it has none."""

    record: dict[str, Any]
    rule: str | None


class _Course:
    """A stay that is being invented: events in order of time."""

    def __init__(self, chance: random.Random, number: int) -> None:
        self.chance = chance
        self.number = number
        self.now = datetime(2031, 1, 6, 8, 0, tzinfo=_ZONE) + timedelta(minutes=chance.randrange(400_000))
        self.began = self.now
        self.events: list[Event] = []

    def add(self, kind: str, minutes: int, **facts: Any) -> Event:
        """Append an event ``minutes`` after the one before."""
        self.now += timedelta(minutes=minutes)
        name, staff = self.chance.choice(_NURSES)
        event: Event = {
            "id": f"e{len(self.events) + 1}",
            "kind": kind,
            "at": _written(self.now),
            "charted_at": _written(self.now + timedelta(minutes=self.chance.randrange(2, 20))),
            "by": {"name": name, "credential": "RN", "id": staff},
            **facts,
        }
        self.events.append(event)
        return event

    def due(self, minutes: int, **days: int) -> dict[str, str]:
        """Return what is told as next due, by days after an event that comes in ``minutes``."""
        after = self.now + timedelta(minutes=minutes)
        return {name: _written(after + timedelta(days=number)) for name, number in days.items()}

    def care(self, kind: str, minutes: int, **facts: Any) -> Event:
        """Append an event at the bedside."""
        usual = {"identifiers_checked": ["name", "birth date"], "allergies_checked": True, "site": _site()}
        return self.add(kind, minutes, **usual, **facts, pain=self.chance.randrange(3), response="tolerated well")


def _written(at: datetime) -> str:
    return at.isoformat(timespec="minutes")


def _site() -> dict[str, str]:
    return {**_SITE, "port": "stable"}


def _flush(chance: random.Random) -> list[dict[str, Any]]:
    return [
        {
            "solution": "0.9% sodium chloride",
            "volume_ml": 10,
            "syringe_ml": 10,
            "technique": "push-pause",
            "resistance": "none",
            "lot": f"LOT-F{chance.randrange(100)}",
            "expires": "2034-06-30",
        }
    ]


def _lock(chance: random.Random) -> dict[str, Any]:
    lot = f"LOT-H{chance.randrange(100)}"
    lock = {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5, "preservative": "none"}
    return {**lock, "lot": lot, "expires": "2033-03-31"}


def _access(course: _Course, minutes: int, **facts: Any) -> Event:
    chance = course.chance
    start = course.now + timedelta(minutes=minutes - 6)
    return course.care(
        "access",
        minutes,
        order=f"LB-ORD-{chance.randrange(9999):04}",
        reason="intravenous antibiotic treatment",
        tip_confirmed=True,
        anesthetic="none used",
        antisepsis={
            "agent": "chlorhexidine in alcohol",
            "started_at": _written(start),
            "skin": "dry",
            "scrub_s": 60,
            "dry_s": 60,
            "fully_dry": True,
            "lot": f"LOT-C{chance.randrange(100)}",
            "expires": "2034-06-30",
        },
        technique={"hand_hygiene": True, "masks": True, "sterile_gloves": True, "sterile_field": True},
        extension_primed=True,
        needle={
            "gauge": chance.choice((19, 20)),
            "length_mm": chance.choice((19, 25.4)),
            "non_coring": True,
            "power_rated": True,
            "set_volume_ml": 0.4,
            "connector_volume_ml": 0.1,
            "lot": f"LOT-A{chance.randrange(100)}",
            "expires": "2034-01-31",
        },
        attempts=1,
        blood_return="present",
        blood_looks="like whole blood",
        discard_ml=5,
        hub_scrub_s=15,
        flushes=_flush(chance),
        lock={"not_done": "infusion connected"},
        infusion="0.9% sodium chloride at 50 mL per hour",
        dressing={
            "type": "transparent",
            "chlorhexidine_disc": True,
            "site_visible": True,
            "without_tension": True,
            "labelled": True,
            "securement": "adhesive strips",
        },
        disinfecting_caps=True,
        next_due=course.due(minutes, needle_change=7, dressing_change=7),
        teaching={"about": "to report pain or swelling at once", "to": "patient", "understanding": "taught back"},
        **facts,
    )


def _look(course: _Course, minutes: int) -> Event:
    return course.care(
        "line check",
        minutes,
        dressing_found=["intact"],
        blood_return="present",
        blood_looks="like whole blood",
        connections_secure=True,
        infusion="antibiotic in 0.9% sodium chloride at 50 mL per hour",
    )


def _removal(course: _Course, minutes: int, **facts: Any) -> Event:
    return course.care(
        "de-access",
        minutes,
        **{
            "order": f"LB-ORD-{course.chance.randrange(9999):04}",
            "reason": "treatment completed",
            "blood_return": "present",
            "blood_looks": "like whole blood",
            "hub_scrub_s": 15,
            "flushes": _flush(course.chance),
            "lock": _lock(course.chance),
            "needle_intact": True,
            "safety_engaged": True,
            "bleeding": "none",
            "cover": "small dry gauze for one hour",
            "next_due": course.due(minutes, flush=27),
            "teaching": {"about": "to keep the cover on", "to": "patient", "understanding": "states understanding"},
            **facts,
        },
    )


# -- courses of a stay --


def _short(course: _Course) -> None:
    """One treatment: access, uses, looks, a flush, removal."""
    _access(course, 30)
    _use(course, 60, "started")
    for _ in range(course.chance.randrange(1, 4)):
        _look(course, 420)
    _use(course, 60, "stopped")
    course.care(
        "flush",
        20,
        order="LB-PROT-05",
        reason="upkeep of the accessed line",
        blood_return="present",
        blood_looks="like whole blood",
        discard_ml=5,
        hub_scrub_s=15,
        flushes=_flush(course.chance),
        lock=_lock(course.chance),
        next_due=course.due(20, flush=1),
        teaching={"about": "why the line is flushed", "to": "patient", "understanding": "states understanding"},
    )
    _removal(course, 90)


def _use(course: _Course, minutes: int, action: str) -> Event:
    return course.care(
        "line use",
        minutes,
        order="LB-ORD-6012",
        purpose="infusion",
        action=action,
        what="antibiotic in 5% dextrose",
        vesicant=False,
        blood_return_before="present",
    )


def _week(course: _Course) -> None:
    """A week with a dressing that comes loose and a needle change on the seventh day."""
    _access(course, 60)
    for _ in range(5):
        _look(course, 700)
    course.care(
        "dressing change",
        600,
        reason="loose",
        dressing_found=["loose"],
        antisepsis={
            "agent": "chlorhexidine in alcohol",
            "started_at": _written(course.now + timedelta(minutes=595)),
            "skin": "dry",
            "scrub_s": 60,
            "dry_s": 60,
            "fully_dry": True,
            "lot": "LOT-C12",
            "expires": "2034-06-30",
        },
        technique={"hand_hygiene": True, "masks": True, "sterile_gloves": True, "sterile_field": True},
        dressing={
            "type": "transparent",
            "chlorhexidine_disc": True,
            "site_visible": True,
            "without_tension": True,
            "labelled": True,
            "securement": "adhesive strips",
        },
        connector_changed=True,
        disinfecting_caps=True,
        next_due=course.due(600, dressing_change=7),
        teaching={"about": "to keep the dressing dry", "to": "patient", "understanding": "states understanding"},
    )
    for _ in range(7):
        _look(course, 700)
    removed = _removal(
        course,
        300,
        reason="needle change at seven days",
        lock={"not_done": "fresh needle follows"},
        cover="site kept free for the fresh needle",
    )
    _access(course, 15, follows_removal=removed["id"])
    for _ in range(3):
        _look(course, 690)
    _removal(course, 200)


def _hold(course: _Course) -> None:
    """No blood return: hold, evaluation, a thrombolytic, blood back, cleared."""
    access = _access(course, 45)
    for key in ("blood_looks", "infusion"):
        del access[key]
    access |= {
        "blood_return": "none",
        "discard_ml": {"not_done": "no aspirate"},
        "lock": {"not_done": "line on hold, nothing instilled"},
        "steps_tried": ["repositioned patient", "cough or deep breath", "gentle push-pause flush"],
        "problems": [_problem(course, "no blood return after access")],
    }
    evaluation = {"cleared_by": _SPECIALIST, "evidence": ["physical examination"], "finding": "needle well seated"}
    care = {"identifiers_checked": ["name", "birth date"], "allergies_checked": True, "site": _site()}
    course.add("evaluation", 95, **care, **evaluation, decision="thrombolytic ordered")
    treatment = course.care(
        "patency treatment",
        35,
        order="LB-ORD-6031",
        reason="withdrawal occlusion",
        blood_return="none",
        steps_tried=["repositioned patient"],
        hub_scrub_s=15,
        problems=[_problem(course, "still no blood return", 34)],
        drug="alteplase",
        dose_mg=2,
        volume_ml=2,
        lumen_ml=0.9,
        reconstituted_at=_written(course.now + timedelta(minutes=20)),
        patency_before="no blood return",
        bleeding_risk={
            "anticoagulant": "none",
            "platelets_10e9_per_l": 210,
            "recent_bleeding": False,
            "catheter_infection": False,
            "other_causes": "none found",
        },
        explained_and_agreed=True,
        drug_lot="LOT-T05",
        flushes={"not_done": "dwell"},
        lock={"not_done": "dwell"},
    )
    course.care(
        "patency check",
        30,
        treatment=treatment["id"],
        blood_return="none",
        steps_tried=["repositioned patient"],
        flushes={"not_done": "dwell goes on"},
        lock={"not_done": "dwell goes on"},
        problems=[_problem(course, "no blood return at 30 minutes", 31)],
    )
    flushes = _flush(course.chance)
    flushes[0] |= {"volume_ml": 20, "syringe_ml": 20}
    course.care(
        "patency check",
        90,
        treatment=treatment["id"],
        blood_return="present",
        blood_looks="like whole blood",
        withdrawn_ml=5,
        discard_ml=5,
        hub_scrub_s=15,
        flushes=flushes,
        lock={"not_done": "infusion follows"},
    )
    evaluation["evidence"] = ["blood return restored", "physical examination"]
    course.add("evaluation", 15, **care, **evaluation, decision="cleared for use")
    _use(course, 75, "started")
    _use(course, 70, "stopped")
    _removal(course, 35)


def _problem(course: _Course, what: str, minutes: int = 0) -> dict[str, Any]:
    told_at = _written(course.now + timedelta(minutes=minutes + 1))
    reply = "keep out of use; will see the patient this morning"
    return {"what": what, "action": "line out of use", "told": _SPECIALIST, "told_at": told_at, "reply": reply}


def _moved(course: _Course) -> None:
    """A transfer to another unit between two looks."""
    _access(course, 30)
    _look(course, 600)
    unit = _UNITS[(course.number + 1) % len(_UNITS)]
    who = {"name": "Bertrand Oyelle", "credential": "RN", "id": "LBN-117"}
    course.add("transfer", 120, to_unit=unit, to_room="9", to_setting="inpatient", handed_to=who)
    _look(course, 300)
    _removal(course, 500)


def _corrected(course: _Course) -> None:
    """An addendum, an amendment and an entry of the wrong patient that is withdrawn."""
    access = _access(course, 30)
    del access["pain"]
    by = dict(access["by"])
    first = course.add("addendum", 60, of=access["id"], reason="left out when first charted", adds={"pain": 1})
    sets = {"needle": {"lot": "LOT-B80"}}
    second = course.add("amendment", 60, of=access["id"], reason="lot misread; pack read again", sets=sets)
    wrong = _look(course, 120)
    third = course.add("retraction", 40, of=wrong["id"], reason="entry belongs to the patient in the next room")
    third["by"] = dict(wrong["by"])
    for event in (first, second):
        event["by"] = by
    _look(course, 300)
    _removal(course, 500)


def _arrived(course: _Course) -> None:
    """The patient arrives with a needle of unknown age, which is changed."""
    unknown = {"not_assessed": "papers not sent"}
    course.care(
        "arrival accessed",
        20,
        came_from="Saltmarsh Infusion House (fictional)",
        needle={"gauge": unknown, "length_mm": unknown, "non_coring": unknown, "power_rated": unknown},
        inserted_at=unknown,
        dressing={"type": "transparent", "chlorhexidine_disc": False, "site_visible": True, "labelled": False},
        dressing_found=["intact"],
        dressed_at=unknown,
        blood_return="present",
        blood_looks="like whole blood",
        discard_ml=5,
        problems=[_problem(course, "needle of unknown age", 22)],
        next_due=course.due(20, needle_change=0, dressing_change=0),
        teaching={"about": "why the needle is changed", "to": "patient", "understanding": "states understanding"},
    )
    removed = _removal(course, 40, lock={"not_done": "fresh needle follows"}, cover="site kept free")
    _access(course, 15, follows_removal=removed["id"])
    _look(course, 600)
    _removal(course, 600)


def _implanted(course: _Course) -> None:
    """The port is implanted, used, and taken out in one stay."""
    course.add("port implanted", 60, tip_location="cavoatrial junction", tip_method="chest radiograph")
    _access(course, 8 * 24 * 60)  # when the pocket has settled, a child's too
    _look(course, 500)
    _removal(course, 200)
    course.add("port removed", 300, reason="treatment ended early", complete=True)


_COURSES: tuple[tuple[Callable[[_Course], None], int], ...] = (
    (_short, 8),
    (_week, 4),
    (_hold, 2),
    (_moved, 2),
    (_corrected, 2),
    (_arrived, 1),
    (_implanted, 1),
)
_PICK = tuple(course for course, weight in _COURSES for _ in range(weight))


# -- faults: each breaks one rule that is known beforehand --


def _first(record: dict[str, Any], kind: str) -> Event:
    found: Event = next(event for event in record["events"] if event["kind"] == kind)
    return found


def _short_scrub(record: dict[str, Any]) -> None:
    _first(record, "access")["hub_scrub_s"] = 2


def _expired(record: dict[str, Any]) -> None:
    _first(record, "de-access")["flushes"][0]["expires"] = "2030-01-31"


def _no_blood_return(record: dict[str, Any]) -> None:
    removal = _first(record, "de-access")
    del removal["blood_return"], removal["blood_looks"]


def _small_syringe(record: dict[str, Any]) -> None:
    _first(record, "access")["flushes"][0]["syringe_ml"] = 3


def _unknown_key(record: dict[str, Any]) -> None:
    _first(record, "de-access")["needle_whole"] = True


def _allergic(record: dict[str, Any]) -> None:
    record["patient"]["allergies"] = [{"to": "chlorhexidine", "reaction": "hives"}]


FAULTS: dict[str, Callable[[dict[str, Any]], None]] = {
    "connector-scrub-time": _short_scrub,
    "expired-supply": _expired,
    "facts-not-recorded": _no_blood_return,
    "syringe-size": _small_syringe,
    "record-layout": _unknown_key,
    "chlorhexidine-allergy": _allergic,
}
"""The rule that must find each fault, and what makes the fault."""

FAULTY_EVERY = 5


def made(number: int, seed: int = 1) -> Made:
    """Return record ``number`` (from 1) of a seed."""
    chance = random.Random(f"{seed}/{number}")
    course = _Course(chance, number)
    play = _PICK[(number + chance.randrange(3)) % len(_PICK)] if number > len(_PICK) else _PICK[number - 1]
    play(course)
    if play is not _implanted:
        course.add(
            "discharge",
            150,
            destination="home",
            needle_in=False,
            handed_to={"name": "Port clinic, Lantern Bay", "credential": "clinic"},
            teaching={"about": "when to call", "to": "patient", "understanding": "taught back"},
            next_due=course.due(0, flush=27),
        )
    record = _record(course, course.events[0]["at"][:10] if play is _implanted else "2030-03-02")
    rule = None
    if number % FAULTY_EVERY == 0:
        rule = chance.choice(tuple(FAULTS))
        FAULTS[rule](record)
    return Made(record, rule)


def _record(course: _Course, implanted: str) -> dict[str, Any]:
    chance, number = course.chance, course.number
    port: dict[str, Any] = {
        "id": "port-1",
        "side": chance.choice(("left", "right")),
        "area": "chest",
        "site_detail": "infraclavicular",
        "septa": ["single"],
        "touch": "smooth",
        "power": {"rated": True, "max_flow_ml_per_s": 5, "max_pressure_psi": 300},
        "catheter_volume_ml": 0.9,
        "valved": False,
        "tip": {"location": "cavoatrial junction", "method": "chest radiograph", "on": implanted},
        "implanted_on": implanted,
    }
    return {
        "record_version": 1,
        "id": f"made-{number:07}",
        "patient": {
            "identifiers": [
                {
                    "system": "https://lantern-bay.example/record-number",
                    "value": f"LB-{number:07}",
                    "label": "record number",
                }
            ],
            "family_name": chance.choice(_FAMILIES),
            "given_name": chance.choice(_GIVEN),
            "birth_date": f"{chance.randrange(1940, 2005)}-{chance.randrange(1, 13):02}-{chance.randrange(1, 29):02}",
            "weight_kg": chance.randrange(450, 1100) / 10,
            "allergies": [],
        },
        "stay": {
            "facility": "Lantern Bay Hospital (fictional)",
            "unit": _UNITS[number % len(_UNITS)],
            "room": str(chance.randrange(1, 30)),
            "setting": "inpatient",
            "admitted_at": _written(course.began),
            "time_zone": "UTC",
        },
        "port": port,
        "events": course.events,
    }


def row(number: int, seed: int = 1) -> bytes:
    """Return record ``number`` of a seed as one row of NDJSON."""
    return json.dumps(made(number, seed).record, separators=(",", ":")).encode() + b"\n"


def main() -> None:
    """Write the rows to standard output."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.episodes", description=__doc__)
    parser.add_argument("count", type=int, metavar="N")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--faults", metavar="FILE", help="Write row and expected rule of each faulty record here.")
    chosen = parser.parse_args()
    with Path(chosen.faults or os.devnull).open("w") as expected:
        for number in range(1, chosen.count + 1):
            one = made(number, chosen.seed)
            sys.stdout.buffer.write(json.dumps(one.record, separators=(",", ":")).encode() + b"\n")
            if one.rule is not None:
                expected.write(f"{number},{one.rule}\n")


if __name__ == "__main__":
    main()
