"""Every demo's bundles before the outside validators: no error from any of them.

The reference validator sees all of them in `test_package.py`, against R4 and against our own profiles.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import make_oracles
import pytest
from fhir_demos import DEMOS, episode, noted, texts

from lda_notes.fhir.build.bundle import Options

ACCEPTED = {
    "dom-6": "narrative is optional, and ours would only repeat the note in the DocumentReference",
    "Terminology_PassThrough_TX_Message": "LOINC, ICD-10-CM, US Core and our own system are not on board offline",
    "Terminology_TX_Code_ValueSet_Ext": "no verified code in the extensible value set: text alone, by our own rule",
    "Terminology_TX_NoValid_3_CC": "no code for access or de-access in the preferred set of device actions: ours alone",
    "Extension_EXT_Unknown": "our own extensions are not loaded there; pyrofile has their definitions",
}
"""Every warning of the reference validator that we accept, and why."""

SETS_OF_TWO = ("corrected-entries", "two-septa", "no-blood-return")


def of_interest(issues: list[Any]) -> tuple[list[Any], set[str]]:
    named = {issue.id.rpartition("/")[2].rpartition("#")[2] for issue in issues if not issue.is_error}
    return [issue for issue in issues if issue.is_error], named


@pytest.mark.parametrize("demo", SETS_OF_TWO)
def test_the_reference_validator_finds_no_error_with_context(java: make_oracles.JavaValidator, demo: str) -> None:
    for issues in java.check(texts(episode(demo), Options(with_context=True))):
        errors, warnings = of_interest(issues)
        assert errors == []
        assert warnings <= ACCEPTED.keys()


STRUCTURAL = {"code", "system", "status", "resourceType", "method", "intent", "type", "unit", "contentType", "role"}


def features(value: Any, path: str = "") -> Iterator[str]:
    """Every place of an entry, with the value where it decides what is allowed beside it; not names, numbers, times."""
    if isinstance(value, dict):
        for name, held in value.items():
            yield from features(held, f"{path}.{name}")
    elif isinstance(value, list):
        for held in value:
            yield from features(held, path)
    else:
        structural = path.rpartition(".")[2] in STRUCTURAL and not is_identity(value)
        yield f"{path}={value}" if structural else path


def is_identity(value: Any) -> bool:
    return isinstance(value, str) and len(value) == 36 and value.count("-") == 4


def test_pyrofile_finds_no_error_in_any_demo(pyrofile: make_oracles.Pyrofile) -> None:
    """It takes long, so it sees the entries that have something which none before them had, and what they refer to.

    The reference validator sees every bundle whole.
    """
    seen: set[str] = set()
    checked = 0
    for demo in DEMOS:
        for options in (noted(), Options(with_context=True)) if demo in SETS_OF_TWO else (noted(),):
            for text in texts(episode(demo), options):
                bundle = json.loads(text)
                new = set()
                for position, entry in enumerate(bundle["entry"]):
                    kind = entry["resource"]["resourceType"]
                    found = {f"{kind}{feature}" for feature in features(entry)}
                    if not found <= seen:
                        new.add(position)
                    seen |= found
                if new:
                    checked += len(new)
                    assert pyrofile.errors(make_oracles.with_what_they_name(bundle, new)) == [], demo
    assert checked > 100
    assert len(seen) > 500


def test_pyrofile_still_sees_a_fault_in_them(pyrofile: make_oracles.Pyrofile) -> None:
    bundle = json.loads(texts(episode("two-septa"))[0])
    procedure = next(one["resource"] for one in bundle["entry"] if one["resource"]["resourceType"] == "Procedure")
    procedure["status"] = "done"
    assert pyrofile.errors(bundle)
