"""The extensions of our own, as StructureDefinitions that a server or validator can load.

Each stands for something that R4 has no element for; `lda-notes bundle --definitions` prints them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from lda_notes.fhir.build.frame import SEPTUM
from lda_notes.fhir.build.known import PATIENT_AND_STAY
from lda_notes.fhir.build.papers import CORRECTION, ENTRY_SEAL, TIME_NOT_CHARTED
from lda_notes.fhir.config import Config
from lda_notes.fhir.elements import Json


@dataclass(frozen=True, slots=True)
class Part:
    """A part of an extension: its type, what it contains, and how often it occurs."""

    name: str
    kind: str
    says: str
    least: int = 0
    most: str = "1"


@dataclass(frozen=True, slots=True)
class Own:
    """One extension: where it stands, what it contains and why no element of R4 does.

    ``value`` is the type of its value, empty for one that has ``parts``.
    """

    name: str
    on: tuple[str, ...]
    title: str
    says: str
    value: str = ""
    parts: tuple[Part, ...] = ()


OWN: Final[tuple[Own, ...]] = (
    Own(
        PATIENT_AND_STAY,
        ("List",),
        "What the record says of patient and stay",
        "What the record says about patient and stay that no resource of the bundle carries. Patient, Encounter and "
        "Organization belong to the facility and are referred to, not sent; if the context is sent as well, this "
        "contains only the time zone, for which Encounter has no element.",
        parts=(
            Part("time-zone", "string", "IANA time zone of the facility.", 1),
            Part("identifier", "Identifier", "A record number of the patient.", 0, "*"),
            Part("name", "HumanName", "The patient's name."),
            Part("birth-date", "date", "The patient's birth date."),
            Part("facility", "string", "The facility."),
            Part("unit", "string", "The unit at the beginning of the stay."),
            Part("room", "string", "The room at the beginning of the stay."),
            Part("setting", "string", "The kind of place that the first unit is."),
            Part("admitted-at", "dateTime", "When the stay began."),
        ),
    ),
    Own(
        SEPTUM,
        (
            *("Device", "DeviceUseStatement", "Procedure", "ServiceRequest", "Task", "Flag"),
            *("Observation", "MedicationAdministration"),
        ),
        "Septum of the port",
        "The septum that the resource is about: a port may have two, each with its own needle, dates and holds. "
        "Observation and MedicationAdministration name it only for a port with two.",
        value="string",
    ),
    Own(
        CORRECTION,
        ("Observation", "Device"),
        "What a correction states and replaces",
        "What an addendum or amendment states, and what was first charted in its place; on the port, what was first "
        "recorded about it. Resources carry the current values; the values that they replaced are only in a "
        "server's history, which a search does not return.",
        parts=(
            Part("stated", "string", "The stated facts by key, as JSON."),
            Part("before", "string", "Pairs of a path of keys and the first value there (null for none), as JSON."),
        ),
    ),
    Own(
        ENTRY_SEAL,
        ("Provenance",),
        "Digest of the entry in the record",
        "The SHA-256 digest in the seal of the entry, used to compare the record with what was sent: an entry that "
        "has since been changed or removed has a different digest or none. It is not a signature; "
        "Provenance.signature would claim that someone signed this resource.",
        value="string",
    ),
    Own(
        TIME_NOT_CHARTED,
        ("Provenance.recorded",),
        "Time of entry was not recorded",
        "True when the record does not say when the entry was made, so that the time of the event is used in its "
        "place: Provenance.recorded must have a value.",
        value="boolean",
    ),
)
"""Every extension of ours."""


_DEFINED: Final = {
    "Extension": "One of our own extensions.",
    "Extension.extension": "A part of the extension.",
    "Extension.url": "What the extension means.",
    "Extension.value[x]": "What the extension contains.",
    "Extension.extension.url": "What the part means.",
    "Extension.extension.value[x]": "What the part contains.",
}


def _element(path: str, low: int, high: str, base: str, base_high: str, **says: object) -> Json:
    name = says.pop("id", path)
    made: Json = {"id": name, "path": path}
    says.setdefault("definition", _DEFINED[path])
    made.update({key: value for key, value in says.items() if key in ("sliceName", "slicing", "short", "definition")})
    made |= {"min": low, "max": high, "base": {"path": base, "min": 0 if base != "Extension.url" else 1}}
    made["base"]["max"] = base_high
    made.update({key: value for key, value in says.items() if key not in made})
    return made


_BY_URL: Final = {
    "discriminator": [{"type": "value", "path": "url"}],
    "description": "Extensions are always sliced by (at least) url",
    "rules": "open",
}
_URI_TYPE: Final = [
    {
        "extension": [
            {"url": "http://hl7.org/fhir/StructureDefinition/structuredefinition-fhir-type", "valueUrl": "uri"}
        ],
        "code": "http://hl7.org/fhirpath/System.String",
    }
]


def _elements(own: Own, url: str) -> list[Json]:
    top, below = "Extension", "Extension.extension"
    least = sum(part.least for part in own.parts)
    most = "*" if any(part.most == "*" for part in own.parts) else str(len(own.parts))
    made = [
        _element(top, 0, "*", top, "*", short=own.title, definition=own.says),
        _element(below, least, most, below, "*", slicing=_BY_URL) | {"type": [{"code": "Extension"}]},
    ]
    for part in own.parts:
        slice_id = f"{below}:{part.name}"
        said = {"sliceName": part.name, "short": part.says, "definition": part.says}
        made += [
            _element(below, part.least, part.most, below, "*", id=slice_id, **said) | {"type": [{"code": "Extension"}]},
            _element(f"{below}.url", 1, "1", "Extension.url", "1", id=f"{slice_id}.url")
            | {"type": _URI_TYPE, "fixedUri": part.name},
            _element(f"{below}.value[x]", 1, "1", "Extension.value[x]", "1", id=f"{slice_id}.value[x]")
            | {"type": [{"code": part.kind}]},
        ]
    made.append(_element("Extension.url", 1, "1", "Extension.url", "1") | {"type": _URI_TYPE, "fixedUri": url})
    low, high = (1, "1") if own.value else (0, "0")
    value = _element("Extension.value[x]", low, high, "Extension.value[x]", "1")
    made.append(value | {"type": [{"code": own.value or "string"}]})
    return made


def definition(own: Own, config: Config) -> Json:
    """One extension as a StructureDefinition under the configured base address."""
    url = f"{config.extensions}/{own.name}"
    elements = _elements(own, url)
    return {
        "resourceType": "StructureDefinition",
        "id": own.name,
        "url": url,
        "version": "1.0.0",
        "name": "".join(word.capitalize() for word in own.name.split("-")),
        "title": own.title,
        "status": "active",
        "date": "2026-11-01",
        "description": own.says,
        "fhirVersion": "4.0.1",
        "kind": "complex-type",
        "abstract": False,
        "context": [{"type": "element", "expression": one} for one in own.on],
        "type": "Extension",
        "baseDefinition": "http://hl7.org/fhir/StructureDefinition/Extension",
        "derivation": "constraint",
        "snapshot": {"element": elements},
        "differential": {"element": [{key: one[key] for key in one if key != "base"} for one in elements]},
    }


def definitions(config: Config) -> Json:
    """Return every extension of ours, as a collection."""
    entries = [{"fullUrl": f"{config.extensions}/{own.name}", "resource": definition(own, config)} for own in OWN]
    return {"resourceType": "Bundle", "type": "collection", "entry": entries}
