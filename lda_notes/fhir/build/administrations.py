"""Medicines through the line or under the skin as MedicationAdministrations, and anesthesia recorded as none.

R4 keeps lot and expiry of a drug in Medication, a resource of its own that we do not send: they go out as notes,
one fact each, under the labels of `LABELS`. A dose is sent only in the unit that the drug is dosed in; an amount
that is not a dose of it is a note as well.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from decimal import Decimal
from types import MappingProxyType
from typing import Any, Final

from lda_notes.fhir.build.scene import Made, Scene
from lda_notes.fhir.elements import Json, absent, concept, filled, moment, period, quantity, written
from lda_notes.knowledge.policy import number as plain
from lda_notes.record import events as ev
from lda_notes.record.parts import Anesthetic, Flush, Lock, NotAssessed, NotDone

FLUSH: Final = "reason: flush"
LOCK: Final = "reason: lock"
ANESTHESIA: Final = "reason: anesthesia"
CLEARING: Final = "reason: clearing"
"""Why something was given (``reasonCode``): this distinguishes a flush with saline from a lock with it."""

NO_FLUSH: Final = "no flush listed"
"""Why there was none, where the record contains an empty list."""

HEPARIN_LOCK: Final = "Heparin lock flush"
STRENGTH: Final = " units/mL"

LABELS: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        "lot": ("Lot", ""),
        "expires": ("Expires", ""),
        "technique": ("Technique", ""),
        "syringe_ml": ("Syringe barrel", " mL"),
        "preservative": ("Preservative", ""),
        "volume_ml": ("Volume", " mL"),
        "units_per_ml": ("Strength", STRENGTH),
        "area_cm2": ("Area", " square cm"),
        "amount_g": ("Amount", " g"),
        "removed_at": ("Taken off at", ""),
        "sterile": ("Labeled sterile", ""),
        "dose_mg": ("Dose", " mg"),
        "dose_units": ("Dose", " international units"),
        "lumen_ml": ("Lumen volume", " mL"),
        "reconstituted_at": ("Mixed at", ""),
        "drug_lot": ("Lot", ""),
    }
)
"""The label and the unit of each fact that is sent as a note, by its field."""


def note(field: str, value: object) -> Json:
    """One fact as a note, such as ``Lot: LOT-H31``."""
    label, unit = LABELS[field]
    match value:
        case bool():
            said = "yes" if value else "no"
        case Decimal():
            said = written(value)
        case datetime():
            said = moment(value)
        case _:
            said = str(value)
    return {"text": f"{label}: {said}{unit}"}


def _notes(part: Any, *fields: str) -> list[Json]:
    return [note(field, value) for field in fields if (value := getattr(part, field)) is not None]


def administration(
    scene: Scene,
    name: str,
    status: str,
    drug: Json,
    why: str,
    effective: Json,
    **says: Any,
) -> Json:
    """Return a MedicationAdministration, through the port unless ``aside`` is said.

    ``says``: reason (not done), dosage, notes, supporting; empty ones are left out.
    """
    frame = scene.frame
    part_of = scene.own("Procedure", scene.procedure) if scene.procedure is not None else says["part_of"]
    aside = says.get("aside", False)
    who = frame.person(scene.event.by)
    return filled(
        {
            "resourceType": "MedicationAdministration",
            "extension": [] if aside else scene.septum,
            "identifier": frame.names.identifier(name),
            "partOf": [part_of],
            "status": status,
            "statusReason": [{"text": says["reason"]}] if says.get("reason") is not None else [],
            "medicationCodeableConcept": drug,
            "subject": frame.subject,
            "context": frame.encounter,
            "supportingInformation": says.get("supporting"),
            **effective,
            "performer": [{"actor": who if who is not None else {"display": "not recorded"}}],
            "reasonCode": [frame.say.concept(why)],
            "device": [] if aside else [frame.port],
            "note": says.get("notes"),
            "dosage": says.get("dosage"),
        }
    )


def administrations(scene: Scene) -> Iterator[Made]:
    """Yield every MedicationAdministration of an event but the thrombolytic, whose dwell later events end."""
    event = scene.event
    if isinstance(event, ev.Access):
        yield from _anesthesia(scene, event)
    if isinstance(event, ev.Flushed):
        yield from _flushes(scene, event)
        if event.lock is not None:
            yield _lock(scene, event.lock)


def _part_of(scene: Scene) -> Json | None:
    """Return the Procedure of the treatment that a patency check looks at: a check is none itself."""
    if isinstance(scene.event, ev.PatencyCheck):
        return scene.frame.elsewhere("Procedure", scene.frame.event_name(scene.event.treatment, "procedure"))
    return None


# -- flushes and locks --


def _flushes(scene: Scene, event: ev.Flushed) -> Iterator[Made]:
    if event.flushes is None:
        return
    if isinstance(event.flushes, NotDone) or not event.flushes:
        name = scene.name("flush")
        reason = event.flushes.not_done if isinstance(event.flushes, NotDone) else NO_FLUSH
        at = {"effectiveDateTime": scene.at}
        resource = administration(
            scene,
            name,
            "not-done",
            scene.frame.say.concept("flush solution"),
            FLUSH,
            at,
            reason=reason,
            part_of=_part_of(scene),
        )
        yield Made(name, resource, ("flushes",))
        return
    for index, flush in enumerate(event.flushes):
        yield from _flush(scene, index, flush)


def _flush(scene: Scene, index: int, flush: Flush) -> Iterator[Made]:
    name = scene.name(f"flush-{index + 1}")
    dosage: Json | None = None
    notes = _notes(flush, "syringe_ml", "lot", "expires")
    if flush.volume_ml is not None:
        words = [f"{plain(flush.volume_ml)} mL", flush.technique]
        dosage = {"text": ", ".join(word for word in words if word), "route": scene.frame.say.concept("flush route")}
        if flush.technique is not None:
            dosage["method"] = scene.frame.say.word(flush.technique)
        dosage["dose"] = quantity(flush.volume_ml, "mL")
    elif flush.technique is not None:
        notes.insert(0, note("technique", flush.technique))
    at = {"effectiveDateTime": scene.at}
    resource = administration(
        scene,
        name,
        "completed",
        _drug(scene, flush.solution, flush.solution),
        FLUSH,
        at,
        dosage=dosage,
        notes=notes,
        part_of=_part_of(scene),
    )
    yield Made(name, resource, ("flushes", index))
    if flush.resistance is not None:
        yield _resistance(scene, index, flush.resistance, name)


def _resistance(scene: Scene, index: int, felt: str | NotAssessed, flush: str) -> Made:
    name = scene.name(f"resistance-{index + 1}")
    part_of = [scene.own("MedicationAdministration", flush)]
    return Made(name, _noticed(scene, name, "resistance", part_of, felt), ("flushes", index, "resistance"))


def _noticed(scene: Scene, name: str, key: str, part_of: list[Json] | None, told: str | NotAssessed) -> Json:
    """Return an Observation whose value is one word, or the reason why there is none."""
    frame = scene.frame
    return filled(
        {
            "resourceType": "Observation",
            "identifier": frame.names.identifier(name),
            "partOf": part_of,
            "status": "final",
            "category": [concept("exam")],
            "code": frame.say.concept(key),
            **scene.about_port,
            "dataAbsentReason": absent(told.not_assessed) if isinstance(told, NotAssessed) else None,
            "valueCodeableConcept": None if isinstance(told, NotAssessed) else frame.say.word(told),
        }
    )


def _lock(scene: Scene, lock: Lock | NotDone) -> Made:
    name = scene.name("lock")
    at = {"effectiveDateTime": scene.at}
    if isinstance(lock, NotDone):
        resource = administration(
            scene,
            name,
            "not-done",
            scene.frame.say.concept("lock solution"),
            LOCK,
            at,
            reason=lock.not_done,
            part_of=_part_of(scene),
        )
        return Made(name, resource, ("lock",))
    called, dosage, notes = _locked(scene, lock)
    resource = administration(
        scene,
        name,
        "completed",
        _drug(scene, lock.drug, called),
        LOCK,
        at,
        dosage=dosage,
        notes=notes,
        part_of=_part_of(scene),
    )
    return Made(name, resource, ("lock",))


def _locked(scene: Scene, lock: Lock) -> tuple[str, Json | None, list[Json]]:
    """Return drug, dosage and notes of a lock: heparin is dosed in units, everything else by volume."""
    notes = _notes(lock, "preservative", "lot", "expires")
    strength, volume = lock.units_per_ml, lock.volume_ml
    has_heparin = "heparin" in lock.drug
    drug: str = lock.drug
    if lock.drug == "heparin":
        drug = HEPARIN_LOCK if strength is None else f"{HEPARIN_LOCK} {written(strength)}{STRENGTH}"
    elif strength is not None:
        notes.insert(0, note("units_per_ml", strength))
    if volume is None:
        return drug, None, notes
    if not has_heparin:
        return drug, _flush_dosage(scene, f"{plain(volume)} mL", quantity(volume, "mL")), notes
    if not strength:
        notes.insert(0, note("volume_ml", volume))
        return drug, None, notes
    total = strength * volume
    words = f"{plain(volume)} mL of {plain(strength)} units/mL, {plain(total)} units in all"
    return drug, _flush_dosage(scene, words, quantity(total, "[USP'U]")), notes


def _flush_dosage(scene: Scene, words: str, dose: Json) -> Json:
    return {"text": words, "route": scene.frame.say.concept("flush route"), "dose": dose}


def _drug(scene: Scene, word: str, called: str) -> Json:
    return scene.frame.say.drug(word, called, scene.frame.config.drugs)


# -- anesthesia --


def _anesthesia(scene: Scene, event: ev.Access) -> Iterator[Made]:
    told = event.anesthetic
    if told is None:
        return
    if not isinstance(told, Anesthetic):
        yield _no_anesthesia(scene, told)
        return
    name = scene.name("anesthetic")
    notes = _notes(told, "area_cm2", "sterile", "lot", "expires")
    dosage: Json | None = None
    topical = not told.agent.startswith("intradermal")
    dose = told.volume_ml if told.amount_g is None else told.amount_g
    if dose is not None:
        unit = "mL" if told.amount_g is None else "g"
        dosage = {"text": f"{plain(dose)} {unit}"}
        dosage["route"] = scene.frame.say.concept("topical route" if topical else "intradermal route")
        dosage["dose"] = quantity(dose, unit)
        if told.amount_g is not None and told.volume_ml is not None:
            notes.append(note("volume_ml", told.volume_ml))
    effective, more = _worn(scene, told)
    resource = administration(
        scene,
        name,
        "completed",
        _drug(scene, told.agent, told.agent),
        ANESTHESIA,
        effective,
        dosage=dosage,
        notes=notes + more,
        aside=True,
    )
    yield Made(name, resource, ("anesthetic",))


def _worn(scene: Scene, told: Anesthetic) -> tuple[Json, list[Json]]:
    """Return when it was on the skin. Without any time on record, the moment of the access stands in."""
    on, off = told.applied_at, told.removed_at
    if on is None and off is None:
        return {"effectiveDateTime": scene.at}, []
    if on is not None and off is not None and off < on:
        return {"effectivePeriod": period(on, None)}, [note("removed_at", off)]
    return {"effectivePeriod": period(on, off)}, []


def _no_anesthesia(scene: Scene, told: str | NotAssessed) -> Made:
    name = scene.name("local-anesthesia")
    return Made(name, _noticed(scene, name, "local anesthesia", scene.part_of, told), ("anesthetic",))


# -- thrombolytic --


def thrombolytic_name(scene: Scene) -> str:
    """Return the identity of the dose of a patency treatment."""
    return scene.name("thrombolytic")


def thrombolytic(scene: Scene, event: ev.PatencyTreatment, ended: datetime | None) -> Json:
    """Return the thrombolytic: in progress while it dwells, completed with the dwell's end."""
    notes = _notes(event, "volume_ml", "lumen_ml", "reconstituted_at", "drug_lot")
    amounts: dict[str, tuple[Decimal | None, str, str]] = {
        "alteplase": (event.dose_mg, "mg", "mg"),
        "urokinase": (event.dose_units, "[IU]", "international units"),
    }
    dose, unit, written = amounts[event.drug]
    dosage: Json | None = None
    if dose is not None:
        words = f"{plain(dose)} {written}" + (f" in {plain(event.volume_ml)} mL" if event.volume_ml else "")
        dosage = {"text": words, "route": scene.frame.say.concept("intravenous route"), "dose": quantity(dose, unit)}
    other = "dose_units" if event.drug == "alteplase" else "dose_mg"
    notes += _notes(event, other)
    supporting = [{"identifier": scene.frame.entry(event.second_dose_of)}] if event.second_dose_of else []
    return administration(
        scene,
        thrombolytic_name(scene),
        "completed" if ended else "in-progress",
        _drug(scene, event.drug, event.drug.capitalize()),
        CLEARING,
        {"effectivePeriod": period(event.at, ended)},
        dosage=dosage,
        notes=notes,
        supporting=supporting,
    )
