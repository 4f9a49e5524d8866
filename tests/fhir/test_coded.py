"""How many elements that say what a resource is carry a code, over all demos: the table of the page CODES.md."""

from __future__ import annotations

from make_codes_page import main_elements

LEAST = 0.95


def test_at_least_95_percent_of_main_elements_are_coded() -> None:
    total, coded = main_elements()
    assert total.total() > 1000
    assert {kind: coded[kind] for kind in total if coded[kind] < LEAST * total[kind]} == {}
