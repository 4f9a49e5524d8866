"""A day whose hour nobody knows, as a label carries it: recorded as such, and due times count by day."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest
from desk import Run, answered, demo_without_events, subject

from lda_notes.chart.talk import Talk
from lda_notes.files.syntax import read_yaml

ARRIVED = "2026-05-05T18:00-05:00"
TYPED = ["-30m", "a", "home", "a", "20 19", "y", "2 May", "1", "i", "3 May", "w", "y"]


@pytest.fixture
def arrived(run: Run, ward: Path) -> Path:
    """A record whose needle and dressing carry a day alone, as it was charted by answering."""
    (ward / "episode.yaml").write_bytes(demo_without_events())
    ran = run("chart", "episode.yaml", "arrival", "--asof", ARRIVED, typed="\n".join(TYPED) + "\n")
    assert ran.code == 0 and "2 May 2026, hour not known" in ran.err, ran.err
    return ward / "episode.yaml"


def test_a_day_alone_is_recorded_as_a_day(arrived: Path) -> None:
    (event,) = (read_yaml(arrived.read_bytes()).data or {})["events"]
    assert (event["inserted_at"], event["dressed_at"]) == ("2026-05-02", "2026-05-03")


def test_it_is_overdue_from_the_day_after_and_not_before(arrived: Path, run: Run) -> None:
    """A needle of 2 May is due by 9 May, whenever that day: late is who waits until the tenth."""
    in_time = run("check", "episode.yaml", "--asof", "2026-05-09T23:50-05:00").out
    late = run("check", "episode.yaml", "--asof", "2026-05-10T00:10-05:00").out
    assert "needle-overdue" not in in_time and "needle-overdue" in late
    assert "due out by 2026-05-09, " in late and "put in 2026-05-02 is" in late
    assert "after 8 days; it was due out by" in " ".join(late.split()), "no hours of a day whose hour is not known"


def test_what_is_printed_names_no_hour(arrived: Path, run: Run) -> None:
    note = " ".join(run("note", "episode.yaml", "--asof", ARRIVED).out.split())
    assert "The needle was inserted 2 May 2026 (hour not known)." in note
    assert "The dressing was applied 3 May 2026 (hour not known)." in note
    assert "Needle change is due by 9 May 2026 (7 days); the dressing goes with the needle." in note
    sheet = " ".join(run("handoff", "episode.yaml", "--asof", ARRIVED).out.split())
    assert "put in 2 May, in on arrival" in sheet and "Needle change, or removal: by 9 May" in sheet
    unit = " ".join(run("chart", ".", "--asof", ARRIVED, typed="q\n").err.split())
    assert "needle change by 9 May;" in unit or "needle change by 9 May " in unit


def test_a_bundle_gives_the_day_back(arrived: Path, run: Run) -> None:
    assert run("bundle", "episode.yaml", "--out", "bundle.json").code == 0
    uses = [
        entry["resource"]["timingPeriod"]
        for entry in json.loads((arrived.parent / "bundle.json").read_bytes())["entry"]
        if entry["resource"]["resourceType"] == "DeviceUseStatement" and "timingPeriod" in entry["resource"]
    ]
    assert {"start": "2026-05-02"} in uses
    assert run("verify", "bundle.json").code == 0
    back = run("readback", "bundle.json").out
    assert "inserted_at: 2026-05-02" in back and "dressed_at: 2026-05-03" in back


def test_a_day_that_is_still_to_come_is_refused() -> None:
    about = Talk(subject(demo_without_events(), "arrival accessed", ARRIVED))
    talk, says = answered(about, *TYPED[:6], "7 May")
    assert says[-1].tone == "fault" and "in the future" in says[-1].text
    assert date.fromisoformat(answered(talk, "yesterday")[0].facts["inserted_at"]) == date(2026, 5, 4)
