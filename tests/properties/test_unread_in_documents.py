"""Misspell any one word, number or time of a demo, mis-indent or delete any one key: nothing is lost in silence.

What was written and cannot be read is named, with its text, by every document; none says that it was not recorded,
and none says more than before. What was deleted is not recorded. Over every demo, each value and each key once.
"""

from __future__ import annotations

import json
import pickle
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path as FilePath
from typing import Annotated, Any, Final, Literal, get_args, get_origin

import pytest

from lda_notes.documents.blocks import Alert, Block, Sheet
from lda_notes.documents.handoff.page import handoff, left_sheet
from lda_notes.documents.handoff.page import sheet as handoff_sheet
from lda_notes.documents.handoff.sources import Source
from lda_notes.documents.handoff.view import View
from lda_notes.documents.note import page as note
from lda_notes.documents.render import render
from lda_notes.documents.wording import Wording
from lda_notes.documents.worksheet.page import sheet as worksheet
from lda_notes.files.syntax import read_yaml
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import due
from lda_notes.line.timeline import build
from lda_notes.narrative.narrator import narrator
from lda_notes.narrative.sentences import Paragraph
from lda_notes.pipeline import judge
from lda_notes.problems import Path
from lda_notes.record.reading import Record, read_bytes
from lda_notes.record.salvage import layout
from lda_notes.record.unread import SAID

DEMOS: Final = sorted((FilePath(__file__).parents[2] / "demo_episodes").glob("*.yaml"))
LEAST_CASES: Final = 2000
DENIALS: Final = ("not recorded", "none known", "no known allergies", "nothing out of the ordinary", "nothing found")


def takes_any_text(annotation: Any) -> bool:
    """Tell whether a fact declared so takes free text."""
    if annotation is str or annotation is Any:
        return True
    if get_origin(annotation) is Literal or isinstance(annotation, type):
        return False
    return any(
        takes_any_text(part) for part in get_args(annotation)[: 1 if get_origin(annotation) is Annotated else None]
    )


def closed(data: Any, path: Path) -> bool:
    """Tell whether only certain words, numbers or times may stand at ``path``."""
    named = path if isinstance(path[-1], str) else path[:-1]
    info = layout(data, named)[-1].get(str(named[-1]))
    return info is not None and not takes_any_text(info.annotation)


_HELD: Final = re.compile("on hold|could not be read|^Reported as next due")
"""A line is held for what could not be read: the sentences that say so are what is to be told, not more than that.

What the author reported as due next is charted, and printed where nothing computed says it already.
"""


@dataclass(frozen=True)
class Told:
    """The documents of one record as text in one row each, and the sentences of its notes."""

    note: str
    handoff: str
    worksheet: str
    sentences: str


def leaves(data: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    if isinstance(data, dict):
        for key, value in data.items():
            yield from leaves(value, (*path, key))
    elif isinstance(data, list):
        for position, value in enumerate(data):
            yield from leaves(value, (*path, position))
    else:
        yield path, data


def keys(data: Any, path: Path = ()) -> Iterator[Path]:
    if isinstance(data, dict):
        for key, value in data.items():
            yield (*path, key)
            yield from keys(value, (*path, key))
    elif isinstance(data, list):
        for position, value in enumerate(data):
            yield from keys(value, (*path, position))


def around(data: Any, path: Path) -> Any:
    for step in path[:-1]:
        data = data[step]
    return data


def read(data: Any) -> Record:
    return read_bytes(json.dumps(data).encode(), "case.json", as_json=True)


def told(record: Record, asof: datetime) -> Told:
    judged = judge(record, DEFAULT, asof)
    timeline = judged.timeline
    assert timeline is not None
    written = note.sheet(judged, DEFAULT, note.Choice(every=True), narrator(None))
    began = timeline.entries[0].event.at
    source = Source("case", timeline, judged.findings, record.unread_events, began, record.unread_facts)
    words = Wording(due.zone_of(timeline), asof, timeline.unread)
    view = View(timeline, DEFAULT, words, asof - timedelta(days=400), asof + timedelta(hours=12))
    found = handoff([source], DEFAULT, asof)
    sheets = (
        written,
        handoff_sheet(found) if found.here else left_sheet(found),
        worksheet(view, "access", timeline.episode.port.septa[0]),
    )
    return Told(*(" ".join(text(sheet).split()) for sheet in sheets), narrative(written))


def text(sheet: Sheet) -> str:
    return render(sheet, "text", 400).decode()


def narrative(sheet: Sheet) -> str:
    def said(blocks: tuple[Block, ...]) -> Iterator[str]:
        for block in blocks:
            if isinstance(block, Paragraph):
                yield from (sentence.text for sentence in block.sentences if not _HELD.search(sentence.text))
            elif not isinstance(block, Alert) and hasattr(block, "blocks"):
                yield from said(block.blocks)

    return " ".join(said(sheet.blocks))


def tokens(words: str) -> set[str]:
    return {token.strip(".:-") for token in re.findall(r"[\w.%/:-]+", words.lower())}


def last_moment(record: Record) -> datetime:
    assert record.episode is not None
    return max(event.at for event in record.episode.events) + timedelta(hours=1)


_OTHERWISE: Final = re.compile(
    "facts? (is|are) not recorded|"
    "(not recorded: - )?the line is cleared for use, and which hold that ends is not recorded"
)
"""A count of what is listed, and what the check asks once a line is on hold for an unread fact: true of other facts."""


def denials(said: Told) -> dict[tuple[str, str], int]:
    """Return how often each document says that something is not recorded or not there."""
    return {
        (name, words): _OTHERWISE.sub("", whole.lower()).count(words)
        for name, whole in (("note", said.note), ("handoff", said.handoff), ("worksheet", said.worksheet))
        for words in DENIALS
    }


def check_named(record: Record, before: Told, asof: datetime, what: str) -> None:
    """Assert that every document names every unread fact, denies nothing more and states nothing more."""
    after = told(record, asof)
    for fact in record.unread_facts:
        assert record.findings, what
        for document, whole in (("note", after.note), ("handoff", after.handoff), ("worksheet", after.worksheet)):
            said = " ".join(fact.text.split())
            assert SAID.lower() in whole.lower() and (said in whole or fact.label in whole), (
                f"{what}: {document} does not name {fact}"
            )
    for unread in record.unread_events:
        assert unread.id is None or unread.id in after.handoff, f"{what}: handoff does not name {unread}"
    then = denials(before)
    for where, found in denials(after).items():
        assert found <= then[where], f"{what}: {where} {found}"
    if not record.unread_events:  # of an event that cannot be placed, what was worked out from it changes
        more = tokens(after.sentences) - tokens(before.sentences)
        assert not {word for word in more if len(word) > 1 and not word.isdigit()}, f"{what}: says more, {more}"


EVERY: Final = 120
"""Documents are made of every so many of the cases; all of them are read."""


def cases(demo: FilePath) -> Iterator[tuple[str, Any, Path, str]]:
    """Yield a name, the changed data, the place of the change and the wrong text: each closed value once."""
    data = read_yaml(demo.read_bytes()).data
    whole = pickle.dumps(data)  # many times as fast as a deep copy
    for path, value in leaves(data):
        if closed(data, path):
            case = pickle.loads(whole)
            wrong = "yess" if isinstance(value, bool) else f"{value}zq"
            around(case, path)[path[-1]] = wrong
            yield f"{demo.stem} {path} {wrong}", case, path, wrong


def check_read(record: Record, case: Any, path: Path, wrong: str, what: str) -> bool:
    """Assert that the record names the wrong text and keeps all else; return whether documents can be made of it."""
    assert record.findings, what
    if record.episode is None:
        assert path[0] != "events", what
        return False  # who the patient is, or which port, is not known at all: the finding names the place
    assert any(wrong in fact.text for fact in record.unread_facts), what
    assert len(record.episode.events) + len(record.unread_events) == len(case["events"]), what
    assert len(record.unread_events) <= 1, what
    return True


def test_a_misspelt_value_is_named_and_nothing_else_is_lost() -> None:
    count = 0
    for demo in DEMOS:
        whole = read(read_yaml(demo.read_bytes()).data)
        asof = last_moment(whole)
        before = told(whole, asof)
        for what, case, path, wrong in cases(demo):
            record = read(case)
            count += 1
            if check_read(record, case, path, wrong, what) and count % EVERY == 0:
                check_named(record, before, asof, what)
    assert count >= LEAST_CASES


@pytest.mark.parametrize("planted", ["lost when read", "kept from the documents", "a neighbor goes too"])
def test_the_property_fails_where_what_was_not_read_is_dropped(planted: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Planted faults, on a word of the allergies: the property is seen to fail on each."""
    data = read_yaml((DEMOS[0].parent / "no-blood-return.yaml").read_bytes()).data
    asof = last_moment(read(data))
    before = told(read(data), asof)
    path: Path = ("patient", "allergies", 0, "substance")
    data["patient"]["allergies"][0]["substance"] = "latexzq"

    def holds() -> None:
        record = read(data)
        if planted == "a neighbor goes too":
            assert record.episode is not None
            record.episode = record.episode.model_copy(update={"events": record.episode.events[1:]})
        assert check_read(record, data, path, "latexzq", planted)
        check_named(record, before, asof, planted)

    if planted == "lost when read":
        holds()
        monkeypatch.setattr("lda_notes.record.salvage.lost", lambda *_: ())
    elif planted == "kept from the documents":
        monkeypatch.setattr("lda_notes.line.timeline.build", lambda *given: build(*given[:3]))
    with pytest.raises(AssertionError):
        holds()


def test_a_deleted_key_is_not_recorded_and_nothing_is_called_unread_but_what_it_held_together() -> None:
    count = 0
    for demo in DEMOS:
        data = read_yaml(demo.read_bytes()).data
        whole = pickle.dumps(data)
        for path in keys(data):
            case = pickle.loads(whole)
            del around(case, path)[path[-1]]
            record = read(case)
            count += 1
            what = f"{demo.stem} without {path}"
            assert record.findings or not record.unread_facts, what
            for fact in record.unread_facts:  # a part cannot be read without the fact that it cannot be without
                assert fact.path == path[: len(fact.path)], what
    assert count >= LEAST_CASES


def test_a_row_with_another_indentation_is_named() -> None:
    """Of YAML in rows: one step further in or out either is a fault of syntax, which names its row, or is unread."""
    count = 0
    for demo in DEMOS:
        rows = demo.read_text().splitlines(keepends=True)
        whole = read_bytes("".join(rows).encode(), "case.yaml")
        for number in range(5, len(rows), 9):
            for step in (-2, 2):
                row = rows[number]
                if not re.match(r" +[a-z_]+:", row) or (step < 0 and not row.startswith("   ")):
                    continue
                moved = row[-step:] if step < 0 else " " * step + row
                record = read_bytes("".join([*rows[:number], moved, *rows[number + 1 :]]).encode(), "case.yaml")
                count += 1
                key = row.split(":")[0].strip()
                what = f"{demo.stem}:{number + 1} {step} {row.strip()[:60]}"
                if record.episode is None:
                    assert record.findings, what
                elif not record.unread_facts and not record.unread_events:
                    assert record.findings or record.episode != whole.episode, what
                    assert key in ("room", "detail", "label") or not record.findings, what
    assert count > 100
