"""An entry charted on the wrong patient: retracted there, signed in the right record, on a real terminal."""

from __future__ import annotations

from pathlib import Path

import pytest
from desk import BY, Keyboard, Run, answered, demo_until, demo_without_events, subject

from lda_notes.chart.talk import Talk
from lda_notes.line.corrections import corrected
from lda_notes.record import events as ev
from lda_notes.record import reading as records
from lda_notes.record.episode import Episode

DEMOS = Path(__file__).parents[2] / "demo_episodes"
NOW = "2026-05-08T16:40-05:00"
OTHER = (b"Quillfeather", b"Underhill-Moss"), (b"Odessa", b"Ianthe"), (b"LB-000101", b"LB-000777")


@pytest.fixture
def two(ward: Path) -> Path:
    """The demo after its check of the afternoon, and the same line in another patient, without that check."""
    (ward / "episode.yaml").write_bytes(demo_until("check-9"))
    raw = demo_until("check-8")
    for one, another in OTHER:
        raw = raw.replace(one, another)
    (ward / "right.yaml").write_bytes(raw)
    return ward


def read(path: Path) -> Episode:
    found = records.read(path)
    assert found.episode is not None and found.findings == ()
    return found.episode


def test_an_entry_moves_with_everything_it_said(two: Path) -> None:
    moved = next(event for event in read(two / "episode.yaml").events if event.id == "check-8")
    nurse = Keyboard(two, "amend", "episode.yaml", "check-8", "--to", "right.yaml", asof=NOW)
    assert "charted on the wrong patient" in nurse.read()
    answers = ["", "MT", "MT"]
    nurse.type(answers[0])
    shown = nurse.type(answers[1])
    assert "Now in right.yaml" in shown and "Underhill-Moss, Ianthe" in shown and "Sign as Marisol Tamm" in shown
    nurse.last(answers[2])
    assert nurse.code() == 0
    assert len(answers) == 3 and nurse.keys == 7, "three answers, seven keys with Enter"

    _, (retracted,), _, faults = corrected(read(two / "episode.yaml"))
    assert faults == () and retracted.event.id == "check-8" and retracted.retraction is not None
    assert retracted.retraction.reason == "charted on the wrong patient"
    last = read(two / "right.yaml").events[-1]
    assert isinstance(last, ev.LineCheck) and isinstance(moved, ev.LineCheck)
    for fact in (
        "at",
        "site",
        "blood_return",
        "blood_looks",
        "dressing_found",
        "connections_secure",
        "infusion",
        "pain",
    ):
        assert getattr(last, fact) == getattr(moved, fact), fact
    assert "Quillfeather" not in (two / "right.yaml").read_text() and "check-8" not in (last.remarks or "")


def test_a_move_that_was_stopped_goes_on_in_the_right_record(two: Path) -> None:
    nurse = Keyboard(two, "amend", "episode.yaml", "check-8", "--to", "right.yaml", asof=NOW)
    nurse.read()
    nurse.type("")
    nurse.type("MT")
    nurse.process.sendeof()
    nurse.process.wait()
    again = Keyboard(two, "amend", "episode.yaml", "check-8", "--to", "right.yaml", asof=NOW)
    assert "check-8 is retracted already; what it said is offered in right.yaml." in again.read()
    again.last("MT")
    assert again.code() == 0 and isinstance(read(two / "right.yaml").events[-1], ev.LineCheck)


def test_whose_port_it_is_is_asked_again(run: Run, two: Path) -> None:
    """An access says that the patient was identified; that was said of the other one."""
    (two / "right.yaml").write_bytes(demo_without_events().replace(b"LB-000101", b"LB-000777"))
    ran = run("amend", "episode.yaml", "access-1", "--to", "right.yaml", "--asof", NOW, typed="\nMT\n")
    assert "Is this the patient, and did you check the allergies?" in ran.err
    assert "Which needle" not in ran.err and "Blood return?" not in ran.err


def test_who_moves_what_another_charted_is_told(run: Run, two: Path) -> None:
    ran = run(
        *("amend", "episode.yaml", "check-8", "--to", "right.yaml", "--by", "Ilse van Tongelaar, RN", "--asof", NOW),
        typed="\nIvT\n",
    )
    assert "It was charted by Marisol Tamm. Sign it only if you did or saw it yourself" in ran.err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("check-8", "--to", "episode.yaml"), "give the record of the right patient"),
        (("check-8", "--to", "right.yaml", "--as", "amendment"), "does not go with --as amendment"),
    ],
)
def test_a_move_that_makes_no_sense_is_refused(run: Run, two: Path, arguments: tuple[str, ...], says: str) -> None:
    before = (two / "episode.yaml").read_bytes()
    ran = run("amend", "episode.yaml", *arguments)
    assert ran.code == 2 and says in ran.err and (two / "episode.yaml").read_bytes() == before


def test_one_field_of_one_flush_in_five_answers(ward: Path) -> None:
    (ward / "episode.yaml").write_bytes((DEMOS / "uncomplicated-week.yaml").read_bytes())
    nurse = Keyboard(ward, "amend", "episode.yaml", "access-2", "--as", "amendment", asof="2026-05-12T16:00-05:00")
    nurse.read()
    answers = ["flush volume", "20", "", "misread", "MT"]
    for text in answers[:-1]:
        shown = nurse.type(text, free=text == "misread")
    assert "Flush volume: was 10 mL, now 20 mL" in shown and "Also recorded" not in shown
    nurse.last(answers[-1])
    assert nurse.code() == 0 and len(answers) == 5 and nurse.keys == 28
    made = read(ward / "episode.yaml").events[-1]
    assert isinstance(made, ev.Amendment) and len(made.sets["flushes"]) == 1


VISIT = """
  - {id: access-1, kind: access, at: 2026-05-04T10:00-05:00, by: {name: Marisol Tamm, credential: RN},
     antisepsis: {agent: chlorhexidine in alcohol, skin: dry}}
  - {id: de-access-1, kind: de-access, at: 2026-05-04T10:20-05:00, by: {name: Marisol Tamm, credential: RN}}
"""


def test_the_other_entries_of_a_visit_are_offered_next(run: Run, ward: Path) -> None:
    text = demo_without_events().decode().replace("events: []\n", f"events:{VISIT}")
    (ward / "episode.yaml").write_text(text)
    (ward / "right.yaml").write_bytes(demo_without_events().replace(b"LB-000101", b"LB-000777"))
    move = ("amend", "episode.yaml", "access-1", "--to", "right.yaml", "--asof", NOW)
    ran = run(*move, typed="\nMT\n")
    assert "access-1 is of one visit with de-access-1, asked after it" in ran.err
    again = run(*move)  # the access is retracted already, and the visit is known even so
    assert "access-1 is of one visit with de-access-1" in again.err


def test_a_fact_of_which_one_part_is_asked_again_stays() -> None:
    known = {
        **BY,
        "at": "2026-05-04T10:00-05:00",
        "antisepsis": {"agent": "povidone-iodine", "skin": "dry", "scrub_s": 40},
    }
    talk, _ = answered(Talk(subject(demo_without_events(), "access", NOW, known)), "= antisepsis.dry_s 45")
    data = talk.form.situation(talk.facts).facts  # type: ignore[attr-defined]  # the kind is known here
    assert data["antisepsis"] == {"agent": "povidone-iodine", "skin": "dry", "scrub_s": 40, "dry_s": 45}
    talk, _ = answered(talk, "= antisepsis.skin .", "= by Ilse van Tongelaar")
    data = talk.form.situation(talk.facts).facts  # type: ignore[attr-defined]  # the kind is known here
    assert "skin" not in data["antisepsis"] and data["by"] == {"name": "Ilse van Tongelaar"}
