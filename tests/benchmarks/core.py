"""Figures 5 to 7: rules, notes, the handoff as a document."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from unittest.mock import patch

from lda_notes.check import rule_table
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.line import timeline
from lda_notes.record import reading as record
from lda_notes.record.episode import Episode
from tests.benchmarks.episodes import ASOF, made
from tests.benchmarks.measure import HERE, Bench, Figure, python, seconds

DEMO = HERE / "demo_episodes" / "uncomplicated-week.yaml"


def figures(bench: Bench) -> Iterator[Figure]:
    """Measure them."""
    yield from _rules(bench)
    yield _note(bench)
    yield from _handoff(bench)


def _long(events: int) -> Episode:
    """A stay of so many events: a needle, its looks and its removal, week by week."""
    base = made(1).record
    access = next(e for e in base["events"] if e["kind"] == "access")
    look = next(e for e in base["events"] if e["kind"] == "line check")
    removal = next(e for e in base["events"] if e["kind"] == "de-access")
    at = datetime(2020, 1, 6, 8, tzinfo=UTC)
    made_events: list[dict[str, Any]] = []
    while len(made_events) < events:
        place = len(made_events) % 16
        event = dict(access if place == 0 else removal if place == 15 else look)
        at += timedelta(minutes=30 if place == 0 else 640)
        event |= {
            "id": f"e{len(made_events)}",
            "at": at.isoformat(),
            "charted_at": (at + timedelta(minutes=5)).isoformat(),
        }
        event.pop("next_due", None)
        if place == 0:
            event["antisepsis"] = {**event["antisepsis"], "started_at": (at - timedelta(minutes=6)).isoformat()}
        made_events.append(event)
    base["events"] = made_events
    base["stay"]["admitted_at"] = "2020-01-06T07:00+00:00"
    base["port"]["implanted_on"] = base["port"]["tip"]["on"] = "2019-05-05"
    return Episode.model_validate_json(json.dumps(base))


def _rules(bench: Bench) -> Iterator[Figure]:
    episode = record.read(DEMO).episode
    assert episode is not None
    raw = episode.model_dump_json(exclude_unset=True)
    asof = max(event.charted_at or event.at for event in episode.events)
    line = timeline.build(episode, DEFAULT, asof)
    assert rule_table.check(line, DEFAULT) == ()
    ratios = bench.paired(
        lambda: seconds(lambda: rule_table.check(line, DEFAULT), 60),
        lambda: seconds(lambda: Episode.model_validate_json(raw), 100),
    )
    yield Figure("5", f"all {len(rule_table.RULES)} rules / model_validate_json", 3.5, True, ratios)
    many, few = (timeline.build(_long(count), DEFAULT, ASOF) for count in (1000, 20))
    growth = bench.paired(
        lambda: seconds(lambda: rule_table.check(many, DEFAULT), 3),
        lambda: seconds(lambda: rule_table.check(few, DEFAULT), 60),
    )
    yield Figure("5", "rules over 1,000 events / over 20", 60, True, growth)


def _note(bench: Bench) -> Figure:
    from jinja2 import Environment

    from lda_notes import pipeline
    from lda_notes.documents.note import page as note
    from lda_notes.narrative import narrator
    from lda_notes.record.reading import Record

    class Open(Environment):
        """The program's templates without the sandbox around them."""

        code_generator_class = narrator.ClosedGrammar
        getitem = staticmethod(narrator._take)  # type: ignore[assignment]

    episode = record.read(DEMO).episode
    assert episode is not None
    judged = pipeline.judge(Record("record", episode), DEFAULT, ASOF)
    closed = narrator.Narrator()
    with patch.object(narrator, "_Closed", Open):
        unsandboxed = narrator.Narrator()

    def write(teller: narrator.Narrator) -> object:
        return note.sheet(judged, DEFAULT, note.Choice("access-1"), teller)

    assert write(closed) == write(unsandboxed)
    ratios = bench.paired(lambda: seconds(lambda: write(closed), 20), lambda: seconds(lambda: write(unsandboxed), 20))
    return Figure("6", "a note sandboxed and strict / unsandboxed", 1.5, True, ratios)


# -- figure 7 --


def ward_sheet(count: int) -> Any:
    """Return the handoff sheet of a ward."""
    sys.path.insert(0, str(HERE / "tests"))
    from made_records import episode as made_episode
    from made_records import unit_of_patients

    from lda_notes.documents.handoff.page import Source, handoff, sheet

    asof = datetime(2031, 3, 4, 13, tzinfo=UTC)
    sources = []
    for data in unit_of_patients(count, asof):
        line = timeline.build(made_episode(data), DEFAULT, asof)
        sources.append(Source("r", line, rule_table.check(line, DEFAULT), ()))
    return sheet(handoff(sources, DEFAULT, asof))


def _plain(sheet: Any) -> list[dict[str, Any]]:
    """The sheet's words as the peers take them: paragraphs, and rows of tables."""
    from lda_notes.documents import blocks as parts
    from lda_notes.documents.render import lines

    found: list[dict[str, Any]] = []

    def take(block: Any) -> None:
        match block:
            case parts.Together():
                for inner in block.blocks:
                    take(inner)
            case parts.Table():
                rows = [["\n".join(line.text for line in lines(cell)) for cell in row] for row in block.rows]
                found.append({"text": "", "rows": [list(block.columns), *rows]})
            case parts.Pairs():
                found.append({"text": "", "rows": [list(row) for row in block.rows]})
            case parts.Bullets():
                found.extend({"text": item, "rows": []} for item in block.items)
            case parts.Paragraph():
                words = " ".join(one.text for one in block.sentences)
                found.append({"text": f"{block.label} {words}".strip(), "rows": []})
            case parts.Heading() | parts.Alert():
                found.append({"text": block.text, "rows": []})
            case _:
                pass

    for block in sheet.blocks:
        take(block)
    return found


def with_docxtpl(plain: list[dict[str, Any]], template: Path) -> bytes:
    """Write the same words with docxtpl: one template, loops over blocks and rows."""
    from docxtpl import DocxTemplate

    document = DocxTemplate(str(template))
    document.render({"blocks": plain}, autoescape=True)
    out = io.BytesIO()
    document.save(out)
    return out.getvalue()


def make_template(path: Path) -> None:
    """Make the template of `with_docxtpl`."""
    from docx import Document

    document = Document()
    document.add_paragraph("{%p for block in blocks %}")
    document.add_paragraph("{%p if block.rows %}")
    table = document.add_table(rows=3, cols=3)
    table.rows[0].cells[0].text = "{%tr for row in block.rows %}"
    for cell, words in zip(
        table.rows[1].cells, ("{%tc for cell in row %}", "{{ cell }}", "{%tc endfor %}"), strict=True
    ):
        cell.text = words
    table.rows[2].cells[0].text = "{%tr endfor %}"
    document.add_paragraph("{%p else %}")
    document.add_paragraph("{{ block.text }}")
    document.add_paragraph("{%p endif %}")
    document.add_paragraph("{%p endfor %}")
    document.save(str(path))


def with_python_docx(plain: list[dict[str, Any]]) -> bytes:
    """Write the same words with python-docx, row by row."""
    from docx import Document

    document = Document()
    for block in plain:
        if block["rows"]:
            table = document.add_table(rows=0, cols=max(map(len, block["rows"])))
            for row in block["rows"]:
                table.add_row()
                for column, words in enumerate(row):
                    table.cell(len(table.rows) - 1, column).text = words
        else:
            document.add_paragraph(block["text"], style="Normal")
    out = io.BytesIO()
    document.save(out)
    return out.getvalue()


def _handoff(bench: Bench) -> Iterator[Figure]:
    from lda_notes.documents.render import render

    count = bench.size(1000)
    sheet = ward_sheet(count)
    plain = _plain(sheet)
    template = bench.folder / "handoff.docx"
    make_template(template)
    ours = lambda: seconds(lambda: render(sheet, "docx"))  # noqa: E731
    note = "the same words and cells, no pictures; the peer keeps no blocks together on a page"
    yield Figure(
        "7",
        f"docx handoff of {count} patients / docxtpl",
        0.5,
        True,
        bench.paired(ours, lambda: seconds(lambda: with_docxtpl(plain, template))),
        note=note,
    )
    small = max(count // 8, 10)
    part = ward_sheet(small)
    words = _plain(part)
    row_by_row = bench.paired(
        lambda: seconds(lambda: render(part, "docx")), lambda: seconds(lambda: with_python_docx(words))
    )
    note = f"on {small} patients, since the peer's time grows with the square of the document"
    yield Figure("7", "docx handoff / python-docx row by row", 0.05, True, row_by_row, note=note)
    yield _memory(count)


def _memory(count: int) -> Figure:
    def peak(patients: int) -> float:
        program = (
            "from tests.benchmarks.core import ward_sheet\nfrom lda_notes.documents.render import render\n"
            f"render(ward_sheet({patients}), 'docx')\n"
        )
        return python(program, tell=True).peak

    few, many = peak(max(count // 10, 5)), peak(count)
    note = f"{few:.0f} and {many:.0f} MiB, records and sheet included; one run each"
    return Figure("7", f"memory of {count} patients / a tenth", 4, True, (many / few,), note=note)
