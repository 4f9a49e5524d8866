"""Makes ``lda_notes/fhir/definitions.json.gz`` from the official package hl7.fhir.r4.core 4.0.1.

Run ``python tests/fhir/make_definitions.py`` after a change here. A test makes it again and compares the bytes.
What is kept, for the resource types that we emit and every datatype that they can reach: cardinalities, types,
allowed reference targets, required bindings with all their codes, the regex of each primitive, and the keys of
the invariants of level error with their official words.
"""

from __future__ import annotations

import gzip
import json
import re
import sys
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import fhir_official

TARGET: Final = Path(__file__).parents[2] / "lda_notes" / "fhir" / "verify" / "definitions.json.gz"
OTHERS: Final = TARGET.with_name("others.json.gz")
RESOURCE_TYPES: Final = (
    "AllergyIntolerance",
    "Bundle",
    "Condition",
    "Device",
    "DeviceUseStatement",
    "DocumentReference",
    "Encounter",
    "Flag",
    "List",
    "Location",
    "Medication",
    "MedicationAdministration",
    "Observation",
    "Organization",
    "Patient",
    "Practitioner",
    "Procedure",
    "Provenance",
    "ServiceRequest",
    "Task",
)
_REGEX: Final = "http://hl7.org/fhir/StructureDefinition/regex"
_TYPE: Final = "http://hl7.org/fhir/StructureDefinition/structuredefinition-fhir-type"
_OPEN_VALUE_SETS: Final = {"mimetypes", "currencies", "all-languages"}
"""Required value sets whose codes the package does not hold: BCP 13, ISO 4217, BCP 47. Their grammar is checked."""
_MAX: Final = "http://hl7.org/fhir/StructureDefinition/elementdefinition-maxValueSet"


def _profile(url: str) -> str:
    return url.rsplit("/", 1)[1]


def _concepts(concepts: list[dict[str, Any]]) -> Iterator[str]:
    for concept in concepts:
        yield concept["code"]
        yield from _concepts(concept.get("concept", []))


def _expand(core: Mapping[str, dict[str, Any]], url: str) -> list[str]:
    """Every code of a value set that is a plain list; raises on what would need a terminology server."""
    value_set = next(v for n, v in core.items() if n.startswith("ValueSet-") and v["url"] == url)
    codes: list[str] = []
    for include in value_set["compose"]["include"]:
        if "filter" in include or "valueSet" in include:
            raise ValueError(f"{url} cannot be expanded here")
        if "concept" in include:
            codes += [concept["code"] for concept in include["concept"]]
        else:
            systems = (v for n, v in core.items() if n.startswith("CodeSystem-"))
            system = next(s for s in systems if s["url"] == include["system"])
            if system["content"] != "complete":
                raise ValueError(f"{include['system']} is not complete")
            codes += _concepts(system["concept"])
    if value_set["compose"].get("exclude"):
        raise ValueError(f"{url} excludes codes")
    return sorted(set(codes))


class _Trim:
    """Collects what is reachable from the resource types."""

    def __init__(self, core: Mapping[str, dict[str, Any]], *, strict: bool = True) -> None:
        self.core = core
        self.strict = strict
        self.types: dict[str, Any] = {}
        self.bindings: dict[str, list[str]] = {}
        self.primitives: dict[str, str] = {}
        self.invariants: dict[str, dict[str, Any]] = {}

    def take(self, names: Iterable[str]) -> None:
        """Take in these types and everything that they can reach."""
        queue = list(names)
        while queue:
            name = queue.pop()
            if name not in self.types and name not in self.primitives and name != "Resource":
                queue += self.add(self.core[f"StructureDefinition-{name}.json"])

    def resources(self) -> list[str]:
        """Every resource type of R4."""
        structures = [v for n, v in self.core.items() if n.startswith("StructureDefinition-")]
        return sorted(
            s["type"]
            for s in structures
            if s["kind"] == "resource" and not s["abstract"] and s["derivation"] == "specialization"
        )

    def all(self) -> dict[str, Any]:
        self.bindings["languages"] = _expand(self.core, "http://hl7.org/fhir/ValueSet/languages")
        self.take(RESOURCE_TYPES)
        resources = self.resources()
        return {
            "source": "hl7.fhir.r4.core 4.0.1, CC0-1.0; trimmed by tests/fhir/make_definitions.py",
            "resources": resources,
            "carried": sorted(RESOURCE_TYPES),
            "types": dict(sorted(self.types.items())),
            "primitives": dict(sorted(self.primitives.items())),
            "bindings": dict(sorted(self.bindings.items())),
            "invariants": dict(sorted(self.invariants.items())),
        }

    def add(self, structure: dict[str, Any]) -> set[str]:
        """Take one structure in; the types that it names are returned, to be taken in next."""
        name = structure["name"] if structure["name"] == "SimpleQuantity" else structure["type"]
        if structure["kind"] == "primitive-type":
            self.primitives[name] = self._regex(structure)
            return set()
        named: set[str] = set()
        for element in structure["snapshot"]["element"]:
            path: list[str] = element["path"].split(".")
            if name == "SimpleQuantity":
                path[0] = name
            self._invariants(".".join(path), element)
            if len(path) == 1:
                self.types[name] = {}
            else:
                row, types = self._element(element, ".".join(path))
                if structure["kind"] == "resource" and path[1:] == ["id"]:
                    # The snapshot calls a resource's id a string; resource.html and id's own page say id.
                    row[2] = ["id"]
                    types = {"id"}
                named |= types
                self.types.setdefault(".".join(path[:-1]), {})[path[-1]] = row
        return named

    def _regex(self, structure: dict[str, Any]) -> str:
        for element in structure["snapshot"]["element"]:
            for kind in element.get("type", []):
                for extension in kind.get("extension", []):
                    if extension["url"] == _REGEX:
                        found: str = extension["valueString"]
                        re.compile(found)
                        return found
        return ""

    def _element(self, element: dict[str, Any], path: str) -> tuple[list[Any], set[str]]:
        types: list[str] = []
        targets: set[str] = set()
        named: set[str] = set()
        for kind in element.get("type", []):
            code = kind["code"]
            if code.startswith("http://hl7.org/fhirpath/"):
                code = next(e["valueUrl"] for e in kind["extension"] if e["url"] == _TYPE)
            if any(_profile(profile) == "SimpleQuantity" for profile in kind.get("profile", [])):
                code = "SimpleQuantity"
            if code == "Reference":
                targets |= {_profile(target) for target in kind.get("targetProfile", [])}
            if code in ("BackboneElement", "Element"):
                types.append(path)
            else:
                types.append(code)
                named.add(code)
        if "contentReference" in element:
            types.append(element["contentReference"].removeprefix("#"))
        binding = element.get("binding", {})
        value_set = ""
        most = next((e["valueCanonical"] for e in binding.get("extension", ()) if e["url"] == _MAX), "")
        is_language = types == ["code"] and most.endswith("/all-languages")
        if binding.get("strength") == "required" or is_language:
            url = (most if is_language else binding["valueSet"]).split("|")[0]
            value_set = _profile(url)
            if value_set not in _OPEN_VALUE_SETS and value_set not in self.bindings:
                try:
                    self.bindings[value_set] = _expand(self.core, url)
                except (ValueError, StopIteration):
                    if self.strict:
                        raise
                    value_set = ""  # of a type that we do not send: its structure is judged, not this code
        row: list[Any] = [element["min"], int(element["max"] != "1"), types]
        if element["max"] == "0":
            row[1] = -1
        if value_set or targets - {"Resource"}:
            row += [value_set, sorted(targets - {"Resource"})]
        return row, named

    def _invariants(self, path: str, element: dict[str, Any]) -> None:
        for constraint in element.get("constraint", []):
            if constraint["severity"] == "error":
                known = self.invariants.setdefault(constraint["key"], {"says": constraint["human"], "on": []})
                if path not in known["on"]:
                    known["on"].append(path)


def made() -> bytes:
    """The file as it must be: compressed without a time, so the same package gives the same bytes."""
    trimmed = _Trim(fhir_official.core()).all()
    for invariant in trimmed["invariants"].values():
        # ele-1, dom-* and ext-1 stand on hundreds of elements: once by name is enough.
        if len(invariant["on"]) > 40:
            invariant["on"] = ["*"]
        invariant["on"].sort()
    return _packed(trimmed)


def made_others() -> bytes:
    """The structure of every type that we do not send."""
    known = _Trim(fhir_official.core())
    known.take(RESOURCE_TYPES)
    every = _Trim(fhir_official.core(), strict=False)
    every.take(every.resources())
    return _packed(
        {
            "source": "hl7.fhir.r4.core 4.0.1, CC0-1.0; trimmed by tests/fhir/make_definitions.py",
            "types": {name: rows for name, rows in sorted(every.types.items()) if name not in known.types},
            "primitives": {
                name: rule for name, rule in sorted(every.primitives.items()) if name not in known.primitives
            },
            "bindings": {name: codes for name, codes in sorted(every.bindings.items()) if name not in known.bindings},
        }
    )


def _packed(data: dict[str, Any]) -> bytes:
    text = json.dumps(data, separators=(",", ":"), ensure_ascii=True)
    return gzip.compress(text.encode(), compresslevel=9, mtime=0)


if __name__ == "__main__":
    for target, packed in ((TARGET, made()), (OTHERS, made_others())):
        target.write_bytes(packed)
        sys.stdout.write(f"{target}: {target.stat().st_size} bytes\n")
