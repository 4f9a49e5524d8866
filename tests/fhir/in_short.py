"""What bundles say in short words, so that a test reads like the table of which fact becomes what.

A concept is its text or, without one, its code; a reference is the type and the words of what it points to, a name in
another bundle begins with ``elsewhere``; an extension is its own name and value; identities are left out.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from decimal import Decimal
from typing import Any, NamedTuple

import made_records

from lda_notes.fhir.build.bundle import Options, bundles
from lda_notes.fhir.config import DEFAULT as CONFIG
from lda_notes.fhir.elements import to_json
from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.line.timeline import ALONE, Beside, Others, build

Json = dict[str, Any]
LATER = made_records.moment("2031-03-31 12:00")
CALLED = ("code", "medicationCodeableConcept", "type")
SENT = {"POST": "opened", "PUT": "changed"}


class Said(NamedTuple):
    """A resource of the bundle of ``event``: whether it is created there or changed, its type and its short words."""

    event: str
    how: str
    kind: str
    words: Json


def bundles_of(
    *events: Json,
    options: Options | None = None,
    policy: Policy = DEFAULT,
    earlier: tuple[Json, ...] = (),
    **parts: Any,
) -> list[tuple[str, Json]]:
    """Return each event's name and bundle, as JSON.

    ``parts`` replace the patient's, the stay's or the port's facts; ``earlier`` are the events of an earlier stay.
    """
    data = made_records.record(*events)
    for part, facts in parts.items():
        data[part] |= facts
    before = made_records.episode({**made_records.record(*earlier), "id": "made-0"})
    others = Others((Beside(before, "earlier.yaml"),)) if earlier else ALONE
    line = build(made_records.episode(data), policy, LATER, others=others)
    made = bundles(line, policy, CONFIG, options)
    return [(one.event, json.loads(to_json(one.bundle), parse_float=Decimal)) for one in made]


def said(*events: Json, **how: Any) -> list[Said]:
    """Return what the bundles of events say, in short words, as they are sent."""
    found = bundles_of(*events, **how)
    entries = [(event, entry) for event, bundle in found for entry in bundle["entry"]]
    names = dict(pair for _, entry in entries for pair in _names(entry["resource"], events))
    return [
        Said(
            event, SENT[entry["request"]["method"]], entry["resource"]["resourceType"], _whole(entry["resource"], names)
        )
        for event, entry in entries
    ]


def of_kind(found: Iterable[Said], kind: str, words: str = "") -> list[Json]:
    """Return the short words of a type, those in whose code, type or drug ``words`` stand."""
    return [one.words for one in found if one.kind == kind and words in called(one.words)]


def called(words: Json) -> str:
    """Return by what a resource is known: its code, its type, its drug."""
    return next((str(words[key]) for key in CALLED if key in words), "")


def _names(resource: Json, events: Iterable[Json]) -> Iterable[tuple[str, str]]:
    own = resource.get("identifier") or [{"value": one["code"]} for one in resource.get("meta", {}).get("tag", ())]
    words = called({key: _short(value, {}) for key, value in resource.items() if key in CALLED})
    return [(one["value"], f"{resource['resourceType']} {words}".strip()) for one in own if "value" in one]


def _whole(resource: Json, names: dict[str, str]) -> Json:
    left_out = ("resourceType", "identifier", "meta")
    return {key: _short(value, names) for key, value in resource.items() if key not in left_out}


def _short(value: Any, names: dict[str, str]) -> Any:
    match value:
        case {"url": url, **inner}:
            [(_, held)] = inner.items()
            return {url.rpartition("/")[2]: _short(held, names)}
        case {"reference": address}:
            return names.get(address.removeprefix("urn:uuid:"), address)
        case {"identifier": {"value": number}, **_others}:
            return f"elsewhere {names.get(number, number)}"
        case {"text": text, **others} if not others.keys() - {"coding"}:
            return text
        case {"value": number, "code": code, **_some}:
            return f"{number} {code}"
        case {"system": _, "code": code}:
            return code
        case {"display": name}:
            return name
        case {"coding": [{"code": code, **_some}, *_others]}:
            return code
        case dict():
            return {key: _short(held, names) for key, held in value.items()}
        case [one]:
            return _short(one, names)
        case list():
            return [_short(one, names) for one in value]
        case _:
            return value
