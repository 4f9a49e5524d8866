"""What verification costs, against the models of fhir.resources on the same bundle in the same run."""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import time
from typing import Any

from fhir.resources.R4B.bundle import Bundle
from fhir_mutants import load

from lda_notes.fhir.verify.verification import verify

ENTRIES = 30


def thirty_entries() -> Any:
    """One correct bundle of 30 entries: an access, a de-access and what else does not repeat an identity."""
    bundle = load("access")
    entries = bundle["entry"]
    seen = {entry["fullUrl"] for entry in entries}
    other = load("with_context")["entry"][0]["fullUrl"]  # its patient, whom these bundles must not mix with
    for name in ("deaccess", "with_context"):
        for entry in load(name)["entry"]:
            is_context = other in json.dumps(entry)
            is_new = entry["fullUrl"] not in seen and entry["resource"]["resourceType"] != "Provenance"
            if is_new and not is_context and len(entries) < ENTRIES:
                seen.add(entry["fullUrl"])
                entries.append(entry)
    (provenance,) = [e["resource"] for e in entries if e["resource"]["resourceType"] == "Provenance"]
    provenance["target"] = [{"reference": entry["fullUrl"]} for entry in entries if entry["resource"] is not provenance]
    assert len(entries) == ENTRIES
    assert verify(bundle) == ()
    return bundle


def _seconds(judge: Any, text: str, times: int) -> float:
    """CPU time of one judgment; every bundle is parsed anew, so that no object is met twice."""
    bundles = [json.loads(text) for _ in range(times)]
    start = time.process_time()
    for bundle in bundles:
        judge(bundle)
    return (time.process_time() - start) / times


def test_verification_is_five_times_as_fast_as_the_models() -> None:
    text = json.dumps(thirty_entries())
    _seconds(verify, text, 5), _seconds(Bundle.model_validate, text, 2)
    ratios = [_seconds(Bundle.model_validate, text, 8) / _seconds(verify, text, 60) for _ in range(7)]
    assert statistics.median(ratios) >= 5, ratios


def _alone(program: str) -> str:
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    return done.stdout


def test_the_first_verification_loads_nothing_heavy() -> None:
    program = (
        "import sys, json; from lda_notes.fhir.verify.verification import verify; verify(json.loads('{}'));"
        "print(*[m for m in ('fhir', 'jinja2', 'docx', 'yaml', 'httpx') if m in sys.modules])"
    )
    assert _alone(program).split() == []


def test_the_definitions_load_in_a_moment() -> None:
    program = (
        "import time; from lda_notes.fhir.verify import definitions; start = time.process_time();"
        "definitions.load(); print(time.process_time() - start)"
    )
    assert min(float(_alone(program)) for _ in range(3)) < 0.020
