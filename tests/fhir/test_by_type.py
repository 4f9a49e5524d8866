"""``bundle --by-type``: what the transactions leave on a server, each resource once, with ids that references reach."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result
from fhir_demos import CONFIG, DEMOS, episode
from test_fhir_commands import run as command

from lda_notes.fhir.readback.differences import differences
from lda_notes.fhir.readback.reading import readback
from lda_notes.fhir.verify.verification import verify

Json = dict[str, Any]
HERE = Path(__file__).parents[2] / "demo_episodes"


def run(*arguments: str | Path) -> Result:
    return command("bundle", *arguments)


def rows(folder: Path) -> list[Json]:
    return [json.loads(row) for path in sorted(folder.iterdir()) for row in path.read_text().splitlines()]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every demo, by type."""
    to = tmp_path_factory.mktemp("bulk") / "by-type"
    done = run(HERE, "--by-type", to)
    assert done.exit_code == 0, done.stderr
    return to


@pytest.fixture(scope="module")
def transactions(tmp_path_factory: pytest.TempPathFactory) -> list[Json]:
    out = tmp_path_factory.mktemp("bulk") / "transactions.ndjson"
    assert run(HERE, "--with-context", "--out", out).exit_code == 0
    return [json.loads(row) for row in out.read_text().splitlines()]


def test_each_file_contains_its_type_alone_and_is_private(folder: Path) -> None:
    for path in folder.iterdir():
        assert {json.loads(row)["resourceType"] for row in path.read_text().splitlines()} == {path.stem}
        assert path.stat().st_mode & 0o777 == 0o600


def test_the_same_resources_as_the_transactions_each_once(folder: Path, transactions: list[Json]) -> None:
    sent = {(e["resource"]["resourceType"], e["fullUrl"][9:]) for one in transactions for e in one["entry"]}
    found = Counter((one["resourceType"], one["id"]) for one in rows(folder))
    assert set(found) == sent
    assert set(found.values()) == {1}
    assert len(sent) > 1_500


def _references(value: Any) -> list[str]:
    if isinstance(value, dict):
        own = [value["reference"]] if isinstance(value.get("reference"), str) else []
        return own + [one for held in value.values() for one in _references(held)]
    return [one for held in value for one in _references(held)] if isinstance(value, list) else []


def test_every_reference_leads_to_a_row(folder: Path) -> None:
    all_rows = rows(folder)
    known = {f"{one['resourceType']}/{one['id']}" for one in all_rows}
    named = {one for row in all_rows for one in _references(row) if not one.startswith("#")}
    assert named <= known
    assert len(named) > 1_000


def test_the_resources_are_sound_r4(folder: Path) -> None:
    entries = [
        {"fullUrl": f"https://a.example/{one['resourceType']}/{one['id']}", "resource": one} for one in rows(folder)
    ]
    assert verify({"resourceType": "Bundle", "type": "collection", "entry": entries}, house=False) == ()


def test_what_was_updated_is_as_the_last_transaction_left_it(folder: Path) -> None:
    """Of the demo whose entries were corrected: what was retracted is entered in error, and once."""
    text = (folder / "Observation.ndjson").read_text() + (folder / "Procedure.ndjson").read_text()
    assert '"status":"entered-in-error"' in text


@pytest.mark.parametrize("demo", DEMOS)
def test_the_record_comes_back_from_the_files(folder: Path, demo: str) -> None:
    page: Json = {"resourceType": "Bundle", "type": "collection", "entry": [{"resource": one} for one in rows(folder)]}
    expected = episode(demo)
    [back] = [one for one in readback([page], CONFIG).episodes if one.data["id"] == expected.id]
    assert back.remarks == ()
    assert back.episode is not None
    assert differences(expected, back.episode) == ()


def _as_rows(tmp_path: Path, names: list[str]) -> Path:
    path = tmp_path / "rows.ndjson"
    path.write_text("".join(episode(name).model_dump_json(exclude_unset=True, by_alias=True) + "\n" for name in names))
    return path


def _number(demo: str) -> tuple[str, str]:
    first = episode(demo).patient.identifiers[0]
    return first.system, first.value


def test_rows_in_order_of_the_record_number_are_taken_and_others_refused(tmp_path: Path) -> None:
    one, other = sorted(("two-septa", "soiled-dressing"), key=_number)
    assert _number(one) < _number(other)
    done = run(_as_rows(tmp_path, [one, other]), "--by-type", tmp_path / "a")
    assert done.exit_code == 0, done.stderr
    assert len((tmp_path / "a" / "Patient.ndjson").read_text().splitlines()) == 2

    refused = run(_as_rows(tmp_path, [other, one]), "--by-type", tmp_path / "b")
    assert refused.exit_code == 2
    assert "row 2 is of a patient whose record number comes before" in refused.stderr
    assert list((tmp_path / "b").iterdir()) == []


def test_an_unreadable_row_is_named_and_the_others_are_written(tmp_path: Path) -> None:
    path = _as_rows(tmp_path, ["two-septa"])
    path.write_text('{"record_version": 2}\n' + path.read_text())
    done = run(path, "--by-type", tmp_path / "a")
    assert done.exit_code == 2
    assert f"{path}:1" in done.stderr
    assert "1 record was left out" in done.stderr
    assert len((tmp_path / "a" / "Patient.ndjson").read_text().splitlines()) == 1


def test_a_folder_in_use_and_options_of_other_forms_are_refused(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("kept")
    refused = run(HERE / "two-septa.yaml", "--by-type", tmp_path)
    assert (refused.exit_code, (tmp_path / "mine.txt").read_text()) == (2, "kept")
    assert "is not empty" in refused.stderr
    assert run(HERE / "two-septa.yaml", "--by-type", tmp_path / "new", "--out", tmp_path / "x").exit_code == 2
    assert not (tmp_path / "new").exists()


def test_readback_of_the_folder_gives_every_record_again(folder: Path, tmp_path: Path) -> None:
    done = command("readback", folder, "--out", tmp_path)
    assert (done.exit_code, done.stderr.count("Written")) == (0, len(DEMOS)), done.stderr
    assert {path.stem for path in tmp_path.iterdir()} == {episode(demo).id for demo in DEMOS}


def test_readback_refuses_a_folder_without_rows_and_rows_that_are_no_resource(tmp_path: Path) -> None:
    refused = command("readback", tmp_path)
    assert (refused.exit_code, "contains no .ndjson file" in refused.stderr) == (2, True)
    (tmp_path / "Patient.ndjson").write_text('{"id": "a"}\n{"id": "b"}\n')
    refused = command("readback", tmp_path)
    assert refused.exit_code == 2
    assert "Patient.ndjson, row 1: cannot be read as a bundle" in refused.stderr


@pytest.mark.parametrize("option", ["--by-type", "--package"])
def test_a_folder_is_never_called_dash(option: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    refused = run(HERE / "two-septa.yaml", option, "-")
    assert (refused.exit_code, list(tmp_path.iterdir())) == (2, [])
    assert "cannot write to standard output; give a folder name" in refused.stderr


# -- verify of the folder --


def test_verify_judges_every_row_of_the_folder(folder: Path) -> None:
    done = command("verify", folder)
    assert (done.exit_code, done.stdout) == (0, ""), done.stderr
    assert f"{len(rows(folder)):,} rows: no faults." in done.stderr


def _small(tmp_path: Path) -> Path:
    to = tmp_path / "small"
    assert run(HERE / "two-septa.yaml", "--by-type", to, "--no-note").exit_code == 0
    return to


def test_verify_names_the_row_of_each_fault(tmp_path: Path) -> None:
    """A wrong status, an id used twice, a row that others refer to and that is gone, a row that was cut off."""
    to = _small(tmp_path)
    file = to / "Procedure.ndjson"
    first, second, *rest = file.read_text().splitlines()
    wrong = json.loads(first) | {"status": "done"}
    file.write_text("\n".join([json.dumps(wrong), second, second, *rest]) + "\n")
    (to / "Practitioner.ndjson").unlink()
    cut = to / "Location.ndjson"
    cut.write_text("\n" + cut.read_text() + '{"resourceType": "Loc')
    done = command("verify", to)
    said = done.stdout.splitlines()
    assert done.exit_code == 1
    assert sum(f"{file}, row 1: status: " in row and "[binding]" in row for row in said) == 1
    assert any(row.startswith(f"{file}, row 3: id: ") and "in " + str(file) + ", row 2 as well" in row for row in said)
    assert any("Practitioner/" in row and "leads to no row of this folder" in row for row in said)
    number = len(cut.read_text().splitlines())
    assert any(row.startswith(f"{cut}, row {number}: the bundle: Row {number}, column ") for row in said)
    as_json = json.loads(command("verify", to, "--format", "json").stdout)
    assert sum(len(one["faults"]) for one in as_json["files"]) == len(said)


def test_a_row_by_itself_is_judged_too_and_by_our_profile(tmp_path: Path) -> None:
    file = _small(tmp_path) / "Observation.ndjson"
    assert command("verify", file, "--format", "text").exit_code == 0
    row, *rest = file.read_text().splitlines()
    file.write_text("\n".join([json.dumps(json.loads(row) | {"status": "registered"}), *rest]) + "\n")
    said = command("verify", file, "--format", "text").stdout
    assert "row 1: status: 'registered' is a status that we do not use" in said
    assert command("verify", file, "--format", "text", "--r4-only").exit_code == 0
