"""Elements back to facts: observations by the table of panels, devices, administrations, people.

Facts come out as JSON values in the record's own keys. What an element says in a way that the record cannot is reported
to the `Remarks`, never dropped in silence.
"""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from types import UnionType
from typing import Any, Final, get_args

from pydantic import BaseModel

from lda_notes.fhir.build.devices import (
    GAUGE,
    NEEDLE_MEASURES,
    NEEDLE_NOT_ASSESSED,
    NEEDLE_NOT_RECORDED,
    NEEDLE_WORDS,
    PORT_WORDS,
    POWER_MEASURES,
    PRINTED_IDENTIFIER,
    TIP_WORDS,
)
from lda_notes.fhir.build.frame import NOT_NAMED
from lda_notes.fhir.build.observations import NO_WORDS
from lda_notes.fhir.build.papers import NEW_TO_PROCEDURE, USED_TO_PROCEDURE
from lda_notes.fhir.codes import DATA_ABSENT_REASON
from lda_notes.fhir.elements import Json, text_of
from lda_notes.fhir.kinds import EMPTY_INNER
from lda_notes.fhir.panels import PERSON, Fact, Panel
from lda_notes.record.parts import NotAssessed, NotDone


@dataclass(slots=True)
class Remarks:
    """Faults of reading, one sentence each."""

    said: list[str] = field(default_factory=list)

    def add(self, where: Json, what: str, entry: str | None = None) -> None:
        """Remark on a resource, and name the entry of the record that it is of."""
        of = f" (entry {entry})" if entry is not None else ""
        self.said.append(f"{called(where)}{of}: {what}")


def called(resource: Json) -> str:
    """Return what a resource is called: its type with its id, or with its identity where it has none."""
    kind = resource.get("resourceType")
    if "id" in resource:
        return f"{kind}/{resource['id']}"
    identifiers = resource.get("identifier") or resource.get("meta", {}).get("tag") or [{}]
    return f"{kind} {identifiers[0].get('value') or identifiers[0].get('code', '')}"


def why_not(owner: type[BaseModel], name: str) -> str | None:
    """Return the key under which a field of a model says why it has no value; None when it cannot."""
    members = _members(owner.model_fields[name].annotation)
    if NotAssessed in members:
        return "not_assessed"
    return "not_done" if NotDone in members else None


def _members(annotation: Any) -> tuple[Any, ...]:
    return get_args(annotation) if isinstance(annotation, UnionType) or get_args(annotation) else (annotation,)


def is_unknown(reason: Json) -> bool:
    """Return whether an absence says no more than that nothing is known."""
    return any(
        coding.get("system") == DATA_ABSENT_REASON and coding.get("code") == "unknown"
        for coding in reason.get("coding", ())
    )


def is_reason(said: Json) -> bool:
    """Return whether a concept is the reason of an absence, not a value."""
    return any(coding.get("system") == DATA_ABSENT_REASON for coding in said.get("coding", ()))


_KEYS: Final[dict[str, str]] = {
    "word": "valueCodeableConcept",
    "words": "valueCodeableConcept",
    "text": "valueString",
    "texts": "valueString",
    "person": "valueString",
    "yes": "valueBoolean",
    "whole": "valueInteger",
    "moment": "valueDateTime",
    "day": "valueDateTime",
    "absence": "valueDateTime",
    "quantity": "valueQuantity",
}


def _value(fact: Fact, resource: Json, where: Json, remarks: Remarks) -> Any:
    """Return the value of an observation or component, None when it has none of the right form."""
    value = resource.get(_KEYS[fact.form])
    if value is None:
        remarks.add(where, f"{text_of(fact.concept)} has no {_KEYS[fact.form]}")
        return None
    if fact.form in ("word", "words"):
        return value.get("text")
    if fact.form == "quantity":
        return measured(value, fact.unit, where, remarks)
    return value


def measured(value: Json, unit: str, where: Json, remarks: Remarks) -> Any:
    """Return the number of a quantity in a unit of ours."""
    if value.get("code") != unit:
        remarks.add(where, f"a quantity is in {value.get('code')}, not in {unit}, and was not read")
        return None
    return value.get("value")


def put(facts: dict[str, Any], path: tuple[str, ...], value: Any) -> None:
    """Put a fact at its path, with the parts above it."""
    for step in path[:-1]:
        facts = facts.setdefault(step, {})
    facts[path[-1]] = value


def read_panel(panel: Panel, owner: type[BaseModel], resource: Json, remarks: Remarks) -> Any:
    """Return the facts of an observation, or ``{"not_assessed": ...}`` and the like for a part that has none.

    ``owner`` is the type that has the panel's fields.
    """
    facts: dict[str, Any] = {}
    reason = resource.get("dataAbsentReason")
    if reason is not None and not is_unknown(reason):
        key = why_not(owner, panel.part) if panel.part else None
        if key is not None:
            return {key: reason.get("text")}
        if panel.value is not None:
            put(facts, panel.value.path, {why_not(owner, panel.value.path[0]): reason.get("text")})
    elif panel.value is not None and any(key.startswith("value") for key in resource):
        put(facts, panel.value.path, _value(panel.value, resource, resource, remarks))
    part = panel.part_type or owner
    _read_components(panel, part, resource, facts, remarks)
    if panel.note and resource.get("note"):
        facts[panel.note] = resource["note"][0].get("text")
    return facts


def _read_components(
    panel: Panel, part: type[BaseModel], resource: Json, facts: dict[str, Any], remarks: Remarks
) -> None:
    known = {text_of(fact.concept): fact for fact in panel.components}
    empty = {text_of(concept): name for name, concept in EMPTY_INNER.items()}
    bare = text_of(panel.bare) if panel.bare else None
    beyond = {text_of(key): (name, form) for name, key, form in PERSON}
    person: dict[str, Any] = {}
    for component in resource.get("component", ()):
        text = component.get("code", {}).get("text")
        reason = component.get("dataAbsentReason")
        if text == bare and panel.value is not None and reason is not None:
            put(facts, panel.value.path, {why_not(part, panel.value.path[0]): reason.get("text")})
        elif text in known:
            fact = known[text]
            if fact.form == "person":
                person = facts[fact.path[0]] = {}
                if reason is None:
                    person["name"] = _value(fact, component, resource, remarks)
            elif reason is not None:
                owner = part if len(fact.path) == 1 else _inner(part, fact.path[0])
                put(facts, fact.path, {why_not(owner, fact.path[-1]): reason.get("text")})
            elif fact.form in ("words", "texts"):
                value = _value(fact, component, resource, remarks)
                listed = facts.setdefault(fact.path[0], [])
                if value != NO_WORDS or fact.form == "texts":
                    listed.append(value)
            else:
                put(facts, fact.path, _value(fact, component, resource, remarks))
        elif text in beyond and any(fact.form == "person" for fact in panel.components):
            name, form = beyond[text]
            person[name] = component.get("valueBoolean" if form == "yes" else "valueString")
        elif text in empty:
            facts.setdefault(empty[text], {})
        else:
            remarks.add(resource, f"component {text!r} is none of ours and was not read")


def _inner(part: type[BaseModel], name: str) -> type[BaseModel]:
    """Return the type of an inner part."""
    return next(one for one in _members(part.model_fields[name].annotation) if isinstance(one, type))


# -- people --


def read_agent(agent: Json) -> Json:
    """Return a person from an agent of a Provenance."""
    who = agent.get("who", {})
    made: Json = {}
    if who.get("display") not in (None, NOT_NAMED):
        made["name"] = who["display"]
    for role in agent.get("role", ()):
        text = role.get("text")
        if text in (NEW_TO_PROCEDURE, USED_TO_PROCEDURE):
            made["new_to_procedure"] = text == NEW_TO_PROCEDURE
        else:
            made["credential"] = text
    if who.get("identifier"):
        made["id"] = who["identifier"].get("value")
    return made


# -- devices --


def _properties(device: Json) -> dict[str, Json]:
    return {one.get("type", {}).get("text", ""): one for one in device.get("property", ())}


def _worded(resource: Json, read: Callable[[str], Any]) -> Any:
    said = (resource.get("valueCode") or [{}])[0]
    return {"not_assessed": said.get("text")} if is_reason(said) else read(said.get("text", ""))


def _yes(text: str) -> Any:
    return {"yes": True, "no": False}.get(text, text)


def _measure(resource: Json, unit: str, device: Json, remarks: Remarks) -> Any:
    if resource.get("valueQuantity"):
        return measured(resource["valueQuantity"][0], unit, device, remarks)
    return _worded(resource, str)


def _gauge(text: str) -> Any:
    number = text.removesuffix(GAUGE)
    return int(number) if number.isascii() and number.isdigit() else text


def identifier_of(device: Json) -> str | None:
    """Return the device identifier as it was scanned or printed."""
    for carrier in device.get("udiCarrier", ()):
        if "carrierAIDC" in carrier:
            return base64.b64decode(carrier["carrierAIDC"]).decode()
        return str(carrier.get("carrierHRF"))
    for note in device.get("note", ()):
        if note.get("text", "").startswith(PRINTED_IDENTIFIER):
            return str(note["text"].removeprefix(PRINTED_IDENTIFIER))
    return None


def _label(device: Json) -> Json:
    """Lot, expiry and device identifier of a label."""
    made = {"lot": device.get("lotNumber"), "expires": device.get("expirationDate"), "udi": identifier_of(device)}
    return {key: value for key, value in made.items() if value is not None}


def read_needle(device: Json, remarks: Remarks) -> Json | None:
    """Return the needle of a device; None when nobody recorded it."""
    for note in device.get("note", ()):
        text = note.get("text", "")
        if text == NEEDLE_NOT_RECORDED:
            return None
        if text.startswith(NEEDLE_NOT_ASSESSED):
            return {"not_assessed": text.removeprefix(NEEDLE_NOT_ASSESSED)}
    found = _properties(device)
    made: Json = {}
    gauge = found.pop(text_of("gauge"), None)
    if gauge is not None:
        made["gauge"] = _worded(gauge, _gauge)
    for name, key, unit in NEEDLE_MEASURES:
        if text_of(key) in found:
            made[name] = _measure(found.pop(text_of(key)), unit, device, remarks)
    for name, key in NEEDLE_WORDS:
        if text_of(key) in found:
            made[name] = _worded(found.pop(text_of(key)), _yes)
    _remark_rest(found, device, remarks)
    return made | _label(device)


def read_supply(device: Json) -> Json:
    """Return a further supply."""
    made: Json = {"name": device.get("type", {}).get("text")} | _label(device)
    latex = _properties(device).get(text_of("label latex"))
    if latex is not None:
        made["latex"] = _worded(latex, _yes)
    return made


def read_port(device: Json, remarks: Remarks) -> Json:
    """Return the port."""
    found = _properties(device)
    names = {one.get("type"): one.get("name") for one in device.get("deviceName", ())}
    made: Json = {"id": names.get("other")}
    for name, key in PORT_WORDS:
        if text_of(key) in found:
            made[name] = _worded(found.pop(text_of(key)), _yes if name == "valved" else str)
    septa = found.pop(text_of("septa"), None)
    if septa is not None:
        made["septa"] = [one.get("text") for one in septa.get("valueCode", ())]
    rated = found.pop(text_of("power rated"), None)
    if rated is not None:
        made["power"] = {"rated": _worded(rated, _yes)}
    for name, key, unit in POWER_MEASURES:
        if text_of(key) in found:
            put(made, ("power", name), _measure(found.pop(text_of(key)), unit, device, remarks))
    volume = found.pop(text_of("catheter volume"), None)
    if volume is not None:
        made["catheter_volume_ml"] = _measure(volume, "mL", device, remarks)
    for name, key in TIP_WORDS:
        if text_of(key) in found:
            put(made, ("tip", name), _worded(found.pop(text_of(key)), str))
    made["model"] = names.get("model-name")
    made["udi"] = identifier_of(device)
    _remark_rest(found, device, remarks)
    return {key: value for key, value in made.items() if value is not None}


def _remark_rest(found: Iterable[str], device: Json, remarks: Remarks) -> None:
    for text in found:
        remarks.add(device, f"property {text!r} is none of ours and was not read")


# -- notes with a label --


def labelled(notes: Iterable[Json], label: tuple[str, str]) -> str | None:
    """Return the text behind a label such as ``Lot``, without its unit."""
    name, unit = label
    for note in notes:
        text: str = note.get("text", "")
        if text.startswith(f"{name}: ") and text.endswith(unit):
            return text[len(name) + 2 : len(text) - len(unit)]
    return None


def decimal(text: str) -> Decimal | str:
    """Return a number as written; what is none stays text, for the record's own reader to refuse."""
    try:
        return Decimal(text)
    except ArithmeticError:
        return text
