"""Corrections: what an amendment or addendum may lay over an entry, and what stays."""

from __future__ import annotations

from typing import Any

import pytest

from lda_notes.record.merging import merge


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ({"gauge": 20, "length_mm": 19}, {"length_mm": 25.4}, {"gauge": 20, "length_mm": 25.4}),
        ({"not_assessed": "asleep"}, {"gauge": 20}, {"gauge": 20}),
        ({"gauge": 20}, {"not_assessed": "hub carries no mark"}, {"not_assessed": "hub carries no mark"}),
        ({"not_done": "infusion connected"}, {"not_done": "line on hold"}, {"not_done": "line on hold"}),
        ({"needle": {"gauge": {"not_assessed": "no mark"}}}, {"needle": {"gauge": 22}}, {"needle": {"gauge": 22}}),
        ({"flushes": [{"volume_ml": 5}]}, {"flushes": [{"volume_ml": 10}]}, {"flushes": [{"volume_ml": 10}]}),
        ("none", {"not_assessed": "declined"}, {"not_assessed": "declined"}),
    ],
)
def test_merge(old: Any, new: Any, expected: Any) -> None:
    assert merge(old, new) == expected
