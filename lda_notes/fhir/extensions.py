"""The extensions of our own, as StructureDefinitions that a server or validator can load.

Each stands for something that R4 has no element for; `lda-notes bundle --definitions` prints them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from lda_notes.fhir.build.papers import CORRECTION, ENTRY_SEAL, RECORD_CONTEXT, TIME_NOT_CHARTED
from lda_notes.fhir.config import Config
from lda_notes.fhir.elements import Json


@dataclass(frozen=True, slots=True)
class Own:
    """One extension: where it stands, what it holds and why no element of R4 does.

    ``value`` is the type of its value, empty for one that has parts; ``parts`` are names of string parts, each with
    what it holds and whether it must be there.
    """

    name: str
    on: str
    title: str
    says: str
    value: str = ""
    parts: tuple[tuple[str, str, bool], ...] = ()


OWN: Final[tuple[Own, ...]] = (
    Own(
        RECORD_CONTEXT,
        "Provenance",
        "What the record says of patient and stay",
        "What the record says of patient and stay that no resource of the bundle carries, as JSON. Patient, Encounter "
        "and Organization belong to the facility and are referred to, not sent, so what the nurse's record says of "
        "them has no other place; with the context sent as well, this holds only allergies and history (the facility's "
        "own list has them, with the status that this one lacks), weight (whose time is not recorded) and time zone.",
        value="string",
    ),
    Own(
        CORRECTION,
        "Provenance",
        "What a correction states and replaces",
        "What an addendum or amendment states, and what was first charted in its place. Resources carry the corrected "
        "values; the ones they replaced stand in a server's history alone, which a search does not return.",
        parts=(
            ("stated", "The stated facts by key, as JSON.", True),
            ("before", "Pairs of a path of keys and the value first charted there (null for none), as JSON.", False),
        ),
    ),
    Own(
        ENTRY_SEAL,
        "Provenance",
        "Digest of the entry in the record",
        "The SHA-256 digest in the seal of the entry, with which the record can be compared with what was sent: an "
        "entry that was changed or removed since has another digest or none. It is no signature; "
        "Provenance.signature would claim that someone signed this resource.",
        value="string",
    ),
    Own(
        TIME_NOT_CHARTED,
        "Provenance.recorded",
        "Time of entry was not recorded",
        "True when the record does not say when the entry was made, so that the time of the event stands in for it: "
        "Provenance.recorded must have a value.",
        value="boolean",
    ),
)
"""Every extension of ours."""


_DEFINED: Final = {
    "Extension": "An extension of our own.",
    "Extension.extension": "A part of the extension.",
    "Extension.url": "What the extension means.",
    "Extension.value[x]": "What the extension holds.",
    "Extension.extension.url": "What the part means.",
    "Extension.extension.value[x]": "What the part holds.",
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
    made = [
        _element(top, 0, "1", top, "*", short=own.title, definition=own.says),
        _element(below, sum(part[2] for part in own.parts), str(len(own.parts)), below, "*", slicing=_BY_URL)
        | {"type": [{"code": "Extension"}]},
    ]
    for name, holds, needed in own.parts:
        slice_id = f"{below}:{name}"
        made += [
            _element(below, int(needed), "1", below, "*", id=slice_id, sliceName=name, short=holds, definition=holds)
            | {"type": [{"code": "Extension"}]},
            _element(f"{below}.url", 1, "1", "Extension.url", "1", id=f"{slice_id}.url")
            | {"type": _URI_TYPE, "fixedUri": name},
            _element(f"{below}.value[x]", 1, "1", "Extension.value[x]", "1", id=f"{slice_id}.value[x]")
            | {"type": [{"code": "string"}]},
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
        "context": [{"type": "element", "expression": own.on}],
        "type": "Extension",
        "baseDefinition": "http://hl7.org/fhir/StructureDefinition/Extension",
        "derivation": "constraint",
        "snapshot": {"element": elements},
        "differential": {"element": [{key: one[key] for key in one if key != "base"} for one in elements]},
    }


def definitions(config: Config) -> Json:
    """Every extension of ours, as a collection."""
    entries = [{"fullUrl": f"{config.extensions}/{own.name}", "resource": definition(own, config)} for own in OWN]
    return {"resourceType": "Bundle", "type": "collection", "entry": entries}
