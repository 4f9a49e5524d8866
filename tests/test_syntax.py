"""The readers of YAML and JSON: what a scalar says, where every value stands, and each fault with its place."""

import json
import subprocess
import sys
import time

import pytest
import yaml

from lda_notes.files.syntax import (
    MAX_BYTES,
    MAX_DEPTH,
    MAX_FAULTS,
    MAX_HIDDEN,
    MAX_NUMBER,
    MAX_VALUES,
    Parsed,
    faultless_json,
    read_json,
    read_yaml,
    yaml_reader,
)


@pytest.fixture(params=["libyaml", "pure Python"])
def parser(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Both parsers whose events are composed; PyYAML may have been built without libyaml."""
    if request.param == "libyaml":
        assert yaml_reader.PARSER is not yaml.SafeLoader, "this PyYAML has no libyaml: the fast path is not tested"
    else:
        monkeypatch.setattr(yaml_reader, "PARSER", yaml.SafeLoader)
    return request.param


def spots(parsed: Parsed) -> list[tuple[int, int, str]]:
    return [(fault.row, fault.column, fault.rule) for fault in parsed.faults]


# YAML 1.2.2 section 10.3.2, core schema, tag resolution [R2]; the values beside each expression are our own.
CORE = [
    ("", None), ("~", None), ("null", None), ("Null", None), ("NULL", None),
    ("true", True), ("True", True), ("TRUE", True), ("false", False), ("False", False), ("FALSE", False),
    ("0", 0), ("42", 42), ("-19", -19), ("+7", 7), ("-0", 0), ("0o7", 7), ("0o17", 15), ("0x3A", 58), ("0xff", 255),
    ("0.", 0.0), ("-0.0", -0.0), (".5", 0.5), ("-.5", -0.5), ("+12e03", 12000.0), ("-2E+05", -200000.0),
    ("1e3", 1000.0), ("1.25", 1.25), ("2.50", 2.5), ("5.e1", 50.0), ("0e0", 0.0),
]  # fmt: skip

# What YAML 1.1 takes for something else, or what only looks like a number: text in the core schema.
TEXT = [
    "no", "No", "NO", "on", "off", "yes", "y", "n", "nUll", "tRUE", "none", "22:30", "1:30", "08:00", "2031-03-04",
    "2031-03-04T08:00:00-05:00", "1_000", "0b11", "0O7", "0X1F", "+0x1F", "-0o7", "0o8", "0xG", "1e", "e3", ".", "-",
    "+", "..", "1.2.3", "5 mL", "12A", "=", "٢٠", "１２", "1e3x", "inf", "nan", "NaN", "Infinity", ".iNF", "-.nan",
]  # fmt: skip


@pytest.mark.parametrize(("written", "value"), CORE)
def test_a_plain_scalar_says_what_the_core_schema_says(written: str, value: object, parser: str) -> None:
    parsed = read_yaml(f"a: {written}\nb: [{written or '~'}]\n".encode())
    assert parsed.faults == ()
    assert repr(parsed.data) == repr({"a": value, "b": [value]})
    assert repr(json.loads(parsed.json)["a"]) == repr(value)


@pytest.mark.parametrize("written", TEXT)
def test_what_looks_like_more_stays_text(written: str, parser: str) -> None:
    if written in ("-", "."):
        written = f"{written}x"
    parsed = read_yaml(f"a: {written}\n".encode())
    assert (parsed.data, parsed.faults) == ({"a": written}, ())


@pytest.mark.parametrize("written", [written for written, _ in CORE if written])
def test_in_quotes_a_scalar_is_text(written: str, parser: str) -> None:
    parsed = read_yaml(f"a: '{written}'\nb: \"{written}\"\nc: !!str {written}\nd: |-\n  {written}\n".encode())
    assert parsed.data == dict.fromkeys("abcd", written)
    assert parsed.faults == ()


def test_example_10_9_of_the_specification(parser: str) -> None:
    """YAML 1.2.2, example 10.9 "Core Tag Resolution" [R2]; infinities are no measurement and are refused here."""
    raw = b"""\
A null: null
Also a null: # Empty
Not a null: ""
Booleans: [ true, True, false, FALSE ]
Integers: [ 0, 0o7, 0x3A, -19 ]
Floats: [ 0., -0.0, .5, +12e03, -2E+05 ]
Also floats: [ .inf, -.Inf, +.INF, .NAN ]
"""
    parsed = read_yaml(raw)
    assert parsed.data == {
        "A null": None,
        "Also a null": None,
        "Not a null": "",
        "Booleans": [True, True, False, False],
        "Integers": [0, 7, 58, -19],
        "Floats": [0.0, -0.0, 0.5, 12000.0, -200000.0],
        "Also floats": [".inf", "-.Inf", "+.INF", ".NAN"],
    }
    assert spots(parsed) == [(7, column, "not-finite") for column in (16, 22, 29, 36)]


@pytest.mark.parametrize(
    ("written", "in_json"),
    [
        ("2.50", "2.50"), ("1e3", "1e3"), ("+5", "5"), ("-.5", "-0.5"), ("5.", "5.0"), ("+.5E+1", "0.5E+1"),
        ("5.e2", "5.0e2"), ("-0", "-0"), ("0x1F", "31"), ("12345678901234567890123", "12345678901234567890123"),
        ("0.1", "0.1"), ("1e-7", "1e-7"), ("0.0000001", "0.0000001"), ("1.10", "1.10"),
    ],
)  # fmt: skip
def test_json_keeps_numbers_as_written(written: str, in_json: str, parser: str) -> None:
    parsed = read_yaml(f"a: {written}\nb:\n  - {written}\n".encode())
    assert parsed.json == f'{{"a":{in_json},"b":[{in_json}]}}'.encode()
    assert json.loads(parsed.json) == parsed.data
    again = read_json(parsed.json)
    assert (again.json, again.faults) == (parsed.json, ())


def test_json_of_everything_else_is_the_same_data(parser: str) -> None:
    parsed = read_yaml('a: "é \\" \\\\ \\n 日"\n"k \\" é": [true, ~, 2.50]\nempty: {}\nnone: []\n'.encode())
    assert json.loads(parsed.json) == parsed.data
    assert read_yaml(b"").json == b"null"


PLACES = """\
# a comment
a: 1
b:
  - x
  -   {c: [1,  2], "d" : 'e'}
f:
    g:  |
      text
h:
"""


@pytest.mark.parametrize("row_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_every_value_and_key_has_its_place(row_end: str, mark: str, parser: str) -> None:
    parsed = read_yaml((mark + PLACES).replace("\n", row_end).encode())
    assert parsed.data == {"a": 1, "b": ["x", {"c": [1, 2], "d": "e"}], "f": {"g": "text\n"}, "h": None}
    assert parsed.places == {
        (): (2, 1),
        ("a",): (2, 4),
        ("b",): (4, 3),
        ("b", 0): (4, 5),
        ("b", 1): (5, 7),
        ("b", 1, "c"): (5, 11),
        ("b", 1, "c", 0): (5, 12),
        ("b", 1, "c", 1): (5, 16),
        ("b", 1, "d"): (5, 26),
        ("f",): (7, 5),
        ("f", "g"): (7, 9),
        ("h",): (9, 3),
    }
    keys = parsed.key_places
    assert [keys[path] for path in [("a",), ("b", 1, "d"), ("f",), ("f", "g")]] == [(2, 1), (5, 20), (6, 1), (7, 5)]
    assert keys["b", 1] == (5, 7)


def test_columns_count_characters_not_bytes(parser: str) -> None:
    assert read_yaml("é日𝄞: [ü, x]\n".encode()).places["é日𝄞", 1] == (1, 10)
    assert read_json('{"é日𝄞": ["ü", "x"]}'.encode()).places["é日𝄞", 1] == (1, 15)


def test_json_places() -> None:
    parsed = read_json(b'{\n  "a": 1,\r\n  "b": [ "x", {"c" : null} ]\n}')
    assert parsed.data == {"a": 1, "b": ["x", {"c": None}]}
    assert parsed.places == {
        (): (1, 1),
        ("a",): (2, 8),
        ("b",): (3, 8),
        ("b", 0): (3, 10),
        ("b", 1): (3, 15),
        ("b", 1, "c"): (3, 22),
    }
    assert parsed.key_places["b", 1, "c"] == (3, 16)


def test_the_place_of_what_is_absent_is_that_of_what_lacks_it() -> None:
    parsed = read_yaml(b"a:\n  b: 1\n")
    assert parsed.place(("a", "c", 3)) == (2, 3)
    assert parsed.key_place(("a", "c")) == (1, 1)
    assert parsed.place(("z",)) == (1, 1)
    assert read_yaml(b"").place(("a",)) == (1, 1)


# Each fault of YAML: the text, the rows and columns with their rules, a word of the sentence, and the data left.
YAML_FAULTS = [
    ("a: 1\nb: 2\na: 3\n", [(3, 1, "repeated-key")], "row 1", {"a": 1, "b": 2}),
    ("a:\n  b: {c: 1,\n    c: {d: 2}}\n", [(3, 5, "repeated-key")], '"c"', {"a": {"b": {"c": 1}}}),
    ("a: 1\na: 2\na: [1]\n", [(2, 1, "repeated-key"), (3, 1, "repeated-key")], "row 1", {"a": 1}),
    ("a: 1\n'a': {x: 012}\n", [(2, 1, "repeated-key"), (2, 10, "leading-zero")], "row 1", {"a": 1}),
    ("a: &x [1]\nb: *x\n", [(1, 4, "yaml-alias"), (2, 4, "yaml-alias")], "label", {"a": [1], "b": None}),
    ("lot: &A12\n", [(1, 6, "yaml-alias")], "ampersand", {"lot": None}),
    ("a: {x: 1}\n<<: {y: 2}\n", [(2, 1, "yaml-alias")], "merge", {"a": {"x": 1}}),
    ("*a : 1\nb: 2\n", [(1, 1, "yaml-alias")], "star", {"b": 2}),
    ("a: !!int 5\nb: !x [1]\n", [(1, 4, "yaml-tag"), (2, 4, "yaml-tag")], "tag", {"a": 5, "b": [1]}),
    ("a: !!python/object/apply:os.system [x]\n", [(1, 4, "yaml-tag")], "tag", {"a": ["x"]}),
    ("a: !\n", [(1, 4, "yaml-tag")], "tag", {"a": None}),
    ("!!map\na: 1\n", [(1, 1, "yaml-tag")], "tag", {"a": 1}),
    ("a: !x!y 1\n", [(1, 4, "yaml-tag")], "tag", None),
    ("a: 012\nb: -007\nc: 00.5\nd: 0800\n", [(r, 4, "leading-zero") for r in (1, 2, 3, 4)], "zero",
     {"a": "012", "b": "-007", "c": "00.5", "d": "0800"}),
    ("a: .inf\nb: [1e999, -1e999]\n", [(1, 4, "not-finite"), (2, 5, "not-finite"), (2, 12, "not-finite")], "finite",
     {"a": ".inf", "b": ["1e999", "-1e999"]}),
    ("? [a]\n: b\nc: d\n", [(1, 3, "key-not-text")], "list", {"c": "d"}),
    ("{a: 1}: b\nc: d\n", [(1, 1, "key-not-text")], "name", {"c": "d"}),
    ("?\n: b\nc: d\n", [(1, 2, "key-not-text")], "no name", {"c": "d"}),
    (": b\nc: d\n", [(1, 1, "key-not-text")], "no name", None),
    ("a: 1\n---\nb: 2\n", [(2, 1, "several-documents")], "second", None),
    ("a: 1\n...\nb: 2\n", [(3, 1, "several-documents")], "second", None),
    ("%YAML 1.1\n---\na: no\n", [(1, 1, "yaml-version")], "1.2", {"a": "no"}),
    ("%YAML 3.0\n---\na: no\n", [(1, 1, "yaml-version")], "1.2", None),
    ("", [(1, 1, "empty-file")], "nothing", None),
    ("# only a comment\n", [(1, 1, "empty-file")], "nothing", None),
    ("- a\n", [(1, 1, "not-a-mapping")], "a list", None),
    ("\n  word\n", [(2, 3, "not-a-mapping")], "single value", None),
    ("---\n", [(2, 1, "not-a-mapping")], "nothing", None),
    # syntax: one sentence of ours for each of the parser's
    ("a:\n\tb: 1\n", [(2, 1, "yaml-tab")], "tab", None),
    ("a:\n  b: 1\n\tc: 2\n", [(3, 1, "yaml-tab")], "tab", None),
    ("a: 1\nb: 'x\nc: 2\n", [(2, 4, "yaml-syntax")], "quotation mark", None),
    ('a: "x\n---\n"', [(1, 4, "yaml-syntax")], "quotation mark", None),
    ("a:1\nb: 2\n", [(1, 2, "yaml-syntax")], "space after the colon", None),
    ("b: 2\na:1\nc: 3\n", [(2, 2, "yaml-syntax")], "space after the colon", None),
    ("a: 2\nword\nc: 3\n", [(2, 1, "yaml-syntax")], "colon", None),
    ("a: b: c\n", [(1, 5, "yaml-syntax")], "second colon", None),
    ("a: 1\n  b: 2\n", [(2, 3, "yaml-syntax")], "indented further", None),
    ("a:\n    b: 1\n  c: 2\n", [(3, 3, "yaml-syntax")], "indentation", None),
    ("- a\nb: 1\n", [(2, 1, "yaml-syntax")], "dash", None),
    ("a: - b\n", [(1, 4, "yaml-syntax")], "dash", None),
    ("a: [1, 2\nb: 3\n", [(1, 4, "yaml-syntax")], "square bracket", None),
    ("a: {x: 1\nb: 3\n", [(1, 4, "yaml-syntax")], "curly bracket", None),
    ("a: [1,,2]\n", [(1, 7, "yaml-syntax")], "value was expected", None),
    ("a: ]\n", [(1, 4, "yaml-syntax")], "value was expected", None),
    ("a: 'b' c\n", [(1, 8, "yaml-syntax")], "after the end of a value", None),
    ("a: |x\n  b\n", [(1, 5, "yaml-syntax")], "several rows", None),
    ("a: @x\n", [(1, 4, "yaml-syntax")], "at sign", None),
    ("a: `x\n", [(1, 4, "yaml-syntax")], "backquote", None),
    ("a: %x\n", [(1, 4, "yaml-syntax")], "percent sign", None),
    ("a: * x\n", [(1, 4, "yaml-alias")], "star", None),
    ("%YAML x\na: 1\n", [(1, 7, "yaml-version")], "1.2", None),
    # what would be lost in silence, or become part of the value
    ("a: bag #2\nb: #1 done\nc: 'x' #y\nd: one\n  two #3\n", [(r, c, "yaml-number-sign") for r, c in
     ((1, 8), (2, 4), (3, 8), (5, 7))], "remark", {"a": "bag", "b": None, "c": "x", "d": "one two"}),
    ("a: “x”\nb: 1\n", [(1, 4, "typographic-quotes")], "straight", {"a": "“x”", "b": 1}),
    ("a: “x: y”\n", [(1, 4, "typographic-quotes")], "straight", None),
    # every fault before the place where reading stops is still listed
    ("a: 012\na: 1\nb: *x\nc: 'y\n",
     [(1, 4, "leading-zero"), (2, 1, "repeated-key"), (3, 4, "yaml-alias"), (4, 4, "yaml-syntax")], "zero", None),
]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "faults", "says", "data"), YAML_FAULTS, ids=[repr(row[0])[:40] for row in YAML_FAULTS]
)
@pytest.mark.parametrize("row_end", ["\n", "\r\n"], ids=["LF", "CRLF"])
def test_each_fault_of_yaml_has_its_place(
    text: str, faults: list[tuple[int, int, str]], says: str, data: object, row_end: str, parser: str
) -> None:
    parsed = read_yaml(text.replace("\n", row_end).encode())
    assert spots(parsed) == faults
    assert says in parsed.faults[0].message
    assert parsed.data == data
    for fault in parsed.faults:
        assert fault.message.endswith(".")
        assert fault.todo.endswith(".")
        assert fault.message.count(".") - fault.message.count("1.2") == 1, "one sentence"


def test_an_ampersand_or_exclamation_mark_in_a_text_is_text(parser: str) -> None:
    parsed = read_yaml(b"a: A&O x3, well!\nb: [R & L, no!, 'x' ]\nc: '&x !y'\nd: |\n  !z\n")
    assert parsed.data == {"a": "A&O x3, well!", "b": ["R & L", "no!", "x"], "c": "&x !y", "d": "!z\n"}
    assert parsed.faults == ()


@pytest.mark.parametrize(
    "text",
    [
        "a: &x 1",
        "a: [&x 1]",
        "a: [1,&x 2]",
        '{"a":&x 1}',
        "a:\n- &x 1",
        "&x a: 1",
        "&x\na: 1",
        "a:\n  &x\n  b: 1",
        "? &x a",
    ],
)
@pytest.mark.parametrize(("sign", "rule"), [("&", "yaml-alias"), ("!", "yaml-tag")])
def test_an_anchor_or_tag_is_seen_wherever_it_may_stand(text: str, sign: str, rule: str, parser: str) -> None:
    assert [fault.rule for fault in read_yaml(text.replace("&", sign).encode()).faults] == [rule]


@pytest.mark.parametrize("place", [(1, 4, 'a: "\\d"\n'), (2, 4, 'b: 1\na: "x \\ud800"\n'), (1, 4, 'a: "\\x4"')])
def test_an_escape_that_yaml_does_not_have(place: tuple[int, int, str]) -> None:
    row, column, text = place
    (fault,) = read_yaml(text.encode()).faults
    assert (fault.row, fault.rule) == (row, "yaml-syntax")
    assert fault.column > column
    assert "backslash" in fault.message


JSON_FAULTS = [
    ('{"a": 1,\n "b": 2,\n "a": {"c": 3}}', [(3, 2, "repeated-key")], "row 1", {"a": 1, "b": 2}),
    ('{"a": NaN, "b": [Infinity, -Infinity]}',
     [(1, 7, "not-finite"), (1, 18, "not-finite"), (1, 28, "not-finite")], "finite",
     {"a": "NaN", "b": ["Infinity", "-Infinity"]}),
    ('{"a": 1e999}', [(1, 7, "not-finite")], "finite", {"a": "1e999"}),
    ('{"a": 012, "b": -00}', [(1, 7, "leading-zero"), (1, 17, "leading-zero")], "zero", {"a": "012", "b": "-00"}),
    ('{"a": +1, "b": .5, "c": 5., "d": 1e, "e": 0x1F}',
     [(1, column, "json-syntax") for column in (7, 16, 25, 34, 43)], "not written as JSON",
     {"a": "+1", "b": ".5", "c": "5.", "d": "1e", "e": "0x1F"}),
    ("", [(1, 1, "empty-file")], "nothing", None),
    (" \n", [(1, 1, "empty-file")], "nothing", None),
    ("[1]", [(1, 1, "not-a-mapping")], "a list", None),
    ("\n 5", [(2, 2, "not-a-mapping")], "single value", None),
    ('{"a": 1}\n{"b": 2}', [(2, 1, "json-syntax")], "after the end", None),
    ('{"a": 1', [(1, 8, "json-syntax")], "ends here", None),
    ('{"a": 1,', [(1, 9, "json-syntax")], "ends here", None),
    ('{"a"', [(1, 5, "json-syntax")], "ends here", None),
    ('{"a": ', [(1, 7, "json-syntax")], "ends here", None),
    ("{", [(1, 2, "json-syntax")], "ends here", None),
    ('{"a": 1,}', [(1, 9, "json-syntax")], "name in double quotes", None),
    ("{a: 1}", [(1, 2, "json-syntax")], "name in double quotes", None),
    ("{'a': 1}", [(1, 2, "json-syntax")], "name in double quotes", None),
    ('{"a" 1}', [(1, 6, "json-syntax")], "colon", None),
    ('{"a": 1 "b": 2}', [(1, 9, "json-syntax")], "comma", None),
    ('{"a": [1, 2}', [(1, 12, "json-syntax")], "comma", None),
    ('{"a": [1,, 2]}', [(1, 10, "json-syntax")], "value was expected", None),
    ('{"a": [1, 2,]}', [(1, 13, "json-syntax")], "value was expected", None),
    ('{"a": True}', [(1, 7, "json-syntax")], "without quotes", None),
    ('{"a": brisk}', [(1, 7, "json-syntax")], "without quotes", None),
    ('{"a": 1} // note', [(1, 10, "json-syntax")], "after the end", None),
    ('{"a": "x\n"}', [(1, 7, "json-syntax")], "double quotes", None),
    ('{"a": "x\ty"}', [(1, 7, "json-syntax")], "double quotes", None),
    ('{"a": "x', [(1, 7, "json-syntax")], "double quotes", None),
    ('{"a": "x\\q"}', [(1, 9, "json-syntax")], "backslash", None),
    ('{"a": "x\\u12"}', [(1, 10, "json-syntax")], "backslash", None),
]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "faults", "says", "data"), JSON_FAULTS, ids=[repr(row[0])[:40] for row in JSON_FAULTS]
)
def test_each_fault_of_json_has_its_place(
    text: str, faults: list[tuple[int, int, str]], says: str, data: object
) -> None:
    parsed = read_json(text.encode())
    assert spots(parsed) == faults
    assert says in parsed.faults[0].message
    assert parsed.data == data
    assert not faultless_json(text.encode())


# Hidden characters: where each stands, and what is left. U+2028, U+0085 and the like part words: they become a space.
HIDDEN = [
    ("2\u200e5 mL", 1, "25 mL", "U+200E (left-to-right mark)"),
    ("abc\u202edef", 3, "abcdef", "U+202E (right-to-left override)"),
    ("\u2066x\u2069", 0, "x", "U+2066"),
    ("x\x00y", 1, "xy", "U+0000"),
    ("x\x07", 1, "x", "U+0007"),
    ("x\x7fy", 1, "xy", "U+007F"),
    ("10\u202820", 2, "10 20", "U+2028 (line separator)"),
    ("10\x8520", 2, "10 20", "U+0085"),
    ("10\x0b20", 2, "10 20", "U+000B"),
    ("a\u200bb\ufeffc", 1, "abc", "U+200B (zero width space), U+FEFF"),
    ("a\U000e0041b", 1, "ab", "U+E0041 (tag latin capital letter a)"),
]


@pytest.mark.parametrize(("value", "before", "left", "named"), HIDDEN, ids=[row[3] for row in HIDDEN])
def test_a_hidden_character_is_named_placed_and_left_out(
    value: str, before: int, left: str, named: str, parser: str
) -> None:
    for parsed, column in [
        (read_yaml(f"a: 1\nb: '{value}'\nc: [x, y]\n".encode()), 5),
        (read_yaml(f"a: 1\nb: {value}\nc: [x, y]\n".encode()), 4),
        (read_json(f'{{"a": 1,\n"b":"{value}",\n"c":["x","y"]}}'.encode()), 6),
    ]:
        assert parsed.data == {"a": 1, "b": left, "c": ["x", "y"]}
        assert spots(parsed) == [(2, column + before, "hidden-character")]
        assert named in parsed.faults[0].message
        assert json.loads(parsed.json) == parsed.data


def test_places_after_a_hidden_character_are_those_of_the_file(parser: str) -> None:
    raw = "a\u202eb: \u200e[x, \u200e\u200ey, z]\nc\x00: 1\nd: 2\n".encode()
    parsed = read_yaml(raw)
    assert parsed.data == {"ab": ["x", "y", "z"], "c": 1, "d": 2}
    assert [parsed.place(("ab", i)) for i in range(3)] == [(1, 8), (1, 13), (1, 16)]
    assert parsed.place(("c",)) == (2, 5)
    assert parsed.place(("d",)) == (3, 4)
    assert spots(parsed) == [(1, 2, "hidden-character"), (2, 2, "hidden-character")]


@pytest.mark.parametrize(
    ("quoted", "left", "column"),
    [(r'"a\u202eb"', "ab", 7), (r'"\\u202e \u200E"', "\\u202e ", 14), (r'"\u0000"', "", 6), (r'"é\u2028b"', "é b", 7)],
)
def test_an_escaped_hidden_character_is_found_too(quoted: str, left: str, column: int, parser: str) -> None:
    as_yaml = read_yaml(f"k: [{quoted},{{{quoted}: 1}}, x]\n".encode())
    assert as_yaml.data == {"k": [left, {left: 1}, "x"]}
    assert spots(as_yaml)[0] == (1, column, "hidden-character")
    assert len(as_yaml.faults) == 2
    as_json = read_json(f'{{"":{quoted}}}'.encode())
    assert as_json.data == {"": left}
    assert spots(as_json) == [(1, column, "hidden-character")]
    assert not faultless_json(f'{{"":{quoted}}}'.encode())


def test_a_lone_surrogate_is_hidden_and_a_pair_is_not() -> None:
    parsed = read_json(rb'{"a": "\ud834\udd1e", "b": "x\ud834", "c": "\udd1ey"}')
    assert parsed.data == {"a": "𝄞", "b": "x", "c": "y"}
    assert spots(parsed) == [(1, 30, "hidden-character"), (1, 45, "hidden-character")]


def test_row_ends_and_joiners_are_not_hidden(parser: str) -> None:
    parsed = read_yaml(b'a: "x\\n\\ty\\u200d"\nb: |\n  x\n\n  y\tz\n')
    assert parsed.data == {"a": "x\n\ty\u200d", "b": "x\n\ny\tz\n"}
    assert parsed.faults == ()
    raw = rb'{"a": "x\n\ty\u200d"}'
    assert (read_json(raw).data, faultless_json(raw)) == ({"a": "x\n\ty\u200d"}, True)


@pytest.mark.parametrize(
    ("raw", "place", "says"),
    [
        ("a: é\n".encode("utf-16"), (1, 1), "UTF-16"),
        ("a: é\n".encode("utf-16-le"), (1, 1), "UTF-16"),
        ("a: é\n".encode("utf-16-be"), (1, 1), "UTF-16"),
        ("a: é\n".encode("utf-32"), (1, 1), "UTF-32"),
        (b"\x1f\x8b\x08\x00rest", (1, 1), "gzip"),
        (b"PK\x03\x04rest", (1, 1), "office document"),
        (b"%PDF-1.7 rest", (1, 1), "PDF"),
        ("ä: 1\nb: x é\n".encode()[:-3] + b"\xe9\n", (2, 6), "0xE9"),
        (b"a: 1\nb: Ren\xe9e\n", (2, 7), "Windows-1252"),
        (b"a: x\xed\xa0\x80\n", (1, 5), "0xED"),
    ],
)
def test_what_is_not_utf8_is_said_with_what_it_looks_like(raw: bytes, place: tuple[int, int], says: str) -> None:
    for parsed in (read_yaml(raw), read_json(raw)):
        fault = next(fault for fault in parsed.faults if fault.rule == "not-utf-8")
        assert (fault.row, fault.column) == place
        assert says in fault.message
    assert not faultless_json(raw)


def test_a_stray_byte_does_not_hide_the_other_faults() -> None:
    parsed = read_yaml(b"a: Ren\xe9e\nb: 012\n")
    assert spots(parsed) == [(1, 7, "not-utf-8"), (2, 4, "leading-zero")]
    assert parsed.data == {"a": "Ren\ufffde", "b": "012"}


def nested(depth: int) -> tuple[bytes, bytes]:
    lists = "[" * (depth - 1) + "]" * (depth - 1)
    return f"a: {lists}\n".encode(), f'{{"a": {lists}}}'.encode()


def test_depth_at_its_limit_and_one_more(parser: str) -> None:
    for read, raw in zip((read_yaml, read_json), nested(MAX_DEPTH), strict=True):
        assert read(raw).faults == ()
    as_yaml, as_json = (read(raw) for read, raw in zip((read_yaml, read_json), nested(MAX_DEPTH + 1), strict=True))
    assert (spots(as_yaml), as_yaml.data) == ([(1, 3 + MAX_DEPTH, "too-deep")], None)
    assert (spots(as_json), as_json.data) == ([(1, 6 + MAX_DEPTH, "too-deep")], None)


def test_size_at_its_limit_and_one_more() -> None:
    head = b"a: 1\n#"
    assert read_yaml(head + b"x" * (MAX_BYTES - len(head))).faults == ()
    for read in (read_yaml, read_json):
        parsed = read(head + b"x" * (MAX_BYTES - len(head) + 1))
        assert (spots(parsed), parsed.data) == ([(1, 1, "too-large")], None)


@pytest.mark.parametrize("over", [0, 1])
def test_values_at_their_limit_and_one_more(over: int) -> None:
    items = ",".join("1" * (MAX_VALUES - 1 + over))
    for parsed in (read_yaml(f"a: [{items}]".encode()), read_json(f'{{"a": [{items}]}}'.encode())):
        assert [fault.rule for fault in parsed.faults] == ["too-large"] * over


@pytest.mark.parametrize("over", [0, 1])
@pytest.mark.parametrize("digit", ["1", "1.", "0x"])
def test_number_length_at_its_limit_and_one_more(over: int, digit: str) -> None:
    written = digit + "1" * (MAX_NUMBER - len(digit) + over)
    parsed = read_yaml(f"a: {written}\n".encode())
    assert [fault.rule for fault in parsed.faults] == ["number-too-long"] * over
    assert parsed.data == {"a": written} if over else isinstance(parsed.data["a"], (int, float))
    if digit != "0x":
        raw = f'{{"a": {written}}}'.encode()
        assert [fault.rule for fault in read_json(raw).faults] == ["number-too-long"] * over
        assert faultless_json(raw) == (not over)


def test_faults_at_their_limit_and_two_more() -> None:
    assert len(read_yaml(b"a: 01\n" + b"a: 1\n" * (MAX_FAULTS - 1)).faults) == MAX_FAULTS
    faults = read_yaml(b"a: 01\n" + b"a: 1\n" * (MAX_FAULTS + 1)).faults
    assert len(faults) == MAX_FAULTS + 1
    assert (faults[-1].rule, faults[-1].message) == ("too-many-faults", "2 more faults of syntax are not listed.")


def test_hidden_characters_at_their_limit_and_one_more() -> None:
    for read, before, after in ((read_yaml, "a:\n  ", ""), (read_json, '{"a":\n"', '"}')):
        parsed = read((before + "x\u200e" * MAX_HIDDEN + after).encode())
        assert (parsed.data, len(parsed.faults)) == ({"a": "x" * MAX_HIDDEN}, 1)
        parsed = read((before + "x\u200e" * (MAX_HIDDEN + 1) + after).encode())
        assert parsed.data is None
        assert [(fault.row, fault.rule) for fault in parsed.faults] == [(2, "hidden-character")]
        assert f"{MAX_HIDDEN + 1:,}" in parsed.faults[0].message


def test_messages_repeat_little_of_the_file_and_nothing_of_values() -> None:
    key = "k" * 200
    raws = [f"{key}: SECRET\n{key}: SECRET\n", "a: SECRET: SECRET\n", "a: 'SECRET\n", "a: 'SECRET' SECRET\n", "SECRET"]
    for raw in raws:
        for fault in read_yaml(raw.encode()).faults:
            assert "SECRET" not in fault.message + fault.todo
            assert "k" * 41 not in fault.message
    for fault in read_json(f'{{"{key}": "SECRET", "{key}": SECRET}}'.encode()).faults:
        assert "SECRET" not in fault.message + fault.todo
        assert "k" * 41 not in fault.message


HOSTILE = {
    "a hundred thousand brackets": "a: " + "[" * 100_000,
    "a hundred thousand braces": "{a: " * 100_000,
    "a hundred thousand dashes": "- " * 100_000,
    "a thousand rows of deeper indentation": "\n".join(" " * i + "a:" for i in range(1000)),
    "an alias bomb": "a: &a [x,x,x,x,x,x,x,x,x]\n"
    + "".join(
        f"{new}: &{new} [{','.join([f'*{old}'] * 9)}]\n" for old, new in zip("abcdefgh", "bcdefghi", strict=True)
    ),
    "an anchor that holds itself": "a: &a [*a]\n",
    "a number of a million digits": "a: " + "9" * 1_000_000,
    "a number with a huge exponent": "a: 1e" + "9" * 90,
    "one text of a million characters": "a: " + "x" * 1_000_000,
    "one quoted text of a million characters": 'a: "' + "x" * 1_000_000 + '"',
    "a key of a million characters": "x" * 1_000_000 + ": 1",
    "a million hidden characters": "a: x" + "\u202e" * 1_000_000,
    "a hundred thousand hidden rows": "\u200e\n" * 100_000,
    "a hundred thousand repeated keys": "a: 1\n" * 100_000,
    "many keys repeated from the last to the first": "".join(f"{i}: 1\n" for i in range(50_000))
    + "".join(f"{i}: 1\n" for i in range(49_999, 0, -1)),
    "a hundred thousand question marks": "? " * 100_000,
    "a hundred thousand anchors": "&a " * 100_000,
    "a version of ten thousand digits": "%YAML " + "1" * 10_000 + ".1\n---\na: 1\n",
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_end_soon(name: str, parser: str) -> None:
    raw = HOSTILE[name].encode()
    if parser != "libyaml":
        raw = raw[:20_000]
    started = time.process_time()
    for read in (read_yaml, read_json):
        parsed = read(raw)
        assert len(parsed.faults) <= MAX_FAULTS + 1
        assert len(parsed.json) < 3 * len(raw) + 100
    assert time.process_time() - started < 5


def test_hostile_json_ends_soon() -> None:
    started = time.process_time()
    for text in (
        "[" * 100_000,
        '{"a":' * 100_000,
        '{"a":' + "9" * 1_000_000 + "}",
        '{"a":-1e' + "9" * 50 + "}",
        '{"a":"' + "\\u202e" * 100_000 + '"}',
        '{"a":"' + "x" * 1_000_000,
        '{"' + "x" * 1_000_000 + '": 1}',
        "{" + '"a":1,' * 100_000 + '"b":2}',
        " " * 1_000_000,
    ):
        parsed = read_json(text.encode())
        assert parsed.faults or parsed.data == {"x" * 1_000_000: 1}
        faultless_json(text.encode())
    assert time.process_time() - started < 5


def test_reading_json_does_not_import_yaml() -> None:
    code = "import sys; from lda_notes.files.syntax import read_json; read_json(b'{}'); sys.exit('yaml' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_without_libyaml_the_pure_parser_is_taken() -> None:
    code = (
        "import sys; sys.modules['yaml._yaml'] = None\n"
        "from lda_notes.files.syntax import yaml_reader; from lda_notes.files.syntax import read_yaml\n"
        "assert yaml_reader.PARSER.__name__ == 'SafeLoader', yaml_reader.PARSER\n"
        "assert read_yaml(b'a: [1, no]').data == {'a': [1, 'no']}\n"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize(
    ("text", "data"),
    [
        ("a: bag # a remark\n# remark #2\nb: 1 # two\n", {"a": "bag", "b": 1}),
        ("a: 'bag #2'\nb: x#2\n", {"a": "bag #2", "b": "x#2"}),
        ("a: |\n  bag #2\n", {"a": "bag #2\n"}),
        ("a: it’s “so” said\nb: “I” said\n", {"a": "it’s “so” said", "b": "“I” said"}),
        ("a:\n  #1\n  - b\n", {"a": ["b"]}),
    ],
)
def test_remarks_and_quotes_inside_text_are_no_fault(text: str, data: object, parser: str) -> None:
    parsed = read_yaml(text.encode())
    assert (parsed.faults, parsed.data) == ((), data)
