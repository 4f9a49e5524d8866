"""Words that a nurse types for a choice, each read as its word or asked back; and rows of 80 columns."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import get_args
from zoneinfo import ZoneInfo

import pytest
from desk import DEMO, Run, answered, demo_until, episode, name, subject
from test_no_key_names import every_row, subjects

from lda_notes.chart.answers import values
from lda_notes.chart.answers.heard import Unclear
from lda_notes.chart.form import Form
from lda_notes.chart.talk import Talk
from lda_notes.chart.terminal import display, unit
from lda_notes.commands import console
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line.timeline import build
from lda_notes.record import synonyms, vocabulary

NOON = "2026-05-07T12:00-05:00"
CHOICES = {
    name: get_args(words)
    for name, words in vars(vocabulary).items()
    if str(words).startswith("typing.Literal") and all(isinstance(word, str) for word in get_args(words))
}


def _chosen(typed: str, choice: str) -> str:
    found = values.choose(typed, values.options(CHOICES[choice]))
    return "?" if isinstance(found, Unclear) else found.words


def _until(question: str, talk: Talk, *first: str) -> Talk:
    """Answer up to a question: what cannot be left open by what fits."""
    talk, _ = answered(talk, *first)
    for _ in range(80):
        if name(talk) == question:
            return talk
        for text in ("1" if name(talk).endswith(("agent", "solution")) else "10 10", ".", "w", "1"):
            new, _ = answered(talk, text)
            if len(new.answered) > len(talk.answered):
                break
        talk = new
    raise AssertionError(f"{question} is not asked")


@pytest.mark.parametrize(
    ("typed", "choice", "meant"),
    [
        ("teach-back", "Understanding", "taught back"),
        ("verbalized understanding", "Understanding", "states understanding"),
        ("pulsatile", "FlushTechnique", "push-pause"),
        ("ok", "Response", "tolerated well"),
        ("ok", "BloodReturn", "present"),
        ("ok", "Presence", "?"),  # to whether there is redness, ok is no answer
        ("good", "Presence", "?"),
        ("chg", "AntisepticAgent", "?"),  # in alcohol or aqueous
        ("alcohol", "AntisepticAgent", "?"),
        ("chg in alcohol", "AntisepticAgent", "chlorhexidine in alcohol"),
        ("blood", "UsePurpose", "?"),  # drawn or given
        ("labs", "UsePurpose", "blood sampling"),
        ("prbc", "UsePurpose", "transfusion"),
        ("chemo", "UsePurpose", "?"),
        ("hep lock", "LockDrug", "heparin"),
        ("saline lock", "LockDrug", "0.9% sodium chloride"),
        ("cxr", "Evidence", "chest radiograph"),
        ("hit", "HistoryName", "heparin-induced thrombocytopenia"),
        ("unable", "Resistance", "cannot flush"),
        ("snf", "DestinationName", "other facility"),
    ],
)
def test_a_word_means_one_choice_or_is_asked_back(typed: str, choice: str, meant: str) -> None:
    assert _chosen(typed, choice) == meant


def test_no_word_takes_the_place_of_a_word_of_its_own_choice() -> None:
    """Every row of the table is of a word that can be chosen, and reads as it or is asked back."""
    every = {word for words in CHOICES.values() for word in words}
    for word, typed in synonyms.SAID.items():
        for choice in (one for one, words in CHOICES.items() if word in words):
            for one in typed:
                assert _chosen(one, choice) in (word, "?") or one in CHOICES[choice], (one, choice)
    asked = {"allergies", "weight", "caregiver", "chlorhexidine", "none used", "tender", "nothing but the flush"}
    assert synonyms.SAID.keys() - every <= asked | {"an infusion runs, no lock"}


def test_ok_says_that_all_is_as_written_and_a_trouble_says_itself_alone() -> None:
    talk = Talk(subject(demo_until("check-6"), "line check", NOON))
    talk, _ = answered(talk, "1150")
    assert name(talk) == "site"
    fine, _ = answered(talk, "ok")
    assert fine.facts["site"]["erythema"] == "none" and len(fine.facts["site"]) == 6
    red, says = answered(talk, "redness")
    assert red.facts["site"] == {"erythema": "present"} and "Site: redness." in [say.text for say in says]
    for unclear in ("none", "1", "zz", "redness, zz"):
        same, says = answered(talk, unclear)
        assert says[0].tone == "fault" and same.facts == talk.facts


def test_push_pause_says_the_technique_and_resistance_is_asked() -> None:
    talk = _until("flushing", Talk(subject(demo_until("check-6"), "flush", NOON)), "1150")
    talk, _ = answered(talk, "push-pause")
    assert talk.facts["flushes"][0]["technique"] == "push-pause" and name(talk) == "flushes.0.resistance"


def test_none_at_the_lock_is_asked_back() -> None:
    """A line that is not locked may have an infusion or be on hold: the word says neither."""
    talk = _until("lock", Talk(subject(demo_until("access-2"), "access", "2026-05-11T15:45-05:00")), "-15m")
    same, says = answered(talk, "none")
    assert says[0].tone == "fault" and same.facts == talk.facts


def test_ok_at_an_offered_order_takes_it_and_is_no_order_of_its_own() -> None:
    talk = Talk(subject(demo_until("access-2"), "access", "2026-05-11T15:45-05:00"))
    talk, _ = answered(talk, "-15m", "a", "ok")
    assert talk.facts["order"] == "LB-ORD-5501"


@pytest.mark.parametrize("word", ["nkda", "none known"])
def test_no_known_drug_allergies_is_no_answer_to_all_allergies(run: Run, word: str) -> None:
    ran = run("new", "b.yaml", typed=f"Brightwater\nTobias\nLB-7\nLantern Bay\n12 March 1957\n{word}\n")
    assert ("That may refer to drugs only" in ran.err) == (word == "nkda"), ran.err


def test_a_kind_is_read_by_what_it_is_called(run: Run) -> None:
    ran = run("chart", "episode.yaml", "allergy", "--asof", NOON, typed="")
    assert "Patient facts: Quillfeather" in ran.err
    ran = run("chart", "episode.yaml", "nothing", "--asof", NOON, typed="")
    assert ran.code == 2 and "there is no kind nothing" in ran.err


def test_a_kind_that_is_mistyped_is_offered_in_short_rows(run: Run) -> None:
    ran = run("chart", "episode.yaml", "acess", "--asof", NOON, typed="")
    assert ran.code == 2 and ran.err.endswith("there is no kind acess. Did you mean access?\n")
    assert max(map(len, ran.err.splitlines())) <= 80


def test_a_stay_that_is_over_says_so_first_and_offers_no_time(run: Run, ward: Path) -> None:
    later, typed = ("--asof", "2026-11-28T08:00-06:00"), "\n-15m\n"
    ran = run("chart", "episode.yaml", "visit", *later, typed="")
    assert "THIS STAY IS OVER" not in ran.err
    (ward / "episode.yaml").write_bytes(DEMO.read_bytes())
    said = " ".join(run("chart", "episode.yaml", "visit", *later, typed=typed).err.split())
    over = "!! THIS STAY IS OVER: discharged, 12 May 2026, 14:00. Chart here only what happened before that."
    assert over in said and said.index(over) < said.index("When did the needle go in?")
    assert "An answer is required." in said and "is after the discharge of 12 May 2026, 14:00. Type y" in said


@pytest.mark.parametrize(("about", "form"), list(subjects()), ids=[one for one, _ in subjects()])
def test_no_row_is_wider_than_the_terminal(about: str, form: Form) -> None:
    for text in every_row(Talk(form)):
        for row in console.folded(text).split("\n"):
            assert len(row) <= 80 or " " not in row.strip(), row


def test_a_row_is_cut_between_words_and_continues_below_its_first_word() -> None:
    row = "?? " + "word " * 30
    first, second = console.folded(row.strip()).split("\n")
    assert len(first) <= 80 and first.endswith("word") and second.startswith("   word")
    assert console.folded("/a/path/" + "x" * 90) == "/a/path/" + "x" * 90, "a path is never cut"


# -- what a nurse stumbled over --


def test_the_example_of_several_answers_contradicts_nothing() -> None:
    """Intact and damp exclude each other; whoever typed the example was told so."""
    found = values.options(get_args(vocabulary.DressingCondition))
    assert values._sample(found) == "one or more, such as ds for damp and soiled"


def test_one_number_with_its_unit_is_no_answer_to_a_question_for_two() -> None:
    talk = _until("seconds", Talk(subject(demo_until("access-1"), "access", NOON)), "now")
    for typed in ("30 seconds", "30 s", "60"):
        _, (say,) = talk.reply(typed)
        assert say.text == "Type both numbers in this order, such as 40 45, or e for each by itself."


def test_a_word_for_one_fact_of_several_is_echoed_with_its_title() -> None:
    talk = _until("site", Talk(subject(demo_until("access-1"), "access", NOON)), "now")
    _, says = answered(talk, "irritated")
    assert says[0].text == "Site: skin: irritated."


def test_two_answers_to_a_question_for_one_are_asked_one_at_a_time() -> None:
    for choice in ("AllergenName", "Presence"):
        found = values.choose("latex, tape", values.options(CHOICES[choice]))
        assert isinstance(found, Unclear) and found.sentence.startswith("One at a time. Type ")


def test_the_time_of_an_event_is_explained_in_words_that_can_be_typed() -> None:
    _, (say,) = Talk(subject(demo_until("access-1"), "access", NOON)).reply("?")
    assert "Type it like 0940" in say.text and "offset" not in say.text


FEVER = """  - id: check-9
    kind: line check
    at: 2026-06-15T09:30-05:00
    by: {name: Marisol Tamm, credential: RN, id: LBN-204}
    signs: [{what: fever, temperature_c: 39, began_at: 2026-06-15T09:20-05:00}]
"""


def test_each_hold_is_named_with_its_own_beginning() -> None:
    text = (DEMO.parent / "no-blood-return.yaml").read_text()
    made = episode((text[: text.index("  - id: evaluation-1")] + FEVER).encode())
    line = build(made, DEFAULT, datetime.fromisoformat("2026-06-15T10:00-05:00"))
    (row,) = display.warnings(line.now("single"), ZoneInfo("America/Chicago"))
    assert "since 15 June 2026, 08:30: no blood return; since 15 June 2026, 09:30: fever of 39" in row


def test_a_line_on_hold_is_not_last_on_the_unit_for_lack_of_a_time() -> None:
    now = datetime.fromisoformat("2026-06-15T10:00-05:00")
    idle = unit.Task("idle flush", now + timedelta(days=28), False)
    late = unit.Task("line check", now - timedelta(hours=1), True)
    beds = [
        unit.Bed(Path(room), room, "Fernsby, Odo", room, tasks, held, (), now)
        for room, tasks, held in (("14", (idle,), False), ("12", (), True), ("9", (late,), False))
    ]
    assert [bed.room for bed in sorted(beds, key=lambda bed: bed.first)] == ["9", "12", "14"]
