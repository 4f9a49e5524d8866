"""What a note says: holds first, gaps at the end, corrections as such, and nothing that was not charted."""

from __future__ import annotations

import json
import re
from datetime import datetime
from pathlib import Path
from typing import Any

import made_records as made
import pytest
from note_reading import DEMOS, judged, note_of

from lda_notes.documents.blocks import Alert, Bullets, Heading, Sheet, Signature
from lda_notes.documents.note import page as note
from lda_notes.documents.render import render
from lda_notes.documents.trace import sentences, trace
from lda_notes.files.syntax import read_yaml
from lda_notes.knowledge.abbreviations import unsafe_forms
from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.narrative.narrator import narrator
from lda_notes.narrative.sentences import Paragraph

CLEARED_BY = {"name": "Perpetua Sandoval-Finch", "credential": "RN vascular access specialist"}


def sheet_of(*events: dict[str, Any], choose: str | None = None, policy: Policy = DEFAULT, **more: Any) -> Sheet:
    return note_of(json.dumps(made.record(*events)), choose, policy, **more)


def text(sheet: Sheet, width: int = 10_000) -> str:
    return render(sheet, "text", width).decode()


def said(sheet: Sheet) -> list[str]:
    return [sentence.text for sentence in sentences(sheet.blocks)]


def demo(name: str) -> Path:
    return next(path for path in DEMOS if path.stem == name)


NO_BLOOD = made.needle_event("2026-04-01 09:00", id="access", blood_return="none", steps_tried=["repositioned patient"])


# -- holds --


def test_a_held_line_is_the_very_first_row_in_every_format() -> None:
    sheet = sheet_of(NO_BLOOD)
    told = (
        "STOP: LINE ON HOLD: not to be used since 1 April 2026, 09:00 (no blood return). "
        "Only a new needle with brisk blood return and a free flush, a thrombolytic that worked or an evaluation that "
        "clears the line ends the hold."
    )
    assert text(sheet).split("\n")[0] == f"!! {told}"
    assert render(sheet, "md").decode().split("\n")[0] == f"> **{told}**"
    body = render(sheet, "html").decode().partition("<main>")[2]
    assert body.index("LINE ON HOLD") < body.index("<h1>")


def test_a_policy_that_lets_blood_return_end_a_hold_is_told() -> None:
    lenient = made.policy(hold_ends_with="evaluation or blood return")
    first = text(sheet_of(NO_BLOOD, policy=lenient)).split("\n")[0]
    assert "Only blood that looks like whole blood with a flush that runs free or an evaluation that clears" in first
    swollen = made.needle_event("2026-04-01 09:00", site={"swelling": "present"})
    first = text(sheet_of(swollen, policy=lenient)).split("\n")[0]
    assert "(swelling at the port). Only an evaluation that clears the line ends the hold." in first


def test_a_hold_that_has_ended_since_is_told_with_its_end() -> None:
    cleared = made.event("evaluation", "2026-04-01 15:00", id="e", cleared_by=CLEARED_BY, decision="cleared for use")
    rows = text(sheet_of(NO_BLOOD, cleared, choose="access")).split("\n")
    assert next(row for row in rows if row.startswith("!!")) == (
        "!! CAUTION: LINE WENT ON HOLD with this, from 1 April 2026, 09:00 (no blood return); "
        "the hold ended 1 April 2026, 15:00, with the evaluation of the line."
    )
    after = sheet_of(NO_BLOOD, cleared, choose="e")
    assert not any(isinstance(block, Alert) and block.level == "stop" for block in after.blocks)
    assert "This ends the hold that began 1 April 2026, 09:00 (no blood return)." in said(after)


@pytest.mark.parametrize("form", ["text", "md", "html"])
def test_a_hold_of_the_past_comes_before_all_but_the_title_and_is_no_stop(form: Any) -> None:
    cleared = made.event("evaluation", "2026-04-01 15:00", id="e", cleared_by=CLEARED_BY, decision="cleared for use")
    page = render(sheet_of(NO_BLOOD, cleared, choose="access"), form).decode()
    page = page[page.index("<h1" if form == "html" else "Implanted port note") :]
    assert 0 <= page.index("LINE WENT ON HOLD") < page.index("Patient")
    assert "CAUTION: " in page and "STOP" not in page


def test_a_removal_with_a_fresh_needle_to_follow_names_no_flush_of_an_empty_port() -> None:
    out = made.event("de-access", "2026-04-08 09:00", id="out", flushes=[made.FLUSH])
    fresh = made.needle_event("2026-04-08 09:20", id="fresh", follows_removal="out")
    put_in = made.needle_event("2026-04-01 09:00")
    assert "Next flush is due by 6 May 2026" in text(sheet_of(put_in, out, choose="out"))
    assert "Next flush" not in text(sheet_of(put_in, out, fresh, choose="out"))


def test_a_later_event_on_a_held_line_says_so() -> None:
    later = made.event("flush", "2026-04-01 11:00", id="later")
    assert "The line remains ON HOLD since 1 April 2026, 09:00 (no blood return)." in said(
        sheet_of(NO_BLOOD, later, choose="later")
    )


def test_each_septum_has_its_own_hold() -> None:
    data = made.record(
        {**NO_BLOOD, "septum": "lateral"}, made.needle_event("2026-04-01 09:10", id="other", septum="medial")
    )
    data["port"]["septa"] = ["medial", "lateral"]
    sheet = note_of(json.dumps(data), "other")
    assert text(sheet).startswith("!! STOP: LINE ON HOLD, lateral septum:")
    assert not any("ON HOLD" in row for row in said(sheet))


# -- what is not recorded --


def test_a_gap_makes_a_draft_that_lists_it_in_the_words_of_the_check() -> None:
    sheet = sheet_of(made.event("line check", "2026-04-01 09:00", id="x"))
    assert sheet.status == "DRAFT"
    found = judged(json.dumps(made.record(made.event("line check", "2026-04-01 09:00")))).findings
    gaps = [finding.message.partition(": ")[2] for finding in found if finding.severity == "gap"]
    assert gaps
    listed = text(sheet).partition("Not recorded:")[2]
    for gap in gaps:
        assert f"- {gap[0].upper()}{gap[1:]} (" in listed


def test_what_is_unsafe_or_wrong_is_told_in_the_words_of_the_check() -> None:
    whole = judged(demo("deliberately-bad"))
    sheet = note.sheet(whole, DEFAULT, note.Choice(every=True), narrator())
    others = [finding for finding in whole.findings if finding.severity in ("unsafe", "wrong")]
    assert len(others) > 3
    written = text(sheet).lower()
    for finding in others:
        assert finding.message.lower() in written, finding.rule


def test_advice_keeps_no_note_from_being_signed() -> None:
    whole = judged(demo("uncomplicated-week"))
    assert {finding.severity for finding in whole.findings} <= {"advice"}
    assert note.sheet(whole, DEFAULT, note.Choice(every=True), narrator()).status == ""


def test_a_fault_of_another_event_does_not_make_this_one_a_draft() -> None:
    data = read_yaml(demo("uncomplicated-week").read_bytes()).data
    assert isinstance(data, dict)
    data["events"].append({"id": "bare", "kind": "line check", "at": "2026-05-06T06:00-05:00"})
    assert note_of(json.dumps(data), "bare").status == "DRAFT"
    assert note_of(json.dumps(data), "access-1").status == ""
    assert note_of(json.dumps(data)).status == "DRAFT"


def test_an_unread_event_is_listed_on_every_note_and_makes_it_a_draft() -> None:
    data = made.record(made.needle_event("2026-04-01 09:00", id="access"), {"id": "lost", "kind": "no such kind"})
    sheet = note_of(json.dumps(data), "access")
    assert sheet.status == "DRAFT"
    written = text(sheet)
    assert "1 event of the file could not be read" in written
    assert "- event 2 of the file, no such kind, entry lost" in written


def test_a_value_that_could_not_be_read_is_named_with_its_event() -> None:
    lost = made.needle_event("2026-04-01 09:00", id="second", pain="much")
    data = made.record({"id": "unread"}, made.needle_event("2026-03-30 09:00", id="first"), lost)
    second = text(note_of(json.dumps(data), "second"))
    assert "Could not be read: second, pain score, row 1: much. Ask." in second
    assert "pain score, row 1" not in text(note_of(json.dumps(data), "first"))


# -- corrections --


def corrected(*corrections: dict[str, Any]) -> Sheet:
    access = made.needle_event("2026-04-01 09:00", id="access", pain=2)
    return sheet_of(access, *corrections)


def test_a_late_entry_says_so_first() -> None:
    late = made.event(
        "line check",
        "2026-04-01 22:15",
        id="x",
        charted_at="2026-04-02T08:10-05:00",
        late_entry="worksheet of the night",
    )
    first = said(sheet_of(late))[0]
    assert first == (
        "LATE ENTRY, charted 2 April 2026, 08:10, for 1 April 2026, 22:15; recalled from worksheet of the night."
    )


def test_an_amendment_shows_before_and_after_and_the_original() -> None:
    sheet = corrected(
        made.event(
            "amendment", "2026-04-01 12:00", id="a", of="access", reason="misread", sets={"needle": {"length_mm": 25.4}}
        )
    )
    rows = said(sheet)
    assert rows[0].startswith("CORRECTED: this entry reads as changed by amendment of 1 April 2026, 12:00;")
    assert "Needle length: was 19 mm, now 25.4 mm." in rows
    assert "Reason: misread." in rows
    headings = [block.text for block in sheet.blocks if isinstance(block, Heading)]
    assert headings == [
        "Access, 1 April 2026, 09:00",
        "Amendment, 1 April 2026, 12:00",
        "As first charted, kept for the record",
        "For the writer, not part of the note: settle before you sign",
    ]
    written = text(sheet)
    now, _, first = written.partition("As first charted")
    assert "25.4 mm (1 inch)" in now
    assert "19 mm (3/4 inch)" not in now
    assert "19 mm (3/4 inch)" in first
    assert "25.4" not in first


def test_each_of_two_amendments_shows_its_own_step() -> None:
    rows = said(
        corrected(
            made.event("amendment", "2026-04-01 12:00", id="a", of="access", sets={"pain": 3}),
            made.event("amendment", "2026-04-01 13:00", id="b", of="access", sets={"pain": {"not_assessed": "asleep"}}),
        )
    )
    assert "Pain score: was 2, now 3." in rows
    assert 'Pain score: was 3, now not assessed ("asleep").' in rows
    assert "Pain was not assessed: asleep." in rows


def test_the_trace_of_an_amended_fact_leads_to_the_amendment() -> None:
    sheet = corrected(
        made.event("amendment", "2026-04-01 12:00", id="a", of="access", sets={"needle": {"length_mm": 25.4}}),
    )
    needle = [s for s in sentences(sheet.blocks) if s.text.startswith("Needle inserted:")]
    now, first = (set(sentence.facts) for sentence in needle)
    assert ("events", 1, "sets", "needle", "length_mm") in now
    assert ("events", 0, "needle", "gauge") in now
    assert ("events", 0, "needle", "length_mm") in first


def test_an_addendum_lists_what_it_adds() -> None:
    sheet = corrected(
        made.event(
            "addendum", "2026-04-01 12:00", id="a", of="access", adds={"response": "tolerated well"}, text="forgot it"
        )
    )
    rows = said(sheet)
    assert "Added: patient response: tolerated well." in rows
    assert "Forgot it." in rows
    assert "The patient tolerated it well." in rows
    assert "As first charted" not in text(sheet)


def test_a_retracted_entry_is_named_and_nothing_of_it_is_stated() -> None:
    wrong = made.event(
        "line check",
        "2026-04-01 10:00",
        id="wrong",
        site={"swelling": "present"},
        remarks="left arm",
        blood_return="none",
    )
    withdrawn = made.event("retraction", "2026-04-01 11:00", id="r", of="wrong", reason="other patient")
    for choose in (None, "wrong"):
        sheet = sheet_of(made.needle_event("2026-04-01 09:00", id="access"), wrong, withdrawn, choose=choose)
        written = text(sheet)
        assert "Line check, 1 April 2026, 10:00: RETRACTED" in written
        assert (
            "RETRACTED on 1 April 2026, 11:00 by Marisol Tamm, RN: entry wrong (line check, 1 April 2026, 10:00)"
            in written
        )
        assert "Reason: other patient." in written
        for of_the_wrong in ("swelling", "left arm", "NO blood", "HOLD"):
            assert of_the_wrong not in written


def test_an_amendment_that_was_withdrawn_changes_nothing() -> None:
    written = text(
        corrected(
            made.event("amendment", "2026-04-01 12:00", id="a", of="access", sets={"pain": 9}),
            made.event("retraction", "2026-04-01 13:00", id="r", of="a", reason="slip"),
        )
    )
    assert "Pain score: 2 of 10." in written
    assert "9" not in written.replace("19", "").replace("2019", "").replace("09:00", "").replace("0.9%", "")
    assert "entry a (amendment, 1 April 2026, 12:00)" in written


def test_a_correction_can_be_asked_for_by_itself() -> None:
    data = made.record(
        made.needle_event("2026-04-01 09:00", id="access", pain=2),
        made.event("amendment", "2026-04-01 12:00", id="a", of="access", sets={"pain": 3}),
    )
    headings = [block.text for block in note_of(json.dumps(data), "a").blocks if isinstance(block, Heading)]
    assert headings[:-1] == ["Amendment, 1 April 2026, 12:00"]


def test_corrections_that_correct_each_other_are_told_and_end() -> None:
    sheet = sheet_of(
        made.event("retraction", "2026-04-01 09:00", id="a", of="b"),
        made.event("retraction", "2026-04-01 10:00", id="b", of="a"),
    )
    assert [block.text for block in sheet.blocks if isinstance(block, Heading)][:-1] == [
        "Retraction, 1 April 2026, 09:00",
        "Retraction, 1 April 2026, 10:00",
    ]


# -- due times, times and amounts --


@pytest.mark.parametrize("counting", ["hour", "calendar day"])
def test_due_times_keep_their_hour_however_overdue_is_counted(counting: str) -> None:
    rows = said(sheet_of(made.needle_event("2026-04-01 09:00"), policy=made.policy(interval_counting=counting)))
    assert "Needle change and dressing change are due by 8 April 2026, 09:00 (7 days)." in rows


def test_due_times_the_nurse_noted_are_compared() -> None:
    same = made.needle_event("2026-04-01 09:00", next_due={"needle_change": "2026-04-08T14:00+00:00"})
    assert "Needle change and dressing change are due by 8 April 2026, 09:00 (7 days)." in said(sheet_of(same))
    other = made.needle_event("2026-04-01 09:00", next_due={"needle_change": "2026-04-09T09:00-05:00"})
    assert "Reported as next due: needle change by 9 April 2026, 09:00." in said(sheet_of(other))


def test_a_dressing_change_does_not_restart_the_needle() -> None:
    change = made.event("dressing change", "2026-04-04 09:00", id="d", dressing=made.FILM)
    rows = said(sheet_of(made.needle_event("2026-04-01 09:00"), change, choose="d"))
    assert any(row.startswith("The needle, in since 1 April 2026, 09:00, stayed in.") for row in rows)
    assert "Needle change is due by 8 April 2026, 09:00 (7 days); the dressing goes with the needle." in rows
    assert not any(row.startswith("Dressing change is due") for row in rows)


def test_a_needle_that_came_out_at_the_same_visit_is_not_due() -> None:
    needle, out = made.needle_event("2026-04-01 09:00", id="a"), made.removal_event("2026-04-01 09:08", id="b")
    assert not any("Needle change" in row for row in said(sheet_of(needle, out, choose="a")))
    later = made.removal_event("2026-04-01 10:01", id="b")
    assert any("Needle change" in row for row in said(sheet_of(needle, later, choose="a")))


def test_a_needle_change_is_two_events_that_name_each_other() -> None:
    removal = made.removal_event("2026-04-08 08:00", id="out")
    access = made.needle_event("2026-04-08 08:20", id="in", follows_removal="out")
    rows = said(sheet_of(made.needle_event("2026-04-01 09:00"), removal, access))
    assert "The needle had been in since 1 April 2026, 09:00 (6 days 23 hours)." in rows
    assert "This access follows the removal of the needle at 08:00 (needle change)." in rows


def test_times_are_in_the_stays_zone_and_a_doubled_hour_names_its_offset() -> None:
    data = made.record(made.event("line check", "2026-01-01 09:00", id="x"), time_zone="Asia/Kolkata")
    assert "1 January 2026, 20:30: implanted port" in text(note_of(json.dumps(data)))
    written = text(note_of(demo("clocks-go-back")))
    assert "1 November 2026, 01:30 CDT" in written
    assert "1 November 2026, 01:30 CST" in written


def test_heparin_is_told_in_units_and_how_they_came_about() -> None:
    lock = {"drug": "heparin", "units_per_ml": 100.0, "volume_ml": 5.0}
    assert "Locked with 500 units of heparin (5 mL of 100 units per mL)." in said(
        sheet_of(made.removal_event("2026-04-01 09:00", lock=lock))
    )
    half = made.removal_event("2026-04-01 09:00", lock={"drug": "heparin", "volume_ml": 5})
    assert "Locked with 5 mL of heparin." in said(sheet_of(half))


@pytest.mark.parametrize(
    ("resistance", "row"),
    [
        ("none", "Flushed with 10 mL of 0.9% sodium chloride from a 10 mL syringe, without resistance."),
        ("some", "Flushed with 10 mL of 0.9% sodium chloride from a 10 mL syringe, WITH resistance."),
        (
            "cannot flush",
            "The line could NOT be flushed; tried with 10 mL of 0.9% sodium chloride from a 10 mL syringe.",
        ),
    ],
)
def test_what_could_not_be_flushed_was_not_flushed(resistance: str, row: str) -> None:
    flush = {**made.FLUSH, "resistance": resistance}
    assert row in said(sheet_of(made.event("flush", "2026-04-01 09:00", flushes=[flush])))


# -- who signs --


def test_the_signature_names_author_verifier_and_times() -> None:
    access = made.needle_event(
        "2026-04-01 09:00",
        id="access",
        charted_at="2026-04-01T09:25-05:00",
        by={"name": "Tobiah Wrenfield", "credential": "RN", "id": "LBN-519", "new_to_procedure": True},
        verified_by={"name": "Saskia Ruunberg", "credential": "RN"},
    )
    sheet = sheet_of(access)
    signed = [s for b in sheet.blocks if hasattr(b, "blocks") for s in b.blocks if isinstance(s, Signature)]
    assert signed == [
        Signature(
            "Tobiah Wrenfield",
            "RN, LBN-519",
            "event 1 April 2026, 09:00; entered 1 April 2026, 09:25; entry access",
            "Charted by",
        ),
        Signature("Saskia Ruunberg", "RN", "", "Verified by"),
    ]
    assert "Tobiah Wrenfield is new to this procedure and was supervised by Saskia Ruunberg, RN." in said(sheet)


def test_a_note_nobody_signed_has_blanks() -> None:
    nobody = {key: value for key, value in made.event("line check", "2026-04-01 09:00", id="x").items() if key != "by"}
    assert "Charted by: ____________, ____________ (event 1 April 2026, 09:00; entry x)" in text(sheet_of(nobody))


# -- which events --


def test_the_last_event_is_written_when_nothing_is_chosen() -> None:
    whole = judged(demo("uncomplicated-week"))
    assert whole.timeline is not None
    sheet = note.sheet(whole, DEFAULT, note.Choice(), narrator())
    (heading,) = [block.text for block in sheet.blocks if isinstance(block, Heading)]
    assert heading.startswith("Discharge, ")


def test_since_begins_with_the_very_moment() -> None:
    whole = judged(demo("uncomplicated-week"))
    assert whole.timeline is not None
    moments = [entry.event.at for entry in whole.timeline.entries]
    for first in (moments[3], moments[0]):
        chosen = note.chosen(whole.timeline, note.Choice(since=first), DEFAULT)
        assert len(chosen) == sum(moment >= first for moment in moments)
    never = datetime.fromisoformat("2090-01-01T00:00+00:00")
    assert note.chosen(whole.timeline, note.Choice(since=never), DEFAULT) == ()


def test_two_events_of_one_identifier_are_both_written() -> None:
    twice = [made.event("line check", f"2026-04-01 0{hour}:00", id="same") for hour in (8, 9)]
    assert len([b for b in sheet_of(*twice, choose="same").blocks if isinstance(b, Heading)]) == 3


def test_the_trace_names_sentence_fields_and_place() -> None:
    whole = judged(demo("uncomplicated-week"))
    sheet = note.sheet(whole, DEFAULT, note.Choice(event="access-1"), narrator())
    rows = trace(sheet, whole.record.place).split("\n")
    place = rows[rows.index("First aspirate discarded: 5 mL.") + 1]
    name, _, spot = place.strip().partition("  ")
    assert name == "events[1].discard_ml"
    file, row, column = spot.rsplit(":", 2)
    assert file == "uncomplicated-week.yaml"
    written = demo("uncomplicated-week").read_text().split("\n")[int(row) - 1]
    assert written[int(column) - 1 :] == "5"
    assert written.strip().startswith("discard_ml:")


def test_a_note_has_one_to_three_paragraphs_an_event_and_a_label_or_two() -> None:
    for path in DEMOS:
        counts: list[int] = []
        for block in note_of(path).blocks:
            inner = block.blocks if hasattr(block, "blocks") else (block,)
            if isinstance(block, Heading):
                counts.append(0)
            elif counts:
                counts[-1] += sum(isinstance(part, Paragraph) for part in inner)
        assert counts
        assert max(counts) <= 4, path.stem  # three, and a first one for a late or a corrected entry


def test_the_cautions_stand_at_the_foot() -> None:
    sheet = note_of(demo("uncomplicated-week"), "access-1")
    assert "Read it through before you sign.\nlda-notes " in text(sheet)
    assert not any(isinstance(block, Bullets) for block in sheet.blocks)


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_no_word_outside_quotation_marks_is_an_unsafe_form(path: Path) -> None:
    written = text(note_of(path), 100_000)
    assert unsafe_forms(re.sub(r'\[as typed: [^]]*\]|"[^"]*"', '""', written)) == []


def test_unsafe_words_of_the_record_are_printed_as_entered_and_marked_as_typed() -> None:
    access = made.needle_event(
        "2026-04-01 09:00",
        id="access",
        order="q7d order",
        reason="flush 5.0 mL",
        dressing={"type": "gauze", "securement": "tape >2 cm"},
        by={"name": "U Thura", "credential": "MS"},
    )
    written = text(sheet_of(access))
    for words in ("q7d order", "flush 5.0 mL", "tape >2 cm"):
        assert f"[as typed: {words}]" in written
    assert 'U Thura, "MS"' in written
