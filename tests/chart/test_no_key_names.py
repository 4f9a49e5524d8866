"""What is asked and said back in a talk is in words: no key of the record layout, such as problems.0.what."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from desk import BY, demo_until, episode, subject

from lda_notes.chart.correction import CorrectionForm
from lda_notes.chart.form import Basis, Form
from lda_notes.chart.new_record import RecordForm
from lda_notes.chart.talk import Talk
from lda_notes.chart.terminal import display
from lda_notes.chart.visit import VisitForm
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line.corrections import corrected
from lda_notes.record.events import KINDS

NOON = "2026-05-07T12:00-05:00"
MOMENT = datetime(2026, 5, 7, 12, 0, tzinfo=ZoneInfo("America/Chicago"))
KEY = re.compile(r"[a-z]+_[a-z_]+|\b[a-z]{2,}(?:_[a-z]+)*\.(?:\d+|[a-z_]{2,})\b")
"""A key with an underscore, or a dotted path; 0.9% and 20.5 mm are neither."""

TYPED = ("?", "", "zz", ".", "-", "- asleep", "99999999", "+", "+ lot", "+ what", "+ none such", "+ problems", "<", ">")
ANSWERS = (".", "a", "", "1", "y", "n", "9", "name, birth date", "2026-05-07 0940", "2026-05-01", "Chicago", "infusion")
MOST = 80


def every_row(talk: Talk) -> Iterator[str]:
    """Yield all that is shown while each question gets every sort of answer and is then left open or answered."""
    for _ in range(MOST):
        question = talk.question
        if question is None:
            return
        yield display.question_text(question)
        for text in TYPED:
            yield from (display.said_text(say) for say in talk.reply(text)[1])
        for text in (*ANSWERS, *(option.key for option in question.options[:1])):
            new, says = talk.reply(text)
            if new.doubt is not None:
                new, says = new.reply("y")
            if len(new.answered) > len(talk.answered):
                yield from (display.said_text(say) for say in says)
                talk = new
                break
        else:
            raise AssertionError(f"nothing answers: {question.asks}")


def subjects() -> Iterator[tuple[str, Form]]:
    raw = demo_until("check-6")
    for tag, kind in KINDS.items():
        if kind.command and tag != "patency check":  # it needs a treatment on record
            yield tag, subject(raw, tag, NOON)
    yield "visit", VisitForm(Basis(episode(raw), DEFAULT, lambda: MOMENT, BY))
    yield "new", RecordForm("stay", DEFAULT, lambda: MOMENT)
    standing, *_ = corrected(episode(raw))
    for kind in ("addendum", "amendment", "retraction", "co-signature"):
        yield kind, CorrectionForm(Basis(episode(raw), DEFAULT, lambda: MOMENT, BY), standing[-1], kind)  # type: ignore[arg-type]  # a stand-in of the test


@pytest.mark.parametrize(("name", "about"), list(subjects()), ids=[name for name, _ in subjects()])
def test_nothing_that_is_said_names_a_key(name: str, about: Form) -> None:
    rows = list(every_row(Talk(about)))
    assert len(rows) > 10
    assert [row for row in rows if KEY.search(re.sub(r"https?://\S+", "", row))] == []
