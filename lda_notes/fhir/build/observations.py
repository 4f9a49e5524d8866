"""Observations from the facts of an event, as the table of panels says."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from operator import attrgetter
from typing import Any, Final

from lda_notes.fhir.build.scene import Made, Scene
from lda_notes.fhir.coder import Coder
from lda_notes.fhir.elements import UNKNOWN, Json, absent, concept, day, filled, moment, quantity
from lda_notes.fhir.kinds import EMPTY_INNER, PANELS_OF
from lda_notes.fhir.panels import PERSON, Fact, Panel
from lda_notes.record import events as ev
from lda_notes.record.parts import Model, NotAssessed, NotDone, Person

_EXAM: Final = [concept("exam")]
_CATEGORIES: Final = {"pain": [concept("survey")], "weight": [concept("vital signs")]}
_ABOUT_THE_PATIENT: Final = frozenset({"pain", "response", "weight"})
"""Panels that are about the patient; all others are about the port, which is then the focus."""

NO_WORDS: Final = "none"
"""Sent for a list of words that was recorded and is empty."""

_Get = Callable[[Any], Any]
_Encode = Callable[[Any], Json]


def _text(value: str) -> Json:
    return {"valueString": value}


def _encoder(fact: Fact, say: Coder) -> _Encode:
    """Return how one value of a fact is written; lists are written item by item."""
    match fact.form:
        case "word" | "words":
            return lambda value: {"valueCodeableConcept": say.word(value)}
        case "text" | "texts" | "person":
            return _text
        case "yes":
            return lambda value: {"valueBoolean": value}
        case "whole":
            return lambda value: {"valueInteger": value}
        case "moment" | "absence":
            return lambda value: {"valueDateTime": moment(value)}
        case "day":
            return lambda value: {"valueDateTime": day(value)}
        case "quantity":
            unit = fact.unit
            return lambda value: {"valueQuantity": quantity(value, unit)}


def _getter(path: tuple[str, ...]) -> _Get:
    if len(path) == 1:
        return attrgetter(path[0])
    outer, inner = (attrgetter(step) for step in path)

    def get(part: Any) -> Any:
        one = outer(part)
        return None if one is None else inner(one)

    return get


@dataclass(frozen=True, slots=True)
class _Item:
    """A fact made ready to be written. ``asked``: an empty list differs from no record, as the field is optional."""

    fact: Fact
    asked: bool
    get: _Get
    encode: _Encode
    code: Json


@dataclass(frozen=True, slots=True)
class _Plan:
    """A panel made ready to be written. ``inner`` pairs fields of inner parts with the component for empty ones.

    ``fields`` are the event's fields that it is about: none of them set, nothing to write.
    """

    panel: Panel
    role: str
    fields: frozenset[str]
    about_port: bool
    code: Json
    category: list[Json]
    value: _Item | None
    components: tuple[_Item, ...]
    inner: tuple[tuple[_Get, Json], ...]


def _item(fact: Fact, owner: type[Model], say: Coder) -> _Item:
    asked = fact.form == "words" and owner.model_fields[fact.path[0]].default is None
    return _Item(fact, asked, _getter(fact.path), _encoder(fact, say), say.concept(fact.concept))


def _plan(panel: Panel, kind: str, say: Coder) -> _Plan:
    owner = panel.part_type or ev.KINDS[kind]
    outers = dict.fromkeys(fact.path[0] for fact in panel.components if len(fact.path) > 1)
    return _Plan(
        panel=panel,
        role=panel.role,
        fields=frozenset([panel.part] if panel.part else [fact.path[0] for fact in panel.facts()]),
        about_port=panel.concept not in _ABOUT_THE_PATIENT,
        code=say.concept(panel.concept),
        category=_CATEGORIES.get(panel.concept, _EXAM),
        value=_item(panel.value, owner, say) if panel.value else None,
        components=tuple(_item(fact, owner, say) for fact in panel.components),
        inner=tuple((attrgetter(name), say.concept(EMPTY_INNER[name])) for name in outers if name in EMPTY_INNER),
    )


@lru_cache(maxsize=8)
def _plans(say: Coder) -> Mapping[str, tuple[_Plan, ...]]:
    return {kind: tuple(_plan(panel, kind, say) for panel in panels) for kind, panels in PANELS_OF.items()}


def _why_not(value: object) -> Json | None:
    """Return the reason of an answer that is none; None for an answer."""
    kind = type(value)
    if kind is NotAssessed:
        return absent(value.not_assessed)  # type: ignore[attr-defined]  # its class was asked by name
    if kind is NotDone:
        return absent(value.not_done)  # type: ignore[attr-defined]  # its class was asked by name
    return None


def _components(scene: Scene, plan: _Plan, part: Any) -> list[Json]:
    made: list[Json] = []
    for item in plan.components:
        value = item.get(part)
        if value is None:
            continue
        kind = type(value)
        if kind is tuple:
            if not value:
                if item.asked:
                    made.append({"code": item.code, "valueCodeableConcept": scene.frame.say.word(NO_WORDS)})
            else:
                made.extend({"code": item.code, **item.encode(one)} for one in value)
        elif kind is NotAssessed or kind is NotDone:
            made.append({"code": item.code, "dataAbsentReason": _why_not(value)})
        elif kind is Person:
            made.extend(_person(item, value, scene.frame.say))
        elif item.fact.form != "absence":
            made.append({"code": item.code, **item.encode(value)})
    for get, code in plan.inner:
        one = get(part)
        if one is not None and not one.model_dump(exclude_none=True):
            made.append({"code": code, "dataAbsentReason": concept(UNKNOWN)})
    return made


def _person(item: _Item, who: Person, say: Coder) -> Iterator[Json]:
    named: Json = {"valueString": who.name} if who.name is not None else {"dataAbsentReason": concept(UNKNOWN)}
    yield {"code": item.code, **named}
    for field, key, form in PERSON:
        value = getattr(who, field)
        if value is not None:
            yield {"code": say.concept(key), ("valueBoolean" if form == "yes" else "valueString"): value}


def observations(scene: Scene) -> Iterator[Made]:
    """Yield every Observation of an event."""
    event: Any = scene.event
    given = event.model_fields_set
    ordered = isinstance(event, ev.CareEvent) and event.order is not None and scene.procedure is None
    for plan in _plans(scene.frame.say)[event.kind]:
        panel = plan.panel
        based_on = ordered and panel.concept == "care checks"
        if plan.fields.isdisjoint(given) and not based_on:
            continue
        if not panel.part:
            made = _observation(scene, plan, plan.role, event, based_on=based_on)
            if made is not None:
                yield Made(*made, _path(panel))
            continue
        part = getattr(event, panel.part)
        if part is None:
            continue
        if panel.many:
            for index, item in enumerate(part):
                made = _observation(scene, plan, f"{plan.role}-{index + 1}", item)
                assert made is not None
                yield Made(*made, (panel.part, index))
        else:
            made = _observation(scene, plan, plan.role, part)
            assert made is not None
            yield Made(*made, (panel.part,))


def _path(panel: Panel) -> tuple[str, ...]:
    first = panel.facts()[0]
    return () if panel.concept == "care checks" else first.path[:1]


def _observation(scene: Scene, plan: _Plan, role: str, part: Any, *, based_on: bool = False) -> tuple[str, Json] | None:
    """Return the Observation of one part; None when the part is the event itself and records none of these facts."""
    value: Json = {}
    components: list[Json] = []
    reason = _why_not(part)
    if reason is None:
        if plan.value is not None:
            one = plan.value.get(part)
            reason = _why_not(one)
            if one is not None and reason is None:
                value = plan.value.encode(one)
        components = _components(scene, plan, part)
        if not value and reason is None and not components:
            if plan.panel.part == "" and not based_on:
                return None
            reason = concept(UNKNOWN)
    if reason is not None and components:
        components.insert(0, {"code": scene.frame.say.concept(plan.panel.bare), "dataAbsentReason": reason})
        reason = None
    told = plan.panel.note and isinstance(part, Model) and not isinstance(part, NotAssessed | NotDone)
    note = getattr(part, plan.panel.note) if told else None
    name = scene.name(role)
    made = {
        "resourceType": "Observation",
        "identifier": scene.frame.names.identifier(name),
        "basedOn": [order(scene)] if based_on else None,
        "partOf": scene.part_of,
        "status": "final",
        "category": plan.category,
        "code": plan.code,
        **(scene.about_port if plan.about_port else scene.about_patient),
        **value,
        "dataAbsentReason": reason,
        "note": None if note is None else [{"text": note}],
        "component": components,
    }
    return name, filled(made)


def order(scene: Scene) -> Json:
    """Return the order or protocol that an event rests on, by its number alone."""
    event = scene.event
    assert isinstance(event, ev.CareEvent)
    assert event.order is not None
    identifier = {"system": scene.frame.config.systems.order, "value": event.order}
    return {"type": "ServiceRequest", "identifier": identifier}
