"""Every concept that a CodeableConcept of ours may say: its words, and the verified codes beside them.

A concept without a code goes out as its text alone. Adding one is adding a row.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final, Literal, get_args

from lda_notes.fhir import codes as verified
from lda_notes.fhir.panels import DERIVED, PANELS, component, derived_fields, observation
from lda_notes.fhir.units import UNITS, Dimension
from lda_notes.line.states import HoldReason
from lda_notes.record.events import KINDS
from lda_notes.record.exchange import Said, part_of, said, said_of_part

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
    """The contents of one CodeableConcept. ``dimension`` is what a quantity about it must measure, if it has one."""

    key: str
    use: Use
    text: str
    codes: tuple[verified.Code, ...] = ()
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
    return Concept(key, use, text, tuple(verified.BY_KEY[code] for code in codes), dimension)


def _states() -> Iterator[Concept]:
    """Yield every reason to keep a line out of use, and the dangers that are flagged, as states name them."""
    yield from (Concept(f"hold: {reason}", "hold", f"On hold: {reason}") for reason in get_args(HoldReason))
    yield from (Concept(f"danger {code}", "danger", text) for code, text in FLAGGED.items())


def _uses() -> Iterator[Concept]:
    """Yield what a use puts through the line, and why: by its purpose, since drugs are free words there."""
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
"""The substance that goes through the line in a use, by purpose; for other purposes blood or a lock comes out."""

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
    for panel in PANELS:
        added = (fact.path[0] for fact in panel.components if DERIVED in fact.concept)
        yield from _components(said(panel.part_type, name) for name in added if panel.part_type is not None)
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
            _concept("access", "procedure", "Access of implanted venous access port"),
            _concept("de-access", "procedure", "Removal of needle from implanted venous access port"),
            _concept(
                "dressing change",
                "procedure",
                "Dressing change at implanted venous access port",
                (verified.SNOMED_CT, "18949003"),
            ),
            _concept("flush", "procedure", "Flushing and locking of implanted venous access port"),
            _concept("patency treatment", "procedure", "Thrombolytic instillation into implanted venous access port"),
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
            _concept("pain", "observation", "Pain score 0 to 10", (verified.LOINC, "72514-3")),
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
            _concept("port feel", "component", "Port on palpation"),
            _concept("scale score", "component", "Site scale score"),
            _concept("dressing", "observation", "Dressing at implanted venous access port"),
            _concept("dressing found", "observation", "Dressing found at implanted venous access port"),
            _concept("dressing type", "component", "Dressing type"),
            _concept("dressing condition", "component", "Condition of dressing"),
            _concept("chlorhexidine disc", "component", "Chlorhexidine disc at needle hub"),
            _concept("site visible", "component", "Puncture site in view"),
            _concept("without tension", "component", "Dressing applied without tension"),
            _concept("labelled", "component", "Dressing labeled with date and initials"),
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
            _concept("person told", "component", "Person notified"),
            _concept("told at", "component", "Time of notification"),
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
            _concept("exam", "category", "Exam", (verified.OBSERVATION_CATEGORY, "exam")),
            _concept("survey", "category", "Survey", (verified.OBSERVATION_CATEGORY, "survey")),
            _concept("procedure category", "category", "Procedure", (verified.OBSERVATION_CATEGORY, "procedure")),
            _concept("needle change due", "due", "Change of needle due"),
            _concept("dressing change due", "due", "Dressing change due"),
            _concept("flush due", "due", "Flush and lock of implanted venous access port due"),
            _concept("patency check due", "due", "Check of dwelling thrombolytic due"),
            _concept("evaluation due", "task", "Evaluation of the line"),
            *_states(),
            _concept("safety", "category", "Safety", (verified.FLAG_CATEGORY, "safety")),
            _concept("vital signs", "category", "Vital signs", (verified.OBSERVATION_CATEGORY, "vital-signs")),
            _concept("weight", "observation", "Body weight", (verified.LOINC, "29463-7"), dimension="mass"),
            _concept("no known allergy", "allergy", "No known allergy", (verified.SNOMED_CT, "716186003")),
            _concept("allergy active", "status", "Active", (verified.ALLERGY_CLINICAL, "active")),
            _concept("allergy inactive", "status", "Inactive", (verified.ALLERGY_CLINICAL, "inactive")),
            _concept("allergy refuted", "status", "Refuted", (verified.ALLERGY_STATUS, "refuted")),
            _concept(
                "allergy in error", "status", "Allergy entered in error", (verified.ALLERGY_STATUS, "entered-in-error")
            ),
            _concept(
                "condition in error",
                "status",
                "Condition entered in error",
                (verified.CONDITION_STATUS, "entered-in-error"),
            ),
            _concept("port record", "record", "What the port's record began with"),
            _concept("correction", "observation", "Correction of an earlier entry"),
            _concept("port septum", "property", "Septum of the port"),
            _concept("intradermal route", "route", "Intradermal"),
            _concept("port", "device", "Implanted venous access port", (verified.SNOMED_CT, "398013009")),
            _concept("needle", "device", "Non-coring needle", (verified.SNOMED_CT, "79068005")),
            _concept("other needle", "device", "Needle", (verified.SNOMED_CT, "79068005")),
            _concept("gauge", "property", "Needle gauge", (verified.DICOM, "111465")),
            _concept("length", "property", "Needle length", (verified.DICOM, "111467"), dimension="length"),
            _concept("set volume", "property", "Priming volume of needle and extension", dimension="volume"),
            _concept("connector volume", "property", "Priming volume of connector", dimension="volume"),
            _concept("non-coring", "property", "Non-coring"),
            _concept("power rated", "property", "Power injection rating"),
            _concept("side", "property", "Side of the body"),
            _concept("area", "property", "Part of the body"),
            _concept("site detail", "property", "Site detail"),
            _concept("septa", "property", "Septum"),
            _concept("touch", "property", "Shape to the touch"),
            _concept("flow limit", "property", "Labeled limit of injection rate", dimension="flow"),
            _concept("pressure limit", "property", "Labeled limit of injection pressure", dimension="pressure"),
            _concept("catheter volume", "property", "Volume of catheter and port", dimension="volume"),
            _concept("valved", "property", "Valve in catheter"),
            _concept("tip", "property", "Catheter tip location"),
            _concept("tip method", "property", "How tip position was confirmed"),
            _concept("tip confirmed on", "property", "When tip position was confirmed"),
            _concept("implanted on", "property", "Day of implantation"),
            _concept("label latex", "property", "Natural rubber latex on the label"),
            _concept("flush route", "route", "Flush, intravenous catheter", (verified.V3_ROUTE, "IVFLUSH")),
            _concept("intravenous route", "route", "Intravenous", (verified.SNOMED_CT, "47625008")),
            _concept(
                "topical route", "route", "Topical", (verified.V3_ROUTE, "TOPICAL"), (verified.SNOMED_CT, "6064005")
            ),
            _concept("chest", "body site", "Chest wall", (verified.SNOMED_CT, "78904004")),
            _concept("infraclavicular", "body site", "Infraclavicular chest", (verified.SNOMED_CT, "66288003")),
            _concept("upper arm", "body site", "Upper arm", (verified.SNOMED_CT, "40983000")),
            _concept("right arm", "body site", "Right arm", (verified.SNOMED_CT, "368209003")),
            _concept("device care", "reason", "Management of vascular access device", (verified.ICD_10_CM, "Z45.2")),
            _concept("reason: flush", "reason", "Flush of implanted venous access port"),
            _concept("reason: lock", "reason", "Lock of implanted venous access port"),
            _concept("reason: anesthesia", "reason", "Local anesthesia before port access"),
            _concept("reason: clearing", "reason", "Clearing of occluded port"),
            *_uses(),
            _concept("flush solution", "drug", "Flush solution"),
            _concept("lock solution", "drug", "Lock solution"),
            _concept("nurse note", "document", "Nurse note", (verified.LOINC, "34746-8")),
            _concept("handoff note", "document", "Nursing handoff note"),
            _concept(
                "clinical note", "document", "Clinical note", (verified.US_CORE_DOCUMENT_CATEGORY, "clinical-note")
            ),
            _concept("created", "activity", "Record entered", (verified.V3_DATA_OPERATION, "CREATE")),
            _concept("revised", "activity", "Record amended", (verified.V3_DATA_OPERATION, "UPDATE")),
            _concept("nullified", "activity", "Record entered in error", (verified.V3_DATA_OPERATION, "NULLIFY")),
            _concept("author", "agent", "Author", (verified.PARTICIPANT_TYPE, "author")),
            _concept("transmitter", "agent", "Transmitter", (verified.PARTICIPANT_TYPE, "transmitter")),
            _concept("assembler", "agent", "Assembler", (verified.PARTICIPANT_TYPE, "assembler")),
            _concept("verifier", "agent", "Second nurse who verified", (verified.PARTICIPANT_TYPE, "verifier")),
            _concept("unknown", "absent", "Not known", (verified.DATA_ABSENT_REASON, "unknown")),
            _concept("not performed", "absent", "Not assessed", (verified.DATA_ABSENT_REASON, "not-performed")),
            _concept("ambulatory", "class", "Ambulatory", (verified.V3_ACT_CODE, "AMB")),
            _concept("inpatient", "class", "Inpatient", (verified.V3_ACT_CODE, "IMP")),
            _concept("emergency", "class", "Emergency", (verified.V3_ACT_CODE, "EMER")),
            _concept("home", "class", "Home health", (verified.V3_ACT_CODE, "HH")),
            _concept("record number", "identifier", "Medical record number", (verified.V2_IDENTIFIER_TYPE, "MR")),
            _concept("staff number", "identifier", "Staff number"),
            _concept("visit number", "identifier", "Visit number"),
        )
    }
)
"""Every concept by its key. Adding one is adding a row; ``verify`` knows it at once."""


def codeable(key: str, text: str | None = None) -> dict[str, Any]:
    """Return the CodeableConcept of a concept: codings when verified ones exist, and always a text.

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
