"""The same facts in every format: everything that the JSON says stands in text, Markdown, HTML and docx."""

from __future__ import annotations

import json
import re
import zipfile
from collections.abc import Iterator
from html import unescape
from io import BytesIO
from typing import Any
from xml.etree import ElementTree

import pytest
from made_records import event, needle_event, policy, record, unit_of_patients
from ward import ASOF, handed

from lda_notes.documents.handoff.page import Handoff, sheet
from lda_notes.documents.handoff.values import values
from lda_notes.documents.render import render
from lda_notes.knowledge.abbreviations import unsafe_forms

FORMATS = ("text", "md", "html", "docx")
W = "{http://schemas.openxmlformats.org/wordprocessingml/2006/main}"
DESCRIBED = "{http://schemas.openxmlformats.org/drawingml/2006/wordprocessingDrawing}docPr"


def words(form: str, made: bytes) -> str:
    """Return every word of a rendered sheet, without spaces and marks of the format."""
    match form:
        case "docx":
            text = "".join(docx_words(made))
        case "html":
            page = made.decode()
            labels = " ".join(re.findall(r'aria-label="([^"]*)"', page))
            text = unescape(re.sub(r"<(?!br)[^>]*>", "", re.sub(r"<style>.*?</style>", "", page, flags=re.S)) + labels)
        case "md":
            text = re.sub(r"\\(.)", r"\1", made.decode()).replace("**", "").replace("&lt;", "<")
        case _:
            text = made.decode()
    return squeezed(text)


def docx_words(made: bytes) -> Iterator[str]:
    with zipfile.ZipFile(BytesIO(made)) as file:
        for name in file.namelist():
            if name.startswith("word/") and name.endswith(".xml"):
                for part in ElementTree.fromstring(file.read(name)).iter():
                    if part.tag == f"{W}t":
                        yield part.text or ""
                    if part.tag == DESCRIBED:
                        yield part.attrib["descr"]


def squeezed(text: str) -> str:
    return re.sub(r"\s", "", text).casefold()


NOT_SHOWN = {"record", "file", "clock", "limit", "number", "urgency", "status", "sort", "event", "septum"}
"""Keys for machines: names of things, which the sheet says in words."""


def said(found: Any, key: str = "") -> Iterator[str]:
    """Yield every statement of the JSON that a reader must find on the sheet."""
    match found:
        case dict():
            for name, value in found.items():
                if name == "not_recorded":  # a sheet lists the first of them and counts the rest
                    yield from value[:5]
                elif name not in NOT_SHOWN and name not in ("heparin_units_by_strength", "not_added"):
                    yield from said(value, name)
        case list():
            for item in found:
                yield from said(item, key)
        case str() if key not in ("at", "due", "from", "judged_from", "last_handoff", "shift_end") and (
            not key.endswith(("_ml", "_units", "_mg"))
        ):
            yield found
        case _:
            return


@pytest.fixture(scope="module")
def found() -> Handoff:
    limits = policy(needle_dwell_days=5, interval_counting="calendar day")
    arrived = record(
        event("arrival accessed", "2031-03-05 05:00", infusion="vesicant drug", blood_return="sluggish"),
        {"id": "lost", "kind": "flush"},
        number=77,
    )
    given = event(
        "line use", "2031-03-05 06:00", purpose="infusion", action="started", what="doxorubicin", vesicant=True
    )
    vesicant = record(needle_event("2031-03-04 09:00"), given, number=78)
    left = record(
        needle_event("2031-03-01 09:00"), event("discharge", "2031-03-04 09:00", destination="home"), number=79
    )
    return handed([*unit_of_patients(20, ASOF), arrived, vesicant, left], policy=limits, unreadable=["x.yaml: empty"])


@pytest.mark.parametrize("form", FORMATS)
def test_every_statement_of_the_json_stands_in_every_format(form: str, found: Handoff) -> None:
    made = words(form, render(sheet(found), form, 6000))  # type: ignore[arg-type]
    statements = list(said(values(found)))
    assert len(statements) > 1000
    missing = [s for s in dict.fromkeys(statements) if squeezed(s) not in made]
    assert missing == []


@pytest.mark.parametrize("form", FORMATS)
def test_one_statement_changed_is_missed(form: str, found: Handoff) -> None:
    """The search above can fail."""
    made = words(form, render(sheet(found), form, 6000))  # type: ignore[arg-type]
    assert squeezed("by 11 Mar 04:01") not in made
    assert squeezed("5 Mar 06:35, Marisol Tamm RN") in made


def test_narrow_text_holds_every_word_that_wide_text_holds(found: Handoff) -> None:
    """At 80 columns cells are wrapped, so the words are compared."""
    wide, narrow = (render(sheet(found), "text", width).decode() for width in (6000, 80))
    assert sorted(re.findall(r"\w+", wide)) == sorted(re.findall(r"\w+", narrow))
    assert max(map(len, narrow.splitlines())) <= 80


def test_no_format_holds_an_error_prone_abbreviation(found: Handoff) -> None:
    told = render(sheet(found), "text", 6000).decode()
    assert [hit for row in told.splitlines() for hit in unsafe_forms(row)] == []


def test_the_json_has_one_shape() -> None:
    """Every object of a list has the same keys, whatever happened to the patient."""

    def shapes(of: Any, path: str = "") -> Iterator[tuple[str, frozenset[str]]]:
        if isinstance(of, dict):
            yield path, frozenset(of)
            for name, value in of.items():
                yield from shapes(value, f"{path}.{name}")
        elif isinstance(of, list):
            for item in of:
                yield from shapes(item, f"{path}[]")

    document = json.loads(json.dumps(values(handed(unit_of_patients(20, ASOF)))))
    seen: dict[str, set[frozenset[str]]] = {}
    for path, keys in shapes(document):
        seen.setdefault(path, set()).add(keys)
    assert len(seen) > 10
    assert {path: keys for path, keys in seen.items() if len(keys) > 1} == {}
    assert document["version"] == 1
