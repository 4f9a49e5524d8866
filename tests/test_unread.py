"""A fact that was written and could not be read: named with its place and text, its neighbours left alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from lda_notes.knowledge.policy import DEFAULT
from lda_notes.pipeline import judge, upto
from lda_notes.record.events import Amendment
from lda_notes.record.reading import Record, read_bytes
from lda_notes.record.spelling import nearest

DEMOS = Path(__file__).parent.parent / "demo_episodes"


def changed(demo: str, *changes: tuple[str, str]) -> Record:
    """Return a demo as read after the first occurrence of each text was replaced."""
    text = (DEMOS / f"{demo}.yaml").read_text()
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return read_bytes(text.encode(), "changed.yaml")


def told(record: Record) -> list[tuple[str | None, str, str]]:
    return [(fact.event, fact.label, fact.text) for fact in record.unread_facts]


LATEX = '    - {substance: latex, reaction: "itching redness of the hands, settled in a day"}'
LOCK = '    lock: {not_done: "line on hold, nothing instilled"}'
BLOOD = "    blood_return: none\n"


def test_one_bad_allergy_leaves_the_others() -> None:
    record = changed(
        "no-blood-return", (LATEX, f"    - {{substance: penicilin, reaction: anaphylaxis}}\n{LATEX}\n    - CHG")
    )
    assert record.episode is not None
    assert [allergy.reaction for allergy in record.episode.patient.allergies or ()] == [
        "itching redness of the hands, settled in a day"
    ]
    assert told(record) == [
        (None, "allergies, item 1", "penicilin (reaction: anaphylaxis)"),
        (None, "allergies, item 3", "CHG"),
    ]
    assert record.unread_facts[0].place.row == 13
    assert record.place(("patient", "allergies", 0, "reaction")).row == 14, "where it stands in the file"


def test_a_list_that_lost_every_item_does_not_say_that_there_is_none() -> None:
    record = changed("no-blood-return", ("substance: latex", "substance: latx"))
    assert record.episode is not None
    assert record.episode.patient.allergies is None


@pytest.mark.parametrize(
    ("old", "new", "label", "text"),
    [
        (BLOOD, "    blood_return: absent\n", "blood return", "absent"),
        (BLOOD, "    blod_return: none\n", "blood return", "none"),
        ("    pain: 1\n", "    pain: one\n", "pain score", "one"),
        ("volume_ml: 5,", "volume_ml: 5 mL,", "flush, item 1, flush volume", "5 mL"),
        (LOCK, LOCK.replace("{", "\n    ").replace("}", ""), "lock", "line on hold, nothing instilled"),
        ("gauge: 20", "gauge: 2O", "needle gauge", "2O"),
    ],
)
def test_the_rest_of_the_event_is_read(old: str, new: str, label: str, text: str) -> None:
    record = changed("no-blood-return", (old, new))
    assert told(record) == [("access-1", label, text)]
    assert record.episode is not None
    assert record.episode.events[0].id == "access-1"
    assert record.findings, "counts as something found"


def test_what_a_flush_says_is_kept_with_the_word_that_spoils_it() -> None:
    record = changed("no-blood-return", ("solution: 0.9% sodium", "solution: 0.9% sodum"))
    assert told(record) == [
        (
            "access-1",
            "flush, item 1",
            "0.9% sodum chloride (volume_ml: 5, syringe_ml: 10, technique: push-pause, resistance: none)",
        )
    ]


def test_a_misplaced_name_is_known_again() -> None:
    record = changed(
        "no-blood-return", ("    site: {skin: intact, ", "    swelling: present\n    site: {skin: intact, ")
    )
    (fact,) = record.unread_facts
    assert fact.names == ("site", "swelling")
    assert fact.concerns("site")
    assert not fact.concerns("blood_return")


def test_a_reason_on_the_wrong_step_silences_nothing() -> None:
    record = changed("no-blood-return", ("    pain: 1\n", "    not_assessed: asleep\n"))
    assert told(record) == [("access-1", "not assessed", "asleep")]
    assert record.episode is not None


def test_an_amendment_that_cannot_be_read_withdraws_what_it_was_to_replace() -> None:
    old = "sets: {needle: {length_mm: 25.4, lot: LOT-A80}}"
    record = changed(
        "corrected-entries", (old, "sets: {needle: {length_mm: 25.4 mm, lot: LOT-A80}, site: {sweling: present}}")
    )
    assert told(record) == [("access-1", "needle length", "25.4 mm"), ("access-1", "swelling", "present")]
    assert record.episode is not None
    (change,) = (event for event in record.episode.events if isinstance(event, Amendment))
    assert change.sets == {"needle": {"lot": "LOT-A80", "length_mm": None}, "site": {"swelling": None}}


def test_a_sheet_of_the_past_knows_nothing_of_a_later_event() -> None:
    record = changed("no-blood-return", ("decision: thrombolytic ordered", "decision: thromblytic ordered"))
    assert record.episode is not None
    assert told(upto(record, record.episode.events[0].at)) == []
    judged = judge(record, DEFAULT, record.episode.events[-1].at)
    assert judged.timeline is not None
    assert [fact.label for fact in judged.timeline.unread] == ["decision"]


@pytest.mark.parametrize(
    ("word", "known", "meant"),
    [
        ("absent", ("present", "sluggish", "none"), "none"),
        ("neg", ("present", "sluggish", "none"), "none"),
        ("CHG", ("chlorhexidine", "iodine"), "chlorhexidine"),
        ("CHG", ("chlorhexidine in alcohol", "aqueous chlorhexidine"), "chlorhexidine in alcohol"),
        ("normal saline", ("0.9% sodium chloride", "5% dextrose"), "0.9% sodium chloride"),
        ("HIT", ("heparin-induced thrombocytopenia",), "heparin-induced thrombocytopenia"),
        ("penicilin", ("latex", "other"), None),
    ],
)
def test_what_nurses_write_is_known(word: str, known: tuple[str, ...], meant: str | None) -> None:
    assert nearest(word, known) == meant


def test_no_known_drug_allergies_is_asked_about_not_assumed() -> None:
    record = changed("no-blood-return", (f"allergies:\n{LATEX}", "allergies: NKDA"))
    assert record.episode is not None
    assert record.episode.patient.allergies is None
    assert told(record) == [(None, "allergies", "NKDA")]
    assert "latex" in record.findings[0].todo
