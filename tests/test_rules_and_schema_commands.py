"""The commands that explain: the rules, and the layout of a record."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from jsonschema import Draft202012Validator

from lda_notes.check import rule_table
from lda_notes.check.among import AMONG
from lda_notes.check.rules.unreadable import READING
from lda_notes.cli import group
from lda_notes.files.syntax import read_yaml
from lda_notes.record.schema import record_schema

ROOT = Path(__file__).parents[1]
DEMOS = sorted((ROOT / "demo_episodes").glob("*.yaml"))
SCHEMA = record_schema()
VALIDATOR = Draft202012Validator(SCHEMA)


def run(*arguments: str) -> Result:
    return CliRunner().invoke(group, [*arguments])


# -- rules --


def test_the_list_names_every_rule_once() -> None:
    shown = re.findall(r"^  (unsafe|wrong|gap|advice) +([a-z0-9-]+)$", run("rules").stdout, re.M)
    names = [name for _, name in shown]
    assert sorted(names) == sorted([*rule_table.load(), *(row.name for row in READING), *(row.name for row in AMONG)])
    assert len(rule_table.load()) >= 70


def test_one_rule_is_explained_with_limit_and_source() -> None:
    said = run("rules", "late-entry-not-marked").stdout
    assert said.startswith("late-entry-not-marked (gap, authorship)\n\nCompares the time of entry")
    assert "(late_entry_hours)" in said
    assert "Source: AHIMA amendment toolkit, late entry [from memory" in said
    assert all(len(row) <= 80 for row in said.splitlines())


def test_limits_are_those_of_the_facility(tmp_path: Path) -> None:
    policy = tmp_path / "lda-policy.yaml"
    policy.write_text("source: {title: Ward policy, date: 2031-01-01}\nlimits: {late_entry_hours: 24}\n")
    said = run("rules", "late-entry-not-marked", "--policy", str(policy)).stdout
    assert "at most 24 hours" in " ".join(said.split())
    assert "Source: facility policy, Ward policy, 2031-01-01" in said


def test_an_unknown_rule_is_refused_with_the_nearest_name() -> None:
    result = run("rules", "late-entry-not-maked")
    assert result.exit_code == 2
    assert "No such rule: late-entry-not-maked. Did you mean late-entry-not-marked?" in result.stderr


def test_rules_as_json() -> None:
    data = json.loads(run("rules", "--format", "json").stdout)
    assert data["version"] == 1
    assert {tuple(row) for row in data["rules"]} == {
        ("rule", "family", "severity", "todo", "explanation", "limits", "sources")
    }
    one = json.loads(run("rules", "facts-not-recorded", "--format", "json").stdout)["rules"]
    assert [row["rule"] for row in one] == ["facts-not-recorded"]


def test_every_finding_of_the_reader_is_explained() -> None:
    sources = [
        *(ROOT / "lda_notes" / "files" / "syntax").glob("*.py"),
        *(ROOT / "lda_notes" / "record").glob("*.py"),
    ]
    code = "\n".join(path.read_text() for path in sources)
    named = {name for row in READING for name in [row.name] if f'"{name}"' in code}
    assert named >= {row.name for row in READING} - {"correction-target", "correction-unreadable"}
    used = set(re.findall(r'(?:Refusal|Finding|_wrong)\(\s*"([a-z]+(?:-[a-z]+)+)"', code))
    assert used and used <= {row.name for row in READING}


# -- schema --


def fields(value: Any, path: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    if isinstance(value, dict):
        for name, field in value.get("properties", {}).items():
            yield f"{path}.{name}", field
        for key, inner in value.items():
            yield from fields(inner, f"{path}.{key}")
    elif isinstance(value, list):
        for position, inner in enumerate(value):
            yield from fields(inner, f"{path}.{position}")


def test_the_schema_is_valid_and_printed() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    printed = json.loads(run("schema").stdout)
    assert printed == SCHEMA
    assert printed["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_every_field_has_a_title_and_a_description() -> None:
    found = list(fields(SCHEMA))
    assert len(found) > 250
    bare = [path for path, field in found if not field.get("title") or len(field.get("description", "")) < 4]
    assert bare == []
    assert not any("None" in field["description"] for _, field in found)


def plain(demo: Path) -> Any:
    data = read_yaml(demo.read_bytes()).data
    assert data is not None
    return json.loads(json.dumps(data))


GOOD = [demo for demo in DEMOS if demo.name != "deliberately-bad.yaml"]


@pytest.mark.parametrize("demo", GOOD, ids=lambda path: path.name)
def test_every_demo_fits_the_schema(demo: Path) -> None:
    assert [error.message[:200] for error in VALIDATOR.iter_errors(plain(demo))] == []


def broken(change: str) -> Any:
    data = copy.deepcopy(plain(ROOT / "demo_episodes" / "uncomplicated-week.yaml"))
    event = data["events"][0]
    match change:
        case "unknown key":
            event["bood_return"] = "present"
        case "unknown word":
            event["blood_return"] = "plenty"
        case "unknown kind":
            event["kind"] = "acces"
        case "time without offset":
            event["at"] = "2026-05-04T16:20"
        case "number out of range":
            event["needle"]["gauge"] = 200
        case "not a number":
            event["needle"]["length_mm"] = "long"
        case "missing key":
            del event["at"]
        case "no events":
            del data["events"]
        case "three septa":
            data["port"]["septa"] = ["a", "b", "c"]
        case _:
            raise AssertionError(change)
    return data


@pytest.mark.parametrize(
    "change",
    [
        "unknown key",
        "unknown word",
        "unknown kind",
        "time without offset",
        "number out of range",
        "not a number",
        "missing key",
        "no events",
        "three septa",
    ],
)
def test_a_broken_record_does_not_fit(change: str) -> None:
    assert list(VALIDATOR.iter_errors(broken(change)))


def test_yes_and_no_fit_as_words_and_as_booleans() -> None:
    data = plain(ROOT / "demo_episodes" / "uncomplicated-week.yaml")
    data["events"][0]["allergies_checked"] = True
    data["events"][0]["extension_primed"] = "no"
    assert list(VALIDATOR.iter_errors(data)) == []
    data["events"][0]["extension_primed"] = "maybe"
    assert list(VALIDATOR.iter_errors(data))


def test_the_readme_counts_the_rules_by_group() -> None:
    from lda_notes.check.rules.listed import counted, listed
    from lda_notes.knowledge.policy import DEFAULT

    rows = listed(DEFAULT)
    readme = (Path(__file__).parents[1] / "README.md").read_text()
    assert f"{len(rows)} rules: {counted(rows)}." in readme
