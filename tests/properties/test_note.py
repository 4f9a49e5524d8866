"""What holds of the note of any valid record, whatever it says or leaves out."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings
from strategies import episodes, read

from lda_notes import pipeline
from lda_notes.documents.blocks import Sheet
from lda_notes.documents.note import page as note
from lda_notes.documents.note.corrections import standing
from lda_notes.documents.note.scene import SIGNED
from lda_notes.documents.render import render
from lda_notes.documents.trace import sentences
from lda_notes.knowledge.abbreviations import unsafe_forms
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.narrative import facts
from lda_notes.narrative.facts import leaves, plain
from lda_notes.narrative.narrator import narrator
from lda_notes.narrative.phrasing import typed

ASOF = datetime(2026, 5, 20, 9, tzinfo=UTC)
# Shrinking a whole record takes minutes; the case as found is small enough to read.
SLOW = settings(
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    deadline=None,
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def whole(episode: dict[str, Any]) -> tuple[Sheet, pipeline.Judged]:
    judged = pipeline.judge(read(episode), DEFAULT, ASOF)
    return note.sheet(judged, DEFAULT, note.Choice(every=True), narrator()), judged


def own_words(value: Any) -> list[str]:
    """Return every text of a record, longest first."""
    found: list[str] = []

    def collect(part: Any) -> None:
        if isinstance(part, str):
            found.append(part)
        for inner in part.values() if isinstance(part, dict) else part if isinstance(part, list | tuple) else ():
            collect(inner)

    collect(value)
    return sorted(set(found), key=len, reverse=True)


@SLOW
@given(episodes())
def test_every_valid_record_renders_in_every_text_format(episode: dict[str, Any]) -> None:
    sheet, _ = whole(episode)
    for form in ("text", "md", "html"):
        assert render(sheet, form).decode().strip()


@settings(SLOW, max_examples=25)
@given(episodes())
def test_every_valid_record_renders_as_docx(episode: dict[str, Any]) -> None:
    assert render(whole(episode)[0], "docx").startswith(b"PK")


def told(episode: dict[str, Any], path: tuple[str | int, ...]) -> list[dict[str, Any]]:
    """Return the episode, and with it what events added to the patient or the port, whichever the path leads to."""
    added = [event for event in episode["events"] if event["kind"] == f"{path[0]} facts"]
    return [episode, *({str(path[0]): event} for event in added)]


def stands(data: dict[str, Any], path: tuple[str | int, ...]) -> bool:
    """Tell whether there is a fact at a path."""
    value: Any = data
    try:
        for step in path:
            value = value[step]
    except (KeyError, IndexError, TypeError):
        return False
    return value is not None


@SLOW
@given(episodes())
def test_no_sentence_stands_without_a_recorded_fact(episode: dict[str, Any]) -> None:
    sheet, judged = whole(episode)
    assert judged.timeline is not None
    for sentence in sentences(sheet.blocks):
        assert sentence.facts, sentence
        assert sentence.text.strip()
        for path in sentence.facts:
            assert any(stands(one, path) for one in told(episode, path)), (sentence, path)


@SLOW
@given(episodes())
def test_no_event_is_lost_between_file_and_note(episode: dict[str, Any]) -> None:
    text = render(whole(episode)[0], "text", 1000).decode()
    for event in episode["events"]:
        assert re.search(rf"entry {event['id']}\b", text), event


@SLOW
@given(episodes())
def test_no_recorded_fact_is_lost_between_event_and_sentences(episode: dict[str, Any]) -> None:
    sheet, judged = whole(episode)
    line = judged.timeline
    assert line is not None
    told = {path for sentence in sentences(sheet.blocks) for path in sentence.facts}
    withdrawn = {f.of for e in line.corrections if (f := e.event).kind == "retraction"}  # type: ignore[attr-defined]  # every kind has one
    for entry in line.entries:
        for path, value in leaves(plain(entry.event)):
            if path[0] not in SIGNED and entry.event.id not in withdrawn:
                assert standing(line, ("events", entry.index, *path)) in told, (path, value)


@SLOW
@given(episodes())
def test_what_the_tool_says_holds_no_unsafe_form(episode: dict[str, Any]) -> None:
    sheet, _ = whole(episode)
    texts = own_words(episode)
    for sentence in sentences(sheet.blocks):
        said = sentence.text
        for text in texts:
            if typed(text).startswith("["):  # brackets say that the words are hers
                said = said.replace(typed(text), "typed")
        for name in sorted(names(episode), key=len, reverse=True):
            said = said.replace(name, "Name")
        for text in texts:
            said = said.replace(f'"{text}"', '""')
        assert not unsafe_forms(said), sentence


def names(value: Any) -> list[str]:
    """Return names of people and identifiers, which are printed as they are."""
    found: list[str] = []

    def collect(part: Any, key: str = "") -> None:
        if isinstance(part, str) and key in ("name", "id", "credential") and any(map(str.isalpha, part)):
            found.append(part)
        if isinstance(part, dict):
            for inner_key, inner in part.items():
                collect(inner, inner_key)
        elif isinstance(part, list | tuple):
            for inner in part:
                collect(inner, key)

    collect(value)
    return sorted(set(found), key=len, reverse=True)


def test_the_vocabulary_itself_holds_no_unsafe_form() -> None:
    assert len(facts._vocabulary()) > 100
    for word in facts._vocabulary():
        assert not unsafe_forms(word), word
