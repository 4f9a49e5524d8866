"""Our own profile of R4: what a bundle of ours must contain beyond what R4 asks.

Every element choice, status, unit and code of ours is fixed here, so that a slip of the builder is found before
the bundle leaves. Identity and the conditions of requests are in ``identity.py``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

from lda_notes.fhir.codes import CODES, SYSTEMS
from lda_notes.fhir.concepts import CONCEPTS, OUTSIDE_ALONE, Concept
from lda_notes.fhir.identity import identity_rules
from lda_notes.fhir.local import DRUGS, LOCAL
from lda_notes.fhir.units import UCUM, UNITS, Dimension
from lda_notes.fhir.verify.definitions import load
from lda_notes.fhir.verify.faults import Fault, Found, says, shown
from lda_notes.fhir.verify.primitives import is_later
from lda_notes.fhir.verify.references import literal_type
from lda_notes.fhir.verify.scope import Scope
from lda_notes.fhir.verify.structure import Rule

Object = Mapping[str, Any]

STATUSES: Final[Mapping[str, frozenset[str]]] = {
    "Procedure": frozenset({"completed", "in-progress", "not-done", "stopped", "entered-in-error"}),
    "Device": frozenset({"active", "inactive", "entered-in-error"}),
    "DeviceUseStatement": frozenset({"active", "completed", "entered-in-error"}),
    "Observation": frozenset({"preliminary", "final", "amended", "corrected", "entered-in-error"}),
    "MedicationAdministration": frozenset(
        {"completed", "in-progress", "not-done", "stopped", "unknown", "entered-in-error"}
    ),
    "Task": frozenset({"requested", "completed", "cancelled", "entered-in-error"}),
    "DocumentReference": frozenset({"current", "superseded", "entered-in-error"}),
    "ServiceRequest": frozenset({"active", "completed", "revoked", "entered-in-error"}),
    "Flag": frozenset({"active", "inactive", "entered-in-error"}),
    "List": frozenset({"current", "entered-in-error"}),
}
"""The statuses that we use, of those that R4 knows."""

ALWAYS_SENT: Final[Mapping[str, tuple[str, ...]]] = {
    "Bundle": ("entry",),
    "Bundle.entry": ("fullUrl", "resource", "request"),
    "Procedure": ("code", "performer", "focalDevice"),
    "Device": ("type", "status"),
    "Observation": ("category", "subject", "effective[x]", "performer"),
    "MedicationAdministration": ("partOf", "performer"),
    "Task": ("code", "focus", "for", "authoredOn", "lastModified", "reasonCode", "reasonReference"),
    "ServiceRequest": ("code", "subject", "occurrence[x]", "authoredOn", "supportingInfo"),
    "Flag": ("category", "subject", "period"),
    "List": ("code", "subject"),
    "AllergyIntolerance": ("code",),
    "Condition": ("code",),
    "DocumentReference": ("type", "category", "subject", "date", "author"),
    "Provenance": ("activity",),
    "CodeableConcept": ("text",),
}
"""Elements that R4 leaves open and we always send."""

DRUG_DIMENSIONS: Final[tuple[tuple[str, Dimension], ...]] = (
    ("heparin", "heparin activity"),
    ("alteplase", "mass"),
    ("urokinase", "international activity"),
    ("sodium chloride", "volume"),
    ("dextrose", "volume"),
)
"""The dimension of a dose, by the first of these words that the name of its drug contains."""

_VALUES: Final = frozenset(
    f"value{name}"
    for name in (
        *("Quantity", "CodeableConcept", "String", "Boolean", "Integer", "Range"),
        *("Ratio", "SampledData", "Time", "DateTime", "Period"),
    )
)
_CONDITIONAL: Final = re.compile(r"[A-Z][A-Za-z]+\?")
_PAIN: Final = CONCEPTS["pain"]
_ABOUT_THE_PATIENT: Final = frozenset({"pain", "response", "weight"})
_CATEGORIES: Final = {"pain": "survey", "weight": "vital-signs"}
_VERIFIED: Final = {(code.system, code.code): code.display for code in CODES}
_BY_TEXT: Final[Mapping[tuple[str, str], Concept]] = {
    (concept.use, concept.text): concept for concept in CONCEPTS.values()
}


def _coding_faults(coding: Object) -> Found:
    """Find a coding that is neither in the table of codes as it is nor in our own code system."""
    code, system = coding.get("code"), coding.get("system")
    if code is None:
        return [says("unverified-code", None, "The coding has no code.", "Send the text alone.", "code")]
    display = _VERIFIED.get((system, code)) if isinstance(code, str) and isinstance(system, str) else None
    if display is None and isinstance(code, str) and system not in SYSTEMS:
        display = LOCAL.get(code)
    if display is None:
        message = f"{shown(code)} of {shown(system)} is a code that nobody verified."
        return [says("unverified-code", code, message, "Send the text alone, or verify the code.", "code")]
    if coding.get("display") != display:
        message = f"The display of {code} is {shown(coding.get('display'))}, not {display!r}."
        return [says("display", coding.get("display"), message, "Send the display of the table.", "display")]
    return None


def _concept_codes(value: Object, _: Scope) -> Found:
    found: list[Fault] = []
    is_drug = any(coding.get("code") in DRUGS for coding in value["coding"])
    for index, coding in enumerate(value["coding"]):
        if is_drug and coding.get("system") not in SYSTEMS and coding.get("code") not in LOCAL:
            continue  # the facility's own code of the drug, by its configuration
        found += [fault.at(index, "coding") for fault in _coding_faults(coding) or ()]
    return found or None


def _coded(key: str) -> Callable[[Object, Scope], Found]:
    """Return the check of an element that is a Coding."""
    return lambda value, _: [fault.at(key) for fault in _coding_faults(value[key]) or ()] or None


def _unit(value: Object, _: Scope) -> Found:
    """Find a quantity with a negative value, or with a unit that is not in the closed list as written there."""
    code = value.get("code")
    unit = UNITS.get(code) if isinstance(code, str) else None
    if unit is None or value.get("system") != UCUM:
        message = f"{shown(code)} of {shown(value.get('system'))} is not one of the units {', '.join(UNITS)}."
        return [says("unit", code, message, "Send a UCUM code of the list; mind its capitals.", "code")]
    found = []
    if value.get("unit") != unit.written:
        message = f"The unit reads {shown(value.get('unit'))}; {code} is written {unit.written}."
        found.append(says("unit", value.get("unit"), message, "Write the unit as listed.", "unit"))
    if value.get("value", -1) < 0:
        message = f"The amount is {shown(value.get('value'))}; it must be there and not be negative."
        found.append(says("amount", value.get("value"), message, "Send the amount.", "value"))
    return found or None


def _dimension(quantity: Object, due: Dimension | None, about: str) -> Found:
    unit = UNITS.get(quantity.get("code", ""))
    if unit is None or unit.dimension == due:
        return None
    expected = f"a {due}" if due else "no quantity"
    message = f"{about} is given as {unit.dimension} ({unit.code}); {expected} is due."
    return [says("dimension", unit.code, message, "Send it in a unit of the right kind.", "code")]


def _known_concept(use: str, concept: Object) -> Concept | list[Fault]:
    """Return the concept that a CodeableConcept of ours says, or the fault that it says none."""
    text = concept.get("text", "")
    known = _BY_TEXT.get((use, text)) if isinstance(text, str) else None
    if known is None:
        message = f"{shown(text)} is no {use} that we know."
        return [says("unknown-concept", text, message, "Use a concept of the table.", "text")]
    codings = concept.get("coding", ())
    own = use not in OUTSIDE_ALONE or not known.codes
    due = len(known.codes) + own
    if len(codings) != due:
        message = f"{known.text} goes out with {due} code{'s' if due != 1 else ''}, not {len(codings)}."
        return [says("unknown-concept", text, message, "Send its codes, no more.", "coding")]
    wanted = [*(code.code for code in known.codes), *([known.local] if own else ())]
    for coding, code in zip(codings, wanted, strict=True):
        if coding.get("code") != code:
            message = f"{known.text} is said with the code {shown(coding.get('code'))}, not {code}."
            return [says("unknown-concept", coding.get("code"), message, "Send its own code.", "coding")]
    return known


def _said(use: str, key: str, value: Object) -> Concept | list[Fault]:
    found = _known_concept(use, value.get(key, {}))
    return [fault.at(key) for fault in found] if isinstance(found, list) else found


def _value_faults(value: Object, concept: Concept) -> Iterator[Fault]:
    if "valueQuantity" in value:
        for fault in _dimension(value["valueQuantity"], concept.dimension, concept.text) or ():
            yield fault.at("valueQuantity")


def _has_value(value: Object) -> bool:
    return not _VALUES.isdisjoint(value)


def _observation(value: Object, _: Scope) -> Found:
    found: list[Fault] = []
    absent = "dataAbsentReason" in value
    if not (_has_value(value) or absent or "component" in value):
        message = "The observation has no value, no components and no reason for their absence."
        found.append(says("no-value", None, message, "Send one of them."))
    if absent and "component" in value:
        message = "The observation says that it is absent, and has components."
        found.append(says("no-value", None, message, "Send the reason in the components.", "dataAbsentReason"))
    if "device" in value:
        message = "Observation.device is the measuring device, not the port."
        found.append(says("port-is-focus", value["device"], message, "Send the port as focus.", "device"))
    concept = _said("observation", "code", value)
    if isinstance(concept, list):
        return found + concept
    found += _value_faults(value, concept)
    found += _about(value, concept)
    return found or None


def _about(value: Object, concept: Concept) -> Iterator[Fault]:
    """Pain and response are about the patient, all else is about the port; pain is a survey from 0 to 10."""
    if (concept.key in _ABOUT_THE_PATIENT) == ("focus" in value):
        wanted = "no focus: it is about the patient" if "focus" in value else "the port as focus"
        message = f"{concept.text} asks for {wanted}."
        yield says("port-is-focus", value.get("focus"), message, "Correct the focus.", "focus")
    due = _CATEGORIES.get(concept.key, "exam")
    coded = [coding.get("code") for one in value.get("category", ()) for coding in one.get("coding", ())]
    if coded and due not in coded:
        message = f"{concept.text} has the category {due}."
        yield says("category", coded, message, f"Send the category {due}.", "category")
    score = value.get("valueInteger")
    if concept is _PAIN and score is not None and not 0 <= score <= 10:
        yield says("amount", score, f"A pain score of {score} is outside 0 to 10.", "Correct it.", "valueInteger")


def _component(value: Object, _: Scope) -> Found:
    found: list[Fault] = []
    if _has_value(value) == ("dataAbsentReason" in value):
        message = "A component has either a value or the reason why it has none."
        found.append(says("no-value", None, message, "Send exactly one of them."))
    concept = _said("component", "code", value)
    if isinstance(concept, list):
        return found + concept
    found += _value_faults(value, concept)
    return found or None


def _property(value: Object, _: Scope) -> Found:
    concept = _said("property", "type", value)
    if isinstance(concept, list):
        return concept
    return [
        fault.at(index, "valueQuantity")
        for index, quantity in enumerate(value.get("valueQuantity", ()))
        for fault in _dimension(quantity, concept.dimension, concept.text) or ()
    ] or None


def _needs_reason(value: Object) -> Iterator[Fault]:
    if value.get("status") in ("not-done", "stopped") and "statusReason" not in value:
        message = f"The status is {value['status']}, without a reason."
        yield says("status-reason", value["status"], message, "Say why in statusReason.", "statusReason")


def _procedure(value: Object, _: Scope) -> Found:
    found = list(_needs_reason(value))
    timed = "performedPeriod" in value or "performedDateTime" in value
    if value.get("status") in ("completed", "in-progress") and not timed:
        message = "A procedure that was done has no time."
        found.append(says("performed", None, message, "Send performedPeriod.", "performedPeriod"))
    concept = _said("procedure", "code", value)
    return (found + (concept if isinstance(concept, list) else [])) or None


def _administration(value: Object, _: Scope) -> Found:
    found = list(_needs_reason(value))
    name = value.get("medicationCodeableConcept", {}).get("text", "").lower()
    dose = value.get("dosage", {}).get("dose")
    for word, due in DRUG_DIMENSIONS:
        if dose is not None and word in name:
            found += [fault.at("dose", "dosage") for fault in _dimension(dose, due, f"A dose of {word}") or ()]
            break
    return found or None


def _use(value: Object, _: Scope) -> Found:
    ended = "end" in value.get("timingPeriod", {})
    if (value.get("status") == "completed") == ended or value.get("status") == "entered-in-error":
        return None
    message = f"The use is {value.get('status')} {'with' if ended else 'without'} an end."
    return [says("use-end", value.get("status"), message, "Let status and end agree.", "timingPeriod")]


def _plans(value: Object, use: str) -> list[Fault]:
    """We plan and never order; what is planned is a concept of ours."""
    found = []
    if value.get("intent") != "plan":
        message = f"The intent is {shown(value.get('intent'))}; we plan, and never order."
        found.append(says("intent", value.get("intent"), message, "Send the intent plan.", "intent"))
    concept = _said(use, "code", value)
    return found + (concept if isinstance(concept, list) else [])


def _task(value: Object, _: Scope) -> Found:
    concept = _said("hold", "reasonCode", value)
    return (_plans(value, "task") + (concept if isinstance(concept, list) else [])) or None


def _request(value: Object, _: Scope) -> Found:
    return _plans(value, "due") or None


def _flag(value: Object, _: Scope) -> Found:
    """Find a hold that is not in its own words; a danger's words say more than its code."""
    codes = {coding.get("code") for coding in value.get("code", {}).get("coding", ())}
    if any(isinstance(code, str) and code.startswith("danger.") for code in codes):
        return None
    concept = _said("hold", "code", value)
    return concept if isinstance(concept, list) else None


def _attached(value: Object, _: Scope) -> Found:
    if value["data"].split() != [value["data"]]:
        message = "The data hold white space, which R4 allows and strict servers do not."
        return [says("attachment", None, message, "Send base64 in one piece.", "data")]
    missing = [key for key in ("contentType", "title", "creation", "size", "hash") if key not in value]
    if missing:
        message = f"The attachment has no {', '.join(missing)}."
        return [says("attachment", None, message, "Send them with the data.", missing[0])]
    return None


def _language(value: Object, _: Scope) -> Found:
    """Strict servers take languages of R4's preferred list alone."""
    if value["language"] in load().bindings["languages"]:
        return None
    message = f"{shown(value['language'])} is not one of R4's common languages."
    return [says("language", value["language"], message, "Send a code such as en-US.", "language")]


def _comparable(first: str, second: str) -> Callable[[Object, Scope], Found]:
    """Two moments of which a server can tell which comes first."""

    def faults(value: Object, _: Scope) -> Found:
        if first not in value or second not in value or is_later(value[first], value[second]) is not None:
            return None
        message = f"{first} and {second} are of different precision: which comes first cannot be told."
        return [says("precision", value[second], message, "Send both with date, time and zone.", second)]

    return faults


def _absolute_reference(value: Object, scope: Scope) -> Found:
    """Find a reference to another server that does not name type and id."""
    reference = value["reference"]
    if ":" not in reference or reference in scope.types or reference.startswith("urn:") or literal_type(reference):
        return None
    if _CONDITIONAL.match(reference):
        return None
    message = f"{shown(reference)} names no resource by type and id."
    return [says("reference-form", reference, message, "Write it as https://server/Type/id.", "reference")]


def _agents(value: Object, _: Scope) -> Found:
    message, todo = "The agent acts for no organization.", "Send onBehalfOf."
    return [
        says("agent-organization", agent.get("who"), message, todo, "onBehalfOf", index, "agent")
        for index, agent in enumerate(value.get("agent", ()))
        if "onBehalfOf" not in agent
    ] or None


def _status_rule(kind: str, statuses: frozenset[str]) -> Rule:
    def faults(value: Object, _: Scope) -> Found:
        if value["status"] in statuses:
            return None
        message = f"{shown(value['status'])} is a status that we do not use; we use {', '.join(sorted(statuses))}."
        return [says("status", value["status"], message, "Send one of these.", "status")]

    return Rule("status", kind, frozenset({"status"}), faults)


def _contained(value: Object, _: Scope) -> Found:
    return [says("contained", value["contained"], "We contain no resources.", "Make it an entry.", "contained")]


def profile_rules() -> list[Rule]:
    """Return the rules of our own bundles."""
    always: frozenset[str] = frozenset()
    rules = [
        Rule("unverified-code", "CodeableConcept", frozenset({"coding"}), _concept_codes),
        Rule("unverified-code", "Encounter", frozenset({"class"}), _coded("class")),
        Rule("unverified-code", "Extension", frozenset({"valueCoding"}), _coded("valueCoding")),
        Rule("no-value", "Observation", always, _observation),
        Rule("no-value", "Observation.component", always, _component),
        Rule("dimension", "Device.property", always, _property),
        Rule("performed", "Procedure", always, _procedure),
        Rule("dimension", "MedicationAdministration", always, _administration),
        Rule("use-end", "DeviceUseStatement", always, _use),
        Rule("intent", "Task", always, _task),
        Rule("intent", "ServiceRequest", always, _request),
        Rule("unknown-concept", "Flag", always, _flag),
        Rule("attachment", "Attachment", frozenset({"data"}), _attached),
        Rule("language", "Attachment", frozenset({"language"}), _language),
        Rule("precision", "Period", frozenset({"end"}), _comparable("start", "end")),
        Rule("precision", "Task", frozenset({"lastModified"}), _comparable("authoredOn", "lastModified")),
        Rule("reference-form", "Reference", frozenset({"reference"}), _absolute_reference),
        Rule("agent-organization", "Provenance", frozenset({"agent"}), _agents),
    ]
    rules += [Rule("unit", kind, always, _unit) for kind in ("Quantity", "SimpleQuantity", "Duration", "Age")]
    rules += [_status_rule(kind, statuses) for kind, statuses in STATUSES.items()]
    rules += [Rule("language", kind, frozenset({"language"}), _language) for kind in STATUSES]
    rules += [Rule("contained", kind, frozenset({"contained"}), _contained) for kind in STATUSES]
    return rules + identity_rules()
