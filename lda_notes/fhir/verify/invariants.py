"""The official invariants of level error, as Python predicates, for every type that we can carry.

Each row gives the official key, the type it stands on, the JSON keys that make it breakable, and whether an
object of the right shape holds it. The words in a fault are the official ones. Invariants that need no row are
in ``ELSEWHERE`` with the reason; a test holds both lists against the official package.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any, Final

from lda_notes.fhir.units import UCUM
from lda_notes.fhir.verify.definitions import load
from lda_notes.fhir.verify.faults import Fault, Found
from lda_notes.fhir.verify.primitives import is_later
from lda_notes.fhir.verify.scope import Scope
from lda_notes.fhir.verify.structure import Rule

Object = Mapping[str, Any]
Places = list[tuple[str | int, ...]]
Holds = Callable[[Object, Scope], bool | Places]
"""Whether an object satisfies an invariant; or, where that is more telling, the inner places that break it."""

ELSEWHERE: Final = {
    "ele-1": "an empty object is refused wherever one stands, in structure.py",
    "ref-1": "judged with the other references, in references.py",
    "txt-1": "judged while the narrative is read, in narrative.py",
    "txt-2": "judged while the narrative is read, in narrative.py",
}
"""Invariants that are held, but not by a row here."""


def _has(value: Object, *names: str) -> bool:
    """Return whether any of these elements is there, by value or by extension alone."""
    return any(name in value or f"_{name}" in value for name in names)


def _any_of(value: Object, start: str) -> bool:
    """Return whether a choice element that begins with ``start`` is there."""
    return any(key.startswith((start, f"_{start}")) for key in value)


def _in_order(low: str, high: str) -> Holds:
    return lambda value, _: not (low in value and high in value) or not is_later(value[low], value[high])


def _needs(name: str, *others: str) -> Holds:
    """``name`` asks for one of ``others``."""
    return lambda value, _: not _has(value, name) or _has(value, *others)


def _ucum(value: Object, _: Scope) -> bool:
    """There is a code when there is a value, and the system is UCUM when there is one."""
    coded = _has(value, "code") or not _has(value, "value")
    return coded and value.get("system", UCUM) == UCUM


def _each(key: str, holds: Callable[[Object], bool]) -> Holds:
    return lambda value, _: all(holds(one) for one in value.get(key, ()))


def _in_entries(key: str, *types: str, must: bool) -> Holds:
    """Entries have ``key`` in bundles of these types (where it is a must), and in no others."""

    def holds(value: Object, _: Scope) -> bool | Places:
        due = value.get("type") in types
        wrong = [index for index, entry in enumerate(value["entry"]) if (key in entry) != due]
        if due and not must:
            return True
        return [(index, "entry") for index in wrong] or True

    return holds


def _distinct(value: Object, _: Scope) -> bool:
    if value.get("type") == "history":
        return True
    seen = [
        (entry["fullUrl"], entry.get("resource", {}).get("meta", {}).get("versionId"))
        for entry in value.get("entry", ())
        if "fullUrl" in entry
    ]
    return len(seen) == len(set(seen))


def _first_is(bundle_type: str, resource_type: str) -> Holds:
    def holds(value: Object, _: Scope) -> bool:
        if value.get("type") != bundle_type:
            return True
        first = (value.get("entry") or [{}])[0]
        return bool(first.get("resource", {}).get("resourceType") == resource_type)

    return holds


def _document(value: Object, _: Scope) -> bool:
    identifier = value.get("identifier", {})
    return value.get("type") != "document" or (_has(identifier, "system") and _has(identifier, "value"))


def _positive(value: Object, scope: Scope) -> bool:
    return _ucum(value, scope) and value.get("value", 1) > 0


def _count(value: Object, scope: Scope) -> bool:
    whole = Decimal(str(value.get("value", 0)))
    return _ucum(value, scope) and value.get("code", "1") == "1" and whole == whole.to_integral_value()


def _duration(value: Object, _: Scope) -> bool:
    return not _has(value, "code") or (value.get("system") == UCUM and _has(value, "value"))


def _component_codes(value: Object, _: Scope) -> bool:
    if not _any_of(value, "value"):
        return True
    own = value.get("code", {}).get("coding", [])
    return not any(
        coding in own
        for component in value.get("component", ())
        for coding in component.get("code", {}).get("coding", ())
    )


def _ordered_range(value: Object, _: Scope) -> bool:
    low, high = value.get("low", {}), value.get("high", {})
    if "value" not in low or "value" not in high or low.get("code") != high.get("code"):
        return True
    return bool(low["value"] <= high["value"])


def _ratio(value: Object, _: Scope) -> bool:
    both = _has(value, "numerator") and _has(value, "denominator")
    return both or (not _has(value, "numerator", "denominator") and _has(value, "extension"))


def _offset(value: Object, _: Scope) -> bool:
    when = value.get("when", [])
    return bool(when) and not any(one in ("C", "CM", "CD", "CV") for one in when)


def _trigger(value: Object, _: Scope) -> bool:
    asked = {"named-event": "name", "periodic": "timing"}
    kind = str(value.get("type", ""))
    if kind.startswith("data-"):
        return _has(value, "data")
    if kind == "periodic":
        return _any_of(value, "timing")
    return kind not in asked or _has(value, asked[kind])


def _mentions(value: object, wanted: str) -> bool:
    """Return whether any reference, uri or canonical below ``value`` says ``wanted``."""
    if isinstance(value, dict):
        return any(_mentions(item, wanted) for item in value.values())
    if isinstance(value, list):
        return any(_mentions(item, wanted) for item in value)
    return value == wanted


def _contained_is_used(value: Object, _: Scope) -> bool:
    rest = {key: item for key, item in value.items() if key != "contained"}
    for one in value.get("contained", ()):
        others = [other for other in value["contained"] if other is not one]
        if not _mentions([rest, *others], f"#{one.get('id')}") and not _mentions(one, "#"):
            return False
    return True


def _contained_meta(*names: str) -> Holds:
    return lambda value, _: not any(_has(one.get("meta", {}), *names) for one in value.get("contained", ()))


_HL7: Final = "http://terminology.hl7.org/CodeSystem/"


def _says(value: Object, name: str, system: str, *codes: str) -> bool:
    """Return whether a concept has one of ``codes`` of an HL7 system."""
    listed = value.get(name, {}).get("coding", ())
    return any(one.get("system") == _HL7 + system and one.get("code") in codes for one in listed)


def _is_error(kind: str) -> Callable[[Object], bool]:
    """Return a test whether the verification status says that it was entered in error."""
    return lambda value: _says(value, "verificationStatus", kind, "entered-in-error")


_allergy_error: Final = _is_error("allergyintolerance-verification")
_condition_error: Final = _is_error("condition-ver-status")


def _abated(value: Object, _: Scope) -> bool:
    over = _says(value, "clinicalStatus", "condition-clinical", "resolved", "remission", "inactive")
    return not _any_of(value, "abatement") or over


def _in_entry(value: Object, name: str) -> bool:
    return any(_has(entry, name) for entry in value.get("entry", ()))


_ROWS: Final[tuple[tuple[str, str, str, Holds], ...]] = (
    ("bdl-1", "Bundle", "total", lambda v, _: v.get("type") in ("searchset", "history")),
    ("bdl-2", "Bundle", "entry", _in_entries("search", "searchset", must=False)),
    ("bdl-3", "Bundle", "entry", _in_entries("request", "batch", "transaction", "history", must=True)),
    (
        "bdl-4",
        "Bundle",
        "entry",
        _in_entries("response", "batch-response", "transaction-response", "history", must=True),
    ),
    ("bdl-5", "Bundle.entry", "", lambda v, _: _has(v, "resource", "request", "response")),
    ("bdl-7", "Bundle", "entry", _distinct),
    ("bdl-8", "Bundle.entry", "fullUrl", lambda v, _: "/_history/" not in v.get("fullUrl", "")),
    ("bdl-9", "Bundle", "", _document),
    ("bdl-10", "Bundle", "", lambda v, _: v.get("type") != "document" or "timestamp" in v),
    ("bdl-11", "Bundle", "", _first_is("document", "Composition")),
    ("bdl-12", "Bundle", "", _first_is("message", "MessageHeader")),
    ("dom-2", "*", "contained", lambda v, _: not any("contained" in one for one in v["contained"])),
    ("dom-3", "*", "contained", _contained_is_used),
    ("dom-4", "*", "contained", _contained_meta("versionId", "lastUpdated")),
    ("dom-5", "*", "contained", _contained_meta("security")),
    ("ext-1", "Extension", "", lambda v, _: _has(v, "extension") != _any_of(v, "value")),
    ("att-1", "Attachment", "data", _needs("data", "contentType")),
    ("per-1", "Period", "end", _in_order("start", "end")),
    ("qty-3", "Quantity", "code _code", _needs("code", "system")),
    ("qty-3", "SimpleQuantity", "code _code", _needs("code", "system")),
    ("qty-3", "Age", "code _code", _needs("code", "system")),
    ("qty-3", "Count", "code _code", _needs("code", "system")),
    ("qty-3", "Distance", "code _code", _needs("code", "system")),
    ("qty-3", "Duration", "code _code", _needs("code", "system")),
    ("sqty-1", "SimpleQuantity", "comparator _comparator", lambda _v, _s: False),
    ("age-1", "Age", "", _positive),
    ("cnt-3", "Count", "", _count),
    ("dis-1", "Distance", "", _ucum),
    ("drt-1", "Duration", "", _duration),
    ("cpt-2", "ContactPoint", "value _value", _needs("value", "system")),
    ("rng-2", "Range", "high", _ordered_range),
    ("rat-1", "Ratio", "", _ratio),
    ("exp-1", "Expression", "", lambda v, _: _has(v, "expression", "reference")),
    (
        "drq-1",
        "DataRequirement.codeFilter",
        "",
        lambda v, _: _has(v, "path") != _has(v, "searchParam"),
    ),
    (
        "drq-2",
        "DataRequirement.dateFilter",
        "",
        lambda v, _: _has(v, "path") != _has(v, "searchParam"),
    ),
    ("tim-1", "Timing.repeat", "duration _duration", _needs("duration", "durationUnit")),
    ("tim-2", "Timing.repeat", "period _period", _needs("period", "periodUnit")),
    ("tim-4", "Timing.repeat", "duration", lambda v, _: v["duration"] >= 0),
    ("tim-5", "Timing.repeat", "period", lambda v, _: v["period"] >= 0),
    ("tim-6", "Timing.repeat", "periodMax _periodMax", _needs("periodMax", "period")),
    ("tim-7", "Timing.repeat", "durationMax _durationMax", _needs("durationMax", "duration")),
    ("tim-8", "Timing.repeat", "countMax _countMax", _needs("countMax", "count")),
    ("tim-9", "Timing.repeat", "offset", _offset),
    ("tim-10", "Timing.repeat", "timeOfDay", lambda v, _: not _has(v, "when")),
    ("trd-1", "TriggerDefinition", "data", lambda v, _: not _any_of(v, "timing")),
    ("trd-2", "TriggerDefinition", "condition", _needs("condition", "data")),
    ("trd-3", "TriggerDefinition", "", _trigger),
    ("ait-1", "AllergyIntolerance", "", lambda v, _: _has(v, "clinicalStatus") or _allergy_error(v)),
    ("ait-2", "AllergyIntolerance", "clinicalStatus", lambda v, _: not _allergy_error(v)),
    ("con-1", "Condition.stage", "", lambda v, _: _has(v, "summary", "assessment")),
    ("con-2", "Condition.evidence", "", lambda v, _: _has(v, "code", "detail")),
    ("con-4", "Condition", "", _abated),
    ("con-5", "Condition", "clinicalStatus", lambda v, _: not _condition_error(v)),
    ("lst-1", "List", "emptyReason", lambda v, _: not v.get("entry")),
    ("lst-2", "List", "entry", lambda v, _: v.get("mode") == "changes" or not _in_entry(v, "deleted")),
    ("lst-3", "List", "entry", lambda v, _: v.get("mode") == "working" or not _in_entry(v, "date")),
    ("prr-1", "ServiceRequest", "orderDetail", _needs("orderDetail", "code")),
    ("inv-1", "Task", "lastModified", _in_order("authoredOn", "lastModified")),
    (
        "mad-1",
        "MedicationAdministration.dosage",
        "",
        lambda v, _: _has(v, "dose") or _any_of(v, "rate"),
    ),
    ("obs-3", "Observation.referenceRange", "", lambda v, _: _has(v, "low", "high", "text")),
    ("obs-6", "Observation", "dataAbsentReason", lambda v, _: not _any_of(v, "value")),
    ("obs-7", "Observation", "component", _component_codes),
    ("org-1", "Organization", "", lambda v, _: _has(v, "identifier", "name")),
    ("org-2", "Organization", "address", _each("address", lambda one: one.get("use") != "home")),
    ("org-3", "Organization", "telecom", _each("telecom", lambda one: one.get("use") != "home")),
    (
        "pat-1",
        "Patient.contact",
        "",
        lambda v, _: _has(v, "name", "telecom", "address", "organization"),
    ),
)


_BY_KEYS: Final = frozenset(
    {
        *("att-1", "bdl-5", "cpt-2", "drq-1", "drq-2", "exp-1", "ext-1", "mad-1", "obs-3", "obs-6", "org-1", "pat-1"),
        *("qty-3", "tim-1", "tim-2", "tim-6", "tim-7", "tim-8"),
    }
)
"""Invariants that look at nothing but which keys are there, so that they are judged once for all objects with these."""


def _rule(key: str, on: str, needs: str, holds: Holds) -> Rule:
    says = load().invariants[key].says.rstrip(".")

    def faults(value: Object, scope: Scope) -> Found:
        answer = holds(value, scope)
        if answer is True:
            return None
        places = answer if isinstance(answer, list) else [()]
        return [Fault(key, value, f"{says}.", f"Correct it so that {key} holds.").at(*place) for place in places]

    return Rule(key, on, frozenset(needs.split()), faults, by_keys=key in _BY_KEYS)


def invariant_rules() -> tuple[Rule, ...]:
    """Return every row as a rule; the ones on ``*`` once for each resource type that can contain others."""
    domain = [name for name in load().carried if name != "Bundle"]
    return tuple(
        _rule(key, one, needs, holds) for key, on, needs, holds in _ROWS for one in (domain if on == "*" else [on])
    )
