"""Answers as they are typed: choices, numbers with and without units, people, lists."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lda_notes.chart.answers import layout, values
from lda_notes.chart.answers.heard import Unclear, Value
from lda_notes.chart.answers.times import Frame
from lda_notes.chart.answers.values import Option, choose, options
from lda_notes.record.events import KINDS

MOMENT = datetime(2031, 3, 4, 15, 30, tzinfo=UTC)
FRAME = Frame(MOMENT, ZoneInfo("America/Chicago"), MOMENT)


def reads(kind: str, path: tuple[str | int, ...], text: str) -> Any:
    spot = layout.spot(KINDS[kind], path)
    assert spot is not None
    read, _, _ = values.reader(spot, str(path[-1]))
    found = read(text, FRAME)
    return found.value if isinstance(found, Value) else found.sentence


@pytest.mark.parametrize(
    ("path", "typed", "value"),
    [
        (("blood_return",), "p", "present"),
        (("blood_return",), "SLUGGISH", "sluggish"),
        (("blood_return",), "no", "none"),
        (("dressing", "type"), "2", "transparent with chlorhexidine"),
        (("dressing", "type"), "gauze", "gauze"),
        (("dressing", "type"), "gauze under w", "gauze under wings"),
        (("dressing_found",), "d l", ["damp", "loose"]),
        (("identifiers_checked",), "12", ["name", "birth date"]),
        (("identifiers_checked",), "nb", ["name", "birth date"]),
        (("identifiers_checked",), "1, 3", ["name", "record number"]),
        (("identifiers_checked",), "name and birth date", ["name", "birth date"]),
        (("identifiers_checked",), "1 1 2", ["name", "birth date"]),
        (("allergies_checked",), "Y", True),
        (("allergies_checked",), "no", False),
        (("discard_ml",), "5", 5),
        (("discard_ml",), "5 mL", 5),
        (("site", "swelling"), "y", "present"),
        (("site", "swelling"), "no", "none"),
        (("discard_ml",), ".5", 0.5),
        (("discard_ml",), "5.0", 5),
        (("hub_scrub_s",), "15 s", 15),
        (("antisepsis", "scrub_s"), "1 min", 60),
        (("needle", "length_mm"), "1.9cm", 19),
        (("needle", "gauge"), "20G", 20),
        (("attempts",), "1", 1),
        (("pain",), "0", 0),
        (("samples",), "blood culture, full blood count", ["blood culture", "full blood count"]),
        (("antisepsis", "skin"), "d", "dry"),
        (("by",), "Marisol Tamm, RN, LBN-204", {"name": "Marisol Tamm", "credential": "RN", "id": "LBN-204"}),
        (("by",), "Ilse Novak, RN, new", {"name": "Ilse Novak", "credential": "RN", "new_to_procedure": True}),
        (("reason",), "  treatment   goes on ", "treatment goes on"),
    ],
)
def test_an_answer_is_understood(path: tuple[str, ...], typed: str, value: Any) -> None:
    kind = next(kind for kind, model in KINDS.items() if layout.spot(model, path) is not None)
    assert reads(kind if path != ("dressing_found",) else "dressing change", path, typed) == value


@pytest.mark.parametrize(
    ("path", "typed", "says"),
    [
        (("blood_return",), "x", "Type p, s or n."),
        (("dressing", "type"), "gauze under", "gauze under transparent or gauze under wings"),
        (("identifiers_checked",), "a", "Type 1"),
        (("identifiers_checked",), "19", "Type 1"),
        (("allergies_checked",), "maybe", "Type y for yes or n for no."),
        (("discard_ml",), "5 mg", '"mg" is not what is asked for. Type the number alone, in mL.'),
        (("discard_ml",), "5,5", "with a point: 5.5"),
        (("discard_ml",), "five", "Type a number"),
        (("discard_ml",), "-5", "Type a number"),
        (("discard_ml",), "0940", "A number does not begin with 0; 0940 looks like a time"),
        (("blood_return",), "y", "Type p, s or n."),
        (("discard_ml",), "1e3", "is not what is asked for"),
        (("attempts",), "1.5", "Type a whole number."),
        (("needle", "length_mm"), '3/4"', "in mm"),
        (("by",), "", "Type a name and a role"),
        (("reason",), "   ", "Type some words."),
        (("reason",), "x" * 4001, "too long: 4001 characters"),
    ],
)
def test_an_answer_that_is_not_understood_says_what_is_expected(path: tuple[str, ...], typed: str, says: str) -> None:
    kind = next(kind for kind, model in KINDS.items() if layout.spot(model, path) is not None)
    assert says in reads(kind, path, typed)


def test_choices_have_letters_where_all_differ_and_numbers_else() -> None:
    assert options(("present", "sluggish", "none")) == (
        Option("p", "present"),
        Option("s", "sluggish"),
        Option("n", "none"),
    )
    assert [option.key for option in options(("gauze", "gauze under wings"))] == ["1", "2"]
    assert [option.key for option in options(("absent", "other"))] == ["1", "2"], "a means as written, never a choice"


def test_every_choice_of_every_kind_can_be_typed_by_its_key_and_by_its_words() -> None:
    seen = 0
    for model in KINDS.values():
        for key in model.model_fields:
            spot = layout.spot(model, (key,))
            if spot is None or spot.sort not in ("choice", "several"):
                continue
            offered = options(spot.words)
            assert len({option.key for option in offered}) == len(offered)
            for option in offered:
                assert choose(option.key, offered) == choose(option.words.upper(), offered) == option
                seen += 1
    assert seen > 50


@settings(deadline=None)
@given(st.text(max_size=30))
def test_any_text_is_a_value_or_one_sentence(text: str) -> None:
    for kind, path in (
        ("access", ("blood_return",)),
        ("access", ("identifiers_checked",)),
        ("access", ("discard_ml",)),
        ("access", ("by",)),
        ("access", ("attempts",)),
        ("line use", ("samples",)),
    ):
        spot = layout.spot(KINDS[kind], path)
        assert spot is not None
        read, _, _ = values.reader(spot, path[-1])
        assert isinstance(read(text, FRAME), Value | Unclear)


@pytest.mark.parametrize(
    ("typed", "words", "means"),
    [
        ("brisk", ("present", "sluggish", "none"), "present"),
        ("slow", ("present", "sluggish", "none"), "sluggish"),
        ("absent", ("present", "sluggish", "none"), "none"),
        ("normal saline", ("heparin", "0.9% sodium chloride", "4% citrate"), "0.9% sodium chloride"),
        ("hep", ("heparin", "0.9% sodium chloride"), "heparin"),
        ("tape", ("chlorhexidine", "adhesive", "latex"), "adhesive"),
        ("CHG", ("chlorhexidine", "adhesive", "latex"), "chlorhexidine"),
        ("MRN", ("name", "birth date", "record number"), "record number"),
    ],
)
def test_choices_take_the_words_of_nurses(typed: str, words: tuple[str, ...], means: str) -> None:
    chosen = choose(typed, options(words))
    assert isinstance(chosen, Option) and chosen.words == means


@pytest.mark.parametrize("typed", ["chg", "iodine", "chlorhexidine"])
def test_a_word_that_two_choices_contain_is_asked_back(typed: str) -> None:
    agents = ("chlorhexidine in alcohol", "aqueous chlorhexidine", "povidone-iodine", "iodine tincture")
    asked = choose(typed, options(agents))
    assert isinstance(asked, Unclear) and asked.sentence.startswith("That could be ")
