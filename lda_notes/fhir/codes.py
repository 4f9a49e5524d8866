"""Every code that a FHIR resource of ours may carry, and where each was verified.

A code that nobody verified is not emitted: the concept then goes out as text alone. A concept is what one
CodeableConcept says; its ``text`` is always sent, its codings only when there are any in ``CODES``.
The system, code and display of each row are sent exactly as they stand here; ``verify`` refuses any other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

SNOMED_CT: Final = "http://snomed.info/sct"
LOINC: Final = "http://loinc.org"
DICOM: Final = "http://dicom.nema.org/resources/ontology/DCM"
ICD_10_CM: Final = "http://hl7.org/fhir/sid/icd-10-cm"
V3_ROUTE: Final = "http://terminology.hl7.org/CodeSystem/v3-RouteOfAdministration"
V3_DATA_OPERATION: Final = "http://terminology.hl7.org/CodeSystem/v3-DataOperation"
V3_ACT_CODE: Final = "http://terminology.hl7.org/CodeSystem/v3-ActCode"
V2_IDENTIFIER_TYPE: Final = "http://terminology.hl7.org/CodeSystem/v2-0203"
OBSERVATION_CATEGORY: Final = "http://terminology.hl7.org/CodeSystem/observation-category"
DATA_ABSENT_REASON: Final = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
PARTICIPANT_TYPE: Final = "http://terminology.hl7.org/CodeSystem/provenance-participant-type"
FLAG_CATEGORY: Final = "http://terminology.hl7.org/CodeSystem/flag-category"
ALLERGY_CLINICAL: Final = "http://terminology.hl7.org/CodeSystem/allergyintolerance-clinical"
ALLERGY_STATUS: Final = "http://terminology.hl7.org/CodeSystem/allergyintolerance-verification"
CONDITION_STATUS: Final = "http://terminology.hl7.org/CodeSystem/condition-ver-status"
US_CORE_DOCUMENT_CATEGORY: Final = "http://hl7.org/fhir/us/core/CodeSystem/us-core-documentreference-category"
GS1_DEVICE_IDENTIFIER: Final = "http://hl7.org/fhir/NamingSystem/gs1-di"
"""``udiCarrier.issuer`` of a GS1 device identifier, as R4's definition of the element gives it."""

_R4: Final = "FHIR R4 4.0.1 core definitions"
_DICOM_SETS: Final = (
    "DICOM context groups as FHIR value sets (display); SNOMED International Global Patient Set, "
    "as a value set in HL7 Terminology 7.0.1 (code, fully specified name)"
)


@dataclass(frozen=True, slots=True)
class Code:
    """One code: ``verified`` names the published text in which code and display were found together."""

    system: str
    code: str
    display: str
    verified: str

    def coding(self) -> dict[str, Any]:
        """Return the FHIR Coding, a new dict each time."""
        return {"system": self.system, "code": self.code, "display": self.display}


CODES: Final[tuple[Code, ...]] = (
    Code(SNOMED_CT, "398013009", "Implantable venous access port", _DICOM_SETS),
    Code(SNOMED_CT, "79068005", "Needle", _DICOM_SETS),
    Code(DICOM, "111465", "Needle Gauge", f"{_R4}, CodeSystem dicom-dcim"),
    Code(DICOM, "111467", "Needle Length", f"{_R4}, CodeSystem dicom-dcim"),
    Code(
        SNOMED_CT,
        "18949003",
        "Change of dressing",
        f"{_R4}, ValueSet procedure-followup (code); SNOMED International Global Patient Set, as a value set "
        "in HL7 Terminology 7.0.1 (fully specified name)",
    ),
    Code(
        LOINC,
        "72514-3",
        "Pain severity - 0-10 verbal numeric rating [Score] - Reported",
        "full name as given by several published implementation guides; check digit",
    ),
    Code(SNOMED_CT, "78904004", "Chest wall", _DICOM_SETS),
    Code(SNOMED_CT, "66288003", "Skin of infraclavicular region", _DICOM_SETS),
    Code(SNOMED_CT, "40983000", "Upper arm", _DICOM_SETS),
    Code(SNOMED_CT, "368209003", "Right arm", "FHIR R4 4.0.1 examples, Observation blood-pressure"),
    Code(V3_ROUTE, "IVFLUSH", "Flush, intravenous catheter", f"{_R4}, CodeSystem v3-RouteOfAdministration"),
    Code(V3_ROUTE, "TOPICAL", "Topical", f"{_R4}, CodeSystem v3-RouteOfAdministration"),
    Code(SNOMED_CT, "47625008", "Intravenous route", _DICOM_SETS),
    Code(SNOMED_CT, "6064005", "Topical route", _DICOM_SETS),
    Code(LOINC, "34746-8", "Nurse Note", f"{_R4}, ValueSet c80-doc-typecodes"),
    Code(
        ICD_10_CM,
        "Z45.2",
        "Encounter for adjustment and management of vascular access device",
        "ICD-10-CM list of April 2026",
    ),
    Code(PARTICIPANT_TYPE, "author", "Author", f"{_R4}, CodeSystem provenance-agent-type"),
    Code(PARTICIPANT_TYPE, "assembler", "Assembler", f"{_R4}, CodeSystem provenance-agent-type"),
    Code(PARTICIPANT_TYPE, "verifier", "Verifier", f"{_R4}, CodeSystem provenance-agent-type"),
    Code(
        PARTICIPANT_TYPE,
        "transmitter",
        "Transmitter",
        "HL7 Terminology 7.0.1, CodeSystem provenance-participant-type 2.0.0 (not in the list that R4 carries)",
    ),
    Code(V3_DATA_OPERATION, "CREATE", "create", f"{_R4}, CodeSystem v3-DataOperation"),
    Code(V3_DATA_OPERATION, "UPDATE", "revise", f"{_R4}, CodeSystem v3-DataOperation"),
    Code(V3_DATA_OPERATION, "NULLIFY", "nullify", f"{_R4}, CodeSystem v3-DataOperation"),
    Code(OBSERVATION_CATEGORY, "exam", "Exam", f"{_R4}, CodeSystem observation-category"),
    Code(OBSERVATION_CATEGORY, "survey", "Survey", f"{_R4}, CodeSystem observation-category"),
    Code(OBSERVATION_CATEGORY, "procedure", "Procedure", f"{_R4}, CodeSystem observation-category"),
    Code(DATA_ABSENT_REASON, "unknown", "Unknown", f"{_R4}, CodeSystem data-absent-reason"),
    Code(DATA_ABSENT_REASON, "not-performed", "Not Performed", f"{_R4}, CodeSystem data-absent-reason"),
    Code(V3_ACT_CODE, "AMB", "ambulatory", f"{_R4}, CodeSystem v3-ActCode"),
    Code(V3_ACT_CODE, "IMP", "inpatient encounter", f"{_R4}, CodeSystem v3-ActCode"),
    Code(V3_ACT_CODE, "EMER", "emergency", f"{_R4}, CodeSystem v3-ActCode"),
    Code(V3_ACT_CODE, "HH", "home health", f"{_R4}, CodeSystem v3-ActCode"),
    Code(V2_IDENTIFIER_TYPE, "MR", "Medical record number", f"{_R4}, CodeSystem v2-0203"),
    Code(US_CORE_DOCUMENT_CATEGORY, "clinical-note", "Clinical Note", "US Core 9.0.0"),
    Code(OBSERVATION_CATEGORY, "vital-signs", "Vital Signs", f"{_R4}, CodeSystem observation-category"),
    Code(LOINC, "29463-7", "Body Weight", "FHIR R4 4.0.1 examples, Observation example"),
    Code(
        SNOMED_CT,
        "716186003",
        "No known allergy",
        "FHIR R4 4.0.1 examples, AllergyIntolerance nka; Global Patient Set (name)",
    ),
    Code(FLAG_CATEGORY, "safety", "Safety", f"{_R4}, CodeSystem flag-category"),
    Code(ALLERGY_CLINICAL, "active", "Active", f"{_R4}, CodeSystem allergyintolerance-clinical"),
    Code(ALLERGY_CLINICAL, "inactive", "Inactive", f"{_R4}, CodeSystem allergyintolerance-clinical"),
    Code(ALLERGY_STATUS, "refuted", "Refuted", f"{_R4}, CodeSystem allergyintolerance-verification"),
    Code(ALLERGY_STATUS, "entered-in-error", "Entered in Error", f"{_R4}, CodeSystem allergyintolerance-verification"),
    Code(CONDITION_STATUS, "entered-in-error", "Entered in Error", f"{_R4}, CodeSystem condition-ver-status"),
)
"""Every code that may be emitted."""

NOT_EMITTED: Final[tuple[tuple[str, str], ...]] = (
    ("access, needle removal and flush of a port", "no verified code found: only our own code"),
    ("blood return, site, dressing state, waste volume, resistance", "no verified code found: only our own code"),
    ("supply of a non-coring needle (HCPCS A4212)", "third-party text only"),
    ("left arm (SNOMED CT 368208006)", "third-party text only"),
    ("heparin (RxNorm 5224) and every other drug", "not verified: our own code, and the facility's by configuration"),
    ("handoff note", "the nearest LOINC code, 28651-8 Nurse Transfer note, means something else: text only"),
    ("staff and visit numbers (v2-0203 EI and VN)", "verified, but outside R4's value set of identifier types"),
    ("complications in ICD-10-CM", "verified, but lda-notes makes no diagnoses"),
)
"""Facts sent without a code of a standard, or not at all, and why: printed beside the table of codes."""

BY_KEY: Final[Mapping[tuple[str, str], Code]] = MappingProxyType({(code.system, code.code): code for code in CODES})


def find(system: str, code: str) -> Code | None:
    """Return the verified code, or None when nobody verified it."""
    return BY_KEY.get((system, code))


SYSTEMS: Final = frozenset(code.system for code in CODES)
"""The code systems of others from which codes were verified."""
