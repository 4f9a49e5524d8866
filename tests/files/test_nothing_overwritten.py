"""Whatever --out names: no input, no record and no bundle file is destroyed, and a killed run leaves nothing."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from lda_notes.cli import group
from lda_notes.files import output
from lda_notes.problems import Failure

DEMO = Path(__file__).parents[2] / "demo_episodes" / "uncomplicated-week.yaml"
RUN = [sys.executable, "-m", "lda_notes"]


@pytest.fixture
def ward(tmp_path: Path) -> Path:
    folder = tmp_path / "ward"
    folder.mkdir()
    (folder / "ep.yaml").write_bytes(DEMO.read_bytes())
    (tmp_path / "rows.ndjson").write_text('{"record_version": 1, "patient": {}, "stay": {}, "events": []}\n')
    return folder


def run(*arguments: object) -> tuple[int, str]:
    result = CliRunner().invoke(group, [str(one) for one in arguments], standalone_mode=False)
    said = str(result.exception) if isinstance(result.exception, Failure) else ""
    return (2 if said else result.exit_code), said + result.stderr


def state(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


FROM_RECORDS = {
    "check": ("check", "{in}", "--format", "json"),
    "note": ("note", "{in}", "--format", "text"),
    "note with docx": ("note", "{in}", "--format", "docx"),
    "handoff": ("handoff", "{in}", "--format", "json", "--asof", "2026-05-08T07:00-05:00"),
    "worksheet": ("worksheet", "{in}", "--for", "access", "--format", "md"),
    "bundle": ("bundle", "{in}"),
    "days": ("days", "{in}", "--from", "2026-05-01", "--to", "2026-05-31", "--format", "csv"),
}


@pytest.mark.parametrize("command", FROM_RECORDS)
@pytest.mark.parametrize("by", ["name", "other name", "hard link", "link to a folder"])
def test_an_input_is_never_the_target(ward: Path, command: str, by: str) -> None:
    record = ward / "ep.yaml"
    target = record
    if by == "other name":
        target = ward / ".." / "ward" / "ep.yaml"
    elif by == "hard link":
        target = ward.parent / "linked.txt"
        os.link(record, target)
    elif by == "link to a folder":
        (ward.parent / "again").symlink_to(ward)
        target = ward.parent / "again" / "ep.yaml"
    before = state(ward.parent)
    arguments = [str(record) if one == "{in}" else one for one in FROM_RECORDS[command]]
    code, said = run(*arguments, "--out", target, "--overwrite")
    assert code == 2 and "is an input of this command; give another name to --out" in said
    assert state(ward.parent) == before


@pytest.mark.parametrize("what", ["--policy", "--config", "--counts"])
def test_files_of_options_are_inputs_too(ward: Path, what: str) -> None:
    option = ward.parent / "given.yaml"
    option.write_text("source: {title: Port care policy, date: 2026-01-15}\nlimits: {needle_dwell_days: 5}\n")
    if what == "--counts":
        option.write_text("unit,patient_days\n4 West,100\n")
    if what == "--config":
        option.write_text("{}\n")
    command = FROM_RECORDS["bundle" if what == "--config" else "days"]
    before = state(ward.parent)
    arguments = [str(ward / "ep.yaml") if one == "{in}" else one for one in command]
    _, said = run(*arguments, what, option, "--out", option)
    assert "is an input of this command" in said and state(ward.parent) == before


def test_a_result_in_a_folder_of_records_does_not_become_one(ward: Path) -> None:
    before = state(ward.parent)
    handoff = ("handoff", ward, "--format", "json", "--asof", "2026-05-08T07:00-05:00", "--out")
    for target in (ward, ward / "sheet.json"):
        code, said = run(*handoff, target)
        assert code == 2 and f"would be read as a record of {ward}" in said
    assert state(ward.parent) == before
    code, said = run(*handoff, ward / "sheet.txt")
    assert code == 0, said


@pytest.mark.parametrize("command", FROM_RECORDS)
def test_another_record_is_replaced_only_on_request(ward: Path, command: str) -> None:
    other = ward.parent / "other.yaml"
    other.write_bytes(DEMO.read_bytes().replace(b"access-1", b"access-9"))
    before = other.read_bytes()
    arguments = [str(ward / "ep.yaml") if one == "{in}" else one for one in FROM_RECORDS[command]]
    code, said = run(*arguments, "--out", other)
    assert code == 2 and "already exists and contains a record" in said and "--overwrite" in said
    assert other.read_bytes() == before
    run(*arguments, "--out", other, "--overwrite")
    assert other.read_bytes() != before


def test_a_policy_is_replaced_only_on_request(ward: Path) -> None:
    policy = ward.parent / "ours.yaml"
    policy.write_text("source: {title: Port care policy 12, date: 2026-01-15}\nlimits:\n  flush_usual_ml: 10\n")
    before = policy.read_bytes()
    code, said = run("check", ward, "--format", "json", "--out", policy)
    assert code == 2 and "contains a policy" in said and policy.read_bytes() == before


def test_bundles_and_records_read_back(ward: Path) -> None:
    bundles, record = ward.parent / "b.ndjson", ward.parent / "back.yaml"
    assert run("bundle", ward / "ep.yaml", "--out", bundles)[0] == 0
    assert run("bundle", ward / "ep.yaml", "--out", bundles)[0] == 0, "the same content again is no loss"
    (ward / "ep.yaml").write_bytes(DEMO.read_bytes().replace(b"Marisol Tamm", b"Marisol Tam"))
    code, said = run("bundle", ward / "ep.yaml", "--out", bundles)
    assert code == 2 and "contains a FHIR bundle" in said
    code, said = run("readback", bundles, "--out", bundles, "--overwrite")
    assert code == 2 and "is an input" in said
    name = "uncomplicated-week.yaml"
    (ward / name).write_bytes(DEMO.read_bytes())
    before = state(ward)
    code, said = run("readback", bundles, "--out", ward)
    assert code == 2 and f"{name}: already exists and contains a record" in said and state(ward) == before
    assert run("readback", bundles, "--out", record)[0] in (0, 1) and output.kind_of(record) == "a record"
    stream = ward.parent / "rows.ndjson"
    before_rows = stream.read_bytes()
    code, said = run("check", stream, "--out", stream, "--overwrite")
    assert code == 2 and "is an input" in said and stream.read_bytes() == before_rows


def test_results_may_be_written_again(ward: Path) -> None:
    """A sheet is not a record: the next shift replaces it without an option."""
    for name, arguments in FROM_RECORDS.items():
        if name == "bundle":
            continue
        target = ward.parent / "result.bin"
        target.unlink(missing_ok=True)
        full = [str(ward / "ep.yaml") if one == "{in}" else one for one in arguments]
        for _ in range(2):
            _, said = run(*full, "--out", target)
            assert "already exists" not in said, name
            target.write_bytes(target.read_bytes() + b"\n")


def test_a_killed_run_leaves_nothing_after_the_next_one(tmp_path: Path) -> None:
    """The killed one sits in the middle of a long stream; a part that is still written to is left alone."""
    code = (
        "import sys, time\nfrom pathlib import Path\nfrom lda_notes.files.output import opened\n"
        "with opened(Path(sys.argv[1])) as file:\n    file.write(b'half'); file.flush(); print('at it', flush=True)\n"
        "    time.sleep(60)\n"
    )
    started = [
        subprocess.Popen([sys.executable, "-c", code, tmp_path / f"{n}.txt"], stdout=subprocess.PIPE) for n in (1, 2)
    ]
    for process in started:
        assert process.stdout is not None and process.stdout.readline() == b"at it\n"
    assert len(list(tmp_path.glob(".lda-notes-*.part"))) == 2
    started[0].send_signal(signal.SIGKILL)
    started[0].wait()
    subprocess.run([*RUN, "check", DEMO, "--out", tmp_path / "found.txt"], check=False, capture_output=True)
    left = list(tmp_path.glob(".lda-notes-*.part"))
    try:
        assert len(left) == 1 and left[0].read_bytes() == b"half", "only the part of the run that lives"
    finally:
        started[1].kill()
        started[1].wait()
    for process in started:
        assert process.stdout is not None
        process.stdout.close()
    time.sleep(0.05)
    subprocess.run([*RUN, "check", DEMO, "--out", tmp_path / "found.txt"], check=False, capture_output=True)
    assert [p.name for p in tmp_path.iterdir()] == ["found.txt"]
