"""Seals: what was changed, removed or inserted after signing is named; what is whole, or was never sealed, is quiet."""

from __future__ import annotations

import json
from copy import deepcopy
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from lda_notes import pipeline
from lda_notes.cli import group
from lda_notes.fhir.build.bundle import bundles
from lda_notes.fhir.config import Config
from lda_notes.files.syntax import read_json, read_yaml
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.record import reading as records
from lda_notes.record import seals
from lda_notes.record.writer import Written, append, look

DEMO = Path(__file__).parents[2] / "demo_episodes" / "uncomplicated-week.yaml"
ASOF = datetime.fromisoformat("2026-06-01T12:00-05:00")
NAMES = [f"look-{number}" for number in range(4)]


def look_at(number: int) -> dict[str, Any]:
    return {
        "id": f"look-{number}", "kind": "line check", "at": f"2026-05-12T12:0{number}-05:00", "pain": 2,
        "connections_secure": True, "by": {"name": "Marisol Tamm", "credential": "RN"},
    }  # fmt: skip


@pytest.fixture(params=["yaml", "json"])
def record(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """The demo, unsealed, with four signed entries more."""
    path = tmp_path / f"ep.{request.param}"
    raw = DEMO.read_bytes()
    path.write_bytes(raw if request.param == "yaml" else json.dumps(read_yaml(raw).data, indent=1).encode())
    for number in range(len(NAMES)):
        assert isinstance(append(look(path), look_at(number)), Written)
    return path


def data_of(path: Path) -> Any:
    return (read_json if path.suffix == ".json" else read_yaml)(path.read_bytes()).data


def found(path: Path) -> list[tuple[str, str | None]]:
    judged = pipeline.judge_file(path, DEFAULT, ASOF)
    return [
        (f.rule.split("-")[1], f.event) for f in judged.findings if f.rule.endswith("-after-signing")
    ]  # fmt: skip


def changed(path: Path, change: Any) -> list[tuple[str, str | None]]:
    data = data_of(path)
    change(data)
    path = path.with_suffix(".json")
    path.write_text(json.dumps(data))
    return found(path)


def at(data: Any, name: str) -> Any:
    return next(one for one in data["events"] if one["id"] == name)


def test_a_record_as_it_was_signed_is_quiet(record: Path) -> None:
    assert found(record) == []
    data = data_of(record)
    assert [("seal" in event) for event in data["events"]] == [False] * (len(data["events"]) - 4) + [True] * 4
    assert at(data, "look-1")["seal"]["after"] == "look-0"
    assert changed(record, lambda data: None) == [], "the same data in another format"


def test_layout_comments_and_spelling_do_not_count(record: Path) -> None:
    text = record.read_text()
    if record.suffix == ".yaml":
        record.write_text("# a comment\n" + text.replace("connections_secure: yes", "connections_secure: 'yes'"))
    else:
        record.write_text(json.dumps(dict(reversed(json.loads(text).items()))))
    assert found(record) == []


@pytest.mark.parametrize("name", NAMES)
def test_a_changed_author_and_a_changed_time_are_named(record: Path, name: str) -> None:
    assert changed(record, lambda d: at(d, name)["by"].update(name="Tobias Quill")) == [("changed", name)]
    assert changed(record, lambda d: at(d, name).update(at="2026-05-12T11:00-05:00")) == [("changed", name)]
    assert changed(record, lambda d: at(d, name).pop("connections_secure")) == [("changed", name)]


@pytest.mark.parametrize("name", NAMES[:-1])
def test_a_removed_entry_is_named(record: Path, name: str) -> None:
    assert changed(record, lambda d: d["events"].remove(at(d, name))) == [("removed", f"look-{int(name[-1]) + 1}")]
    says = [f.message for f in pipeline.judge_file(record.with_suffix(".json"), DEFAULT, ASOF).findings]
    assert any(name in said and "is not in the record" in said for said in says)


def test_two_removed_entries_are_found(record: Path) -> None:
    """A retraction and what it withdrew."""
    assert changed(record, lambda d: [d["events"].remove(at(d, n)) for n in NAMES[:2]]) == [("removed", "look-2")]


@pytest.mark.parametrize("name", NAMES)
def test_an_inserted_entry_is_named(record: Path, name: str) -> None:
    def insert(data: Any) -> None:
        data["events"].insert(data["events"].index(at(data, name)), {**look_at(9), "at": "2026-05-12T11:59-05:00"})

    assert changed(record, insert) == [("inserted", "look-9")]


def test_moved_entries_are_found(record: Path) -> None:
    def swap(data: Any) -> None:
        events = data["events"]
        events[-2], events[-3] = events[-3], events[-2]

    assert changed(record, swap)


def test_patient_stay_and_port_are_under_the_first_seal(record: Path) -> None:
    assert changed(record, lambda d: d["patient"].update(family_name="Other")) == [("changed", "look-0")]
    assert changed(record, lambda d: d["port"].update(side="left")) == [("changed", "look-0")]
    assert changed(record, lambda d: d["stay"].update(unit="9 East")) == [("changed", "look-0")]


def test_unsealed_entries_before_the_first_seal_are_under_it(record: Path) -> None:
    assert changed(record, lambda d: d["events"][2].update(remarks="added later")) == [("changed", "look-0")]
    assert changed(record, lambda d: d["events"].pop(1)) == [("changed", "look-0")]


def test_an_entry_changed_and_sealed_again_is_found_by_the_next_seal(record: Path) -> None:
    def forge(data: Any) -> None:
        index = data["events"].index(at(data, "look-1"))
        until = {**data, "events": data["events"][:index]}
        data["events"][index] = seals.sealed(until, {**at(data, "look-1"), "pain": 0})

    assert changed(record, forge) == [("changed", "look-1")]


def test_what_a_record_alone_cannot_show_a_print_does(record: Path) -> None:
    """The page says so: a cut-off end, and a record sealed again as a whole."""
    printed = seals.last(data_of(record))
    assert printed is not None and printed.entry == "look-3"
    option = ["--seal", f"look-3:{printed.said()}"]
    base = ["check", "--format", "json", "--asof", ASOF.isoformat()]

    def rules(path: Path) -> set[str]:
        ran = CliRunner().invoke(group, [*base, str(path), *option])
        return {f["rule"] for file in json.loads(ran.stdout)["files"] for f in file["findings"]}

    assert not {seals.CHANGED, seals.REMOVED} & rules(record)
    assert changed(record, lambda d: d["events"].pop()) == []
    cut = record.with_suffix(".json")
    assert seals.REMOVED in rules(cut)

    def again(data: Any) -> None:
        data["events"][-1]["pain"] = 0
        made: Any = {**data, "events": []}
        for event in data["events"]:
            made["events"].append(seals.sealed(made, event) if "seal" in event else event)
        data.update(made)

    data = data_of(cut)
    for number in (3,):
        data["events"].append(seals.sealed(data, {**look_at(number), "pain": 1}))
    cut.write_text(json.dumps(data))
    assert found(cut) == [] and seals.CHANGED in rules(cut)
    assert changed(cut, again) == []


def test_the_second_moment_is_kept_when_it_differs(tmp_path: Path) -> None:
    path = tmp_path / "ep.yaml"
    path.write_bytes(DEMO.read_bytes())
    asof = "2026-05-12T13:00-05:00"
    arguments = ["amend", str(path), "access-1", "--as", "retraction", "--no-input", "--sign", "y", "--asof", asof]
    before = datetime.now(UTC) - timedelta(minutes=1)
    ran = CliRunner().invoke(group, [*arguments, "--by", "Marisol Tamm, RN", "--set", "reason=charted in error"])
    assert ran.exit_code == 0, ran.output
    event = records.read(path).episode.events[-1]  # type: ignore[union-attr]  # not None here
    assert event.charted_at is not None and before <= event.charted_at <= datetime.now(UTC)
    assert event.seal is not None and event.seal.asof == datetime.fromisoformat(asof)
    assert found(path) == []


def test_note_and_provenance_carry_the_digest_and_a_sheet_says_unsealed(record: Path) -> None:
    data = data_of(record)
    digest = at(data, "look-3")["seal"]["digest"]
    ran = CliRunner().invoke(group, ["note", str(record), "--last", "--width", "100", "--asof", ASOF.isoformat()])
    assert digest[:8] in ran.stdout and digest[-8:] in ran.stdout and "entry look-3" in ran.stdout
    ran = CliRunner().invoke(group, ["note", str(DEMO), "--last", "--asof", ASOF.isoformat()])
    assert "unsealed" in ran.stdout
    judged = pipeline.judge_file(record, DEFAULT, ASOF)
    assert judged.timeline is not None
    made = json.dumps([one.bundle for one in bundles(judged.timeline, DEFAULT, Config())], default=str)
    assert made.count(digest) == 1 and made.count("entry-seal") == 4


def test_broken_seals_never_raise(record: Path) -> None:
    for bad in (None, 3, "x", [], {}, {"version": "1"}, {"version": "1", "before": 1, "digest": 2}, {"version": "9"}):
        data = deepcopy(data_of(record))
        at(data, "look-1")["seal"] = bad
        assert list(seals.findings(data)) is not None
        path = record.with_name("bad.json")
        path.write_text(json.dumps(data))
        pipeline.judge_file(path, DEFAULT, ASOF)


def test_the_published_example_of_the_canonical_form() -> None:
    """RFC 8785, section 3.2.2 and 3.2.3: https://www.rfc-editor.org/rfc/rfc8785#section-3.2.2"""
    import rfc8785

    given = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/",
        "literals": [None, True, False],
    }
    expected = (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
    assert rfc8785.dumps(given) == expected.encode()
    # SHA-256 of "abc": FIPS 180-4, https://csrc.nist.gov/projects/cryptographic-standards-and-guidelines/example-values
    import hashlib

    assert hashlib.sha256(b"abc").hexdigest() == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert seals.digest({"a": True, "b": 2**60}) == hashlib.sha256(b'{"a":"yes","b":"1152921504606846976"}').hexdigest()
