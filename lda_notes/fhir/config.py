"""The configuration that a facility's records need to become FHIR: identifier systems, organization, references.

A small YAML or JSON file, checked like a record. Without one, example addresses are used that nobody owns
(RFC 2606), good for tests and for nothing else.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, Field, ValidationError

from lda_notes.files.syntax import MAX_BYTES, read_json, read_yaml
from lda_notes.files.system import contents
from lda_notes.problems import Failure, Place
from lda_notes.record.parts import Model
from lda_notes.record.validation import misfits

VARIABLE: Final = "LDA_NOTES_FHIR"
"""Environment variable that names the configuration file."""

_URI: Final = re.compile(r"[a-z][a-z0-9+.-]*:[^\s|&%<>\"]+")
FHIR_ID: Final = re.compile(r"[A-Za-z0-9.-]{1,64}")
"""The ids that R4 allows in a literal reference."""

EXAMPLES: Final = "https://example.org/lda-notes"
"""Base of the built-in example systems, which nobody owns: fit for tests on one machine."""


def _uri(value: str) -> str:
    if _URI.fullmatch(value):
        return value
    raise ValueError("expected an absolute address (URI) without spaces, such as https://example.org/ids")


def _reference_to(kind: str) -> Any:
    literal = re.compile(rf"(https?://\S+/)?{kind}/[A-Za-z0-9.-]{{1,64}}")

    def check(value: str) -> str:
        if literal.fullmatch(value):
            return value
        raise ValueError(f"expected a reference such as {kind}/123")

    return AfterValidator(check)


Uri = Annotated[str, AfterValidator(_uri)]


class Systems(Model):
    """Addresses of the identifier systems that bundles use; each names what it numbers."""

    identity: Uri = Field(default=f"{EXAMPLES}/identifier", description="Identities of the resources that we make.")
    entry: Uri = Field(default=f"{EXAMPLES}/record-entry", description="Entries of records: port, episode and event.")
    order: Uri = Field(default=f"{EXAMPLES}/order", description="Orders and protocols as records name them.")
    staff: Uri = Field(default=f"{EXAMPLES}/staff", description="Staff identifiers.")
    visit: Uri = Field(default=f"{EXAMPLES}/visit", description="Stays: identifiers of episodes.")
    facility: Uri = Field(default=f"{EXAMPLES}/facility", description="Facilities, by name.")
    place: Uri = Field(default=f"{EXAMPLES}/place", description="Units and rooms, by name.")


class DrugCode(Model):
    """A code of the facility for a drug or solution."""

    system: Uri = Field(description="Address of the code system, such as http://www.nlm.nih.gov/research/umls/rxnorm.")
    code: Annotated[str, Field(pattern=r"^\S+( \S+)*$")] = Field(description="The code.")
    display: Annotated[str, Field(min_length=1)] | None = Field(default=None, description="Its display there.")


US_CORE: Final = "us-core 9.0.0"
"""US Core by name and version. No package of it could be had for the tests: what is claimed is held to it by our own
checks of what it requires, not by its own definitions."""

Claim = Literal["own", "us-core 9.0.0"]
"""Profiles that resources may claim: those of our own package, or US Core by name and version."""


class Config(Model):
    """The configuration of FHIR output. ``references`` says how patient, stay and staff are referred to.

    ``conditional``: by a search for the identifier, which the server resolves. ``literal``: record numbers, episodes
    and staff identifiers are the server's own ids (``Patient/<record number>``); where they are not, what is sent is
    filed under somebody else. The lists below give the id of one of them, in either case.
    """

    config_version: Literal[1] = Field(default=1, description="Version of this layout: 1.")
    systems: Systems = Field(default_factory=Systems, description="Identifier systems.")
    extensions: Uri = Field(
        default=f"{EXAMPLES}/fhir/StructureDefinition", description="Base address of our own extensions."
    )
    codes: Uri = Field(default=f"{EXAMPLES}/fhir/CodeSystem/port-care", description="Address of our own code system.")
    profiles: tuple[Claim, ...] = Field(
        default=(),
        description="Profiles that resources claim: own (those that `bundle --package` writes), us-core 9.0.0. No "
        "US Core package was available for the tests: Procedure, the port's Device, DocumentReference and "
        "Provenance claim it, but only our own checks verify that they conform.",
    )
    drugs: dict[str, DrugCode] = Field(
        default_factory=dict,
        description="Code of a drug or solution, by the word that records use for it, such as heparin or 0.9% "
        "sodium chloride.",
    )
    units: dict[str, Annotated[str, _reference_to("Location")]] = Field(
        default_factory=dict, description="Reference to a unit, by its name in records."
    )
    references: Literal["literal", "conditional"] = Field(
        default="conditional", description="How patient, stay and staff are referred to."
    )
    organization: Annotated[str, _reference_to("Organization")] | None = Field(
        default=None,
        description="Reference to the organization that the nurses act for; by default, the facility's name.",
    )
    patients: dict[str, Annotated[str, _reference_to("Patient")]] = Field(
        default_factory=dict, description="Reference to a patient, by record number."
    )
    stays: dict[str, Annotated[str, _reference_to("Encounter")]] = Field(
        default_factory=dict, description="Reference to a stay, by episode."
    )
    staff: dict[str, Annotated[str, _reference_to("Practitioner")]] = Field(
        default_factory=dict, description="Reference to a person, by staff identifier."
    )


DEFAULT: Final = Config()
"""The configuration without a file: example addresses only."""


@dataclass(frozen=True, slots=True)
class ConfigFault:
    """One fault of a configuration file and where it stands."""

    place: Place
    message: str
    todo: str

    def __str__(self) -> str:
        return f"{self.place}: {self.message}; {self.todo}"


def read(raw: bytes, name: str, as_json: bool = False) -> tuple[Config, tuple[ConfigFault, ...]]:
    """Read a configuration from the bytes of a file called ``name``; with any fault the default comes back."""
    parsed = read_json(raw) if as_json else read_yaml(raw)
    faults = [ConfigFault(Place(name, one.row, one.column), one.message, one.todo) for one in parsed.faults]
    if parsed.data is None:
        empty = ConfigFault(
            Place(name, 1, 1),
            "the file holds no configuration",
            "its keys are listed in the page CODES.md of lda_notes/fhir",
        )
        return DEFAULT, tuple(faults) or (empty,)
    try:
        config = Config.model_validate_json(parsed.json)
    except ValidationError as error:
        for misfit in misfits(error, parsed.data):
            spot = parsed.key_place(misfit.path) if misfit.unknown_key else parsed.place(misfit.path)
            faults.append(ConfigFault(Place(name, *spot), misfit.message, misfit.todo))
        config = DEFAULT
    faults.sort(key=lambda fault: fault.place)
    return (DEFAULT, tuple(faults)) if faults else (config, ())


def load(path: FilePath | None) -> Config:
    """Return the configuration of a file, or the default without one.

    Raises `Failure` with every fault, each with file, row and column: a configuration is never half in force.
    """
    if path is None:
        return DEFAULT
    try:
        raw = contents(path, MAX_BYTES + 1)
    except OSError as error:
        raise Failure(
            f"{path}: the FHIR configuration cannot be read ({error.strerror or error}); check name and permissions"
        ) from None
    if len(raw) > MAX_BYTES:
        raise Failure(f"{path}: is too large for a configuration of FHIR output; give that alone")
    config, faults = read(raw, str(path), as_json=path.suffix.lower() == ".json")
    if faults:
        counted = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        listed = "\n".join(str(fault) for fault in faults)
        raise Failure(f"the FHIR configuration has {counted}, so nothing was done:\n{listed}")
    return config
