"""English that nobody notices: words that no text for users has, in messages, help, rules, templates and README."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
_TAGS = re.compile(r"\{%.*?%\}|\{\{.*?\}\}", re.DOTALL)
_CODE = re.compile(r"```.*?```|`[^`]*`", re.DOTALL)

BANNED: dict[str, str] = {
    r"\bis no (folder|file|bundle|number|time that|date that|time zone)": "is not a ...",
    r"already stands|stands there": "already exists; is",
    r"\bmend(ed)?\b": "fix",
    r"\bin one go\b": "at once",
    r"\bonce more\b": "again",
    r"\bbegin anew\b|\bgo on with it\b|\bto go on\b": "start over; continue",
    r"passes over": "ignores",
    r"taken for granted": "assumed",
    r"\bthe way back\b(?! *,)": "reading back, import",
    r"has not come yet": "is in the future",
    r"has to be said": "an answer is required",
    r"reason why not\.|no reason why not": "the reason it was not done",
    r"CANNOT BE\b|unsafe or cannot be": "contradiction",
    r"said again": "restored",
    r"is said to numb": "its numbing effect lasts",
    r"the learner taught it back|\bthe learner\b": "the patient, who was taught",
    r"\bBy whom\b": "Who",
    r"\bTo be done\b": "Due",
    r"judgement": "judgment",
    r"[Aa]naesth|[Hh]aemat|[Hh]aemod|[Hh]aemog": "American spelling",
    r"(?i)colour(?! coding)|favour|behaviour|neighbour|labour\b|odour": "color, favor, behavior, neighbor, labor, odor",
    r"(?i)\w(isation|(?<!a|v)is(ing|ed)(?<!\brising)(?<!promised)(?<!comprised))\b": "organization, recognized",
    r"(?i)\b(licence|grey|towards|centre|\w*metre|\w*litre|labelling|cancelling|programme|whilst|learnt|spelt)s?\b": (
        "license, gray, toward, center"
    ),
    r"\b(Highest|Is the \w+|only if|free of latex|when) labelled\b": "labeled",
    r"\bforbid that with\b": "other users can read it; run chmod",
    r"\bsign that cannot be seen": "character that cannot be seen",
    r"standard input, holds|[Bb]undle holds|: holds no record": "contains",
    r"\bkept as text\b": "recorded as typed",
}
"""What no text for users says, and what is written instead; regular expressions."""


def texts() -> Iterator[tuple[str, str]]:
    """Yield each text that a user may read, with its place. Texts of one word are keys and options, not English."""
    for path in sorted((ROOT / "lda_notes").rglob("*.py")):
        for row, text in _of_code(path):
            if " " in text.strip():
                yield f"{path.relative_to(ROOT)}:{row}", text
    for path in sorted((ROOT / "note_templates").rglob("*.jinja")):
        yield str(path.relative_to(ROOT)), _TAGS.sub(" ", path.read_text(encoding="utf-8"))
    for name in ("README.md", "CHANGELOG.md", "lda_notes/check/rules/RULES.md", "lda_notes/record/SEALS.md"):
        yield name, _CODE.sub(" ", (ROOT / name).read_text(encoding="utf-8"))


def _of_code(path: Path) -> Iterator[tuple[int, str]]:
    nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
    unread = set(_docstrings(nodes))
    for node in nodes:
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in unread:
            yield node.lineno, node.value


def _docstrings(nodes: list[ast.AST]) -> Iterator[int]:
    """Yield what no user reads: strings that stand alone, but for the help of commands."""
    helped = {
        id(node.body[0])
        for node in nodes
        if isinstance(node, ast.FunctionDef) and any("command" in ast.dump(one) for one in node.decorator_list)
    }
    for node in nodes:
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and id(node) not in helped:
            yield id(node.value)


@cache
def read() -> list[tuple[str, str]]:
    """Return every text, read when the first test asks: collecting takes no time."""
    return list(texts())


def test_there_is_something_to_read() -> None:
    assert len(read()) > 3000
    places = {place.partition(":")[0] for place, _ in read()}
    assert {"README.md", "note_templates/access.jinja", "lda_notes/commands/note.py", "lda_notes/cli.py"} <= places


@pytest.mark.parametrize("pattern", BANNED)
def test_no_text_says(pattern: str) -> None:
    found = [f"{place}: {text[:120]!r}" for place, text in read() if re.search(pattern, text)]
    assert found == [], f"write: {BANNED[pattern]}"


def test_the_list_bites() -> None:
    """Each pattern finds what it is for."""
    for pattern, said in {
        r"judgement": "licensed judgement",
        r"(?i)colour(?! coding)|favour|behaviour|neighbour|labour\b|odour": "the colour of the blood",
        r"(?i)\w(isation|(?<!a|v)is(ing|ed)(?<!\brising)(?<!promised)(?<!comprised))\b": "an organisation",
        r"\bmend(ed)?\b": "mend it first",
        r"standard input, holds|[Bb]undle holds|: holds no record": "the bundle holds",
    }.items():
        assert pattern in BANNED and re.search(pattern, said)


IN_FINDINGS = {r"\bexpected\b": "what the limit is, or what is to be done", r"\bholds (a|no|the|it)\b": "contains"}
"""What no finding says to the nurse; a fault of the file's own layout may say what was expected there."""


def test_findings_are_sentences_to_a_colleague() -> None:
    rules = ROOT / "lda_notes" / "check" / "rules"
    said = [
        (f"{path.name}:{row}", text)
        for path in sorted(rules.glob("*.py"))
        if path.name != "unreadable.py"
        for row, text in _of_code(path)
    ]
    assert len(said) > 500
    for banned, instead in IN_FINDINGS.items():
        bad = [f"{place}: {text}" for place, text in said if re.search(banned, text)]
        assert not bad, f"write {instead}: {bad}"
