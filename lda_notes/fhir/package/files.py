"""The files of the package, by name: an NPM package of FHIR (hl7.org/fhir/packages.html), unpacked."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Final

from lda_notes.fhir.config import Config
from lda_notes.fhir.elements import Json, to_json
from lda_notes.fhir.extensions import OWN, definition
from lda_notes.fhir.package.base import FHIR, VERSION, package_name, root
from lda_notes.fhir.package.capability import capability
from lda_notes.fhir.package.structures import profiles
from lda_notes.fhir.package.terminology import code_system, naming_systems, value_sets

_INDEXED: Final = ("resourceType", "id", "url", "version", "kind", "type")


def definitions(config: Config) -> Iterator[Json]:
    """Yield every definition of the package."""
    yield from profiles(config)
    yield from (definition(own, config) for own in OWN)
    yield code_system(config)
    yield from value_sets(config)
    yield from naming_systems(config)
    yield capability(config)


def files(config: Config, examples: Iterable[tuple[str, Json]]) -> Iterator[tuple[str, str]]:
    """Yield the name and the text of every file; ``examples`` are bundles, each with its id."""
    yield "package/package.json", _text(_manifest(config))
    yield from _folder("package", definitions(config))
    yield from _folder("package/example", ({"resourceType": "Bundle", "id": name} | one for name, one in examples))


def _folder(folder: str, resources: Iterable[Json]) -> Iterator[tuple[str, str]]:
    index: list[Json] = []
    for resource in resources:
        name = f"{resource['resourceType']}-{resource['id']}.json"
        said: dict[str, Any] = {key: resource[key] for key in _INDEXED if isinstance(resource.get(key), str)}
        index.append({"filename": name, **said})
        yield f"{folder}/{name}", _text(resource)
    yield f"{folder}/.index.json", _text({"index-version": 1, "files": index})


def _text(value: Json) -> str:
    return to_json(value, spread=True) + "\n"


def _manifest(config: Config) -> Json:
    return {
        "name": package_name(config),
        "version": VERSION,
        "type": "Conformance",
        "canonical": root(config),
        "url": root(config),
        "title": "Port care",
        "description": "Care of implanted ports as lda-notes sends it: profiles, extensions, codes and examples.",
        "license": "Apache-2.0",
        "author": "lda-notes",
        "fhirVersions": [FHIR],
        "dependencies": {"hl7.fhir.r4.core": FHIR},
        "directories": {"lib": "package", "example": "package/example"},
    }
