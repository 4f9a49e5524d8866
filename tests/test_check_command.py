"""The check as a user meets it: what it prints where, how it ends, and what it does not load."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from lda_notes.check import report
from lda_notes.cli import group
from lda_notes.commands import check as check_command
from lda_notes.knowledge.sources import COMMON_PRACTICE
from lda_notes.problems import Finding, Place

ROOT = Path(__file__).parents[1]
DEMOS = ROOT / "demo_episodes"
ASOF = "2026-12-31T00:00-06:00"

RECORD: dict[str, Any] = {
    "record_version": 1,
    "id": "small",
    "patient": {
        "identifiers": [{"system": "https://case.example/record-number", "value": "CASE-77"}],
        "family_name": "Quellwater",
        "given_name": "Benedikta",
        "birth_date": "1970-02-03",
        "weight_kg": 70,
        "allergies": [],
    },
    "stay": {
        "facility": "Case Hospital (fictional)",
        "unit": "Ward Plover",
        "setting": "inpatient",
        "admitted_at": "2026-05-04T08:00-05:00",
        "time_zone": "America/Chicago",
    },
    "port": {
        "id": "port-1",
        "side": "right",
        "area": "chest",
        "power": {"rated": False},
        "tip": {"location": "cavoatrial junction"},
        "implanted_on": "2025-11-12",
    },
    "events": [],
}
LOOK: dict[str, Any] = {
    "id": "look-1",
    "kind": "line check",
    "at": "2026-05-04T10:00-05:00",
    "charted_at": "2026-05-04T10:05-05:00",
    "by": {"name": "Ines Corwin", "credential": "RN", "id": "CASE-N1"},
    "site": {
        "skin": "intact",
        "erythema": "none",
        "swelling": "none",
        "tenderness": "none",
        "drainage": "none",
        "port": "stable",
    },
}


def written(path: Path, *events: dict[str, Any], **parts: Any) -> Path:
    path.write_text(json.dumps({**RECORD, **parts, "events": list(events)}, indent=2))
    return path


def run(*arguments: str | Path, command: str = "check") -> Result:
    asof = ["--asof", ASOF] if command == "check" else []
    return CliRunner().invoke(group, [command, *asof, *map(str, arguments)])


@pytest.fixture
def clean(tmp_path: Path) -> Path:
    return written(tmp_path / "clean.json", LOOK)


@pytest.fixture
def unsigned(tmp_path: Path) -> Path:
    return written(tmp_path / "unsigned.json", {key: value for key, value in LOOK.items() if key != "by"})


# -- how it ends --


def test_a_clean_record_prints_nothing_and_ends_with_0(clean: Path) -> None:
    result = run(clean)
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr == "1 file, 1 event: nothing found.\n"


def test_advice_alone_ends_with_0(tmp_path: Path) -> None:
    result = run(written(tmp_path / "advice.json", {**LOOK, "charted_at": None}))
    assert result.exit_code == 0
    assert "advice  facts-recommended" in result.stdout
    assert result.stderr == "1 file, 1 event: 1 advice.\n"


def test_a_gap_ends_with_1(unsigned: Path) -> None:
    result = run(unsigned)
    assert result.exit_code == 1
    assert result.stderr == "1 file, 1 event: 1 gap.\n"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "empty-file"),
        ("[1, 2]", "not-a-mapping"),
        ("{", "json-syntax"),
        ('{"events": []}', "record-layout"),
    ],
)
def test_a_file_without_an_episode_ends_with_2(tmp_path: Path, content: str, said: str) -> None:
    (tmp_path / "broken.json").write_text(content)
    result = run(tmp_path / "broken.json")
    assert result.exit_code == 2
    assert f"  wrong  {said}\n" in result.stdout
    assert result.stderr.endswith("1 file could not be read.\n")


def test_a_missing_file_does_not_stop_the_others(tmp_path: Path, unsigned: Path) -> None:
    result = run(tmp_path / "absent.yaml", unsigned)
    assert result.exit_code == 2
    assert "facts-not-recorded" in result.stdout
    assert "absent.yaml: cannot be read" in result.stderr
    assert "Traceback" not in result.output


def test_every_fault_of_every_file_is_told_in_one_run(tmp_path: Path, unsigned: Path) -> None:
    written(tmp_path / "second.json", {**LOOK, "charted_at": "2026-05-04T09:00-05:00"}, {**LOOK, "site": None})
    result = run(tmp_path)
    assert [line.split("  ")[2] for line in result.stdout.splitlines() if line.startswith(str(tmp_path))] == [
        "episode-in-two-records",
        "charted-before-event",
        "repeated-event-identifier",
        "same-event-twice",
        "facts-not-recorded",
        "episode-in-two-records",
        "facts-not-recorded",
    ]
    assert result.stderr == "2 files, 3 events: 5 wrong, 2 gaps.\n"


def test_a_folder_without_records_is_said_to_be_so(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("not a record")
    result = run(tmp_path)
    assert result.exit_code == 2
    assert "contains no record; records end in .yaml, .yml, .json" in result.stderr


def test_a_file_named_twice_is_checked_once(unsigned: Path) -> None:
    assert run(unsigned, unsigned).stderr.startswith("1 file, ")


def test_no_file_is_a_usage_error() -> None:
    result = run()
    assert result.exit_code == 2
    assert "Missing argument 'FILE|DIR...'" in result.stderr


def test_an_event_that_cannot_be_read_is_named_and_the_rest_is_checked(tmp_path: Path) -> None:
    result = run(written(tmp_path / "part.json", {**LOOK, "at": "yesterday"}, {**LOOK, "id": "look-2", "by": None}))
    assert result.exit_code == 1
    assert "record-layout" in result.stdout and "facts-not-recorded" in result.stdout


# -- what it says --


def test_a_finding_in_text(unsigned: Path) -> None:
    assert run(unsigned).stdout == (
        f"{unsigned}:37:5  gap  facts-not-recorded\n"
        "    Not recorded for this line check: author.\n"
        "    Do: record it, or the reason it was not assessed or not done.\n"
        "    Source: 42 CFR 482.24(c), paragraph 1 [from memory, high confidence: to be\n"
        "        confirmed]\n"
        "    Source: CDC catheter guideline 2002, documentation, category II [as quoted\n"
        "        by a copy]\n"
        "    Source: INS Standards 2021, documentation in the health record [from memory,\n"
        "        high confidence: to be confirmed]\n"
        "\n"
    )


def test_a_second_spot_is_named(tmp_path: Path) -> None:
    result = run(written(tmp_path / "twice.json", LOOK, {**LOOK, "at": "2026-05-04T12:00-05:00"}))
    assert "    See 38:13: the first event of that name\n" in result.stdout


def test_rows_keep_to_the_width() -> None:
    rows = run(DEMOS / "deliberately-bad.yaml").stdout.splitlines()
    assert rows
    assert [row for row in rows if len(row) > 80 and row.startswith("    ")] == []


FINDING = Finding(
    "some-rule", "unsafe", "volume_ml is 4 mL", "Take U.S. units", (), (COMMON_PRACTICE,), place=Place("a", 1, 2)
)


def test_sentences_begin_large_but_names_of_the_record_stay_as_they_are() -> None:
    assert report.sentence("not recorded") == "Not recorded."
    assert report.sentence("de-access is late.") == "De-access is late."
    assert report.sentence("access-1 changes the kind") == "access-1 changes the kind."
    assert report.sentence("volume_ml holds text") == "volume_ml holds text."


def test_control_and_direction_marks_of_a_file_name_do_not_reach_the_terminal() -> None:
    assert report.visible("a\x1b[31m\u202eb\x00\r") == "a?[31m?b??"


def test_no_name_of_the_patient_is_printed(tmp_path: Path) -> None:
    result = run(written(tmp_path / "x.json", {**LOOK, "by": None, "at": "2026-05-03T10:00-05:00", "site": None}))
    assert result.stdout
    for private in ("Quellwater", "Benedikta", "CASE-77", "1970-02-03"):
        assert private not in result.output


def test_color_only_where_it_is_asked_for(monkeypatch: pytest.MonkeyPatch, unsigned: Path) -> None:
    assert "\x1b" not in run(unsigned).stdout

    class Screen:
        def isatty(self) -> bool:
            return True

    monkeypatch.setattr(check_command.sys, "stdout", Screen())
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    assert check_command._color() is True
    monkeypatch.setenv("NO_COLOR", "1")
    assert check_command._color() is False
    monkeypatch.setenv("NO_COLOR", "")
    assert check_command._color() is True
    monkeypatch.setenv("TERM", "dumb")
    assert check_command._color() is False


def test_color_marks_the_severity_alone() -> None:
    rows = list(report._block(FINDING, 80, color=True))
    assert rows[0] == "a:1:2  \x1b[1;31munsafe\x1b[0m  some-rule"
    assert not any("\x1b" in row for row in rows[1:])


# -- JSON --


def keys(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: keys(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [keys(value[0])] if value else []
    return type(value).__name__


def test_the_shape_of_json(tmp_path: Path) -> None:
    path = written(tmp_path / "twice.json", LOOK, {**LOOK, "at": "2026-05-04T12:00-05:00"}, {"kind": "line check"})
    result = run(path, tmp_path / "absent.json", "--format", "json")
    assert result.exit_code == 2
    data = json.loads(result.stdout)
    finding = next(found for found in data["files"][0]["findings"] if found["rule"] == "repeated-event-identifier")
    assert data["version"] == 1
    assert keys({**data, "files": None}) == {
        "version": "int",
        "asof": "str",
        "policy": "NoneType",
        "summary": {
            "unsafe": "int",
            "wrong": "int",
            "gap": "int",
            "advice": "int",
            "files": "int",
            "unreadable": "int",
        },
        "files": "NoneType",
    }
    assert keys({**data["files"][0], "findings": None}) == {
        "file": "str",
        "error": "NoneType",
        "readable": "bool",
        "events": "int",
        "unread": [{"position": "int", "id": "NoneType", "kind": "str"}],
        "findings": "NoneType",
    }
    assert keys(finding) == {
        "rule": "str",
        "severity": "str",
        "row": "int",
        "column": "int",
        "event": "str",
        "path": ["str"],
        "message": "str",
        "todo": "str",
        "sources": [dict.fromkeys(("source", "title", "edition", "address", "place", "mark", "text"), "str")],
        "related": [{"row": "int", "column": "int", "path": ["str"], "says": "str"}],
    }
    absent = data["files"][1]
    assert (absent["readable"], absent["findings"]) == (False, [])
    assert absent["error"].startswith(str(tmp_path / "absent.json"))
    assert data["summary"]["files"] == 2 and data["summary"]["unreadable"] == 1


def test_json_of_a_clean_record(clean: Path) -> None:
    result = run(clean, "--format", "json")
    assert result.exit_code == 0
    assert json.loads(result.stdout)["files"][0]["findings"] == []


def test_json_and_text_tell_the_same_findings() -> None:
    bad = DEMOS / "deliberately-bad.yaml"
    data = json.loads(run(bad, "--format", "json").stdout)
    told = re.findall(rf"^{re.escape(str(bad))}:(\d+):(\d+)  (\w+)  ([a-z0-9-]+)$", run(bad).stdout, re.M)
    assert told == [(str(f["row"]), str(f["column"]), f["severity"], f["rule"]) for f in data["files"][0]["findings"]]
    assert len({rule for *_, rule in told}) >= 15


@pytest.mark.parametrize("form", ["text", "json"])
def test_a_file_name_that_is_not_utf8(tmp_path: Path, form: str) -> None:
    odd = tmp_path / os.fsdecode(b"odd\xff.json")
    try:
        written(odd, {key: value for key, value in LOOK.items() if key != "by"})
    except OSError:
        pytest.skip("this file system takes only UTF-8 names")
    result = run(odd, "--format", form)
    assert result.exit_code == 1
    assert "facts-not-recorded" in result.stdout and "Traceback" not in result.output


# -- demos --


@pytest.mark.parametrize("demo", sorted(DEMOS.glob("*.yaml")), ids=lambda path: path.name)
def test_demos_are_clean_but_the_deliberately_bad_one(demo: Path) -> None:
    result = run(demo)
    if demo.name == "deliberately-bad.yaml":
        assert result.exit_code == 1
    else:
        assert (result.stdout, result.exit_code) == ("", 0)


# -- startup --

HEAVY = ("docx", "jinja2", "httpx", "fhir", "biip", "ruamel", "jsonschema", "lxml", "authlib")


@pytest.mark.parametrize("suffix", ["yaml", "json"])
def test_check_loads_nothing_heavy(clean: Path, suffix: str) -> None:
    path = clean if suffix == "json" else DEMOS / "uncomplicated-week.yaml"
    program = (
        "import sys\n"
        "from lda_notes.cli import group\n"
        "try:\n"
        f"    group.main(['check', '--asof', '{ASOF}', {str(path)!r}], standalone_mode=False)\n"
        "except SystemExit: pass\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules], 'pydantic' in sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[] True"


def test_the_program_ends_with_the_code_of_the_check(unsigned: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "lda_notes", "check", "--asof", ASOF, str(unsigned)], capture_output=True, text=True
    )
    assert done.returncode == 1
    assert done.stderr == "1 file, 1 event: 1 gap.\n"


def test_nobody_says_that_nothing_was_found_in_what_was_not_read(tmp_path: Path) -> None:
    done = CliRunner().invoke(group, ["check", str(tmp_path / "absent.yaml")])
    assert done.exit_code == 2
    assert done.stderr.endswith("1 file, 0 events: 1 file could not be read.\n")


def test_out_to_a_dash_is_standard_output(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    record = written(tmp_path / "look.json", LOOK)
    assert run(record, "--out", "-").stdout == run(record).stdout
    assert [one.name for one in tmp_path.iterdir()] == ["look.json"]
