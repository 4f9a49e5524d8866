"""Small records made in code: invented patients, as many as a test needs. Every default is a fact one can override."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.knowledge.policy_values import apply
from lda_notes.line import timeline as lines
from lda_notes.line.timeline import Timeline
from lda_notes.record.episode import Episode

CHICAGO = ZoneInfo("America/Chicago")
NURSE = {"name": "Marisol Tamm", "credential": "RN"}

NEEDLE = {"gauge": 20, "length_mm": 19, "non_coring": True}
FLUSH = {"solution": "0.9% sodium chloride", "volume_ml": 10, "syringe_ml": 10, "resistance": "none"}
HEPARIN = {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5}
FILM = {"type": "transparent"}


def moment(text: str, zone: ZoneInfo = CHICAGO, fold: int = 0) -> datetime:
    """Return local time such as ``2024-04-01 09:00`` as a moment of ``zone``."""
    return datetime.fromisoformat(text).replace(tzinfo=zone, fold=fold)


def event(kind: str, at: datetime | str, **facts: Any) -> dict[str, Any]:
    when = moment(at) if isinstance(at, str) else at
    written = when.isoformat(timespec="minutes")
    name = f"{kind.replace(' ', '-')}-{written[:16].replace(':', '')}-{written[-6:].replace(':', '').replace('+', '')}"
    return {"id": name, "kind": kind, "at": written, "by": NURSE, **facts}


def record(*events: dict[str, Any], number: int = 1, **stay: Any) -> dict[str, Any]:
    """Return a record of one patient with ``events``; ``stay`` overrides facts of the stay."""
    return {
        "record_version": 1,
        "id": f"made-{number}",
        "patient": {
            "identifiers": [
                {"system": "https://made.example/mrn", "value": f"MD-{number:04}", "label": "record number"}
            ],
            "family_name": f"Testmann-{number:04}",
            "given_name": "Ottoline",
            "birth_date": "1980-02-03",
            "allergies": [],
        },
        "stay": {
            "facility": "Lantern Bay Hospital (fictional)",
            "unit": "Ward Heron",
            "room": str(number),
            "setting": "inpatient",
            "time_zone": "America/Chicago",
            **stay,
        },
        "port": {"id": "port-1", "side": "right", "area": "chest"},
        "events": list(events),
    }


def episode(data: dict[str, Any]) -> Episode:
    return Episode.model_validate_json(json.dumps(data, default=_written))


def _written(value: object) -> object:
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, Decimal):
        return float(value)
    raise TypeError(type(value))


def timeline(data: dict[str, Any], asof: datetime | str, policy: Policy = DEFAULT) -> Timeline:
    return lines.build(episode(data), policy, moment(asof) if isinstance(asof, str) else asof)


def policy(**limits: Any) -> Policy:
    """Return the published policy with ``limits`` replaced by a made-up facility's."""
    data = {"source": {"title": "Port care policy (invented)", "date": "2024-01-15"}, "limits": limits}
    changed, faults = apply(DEFAULT, data)
    assert not faults, faults
    return changed


def needle_event(at: datetime | str, **facts: Any) -> dict[str, Any]:
    """Return an access with needle, dressing, blood return and flush."""
    usual = {
        "needle": NEEDLE,
        "dressing": FILM,
        "blood_return": "present",
        "discard_ml": 5,
        "flushes": [FLUSH],
        "lock": HEPARIN,
    }
    return event("access", at, **{**usual, **facts})


def removal_event(at: datetime | str, **facts: Any) -> dict[str, Any]:
    usual = {"needle_intact": True, "blood_return": "present", "flushes": [FLUSH], "lock": HEPARIN}
    return event("de-access", at, **{**usual, **facts})


def unit_of_patients(count: int, asof: datetime) -> list[dict[str, Any]]:
    """Return records of ``count`` patients in every kind of state, the same each time."""
    return [patient(number, asof) for number in range(1, count + 1)]


def patient(number: int, asof: datetime) -> dict[str, Any]:
    sort = number % 10
    put_in = asof - timedelta(days=number % 7, hours=3 + number % 5)
    events = [needle_event(put_in, **_variety(sort))]
    later = [put_in + timedelta(hours=11 * n) for n in range(1, 20)]
    for at in later:
        if at < asof - timedelta(minutes=30):
            events.append(
                event(
                    "line check", at, dressing_found=["intact"], blood_return="present", pain=0, site={"skin": "intact"}
                )
            )
    data = record(*events, number=number)
    recent = asof - timedelta(minutes=25)
    if sort == 1:
        told = {"name": "Dr Amaranth Locke", "credential": "MD"}
        data["events"].append(
            event(
                "line check",
                recent,
                blood_return="none",
                steps_tried=["repositioned patient", "gentle push-pause flush"],
                problems=[
                    {
                        "what": "no blood return, flushes freely",
                        "action": "line on hold",
                        "told": told,
                        "told_at": recent,
                        "reply": "specialist to see the patient this evening",
                    }
                ],
            )
        )
    if sort == 2:
        data["patient"]["allergies"] = [
            {"to": "chlorhexidine", "reaction": "hives"},
            {"to": "adhesive", "reaction": "blisters"},
        ]
    if sort == 3:
        data["events"].append(event("line check", recent, dressing_found=["damp", "loose"], blood_return="present"))
    if sort == 4:
        data["events"].append(
            event("patency treatment", recent, drug="alteplase", dose_mg=2, volume_ml=2, blood_return="none")
        )
    if sort == 5:
        data["events"].append(removal_event(recent))
    if sort == 6:
        data["port"]["septa"] = ["medial", "lateral"]
        data["events"] = [{**made, "septum": "medial"} for made in data["events"]]
        data["events"].append(needle_event(recent, septum="lateral", infusion="parenteral nutrition at 60 mL per hour"))
    if sort == 7:
        data["patient"]["history"] = ["heparin-induced thrombocytopenia"]
        for made in data["events"]:
            made.pop("lock", None)
    return data


def _variety(sort: int) -> dict[str, Any]:
    match sort:
        case 0 | 2:
            return {"infusion": "0.9% sodium chloride at 50 mL per hour", "lock": {"not_done": "infusion connected"}}
        case 8:
            return {"dressing": {"type": "gauze"}}
        case 9:
            return {"dressing": {"type": "gauze under wings", "site_visible": True}, "needle": {"gauge": 22}}
        case _:
            return {}
