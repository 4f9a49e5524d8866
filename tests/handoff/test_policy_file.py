"""A facility's policy as a file: where it is found, what is wrong with it, that it is never half in force."""

from __future__ import annotations

from pathlib import Path

import pytest

from lda_notes.knowledge import policy_file
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.problems import Failure

GOOD = """\
source: {title: Port care policy (invented), date: 2031-01-15}
limits:
  needle_dwell_days: 5
  interval_counting: calendar day
  cream_contact_minutes: 45.5
"""


def write(folder: Path, text: str = GOOD, name: str = policy_file.NAME) -> Path:
    path = folder / name
    path.write_text(text, "utf-8")
    return path


def test_a_good_file_replaces_limits_and_cites_itself(tmp_path: Path) -> None:
    policy, faults = policy_file.load(write(tmp_path))
    assert faults == ()
    assert policy.text("needle_dwell_days") == "5 days"
    assert policy.choice("interval_counting") == "calendar day"
    assert policy.text("cream_contact_minutes") == "45.5 minutes"
    (cited,) = policy.citations("needle_dwell_days")
    assert cited.text() == "facility policy, Port care policy (invented), 2031-01-15 [set by local policy]"


def test_json_is_read_by_its_name(tmp_path: Path) -> None:
    text = '{"source": {"title": "Port care", "date": "2031-01-15"}, "limits": {"needle_dwell_days": 5}}'
    policy, faults = policy_file.load(write(tmp_path, text, "policy.json"))
    assert (faults, policy.text("needle_dwell_days")) == ((), "5 days")


def test_every_fault_has_its_row_and_column(tmp_path: Path) -> None:
    text = """\
source:
  title: Port care
  date: soon
limits:
  needle_dwell_days: 5.5
  needle_dwel_days: 6
  interval_counting: daily
extra: 1
"""
    path = write(tmp_path, text)
    policy, faults = policy_file.load(path)
    assert policy is DEFAULT
    assert [(fault.place.row, fault.place.column, fault.rule) for fault in faults if fault.place] == [
        (3, 9, "policy-source"),
        (5, 22, "policy-not-whole"),
        (6, 3, "policy-unknown-name"),
        (7, 22, "policy-unknown-option"),
        (8, 1, "policy-shape"),
    ]
    assert all(fault.place and fault.place.file == str(path) for fault in faults)


def test_faults_of_syntax_keep_it_out_of_force(tmp_path: Path) -> None:
    policy, faults = policy_file.load(write(tmp_path, GOOD + "  needle_dwell_days: 6\n"))
    assert policy is DEFAULT
    assert [fault.rule for fault in faults] == ["repeated-key"]


@pytest.mark.parametrize("text", ["", "[1]", "a: [", "\x00", "limits: {needle_dwell_days: 5}", "source: 3"])
def test_whatever_the_file_holds_the_failure_is_plain(text: str, tmp_path: Path) -> None:
    path = write(tmp_path, text)
    with pytest.raises(Failure) as failure:
        policy_file.in_force(path)
    said = str(failure.value)
    assert said.startswith("the policy file has ") or "the policy file is empty" in said or "is not text" in said
    assert f"{path}:" in str(failure.value)
    assert "Traceback" not in str(failure.value)


def test_a_file_that_is_not_there_is_a_plain_failure(tmp_path: Path) -> None:
    with pytest.raises(Failure, match=r"absent\.yaml: the policy file cannot be read"):
        policy_file.in_force(tmp_path / "absent.yaml")


def test_the_file_beside_the_records_is_found(tmp_path: Path) -> None:
    write(tmp_path)
    record = tmp_path / "a.yaml"
    record.write_text("x: 1", "utf-8")
    for given in (record, tmp_path):
        assert policy_file.in_force(None, [given]).text("needle_dwell_days") == "5 days"
    assert policy_file.in_force(None, []) is DEFAULT


def test_a_file_that_is_named_wins(tmp_path: Path) -> None:
    write(tmp_path)
    named = write(tmp_path, GOOD.replace(": 5\n", ": 4\n"), "other.yaml")
    assert policy_file.in_force(named, [tmp_path]).text("needle_dwell_days") == "4 days"


def test_folders_of_different_policies_are_not_mixed(tmp_path: Path) -> None:
    one, two = tmp_path / "one", tmp_path / "two"
    one.mkdir()
    two.mkdir()
    write(one)
    with pytest.raises(Failure, match="folders of different policies"):
        policy_file.in_force(None, [one, two])
    named = write(tmp_path, name="for-both.yaml")
    assert policy_file.in_force(named, [one, two]).text("needle_dwell_days") == "5 days"


def test_the_policy_file_is_no_record(tmp_path: Path) -> None:
    from lda_notes.pipeline import record_files

    write(tmp_path)
    (tmp_path / "a.yaml").write_text("x: 1", "utf-8")
    assert [path.name for path in record_files((tmp_path,))] == ["a.yaml"]
