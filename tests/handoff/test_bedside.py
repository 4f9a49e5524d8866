"""What could hurt at the bedside stands on the worksheet: the last answer, contents that come out first, the dose."""

from __future__ import annotations

from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from docx import Document
from made_records import event, needle_event, record
from test_worksheet import told, view
from ward import ASOF

from lda_notes import pipeline
from lda_notes.commands.handoff import _sources
from lda_notes.documents.blocks import Line, Sheet, Table
from lda_notes.documents.handoff.actions import VESICANT_LOOKS
from lda_notes.documents.handoff.contingencies import thrombolytic
from lda_notes.documents.handoff.line import line_facts
from lda_notes.documents.handoff.page import handoff
from lda_notes.documents.handoff.page import sheet as handed_over
from lda_notes.documents.handoff.view import View
from lda_notes.documents.render import render
from lda_notes.documents.wording import Wording
from lda_notes.documents.worksheet.page import Work, sheet
from lda_notes.documents.worksheet.unit import unit_sheet
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import due
from lda_notes.record.reading import read

DEMOS = Path(__file__).parents[2] / "demo_episodes"


def at_bedside(demo: str, work: Work, asof: str) -> str:
    read_now = read(DEMOS / f"{demo}.yaml")
    judged = pipeline.judge(read_now, DEFAULT, moment := datetime.fromisoformat(asof))
    assert judged.timeline is not None
    words = Wording(due.zone_of(judged.timeline), moment, read_now.unread_events)
    shown = View(judged.timeline.as_known(), DEFAULT, words, moment, moment)
    return render(sheet(shown, work, judged.timeline.episode.port.septa[0]), "text", 4000).decode()


@pytest.mark.parametrize("work", ["access", "flush", "dressing change"])
def test_the_last_answer_and_what_went_outside_the_vein_stand_beside_the_hold(work: Work) -> None:
    text = at_bedside("needle-dislodged", work, "2026-09-07T10:50-05:00").split("Known.")[0]
    assert 'Last reply: "port without flush and lock after removal"' in text
    assert 'reply: "flush after the contrast study tomorrow"' in text
    assert 'Outside the vein: "magnesium sulfate' in text and "about 5 mL" in text
    assert "Last reply" not in at_bedside("uncomplicated-week", work, "2027-01-01T09:00-06:00")


def test_contents_that_come_out_first_have_their_blanks_before_the_flush() -> None:
    text = at_bedside("heparin-found-late", "de-access", "2026-09-08T09:00-05:00")
    proof = text.split("Confirm patency")[1].split("\nFlush\n")[0]
    assert "Discard volume, mL:" in proof and "Old lock: [ ] aspirated and discarded" in proof
    assert "Old lock" not in at_bedside("uncomplicated-week", "de-access", "2027-01-01T09:00-06:00")
    assert "Lock strength" not in text, "no strength of heparin is asked for where none may be given"


def test_a_check_of_a_dwelling_dose_says_what_was_given_and_what_is_withdrawn() -> None:
    text = at_bedside("child-by-weight", "patency check", "2026-10-06T10:20-05:00")
    assert "alteplase 1.1 mg in 1.1 mL dwelling" in text.split("step by step")[0]
    proof = text.split("Confirm patency")[1].split("\nFlush\n")[0]
    assert "4 to 5 mL are withdrawn" in proof
    assert "a second dose can be ordered from 6 Oct 12:15, 2 doses at most in all" in proof
    assert "Heparin for a lock is the strength ordered" in text and "100 units" not in text


@pytest.mark.parametrize(("mg", "most"), [(1.1, "2 doses at most"), (2, "4 mg at most"), (None, "4 mg at")])
def test_the_most_of_a_thrombolytic_is_that_of_the_dose(mg: Any, most: str) -> None:
    dose = {"dose_mg": mg} if mg else {}
    put_in = event("patency treatment", ASOF.replace(minute=0), drug="alteplase", volume_ml=2, **dose)
    shown = view(record(needle_event("2031-03-04 08:00"), put_in))
    assert any(most in one.then for one in thrombolytic(shown, line_facts(shown, "single")))


def test_a_running_vesicant_is_looked_at_as_policy_says() -> None:
    start = event("line use", "2031-03-05 06:00", purpose="infusion", action="started", what="x", vesicant=True)
    runs = record(needle_event("2031-03-04 08:00"), start)
    assert VESICANT_LOOKS.capitalize() in told(runs, "dressing change")
    assert VESICANT_LOOKS.capitalize() not in told(record(needle_event("2031-03-04 08:00")), "dressing change")


def test_the_line_check_says_as_of_when() -> None:
    text = render(unit_sheet([view(record(needle_event("2031-03-04 08:00")))]), "text", 2000).decode()
    assert "Line check as of Wednesday, 5 March 2031, 07:00: a row" in text


def test_a_failed_dressing_is_not_called_left_and_dates_are_those_of_the_sheet() -> None:
    read_now = read(DEMOS / "soiled-dressing.yaml")
    moment = datetime.fromisoformat("2026-07-10T09:20-05:00")
    found = handoff(list(_sources([read_now], DEFAULT, moment)), DEFAULT, moment)
    text = render(handed_over(found), "text", 4000).decode().replace("\u00a0", " ")
    assert "DANGER: dressing not yet changed, found soiled and loose, 09:00" in text
    assert "found soiled and loose at 10 Jul 09:00, and" in text
    assert "2026-07-10" not in text


def test_a_name_in_hebrew_letters_is_bold_in_docx() -> None:
    table = Table(("A",), (((Line("\u05de\u05e8\u05d9\u05dd", bold=True),),),), (1,))
    made = Document(BytesIO(render(Sheet("T", (table,)), "docx")))
    runs = made.tables[0].cell(1, 0).paragraphs[0].runs
    assert runs and all(run.font.cs_bold for run in runs)
