"""The published lists of abbreviations that must not be used, against the detector.

Joint Commission, official "Do Not Use" list (R); its possible future inclusions and the ISMP list (R2).
"""

from __future__ import annotations

import pytest

from lda_notes.knowledge.abbreviations import DO_NOT_USE, unsafe_forms


@pytest.mark.parametrize(
    ("text", "form"),
    [
        # Joint Commission, official "Do Not Use" list (R).
        ("locked with 500 U of heparin", "U"),
        ("locked with 500u of heparin", "u"),
        ("5000 IU per mL", "IU"),
        ("flush Q.D.", "Q.D."),
        ("flush QD", "QD"),
        ("flush q.d. as ordered", "q.d."),
        ("flush qd", "qd"),
        ("flush Q.O.D.", "Q.O.D."),
        ("flush QOD", "QOD"),
        ("flush q.o.d. as ordered", "q.o.d."),
        ("flush qod", "qod"),
        ("gave 5.0 mg", "5.0"),
        ("gave .5 mg", ".5"),
        ("gave MS for pain", "MS"),
        ("gave MSO4", "MSO4"),
        ("gave MgSO4", "MgSO4"),
    ],
)
def test_the_do_not_use_list(text: str, form: str) -> None:
    assert [(f.found, f.source) for f in unsafe_forms(text)] == [(form, DO_NOT_USE)]


@pytest.mark.parametrize("text", ["a needle of 1.0 in", "a catheter of 5.0 mm", "a 9.0 French catheter"])
def test_a_trailing_zero_may_show_the_size_of_a_catheter(text: str) -> None:
    """Joint Commission, exception of the same list (R)."""
    assert unsafe_forms(text) == []


@pytest.mark.parametrize(
    ("text", "form", "instead"),
    [
        # ISMP list, as quoted by copies (R2), and the Joint Commission's possible future inclusions (R2).
        ("10 cc given", "cc", "mL"),
        ("50 ug given", "ug", "mcg"),
        ("50 µg given", "µg", "mcg"),
        ("drained 1 l", "l", "L"),
        ("flush q1d", "q1d", "daily"),
        ("OD", "OD", "daily"),
        ("q6PM", "q6PM", "daily at that hour"),
        ("qhs", "qhs", "nightly or at bedtime"),
        ("HS", "HS", "half-strength or bedtime"),
        ("BT", "BT", "bedtime"),
        ("dressing >7 days", ">", "more than or less than"),
        ("weight <30 kg", "<", "more than or less than"),
        ("seen @ 10:00", "@", "at"),
        ("saline & heparin", "&", "and"),
        ("saline + heparin", "+", "and"),
        ("5 mL/10 mL", "5 mL/10 mL", "words between two doses"),
        ("10mg", "10mg", "a space between number and unit"),
        ("100mL", "100mL", "a space between number and unit"),
        ("gave 5 mL. then more", "mL.", "the unit without a period"),
        ("100000 units", "100000", "the number with a comma from 1,000"),
        ("D/C needle", "D/C", "the word meant"),
        ("given SC", "SC", "subcutaneously"),
        ("given SQ", "SQ", "subcutaneously"),
        ("given sub q", "sub q", "subcutaneously"),
        ("IJ", "IJ", "internal jugular or injection"),
        ("2 mg IN", "IN", "intranasally"),
        ("NS", "NS", "0.9% sodium chloride"),
    ],
)
def test_the_error_prone_list(text: str, form: str, instead: str) -> None:
    assert [(f.found, f.instead) for f in unsafe_forms(text)] == [(form, instead)]
