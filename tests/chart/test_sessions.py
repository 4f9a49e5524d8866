"""Whole sessions on a real terminal, as a nurse types them."""

from __future__ import annotations

import os
import re
import signal
import stat
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from desk import Keyboard, demo_until, demo_without_events, ran, widest

from lda_notes import pipeline
from lda_notes.fhir.build.bundle import bundles
from lda_notes.fhir.config import Config
from lda_notes.fhir.verify.verification import verify
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.record import reading as records

SECOND = "2026-05-11T15:45-05:00"
FIRST = "2026-05-04T16:30-05:00"


@pytest.fixture
def ward(tmp_path: Path) -> Path:
    """A folder with the demo as it stood before the needle change's second half."""
    (tmp_path / "episode.yaml").write_bytes(demo_until("access-2"))
    return tmp_path


def is_clean(folder: Path, asof: str) -> None:
    """Check, render, bundle and verify what was charted, without another edit."""
    checked = ran(folder, "check", "episode.yaml", "--asof", asof)
    assert checked.code == 0, checked
    written = ran(folder, "note", "episode.yaml", "--all", "--asof", asof)
    assert written.code == 0 and "DRAFT" not in written.out, written
    judged = pipeline.judge_file(folder / "episode.yaml", DEFAULT, datetime.fromisoformat(asof))
    assert judged.timeline is not None
    made = list(bundles(judged.timeline, DEFAULT, Config()))
    assert len(made) == len(judged.timeline.episode.events)
    assert [verify(one.bundle) for one in made] == [()] * len(made)


def last_event(folder: Path) -> dict[str, Any]:
    read = records.read(folder / "episode.yaml").episode
    assert read is not None
    return read.events[-1].model_dump(mode="json", exclude_unset=True)


ROUTINE: list[tuple[str, bool]] = [
    ("-15m", False),
    ("a", False),
    ("", False),
    ("treatment goes on", True),
    ("a", False),
    ("n", False),
    ("a", False),
    ("1", False),
    ("-6", False),
    ("a", False),
    ("60 60", False),
    ("20 19", False),
    ("y", False),
    ("y", False),
    ("1", False),
    ("w", False),
    ("5", False),
    ("15", False),
    ("1", False),
    ("10 10", False),
    ("a", False),
    ("i", False),
    ("", False),
    ("1", False),
    ("y", False),
    ("a", False),
    ("", False),
    ("y", False),
    ("0", False),
    ("1", False),
    ("to report pain, burning or swelling at once", True),
    ("", False),
    ("t", False),
]


def test_a_routine_access_takes_at_most_a_hundred_keystrokes(ward: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mode = stat.S_IMODE((ward / "episode.yaml").stat().st_mode)
    nurse = Keyboard(ward, "chart", "episode.yaml", "access", asof=SECOND)
    opening = nurse.read()
    assert "Quillfeather, Odessa, born 19 May 1968, LB-000101" in opening
    assert "Allergies: none known." in opening and "No needle in." in opening
    for text, free in ROUTINE[:-1]:
        nurse.type(text, free)
    note = nurse.type(*ROUTINE[-1])
    assert "Sign as Marisol Tamm, RN?" in note and "DRAFT" not in note and "!!" not in note
    end = nurse.last("y")
    assert "access-2: written to episode.yaml" in end and nurse.code() == 0
    beyond = nurse.keys - nurse.free
    with capsys.disabled():
        print(f"\nroutine access: {beyond} keystrokes beyond free text, Enter and signature counted")
    assert (nurse.answers, beyond) == (34, 79), (
        "as the README says"
    )  # what is measured is typed, and one key repeats only what was seen
    assert widest(nurse.shown) <= 80
    assert "\x1b" not in nurse.shown, "nothing is drawn over, nothing is coloured"
    is_clean(ward, SECOND)
    assert (ward / "episode.yaml").read_bytes().startswith(demo_until("access-2"))
    assert stat.S_IMODE((ward / "episode.yaml").stat().st_mode) == mode, "as it was: the ward may share it"
    assert not list((ward / "state").rglob("*.json")), "the draft is gone once it is signed"


def test_the_very_first_access_of_a_record_takes_at_most_a_hundred_too(
    ward: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (ward / "episode.yaml").write_bytes(demo_without_events())
    nurse = Keyboard(ward, "chart", "episode.yaml", "access", asof=FIRST)
    nurse.read()
    texts: list[tuple[str, bool]] = [
        *[("-15m", False), ("a", False), ("LB-ORD-5501", True), ("antibiotics for eight days", True)],
        *[("a", False), ("n", False), ("a", False), ("1", False), ("-6", False), ("a", False), ("60 60", False)],
        *[("20 19", False), ("y", False), ("y", False), ("1", False), ("w", False), ("5", False), ("15", False)],
        *[("1", False), ("10 10", False), ("a", False), ("1", False), ("100 5", False)],
        *[
            ("1", False),
            ("y", False),
            ("a", False),
            ("adhesive strips", True),
            ("y", False),
            ("0", False),
            ("1", False),
        ],
        *[("to report pain at once", True), ("", False), ("t", False)],
    ]
    for text, free in texts[:-1]:
        nurse.type(text, free)
    assert "Sign as" in nurse.type(*texts[-1])
    nurse.last("y")
    assert nurse.code() == 0
    beyond = nurse.keys - nurse.free
    with capsys.disabled():
        print(f"\nfirst access of a record: {beyond} keystrokes beyond free text")
    assert beyond <= 100  # what is measured is typed, and one key repeats only what was seen
    is_clean(ward, FIRST)


def test_no_blood_return_puts_the_line_on_hold(ward: Path) -> None:
    nurse = Keyboard(ward, "chart", "episode.yaml", "access", asof=SECOND)
    nurse.read()
    for text, _ in ROUTINE[:15]:
        nurse.type(text)
    said = nurse.type("n")
    assert "!! LINE ON HOLD: no blood return." in said
    assert re.search(r"What ends the hold: [^.]*evaluation", " ".join(said.split()))
    assert "What was tried to get blood?" in said
    said = nurse.type("123")
    assert "What was seen?" in said and "Enter: no blood return" in said, "asked at once"
    nurse.type("")
    nurse.type("needle left in, line clamped and labelled as on hold", True)
    nurse.type("Dr Amaranth Locke, MD", True)
    said = nurse.type("+8")
    assert "Time of notification: 11 May 2026, 15:38." in said
    nurse.type("specialist will see the line this evening", True)
    nurse.type("- no blood return")
    nurse.type("15")
    nurse.type("- line on hold until it is cleared")
    for text in ("1", "y", "a", "", "y", "2", "1", "why the line rests", "", "t"):
        note = nurse.type(text)
    assert "STOP: LINE ON HOLD" in note
    assert "The line is ON HOLD from this time (no blood return)." in " ".join(note.split())
    nurse.last("y")
    assert nurse.code() == 0
    event = last_event(ward)
    assert event["blood_return"] == "none" and event["flushes"] == {"not_done": "no blood return"}
    assert event["problems"][0]["told"] == {"name": "Dr Amaranth Locke", "credential": "MD"}
    is_clean(ward, SECOND)
    again = Keyboard(ward, "chart", "episode.yaml", "use", asof=SECOND)
    assert "LINE ON HOLD since 11 May 2026, 15:30: no blood return." in " ".join(again.read().split())
    again.process.close(force=True)


def test_a_dressing_change(ward: Path) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    nurse = Keyboard(ward, "chart", "episode.yaml", "dressing", asof="2026-05-07T12:00-05:00")
    opening = nurse.read()
    assert "Needle in: 20 gauge, 19 mm (3/4 inch), since 4 May 2026, 16:20." in opening
    for text in (
        "1140",
        "nb",
        "y",
        "dl",
        "a",
        "a",
        "1",
        "a",
        "60 60",
        "1",
        "y",
        "a",
        "",
        "y",
        "y",
        "0",
        "1",
        "to keep it dry",
        "",
        "s",
    ):
        said = nurse.type(text)
    said = " ".join(said.split())
    assert "Needle change is due by 11 May 2026, 16:20 (7 days); the dressing goes with the needle." in said, (
        "the needle's own date does not move, and a new dressing is not due after it"
    )
    nurse.last("y")
    assert nurse.code() == 0
    event = last_event(ward)
    assert event["dressing_found"] == ["damp", "loose"] and event["at"] == "2026-05-07T11:40:00-05:00"
    is_clean(ward, "2026-05-07T12:00-05:00")


def test_a_deaccess_with_a_heparin_lock(ward: Path) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("removal-2"))
    nurse = Keyboard(ward, "chart", "episode.yaml", "deaccess", asof="2026-05-12T11:20-05:00")
    nurse.read()
    for text in ("-15m", "nb", "LB-ORD-5560", "treatment completed", "a", "w", "15", "1", "10 10"):
        said = nurse.type(text)
    said = nurse.type("a")
    assert "1: heparin" in said and "100 units" not in said, "a strength is read off the label, not offered"
    for text in ("1", "100 5", "a", "small dry gauze", "0", "1", "to keep the cover on", "", "s"):
        said = nurse.type(text)
    assert "Next flush is due by 9 June 2026, 11:05 (28 days)." in " ".join(said.split())
    nurse.last("MT")
    assert nurse.code() == 0
    event = last_event(ward)
    assert event["lock"] == {"drug": "heparin", "units_per_ml": "100", "volume_ml": "5"}
    assert event["needle_intact"] is True and event["bleeding"] == "none"
    is_clean(ward, "2026-05-12T11:20-05:00")


def test_going_back_and_changing_an_answer(ward: Path) -> None:
    nurse = Keyboard(ward, "chart", "episode.yaml", "access", asof=SECOND)
    nurse.read()
    for text, _ in ROUTINE[:16]:
        nurse.type(text)
    said = nurse.type("<")
    assert "Back. You had said: present, like whole blood." in said and "Blood return?" in said
    said = nurse.type("<")
    assert "Back. You had said: 1." in said and "How many attempts?" in said and "Enter: 1" in said
    said = nurse.type("2")
    assert "Number of attempts: 2." in said and "Puncture 1 of 2: which needle?" in said
    nurse.type("20 25")
    assert "Puncture 1 of 2: what was the outcome?" in nurse.type("Bertrand Oyelle, RN")
    said = nurse.type("port missed")
    assert "Puncture 2 of 2: which needle?" in said and "Enter: the needle that is in" in said
    nurse.type("")
    assert "Enter: you" in nurse.shown.rpartition("who put it in")[2]
    nurse.type("")
    said = nurse.type("b")
    assert "Enter: present, like whole blood" in said
    said = nurse.type("")
    assert "discarded" in said
    for text, _ in ROUTINE[16:]:
        note = nurse.type(text)
    assert "attempts: 2." in " ".join(note.split())
    said = nurse.type("<")
    assert "What did they understand?" in said and "Enter: teach-back" in said
    nurse.type("")
    nurse.last("y")
    assert nurse.code() == 0
    assert last_event(ward)["attempts"] == 2
    is_clean(ward, SECOND)


def drafts(folder: Path) -> list[Path]:
    return list((folder / "state").rglob("*.json"))


def test_ctrl_c_keeps_a_private_draft_that_the_next_run_goes_on_with(ward: Path) -> None:
    before = (ward / "episode.yaml").read_bytes()
    nurse = Keyboard(ward, "chart", "episode.yaml", "access", asof=SECOND)
    nurse.read()
    for text, _ in ROUTINE[:11]:
        nurse.type(text)
    nurse.interrupt()
    nurse.process.expect("what you said is kept as a private draft")
    nurse.process.expect(r"\S*$")
    nurse.process.wait()
    assert nurse.process.exitstatus == 130
    assert (ward / "episode.yaml").read_bytes() == before
    (draft,) = drafts(ward)
    assert stat.S_IMODE(draft.stat().st_mode) == 0o600
    assert stat.S_IMODE(draft.parent.stat().st_mode) == 0o700
    assert not any(word in str(draft) for word in ("episode", "Quillfeather", "LB-000101", "access"))
    again = Keyboard(ward, "chart", "episode.yaml", "access", asof=SECOND)
    assert "A draft of this access contains 11 answers" in again.read()
    said = again.type("")
    assert "Which needle?" in said
    for text, _ in ROUTINE[11:]:
        again.type(text)
    again.last("y")
    assert again.code() == 0 and drafts(ward) == []
    is_clean(ward, SECOND)


@pytest.mark.parametrize("deaf", [False, True], ids=["told by a signal", "told by the next row alone"])
def test_a_lost_terminal_keeps_the_draft(ward: Path, deaf: bool) -> None:
    nurse = Keyboard(ward, "chart", "episode.yaml", "access", asof=SECOND, deaf=deaf)
    nurse.read()
    for text, _ in ROUTINE[:5]:
        nurse.type(text)
    child = nurse.process.pid
    os.close(nurse.process.child_fd)  # the line drops: the system sends SIGHUP and no further row comes
    nurse.process.closed = True
    _, status = os.waitpid(child, 0)
    assert (os.WIFSIGNALED(status) and not deaf) or os.WEXITSTATUS(status) == 130
    (draft,) = drafts(ward)
    assert "identifiers_checked" in draft.read_text()
    again = Keyboard(ward, "chart", "episode.yaml", "access", asof=SECOND)
    assert "contains 5 answers; the last: skin intact" in again.read()
    assert "When was it?" in again.type("n"), "a draft may be thrown away"
    assert drafts(ward) == []
    again.process.kill(signal.SIGKILL)
    again.process.wait()


def test_a_second_writer_is_shown_and_never_overwritten(ward: Path) -> None:
    first = Keyboard(ward, "chart", "episode.yaml", "access", asof=SECOND)
    first.read()
    for text, _ in ROUTINE:
        first.type(text)
    second = Keyboard(ward, "chart", "episode.yaml", "check", by="Bertrand Oyelle, RN, LBN-117", asof=SECOND)
    second.read()
    for text in ("1520", "a"):
        second.type(text)
    assert "Sign as Bertrand Oyelle" in second.shown
    second.last("BO")
    assert second.code() == 0
    between = (ward / "episode.yaml").read_bytes()
    said = first.type("y")
    assert "The record changed while you charted. Nothing is written yet." in said
    assert "added: line check of 11 May 2026, 15:20, by Bertrand Oyelle (check-14)" in said
    assert (ward / "episode.yaml").read_bytes() == between
    end = first.last("y")
    assert "access-2: written" in end and first.code() == 0
    assert (ward / "episode.yaml").read_bytes().startswith(between)
    read = records.read(ward / "episode.yaml").episode
    assert read is not None and [event.id for event in read.events[-2:]] == ["check-14", "access-2"]
    is_clean(ward, SECOND)


def test_the_same_event_cannot_be_charted_in_two_windows_at_once(ward: Path) -> None:
    first = Keyboard(ward, "chart", "episode.yaml", "access", asof=SECOND)
    first.read()
    second = Keyboard(ward, "chart", "episode.yaml", "access", asof=SECOND)
    second.process.expect("is being charted in another of your windows")
    second.process.wait()
    assert second.process.exitstatus == 2
    first.process.close(force=True)


def test_an_entry_is_amended_and_another_retracted(ward: Path) -> None:
    before = (ward / "episode.yaml").read_bytes()
    nurse = Keyboard(ward, "amend", "episode.yaml", "access-1", asof=SECOND)
    assert "Correction of access-1, an access of 4 May 2026, 16:20. The entry stays on record." in " ".join(
        nurse.read().split()
    )
    nurse.type("2")
    said = nurse.type("gauge")
    assert "Needle gauge: what is right? (recorded: 20)" in said
    said = nurse.type("22")
    assert "Needle gauge: was 20, now 22." in said
    nurse.type("")
    said = nurse.type("read wrongly from the label")
    assert "Needle gauge: was 20, now 22" in said and "As first charted, kept for the record" in said
    nurse.last("mt")
    assert nurse.code() == 0 and (nurse.answers, nurse.keys) == (6, 43), "one field of one needle, and why"
    event = last_event(ward)
    assert event["kind"] == "amendment" and event["of"] == "access-1" and event["sets"] == {"needle": {"gauge": 22}}
    assert event["reason"] == "read wrongly from the label" and event["by"]["name"] == "Marisol Tamm"
    assert (ward / "episode.yaml").read_bytes().startswith(before), "the original stays"
    is_clean(ward, SECOND)

    nurse = Keyboard(ward, "amend", "episode.yaml", "check-13", "--as", "retraction", asof=SECOND)
    nurse.read()
    said = nurse.type("made on the wrong patient")
    assert "RETRACTED" in said and "Before: in view. After: out of view" in said
    nurse.last("y")
    assert nurse.code() == 0
    assert last_event(ward)["kind"] == "retraction"
    assert (ward / "episode.yaml").read_bytes().startswith(before)
    again = ran(ward, "amend", "episode.yaml", "check-13", "--no-input")
    assert again.code == 2 and "retracted already" in again.err


def test_what_is_unsafe_is_signed_with_initials_and_told_again_right_before(ward: Path) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    asof = "2026-05-07T12:00-05:00"
    use = Keyboard(ward, "chart", "episode.yaml", "use", asof=asof)
    use.read()
    for text in ("1150", "i", "name, room number", "y", "LB-ORD-9", "1", "an antibiotic", "n", "p"):
        said = use.type(text)
    assert "!! UNSAFE: identified by name; a room number does not count" in said
    before = said[said.index("Sign as") - 120 :]
    assert "1 finding above is unsafe or contradictory." in before and "MT signs" in before and "y or MT" not in before
    said = use.type("y")
    assert "?? y does not sign here: type your initials (MT)" in said
    use.last("mt")
    assert use.code() == 0


def test_a_hold_and_a_thrombolytic_stand_first_and_last(ward: Path) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    asof = "2026-05-07T12:00-05:00"
    nurse = Keyboard(ward, "chart", "episode.yaml", "treatment", asof=asof)
    nurse.read()
    for texts in (
        ("1150", "1", "a", "LB-ORD-77", "a", "1"),
        ("none", "210", "n", "n", "kinked tubing", "y"),  # what speaks against the dose is asked first
        ("-5", "2", "2", "1"),
    ):
        for text in texts:
            said = nurse.type(text)
    rows = " ".join(said[said.index("Written from the record") :].split())
    assert "!! ALTEPLASE IN THE LINE since 7 May 2026, 11:50: no flush and no use until it is checked." in rows
    nurse.last("mt")
    again = Keyboard(ward, "chart", "episode.yaml", "flush", asof=asof)
    opening = " ".join(again.read().split())
    assert "!! ALTEPLASE IN THE LINE since 7 May 2026, 11:50" in opening
    again.process.close(force=True)
