"""Dates, times and numbers with their units stay on one row, words are whole, and marks have one order everywhere."""

from __future__ import annotations

import re
from typing import Any

import pytest

from lda_notes.documents.blocks import Line, Sheet, Table
from lda_notes.documents.render import fitted, render, unbroken
from lda_notes.narrative.sentences import Paragraph, Sentence
from lda_notes.record.parts import Person


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("since 27 Feb", "27~Feb"),
        ("by 5 Mar 09:00 at last", "5~Mar~09:00"),
        ("Wednesday, 5 March 2031, 07:00", "5~March~2031"),
        ("heparin 100 units per mL, 5 mL", "100~units~per~mL"),
        ("runs at 1,000.5 mL per hour", "1,000.5~mL~per~hour"),
        ("19 mm (3/4 inch) long", "3/4~inch"),
        ('"at 60 mL per hour"', "60~mL~per~hour"),
        ("on day 12", "day~12"),
        ("Room 7: somebody", "Room~7"),
        ("a child of 4 years", "4~years"),
    ],
)
def test_what_belongs_together_does_not_break(text: str, kept: str) -> None:
    assert kept.replace("~", "\u00a0") in unbroken(text)
    sheet = Sheet("T", (Paragraph((Sentence(text),)),))
    assert kept.replace("~", "\u00a0") in render(sheet, "html").decode()
    for form in ("text", "md"):
        assert "\u00a0" not in render(sheet, form).decode()  # type: ignore[arg-type]  # a parametrized word


@pytest.mark.parametrize("text", ["6 Ockleby left", "0.9% sodium", "12 Marrowfield", "1 Mayor", "at 09:30 minutes"])
def test_other_numbers_may_stand_before_a_break(text: str) -> None:
    assert unbroken(text) == text


def words_of(table: Table, width: int) -> set[str]:
    return set(render(Sheet("T", (table,)), "text", width).decode().split())


@pytest.mark.parametrize("width", range(40, 101))
def test_no_word_of_a_table_is_cut_and_no_row_begins_with_a_comma(width: int) -> None:
    names = ("Brackenridge, Alasdair", "Wolkenstein-Abercrombie-Featherstonehaugh, Theodora")
    rows = tuple(
        (name, "thrombocytopenia, 14 April 2026", "Port clinic; now", "overdue since 1 Feb 10:00") for name in names
    )
    table = Table(("Patient", "Danger", "Responsible", "Due"), rows, (24, 14, 14, 48))
    found = words_of(table, width)
    assert {"Brackenridge,", "thrombocytopenia,", "Responsible"} <= {word.removesuffix(":") for word in found}
    assert "Featherstonehaugh," in " ".join(found).replace("-", " ").split()
    assert not [word for word in found if word[0] in ",.;"]


def test_a_column_is_as_wide_as_its_longest_word() -> None:
    table = Table(("A", "B"), (("x", (Line("thrombocytopenia", box=True),)),), (95, 5))
    assert fitted(table, 60, len) == [40, 20]
    assert sum(fitted(Table(("A", "B"), (("y" * 30, "z" * 30),), (1, 1)), 40, len)) > 40, "nothing fits: no columns"


def test_the_box_stands_before_the_mark_in_every_format() -> None:
    sheet = Sheet("T", (Table(("Due",), (((Line("Evaluation: now", strong=True, box=True),),),), (1,)),))
    orders: dict[str, Any] = {
        "text": r"\[ \] !! Evaluation",
        "md": r"\\\[ \\\] \*\*\u25a0 Evaluation",
        "html": "\u2610.{0,20}<strong>\u25a0 Evaluation",
    }
    for form, order in orders.items():
        assert re.search(order, render(sheet, form).decode()), form  # type: ignore[arg-type]  # a parametrized word


def test_narrow_text_keeps_box_and_mark_without_columns() -> None:
    row = (
        "Featherstonehaugh",
        (Line("Evaluation: now", strong=True, box=True), Line("thrombocytopenia")),
        "Responsible",
    )
    told = render(Sheet("T", (Table(("Patient", "Due", "Who"), (row,), (1, 1, 1)),)), "text", 40).decode()
    assert "Patient: Featherstonehaugh\nDue:\n  [ ] !! Evaluation: now\n  thrombocytopenia\nWho: Responsible\n" in told


@pytest.mark.parametrize(
    ("name", "credential", "said"),
    [
        ("Port clinic, Lantern Bay", "clinic", "Port clinic, Lantern Bay"),
        ("Port clinic, Lantern Bay", None, "Port clinic, Lantern Bay"),
        ("Marisol Tamm", "RN", "Marisol Tamm, RN"),
        (None, "clinic", "clinic"),
    ],
)
def test_a_place_is_named_once(name: str | None, credential: str | None, said: str) -> None:
    from lda_notes.documents import wording
    from lda_notes.narrative import phrasing

    who = Person.model_validate({"name": name, "credential": credential})
    assert phrasing.person(who) == said
    assert wording.person(who) == (said.replace(", RN", " RN"))
