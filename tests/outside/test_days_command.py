"""What `days` prints, against numbers worked by hand beside each test (derived from the rules of test_line_days)."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from made_records import event, needle_event, record

from lda_notes.cli import group

APRIL = ("--from", "2024-04-01", "--to", "2024-04-30", "--asof", "2024-05-02T12:00-05:00")
OLDER, EARLY = "denominator_counts: from first access", 'denominator_time: "07:00"'


def write(ward: Path, made: dict[str, Any]) -> None:
    (ward / f"{made['id']}.json").write_text(json.dumps(made))


@pytest.fixture
def ward(tmp_path: Path) -> Path:
    """Return a ward with one port: admitted on 1 April 08:00, accessed on 3 April 09:00, home on 9 April 11:00."""
    write(
        tmp_path,
        record(
            needle_event("2024-04-03 09:00"),
            event("discharge", "2024-04-09 11:00", destination="home"),
            admitted_at="2024-04-01T08:00-05:00",
        ),
    )
    return tmp_path


def days(ward: Path, *words: object, policy: tuple[str, ...] = ()) -> Result:
    if policy:
        (ward / "lda-policy.yaml").write_text(
            "source: {title: invented, date: 2024-01-01}\nlimits:\n" + "".join(f"  {row}\n" for row in policy)
        )
    return CliRunner().invoke(group, ["days", str(ward), *map(str, words)])


def table(result: Result) -> list[dict[str, str]]:
    assert result.exit_code == 0, (result.stderr, result.exception)
    return list(csv.DictReader(io.StringIO(result.stdout)))


@pytest.mark.parametrize(
    ("policy", "line_days"),
    [
        ((), 8),  # every line, at 23:59: the nights of 1 to 8 April
        ((EARLY,), 8),  # every line, at 07:00: 2 to 9 April, since at 07:00 of the 1st she has not come
        ((OLDER,), 6),  # from the first access, at 23:59: 3 to 8 April
        ((OLDER, EARLY), 6),  # at 07:00 of 3 April the line has not been accessed: 4 to 9 April
    ],
)
def test_a_count_before_the_first_access_of_the_day_does_not_count_it(
    ward: Path, policy: tuple[str, ...], line_days: int
) -> None:
    [unit] = table(days(ward, *APRIL, "--by", "unit", policy=policy))
    assert unit["line_days"] == str(line_days)


LINES = "record_number,unit,kind,from,to\n"


def other_lines(ward: Path, *rows: str) -> Path:
    path = ward / "others.csv"
    path.write_text(LINES + "".join(f"{row}\n" for row in rows))
    return path


def counts(ward: Path) -> Path:
    path = ward / "counts.csv"
    path.write_text("unit,patient_days,infections\nWard Heron,100,1\n")
    return path


def test_other_lines_make_the_denominator_whole(ward: Path) -> None:
    """The port gives 8 days (see above); a PICC of another patient from 5 to 7 April gives 3; a second line of the
    same patient on 2 and 3 April none, since her port counts on both: 11. One infection: 1,000 / 11 = 90.91; 11 line
    days of 100 patient days = 0.110.
    """
    others = other_lines(
        ward, "X-1,Ward Heron,PICC,2024-04-05,2024-04-07", "MD-0001,Ward Heron,CVC,2024-04-02,2024-04-03"
    )
    [unit] = table(days(ward, *APRIL, "--by", "unit", "--counts", counts(ward), "--other-lines", others))
    assert (unit["line_days"], unit["utilization_ratio"], unit["rate"]) == ("11", "0.110", "90.91")
    assert unit["lines"] == "ports and other central lines"


def test_a_line_that_is_still_in_counts_to_the_day_judged_from(ward: Path) -> None:
    """From 28 April, as of 2 May, in a range to 31 May: 28, 29, 30 April, 1 and 2 May are 5; with the port's 8, 13."""
    others = other_lines(ward, "X-1,Ward Heron,PICC,2024-04-28,")
    span = ("--from", "2024-04-01", "--to", "2024-05-31", "--asof", "2024-05-02T12:00-05:00")
    said = days(ward, *span, "--by", "unit", "--other-lines", others)
    [unit] = table(said)
    assert unit["line_days"] == "13"


def test_without_other_lines_every_output_says_ports_only_and_gives_no_rate(ward: Path) -> None:
    for by in ("patient", "unit", "month"):
        given = ("--counts", counts(ward)) if by == "unit" else ()
        rows = table(days(ward, *APRIL, "--by", by, *given))
        assert {row["lines"] for row in rows} == {"ports only"}
        assert {row.get("rate", "") for row in rows} == {row.get("utilization_ratio", "") for row in rows} == {""}
    told = json.loads(days(ward, *APRIL, "--counts", counts(ward), "--format", "json").stdout)
    assert told["lines"] == "ports only"
    assert [(unit["rate"], unit["utilization_ratio"]) for unit in told["units"]] == [(None, None)]
    stream = ward / "ward.ndjson"
    stream.write_text(json.dumps(json.loads((ward / "made-1.json").read_text())) + "\n")
    rows = [json.loads(row) for row in CliRunner().invoke(group, ["days", str(stream), *APRIL]).stdout.splitlines()]
    assert {row["lines"] for row in rows} == {"ports only"}


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (("X-1,Ward Heron,PICC,5 April,2024-04-07",), ":2:1: from and to are not dates"),
        ((",Ward Heron,PICC,2024-04-05,2024-04-07",), ":2:1: expected a record number"),
        (("X-1,Ward Heron,PICC,2024-04-09,2024-04-07",), ":2:1: expected a record number, a unit, and to not before"),
    ],
)
def test_other_lines_that_cannot_be_read_are_named_with_their_row(ward: Path, rows: tuple[str, ...], said: str) -> None:
    done = days(ward, *APRIL, "--other-lines", other_lines(ward, *rows))
    assert said in str(done.exception)


def test_months_in_one_run(ward: Path) -> None:
    """At 23:59 a second patient, from 30 March 08:00 to 2 April 11:00, is there on 30, 31 March and 1 April; the first
    on 1 to 8 April. Counted to 3 May: March 2, April 1 + 8 = 9, May 0.
    """
    write(
        ward,
        record(
            needle_event("2024-03-30 09:00"),
            event("discharge", "2024-04-02 11:00", destination="home"),
            number=2,
            admitted_at="2024-03-30T08:00-05:00",
        ),
    )
    span = ("--from", "2024-03-15", "--to", "2024-05-03", "--asof", "2024-05-20T12:00-05:00")
    rows = table(days(ward, *span, "--by", "month"))
    assert [(row["unit"], row["from"], row["to"], row["line_days"]) for row in rows if row["line_days"] != "0"] == [
        ("Ward Heron", "2024-03-15", "2024-03-31", "2"),
        ("Ward Heron", "2024-04-01", "2024-04-30", "9"),
    ]


def test_counts_are_of_the_whole_range_and_go_with_no_month(ward: Path) -> None:
    done = days(ward, *APRIL, "--by", "month", "--counts", counts(ward))
    assert done.exit_code == 2
    assert "--counts" in done.stderr


def test_a_range_past_the_day_judged_from_is_cut_and_says_so(ward: Path) -> None:
    span = ("--from", "2024-04-01", "--to", "2024-04-30", "--asof", "2024-04-05T12:00-05:00")
    done = days(ward, *span, "--by", "unit")
    assert "The range reaches past 2024-04-05, the day judged from: it is cut there." in done.stderr
    [unit] = table(done)
    assert (unit["to"], unit["line_days"]) == ("2024-04-05", "4"), "at 23:59: 1 to 4 April"
    later = days(ward, "--from", "2024-04-06", "--to", "2024-04-30", "--asof", "2024-04-05T12:00-05:00")
    assert "after 2024-04-05, the day judged from" in str(later.exception)


def test_the_table_names_the_rules_and_options_it_was_made_by(ward: Path) -> None:
    for by in ("patient", "unit", "month"):
        for row in table(days(ward, *APRIL, "--by", by, policy=(OLDER, EARLY))):
            assert "denominator_counts: from first access" in row["rules"]
            assert "denominator_time: 07:00" in row["rules"]
            assert "line_day_eligible: at least 3" in row["rules"]
