"""Every demo handed over right after each of its events, and taken to the bedside: nothing fails, nothing unsafe."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import pytest

from lda_notes import pipeline
from lda_notes.documents.handoff.page import Source, handoff, sheet
from lda_notes.documents.handoff.values import values
from lda_notes.documents.handoff.view import View
from lda_notes.documents.render import render
from lda_notes.documents.wording import Wording
from lda_notes.documents.worksheet.page import Work
from lda_notes.documents.worksheet.page import sheet as worksheet
from lda_notes.knowledge.abbreviations import unsafe_forms
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import due
from lda_notes.record.reading import read

DEMOS = sorted((Path(__file__).parents[2] / "demo_episodes").glob("*.yaml"))
WORKS: tuple[Work, ...] = ("access", "de-access", "dressing change")


def test_there_are_demos() -> None:
    assert len(DEMOS) >= 9


def ours(text: str) -> str:
    """Return the text without the nurses' own words, which are quoted as entered."""
    return re.sub(r'"[^"]*"', '""', text)


@pytest.mark.parametrize("demo", DEMOS, ids=lambda path: path.stem)
def test_a_demo_at_each_of_its_moments(demo: Path) -> None:
    record = read(demo)
    assert record.episode is not None
    moments = sorted({event.at for event in record.episode.events})
    assert moments
    for moment in moments:
        asof = moment + timedelta(minutes=1)
        judged = pipeline.judge(record, DEFAULT, asof)
        assert judged.timeline is not None
        found = handoff([Source(demo.name, judged.timeline, judged.findings, record.unread_events)], DEFAULT, asof)
        text = render(sheet(found), "text", 4000).decode()
        assert [hit for row in text.splitlines() for hit in unsafe_forms(ours(row))] == [], asof
        document = values(found)
        (listed,) = [*document["patients"], *document["left_the_facility"]]
        assert listed["record"] == judged.timeline.episode.id
        (patient,) = found.patients
        for line in patient.lines:
            assert line.status == "no port" or patient.left or line.actions, f"{asof}: nothing is due for {line.septum}"


@pytest.mark.parametrize("demo", DEMOS, ids=lambda path: path.stem)
@pytest.mark.parametrize("work", WORKS)
def test_a_demo_at_the_bedside(demo: Path, work: Work) -> None:
    record = read(demo)
    assert record.episode is not None
    asof = max(event.at for event in record.episode.events)
    timeline = pipeline.judge(record, DEFAULT, asof).timeline
    assert timeline is not None
    view = View(timeline, DEFAULT, Wording(due.zone_of(timeline), asof), asof, asof)
    for septum in timeline.episode.port.septa:
        text = render(worksheet(view, work, septum), "text", 4000).decode()
        assert f"Worksheet: {work}" in text.splitlines()
        assert [hit for row in text.splitlines() for hit in unsafe_forms(ours(row))] == []
