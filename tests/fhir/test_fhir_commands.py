"""The commands bundle, verify and readback, from the outside."""

from __future__ import annotations

import json
import re
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any

import made_records
import pytest
from click.testing import CliRunner, Result
from fhir_demos import FOLDER, episode

from lda_notes.cli import group
from lda_notes.fhir.readback.differences import differences
from lda_notes.record import reading as record


def run(*arguments: str | Path, text: str | None = None) -> Result:
    from lda_notes.problems import Failure

    result = CliRunner().invoke(group, [str(one) for one in arguments], input=text)
    if isinstance(result.exception, Failure):
        result.exit_code = result.exception.code
        result.stderr_bytes = (result.stderr_bytes or b"") + f"{result.exception}\n".encode()
    elif result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def saved(folder: Path, data: dict[str, Any], name: str = "episode.json") -> Path:
    path = folder / name
    path.write_text(json.dumps(data))
    return path


def test_there_and_back_again_by_the_commands_alone(tmp_path: Path) -> None:
    bundles, again = tmp_path / "bundles.ndjson", tmp_path / "again.yaml"
    assert run("bundle", FOLDER / "corrected-entries.yaml", "--out", bundles).exit_code == 0
    assert run("verify", bundles).exit_code == 0
    assert run("readback", bundles, "--out", again).exit_code == 0
    found = record.read(again)
    assert not found.findings
    assert found.episode is not None
    assert differences(episode("corrected-entries"), found.episode) == ()


def test_files_are_private_and_one_bundle_each_in_a_folder(tmp_path: Path) -> None:
    result = run("bundle", FOLDER / "two-septa.yaml", "--no-note", "--out", tmp_path)
    assert result.exit_code == 0
    files = sorted(tmp_path.iterdir())
    assert files[0].name == "two-septa-001-access-medial.json"
    assert len(files) == len(episode("two-septa").events)
    assert {stat.S_IMODE(file.stat().st_mode) for file in files} == {0o600}
    assert run("verify", *files).exit_code == 0


def test_standard_output_is_ndjson_and_a_single_event_is_spread() -> None:
    rows = run("bundle", FOLDER / "two-septa.yaml", "--no-note").stdout.splitlines()
    assert [json.loads(row)["type"] for row in rows] == ["transaction"] * 9
    single = run("bundle", FOLDER / "two-septa.yaml", "--no-note", "--event", "removal-medial").stdout
    assert single.startswith('{\n  "resourceType": "Bundle"')


def test_bytes_are_the_same_in_two_runs() -> None:
    first, second = (run("bundle", FOLDER / "two-septa.yaml", "--docx").stdout for _ in range(2))
    assert first == second


def test_an_event_that_is_not_there_is_said() -> None:
    result = run("bundle", FOLDER / "two-septa.yaml", "--event", "nope")
    assert result.exit_code == 2
    assert "has no event nope" in result.stderr


def test_a_record_that_cannot_be_read_whole_gives_nothing(tmp_path: Path) -> None:
    data = made_records.record(made_records.needle_event("2031-03-04 09:40"))
    data["events"][0]["pain"] = 99
    out = tmp_path / "out.ndjson"
    result = run("bundle", saved(tmp_path, data), "--out", out)
    assert result.exit_code == 2
    assert "could not be read whole, so nothing was written" in result.stderr
    assert "pain" in result.stderr
    assert not out.exists()


def test_what_fhir_cannot_carry_is_a_fault_with_its_place_in_the_record(tmp_path: Path) -> None:
    data = made_records.record(made_records.needle_event("2031-03-04 09:40", reason="\u00a0"))
    path = tmp_path / "episode.json"
    path.write_text(json.dumps(data, indent=1, ensure_ascii=False))
    out = tmp_path / "out.ndjson"
    result = run("bundle", path, "--no-note", "--out", out)
    assert result.exit_code == 1
    assert "Nothing was written" in result.stderr
    place = re.search(rf"{re.escape(str(path))}:(\d+):", result.stderr)
    assert place is not None
    rows = path.read_text().splitlines()
    assert int(place[1]) == 1 + next(n for n, text in enumerate(rows) if '"events"' in text) + 1
    assert "reasonCode" in result.stderr
    assert not out.exists()


def test_context_is_asked_for_by_option_and_profiles_by_configuration(tmp_path: Path) -> None:
    assert '"Patient"' in run("bundle", FOLDER / "two-septa.yaml", "--no-note", "--with-context").stdout
    file = tmp_path / "fhir.yaml"
    file.write_text("profiles: [us-core 9.0.0]\n")
    claimed = run("bundle", FOLDER / "two-septa.yaml", "--config", file, "--no-note").stdout
    assert "us-core-procedure" in claimed


def test_the_configuration_is_taken_by_option_and_variable(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "fhir.yaml"
    file.write_text("systems: {identity: 'https://lantern-bay.example/ids'}\n")
    by_option = run("bundle", FOLDER / "two-septa.yaml", "--no-note", "--config", file).stdout
    assert "https://lantern-bay.example/ids" in by_option
    monkeypatch.setenv("LDA_NOTES_FHIR", str(file))
    assert run("bundle", FOLDER / "two-septa.yaml", "--no-note").stdout == by_option
    file.write_text("systems: {identity: nothing}\n")
    result = run("bundle", FOLDER / "two-septa.yaml", "--no-note")
    assert result.exit_code == 2
    assert f"{file}:1:" in result.stderr


def test_definitions_of_the_extensions_are_printed() -> None:
    made = json.loads(run("bundle", "--definitions").stdout)
    assert {one["resource"]["resourceType"] for one in made["entry"]} == {"StructureDefinition"}
    assert run("bundle").exit_code == 2


# -- verify --


@pytest.fixture
def bundle() -> dict[str, Any]:
    made: dict[str, Any] = json.loads(
        run("bundle", FOLDER / "two-septa.yaml", "--no-note", "--event", "access-medial").stdout
    )
    return made


def test_a_fault_is_told_with_entry_path_rule_and_value(tmp_path: Path, bundle: dict[str, Any]) -> None:
    at = next(n for n, one in enumerate(bundle["entry"]) if one["resource"]["resourceType"] == "Procedure")
    bundle["entry"][at]["resource"]["status"] = "done"
    result = run("verify", saved(tmp_path, bundle))
    assert result.exit_code == 1
    assert f"entry[{at}].resource.status" in result.stdout
    assert "Found: 'done'" in result.stdout
    told = json.loads(run("verify", saved(tmp_path, bundle), "--format", "json").stdout)
    (fault, *_) = told["files"][0]["faults"]
    assert told["version"] == 1
    assert (fault["entry"], fault["path"], fault["value"]) == (at, f"entry[{at}].resource.status", "'done'")


def test_verify_reads_ndjson_and_standard_input(tmp_path: Path, bundle: dict[str, Any]) -> None:
    good = json.dumps(bundle)
    bundle["entry"][0]["resource"]["status"] = "gone"
    path = tmp_path / "two.ndjson"
    path.write_text(f"{good}\n{json.dumps(bundle)}\n")
    result = run("verify", path)
    assert result.exit_code == 1
    rows = [json.loads(row) for row in result.stdout.splitlines()]
    assert [(row["row"], bool(row["faults"])) for row in rows] == [(1, False), (2, True)]
    assert run("verify", "-", text=good).exit_code == 0


def test_verify_judges_others_by_r4_alone_and_by_the_models(tmp_path: Path) -> None:
    plain = {
        "resourceType": "Bundle",
        "type": "collection",
        "entry": [{"resource": {"resourceType": "Observation", "status": "final", "code": {"text": "Heart rate"}}}],
    }
    assert run("verify", saved(tmp_path, plain)).exit_code == 1
    assert run("verify", "--r4-only", "--models", saved(tmp_path, plain)).exit_code == 0
    plain["entry"][0]["resource"]["R5"] = True
    assert "models-" in run("verify", "--r4-only", "--models", saved(tmp_path, plain)).stdout


@pytest.mark.parametrize("text", ["", "[]", "{", "no json", '{"resourceType": "Patient"}', "\x00", "[" * 5000])
def test_anything_else_is_a_fault_and_no_traceback(tmp_path: Path, text: str) -> None:
    path = tmp_path / "bundle.json"
    path.write_text(text)
    assert run("verify", path).exit_code == 1
    result = run("readback", path)
    assert result.exit_code == 2
    assert str(path) in result.stderr
    assert run("verify", tmp_path / "missing.json").exit_code == 2


# -- readback --


def test_readback_says_what_it_could_not_read(tmp_path: Path, bundle: dict[str, Any]) -> None:
    for entry in bundle["entry"]:
        if entry["resource"]["resourceType"] == "Observation" and "component" in entry["resource"]:
            entry["resource"]["component"][0]["code"] = {"text": "Warmth"}
    result = run("readback", saved(tmp_path, bundle))
    assert result.exit_code == 1
    assert "Warmth" in result.stderr
    assert "kind: access" in result.stdout


def test_several_episodes_need_a_folder_or_json(tmp_path: Path) -> None:
    heap = tmp_path / "heap.ndjson"
    run("bundle", FOLDER / "two-septa.yaml", FOLDER / "uncomplicated-week.yaml", "--no-note", "--out", heap)
    result = run("readback", heap)
    assert result.exit_code == 2
    assert "2 episodes" in result.stderr
    rows = run("readback", heap, "--format", "json").stdout.splitlines()
    assert [json.loads(row)["id"] for row in rows] == ["two-septa", "uncomplicated-week"]
    folder = tmp_path / "records"
    folder.mkdir()
    assert run("readback", heap, "--out", folder).exit_code == 0
    for name in ("two-septa", "uncomplicated-week"):
        read = record.read(folder / f"{name}.yaml").episode
        assert read is not None
        assert differences(episode(name), read) == ()


def test_bundles_of_another_configuration_are_said(tmp_path: Path, bundle: dict[str, Any]) -> None:
    file = tmp_path / "fhir.yaml"
    file.write_text("systems: {entry: 'https://other.example/entry'}\n")
    result = run("readback", saved(tmp_path, bundle), "--config", file)
    assert result.exit_code == 2
    assert "https://other.example/entry" in result.stderr


@pytest.mark.parametrize(
    "arguments, light",
    [
        (
            ["bundle", str(FOLDER / "two-septa.yaml"), "--no-note"],
            {"fhir", "docx", "jinja2", "httpx", "biip", "ruamel"},
        ),
        (["bundle", str(FOLDER / "two-septa.yaml")], {"fhir", "docx", "httpx", "biip", "ruamel"}),
        (["verify", "-"], {"fhir", "docx", "jinja2", "httpx", "yaml"}),
    ],
)
def test_nothing_heavy_is_loaded(arguments: list[str], light: set[str]) -> None:
    probe = (
        "import sys, atexit\n"
        "atexit.register(lambda: print(*sorted({n.partition('.')[0] for n in sys.modules}), file=sys.stderr))\n"
        "from lda_notes.cli import main\n"
        f"sys.argv = ['lda-notes', *{arguments!r}]\n"
        "main()\n"
    )
    done = subprocess.run([sys.executable, "-c", probe], input="{}", capture_output=True, text=True, check=False)
    loaded = set(done.stderr.split())
    assert "lda_notes" in loaded
    assert loaded & light == set()


def test_a_claimed_profile_that_is_not_judged_is_named_and_is_no_fault(tmp_path: Path) -> None:
    out = tmp_path / "bundles.json"
    assert run("bundle", FOLDER / "soiled-dressing.yaml", "--event", "access-1", "--out", out).exit_code == 0
    bundle = json.loads(out.read_text())
    procedure = next(e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == "Procedure")
    procedure["meta"] = {"profile": ["https://other.example/StructureDefinition/procedure"]}
    done = run("verify", saved(tmp_path, bundle))
    assert done.exit_code == 0
    assert "Not judged: the profile https://other.example/StructureDefinition/procedure" in done.stderr
    as_json = json.loads(run("verify", saved(tmp_path, bundle), "--format", "json").stdout)
    assert as_json["files"][0]["not_judged"] == ["https://other.example/StructureDefinition/procedure"]
    assert "Not judged" not in run("verify", out).stderr


def test_verify_prints_nothing_that_steers_a_terminal(tmp_path: Path) -> None:
    out = tmp_path / "bundles.json"
    assert run("bundle", FOLDER / "soiled-dressing.yaml", "--event", "access-1", "--out", out).exit_code == 0
    bundle = json.loads(out.read_text())
    procedure = next(e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == "Procedure")
    procedure["meta"] = {"profile": ["https://other.example/\x1b]0;x\x07"]}
    procedure["\x1b[31mred"] = "x"
    done = run("verify", saved(tmp_path, bundle))
    assert done.exit_code == 1
    assert "Not judged" in done.stderr
    assert not {"\x1b", "\x07"} & set(done.stdout + done.stderr)


def test_a_row_that_was_cut_off_is_named_by_its_own_number(tmp_path: Path) -> None:
    """Blank rows count, and the whole rows before it are not taken for one JSON."""
    file = tmp_path / "b.ndjson"
    run("bundle", FOLDER / "two-septa.yaml", "--no-note", "--out", file)
    first, second, third, *_ = file.read_text().splitlines()
    file.write_text(f"{first}\n\n{second}\n{third[:500]}")
    for command in ("readback", "send"):
        refused = run(command, file, *(("--outbox", tmp_path / "box") if command == "send" else ()))
        said = " ".join((refused.stdout + refused.stderr).split())
        assert f"{file}, row 4: " in said
        assert "Row 4, column " in said
    file.write_text(f"{first[:500]}\n{second}\n")
    assert f"{file}, row 1: cannot be read as a bundle: Row 1, column " in run("readback", file).stderr


def test_a_folder_that_does_not_exist_is_said_to_be_none(tmp_path: Path, bundle: dict[str, Any]) -> None:
    file = tmp_path / "one.json"
    file.write_text(json.dumps(bundle))
    out = tmp_path / "that" / "does" / "not" / "exist"
    refused = run("readback", file, "--out", out)
    assert refused.exit_code == 2
    assert refused.stderr == (f"{out}: the folder {out.parent} does not exist; create it, or give another name\n")
