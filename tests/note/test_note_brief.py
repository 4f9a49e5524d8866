"""The brief note: one paragraph to paste, by its words and by what it may never leave out."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import made_records as made
import pytest
from click.testing import CliRunner
from note_reading import DEMOS, judged, note_of

from lda_notes.cli import group
from lda_notes.documents.blocks import Heading
from lda_notes.documents.note import page as note
from lda_notes.documents.note.brief import Brief, brief
from lda_notes.documents.render.text import plain_paragraph, render
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.narrative.narrator import narrator

GOLDEN = Path(__file__).parents[1] / "golden"


def briefly(source: Path | str, event: str | None = None) -> Brief:
    return brief(judged(source), DEFAULT, note.Choice(event=event, every=event is None), narrator())


def rows(demo: Path) -> list[str]:
    return [plain_paragraph(row) for row in briefly(demo).paragraphs]


@pytest.mark.parametrize("demo", DEMOS, ids=lambda path: path.stem)
def test_brief_notes_of_demo(demo: Path, request: pytest.FixtureRequest) -> None:
    golden = GOLDEN / f"{demo.stem}.brief.txt"
    found = "".join(f"{len(row.split())} words: {row}\n" for row in rows(demo))
    if request.config.getoption("--update-golden"):
        golden.write_text(found, encoding="utf-8")
    assert found == golden.read_text(encoding="utf-8")


MAIN = re.compile(r"port (accessed|needle removed|dressing changed|flushed|treated|rechecked|needle found)")
ROUTINE = re.compile(r"tolerated well\. (Patient|Parent)")


def test_brief_notes_are_short() -> None:
    """At most 110 words, of a whole procedure at least 60; a line check without a problem or a remark under 50."""
    every = [row for demo in DEMOS for row in rows(demo)]
    whole = [row for row in every if MAIN.search(row) and ROUTINE.search(row)]
    looks = [row for row in every if ": line check" in row and not re.search("notified|clocks", row)]
    assert len(every) > 125 and len(whole) > 25 and len(looks) >= 40
    assert [row for row in every if len(row.split()) > 110] == []
    assert [row for row in whole if len(row.split()) < 60] == []
    assert [row for row in looks if len(row.split()) >= 50] == []


LONG = " ".join(["word"] * 15)


@pytest.mark.parametrize(
    "kept", [f"{LONG}: {LONG}", "Amos Ferrier, MD notified", f"reply: {LONG}", "LINE ON HOLD: no blood"]
)
def test_only_routine_is_left_out_of_a_long_note(kept: str) -> None:
    """A complication, who was notified, the answer and the hold stay in, however long; the dressing does not."""
    problem = {"what": LONG, "action": LONG, "told": {"name": "Amos Ferrier", "credential": "MD"}, "reply": LONG}
    dressing = {"type": "transparent", "without_tension": True, "labelled": True}
    said = _one_row({"blood_return": "none", "problems": [problem] * 3, "dressing": dressing})
    assert kept.casefold() in said.casefold() and "Transparent dressing" not in said
    assert "Transparent dressing" in _one_row({"blood_return": "none", "dressing": dressing})


def test_findings_go_beside_the_note() -> None:
    demo = next(path for path in DEMOS if path.stem == "deliberately-bad")
    done = CliRunner().invoke(group, ["note", str(demo), "--brief", "--all"])
    assert "not part of the note" in done.stderr and "not recorded:" in done.stderr.lower()
    assert "To do:" not in done.stdout and "DRAFT" not in done.stdout and done.exit_code == 0


def test_findings_stand_below_the_full_note() -> None:
    demo = next(path for path in DEMOS if path.stem == "deliberately-bad")
    sheet = note_of(demo)
    place = next(i for i, block in enumerate(sheet.blocks) if isinstance(block, Heading) and "not part" in block.text)
    assert all("To do:" not in str(block) for block in sheet.blocks[:place])
    assert any("To do:" in str(block) for block in sheet.blocks[place:])


def test_brief_is_plain_text_alone() -> None:
    done = CliRunner().invoke(group, ["note", str(DEMOS[0]), "--brief", "--format", "html"])
    assert done.exit_code == 2 and "plain text" in done.stderr


def test_brief_is_written_to_a_file(tmp_path: Path) -> None:
    target = tmp_path / "note.txt"
    done = CliRunner().invoke(group, ["note", str(DEMOS[0]), "--brief", "--last", "--out", str(target)])
    assert done.exit_code == 0 and done.stdout == "" and target.read_text(encoding="utf-8").count("\n") == 1


@pytest.mark.parametrize(
    "fact", ["identifiers_checked", "site", "blood_return", "flushes", "lock", "dressing", "antisepsis", "pain"]
)
def test_a_reason_is_never_left_out(fact: str) -> None:
    given = {fact: {"not_done" if fact in DONE else "not_assessed": "of its own accord"}}
    record = made.record(made.event("access", "2026-04-01 09:00", id="access", **given))
    (row,) = briefly(json.dumps(record)).paragraphs
    assert "of its own accord" in plain_paragraph(row)


DONE = {"identifiers_checked", "flushes", "lock", "dressing", "antisepsis"}

NOT_SO = {
    "allergies_checked": "allergies NOT checked",
    "explained_and_agreed": "NOT explained",
    "tip_confirmed": "Tip NOT confirmed",
    "technique.hand_hygiene": "NO hand hygiene",
    "technique.masks": "NO masks",
    "technique.sterile_gloves": "NO sterile gloves",
    "technique.sterile_field": "NO sterile field",
    "antisepsis.fully_dry": "NOT dry",
    "needle.non_coring": "CORING needle",
    "dressing.labelled": "NOT labeled",
    "dressing.without_tension": "WITH tension",
}


@pytest.mark.parametrize("fact", NOT_SO)
def test_what_was_not_as_it_should_be_is_never_left_out(fact: str) -> None:
    part, _, name = fact.rpartition(".")
    whole = {
        "identifiers_checked": ["name", "birth date"],
        "antisepsis": {"agent": "povidone-iodine", "fully_dry": True},
        "dressing": {"type": "transparent", "labelled": True},
        "needle": {"gauge": 20, "length_mm": 19, "non_coring": True},
        "technique": {"hand_hygiene": True, "masks": True, "sterile_gloves": True, "sterile_field": True},
    }
    as_it_should = _one_row(whole)
    given = {**whole, **({part: {**whole[part], name: False}} if part else {name: False})}
    assert NOT_SO[fact] in _one_row(given) and NOT_SO[fact] not in as_it_should


def _one_row(facts: dict[str, Any]) -> str:
    record = made.record(made.event("access", "2026-04-01 09:00", id="access", **facts))
    return plain_paragraph(briefly(json.dumps(record)).paragraphs[0])


def test_unknown_system_addresses_are_not_printed() -> None:
    """A record number without a label is called as the facility's policy calls it, never by an address."""
    record = re.sub(r", label: record number|\n *label: record number", "", DEMOS[0].read_text(encoding="utf-8"))
    text = render(note_of(record))
    assert "Record number: " in text and "http" not in text and "urn:" not in text


def test_a_visit_is_one_paragraph_with_one_signature() -> None:
    """Needle in and out within the hour by one nurse: one note, and none of it is missing for the check."""
    nurse = {"name": "Ada Thornquist", "credential": "RN", "id": "N-7"}
    began = made.event("access", "2026-04-01 09:00", id="in", by=nurse, identifiers_checked=["name", "birth date"])
    ended = made.event("de-access", "2026-04-01 09:20", id="out", by=nurse, needle_intact=True)
    visit = briefly(json.dumps(made.record(began, ended)))
    (row,) = visit.paragraphs
    assert plain_paragraph(row).count("Ada Thornquist") == 1 and "removed" in plain_paragraph(row)
    assert briefly(json.dumps(made.record(began, ended)), "out").paragraphs == visit.paragraphs
    blocks = note_of(json.dumps(made.record(began, ended))).blocks
    (heading,) = (block.text for block in blocks if isinstance(block, Heading) and ", needle out" in block.text)
    assert heading.startswith("Accessed, needle out, 1 April 2026, 09:00 to 09:20")


@pytest.mark.parametrize("other", [{"at": "2026-04-01 11:00"}, {"by": {"name": "Bo Larkspur", "credential": "RN"}}])
def test_a_needle_that_stays_or_another_nurse_is_no_single_visit(other: dict[str, Any]) -> None:
    nurse = {"name": "Ada Thornquist", "credential": "RN", "id": "N-7"}
    began = made.event("access", "2026-04-01 09:00", id="in", by=nurse)
    more = {"by": nurse, "at": "2026-04-01 09:20", **other}
    ended = made.event("de-access", more.pop("at"), id="out", **more)
    assert len(briefly(json.dumps(made.record(began, ended))).paragraphs) == 2
