"""Elements common to every definition of the package: addresses, version, who publishes it."""

from __future__ import annotations

from typing import Any, Final
from urllib.parse import urlsplit

from lda_notes.fhir.config import Config
from lda_notes.fhir.elements import Json

VERSION: Final = "1.0.0"
FHIR: Final = "4.0.1"
DATE: Final = "2026-11-01"
_OF_EXTENSIONS: Final = "/StructureDefinition"


def root(config: Config) -> str:
    """Return the address under which the definitions are, by that of the extensions."""
    return config.extensions.removesuffix(_OF_EXTENSIONS)


def package_name(config: Config) -> str:
    """Return the name of the package: the facility's host the other way round, then ours."""
    host = urlsplit(config.extensions).hostname or "example.org"
    return ".".join([*reversed(host.lower().split(".")), "lda-notes"])


def defined(resource: str, name: str, title: str, says: str, url: str, **more: Any) -> Json:
    """Return a definition with what all have: identity, version, state, words."""
    return {
        "resourceType": resource,
        "id": name,
        "url": url,
        "version": VERSION,
        "name": "".join(word.capitalize() for word in name.split("-")),
        "title": title,
        "status": "active",
        "experimental": False,
        "date": DATE,
        "publisher": "lda-notes",
        "description": says,
        **more,
    }
