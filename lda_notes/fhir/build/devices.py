"""Devices and their use: the port, the needles in it, supplies, and how long a needle stayed."""

from __future__ import annotations

import base64
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final

from lda_notes.fhir.build.frame import Frame
from lda_notes.fhir.build.papers import replaced
from lda_notes.fhir.build.scene import Made, Scene
from lda_notes.fhir.coder import Coder
from lda_notes.fhir.codes import GS1_DEVICE_IDENTIFIER
from lda_notes.fhir.elements import Json, absent, day, filled, moment, period, plain, quantity, written
from lda_notes.knowledge.supplies import DeviceIdentifier, parse
from lda_notes.record import events as ev
from lda_notes.record.episode import Port
from lda_notes.record.parts import Needle, NotAssessed, Supply

NEEDLE_NOT_RECORDED: Final = "Needle: not recorded"
NEEDLE_NOT_ASSESSED: Final = "Needle: not assessed, "
INSERTION_UNKNOWN: Final = "Time of insertion is not known"
INSERTION_RECORDED: Final = "Time of insertion as recorded, after the removal: "
PRINTED_IDENTIFIER: Final = "Device identifier: "
_FIRST_CONTROL: Final = " "


def _said(say: Coder, key: str, value: object, unit: str = "") -> Json:
    """Return a property: a word, a number in a unit, or the reason why there is neither."""
    made: Json = {"type": say.concept(key)}
    if isinstance(value, NotAssessed):
        return made | {"valueCode": [absent(value.not_assessed)]}
    if isinstance(value, Decimal):
        return made | {"valueQuantity": [quantity(value, unit)]}
    text = {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else value
    return made | {"valueCode": [say.word(str(text))]}


def carrier(frame: Frame, udi: str | None, today: date) -> tuple[Json, list[str]]:
    """Return the elements of a device identifier, and notes where no element may carry it.

    Only GS1 identifiers that can be read are taken apart. US Core wants the device identifier in every carrier,
    so there an identifier that cannot be read becomes a note.
    """
    if udi is None:
        return {}, []
    read = parse(udi, today)
    known = read if isinstance(read, DeviceIdentifier) and read.issuer == "GS1" else None
    if known is None and frame.claims_us_core and not _has_controls(udi):
        return {}, [PRINTED_IDENTIFIER + udi]
    made: Json = {}
    if known is not None:
        made["deviceIdentifier"] = known.device
        made["issuer"] = GS1_DEVICE_IDENTIFIER
    if _has_controls(udi):
        made["carrierAIDC"] = base64.b64encode(udi.encode()).decode()
        if isinstance(read, DeviceIdentifier) and not _has_controls(read.carrier):
            made["carrierHRF"] = read.carrier
    else:
        made["carrierHRF"] = udi
    made["entryType"] = "unknown"
    return {"udiCarrier": [made]}, []


def _has_controls(text: str) -> bool:
    return any(character < _FIRST_CONTROL for character in text)


def _device(frame: Frame, name: str, status: str, kind: Json, today: date, **says: Any) -> Json:
    """Return a Device. ``says``: extension, udi, lot, expires, called, properties, unit, notes; none where empty."""
    identified, notes = carrier(frame, says.get("udi"), today)
    expires, unit = says.get("expires"), says.get("unit")
    return filled(
        {
            "resourceType": "Device",
            "extension": says.get("extension"),
            "identifier": frame.names.identifier(name),
            **identified,
            "status": status,
            "expirationDate": expires and day(expires),
            "lotNumber": says.get("lot"),
            "deviceName": [{"name": text, "type": use} for text, use in says["called"]],
            "type": kind,
            "property": says.get("properties"),
            "patient": frame.subject,
            "location": None if unit is None else frame.unit(unit),
            "note": [{"text": note} for note in (*says.get("notes", ()), *notes)],
        }
    )


# -- port --


def _port_properties(say: Coder, port: Port) -> list[Json]:
    made = [_said(say, key, getattr(port, field)) for field, key in PORT_WORDS if getattr(port, field) is not None]
    made.append({"type": say.concept("septa"), "valueCode": [say.word(name) for name in port.septa]})
    if port.power is not None:
        made.append(_said(say, "power rated", port.power.rated))
        for field, key, unit in POWER_MEASURES:
            value = getattr(port.power, field)
            if value is not None:
                made.append(_said(say, key, value, unit))
    if port.catheter_volume_ml is not None:
        made.append(_said(say, "catheter volume", port.catheter_volume_ml, "mL"))
    if port.tip is not None:
        made += [_said(say, key, getattr(port.tip, field)) for field, key in TIP_WORDS if getattr(port.tip, field)]
    return made


PORT_WORDS: Final = (
    ("side", "side"),
    ("area", "area"),
    ("site_detail", "site detail"),
    ("touch", "touch"),
    ("valved", "valved"),
    ("implanted_on", "implanted on"),
)
"""Fields of a port that are properties in words, with their concepts."""

POWER_MEASURES: Final = (("max_flow_ml_per_s", "flow limit", "mL/s"), ("max_pressure_psi", "pressure limit", "[psi]"))
TIP_WORDS: Final = (("location", "tip"), ("method", "tip method"), ("on", "tip confirmed on"))


def port_device(frame: Frame, status: str, port: Port, unit: str | None) -> Json:
    """Return the port: ``active`` while it is in the body, ``inactive`` once it was taken out.

    ``port`` is what is known of it, ``unit`` where the patient is. What became known otherwise since the record began
    stands in an extension as it was first recorded.
    """
    first = frame.episode.port
    place = " ".join(word for word in (port.side, port.area) if word)
    called = [(f"Implanted port, {place}" if place else "Implanted port", "user-friendly-name"), (port.id, "other")]
    if port.model is not None:
        called.append((port.model, "model-name"))
    today = port.implanted_on or _first_day(frame)
    return _device(
        frame,
        frame.port_name,
        status,
        frame.say.concept("port"),
        today,
        extension=_first_recorded(frame, first, port) if port is not first else None,
        udi=port.udi,
        called=called,
        properties=_port_properties(frame.say, port),
        unit=unit,
    )


def _first_recorded(frame: Frame, first: Port, now: Port) -> list[Json]:
    old, new = plain(first), plain(now)
    changed = [[[key], old.get(key)] for key in {**old, **new} if old.get(key) != new.get(key)]
    return [replaced(frame, changed)] if changed else []


def _first_day(frame: Frame) -> date:
    """Return a day of the stay: it only decides the century of two-digit years in device identifiers."""
    admitted: datetime | None = frame.episode.stay.admitted_at
    moments = [event.at for event in frame.episode.events]
    first = admitted or (min(moments) if moments else None)
    return first.date() if first else date(2000, 1, 1)


# -- needle --


def needle_name(frame: Frame, event: str) -> str:
    """Return the identity of the needle that an event put in or found."""
    return frame.event_name(event, "needle")


def use_name(frame: Frame, event: str) -> str:
    """Return the identity of that needle's stay."""
    return frame.event_name(event, "needle/use")


NEEDLE_WORDS: Final = (("non_coring", "non-coring"), ("power_rated", "power rated"), ("latex", "label latex"))
NEEDLE_MEASURES: Final = (
    ("length_mm", "length", "mm"),
    ("set_volume_ml", "set volume", "mL"),
    ("connector_volume_ml", "connector volume", "mL"),
    ("rated_flow_ml_per_s", "flow limit", "mL/s"),
    ("rated_pressure_psi", "pressure limit", "[psi]"),
)
GAUGE: Final = " gauge"


def _needle_properties(say: Coder, needle: Needle) -> list[Json]:
    made: list[Json] = []
    if needle.gauge is not None:
        known = not isinstance(needle.gauge, NotAssessed)
        made.append(_said(say, "gauge", f"{needle.gauge}{GAUGE}" if known else needle.gauge))
    for field, key, unit in NEEDLE_MEASURES:
        value = getattr(needle, field)
        if value is not None:
            made.append(_said(say, key, value, unit))
    made += [
        _said(say, key, getattr(needle, field)) for field, key in NEEDLE_WORDS if getattr(needle, field) is not None
    ]
    return made


def _is_non_coring(needle: Needle | None) -> bool:
    """Return whether the needle was charted as non-coring: what nobody said is not said here."""
    return needle is not None and needle.non_coring is True


def _needle_called(needle: Needle | None) -> str:
    coring = needle is not None and needle.non_coring is False
    words = ["Non-coring needle" if _is_non_coring(needle) else "Needle, not non-coring" if coring else "Needle"]
    if needle is not None and isinstance(needle.gauge, int):
        words.append(f"{needle.gauge}{GAUGE}")
    if needle is not None and isinstance(needle.length_mm, Decimal):
        words.append(f"{written(needle.length_mm)} mm")
    return ", ".join(words)


def needle_device(frame: Frame, event: ev.Opening, septum: str, status: str, unit: str | None) -> Json:
    """Return the needle that an event put in or found, with what is known of it; ``unit`` is where the patient is."""
    told = event.needle if isinstance(event, ev.Access | ev.ArrivalAccessed) else None
    needle = told if isinstance(told, Needle) else None
    notes = []
    if isinstance(told, NotAssessed):
        notes.append(NEEDLE_NOT_ASSESSED + told.not_assessed)
    elif told is None:
        notes.append(NEEDLE_NOT_RECORDED)
    return _device(
        frame,
        needle_name(frame, event.id),
        status,
        frame.say.concept("needle" if _is_non_coring(needle) else "other needle"),
        event.at.date(),
        extension=frame.septum(septum),
        unit=unit,
        udi=needle.udi if needle else None,
        lot=needle.lot if needle else None,
        expires=needle.expires if needle else None,
        called=[(_needle_called(needle), "user-friendly-name")],
        properties=_needle_properties(frame.say, needle) if needle else [],
        notes=notes,
    )


def needle_use(
    frame: Frame,
    event: ev.Opening,
    septum: str,
    since: datetime | None,
    until: datetime | None,
    procedure: Json | None,
    status: str,
) -> Json:
    """Return how long a needle stayed. ``procedure`` refers to the access; a needle found in place has none of ours."""
    stayed = period(since, until)
    told = None
    if since is None:
        told = INSERTION_UNKNOWN
    elif "start" not in stayed:
        told = f"{INSERTION_RECORDED}{moment(since)}"
    return filled(
        {
            "resourceType": "DeviceUseStatement",
            "extension": frame.septum(septum),
            "identifier": frame.names.identifier(use_name(frame, event.id)),
            "status": status,
            "subject": frame.subject,
            "derivedFrom": procedure and [procedure],
            "timingPeriod": stayed,
            "recordedOn": event.charted_at and moment(event.charted_at),
            "source": frame.person(event.by),
            "device": frame.reference(needle_name(frame, event.id)),
            "bodySite": frame.site,
            "note": told and [{"text": told}],
        }
    )


# -- supplies --


def supply_devices(scene: Scene) -> list[Made]:
    """Further supplies that were used, each as a device of its own: used once, so none stays the patient's."""
    event = scene.event
    if not isinstance(event, ev.CareEvent):
        return []
    return [_supply(scene, index, supply) for index, supply in enumerate(event.supplies)]


def _supply(scene: Scene, index: int, supply: Supply) -> Made:
    name = scene.name(f"supply-{index + 1}")
    made = _device(
        scene.frame,
        name,
        "inactive",
        {"text": supply.name},
        scene.event.at.date(),
        udi=supply.udi,
        lot=supply.lot,
        expires=supply.expires,
        called=[(supply.name, "user-friendly-name")],
        properties=[_said(scene.frame.say, "label latex", supply.latex)] if supply.latex is not None else [],
    )
    return Made(name, made, ("supplies", index))
