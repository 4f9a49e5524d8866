"""Makes ``lda_notes/fhir/CODES.md``: every code that is sent and where it was verified, and what carries which fact.

Run ``python tests/fhir/make_codes_page.py`` after a change of the tables; a test makes it again and compares.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from fhir_demos import DEMOS, episode, sent

from lda_notes.fhir.build.bundle import Options
from lda_notes.fhir.codes import CODES, NOT_EMITTED
from lda_notes.fhir.concepts import CONCEPTS
from lda_notes.fhir.config import DEFAULT, Config, Systems
from lda_notes.fhir.extensions import OWN
from lda_notes.fhir.kinds import ACTS, PANELS_OF
from lda_notes.fhir.local import WORDS
from lda_notes.fhir.units import UNITS
from lda_notes.record.events import KINDS

TARGET: Final = Path(__file__).parents[2] / "lda_notes" / "fhir" / "CODES.md"


def table(heads: tuple[str, ...], rows: Iterator[tuple[str, ...]]) -> Iterator[str]:
    yield f"| {' | '.join(heads)} |"
    yield f"|{'---|' * len(heads)}"
    for row in rows:
        yield f"| {' | '.join(cell.replace('|', '/') for cell in row)} |"
    yield ""


def codes() -> Iterator[str]:
    yield "## Codes"
    yield ""
    yield "A code is sent only if it was found, with this display, in a published text. `verify` rejects all others."
    yield ""
    used = {code: [key for key, concept in CONCEPTS.items() if code in concept.codes] for code in CODES}
    rows = (
        (f"`{code.code}`", code.display, code.system, ", ".join(keys) or "-", code.verified)
        for code, keys in used.items()
    )
    yield from table(("code", "display", "system", "used for", "where it was verified"), rows)
    yield "## Without a standard code"
    yield ""
    yield from table(("what", "why"), iter(NOT_EMITTED))


MAIN: Final = {
    "AllergyIntolerance": "code",
    "Condition": "code",
    "Device": "type",
    "DocumentReference": "type",
    "Flag": "code",
    "List": "code",
    "MedicationAdministration": "medicationCodeableConcept",
    "Observation": "code",
    "Procedure": "code",
    "ServiceRequest": "code",
    "Task": "code",
}
"""The element that says what a resource of a type is."""


def main_elements() -> tuple[Counter[str], Counter[str]]:
    """How many resources of each type the demos give, each once, and how many of them have a code."""
    seen: dict[str, Any] = {}
    for demo in DEMOS:
        for bundle in sent(episode(demo), Options()):
            for entry in bundle["entry"]:
                seen.setdefault(entry["fullUrl"], entry["resource"])
    total: Counter[str] = Counter()
    coded: Counter[str] = Counter()
    for one in seen.values():
        kind = one["resourceType"]
        if kind in MAIN:
            total[kind] += 1
            coded[kind] += any(coding.get("code") for coding in one[MAIN[kind]].get("coding", ()))
    return total, coded


def coded() -> Iterator[str]:
    yield "## How much is coded"
    yield ""
    yield "Resources in all demos, each counted once, and how many have a code in the element that says what they are."
    yield ""
    total, has_code = main_elements()
    rows = [(f"{kind}.{MAIN[kind]}", str(has_code[kind]), str(total[kind])) for kind in sorted(total)]
    rows.append(("all", str(has_code.total()), str(total.total())))
    yield from table(("element", "coded", "of"), iter(rows))


def texts() -> Iterator[str]:
    yield "## Our own codes"
    yield ""
    yield "The code system under the configured address (`codes`): every concept, and every word that a record can use."
    yield ""
    rows = ((f"`{one.local}`", one.use, one.text, one.dimension or "-") for one in CONCEPTS.values())
    yield from table(("code", "element", "display", "a quantity of it measures"), iter(sorted(rows)))
    yield "Words: " + ", ".join(f"`{code}` {word}" for word, code in sorted(WORDS.items())) + "."
    yield ""


def units() -> Iterator[str]:
    yield "## Units"
    yield ""
    yield "The complete list; UCUM codes are used as they are and never parsed."
    yield ""
    yield from table(("UCUM", "measures", "written"), ((f"`{u.code}`", u.dimension, u.written) for u in UNITS.values()))


OTHERS: Final = (
    ("id", "Provenance.entity (source).what.identifier"),
    ("kind", "Provenance.entity (source).what.display; Procedure.code"),
    ("at", "Provenance.occurredDateTime; Observation.effectiveDateTime; Procedure.performedPeriod.end"),
    ("charted_at", "Provenance.recorded; Observation.issued; DocumentReference.date"),
    ("by", "Provenance.agent (author): who, role; performers"),
    ("verified_by", "Provenance.agent (verifier): who, role; Procedure.performer"),
    ("seal", "Provenance: extension entry-seal (the digest); not read back"),
    ("late_entry", "Provenance.entity (source).what.display"),
    ("order", "Procedure.basedOn or Observation.basedOn, by number"),
    ("reason", "Procedure.reasonCode.text; of a correction: Provenance.reason.text; else an Observation component"),
    ("supplies", "Device (inactive, since used up): type.text, lotNumber, expirationDate, udiCarrier, property"),
    ("needle", "Device: property, lotNumber, expirationDate, udiCarrier, note"),
    ("inserted_at", "DeviceUseStatement.timingPeriod.start; a reason it is missing: Observation component"),
    ("flushes", "MedicationAdministration: medication, dosage, note; resistance: Observation partOf it"),
    ("lock", "MedicationAdministration: medication (with strength), dosage, note, statusReason"),
    ("anesthetic", "MedicationAdministration: medication, dosage, effectivePeriod, note; none used: Observation"),
    ("drug", "MedicationAdministration.medicationCodeableConcept"),
    ("dose_mg", "MedicationAdministration.dosage.dose"),
    ("dose_units", "MedicationAdministration.dosage.dose"),
    ("volume_ml", "MedicationAdministration.note"),
    ("lumen_ml", "MedicationAdministration.note"),
    ("reconstituted_at", "MedicationAdministration.note"),
    ("drug_lot", "MedicationAdministration.note"),
    ("second_dose_of", "MedicationAdministration.supportingInformation, by record entry"),
    ("of", "Provenance.entity (revision).what.identifier"),
    ("sets", "the corrected resources; what they replaced: extension `correction`"),
    ("adds", "the corrected resources; what they replaced: extension `correction`"),
)
"""Fields that no panel carries, and their elements."""


def facts() -> Iterator[str]:
    yield "## Where each fact is sent"
    yield ""
    yield "Facts common to all kinds, and facts sent in resources of their own:"
    yield ""
    yield from table(("field", "element"), iter(OTHERS))
    yield "Facts in Observations (in a component, unless the table says value):"
    yield ""
    rows: dict[tuple[str, str, str, str], list[str]] = {}
    for kind, panels in PANELS_OF.items():
        for panel in panels:
            for fact in panel.facts():
                path = ".".join((panel.part, *fact.path) if panel.part else fact.path)
                where = "value" if fact is panel.value else CONCEPTS[fact.concept].text
                rows.setdefault((path, CONCEPTS[panel.concept].text, where, fact.unit or "-"), []).append(kind)
    yield from table(
        ("field", "Observation", "component", "unit", "kinds"),
        ((path, text, where, unit, ", ".join(kinds)) for (path, text, where, unit), kinds in rows.items()),
    )
    yield "Kinds that are also Procedures: " + ", ".join(ACTS) + "."
    yield ""


def extensions() -> Iterator[str]:
    yield "## Our own extensions"
    yield ""
    yield "Each carries what no R4 element can. `lda-notes bundle --definitions` prints them as StructureDefinitions."
    yield ""
    yield from table(("name", "on", "contains"), ((f"`{own.name}`", ", ".join(own.on), own.says) for own in OWN))


def configuration() -> Iterator[str]:
    yield "## Configuration"
    yield ""
    yield "A YAML or JSON file, named by `--config` or `LDA_NOTES_FHIR`. Every key is optional."
    yield ""
    rows = []
    for name, field in Config.model_fields.items():
        if name == "systems":
            parts = Systems.model_fields.items()
            rows += [(f"`systems.{key}`", str(one.description), f"`{one.default}`") for key, one in parts]
        else:
            default = getattr(DEFAULT, name)
            rows.append((f"`{name}`", str(field.description), f"`{default}`" if default is not None else "-"))
    yield from table(("key", "meaning", "default"), iter(rows))


def carried(kind: str) -> set[str]:
    """The fields of a kind that the page names."""
    named = {field for field, _ in OTHERS}
    for panel in PANELS_OF[kind]:
        named |= {panel.part} if panel.part else {fact.path[0] for fact in panel.facts()}
    return named & set(KINDS[kind].model_fields)


def page() -> str:
    head = ["# What goes into FHIR", "", "Made by `python tests/fhir/make_codes_page.py`; do not edit.", ""]
    return (
        "\n".join([*head, *codes(), *coded(), *texts(), *units(), *facts(), *extensions(), *configuration()]).rstrip()
        + "\n"
    )


if __name__ == "__main__":
    TARGET.write_text(page())
