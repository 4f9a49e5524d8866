"""The commands handoff, worksheet, days, amounts and policy, as typed."""

from __future__ import annotations

import csv
import io
import json
import re
import stat
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from in_process import call
from made_records import HEPARIN, event, needle_event, record, removal_event
from ward import ASOF

from lda_notes.chart.answers.answered import Answered
from lda_notes.chart.terminal import drafts
from lda_notes.chart.terminal.drafts import Draft
from lda_notes.knowledge.policy import DEFAULT

AT = ASOF.isoformat()


def run(*arguments: str | Path, code: int = 0, env: dict[str, str] | None = None, cwd: Path | None = None) -> str:
    done = call(*arguments, env=env, cwd=cwd)
    assert done.returncode == code, done.stderr.decode()
    assert b"Traceback" not in done.stderr
    return done.stdout.decode()


def write(folder: Path, data: dict[str, Any]) -> Path:
    path = folder / f"{data['id']}.json"
    path.write_text(json.dumps(data), "utf-8")
    return path


@pytest.fixture
def ward(tmp_path: Path) -> Path:
    folder = tmp_path / "ward"
    folder.mkdir()
    week = (needle_event("2031-03-01 09:00"), removal_event("2031-03-04 09:00"))
    write(folder, record(*week, number=1, admitted_at="2031-02-28T08:00-06:00"))
    held = event("line check", "2031-03-05 06:00", blood_return="none")
    write(folder, record(needle_event("2031-03-04 09:00", lock=HEPARIN), held, number=2, unit="Ward Plover"))
    return folder


POLICY = """\
source: {title: Port care policy (invented), date: 2031-01-15}
limits: {needle_dwell_days: 10, line_check_hours: 8}
"""


def test_handoff_in_every_format(ward: Path, tmp_path: Path) -> None:
    text = run("handoff", ward, "--asof", AT)
    assert "!! HOLD: no blood return" in text
    assert json.loads(run("handoff", ward, "--asof", AT, "--format", "json"))["version"] == 2
    for ending, start in (
        ("docx", b"PK"),
        ("pdf", b"%PDF"),
        ("html", b"<!doctype html>"),
        ("md", b"# Handoff"),
        ("txt", b"Handoff"),
    ):
        out = tmp_path / f"sheet.{ending}"
        run("handoff", ward, "--asof", AT, "--out", out)
        assert out.read_bytes().startswith(start)
        assert stat.S_IMODE(out.stat().st_mode) == 0o600
    run("handoff", ward, "--asof", AT, "--format", "docx", "--out", tmp_path)
    assert (tmp_path / "handoff.docx").exists()


def test_handoff_of_a_ward_with_a_record_that_cannot_be_read(ward: Path) -> None:
    (ward / "broken.yaml").write_text("patient: {", "utf-8")
    done = call("handoff", ward, "--asof", AT)
    assert done.returncode == 2
    flat = "".join(done.stdout.decode().replace("!! ", "").split())
    assert "Notonthissheet:" in flat and "broken.yaml:1:" in flat
    assert b"broken.yaml" in done.stderr
    assert "MD-0001" in flat and "MD-0002" in flat


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--asof", "2031-03-05"], "not a date and time with its offset"),
        (["--asof", "2031-03-05T07:00"], "not a date and time with its offset"),
        (["--asof", "2031-13-05T07:00Z"], "not a date and time with its offset"),
        (["--shift-end", "2031-03-05T06:00-06:00"], "is not after the moment judged from"),
        (["--hours", "0"], "--hours"),
        (["--hours", "nan"], "--hours"),
        (["--out", "x.odt"], "give --format as well"),
        (["--asof", "9999-12-31T23:00Z"], "1850 to 2199"),
        (["--policy", "no-such-file.yaml"], "cannot be read"),
    ],
)
def test_bad_options_of_handoff_end_in_one_sentence(arguments: list[str], says: str, ward: Path) -> None:
    given = arguments if "--asof" in arguments else ["--asof", AT, *arguments]
    done = call("handoff", ward, *given)
    assert done.returncode == 2
    assert says in done.stderr.decode()
    assert b"Traceback" not in done.stderr
    assert done.stdout == b""


def test_a_folder_without_records_is_said(tmp_path: Path) -> None:
    done = call("handoff", tmp_path, "--asof", AT)
    assert (done.returncode, done.stdout) == (2, b"")
    assert b"contains no record" in done.stderr


def test_a_file_that_cannot_be_written_leaves_nothing(ward: Path, tmp_path: Path) -> None:
    done = call("handoff", ward, "--asof", AT, "--out", tmp_path / "none" / "x.docx")
    assert done.returncode == 2
    assert b"does not exist; create it" in done.stderr
    assert list(tmp_path.glob("**/*.docx")) == []


def test_the_policy_is_found_by_option_variable_and_place(ward: Path, tmp_path: Path) -> None:
    file = tmp_path / "own.yaml"
    file.write_text(POLICY, "utf-8")
    for text in (
        run("handoff", ward, "--asof", AT, "--policy", file),
        run("handoff", ward, "--asof", AT, env={"LDA_NOTES_POLICY": str(file)}),
    ):
        assert "Port care policy (invented)" in " ".join(text.split())
    (ward / "lda-policy.yaml").write_text(POLICY, "utf-8")
    assert "Port care policy (invented)" in " ".join(run("handoff", ward, "--asof", AT).split())
    (ward / "lda-policy.yaml").write_text(POLICY + "limit: 3\n", "utf-8")
    done = call("handoff", ward, "--asof", AT)
    assert done.returncode == 2
    assert b"lda-policy.yaml:3:1: " in done.stderr


def test_worksheet(ward: Path, tmp_path: Path) -> None:
    record_file = ward / "made-1.json"
    for work, title in (("access", "access"), ("deaccess", "de-access"), ("dressing", "dressing change")):
        text = run("worksheet", record_file, "--for", work, "--asof", AT)
        assert text.startswith(f"Worksheet: {title}\n")
    run("worksheet", record_file, "--for", "access", "--asof", AT, "--out", tmp_path / "w.docx")
    assert (tmp_path / "w.docx").read_bytes().startswith(b"PK")
    done = call("worksheet", record_file, "--for", "access", "--septum", "third", "--asof", AT)
    assert done.returncode == 2
    assert b"has no septum third; it has single" in done.stderr
    assert call("worksheet", record_file).returncode == 2


def test_days_by_patient_and_by_unit(ward: Path, tmp_path: Path) -> None:
    span = ("--from", "2031-03-01", "--to", "2031-03-05", "--asof", "2031-03-06T12:00-06:00")
    table = list(csv.DictReader(io.StringIO(run("days", ward, *span))))
    first = [row for row in table if row["patient"] == "MD-0001"]
    assert [(row["date"], row["line_day"], row["eligible"]) for row in first] == [
        ("2031-03-01", "1", "no"),
        ("2031-03-02", "2", "no"),
        ("2031-03-03", "3", "yes"),
        ("2031-03-04", "4", "yes"),
        ("2031-03-05", "5", "yes"),
    ]
    counts = tmp_path / "counts.csv"
    counts.write_text("unit,patient_days,infections\nWard Heron,100,1\nWard Plover,1,\n", "utf-8")
    done = call("days", ward, *span, "--by", "unit", "--counts", counts)
    units = {row["unit"]: row for row in csv.DictReader(io.StringIO(done.stdout.decode()))}
    assert units["Ward Heron"]["line_days"] == "5"
    for computed in ("rate", "utilization_ratio"):
        assert {row[computed] for row in units.values()} == {""}, "the other central lines of the unit are not known"
    assert b"Ports only" in done.stderr
    assert units["Ward Heron"]["rate_per"] == "1,000 line days"
    assert b"Ward Plover: more line days than patient days" in done.stderr
    only = list(csv.DictReader(io.StringIO(run("days", ward, *span, "--unit", "Ward Plover"))))
    assert {row["unit"] for row in only} == {"Ward Plover"}


def test_days_as_json_name_the_rules_in_force(ward: Path) -> None:
    given = ("days", ward, "--from", "2031-03-01", "--to", "2031-03-05", "--asof", "2031-03-06T12:00-06:00")
    document = json.loads(run(*given, "--format", "json"))
    assert document["version"] == 1
    assert {row["name"] for row in document["rules"]} >= {"denominator_counts", "line_day_eligible"}
    assert all(row["sources"] for row in document["rules"])
    assert document["infection"] is None
    one = json.loads(run("days", ward / "made-1.json", *given[2:], "--format", "json", "--positive", "2031-03-03"))
    assert one["infection"]["line_associated"] is True
    done = call(*given, "--positive", "2031-03-03")
    assert done.returncode == 2
    assert b"these records contain 2" in done.stderr


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("unit;patient_days\n", "expected the columns unit and patient_days"),
        (
            "unit,patient_days\nWard Heron,many\nWard Heron,3\n,4\n",
            "counts.csv:2:1: patient_days is not a whole number",
        ),
        ("unit,patient_days\nWard Heron,1\nWard Heron,3\n,4\n", "counts.csv:3:1: Ward Heron stands twice"),
        ("unit,patient_days\nWard Heron,1\n,4\n", "counts.csv:3:1: the row names no unit"),
        ("unit,patient_days\nWard Heron,-1\n", "patient_days is not a whole number"),
        ("", "expected the columns unit and patient_days; found nothing"),
        ("\x00", "is not a CSV file"),
        pytest.param(f"unit,patient_days\n{'x' * 140_000},3\n", "cannot be read as CSV", id="a cell without an end"),
    ],
)
def test_bad_counts_are_told_with_their_rows(text: str, says: str, ward: Path, tmp_path: Path) -> None:
    counts = tmp_path / "counts.csv"
    counts.write_text(text, "utf-8")
    done = call("days", ward, "--from", "2031-03-01", "--to", "2031-03-05", "--asof", AT, "--counts", counts)
    assert (done.returncode, done.stdout) == (2, b"")
    assert says in done.stderr.decode()


def test_days_refuse_to_count_with_a_record_missing(ward: Path) -> None:
    (ward / "broken.yaml").write_text("patient: {", "utf-8")
    done = call("days", ward, "--from", "2031-03-01", "--to", "2031-03-05", "--asof", AT)
    assert (done.returncode, done.stdout) == (2, b"")
    assert b"1 record could not be read, so nothing was counted" in done.stderr


@pytest.mark.parametrize("bad", [("2031-03-05", "2031-03-01"), ("2031-3-5", "2031-03-06"), ("x", "2031-03-06")])
def test_bad_days_are_told(bad: tuple[str, str], ward: Path) -> None:
    done = call("days", ward, "--from", bad[0], "--to", bad[1], "--asof", AT)
    assert done.returncode == 2
    assert b"Traceback" not in done.stderr


@pytest.mark.parametrize("start", ["=", "+", "-", "@", " =", "\uff1d"])
@pytest.mark.parametrize("by", ["patient", "unit"])
def test_a_cell_that_a_spreadsheet_would_run_is_quoted(start: str, by: str, tmp_path: Path) -> None:
    made = record(needle_event("2031-03-01 09:00"), number=1, unit=f"{start}HYPERLINK(1)")
    made["patient"]["identifiers"][0]["value"] = f"{start}cmd"
    out = run("days", write(tmp_path, made), "--from", "2031-03-01", "--to", "2031-03-01", "--asof", AT, "--by", by)
    cells = [cell for row in csv.reader(io.StringIO(out)) for cell in row]
    assert any("HYPERLINK" in cell for cell in cells)
    assert [cell for cell in cells if cell.lstrip()[:1] in set("=+-@\uff1d")] == []


@pytest.mark.parametrize("sign", [";", "; ", "\t"])
def test_no_formula_stands_behind_a_sign_that_can_part_columns(sign: str, tmp_path: Path) -> None:
    """A spreadsheet of another country opens the same file at its semicolons."""
    made = record(needle_event("2031-03-01 09:00"), number=1, unit=f"Ward Heron{sign}=HYPERLINK(1)")
    span = ("--from", "2031-03-01", "--to", "2031-03-01", "--asof", AT)
    out = run("days", write(tmp_path, made), *span)
    assert "HYPERLINK" in out
    for parted in (";", "\t"):
        cells = [cell for row in csv.reader(io.StringIO(out), delimiter=parted) for cell in row]
        assert [cell for cell in cells if cell.lstrip()[:1] in set("=+-@")] == []
    told = json.loads(run("days", tmp_path, *span, "--format", "json"))
    assert told["days"][0]["unit"] == f"Ward Heron{sign}=HYPERLINK(1)", "as recorded"


def test_a_name_with_a_hyphen_stays_as_it_is(tmp_path: Path) -> None:
    made = record(needle_event("2031-03-01 09:00"), number=1, unit="Ward 3-B; east=2")
    out = run("days", write(tmp_path, made), "--from", "2031-03-01", "--to", "2031-03-01", "--asof", AT)
    assert "Ward 3-B; east=2" in out


def test_a_unit_that_no_record_names_is_named(ward: Path) -> None:
    span = ("--from", "2031-03-01", "--to", "2031-03-05", "--asof", AT)
    done = call("days", ward, *span, "--by", "unit", "--unit", "Ward Hern")
    said = "--unit Ward Hern: no record names this unit, so its counts are 0; the records name Ward Heron, Ward Plover."
    assert said in done.stderr.decode()
    assert call("days", ward, *span, "--unit", "Ward Heron").stderr == b""


def test_amounts(ward: Path) -> None:
    document = json.loads(run("amounts", ward / "made-1.json", "--asof", "2031-03-04T12:00-06:00", "--format", "json"))
    assert document["version"] == 1
    by = {row["over"]: row for row in document["amounts"]}
    assert (by["needle's stay"]["flush_ml"], by["needle's stay"]["heparin_units"]) == ("20", "1000")
    assert by["shift"]["heparin_units_by_strength"] == [{"units_per_ml": "100", "units": "500"}]
    window = ("--from", "2031-03-01T09:00-06:00", "--to", "2031-03-04T09:00-06:00")
    (row,) = json.loads(run("amounts", ward / "made-1.json", *window, "--asof", AT, "--format", "json"))["amounts"]
    assert (row["flush_ml"], row["discard_ml"]) == ("10", "5"), "the end does not belong to the window"
    text = run("amounts", ward / "made-1.json", "--asof", "2031-03-04T12:00-06:00")
    assert "heparin 500 units" in text
    assert "day, from 4 March 2031, 00:00 to 5 March 2031, 00:00" in text and "T00:00" not in text
    assert call("amounts", ward, "--from", AT).returncode == 2


def test_policy_lists_every_limit_with_its_source(tmp_path: Path) -> None:
    text = run("policy")
    for name in DEFAULT.rows:
        assert f"\n{name}\n" in text
    assert text.count("  Source: ") >= len(DEFAULT.rows)
    document = json.loads(run("policy", "--format", "json"))
    assert [row["name"] for row in document["limits"]] == list(DEFAULT.rows)
    assert all(row["sources"] and row["text"] for row in document["limits"])
    assert not any(row["looser"] or row["set_by_facility"] for row in document["limits"])


def test_policy_says_what_a_facility_changes(tmp_path: Path) -> None:
    file = tmp_path / "own.yaml"
    file.write_text(POLICY, "utf-8")
    text = run("policy", "--policy", file, "--changes")
    assert max(map(len, text.splitlines())) <= 80
    text = re.sub(r"\n {4,}", " ", text)  # continued rows are indented
    assert "1 of these looser than published" in text
    assert "needle_dwell_days\n  Needle in place: at most 10 days\n  LOOSER than published: at most 7 days" in text
    assert "Changed, not looser than published: at most 12 hours" in text
    assert text.count("[set by local policy]") == 3
    rows = json.loads(run("policy", "--policy", file, "--changes", "--format", "json"))["limits"]
    assert [(row["name"], row["looser"], row["published_value"]) for row in rows] == [
        ("needle_dwell_days", True, "7"),
        ("line_check_hours", False, "12"),
    ]
    done = call("policy", "needle_dwel_days")
    assert done.returncode == 2
    assert b"Did you mean needle_dwell_days?" in done.stderr


@pytest.mark.parametrize("command", ["handoff", "worksheet", "days", "amounts", "policy"])
def test_help_ends_in_an_example(command: str) -> None:
    assert "Example: lda-notes " + command in " ".join(run(command, "--help").split())


def test_worksheets_are_for_the_shift_of_the_policy(tmp_path: Path) -> None:
    """Needle and dressing of 26 February 07:00 are due at 07:00, when the shift from 19:00 ends: it is theirs."""
    data = record(
        needle_event("2031-02-26 07:00"),
        event("line check", "2031-03-04 18:00", dressing_found=["intact"], blood_return="present"),
    )
    (tmp_path / "one.json").write_text(json.dumps(data))
    due = ("worksheet", tmp_path, "--due", "--asof", "2031-03-04T18:40-06:00")
    assert "dressing change" not in run(*due)
    policy = '{source: {title: Invented, date: 2030-01-15}, limits: {shift_starts: ["07:00", "19:00"]}}'
    (tmp_path / "lda-policy.yaml").write_text(policy)
    assert "Worksheet: dressing change" in run(*due)


def test_what_is_not_signed_is_named_on_the_sheet_without_what_it_says(ward: Path, tmp_path: Path) -> None:
    env = {"XDG_STATE_HOME": str(tmp_path / "state"), "HOME": str(tmp_path)}
    kept = drafts.folder(env)
    said = (Answered("pain", ((("pain",), 9),), "Pain: 9"),)
    for entry in ward.iterdir():
        begun = Draft("access-9", ASOF - timedelta(minutes=40), said, None, str(entry.resolve()), "access", "Ada Quill")
        kept.mkdir(parents=True, exist_ok=True)
        drafts.save(drafts.place(kept, entry, "access"), begun)
    sheet = " ".join(run("handoff", ward, "--unit", "Ward Plover", "--asof", AT, env=env).replace("!! ", "").split())
    assert sheet.count("Not signed, not on this sheet:") == 1 and "Pain: 9" not in sheet
    assert "MD-0002: access begun 06:20 by Ada Quill." in sheet
    document = json.loads(run("handoff", ward, "--asof", AT, "--format", "json", env=env))
    assert [one["not_signed"] for one in document["patients"]] == [["access begun 06:20 by Ada Quill"]] * 2
    earlier = (ASOF - timedelta(hours=2)).isoformat()
    assert "Not signed, not" not in run("handoff", ward, "--asof", earlier, env=env), "it was not begun then"


def test_a_stay_that_begins_later_is_on_no_worksheet_of_the_shift(ward: Path) -> None:
    write(ward, record(number=3, admitted_at="2031-03-06T08:00-06:00"))
    for what in (("--due",), ("--for", "check")):
        text = run("worksheet", ward, *what, "--asof", AT)
        assert "Stay begins later, left out: 1 record." in text
        assert "MD-0003" not in text and "MD-0002" in text
