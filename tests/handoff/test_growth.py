"""A ward of 200 is no slower by the patient than one of 50: paired ratios, never times."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import cache

import docx.table
import pytest
from made_records import unit_of_patients
from ward import ASOF, source

from lda_notes.documents.handoff.page import Source, handoff, sheet
from lda_notes.documents.render import Format, render
from lda_notes.knowledge.policy import DEFAULT

PAIRS = 3
"""How often it is measured again where a busy machine spoiled one of a pair; what is quadratic fails each time."""


@cache
def sources() -> list[Source]:
    """Return a ward of 200, judged when the first test asks."""
    return [source(data) for data in unit_of_patients(200, ASOF)]


def seconds(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


@pytest.mark.parametrize("form", ["text", "html", "docx"])
def test_four_times_the_patients_take_about_four_times_as_long(form: Format) -> None:
    """Quadratic work would take sixteen times as long; a fixed part makes the ratio smaller than four."""

    def make(count: int) -> bytes:
        return render(sheet(handoff(sources()[:count], DEFAULT, ASOF)), form)

    make(2)  # styles and templates are read once
    assert any(seconds(lambda: make(200)) / seconds(lambda: make(50)) < 6 for _ in range(PAIRS))


def test_no_cell_of_a_table_is_looked_up_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """The library's look-up of a cell walks the whole table each time."""

    def refuse(*_: object) -> None:
        raise AssertionError("a table's cells were looked up")

    for name in ("cell", "row_cells", "column_cells", "_cells"):
        assert hasattr(docx.table.Table, name)
        monkeypatch.setattr(docx.table.Table, name, property(refuse) if name == "_cells" else refuse)
    assert render(sheet(handoff(sources()[:5], DEFAULT, ASOF)), "docx").startswith(b"PK")


def test_the_same_ward_gives_the_same_file() -> None:
    one, two = (render(sheet(handoff(sources()[:5], DEFAULT, ASOF)), "docx") for _ in range(2))
    assert one == two
