"""A nurse's whole day on a real terminal: a visit in one pass with a kit, a round of the unit, what changes."""

from __future__ import annotations

import json
import stat
from datetime import datetime
from pathlib import Path

import pytest
from desk import DEMO, Keyboard, demo_until, demo_without_events, ran

from lda_notes import pipeline
from lda_notes.chart.questions import kits
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import due
from lda_notes.record import reading as records
from lda_notes.record.episode import Episode

CLINIC = "2026-06-08T10:00-05:00"
MORNING = "2026-05-07T12:00-05:00"


def _episode(file: Path) -> Episode:
    read = records.read(file).episode
    assert read is not None
    return read


@pytest.fixture
def ward(tmp_path: Path) -> Path:
    """A folder with the demo as it was after the last needle but one came out."""
    (tmp_path / "episode.yaml").write_bytes(demo_until("access-2"))
    return tmp_path


@pytest.fixture(autouse=True)
def config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HOME", str(tmp_path))
    return tmp_path / ".config" / "lda-notes" / "kits.json"


UNTIL_KIT = ["-30m"]
BEFORE_FLUSH = ["a", "", "monthly flush", "a", "n", "a"]
OUT = ["n", "-5m", "a", "1", "100 5", "a"]
WITHOUT_KIT = [
    *UNTIL_KIT, *BEFORE_FLUSH, "1", "a", "60 60", "20 19", "y", "y", "1", "w", "5", "15", "1", "10 10", "a", *OUT,
    "small gauze", "0", "to call for fever or swelling", "", "t",
]  # fmt: skip
WITH_KIT = [*UNTIL_KIT, "1", *BEFORE_FLUSH, "a", "60 60", "1", "w", "5", "15", "10", "a", *OUT, "0", "t"]


def _visit(ward: Path, answers: list[str]) -> Keyboard:
    nurse = Keyboard(ward, "chart", "episode.yaml", "visit", asof=CLINIC)
    nurse.read()
    for text in answers:
        nurse.type(text)
    assert "Sign as Marisol Tamm, RN?" in nurse.shown and "DRAFT" not in nurse.shown
    return nurse


def test_a_monthly_flush_takes_at_most_25_answers_with_a_kit(
    ward: Path, config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = (ward / "episode.yaml").read_bytes()
    first = _visit(ward, WITHOUT_KIT)
    first.type("k monthly flush")
    assert "Your kit monthly flush is kept" in first.last("y") and first.code() == 0
    assert stat.S_IMODE(config.stat().st_mode) == 0o600, "a kit is the nurse's own"
    (kit,) = json.loads(config.read_bytes())["kits"].values()
    assert not [name for name in kit if "lock" in name or "volume" in name or "order" in name or "_s" in name]

    (ward / "episode.yaml").write_bytes(before)
    nurse = _visit(ward, WITH_KIT)
    note = " ".join(nurse.shown.split())
    assert "Next flush is due by 6 July 2026, 09:55 (28 days)." in note and "eedle change is due" not in note
    assert "Accessed, flushed, locked, needle out, 8 June 2026, 09:30 to 09:55" in note
    assert note.count("Charted by: ") == 1 and note.count("Patient identified by") == 1
    nurse.last("y")
    assert nurse.code() == 0
    counted = len(WITH_KIT) + 1
    with capsys.disabled():
        print(f"\nmonthly flush: {len(WITHOUT_KIT) + 1} answers, with a kit {counted}, {nurse.keys} keys")
    assert (len(WITHOUT_KIT) + 1, counted, nurse.keys) == (32, 25, 76), "as the README says"
    access, removal = _episode(ward / "episode.yaml").events[-2:]
    assert [access.kind, removal.kind] == ["access", "de-access"]  # type: ignore[attr-defined]  # the kind is known here
    assert access.needle.gauge == 20 and access.antisepsis.agent == "chlorhexidine in alcohol"  # type: ignore[attr-defined]  # the kind is known here
    assert removal.teaching.about == "to call for fever or swelling"  # type: ignore[attr-defined]  # the kind is known here
    said = "".join(event.model_dump_json(exclude_unset=True) for event in (access, removal))
    assert "not_done" not in said and "not_assessed" not in said, "nothing is charted that was not said"
    judged = pipeline.judge_file(ward / "episode.yaml", DEFAULT, datetime.fromisoformat(CLINIC))
    assert [one for one in judged.findings if one.severity != "advice"] == [] and judged.timeline is not None
    assert [row.clock for row in due.due(judged.timeline, "single", DEFAULT)] == ["idle flush"]


def test_a_kit_leaves_out_what_does_not_suit_the_patient(ward: Path, config: Path) -> None:
    kits.keep(config, "usual", {"antisepsis.agent": "chlorhexidine in alcohol", "needle.gauge": 20})
    record = (ward / "episode.yaml").read_text()
    (ward / "episode.yaml").write_text(record.replace("allergies: []", "allergies: [{substance: chlorhexidine}]", 1))
    nurse = Keyboard(ward, "chart", "episode.yaml", "access", asof=CLINIC)
    nurse.read()
    said = " ".join(nurse.type("-30m").split())
    assert "usual: 20 gauge; NOT chlorhexidine in alcohol (allergy to chlorhexidine" in said
    nurse.process.sendeof()


@pytest.mark.parametrize(
    ("typed", "said"), [("n", "Kit: none."), ("1", "Kit: night, as written."), ("ni", "Kit: night, as written.")]
)
def test_n_takes_no_kit_also_where_the_only_one_is_named_with_n(
    ward: Path, config: Path, typed: str, said: str
) -> None:
    """A kit taken by mistake charts a needle and a syringe that nobody used."""
    kits.keep(config, "night", {"needle.gauge": 20})
    nurse = Keyboard(ward, "chart", "episode.yaml", "access", asof=CLINIC)
    nurse.read()
    nurse.type("-30m")
    assert said in " ".join(nurse.type(typed).split())
    nurse.process.sendeof()


def test_a_kit_flushes_no_line_on_hold(ward: Path, config: Path) -> None:
    kits.keep(config, "usual", {"flushes.0.syringe_ml": 10, "teaching.about": "to call for swelling"})
    text = (DEMO.parent / "no-blood-return.yaml").read_text()
    (ward / "episode.yaml").write_text(text[: text.index("  - id: evaluation-1")])
    nurse = Keyboard(ward, "chart", "episode.yaml", "deaccess", asof="2026-06-15T10:00-05:00")
    assert "LINE ON HOLD" in nurse.read()
    said = nurse.type("-5m")
    assert "usual: taught: to call for swelling" in said and "syringe" not in said
    nurse.process.sendeof()


def test_a_round_comes_back_to_the_unit_and_names_drafts(ward: Path) -> None:
    text = demo_until("check-6").decode()
    for number in range(1, 7):
        other = text.replace("LB-000101", f"LB-00020{number}").replace("room: '12'", f"room: '{number}'")
        other = other.replace("Quillfeather", f"Fernsby{number}").replace(
            "id: uncomplicated-week", f"id: stay-{number}"
        )
        (ward / f"bed-{number}.yaml").write_text(other)
    (ward / "episode.yaml").unlink()
    nurse = Keyboard(ward, "chart", ".", "check", asof=MORNING)
    unit = nurse.read()
    assert "6 patients with a port" in unit and unit.count("line check by") == 6
    for number in range(1, 7):
        before = nurse.keys, nurse.shown.count("\r\n> ")
        nurse.type("")
        for answer in ("-5m", "a", "i", "y"):
            nurse.type(answer)
        unit = nurse.type("y")
        spent = nurse.keys - before[0], nurse.shown.count("\r\n> ") - before[1]
        assert spent == (13, 6), "keys and answers for a patient, as the README says"
        assert f"bed-{number}.yaml" in nurse.shown and unit.count("*") >= number
    assert "Type a room, a name or a number" in nurse.type("")
    nurse.type("fernsby3 flush")
    nurse.type("-2m")
    nurse.process.sendeof()
    nurse.process.expect("private draft")
    again = Keyboard(ward, "chart", ".", asof=MORNING)
    assert "draft not signed: flush by Marisol Tamm, 1 answer" in " ".join(again.read().split())
    again.last("q")


def test_each_trouble_and_each_puncture_is_asked_for_at_once(ward: Path) -> None:
    nurse = Keyboard(ward, "chart", "episode.yaml", "access", asof="2026-05-11T15:45-05:00")
    nurse.read()
    for text in ("-15m", "a", "", "treatment goes on", "e", "1", "p", "20", "n", "n", "n"):
        said = nurse.type(text)
    said = nurse.type("s")
    assert "What was seen?" in said and "Enter: redness" in said
    for text in ("", "marked its edge", "Dr Amaranth Locke, MD", "-2"):
        said = nurse.type(text)
    assert "What did they reply?" in said
    nurse.process.sendeof()


def test_what_changes_about_the_patient_is_charted_by_answering(ward: Path) -> None:
    nurse = Keyboard(ward, "chart", "episode.yaml", "patient", asof=CLINIC)
    nurse.read()
    nurse.type("")
    said = nurse.type("allergies found, weight")
    assert "Allergies found: allergen?" in said
    for text in ("chlorhexidine", "", "hives"):
        nurse.type(text)
    assert "Sign as" in nurse.type("70")
    nurse.last("y")
    assert nurse.code() == 0
    assert (nurse.answers, nurse.keys) == (7, 51), "the signature among them"
    event = _episode(ward / "episode.yaml").events[-1].model_dump(mode="json", exclude_unset=True)
    assert event["allergies"] == [{"substance": "chlorhexidine", "reaction": "hives"}] and event["weight_kg"] == "70"


def test_a_time_still_to_come_is_never_written(ward: Path) -> None:
    nurse = Keyboard(ward, "chart", "episode.yaml", "patient", asof=CLINIC)
    nurse.read()
    assert "Was it yesterday, 7 June 2026, 12:30?" in " ".join(nurse.type("1230").split())
    assert "Time of the event: 7 June 2026, 12:30." in nurse.type("y")
    nurse.process.sendeof()


def test_a_gap_that_is_named_at_the_end_is_asked_there(ward: Path) -> None:
    (ward / "episode.yaml").write_bytes(demo_until("check-6"))
    nurse = Keyboard(ward, "chart", "episode.yaml", "check", asof=MORNING)
    nurse.read()
    for text in ("1150", ".", "i", "y"):
        said = nurse.type(text)
    assert "NOT RECORDED" in said and "g asks what is missing above" in said
    assert "How did the site look?" in nurse.type("g")
    said = nurse.type("a")
    assert "Sign as" in said and "g asks" not in said and "NOT RECORDED" not in said
    nurse.last("y")
    assert (nurse.answers, nurse.keys) == (7, 17), "g and the site are two of them"
    assert nurse.code() == 0


def test_a_whole_first_day(ward: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Arrival, a visit, a round of six, a change of allergy, an amendment, the handoff: nothing edited by hand."""
    (ward / "episode.yaml").unlink()
    text = demo_until("check-6").decode()
    for number in range(1, 7):
        other = text.replace("LB-000101", f"LB-00030{number}").replace("Quillfeather", f"Marchbanks{number}")
        (ward / f"bed-{number}.yaml").write_text(other.replace("id: uncomplicated-week", f"id: day-{number}"))
    (ward / "clinic").mkdir()
    (ward / "clinic" / "visit.yaml").write_bytes(demo_until("access-2"))
    (ward / "clinic" / "arrival.yaml").write_bytes(demo_without_events())

    def day(*command: str, answers: list[str], asof: str = MORNING) -> tuple[Keyboard, int]:
        nurse = Keyboard(ward, *command, asof=asof)
        nurse.read()
        for answer in answers[:-1]:
            nurse.type(answer)
        nurse.last(answers[-1])
        assert nurse.code() == 0, nurse.shown
        return nurse, len(answers)

    walked = [
        day("chart", "clinic/arrival.yaml", "arrival", answers=ARRIVAL, asof="2026-05-04T18:00-05:00"),
        day("chart", "clinic/visit.yaml", "visit", answers=[*WITHOUT_KIT, "y"], asof=CLINIC),
        day("chart", ".", "check", answers=[*["", "-5m", "a", "i", "y", "y"] * 6, "q"]),
        day("chart", "bed-1.yaml", "patient", answers=["", "allergies found", "chlorhexidine", "", "hives", "y"]),
        day(
            "amend",
            "bed-1.yaml",
            "check-6",
            "--as",
            "addendum",
            answers=["remarks", "slept well", "", "", "said later", "y"],
        ),
    ]
    sheet = ran(ward, "handoff", ".", "--asof", MORNING)
    assert sheet.code == 0, sheet.err
    assert sheet.out.count("Marchbanks") >= 6 and "chlorhexidine" in sheet.out
    checked = ran(ward, "check", ".", "clinic", "--asof", CLINIC)
    assert "Not signed" not in checked.err
    answers, keys = sum(count for _, count in walked), sum(nurse.keys for nurse, _ in walked)
    with capsys.disabled():
        print(f"\na first day: {answers} answers, {keys} keys")
    assert (answers, keys) == (93, 326), "as the README says"


ARRIVAL = ["-30m", "a", "home", "a", "20 19", "y", "-2h", "1", "i", "-2h", "w", "y"]
