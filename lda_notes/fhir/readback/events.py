"""Events from the resources that carry them, each found by its identity."""

from __future__ import annotations

from collections.abc import Iterator
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final

from lda_notes.fhir.build.administrations import FLUSH, HEPARIN_LOCK, LABELS, NO_FLUSH, STRENGTH
from lda_notes.fhir.build.devices import INSERTION_RECORDED
from lda_notes.fhir.build.naming import Names, event_role
from lda_notes.fhir.elements import Json, text_of
from lda_notes.fhir.identity import IN_ERROR
from lda_notes.fhir.kinds import ACTS, PANELS_OF
from lda_notes.fhir.panels import Panel
from lda_notes.fhir.readback.parts import (
    Remarks,
    decimal,
    labelled,
    measured,
    put,
    read_needle,
    read_panel,
    read_supply,
)
from lda_notes.fhir.readback.store import Store
from lda_notes.record import events as ev

_HAPPENED: Final = {
    "Observation": frozenset({"final", "amended", "corrected"}),
    "MedicationAdministration": frozenset({"completed"}),
    "DeviceUseStatement": frozenset({"active", "completed"}),
    "Device": frozenset({"active", "inactive"}),
}
"""The statuses of a resource that says that something was so; a Procedure is held against its own facts."""

_GIVEN: Final = {
    "flush": frozenset({"not-done"}),
    "lock": frozenset({"completed", "not-done"}),
    "thrombolytic": frozenset({"completed", "in-progress"}),
    "given": frozenset({"completed", "in-progress", "unknown"}),
}
"""The statuses of a MedicationAdministration, by its part of the event, where they are others."""


@dataclass(slots=True)
class Reader:
    """Reads one event.

    ``withdrawn``: the event was retracted, so that its resources are entered in error; ``only``: those that the
    retraction names, since an amendment before it may have taken back others. ``used`` gathers the identities that
    were read, ``at`` is when the event happened as its Procedure or an Observation says it.
    """

    store: Store
    names: Names
    port: str
    episode: str
    event: str
    remarks: Remarks
    withdrawn: bool = False
    only: AbstractSet[str] | None = None
    used: set[str] = field(default_factory=set)
    at: str | None = None

    def part(self, role: str) -> Json | None:
        """Return the resource of a part of the event, unless it was taken back."""
        name = self.names.of(event_role(self.port, self.episode, self.event, role))
        resource = self.store.own(name)
        if resource is None:
            return None
        self.used.add(name)
        if self.withdrawn:
            return resource if self.only is None or name in self.only else None
        status = resource.get("status")
        if status == IN_ERROR:
            return None
        kind = str(resource.get("resourceType"))
        usual = _HAPPENED.get(kind, frozenset({status}))
        expected = _GIVEN.get(role, usual) if kind == "MedicationAdministration" else usual
        if status not in expected:
            self.remarks.add(
                resource, f"its status is {status}, which no entry charts there; it was not read", self.event
            )
            return None
        return resource

    def parts(self, role: str) -> Iterator[tuple[int, Json]]:
        """Yield the resources of a numbered part, in order."""
        number = 1
        while self.names_a_resource(f"{role}-{number}"):
            resource = self.part(f"{role}-{number}")
            if resource is not None:
                yield number, resource
            number += 1

    def names_a_resource(self, role: str) -> bool:
        """Return whether a part of the event is in the store at all."""
        return self.store.own(self.names.of(event_role(self.port, self.episode, self.event, role))) is not None


def read_facts(reader: Reader, kind: str) -> Json:
    """Return what happened in an event of a kind, without who, when and identifier."""
    facts: Json = {}
    for panel in PANELS_OF[kind]:
        _panel(reader, panel, kind, facts)
    fields = ev.KINDS[kind].model_fields
    if kind in ACTS:
        _procedure(reader, kind, facts)
    if "flushes" in fields:
        _flushes(reader, facts)
        _lock(reader, facts)
    if "supplies" in fields:
        supplies = [read_supply(resource) for _, resource in reader.parts("supply")]
        if supplies:
            facts["supplies"] = supplies
    if "anesthetic" in fields:
        _anesthetic(reader, facts)
    if kind == "patency treatment":
        _thrombolytic(reader, facts)
    if kind == "line use":
        reader.part("given")  # says what Procedure and Observation say of it
    if "needle" in fields:
        _needle(reader, kind, facts)
    _held_against_status(reader, kind, facts)
    return facts


def _held_against_status(reader: Reader, kind: str, facts: Json) -> None:
    """Name a Procedure whose status says the opposite of its facts; what was retracted has the status of that."""
    resource = reader.part("procedure") if kind in ACTS and not reader.withdrawn else None
    if resource is None:
        return
    undone = [_is_undone(facts.get(name)) for name in _ALL_OF_IT.get(kind, ())]
    wanted = {"not-done", "stopped"} if undone and all(undone) else {"completed"}
    if resource.get("status") not in wanted:
        what = f"its status is {resource.get('status')}, and its entry says {' or '.join(sorted(wanted))}"
        reader.remarks.add(resource, what, reader.event)


_ALL_OF_IT: Final = {"flush": ("flushes", "lock"), "dressing change": ("dressing",)}
"""Kinds that are not done when these parts of them are not."""


def _is_undone(part: Any) -> bool:
    return isinstance(part, dict) and "not_done" in part


def _panel(reader: Reader, panel: Panel, kind: str, facts: Json) -> None:
    owner: Any = ev.KINDS[kind]
    if panel.many:
        items = []
        for _, one in reader.parts(panel.role):
            reader.at = reader.at or one.get("effectiveDateTime")
            items.append(read_panel(panel, owner, one, reader.remarks))
        if items:
            facts[panel.part] = items
        return
    resource = reader.part(panel.role)
    if resource is None:
        return
    read = read_panel(panel, owner, resource, reader.remarks)
    if panel.part:
        facts[panel.part] = read
    else:
        facts.update(read)
    reader.at = reader.at or resource.get("effectiveDateTime")
    if panel.concept == "care checks":
        _order(resource, facts)


def _order(resource: Json, facts: Json) -> None:
    for reference in resource.get("basedOn", ()):
        number = reference.get("identifier", {}).get("value")
        if number is not None:
            facts["order"] = number


def _procedure(reader: Reader, kind: str, facts: Json) -> None:
    resource = reader.part("procedure")
    if resource is None:
        return
    reader.at = resource.get("performedPeriod", {}).get("end") or reader.at
    _order(resource, facts)
    for reason in resource.get("reasonCode", ()):
        if "coding" not in reason and "reason" in ev.KINDS[kind].model_fields:
            facts["reason"] = reason.get("text")


# -- what went through the line --


def _noted(resource: Json, *fields: str) -> Json:
    """Facts that are sent as notes under labels."""
    made: Json = {}
    for name in fields:
        text = labelled(resource.get("note", ()), LABELS[name])
        if text is not None:
            made[name] = decimal(text) if LABELS[name][1] else text
    return made


def _reason(resource: Json) -> str | None:
    reasons = resource.get("statusReason") or [{}]
    text: str | None = reasons[0].get("text")
    return text


def _drug(resource: Json) -> str:
    return str(resource.get("medicationCodeableConcept", {}).get("text"))


def _flushes(reader: Reader, facts: Json) -> None:
    none = reader.part("flush")
    if none is not None and none.get("reasonCode", [{}])[0].get("text") == text_of(FLUSH):
        reason = _reason(none)
        facts["flushes"] = [] if reason == NO_FLUSH else {"not_done": reason}
        return
    flushes = [_flush(reader, number, resource) for number, resource in reader.parts("flush")]
    if flushes:
        facts["flushes"] = flushes


def _flush(reader: Reader, number: int, resource: Json) -> Json:
    made: Json = {"solution": _drug(resource)} | _noted(resource, "syringe_ml", "technique", "lot", "expires")
    dosage = resource.get("dosage", {})
    if "dose" in dosage:
        made["volume_ml"] = measured(dosage["dose"], "mL", resource, reader.remarks)
    if "method" in dosage:
        made["technique"] = dosage["method"].get("text")
    felt = reader.part(f"resistance-{number}")
    if felt is not None:
        absent = felt.get("dataAbsentReason")
        said = felt.get("valueCodeableConcept", {}).get("text")
        made["resistance"] = {"not_assessed": absent.get("text")} if absent is not None else said
    return made


def _lock(reader: Reader, facts: Json) -> None:
    resource = reader.part("lock")
    if resource is None:
        return
    if resource.get("status") == "not-done" or _reason(resource) is not None:
        facts["lock"] = {"not_done": _reason(resource)}
        return
    made = _noted(resource, "preservative", "units_per_ml", "volume_ml", "lot", "expires")
    drug = _drug(resource)
    if drug.startswith(HEPARIN_LOCK):
        made["drug"] = "heparin"
        strength = drug.removeprefix(HEPARIN_LOCK).removesuffix(STRENGTH).strip()
        if strength:
            made["units_per_ml"] = decimal(strength)
    else:
        made["drug"] = drug
    dose = resource.get("dosage", {}).get("dose")
    if dose is not None and "heparin" in drug.lower():
        total = measured(dose, "[USP'U]", resource, reader.remarks)
        known = made.get("units_per_ml")
        if total is not None and isinstance(known, Decimal) and known:
            made["volume_ml"] = Decimal(str(total)) / known
    elif dose is not None:
        made["volume_ml"] = measured(dose, "mL", resource, reader.remarks)
    facts["lock"] = made


def _anesthetic(reader: Reader, facts: Json) -> None:
    none = reader.part("local-anesthesia")
    if none is not None:
        absent = none.get("dataAbsentReason")
        said = none.get("valueCodeableConcept", {}).get("text")
        facts["anesthetic"] = {"not_assessed": absent.get("text")} if absent is not None else said
        return
    resource = reader.part("anesthetic")
    if resource is None:
        return
    made: Json = {"agent": _drug(resource)} | _noted(resource, "area_cm2", "volume_ml", "lot", "expires", "removed_at")
    sterile = _noted(resource, "sterile").get("sterile")
    if sterile is not None:
        made["sterile"] = sterile == "yes"
    dose = resource.get("dosage", {}).get("dose")
    if dose is not None:
        in_grams = dose.get("code") == "g"
        made["amount_g" if in_grams else "volume_ml"] = measured(
            dose, "g" if in_grams else "mL", resource, reader.remarks
        )
    worn = resource.get("effectivePeriod", {})
    if "start" in worn:
        made["applied_at"] = worn["start"]
    if "end" in worn:
        made["removed_at"] = worn["end"]
    facts["anesthetic"] = made


def _thrombolytic(reader: Reader, facts: Json) -> None:
    resource = reader.part("thrombolytic")
    if resource is None:
        return
    drug = _drug(resource).lower()
    facts["drug"] = drug
    facts.update(_noted(resource, "dose_mg", "dose_units", "volume_ml", "lumen_ml", "reconstituted_at", "drug_lot"))
    dose = resource.get("dosage", {}).get("dose")
    if dose is not None:
        unit, name = ("mg", "dose_mg") if drug == "alteplase" else ("[IU]", "dose_units")
        facts[name] = measured(dose, unit, resource, reader.remarks)
    for reference in resource.get("supportingInformation", ()):
        first = reference.get("identifier", {}).get("value", "")
        put(facts, ("second_dose_of",), first.rpartition("/")[2])


def _needle(reader: Reader, kind: str, facts: Json) -> None:
    device = reader.part("needle")
    if device is not None:
        needle = read_needle(device, reader.remarks)
        if needle is not None:
            facts["needle"] = needle
    use = reader.part("needle/use")
    if use is None or kind != "arrival accessed":
        return
    if "start" in use.get("timingPeriod", {}):
        facts["inserted_at"] = use["timingPeriod"]["start"]
    for note in use.get("note", ()):
        if note.get("text", "").startswith(INSERTION_RECORDED):
            facts["inserted_at"] = note["text"].removeprefix(INSERTION_RECORDED)
