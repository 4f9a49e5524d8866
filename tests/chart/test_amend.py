"""Corrections: what is asked, what is written, and that the original stays."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from desk import BY, Run, answered, demo_until, episode, name

from lda_notes import __version__
from lda_notes.chart.correction import CorrectionForm, Kind
from lda_notes.chart.form import Basis
from lda_notes.chart.talk import Talk
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line.corrections import corrected
from lda_notes.record import reading as records

NOW = "2026-05-11T15:45-05:00"
SECOND = ("--asof", NOW)


def correction(event: str, kind: Kind | None = None, raw: bytes = b"") -> Talk:
    made = episode(raw or demo_until("access-2"))
    standing, _, corrections, _ = corrected(made)
    target = next(one for one in (*standing, *corrections) if one.event.id == event)
    return Talk(CorrectionForm(Basis(made, DEFAULT, lambda: datetime.fromisoformat(NOW), BY), target, kind))


def entry(talk: Talk) -> dict[str, Any]:
    subject = talk.form
    assert isinstance(subject, CorrectionForm)
    review = subject.review(talk.facts)
    assert review.author == BY["by"]
    return review.entry


def test_an_amendment_of_several_facts() -> None:
    talk, says = answered(correction("access-1"), "2", "gauge", "22", "length", "25", "", "read wrongly")
    assert talk.question is None
    assert "Needle gauge: was 20, now 22." in [say.text for say in says]
    made = entry(talk)
    assert made["kind"] == "amendment" and made["of"] == "access-1" and made["id"] == "amendment-1"
    assert made["sets"] == {"needle": {"gauge": 22, "length_mm": 25}} and made["reason"] == "read wrongly"
    assert made["at"] == made["charted_at"] == NOW


def test_whoever_goes_back_can_still_say_that_it_is_all() -> None:
    talk, _ = answered(correction("access-1"), "2", "gauge", "22", "length", "<", "", "read wrongly")
    assert talk.question is None
    assert entry(talk)["sets"] == {"needle": {"gauge": 22}}


def test_an_addendum_takes_no_fact_that_is_recorded() -> None:
    talk, says = answered(correction("access-1", "addendum"), "attempts")
    assert says[-1].text == "Number of attempts is recorded: 1. An amendment corrects it; this adds facts."
    assert name(talk) == "asked.0"
    _, says = answered(talk, "needle.gauge")
    assert says[-1].text.startswith("Needle gauge is recorded: 20")


def test_a_fact_that_is_mistyped_is_offered() -> None:
    _, says = answered(correction("access-1", "amendment"), "resistence")
    assert says[-1].text == "Nothing is called resistence here. Did you mean resistance?"


def test_one_flush_of_a_list_is_corrected_and_the_list_stays_whole() -> None:
    talk, _ = answered(correction("access-1", "amendment"), "flushes.0.volume_ml", "20", "", "misread")
    (flush,) = entry(talk)["sets"]["flushes"]
    assert flush == {
        "solution": "0.9% sodium chloride",
        "volume_ml": 20,
        "syringe_ml": 10,
        "technique": "push-pause",
        "resistance": "none",
    }


def test_the_word_flush_picks_a_fact_of_the_flush_and_never_adds_a_second_one() -> None:
    talk, _ = answered(correction("access-1", "amendment"), "flush")
    assert name(talk) == "which.0" and talk.question is not None
    shown = [option.words for option in talk.question.options]
    assert "Flush volume: 10 mL" in shown and shown[-1] == "another flush, not charted so far"
    talk, says = answered(talk, "Flush volume", "20", "", "misread")
    assert "Flush volume: was 10 mL, now 20 mL." in [say.text for say in says]
    sets = entry(talk)["sets"]
    assert list(sets) == ["flushes"] and len(sets["flushes"]) == 1 and sets["flushes"][0]["volume_ml"] == 20


def test_of_two_flushes_the_one_that_is_meant_is_asked_for() -> None:
    more = b"      - {solution: 0.9% sodium chloride, volume_ml: 20, syringe_ml: 10}\n"
    raw = demo_until("access-2").replace(b"resistance: none}\n", b"resistance: none}\n" + more, 1)
    talk, _ = answered(correction("access-1", "amendment", raw), "flush volume")
    assert talk.question is not None
    assert [option.words for option in talk.question.options] == ["Flush volume: 10 mL", "Flush volume, second: 20 mL"]
    talk, _ = answered(talk, "2", "15", "", "misread")
    assert [one["volume_ml"] for one in entry(talk)["sets"]["flushes"]] == [10, 15]


def test_what_is_recorded_already_is_no_correction() -> None:
    talk, _ = answered(correction("access-1", "amendment"), "gauge")
    same, says = answered(talk, "20")
    assert says[0].text == "The entry already says that; nothing would change." and same.facts == talk.facts


def test_only_what_changed_is_said_of_an_amended_flush() -> None:
    talk, _ = answered(correction("access-1", "amendment"), "flushes.0.volume_ml", "20", "", "misread")
    subject = talk.form
    assert isinstance(subject, CorrectionForm)
    text = " ".join(subject.review(talk.facts).text.split())
    assert "Flush volume: was 10 mL, now 20 mL." in text and "Also recorded" not in text


def test_the_time_of_an_entry_is_corrected_near_where_it_was() -> None:
    talk, _ = answered(correction("check-13", "amendment"), "at", "0440", "", "watch was slow")
    assert entry(talk)["sets"] == {"at": "2026-05-11T04:40-05:00"}


def test_an_addendum_adds_what_was_left_out_and_text() -> None:
    talk, says = answered(correction("access-1", "addendum"), "remarks", "patient hard of hearing", "")
    assert name(talk) == "text" and talk.question is not None and talk.question.default is not None
    talk, says = answered(talk, "", "left out")
    made = entry(talk)
    assert made["adds"] == {"remarks": "patient hard of hearing"} and "text" not in made
    assert not [say for say in says if say.finding]


def test_an_addendum_of_text_alone() -> None:
    talk, _ = answered(correction("access-1", "addendum"), "")
    assert name(talk) == "text"
    _, says = answered(talk, "")
    assert "An answer is required" in says[0].text
    talk, _ = answered(talk, "patient asked for the smaller dressing", "left out")
    made = entry(talk)
    assert made["text"] == "patient asked for the smaller dressing" and "adds" not in made


def test_a_problem_told_later_is_added_in_full() -> None:
    talk, _ = answered(correction("access-1", "addendum"), "problem")
    asked = []
    while talk.question is not None and talk.question.name.startswith("new.problems"):
        asked.append(talk.question.name)
        text = {"what": "skin itched", "told": "Dr Amaranth Locke, MD", "told_at": "1730"}.get(
            talk.question.name.rpartition(".")[2], "seen"
        )
        talk, _ = answered(talk, text)
    assert [one.rpartition(".")[2] for one in asked] == ["what", "action", "told", "told_at", "reply"]
    talk, _ = answered(talk, "", "", "told after charting")
    (problem,) = entry(talk)["adds"]["problems"]
    assert problem["told"] == {"name": "Dr Amaranth Locke", "credential": "MD"}
    assert problem["told_at"] == "2026-05-04T17:30-05:00"


def test_what_was_not_assessed_is_replaced_whole() -> None:
    look = b"site: {skin: intact, erythema: none, swelling: none, tenderness: none, drainage: none, port: stable}"
    raw = demo_until("check-2").replace(look, b"site: {not_assessed: covered}")
    talk, says = answered(correction("check-1", "amendment", raw), "skin", "1", "", "uncovered later")
    assert [say.text for say in says if say.tone == "tell"] == ["Skin (site assessment): was not recorded, now intact."]
    assert entry(talk)["sets"] == {"site": {"skin": "intact"}}


def test_a_wrong_value_is_refused() -> None:
    talk, _ = answered(correction("access-1", "amendment"), "pain")
    same, says = answered(talk, "11")
    assert says[0].tone == "fault" and same.facts == talk.facts
    talk, says = answered(correction("access-1", "amendment"), "colour")
    assert "Nothing is called colour here." in says[0].text
    talk, says = answered(correction("access-1", "amendment"), "at", "2026-06-01 10:00")
    assert says[-1].tone == "fault" and "in the future" in says[-1].text


def test_the_findings_of_the_corrected_record_are_told() -> None:
    _, says = answered(correction("access-1", "amendment"), "identifiers_checked", "name")
    assert any(say.finding is not None and say.finding.severity == "unsafe" for say in says)


def test_a_retraction_asks_why_and_nothing_else() -> None:
    talk, _ = answered(correction("check-13", "retraction"), "wrong patient")
    assert talk.question is None
    made = entry(talk)
    assert made["kind"] == "retraction" and made["reason"] == "wrong patient"
    assert not {"sets", "adds", "text"} & made.keys()


def test_who_corrects_is_asked_when_nobody_said_it() -> None:
    talk = correction("check-13", "retraction")
    subject = talk.form
    assert isinstance(subject, CorrectionForm)
    subject.basis = replace(subject.basis, given={})
    talk, _ = answered(talk, "wrong patient")
    assert name(talk) == "by"
    talk, _ = answered(talk, "Ilse Novak, RN")
    assert subject.review(talk.facts).author == {"name": "Ilse Novak", "credential": "RN"}


def test_every_sort_of_correction_leaves_the_original_bytes(run: Run, ward: Path) -> None:
    before = (ward / "episode.yaml").read_bytes()
    amend = ("amend", "episode.yaml")
    for arguments, typed in (
        ((*amend, "access-1", "--as", "amendment"), "gauge\n22\n\nmisread\nMT\n"),
        ((*amend, "access-1", "--as", "addendum"), "\nasked for the smaller dressing\nleft out\nMT\n"),
        ((*amend, "check-13", "--as", "retraction"), "wrong patient\nMT\n"),
        ((*amend, "retraction-1"), "it was the right one after all\nMT\n"),
    ):
        ran = run(*arguments, *SECOND, typed=typed)
        assert ran.code == 0, ran.err
    assert (ward / "episode.yaml").read_bytes().startswith(before)
    made = records.read(ward / "episode.yaml").episode
    assert made is not None and records.read(ward / "episode.yaml").findings == ()
    assert [event.id for event in made.events[-4:]] == ["amendment-1", "addendum-1", "retraction-1", "retraction-2"]
    standing, _, _, faults = corrected(made)
    assert faults == ()
    access = next(one for one in standing if one.event.id == "access-1")
    assert access.event.needle.gauge == 22 and access.original.needle.gauge == 20  # type: ignore[attr-defined]  # the kind is known here


def test_a_correction_from_a_script(run: Run, ward: Path) -> None:
    ran = run(
        *("amend", "episode.yaml", "access-1", "--as", "amendment", "--no-input", "--sign", "MT", *SECOND),
        *("--set", "needle.gauge=22", "--set", "reason=misread"),
    )
    assert ran.code == 0, ran.err
    made = records.read(ward / "episode.yaml").episode
    assert made is not None
    assert made.events[-1].model_dump(mode="json")["sets"] == {"needle": {"gauge": 22}}


@pytest.mark.parametrize(
    ("event", "says"), [("acces-1", "did you mean access-1?"), ("zzz", "has no entry zzz; `lda-notes note FILE --all`")]
)
def test_an_entry_that_is_not_there(run: Run, event: str, says: str) -> None:
    ran = run("amend", "episode.yaml", event)
    assert ran.code == 2 and says in ran.err


def test_without_a_name_the_entries_are_listed_and_picked_by_number(run: Run) -> None:
    picked = run("amend", "episode.yaml", typed="99\n1\n")
    assert "  1  access of 4 May 2026, 16:20, by Marisol Tamm (access-1)" in picked.err
    assert picked.err.index("(access-1)") < picked.err.index("(check-13)"), "in the order in which it happened"
    assert "?? Type a number from 1 to 15." in picked.err and "Correction of access-1, an access" in picked.err
    assert run("amend", "episode.yaml", typed="q\n").err.endswith("Nothing was written.\n")
    ran = run("amend", "episode.yaml", "--no-input")
    assert ran.code == 2 and "name the entry that is to be corrected, after the file" in ran.err


def test_the_patient_stands_above_a_correction(run: Run) -> None:
    ran = run("amend", "episode.yaml", "access-1", typed="")
    assert ran.err.startswith("Correction: Quillfeather, Odessa, born 19 May 1968, LB-000101\n")


def test_a_co_signature_is_an_event_of_its_own(run: Run, ward: Path) -> None:
    preceptor = ("--by", "Ilse van Tongelaar, RN, LBN-331")
    ran = run("amend", "episode.yaml", "access-1", "--as", "co-signature", *preceptor, *SECOND, typed="preceptor\ny\n")
    assert ran.code == 0, ran.err
    made = records.read(ward / "episode.yaml").episode
    assert made is not None
    last = made.events[-1].model_dump(mode="json", exclude_unset=True)
    assert last["kind"] == "co-signature" and last["of"] == "access-1" and last["role"] == "preceptor"
    assert last["by"]["name"] == "Ilse van Tongelaar"
    ran = run("note", "episode.yaml", "--brief", "--event", "access-1", *SECOND)
    assert ran.out.rstrip().endswith("Co-signed by Ilse van Tongelaar, RN (LBN-331), preceptor.")


def test_no_one_co_signs_an_entry_of_her_own(run: Run, ward: Path) -> None:
    before = (ward / "episode.yaml").read_bytes()
    ran = run("amend", "episode.yaml", "access-1", "--as", "co-signature", *SECOND)
    assert ran.code == 2 and "No one co-signs their own entry" in ran.err
    assert (ward / "episode.yaml").read_bytes() == before


def test_on_a_shared_login_who_signs_is_asked_and_signs_with_initials(run: Run, ward: Path) -> None:
    policy = "source: {title: Logins, date: 2026-01-15}\nlimits: {login_shared: yes}\n"
    (ward / "lda-policy.yaml").write_text(policy, encoding="utf-8")
    typed = "Ilse Novak, RN\nwrong patient\ny\nIN\n"
    ran = run("amend", "episode.yaml", "check-13", "--as", "retraction", *SECOND, typed=typed)
    assert ran.code == 0, ran.err
    assert "Several nurses share this login: who signs is asked" in ran.err
    assert "Sign as Ilse Novak, RN? IN signs" in ran.err and "y does not sign here: type your initials (IN)" in ran.err
    made = records.read(ward / "episode.yaml").episode
    assert made is not None and made.events[-1].by is not None and made.events[-1].by.name == "Ilse Novak"


def test_the_foot_of_a_note_names_version_and_entry(run: Run) -> None:
    ran = run("note", "episode.yaml", "--event", "access-1", *SECOND)
    assert f"lda-notes {__version__}, entry access-1." in ran.out
