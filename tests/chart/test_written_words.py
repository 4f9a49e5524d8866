"""Dates, words and numbers as nurses write them, on a real terminal."""

from __future__ import annotations

from pathlib import Path

from desk import Keyboard

from lda_notes.record import reading as records

ASOF = "2026-05-11T15:45-05:00"  # a Monday


def test_a_birth_date_that_may_be_two_is_asked_back(ward: Path) -> None:
    """Seven answers and 69 keys to the allergies, the question back among them."""
    nurse = Keyboard(ward, "new", "tobias.yaml", asof=ASOF)
    nurse.read()
    for text in ("Brightwater", "Tobias", "LB-000777", ""):
        nurse.type(text)
    said = nurse.type("03/12/1957")
    assert "Is that 12 March 1957, not 3 December 1957? Type y if that is right" in said
    assert "12 March 1957." in nurse.type("y")
    said = nurse.type("penicillin, chlorhexidine")
    assert "penicillin and chlorhexidine" in said
    assert nurse.keys == 69
    nurse.process.close(force=True)


def test_a_weekday_and_words_for_choices(ward: Path) -> None:
    nurse = Keyboard(ward, "chart", "episode.yaml", "dressing", asof=ASOF)
    nurse.read()
    said = nurse.type("Sun 1410")
    assert "10 May 2026, 14:10" in said and "before the last entry" in said
    nurse.type("y")
    said = nurse.type("2")
    assert "Type a if all of it applies" in said, "a number never means a choice of a list that is not shown"
    nurse.process.close(force=True)


def test_a_facility_that_writes_the_day_first(ward: Path) -> None:
    (ward / "lda-policy.yaml").write_text(
        "source: {title: Dates, date: 2026-01-15}\nlimits: {dates_typed: day first}\n", encoding="utf-8"
    )
    nurse = Keyboard(ward, "chart", "episode.yaml", "check", asof=ASOF)
    nurse.read()
    assert "10 May 2026, 15:40" in nurse.type("10/5 1540")
    nurse.process.close(force=True)
    assert records.read(ward / "episode.yaml").episode is not None
