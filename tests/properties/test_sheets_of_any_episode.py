"""Whatever happened in an episode: handoff and worksheet are made, say nothing unsafe, and keep their order."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from test_clocks import episodes

from lda_notes import pipeline
from lda_notes.documents.handoff import page as sheets
from lda_notes.documents.handoff.values import values
from lda_notes.documents.handoff.view import URGENCIES, View
from lda_notes.documents.render import render
from lda_notes.documents.wording import Wording
from lda_notes.documents.worksheet.page import sheet as worksheet
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import due
from lda_notes.line.states import State
from lda_notes.record.reading import read_bytes


def _comes_first(state: State) -> bool:
    """Tell whether something is in the line or it is on hold; what could not be read is named in its own place."""
    return bool(state.dwell or state.holds or any(danger.code != "D11" for danger in state.dangers))


@settings(max_examples=30, deadline=None)
@given(st.lists(episodes(), min_size=1, max_size=3), st.sampled_from(["text", "md", "html", "docx"]))
def test_every_episode_can_be_handed_over(made: list[tuple[dict[str, Any], Any]], form: str) -> None:
    asof = made[0][1]
    sources = []
    for data, _ in made:
        judged = pipeline.judge(read_bytes(json.dumps(data).encode(), "case.json", as_json=True), DEFAULT, asof)
        assert judged.timeline is not None
        sources.append(sheets.Source("case.json", judged.timeline, judged.findings, judged.record.unread_events))
    found = sheets.handoff(sources, DEFAULT, asof)
    assert render(sheets.sheet(found), form)  # type: ignore[arg-type]  # a parametrized word
    assert 1 <= len(found.patients) <= len(made) and bool(found.doubtful) >= (len(found.patients) < len(made))
    assert [row.patient for row in sheets.round_rows(found)] == list(found.here)
    # What is in a line comes first, then holds, then all others by how soon they are due.
    apart = [any(_comes_first(line.state) for line in who.lines) for who in found.here]
    assert apart == sorted(apart, reverse=True)
    listed = [URGENCIES.index(who.urgency) for who, first in zip(found.here, apart, strict=True) if not first]
    assert listed == sorted(listed)
    document = json.loads(json.dumps(values(found)))
    listed = [patient["record"] for patient in (*document["patients"], *document["left_the_facility"])]
    assert listed == [patient.record for patient in found.patients]
    for patient in found.patients:
        for action in patient.actions:
            assert action.owner and action.why and action.basis
            if action.by is not None:  # overdue may begin the day after: `interval_counting`
                assert action.by < asof if action.late else action.by + timedelta(days=2) > asof


@settings(max_examples=30, deadline=None)
@given(episodes(), st.sampled_from(["access", "de-access", "dressing change"]))
def test_every_episode_has_its_worksheet(made: tuple[dict[str, Any], Any], work: Any) -> None:
    data, asof = made
    timeline = pipeline.judge(read_bytes(json.dumps(data).encode(), "c.json", as_json=True), DEFAULT, asof).timeline
    assert timeline is not None
    view = View(timeline, DEFAULT, Wording(due.zone_of(timeline), asof), asof, asof)
    text = render(worksheet(view, work, "single"), "text", 200).decode()
    assert "Supplies to gather" in text
