"""Every code that a FHIR resource of ours may carry, and where each was verified.

A code that nobody verified is not emitted: the concept then goes out as text alone. A concept is what one
CodeableConcept says; its ``text`` is always sent, its codings only when there are any in ``CODES``.
The system, code and display of each row are sent exactly as they stand here; ``verify`` refuses any other.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final, Literal, get_args, get_origin

from lda_notes.fhir.units import UNITS, Dimension
from lda_notes.line.states import HoldReason
from lda_notes.record import vocabulary
from lda_notes.record.events import KINDS
from lda_notes.record.exchange import Said, members, part_of, said, said_of_part
from lda_notes.record.parts import Dressing, Site

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
_GPS: Final = "SNOMED International Global Patient Set (fully specified name)"
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
        """The FHIR Coding, a new dict each time."""
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
    ("access, needle removal and flush of a port", "no verified code found: our own code alone"),
    ("blood return, site, dressing state, waste volume, resistance", "no verified code found: our own code alone"),
    ("supply of a non-coring needle (HCPCS A4212)", "third-party text only"),
    ("left arm (SNOMED CT 368208006)", "third-party text only"),
    ("heparin (RxNorm 5224) and every other drug", "not verified: our own code, and the facility's by configuration"),
    ("handoff note", "the nearest LOINC code, 28651-8 Nurse Transfer note, means something else: text only"),
    ("staff and visit numbers (v2-0203 EI and VN)", "verified, but outside R4's value set of identifier types"),
    ("complications in ICD-10-CM", "verified, but a diagnosis is not ours to make"),
)
"""What goes out without a code of others, or not at all, and why: printed beside the table of codes."""

_BY_KEY: Final[Mapping[tuple[str, str], Code]] = MappingProxyType({(code.system, code.code): code for code in CODES})


def find(system: str, code: str) -> Code | None:
    """The verified code, or None when nobody verified it."""
    return _BY_KEY.get((system, code))


Use = Literal[
    "procedure",
    "action",
    "observation",
    "component",
    "category",
    "task",
    "device",
    "property",
    "route",
    "body site",
    "reason",
    "document",
    "activity",
    "agent",
    "absent",
    "class",
    "identifier",
    "due",
    "hold",
    "danger",
    "record",
    "allergy",
    "drug",
    "status",
]
"""Which element a concept belongs to."""


@dataclass(frozen=True, slots=True)
class Concept:
    """What one CodeableConcept says. ``dimension`` is what a quantity about it must measure, if it has one."""

    key: str
    use: Use
    text: str
    codes: tuple[Code, ...] = ()
    dimension: Dimension | None = None

    @property
    def local(self) -> str:
        """Its code in the code system of our own."""
        name, derived, _ = self.key.partition(DERIVED)
        return f"{slug(self.use)}.{'fact-' if derived else ''}{slug(name)}"


def slug(text: str) -> str:
    """Return words as a code: small letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")


def _concept(key: str, use: Use, text: str, *codes: tuple[str, str], dimension: Dimension | None = None) -> Concept:
    return Concept(key, use, text, tuple(_BY_KEY[code] for code in codes), dimension)


DERIVED: Final = " ["
"""Begins what tells the key of a concept that a declaration of the record makes from one of the table."""


def observation(label: str) -> str:
    """The key of the concept of an Observation that is called as the record calls the fact."""
    return f"{label}{DERIVED}observation]"


def component(label: str) -> str:
    """The key of the concept of a component that is called as the record calls the fact."""
    return f"{label}{DERIVED}component]"


_CARRIED: Final = frozenset(
    {
        *("id", "kind", "at", "charted_at", "by", "verified_by", "late_entry", "remarks", "septum", "seal"),
        "weight_kg",
        *("identifiers_checked", "allergies_checked", "order", "reason", "problems", "response", "pain", "teaching"),
        *("supplies", "next_due", "site", "blood_return", "blood_looks", "steps_tried", "discard_ml", "samples"),
        *("hub_scrub_s", "flushes", "lock", "antisepsis", "technique", "dressing", "connector_changed"),
        *("disinfecting_caps", "of", "follows_removal", "tip_confirmed", "anesthetic", "extension_primed", "needle"),
        *("attempts", "infusion", "came_from", "inserted_at", "dressing_found", "dressed_at", "needle_intact"),
        *("safety_engaged", "bleeding", "cover", "connections_secure", "purpose", "action", "what", "vesicant"),
        *("flow_ml_per_s", "pressure_psi", "blood_return_before", "drug", "dose_mg", "dose_units", "volume_ml"),
        *("lumen_ml", "reconstituted_at", "second_dose_of", "patency_before", "drug_lot", "treatment"),
        *("withdrawn_ml", "cleared_by", "decision", "evidence", "finding", "to_unit", "to_room", "to_setting"),
        *("handed_to", "destination", "needle_in", "tip_location", "tip_method", "complete", "adds", "text", "sets"),
    }
)
"""Fields that rows of the table of panels, or other resources, carry."""


def derived_fields(kind: str) -> Iterator[str]:
    """Yield the fields of a kind whose Observations follow from their declaration."""
    for name in KINDS[kind].model_fields:
        if name not in _CARRIED or (kind, name) == ("flushed elsewhere", "lock"):
            yield name


def _states() -> Iterator[Concept]:
    """Every reason to keep a line out of use, and the dangers that are flagged, as the states of a line name them."""
    yield from (Concept(f"hold: {reason}", "hold", f"On hold: {reason}") for reason in get_args(HoldReason))
    yield from (Concept(f"danger {code}", "danger", text) for code, text in FLAGGED.items())


def _uses() -> Iterator[Concept]:
    """What a use puts through the line, and why: by its purpose, since drugs are free words there."""
    for purpose, what in GIVEN.items():
        yield Concept(f"given: {purpose}", "drug", what)
        yield Concept(f"reason: {purpose}", "reason", f"{_capital(purpose)} through implanted venous access port")


GIVEN: Final[Mapping[str, str]] = MappingProxyType(
    {
        "infusion": "Fluid or drug infused",
        "medication": "Drug given",
        "transfusion": "Blood product transfused",
        "power injection": "Agent of a power injection",
    }
)
"""What goes through the line in a use, by its purpose; for other purposes blood or a lock comes out."""

FLAGGED: Final[Mapping[str, str]] = MappingProxyType(
    {
        "D1": "Heparin in the line of a patient who is to have none",
        "D2": "Ordinary (coring) needle in the port",
        "D3": "A lock that is not to be flushed in is in the line",
        "D4": "Thrombolytic in the line",
    }
)
"""The standing dangers that leave the record as flags, by their number."""


def _derived() -> Iterator[Concept]:
    for owner in (Site, Dressing):
        yield from _components(said(owner, name) for name in _ADDED if name in owner.model_fields)
    for kind, model in KINDS.items():
        for name in derived_fields(kind):
            part, _ = part_of(model.model_fields[name].annotation)
            label = str(model.model_fields[name].title)
            rows = [said(model, name)] if part is None else list(said_of_part(part))
            of_value = UNITS[rows[0].unit].dimension if part is None and rows[0].unit else None
            yield Concept(observation(label), "observation", _capital(label), dimension=of_value)
            yield from _components(rows)
            if part is not None:
                inner = {row.path[0] for row in rows if len(row.path) > 1}
                labels = (str(part.model_fields[one].title) for one in inner)
                yield from (Concept(component(one), "component", _capital(one)) for one in labels)


_ADDED: Final = ("incision", "swelling_where", "swelling_change", "barrier_film")


def _components(rows: Iterable[Said]) -> Iterator[Concept]:
    for row in rows:
        dimension = UNITS[row.unit].dimension if row.unit else None
        yield Concept(component(row.label), "component", _capital(row.label), dimension=dimension)


def _capital(label: str) -> str:
    return label[:1].upper() + label[1:]


CONCEPTS: Final[Mapping[str, Concept]] = MappingProxyType(
    {
        concept.key: concept
        for concept in (
            *_derived(),
            _concept("access", "procedure", "Access of implanted venous access port with non-coring needle"),
            _concept("de-access", "procedure", "Removal of non-coring needle from implanted venous access port"),
            _concept(
                "dressing change",
                "procedure",
                "Dressing change at implanted venous access port",
                (SNOMED_CT, "18949003"),
            ),
            _concept("flush", "procedure", "Flushing and locking of implanted venous access port"),
            _concept(
                "patency treatment",
                "procedure",
                "Thrombolytic instillation into implanted venous access port",
            ),
            _concept("line use", "procedure", "Use of implanted venous access port"),
            _concept("port implanted", "procedure", "Implantation of venous access port"),
            _concept("port removed", "procedure", "Removal of implanted venous access port"),
            _concept("accessed", "action", "accessed"),
            _concept("de-accessed", "action", "de-accessed"),
            _concept("flushed", "action", "flushed"),
            _concept("dressing exchanged", "action", "dressing exchanged"),
            _concept("used", "action", "used"),
            _concept("implanted", "action", "implanted"),
            _concept("removed", "action", "removed"),
            _concept("blood return", "observation", "Blood return from implanted venous access port"),
            _concept("blood looks", "component", "Look of the aspirate"),
            _concept(
                "waste volume",
                "observation",
                "Volume of first aspirate discarded from implanted venous access port",
                dimension="volume",
            ),
            _concept(
                "withdrawn volume",
                "observation",
                "Volume withdrawn from implanted venous access port after thrombolytic",
                dimension="volume",
            ),
            _concept("resistance", "observation", "Resistance to flush of implanted venous access port"),
            _concept("patency", "observation", "Patency of implanted venous access port"),
            _concept("pain", "observation", "Pain score 0 to 10", (LOINC, "72514-3")),
            _concept("response", "observation", "Patient response to procedure"),
            _concept("attempts", "observation", "Number of needle passes", dimension="count"),
            _concept("bleeding", "observation", "Bleeding after needle removal"),
            _concept("needle whole", "observation", "Needle whole after removal"),
            _concept("safety device", "observation", "Needle safety device engaged"),
            _concept("tip position", "observation", "Catheter tip position confirmed before first use"),
            _concept("connections", "observation", "Connections and clamps of the line"),
            _concept("injection rate", "observation", "Power injection rate", dimension="flow"),
            _concept("injection pressure", "observation", "Power injection pressure limit", dimension="pressure"),
            _concept("evaluation", "observation", "Evaluation of line on hold"),
            _concept("site", "observation", "Skin and tissue at implanted venous access port"),
            _concept("skin", "component", "Skin over port"),
            _concept("erythema", "component", "Erythema"),
            _concept("erythema extent", "component", "Extent of erythema from port", dimension="length"),
            _concept("swelling", "component", "Swelling"),
            _concept("tenderness", "component", "Tenderness"),
            _concept("drainage", "component", "Drainage"),
            _concept("port feel", "component", "Port to the touch"),
            _concept("scale score", "component", "Site scale score"),
            _concept("dressing", "observation", "Dressing at implanted venous access port"),
            _concept("dressing found", "observation", "Dressing found at implanted venous access port"),
            _concept("dressing type", "component", "Dressing type"),
            _concept("dressing condition", "component", "Condition of dressing"),
            _concept("chlorhexidine disc", "component", "Chlorhexidine disc at needle hub"),
            _concept("site visible", "component", "Puncture site in view"),
            _concept("without tension", "component", "Dressing laid without tension"),
            _concept("labelled", "component", "Dressing labelled with date and initials"),
            _concept("securement", "component", "Securement"),
            _concept("antisepsis", "observation", "Skin antisepsis"),
            _concept("antiseptic agent", "component", "Antiseptic agent"),
            _concept("scrub time", "component", "Friction time", dimension="time"),
            _concept("dry time", "component", "Drying time", dimension="time"),
            _concept("fully dry", "component", "Skin fully dry"),
            _concept("skin moisture", "component", "Skin dry or moist before antisepsis"),
            _concept("prep started", "component", "Start of skin antisepsis"),
            _concept("lot", "component", "Lot number"),
            _concept("expiry", "component", "Last day of use"),
            _concept("latex", "component", "Natural rubber latex on the label"),
            _concept("dressing put on", "component", "Time of dressing"),
            _concept("scale name", "component", "Name of site scale"),
            _concept("return not assessed", "component", "Blood return"),
            _concept("step tried", "component", "Step tried to restore blood return"),
            _concept("sample", "component", "Blood sample drawn"),
            _concept("local anesthesia", "observation", "Local anesthesia before port access"),
            _concept("return before use", "observation", "Blood return before use of implanted venous access port"),
            _concept("infusion", "observation", "Infusion through implanted venous access port"),
            _concept("cover", "observation", "Cover of puncture after needle removal"),
            _concept("port whole", "observation", "Port and catheter whole after removal"),
            _concept("care checks", "observation", "Checks and technique of port care"),
            _concept("septum", "component", "Septum of the port"),
            _concept("reason for look", "component", "Reason"),
            _concept("identifier checked", "component", "Patient identifier checked"),
            _concept("allergies checked", "component", "Allergies checked"),
            _concept("hub scrub time", "component", "Scrub of needleless connector", dimension="time"),
            _concept("technique", "component", "Aseptic technique"),
            _concept("hand hygiene", "component", "Hand hygiene before procedure"),
            _concept("masks", "component", "Masks for all people present"),
            _concept("sterile gloves", "component", "Sterile gloves"),
            _concept("sterile field", "component", "Sterile field"),
            _concept("extension primed", "component", "Extension primed with saline and clamped"),
            _concept("connector changed", "component", "Needleless connector and extension changed"),
            _concept("disinfecting caps", "component", "Disinfecting caps on all connectors"),
            _concept("follows removal", "component", "Record entry of the removal that this access follows"),
            _concept("treatment checked", "component", "Record entry of the treatment that is checked"),
            _concept("came from", "component", "Where the patient came from"),
            _concept("time of insertion", "component", "Time of needle insertion"),
            _concept("use of line", "observation", "Use of implanted venous access port: purpose and substance"),
            _concept("purpose", "component", "Purpose of use"),
            _concept("use action", "component", "Started, stopped or given"),
            _concept("substance", "component", "Drug, fluid or sample"),
            _concept("vesicant", "component", "Vesicant"),
            _concept("evidence", "component", "Evidence"),
            _concept("evaluation finding", "component", "Finding of evaluation"),
            _concept("evaluator", "component", "Evaluated by"),
            _concept("teaching", "observation", "Teaching about implanted venous access port"),
            _concept("learner", "component", "Who was taught"),
            _concept("understanding", "component", "Understanding shown"),
            _concept("next due", "observation", "Next due as told by the nurse"),
            _concept("needle change told", "component", "Next needle change"),
            _concept("dressing change told", "component", "Next dressing change"),
            _concept("flush told", "component", "Next flush"),
            _concept("problem", "observation", "Problem with implanted venous access port"),
            _concept("action taken", "component", "What was done about it"),
            _concept("person told", "component", "Who was told"),
            _concept("told at", "component", "When they were told"),
            _concept("reply", "component", "What they answered"),
            _concept("transfer", "observation", "Transfer of patient with implanted venous access port"),
            _concept("discharge", "observation", "Discharge of patient with implanted venous access port"),
            _concept("new unit", "component", "New unit"),
            _concept("new room", "component", "New room"),
            _concept("new setting", "component", "Setting of new unit"),
            _concept("destination", "component", "Destination"),
            _concept("needle left in", "component", "Needle left in"),
            _concept("taken over by", "component", "Who took over"),
            _concept("credential", "component", "Credential of that person"),
            _concept("staff identifier", "component", "Staff identifier of that person"),
            _concept("new to procedure", "component", "That person is new to the procedure"),
            _concept("tip after implantation", "observation", "Catheter tip after implantation"),
            _concept("tip location", "component", "Catheter tip location"),
            _concept("confirmed by", "component", "How tip position was confirmed"),
            _concept("remark", "observation", "Remark of the nurse"),
            _concept("addendum", "observation", "Text added to an earlier entry"),
            _concept("exam", "category", "Exam", (OBSERVATION_CATEGORY, "exam")),
            _concept("survey", "category", "Survey", (OBSERVATION_CATEGORY, "survey")),
            _concept("procedure category", "category", "Procedure", (OBSERVATION_CATEGORY, "procedure")),
            _concept("needle change due", "due", "Change of non-coring needle due"),
            _concept("dressing change due", "due", "Dressing change due"),
            _concept("flush due", "due", "Flush and lock of implanted venous access port due"),
            _concept("patency check due", "due", "Check of dwelling thrombolytic due"),
            _concept("evaluation due", "task", "Evaluation of the line"),
            *_states(),
            _concept("safety", "category", "Safety", (FLAG_CATEGORY, "safety")),
            _concept("vital signs", "category", "Vital signs", (OBSERVATION_CATEGORY, "vital-signs")),
            _concept("weight", "observation", "Body weight", (LOINC, "29463-7"), dimension="mass"),
            _concept("no known allergy", "allergy", "No known allergy", (SNOMED_CT, "716186003")),
            _concept("allergy active", "status", "Active", (ALLERGY_CLINICAL, "active")),
            _concept("allergy inactive", "status", "Inactive", (ALLERGY_CLINICAL, "inactive")),
            _concept("allergy refuted", "status", "Refuted", (ALLERGY_STATUS, "refuted")),
            _concept("allergy in error", "status", "Allergy entered in error", (ALLERGY_STATUS, "entered-in-error")),
            _concept(
                "condition in error", "status", "Condition entered in error", (CONDITION_STATUS, "entered-in-error")
            ),
            _concept("port record", "record", "What the port's record began with"),
            _concept("correction", "observation", "Correction of an earlier entry"),
            _concept("port septum", "property", "Septum of the port"),
            _concept("intradermal route", "route", "Intradermal"),
            _concept("port", "device", "Implanted venous access port", (SNOMED_CT, "398013009")),
            _concept("needle", "device", "Non-coring needle", (SNOMED_CT, "79068005")),
            _concept("gauge", "property", "Needle gauge", (DICOM, "111465")),
            _concept("length", "property", "Needle length", (DICOM, "111467"), dimension="length"),
            _concept("set volume", "property", "Priming volume of needle and extension", dimension="volume"),
            _concept("connector volume", "property", "Priming volume of connector", dimension="volume"),
            _concept("non-coring", "property", "Non-coring"),
            _concept("power rated", "property", "Power injection rating"),
            _concept("side", "property", "Side of the body"),
            _concept("area", "property", "Part of the body"),
            _concept("site detail", "property", "Site detail"),
            _concept("septa", "property", "Septum"),
            _concept("touch", "property", "Shape to the touch"),
            _concept("flow limit", "property", "Labelled limit of injection rate", dimension="flow"),
            _concept("pressure limit", "property", "Labelled limit of injection pressure", dimension="pressure"),
            _concept("catheter volume", "property", "Volume of catheter and port", dimension="volume"),
            _concept("valved", "property", "Valve in catheter"),
            _concept("tip", "property", "Catheter tip location"),
            _concept("tip method", "property", "How tip position was confirmed"),
            _concept("tip confirmed on", "property", "When tip position was confirmed"),
            _concept("implanted on", "property", "Day of implantation"),
            _concept("label latex", "property", "Natural rubber latex on the label"),
            _concept("flush route", "route", "Flush, intravenous catheter", (V3_ROUTE, "IVFLUSH")),
            _concept("intravenous route", "route", "Intravenous", (SNOMED_CT, "47625008")),
            _concept("topical route", "route", "Topical", (V3_ROUTE, "TOPICAL"), (SNOMED_CT, "6064005")),
            _concept("chest", "body site", "Chest wall", (SNOMED_CT, "78904004")),
            _concept("infraclavicular", "body site", "Infraclavicular chest", (SNOMED_CT, "66288003")),
            _concept("upper arm", "body site", "Upper arm", (SNOMED_CT, "40983000")),
            _concept("right arm", "body site", "Right arm", (SNOMED_CT, "368209003")),
            _concept("device care", "reason", "Management of vascular access device", (ICD_10_CM, "Z45.2")),
            _concept("reason: flush", "reason", "Flush of implanted venous access port"),
            _concept("reason: lock", "reason", "Lock of implanted venous access port"),
            _concept("reason: anesthesia", "reason", "Local anesthesia before port access"),
            _concept("reason: clearing", "reason", "Clearing of occluded port"),
            *_uses(),
            _concept("flush solution", "drug", "Flush solution"),
            _concept("lock solution", "drug", "Lock solution"),
            _concept("nurse note", "document", "Nurse note", (LOINC, "34746-8")),
            _concept("handoff note", "document", "Nursing handoff note"),
            _concept("clinical note", "document", "Clinical note", (US_CORE_DOCUMENT_CATEGORY, "clinical-note")),
            _concept("created", "activity", "Record entered", (V3_DATA_OPERATION, "CREATE")),
            _concept("revised", "activity", "Record amended", (V3_DATA_OPERATION, "UPDATE")),
            _concept("nullified", "activity", "Record entered in error", (V3_DATA_OPERATION, "NULLIFY")),
            _concept("author", "agent", "Author", (PARTICIPANT_TYPE, "author")),
            _concept("transmitter", "agent", "Transmitter", (PARTICIPANT_TYPE, "transmitter")),
            _concept("assembler", "agent", "Assembler", (PARTICIPANT_TYPE, "assembler")),
            _concept("verifier", "agent", "Second nurse who verified", (PARTICIPANT_TYPE, "verifier")),
            _concept("unknown", "absent", "Not known", (DATA_ABSENT_REASON, "unknown")),
            _concept("not performed", "absent", "Not assessed", (DATA_ABSENT_REASON, "not-performed")),
            _concept("ambulatory", "class", "Ambulatory", (V3_ACT_CODE, "AMB")),
            _concept("inpatient", "class", "Inpatient", (V3_ACT_CODE, "IMP")),
            _concept("emergency", "class", "Emergency", (V3_ACT_CODE, "EMER")),
            _concept("home", "class", "Home health", (V3_ACT_CODE, "HH")),
            _concept("record number", "identifier", "Medical record number", (V2_IDENTIFIER_TYPE, "MR")),
            _concept("staff number", "identifier", "Staff number"),
            _concept("visit number", "identifier", "Visit number"),
        )
    }
)
"""Every concept by its key. Adding one is adding a row; ``verify`` knows it at once."""


def codeable(key: str, text: str | None = None) -> dict[str, Any]:
    """The CodeableConcept of a concept: codings when verified ones exist, and always a text.

    ``text`` replaces the concept's own words where the record says more, such as the side of a body site.
    Raises KeyError for a concept that is not in ``CONCEPTS``.
    """
    concept = CONCEPTS[key]
    said: dict[str, Any] = {}
    if concept.codes:
        said["coding"] = [code.coding() for code in concept.codes]
    said["text"] = text or concept.text
    return said


OUTSIDE_ALONE: Final = frozenset(
    {"category", "absent", "activity", "agent", "class", "identifier", "document", "status"}
)
"""Elements whose published codes suffice: our own code stands in the code system, and is not sent."""


def _vocabulary() -> Iterator[str]:
    """Every word of the closed vocabularies of records."""
    for name, held in vars(vocabulary).items():
        if not name.startswith("_") and get_origin(held) is Literal:
            yield from get_args(held)
    for kind in KINDS.values():
        for field in kind.model_fields.values():
            for member in members(field.annotation):
                if get_origin(member) is Literal and field.title is not None:
                    yield from get_args(member)
    yield from ("dry", "moist")  # of Antisepsis.skin, whose pattern has no list


WORDS: Final[Mapping[str, str]] = MappingProxyType({word: f"word.{slug(word)}" for word in _vocabulary()})
"""The code of every word that records may say, in the code system of our own."""

DRUGS: Final = frozenset(
    WORDS[word]
    for names in (
        vocabulary.FlushSolution,
        vocabulary.LockDrug,
        vocabulary.AnestheticAgent,
        vocabulary.ThrombolyticDrug,
    )
    for word in get_args(names)
)
"""The codes of drugs and solutions: a facility may put its own code beside them."""

LOCAL: Final[Mapping[str, str]] = MappingProxyType(
    {concept.local: concept.text for concept in CONCEPTS.values()} | {code: word for word, code in WORDS.items()}
)
"""Every code of our own with its display: concepts and words; none can be forgotten, since these tables are all."""

SYSTEMS: Final = frozenset(code.system for code in CODES)
"""The code systems of others from which codes were verified."""


@dataclass(frozen=True, slots=True)
class CodeRow:
    """One row of the published table of codes."""

    code: Code
    used_for: tuple[str, ...]


def code_rows() -> tuple[CodeRow, ...]:
    """Every code with the concepts that carry it, in the order of ``CODES``: for the generated page."""
    return tuple(
        CodeRow(code, tuple(concept.key for concept in CONCEPTS.values() if code in concept.codes)) for code in CODES
    )
