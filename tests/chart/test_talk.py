"""The talk itself, without a terminal: what is asked, what is not, what is said at once, what is doubted."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from desk import BY, answered, demo_until, demo_without_events, name, subject
from hypothesis import given, settings
from hypothesis import strategies as st

from lda_notes.chart.answers import layout
from lda_notes.chart.answers.heard import Heard
from lda_notes.chart.event import EventForm
from lda_notes.chart.questions.question import Question
from lda_notes.chart.talk import COMMANDS, Talk, explanation
from lda_notes.check.needs import NEEDS
from lda_notes.record.events import KINDS
from lda_notes.record.writer_text import with_event

SECOND = "2026-05-11T15:45-05:00"
UNTIL_BLOOD = (
    "-15m",
    "nb",
    "y",
    "",
    "treatment goes on",
    "a",
    "n",
    "a",
    "1",
    "-6",
    "a",
    "40 45",
    "20 19",
    "y",
    "y",
    "1",
)
FLUSHED = ("15", "1", "10 10", "a")

NEVER_BY_DEFAULT = frozenset(
    {
        *("site", "blood_return", "blood_looks", "blood_return_before", "pain", "response", "dressing_found"),
        *("bleeding", "needle_intact", "safety_engaged", "connections_secure", "resistance", "withdrawn_ml"),
        *("patency_before", "needle_in", "complete", "hand_hygiene", "masks", "sterile_gloves", "sterile_field"),
        *("fully_dry", "identifiers_checked", "allergies_checked", "understanding", "attempts", "discard_ml"),
    }
)
"""Keys of what was seen or done: Enter alone never says them."""


@pytest.fixture
def access() -> Talk:
    return Talk(subject(demo_until("access-2"), "access", SECOND))


def tones(says: list[Any]) -> list[str]:
    return [say.tone for say in says]


# -- every kind --

MOMENTS = {
    "access": ("access-2", SECOND),
    "arrival accessed": ("access-1", "2026-05-04T16:30-05:00"),
    "de-access": ("removal-2", "2026-05-12T11:10-05:00"),
    "dressing change": ("check-6", "2026-05-07T12:00-05:00"),
    "line check": ("check-6", "2026-05-07T12:00-05:00"),
    "flush": ("check-6", "2026-05-07T12:00-05:00"),
    "line use": ("check-6", "2026-05-07T12:00-05:00"),
    "patency treatment": ("check-6", "2026-05-07T12:00-05:00"),
    "evaluation": ("check-6", "2026-05-07T12:00-05:00"),
    "transfer": ("check-6", "2026-05-07T12:00-05:00"),
    "discharge": ("discharge-1", "2026-05-12T14:10-05:00"),
    "port implanted": ("access-1", "2026-05-04T16:30-05:00"),
    "port removed": ("discharge-1", "2026-05-12T14:10-05:00"),
}
"""Each kind with a moment of the demo at which it makes sense."""

SPOKEN = {
    "identifiers_checked": "12",
    "attempts": "1",
    "dose_mg": "2",
    "volume_ml": "2",
    "pain": "0",
    "needle_in": "n",
    "needle": "20 19",
    "seconds": "60 60",
    "flushed": "10 10",
    "locked": "100 5",
    "next_due.flush": "+28d",
    "to_unit": "Ward Osprey",
    "patency_before": "1",
    "drug": "1",
    "inserted_at": "-1d",
    "dressed_at": "-1d",
    "decision": "r",
    "by": "Marisol Tamm, RN, LBN-204",
    "verified_by": "Ilse Novak, RN",
    "cleared_by": "Dr Amaranth Locke, MD",
    "handed_to": "Ilse Novak, RN",
    "problems.0.told": "Dr Amaranth Locke, MD",
}


def walked(talk: Talk, each: bool, spoken: dict[str, str] = SPOKEN) -> Iterator[tuple[Question, Talk]]:
    """Answer every question, ``each`` by itself where that can be had; yield the questions as they come."""
    for _ in range(120):
        question = talk.question
        if question is None:
            return
        yield question, talk
        text = "e" if each and "e" in {option.key for option in question.options} else _answer(question, talk, spoken)
        before = len(talk.answered)
        talk, says = talk.reply(text)
        if talk.doubt is not None:
            talk, says = talk.reply("y")
        assert len(talk.answered) == before + 1, (question.name, text, says)
    raise AssertionError("the questions come to no end")


def _answer(question: Question, talk: Talk, spoken: dict[str, str]) -> str:
    if question.name in spoken:
        return spoken[question.name]
    if question.default is not None:
        return ""
    if question.options:
        return question.options[0].key
    for text in ("-2", "5"):
        after, _ = talk.reply(text)
        if len(after.answered) > len(talk.answered):
            return text if question.hint or text == "5" else "some words"
    return "some words"


@pytest.mark.parametrize("each", [False, True])
@pytest.mark.parametrize("kind", MOMENTS)
def test_every_kind_is_asked_until_nothing_needed_is_missing(kind: str, each: bool) -> None:
    cut, now = MOMENTS[kind]
    about = subject(demo_until(cut), kind, now)
    talk = Talk(about)
    *_, (_, last) = walked(talk, each)
    last, _ = last.reply(_answer(last.question, last, SPOKEN))  # type: ignore[arg-type]  # a stand-in of the test
    assert last.question is None
    found = [finding for finding in about.situation(last.facts).trial.findings if "not-recorded" in finding.rule]
    assert found == []
    entry = about.finished(last.facts)
    assert KINDS[kind].model_validate_json(json.dumps(entry)).kind == kind  # type: ignore[attr-defined]  # the kind is known here
    assert list(entry)[:5] == ["id", "kind", "at", "charted_at", "by"]


@pytest.mark.parametrize("each", [False, True])
def test_enter_never_says_what_was_seen_or_done(each: bool) -> None:
    walked_by = 0
    for kind, (cut, now) in MOMENTS.items():
        for question, _ in walked(Talk(subject(demo_until(cut), kind, now)), each):
            walked_by += 1
            if question.default is None:
                continue
            said = {str(step) for path, _ in question.default.facts for step in path}
            assert not said & NEVER_BY_DEFAULT, (kind, question.name)
    assert walked_by > 120


def test_every_fact_that_must_be_said_is_a_fact_of_some_kind() -> None:
    known = {str(step) for table in NEEDS.values() for need in table for step in need.path}
    assert known >= NEVER_BY_DEFAULT


DOSE = {
    "id": "treatment-1",
    "kind": "patency treatment",
    "at": "2026-05-07T11:00-05:00",
    "drug": "alteplase",
    "dose_mg": 2,
    "volume_ml": 2,
    "patency_before": "no blood return",
}


def test_a_patency_check_knows_which_treatment_it_is_of() -> None:
    about = subject(with_event(demo_until("check-6"), DOSE, as_json=False), "patency check", "2026-05-07T11:40-05:00")
    *_, (question, last) = walked(Talk(about), each=False, spoken={**SPOKEN, "at": "1130", "withdrawn_ml": "4"})
    last, _ = last.reply(_answer(question, last, SPOKEN))
    entry = about.finished(last.facts)
    assert entry["treatment"] == "treatment-1" and entry["withdrawn_ml"] == 4
    assert [finding for finding in about.situation(last.facts).trial.findings if "not-recorded" in finding.rule] == []


def test_a_second_dose_knows_the_first_and_the_lumen() -> None:
    about = subject(
        with_event(demo_until("check-6"), DOSE, as_json=False), "patency treatment", "2026-05-07T13:10-05:00"
    )
    talk, says = answered(Talk(about), "")
    told = [say.text for say in says if say.tone == "known"]
    assert told == [
        "On record, so not asked: volume of catheter and port: 0.9 mL.",
        "On record, so not asked: second dose, after the one of 7 May 2026, 11:00.",
    ]
    names = [question.name for question, _ in walked(talk, each=False)]
    assert not {"lumen_ml", "second_dose_of"} & set(names)


def test_questions_come_in_the_order_of_the_work(access: Talk) -> None:
    order = [need.name.replace("*", "0") for need in NEEDS["access"]]
    places = [
        order.index(question.covers[0] if question.covers else question.name)
        for question, _ in walked(access, each=False)
        if question.name != "at" and (question.covers or question.name in order)
    ]
    assert places == sorted(places) and len(places) > 20


def test_each_question_can_be_explained_with_its_source(access: Talk) -> None:
    for question, _ in walked(access, each=True):
        said = explanation(question)
        assert all(command in said for command in COMMANDS)
        if question.needs:
            assert "Required by: " in said or "Recommended by: " in said
            assert "[" in said or "common practice, no source" in said


# -- what is known is not asked, what differs is --


def test_what_the_record_holds_is_told_and_not_asked(access: Talk) -> None:
    talk, says = answered(access, "-15m")
    assert [say.text for say in says if say.tone == "known"] == [
        "On record, so not asked: needle change, after the removal of 11 May 2026, 15:10."
    ]
    names = [question.name for question, _ in walked(access, each=True)]
    assert not {"follows_removal", "tip_confirmed", "septum", "charted_at", "by"} & set(names)
    assert access.form.situation(talk.facts).facts["follows_removal"] == "removal-1"  # type: ignore[attr-defined]  # the kind is known here


def test_tip_position_on_record_is_not_asked_at_the_first_access() -> None:
    first = Talk(subject(demo_without_events(), "access", "2026-05-04T16:30-05:00"))
    _, says = answered(first, "")
    assert "tip position confirmed: cavoatrial junction (chest radiograph, 12 November 2025)" in says[1].text
    assert "tip_confirmed" not in [question.name for question, _ in walked(first, each=True)]


def test_a_tip_that_lies_wrong_is_not_taken_for_confirmed() -> None:
    raw = demo_without_events().replace(b"cavoatrial junction", b"azygos vein")
    assert b"azygos vein" in raw
    first = Talk(subject(raw, "access", "2026-05-04T16:30-05:00"))
    _, says = answered(first, "")
    assert not [say.text for say in says if "tip position confirmed" in say.text]
    assert "tip_confirmed" in [question.name for question, _ in walked(first, each=True)]


def test_a_known_fact_can_be_taken_out_or_said_otherwise(access: Talk) -> None:
    talk, _ = answered(access, "-15m", "= follows_removal .")
    about = talk.form
    assert isinstance(about, EventForm)
    assert "follows_removal" not in about.finished(talk.facts)
    talk, _ = answered(access, "-15m", "= follows_removal removal-9")
    assert about.finished(talk.facts)["follows_removal"] == "removal-9"


def test_two_septa_are_asked_for_and_a_change_of_side_is_questioned() -> None:
    raw = demo_until("check-6").replace(b"septa: [single]", b"septa: [medial, lateral]")
    raw = raw.replace(b"    kind: line check\n", b"    kind: line check\n    septum: medial\n")
    raw = raw.replace(b"    kind: access\n", b"    kind: access\n    septum: medial\n")
    talk, _ = answered(Talk(subject(raw, "line check", "2026-05-07T12:00-05:00")), "")
    assert name(talk) == "septum" and [option.words for option in talk.question.options] == ["medial", "lateral"]  # type: ignore[union-attr]  # not None here
    talk, says = answered(talk, "l")
    assert tones(says) == ["doubt"]
    assert "The last entry was about the medial septum; this is about the lateral one." in says[0].text
    talk, says = answered(talk, "y")
    assert says[0].text == "Septum: lateral."


def test_another_needle_than_the_last_one_is_questioned(access: Talk) -> None:
    talk, _ = answered(access, *UNTIL_BLOOD[:12])
    assert talk.question is not None and talk.question.default is None, "Enter never says which needle it was"
    doubted, says = answered(talk, "22 25")
    assert says[0].text == "The last needle was 20 gauge; this is 22 gauge. Type y if that is right, or answer again."
    assert name(doubted) == "needle", "nothing is taken before it is confirmed"
    kept, says = answered(doubted, "y")
    assert says[0].text.startswith("Needle: 22 gauge, 25 mm") and name(kept) == "needle.non_coring"
    _, says = answered(doubted, "20 19")
    assert says[0].text == "Needle: 20 gauge, 19 mm (3/4 inch)."


def test_another_heparin_strength_than_the_last_one_is_questioned() -> None:
    talk = Talk(subject(demo_until("discharge-1"), "access", "2026-05-12T13:00-05:00"))
    for question, here in walked(talk, each=False):
        if question.name == "lock":
            talk = here
            break
    talk, says = answered(talk, "1", "10 5")
    assert "The last heparin lock was 100 units per mL; this is 10 units per mL." in says[-1].text


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("1700", "11 May 2026, 17:00 is in the future: it is 11 May 2026, 15:45."),
        ("1500", "11 May 2026, 15:00 is before the last entry, de-access of 11 May 2026, 15:10."),
        ("yesterday 2210", "10 May 2026, 22:10 is before the last entry"),
    ],
)
def test_a_time_to_come_or_before_the_last_entry_is_questioned(access: Talk, typed: str, says: str) -> None:
    talk, said = answered(access, typed)
    assert tones(said) == ["doubt"] and says in said[0].text
    assert name(talk) == "at"
    kept, said = answered(talk, "y")
    assert said[0].tone == "heard" and name(kept) != "at"


def test_a_few_minutes_of_two_clocks_are_no_future(access: Talk) -> None:
    assert answered(access, "1549")[1][0].tone == "heard"
    assert answered(access, "1551")[1][0].tone == "doubt"


def test_a_late_entry_says_what_it_is_recalled_from() -> None:
    talk = Talk(subject(demo_until("check-6"), "line check", "2026-05-08T12:00-05:00"))
    names = [question.name for question, _ in walked(talk, each=False, spoken={**SPOKEN, "at": "yesterday 1100"})]
    assert names[-1] == "late_entry"
    punctual = [question.name for question, _ in walked(talk, each=False, spoken={**SPOKEN, "at": "1100"})]
    assert "late_entry" not in punctual


# -- said at once --


def test_no_blood_return_is_said_at_once_and_the_questions_that_follow_appear(access: Talk) -> None:
    talk, _ = answered(access, *UNTIL_BLOOD)
    without = [question.name for question, _ in walked(talk, each=False)]
    assert not [one for one in without if one.startswith(("steps_tried", "problems"))]
    talk, says = answered(talk, "n")
    assert tones(says) == ["heard", "hold"]
    assert says[1].text.startswith("LINE ON HOLD: no blood return. Nothing goes through it.\nWhat ends the hold: ")
    assert name(talk) == "steps_tried"
    names = [question.name for question, _ in walked(talk, each=False)]
    assert [one for one in names if one.startswith("problems")] == [
        "problems.0.what",
        "problems.0.action",
        "problems.0.told",
        "problems.0.told_at",
        "problems.0.reply",
    ]
    held = {question.name: question for question, _ in walked(talk, each=False)}
    assert held["problems.0.what"].default is not None and held["problems.0.what"].default.said == "no blood return"


def test_an_infusion_on_a_held_line_is_unsafe_the_moment_it_is_said(access: Talk) -> None:
    talk, _ = answered(access, *UNTIL_BLOOD, "n", "12", "- none", "15", "i")
    assert name(talk) != "infusion", "a line that is not proved is not asked what runs"
    talk, says = answered(talk, "= infusion 0.9% sodium chloride")
    (found,) = [say for say in says if say.tone == "finding"]
    assert found.finding is not None and found.finding.rule == "infusion-on-unproven-line"
    assert found.text.startswith("UNSAFE: ") and "\nWhat to do: disconnect the infusion" in found.text
    assert "\nSource: " in found.text


def test_what_is_still_to_be_asked_is_no_finding(access: Talk) -> None:
    talk = access
    for question, here in walked(access, each=False):
        talk = here
        _, says = here.reply(_answer(question, here, SPOKEN))
        assert not [say for say in says if say.finding is not None and "not-recorded" in say.finding.rule]
    assert talk is not access


def test_the_same_rules_as_check_judge_the_answer(access: Talk) -> None:
    _, says = answered(access, "-15m", "name, room number")
    (found,) = [say for say in says if say.tone == "finding"]
    assert found.finding is not None and found.finding.rule == "too-few-patient-identifiers"
    assert found.finding.severity == "unsafe"


def test_an_allergy_takes_the_question_away_and_speaks_at_once() -> None:
    raw = demo_until("access-2").replace(b"allergies: []", b"allergies: [{to: chlorhexidine}, {to: heparin}]")
    talk, _ = answered(Talk(subject(raw, "access", SECOND)), *UNTIL_BLOOD[:8])
    talk, says = answered(talk, "1")
    assert [say.finding.severity for say in says if say.finding] == ["unsafe"]
    offers = {q.name: [o.words for o in q.options] for q, _ in walked(talk, each=False)}
    assert "dressing.chlorhexidine_disc" not in offers, "nobody is asked for what must not be there"


def test_a_value_that_the_record_cannot_hold_is_refused(access: Talk) -> None:
    talk, _ = answered(access, *UNTIL_BLOOD, "w", "5", *FLUSHED, "i", "", "1", "y", "a", "", "y")
    assert name(talk) == "pain"
    same, says = answered(talk, "11")
    assert tones(says) == ["fault"] and "at most 10" in says[0].text
    assert name(same) == "pain" and same.facts == talk.facts


# -- instead of an answer --


def test_a_reason_is_kept_as_not_assessed_or_not_done(access: Talk) -> None:
    talk, says = answered(access, "-15m", "- patient asleep")
    assert says[-1].text == "Identity: not assessed: patient asleep."
    assert talk.facts["identifiers_checked"] == {"not_assessed": "patient asleep"}
    talk, _ = answered(talk, "y", "", "reason here", "- site covered by a wound dressing")
    assert talk.facts["site"] == {"not_assessed": "site covered by a wound dressing"}
    talk, _ = answered(talk, "n", "a", "- urgent; skin cleaned only")
    assert talk.facts["antisepsis"] == {"not_done": "urgent; skin cleaned only"}
    assert name(talk) == "needle", "a part that was not done is not asked further"


def test_a_dash_without_a_reason_asks_for_one(access: Talk) -> None:
    _, says = answered(access, "-15m", "-")
    assert "Type the reason after the dash" in says[-1].text
    _, says = answered(access, "-15m", "nb", "y", "- none")
    assert "do not apply here" in says[-1].text


def test_a_full_stop_leaves_it_open_and_the_note_is_a_draft(access: Talk) -> None:
    talk, says = answered(access, "-15m", ".")
    assert says[-1].text == "Identity: left open."
    assert not {"identifiers_checked", "allergies_checked"} & talk.facts.keys()
    assert name(talk) == "order", "what was left open together is not asked again one by one"
    about = talk.form
    assert isinstance(about, EventForm)
    assert "facts-not-recorded" in {finding.rule for finding in about.situation(talk.facts).trial.findings}


def test_enter_is_refused_where_it_has_to_be_said(access: Talk) -> None:
    talk, says = answered(access, "-15m", "")
    assert "An answer is required." in says[-1].text and name(talk) == "identity"


def test_back_and_on_again(access: Talk) -> None:
    talk, _ = answered(access, *UNTIL_BLOOD, "w", "5")
    here = name(talk)
    back, says = answered(talk, "<", "<", "<")
    assert name(back) == "attempts" and back.question is not None and back.question.default is not None
    assert back.question.default.said == "1"
    there, says = answered(back, ">")
    assert name(there) == here and there.facts == talk.facts and says[0].text == "3 answers restored."
    changed, _ = answered(back, "2", *["."] * 6, "")
    assert layout.get(changed.facts, ("attempts",)) == 2 and changed.facts["blood_return"] == "present"
    first, says = answered(access, "<")
    assert says[0].text == "This is the first question; Ctrl-C stops." and first is access
    _, says = answered(access, ">")
    assert says[0].text == "Nothing was taken back."


def test_going_back_over_a_turn_in_the_questions_forgets_what_no_longer_applies(access: Talk) -> None:
    talk, _ = answered(access, *UNTIL_BLOOD, "n", "12")
    talk, _ = answered(talk, "<", "<", "w")
    assert name(talk) == "discard_ml"
    assert "steps_tried" not in talk.facts


def test_a_fact_is_added_by_a_word(access: Talk) -> None:
    talk, _ = answered(access, "-15m", "+ remarks")
    assert name(talk) == "remarks"
    talk, says = answered(talk, "patient hard of hearing")
    assert talk.facts["remarks"] == "patient hard of hearing" and name(talk) == "identity"
    talk, says = answered(talk, "+ lot")
    assert says[-1].tone == "fault" and says[-1].text.startswith("That could be ")
    talk, says = answered(talk, "= needle.gauge 20", "= antisepsis.agent iodine tincture", "+ lot")
    assert says[-1].text == ("That could be antiseptic lot (skin antisepsis) or needle lot. Type one of these.")
    talk, says = answered(talk, "+ nonsense")
    assert "Nothing is called nonsense here." in says[-1].text
    talk, _ = answered(talk, "+ verifier", "Ilse Novak, RN, LBN-9")
    assert talk.facts["verified_by"] == {"name": "Ilse Novak", "credential": "RN", "id": "LBN-9"}
    talk, _ = answered(talk, "+ needle lot", "<")
    assert name(talk) == "identity", "going back from an added fact leaves it out"


def test_another_flush_and_another_problem_are_asked_in_full(access: Talk) -> None:
    talk, _ = answered(access, *UNTIL_BLOOD, "w", "5", *FLUSHED, "+ flush")
    names = [question.name for question, _ in walked(talk, each=False)]
    assert [one for one in names if one.startswith("flushes.1")] == [
        "flushes.1.solution",
        "flushes.1.volume_ml",
        "flushes.1.syringe_ml",
        "flushes.1.technique",
        "flushes.1.resistance",
    ]
    talk, _ = answered(talk, "", "10", "", "p", "n", "+ problem")
    assert len(talk.facts["flushes"]) == 2
    names = [question.name for question, _ in walked(talk, each=False)]
    assert "problems.0.what" in names and "problems.0.action" in names


def test_an_added_part_that_is_left_open_is_not_written(access: Talk) -> None:
    talk, _ = answered(access, "-15m", "+ problem")
    about = talk.form
    assert isinstance(about, EventForm)
    assert "problems" not in about.finished(talk.facts)


def test_a_fact_is_set_by_its_name(access: Talk) -> None:
    talk, says = answered(access, "-15m", "= needle.lot A77")
    assert says[-1].text == "Needle lot: A77." and talk.facts["needle"] == {"lot": "A77"}
    _, says = answered(talk, "= needle.gage 20")
    assert says[-1].text == "There is no fact needle.gage here. Did you mean needle.gauge?"
    _, says = answered(talk, "= needle 20")
    assert "is a part with its own facts" in says[-1].text
    _, says = answered(talk, "= pain 11")
    assert says[-1].tone == "fault"
    talk, _ = answered(talk, "= anesthetic none used", "= pain - asleep")
    assert talk.facts["anesthetic"] == "none used" and talk.facts["pain"] == {"not_assessed": "asleep"}


def test_a_single_letter_of_text_is_questioned(access: Talk) -> None:
    talk, says = answered(access, "-15m", "nb", "y", "a")
    assert tones(says)[-1] == "doubt" and name(talk) == "order"


def test_an_arrow_key_is_no_answer(access: Talk) -> None:
    _, says = answered(access, "\x1b[A")
    assert "a character that cannot be seen" in says[0].text
    _, says = answered(access, "-15m", "12", "y", "or\udcffder")
    assert says[-1].tone == "fault"


def test_who_charts_is_asked_when_nobody_said_it() -> None:
    talk = Talk(subject(demo_until("check-6"), "line check", "2026-05-07T12:00-05:00", by={}))
    names = [question.name for question, _ in walked(talk, each=False)]
    assert names[-1] == "by"
    talk, _ = answered(talk, "", "a", "i", "y", "Marisol Tamm")
    assert name(talk) == "by.credential", "the credential is asked when only a name is said"
    talk, _ = answered(talk, "RN", "LBN-204")
    assert talk.facts["by"] == BY["by"]


def test_a_nurse_new_to_the_procedure_names_a_verifier() -> None:
    new = {"by": {**BY["by"], "new_to_procedure": True}}
    talk = Talk(subject(demo_until("check-6"), "line check", "2026-05-07T12:00-05:00", by=new))
    assert [question.name for question, _ in walked(talk, each=False)][-1] == "verified_by"


def test_a_child_is_not_offered_an_adults_amounts() -> None:
    raw = demo_without_events().replace(b"birth_date: 1968-05-19", b"birth_date: 2020-05-19")
    raw = raw.replace(b"weight_kg: 68.5", b"weight_kg: 20")
    offers = {q.name: q for q, _ in walked(Talk(subject(raw, "access", "2026-05-04T16:30-05:00")), each=False)}
    assert offers["flushed"].default is None and not offers["flushed"].options
    assert offers["teaching.to"].default is None


TYPED = st.sampled_from(
    [
        *("", "a", "e", "y", "n", "1", "12", "20 19", "5", "-6", "0940", "w", "<", "<", ">", "?", ".", "-", "- asleep"),
        *("+", "=", "+ flush", "+ problem", "+ remarks", "+ lot", "= pain 3", "= site.skin intact", "= needle.gauge ."),
        *("= flushes.0 x", "= flushes.3.volume_ml 10", "= flushes.99999999.volume_ml 1", "= flushes.².volume_ml 1"),
        *("(01)51022222233336(17)280131(10)A77", "Dr Amaranth Locke, MD", "to report pain", "now", "yesterday 2210"),
    ]
)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(sorted(MOMENTS)), st.lists(TYPED | st.text(max_size=12), max_size=30))
def test_whatever_is_typed_is_answered_and_what_is_kept_fits_the_record(kind: str, typed: list[str]) -> None:
    cut, now = MOMENTS[kind]
    about = subject(demo_until(cut), kind, now)
    talk = Talk(about)
    for text in typed:
        talk, says = talk.reply(text)
        assert all(say.text for say in says)
        assert explanation(talk.question)
    entry = about.finished(talk.facts)
    if about.situation(talk.facts).event is not None:
        assert KINDS[kind].model_validate_json(json.dumps(entry)).id == about.entry_id


# -- whose port it is --


def test_identity_and_allergies_are_compared_with_the_record_in_sight() -> None:
    talk, _ = answered(Talk(subject(demo_until("access-2"), "access", SECOND)), "-15m")
    assert talk.question is not None and talk.question.default is None, "Enter never says who the patient is"
    written_out = talk.question.options[0].words
    assert written_out == "name and birth date agree: Quillfeather, Odessa, 19 May 1968; allergies checked: none known"
    talk, _ = answered(talk, "a")
    assert talk.facts["identifiers_checked"] == ["name", "birth date"] and talk.facts["allergies_checked"] is True


def test_without_a_birth_date_the_record_number_is_compared_and_unknown_allergies_are_asked() -> None:
    raw = demo_until("access-2").decode()
    cut = "".join(row for row in raw.splitlines(True) if not row.lstrip().startswith(("birth_date:", "allergies:")))
    talk, _ = answered(Talk(subject(cut.encode(), "access", SECOND)), "-15m")
    assert talk.question is not None
    assert talk.question.options[0].words == "name and record number agree: Quillfeather, Odessa, LB-000101"
    talk, _ = answered(talk, "a")
    assert talk.facts["identifiers_checked"] == ["name", "record number"] and name(talk) == "allergies_checked"


def test_an_allergy_that_is_not_in_the_list_is_called_by_its_own_name() -> None:
    raw = demo_until("access-2").decode()
    named = "allergies: [{to: other, detail: peanut, reaction: hives}, {to: heparin}]"
    raw = raw.replace("allergies: []", named)
    talk, _ = answered(Talk(subject(raw.encode(), "access", SECOND)), "-15m")
    assert talk.question is not None
    assert talk.question.options[0].words.endswith("allergies checked: PEANUT (hives), HEPARIN")


# -- what must not be waved through --

MEASURED = ("_s", "_ml", "_mm", "gauge", "rated", "non_coring", "units_per_ml", "drug", "solution", "disc", "caps")
"""How the names of numbers, ratings, drugs and devices end."""


@pytest.mark.parametrize("kind", MOMENTS)
def test_no_one_key_says_a_number_a_rating_a_drug_or_a_device(kind: str) -> None:
    """Issue 13, part 4: one key may repeat what was seen as normal; what is measured or chosen is asked."""
    cut, now = MOMENTS[kind]
    for question, talk in walked(Talk(subject(demo_until(cut), kind, now)), each=False):
        for key in ("", "a"):
            after, _ = talk.reply(key)
            if len(after.answered) == len(talk.answered):
                continue
            said = [str(path[-1]) for path, _ in after.answered[-1].facts if question.name != layout.dotted(path)]
            assert not [one for one in said if one.endswith(MEASURED)], (question.name, key, said)
            if key == "":
                assert not [one for one in (question.name,) if one.endswith(MEASURED)], question.name


def test_on_hold_no_letter_says_that_the_line_was_flushed_or_locked_as_usual(access: Talk) -> None:
    talk, _ = answered(access, "-15m", "a", *UNTIL_BLOOD[3:], "n", "12")
    assert name(talk) == "problems.0.what", "what was done and who was told is asked at once"
    talk, _ = answered(talk, ".")
    assert talk.question is not None and talk.question.asks == "The line is on hold: was it flushed anyway?"
    assert [option.key for option in talk.question.options] == ["h", "e"]
    talk, _ = answered(talk, "h", "15")
    assert talk.facts["flushes"] == {"not_done": "line on hold"}
    assert talk.question is not None and talk.question.asks == "The line is on hold: was it locked anyway?"
    assert "a" not in {option.key for option in talk.question.options}
    talk, _ = answered(talk, "h")
    assert talk.facts["lock"] == {"not_done": "line on hold"}


def test_on_hold_a_flush_that_was_given_is_asked_fact_by_fact(access: Talk) -> None:
    talk, _ = answered(access, "-15m", "a", *UNTIL_BLOOD[3:], "n", "12", ".", "e")
    assert name(talk) == "hub_scrub_s" and "flushes" not in talk.facts
    talk, _ = answered(talk, "15")
    assert name(talk).startswith("flushes.0.")


def test_a_thrombolytic_is_never_offered_the_order_of_other_work() -> None:
    about = subject(demo_until("check-6"), "patency treatment", "2026-05-07T12:00-05:00")
    talk, _ = answered(Talk(about), "-5m", "1", "a")
    assert name(talk) == "order" and talk.question is not None and talk.question.default is None


@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        ("20 19", 19),
        ("20G x 19mm", 19),
        ("20 3/4 in", 19),
        ('20g 3/4"', 19),
        ("19 ga 1 1/4 inch", 32),
        ("22 0.75in", 19),
        ("22 1 in", 25),
    ],
)
def test_a_needle_is_said_as_its_label_says_it(access: Talk, typed: str, mm: int) -> None:
    talk, _ = answered(access, "-15m", "a", *UNTIL_BLOOD[3:12])
    assert name(talk) == "needle" and talk.question is not None
    read = talk.question.read(typed, talk.form.frame(talk.facts, "needle"))
    assert isinstance(read, Heard) and dict(read.facts)["needle", "length_mm"] == mm


def test_a_needle_without_a_unit_in_inches_is_not_guessed(access: Talk) -> None:
    talk, _ = answered(access, "-15m", "a", *UNTIL_BLOOD[3:12])
    for typed in ("20 3/4", "20", "20 0", "20 0 in", "20 11/4 in", "20 1/0 in"):
        _, says = answered(talk, typed)
        assert says[-1].tone == "fault", typed


def test_a_patency_check_without_a_dwelling_dose_offers_those_on_record_and_names_none_that_is_not() -> None:
    talk, _ = answered(Talk(subject(demo_until("check-6"), "patency check", "2026-05-07T12:00-05:00")), "-5m")
    assert name(talk) == "treatment"
    for typed in ("treatment-1", "1", "x"):
        _, says = answered(talk, typed)
        assert says[-1].text == "No thrombolytic is on record for this port by then; chart it first, as a treatment."
    dose = {"id": "treatment-1", "kind": "patency treatment", "at": "2026-05-07T10:00-05:00", "drug": "alteplase"}
    done = {
        "id": "look-1",
        "kind": "patency check",
        "at": "2026-05-07T10:40-05:00",
        "treatment": "treatment-1",
        "blood_return": "present",
    }
    raw = with_event(with_event(demo_until("check-6"), dose, False), done, False)
    talk, _ = answered(Talk(subject(raw, "patency check", "2026-05-07T12:00-05:00")), "-5m")
    assert talk.question is not None and talk.question.options[0].words == "alteplase of 7 May 2026, 10:00"
    talk, _ = answered(talk, "1")
    assert talk.facts["treatment"] == "treatment-1"


def test_a_time_of_yesterday_typed_after_midnight_is_asked_about() -> None:
    about = subject(demo_until("check-1"), "line check", "2026-05-05T00:05-05:00")
    _, says = answered(Talk(about), "2355")
    assert "Was it yesterday, 4 May 2026, 23:55?" in says[-1].text
    talk, _ = answered(Talk(about), "2355", "yesterday 2355")
    assert talk.facts["at"] == "2026-05-04T23:55-05:00"


def test_the_name_of_an_entry_is_not_set(access: Talk) -> None:
    for typed in ("= id zz", "= kind access"):
        _, says = answered(access, "-15m", typed)
        assert says[-1].tone == "fault" and "of an entry cannot be set here" in says[-1].text


def test_a_flush_that_found_no_blood_is_not_said_to_be_given_by_one_letter() -> None:
    about = subject(demo_until("check-6"), "flush", "2026-05-07T12:00-05:00")
    talk, _ = answered(Talk(about), "-5m", "a", "", "weekly care", "a", "n", "12", ".")
    assert name(talk) == "flush" and talk.question is not None
    assert [option.key for option in talk.question.options] == ["h", "e"]
    talk, _ = answered(talk, "h")
    assert talk.facts["flushes"] == {"not_done": "line on hold"}
