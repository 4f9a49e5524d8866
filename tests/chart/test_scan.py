"""Labels scanned at a question: the published examples fill product, lot and expiry; what is wrong is said plainly.

Examples: FDA, UDI formats by FDA-accredited issuing agency, 2017 (GS1, HIBC); IMDRF UDI WG N48, app. A (GS1).
That each published string parses to its parts is held in tests/outside; here is what charting makes of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest
from desk import answered, demo_until, name, subject

from lda_notes.chart.answers.values import looks_like_label
from lda_notes.chart.event import EventForm
from lda_notes.chart.form import Say
from lda_notes.chart.talk import Talk

SECOND = "2026-05-11T15:45-05:00"
BEFORE_NEEDLE = ("-15m", "nb", "y", "", "treatment goes on", "a", "n", "a", "1", "-6", "a", "40 45")

FDA_GS1 = "(01)51022222233336(11)141231(17)150707(10)A213B1(21)1234"
IMDRF_GS1 = "(01)09506000117843(11)141231(17)201231(10)1234AB(21)5678CD"
FDA_HIBC = "+H123PARTNO1234567890120/$$420020216LOT123456789012345/SXYZ4567890123 45678/16D20130202C"
FDA_ISBT = "=/A9999XYZ100T0944=,000025=A99971312345600=>014032=}013032&,1000000000000XYZ123"

MADE_GS1 = "(01)51022222233336(17)280131(10)A77"
"""Invented: the FDA's product number with a lot and an expiry to come."""

PUBLISHED = [
    (FDA_GS1, "A213B1", "2015-07-07"),
    (IMDRF_GS1, "1234AB", "2020-12-31"),
    (FDA_HIBC, "LOT123456789012345", "2020-02-02"),
    (FDA_ISBT, "000000000000XYZ123", "2014-02-01"),
]


@pytest.fixture
def needle() -> Talk:
    talk, _ = answered(Talk(subject(demo_until("access-2"), "access", SECOND)), *BEFORE_NEEDLE)
    assert name(talk) == "needle"
    return talk


def spellings(text: str) -> Sequence[str]:
    """Return a GS1 string in brackets, in braces, raw with separators as scanners send it, and with the symbology."""
    if not text.startswith("("):
        return [text]
    raw = text.replace("(01)", "01").replace("(11)", "11").replace("(17)", "17").replace("(10)", "10")
    raw = raw.replace("(21)", "\x1d21")
    return [text, text.replace("(", "{").replace(")", "}"), raw, f"]d2{raw}"]


@pytest.mark.parametrize(("text", "lot", "expires"), PUBLISHED)
def test_published_examples_fill_lot_and_expiry(needle: Talk, text: str, lot: str, expires: str) -> None:
    for spelling in spellings(text):
        talk, says = answered(needle, spelling)
        assert talk.facts["needle"]["lot"] == lot and talk.facts["needle"]["expires"] == expires
        assert f"lot {lot}" in says[0].text and "EXPIRED on" in says[0].text
        assert name(talk) == "needle", "the label does not say gauge and length"


def test_an_expired_label_is_unsafe_at_once(needle: Talk) -> None:
    _, says = answered(needle, FDA_GS1)
    assert says[0].text.startswith("Label: product 51022222233336, lot A213B1, EXPIRED on 7 July 2015: do not use it.")
    assert [_rule(say) for say in says if say.finding] == ["expired-supply"]


def _rule(say: Say) -> str:
    assert say.finding is not None
    return say.finding.rule


def test_a_label_in_date_is_said_in_plain_words(needle: Talk) -> None:
    talk, says = answered(needle, MADE_GS1)
    assert [say.text for say in says] == ["Label: product 51022222233336, lot A77, usable until 31 January 2028."]
    talk, _ = answered(talk, "20 19")
    about = talk.form
    assert isinstance(about, EventForm)
    written = about.finished(talk.facts)["needle"]
    assert written == {"gauge": 20, "length_mm": 19, "lot": "A77", "expires": "2028-01-31", "udi": MADE_GS1}


def test_another_label_takes_the_place_of_the_first(needle: Talk) -> None:
    talk, _ = answered(needle, FDA_GS1, "(01)51022222233336(10)B99")
    assert talk.facts["needle"] == {"lot": "B99", "udi": "(01)51022222233336(10)B99"}, "no expiry is left over"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (FDA_GS1.replace("33336", "33337"), "check"),
        (IMDRF_GS1.replace("7843", "7844"), "check"),
        (FDA_HIBC[:-1] + "H", "check"),
        (FDA_HIBC.replace("PARTNO1", "PARTNO2"), "check"),
        ("(01)5102222223333", "expected 14 digits"),
        ("(17)280131(10)A77", "lacks part (01)"),
    ],
)
def test_a_malformed_label_is_refused_in_plain_words(needle: Talk, text: str, says: str) -> None:
    talk, said = answered(needle, text)
    assert said[0].tone == "fault" and said[0].text.startswith("The label was not read. ") and says in said[0].text
    assert talk.facts == needle.facts and name(talk) == "needle"


def test_a_label_is_taken_for_the_supply_that_is_asked_about(needle: Talk) -> None:
    talk, _ = answered(needle, "20 19", "y", "y", "1", "w", "5", "15", "1", "10 10", "a", MADE_GS1)
    assert talk.facts["lock"] == {"lot": "A77", "expires": "2028-01-31"}, "a lock keeps lot and expiry, no identifier"
    talk, _ = answered(talk, "i", "", "1", MADE_GS1)
    assert {key: talk.facts["dressing"][key] for key in ("type", "lot")} == {"type": "transparent", "lot": "A77"}
    talk, _ = answered(talk, "+ supply", MADE_GS1, "extension set")
    assert talk.facts["supplies"] == [{"udi": MADE_GS1, "lot": "A77", "expires": "2028-01-31", "name": "extension set"}]


def test_a_label_is_no_answer_where_nothing_was_unpacked(needle: Talk) -> None:
    talk, _ = answered(needle, "20 19", "y", "y", "1")
    assert name(talk) == "blood"
    _, says = answered(talk, MADE_GS1)
    assert says[0].tone == "fault"


@pytest.mark.parametrize(
    "text", [FDA_GS1, FDA_HIBC, FDA_ISBT, "]d20151022222233336", "{01}51022222233336", "0151022222233336"]
)
def test_labels_are_known_by_their_beginning(text: str) -> None:
    assert looks_like_label(text)


@pytest.mark.parametrize(
    "text", ["20 19", "0940", "+10m", "+ remarks", "+7d", "+lot", "= needle.lot A77", "=x", "(left) arm", "-6"]
)
def test_answers_and_commands_are_no_labels(text: Any) -> None:
    assert not looks_like_label(text)
