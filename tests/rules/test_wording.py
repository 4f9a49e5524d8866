"""The detector of error-prone forms: what it leaves alone, and that it reads every free text of a record."""

from __future__ import annotations

import json
import re
from decimal import Decimal
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel
from rule_cases import case_paths, complete, episode_of, read_case
from scenes import access, event

from lda_notes.check import free_text
from lda_notes.knowledge import abbreviations as table
from lda_notes.knowledge.abbreviations import unsafe_forms
from lda_notes.knowledge.limits import Limit
from lda_notes.knowledge.policy import DEFAULT, quantity, value_text
from lda_notes.line import timeline
from lda_notes.record.events import KINDS
from lda_notes.record.parts import Person

DEMOS = sorted((Path(__file__).parents[2] / "demo_episodes").glob("*.yaml"))


@pytest.mark.parametrize(
    "text",
    [
        "at 10:40 on 2031-03-04",
        "on 3/4/2031, again on 5/4",
        "left IN PLACE, IN ROOM 4",
        "lot LB-MS-12, QD-104, NS-7, U-shaped tubing",
        "version 1.0.3, lot 55.0",
        "20 gauge, 19 mm, 1.0 in, 22.0 mm, 9.0 French",
        "weight 68.50 kg",
        "10 mL. The needle came out whole",
        "10 mL per hour, 100 units per mL, 2 mg/2 mL",
        "Ms Tamm, Columbia, SC",
        "Undine was nauseous; usual quad dose",
        "oedema 2+, pain at 90°",
        "nurse@lantern-bay.example",
        "RN, MD, ED, ICU, PICC, CT",
        "1,000 units",
        "hsu, months, paths, schs",
        "0.9% sodium chloride, 0.5 mg",
    ],
)
def test_ordinary_text_is_left_alone(text: str) -> None:
    assert unsafe_forms(text) == []


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("100iu/ml", ["iu", "ml"]),
        ("heparin 100u/ml, 5.0 mL, NS", ["u", "ml", "5.0", "NS"]),
        ("D/C'd at 9, dc'd, d/c", ["D/C'd", "dc'd", "d/c"]),
        ("LIJ or RIJ", ["LIJ", "RIJ"]),
        ("1.50 mg, 0.0 mL, 3,000.0 units", ["1.50", "0.0", "3,000.0"]),
        ("q7d, q 4°, qn", ["q7d", "q 4°", "qn"]),
        ("10mls", ["10mls"]),
        ("(QD)", ["QD"]),
        ("a\nQD\nb", ["QD"]),
    ],
)
def test_forms_are_told_once_in_order(text: str, found: list[str]) -> None:
    assert [form.found for form in unsafe_forms(text)] == found


@given(st.text(alphabet="0123456789.,/ QqDdOoUuIMSNShsmlgcunits><@&+\n'", max_size=60))
def test_any_text_is_read_and_what_is_found_stands_in_it(text: str) -> None:
    position = 0
    for form in unsafe_forms(text):
        position = text.index(form.found, position)
        assert form.found == form.found.strip() != "" and form.instead


@given(
    st.decimals(min_value=0, max_value=1_000_000, places=4),
    st.sampled_from(["mL", "mg", "units", "g", "mL per second"]),
)
def test_quantities_as_the_program_prints_them_are_safe(value: Decimal, unit: str) -> None:
    assert unsafe_forms(f"expected {quantity(value, unit)} or more") == []


def test_limits_as_the_program_prints_them_are_safe() -> None:
    texts = [f"{row.says} {value_text(row)}" for row in DEFAULT.rows.values()]
    assert sum(isinstance(row, Limit) for row in DEFAULT.rows.values()) > 100
    assert [(text, forms) for text in texts if (forms := unsafe_forms(text))] == []


ONE_OF_EACH = (
    "5 IU, IU; 5 U, U/mL; q.o.d., qd, 1.0 mg, .5 mg, MgSO4, MSO4, MS, a > b @ 9, 5 cc, 5 µg, 5 ug, 5 gr, q6PM, q1d, "
    "q7d, q4°, qhs, OD, o.d., HS, hs, BT, D/C, d/c, given SC, sub q, IJ, 5 mg IN, NS, a & b, a + b, 5 mg/5 mg, "
    "10000 units, 5mg, 5 ml, /ml, 5 l, 5 mL. then"
)


def test_every_row_of_the_tables_can_be_found() -> None:
    rows = {(row.instead, row.source) for row in table._ROWS}
    assert rows == {(form.instead, form.source) for form in unsafe_forms(ONE_OF_EACH)}
    assert len(unsafe_forms(ONE_OF_EACH)) >= len(table._ROWS)


# -- every free text is read --

NO_WORDS = {
    # Text that names entries, places and supplies' labels; or that is compared by other rules.
    *("id", "lot", "udi", "order", "septum", "to_unit", "to_room", "room", "drug_lot", "skin", "ends"),
    *("of", "follows_removal", "treatment", "second_dose_of"),
}


def texts_of(model: type[BaseModel], found: dict[type[BaseModel], set[str]]) -> None:
    """Gather, for ``model`` and every part inside it, the keys of texts in somebody's own words."""
    keys = found.setdefault(model, set())
    for key, field in model.model_fields.items():
        inside = parts_of(field.annotation)
        if str in inside and key not in NO_WORDS and key not in ("adds", "sets"):
            keys.add(key)
        for part in inside:
            if isinstance(part, type) and issubclass(part, BaseModel) and part not in (*found, Person):
                texts_of(part, found)


def parts_of(annotation: Any) -> list[Any]:
    inner = get_args(annotation)
    return [annotation] if not inner else [part for item in inner for part in parts_of(item)]


def test_the_reader_knows_every_key_under_which_an_event_holds_text() -> None:
    found: dict[type[BaseModel], set[str]] = {}
    for kind in KINDS.values():
        texts_of(kind, found)
    assert len(found) > len(KINDS) + 15
    for model, keys in found.items():
        assert {key for key, is_text in free_text._keys(model) if is_text} == keys, model


def test_the_reader_opens_every_part_that_holds_text() -> None:
    found: dict[type[BaseModel], set[str]] = {}
    for kind in KINDS.values():
        texts_of(kind, found)
    holding = {model for model in found if free_text._keys(model)}
    opened = {
        (model, key)
        for model in found
        for key, field in model.model_fields.items()
        if holding & {part for part in parts_of(field.annotation) if isinstance(part, type)}
    }
    assert len(opened) > 50
    assert all(key in dict(free_text._keys(model)) for model, key in opened)


def dumped(event: BaseModel) -> Any:
    return json.loads(event.model_dump_json(exclude_unset=True, exclude={"adds", "sets"}))


OWN_WORDS = {"about", "action", "cover", "finding", "reason", "remarks", "reply", "what", "not_assessed", "not_done"}


def everything_said(data: Any, key: str = "") -> list[str]:
    if isinstance(data, dict):
        return [text for name, value in data.items() for text in everything_said(value, name)]
    if isinstance(data, list):
        return [text for value in data for text in everything_said(value, key)]
    return [data] if isinstance(data, str) and key in OWN_WORDS else []


def _closed_words() -> set[str]:
    from typing import Literal, get_origin

    from lda_notes.record import vocabulary

    return {word for one in vars(vocabulary).values() if get_origin(one) is Literal for word in get_args(one)}


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.name)
def test_both_readers_find_every_text_of_a_demo(path: Path) -> None:
    from lda_notes.record import reading as record

    episode = record.read(path).episode
    assert episode is not None
    line = timeline.build(episode, DEFAULT, episode.events[-1].at)
    gathered: list[str] = [piece.text for piece in free_text._beside_events(line)]
    for entry in (*line.entries, *line.corrections):
        free_text._gather(entry.event, gathered)
    placed = [piece.text for piece in free_text.pieces(line, (*line.entries, *line.corrections))]
    assert sorted(gathered) == sorted(placed) and len(placed) >= 5
    said = [
        text
        for entry in (*line.entries, *line.corrections)
        for text in everything_said(
            json.loads(entry.event.model_dump_json(exclude_unset=True, exclude={"adds", "sets"}))
        )
    ]
    own = set(said) - _closed_words()
    assert own and own <= set(placed)


def test_the_place_of_a_form_is_the_place_of_its_text() -> None:
    problem = {"what": "x", "action": "gave 2.0 mg", "told": {"name": "MS Starling"}, "reply": "QD"}
    episode = episode_of(
        access(site={"skin": {"not_assessed": "D/C'd before"}}, problems=[problem], samples=["MS level"]),
        event("addendum", 60, of="access-1", text="5.0 mL", adds={"remarks": "NS used"}),
        patient={"allergies": [{"to": "other", "detail": "MSO4"}]},
    )
    line = timeline.build(episode, DEFAULT, episode.events[-1].at)
    found = {
        (form.found, piece.entry.path(*piece.keys) if piece.entry else piece.keys)
        for piece, form in free_text.unsafe_wording(line, (*line.entries, *line.corrections))
    }
    assert found == {
        ("D/C'd", ("events", 0, "site", "skin", "not_assessed")),
        ("2.0", ("events", 0, "problems", 0, "action")),
        ("QD", ("events", 0, "problems", 0, "reply")),
        ("MS", ("events", 0, "samples", 0)),
        ("5.0", ("events", 1, "text")),
        ("NS", ("events", 1, "adds", "remarks")),
        ("MSO4", ("patient", "allergies", 0, "detail")),
    }


# -- what the check itself writes --

_QUOTED = re.compile(r'"[^"]*"')


def test_no_finding_of_a_case_is_written_in_error_prone_words_or_names_the_patient() -> None:
    patient = complete({"events": []})["patient"]
    names = (patient["family_name"], patient["given_name"])
    read = 0
    for path in case_paths():
        for finding in read_case(path).findings:
            read += 1
            said = f"{_QUOTED.sub('', finding.message)} {_QUOTED.sub('', finding.todo)}"
            assert unsafe_forms(said) == [], f"{path.name}: {said}"
            assert not finding.message.endswith("."), f"{path.name}: {finding.message}"
            for odd in ("  ", "None", "datetime"):
                assert odd not in finding.message, f"{path.name}: {finding.message}"
            assert not any(name in finding.message or name in finding.todo for name in names), path.name
    assert read > 300
