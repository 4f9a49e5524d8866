"""The page of codes and elements is made from the tables, is not stale, and leaves out no field."""

from __future__ import annotations

import make_codes_page
import pytest

from lda_notes.fhir.codes import CODES
from lda_notes.record.events import KINDS


def test_the_page_is_not_stale() -> None:
    assert make_codes_page.TARGET.read_text() == make_codes_page.page()


@pytest.mark.parametrize("kind", KINDS)
def test_every_field_of_every_kind_is_named(kind: str) -> None:
    assert make_codes_page.carried(kind) == set(KINDS[kind].model_fields)


def test_every_code_is_on_it_with_where_it_was_verified() -> None:
    page = make_codes_page.page()
    for code in CODES:
        assert f"| `{code.code}` | {code.display} | {code.system} |" in page
        assert code.verified in page
