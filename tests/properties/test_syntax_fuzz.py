"""Both readers on random trees, on arbitrary bytes and on damaged files: they agree, and they never raise."""

import json
import math
from typing import Any

import pytest
import yaml
from hypothesis import example, given, settings
from hypothesis import strategies as st

from lda_notes.files.syntax import MAX_FAULTS, Parsed, faultless_json, read_json, read_yaml, yaml_reader
from lda_notes.files.syntax.text import HIDDEN
from lda_notes.problems import Path

SEEN = st.text(st.characters(exclude_categories=["Cs"]).filter(lambda c: not HIDDEN.match(c)), max_size=12)
SCALARS = (
    st.none()
    | st.booleans()
    | st.integers(-(10**40), 10**40)
    | st.floats(allow_nan=False, allow_infinity=False)
    | SEEN
    | st.sampled_from(["no", "012", "1e3", "~", "null", "22:30", "- a", "a: b", "#", "&x", "*x", "!x", "<<", "", " "])
)
TREES = st.dictionaries(
    SEEN,
    st.recursive(
        SCALARS,
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(SEEN, inner, max_size=4),
        max_leaves=20,
    ),
    max_size=5,
)
SETTINGS = settings(max_examples=60, deadline=None)


def same(one: object, other: object) -> bool:
    """Equal, and of the same types: 1, 1.0 and True differ, 0.0 and -0.0 too."""
    return repr(one) == repr(other)


def as_json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)


def paths(data: Any, path: Path = ()) -> list[Path]:
    found = [path]
    if isinstance(data, dict):
        for key, item in data.items():
            found += paths(item, (*path, key))
    elif isinstance(data, list):
        for index, item in enumerate(data):
            found += paths(item, (*path, index))
    return found


def at(raw: bytes, place: tuple[int, int]) -> str:
    """The file from a place on, with rows and columns counted here again, by hand."""
    row, column = place
    text = raw.decode("utf-8-sig")
    for _ in range(row - 1):
        ends = [end for end in (text.find("\n"), text.find("\r")) if end >= 0]
        end = min(ends)
        text = text[end + (2 if text[end : end + 2] == "\r\n" else 1) :]
    return text[column - 1 :]


def holds(parsed: Parsed, raw: bytes) -> None:
    """What is true of every result, whatever was read."""
    assert len(parsed.faults) <= MAX_FAULTS + 1
    assert list(parsed.faults) == sorted(parsed.faults, key=lambda fault: (fault.row, fault.column))
    rows = raw.count(b"\n") + raw.count(b"\r") + 1
    for fault in parsed.faults:
        assert 1 <= fault.row <= rows
        assert 1 <= fault.column <= len(raw) + 1
        assert HIDDEN.search(fault.message + fault.todo) is None
    assert same(json.loads(parsed.json), parsed.data)
    if parsed.data is None:
        assert parsed.faults, "an unreadable file must have a fault that says why"
    else:
        assert HIDDEN.search(json.dumps(parsed.data, ensure_ascii=False)) is None
        assert set(parsed.places) == set(parsed.key_places) == set(paths(parsed.data))
        assert {path: parsed.place(path) for path in parsed.places} == parsed.places
        assert {path: parsed.key_place(path) for path in parsed.places} == parsed.key_places


@pytest.fixture(params=["libyaml", "pure Python"], scope="module")
def parser(request: pytest.FixtureRequest) -> Any:
    with pytest.MonkeyPatch.context() as patch:
        if request.param != "libyaml":
            patch.setattr(yaml_reader, "PARSER", yaml.SafeLoader)
        yield request.param


@SETTINGS
@given(tree=TREES, indent=st.none() | st.integers(0, 3))
@example(tree={"a": [-0.0, 0, 1e300, -(10**40), "", None], "": {"": []}}, indent=2)
def test_both_readers_read_the_same(parser: str, tree: dict[str, Any], indent: int | None) -> None:
    # DEL and C1 controls, which JSON may contain unescaped, are hidden and so not in these trees.
    raw = json.dumps(tree, ensure_ascii=False, indent=indent).encode()
    expected = json.loads(raw)
    from_json, from_yaml = read_json(raw), read_yaml(raw)
    for parsed in (from_json, from_yaml):
        assert parsed.faults == ()
        assert same(parsed.data, expected)
        holds(parsed, raw)
    assert from_json.places == from_yaml.places
    assert from_json.key_places == from_yaml.key_places
    assert faultless_json(raw)


@SETTINGS
@given(tree=TREES)
def test_places_point_at_what_stands_there(tree: dict[str, Any]) -> None:
    raw = json.dumps(tree, ensure_ascii=False, indent=1).replace("\n", "\r\n").encode()
    parsed = read_json(raw)
    for path, place in parsed.places.items():
        value: Any = tree
        for step in path:
            value = value[step]
        start = as_json(value)[:1] if isinstance(value, dict | list) else as_json(value)
        assert at(raw, place).startswith(start)
        if path and isinstance(path[-1], str):
            assert at(raw, parsed.key_places[path]).startswith(as_json(path[-1]))


@SETTINGS
@given(tree=TREES, flow=st.sampled_from([None, False, True]), width=st.sampled_from([20, 80, 10_000]))
def test_block_yaml_reads_as_written(parser: str, tree: dict[str, Any], flow: bool | None, width: int) -> None:
    class Dumper(yaml.SafeDumper):
        """Quotes every text, so that YAML 1.1 of the dumper and 1.2 of the reader cannot differ on plain ones."""

    Dumper.add_representer(str, lambda dumper, text: dumper.represent_scalar("tag:yaml.org,2002:str", text, style='"'))
    # Floats as JSON: the dumper's own 1e+300 is written 1.0e+300, an equal number. No references to equal objects.
    Dumper.ignore_aliases = lambda self, data: True  # type: ignore[method-assign]  # replaced on purpose
    raw = yaml.dump(
        tree, Dumper=Dumper, default_flow_style=flow, width=width, allow_unicode=True, sort_keys=False
    ).encode()
    parsed = read_yaml(raw)
    assert parsed.faults == ()
    assert same(parsed.data, tree)
    holds(parsed, raw)


SIGNS = [
    *(
        "a",
        "b",
        ":",
        ": ",
        "- ",
        "-",
        " ",
        "  ",
        "\n",
        "\r\n",
        "\r",
        "\t",
        "[",
        "]",
        "{",
        "}",
        ",",
        "'",
        '"',
        "#",
        "?",
        "? ",
    ),
    *(
        "&x ",
        "*x",
        "!x ",
        "!!str ",
        "|",
        ">",
        "|2\n",
        "<<: ",
        "---\n",
        "...\n",
        "%YAML 1.2\n",
        "%TAG ! x\n",
        "=",
        "@",
        "`",
    ),
    *("012", "1e3", "0x1F", "NaN", ".inf", "true", "null", "~", "\\", "\\u202e", "\\ud834", "\\x1b", "\\N", "é", "𝄞"),
    *("\u202e", "\x00", "\x85", "\u2028", "\ufeff", "\udcff", "a: 1\n", "b:\n", "  c: [1, 2]\n", '"a": ', '"x"', "{\n"),
]
PIECES = st.lists(st.sampled_from(SIGNS), max_size=40).map(
    lambda pieces: "".join(pieces).encode("utf-8", "surrogateescape")
)
TEXTS = st.text(max_size=60).map(lambda text: text.encode("utf-8", "surrogatepass"))


@settings(max_examples=250, deadline=5000)
@given(raw=PIECES | st.binary(max_size=200) | TEXTS)
@example(raw=b"\xff\xfe")
@example(raw=b'a: "\\UFFFFFFFF"')
@example(raw=b"a: \xc3")
@example(raw=b"\xef\xbb\xbf")
@example(raw=b"\xef\xbb\xbf\xef\xbb\xbfa: 1")
def test_whatever_the_bytes_nothing_is_raised(parser: str, raw: bytes) -> None:
    holds(read_yaml(raw), raw)
    parsed = read_json(raw)
    holds(parsed, raw)
    if faultless_json(raw):
        assert parsed.faults == ()
        assert same(json.loads(raw), parsed.data)


@SETTINGS
@given(tree=TREES, cut=st.floats(0, 1), flow=st.booleans())
def test_cut_short_a_file_is_still_read_or_refused(parser: str, tree: dict[str, Any], cut: float, flow: bool) -> None:
    raw = yaml.safe_dump(tree, default_flow_style=flow, allow_unicode=True).encode()
    raw = raw[: math.floor(len(raw) * cut)]
    holds(read_yaml(raw), raw)
    raw = json.dumps(tree).encode()
    short = raw[: math.floor((len(raw) - 1) * cut)]
    parsed = read_json(short)
    holds(parsed, short)
    assert parsed.data is None, "an object without its closing bracket is not an object"


@SETTINGS
@given(
    tree=TREES.filter(bool),
    hidden=st.sampled_from(["\u202e", "\u200e", "\x00", "\x1b", "\u200b", "\ufeff", "\U000e0041"]),
    data=st.data(),
)
def test_a_hidden_character_changes_nothing_else(tree: dict[str, Any], hidden: str, data: st.DataObject) -> None:
    clean = json.dumps(tree, ensure_ascii=False, indent=1)
    where = data.draw(st.integers(1, len(clean)))
    raw = (clean[:where] + hidden + clean[where:]).encode()
    row = clean[:where].count("\n") + 1
    column = where - clean.rfind("\n", 0, where)
    for read in (read_json, read_yaml):
        parsed = read(raw)
        assert [(fault.row, fault.column, fault.rule) for fault in parsed.faults] == [(row, column, "hidden-character")]
        assert same(parsed.data, tree)
        for path, place in read(clean.encode()).places.items():
            moved = place if place < (row, column) or place[0] > row else (place[0], place[1] + 1)
            assert parsed.places[path] == moved
    assert not faultless_json(raw)


@SETTINGS
@given(tree=TREES.filter(bool), data=st.data())
def test_a_repeated_key_is_found_and_the_first_value_kept(tree: dict[str, Any], data: st.DataObject) -> None:
    key = data.draw(st.sampled_from(sorted(tree)))
    other = data.draw(TREES)
    rows = [f"{as_json(name)}: {as_json(item)}" for name, item in tree.items()]
    rows.append(f"{as_json(key)}: {as_json(other)}")
    raw = ("{" + ",\n".join(rows) + "}").encode()
    for read in (read_json, read_yaml):
        parsed = read(raw)
        assert [(fault.row, fault.column, fault.rule) for fault in parsed.faults] == [(len(rows), 1, "repeated-key")]
        assert f"row {list(tree).index(key) + 1}." in parsed.faults[0].message
        assert same(parsed.data, tree)
        holds(parsed, raw)
    assert not faultless_json(raw)
