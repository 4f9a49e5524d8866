"""The same facts in every format: all that the JSON says of the round is printed by each."""

from __future__ import annotations

import json
import re
import subprocess
import zipfile
from collections.abc import Iterator
from html import unescape
from io import BytesIO
from typing import Any
from xml.etree import ElementTree

import pytest
from made_records import FLUSH, HEPARIN, event, needle_event, policy, record, unit_of_patients
from ward import ASOF, handed, twelve

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
    return re.sub("[\\s\u2610\u25a0\u2068\u2069]|!! |\\[ \\]", "", text).casefold()


def said(found: Any) -> Iterator[str]:
    """Yield every statement of the JSON's round, which page one must print in every format."""
    for row in found["round"]:
        yield row["room"]
        for key in ("patient", "allergies", "in_the_port", "warnings", "runs"):
            yield from row[key]
        if row["changed"]:
            yield row["changed"]
        yield from (task["says"] for task in row["due"])


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
def test_every_statement_of_the_round_stands_in_every_format(form: str, found: Handoff) -> None:
    made = words(form, render(sheet(found), form, 6000))  # type: ignore[arg-type]  # a parametrized word
    statements = list(dict.fromkeys(said(values(found))))
    assert len(statements) > 80
    assert [s for s in statements if squeezed(s) not in made] == []


def test_page_one_of_the_pdf_has_every_fact_of_twelve_patients() -> None:
    few = handed(twelve())
    done = subprocess.run(
        ["pdftotext", "-raw", "-l", "1", "-", "-"], input=render(sheet(few), "pdf"), capture_output=True, check=True
    )
    page = squeezed(done.stdout.decode())
    statements = [s for s in dict.fromkeys(said(values(few))) if s.isascii()]  # other scripts: see the letters
    assert len(statements) > 50
    assert [s for s in statements if squeezed(s) not in page] == []
    assert "wang,xiaoming" in page and "khhn" in page


@pytest.mark.parametrize("form", FORMATS)
def test_one_statement_changed_is_missed(form: str, found: Handoff) -> None:
    """The search above can fail."""
    made = words(form, render(sheet(found), form, 6000))  # type: ignore[arg-type]  # a parametrized word
    assert squeezed("by 11 Mar 04:01") not in made
    assert squeezed("5 Mar 06:35, Marisol Tamm RN") in made


def test_what_page_one_used_to_hide_is_on_it() -> None:
    """A needle due now, a gauze due in the shift and a heparin danger: the list of two items and one fact hid one."""
    data = record(
        needle_event("2031-02-26 06:00", dressing={"type": "transparent"}),
        event("dressing change", "2031-03-03 18:00", dressing={"type": "gauze"}),
        event("flush", "2031-03-05 03:00", flushes=[FLUSH], lock=HEPARIN),
    )
    data["patient"]["history"] = ["heparin-induced thrombocytopenia"]
    (row,) = values(handed([data]))["round"]
    due = [task["says"] for task in row["due"]]
    assert any("needle change" in one for one in due) and any("dressing change" in one for one in due), due
    assert any("heparin" in one for one in row["warnings"]), row["warnings"]
    assert "Heparin-induced thrombocytopenia" in row["allergies"]


def test_narrow_text_holds_every_word_that_wide_text_holds(found: Handoff) -> None:
    """At 80 columns cells are wrapped, so the words are compared."""
    wide, narrow = (render(sheet(found), "text", width).decode() for width in (6000, 80))
    word = re.compile(r"[^\W_]+")  # lines to write on are as long as there is room
    assert sorted(word.findall(wide)) == sorted(word.findall(narrow))
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
    assert document["version"] == 2
