"""The patient's background at the start of the record: from the List and the resources that it refers to."""

from __future__ import annotations

from typing import Any, Final

from lda_notes.fhir.elements import Json
from lda_notes.fhir.identity import IN_ERROR, status_of
from lda_notes.fhir.local import WORDS
from lda_notes.fhir.readback.parts import Remarks, measured
from lda_notes.fhir.readback.store import Store

_BY_CODE: Final = {code: word for word, code in WORDS.items()}


def read_names(store: Store, began: Json | None) -> set[str]:
    """Return the identities that the List refers to and that are here."""
    named = (store.name_at(entry.get("item", {})) for entry in (began or {}).get("entry", ()))
    return {name for name in named if name is not None}


def read_known(store: Store, began: Json, remarks: Remarks, *, told: bool) -> Json:
    """Allergies, history and weight, in the order of the List. What is not here is remarked on.

    ``told``: an entry of the record says more of the patient, so that it may have withdrawn an allergy.
    """
    made: dict[str, Any] = {}
    for entry in began.get("entry", ()):
        item = entry.get("item", {})
        resource = store.at(item)
        name = store.name_at(item)
        if name is not None and name in store.refused:
            continue  # named with its entry
        if resource is None:
            kind = item.get("type", "resource")
            remarks.add(began, f"the {kind} {item.get('identifier', {}).get('value')} that it names is not here")
            continue
        if status_of(resource) == IN_ERROR:
            remarks.add(resource, "is entered in error; it was not read")
            continue
        if status_of(resource) == "inactive" and not told:
            remarks.add(resource, "is inactive, and no entry withdraws it")
        match resource.get("resourceType"):
            case "AllergyIntolerance":
                allergies = made.setdefault("allergies", [])
                one = _allergy(resource)
                if one is not None:
                    allergies.append(one)
            case "Condition":
                made.setdefault("history", []).append(_condition(resource))
            case "Observation":
                made["weight_kg"] = measured(resource.get("valueQuantity", {}), "kg", resource, remarks)
            case other:
                remarks.add(began, f"a {other} that it names was not read")
    return made


def _word(concept: Json) -> str | None:
    found = (_BY_CODE.get(coding.get("code", "")) for coding in concept.get("coding", ()))
    return next((word for word in found if word is not None), None)


def _allergy(resource: Json) -> Json | None:
    """Return an allergy; None for the statement that none is known."""
    code = resource.get("code", {})
    substance = _word(code)
    if substance is None:
        return None
    made: Json = {"substance": substance}
    if code.get("text") != substance:
        made["detail"] = code.get("text")
    for reaction in resource.get("reaction", ())[:1]:
        made["reaction"] = reaction.get("manifestation", [{}])[0].get("text")
    return made


def _condition(resource: Json) -> Any:
    word = _word(resource.get("code", {})) or resource.get("code", {}).get("text")
    return {"condition": word, "found_on": resource["onsetDateTime"]} if "onsetDateTime" in resource else word
