"""The policy: what a facility's file may replace, how each fault is told, and what counts as looser."""

from __future__ import annotations

import ast
import datetime
import re
import subprocess
import sys
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lda_notes.knowledge import limits, sources
from lda_notes.knowledge.limits import RISING, Choice, Clock, Limit
from lda_notes.knowledge.policy import DEFAULT, changes, looser, number, quantity, value_text
from lda_notes.knowledge.policy_values import apply
from lda_notes.knowledge.sources import SOURCES, Citation

SOURCE = {"title": "Port care procedure", "date": "2026-01-15"}
PACKAGE = Path(limits.__file__).parent


def local(**values: object) -> dict[str, Any]:
    return {"source": SOURCE, "limits": values}


def test_a_facility_value_replaces_the_published_one_and_cites_the_facility() -> None:
    policy, findings = apply(
        DEFAULT, local(needle_dwell_days=5, interval_counting="calendar day", denominator_time="07:30")
    )
    assert findings == ()
    assert policy.value("needle_dwell_days") == 5
    assert policy.span("needle_dwell_days") == datetime.timedelta(days=5)
    assert policy.choice("interval_counting") == "calendar day"
    assert policy.clock("denominator_time") == datetime.time(7, 30)
    assert [cited.text() for cited in policy.citations("needle_dwell_days")] == [
        "facility policy, Port care procedure, 2026-01-15 [set by local policy]"
    ]
    assert policy.citations("gauze_dressing_days") == DEFAULT.citations("gauze_dressing_days")
    assert DEFAULT.value("needle_dwell_days") == 7


def test_changes_name_what_is_looser() -> None:
    policy, _ = apply(
        DEFAULT,
        local(idle_flush_days=84, needle_dwell_days=5, flush_ml=5, syringe_ml=20, interval_counting="calendar day"),
    )
    told = {change.local.name: (value_text(change.published), change.looser) for change in changes(policy)}
    assert told == {
        "idle_flush_days": ("at most 28 days", True),
        "needle_dwell_days": ("at most 7 days", False),
        "flush_ml": ("at least 10 mL", True),
        "syringe_ml": ("at least 10 mL", False),
        "interval_counting": ("calendar day", False),
    }
    assert changes(DEFAULT) == ()


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("needle_dwell_days", 8, True),
        ("needle_dwell_days", 7, False),
        ("needle_dwell_days", 6, False),
        ("chg_scrub_dry_site_s", 29, True),
        ("chg_scrub_dry_site_s", 30, False),
        ("chg_scrub_dry_site_s", 31, False),
        ("lock_volume_factor", "1.1", True),
        ("lock_volume_factor", "1.2", False),
        ("lock_volume_factor", "1.3", True),
    ],
)
def test_looser_number(name: str, value: int | str, expected: bool) -> None:
    policy, findings = apply(DEFAULT, local(**{name: Decimal(value)}))
    assert findings == ()
    assert looser(policy.limit(name), DEFAULT.limit(name)) is expected


@pytest.mark.parametrize(
    ("name", "option", "expected"),
    [
        ("hold_ends_with", "evaluation", False),
        ("hold_ends_with", "evaluation or blood return", True),
        ("denominator_counts", "from first access", False),
        ("scale_score_required", "yes", False),
        ("verifier_required", "no", True),
    ],
)
def test_looser_option(name: str, option: str, expected: bool) -> None:
    policy, findings = apply(DEFAULT, local(**{name: option}))
    assert findings == ()
    assert looser(policy.rows[name], DEFAULT.rows[name]) is expected


def test_a_time_of_day_is_never_looser() -> None:
    policy, _ = apply(DEFAULT, local(denominator_time="00:00"))
    assert [change.looser for change in changes(policy)] == [False]


GOOD = {"needle_dwell_days": 5}
FAULTS: list[tuple[object, str, tuple[str, ...], str]] = [
    # what the file contains, rule, path, words of the message or of what to do
    (None, "policy-shape", (), "nothing"),
    ([], "policy-shape", (), "a list"),
    ("text", "policy-shape", (), "text"),
    (3, "policy-shape", (), "a single value"),
    ({**local(**GOOD), "limit": 3}, "policy-shape", ("limit",), 'nearest is "limits"'),
    ({"limits": GOOD}, "policy-source", ("source",), "names no source"),
    ({"source": "Port care procedure", "limits": GOOD}, "policy-source", ("source",), "found text"),
    ({"source": {"date": "2026-01-15"}, "limits": GOOD}, "policy-source", ("source", "title"), "missing"),
    (
        {"source": {"title": "  ", "date": "2026-01-15"}, "limits": GOOD},
        "policy-source",
        ("source", "title"),
        "empty",
    ),
    (
        {"source": {"title": "A" * 56, "date": "2026-01-15"}, "limits": GOOD},
        "policy-source",
        ("source", "title"),
        "1 to 55",
    ),
    (
        {"source": {"title": "a\x1b[31m", "date": "2026-01-15"}, "limits": GOOD},
        "policy-source",
        ("source", "title"),
        '"a?[31m"',
    ),
    ({"source": {"title": 7, "date": "2026-01-15"}, "limits": GOOD}, "policy-source", ("source", "title"), "is 7"),
    ({"source": {"title": "Port care"}, "limits": GOOD}, "policy-source", ("source", "date"), "missing"),
    (
        {"source": {"title": "Port care", "date": "15.1.2026"}, "limits": GOOD},
        "policy-source",
        ("source", "date"),
        "YYYY-MM-DD",
    ),
    (
        {"source": {"title": "Port care", "date": "20260115"}, "limits": GOOD},
        "policy-source",
        ("source", "date"),
        "YYYY-MM-DD",
    ),
    (
        {"source": {"title": "Port care", "date": "2026-02-30"}, "limits": GOOD},
        "policy-source",
        ("source", "date"),
        "2026-02-30",
    ),
    ({"source": {**SOURCE, "address": 5}, "limits": GOOD}, "policy-source", ("source", "address"), "single value"),
    ({"source": {**SOURCE, "titel": "x"}, "limits": GOOD}, "policy-source", ("source", "titel"), 'nearest is "title"'),
    ({"source": SOURCE}, "policy-shape", ("limits",), "nothing"),
    ({"source": SOURCE, "limits": {}}, "policy-shape", ("limits",), "empty mapping"),
    ({"source": SOURCE, "limits": ["needle_dwell_days"]}, "policy-shape", ("limits",), "a list"),
    (
        local(needle_dwel_days=5),
        "policy-unknown-name",
        ("limits", "needle_dwel_days"),
        'nearest is "needle_dwell_days"',
    ),
    (local(qqqqqqqq=5), "policy-unknown-name", ("limits", "qqqqqqqq"), 'no limit named "qqqqqqqq"'),
    (local(needle_dwell_days="5"), "policy-wrong-type", ("limits", "needle_dwell_days"), 'is "5", expected a number'),
    (local(needle_dwell_days="5 days"), "policy-wrong-type", ("limits", "needle_dwell_days"), "published value is 7"),
    (local(needle_dwell_days=True), "policy-wrong-type", ("limits", "needle_dwell_days"), "expected a number"),
    (local(needle_dwell_days=None), "policy-wrong-type", ("limits", "needle_dwell_days"), "missing"),
    (local(needle_dwell_days=[5]), "policy-wrong-type", ("limits", "needle_dwell_days"), "a list"),
    (local(needle_dwell_days=float("nan")), "policy-wrong-type", ("limits", "needle_dwell_days"), "is not a number,"),
    (local(needle_dwell_days=float("inf")), "policy-wrong-type", ("limits", "needle_dwell_days"), "is not a number,"),
    (
        local(needle_dwell_days=10**5000),
        "policy-wrong-type",
        ("limits", "needle_dwell_days"),
        "is a number beyond any use",
    ),
    (
        local(needle_dwell_days=Decimal("1e999999")),
        "policy-wrong-type",
        ("limits", "needle_dwell_days"),
        "beyond any use",
    ),
    (local(needle_dwell_days=0), "policy-not-positive", ("limits", "needle_dwell_days"), "more than 0 days"),
    (local(needle_dwell_days=-7), "policy-not-positive", ("limits", "needle_dwell_days"), "is -7"),
    (local(needle_dwell_days=5.5), "policy-not-whole", ("limits", "needle_dwell_days"), "5.5"),
    (local(needle_dwell_days=141), "policy-out-of-range", ("limits", "needle_dwell_days"), "1 to 140"),
    (local(flush_ml=0.25), "policy-out-of-range", ("limits", "flush_ml"), "0.5 to 200"),
    (local(hold_ends_with="blood return"), "policy-unknown-option", ("limits", "hold_ends_with"), "evaluation"),
    (local(hold_ends_with=3), "policy-wrong-type", ("limits", "hold_ends_with"), "expected one of"),
    (local(hold_ends_with=True), "policy-wrong-type", ("limits", "hold_ends_with"), "expected one of"),
    (local(denominator_time="7:30"), "policy-wrong-type", ("limits", "denominator_time"), "time of day"),
    (local(denominator_time="24:00"), "policy-wrong-type", ("limits", "denominator_time"), "24-hour"),
    (local(denominator_time=450), "policy-wrong-type", ("limits", "denominator_time"), "is 450"),
    (
        local(needle_gauge_min=23, needle_gauge_max=20),
        "policy-contradiction",
        ("limits", "needle_gauge_min"),
        "not above",
    ),
    (local(heparin_lock_max_ml=4), "policy-contradiction", ("limits", "heparin_lock_max_ml"), "heparin_lock_ml is 5"),
]


@pytest.mark.parametrize(("data", "rule", "path", "words"), FAULTS)
def test_each_fault_is_told_once_and_leaves_the_policy_unchanged(
    data: object, rule: str, path: tuple[str, ...], words: str
) -> None:
    policy, findings = apply(DEFAULT, data)
    assert policy is DEFAULT
    assert [(finding.rule, finding.severity, finding.path) for finding in findings] == [(rule, "wrong", path)]
    assert words in f"{findings[0].message} {findings[0].todo}"
    assert findings[0].message.endswith(".") and findings[0].todo.rstrip().endswith((".", '"'))


def test_every_fault_of_a_file_is_told_in_one_run() -> None:
    _, findings = apply(
        DEFAULT,
        {
            "source": {"title": "", "date": "soon"},
            "limits": {"needle_dwell_days": 0, "gloves": "none", "no_such_name": 1, "flush_ml": 12},
            "note": "x",
        },
    )
    assert [finding.path for finding in findings] == [
        ("note",),
        ("source", "title"),
        ("source", "date"),
        ("limits", "needle_dwell_days"),
        ("limits", "gloves"),
        ("limits", "no_such_name"),
    ]


def test_the_ends_of_a_range_are_allowed() -> None:
    for row in DEFAULT.rows.values():
        if isinstance(row, Limit):
            assert row.low <= row.value <= row.high, row.name
    policy, findings = apply(DEFAULT, local(needle_dwell_days=140))
    assert (policy.value("needle_dwell_days"), findings) == (140, ())


def test_yes_and_no_as_truth_values_are_understood() -> None:
    policy, findings = apply(DEFAULT, local(scale_score_required=True, verifier_required=False))
    assert findings == ()
    assert (policy.choice("scale_score_required"), policy.choice("verifier_required")) == ("yes", "no")


def test_a_float_keeps_the_digits_that_were_written() -> None:
    policy, _ = apply(DEFAULT, local(lock_volume_factor=1.3))
    assert policy.value("lock_volume_factor") == Decimal("1.3")


def test_a_date_read_by_yaml_is_taken() -> None:
    policy, findings = apply(
        DEFAULT,
        {"source": {"title": "Port care", "date": datetime.date(2026, 1, 15)}, "limits": GOOD},
    )
    assert findings == ()
    assert policy.facility == sources.local("Port care", "2026-01-15")


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.decimals(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text() | st.sampled_from(sorted(DEFAULT.rows)), inner),
        max_leaves=8,
    )
)
def test_no_data_whatever_ends_in_an_exception(found: object) -> None:
    for data in (found, {"source": found, "limits": found}, {"source": SOURCE, "limits": {"flush_ml": found}}):
        policy, findings = apply(DEFAULT, data)
        assert (policy is DEFAULT) == bool(findings)


def test_asking_for_the_wrong_row_is_a_fault_of_the_program() -> None:
    with pytest.raises(KeyError):
        DEFAULT.value("no_such_name")
    with pytest.raises(TypeError, match="not a number"):
        DEFAULT.value("interval_counting")
    with pytest.raises(TypeError, match="not an option"):
        DEFAULT.choice("needle_dwell_days")
    with pytest.raises(TypeError, match="not a time of day"):
        DEFAULT.clock("needle_dwell_days")
    with pytest.raises(TypeError, match="mL, not a length of time"):
        DEFAULT.span("flush_ml")


def test_spans() -> None:
    assert DEFAULT.span("needle_dwell_days") == datetime.timedelta(hours=168)
    assert DEFAULT.span("line_check_hours") == datetime.timedelta(hours=12)
    assert DEFAULT.span("alteplase_second_check_minutes") == datetime.timedelta(hours=2)
    assert DEFAULT.span("chg_scrub_moist_site_s") == datetime.timedelta(minutes=2)
    policy, _ = apply(DEFAULT, local(line_check_hours=Decimal("0.7")))
    assert policy.span("line_check_hours") == datetime.timedelta(minutes=42)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("1.10", "1.1"),
        ("5.0", "5"),
        (".5", "0.5"),
        ("0.50", "0.5"),
        ("999", "999"),
        ("1000", "1,000"),
        ("1E+3", "1,000"),
        ("100000", "100,000"),
        ("2000.50", "2,000.5"),
        ("100", "100"),
        ("0", "0"),
        ("-0.0", "0"),
        ("-0.5", "-0.5"),
        ("1E-7", "0.0000001"),
    ],
)
def test_number(value: str, text: str) -> None:
    assert number(Decimal(value)) == text


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**9), max_value=10**9, places=6))
def test_a_number_reads_back_and_is_safe_to_print(value: Decimal) -> None:
    text = number(value)
    assert Decimal(text.replace(",", "")) == value
    assert re.fullmatch(r"-?(0|[1-9]\d{0,2}(,\d{3})*)(\.\d*[1-9])?", text)


def test_a_number_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="NaN"):
        number(Decimal("NaN"))


def test_quantity() -> None:
    assert quantity(Decimal(1), "days") == "1 day"
    assert quantity(Decimal(2), "days") == "2 days"
    assert quantity(Decimal("0.5"), "hours") == "0.5 hours"
    assert quantity(Decimal(1), "mL per second") == "1 mL per second"


# The table itself


def test_names_are_single_and_citations_known() -> None:
    assert len(limits.ROWS) == len(DEFAULT.rows) > 100
    assert len(SOURCES) > 50
    for row in limits.ROWS:
        assert row.citations, row.name
        for cited in row.citations:
            assert cited.source in SOURCES, row.name
            assert cited.mark in get_args(sources.Mark), row.name
            assert (cited.mark == "CP") == (cited.source == "common-practice"), row.name


def test_options_hold_their_default_and_times_are_times() -> None:
    for row in limits.ROWS:
        if isinstance(row, Choice):
            assert row.value in row.options and len(set(row.options)) == len(row.options) > 1, row.name
        if isinstance(row, Clock):
            assert DEFAULT.clock(row.name).isoformat("minutes") == row.value


def test_rising_pairs_are_limits_of_one_unit_that_rise() -> None:
    for lower, upper in RISING:
        assert DEFAULT.limit(lower).unit == DEFAULT.limit(upper).unit
        assert DEFAULT.value(lower) <= DEFAULT.value(upper)


UNSAFE = re.compile(
    r"\b(?:U|u|IU|Q\.?D\.?|q\.?d\.?|Q\.?O\.?D\.?|q\.?o\.?d\.?|MS|MSO4|MgSO4|cc|ug|NS|SC|SQ|HS|BT|IJ|IN|OD|D/C)\b"
    r"|[<>@&+\u00b5\u03bc\u00b0]|\d\.0\b(?!\.\d)|(?<!\d)\.\d|\d(?:mg|mL|kg|g|mcg)\b"
)


def printed() -> Iterator[tuple[str, str]]:
    for row in DEFAULT.rows.values():
        yield row.name, row.says
        yield row.name, value_text(row)
        yield from ((row.name, option) for option in getattr(row, "options", ()))
        yield from ((row.name, cited.text()) for cited in row.citations)
    for source in SOURCES.values():
        yield source.key, source.short
        yield source.key, source.title
        yield source.key, source.edition
    yield from ((mark, words) for mark, words in sources.MARK_WORDS.items())
    for data, rule, _, _ in FAULTS:
        yield from ((rule, f"{found.message} {found.todo}") for found in apply(DEFAULT, data)[1])


def test_nothing_printed_holds_an_unsafe_abbreviation() -> None:
    texts = list(printed())
    assert len(texts) > 800
    assert [(name, text) for name, text in texts if UNSAFE.search(text)] == []


def test_the_unsafe_pattern_finds_what_it_must() -> None:
    for text in ("500 U", "5.0 mL", ".5 mg", "10mg", "MS", "a > b", "5 cc", "QD", "D/C the needle"):
        assert UNSAFE.search(text), text


def test_citations_fit_on_an_output_row() -> None:
    texts = [cited.text() for row in DEFAULT.rows.values() for cited in row.citations]
    assert max(map(len, texts)) <= 110
    longest = sources.local("A" * 55, "2026-01-15").text()
    assert len(longest) <= 110


def test_every_mark_has_words() -> None:
    assert set(sources.MARK_WORDS) == set(get_args(sources.Mark))
    assert Citation("nhsn-4", "M-M", "notes").text() == (
        "NHSN chapter 4, notes [from memory, medium confidence: to be confirmed]"
    )
    assert Citation("open-rn", "R").text() == "Open RN Advanced Skills [read in the issuer's own text]"


# What the rest of the program asks for


def calls(name: str) -> Iterator[tuple[Path, ast.Call]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func).rpartition(".")[2] == name:
                yield path, node


def texts(node: ast.Call) -> Iterator[str]:
    for argument in node.args:
        if isinstance(argument, ast.Constant) and isinstance(argument.value, str):
            yield argument.value


def of_policy(node: ast.Call) -> bool:
    receiver = ast.unparse(node.func).rpartition(".")[0].rpartition(".")[2]
    return receiver in ("policy", "DEFAULT")


def test_every_name_that_the_program_asks_for_exists() -> None:
    kinds: dict[str, tuple[type, ...]] = {
        "limit": (Limit,),
        "value": (Limit,),
        "span": (Limit,),
        "text": (Limit,),
        "choice": (Choice,),
        "clock": (Clock,),
        "citations": (Limit, Choice, Clock),
    }
    asked = [
        (path.name, method, name)
        for method in kinds
        for path, node in calls(method)
        if of_policy(node)
        for name in texts(node)
    ]
    assert asked, "no call of the policy was found: the search is wrong"
    wrong = [row for row in asked if row[2] not in DEFAULT.rows or not isinstance(DEFAULT.rows[row[2]], kinds[row[1]])]
    assert wrong == []
    spans = [row for row in asked if row[1] == "span"]
    assert [row for row in spans if not DEFAULT.span(row[2])] == []


AWAITED = {"shift_starts"}  # read by the states of the line


def test_every_row_is_read_by_the_program() -> None:
    """A limit that no rule, clock or sheet reads would be printed as in force and hold nothing."""
    package = Path(__file__).parents[1] / "lda_notes"
    written: set[str] = set()
    for path in package.rglob("*.py"):
        if path.name != "limits.py":
            tree = ast.parse(path.read_text())
            written |= {n.value for n in ast.walk(tree) if isinstance(n, ast.Constant) and isinstance(n.value, str)}
    stems = {text for text in written if text.startswith("cream_")}
    made = {f"{stem}_{unit}" for stem in stems for unit in ("g", "cm2", "hours", "kg")}  # names made in skin_limits.py
    assert len(written & set(DEFAULT.rows)) > 80
    assert sorted(set(DEFAULT.rows) - written - made - AWAITED) == []


def test_every_citation_written_in_the_program_names_a_known_source() -> None:
    written = [(path.name, next(texts(node), None)) for path, node in calls("Citation")]
    assert written
    assert [(path, key) for path, key in written if key is not None and key not in SOURCES] == []


def test_the_policy_is_light_to_import() -> None:
    script = (
        "import sys, lda_notes.knowledge.policy; "
        "print(*sorted({'pydantic', 'yaml', 'difflib', 'jinja2', 'docx', 're'} & sys.modules.keys()))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=PACKAGE.parent
    )
    assert set(done.stdout.split()) <= {"re"}
