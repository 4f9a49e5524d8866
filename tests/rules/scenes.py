"""Small records built around one value, for the tests of limits."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any, NamedTuple

from rule_cases import episode_of, judged

from lda_notes.check import rule_table
from lda_notes.knowledge.policy import DEFAULT, Policy

AT = datetime.fromisoformat("2031-04-02T09:00-05:00")
Event = dict[str, Any]


class Scene(NamedTuple):
    """A record built around one value: its events, its patient or port, the policy, the moment judged from."""

    events: tuple[Event, ...]
    parts: dict[str, Any] | None = None
    policy: Policy = DEFAULT
    asof: datetime | None = None


def fires(rule: str, scene: Scene) -> bool:
    assert rule in rule_table.load()
    found = judged(episode_of(*scene.events, **(scene.parts or {})), scene.policy, scene.asof)
    return any(finding.rule == rule for finding in found)


def after(minutes: float, start: datetime = AT) -> str:
    return (start + timedelta(minutes=minutes)).isoformat()


def access(**facts: Any) -> Event:
    return {"kind": "access", "at": AT.isoformat(), **facts}


def event(kind: str, minutes: float, **facts: Any) -> Event:
    return {"kind": kind, "at": after(minutes), **facts}


LOCKED = {"infusion": None, "lock": {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5}}
HIDDEN = {"site_visible": "no"}
CREAM = "lidocaine 2.5% with prilocaine 2.5% cream"
NO_BLOOD = {
    "blood_return": "none",
    "blood_looks": None,
    "discard_ml": None,
    "infusion": None,
    "lock": {"not_done": "the line gives no blood"},
    "steps_tried": ["cough or deep breath"],
}
STILL_NONE = {"blood_return": "none", "blood_looks": None, "withdrawn_ml": None, "flushes": None, "lock": None}

DAY = 24 * 60
INFANT = {"birth_date": "2031-02-20", "weight_kg": 4}
BABY = {"birth_date": "2030-10-20", "weight_kg": 7}
SMALL = {"birth_date": "2027-01-15", "weight_kg": 16}
SCHOOL = {"birth_date": "2021-01-15", "weight_kg": 30}
MOST, LEAST = "at most", "at least"
