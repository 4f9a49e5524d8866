"""Outside validators: no error in what we call correct, and the table of what each of them catches."""

from __future__ import annotations

import random

import fhir_random
import make_oracles
import pytest
from fhir_mutants import load
from test_bundle_oracles import ACCEPTED

from lda_notes.fhir.verify.verification import verify


def test_pyrofile_finds_no_error_in_a_correct_bundle(pyrofile: make_oracles.Pyrofile) -> None:
    assert {name: pyrofile.errors(load(name)) for name in make_oracles.CORRECT} == {
        name: [] for name in make_oracles.CORRECT
    }


@pytest.mark.parametrize("name", make_oracles.CORRECT)
def test_the_reference_validator_finds_no_error_in_a_correct_bundle(
    java: make_oracles.JavaValidator, name: str
) -> None:
    [issues] = java.check([load(name)])
    assert [issue for issue in issues if issue.is_error] == []
    warnings = {issue.id.rpartition("/")[2].rpartition("#")[2] for issue in issues}
    assert warnings <= ACCEPTED.keys()


def test_the_table_of_oracles_is_not_stale() -> None:
    known = make_oracles.columns_of_the_page()
    assert known is not None, "something changed that outside validators see: run python tests/fhir/make_oracles.py"
    assert make_oracles.TARGET.read_text() == make_oracles.made(known)


def test_what_the_reference_validator_refuses_after_a_random_change_we_refuse_too(
    java: make_oracles.JavaValidator,
) -> None:
    chance = random.Random(20310304)
    refused = 0
    for _ in range(150):
        what, bundle = fhir_random.changed(chance)
        try:
            [issues] = java.check([bundle])
        except RuntimeError as fell:
            # A few faults make it fall over; those must be faults for us as well.
            assert "could not judge" in str(fell)
            assert verify(bundle), what
            continue
        errors = [issue for issue in issues if issue.is_error]
        refused += bool(errors)
        assert verify(bundle) or not errors, (what, errors)
    assert refused > 75
