"""Plans as code find what plans as loops find: the same faults in every mutant and in many random changes."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Any

import pytest
from fhir_mutants import MUTANTS, load
from fhir_random import CORRECT, changed

from lda_notes.fhir.verify import structure
from lda_notes.fhir.verify import verification as verify
from lda_notes.fhir.verify.plans import compiled, quick


@pytest.fixture(scope="module")
def judges() -> list[Callable[[Any], Any]]:
    """Verification with every plan compiled at its second use, and with none ever compiled."""
    made = []
    for often in (0, 10**9):
        check = verify._bundle_check.__wrapped__(True)

        def judge(bundle: Any, check: Any = check, often: int = often) -> Any:
            structure._OFTEN, before = often, structure._OFTEN
            try:
                found = check(bundle, verify.Scope(bundle))
                return sorted((fault.closed() for fault in found or ()), key=verify._order)
            finally:
                structure._OFTEN = before

        for name in CORRECT:  # every plan that correct bundles need is made, and used twice
            for _ in range(2):
                assert judge(load(name)) == []
        made.append(judge)
    return made


def test_mutants(judges: list[Callable[[Any], Any]]) -> None:
    for mutant in MUTANTS:
        bundle = mutant.make()
        once, again = (judge(bundle) for judge in judges)
        assert once == again, mutant.name


def test_random_changes(judges: list[Callable[[Any], Any]]) -> None:
    chance = random.Random(20310304)
    broken = 0
    for _ in range(1500):
        said, bundle = changed(chance)
        once, again = (judge(bundle) for judge in judges)
        assert once == again, said
        broken += bool(once)
    assert 300 < broken < 1500


def test_an_expression_that_says_no_leaves_it_to_the_check() -> None:
    def even(value: Any, _: Any) -> Any:
        return None if value % 2 == 0 else ["odd"]

    quick(even, "({v} == {0})", 7)
    plan = compiled([even, even], [lambda value, _: None if len(value) == 2 else ["size"]])

    class Scope:
        types: dict[str, str] = {}  # noqa: RUF012

    assert plan({"a": 2, "b": 7}, Scope())
    assert not plan({"a": 2, "b": 5}, Scope())
